"""Forms of a bottling day, and of the dip that settles estimated honey."""

from collections.abc import Sequence
from datetime import date
from decimal import Decimal
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from inventory.bottling.forms import PiecesField, stores
from inventory.bottling.models import BottlingDay, Product
from inventory.bottling.queries.bottling_days import DaySheetRow
from inventory.bottling.services.bottling_days import RowFilled
from inventory.shared.forms.acts import ActForm
from inventory.shared.forms.fields import (
    DayField,
    LengthField,
    TemperatureField,
    WeightField,
    WholeNumberField,
)
from inventory.stock import lot_codes
from inventory.stock.forms.fields import (
    VesselField,
    as_length,
    as_temperature,
    as_weight,
    moisture_is_right_field,
    note_field,
    usual_temperature,
)
from inventory.stock.models import Place

# Empty rows for products that the sheet does not offer of its own.
SPARE_ROWS = 3
ROWS_MAX = 30
ROW_FIELDS = (
    "product",
    "pieces_filled",
    "pieces_broken",
    "labour_minutes",
    "lot_code",
    "lot_code_is_right",
    "variety_is_right",
    "figures_are_right",
)


class ProductField(forms.ChoiceField):
    """One product out of a list that is read once for all rows of a sheet."""

    def __init__(self, *, products: dict[str, Product], **kwargs: Any) -> None:
        choices = [("", "–"), *((key, product.name) for key, product in products.items())]
        super().__init__(choices=choices, required=False, **kwargs)
        self.products = products

    def clean(self, value: Any) -> Product | None:
        chosen = super().clean(value)
        return self.products[chosen] if chosen else None


class SheetLine:
    """The fields of one row of the sheet, for its page."""

    def __init__(self, form: "BottlingDayForm", number: int) -> None:
        self.number = number
        self.product = form[f"product_{number}"]
        self.pieces_filled = form[f"pieces_filled_{number}"]
        self.pieces_broken = form[f"pieces_broken_{number}"]
        self.labour_minutes = form[f"labour_minutes_{number}"]
        self.lot_code = form[f"lot_code_{number}"]
        self.offered = form.offered_at(number)
        names = ("lot_code_is_right", "variety_is_right", "figures_are_right")
        fields = [form[f"{name}_{number}"] for name in names]
        # Boxes that confirm are shown where they were asked for.
        self.asked = [
            field for field in fields if form.is_bound and (field.errors or field.value())
        ]

    @property
    def errors(self) -> list[Any]:
        """What is wrong with the figures of the row."""
        fields = (
            self.product,
            self.pieces_filled,
            self.pieces_broken,
            self.labour_minutes,
            self.lot_code,
        )
        return [field.errors for field in fields if field.errors]

    @property
    def legend(self) -> str:
        return self.offered.name if self.offered else ""

    @property
    def is_used(self) -> bool:
        return bool(self.product.value() and not self.offered) or bool(self.product.errors)

    @property
    def code(self) -> str:
        """The code that the jars of the row get, as far as it is known."""
        return str(self.lot_code.value() or self.lot_code.field.widget.attrs["placeholder"])


