"""What stock is worth, on any day, and as it was known at any moment.

A lot is worth its share of what the lot cost, to the cent at each place; jars the average of their
product where the house has chosen that; parts what came in less what went out at the moving average
(`part_costs`). What has no cost yet is worth nothing here and is said to have none. Services and
queries of the rooms above read it.
"""

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from fractions import Fraction

from django.db.models import Sum

from inventory.bottling.models import GoodsReceipt, PackagingPart, PartReceipt
from inventory.bottling.part_costs import PartBook, corrected_since, heaps_of, part_book
from inventory.stock.models import (
    Balance,
    Item,
    Lot,
    LotCost,
    Place,
    PostingLine,
    ProductionSettings,
)

# What came back and waits for a decision is in the house, and no stock yet.
VALUED = tuple(kind for kind in Place.IN_HOUSE if kind != Place.Kind.RETURNED)


@dataclass(frozen=True)
class UnitCosts:
    """What a piece or gram of each lot costs, and of each part by its item; exact, in cents."""

    of_lots: Mapping[int, Fraction | None]
    of_parts: Mapping[int, Fraction]
    part_book: PartBook

    def of(self, item: int, lot: int | None) -> Fraction | None:
        """Return the cost of one; None while it is unknown."""
        return self.of_lots.get(lot) if lot else self.of_parts.get(item)

    def cents(self, item: int, lot: int | None, quantity: int) -> int:
        """Return what so much is worth, half a cent to the even; 0 where the cost is unknown."""
        unit = self.of(item, lot)
        if not unit:
            return 0
        # As `round(unit * quantity)`, which makes two fractions, in a quarter of its time.
        cents, rest = divmod(unit.numerator * quantity, unit.denominator)
        is_up = 2 * rest > unit.denominator or (2 * rest == unit.denominator and cents % 2)
        return cents + 1 if is_up else cents


@dataclass(frozen=True)
class StockWorth:
    """All there was of a lot or a part; `cents` is None where it has no cost."""

    kind: str
    item: int
    lot: int | None
    quantity: int
    cents: int | None


def unit_costs(known_at: datetime | None = None) -> UnitCosts:
    """Return all unit costs as they are known now, or were at a moment."""
    book = part_book(known_at)
    of_parts = {book.parts[part]: unit for part, unit in book.unit_cents.items()}
    return UnitCosts(_lot_units(None, known_at), of_parts, book)


def worth_now() -> list[StockWorth]:
    """Return what each lot and part is worth now, without reading what came and went before.

    It is what `worth_on` works out of all lines; only what there is some of is looked at.
    """
    # What is there is found by the index of what is in the house.
    there = Balance.objects.ours().filter(is_physical=True, quantity__gt=0, place__kind__in=VALUED)
    found: dict[tuple[str, int, int | None], list[int]] = {}
    for of_kind, of_item, of_lot, quantity in there.order_by().values_list(
        "item__kind", "item", "lot", "quantity"
    ):
        found.setdefault((of_kind, of_item, of_lot), []).append(quantity)
    of_lots = _lot_units({lot for _kind, _item, lot in found if lot})
    parts = PackagingPart.objects.filter(
        item__in=[item for kind, item, _lot in found if kind == Item.Kind.PART]
    )
    heaps = heaps_of(parts)
    of_parts = {part.item_id: heaps[part.pk] for part in parts}
    worth = []
    for (kind, item, lot), quantities in found.items():
        unit = of_lots[lot] if lot else of_parts[item].unit_cents
        cents: int | None = None
        if unit is not None and lot is None:
            cents = of_parts[item].value_cents
        elif unit is not None:
            # To the cent at each place.
            cents = sum(round(unit * each) for each in quantities)
        worth.append(StockWorth(kind, item, lot, sum(quantities), cents))
    return worth


def receipt_cents(known_at: datetime | None = None) -> dict[int, int]:
    """Return what parts and goods that came in cost, by their posting."""
    found: dict[int, int] = {}
    for of, receipts in (
        ("part_receipt", PartReceipt.objects.all()),
        ("goods_receipt", GoodsReceipt.objects.all()),
    ):
        corrected = corrected_since(known_at, of)
        for key, posting, cents in receipts.values_list("pk", "posting", "cost_cents"):
            found[posting] = corrected.get(key, {}).get("cost_cents", cents)
    return found


def worth_on(day: date | None, known_at: datetime | None = None) -> list[StockWorth]:
    """Return what each lot and part was worth when a day ended, or all of it now for None.

    What comes to zero over all places is left out; what is below zero is not.
    """
    costs = unit_costs(known_at)
    of_parts = costs.part_book.value_by(day)
    found: dict[tuple[str, int, int | None], list[int]] = {}
    for kind, item, lot, quantity in _heaps(day, known_at):
        sums = found.setdefault((kind, item, lot), [0, 0])
        sums[0] += quantity
        sums[1] += costs.cents(item, lot, quantity) if lot else 0
    return [
        StockWorth(
            kind,
            item,
            lot,
            quantity,
            None if costs.of(item, lot) is None else cents if lot else of_parts.get(item, 0),
        )
        for (kind, item, lot), (quantity, cents) in found.items()
        if quantity
    ]


def _lot_units(
    lots: Collection[int] | None, known_at: datetime | None = None
) -> dict[int, Fraction | None]:
    """Return what a piece or gram of these lots costs, or of all for None; None if unknown."""
    ours = Lot.objects.filter(owner=None)
    if lots is not None:
        ours = ours.filter(pk__in=lots)
    rows = list(ours.values_list("pk", "cost_cents", "quantity_made", "product__item"))
    figures = {lot: (cents, made) for lot, cents, made, _item in rows}
    if known_at is not None:
        figures |= LotCost.objects.known_at(known_at, figures)
    found: dict[int, Fraction | None] = {
        lot: None if cents is None or made <= 0 else Fraction(cents, made)
        for lot, (cents, made) in figures.items()
    }
    if ProductionSettings.current().costs_by_average:
        averages = PostingLine.objects.average_costs(
            {item for _lot, _cents, _made, item in rows if item}, known_at=known_at, known=figures
        )
        for lot, _cents, _made, item in rows:
            # Of what is used up there is no average any more; its lot has a cost still.
            if item and not averages[item].is_used_up:
                found[lot] = averages[item].unit_cost_cents
    return found


def _heaps(
    day: date | None, known_at: datetime | None
) -> Iterable[tuple[str, int, int | None, int]]:
    lines = PostingLine.objects.filter(place__kind__in=VALUED, lot__owner=None)
    if day is not None:
        lines = lines.counting_by(day)
    if known_at is not None:
        lines = lines.filter(posting__recorded_at__lte=known_at)
    return (
        lines.values("item__kind", "item", "lot", "place")
        .annotate(there=Sum("quantity"))
        .order_by()
        .values_list("item__kind", "item", "lot", "there")
    )
