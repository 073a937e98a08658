"""What honesty boxes brought, count by count, and how much of it was missing."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from django.db.models import Prefetch, QuerySet
from django.utils import timezone

from apiary_sales.billing import box_sums
from apiary_sales.billing.models import HonestyBox, HonestyCount, HonestyCountLine
from apiary_sales.billing.queries import market_days
from apiary_sales.customers.models import Customer
from apiary_sales.pricing.queries import prices
from inventory.bottling.models import Product

HISTORY_LENGTH = 100


@dataclass(frozen=True)
class CountRow:
    """One count with what it sold, and how much of its price was missing from the box."""

    count: HonestyCount
    is_last: bool = False

    @property
    def sold(self) -> list[HonestyCountLine]:
        return [line for line in self.count.lines.all() if line.sold]

    @property
    def short_percent(self) -> Decimal | None:
        return box_sums.short_percent(
            short_cents=self.count.short_cents, expected_cents=self.count.expected_cents
        )


@dataclass(frozen=True)
class BoxHistory:
    """The counts of a box that were not undone, newest first, and their sums."""

    box: HonestyBox
    rows: list[CountRow]

    @property
    def last(self) -> HonestyCount | None:
        return self.rows[0].count if self.rows else None

    @property
    def expected_cents(self) -> int:
        return sum(row.count.expected_cents for row in self.rows)

    @property
    def cash_cents(self) -> int:
        return sum(row.count.cash_cents for row in self.rows)

    @property
    def short_cents(self) -> int:
        return sum(row.count.short_cents for row in self.rows)

    @property
    def on_top_cents(self) -> int:
        return sum(row.count.on_top_cents for row in self.rows)

    @property
    def short_percent(self) -> Decimal | None:
        return box_sums.short_percent(
            short_cents=self.short_cents, expected_cents=self.expected_cents
        )


@dataclass(frozen=True)
class ShelfRow:
    """A product that may be on the shelf of a box: by the books, and the price of one."""

    product: Product
    in_books: int
    unit_price: Decimal | None
    # The price at the last count, where it was another one.
    price_before: Decimal | None


def boxes() -> QuerySet[HonestyBox]:
    return HonestyBox.objects.select_related("place").order_by("-is_active", "place__name")


def histories(found: Sequence[HonestyBox]) -> list[BoxHistory]:
    """Return these boxes with their counts, in a constant number of queries."""
    by_box: dict[int, list[CountRow]] = {box.pk: [] for box in found}
    for count in counts().filter(box__in=list(by_box)):
        rows = by_box[count.box_id]
        rows.append(CountRow(count, is_last=not rows))
    return [BoxHistory(box, by_box[box.pk]) for box in found]


def history(box: HonestyBox) -> BoxHistory:
    [found] = histories([box])
    return found


def counts() -> QuerySet[HonestyCount]:
    """Return the counts that were not undone, newest first, with their lines."""
    lines = HonestyCountLine.objects.select_related("product", "count")
    return (
        HonestyCount.objects.standing()
        .select_related("box__place", "counted_by", "sale__receipt", "count_posting")
        .prefetch_related(Prefetch("lines", lines))
    )


def shelf(box: HonestyBox, last: HonestyCount | None, on: date | None = None) -> list[ShelfRow]:
    """Return what may be on the shelf of a box: what the books have there and was there before."""
    today = on or timezone.localdate()
    there = market_days.there(box.place)
    known = {line.product for line in last.lines.all()} if last else set()
    listed = prices.price_list(Customer.Tier.STAND, today)
    before = (
        prices.price_list(Customer.Tier.STAND, timezone.localdate(last.counted_at))
        if last
        else listed
    )
    rows = []
    for product in sorted({*there, *known}, key=lambda product: product.name):
        price, earlier = (each.of(product).unit_price(1) for each in (listed, before))
        rows.append(
            ShelfRow(product, there.get(product, 0), price, None if earlier == price else earlier)
        )
    return rows
