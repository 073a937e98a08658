"""Weights as the papers of a delivery print them: in the unit of the house, adding up as printed.

Net and tare are printed as a scale showed them, to a hundredth of a pound; the gross weight is the
sum of both as printed, so that every row and every total can be added up by hand. An invoice may
need a third decimal of the same net weight, so that it multiplies out to the cent.
"""

from dataclasses import dataclass
from decimal import Decimal

from django.utils.formats import number_format
from django.utils.translation import gettext as _

from inventory.physics.units import POUND_GRAMS
from inventory.shared.models import House

# The gram that at-rest rounding adds to a scale's half pound is hidden by two decimals.
POUND_STEP = Decimal("0.01")
GRAM = Decimal("0.001")


@dataclass(frozen=True)
class PrintedWeights:
    """Gross, tare and net of one thing in one unit; gross and tare are None where unknown."""

    net: Decimal
    tare: Decimal | None = None

    @property
    def gross(self) -> Decimal | None:
        return None if self.tare is None else self.net + self.tare


def is_in_kilograms(house: House) -> bool:
    """Tell whether papers go in kilograms: the house weighs in them, or sells where labels do."""
    return house.weight_unit == House.WeightUnit.KILOGRAM or house.market == House.Market.EU


def unit(house: House) -> str:
    return _("kg") if is_in_kilograms(house) else _("lb")


def in_unit(grams: int, house: House) -> Decimal:
    """Return grams in the unit of the house: kilograms to the gram, pounds to a hundredth."""
    if is_in_kilograms(house):
        return (Decimal(grams) / 1000).quantize(GRAM)
    return (Decimal(grams) / POUND_GRAMS).quantize(POUND_STEP)


def of_goods(house: House, *, net_grams: int, tare_grams: int | None = None) -> PrintedWeights:
    """Return the weights of a drum or of goods by weight, in the unit of the house."""
    tare = None if tare_grams is None else in_unit(tare_grams, house)
    return PrintedWeights(in_unit(net_grams, house), tare)


def written(weight: Decimal | None) -> str:
    """Write a weight without its unit, all with the decimals they have; a dash where unknown."""
    if weight is None:
        return "–"
    places = -int(weight.as_tuple().exponent)
    return number_format(weight, places, force_grouping=True)
