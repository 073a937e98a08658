"""Forms of blend plans: their weights, and the act that carries them out."""

from typing import Any

from django import forms
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from inventory.shared.forms.acts import ActForm
from inventory.shared.forms.fields import DayField, WeightField
from inventory.stock.forms.fields import as_weight, note_field
from inventory.stock.forms.honey import HoneyForm
from inventory.stock.models import BlendPlan, BlendPlanLine, Place


class BlendWeightsForm(HoneyForm):
    """The weight of each vessel of a plan; an empty one leaves the vessel out."""

    def __init__(self, *args: Any, plan: BlendPlan, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.lines: list[BlendPlanLine] = list(plan.lines.all())
        for line in self.lines:
            self.fields[f"weight_{line.pk}"] = WeightField(
                label=line.place.name, required=False, initial=as_weight(line.grams)
            )

    def rows(self) -> list[tuple[BlendPlanLine, forms.BoundField]]:
        return [(line, self[f"weight_{line.pk}"]) for line in self.lines]

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        self._filled = [line for line in self.lines if data.get(f"weight_{line.pk}")]
        data["sources"] = [(line.place, data[f"weight_{line.pk}"]) for line in self._filled]
        return data

    def grams(self) -> dict[int, int]:
        """Return the weights of a valid form by the key of the vessel."""
        sources: list[tuple[Place, int]] = self.cleaned_data["sources"]
        return {place.pk: grams for place, grams in sources}

    def field_of(self, parameter: str | None) -> str | None:
        # The service counts the vessels that have a weight.
        match (parameter or "").split("."):
            case ["sources", index, _name]:
                return f"weight_{self._filled[int(index)].pk}"
        return super().field_of(parameter)


class BlendCarryOutForm(BlendWeightsForm):
    """What was really poured, and when."""

    poured_on = DayField(label=_("Day"), initial=timezone.localdate)
    note = note_field()


class BlendDropForm(ActForm):
    """Why a plan is dropped."""

    reason = forms.CharField(label=_("Why"), max_length=200, required=False)
