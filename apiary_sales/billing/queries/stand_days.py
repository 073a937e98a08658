"""Days at stands: the list, one day with all that happened to its cash, and what would be wrong."""

from collections.abc import Collection, Iterator
from dataclasses import dataclass
from datetime import date

from django.db.models import Exists, OuterRef, Q, QuerySet
from django.db.models.functions import TruncDate
from django.utils import timezone

from apiary_sales.billing import denominations, drawers
from apiary_sales.billing.denominations import Denomination
from apiary_sales.billing.drawers import Drawer
from apiary_sales.billing.models import (
    Allocation,
    CashCount,
    EntryLine,
    HonestyBox,
    Payment,
    StandCash,
    StandDay,
    StandDayClose,
    StandLateCash,
    StandSale,
)
from apiary_sales.billing.takings import Takings, takings
from inventory.shared import conventions
from inventory.stock.models import Place

Account = EntryLine.Account
# So many are read at once, with their lines.
CHUNK = 500


@dataclass(frozen=True)
class CameAfterwards:
    """Sales of a closed day that were not known when it was closed.

    `late` were sold before the count, so their cash was counted already; the others after it.
    """

    count: int
    cents: int
    late_count: int
    late_cash_cents: int
    # What is over or short by what is known now; the figures that were kept stay.
    difference_cents: int


@dataclass(frozen=True)
class StandDayShown:
    """One day with its cash and, once it is closed, the figures that were kept."""

    stand_day: StandDay
    closing: StandDayClose | None
    undone_closes: list[StandDayClose]
    cash: list[StandCash]
    drawer: Drawer
    takings: Takings
    afterwards: CameAfterwards | None

    @property
    def counted(self) -> list[tuple[Denomination, int]]:
        if self.closing is None:
            return []
        return denominations.in_order(self.closing.counted_pieces, conventions.current().currency)


def stand_days(places: Collection[Place]) -> QuerySet[StandDay]:
    """Return the days of these places, the newest first, with their closes."""
    return (
        StandDay.objects.filter(place__in=places)
        .select_related("place", "opened_by")
        .prefetch_related("closes__recorded_by", "closes__undone_by")
    )


def unopened(places: Collection[Place], day: date) -> list[Place]:
    """Return which of these places have no drawer on a day yet; a honesty box needs none."""
    opened = set(StandDay.objects.filter(day=day).values_list("place", flat=True))
    boxes = set(HonestyBox.objects.filter(is_active=True).values_list("place", flat=True))
    return [place for place in places if place.pk not in opened | boxes]


def last_float_cents(place: Place) -> int | None:
    """Return the float that a place began its last day with."""
    last = StandDay.objects.filter(place=place).order_by("-day").first()
    return last.float_cents if last else None


def shown(stand_day: StandDay) -> StandDayShown:
    """Return one day: of a closed one the figures that were kept, of an open one those of now."""
    closes = list(stand_day.closes.all())
    closing = next((each for each in closes if not each.is_undone), None)
    cash = stand_day.cash.select_related("recorded_by", "expense", "money_move", "undone_by")
    drawer = drawers.drawer_of(stand_day) if closing is None else _kept_drawer(closing)
    sales = drawers.sales_of(stand_day.place, stand_day.day)
    return StandDayShown(
        stand_day=stand_day,
        closing=closing,
        undone_closes=[each for each in closes if each.is_undone],
        cash=list(cash),
        drawer=drawer,
        takings=takings(sales) if closing is None else Takings.from_data(closing.takings),
        afterwards=None if closing is None else _afterwards(closing, sales),
    )


def _kept_drawer(closing: StandDayClose) -> Drawer:
    return Drawer(
        float_cents=closing.float_cents,
        sold_cents=closing.sold_cents,
        on_top_cents=closing.on_top_cents,
        given_back_cents=closing.given_back_cents,
        in_cents=closing.in_cents,
        out_cents=closing.out_cents,
    )


