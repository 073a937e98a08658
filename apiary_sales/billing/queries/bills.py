"""What is owed to suppliers: their bills, what is due, and what each of them is owed."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from django.db.models import Count, Max, Q, QuerySet, Sum
from django.utils.translation import gettext as _

from apiary_sales.billing.models import SupplierBill, SupplierPayment
from apiary_sales.billing.queries import purchase_orders
from inventory.shared.money import amount
from inventory.stock.models import Supplier

# Bills that are due within so many days are paid in the next round.
SOON = timedelta(days=7)
# Deliveries older than this are most often billed and paid by other ways.
TO_BILL_SINCE = timedelta(days=183)


def bills(
    *,
    on: date,
    text: str = "",
    state: str = "",
    since: date | None = None,
    until: date | None = None,
) -> QuerySet[SupplierBill]:
    """Return bills by due day; `state` is open, overdue, soon, paid, undone or empty for all."""
    found = SupplierBill.objects.select_related("supplier", "undone_entry")
    if state == "undone":
        found = found.exclude(undone_entry=None)
    elif state:
        found = found.filter(undone_entry=None)
    if state == "open":
        found = found.filter(open_cents__gt=0)
    elif state == "overdue":
        found = found.filter(open_cents__gt=0, due_on__lt=on)
    elif state == "soon":
        found = found.filter(open_cents__gt=0, due_on__lte=on + SOON)
    elif state == "paid":
        found = found.filter(open_cents=0)
    if text:
        found = found.filter(Q(number__icontains=text) | Q(supplier__name__icontains=text))
    if since:
        found = found.filter(billed_on__gte=since)
    if until:
        found = found.filter(billed_on__lte=until)
    return found.order_by("due_on", "id")


@dataclass(frozen=True)
class Totals:
    """What a list of bills comes to; bills that were undone do not count."""

    total_cents: int
    open_cents: int


def totals(found: QuerySet[SupplierBill]) -> Totals:
    sums = found.filter(undone_entry=None).aggregate(
        total=Sum("total_cents", default=0), open=Sum("open_cents", default=0)
    )
    return Totals(sums["total"], sums["open"])


def state_of(bill: SupplierBill, on: date) -> dict[str, str]:
    """Return the text and the look of a bill's state."""
    if bill.is_undone:
        return {"text": _("undone"), "kind": ""}
    if bill.open_cents == 0:
        return {"text": _("paid"), "kind": "good"}
    if bill.due_on < on:
        return {"text": _("overdue"), "kind": "bad"}
    if bill.open_cents < bill.total_cents:
        return {"text": _("part paid"), "kind": "info"}
    return {"text": _("to be paid"), "kind": "info"}


def bill_rows(found: Iterable[SupplierBill], on: date) -> Iterator[list[Any]]:
    """Yield a heading and a row for each bill, for a spreadsheet."""
    yield [
        _("Supplier"),
        _("Number of the bill"),
        _("Date"),
        _("Due"),
        _("State"),
        _("Total"),
        _("Left to pay"),
        _("Currency"),
    ]
    for bill in found:
        yield [
            bill.supplier.name,
            bill.number,
            bill.billed_on,
            bill.due_on,
            state_of(bill, on)["text"],
            amount(bill.total_cents),
            amount(bill.open_cents),
            bill.currency,
        ]


@dataclass(frozen=True)
class SupplierBalance:
    """What one supplier is owed, and what of it is overdue; what came in without a bill."""

    supplier: Supplier
    open_cents: int
    overdue_cents: int
    bills: int
    not_billed_cents: int
    paid_on: date | None


@dataclass(frozen=True)
class Balances:
    """What all suppliers are owed."""

    rows: tuple[SupplierBalance, ...]

    @property
    def open_cents(self) -> int:
        return sum(row.open_cents for row in self.rows)

    @property
    def overdue_cents(self) -> int:
        return sum(row.overdue_cents for row in self.rows)

    @property
    def not_billed_cents(self) -> int:
        return sum(row.not_billed_cents for row in self.rows)


def balances(on: date) -> Balances:
    """Return every supplier who is owed something, has a delivery to bill, or was ever paid."""
    is_open = Q(bills__open_cents__gt=0)
    found = Supplier.objects.annotate(
        open_cents=Sum("bills__open_cents", default=0),
        overdue_cents=Sum("bills__open_cents", filter=Q(bills__due_on__lt=on), default=0),
        open_bills=Count("bills", filter=is_open),
        all_bills=Count("bills"),
    ).order_by("name")
    paid = dict(
        SupplierPayment.objects.filter(undone_entry=None)
        .order_by()
        .values_list("supplier")
        .annotate(last=Max("paid_on"))
    )
    waiting: dict[int, int] = {}
    for row in purchase_orders.to_bill(since=on - TO_BILL_SINCE):
        if row.supplier is not None:
            waiting[row.supplier.pk] = waiting.get(row.supplier.pk, 0) + (row.cost_cents or 0)
    return Balances(
        tuple(
            SupplierBalance(
                supplier,
                supplier.open_cents,
                supplier.overdue_cents,
                supplier.open_bills,
                waiting.get(supplier.pk, 0),
                paid.get(supplier.pk),
            )
            for supplier in found
            if supplier.all_bills or supplier.pk in waiting
        )
    )


def balance_rows(found: Balances) -> Iterator[list[Any]]:
    """Yield a heading and a row for each supplier, for a spreadsheet."""
    yield [
        _("Supplier"),
        _("Owed"),
        _("Overdue"),
        _("Bills to be paid"),
        _("Received, not billed yet"),
        _("Paid last"),
    ]
    for row in found.rows:
        yield [
            row.supplier.name,
            amount(row.open_cents),
            amount(row.overdue_cents),
            row.bills,
            amount(row.not_billed_cents),
            row.paid_on,
        ]


def payments() -> QuerySet[SupplierPayment]:
    """Return the payments to suppliers with the bills they settle, the newest first."""
    found = SupplierPayment.objects.select_related(
        "supplier", "entry", "undone_entry", "entered_by"
    )
    return found.prefetch_related("allocations__bill").order_by("-paid_on", "-id")


def payment_rows(found: Iterable[SupplierPayment]) -> Iterator[list[Any]]:
    """Yield a heading and a row for each payment, for a spreadsheet."""
    yield [
        _("Day"),
        _("Supplier"),
        _("Paid by"),
        _("Check number or reference"),
        _("Amount"),
        _("Discount"),
        _("Bills"),
        _("Undone"),
    ]
    for payment in found:
        shares = payment.allocations.all()
        yield [
            payment.paid_on,
            payment.supplier.name,
            str(payment.get_paid_by_display()),
            payment.reference,
            amount(payment.amount_cents),
            amount(sum(share.discount_cents for share in shares)),
            ", ".join(share.bill.number for share in shares),
            payment.undone_entry.happened_on if payment.undone_entry else None,
        ]


def payments_of(bill: SupplierBill) -> QuerySet[Any]:
    """Return the shares of payments for a bill, undone ones too, the oldest first."""
    shares = bill.allocations.select_related("payment__undone_entry", "payment__entered_by")
    return shares.order_by("payment__paid_on", "id")
