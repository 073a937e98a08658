"""What stock was worth at the end of a day: as it is known now, was known, or was closed."""

from datetime import date, datetime

from django.db.models import Case, Max, Sum, Value, When
from django.utils import timezone

from apiary_sales.billing import chart_of_accounts as accounts
from apiary_sales.billing.stock_book import StockBook
from inventory.bottling import valuation
from inventory.bottling.valuation import StockWorth


def as_of(day: date, known_at: datetime | None = None) -> list[StockWorth]:
    """Return what each lot and part was worth when a day ended.

    A day that is closed, or was at the moment `known_at`, is as it was closed. Other days have the
    costs that are known now, or were at the moment.
    """
    book = StockBook(known_at)
    if book.closed_until is None or day > book.closed_until:
        is_now = known_at is None and day == timezone.localdate()
        return valuation.worth_now() if is_now else valuation.worth_on(day, known_at)
    lines = book.closed_lines(day).filter(account__in=accounts.VALUED).order_by()
    without = Max(Case(When(has_no_cost=True, then=Value(1)), default=Value(0)))
    return [
        StockWorth(
            account.partition(":")[2],
            item,
            lot,
            quantity,
            None if has_none and not cents else cents,
        )
        for account, item, lot, quantity, cents, has_none in lines.values_list(
            "account", "item", "lot"
        ).annotate(total=Sum("quantity"), value=Sum("cents"), without=without)
        if quantity
    ]
