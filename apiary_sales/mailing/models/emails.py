"""E-mails: what was sent, to whom, by whom, when, and what became of it."""

from datetime import timedelta

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext_lazy as _
from django.utils.translation import pgettext_lazy

from apiary_sales.customers.models import Customer
from apiary_sales.mailing import texts_at_first
from apiary_sales.mailing.texts_at_first import EmailWords
from inventory.shared import mailable
from inventory.stock.models.ledger import AppendOnlyModel

# Longer than a mail server may take for all its answers. Whoever was sending has stopped by then.
SENDING_LASTS = timedelta(minutes=10)


class EmailQuerySet(models.QuerySet["Email"]):
    def to_send(self) -> "EmailQuerySet":
        """Return what waits and is due."""
        return self.filter(status=Email.Status.WAITING, next_attempt_at__lte=timezone.now())


class Email(models.Model):
    """One e-mail to one address, with the papers attached to it.

    What it says never changes; sending it again makes another one. An e-mail is taken up by one
    worker, once for each attempt, so it is never sent twice. Where the connection broke before the
    mail server answered, or the machine stopped, nobody can tell whether it was sent: it is then
    *not known*, and a person decides.
    """

    class Status(models.TextChoices):
        WAITING = "waiting", _("waiting")
        SENDING = "sending", _("being sent")
        SENT = "sent", _("sent")
        REFUSED = "refused", pgettext_lazy("e-mail", "refused")
        UNKNOWN = "unknown", _("not known")

    message_id = models.CharField(max_length=120, unique=True)
    customer = models.ForeignKey(
        Customer, on_delete=models.PROTECT, null=True, blank=True, related_name="emails"
    )
    sender = models.CharField(pgettext_lazy("e-mail", "from"), max_length=320)
    to = models.EmailField(pgettext_lazy("e-mail", "to"))
    language = models.CharField(_("language"), max_length=8, choices=settings.LANGUAGES)
    subject = models.CharField(_("subject"), max_length=200)
    body = models.TextField(_("text"), max_length=10_000)
    resends = models.ForeignKey(
        "self", on_delete=models.PROTECT, null=True, blank=True, related_name="resent_as"
    )
    sent_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    created_at = models.DateTimeField(default=timezone.now)
    status = models.CharField(_("state"), max_length=8, choices=Status, default=Status.WAITING)
    attempts = models.PositiveSmallIntegerField(default=0)
    attempted_at = models.DateTimeField(null=True, blank=True)
    next_attempt_at = models.DateTimeField(null=True, blank=True, default=timezone.now)
    sent_at = models.DateTimeField(null=True, blank=True)
    # What the mail server answered last, in its own words.
    error = models.TextField(blank=True)
    bounced_on = models.DateField(_("came back on"), null=True, blank=True)
    bounce_note = models.CharField(_("what the answer says"), max_length=300, blank=True)
    bounce_noted_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    idempotency_key = models.CharField(max_length=100, unique=True)

    objects = EmailQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]
        verbose_name = _("e-mail")
        verbose_name_plural = _("e-mails")
        constraints = [
            models.CheckConstraint(
                condition=Q(status="sent", sent_at__isnull=False)
                | (~Q(status="sent") & Q(sent_at__isnull=True)),
                name="email_sent_has_its_moment",
            ),
            models.CheckConstraint(
                condition=Q(status="waiting", next_attempt_at__isnull=False)
                | (~Q(status="waiting") & Q(next_attempt_at__isnull=True)),
                name="email_waiting_has_its_next_attempt",
            ),
            models.CheckConstraint(
                condition=Q(bounced_on__isnull=True, bounce_noted_by__isnull=True)
                | Q(bounced_on__isnull=False, bounce_noted_by__isnull=False),
                name="email_bounce_names_who_noted_it",
            ),
        ]
        indexes = [
            models.Index(
                fields=["next_attempt_at"], condition=Q(status="waiting"), name="email_waiting"
            ),
        ]

    def __str__(self) -> str:
        return self.subject

    @property
    def is_unknown(self) -> bool:
        """Whether nobody can tell if it was sent: also where the machine stopped meanwhile."""
        stopped = self.attempted_at is not None and (
            timezone.now() - self.attempted_at > SENDING_LASTS
        )
        return self.status == self.Status.UNKNOWN or (
            self.status == self.Status.SENDING and stopped
        )

    @property
    def failed(self) -> bool:
        """Whether it did not arrive, as far as is known."""
        return self.status == self.Status.REFUSED or self.bounced_on is not None


class PaperCopy(AppendOnlyModel):
    """The bytes of a paper as it was sent; the same paper sent twice is kept once."""

    sha256 = models.CharField(max_length=64, unique=True)
    content = models.BinaryField()

    class Meta:
        verbose_name = _("copy of a paper")
        verbose_name_plural = _("copies of papers")

    def __str__(self) -> str:
        return self.sha256


class EmailPaper(AppendOnlyModel):
    """A paper attached to an e-mail: which one, of what, and the copy that was sent.

    A PDF, or an XML file that goes with it and has the same paper and number.
    `paper` is its name in `inventory.shared.mailable`, `thing_id` the key of what it is about.
    """

    email = models.ForeignKey(Email, on_delete=models.PROTECT, related_name="papers")
    paper = models.CharField(max_length=40)
    thing_id = models.PositiveBigIntegerField()
    # Of a statement, its days.
    details = models.JSONField(default=dict, blank=True)
    # How the thing is called on the paper: the number of an invoice.
    number = models.CharField(max_length=120)
    file_name = models.CharField(max_length=120)
    copy = models.ForeignKey(PaperCopy, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["id"]
        indexes = [models.Index(fields=["paper", "thing_id"], name="email_paper_of_thing")]

    def __str__(self) -> str:
        found = mailable.by_name(self.paper)
        return f"{found.title if found else self.paper} {self.number}"

    @property
    def media_type(self) -> str:
        return "application/xml" if self.file_name.endswith(".xml") else "application/pdf"


class EmailTextQuerySet(models.QuerySet["EmailText"]):
    def words(self, name: str, language: str) -> EmailWords:
        """Return the text of this name: the house's own, or the usual one."""
        own = self.filter(name=name, language=language).first()
        return EmailWords(own.subject, own.body) if own else texts_at_first.words_of(name, language)


class EmailText(models.Model):
    """The house's own words for one kind of e-mail in one language, instead of the usual ones."""

    name = models.CharField(max_length=40)
    language = models.CharField(_("language"), max_length=8, choices=settings.LANGUAGES)
    subject = models.CharField(_("subject"), max_length=200)
    body = models.TextField(_("text"), max_length=10_000)

    objects = EmailTextQuerySet.as_manager()

    class Meta:
        verbose_name = _("text of e-mails")
        verbose_name_plural = _("texts of e-mails")
        constraints = [
            models.UniqueConstraint(fields=["name", "language"], name="email_text_is_one"),
        ]

    def __str__(self) -> str:
        return f"{self.name} ({self.language})"
