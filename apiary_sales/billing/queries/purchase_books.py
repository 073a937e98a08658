"""Check bills of suppliers, their payments and expenses against the book of money."""

from collections.abc import Callable, Iterator

from django.db.models import Count, F, OuterRef, Q, QuerySet, Subquery, Sum
from django.db.models.functions import Coalesce

from apiary_sales.billing.models import (
    Entry,
    EntryLine,
    Expense,
    SupplierAllocation,
    SupplierBill,
    SupplierBillLine,
    SupplierPayment,
)
from inventory.stock.models import Supplier

Account = EntryLine.Account
# What leaves the house, or the owner's pocket, when something is paid.
MONEY = (Account.CASH, Account.TRANSFER, Account.OWNER)


def faults() -> Iterator[str]:
    """Yield one sentence for each way in which what is owed to suppliers breaks a law."""
    for proof in PROOFS:
        yield from proof()


def _entered(entry: str, *accounts: str) -> Coalesce:
    """Return, as a part of a query, what an entry has on these accounts."""
    lines = (
        EntryLine.objects.filter(entry=OuterRef(entry), account__in=accounts)
        .values("entry")
        .order_by()
        .annotate(cents=Sum("amount_cents"))
        .values("cents")
    )
    return Coalesce(Subquery(lines), 0)


def _wrong_entries() -> Iterator[str]:
    """Each document is in the book at its own amount, under its own kind."""
    bills = SupplierBill.objects.annotate(owed=_entered("entry", Account.PAYABLE))
    for bill in bills.exclude(owed=-F("total_cents"), entry__kind=Entry.Kind.BILL):
        yield f"Bill {bill} of {bill.total_cents} cents is entered at {-bill.owed}."
    payments = SupplierPayment.objects.annotate(
        money=_entered("entry", *MONEY), settled=_entered("entry", Account.PAYABLE)
    )
    for payment in payments.exclude(
        money=-F("amount_cents"), settled__gte=F("amount_cents"), entry__kind="bill_payment"
    ):
        yield (
            f"Payment {payment.pk} to a supplier, of {payment.amount_cents} cents, is entered "
            f"at {-payment.money}."
        )
    expenses = Expense.objects.annotate(
        money=_entered("entry", *MONEY), tax=_entered("entry", Account.PURCHASE_TAX)
    )
    for expense in expenses.exclude(
        money=-F("amount_cents"), tax=F("tax_cents"), entry__kind=Entry.Kind.EXPENSE
    ):
        yield (
            f"Expense {expense.pk} of {expense.amount_cents} cents is entered at {-expense.money}."
        )


def _wrong_undoings() -> Iterator[str]:
    """What was undone adds up to zero with its opposite entry, account by account."""
    documents: list[QuerySet] = [
        SupplierBill.objects.all(),
        SupplierPayment.objects.all(),
        Expense.objects.all(),
    ]
    for found in documents:
        for document in found.exclude(undone_entry=None):
            pair = (document.entry_id, document.undone_entry_id)
            left = (
                EntryLine.objects.filter(entry__in=pair)
                .values("account", "detail", "supplier")
                .order_by()
                .annotate(cents=Sum("amount_cents"))
                .exclude(cents=0)
            )
            if left:
                yield f"Entry {pair[1]} does not undo entry {pair[0]} exactly."


def _wrong_totals() -> Iterator[str]:
    bills = SupplierBill.objects.annotate(
        lines_cents=Coalesce(Sum("lines__amount_cents"), 0),
    ).exclude(total_cents=F("lines_cents") + F("tax_cents"))
    for bill in bills.order_by("id"):
        yield f"Bill {bill} says {bill.total_cents} cents, its lines {bill.lines_cents}."
    cleared = (
        SupplierBillLine.objects.filter(bill=OuterRef("pk"))
        .values("bill")
        .order_by()
        .annotate(cents=Sum("cleared_cents"))
        .values("cents")
    )
    for clearing in (
        SupplierBill.objects.annotate(
            cleared_cents=Coalesce(Subquery(cleared), 0),
            entered_cents=_entered("entry", Account.NOT_BILLED),
        )
        .exclude(cleared_cents=F("entered_cents"))
        .order_by("id")
    ):
        yield (
            f"Bill {clearing} clears {clearing.cleared_cents} cents of deliveries, and "
            f"{clearing.entered_cents} in the book."
        )


