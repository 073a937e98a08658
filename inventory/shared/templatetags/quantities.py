"""Filters that show whole grams, litres, cents and pieces with their units.

A template never shows a bare number: the unit is set smaller beside it. Filters take the whole
numbers that are kept (grams, cents, pieces) or Decimals, and answer safe HTML. Nothing at all
(`None` or an empty string) shows as a dash.
"""

from collections.abc import Iterable
from decimal import MAX_PREC, ROUND_HALF_UP, Decimal, InvalidOperation, localcontext
from operator import attrgetter

from django import template
from django.utils.formats import number_format
from django.utils.html import format_html
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from inventory.physics.units import GALLON_LITRES, POUND_GRAMS
from inventory.shared import conventions, weights
from inventory.shared.coins import to_coins
from inventory.shared.money import price_places, symbol, with_currency

register = template.Library()

MINUS = "−"
# As long as a typed figure is shown again.
DIGITS_MAX = 100_000
NOTHING = mark_safe('<span class="nothing">–</span>')


def _decimal(value: object) -> Decimal | None:
    if value is None or value == "":
        return None
    try:
        number = value if isinstance(value, Decimal) else Decimal(str(value))
    except InvalidOperation:
        return None
    # A few characters can stand for a number of a billion digits: "1e999999999".
    return number if number.is_finite() and number.adjusted() <= DIGITS_MAX else None


def _rounded(number: Decimal, places: int) -> Decimal:
    # A page may have to repeat a figure that was typed, however long it is.
    with localcontext(prec=MAX_PREC):
        return number.quantize(Decimal(1).scaleb(-places), rounding=ROUND_HALF_UP)


def _plain(number: Decimal, places: int) -> str:
    """Return a number with thousands separators, rounded half up, with a true minus sign."""
    rounded = _rounded(number, places)
    text = number_format(rounded.copy_abs(), decimal_pos=places, force_grouping=True)
    return f"{MINUS}{text}" if rounded < 0 else text


def _quantity(number: str, unit: str) -> SafeString:
    return format_html('<span class="quantity"><b>{}</b> <small>{}</small></span>', number, unit)


def _places(number: Decimal, decimals: int | None = None) -> int:
    """One decimal below a hundred, none from there on: what a scale in a honey house can tell.

    Where figures add up or are multiplied beside each other, the page says how many `decimals`.
    """
    if decimals is not None:
        return decimals
    return 0 if abs(_rounded(number, 1)) >= 100 else 1


def _weight_text(grams: Decimal, decimals: int | None = None) -> str:
    number = weights.in_units(grams)
    return _plain(number, _places(number, decimals))


def _kilograms_text(grams: Decimal, decimals: int | None = None) -> str:
    number = grams / 1000
    return _plain(number, _places(number, decimals))


@register.filter
def weight_of(grams: object, decimals: int | None = None) -> SafeString:
    """Show grams in the house's unit, pounds or kilograms: one decimal below 100, then none.

    `decimals` is for rows that add up (1) or are multiplied by a price (2).
    """
    number = _decimal(grams)
    return NOTHING if number is None else _house_weight(_weight_text(number, decimals))


@register.filter
def kilograms(grams: object, decimals: int | None = None) -> SafeString:
    """Show grams as kilograms: one decimal below 100 kg, none from there on, or `decimals`."""
    number = _decimal(grams)
    return NOTHING if number is None else _quantity(_kilograms_text(number, decimals), _("kg"))


@register.filter
def and_kilograms(grams: object, decimals: int | None = None) -> SafeString:
    """Show kilograms behind the pounds of a sentence: ", 582 kg"; nothing in a metric house."""
    if conventions.current().is_metric:
        return mark_safe("")
    return format_html(", {}", kilograms(grams, decimals))


@register.filter
def kilograms_beside(grams: object) -> SafeString:
    """Show kilograms in brackets beside pounds: " (582 kg)"; nothing in a metric house."""
    if conventions.current().is_metric:
        return mark_safe("")
    return format_html(" ({})", kilograms(grams))


