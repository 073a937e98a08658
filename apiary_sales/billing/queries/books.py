"""Check the book of money: recalculate everything from its lines and report differences."""

from collections.abc import Callable, Iterator
from typing import Any, cast

from django.db.models import Count, Exists, F, Field, Max, OuterRef, Q, Subquery, Sum
from django.db.models.functions import Coalesce

from apiary_sales.billing.models import (
    Adjustment,
    Allocation,
    Entry,
    EntryLine,
    Invoice,
    InvoiceLine,
    InvoiceLineTax,
    KeptDeposit,
    Payment,
)
from apiary_sales.billing.queries import account_months, closing, money_moves, stand_days
from apiary_sales.customers.models import Customer, CustomerBalance
from apiary_sales.orders.models import FulfilmentLine, OrderLine
from inventory.shared.proofs import unequal
from inventory.stock.models import Counter

Account = EntryLine.Account


def faults() -> Iterator[str]:
    """Yield one sentence for each way in which the stored book breaks a law of its own."""
    for proof in PROOFS:
        yield from proof()


def _crooked_entries() -> Iterator[str]:
    for row in (
        EntryLine.objects.values("entry")
        .order_by("entry")
        .annotate(total=Sum("amount_cents"))
        .exclude(total=0)
        .iterator()
    ):
        yield f"Entry {row['entry']} adds up to {row['total']} cents, not zero."


def _documents_and_entries() -> Iterator[str]:
    """Each bill and each payment is in the book once, at its own amount."""
    owed = Coalesce(
        Sum("entry__lines__amount_cents", filter=Q(entry__lines__account=Account.RECEIVABLE)), 0
    )
    for invoice in (
        Invoice.objects.annotate(entered_cents=owed)
        .exclude(entry__isnull=False, entered_cents=F("total_cents"))
        .order_by("id")
        .iterator()
    ):
        yield f"{invoice} is entered at {invoice.entered_cents} cents, not {invoice.total_cents}."
    for payment in (
        Payment.objects.annotate(entered_cents=owed)
        .exclude(entry__isnull=False, entered_cents=-F("amount_cents"))
        .order_by("id")
        .iterator()
    ):
        yield (
            f"Payment {payment.pk} of {payment.amount_cents} cents is entered at "
            f"{-payment.entered_cents}."
        )
    rounded = Coalesce(
        Sum("entry__lines__amount_cents", filter=Q(entry__lines__account=Account.CASH_ROUNDING)), 0
    )
    for payment in (
        Payment.objects.annotate(entered_cents=rounded)
        .exclude(entered_cents=-F("rounding_cents"))
        .order_by("id")
        .iterator()
    ):
        yield (
            f"Payment {payment.pk} was rounded by {payment.rounding_cents} cents, and is entered "
            f"with {-payment.entered_cents}."
        )
    for entry in (
        Entry.objects.filter(
            (Q(kind=Entry.Kind.INVOICE) & Q(invoice__credits__isnull=False))
            | (Q(kind=Entry.Kind.CREDIT_NOTE) & Q(invoice__credits__isnull=True))
        )
        .order_by("id")
        .iterator()
    ):
        yield f"Entry {entry.pk} is called a {entry.get_kind_display()}, which it is not."


def _other_ways_of_paying() -> Iterator[str]:
    """A payment is in the book on the account that is named as the way it was paid."""
    for line in (
        EntryLine.objects.filter(entry__payment__isnull=False, account__in=Payment.Method.values)
        .exclude(account=F("entry__payment__method"))
        .select_related("entry__payment")
        .order_by("id")
        .iterator()
    ):
        payment = cast("Payment", line.entry.payment)
        yield (
            f"Payment {payment.pk} says that it was paid by {payment.get_method_display()}, and is "
            f"entered as {Payment.Method(line.account).label}."
        )


def _entries_of_others() -> Iterator[str]:
    """What an invoice or a payment enters as owed is owed by its own customer."""
    owed = EntryLine.objects.filter(account=Account.RECEIVABLE).order_by("id")
    for document in ("invoice", "payment"):
        for line in (
            owed.filter(**{f"entry__{document}__isnull": False})
            .exclude(customer=F(f"entry__{document}__customer"))
            .exclude(**{"customer": None, f"entry__{document}__customer": None})
            .select_related("customer", f"entry__{document}__customer")
        ):
            found = getattr(line.entry, document)
            what = str(found) if document == "invoice" else f"Payment {found.pk}"
            yield (
                f"{what} says {found.customer or 'no customer'}, and is entered for "
                f"{line.customer or 'no customer'}."
            )


