"""Deposits of drums that are out: given back for those that came back, kept for the others."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from apiary_sales.billing.models import Entry, Invoice, InvoiceLine, KeptDeposit, Payment
from apiary_sales.billing.rules import Left
from apiary_sales.billing.services import book, credit_notes, payments, undone_documents
from apiary_sales.billing.services.book import Account, BookLine
from apiary_sales.customers.models import Customer
from apiary_sales.orders.models import (
    DrumReturn,
    FulfilmentLine,
    OrderLine,
    ReturnedDrum,
)
from apiary_sales.orders.rules.lines import vessel_of
from apiary_sales.orders.services import drum_register, orders
from inventory.shared import checks, keys
from inventory.shared.errors import NotAllowedNow, Problems
from inventory.shared.money import share_cents
from inventory.shared.people import Person
from inventory.shared.services.repeats import refuse_repeat


@dataclass(frozen=True)
class Refund:
    """The credit notes for deposits, and the payment where money was given back at once."""

    notes: list[Invoice]
    payment: Payment | None

    @property
    def total_cents(self) -> int:
        return -sum(note.total_cents for note in self.notes)


@transaction.atomic
def report_lost(
    *,
    outings: Sequence[FulfilmentLine],
    reported_by: Person,
    key: str,
    note: str,
    lost_on: date | None = None,
) -> DrumReturn:
    """Give drums up for lost and keep their deposits as income; return the record.

    The deposit must be billed, so that it is known what is kept; a drum that was sold, or whose
    deposit was credited, is only given up. Raises `NotAllowedNow`, `BadValue` and what
    `drum_register.take_back` does.
    """
    problems = Problems()
    if not note.strip():
        problems.add("note", _("Say what is known about the drum."))
    problems.raise_any()
    made = drum_register.take_back(
        outings=outings,
        received_by=reported_by,
        key=key,
        outcome=DrumReturn.Outcome.LOST,
        returned_on=lost_on,
        note=note,
    )
    for drum in _drums_of(made):
        if (deposit := _deposit_of(drum.fulfilment_line)) is not None:
            _keep(
                drum,
                deposit,
                kept_by=reported_by,
                key=keys.part(key, f"kept-{drum.pk}"),
                reason=note,
                kept_on=made.returned_on,
            )
    return made


@transaction.atomic
def keep(
    *,
    returned_drum: ReturnedDrum,
    kept_by: Person,
    key: str,
    reason: str,
    kept_on: date | None = None,
) -> KeptDeposit:
    """Keep the deposit of a drum that came back damaged; return the record.

    What was owed for it becomes income by an entry. Raises `NotAllowedNow` for a drum that came
    back in order, or whose deposit is credited or kept already; `BadValue`, `AlreadyRecorded`.
    """
    orders.lock(returned_drum.fulfilment_line.fulfilment.order)
    refuse_repeat(KeptDeposit, key)
    kept_on = kept_on or timezone.localdate()
    problems = Problems()
    if not reason.strip():
        problems.add("reason", _("Say why the deposit is kept."))
    checks.check_day(problems, "kept_on", kept_on)
    problems.raise_any()
    if returned_drum.drum_return.outcome == DrumReturn.Outcome.EMPTY:
        raise NotAllowedNow(
            _("%(drum)s came back in order. Give its deposit back.")
            % {"drum": vessel_of(returned_drum.fulfilment_line.order_line).name}
        )
    deposit = _deposit_of(returned_drum.fulfilment_line)
    kept = KeptDeposit.objects.standing().filter(
        returned_drum__fulfilment_line=returned_drum.fulfilment_line
    )
    if deposit is None or kept.exists():
        raise NotAllowedNow(
            _("%(drum)s has no deposit any more that could be kept.")
            % {"drum": vessel_of(returned_drum.fulfilment_line.order_line).name}
        )
    return _keep(returned_drum, deposit, kept_by=kept_by, key=key, reason=reason, kept_on=kept_on)


@transaction.atomic
def give_up_keeping(*, kept: KeptDeposit, undone_by: Person, reason: str) -> KeptDeposit:
    """Owe the kept deposit of a drum that is back to its customer again; return the record.

    It can be given back then as any other. Raises `NotAllowedNow` while the drum is lost,
    `CannotReverse` where it was undone before, `BadValue`.
    """
    outing = kept.returned_drum.fulfilment_line
    orders.lock(outing.fulfilment.order)
    kept = undone_documents.locked(KeptDeposit, kept, reason)
    if not ReturnedDrum.objects.filter(fulfilment_line=outing, is_lost=False).exists():
        raise NotAllowedNow(
            _("%(drum)s is not back. Record first that it came back.")
            % {"drum": vessel_of(outing.order_line).name}
        )
    return undone_documents.undo(kept, undone_by=undone_by, reason=reason)


@transaction.atomic
def refund(
    *,
    customer: Customer,
    drums: Mapping[Invoice, int],
    refunded_by: Person,
    key: str,
    pays_back: bool = False,
    method: str = Payment.Method.CHECK,
    reference: str = "",
) -> Refund:
    """Credit the deposits of so many drums of each invoice; return the credit notes.

    What was paid stays on the customer's account; `pays_back` gives of it at once what the deposits
    come to, as far as it is there. Raises `NotAllowedNow`, `BadValue` at `drums`,
    `AlreadyRecorded`.
    """
    wanted = {invoice: count for invoice, count in drums.items() if count}
    # Orders are locked before the customer, all of them in one order.
    wanted_orders = {invoice.order for invoice in wanted if invoice.order}
    for order in sorted(wanted_orders, key=lambda order: order.pk):
        orders.lock(order)
    refuse_repeat(Invoice, keys.part(key, "deposit-0"))
    problems = Problems()
    if not wanted:
        problems.add("drums", _("Enter for how many drums the deposit is given back."))
    elif any(invoice.customer_id != customer.pk for invoice in wanted):
        problems.add("drums", _("These invoices are not all of %(name)s.") % {"name": customer})
    problems.raise_any()
    notes = [
        credit_notes.credit_deposit(
            invoice=invoice,
            drums=count,
            issued_by=refunded_by,
            key=keys.part(key, f"deposit-{index}"),
        )
        for index, (invoice, count) in enumerate(
            sorted(wanted.items(), key=lambda pair: pair[0].pk)
        )
    ]
    made = Refund(notes, None)
    there_cents = min(made.total_cents, payments.on_account_cents(customer))
    if not pays_back or there_cents <= 0:
        return made
    paid = payments.pay_back(
        customer=customer,
        amount_cents=there_cents,
        method=method,
        paid_by=refunded_by,
        key=keys.part(key, "paid"),
        reference=reference,
        note=", ".join(str(note) for note in notes),
    )
    return Refund(notes, paid)


def _drums_of(made: DrumReturn) -> list[ReturnedDrum]:
    return list(
        made.drums.select_related(
            "drum_return", "fulfilment_line__fulfilment__order", "fulfilment_line__order_line__drum"
        )
    )


def _deposit_of(outing: FulfilmentLine) -> Left | None:
    """Return what is left of the deposit of a drum on its invoice; None where nothing is held.

    Raises `NotAllowedNow` where the deposit is on no invoice yet.
    """
    deposits = FulfilmentLine.objects.filter(
        fulfilment=outing.fulfilment, order_line__kind=OrderLine.Kind.DRUM_DEPOSIT
    )
    if not deposits.exists():
        return None
    billed = InvoiceLine.objects.filter(
        fulfilment_line__in=deposits, invoice__credits=None
    ).select_related("invoice")
    if not billed:
        raise NotAllowedNow(
            _("The deposit of %(drum)s is on no invoice yet. Issue the invoice first.")
            % {"drum": vessel_of(outing.order_line).name}
        )
    for invoice in {line.invoice for line in billed}:
        for left in credit_notes.left_on(invoice):
            if left.line.is_deposit and left.quantity >= 1:
                return left
    return None


def _keep(
    returned_drum: ReturnedDrum,
    deposit: Left,
    *,
    kept_by: Person,
    key: str,
    reason: str,
    kept_on: date,
) -> KeptDeposit:
    cents = share_cents(deposit.amount_cents, 1, int(deposit.quantity))
    entry = book.enter(
        kind=Entry.Kind.ADJUSTMENT,
        lines=[BookLine(Account.DEPOSITS, cents), BookLine(Account.SALES, -cents)],
        happened_on=kept_on,
    )
    return KeptDeposit.objects.create(
        returned_drum=returned_drum,
        invoice_line=deposit.line,
        amount_cents=cents,
        kept_on=kept_on,
        reason=reason.strip(),
        entry=entry,
        kept_by=kept_by,
        idempotency_key=key,
    )
