"""Write off what is left on an invoice, give a discount for early payment, and take it back."""

from collections.abc import Iterable
from datetime import date
from decimal import Decimal

from django.db import transaction
from django.db.models import QuerySet, Sum
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from apiary_sales.billing.models import (
    Adjustment,
    AdjustmentTax,
    Entry,
    Invoice,
    InvoiceLine,
    InvoiceLineTax,
    Payment,
)
from apiary_sales.billing.services import book
from apiary_sales.billing.services.book import Account, BookLine
from inventory.shared import acts, keys, words
from inventory.shared.errors import CannotReverse, NotAllowedNow, Problems
from inventory.shared.money import share_cents, split_cents
from inventory.shared.people import Person
from inventory.shared.services.repeats import refuse_repeat

Kind = Adjustment.Kind
# The name, jurisdiction and percentage that tell one tax from another.
Tax = tuple[str, str, Decimal]
ACCOUNTS = {
    Kind.WRITE_OFF: Account.WRITE_OFFS,
    Kind.BAD_DEBT: Account.WRITE_OFFS,
    Kind.DISCOUNT: Account.DISCOUNTS,
    Kind.OPENING: Account.OPENING,
}


@acts.act
def adjust(
    *,
    invoice: Invoice,
    kind: str,
    cents: int,
    made_by: Person,
    key: str,
    reason: str = "",
    happened_on: date | None = None,
    lowers_tax: bool | None = None,
    payment: Payment | None = None,
) -> Adjustment:
    """Take so much off what is to pay on an invoice, without money or goods; return the record.

    `lowers_tax` takes the tax's share off the tax owed as well; left out, a discount does as it was
    set when the invoice was issued, and a write-off does not. `payment` is the one that left the
    rest: undoing it takes this back too. Raises `BadValue`, `NotAllowedNow` where the invoice has
    nothing to pay, `AlreadyRecorded`.
    """
    happened_on = happened_on or timezone.localdate()
    book.lock_customer(invoice.customer)
    refuse_repeat(Adjustment, key)
    now = book.lock_invoices([invoice.pk])[invoice.pk]
    _check(now, kind, cents, reason, happened_on)
    if lowers_tax is None:
        lowers_tax = kind == Kind.DISCOUNT and now.discount_on_tax
    taxes = _share_of_taxes(now, cents) if lowers_tax else []
    made = _enter(
        Adjustment(
            customer=now.customer,
            invoice=now,
            kind=kind,
            net_cents=cents - sum(tax.tax_cents for tax in taxes),
            tax_cents=sum(tax.tax_cents for tax in taxes),
            happened_on=happened_on,
            reason=reason.strip(),
            made_by=made_by,
            payment=payment,
            idempotency_key=key,
        ),
        taxes,
    )
    invoice.open_cents = made.invoice.open_cents
    return made


@transaction.atomic
def undo(
    *,
    adjustment: Adjustment,
    undone_by: Person,
    key: str,
    reason: str,
    undone_on: date | None = None,
) -> Adjustment:
    """Take an adjustment back, so that its amount is to be paid again; return the opposite one.

    Raises `CannotReverse` for one that was taken back already or takes one back itself, `BadValue`
    without a reason, `AlreadyRecorded`.
    """
    book.lock_customer(adjustment.customer)
    refuse_repeat(Adjustment, key)
    if adjustment.reverses_id or Adjustment.objects.filter(reverses=adjustment).exists():
        raise CannotReverse(_("This was undone already."))
    problems = Problems()
    if not reason.strip():
        problems.add("reason", _("Say why it is undone."))
    problems.raise_any()
    return _reverse(adjustment, undone_by=undone_by, key=key, reason=reason, undone_on=undone_on)


@transaction.atomic
def undo_with_payment(
    *, payment: Payment, undone_by: Person, key: str, reason: str, undone_on: date
) -> None:
    """Take back what was given with a payment that is undone: its discount, its remainder."""
    for number, adjustment in enumerate(_in_force(Adjustment.objects.filter(payment=payment))):
        _reverse(
            adjustment,
            undone_by=undone_by,
            key=keys.part(key, f"adjustment-{number}"),
            reason=reason,
            undone_on=max(undone_on, adjustment.happened_on),
        )


@transaction.atomic
def make_room_for_credit(*, invoice: Invoice, made_by: Person, key: str) -> None:
    """Take adjustments back, the last one first, as far as its credit notes need it.

    Call it with the new credit note saved. What was written off cannot be credited as well: the
    credit note takes its place.
    """
    in_force = list(_in_force(Adjustment.objects.filter(invoice=invoice)))
    credited = invoice.credit_notes.aggregate(cents=Sum("total_cents"))["cents"] or 0
    over_cents = -(credited + invoice.total_cents - sum(each.total_cents for each in in_force))
    for adjustment in in_force:
        if over_cents <= 0:
            break
        _reverse(
            adjustment,
            undone_by=made_by,
            key=keys.part(key, f"room-{adjustment.pk}"),
            reason=_("The invoice is credited."),
        )
        over_cents -= adjustment.total_cents


def discounts_taken(invoice: Invoice) -> list[Adjustment]:
    """Return the discounts for early payment that a payment of this invoice took and that hold."""
    of_invoice = Adjustment.objects.filter(invoice=invoice, kind=Kind.DISCOUNT)
    return list(_in_force(of_invoice.filter(payment__isnull=False)).select_related("payment"))