class BottlingDayForm(ActForm):
    """The sheet: what was read at the vessel, and a row for each product."""

    # What is wanted depends on the button, which the browser can't know.
    use_required_attribute = False
    fields_of_parameters = {
        "before_mm": "depth_before",
        "after_mm": "depth_after",
        "before_grams": "weight_before",
        "after_grams": "weight_after",
        "skimmed_grams": "skimmed",
        "rows": "pieces_filled_1",
    }

    source = VesselField(label=_("From"), empty_label=None)
    bottled_on = DayField(label=_("Day"), initial=timezone.localdate)
    version = WholeNumberField(widget=forms.HiddenInput, required=False, initial=0)
    row_count = WholeNumberField(widget=forms.HiddenInput, min_value=0, max_value=ROWS_MAX)
    depth_before = LengthField(label=_("Dip before"), required=False)
    depth_after = LengthField(label=_("Dip after"), required=False)
    celsius = TemperatureField(label=_("Temperature of the honey"), required=False)
    weight_before = WeightField(label=_("Weight before"), required=False)
    weight_after = WeightField(label=_("Weight after"), required=False)
    skimmed = WeightField(label=_("Foam and skimmings"), required=False)
    target = forms.ModelChoiceField(
        label=_("The filled pieces are on"), queryset=stores(), empty_label=None
    )
    note = note_field()
    moisture_is_right = moisture_is_right_field()

    def __init__(
        self,
        *args: Any,
        products: Sequence[Product],
        rows: Sequence[DaySheetRow],
        sheet: BottlingDay | None = None,
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, **kwargs)
        self.sheet = sheet
        self._rows = list(rows)
        known = {str(product.pk): product for product in products}
        known |= {str(row.product.pk): row.product for row in rows}
        self._products = known
        self._codes = {row.product.pk: row.code for row in rows}
        self.count = len(rows)
        if self.is_bound:
            self.count = _whole(self.data.get("row_count"), most=ROWS_MAX)
        self.fields["celsius"].initial = usual_temperature()
        self.fields["row_count"].initial = len(rows)
        if sheet is not None:
            del self.fields["source"], self.fields["bottled_on"]
            self.initial.update(initial_of(sheet))
        for number in self.numbers:
            self._add_row(number)

    @property
    def asks_about_moisture(self) -> bool:
        """Whether the box that confirms honey above the limit of moisture is shown."""
        return self.is_bound and bool(
            self.errors.get("moisture_is_right") or self["moisture_is_right"].value()
        )

    @property
    def numbers(self) -> range:
        return range(1, self.count + SPARE_ROWS + 1)

    def offered_at(self, number: int) -> Product | None:
        """Return the product a row is offered for, None for a spare row."""
        if number > self.count:
            return None
        if self.is_bound:
            return self._products.get(self.data.get(f"product_{number}", ""))
        return self._rows[number - 1].product

    def lines(self) -> list[SheetLine]:
        """Return the rows that the sheet offers."""
        return [SheetLine(self, number) for number in self.numbers[: self.count]]

    def spare_lines(self) -> list[SheetLine]:
        return [SheetLine(self, number) for number in self.numbers[self.count :]]

    def spare_is_used(self) -> bool:
        return any(line.is_used for line in self.spare_lines())

    def uses_weights(self) -> bool:
        names = ("weight_before", "weight_after")
        return any((self[name].value() or [None])[0] or self[name].errors for name in names)

    def _add_row(self, number: int) -> None:
        offered = self.offered_at(number)
        row = self._rows[number - 1] if not self.is_bound and number <= self.count else None
        saved = row.saved if row else None
        name = offered.name if offered else _("Row %(number)s") % {"number": number}

        def label(what: Any) -> str:
            return f"{name}: {what}"

        add = self.fields
        add[f"product_{number}"] = ProductField(
            label=label(_("Product")),
            products=self._products,
            widget=forms.HiddenInput() if offered else forms.Select(),
            initial=offered.pk if offered else "",
        )
        add[f"pieces_filled_{number}"] = PiecesField(
            label=label(_("Pieces")),
            required=False,
            initial=saved.pieces_filled if saved else None,
        )
        add[f"pieces_broken_{number}"] = PiecesField(
            label=label(_("Broken")),
            required=False,
            initial=(saved.pieces_broken or None) if saved else None,
        )
        add[f"labour_minutes_{number}"] = PiecesField(
            label=label(_("Minutes")),
            required=False,
            initial=saved.labour_minutes if saved else None,
        )
        add[f"lot_code_{number}"] = forms.CharField(
            label=label(_("Lot code")),
            required=False,
            max_length=lot_codes.CODE_LENGTH_MAX,
            initial=row.code if row and (row.saved or row.run) else "",
            widget=forms.TextInput(
                attrs={
                    "autocomplete": "off",
                    "autocapitalize": "characters",
                    "placeholder": self._codes.get(offered.pk, "") if offered else "",
                }
            ),
        )
        for what, said in (
            ("lot_code_is_right", _("Yes, one code is right")),
            ("variety_is_right", _("Yes, the label is right")),
            ("figures_are_right", _("Yes, that much honey was drawn")),
        ):
            add[f"{what}_{number}"] = forms.BooleanField(label=said, required=False)

    def clean(self) -> dict:
        data = super().clean() or {}
        self._filled_numbers = []
        rows = []
        for number in self.numbers:
            told = {name: data.pop(f"{name}_{number}", None) for name in ROW_FIELDS}
            figures = ("pieces_filled", "pieces_broken", "labour_minutes")
            is_used = any(told[name] is not None for name in figures)
            if told["product"] is None:
                if is_used and f"product_{number}" not in self.errors:
                    self.add_error(f"product_{number}", _("Choose what was filled."))
                continue
            if not is_used and not told["lot_code"]:
                continue
            self._filled_numbers.append(number)
            rows.append(RowFilled(**{**told, "pieces_broken": told["pieces_broken"] or 0}))
        data["rows"] = rows
        data.pop("row_count", None)
        data["skimmed_grams"] = data.pop("skimmed", None) or 0
        for old, new in (
            ("depth_before", "before_mm"),
            ("depth_after", "after_mm"),
            ("weight_before", "before_grams"),
            ("weight_after", "after_grams"),
        ):
            data[new] = data.pop(old, None)
        return data

    def field_of(self, parameter: str | None) -> str | None:
        # The service counts the rows that are filled; the sheet has empty ones between.
        match (parameter or "").split("."):
            case ["rows", index, name]:
                return f"{name}_{self._filled_numbers[int(index)]}"
            case ["rows", index]:
                return f"pieces_filled_{self._filled_numbers[int(index)]}"
        return super().field_of(parameter)


