"""Money that is still to come and to go, each with its day: what is due, and what is expected.

Due are invoices and bills, on the day that they say. Expected are orders that are not invoiced,
standing orders, and expenses that come again: these days and amounts may change.
"""

from __future__ import annotations

import statistics
from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import TYPE_CHECKING

from django.db.models import Count, Max, Sum
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from apiary_sales.billing import recurring
from apiary_sales.billing.models import (
    Allocation,
    Invoice,
    PaidBy,
    Payment,
    PurchaseOrder,
    RecurringExpense,
    SupplierBill,
)
from apiary_sales.billing.queries import bills, purchase_orders
from apiary_sales.customers.models import CustomerBalance
from apiary_sales.orders.models import FulfilmentLine, Order, OrderLine
from apiary_sales.orders.queries import standing_orders
from apiary_sales.orders.rules import rhythm
from apiary_sales.orders.rules.lines import LineWanted
from apiary_sales.orders.trade_models import StandingOrder, StandingOrderDay
from apiary_sales.pricing.queries import prices
from apiary_sales.reports.frames.make import TEXT, WHOLE, frame_of
from inventory.shared import words
from inventory.shared.days import month_end
from inventory.shared.money import share_cents

if TYPE_CHECKING:
    import pandas as pd

# What comes again without an end is looked at for so many months after this one.
MONTHS_AHEAD = 3
# So many of a customer's last invoices say how late they are usually paid; fewer than the least
# say nothing.
LATE_LAST, LATE_LEAST = 10, 3

INVOICE, BILL, ORDER, STANDING, AGAIN = "invoice", "bill", "order", "standing", "again"
DUE, BILLS, EXPECTED_IN, EXPECTED_OUT = (
    "due_cents",
    "bills_cents",
    "expected_in_cents",
    "expected_out_cents",
)
COLUMN_OF = {
    INVOICE: DUE,
    BILL: BILLS,
    ORDER: EXPECTED_IN,
    STANDING: EXPECTED_IN,
    AGAIN: EXPECTED_OUT,
}

ITEM = {
    "document": TEXT,
    "url": TEXT,
    "kind": TEXT,
    "who": TEXT,
    "day": TEXT,
    "state": TEXT,
    DUE: WHOLE,
    BILLS: WHOLE,
    EXPECTED_IN: WHOLE,
    EXPECTED_OUT: WHOLE,
    "usual_days": WHOLE,
    "usual_on": TEXT,
}


@dataclass(frozen=True)
class ComingFilters:
    """The days on which money is due or expected; what has no day is shown without both."""

    since: date | None = None
    until: date | None = None


@dataclass(frozen=True)
class ComingItem:
    """So much that is due or expected from or for somebody; `day` is None while nobody knows it."""

    kind: str
    document: str
    url: str
    who: str
    day: date | None
    cents: int
    customer: int | None = None
    order: int | None = None
    usual_days: int | None = None

    @property
    def column(self) -> str:
        return COLUMN_OF[self.kind]

    def is_overdue(self, today: date) -> bool:
        is_due = self.kind in (INVOICE, BILL)
        return is_due and self.day is not None and self.day < today

    def usual_on(self, today: date) -> date | None:
        """Return when it would come if it is paid as this customer usually pays."""
        if self.day is None or self.usual_days is None:
            return None
        return max(today, self.day + timedelta(days=self.usual_days))


@dataclass(frozen=True)
class ToCome:
    """All that is to come, and in sentences what is not known or not counted."""

    items: tuple[ComingItem, ...]
    not_known: tuple[str, ...]


def lines(filters: ComingFilters) -> pd.DataFrame:
    """Return one row for each amount that is to come, by its day; those without a day are last."""
    today = timezone.localdate()
    coming = read(today)
    frame = frame_of((_row(item, today) for item in coming.items if _is_asked(item, filters)), ITEM)
    frame.attrs["not_known"] = coming.not_known
    return frame