def _wrong_balances() -> Iterator[str]:
    owed = (
        EntryLine.objects.filter(account=Account.RECEIVABLE, customer__isnull=False)
        .order_by()
        .values_list("customer")
        .annotate(total=Sum("amount_cents"))
    )
    balances = CustomerBalance.objects.values_list("customer", "owed_cents")
    for key, total, cents in unequal([owed], [balances]):
        customer = Customer.objects.get(pk=key)
        if CustomerBalance.objects.filter(customer=customer).exists():
            yield f"{customer} owes {total} cents by the lines, {cents} by the balance."
        else:
            yield f"{customer} owes {total} cents by the lines and has no balance."


def _wrong_totals() -> Iterator[str]:
    figures = ("net_cents", "tax_cents", "rounding_cents")
    of_lines = ("amount_cents", "tax_cents", "rounding_cents")
    # What was billed before the books began has its lines there.
    lines = InvoiceLine.objects.filter(invoice__opening_number="")
    invoices = Invoice.objects.filter(opening_number="")
    for key, net, tax, *_rest in unequal(
        [lines.values_list("invoice", *of_lines)],
        [invoices.values_list("id", *figures)],
        figures=3,
    ):
        invoice = Invoice.objects.get(pk=key)
        yield (
            f"{invoice} says {invoice.net_cents} + {invoice.tax_cents} = {invoice.total_cents} "
            f"cents, its lines {net} + {tax}."
        )
    adds_up = Q(total_cents=F("net_cents") + F("tax_cents") + F("rounding_cents"))
    for invoice in invoices.exclude(adds_up).order_by("id").iterator():
        yield (
            f"{invoice} says {invoice.net_cents} + {invoice.tax_cents} = {invoice.total_cents} "
            "cents, which it is not."
        )


def _wrong_credits() -> Iterator[str]:
    """An invoice is taken back once and exactly, and no drum's deposit is given back twice."""
    for note in (
        Invoice.objects.filter(credits__isnull=False)
        .exclude(customer__isnull=True, credits__customer__isnull=True)
        .exclude(customer=F("credits__customer"))
        .order_by("id")
        .iterator()
    ):
        yield f"Credit note {note} is another's than its invoice."
    for invoice in (
        Invoice.objects.filter(credits=None, credit_notes__isnull=False)
        .distinct()
        .annotate(credited_cents=_credited_cents("pk"))
        .filter(total_cents__lt=-F("credited_cents"))
        .order_by("id")
        .iterator()
    ):
        yield (
            f"{invoice} of {invoice.total_cents} cents is credited by "
            f"{-invoice.credited_cents} cents."
        )
    for billed in (
        InvoiceLine.objects.filter(credits_line=None, credit_lines__isnull=False)
        .distinct()
        .annotate(
            credited_cents=_credited_of_line("amount_cents"),
            credited_quantity=_credited_of_line("quantity", credited_as="goods"),
        )
        .filter(Q(amount_cents__lt=-F("credited_cents")) | Q(quantity__lt=-F("credited_quantity")))
        .select_related("invoice")
        .order_by("id")
        .iterator()
    ):
        yield f"More of {billed.description} is credited than {billed.invoice} bills."
    for line in (
        InvoiceLine.objects.filter(credits_line__isnull=False)
        .exclude(credits_line__invoice=F("invoice__credits"))
        .select_related("invoice")
        .order_by("id")
        .iterator()
    ):
        yield f"Credit note {line.invoice} credits a line of another invoice."
    for goods in (
        InvoiceLine.objects.filter(fulfilment_line__isnull=False)
        .values("fulfilment_line")
        .order_by("fulfilment_line")
        .annotate(cents_left=Sum("amount_cents"))
        .filter(cents_left__lt=0)
        .iterator()
    ):
        yield f"More of goods handed over ({goods['fulfilment_line']}) is credited than was billed."
    for line in (
        InvoiceLine.objects.filter(invoice__returns_deposit=True)
        .exclude(fulfilment_line__order_line__kind=OrderLine.Kind.DRUM_DEPOSIT)
        .select_related("invoice")
        .order_by("id")
        .iterator()
    ):
        yield f"Credit note {line.invoice} gives {line.description} back as a deposit."


