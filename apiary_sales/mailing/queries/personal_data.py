"""What e-mails and reminders hold of a customer as a person."""

from django.utils.translation import gettext as _

from apiary_sales.customers.models import Customer
from apiary_sales.customers.personal_data import HeldData, row_of
from apiary_sales.mailing.models import Email, EmailPaper, ReminderPause


def held(customer: Customer) -> list[HeldData]:
    """Return e-mails with their texts; the papers that were sent with them stay."""
    emails = Email.objects.filter(customer=customer).order_by("pk")
    papers = EmailPaper.objects.filter(email__customer=customer).order_by("pk")
    pauses = ReminderPause.objects.filter(customer=customer).order_by("pk")
    return [
        HeldData(
            _("E-mails"),
            [row_of(each, "sent_at", "to", "subject", "body", "bounce_note") for each in emails],
        ),
        HeldData(
            _("Papers sent by e-mail"),
            [{_("paper"): str(each), _("file"): each.file_name} for each in papers],
            stays=_("They are copies of what the books rest on, as they were sent."),
        ),
        HeldData(_("Reminders paused"), [row_of(each, "reason", "until") for each in pauses]),
    ]
