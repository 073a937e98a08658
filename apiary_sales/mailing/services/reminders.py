"""Remind customers of what is overdue: what is due, sending what the office approved, pauses."""

import hashlib
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date

from django.conf import settings
from django.db import transaction
from django.db.models import Max
from django.utils import timezone, translation
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from apiary_sales.billing.models import Invoice
from apiary_sales.customers.models import Customer, CustomerBalance
from apiary_sales.mailing.models import (
    Email,
    EmailText,
    Reminder,
    ReminderPause,
    ReminderPlan,
)
from apiary_sales.mailing.rules import texts
from apiary_sales.mailing.rules.reminders import level_due
from apiary_sales.mailing.services import emails
from apiary_sales.mailing.texts_at_first import EmailWords
from inventory.shared import checks, keys, mailable, words
from inventory.shared.errors import AlreadyRecorded, BadValue, NotAllowedNow, Problems
from inventory.shared.models import House
from inventory.shared.people import Person
from inventory.shared.services.repeats import refuse_repeat

# So many customers at most in one go; the next ones are shown after these are sent.
CUSTOMERS_MAX = 50


@dataclass(frozen=True)
class OverdueInvoice:
    """An invoice of which a reminder is due, and which one: 1, 2 or 3."""

    invoice: Invoice
    level: int
    days_overdue: int


@dataclass(frozen=True)
class DueReminder:
    """One e-mail that is due: all invoices of a customer of which a reminder is due."""

    customer: Customer
    invoices: list[OverdueInvoice]
    on_account_cents: int
    subject: str
    body: str

    @property
    def level(self) -> int:
        return max(row.level for row in self.invoices)

    @property
    def owed_cents(self) -> int:
        """What is open on these invoices, less money on account."""
        return sum(row.invoice.open_cents for row in self.invoices) - self.on_account_cents

    @property
    def digest(self) -> str:
        """A mark of all that the e-mail would say: it differs once anything does."""
        said = [
            self.customer.email,
            self.subject,
            self.body,
            *(f"{row.invoice.pk}:{row.level}:{row.invoice.open_cents}" for row in self.invoices),
        ]
        return hashlib.sha256("\n".join(said).encode()).hexdigest()[:32]


def due(on: date, *, sent_by: Person) -> list[DueReminder]:
    """Return the reminders that are due on a day, the longest overdue first.

    Left out are customers and invoices under a pause, and customers who owe less than the least
    amount of the plan. A reminder that was refused or came back does not count as sent. The number
    of queries does not depend on how many there are.
    """
    plan = ReminderPlan.current()
    open_invoices = (
        Invoice.objects.open()
        .filter(due_on__lt=on, customer__isnull=False, credits__isnull=True)
        .select_related("customer")
        .order_by("due_on", "id")
    )
    paused_customers, paused_invoices = _paused(on)
    last = _last_reminders()
    found: dict[Customer, list[OverdueInvoice]] = defaultdict(list)
    for invoice in open_invoices:
        if invoice.customer_id in paused_customers or invoice.pk in paused_invoices:
            continue
        last_level, last_sent_on = last.get(invoice.pk, (0, None))
        level = level_due(
            due_on=invoice.due_on,
            on=on,
            plan=plan.days,
            last_level=last_level,
            last_sent_on=last_sent_on,
        )
        if level is not None and invoice.customer is not None:
            days = (on - invoice.due_on).days
            found[invoice.customer].append(OverdueInvoice(invoice, level, days))
    on_account = _on_account(found)
    house = House.current()
    said = {
        (level, language): EmailText.objects.words(name, language)
        for language, _label in settings.LANGUAGES
        for level, name in enumerate(texts.REMINDERS, start=1)
    }
    rows = []
    for customer, invoices in found.items():
        level, cents = max(row.level for row in invoices), on_account.get(customer.pk, 0)
        usual = emails.usual_words(customer, house, sent_by)
        text = said[level, customer.paper_language]
        rows.append(_reminder(customer, invoices, cents, text, usual))
    return [row for row in rows if row.owed_cents >= max(1, plan.minimum_cents)]


