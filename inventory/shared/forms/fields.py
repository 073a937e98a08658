"""The fields of every form for figures and days: one for numbers, money, quantities and days each.

What is typed is read by the rule of `inventory.shared.typed`, with the house's decimal sign. What
comes out is exact and as it is kept: a weight in whole grams, a depth in whole millimetres, a
temperature in °C, money in whole cents. A quantity's unit is chosen beside the number or typed
after it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from decimal import ROUND_HALF_EVEN, Decimal, localcontext
from functools import cache, partial
from typing import TYPE_CHECKING, Any, cast

from django import forms
from django.core.exceptions import ValidationError
from django.utils import timezone
from django.utils.formats import get_format
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from inventory.physics import units
from inventory.physics.units import MM_PER_INCH
from inventory.shared import conventions
from inventory.shared.money import amount, symbol
from inventory.shared.typed import MESSAGES, Mistyped, first_unit, read_number, read_quantity

if TYPE_CHECKING:
    from pint import Quantity

# The most of anything that is counted in whole numbers; more is a slip of the finger, and the
# services say so earlier where a thing has a limit of its own.
WHOLE_NUMBER_MAX = 1_000_000_000
# A quantity of so many of its unit, or more, is a slip of the finger.
QUANTITY_LIMIT = 100_000_000
# The first and last days that there are have no day before and after them, and no time of day.
YEAR_MIN, YEAR_MAX = 1900, 2200
# The units that a metric house is offered last.
IMPERIAL = {"lb", "oz", "in", "gal", "fl_oz", "F"}


def decimal_sign() -> str:
    """Return the house's decimal sign, "." or ",", with which pages write and forms read."""
    return str(get_format("DECIMAL_SEPARATOR"))


def metric_first(units: Sequence[tuple[str, Any]]) -> list[tuple[str, Any]]:
    """Return choices of units, in a metric house with the others last."""
    if not conventions.current().is_metric:
        return list(units)
    return sorted(units, key=lambda unit: unit[0] in IMPERIAL)


def as_typed(number: Any) -> Any:
    """Return a decimal as a person would type it, so that it can be read again; others as is."""
    return f"{number:f}".replace(".", decimal_sign()) if isinstance(number, Decimal) else number


def refusal(error: Mistyped, messages: Mapping[str, Any]) -> ValidationError:
    """Return what a form says of a figure that cannot be read, in a field's own words if any."""
    message = messages.get(error.code, MESSAGES[error.code])
    return ValidationError(message, code=error.code, params=error.parts)


class DayInput(forms.DateInput):
    """The browser's own calendar, which reads and writes 2026-07-31 in every language."""

    input_type = "date"

    def __init__(self, attrs: dict[str, Any] | None = None) -> None:
        super().__init__(attrs, format="%Y-%m-%d")


class DayField(forms.DateField):
    """A day, also as people type it where the browser has no calendar of its own."""

    widget = DayInput
    default_error_messages = {"far_off": _("Choose a year from 1900 to 2200.")}

    def to_python(self, value: Any) -> Any:
        """Return the day; raises ValidationError for one that no figure can be counted from."""
        day = super().to_python(value)
        if day is not None and not YEAR_MIN <= day.year <= YEAR_MAX:
            raise ValidationError(self.error_messages["far_off"], code="far_off")
        return day


class ActDayField(DayField):
    """The day on which an act happened: today, unless another is chosen; on one line of the page.

    Comes out as None where it is emptied, which services take for now.
    """

    def __init__(self, **kwargs: Any) -> None:
        usual = {
            "label": _("Day"),
            "required": False,
            "initial": timezone.localdate,
            "template_name": "_act_day.html",
        }
        super().__init__(**{**usual, **kwargs})


class TimeInput(forms.TimeInput):
    """The browser's own clock."""

    input_type = "time"

    def __init__(self, attrs: dict[str, Any] | None = None) -> None:
        super().__init__(attrs, format="%H:%M")


class TimeOfDayField(forms.TimeField):
    """An hour and minutes, beside a day."""

    widget = TimeInput
    default_error_messages = {"invalid": _("Enter a time, for example 14:30.")}


