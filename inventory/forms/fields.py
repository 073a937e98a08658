"""Form fields for figures with their units: what is typed stays exact, what comes out is at rest.

A weight comes out in whole grams, a depth in whole millimetres, a temperature in °C, money in
whole cents. The unit is chosen beside the number.
"""

from decimal import ROUND_HALF_EVEN, Decimal

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext_lazy as _

from inventory.money import amount
from inventory.physics import units


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

    def __init__(self, *, required: bool = True, units=None, **kwargs) -> None:
        choices = units or self.units
        super().__init__(
            fields=(
                forms.DecimalField(
                    required=required, max_digits=14, decimal_places=6, localize=True
                ),
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
            raise ValidationError(_("Enter a figure of nothing or more."), code="negative")
        return self.to_rest(number, unit or self._default_unit)

    def to_rest(self, number: Decimal, unit: str):
        raise NotImplementedError


class WeightField(QuantityField):
    """A weight in pounds, kilograms, ounces or grams; comes out in whole grams."""

    units = [("lb", _("lb")), ("kg", _("kg")), ("oz", _("oz")), ("g", _("g"))]

    def to_rest(self, number: Decimal, unit: str) -> int:
        return units.round_grams(units.grams_from(number, unit))


class LengthField(QuantityField):
    """A depth or length in inches, centimetres or millimetres; comes out in whole millimetres."""

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


class MoneyField(forms.DecimalField):
    """An amount of money with at most two decimals; comes out in whole cents."""

    def __init__(self, *, min_value=0, **kwargs) -> None:
        super().__init__(max_digits=12, decimal_places=2, min_value=min_value, **kwargs)
        self.widget.attrs.update({"inputmode": "decimal"})

    def clean(self, value):
        number = super().clean(value)
        return None if number is None else int(number.scaleb(2))

    def prepare_value(self, value):
        return amount(value) if isinstance(value, int) else value
