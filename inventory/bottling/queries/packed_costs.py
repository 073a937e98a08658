"""What a filled piece in stock costs, by the method the house has chosen.

First in, first out: a piece costs what its lot did, and the oldest lot is sold first. Weighted
average: every piece of a product costs the average of all that is there at that moment (perpetual
moving average, common practice), whatever lot is taken from the shelf.
"""

from collections.abc import Iterable
from fractions import Fraction
from functools import cached_property

from inventory.stock.models import Lot, PostingLine, ProductionSettings


class CostsInStock:
    """What a piece of each of some lots costs; read when the first is asked for.

    Many pages show stock without what it costs.
    """

    def __init__(self, lots: Iterable[Lot]) -> None:
        self._lots = lots

    @cached_property
    def _cents(self) -> dict[Lot, Fraction | None]:
        return unit_costs_cents(self._lots)

    def cents_of(self, lot: Lot) -> Fraction | None:
        """Return what a piece of one of the lots costs; None while it is not known."""
        return self._cents[lot]


def unit_costs_cents(lots: Iterable[Lot]) -> dict[Lot, Fraction | None]:
    """Return what a piece (a gram of a lot in bulk) of each lot costs, by the chosen method.

    Packed lots come with their product. Honey in bulk always costs what its lot did.
    """
    lots = list(lots)
    if not ProductionSettings.current().costs_by_average:
        return {lot: lot.unit_cost_cents for lot in lots}
    averages = PostingLine.objects.average_costs(
        {lot.product.item_id for lot in lots if lot.product}
    )
    return {
        lot: averages[lot.product.item_id].unit_cost_cents if lot.product else lot.unit_cost_cents
        for lot in lots
    }