class NumberField(forms.DecimalField):
    """A decimal number; comes out as exactly the Decimal that was typed."""

    widget = forms.TextInput
    input_mode = "decimal"
    default_error_messages = {
        "max_digits": _("That has too many digits. Check the figure."),
        "max_whole_digits": _("That is far too much. Check the figure."),
        "max_decimal_places": _("Enter at most %(max)s decimals."),
        "min_value": _("Enter %(limit_value)s or more."),
        "max_value": _("Enter %(limit_value)s or less."),
    }

    def __init__(self, *, error_messages: Mapping[str, Any] | None = None, **kwargs: Any) -> None:
        messages = dict(error_messages or {})
        if "invalid" in messages:
            messages.setdefault("not_a_number", messages["invalid"])
        super().__init__(error_messages=messages, **kwargs)

    def to_python(self, value: Any) -> Any:
        """Return the number that was typed, None for an empty text; raises ValidationError."""
        if not isinstance(value, str):
            return super().to_python(value)
        if not value.strip():
            return None
        try:
            return read_number(value, decimal_sign=decimal_sign())
        except Mistyped as error:
            raise refusal(error, self.error_messages) from None

    def prepare_value(self, value: Any) -> Any:
        return as_typed(value)

    def widget_attrs(self, widget: forms.Widget) -> dict[str, Any]:
        # `data-typed` has the page show what it reads, where that is not plain from what is typed.
        return {"inputmode": self.input_mode, "autocomplete": "off", "data-typed": "number"}


class WholeNumberField(NumberField):
    """A number without decimals; comes out as an int."""

    input_mode = "numeric"
    default_error_messages = {
        "not_a_number": _("Enter a whole number."),
        "invalid": _("Enter a whole number."),
        "too_much": _("That is far too much. Check the figure."),
        "too_long": _("That is far too much. Check the figure."),
    }

    def to_python(self, value: Any) -> Any:
        number = super().to_python(value)
        if number is None:
            return None
        if number % 1:
            raise ValidationError(self.error_messages["invalid"], code="invalid")
        if abs(number) > WHOLE_NUMBER_MAX:
            raise ValidationError(self.error_messages["too_much"], code="too_much")
        return number

    def clean(self, value: Any) -> Any:
        number = super().clean(value)
        return None if number is None else int(number)


class FileField(forms.FileField):
    """One file; what it is, and whether it is accepted, is found out where it is kept."""

    widget = forms.FileInput
    default_error_messages = {
        "required": _("Choose a file."),
        "invalid": _("Choose a file."),
        "missing": _("Choose a file."),
        "contradiction": _("Choose a file."),
        "empty": _("This file is empty. Choose another one."),
        "max_length": _("The name of this file is too long. Give it a shorter one."),
    }


class CodeChoiceField(forms.ModelChoiceField):  # type: ignore[type-arg]  # only stubs have it
    """One row, chosen by its code."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(to_field_name="code", **kwargs)

    def to_python(self, value: Any) -> Any:
        # PostgreSQL does not even take the question.
        if isinstance(value, str) and "\x00" in value:
            raise ValidationError(self.error_messages["invalid_choice"], code="invalid_choice")
        return super().to_python(value)


def offer_the_same(fields: Iterable[forms.Field]) -> None:
    """Let choices of one form that offer the same rows read them once, when first shown."""
    same = [cast(forms.ChoiceField, field) for field in fields]
    read: Callable[[], list[Any]] = cache(partial(list, same[0].choices))
    for field in same:
        field.choices = read


class QuantityWidget(forms.MultiWidget):
    """A number with its unit beside it; `typed` is what the page may read in the number's box."""

    template_name = "django/forms/widgets/quantity.html"
    # One label for the number; the unit beside it says of itself what it is.
    use_fieldset = False

    def __init__(
        self,
        units: Callable[[], Sequence[tuple[str, str | Promise]]],
        attrs: dict[str, Any] | None = None,
        *,
        typed: str = "number",
    ) -> None:
        number = {"inputmode": "decimal", "autocomplete": "off", "data-typed": typed}
        super().__init__(
            widgets={
                "": forms.TextInput(attrs=number),
                "unit": forms.Select(
                    choices=units,  # type: ignore[arg-type]  # the stubs know no callable
                    attrs={"aria-label": _("unit")},
                ),
            },
            attrs=attrs,
        )

    def id_for_label(self, id_: str) -> str:
        return f"{id_}_0" if id_ else id_

    def decompress(self, value: Any) -> Any:
        return value if isinstance(value, list | tuple) else [value, None]


