"""How much of each line of an order is handed over now, and what was weighed out."""

import re
from dataclasses import dataclass
from decimal import Decimal

from django import forms
from django.forms.boundfield import BoundField
from django.utils import timezone
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from apiary_sales.orders.models import Order, OrderLine
from apiary_sales.orders.rules import lines as rules
from apiary_sales.orders.rules import service_units, weighing
from apiary_sales.orders.rules.weighing import Weighed
from apiary_sales.orders.services.weigh_out import DrumOnScale, ScaleUsed
from inventory.shared import words
from inventory.shared.forms.acts import ActForm
from inventory.shared.forms.fields import DayField, NumberField, WeightField, WholeNumberField
from inventory.stock.forms.fields import as_weight

# How the drums were weighed; only on the form of an order with drums.
SCALE_FIELDS = ("load_net", "scale", "weighed_by", "difference_is_right")


@dataclass(frozen=True)
class FulfilRow:
    """One line that is not filled, with its fields; drum charges have none."""

    line: OrderLine
    field: BoundField | None
    gross: BoundField | None = None
    tare: BoundField | None = None
    # A whole drum may be weighed as it leaves, and sealed.
    net: BoundField | None = None
    seal: BoundField | None = None

    @property
    def is_drum(self) -> bool:
        return rules.is_whole_drum(self.line)


