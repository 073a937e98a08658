"""What there was when the books began: amounts owed, credits, money, and numbers.

Stock is begun by services of its own: honey by `honey.receive` or `purchases.receive`, parts by
`parts.receive`, other goods by `goods.receive`, jars with their printed codes by
`opening_stock.receive_jars`.
"""

from datetime import date

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from apiary_sales.billing.models import Adjustment, Entry, Invoice, OpeningAmount, Payment
from apiary_sales.billing.services import (
    adjustments,
    beginning,
    book,
    money_moves,
    payments,
    undone_documents,
)
from apiary_sales.billing.services.book import Account, BookLine
from apiary_sales.customers.models import Customer
from inventory.shared import conventions, words
from inventory.shared.errors import CannotReverse, Problems
from inventory.shared.models import House
from inventory.shared.people import Person
from inventory.shared.services.repeats import refuse_repeat
from inventory.stock.services import numbers

AMOUNT_CENTS_MAX = payments.AMOUNT_CENTS_MAX


@transaction.atomic
def owe(
    *,
    customer: Customer,
    number: str,
    amount_cents: int,
    issued_on: date,
    due_on: date,
    begins_on: date,
    recorded_by: Person,
    key: str,
    note: str = "",
) -> Invoice:
    """Record what a customer still owes on an invoice from before the books began; return it.

    `number` is the number it has there, `amount_cents` what is left to pay of it, tax included: its
    tax was accounted for there. It counts on `begins_on` and is as old as it is. Raises `BadValue`,
    `AlreadyRecorded`.
    """
    book.lock_customer(customer)
    refuse_repeat(Invoice, key)
    number = " ".join(number.split())
    problems = Problems()
    _check_amount(problems, amount_cents)
    _check_days(problems, begins_on=begins_on, issued_on=issued_on)
    if due_on < issued_on:
        problems.add("due_on", _("This day is before the invoice was issued. Check the date."))
    if not number:
        problems.add("number", _("Enter the number that is printed on the invoice."))
    elif _standing(customer, number):
        problems.add(
            "number",
            _("%(customer)s has an opening invoice %(number)s already.")
            % {"customer": customer, "number": number},
        )
    problems.raise_any()
    made = Invoice.objects.create(
        series=Invoice.OPENING_SERIES,
        number=numbers.next_number(f"invoice {Invoice.OPENING_SERIES}"),
        opening_number=number,
        customer=customer,
        issued_on=issued_on,
        supplied_on=issued_on,
        due_on=due_on,
        language=customer.paper_language,
        currency=conventions.current().currency,
        seller={"name": House.current().name},
        buyer={"name": customer.name},
        net_cents=amount_cents,
        tax_cents=0,
        total_cents=amount_cents,
        open_cents=amount_cents,
        note=note.strip(),
        issued_by=recorded_by,
        idempotency_key=key,
    )
    book.enter(
        kind=Entry.Kind.OPENING,
        lines=[
            BookLine(Account.RECEIVABLE, amount_cents, customer),
            BookLine(Account.OPENING, -amount_cents),
        ],
        happened_on=begins_on,
        invoice=made,
    )
    return made


def _standing(customer: Customer, number: str) -> bool:
    """Tell whether an opening invoice with this number is there and was not taken back."""
    found = beginning.opening_invoices().filter(customer=customer)
    return found.filter(opening_number__iexact=number).exists()


@transaction.atomic
def take_back(*, invoice: Invoice, taken_by: Person, key: str, reason: str) -> Adjustment:
    """Take an opening invoice back that was entered wrongly; return the adjustment that does.

    Raises `CannotReverse` for an invoice that is none, or of which something was paid; `BadValue`.
    """
    if not invoice.is_opening:
        raise CannotReverse(
            _("Invoice %(invoice)s is no opening invoice. Credit it instead.")
            % {"invoice": invoice}
        )
    book.lock_customer(invoice.customer)
    invoice.refresh_from_db(fields=["open_cents"])
    if invoice.open_cents != invoice.total_cents:
        raise CannotReverse(
            _("Something of invoice %(invoice)s is settled already. Undo that first.")
            % {"invoice": invoice}
        )
    return adjustments.adjust(
        invoice=invoice,
        kind=Adjustment.Kind.OPENING,
        cents=invoice.total_cents,
        reason=reason,
        made_by=taken_by,
        key=key,
    )