def initial_of(sheet: BottlingDay) -> dict[str, Any]:
    """Return what the form of a saved sheet shows first."""
    return {
        "version": sheet.version,
        "depth_before": None if sheet.before_mm is None else as_length(sheet.before_mm),
        "depth_after": None if sheet.after_mm is None else as_length(sheet.after_mm),
        "celsius": None if sheet.celsius is None else as_temperature(sheet.celsius),
        "weight_before": None if sheet.before_grams is None else as_weight(sheet.before_grams),
        "weight_after": None if sheet.after_grams is None else as_weight(sheet.after_grams),
        "skimmed": as_weight(sheet.skimmed_grams) if sheet.skimmed_grams else None,
        "target": sheet.target_id,
        "note": sheet.note,
    }


class EstimateSettleForm(ActForm):
    """What is left in a vessel whose runs are estimated: a dip, or a weight."""

    use_required_attribute = False
    fields_of_parameters = {"depth_mm": "depth", "honey_grams": "weight"}

    depth = LengthField(label=_("Depth of the honey"), required=False)
    celsius = TemperatureField(label=_("Temperature of the honey"), required=False)
    weight = WeightField(
        label=_("Weight of the honey that is left"),
        required=False,
        help_text=_("Without the weight of the vessel."),
    )
    measured_on = DayField(label=_("Day"))
    figures_are_right = forms.BooleanField(
        label=_("Yes, that much honey was drawn"), required=False
    )

    def __init__(self, *args: Any, source: Place, first_day: date, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.source = source
        self.first_day = first_day
        self.fields["celsius"].initial = usual_temperature()
        self.fields["measured_on"].initial = first_day

    @property
    def asks_to_confirm(self) -> bool:
        """Whether the box that confirms odd figures is shown."""
        return self.is_bound and bool(
            self.errors.get("figures_are_right") or self["figures_are_right"].value()
        )

    def clean_measured_on(self) -> date:
        day: date = self.cleaned_data["measured_on"]
        if day < self.first_day:
            raise ValidationError(_("The runs were filled after that day. Check the day."))
        return day


def _whole(typed: Any, *, most: int) -> int:
    """Return a hidden whole number as the page sent it; 0 where it is none."""
    try:
        return max(0, min(most, int(Decimal(str(typed)))))
    except (ArithmeticError, ValueError):
        return 0