def send(*, chosen: Mapping[int, str], sent_by: Person, key: str) -> list[Email]:
    """Send the reminders that the office approved, and return their e-mails.

    `chosen` has the digest of each reminder by the key of its customer, as it was shown. Where one
    has changed since, because a payment came in for example, nothing is sent. Raises
    `NotAllowedNow`, `BadValue`, `PdfUnavailable`, and `AlreadyRecorded`.
    """
    _refuse_repeat(key)
    if not chosen:
        raise BadValue(_("Choose at least one customer."), parameter="chosen")
    if len(chosen) > CUSTOMERS_MAX:
        raise BadValue(
            _("Send reminders to at most %(most)s customers at once.") % {"most": CUSTOMERS_MAX},
            parameter="chosen",
        )
    emails.check_sender()
    today = timezone.localdate()
    approved = _approved(chosen, today, sent_by)
    paper = mailable.by_name("invoice")
    assert paper is not None
    # Before the transaction, since papers are made one at a time and others want to write.
    papers = {
        row.customer.pk: [
            emails.make(paper, each.invoice) for each in row.invoices if paper.is_for(each.invoice)
        ]
        for row in approved
    }
    with transaction.atomic():
        # In one order, so that two who send at once do not wait for each other.
        list(Customer.objects.select_for_update().filter(pk__in=chosen).order_by("pk"))
        _refuse_repeat(key)
        return [
            _write(row, papers[row.customer.pk], today, sent_by, keys.part(key, index))
            for index, row in enumerate(_approved(chosen, today, sent_by))
        ]


@transaction.atomic
def change_plan(
    *, first_days: int, second_days: int, third_days: int, minimum_cents: int
) -> ReminderPlan:
    """Set when reminders are due and the least amount; raises `BadValue` or several."""
    problems = Problems()
    if second_days <= first_days:
        problems.add("second_days", _("Each reminder must come later than the one before."))
    if third_days <= second_days:
        problems.add("third_days", _("Each reminder must come later than the one before."))
    if minimum_cents < 0:
        problems.add("minimum_cents", _("Enter 0 or more."))
    problems.raise_any()
    plan = ReminderPlan.current()
    plan.first_days, plan.second_days, plan.third_days = first_days, second_days, third_days
    plan.minimum_cents = minimum_cents
    checks.save_checked(plan)
    return plan


@transaction.atomic
def pause(
    *,
    customer: Customer,
    invoice: Invoice | None = None,
    reason: str,
    until: date | None = None,
    placed_by: Person,
    key: str,
) -> ReminderPause:
    """Send no reminders of an invoice, or of any of a customer's, up to and with a day.

    Raises `BadValue` (or several) and `AlreadyRecorded`.
    """
    customer = Customer.objects.select_for_update().get(pk=customer.pk)
    refuse_repeat(ReminderPause, key)
    problems = Problems()
    if not reason.strip():
        problems.add("reason", _("Write why."))
    if until is not None and until < timezone.localdate():
        problems.add("until", _("This day is past. Choose today or a later day."))
    if invoice is not None and invoice.customer_id != customer.pk:
        problems.add("invoice", _("This invoice is another customer's."))
    problems.raise_any()
    made = ReminderPause(
        customer=customer,
        invoice=invoice,
        reason=reason.strip(),
        until=until,
        placed_by=placed_by,
        idempotency_key=key,
    )
    checks.save_checked(made)
    return made


@transaction.atomic
def end_pause(*, pause: ReminderPause, ended_by: Person) -> ReminderPause:
    """Let reminders be sent again; raises `AlreadyRecorded`."""
    pause = ReminderPause.objects.select_for_update().get(pk=pause.pk)
    if pause.ended_at is not None:
        raise AlreadyRecorded(_("This was recorded already."), made=pause)
    pause.ended_at, pause.ended_by = timezone.now(), ended_by
    pause.save(update_fields=["ended_at", "ended_by"])
    return pause


def _refuse_repeat(key: str) -> None:
    made = list(Email.objects.filter(idempotency_key=keys.part(key, 0)))
    refuse_repeat(Email, keys.part(key, 0), made=made)


