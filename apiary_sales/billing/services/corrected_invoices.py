"""A wrong invoice credited, and a corrected copy issued in its place, in one step."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import timedelta
from decimal import Decimal

from django.db import transaction
from django.utils.translation import gettext as _

from apiary_sales.billing.models import Adjustment, Invoice, InvoiceLine, Payment
from apiary_sales.billing.rules import Left
from apiary_sales.billing.services import adjustments, book, credit_notes, invoices, payments
from apiary_sales.billing.services.invoices import Draft
from apiary_sales.customers.models import ExemptionCertificate
from apiary_sales.orders.models import FulfilmentLine
from apiary_sales.orders.services import orders
from inventory.shared import keys
from inventory.shared.errors import NotAllowedNow, Problems
from inventory.shared.money import cents_half_up, share_cents, split_cents
from inventory.shared.people import Person
from inventory.shared.services.repeats import refuse_repeat

__all__ = ["LineChange", "correct", "draft", "may_be_corrected", "to_bill"]

UNIT_PRICE_MAX = Decimal(1_000_000)


@dataclass(frozen=True)
class LineChange:
    """What is different on a line of the corrected copy; None stays as it was billed."""

    unit_price: Decimal | None = None
    discount_cents: int | None = None
    is_left_out: bool = False


def draft(
    invoice: Invoice,
    changes: Mapping[int, LineChange] | None = None,
    *,
    customer_reference: str | None = None,
    certificate: ExemptionCertificate | None = None,
) -> Draft:
    """Return the corrected copy that `correct` would issue now.

    It bills what no credit note has taken off the invoice, or all of an invoice that is credited
    in full, at the prices in `changes` by the key of the line, with the buyer's address and
    certificate as they are known now, or with a `certificate` that was accepted for it later. The
    days to pay and the terms for early payment run on from the first invoice. Raises `BadValue` (or
    several) at `changes.<key>.<name>`, `NotAllowedNow`.
    """
    if invoice.order is None or invoice.is_credit_note or invoice.is_receipt:
        raise NotAllowedNow(
            _("%(invoice)s is not an invoice that can be corrected.") % {"invoice": invoice}
        )
    if hasattr(invoice, "corrected_by"):
        raise NotAllowedNow(
            _("Invoice %(invoice)s was corrected already. Correct %(copy)s instead.")
            % {"invoice": invoice, "copy": invoice.corrected_by}
        )
    changes, problems = changes or {}, Problems()
    priced: list[tuple[FulfilmentLine, InvoiceLine]] = []
    for each in to_bill(invoice):
        line, change = each.line, changes.get(each.line.pk, LineChange())
        if line.fulfilment_line and not change.is_left_out:
            priced.append((line.fulfilment_line, _changed(problems, each, change)))
    if not priced:
        problems.add("changes", _("Leave at least one line on the corrected invoice."))
    problems.raise_any()
    made = invoices.compose(invoice.order, priced, certificate=certificate)
    made.invoice.corrects = invoice
    made.invoice.due_on = max(
        made.invoice.issued_on, invoice.issued_on + timedelta(days=invoice.terms_days)
    )
    made.invoice.discount_percent = invoice.discount_percent
    made.invoice.discount_until = invoice.discount_until
    made.invoice.discount_on_tax = invoice.discount_on_tax
    if customer_reference is not None:
        made.invoice.buyer = {**made.invoice.buyer, "reference": customer_reference.strip()}
    return made


@transaction.atomic
def correct(
    *,
    invoice: Invoice,
    issued_by: Person,
    key: str,
    reason: str,
    changes: Mapping[int, LineChange] | None = None,
    customer_reference: str | None = None,
    certificate: ExemptionCertificate | None = None,
    expected_total_cents: int | None = None,
) -> Invoice:
    """Credit what is left of an invoice, issue a corrected copy, and return the copy.

    The goods stay where they are. What was paid on the invoice is put to the copy, as far as it
    reaches, and a discount for early payment that was taken is given on the copy. An invoice that
    is credited in full already only gets its copy. Raises as `draft`, `FiguresChanged` when the
    copy comes to another total than was shown, `AlreadyRecorded`.
    """
    if invoice.order:
        orders.lock(invoice.order)
    refuse_repeat(Invoice, key)
    made = draft(invoice, changes, customer_reference=customer_reference, certificate=certificate)
    invoices.check_total(made, expected_total_cents)
    taken, offered_cents = adjustments.discounts_taken(invoice), invoice.discount_cents
    if credit_notes.left_on(invoice):
        credit_notes.credit(
            invoice=invoice, issued_by=issued_by, key=keys.part(key, "credit"), reason=reason
        )
    made.invoice.note = reason.strip()
    copy = invoices.save(made, prefix=Invoice.INVOICE_PREFIX, issued_by=issued_by, key=key)
    _give_discounts(copy, taken, offered_cents)
    _put_payments(invoice, copy)
    return copy


def to_bill(invoice: Invoice) -> list[Left]:
    """Return the lines that a corrected copy bills, each with its quantity and amount.

    What was credited for goods, price or allowance stays credited, and a deposit that was kept or
    given back stays so. An invoice of which nothing else is left is billed anew as it was.
    """
    left = [each for each in credit_notes.left_on(invoice) if each.quantity]
    return left or [
        each for each in credit_notes.left_on(invoice, is_billed_anew=True) if each.quantity
    ]


def _changed(problems: Problems, there: Left, change: LineChange) -> InvoiceLine:
    line = there.line
    price = line.unit_price if change.unit_price is None else change.unit_price
    discount_cents = change.discount_cents
    if discount_cents is None:
        discount_cents = max(0, there.discount_cents)
    before_cents = cents_half_up(there.quantity * price)
    if not 0 <= price <= UNIT_PRICE_MAX:
        problems.add(f"changes.{line.pk}.unit_price", _("Enter a price from zero to a million."))
    elif not 0 <= discount_cents <= before_cents:
        problems.add(
            f"changes.{line.pk}.discount_cents",
            _("Enter a discount from 0 to the amount of the line."),
        )
    return InvoiceLine(
        fulfilment_line=line.fulfilment_line,
        description=line.description,
        lot_code=line.lot_code,
        quantity=there.quantity,
        unit=line.unit,
        unit_price=price,
        discount_cents=discount_cents,
        amount_cents=before_cents - discount_cents,
    )


def _give_discounts(copy: Invoice, taken: list[Adjustment], offered_cents: int) -> None:
    """Give on the copy the part of its discount that was taken of the one offered before."""
    taken_cents = sum(each.total_cents for each in taken)
    if not offered_cents or not taken_cents:
        return
    given_cents = share_cents(copy.discount_cents, taken_cents, max(taken_cents, offered_cents))
    shares = split_cents(given_cents, [each.total_cents for each in taken])
    for number, (each, cents) in enumerate(zip(taken, shares, strict=True)):
        if cents:
            adjustments.adjust(
                invoice=copy,
                kind=Adjustment.Kind.DISCOUNT,
                cents=cents,
                reason=each.reason,
                happened_on=copy.issued_on,
                payment=each.payment,
                made_by=copy.issued_by,
                key=keys.part(copy.idempotency_key, f"discount-{number}"),
            )


def _put_payments(before: Invoice, copy: Invoice) -> None:
    """Put the money that was taken off the invoice before to its copy, the first paid first."""
    if copy.customer is None:
        return
    paid_with = set(
        Payment.objects.filter(allocations__invoice=before).values_list("pk", flat=True)
    )
    there_cents = payments.on_account_cents(copy.customer)
    for payment in payments.money_left(copy.customer).filter(pk__in=paid_with):
        cents = min(copy.open_cents, payment.left_cents, there_cents)
        book.settle(payment, [(copy, cents)])
        there_cents -= cents


def may_be_corrected(invoice: Invoice) -> bool:
    """Tell whether a corrected copy can be issued in place of an invoice."""
    return (
        invoice.order_id is not None
        and not invoice.is_credit_note
        and not invoice.is_receipt
        and not hasattr(invoice, "corrected_by")
    )
