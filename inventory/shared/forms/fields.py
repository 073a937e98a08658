"""Form fields for figures with their units: what is typed stays exact, what comes out is at rest.

A weight comes out in whole grams, a depth in whole millimetres, a temperature in °C, money in
whole cents. The unit is chosen beside the number.
"""

import re
from decimal import ROUND_HALF_EVEN, Decimal
from typing import Any

from django import forms
from django.conf import settings
from django.core.exceptions import ValidationError
from django.utils.formats import get_format
from django.utils.translation import gettext_lazy as _

from inventory.physics import units
from inventory.shared.money import amount, symbol

# The fractions that have a sign of their own, as some keyboards write them.
SMALL_FRACTIONS = str.maketrans(
    {
        "½": " 1/2",
        "¼": " 1/4",
        "¾": " 3/4",
        "⅛": " 1/8",
        "⅜": " 3/8",
        "⅝": " 5/8",
        "⅞": " 7/8",
        "⁄": "/",
    }
)

# The most of anything that is counted in whole numbers; more is a slip of the finger, and the
# services say so earlier where a thing has a limit of its own.
WHOLE_NUMBER_MAX = 1_000_000_000


def plain_number(typed: str) -> str:
    """Return a number as it was typed, without spaces and thousands marks: "1,250.5" → "1250.5".

    Raises `ValidationError` for a mark that parts no thousands: "12,5" is twelve and a half to
    one person and a slip for 125 to another, and a guess would go into the books.
    """
    text = "".join(typed.split())
    thousands, point = get_format("THOUSAND_SEPARATOR"), get_format("DECIMAL_SEPARATOR")
    mark, end = re.escape(thousands), re.escape(point)
    if thousands in text and re.fullmatch(rf"[+-]?[\d{mark}{end}]*", text):
        if not re.fullmatch(rf"[+-]?\d{{1,3}}({mark}\d{{3}})+({end}\d*)?", text):
            raise ValidationError(
                _(
                    "“%(typed)s” can be read in two ways. Write decimals as in 12%(point)s5, "
                    "thousands as in 1%(thousands)s250."
                ),
                code="ambiguous",
                params={"typed": typed.strip()[:20], "point": point, "thousands": thousands},
            )
        text = text.replace(thousands, "")
    return text.replace(point, ".")


def with_fraction(typed: str) -> str:
    """Return a figure read off a stick or dial in decimals: "12 1/2" or "12-1/2" → "12.5".

    What is no whole number with halves, quarters, eighths or sixteenths comes back as typed. Those
    have at most four decimals, so nothing is rounded.
    """
    text = typed.translate(SMALL_FRACTIONS).strip()
    found = re.fullmatch(r"(?:(\d{1,6})(?:\s*-\s*|\s+))?(\d{1,2})\s*/\s*(2|4|8|16)", text)
    if not found:
        return typed
    whole, part, parts = (int(figure or 0) for figure in found.groups())
    if part >= parts:
        return typed
    return str(whole + Decimal(part) / parts).replace(".", get_format("DECIMAL_SEPARATOR"))


class DayInput(forms.DateInput):
    """The browser's own calendar, which reads and writes 2026-07-31 in every language."""

    input_type = "date"

    def __init__(self, attrs=None) -> None:
        super().__init__(attrs, format="%Y-%m-%d")


def date_field(label, **kwargs) -> forms.DateField:
    """A day, also as people type it where the browser has no calendar of its own."""
    return forms.DateField(
        label=label, widget=DayInput, input_formats=["%Y-%m-%d", "%m/%d/%Y"], **kwargs
    )


class FigureField(forms.DecimalField):
    """A decimal number as people type it, with or without thousands marks and spaces."""

    widget = forms.TextInput
    default_error_messages = {
        "max_digits": _("That has too many digits. Check the figure."),
        "max_whole_digits": _("That is far too much. Check the figure."),
        "max_decimal_places": _("Enter at most %(max)s decimals."),
        "min_value": _("Enter %(limit_value)s or more."),
        "max_value": _("Enter %(limit_value)s or less."),
    }

    def to_python(self, value: Any) -> Decimal | None:
        return super().to_python(plain_number(value) if isinstance(value, str) else value)

    def widget_attrs(self, widget: forms.Widget) -> dict[str, Any]:
        return super().widget_attrs(widget) | {"inputmode": "decimal", "autocomplete": "off"}


class ScaleField(FigureField):
    """A figure as a stick or scale is read: "12.5", or "12 1/2" in halves to sixteenths."""

    def to_python(self, value: Any) -> Decimal | None:
        return super().to_python(with_fraction(value) if isinstance(value, str) else value)


class WholeNumberField(forms.IntegerField):
    """A whole number as people type it, with or without thousands marks and spaces."""

    widget = forms.TextInput
    default_error_messages = {
        "invalid": _("Enter a whole number."),
        "too_much": _("That is far too much. Check the figure."),
        "min_value": _("Enter %(limit_value)s or more."),
        "max_value": _("Enter %(limit_value)s or less."),
    }

    def to_python(self, value: Any) -> int | None:
        number = super().to_python(plain_number(value) if isinstance(value, str) else value)
        if number is not None and abs(number) > WHOLE_NUMBER_MAX:
            raise ValidationError(self.error_messages["too_much"], code="too_much")
        return number

    def widget_attrs(self, widget: forms.Widget) -> dict[str, Any]:
        return super().widget_attrs(widget) | {"inputmode": "numeric", "autocomplete": "off"}