def _wrong_payments() -> Iterator[str]:
    """A payment is the sum of its shares, and settles bills of its own supplier."""
    for payment in (
        SupplierPayment.objects.annotate(
            shared=Coalesce(Sum("allocations__amount_cents"), 0),
            discount=Coalesce(Sum("allocations__discount_cents"), 0),
            settled=_entered("entry", Account.PAYABLE),
        )
        .exclude(shared=F("amount_cents"), settled=F("shared") + F("discount"))
        .order_by("id")
    ):
        yield (
            f"Payment {payment.pk} to a supplier settles {payment.settled} cents, its bills "
            f"{payment.shared} and {payment.discount} of discount."
        )
    for share in (
        SupplierAllocation.objects.exclude(bill__supplier=F("payment__supplier"))
        .select_related("bill")
        .order_by("id")
    ):
        yield f"Payment {share.payment_id} settles bill {share.bill} of another supplier."


def _wrong_open_amounts() -> Iterator[str]:
    standing = Q(allocations__payment__undone_entry=None)
    for bill in (
        SupplierBill.objects.annotate(
            paid_cents=Coalesce(
                Sum(
                    F("allocations__amount_cents") + F("allocations__discount_cents"),
                    filter=standing,
                ),
                0,
            )
        )
        .exclude(undone_entry=None, open_cents=F("total_cents") - F("paid_cents"))
        .exclude(undone_entry__isnull=False, open_cents=0, paid_cents=0)
        .order_by("id")
    ):
        yield (
            f"Bill {bill} has {bill.total_cents - bill.paid_cents} cents to pay, and says "
            f"{bill.open_cents}."
        )


def _wrong_balances() -> Iterator[str]:
    """What is open on a supplier's bills is what the book owes that supplier."""
    owed = dict(
        EntryLine.objects.filter(account=Account.PAYABLE)
        .order_by()
        .values_list("supplier")
        .annotate(cents=Sum("amount_cents"))
    )
    open_on_bills = dict(
        SupplierBill.objects.order_by().values_list("supplier").annotate(cents=Sum("open_cents"))
    )
    names = dict(Supplier.objects.values_list("pk", "name"))
    for key in sorted({*owed, *open_on_bills}, key=str):
        by_lines, by_bills = -(owed.get(key) or 0), open_on_bills.get(key, 0)
        if by_lines != by_bills:
            yield (
                f"{names.get(key, 'Nobody')} is owed {by_lines} cents by the lines, {by_bills} by "
                "the bills."
            )


def _billed_twice() -> Iterator[str]:
    for link in ("part_receipt", "goods_receipt", "honey_lot"):
        for row in (
            SupplierBillLine.objects.filter(bill__undone_entry=None, **{f"{link}__isnull": False})
            .values(link)
            .order_by(link)
            .annotate(count=Count("id"))
            .filter(count__gt=1)
        ):
            yield f"A delivery ({link} {row[link]}) is on {row['count']} bills."


def _entries_without_document() -> Iterator[str]:
    documents = {
        Entry.Kind.BILL: SupplierBill,
        Entry.Kind.BILL_PAYMENT: SupplierPayment,
        Entry.Kind.EXPENSE: Expense,
    }
    for kind, model in documents.items():
        named = model.objects.values("entry")
        undoing = model.objects.exclude(undone_entry=None).values("undone_entry")
        for entry in (
            Entry.objects.filter(kind=kind)
            .exclude(pk__in=named)
            .exclude(pk__in=undoing)
            .order_by("id")
        ):
            yield f"Entry {entry.pk} is called a {entry.get_kind_display()}, which it is not."


PROOFS: tuple[Callable[[], Iterator[str]], ...] = (
    _wrong_entries,
    _wrong_undoings,
    _wrong_totals,
    _wrong_payments,
    _wrong_open_amounts,
    _wrong_balances,
    _billed_twice,
    _entries_without_document,
)