def read(today: date) -> ToCome:
    """Return what is due and expected from a day on, in a constant number of queries.

    What a customer has paid and no invoice has used yet is taken off: of an order what was paid in
    advance for it, and what is left off what that customer's invoices and then orders come to, the
    first due first.
    """
    until = month_end(today, MONTHS_AHEAD)
    invoices = list(_invoices())
    orders, unpriced_orders = _orders(today)
    standing, unpriced_standing = _standing(today, until)
    items = _less_credit(invoices, [*orders, *standing])
    items += [*_bills(), *_again(today, until)]
    late = _usual_days({item.customer for item in invoices if item.customer})
    items = [
        replace(item, usual_days=late.get(item.customer)) if item.kind == INVOICE else item
        for item in items
    ]
    items.sort(key=lambda item: (item.day is None, item.day or today, item.document))
    return ToCome(tuple(items), tuple(_not_known(today, until, unpriced_orders, unpriced_standing)))


def _is_asked(item: ComingItem, filters: ComingFilters) -> bool:
    since, until = filters.since, filters.until
    if item.day is None:
        return since is None and until is None
    return (since is None or item.day >= since) and (until is None or item.day <= until)


def _row(item: ComingItem, today: date) -> tuple[object, ...]:
    row = dict.fromkeys(ITEM) | {
        "document": item.document,
        "url": item.url,
        "kind": item.kind,
        "who": item.who,
        "day": item.day,
        "state": "overdue" if item.is_overdue(today) else "",
        item.column: item.cents,
        "usual_days": item.usual_days,
        "usual_on": item.usual_on(today),
    }
    return tuple(row.values())


def _invoices() -> Iterator[ComingItem]:
    found = Invoice.objects.open().select_related("customer")
    for invoice in found.order_by("due_on", "id"):
        yield ComingItem(
            INVOICE,
            str(invoice),
            reverse("billing:invoice_detail", args=[invoice.pk]),
            invoice.customer.name if invoice.customer else _("Buyers at the stand"),
            invoice.due_on,
            invoice.open_cents,
            invoice.customer_id,
        )


def _bills() -> Iterator[ComingItem]:
    found = SupplierBill.objects.filter(undone_entry=None, open_cents__gt=0)
    for bill in found.select_related("supplier").order_by("due_on", "id"):
        url = reverse("billing:bill", args=[bill.pk])
        yield ComingItem(BILL, bill.number, url, bill.supplier.name, bill.due_on, bill.open_cents)


def _orders(today: date) -> tuple[list[ComingItem], int]:
    """Return what open orders come to that no invoice has, and how many have a price of zero.

    What is handed over is expected so many days after today as the customer has to pay; what is
    not, after the day that it is wanted on. Without that day nobody knows when.
    """
    to_fill: dict[int, int] = defaultdict(int)
    zero: set[int] = set()
    # In no order: in their own, SQLite reads all lines there are.
    open_lines = OrderLine.objects.filter(order__status__in=Order.OPEN_STATUSES).order_by()
    for key, cents, price, quantity in open_lines.values_list(
        "order", "amount_cents", "unit_price", "quantity"
    ):
        to_fill[key] += cents
        if not price and quantity:
            zero.add(key)
    handed = FulfilmentLine.objects.not_taken_back()
    filled = handed.filter(order_line__order__status__in=Order.OPEN_STATUSES).order_by()
    for key, cents, again, quantity in filled.values_list(
        "fulfilment__order", "amount_cents", "sent_again", "quantity"
    ):
        to_fill[key] -= cents - share_cents(cents, again, quantity)
    unbilled: dict[int, int] = defaultdict(int)
    # Added up here: asked to do it, SQLite begins with all orders there are.
    rows = FulfilmentLine.objects.unbilled().order_by()
    for key, cents in rows.values_list("fulfilment__order", "amount_cents"):
        unbilled[key] += cents
    items = []
    found = Order.objects.filter(pk__in={*to_fill, *unbilled}).select_related("customer")
    for order in found.order_by("id"):
        terms = timedelta(days=order.customer.terms_days if order.customer else 0)
        wanted = max(order.wanted_on, today) + terms if order.wanted_on else None
        for day, cents in (
            (today + terms, unbilled.get(order.pk, 0)),
            (wanted, to_fill.get(order.pk, 0)),
        ):
            if cents > 0:
                items.append(
                    ComingItem(
                        ORDER,
                        order.number,
                        reverse("orders:order_detail", args=[order.number]),
                        order.customer.name if order.customer else _("Buyers at the stand"),
                        day,
                        cents,
                        order.customer_id,
                        order.pk,
                    )
                )
    return items, len(zero)


