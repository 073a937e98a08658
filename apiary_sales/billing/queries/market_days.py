"""What market days brought: sold, taken in, spent, and what is left of it for an hour of work."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date, datetime, time
from decimal import Decimal
from fractions import Fraction

from django.db.models import F, Prefetch, Q, QuerySet, Sum
from django.utils import timezone
from django.utils.formats import date_format

from apiary_sales.billing import market_sums
from apiary_sales.billing.market_sums import Suggestion
from apiary_sales.billing.models import (
    Expense,
    Invoice,
    MarketDay,
    MarketDayEntry,
    MarketDayLine,
    StandSale,
)
from apiary_sales.customers.models import Customer
from apiary_sales.orders.models import FulfilmentLine, OrderLine
from apiary_sales.pricing.queries import prices
from inventory.bottling.models import Product
from inventory.bottling.queries import packed_costs
from inventory.shared import days
from inventory.stock.models import Balance, Place, PostingLine

# So many earlier days are looked at for a suggestion.
LOOKED_BACK = 60
# What beside sales takes goods at a market.
LOST = (MarketDayEntry.Kind.BROKEN, MarketDayEntry.Kind.SAMPLES)
# At a place and on a day: which market a sale belongs to.
Spot = tuple[int, date]


@dataclass
class MarketResult:
    """What one market day brought; sales that come in late are in it by themselves.

    `net_cents` is before sales tax; what was given back is taken off.
    """

    market_day: MarketDay
    sales: int = 0
    total_cents: int = 0
    net_cents: int = 0
    on_top_cents: int = 0
    sold: dict[Product, int] = field(default_factory=dict)
    goods_cost_cents: int = 0
    goods_cost_is_known: bool = True
    costs: list[Expense] = field(default_factory=list)

    @property
    def sold_pieces(self) -> int:
        return sum(self.sold.values())

    @property
    def came_home(self) -> int | None:
        """The pieces that came home; None while they are not counted."""
        if not self.market_day.is_unloaded:
            return None
        return sum(line.came_home or 0 for line in self.market_day.lines.all())

    @property
    def costs_cents(self) -> int:
        """The fee and other costs, without the tax that the house gets back."""
        return sum(cents for _expense, cents in self.cost_rows)

    @property
    def cost_rows(self) -> list[tuple[Expense, int]]:
        """Each expense with what it cost, without the tax that the house gets back."""
        return [(each, each.amount_cents - each.tax_cents) for each in self.costs]

    @property
    def earned_cents(self) -> int:
        """What was taken in before tax, less all costs and what the goods cost, as far as known."""
        return self.net_cents - self.costs_cents - self.goods_cost_cents

    @property
    def hourly_cents(self) -> int | None:
        return market_sums.hourly_cents(self.earned_cents, self.market_day.labour_minutes)


@dataclass(frozen=True)
class MarketHistory:
    """All days of one market, newest first."""

    market: str
    results: list[MarketResult]

    @property
    def earned_cents(self) -> int:
        return sum(each.earned_cents for each in self.results)

    @property
    def mean_earned_cents(self) -> int:
        return round(Fraction(self.earned_cents, len(self.results)))

    @property
    def hourly_cents(self) -> int | None:
        """What an hour earned on all days on which somebody said how long people worked."""
        told = [each for each in self.results if each.market_day.labour_minutes]
        minutes = sum(each.market_day.labour_minutes or 0 for each in told)
        return market_sums.hourly_cents(sum(each.earned_cents for each in told), minutes)


@dataclass(frozen=True)
class LoadRow:
    """One product of a load list, with its cases and the net weight of its honey."""

    line: MarketDayLine
    free: int
    suggestion: Suggestion | None

    @property
    def product(self) -> Product:
        return self.line.product

    @property
    def cases(self) -> str:
        return market_sums.cases_in_words(self.line.wanted, self.product.pieces_per_case)

    @property
    def net_grams(self) -> Decimal:
        return self.product.declared_grams * self.line.wanted


def market_days() -> QuerySet[MarketDay]:
    """Return market days, latest first, with their load lists."""
    lines = MarketDayLine.objects.select_related("product__item", "product__size")
    return MarketDay.objects.select_related(
        "place", "source", "missed_sale__receipt"
    ).prefetch_related(
        Prefetch("lines", lines),
        Prefetch("entries", MarketDayEntry.objects.select_related("posting__reversed_by")),
        "costs__expense",
    )


def to_come() -> QuerySet[MarketDay]:
    """Return the days that are planned or not unloaded yet, the next one first."""
    return (
        market_days()
        .filter(cancelled_at=None, unloaded_at=None, closed_at=None)
        .order_by("day", "id")
    )


def past() -> list[MarketResult]:
    """Return the results of the days that are over, latest first, in so many queries always."""
    return results(_over())


def _over() -> QuerySet[MarketDay]:
    today = timezone.localdate()
    over = market_days().filter(cancelled_at=None, day__lte=today)
    return over.exclude(unloaded_at=None, closed_at=None)


def by_market(found: Iterable[MarketResult]) -> list[MarketHistory]:
    """Gather results by market, the one with the latest day first."""
    gathered: dict[str, list[MarketResult]] = defaultdict(list)
    for each in found:
        gathered[each.market_day.market.casefold()].append(each)
    return [MarketHistory(rows[0].market_day.market, rows) for rows in gathered.values()]


def result(market_day: MarketDay) -> MarketResult:
    """Return what one market day brought."""
    [found] = results(market_days().filter(pk=market_day.pk))
    return found


def with_its_market(pk: int) -> tuple[MarketResult, list[MarketResult]] | None:
    """Return what a day brought, and the other days of its market that are over, latest first.

    None where there is no such day. In so many queries as one day takes.
    """
    over = _over().order_by().values("pk")
    shown = list(market_days().filter(Q(pk=pk) | Q(pk__in=over)))
    day = next((each for each in shown if each.pk == pk), None)
    if day is None:
        return None
    market = day.market.casefold()
    others = [each for each in shown if each != day and each.market.casefold() == market]
    result, *of_others = results([day, *others])
    return result, of_others


def results(found: Iterable[MarketDay]) -> list[MarketResult]:
    """Return what these market days brought, in a constant number of queries."""
    made = [MarketResult(each) for each in found]
    by_spot: dict[Spot, MarketResult] = {
        (each.market_day.place_id, each.market_day.day): each
        for each in made
        if not each.market_day.is_cancelled
    }
    if by_spot:
        _add_sales(by_spot)
        _add_lost(by_spot)
    for each in made:
        costs = [cost.expense for cost in each.market_day.costs.all()]
        each.costs = [expense for expense in costs if not expense.is_undone]
    return made


def suggestions(*, market: str, place: Place, day: date) -> dict[Product, Suggestion]:
    """Return what to load by what was sold on the last days of the market before a day.

    Where there was none yet, by the last days of the place on the same weekday.
    """
    earlier = (
        market_days()
        .filter(cancelled_at=None, day__lt=day)
        .exclude(unloaded_at=None, closed_at=None, entries=None)
        .distinct()
    )
    rows = list(earlier[:LOOKED_BACK])
    same = [row for row in rows if row.market.casefold() == " ".join(market.split()).casefold()]
    of = same[0].market if same else date_format(day, "l")
    if not same:
        same = [row for row in rows if row.place_id == place.pk and _is_weekday(row, day)]
    looked_at = [each for each in results(same) if each.sold][: market_sums.DAYS_MAX]
    products = {product for each in looked_at for product in each.sold}
    made = {}
    for product in sorted(products, key=lambda product: product.name):
        sold = tuple(each.sold.get(product, 0) for each in looked_at)
        per_case = product.pieces_per_case
        wanted = market_sums.pieces_to_load(sold, per_case)
        made[product] = Suggestion(wanted, sold, of, per_case)
    return made


def products_to_load(on: date) -> list[Product]:
    """Return what can be sold at a market by the piece: all that has a stand price."""
    listed = prices.price_list(Customer.Tier.STAND, on).offered_to(None)
    return [
        each.product
        for each in listed
        if each.base is not None and not each.product.item.is_weighed
    ]


def free_at(place: Place, products: Iterable[Product]) -> dict[int, int]:
    """Return how many pieces are free for sale at a place, by the key of the item."""
    items = [product.item_id for product in products]
    found = (
        Balance.objects.filter(place=place, item__in=items, quantity__gt=0)
        .ours()
        .exclude(lot__is_on_hold=True)
        .exclude(lot__ready_on__gt=timezone.localdate())
    )
    free: dict[int, int] = defaultdict(int)
    for balance in found:
        free[balance.item_id] += max(0, balance.free)
    return dict(free)


def load_rows(market_day: MarketDay) -> list[LoadRow]:
    """Return the load list of a market day: what is free on its shelf, and what is suggested."""
    lines = [line for line in market_day.lines.all() if line.wanted]
    free = free_at(market_day.source, [line.product for line in lines])
    suggested = suggestions(market=market_day.market, place=market_day.place, day=market_day.day)
    return [
        LoadRow(line, free.get(line.product.item_id, 0), suggested.get(line.product))
        for line in lines
    ]


def there(place: Place, day: date | None = None) -> dict[Product, int]:
    """Return what the books have at a place in pieces: now, or at the end of an earlier day."""
    lines = PostingLine.objects.standing() if day is None else _until(day)
    found = (
        lines.filter(place=place, item__product__isnull=False, item__is_weighed=False)
        .filter(lot__owner=None)
        .order_by()
        .values_list("item__product")
        .annotate(total=Sum("quantity"))
        .filter(total__gt=0)
    )
    pieces = dict(found)
    products = Product.objects.filter(pk__in=pieces).select_related("item", "size")
    return {product: pieces[product.pk] for product in products}


def _until(day: date) -> QuerySet[PostingLine]:
    return PostingLine.objects.standing().filter(posting__occurred_at__lte=days.end(day))


def _is_weekday(row: MarketDay, day: date) -> bool:
    return row.day.weekday() == day.weekday()


def _add_sales(by_spot: dict[Spot, MarketResult]) -> None:
    places = {place for place, _day in by_spot}
    spots = sorted(day for _place, day in by_spot)
    sales = (
        StandSale.objects.standing()
        .filter(place__in=places, sold_at__range=(_start(spots[0]), days.end(spots[-1])))
        .select_related("receipt")
    )
    by_receipt: dict[int, MarketResult] = {}
    for sale in sales:
        into = by_spot.get((sale.place_id, timezone.localdate(sale.sold_at)))
        if into is None:
            continue
        by_receipt[sale.receipt_id] = into
        into.sales += 1
        into.on_top_cents += sale.on_top_cents
        into.total_cents += sale.receipt.total_cents
        into.net_cents += sale.receipt.net_cents
    for note in Invoice.objects.filter(credits__in=list(by_receipt)):
        if note.credits_id is not None:
            into = by_receipt[note.credits_id]
            into.total_cents += note.total_cents
            into.net_cents += note.net_cents
    _add_goods(by_receipt)


def _add_goods(by_receipt: dict[int, MarketResult]) -> None:
    """Add the pieces that were sold and did not come back, and what all goods had cost."""
    handed = (
        FulfilmentLine.objects.not_taken_back()
        .filter(invoice_lines__invoice__in=list(by_receipt))
        .select_related("order_line__product__item", "order_line__product__size")
        .annotate(receipt=F("invoice_lines__invoice"))
    )
    for line in handed.filter(receipt__in=list(by_receipt)):
        into, sold = by_receipt[line.receipt], line.order_line
        if sold.kind == OrderLine.Kind.PACKED and sold.product is not None:
            pieces = into.sold.get(sold.product, 0) + line.quantity - line.returned
            into.sold[sold.product] = pieces
        if line.cost_cents is None:
            into.goods_cost_is_known &= not sold.is_stocked
        else:
            into.goods_cost_cents += line.cost_cents - line.returned_cost_cents
    for each in by_receipt.values():
        each.sold = {product: pieces for product, pieces in each.sold.items() if pieces}


def _add_lost(by_spot: dict[Spot, MarketResult]) -> None:
    """Add what broken pieces and samples had cost."""
    by_posting = {
        entry.posting_id: into
        for into in by_spot.values()
        for entry in into.market_day.entries.all()
        if entry.kind in LOST and not hasattr(entry.posting, "reversed_by")
    }
    lines = list(
        PostingLine.objects.filter(
            posting__in=list(by_posting), place__kind__in=MarketDay.PLACES
        ).select_related("lot__product")
    )
    costs = packed_costs.unit_costs_cents(line.lot for line in lines if line.lot)
    for line in lines:
        unit_cents = costs.get(line.lot) if line.lot else None
        into = by_posting[line.posting_id]
        if unit_cents is None:
            into.goods_cost_is_known = False
        else:
            into.goods_cost_cents += round(unit_cents * -line.quantity)


def _start(day: date) -> datetime:
    return timezone.make_aware(datetime.combine(day, time()))