@register.filter
def grams_of(grams: object) -> SafeString:
    """Show whole grams, where a figure is exact."""
    number = _decimal(grams)
    return NOTHING if number is None else _quantity(_plain(number, 0), _("g"))


@register.filter
def weight(grams: object, decimals: int | None = None) -> SafeString:
    """Show as `weight_of`, in a house of pounds with kilograms small beside them."""
    number = _decimal(grams)
    if number is None:
        return NOTHING
    return _weight(_weight_text(number, decimals), _kilograms_text(number, decimals))


def _house_weight(text: str) -> SafeString:
    return _quantity(text, weights.unit_word())


def _weight(weight_text: str, kilograms_text: str) -> SafeString:
    if conventions.current().is_metric:
        return _house_weight(kilograms_text)
    return format_html(
        '<span class="quantity"><b>{}</b> <small>{}</small> '
        '<small class="also">{} {}</small></span>',
        weight_text,
        weights.unit_word(),
        kilograms_text,
        _("kg"),
    )


@register.filter
def weight_of_all(things: Iterable[object], attribute: str = "grams") -> SafeString:
    """Show the sum of the weights that stand in the rows above it, in tenths of the house's unit.

    `things` are what the rows show, `attribute` where each keeps its grams: "lot.quantity_made".
    """
    grams_of = attrgetter(attribute)
    total = sum((_tenths(grams_of(thing)) for thing in things), Decimal(0))
    return _house_weight(_plain(total, 1))


@register.simple_tag
def weight_of_rest(grams: int, *taken: int) -> SafeString:
    """Show what is left of a weight once others are taken off, in the tenths that are shown."""
    return _house_weight(_left_text(grams, taken))


@register.simple_tag
def weight_left(grams: int, *taken: int) -> SafeString:
    """Show as `weight_of_rest`, with kilograms small beside them."""
    kilogram_grams = Decimal(1000)
    return _weight(_left_text(grams, taken), _left_text(grams, taken, kilogram_grams))


@register.simple_tag
def weight_between(before: int, after: int) -> SafeString:
    """Show how much heavier `after` is than `before`, with its sign, in the tenths shown."""
    return _house_weight(_with_plus(_left_text(after, [before])))


def _left_text(grams: int, taken: Iterable[int], unit_grams: Decimal | None = None) -> str:
    return _plain(_tenths(grams, unit_grams) - sum(_tenths(each, unit_grams) for each in taken), 1)


def _tenths(grams: int, unit_grams: Decimal | None = None) -> Decimal:
    return _rounded(grams / (unit_grams or weights.unit_grams()), 1)


def _with_plus(text: str) -> str:
    return f"+{text}" if text[0] != MINUS and text.strip("0.,") else text


@register.filter
def volume_of(litres: object) -> SafeString:
    """Show litres as US gallons, or litres in a metric house: one decimal below 100."""
    number = _decimal(litres)
    if number is None:
        return NOTHING
    if conventions.current().is_metric:
        return _quantity(_plain(number, _places(number)), _("L"))
    number = number / GALLON_LITRES
    return _quantity(_plain(number, _places(number)), _("gal"))


@register.filter
def litres(value: object) -> SafeString:
    """Show litres: one decimal below 100 L, none from there on."""
    number = _decimal(value)
    return NOTHING if number is None else _quantity(_plain(number, _places(number)), _("L"))


@register.filter
def and_litres(value: object) -> SafeString:
    """Show litres behind the gallons of a sentence: ", 405 L"; nothing in a metric house."""
    return mark_safe("") if conventions.current().is_metric else format_html(", {}", litres(value))


def _currency(number: Decimal, places: int) -> SafeString:
    text = _plain(number, places)
    if symbol():
        return format_html('<span class="money">{}</span>', with_currency(text))
    code = conventions.current().currency
    return format_html('<span class="money">{} <small>{}</small></span>', text, code)


@register.filter
def money(cents: object) -> SafeString:
    """Show whole cents in the house's currency."""
    number = _decimal(cents)
    return NOTHING if number is None else _currency(number / 100, 2)


