"""A check that the bank gave back: undo its payment, book the bank's fee, bill the house's."""

from datetime import date
from decimal import Decimal

from django.db import transaction
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from apiary_sales.billing.models import BouncedCheck, DepositSlip, Entry, Payment
from apiary_sales.billing.services import book, payments, service_bills, undone_documents
from apiary_sales.billing.services.book import Account, BookLine
from apiary_sales.orders.models import OrderLine
from apiary_sales.orders.rules.lines import LineWanted
from apiary_sales.pricing.models import Service
from inventory.shared import keys
from inventory.shared.errors import NotAllowedNow, Problems, parameters_named
from inventory.shared.money import amount
from inventory.shared.people import Person
from inventory.shared.services.repeats import refuse_repeat

FEE_CENTS_MAX = 100_000
# A fee is billed as this service, one of the usual ones.
FEE_SERVICE = "returned-check"


@transaction.atomic
def record(
    *,
    payment: Payment,
    recorded_by: Person,
    key: str,
    bounced_on: date | None = None,
    bank_fee_cents: int = 0,
    customer_fee_cents: int = 0,
    reason: str = "",
) -> BouncedCheck:
    """Record that a check came back: what it paid is owed again; return the record.

    What was given on top with it is gone too. The bank's fee is the house's cost. With
    `customer_fee_cents` the customer is billed for it at once, as the service *returned-check fee*.
    Raises `NotAllowedNow` for what is no check or where
    that service is missing, `CannotReverse` for one that was undone, `BadValue`, `AlreadyRecorded`.
    """
    bounced_on = bounced_on or timezone.localdate()
    book.lock_customer(payment.customer)
    refuse_repeat(BouncedCheck, key)
    if payment.method != Payment.Method.CHECK or payment.amount_cents < 0:
        raise NotAllowedNow(_("Only a check that was received can bounce."))
    slip = DepositSlip.objects.filter(checks__payment=payment, undone_on=None).first()
    problems = Problems()
    for name, cents in (
        ("bank_fee_cents", bank_fee_cents),
        ("customer_fee_cents", customer_fee_cents),
    ):
        if not 0 <= cents <= FEE_CENTS_MAX:
            problems.add(name, _("Enter a fee from 0 to 1,000."))
    if bounced_on > timezone.localdate():
        problems.add("bounced_on", _("This day is in the future. Choose today or an earlier day."))
    elif bounced_on < payment.received_on:
        problems.add("bounced_on", _("This day is before the check was received. Check the date."))
    elif slip and bounced_on < slip.deposited_on:
        problems.add(
            "bounced_on",
            _("The check was brought to the bank on %(day)s. Choose that day or a later one.")
            % {"day": date_format(slip.deposited_on)},
        )
    problems.raise_any()
    reversal = payments.reverse(
        payment=payment,
        reversed_by=recorded_by,
        reversed_on=bounced_on,
        reason=reason.strip() or _("Check bounced"),
        is_bounced=True,
        key=keys.part(key, "reversal"),
    )
    back_cents = payment.face_cents if slip else 0
    entry = None
    if back_cents or bank_fee_cents:
        entry = book.enter(
            kind=Entry.Kind.TRANSFER,
            lines=[
                BookLine(Account.CHECK, back_cents),
                BookLine(Account.FEES, bank_fee_cents),
                BookLine(Account.TRANSFER, -back_cents - bank_fee_cents),
            ],
            happened_on=bounced_on,
        )
    bill = None
    if customer_fee_cents and payment.customer:
        with parameters_named(over_limit="customer_fee_cents"):
            bill = service_bills.bill(
                customer=payment.customer,
                lines=[_fee(customer_fee_cents)],
                billed_by=recorded_by,
                # A fee for a check that was taken is billed whatever the limit says.
                over_limit=True,
                key=keys.part(key, "fee"),
            )
    return BouncedCheck.objects.create(
        payment=payment,
        reversal=reversal,
        bounced_on=bounced_on,
        bank_fee_cents=bank_fee_cents,
        bill=bill,
        entry=entry,
        recorded_by=recorded_by,
        idempotency_key=key,
    )


@transaction.atomic
def undo(*, bounced: BouncedCheck, undone_by: Person, key: str, reason: str) -> BouncedCheck:
    """Take it back where the check was good after all: the payment is recorded again.

    It pays what is due first. The bank's fee is taken back too; a bill for the house's fee is not,
    and has to be credited. Raises `CannotReverse` for a second time, `BadValue`.
    """
    book.lock_customer(bounced.payment.customer)
    bounced = undone_documents.locked(BouncedCheck, bounced, reason)
    paid = bounced.payment
    bounced.recorded_again = payments.receive(
        customer=paid.customer,
        amount_cents=paid.amount_cents,
        on_top_cents=paid.on_top_cents,
        on_top_account=payments.on_top_account(paid),
        method=paid.method,
        reference=paid.reference,
        note=reason,
        received_by=undone_by,
        key=keys.part(key, "again"),
    )
    return undone_documents.undo(bounced, undone_by=undone_by, reason=reason)


def _fee(cents: int) -> LineWanted:
    service = Service.objects.filter(code=FEE_SERVICE, is_active=True).first()
    if service is None:
        raise NotAllowedNow(
            _(
                "The service “returned-check fee” is missing. Add the usual services on the page "
                "Services first, or leave the fee at 0."
            )
        )
    return LineWanted(OrderLine.Kind.SERVICE, 100, Decimal(amount(cents)), service=service)