def _in_force(found: QuerySet[Adjustment]) -> QuerySet[Adjustment]:
    return found.filter(reverses=None, reversed_by__reverses=None).order_by("-id")


def _check(invoice: Invoice, kind: str, cents: int, reason: str, happened_on: date) -> None:
    if invoice.is_credit_note or invoice.open_cents == 0:
        raise NotAllowedNow(
            _("There is no amount left to pay on invoice %(invoice)s.") % {"invoice": invoice}
        )
    problems = Problems()
    if kind not in ACCOUNTS:
        problems.add("kind", _("Choose one from the list."))
    if not 1 <= cents <= invoice.open_cents:
        problems.add(
            "cents",
            _("Invoice %(invoice)s has %(open)s left to pay. Enter an amount up to %(open)s.")
            % {"invoice": invoice, "open": words.money(invoice.open_cents)},
        )
    if kind in (Kind.WRITE_OFF, Kind.BAD_DEBT, Kind.OPENING) and not reason.strip():
        problems.add("reason", _("Say why it will not be paid."))
    if happened_on > timezone.localdate():
        problems.add("happened_on", _("This day is in the future. Choose today or an earlier day."))
    elif happened_on < invoice.issued_on and not invoice.is_opening:
        problems.add(
            "happened_on",
            _("Invoice %(invoice)s was issued on %(day)s. Choose that day or a later one.")
            % {"invoice": invoice, "day": date_format(invoice.issued_on)},
        )
    problems.raise_any()


def _share_of_taxes(invoice: Invoice, cents: int) -> list[AdjustmentTax]:
    """Return what falls to each tax of so many cents of an invoice, by what is left of it."""
    lines = InvoiceLine.objects.filter(invoice=invoice) | InvoiceLine.objects.filter(
        invoice__credits=invoice
    )
    taxes = _taxes_of(lines)
    whole = sum(line.amount_cents + line.tax_cents for line in lines)
    tax_left = sum(tax_cents for _base, tax_cents in taxes.values())
    if whole <= 0 or tax_left <= 0:
        return []
    shares = split_cents(
        share_cents(tax_left, cents, whole), [tax for _base, tax in taxes.values()]
    )
    return [
        AdjustmentTax(
            name=name,
            jurisdiction=jurisdiction,
            percent=percent,
            base_cents=share_cents(base_cents, cents, whole),
            tax_cents=share,
        )
        for ((name, jurisdiction, percent), (base_cents, _tax)), share in zip(
            taxes.items(), shares, strict=True
        )
        if share
    ]


def _taxes_of(lines: Iterable[InvoiceLine]) -> dict[Tax, tuple[int, int]]:
    """Return base and tax of each tax on these lines; a line without rows has its own rate."""
    apart = InvoiceLineTax.objects.filter(line__in=lines).select_related("line")
    found: dict[Tax, tuple[int, int]] = {}

    def add(tax: Tax, base_cents: int, tax_cents: int) -> None:
        base, sum_cents = found.get(tax, (0, 0))
        found[tax] = (base + base_cents, sum_cents + tax_cents)

    for row in apart:
        add((row.name, row.jurisdiction, row.percent), row.base_cents, row.tax_cents)
    with_rows = {row.line_id for row in apart}
    for line in lines:
        if line.tax_cents and line.pk not in with_rows:
            add((line.tax_name, "", line.tax_percent), line.amount_cents, line.tax_cents)
    return {tax: sums for tax, sums in found.items() if sums[1] > 0}


def _enter(made: Adjustment, taxes: Iterable[AdjustmentTax]) -> Adjustment:
    book.adjust(made.invoice, made.total_cents)
    made.entry = book.enter(
        kind=Entry.Kind.ADJUSTMENT,
        lines=[
            BookLine(Account.RECEIVABLE, -made.total_cents, made.customer),
            BookLine(ACCOUNTS[Kind(made.kind)], made.net_cents),
            BookLine(Account.SALES_TAX, made.tax_cents),
        ],
        happened_on=made.happened_on,
    )
    made.save()
    for tax in taxes:
        tax.adjustment = made
    AdjustmentTax.objects.bulk_create(taxes)
    return made


def _reverse(
    adjustment: Adjustment,
    *,
    undone_by: Person,
    key: str,
    reason: str,
    undone_on: date | None = None,
) -> Adjustment:
    invoice = book.lock_invoices([adjustment.invoice_id])[adjustment.invoice_id]
    return _enter(
        Adjustment(
            customer=adjustment.customer,
            invoice=invoice,
            kind=adjustment.kind,
            net_cents=-adjustment.net_cents,
            tax_cents=-adjustment.tax_cents,
            happened_on=undone_on or timezone.localdate(),
            reason=reason.strip(),
            made_by=undone_by,
            reverses=adjustment,
            idempotency_key=key,
        ),
        [
            AdjustmentTax(
                name=tax.name,
                jurisdiction=tax.jurisdiction,
                percent=tax.percent,
                base_cents=-tax.base_cents,
                tax_cents=-tax.tax_cents,
            )
            for tax in adjustment.taxes.all()
        ],
    )
