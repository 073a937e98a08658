"""Where the honey of a lot is from, country by country, and what its label says."""

from inventory.shared.models import House
from inventory.stock import origin
from inventory.stock.models import Lot
from inventory.stock.origin import CountryShare


def by_country(lot: Lot, house: House) -> list[CountryShare]:
    """Return the countries of a lot with their shares, the largest first."""
    return origin.by_country(lot.origins(), house)


def origin_lines(lot: Lot, house: House) -> list[str]:
    """Return the lines of a label that say where the honey is from, by the rule of the house.

    An empty list where the house has no rule and the country of any part is unknown.
    """
    return origin.label_lines(by_country(lot, house), house)


def without_country(lot: Lot, house: House) -> list[Lot]:
    """Return the origins of a lot whose country the label must state and nobody has entered.

    None where the house has no rule: its labels then say nothing of an origin that is unknown.
    """
    if house.origin_rule != House.OriginRule.PERCENTAGES:
        return []
    return [
        each.lot for each in lot.origins() if origin.place_of(each.lot, house)[0] == origin.UNKNOWN
    ]