def _standing(today: date, until: date) -> tuple[list[ComingItem], int]:
    """Return what standing orders come to up to a day, and how many have goods without a price."""
    standing = list(standing_orders.listed().filter(is_paused=False, customer__is_active=True))
    if not standing:
        return [], 0
    decided = set(StandingOrderDay.objects.values_list("standing", "due_on"))
    lists = prices.price_lists({each.customer.tier for each in standing}, today)
    items, unpriced = [], 0
    for each in standing:
        offered = lists[each.customer.tier]
        priced = [
            (line, offered.of(line.product).unit_price(line.pieces)) for line in each.lines.all()
        ]
        unpriced += any(price is None for _line, price in priced)
        cents = sum(
            LineWanted(OrderLine.Kind.PACKED, line.pieces, price, product=line.product).amount_cents
            for line, price in priced
            if price is not None
        )
        for day in _days_of(each, today, until):
            if cents and (each.pk, day) not in decided:
                items.append(
                    ComingItem(
                        STANDING,
                        str(each),
                        reverse("orders:standing", args=[each.pk]),
                        each.customer.name,
                        max(day, today) + timedelta(days=each.customer.terms_days),
                        cents,
                        each.customer_id,
                    )
                )
    return items, unpriced


def _days_of(standing: StandingOrder, today: date, until: date) -> Iterator[date]:
    """Yield the last day of a standing order up to today, and those after it up to a day."""
    starts_on, ends_on = standing.starts_on, standing.ends_on
    day = rhythm.last_due(standing.rhythm, starts_on=starts_on, ends_on=ends_on, upto=today)
    after = today
    while True:
        if day is not None:
            yield day
        day = rhythm.next_due(standing.rhythm, starts_on=starts_on, ends_on=ends_on, after=after)
        if day is None or day > until:
            return
        after = day


def _again(today: date, until: date) -> Iterator[ComingItem]:
    """Yield the expenses that come again, up to a day; the owner's own money is not the house's."""
    for each in RecurringExpense.objects.filter(is_active=True).exclude(paid_by=PaidBy.OWNER):
        url = reverse("billing:recurring_list")
        day = each.next_on
        while day <= until:
            what = str(each.get_category_display())
            yield ComingItem(AGAIN, what, url, each.payee, max(day, today), each.amount_cents)
            day = recurring.next_day(each.first_on, each.rhythm, day)


def _less_credit(invoices: list[ComingItem], expected: list[ComingItem]) -> list[ComingItem]:
    """Take off what was paid already: for an order in advance, or on a customer's account."""
    of_order = _prepaid(order for item in expected if (order := item.order) is not None)
    left: dict[int | None, int] = defaultdict(int)
    for item in invoices:
        left[item.customer] += item.cents
    on_account = {
        customer: left[customer] - owed
        for customer, owed in CustomerBalance.objects.values_list("customer", "owed_cents")
    }
    for order, cents in of_order.items():
        customer = next(item.customer for item in expected if item.order == order)
        if customer is not None:
            on_account[customer] = on_account.get(customer, 0) - cents
    found = []
    by_day = sorted(expected, key=lambda item: (item.day is None, item.day or date.max))
    for item in [*invoices, *by_day]:
        cents = item.cents
        if item.order is not None:
            used = min(cents, of_order.get(item.order, 0))
            of_order[item.order] = of_order.get(item.order, 0) - used
            cents -= used
        if item.customer is not None:
            used = min(cents, max(0, on_account.get(item.customer, 0)))
            on_account[item.customer] = on_account.get(item.customer, 0) - used
            cents -= used
        if cents:
            found.append(replace(item, cents=cents))
    return found


