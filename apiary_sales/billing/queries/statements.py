"""A customer's account from a day to a day, with what led from one to the other."""

from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, cast

from django.utils.translation import gettext as _

from apiary_sales.billing.models import Entry, EntryLine, Invoice, Payment
from apiary_sales.billing.queries import as_of
from apiary_sales.billing.queries.as_of import AsOf
from apiary_sales.billing.queries.money import Aging
from apiary_sales.customers.models import Customer


@dataclass(frozen=True)
class StatementLine:
    """One thing that happened on a customer's account; `balance_cents` is what was owed after."""

    day: date
    text: Any
    invoice: Invoice | None
    payment: Payment | None
    charge_cents: int
    paid_cents: int
    balance_cents: int


@dataclass(frozen=True)
class CustomerStatement:
    """A customer's account from a day to a day: what was owed, what happened, what is owed."""

    customer: Customer
    since: date
    until: date
    opening_cents: int
    lines: list[StatementLine]
    aging: Aging
    on_account_cents: int

    @property
    def closing_cents(self) -> int:
        return self.lines[-1].balance_cents if self.lines else self.opening_cents

    @property
    def charged_cents(self) -> int:
        return sum(line.charge_cents for line in self.lines)

    @property
    def paid_cents(self) -> int:
        return sum(line.paid_cents for line in self.lines)


def statement(
    customer: Customer, since: date, until: date, known_at: datetime | None = None
) -> CustomerStatement:
    """Return a customer's account from `since` to `until`, both days included.

    With `known_at`, as it was known at that moment.
    """
    owed = EntryLine.objects.filter(customer=customer, account=EntryLine.Account.RECEIVABLE)
    if known_at is not None:
        owed = owed.filter(entry__entered_at__lte=known_at)
    rows = list(
        owed.filter(
            # Of a long history few have such a number, and only those are looked at.
            entry__gte=Entry.objects.filter(entered_on__gte=since).first_number(),
            entry__entered_on__gte=since,
            entry__entered_on__lte=until,
        )
        .select_related(
            "entry__invoice__credits",
            "entry__invoice__order",
            "entry__payment__reverses",
            "entry__adjustment__invoice",
        )
        .order_by("entry__entered_on", "entry_id", "id")
    )
    account = as_of.account(customer, AsOf(until, known_at))
    opening = account.owed_cents - sum(row.amount_cents for row in rows)
    lines, balance = [], opening
    for row in rows:
        balance += row.amount_cents
        invoice, payment = row.entry.invoice, row.entry.payment
        adjusted = getattr(row.entry, "adjustment", None)
        is_charge = invoice is not None
        invoice = adjusted.invoice if adjusted else invoice
        lines.append(
            StatementLine(
                day=row.entry.entered_on,
                text=_statement_text(row.entry),
                invoice=invoice,
                payment=payment,
                charge_cents=row.amount_cents if is_charge else 0,
                paid_cents=0 if is_charge else -row.amount_cents,
                balance_cents=balance,
            )
        )
    return CustomerStatement(
        customer, since, until, opening, lines, account.aging, account.on_account_cents
    )


def _statement_text(entry: Entry) -> str:
    payment = entry.payment
    if payment is not None:
        words = _("Payment, %(way)s")
        if payment.method == Payment.Method.OPENING and not payment.reverses_id:
            return f"{_('Opening credit')} {payment.reference}".strip()
        if payment.reverses_id:
            words = _("Payment undone, %(way)s")
        elif payment.is_pay_back:
            words = _("Money given back, %(way)s")
        text = words % {"way": payment.get_method_display()}
        return f"{text} {payment.reference}".strip()
    adjustment = getattr(entry, "adjustment", None)
    if adjustment is not None:
        words = (
            _("%(kind)s undone, %(invoice)s") if adjustment.reverses_id else "%(kind)s, %(invoice)s"
        )
        text = words % {"kind": adjustment.get_kind_display(), "invoice": adjustment.invoice}
        return text[:1].upper() + text[1:]
    # An entry of what a customer owes has its bill, its payment or its adjustment.
    invoice = cast(Invoice, entry.invoice)
    if invoice.is_opening:
        return _("Opening invoice %(number)s") % {"number": invoice}
    if invoice.returns_deposit:
        return _("Credit note %(note)s for a deposit on %(invoice)s") % {
            "note": invoice,
            "invoice": invoice.credits,
        }
    if invoice.is_credit_note:
        return _("Credit note %(note)s for %(invoice)s") % {
            "note": invoice,
            "invoice": invoice.credits,
        }
    if invoice.is_receipt:
        return _("Stand receipt %(receipt)s") % {"receipt": invoice}
    if invoice.order is None:
        return _("Invoice %(invoice)s") % {"invoice": invoice}
    return _("Invoice %(invoice)s, order %(order)s") % {
        "invoice": invoice,
        "order": invoice.order.number if invoice.order else "",
    }
