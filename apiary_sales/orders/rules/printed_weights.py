"""Weights as the papers of a delivery print them: in the unit of the house, adding up as printed.

The net weight of a drum is printed as its invoice prints it. Its gross weight is the sum of net and
tare as printed, so that every row and every total can be added up by hand.
"""

from dataclasses import dataclass
from decimal import Decimal

from django.utils.formats import number_format
from django.utils.translation import gettext as _

from inventory.physics.units import POUND_GRAMS
from inventory.shared.models import House

# The gram that at-rest rounding adds to a scale's half pound is hidden by two decimals.
POUND_STEP = Decimal("0.01")


@dataclass(frozen=True)
class PrintedWeights:
    """Gross, tare and net of one thing in one unit; gross and tare are None where unknown."""

    net: Decimal
    tare: Decimal | None = None

    @property
    def gross(self) -> Decimal | None:
        return None if self.tare is None else self.net + self.tare


def is_in_kilograms(house: House) -> bool:
    """Tell whether the house weighs in kilograms: where it sells, labels say grams."""
    return house.market == House.Market.EU


def unit(house: House) -> str:
    return _("kg") if is_in_kilograms(house) else _("lb")


def in_unit(grams: int, house: House) -> Decimal:
    """Return grams in the unit of the house: kilograms to the gram, pounds to a hundredth."""
    if is_in_kilograms(house):
        return Decimal(grams) / 1000
    return (Decimal(grams) / POUND_GRAMS).quantize(POUND_STEP)


def of_drum(
    house: House, *, net_grams: int, tare_grams: int | None, billed_pounds: Decimal
) -> PrintedWeights:
    """Return the weights of a drum; in pounds, the net weight is the one that is billed."""
    net = in_unit(net_grams, house) if is_in_kilograms(house) else billed_pounds
    return PrintedWeights(net, None if tare_grams is None else in_unit(tare_grams, house))


def written(weight: Decimal | None) -> str:
    """Write a weight without its unit; a dash where it is not known."""
    if weight is None:
        return "–"
    places = max(1, -int(weight.normalize().as_tuple().exponent))
    return number_format(weight, places, force_grouping=True)