def _prepaid(orders: Iterable[int]) -> dict[int, int]:
    """Return what was paid in advance for these orders and no invoice has used yet."""
    paid = Payment.objects.filter(order__in=set(orders), reverses=None, reversed_by__reverses=None)
    found = paid.order_by()
    prepaid: dict[int, int] = defaultdict(int)
    for order, left_cents in found.with_left().values_list("order", "left_cents"):
        if order is not None:
            prepaid[order] += max(0, left_cents)
    return prepaid


def _usual_days(customers: set[int]) -> dict[int | None, int]:
    """Return how many days after the day it was due each customer usually pays; early below zero.

    It is the median of the last invoices that are paid; of two in the middle the later one.
    """
    paid = (
        Allocation.objects.filter(
            invoice__customer__in=customers,
            invoice__open_cents=0,
            invoice__opening_number="",
            amount_cents__gt=0,
            payment__reverses=None,
            payment__reversed_by__reverses=None,
        )
        .order_by()
        .values_list("invoice__customer", "invoice", "invoice__due_on")
        .annotate(paid_on=Max("payment__received_on"))
        .order_by("-paid_on", "-invoice")
    )
    late: dict[int | None, list[int]] = defaultdict(list)
    for customer, _invoice, due_on, paid_on in paid:
        if len(late[customer]) < LATE_LAST:
            late[customer].append((paid_on - due_on).days)
    return {
        customer: statistics.median_high(days)
        for customer, days in late.items()
        if len(days) >= LATE_LEAST
    }


def _not_known(
    today: date, until: date, unpriced_orders: int, unpriced_standing: int
) -> Iterator[str]:
    if unpriced_orders:
        yield ngettext(
            "%(count)s open order has goods at a price of zero: given away, or no price yet.",
            "%(count)s open orders have goods at a price of zero: given away, or no price yet.",
            unpriced_orders,
        ) % {"count": unpriced_orders}
    if unpriced_standing:
        yield ngettext(
            "%(count)s standing order has goods without a price; these are not counted.",
            "%(count)s standing orders have goods without a price; these are not counted.",
            unpriced_standing,
        ) % {"count": unpriced_standing}
    quotes = Order.objects.filter(status=Order.Status.QUOTED, valid_until__gte=today)
    sums = quotes.aggregate(
        cents=Sum("lines__amount_cents", default=0), count=Count("pk", distinct=True)
    )
    if count := sums["count"]:
        yield ngettext(
            "%(count)s quote of %(amount)s is not accepted yet, and not counted.",
            "%(count)s quotes of %(amount)s are not accepted yet, and not counted.",
            count,
        ) % {"count": count, "amount": words.money(sums["cents"])}
    delivered = purchase_orders.to_bill(since=today - bills.TO_BILL_SINCE)
    if delivered:
        yield ngettext(
            "%(count)s delivery came in that has no bill here, at a cost of %(amount)s: not "
            "counted, because nobody knows when it is to be paid, or whether it was.",
            "%(count)s deliveries came in that have no bill here, at a cost of %(amount)s: not "
            "counted, because nobody knows when they are to be paid, or whether they were.",
            len(delivered),
        ) % {
            "count": len(delivered),
            "amount": words.money(purchase_orders.to_bill_cents(delivered)),
        }
    if under_way := PurchaseOrder.objects.filter(status=PurchaseOrder.Status.OPEN).count():
        yield ngettext(
            "%(count)s order to a supplier is open; its bill is not counted before it is entered.",
            "%(count)s orders to suppliers are open; their bills are not counted before they are "
            "entered.",
            under_way,
        ) % {"count": under_way}
