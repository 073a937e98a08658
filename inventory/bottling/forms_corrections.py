"""Forms that put right what was recorded: a run, honey, parts and goods that came in."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from django import forms
from django.utils.formats import date_format
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from inventory.bottling.forms import PiecesField, recorded_figures
from inventory.bottling.forms_of_honey import RecordedAdditionForm
from inventory.bottling.models import BottlingRun, GoodsReceipt, PackagingPart, PartReceipt
from inventory.shared import words
from inventory.shared.forms.acts import ActForm
from inventory.shared.forms.fields import (
    DayField,
    MoneyField,
    NumberField,
    WeightField,
    WholeNumberField,
)
from inventory.stock.forms.amounts import PIECES, AmountField, amount_of
from inventory.stock.forms.fields import as_weight
from inventory.stock.forms.suppliers import SupplierNameField
from inventory.stock.models import Lot, Place

NOT_CHANGED = _("Nothing is different from what was recorded. Change what is wrong.")


@dataclass(frozen=True)
class FigureChange:
    """One figure before and after a correction, in words."""

    name: str
    before: str
    after: str


class CorrectionForm(ActForm):
    """What was recorded, with the figures as they are; only what is changed comes out.

    `present` has the value of each field as it is now, in what the field comes out as.
    """

    reason = forms.CharField(
        label=_("What was wrong"),
        max_length=200,
        help_text=_("It is kept with the figures of before."),
        error_messages={"required": _("Say what was wrong.")},
    )
    present: Mapping[str, Any]

    def show_present(self, present: Mapping[str, Any]) -> None:
        """Fill in the figures as they are; what is known can't be emptied."""
        self.present = present
        for name, value in present.items():
            field = self.fields[name]
            is_weight = isinstance(field, WeightField) and value is not None
            field.initial = as_weight(value) if is_weight else value
        self.order_fields([name for name in self.fields if name != "reason"] + ["reason"])

    def changed(self) -> dict[str, Any]:
        """Return the fields that differ from what is recorded, with what they are to be."""
        data = self.cleaned_data
        return {
            name: data[name]
            for name, before in self.present.items()
            if name in data and data[name] != before
        }

    def changes(self) -> list[FigureChange]:
        """Return the difference in words, as far as what was typed can be read."""
        return [
            FigureChange(
                name=str(self.fields[name].label),
                before=self._in_words(name, self.present[name]),
                after=self._in_words(name, after),
            )
            for name, after in self.changed().items()
        ]

    def clean(self) -> dict[str, Any]:
        data = super().clean() or self.cleaned_data
        if not self.errors and not self.changed():
            raise forms.ValidationError(NOT_CHANGED)
        return data

    def _in_words(self, name: str, value: Any) -> str:
        field = self.fields[name]
        if value in (None, ""):
            return "–"
        if isinstance(value, date):
            return date_format(value)
        if isinstance(field, MoneyField):
            return words.money(value)
        if isinstance(field, WeightField):
            return words.weight(value, 3)
        if isinstance(field, forms.ChoiceField):
            return str(dict(field.choices)[value])  # type: ignore[arg-type]
        return words.number(value) if isinstance(value, int) and name != "season" else str(value)