def _credited_of_line(figure: str, **credited: str) -> Coalesce:
    """Return, as a part of a query, what credit notes take off a figure of a line."""
    kind = cast("Field[Any, Any]", InvoiceLine._meta.get_field(figure))
    lines = (
        InvoiceLine.objects.filter(credits_line=OuterRef("pk"), **credited)
        .values("credits_line")
        .order_by()
        .annotate(total=Sum(figure))
        .values("total")
    )
    return Coalesce(Subquery(lines), 0, output_field=kind)


def _credited_cents(invoice: str) -> Coalesce:
    """Return, as a part of a query, what all credit notes for this invoice come to."""
    notes = (
        Invoice.objects.filter(credits=OuterRef(invoice))
        .values("credits")
        .order_by()
        .annotate(total=Sum("total_cents"))
        .values("total")
    )
    return Coalesce(Subquery(notes), 0)


def _wrong_allocations() -> Iterator[str]:
    """Money put to invoices has the sign of its payment and is never more than the payment."""
    for payment in (
        Payment.objects.annotate(put_cents=Coalesce(Sum("allocations__amount_cents"), 0))
        .filter(
            Q(amount_cents__gt=0) & (Q(put_cents__lt=0) | Q(put_cents__gt=F("amount_cents")))
            | Q(amount_cents__lt=0) & (Q(put_cents__gt=0) | Q(put_cents__lt=F("amount_cents")))
        )
        .order_by("id")
        .iterator()
    ):
        yield (
            f"Payment {payment.pk} of {payment.amount_cents} cents has {payment.put_cents} "
            "put to invoices."
        )
    for allocation in (
        Allocation.objects.exclude(payment__customer=F("invoice__customer"))
        .exclude(payment__customer__isnull=True, invoice__customer__isnull=True)
        .select_related("invoice")
        .order_by("id")
        .iterator()
    ):
        yield f"Payment {allocation.payment_id} is put to another's invoice {allocation.invoice}."
    put = Allocation.objects.values("payment__customer").annotate(cents=Sum("amount_cents"))
    put_by_customer = {row["payment__customer"]: row["cents"] for row in put.order_by()}
    for row in (
        Payment.objects.filter(customer__isnull=False)
        .values("customer", "customer__name")
        .order_by("customer")
        .annotate(cents=Sum("amount_cents"))
    ):
        left = row["cents"] - put_by_customer.get(row["customer"], 0)
        if left < 0:
            yield f"{row['customer__name']} has {left} cents on account."
    for undo in Payment.objects.filter(reverses__isnull=False).exclude(
        amount_cents=-F("reverses__amount_cents")
    ):
        yield f"Payment {undo.pk} does not undo payment {undo.reverses_id} exactly."


def _wrong_open_amounts() -> Iterator[str]:
    """What is left to pay is the total less credit notes, payments and adjustments."""
    billed = Invoice.objects.filter(credits__isnull=True).values_list("id", "total_cents")
    credited = Invoice.objects.filter(credits__isnull=False).values_list("credits", "total_cents")
    put = Allocation.objects.values_list("invoice", -F("amount_cents"))
    adjusted = Adjustment.objects.values_list("invoice", -F("net_cents") - F("tax_cents"))
    said = Invoice.objects.exclude(open_cents=0).values_list("id", "open_cents")
    for key, left, cents in unequal([billed, credited, put, adjusted], [said]):
        yield f"{Invoice.objects.get(pk=key)} has {left} cents to pay, and says {cents}."


def _billed_twice() -> Iterator[str]:
    """Goods are billed once; a corrected copy counts in place of the invoice before it."""
    # Joined to the bills that correct another, PostgreSQL would take it that each has one, and go
    # through all bills for each line.
    is_corrected = Exists(Invoice.objects.filter(corrects=OuterRef("invoice")))
    for row in (
        InvoiceLine.objects.filter(
            ~is_corrected, invoice__credits__isnull=True, fulfilment_line__isnull=False
        )
        .values("fulfilment_line")
        .order_by("fulfilment_line")
        .annotate(count=Count("id"))
        .filter(count__gt=1)
        .iterator()
    ):
        yield f"Goods handed over ({row['fulfilment_line']}) are on {row['count']} invoices."