def _afterwards(closing: StandDayClose, sales: QuerySet[StandSale]) -> CameAfterwards | None:
    rows = list(StandLateCash.objects.filter(close=closing))
    late = {row.sale_id for row in rows}
    came = sales.filter(Q(recorded_at__gt=closing.closed_at) | Q(pk__in=late))
    found = list(came.select_related("receipt"))
    if not found and not rows:
        return None
    before = [sale for sale in found if sale.sold_at <= closing.closed_at]
    late_cents = sum(row.cents for row in rows)
    return CameAfterwards(
        count=len(found),
        cents=sum(sale.total_cents for sale in found),
        late_count=len(before),
        late_cash_cents=late_cents,
        difference_cents=closing.difference_cents - late_cents,
    )


def faults() -> Iterator[str]:
    """Yield one sentence for each close that the book of money does not agree with."""
    closes = StandDayClose.objects.order_by("id").prefetch_related(
        "entry__lines", "undo_entry__lines", "late_cash__entry__lines"
    )
    for closing in closes.iterator(chunk_size=CHUNK):
        posted = _over_cents(closing.entry.lines.all()) if closing.entry else 0
        meant = 0 if closing.counted_with_id else closing.difference_cents
        if posted != meant:
            yield f"Close {closing.pk} of a stand posted {posted} cents as over, not {meant}."
        if closing.undo_entry and _over_cents(closing.undo_entry.lines.all()) != -meant:
            yield f"Entry {closing.undo_entry_id} does not undo close {closing.pk} exactly."
        for late in closing.late_cash.all():
            if _over_cents(late.entry.lines.all()) != -late.cents:
                yield f"Late cash {late.pk} of {late.cents} cents is entered at another amount."
    yield from _faults_of_counts()
    for sale in _counted_twice().iterator():
        yield f"The cash of {sale} came in after its stand was closed, and is in the book twice."
    for sale in _counted_with_all():
        yield f"The cash of {sale} came in after all cash was counted, and is in the book twice."


def _faults_of_counts() -> Iterator[str]:
    """Yield a sentence for late cash of a count of all cash that is entered wrong."""
    late = StandLateCash.objects.exclude(cash_count=None).prefetch_related(
        "entry__lines", "undo_entry__lines"
    )
    for row in late.iterator(chunk_size=CHUNK):
        if _over_cents(row.entry.lines.all()) != -row.cents:
            yield f"Late cash {row.pk} of {row.cents} cents is entered at another amount."
        if row.cash_count and row.cash_count.is_undone != (row.undo_entry_id is not None):
            yield f"Late cash {row.pk} and its count of all cash are not undone together."
        if row.undo_entry and _over_cents(row.undo_entry.lines.all()) != row.cents:
            yield f"Entry {row.undo_entry_id} does not undo late cash {row.pk} exactly."


def _counted_twice() -> QuerySet[StandSale]:
    """Return cash sales that came in after their day was counted, and are not taken off it."""
    closed = StandDayClose.objects.filter(
        undone_on=None,
        stand_day__place=OuterRef("place"),
        stand_day__day=OuterRef("day"),
        closed_at__lt=OuterRef("recorded_at"),
        closed_at__gte=OuterRef("sold_at"),
    ).exclude(late_cash__sale=OuterRef("pk"))
    return (
        StandSale.objects.annotate(day=TruncDate("sold_at", tzinfo=timezone.get_current_timezone()))
        # A sale that corrects another may bring as much as that one had.
        .filter(Exists(closed), _is_in_cash(), corrects=None)
        .select_related("receipt")
        .order_by("id")
    )


def _counted_with_all() -> Iterator[StandSale]:
    """Yield cash sales that came in after all cash was counted, and are not taken off a count."""
    counts = CashCount.objects.filter(
        recorded_at__gte=OuterRef("sold_at"), recorded_at__lt=OuterRef("recorded_at")
    )
    found = StandSale.objects.filter(
        Exists(counts), _is_in_cash(), corrects=None, late_cash=None
    ).select_related("receipt")
    for sale in found.order_by("id").iterator():
        if drawers.count_of_all_with(sale, known_at=sale.recorded_at) is not None:
            yield sale


def _is_in_cash() -> Exists:
    return Exists(
        Allocation.objects.filter(
            invoice=OuterRef("receipt"),
            payment__method=Payment.Method.CASH,
            payment__reverses=None,
            payment__order=None,
            payment__amount_cents__gt=0,
        )
    )


def _over_cents(lines: QuerySet[EntryLine]) -> int:
    return sum(line.amount_cents for line in lines if line.account == Account.CASH)