class RunCorrectForm(RecordedAdditionForm, CorrectionForm):
    """The figures of a recorded run. The parts follow the pieces, unless they are changed."""

    fields_of_parameters = {
        "drawn_grams": "drawn",
        "loss_grams": "loss",
    }

    pieces_filled = PiecesField(label=_("Pieces filled"))
    pieces_broken = PiecesField(
        label=_("Pieces broken"),
        help_text=_("Filled and then broken or thrown out."),
    )
    drawn = WeightField(
        label=_("Honey drawn"),
        help_text=_("All the honey that left the vessel, including honey lost in filling."),
    )
    drawn_by = forms.ChoiceField(label=_("Weighed by"), choices=BottlingRun.DrawnBy)
    loss = WeightField(
        label=_("Honey lost in filling"),
        help_text=_("Left in the filler and hoses, on the floor, or down the drain."),
    )
    labour_minutes = PiecesField(
        label=_("Minutes of work"),
        required=False,
        help_text=_(
            "All people together. If this is left empty, the cost of the jars has honey "
            "and parts only, and their page says so."
        ),
    )
    bottled_on = DayField(label=_("Day of the run"))
    figures_are_right = forms.BooleanField(
        label=_("Yes, that much honey was drawn"), required=False
    )

    def __init__(
        self, *args: Any, run: BottlingRun, parts: Mapping[PackagingPart, int], **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        self.run = run
        self.part_fields = {f"part_{part.pk}": part for part in parts}
        for name, part in self.part_fields.items():
            self.fields[name] = PiecesField(label=part.name)
        figures = recorded_figures(run) | {
            "drawn": run.drawn_grams,
            "loss": run.loss_grams,
            "drawn_by": run.drawn_by,
        }
        addition = self.addition
        if addition.takes_seed and addition.creaming:
            figures["seed_grams"] = addition.creaming.seed_grams
        if addition.comb:
            comb = "comb_grams" if addition.is_comb_weighed else "comb_pieces"
            figures[comb] = addition.comb.quantity
        self.show_present(figures | {name: parts[part] for name, part in self.part_fields.items()})

    @property
    def parts_used(self) -> list[forms.BoundField]:
        return [self[name] for name in self.part_fields]

    @property
    def asks_to_confirm(self) -> bool:
        """Whether the box that confirms odd figures is shown."""
        return self.is_bound and bool(
            self.errors.get("figures_are_right") or self["figures_are_right"].value()
        )

    def told(self) -> dict[str, Any]:
        """Return what is changed, by the parameters of the service."""
        changed = self.changed()
        if "drawn" in changed and self.run.is_estimated:
            # A figure that somebody enters is no estimate any more.
            changed.setdefault("drawn_by", BottlingRun.DrawnBy.SCALE)
        parts = {
            part: changed.pop(name) for name, part in self.part_fields.items() if name in changed
        }
        for field, parameter in (("drawn", "drawn_grams"), ("loss", "loss_grams")):
            if field in changed:
                changed[parameter] = changed.pop(field)
        for field in ("comb_grams", "comb_pieces"):
            if field in changed:
                changed["comb_quantity"] = changed.pop(field)
        return changed | {
            "parts": parts or None,
            "figures_are_right": self.cleaned_data["figures_are_right"],
        }


class HoneyReceiptCorrectForm(CorrectionForm):
    """What was said of honey that came in: its weight by vessel, and what it is."""

    fields_of_parameters = {"cost_cents": "cost"}

    came_in_on = DayField(label=_("Day it came in"))
    moisture_percent = NumberField(label=_("Moisture, percent"), max_digits=5, decimal_places=2)
    colour_mm = NumberField(label=_("Colour, mm Pfund"), max_digits=5, decimal_places=1)
    floral_source = forms.CharField(
        label=_("Floral source"),
        max_length=120,
        error_messages={"required": _("Enter the floral source, for example clover.")},
    )
    yard = forms.CharField(label=_("Yard or area"), max_length=120, required=False)
    season = WholeNumberField(label=_("Season"))
    cost = MoneyField(label=_("What it cost"), help_text=_("The cost of all this honey together."))

    def __init__(
        self,
        *args: Any,
        lot: Lot,
        nets: Mapping[Place, int],
        has_cost: bool,
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, **kwargs)
        self.nets = {f"net_{place.pk}": place for place in nets}
        for name, place in self.nets.items():
            label = gettext("Weight in %(place)s") % {"place": place.name}
            self.fields[name] = WeightField(label=label)
        names = ("moisture_percent", "colour_mm", "floral_source", "yard", "season")
        figures: dict[str, Any] = {name: nets[place] for name, place in self.nets.items()}
        figures |= {name: getattr(lot, name) for name in names} | {"came_in_on": lot.made_on}
        if has_cost:
            figures["cost"] = lot.cost_cents
        else:
            del self.fields["cost"]
        for name in ("moisture_percent", "colour_mm", "cost"):
            if name in self.fields and figures[name] is None:
                self.fields[name].required = False
        self.show_present(figures)
        self.order_fields([*self.nets, *(name for name in self.fields if name not in self.nets)])

    @property
    def nets_typed(self) -> list[forms.BoundField]:
        return [self[name] for name in self.nets]

    def field_of(self, parameter: str | None) -> str | None:
        if parameter in ("grams", "grams_by_vessel"):
            return next(iter(self.nets), None)
        return super().field_of(parameter)

    def told(self) -> dict[str, Any]:
        """Return what is changed, by the parameters of the service."""
        changed = self.changed()
        nets = {place: changed.pop(name) for name, place in self.nets.items() if name in changed}
        if "cost" in changed:
            changed["cost_cents"] = changed.pop("cost")
        return changed | ({"grams_by_vessel": nets} if nets else {})


class PartReceiptCorrectForm(CorrectionForm):
    """What was said of parts that came in."""

    fields_of_parameters = {"cost_cents": "cost"}

    pieces = PiecesField(label=_("Pieces that came"))
    cost = MoneyField(
        label=_("Total cost"),
        help_text=_("Include freight, so that the cost of a jar is right."),
        error_messages={"required": _("Enter what all of it cost, or 0 if it was free.")},
    )
    supplier = SupplierNameField(label=_("Supplier"), required=False)
    received_on = DayField(label=_("Day"))

    def __init__(self, *args: Any, receipt: PartReceipt, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.show_present(
            {
                "pieces": receipt.pieces,
                "cost": receipt.cost_cents,
                "supplier": receipt.supplier.name if receipt.supplier else "",
                "received_on": receipt.received_on,
            }
        )

    def told(self) -> dict[str, Any]:
        """Return what is changed, by the parameters of the service."""
        changed = self.changed()
        if "cost" in changed:
            changed["cost_cents"] = changed.pop("cost")
        return changed


class GoodsReceiptCorrectForm(CorrectionForm):
    """What was said of goods that came in."""

    fields_of_parameters = {"cost_cents": "cost"}

    quantity = AmountField(label=_("How much"))
    cost = MoneyField(
        label=_("Total cost"),
        help_text=_("Include freight, so that the cost of each is right."),
        error_messages={"required": _("Enter what all of it cost, or 0 if it was free.")},
    )
    supplier = SupplierNameField(label=_("Supplier"), required=False)
    received_on = DayField(label=_("Day"))

    def __init__(self, *args: Any, receipt: GoodsReceipt, **kwargs: Any) -> None:
        self.item = receipt.product.item
        super().__init__(*args, **kwargs)
        self.show_present(
            {
                "quantity": receipt.quantity,
                "cost": receipt.cost_cents,
                "supplier": receipt.supplier.name if receipt.supplier else "",
                "received_on": receipt.received_on,
            }
        )
        is_weighed = self.item.is_weighed
        self.fields["quantity"].initial = (
            as_weight(receipt.quantity) if is_weighed else (receipt.quantity, PIECES)
        )

    def clean(self) -> dict[str, Any]:
        self.cleaned_data["quantity"] = amount_of(self, "quantity", self.item)
        return super().clean()

    def told(self) -> dict[str, Any]:
        """Return what is changed, by the parameters of the service."""
        changed = self.changed()
        if "cost" in changed:
            changed["cost_cents"] = changed.pop("cost")
        return changed

    def _in_words(self, name: str, value: Any) -> str:
        if name == "quantity" and isinstance(value, int):
            return self.item.in_words(value, 3 if self.item.is_weighed else None)
        return super()._in_words(name, value)