@transaction.atomic
def credit(
    *,
    customer: Customer,
    amount_cents: int,
    begins_on: date,
    recorded_by: Person,
    key: str,
    reference: str = "",
    note: str = "",
) -> Payment:
    """Record money or a credit that a customer had with the house when the books began.

    It is on their account like any other money, can be put to invoices, given back, and undone on
    the page of the payment. `reference` names the document. Raises `BadValue`, `AlreadyRecorded`.
    """
    book.lock_customer(customer)
    refuse_repeat(Payment, key)
    problems = Problems()
    _check_amount(problems, amount_cents)
    _check_days(problems, begins_on=begins_on)
    problems.raise_any()
    return payments.begin_with(
        customer=customer,
        amount_cents=amount_cents,
        begins_on=begins_on,
        reference=reference,
        note=note,
        recorded_by=recorded_by,
        key=key,
    )


@transaction.atomic
def amount(
    *,
    account: str,
    amount_cents: int,
    begins_on: date,
    recorded_by: Person,
    key: str,
    note: str = "",
) -> OpeningAmount:
    """Record what was in the cash drawer or the bank, or was owed, when the books began.

    Each is entered once. Sales tax and deposits are entered above zero where the house owes them.
    Raises `BadValue`, `AlreadyRecorded`.
    """
    # One at a time, so that two people don't both enter what is in the drawer.
    House.lock()
    refuse_repeat(OpeningAmount, key)
    problems = Problems()
    if account not in OpeningAmount.ACCOUNTS:
        problems.add("account", _("Choose one from the list."))
    # An account at the bank may be overdrawn.
    may_be_below = account == Account.TRANSFER
    _check_amount(problems, abs(amount_cents) if may_be_below else amount_cents)
    _check_days(problems, begins_on=begins_on)
    if there := OpeningAmount.objects.filter(account=account, undo_entry=None).first():
        problems.add(
            "account",
            _(
                "%(account)s is entered already, with %(amount)s. Undo that entry first; where "
                "there are two of them, enter their sum."
            )
            % {
                "account": there.get_account_display(),
                "amount": words.money(there.amount_cents),
            },
        )
    problems.raise_any()
    signed_cents = -amount_cents if account in OpeningAmount.OWED else amount_cents
    return OpeningAmount.objects.create(
        account=account,
        amount_cents=amount_cents,
        begins_on=begins_on,
        note=note.strip(),
        entry=book.enter(
            kind=Entry.Kind.OPENING,
            lines=[BookLine(account, signed_cents), BookLine(Account.OPENING, -signed_cents)],
            happened_on=begins_on,
        ),
        recorded_by=recorded_by,
        idempotency_key=key,
    )


@transaction.atomic
def undo_amount(*, opening: OpeningAmount, undone_by: Person, reason: str) -> OpeningAmount:
    """Take an opening amount back.

    Raises `CannotReverse` for a second time, or where some of it was moved already; `BadValue`.
    """
    House.lock()
    opening = undone_documents.locked(OpeningAmount, opening, reason)
    if money_moves.is_moved(opening):
        raise CannotReverse(_("Some of this was moved already. Undo those moves of money first."))
    return undone_documents.undo(opening, undone_by=undone_by, reason=reason)


def _check_amount(problems: Problems, amount_cents: int) -> None:
    if amount_cents <= 0:
        problems.add("amount_cents", _("Enter an amount above zero."))
    elif amount_cents > AMOUNT_CENTS_MAX:
        problems.add(
            "amount_cents",
            _("%(amount)s is too much for one entry. Check the figure.")
            % {"amount": words.money(amount_cents)},
        )


def _check_days(problems: Problems, *, begins_on: date, issued_on: date | None = None) -> None:
    if begins_on > timezone.localdate():
        problems.add("begins_on", _("This day is in the future. Choose today or an earlier day."))
    if issued_on is not None and issued_on > begins_on:
        problems.add(
            "issued_on",
            _("An opening invoice was issued before the books began. Choose that day or earlier."),
        )