@register.filter
def in_coins(cents: int) -> int:
    """Return what of an amount is paid in cash, by the smallest coin of the house."""
    return to_coins(cents)


@register.filter
def unit_price(price: object) -> SafeString:
    """Show a price by weight or a piece: two decimals, up to four where they are not zero."""
    number = _decimal(price)
    if number is None:
        return NOTHING
    number = _rounded(number, 4)
    return _currency(number, price_places(number))


@register.filter
def other_unit_price(price: object) -> SafeString:
    """Show a price by the house's unit of weight as one by the other unit: "$5.84 a kg".

    Buyers of drums compare offers in both.
    """
    number = _decimal(price)
    if number is None:
        return SafeString()
    house = conventions.current()
    if house.is_metric:
        other, per = _rounded(number * POUND_GRAMS / 1000, 2), _("a lb")
    else:
        other, per = _rounded(number * 1000 / POUND_GRAMS, 2), _("a kg")
    return format_html('<small class="nowrap">{} {}</small>', _currency(other, 2), per)


@register.simple_tag
def is_metric() -> bool:
    """Tell whether the house weighs in kilograms, for what only the other one shows."""
    return conventions.current().is_metric


@register.simple_tag
def weight_unit() -> str:
    """Return the code of the house's unit of weight, for scripts: "lb" or "kg"."""
    return conventions.current().weight_unit


@register.simple_tag
def a_unit() -> str:
    """Say what a price by weight is for, after it: "a lb" or "a kg"."""
    return _("a kg") if conventions.current().is_metric else _("a lb")


@register.simple_tag
def by_unit(text: str) -> str:
    """Put the house's unit of weight into a sentence, as `inventory.shared.weights.in_words`."""
    return weights.in_words(text)


@register.simple_tag
def unit_name() -> str:
    """Return "pound" or "kilogram", for a sentence that has other figures too."""
    return weights.unit_name()


@register.simple_tag
def unit_word() -> str:
    """Return "lb" or "kg", at the head of a column."""
    return weights.unit_word()


@register.filter
def percent(value: object, places: int = 1) -> SafeString:
    """Show a number that already is a percentage (17.4 for 17.4 %)."""
    number = _decimal(value)
    return NOTHING if number is None else _quantity(_plain(number, int(places)), "%")


@register.filter
def signed(value: object, places: int = 0) -> str:
    """Show a change with its sign, plus included; zero has none."""
    number = _decimal(value)
    if number is None:
        return NOTHING
    text = _plain(number, int(places))
    return f"+{text}" if _rounded(number, int(places)) > 0 else text


@register.filter
def pieces(count: object) -> SafeString:
    """Show whole pieces."""
    number = _decimal(count)
    if number is None:
        return NOTHING
    unit = ngettext("piece", "pieces", int(abs(number)))
    return _quantity(_plain(number, 0), unit)


@register.filter
def part_of(fraction: object, whole: object) -> str:
    """Return fraction × whole for an SVG attribute, the fraction kept between 0 and 1.

    Written with a point in every language, since SVG reads no other.
    """
    number = _decimal(fraction) or Decimal(0)
    number = min(max(number, Decimal(0)), Decimal(1))
    return str(_rounded(number * Decimal(str(whole)), 2))


@register.filter
def share_percent(fraction: object) -> str:
    """Return a fraction between 0 and 1 as whole percent in plain text: 0.62 → "62 %"."""
    number = min(max(_decimal(fraction) or Decimal(0), Decimal(0)), Decimal(1))
    return f"{_plain(number * 100, 0)} %"


@register.filter
def honey_colour(colour_class: object) -> str:
    """Return the style name of a colour class: "Extra light amber" → "extra-light-amber"."""
    return "-".join(str(colour_class or "").lower().replace("_", " ").replace("-", " ").split())


@register.filter
def honey_mark(colour_class: object) -> str:
    """Return the initials of a colour class, the mark that stands beside its colour."""
    return "".join(word[0] for word in honey_colour(colour_class).split("-") if word).upper()
