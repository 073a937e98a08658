"""What a filled piece in stock costs, by the method the house has chosen.

First in, first out: a piece costs what its lot did, and the oldest lot is sold first. Weighted
average: every piece of a size costs the average of all that is there at that moment (perpetual
moving average, common practice), whatever lot is taken from the shelf.
"""

from collections.abc import Collection, Iterable
from fractions import Fraction

from django.db.models import Sum

from inventory.shared.money import share_cents
from inventory.stock import costing
from inventory.stock.costing import Issue, Receipt
from inventory.stock.models import Lot, Place, Posting, PostingLine, ProductionSettings


class AverageCost:
    """The moving average of one packed size, worked out again from what came and went."""

    def __init__(self) -> None:
        self._movements: list[Receipt | Issue] = []
        self._there = 0
        self._is_known = True

    def change(self, pieces: int, cost_cents: int | None) -> None:
        """Let pieces come in at this cost, None when it is unknown, or go out.

        The average is unknown from then on until the size has run out.
        """
        if self._there == 0:
            self._movements, self._is_known = [], True
        if pieces > 0:
            self._movements.append(Receipt(pieces, cost_cents or 0))
            self._is_known = self._is_known and cost_cents is not None
        elif self._there:
            self._movements.append(Issue(min(-pieces, self._there)))
        self._there = max(self._there + pieces, 0)

    @property
    def unit_cost_cents(self) -> Fraction | None:
        """The cost of one piece in cents, exact; None while it is unknown or none is there."""
        if not self._is_known or not self._there:
            return None
        left = costing.moving_average(self._movements)
        return Fraction(left.left_cents, left.left_quantity)

    def issue(self, pieces: int) -> int | None:
        """Take out so many pieces and return the whole cents they cost; None while unknown."""
        self.change(-pieces, None)
        if not self._is_known:
            return None
        return costing.moving_average(self._movements).issue_costs_cents[-1]


def is_average() -> bool:
    """Tell whether the house values what it sells at the weighted average."""
    method = ProductionSettings.current().cost_method
    return method == ProductionSettings.CostMethod.WEIGHTED_AVERAGE


def unit_costs_cents(lots: Iterable[Lot]) -> dict[Lot, Fraction | None]:
    """Return what a piece (a gram of a lot in bulk) of each lot costs, by the chosen method.

    Packed lots come with their container. Honey in bulk always costs what its lot did.
    """
    lots = list(lots)
    if not is_average():
        return {lot: lot.unit_cost_cents for lot in lots}
    averages = average_costs({lot.container.item_id for lot in lots if lot.container_id})
    return {
        lot: averages[lot.container.item_id].unit_cost_cents
        if lot.container_id
        else lot.unit_cost_cents
        for lot in lots
    }


def average_costs(
    items: Collection[int], *, before: Posting | None = None
) -> dict[int, AverageCost]:
    """Return the moving average of each packed item, by key, in one query.

    Postings count in the order they were recorded: that is how stock was there to be taken. What
    was posted and undone leaves no trace. A lot counts with its cost of today, whatever was known
    when it was filled. `before` leaves out a posting that is just being made.
    """
    lines = PostingLine.objects.filter(
        item__in=items,
        place__kind__in=[*Place.VESSELS, *Place.STORES],
        posting__reverses=None,
        posting__reversed_by=None,
    )
    if before is not None:
        lines = lines.filter(posting__lt=before)
    averages = {item: AverageCost() for item in items}
    for item, cost_cents, made, change in (
        lines.values("item_id", "posting_id", "lot_id")
        .annotate(change=Sum("quantity"))
        .exclude(change=0)
        .order_by("posting_id", "lot_id")
        .values_list("item_id", "lot__cost_cents", "lot__quantity_made", "change")
    ):
        is_known = cost_cents is not None and made > 0
        averages[item].change(change, share_cents(cost_cents, change, made) if is_known else None)
    return averages