class QuantityField(forms.MultiValueField):
    """A figure of one `kind` with its unit out of `units`; comes out as `to_rest` makes it.

    A unit typed with the figure, as in "1 lb 6.4 oz", goes before the one chosen beside it. The
    initial value is a pair of number and unit, or only a number in the first unit.
    """

    # A key of `inventory.shared.typed.WORDS`, or "number" where no unit is typed.
    kind = "number"
    units: Sequence[tuple[str, str | Promise]] = []
    default_error_messages = {
        "required": _("Enter a figure."),
        "incomplete": _("Enter a figure."),
        "negative": _("Enter a figure of 0 or more."),
        "too_much": _("That is far too much. Check the figure."),
    }

    def __init__(
        self,
        *,
        required: bool = True,
        units: Sequence[tuple[str, str | Promise]] | None = None,
        **kwargs: Any,
    ) -> None:
        if units:
            self.units = units
        super().__init__(
            fields=(
                forms.CharField(required=required),
                forms.ChoiceField(
                    required=False,
                    choices=self.choices,
                    error_messages={
                        "invalid_choice": _("%(value)s does not fit here. Choose another unit.")
                    },
                ),
            ),
            widget=QuantityWidget(self.choices, typed=self.kind),
            required=required,
            require_all_fields=False,
            **kwargs,
        )

    def choices(self) -> Sequence[tuple[str, str | Promise]]:
        """Return the units, in a metric house the metric ones first."""
        return metric_first(self.units)

    def prepare_value(self, value: Any) -> Any:
        if isinstance(value, list | tuple):
            return type(value)(as_typed(part) for part in value)
        return as_typed(value)

    def clean(self, value: Any) -> Any:
        return super().clean(self.prepare_value(value))

    def compress(self, data_list: Any) -> Any:
        if not data_list or not data_list[0]:
            return None
        typed, unit = data_list
        try:
            return self.read(typed, unit or self.choices()[0][0])
        except Mistyped as error:
            raise refusal(error, self.error_messages) from None

    def read(self, typed: str, unit: str) -> Any:
        """Return what was typed as it is kept; raises `Mistyped` and ValidationError."""
        sign = decimal_sign()
        quantity = read_quantity(typed, kind=self.kind, unit=unit, decimal_sign=sign)
        unit = first_unit(typed, kind=self.kind, unit=unit)
        with localcontext(prec=60):
            # Converting back is off only in a later decimal: pint keeps the factor with as many
            # digits as were wanted when it was first asked for.
            self.check(round(quantity.m_as(unit), 12))
            return self.to_rest(quantity, unit)

    def check(self, number: Decimal) -> None:
        """Raise ValidationError for a number that is a slip of the finger in any unit."""
        if number < 0:
            raise ValidationError(self.error_messages["negative"], code="negative")
        if number >= QUANTITY_LIMIT:
            raise ValidationError(self.error_messages["too_much"], code="too_much")

    def to_rest(self, quantity: Quantity[Decimal], unit: str) -> Any:
        """Return a quantity as it is kept; `unit` is the first that was typed, or was chosen."""
        raise NotImplementedError


class WeightField(QuantityField):
    """A weight in pounds, kilograms, ounces or grams; comes out in whole grams."""

    kind = "weight"
    units = [("lb", _("lb")), ("kg", _("kg")), ("oz", _("oz")), ("g", _("g"))]

    def to_rest(self, quantity: Quantity[Decimal], unit: str) -> int:
        return units.round_grams(quantity.m_as("g"))


class LengthField(QuantityField):
    """A depth or length in inches, centimetres or millimetres; comes out in whole millimetres."""

    kind = "length"
    units = [("in", _("in")), ("cm", _("cm")), ("mm", _("mm"))]
    MILLIMETRES = {"in": MM_PER_INCH, "cm": Decimal(10), "mm": Decimal(1)}

    def to_rest(self, quantity: Quantity[Decimal], unit: str) -> int:
        millimetres: Decimal = quantity.m_as("mm")
        return int(millimetres.quantize(Decimal(1), ROUND_HALF_EVEN))


class VolumeField(QuantityField):
    """A volume in US gallons or litres; comes out in litres to a millilitre."""

    kind = "volume"
    units = [("gal", _("gal")), ("L", _("L")), ("mL", _("ml"))]

    def to_rest(self, quantity: Quantity[Decimal], unit: str) -> Decimal:
        litres: Decimal = quantity.m_as("L")
        return litres.quantize(Decimal("0.001"))


class TemperatureField(QuantityField):
    """A temperature in °F or °C, chosen beside the number; comes out in °C to a tenth."""

    units = [("F", _("°F")), ("C", _("°C"))]

    def read(self, typed: str, unit: str) -> Decimal:
        number = read_number(typed, decimal_sign=decimal_sign())
        self.check(number)
        celsius = units.celsius(number) if unit == "F" else number
        return celsius.quantize(Decimal("0.1"), ROUND_HALF_EVEN)


class MoneyInput(forms.TextInput):
    """A figure with the sign of the house's currency before it."""

    template_name = "django/forms/widgets/money.html"

    def get_context(self, name: str, value: Any, attrs: dict[str, Any] | None) -> dict[str, Any]:
        sign = symbol() or conventions.current().currency
        return super().get_context(name, value, attrs) | {"sign": sign}


class MoneyField(NumberField):
    """An amount of money with at most two decimals; comes out in whole cents."""

    widget = MoneyInput

    def __init__(self, *, min_value: int | None = 0, **kwargs: Any) -> None:
        super().__init__(max_digits=12, decimal_places=2, min_value=min_value, **kwargs)

    def clean(self, value: Any) -> Any:
        number = super().clean(value)
        return None if number is None else int(number.scaleb(2))

    def prepare_value(self, value: Any) -> Any:
        return as_typed(amount(value) if isinstance(value, int) else value)
