"""Stock by product and by size: on hand, reserved, free, on hold, and what it is worth.

What is packed for other beekeepers is theirs, and is left out.
"""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from fractions import Fraction

from inventory.bottling.models import Product, Size
from inventory.bottling.queries.packed_costs import CostsInStock
from inventory.stock.models import Balance, Lot, Place


@dataclass(frozen=True)
class LotStock:
    """Pieces of one lot at one place."""

    lot: Lot
    place: Place
    on_hand: int
    reserved: int
    costs: CostsInStock

    @property
    def unit_cost_cents(self) -> Fraction | None:
        """What a piece costs; None while it is not known."""
        return self.costs.cents_of(self.lot)

    @property
    def is_on_hold(self) -> bool:
        return self.lot.is_on_hold

    @property
    def on_hold(self) -> int:
        """Pieces a failed check keeps from sale."""
        return self.on_hand if self.is_on_hold else 0

    @property
    def is_unlabelled(self) -> bool:
        return self.lot.product is not None and self.lot.product.is_unlabelled

    @property
    def is_setting(self) -> bool:
        return self.lot.is_setting and not self.is_on_hold

    @property
    def setting(self) -> int:
        """Pieces of creamed honey that are not ready for sale yet."""
        return self.on_hand if self.is_setting else 0

    @property
    def on_consignment(self) -> int:
        """Pieces on the shelf of a shop: ours, and sold by its report alone."""
        return self.on_hand if self.place.kind == Place.Kind.CONSIGNMENT else 0

    @property
    def free(self) -> int:
        if self.on_consignment:
            return 0
        if self.is_on_hold or self.is_setting or self.is_unlabelled:
            return 0
        return self.on_hand - self.reserved

    @property
    def value_cents(self) -> int | None:
        """What these pieces cost, to the cent; None while their cost is unknown."""
        if self.unit_cost_cents is None:
            return None
        return round(self.unit_cost_cents * self.on_hand)


class StockFigures:
    """What the rows of some stock add up to."""

    rows: tuple[LotStock, ...]

    @property
    def on_hand(self) -> int:
        return sum(row.on_hand for row in self.rows)

    @property
    def reserved(self) -> int:
        return sum(row.reserved for row in self.rows)

    @property
    def free(self) -> int:
        """Pieces that can be sold now: labelled, and neither promised, on hold nor setting."""
        return sum(row.free for row in self.rows)

    @property
    def on_hold(self) -> int:
        return sum(row.on_hold for row in self.rows)

    @property
    def on_consignment(self) -> int:
        return sum(row.on_consignment for row in self.rows)

    @property
    def setting(self) -> int:
        return sum(row.setting for row in self.rows)

    @property
    def ready_on(self) -> date | None:
        """The day the first of the pieces that set are ready; None where none set."""
        days = [row.lot.ready_on for row in self.rows if row.is_setting and row.lot.ready_on]
        return min(days, default=None)

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


@dataclass(frozen=True)
class ProductStock(StockFigures):
    """All pieces of one product; each figure is the sum of its `rows`, oldest lot first."""

    product: Product
    rows: tuple[LotStock, ...]

    @property
    def is_low(self) -> bool:
        return self.free < self.product.low_stock_pieces


@dataclass(frozen=True)
class SizeStock(StockFigures):
    """All honey of one size, whatever its variety and label."""

    size: Size
    products: tuple[ProductStock, ...]

    @property
    def rows(self) -> tuple[LotStock, ...]:  # type: ignore[override]
        return tuple(row for each in self.products for row in each.rows)

    @property
    def is_low(self) -> bool:
        return any(each.is_low for each in self.products)

    @property
    def low_stock_pieces(self) -> int:
        return sum(each.product.low_stock_pieces for each in self.products)

    @property
    def is_plain(self) -> bool:
        """Whether the size is sold as one product only, so that there is nothing to open."""
        return len(self.products) == 1


def products() -> list[ProductStock]:
    """Return every product in use, or still there: honey by size, smallest first, then the rest.

    Comb that is kept by weight, to be cut or put into jars, is no product for sale and left out.
    In two queries; what the stock costs takes one more where it is asked for, or two where the
    weighted average is chosen.
    """
    rows: dict[int, list[LotStock]] = defaultdict(list)
    balances = list(_balances())
    for balance, row in zip(balances, _rows(balances), strict=True):
        rows[balance.item_id].append(row)
    return [
        ProductStock(product, tuple(rows[product.item_id]))
        for product in Product.objects.select_related("item", "size", "variety", "brand")
        if (product.is_in_use or rows[product.item_id]) and not product.is_bulk_comb
    ]


def sizes() -> list[SizeStock]:
    """Return every size of honey in use, or still there, smallest first; as `products`."""
    found: dict[Size, list[ProductStock]] = defaultdict(list)
    for each in products():
        if each.product.size:
            found[each.product.size].append(each)
    return [SizeStock(size, tuple(of_size)) for size, of_size in found.items()]


def of(product: Product) -> ProductStock:
    """Return the stock of one product."""
    return ProductStock(product, _rows(_balances().filter(item=product.item_id)))


def _rows(balances: Iterable[Balance]) -> tuple[LotStock, ...]:
    balances = list(balances)
    costs = CostsInStock([balance.honey_lot for balance in balances])
    return tuple(
        LotStock(balance.honey_lot, balance.place, balance.quantity, balance.reserved, costs)
        for balance in balances
    )


def _balances():
    return (
        Balance.objects.filter(
            # The index of what is in the house leaves out the much more that was sold.
            is_physical=True,
            place__kind__in=Place.FOR_GOODS,
            quantity__gt=0,
        )
        .ours()
        .filter(item__product__isnull=False)
        .select_related("lot__product", "place")
        .order_by("lot__best_by", "lot__made_on", "lot_id", "place__name", "id")
    )


def _summed(pairs) -> dict:
    totals: dict = {}
    for key, pieces in pairs:
        totals[key] = totals.get(key, 0) + pieces
    return totals
