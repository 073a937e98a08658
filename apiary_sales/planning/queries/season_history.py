"""The past of the house as a world for a back-test: what was sold, extracted, filled, by month."""

from collections import defaultdict
from dataclasses import dataclass
from datetime import date

from django.db.models import Sum

from apiary_sales.planning.queries import monthly_sales, season_books
from apiary_sales.planning.rules.season import PieceState, question_of
from apiary_sales.planning.season.back_test import (
    Decision,
    Seen,
    World,
    WorldOutlet,
    WorldProduct,
)
from inventory.bottling.models import BottlingRun
from inventory.shared import days
from inventory.shared.days import month_number, months_between, months_later
from inventory.shared.month_of import MonthOf
from inventory.stock.models import Item, Lot, Place, PostingLine


@dataclass(frozen=True)
class PastOfHouse:
    """A world made of the books, and what was filled and sold in drums in each of its months."""

    world: World
    filled: tuple[dict[str, int], ...]
    drum_grams: tuple[int, ...]

    def as_it_was(self, seen: Seen) -> Decision:
        """Do what was done in that month."""
        return Decision(self.filled[seen.month], self.drum_grams[seen.month])


def read(on: date) -> PastOfHouse | None:
    """Return the past up to the last month that is over; None without any sales.

    Prices, costs and what a piece takes are those of `on`. Demand is what was sold: what was asked
    for and not there is in no books. Hours are not limited unless the owner typed them.
    """
    books = season_books.read(on)
    question = question_of(books)
    history = monthly_sales.monthly(on)
    if history.first_month is None or not books.demands:
        return None
    months = months_between(history.first_month, months_later(history.this_month, -1))
    if not months or books.list_price is None:
        return None
    number = {month: position for position, month in enumerate(months)}
    cents_of = {row.key: row.cents or 0.0 for row in books.parts}
    products = tuple(
        WorldProduct(
            row.key,
            row.grams_each,
            float(row.minutes_each or 0),
            sum(cents_of.get(str(part), 0.0) * count for part, count in row.needs.items()),
        )
        for row in books.pieces
    )
    # Nobody sells what costs more to sell than it brings.
    sold_with_gain = [row for row in books.demands if row.net_cents > 0]
    first = month_number(months[0])
    drum = books.net_cents(books.list_price)
    kept = books.outlook.kept_per_pound
    minutes = [each for each in question.problem.minutes[1:] if each < 1e9]
    world = World(
        first=first,
        products=products,
        outlets=tuple(
            WorldOutlet(row.key, str(row.product.pk), row.net_cents) for row in sold_with_gain
        ),
        demand={
            row.key: [row.sold.get(first + position, 0) for position in range(len(months))]
            for row in sold_with_gain
        },
        harvest=_by_month(_extracted(), number),
        honey_grams=float(_honey_before(months[0])),
        ready=_ready_before(months[0], books.pieces),
        drum_cents=drum,
        kept_cents=drum if kept is None else books.net_cents(kept),
        minutes=min(minutes, default=None),
        cents_per_minute=books.labour_cents_per_hour / 60,
        drum_month_grams=question.problem.drum_month_grams,
        storage_cents=question.problem.storage_cents,
        growth=question.problem.growth,
    )
    bulk: dict[date, float] = defaultdict(float)
    for (product_id, _channel), sold in history.pieces.items():
        if product_id is None:
            for each, grams in sold.items():
                bulk[each] += grams
    return PastOfHouse(
        world, _filled(months, {row.key for row in products}), _whole(_by_month(bulk, number))
    )


def _by_month(grams: dict[date, float], number: dict[date, int]) -> list[float]:
    found = [0.0] * len(number)
    for month, count in grams.items():
        if month in number:
            found[number[month]] += count
    return found


def _whole(grams: list[float]) -> tuple[int, ...]:
    return tuple(round(each) for each in grams)


def _extracted() -> dict[date, float]:
    rows = (
        Lot.objects.filter(kind__in=[Lot.Kind.EXTRACTION, Lot.Kind.BOUGHT], owner=None)
        .order_by()
        .annotate(month=MonthOf("made_on"))
        .values_list("month")
        .annotate(grams=Sum("quantity_made"))
    )
    return {month: float(grams) for month, grams in rows}


def _filled(months: list[date], keys: set[str]) -> tuple[dict[str, int], ...]:
    """Return the pieces filled of each product in each month."""
    rows = (
        BottlingRun.objects.filter(status=BottlingRun.Status.RECORDED)
        .order_by()
        .annotate(month=MonthOf("planned_for"))
        .values_list("month", "product_id")
        .annotate(pieces=Sum("pieces_filled"))
    )
    found: dict[date, dict[str, int]] = defaultdict(dict)
    for month, product_id, pieces in rows:
        if str(product_id) in keys:
            found[month][str(product_id)] = pieces or 0
    return tuple(found[month] for month in months)


def _honey_before(day: date) -> int:
    lines = PostingLine.objects.filter(
        item__kind=Item.Kind.HONEY,
        place__kind__in=Place.VESSELS,
        lot__owner=None,
        posting__occurred_at__lt=days.start_of(day),
    )
    return max(0, lines.aggregate(grams=Sum("quantity"))["grams"] or 0)


def _ready_before(day: date, pieces: tuple[PieceState, ...]) -> dict[str, int]:
    there = dict(
        PostingLine.objects.filter(
            item__in=[row.product.item_id for row in pieces],
            place__kind__in=Place.STORES,
            posting__occurred_at__lt=days.start_of(day),
        )
        .order_by()
        .values_list("item")
        .annotate(pieces=Sum("quantity"))
    )
    return {row.key: max(0, there.get(row.product.item_id, 0)) for row in pieces}
