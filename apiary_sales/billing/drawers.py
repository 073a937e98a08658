"""What is in the drawer of a stand by the books: read by services and by queries alike.

Cash counts at the place where it was sold, on the day it was sold. Cash given back counts on the
day it was given back, but that of a sale which another one corrects on the day of the sale: there
only the books were wrong, and no coin moved. Change is no matter: what is kept is the payment.
"""

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from django.db.models import DateField, DateTimeField, F, Q, QuerySet, Sum
from django.db.models.functions import Coalesce
from django.utils import timezone

from apiary_sales.billing import counter_money
from apiary_sales.billing.models import (
    Allocation,
    CashCount,
    EntryLine,
    Invoice,
    Payment,
    StandCash,
    StandDay,
    StandSale,
)
from inventory.shared.prepared import Given, PreparedQuery
from inventory.stock.models import Place

Account = EntryLine.Account


@dataclass(frozen=True)
class Drawer:
    """Where the cash of a drawer came from and went; `expected_cents` should be in it."""

    float_cents: int
    sold_cents: int
    on_top_cents: int
    given_back_cents: int
    in_cents: int
    out_cents: int

    @property
    def expected_cents(self) -> int:
        return (
            self.float_cents
            + self.sold_cents
            + self.on_top_cents
            + self.in_cents
            - self.given_back_cents
            - self.out_cents
        )


def drawer_of(stand_day: StandDay) -> Drawer:
    """Return what the books have in the drawer of a stand's day now."""
    sales = sales_of(stand_day.place, stand_day.day)
    standing = StandCash.objects.filter(stand_day=stand_day).standing()
    came, went = Q(kind__in=StandCash.IN), ~Q(kind__in=StandCash.IN)
    moved = standing.aggregate(
        came=Coalesce(Sum("cents", filter=came), 0), went=Coalesce(Sum("cents", filter=went), 0)
    )
    return Drawer(
        float_cents=stand_day.float_cents,
        sold_cents=_handed(cash_payments(sales)),
        on_top_cents=_on_top_cents(sales),
        given_back_cents=_given_back_cents(stand_day.place, stand_day.day),
        in_cents=moved["came"],
        out_cents=moved["went"],
    )


def sales_of(place: Place, day: date) -> QuerySet[StandSale]:
    """Return the sales of a place on a day, undone ones too."""
    since, until = day_limits(day, day)
    return StandSale.objects.filter(place=place, sold_at__gte=since, sold_at__lt=until)


def day_limits(since: date, until: date) -> tuple[datetime, datetime]:
    """Return the moment at which some days begin, and that at which they have ended."""
    zone = timezone.get_current_timezone()
    end = until + timedelta(days=1)
    return (
        datetime(since.year, since.month, since.day, tzinfo=zone),
        datetime(end.year, end.month, end.day, tzinfo=zone),
    )


def cash_payments(sales: QuerySet[StandSale]) -> QuerySet[Payment]:
    """Return the cash taken for these sales; what was paid in advance for an order is no part."""
    return Payment.objects.filter(
        pk__in=_put_to(sales), method=Payment.Method.CASH, reverses=None, order=None
    ).filter(amount_cents__gt=0)


def cash_of(sale: StandSale) -> int:
    """Return the cash that a sale brought, with what was given on top."""
    one = StandSale.objects.filter(pk=sale.pk)
    return _handed(cash_payments(one)) + _on_top_cents(one)


def cash_back_of(sale: StandSale) -> int:
    """Return the cash of a sale that the books have as given back, with what was on top."""
    back = _back_of(StandSale.objects.filter(pk=sale.pk))
    on_top = EntryLine.objects.filter(account=Account.CASH, entry__stand_sale_undone=sale)
    return -_handed(back) - _sum(on_top)


_COUNTS = PreparedQuery(
    lambda: (
        CashCount.objects.filter(
            counted_on__gte=Given("day", DateField()),
            recorded_at__gte=Given("since", DateTimeField()),
            recorded_at__lt=Given("until", DateTimeField()),
        )
        .select_related("undo_entry")
        .order_by("recorded_at", "pk")
    )
)


def count_of_all_with(sale: StandSale, *, known_at: datetime) -> CashCount | None:
    """Return the count of all cash before `known_at` that found the cash of a sale.

    It is the first one after the sale. What it posted as over is in the books still; where it was
    undone, only a count made after that posted it again.
    """
    since = sale.sold_at
    counts = _COUNTS.rows(day=timezone.localdate(since), since=since, until=known_at)
    for count in counts:
        if count.recorded_at is None or count.recorded_at < since:
            continue
        if not count.is_undone:
            return count
        if count.undo_entry is not None:
            since = count.undo_entry.entered_at
    return None


def _put_to(sales: QuerySet[StandSale]) -> QuerySet[Allocation, Any]:
    return counter_money.put_to(sales).filter(payment__reverses=None).values("payment")


def _on_top_cents(sales: QuerySet[StandSale]) -> int:
    return _sum(EntryLine.objects.filter(account=Account.CASH, entry__stand_sale__in=sales))


def _back_of(sales: QuerySet[StandSale]) -> QuerySet[Payment]:
    """Return the cash given back for these sales: payments undone, or credit notes paid out."""
    return Payment.objects.filter(
        Q(reverses__in=_put_to(sales))
        # What is given back for an invoice is given back by the office.
        | Q(
            refunds__credits__stand_sale__in=sales,
            refunds__credits__series__startswith=Invoice.RECEIPT_PREFIX,
        ),
        method=Payment.Method.CASH,
        amount_cents__lt=0,
    )


def _given_back_cents(place: Place, day: date) -> int:
    here = StandSale.objects.filter(place=place)
    plain = here.filter(corrected_by=None)
    corrected = sales_of(place, day).exclude(corrected_by=None)
    on_top = EntryLine.objects.filter(account=Account.CASH)
    return -(
        _handed(_back_of(plain).filter(received_on=day))
        + _handed(_back_of(corrected))
        + _sum(on_top.filter(entry__stand_sale_undone__in=plain, entry__happened_on=day))
        + _sum(on_top.filter(entry__stand_sale_undone__in=corrected))
    )


def _handed(rows: QuerySet[Payment]) -> int:
    """Return the cash that changed hands, rounded to the smallest coin as it was."""
    found = rows.aggregate(cents=Coalesce(Sum(F("amount_cents") + F("rounding_cents")), 0))
    cents: int = found["cents"]
    return cents


def _sum(rows: QuerySet[EntryLine]) -> int:
    cents: int = rows.aggregate(cents=Coalesce(Sum("amount_cents"), 0))["cents"]
    return cents