def _wrong_adjustments() -> Iterator[str]:
    """An adjustment is in the book at its own amount, and its undoing is the opposite of it."""
    for adjustment in (
        Adjustment.objects.annotate(
            entered_cents=Coalesce(
                Sum(
                    "entry__lines__amount_cents",
                    filter=Q(entry__lines__account=Account.RECEIVABLE),
                ),
                0,
            )
        )
        .exclude(entered_cents=-F("net_cents") - F("tax_cents"))
        .order_by("id")
        .iterator()
    ):
        yield (
            f"Adjustment {adjustment.pk} of {adjustment.total_cents} cents is entered at "
            f"{-adjustment.entered_cents}."
        )
    for undo in Adjustment.objects.filter(reverses__isnull=False).exclude(
        net_cents=-F("reverses__net_cents"), tax_cents=-F("reverses__tax_cents")
    ):
        yield f"Adjustment {undo.pk} does not undo adjustment {undo.reverses_id} exactly."
    for made in (
        Adjustment.objects.annotate(taxes_cents=Coalesce(Sum("taxes__tax_cents"), 0))
        .exclude(taxes_cents=F("tax_cents"))
        .order_by("id")
        .iterator()
    ):
        yield (
            f"Adjustment {made.pk} lowers tax by {made.tax_cents} cents, its taxes by "
            f"{made.taxes_cents}."
        )


def _wrong_billed_amounts() -> Iterator[str]:
    """Goods handed over say what their bills come to."""
    billed = (
        InvoiceLine.objects.filter(fulfilment_line=OuterRef("pk"))
        .values("fulfilment_line")
        .order_by()
        .annotate(total=Sum("amount_cents"))
        .values("total")
    )
    found = FulfilmentLine.objects.annotate(cents=Subquery(billed))
    for goods in found.exclude(billed_cents=F("cents")).exclude(
        billed_cents__isnull=True, cents__isnull=True
    ):
        yield f"{goods} is billed at {goods.cents} cents, and says {goods.billed_cents}."


def _wrong_taxes() -> Iterator[str]:
    """The taxes of a line add up to its tax."""
    taxes = InvoiceLineTax.objects.values_list("line", "tax_cents")
    lines = InvoiceLine.objects.exclude(tax_cents=0).values_list("id", "tax_cents")
    for key, cents, said in unequal([taxes], [lines]):
        line = InvoiceLine.objects.select_related("invoice").get(pk=key)
        yield (
            f"{line.invoice}: the tax of {line.description} is {said} cents, "
            f"its taxes add up to {cents}."
        )


def _wrong_deposits() -> Iterator[str]:
    """What is held for drums is what was billed for them and neither given back nor kept.

    What was held before the books began is on no bill of theirs, nor is what was given back of it.
    """
    held = (
        EntryLine.objects.filter(account=Account.DEPOSITS)
        .exclude(entry__kind__in=[Entry.Kind.OPENING, Entry.Kind.TRANSFER])
        .aggregate(cents=Coalesce(Sum("amount_cents"), 0))["cents"]
    )
    billed = InvoiceLine.objects.filter(
        fulfilment_line__order_line__kind=OrderLine.Kind.DRUM_DEPOSIT
    ).aggregate(cents=Coalesce(Sum("amount_cents"), 0))["cents"]
    kept = KeptDeposit.objects.standing().aggregate(cents=Coalesce(Sum("amount_cents"), 0))["cents"]
    if held != kept - billed:
        yield (
            f"Deposits of {billed} cents are billed and {kept} are kept, "
            f"and the book holds {-held}."
        )


def _missing_numbers() -> Iterator[str]:
    first = {
        counter.series: counter.first
        for counter in Counter.objects.filter(series__startswith="invoice ")
    }
    for row in (
        Invoice.objects.values("series")
        .order_by("series")
        .annotate(count=Count("id"), last=Max("number"))
    ):
        begins = first.get(f"invoice {row['series']}", 1)
        if row["count"] == row["last"] - begins + 1:
            continue
        given = set(Invoice.objects.filter(series=row["series"]).values_list("number", flat=True))
        missing = sorted(set(range(begins, row["last"] + 1)) - given)
        numbers = ", ".join(f"{row['series']}-{number:05d}" for number in missing)
        yield f"Series {row['series']} misses {numbers or f'no number, but begins below {begins}'}."


PROOFS: tuple[Callable[[], Iterator[str]], ...] = (
    _crooked_entries,
    _documents_and_entries,
    _other_ways_of_paying,
    _entries_of_others,
    _wrong_balances,
    _wrong_totals,
    _wrong_credits,
    _wrong_allocations,
    _wrong_open_amounts,
    _billed_twice,
    _wrong_adjustments,
    _wrong_billed_amounts,
    _wrong_taxes,
    _wrong_deposits,
    _missing_numbers,
    account_months.faults,
    closing.faults,
    money_moves.faults,
    stand_days.faults,
)
