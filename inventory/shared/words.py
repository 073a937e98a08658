"""Figures in plain text, for sentences: weights, pieces and money with their units."""

from collections.abc import Callable, Sequence
from decimal import MAX_PREC, Decimal, localcontext

from django.utils.formats import number_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from inventory.physics import units
from inventory.physics.units import GALLON_LITRES, MM_PER_INCH
from inventory.shared import conventions, weights
from inventory.shared.money import price_places, with_currency

MINUS = "−"
# A gram is 0.002 lb and a millilitre 0.0003 gal: with four decimals any two that differ show it.
DECIMALS_MAX = 4

# The words of the United States standard, as `inventory.physics.grading` gives them.
COLOURS = {
    "Water White": gettext_lazy("water white"),
    "Extra White": gettext_lazy("extra white"),
    "White": gettext_lazy("white"),
    "Extra Light Amber": gettext_lazy("extra light amber"),
    "Light Amber": gettext_lazy("light amber"),
    "Amber": gettext_lazy("amber"),
    "Dark Amber": gettext_lazy("dark amber"),
}
# A grade is that of the worst factor, so moisture alone tells the best that it can be.
GRADES = {
    "U.S. Grade A": gettext_lazy("by moisture, at best U.S. Grade A"),
    "U.S. Grade C": gettext_lazy("by moisture, at best U.S. Grade C"),
    "Substandard": gettext_lazy("by moisture Substandard"),
}


def colour(colour_class: str) -> str:
    """Say a colour class in the reader's language."""
    return str(COLOURS[colour_class])


def grade(moisture_grade: str) -> str:
    """Say the best grade that a moisture allows, in the reader's language."""
    return str(GRADES[moisture_grade])


def weight(grams: int | Decimal, decimals: int | None = None) -> str:
    """Write grams in the unit of the house: "1,284 lb" or "582 kg", one decimal below a hundred.

    Where a weight stands beside others that it is compared or added up with, `decimals` says how
    many each of them has.
    """
    return _with_unit(weights.in_units(grams), weights.unit_word(), decimals)


def weights_apart(*grams: int) -> tuple[str, ...]:
    """Write weights that are compared: with as many decimals as tell those apart that differ.

    200,035 g and 200,000 g would both be "441 lb"; they are written "441.0 lb" and "440.9 lb".
    """
    return _apart(weight, grams)


def volumes_apart(*litres: Decimal) -> tuple[str, ...]:
    """Write volumes that are compared, as `weights_apart` does weights."""
    return _apart(volume, litres)


def other_weight(grams: int | Decimal) -> str:
    """Write grams in the unit that is not the house's: in kilograms, or in pounds."""
    if conventions.current().is_metric:
        return _with_unit(Decimal(grams) / units.POUND_GRAMS, _("lb"))
    return _with_unit(Decimal(grams) / 1000, _("kg"))


def grams(number: Decimal, decimals: int = 1) -> str:
    """Write a weight that a jar scale tells: "454.2 g"."""
    return _("%(number)s g") % {"number": _number(number, decimals)}


def volume(litres: Decimal, decimals: int | None = None) -> str:
    """Write litres as the house does, with one decimal below a hundred, or `decimals`.

    "107 gal" of the United States, or "405 L".
    """
    if conventions.current().is_metric:
        return _with_unit(Decimal(litres), _("L"), decimals)
    return us_gallons(litres, decimals)


def us_gallons(litres: Decimal, decimals: int | None = None) -> str:
    """Write litres as US gallons, wherever the house is."""
    return _with_unit(Decimal(litres) / GALLON_LITRES, _("gal"), decimals)


def small_volume(millilitres: Decimal) -> str:
    """Write what a jar holds: "320 ml", and from a litre on "3.86 L"."""
    if millilitres < 1000:
        return _("%(number)s ml") % {"number": _number(millilitres, 0)}
    return _("%(number)s L") % {"number": _number(millilitres / 1000, 2)}


def depth(mm: int) -> str:
    """Write millimetres as the house measures: "52.0 in (1,321 mm)" or "132.1 cm"."""
    if conventions.current().is_metric:
        return _("%(number)s cm") % {"number": _number(Decimal(mm) / 10, 1)}
    return _("%(inches)s in (%(mm)s mm)") % {
        "inches": _number(Decimal(mm) / MM_PER_INCH, 1),
        "mm": _number(mm, 0),
    }


def temperature(celsius: Decimal) -> str:
    """Write a temperature as it was typed in either unit: "92 °F (33.3 °C)", or "33.3 °C"."""
    # A tenth of a degree Celsius tells no more than whole degrees Fahrenheit.
    decimals = 0 if round(celsius, 1) == round(celsius) else 1
    if conventions.current().is_metric:
        return f"{_number(celsius, decimals)} °C"
    fahrenheit = units.fahrenheit(Decimal(celsius))
    return f"{_number(fahrenheit, 0)} °F ({_number(celsius, decimals)} °C)"


def pieces(count: int) -> str:
    """Write whole pieces: "1 piece", "96 pieces"."""
    return ngettext("%(count)s piece", "%(count)s pieces", count) % {"count": _number(count, 0)}


def days(count: int) -> str:
    """Write whole days: "1 day", "96 days"."""
    return ngettext("%(days)s day", "%(days)s days", count) % {"days": _number(count, 0)}


def money(cents: int) -> str:
    """Write cents in the house's currency: "$1,284.50"."""
    return with_currency(_number(Decimal(cents) / 100, 2).replace("-", MINUS))


def unit_price(price: Decimal) -> str:
    """Write a price by weight or a piece: two decimals, up to four where they are not nought."""
    price = round(Decimal(price), 4)
    return with_currency(_number(price, price_places(price)).replace("-", MINUS))


def price_by_weight(price: Decimal) -> str:
    """Write a price with the house's unit of weight that it is for: "$2.15 a lb"."""
    return _("%(price)s a %(lb)s") % {"price": unit_price(price), "lb": weights.unit_word()}


def number(figure: int | Decimal) -> str:
    """Write a figure in the house's style, with the decimals it has: "1,000", "0.5"."""
    figure = Decimal(figure)
    return _number(figure, max(0, -int(figure.as_tuple().exponent)))


def _apart(write: Callable[..., str], figures: Sequence[int | Decimal]) -> tuple[str, ...]:
    different = len(set(figures))
    for decimals in (None, *range(1, DECIMALS_MAX + 1)):
        written = tuple(write(figure, decimals) for figure in figures)
        if len(set(written)) == different:
            break
    return written


def _with_unit(number: Decimal, unit: str, decimals: int | None = None) -> str:
    if decimals is None:
        decimals = 0 if abs(number) >= Decimal("99.95") else 1
    return f"{_number(number, decimals)} {unit}"


def _number(number: Decimal | int, decimals: int) -> str:
    # A sentence that refuses a figure may have to repeat it, however long it is.
    with localcontext(prec=MAX_PREC):
        rounded = round(Decimal(number), decimals)
    return number_format(rounded, decimals, force_grouping=True)
