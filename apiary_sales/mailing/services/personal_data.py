"""Erase what e-mails and reminders hold of a customer as a person."""

from collections.abc import Iterator

from django.utils.translation import gettext as _

from apiary_sales.customers.models import Customer
from apiary_sales.mailing.models import Email, ReminderPause
from inventory.shared import findable

# A name that no mail server has (RFC 2606).
NO_ADDRESS = "erased@erased.invalid"


def still_needed(customer: Customer) -> Iterator[str]:
    """Say whether an e-mail still waits to be sent."""
    waiting = (Email.Status.WAITING, Email.Status.SENDING)
    if Email.objects.filter(customer=customer, status__in=waiting).exists():
        yield _("An e-mail to this customer still waits to be sent.")


def erase(customer: Customer) -> None:
    """Take addresses and texts out of the e-mails of a customer, and reasons out of pauses."""
    emails = Email.objects.filter(customer=customer)
    emails.update(to=NO_ADDRESS, subject=_("Erased"), body="", error="", bounce_note="")
    pauses = ReminderPause.objects.filter(customer=customer)
    pauses.update(reason=_("Erased"))
    for rows in (emails, pauses):
        findable.written(rows)