class FulfilForm(ActForm):
    """How much of each line is handed over now: all that is left, unless told otherwise."""

    fields_of_parameters = {"load_net_grams": "load_net"}

    filled_on = DayField(label=_("Handed over on"))
    load_net = WeightField(
        label=_("Net weight of the load"),
        required=False,
        help_text=_(
            "From a vehicle scale: loaded less empty. The drums that leave now share it by their "
            "weights on the books."
        ),
    )
    scale = forms.CharField(label=_("Scale"), max_length=60, required=False)
    weighed_by = forms.CharField(label=_("Weighed by"), max_length=80, required=False)
    difference_is_right = forms.BooleanField(
        label=_("The weight is right, although it differs from the books"), required=False
    )

    def __init__(self, *args, order: Order, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self.fields["filled_on"].initial = timezone.localdate
        is_open = order.status in Order.OPEN_STATUSES
        self._left = [line for line in order.lines.all() if is_open and line.to_fill]
        for line in self._left:
            if line.kind in rules.DRUM_CHARGES:
                continue
            self.fields[f"line_{line.pk}"] = _line_field(line)
            if rules.is_weighed_out(line):
                self.fields[f"gross_{line.pk}"] = WeightField(
                    label=_("or: full container"), required=False
                )
                self.fields[f"tare_{line.pk}"] = WeightField(
                    label=_("and: empty container"), required=False
                )
            elif rules.is_whole_drum(line):
                self._add_drum(line)
        if not any(rules.is_whole_drum(line) for line in self._left):
            for name in SCALE_FIELDS:
                del self.fields[name]

    def _add_drum(self, line: OrderLine) -> None:
        """Add what a scale says of one drum, and its seal."""
        tare = rules.vessel_of(line).tare_grams
        on_record = _("On record: %(tare)s.") % {"tare": words.weight(tare, 1)} if tare else ""
        self.fields[f"gross_{line.pk}"] = WeightField(label=_("Gross weight"), required=False)
        self.fields[f"tare_{line.pk}"] = WeightField(
            label=_("Empty drum, if weighed"), required=False, help_text=on_record
        )
        self.fields[f"net_{line.pk}"] = WeightField(label=_("or: net weight"), required=False)
        self.fields[f"seal_{line.pk}"] = forms.CharField(
            label=_("Seal number"), max_length=40, required=False
        )

    def field_of(self, parameter: str | None) -> str | None:
        # A drum's weights are `drums.<key>.<name>` to the service.
        drum = re.fullmatch(r"drums\.(\d+)(?:\.(gross|tare|net|seal)(?:_grams)?)?", parameter or "")
        if drum:
            return super().field_of(f"{drum[2] or 'line'}_{drum[1]}")
        # The quantity of a line is `quantities.<key>` or `weighed.<key>` to the service.
        line = re.fullmatch(r"(?:quantities|weighed)\.(\d+)", parameter or "")
        if line and self.cleaned_data.get(f"gross_{line[1]}") is not None:
            return super().field_of(f"gross_{line[1]}")
        return super().field_of(f"line_{line[1]}" if line else parameter)

    def rows(self) -> list[FulfilRow]:
        """Return each line that is not filled, with its fields."""
        return [
            FulfilRow(
                line,
                *(
                    self._bound(f"{name}_{line.pk}")
                    for name in ("line", "gross", "tare", "net", "seal")
                ),
            )
            for line in self._left
        ]

    def clean(self):
        data = super().clean()
        for line in self._left:
            gross, tare = data.get(f"gross_{line.pk}"), data.get(f"tare_{line.pk}")
            if rules.is_whole_drum(line):
                # The empty weight on record does for a drum; the service says what is missing.
                continue
            if gross is not None and tare is None:
                self.add_error(
                    f"tare_{line.pk}", gettext("Enter what the empty container weighs, or 0.")
                )
            elif gross is None and tare:
                self.add_error(f"gross_{line.pk}", gettext("Enter what the full container weighs."))
        return data

    @property
    def quantities(self) -> dict[int, int]:
        wanted = {}
        for line in self._left:
            typed = self.cleaned_data.get(f"line_{line.pk}")
            if typed is True:
                typed = line.to_fill
            if typed and line.kind == OrderLine.Kind.SERVICE:
                typed = service_units.hundredths(Decimal(typed))
            if typed and not rules.is_weighed_out(line):
                wanted[line.pk] = typed
        return wanted

    @property
    def weighed(self) -> dict[int, Weighed]:
        """What was weighed out, by the key of its line; gross and tare go before the net weight."""
        found = {}
        for line in self._left:
            if not rules.is_weighed_out(line):
                continue
            gross = self.cleaned_data.get(f"gross_{line.pk}")
            net = self.cleaned_data.get(f"line_{line.pk}")
            if gross is not None:
                tare = self.cleaned_data[f"tare_{line.pk}"]
                found[line.pk] = weighing.on_scale(gross_grams=gross, tare_grams=tare)
            elif net:
                found[line.pk] = Weighed(net)
        return found

    @property
    def drums(self) -> dict[int, DrumOnScale]:
        """What a scale said of each drum that leaves, and its seal, by the key of its line."""
        return {
            line.pk: DrumOnScale(
                gross_grams=self.cleaned_data.get(f"gross_{line.pk}"),
                tare_grams=self.cleaned_data.get(f"tare_{line.pk}"),
                net_grams=self.cleaned_data.get(f"net_{line.pk}"),
                seal=self.cleaned_data.get(f"seal_{line.pk}", ""),
            )
            for line in self._left
            if rules.is_whole_drum(line) and self.cleaned_data.get(f"line_{line.pk}")
        }

    @property
    def scale_used(self) -> ScaleUsed:
        return ScaleUsed(
            name=self.cleaned_data.get("scale", ""),
            weighed_by=self.cleaned_data.get("weighed_by", ""),
            load_net_grams=self.cleaned_data.get("load_net"),
        )

    @property
    def asks_about_difference(self) -> bool:
        """Whether a weight was so far from the books that it is to be confirmed."""
        return "difference_is_right" in self.errors or bool(self.data.get("difference_is_right"))

    def _bound(self, name: str) -> BoundField | None:
        return self[name] if name in self.fields else None


def _line_field(line: OrderLine) -> forms.Field:
    label = line.description
    if line.kind == OrderLine.Kind.PACKED:
        return WholeNumberField(label=label, required=False, min_value=0, initial=line.to_fill)
    if rules.is_weighed_out(line):
        return WeightField(
            label=label,
            required=False,
            initial=as_weight(line.to_fill),
            help_text=_(
                "Net weight. Within %(percent)s %% of what was ordered it counts as all of it and "
                "is billed as weighed."
            )
            % {"percent": weighing.TOLERANCE_PERCENT},
        )
    if line.kind == OrderLine.Kind.SERVICE:
        return NumberField(
            label=label,
            required=False,
            min_value=0,
            max_digits=9,
            decimal_places=2,
            initial=service_units.amount(line.to_fill),
            help_text=_("How much is done, in this unit: %(unit)s")
            % {"unit": line.service.get_unit_display() if line.service else ""},
        )
    return forms.BooleanField(label=label, required=False, initial=True)