class CodeChoiceField(forms.ModelChoiceField):
    """One row, chosen by its code."""

    def __init__(self, **kwargs) -> None:
        super().__init__(to_field_name="code", **kwargs)

    def to_python(self, value: Any) -> Any:
        # PostgreSQL does not even take the question.
        if isinstance(value, str) and "\x00" in value:
            raise ValidationError(self.error_messages["invalid_choice"], code="invalid_choice")
        return super().to_python(value)


class QuantityWidget(forms.MultiWidget):
    """A number with its unit beside it."""

    template_name = "django/forms/widgets/quantity.html"
    # One label for the number; the unit beside it says of itself what it is.
    use_fieldset = False

    def __init__(self, units: list[tuple[str, str]], attrs=None) -> None:
        super().__init__(
            widgets={
                "": forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"}),
                "unit": forms.Select(choices=units, attrs={"aria-label": _("unit")}),
            },
            attrs=attrs,
        )

    def id_for_label(self, id_):
        return f"{id_}_0" if id_ else id_

    def decompress(self, value):
        return value if isinstance(value, list | tuple) else [value, None]


class QuantityField(forms.MultiValueField):
    """A decimal number and a unit out of `units`, turned into one figure by `to_rest`.

    Its initial value is a pair of number and unit, or only a number in the first unit.
    """

    units: list[tuple[str, str]] = []
    number_field = FigureField

    def __init__(self, *, required: bool = True, units=None, **kwargs) -> None:
        choices = units or self.units
        super().__init__(
            fields=(
                self.number_field(required=required, max_digits=14, decimal_places=6),
                forms.ChoiceField(
                    required=False,
                    choices=choices,
                    error_messages={
                        "invalid_choice": _("%(value)s does not fit here. Choose another unit.")
                    },
                ),
            ),
            widget=QuantityWidget(choices),
            required=required,
            require_all_fields=False,
            error_messages={
                "required": _("Enter a figure."),
                "incomplete": _("Enter a figure."),
                **kwargs.pop("error_messages", {}),
            },
            **kwargs,
        )
        self._default_unit = choices[0][0]

    def compress(self, data_list):
        if not data_list or data_list[0] is None:
            return None
        number, unit = data_list
        if number < 0:
            raise ValidationError(_("Enter a figure of 0 or more."), code="negative")
        return self.to_rest(number, unit or self._default_unit)

    def to_rest(self, number: Decimal, unit: str):
        raise NotImplementedError


class WeightField(QuantityField):
    """A weight in pounds, kilograms, ounces or grams; comes out in whole grams.

    It may be written in fractions, as a scale with a dial shows them.
    """

    number_field = ScaleField
    units = [("lb", _("lb")), ("kg", _("kg")), ("oz", _("oz")), ("g", _("g"))]

    def to_rest(self, number: Decimal, unit: str) -> int:
        return units.round_grams(units.grams_from(number, unit))


class LengthField(QuantityField):
    """A depth or length in inches, centimetres or millimetres; comes out in whole millimetres.

    Inches may be written in fractions, as a stick or tape shows them.
    """

    number_field = ScaleField
    units = [("in", _("in")), ("cm", _("cm")), ("mm", _("mm"))]
    MILLIMETRES = {"in": Decimal("25.4"), "cm": Decimal(10), "mm": Decimal(1)}

    def to_rest(self, number: Decimal, unit: str) -> int:
        return int((number * self.MILLIMETRES[unit]).quantize(Decimal(1), ROUND_HALF_EVEN))


class VolumeField(QuantityField):
    """A volume in US gallons or litres; comes out in litres to a millilitre."""

    units = [("gal", _("gal")), ("L", _("L")), ("mL", _("ml"))]

    def to_rest(self, number: Decimal, unit: str) -> Decimal:
        return units.litres_from(number, unit).quantize(Decimal("0.001"))


class TemperatureField(QuantityField):
    """A temperature in °F or °C; comes out in °C to a tenth."""

    units = [("F", _("°F")), ("C", _("°C"))]

    def to_rest(self, number: Decimal, unit: str) -> Decimal:
        celsius = (number - 32) * 5 / 9 if unit == "F" else number
        return celsius.quantize(Decimal("0.1"), ROUND_HALF_EVEN)


class MoneyInput(forms.TextInput):
    """A figure with the sign of the house's currency before it."""

    template_name = "django/forms/widgets/money.html"

    def get_context(self, name: str, value: Any, attrs: dict[str, Any] | None) -> dict[str, Any]:
        sign = symbol() or settings.CURRENCY
        return super().get_context(name, value, attrs) | {"sign": sign}


class MoneyField(FigureField):
    """An amount of money with at most two decimals; comes out in whole cents."""

    widget = MoneyInput

    def __init__(self, *, min_value=0, **kwargs) -> None:
        super().__init__(max_digits=12, decimal_places=2, min_value=min_value, **kwargs)

    def clean(self, value):
        number = super().clean(value)
        return None if number is None else int(number.scaleb(2))

    def prepare_value(self, value):
        return amount(value) if isinstance(value, int) else value
