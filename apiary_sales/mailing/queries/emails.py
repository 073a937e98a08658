"""E-mails for display: the log, and what was sent of a thing or to a customer."""

from django.conf import settings
from django.db.models import Model, Q, QuerySet
from django.utils.translation import gettext as _
from django.utils.translation import pgettext

from apiary_sales.customers.models import Customer
from apiary_sales.mailing.models import Email, ReminderPause
from inventory.shared import mailable
from inventory.shared.tags import Tag

# What a list can be narrowed to.
STATES = ("waiting", "sent", "trouble")


def found(*, state: str = "", text: str = "", customer: Customer | None = None) -> QuerySet[Email]:
    """Return e-mails, newest first: `state` is waiting, sent or trouble.

    `text` is looked for in the address, the subject, the customer's name and the papers' numbers.
    """
    rows = log()
    if state == "waiting":
        rows = rows.filter(status__in=[Email.Status.WAITING, Email.Status.SENDING])
    elif state == "sent":
        rows = rows.filter(status=Email.Status.SENT, bounced_on__isnull=True)
    elif state == "trouble":
        rows = rows.filter(
            Q(status__in=[Email.Status.REFUSED, Email.Status.UNKNOWN])
            | Q(bounced_on__isnull=False)
            | Q(status=Email.Status.WAITING, attempts__gt=0)
        )
    if customer is not None:
        rows = rows.filter(customer=customer)
    if text := text.strip():
        rows = rows.filter(
            Q(to__icontains=text)
            | Q(subject__icontains=text)
            | Q(customer__name__icontains=text)
            | Q(papers__number__icontains=text)
        ).distinct()
    return rows


def of_thing(thing: Model) -> QuerySet[Email]:
    """Return the e-mails that had a paper of this thing, or for a customer all they got."""
    if isinstance(thing, Customer):
        return log().filter(customer=thing)
    names = [paper.name for paper in mailable.all_papers() if paper.model == thing._meta.label]
    return log().filter(papers__paper__in=names, papers__thing_id=thing.pk).distinct()


def log() -> QuerySet[Email]:
    return (
        Email.objects.select_related("customer", "sent_by")
        .prefetch_related("papers", "reminders__invoice")
        .order_by("-id")
    )


def state_tag(email: Email) -> Tag:
    """Return where an e-mail stands, in a word or two."""
    if email.bounced_on is not None:
        return Tag(_("came back"), "bad")
    if email.is_unknown:
        return Tag(_("not known whether it was sent"), "warn")
    if email.status == Email.Status.REFUSED:
        return Tag(pgettext("e-mail", "refused"), "bad")
    if email.status == Email.Status.SENT:
        return Tag(_("sent"), "good")
    if email.attempts and email.status == Email.Status.WAITING:
        return Tag(_("is tried again"), "warn")
    return Tag(email.get_status_display())


def leaves_the_house() -> bool:
    """Whether e-mails are handed to a mail server, rather than written to files or a screen."""
    return str(settings.EMAIL_BACKEND).endswith("smtp.EmailBackend")


def pauses_of(customer: Customer, on: object) -> QuerySet[ReminderPause]:
    """Return the pauses of reminders that count for a customer on a day."""
    return ReminderPause.objects.on(on).filter(customer=customer).select_related("invoice")


def pauses(on: object) -> QuerySet[ReminderPause]:
    """Return all pauses of reminders that count on a day."""
    return (
        ReminderPause.objects.on(on)
        .select_related("customer", "invoice", "placed_by")
        .order_by("customer__name", "id")
    )