def _approved(chosen: Mapping[int, str], on: date, sent_by: Person) -> list[DueReminder]:
    found = {row.customer.pk: row for row in due(on, sent_by=sent_by)}
    if any(pk not in found or found[pk].digest != digest for pk, digest in chosen.items()):
        raise NotAllowedNow(
            _("The reminders have changed since you opened this page. Look at them again.")
        )
    without = [found[pk].customer.name for pk in chosen if not found[pk].customer.email]
    if without:
        raise BadValue(
            _("%(customer)s has no e-mail address. Enter it first, or leave them out.")
            % {"customer": without[0]},
            parameter="chosen",
        )
    return [row for pk, row in found.items() if pk in chosen]


def _write(
    row: DueReminder,
    papers: list[emails.PaperMade],
    on: date,
    sent_by: Person,
    key: str,
) -> Email:
    email = emails.write(
        customer=row.customer,
        language=row.customer.paper_language,
        to=row.customer.email,
        subject=row.subject,
        body=row.body,
        papers=papers,
        sent_by=sent_by,
        key=key,
    )
    for each in row.invoices:
        Reminder.objects.create(
            email=email,
            invoice=each.invoice,
            level=each.level,
            sent_on=on,
            open_cents=each.invoice.open_cents,
        )
    return email


def _reminder(
    customer: Customer,
    invoices: list[OverdueInvoice],
    on_account_cents: int,
    said: EmailWords,
    usual: Mapping[str, str],
) -> DueReminder:
    open_cents = sum(row.invoice.open_cents for row in invoices)
    with translation.override(customer.paper_language):
        figures = {
            **usual,
            "invoices": _list_of(invoices, on_account_cents),
            "owed": words.money(open_cents - on_account_cents),
        }
    return DueReminder(
        customer=customer,
        invoices=invoices,
        on_account_cents=on_account_cents,
        subject=texts.one_line(texts.fill(said.subject, figures))[: emails.SUBJECT_MAX],
        body=texts.fill(said.body, figures),
    )


def _line_of(row: OverdueInvoice) -> str:
    said = _("%(invoice)s of %(issued)s, due on %(due)s (%(days)s): %(open)s") % {
        "invoice": row.invoice.opening_number or row.invoice,
        "issued": date_format(row.invoice.issued_on, "DATE_FORMAT"),
        "due": date_format(row.invoice.due_on, "DATE_FORMAT"),
        "days": ngettext("%(days)s day overdue", "%(days)s days overdue", row.days_overdue)
        % {"days": row.days_overdue},
        "open": words.money(row.invoice.open_cents),
    }
    # An invoice from before the books began has no paper here.
    return _("%(line)s, not attached") % {"line": said} if row.invoice.is_opening else said


def _list_of(invoices: list[OverdueInvoice], on_account_cents: int) -> str:
    lines = [_line_of(row) for row in invoices]
    if on_account_cents:
        lines.append(
            _("Less money on account: %(amount)s") % {"amount": words.money(on_account_cents)}
        )
    return "\n".join(lines)


def _paused(on: date) -> tuple[set[int], set[int]]:
    """Return the keys of customers and of single invoices that get no reminders on a day."""
    rows = list(ReminderPause.objects.on(on).values_list("customer", "invoice"))
    return (
        {customer for customer, invoice in rows if invoice is None},
        {invoice for _customer, invoice in rows if invoice is not None},
    )


def _last_reminders() -> dict[int, tuple[int, date]]:
    """Return the last reminder that counts of each invoice: its level and its day."""
    counted = Reminder.objects.filter(email__bounced_on__isnull=True).exclude(
        email__status=Email.Status.REFUSED
    )
    rows = counted.values_list("invoice").annotate(Max("level"), Max("sent_on"))
    return {invoice: (level, sent_on) for invoice, level, sent_on in rows}


def _on_account(customers: Iterable[Customer]) -> dict[int, int]:
    """Return the money that customers paid and no invoice has used yet, by customer."""
    pks = [customer.pk for customer in customers]
    owed = dict(
        CustomerBalance.objects.filter(customer__in=pks).values_list("customer", "owed_cents")
    )
    open_cents: dict[int, int] = defaultdict(int)
    for pk, cents in (
        Invoice.objects.open().filter(customer__in=pks).values_list("customer", "open_cents")
    ):
        if pk is not None:
            open_cents[pk] += cents
    return {pk: max(0, open_cents[pk] - owed.get(pk, 0)) for pk in pks}
