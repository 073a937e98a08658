"""Packed stock by size: on hand, reserved, free, on hold, and what it is worth.

What is packed for other beekeepers is theirs, and is left out.
"""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction

from inventory.bottling.models import Size
from inventory.bottling.queries import packed_costs
from inventory.stock.models import Balance, Lot, Place


@dataclass(frozen=True)
class LotStock:
    """Pieces of one lot at one place."""

    lot: Lot
    place: Place
    on_hand: int
    reserved: int
    unit_cost_cents: Fraction | None

    @property
    def is_on_hold(self) -> bool:
        return self.lot.is_on_hold

    @property
    def on_hold(self) -> int:
        """Pieces a failed check keeps from sale."""
        return self.on_hand if self.is_on_hold else 0

    @property
    def free(self) -> int:
        return 0 if self.is_on_hold else self.on_hand - self.reserved

    @property
    def value_cents(self) -> int | None:
        """What these pieces cost, to the cent; None while their cost is unknown."""
        if self.unit_cost_cents is None:
            return None
        return round(self.unit_cost_cents * self.on_hand)


@dataclass(frozen=True)
class SizeStock:
    """All pieces of one size; each figure is the sum of its `rows`, oldest lot first."""

    size: Size
    rows: tuple[LotStock, ...]

    @property
    def on_hand(self) -> int:
        return sum(row.on_hand for row in self.rows)

    @property
    def reserved(self) -> int:
        return sum(row.reserved for row in self.rows)

    @property
    def free(self) -> int:
        """Pieces that can be sold now: neither promised nor on hold."""
        return sum(row.free for row in self.rows)

    @property
    def on_hold(self) -> int:
        return sum(row.on_hold for row in self.rows)

    @property
    def value_cents(self) -> int | None:
        """What the pieces cost; None while the cost of any is unknown."""
        values = [row.value_cents for row in self.rows]
        known = [value for value in values if value is not None]
        return sum(known) if len(known) == len(values) else None

    @property
    def lots(self) -> dict[Lot, int]:
        """Pieces on hand by lot, oldest first."""
        return _summed((row.lot, row.on_hand) for row in self.rows)

    @property
    def places(self) -> dict[Place, int]:
        """Pieces on hand by place."""
        return _summed((row.place, row.on_hand) for row in self.rows)

    @property
    def is_low(self) -> bool:
        return self.free < self.size.low_stock_pieces


def sizes() -> list[SizeStock]:
    """Return every size in use, or still there, smallest first.

    In three queries, four where the weighted average is chosen.
    """
    rows: dict[int, list[LotStock]] = defaultdict(list)
    balances = list(_balances())
    for balance, row in zip(balances, _rows(balances), strict=True):
        rows[balance.item_id].append(row)
    return [
        SizeStock(size, tuple(rows[size.item_id]))
        for size in Size.objects.select_related("item")
        if size.is_active or rows[size.item_id]
    ]


def of(size: Size) -> SizeStock:
    """Return the stock of one size."""
    return SizeStock(size, _rows(_balances().filter(item=size.item_id)))


def _rows(balances: Iterable[Balance]) -> tuple[LotStock, ...]:
    balances = list(balances)
    costs = packed_costs.unit_costs_cents(balance.honey_lot for balance in balances)
    return tuple(
        LotStock(
            balance.honey_lot,
            balance.place,
            balance.quantity,
            balance.reserved,
            costs[balance.honey_lot],
        )
        for balance in balances
    )


def _balances():
    return (
        Balance.objects.in_stores()
        .ours()
        .filter(item__size__isnull=False)
        .select_related("lot__size", "place")
        .order_by("lot__best_by", "lot__made_on", "lot_id", "place__name", "id")
    )


def _summed(pairs) -> dict:
    totals: dict = {}
    for key, pieces in pairs:
        totals[key] = totals.get(key, 0) + pieces
    return totals
