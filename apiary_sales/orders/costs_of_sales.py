"""What goods handed over had cost, by the method that the house has chosen.

Hand-over gives each line its cost by this; where a cost was unknown then, `late_costs` asks the
same later. Nothing is written here.
"""

from collections.abc import Iterable, Mapping
from fractions import Fraction

from django.db.models import Count, Sum

from apiary_sales.orders.models import FulfilmentLine, GoodsReturn, OrderLine
from apiary_sales.orders.rules import service_units
from apiary_sales.orders.rules.lines import OF_PRODUCTS, product_of
from inventory.shared.money import cents_half_even, share_cents
from inventory.shared.prepared import PreparedQueryAmong, column
from inventory.stock.costing import AverageCost
from inventory.stock.models import AverageClosing, Lot, Posting, PostingLine, ProductionSettings

# The moving average of items just before a posting, by posting and item.
AveragesBefore = Mapping[tuple[int, int], AverageCost]


class CostsOfSales:
    """What each issue of these lots had cost.

    A lot's own cost, out of what the lot cost and what went before; or, for jars where it is
    chosen, the weighted average of what is there of the product. `averages` are those before
    postings that were made earlier; without them, the average before `posting` is read.
    """

    def __init__(
        self,
        lots: Iterable[Lot | None],
        posting: Posting | None = None,
        *,
        averages: AveragesBefore | None = None,
    ) -> None:
        self._posting = posting
        self._is_average = ProductionSettings.current().costs_by_average
        self._before = averages or {}
        self._averages: dict[int, AverageCost] = {}
        self._issued = _issued_of({lot for lot in lots if lot})

    def of(
        self, line: OrderLine, lot: Lot | None, quantity: int, posting: int | None = None
    ) -> int | None:
        """Return the cents that fall to so much of a line; None while the cost is unknown.

        `posting` is the key of the one that took the goods out, where that is of an earlier day.
        """
        if not line.is_stocked:
            return _cost_of_service(line, quantity)
        if self.by_average(line):
            return self._issue_at_average(line, quantity, posting)
        return self._issue_of_lot(lot, quantity)

    def by_average(self, line: OrderLine) -> bool:
        """Tell whether a line costs the average of its product, whatever lot it is of."""
        return self._is_average and line.kind in OF_PRODUCTS

    @property
    def to_close(self) -> list[int]:
        """The items whose average took so long to work out that it should be kept."""
        return [
            item
            for item, average in self._averages.items()
            if average.changes > AverageClosing.CHANGES_MAX
        ]

    def take_back(self, lot: Lot, quantity: int, cents: int) -> None:
        """Let so much of a lot be here again to be sold, at what it had cost."""
        gone, issued, count = self._issued.get(lot.pk, (0, 0, 0))
        self._issued[lot.pk] = (gone - quantity, issued - cents, count + 1)

    def _issue_at_average(self, line: OrderLine, quantity: int, posting: int | None) -> int | None:
        item = product_of(line).item_id
        if posting is not None:
            before = self._before.get((posting, item))
            return None if before is None else before.issue(quantity)
        if item not in self._averages:
            self._averages |= PostingLine.objects.average_costs([item], before=self._posting)
        return self._averages[item].issue(quantity)

    def _issue_of_lot(self, lot: Lot | None, quantity: int) -> int | None:
        if lot is None or lot.cost_cents is None or lot.quantity_made <= 0:
            return None
        gone, cents, count = self._issued.get(lot.pk, (0, 0, 0))
        should_have = share_cents(lot.cost_cents, gone, lot.quantity_made)
        # A difference of a few cents is rounding and is kept. A larger one means that the cost
        # of the lot was set anew after some of it was sold: the rest does not bear the difference.
        if abs(cents - should_have) > count:
            cents = should_have
        upto = share_cents(lot.cost_cents, gone + quantity, lot.quantity_made)
        cost = max(upto - cents, 0)
        self._issued[lot.pk] = (gone + quantity, cents + cost, count + 1)
        return cost


def _cost_of_service(line: OrderLine, quantity: int) -> int | None:
    if line.service is None:
        return 0
    # The cost of a service is unknown unless somebody entered it.
    each = line.service.unit_cost
    return None if each is None else cents_half_even(service_units.exact(quantity) * Fraction(each))


def _issued_of(lots: Iterable[Lot]) -> dict[int, tuple[int, int, int]]:
    """Return what was handed over of lots at a known cost: quantity, cents, and in how many parts.

    What came back and can be sold again is left out.
    """
    found = _HANDED_OVER_OF.rows([lot.pk for lot in lots])
    issued = {lot: (quantity, cents, count) for lot, quantity, cents, count, _back in found}
    came_back = [lot for lot, _quantity, _cents, _count, back in found if back]
    if not came_back:
        return issued
    back = (
        GoodsReturn.objects.filter(
            is_fit=True, fulfilment_line__lot__in=came_back, cost_cents__isnull=False
        )
        .order_by()
        .values_list("fulfilment_line__lot")
        .annotate(Sum("quantity"), Sum("cost_cents"), Count("pk"))
    )
    for lot, quantity, cents, count in back:
        gone, gone_cents, parts = issued[lot]
        issued[lot] = (gone - quantity, gone_cents - cents, parts + count)
    return issued


# What was handed over of lots at a known cost. By lot: quantity, cents, in how many parts, and how
# much of it came back by credit notes.
_HANDED_OVER_OF = PreparedQueryAmong(
    lambda lots: (
        FulfilmentLine.objects.not_taken_back()
        .alias(lot_key=column("lot_id"))
        .filter(lot_key__in=lots, cost_cents__isnull=False)
        .order_by()
        .values_list("lot")
        .annotate(Sum("quantity"), Sum("cost_cents"), Count("pk"), Sum("returned"))
    )
)
