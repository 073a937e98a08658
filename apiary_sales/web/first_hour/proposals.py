"""What the set-up proposes: how a market writes and measures, and the parts of each size."""

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal

from django.utils.translation import gettext as _

from inventory.bottling.models import PackagingPart, Size
from inventory.bottling.services.sizes import UsualSize, standard_sizes
from inventory.shared import conventions
from inventory.shared.models import House
from inventory.stock.models import TankShape

# Its members by ISO 3166-1, from memory.
EUROPEAN_UNION = (
    "AT BE BG CY CZ DE DK EE ES FI FR GR HR HU IE IT LT LU LV MT NL PL PT RO SE SI SK".split()  # noqa: SIM905
)
# Heavier than this is filled into jugs and pails; their lids come with them (common practice).
JAR_GRAMS_MAX = Decimal(1500)
JUG_GRAMS_MAX = Decimal(6000)
# One width of lid for the jars up to about a pound, a wider one above (common practice).
SMALL_LID_GRAMS_MAX = Decimal(600)


@dataclass(frozen=True)
class UsualOfMarket:
    """What is usual in a market; the house may choose otherwise."""

    currency: str
    weight_unit: str
    decimal_sign: str
    paper: str
    first_weekday: int
    prices_include_tax: bool


def usual_of(market: str) -> UsualOfMarket:
    """Return what is usual there (common practice, from memory)."""
    if market == House.Market.US:
        return UsualOfMarket("USD", conventions.POUND, ".", House.Paper.LETTER, 0, False)
    if market == House.Market.EU:
        return UsualOfMarket("EUR", conventions.KILOGRAM, ",", House.Paper.A4, 1, True)
    currency = conventions.usual_currency()
    return UsualOfMarket(currency, conventions.KILOGRAM, ".", House.Paper.A4, 1, True)


def market_of(country_code: str) -> str:
    """Return the market that a country is in, empty where no country is known."""
    if not country_code:
        return ""
    if country_code == "US":
        return House.Market.US.value
    return (House.Market.EU if country_code in EUROPEAN_UNION else House.Market.OTHER).value


def sizes_of(*, is_metric: bool) -> list[UsualSize]:
    """Return the usual sizes of a house that weighs in kilograms, or in pounds."""
    units = ("g", "kg") if is_metric else ("oz", "lb")
    return [size for size in standard_sizes() if size.unit in units]


def parts_of(size: Size) -> dict[str, str]:
    """Return the names of parts that such a size usually has, by the kind of part."""
    grams = size.declared_grams
    if grams > JUG_GRAMS_MAX:
        container, lid = _("Pail, %(size)s"), ""
    elif grams > JAR_GRAMS_MAX:
        container, lid = _("Jug, %(size)s"), _("Cap for jugs")
    elif grams > SMALL_LID_GRAMS_MAX:
        container, lid = _("Jar, %(size)s"), _("Lid, wide")
    else:
        container, lid = _("Jar, %(size)s"), _("Lid, narrow")
    return {
        PackagingPart.Kind.JAR: container % {"size": size.name},
        PackagingPart.Kind.LID: lid,
        PackagingPart.Kind.LABEL: _("Label, %(size)s") % {"size": size.name},
        PackagingPart.Kind.CASE: "",
    }


def tank_shapes() -> list[tuple[str, str]]:
    """Return the shapes that a tank may have, as a list to choose from."""
    ends = TankShape.End
    return [
        ("", _("not measured")),
        ("upright-flat", _("upright, flat bottom")),
        ("upright-cone", _("upright, cone at the bottom")),
        ("upright-elliptical", _("upright, dished bottom")),
        ("upright-hemisphere", _("upright, half-ball bottom")),
        ("horizontal-flat", _("on its side, flat ends")),
        ("horizontal-elliptical", _("on its side, dished ends")),
        (f"horizontal-{ends.HEMISPHERE.value}", _("on its side, half-ball ends")),
    ]


def unused(names: Iterable[str], taken: Iterable[str]) -> list[str]:
    """Return the names that nobody has."""
    there = {name.casefold() for name in taken}
    return [name for name in names if name.casefold() not in there]
