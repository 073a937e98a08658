"""Reminders of what is overdue: when they are due, what was sent, and who gets none."""

from django.conf import settings
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import F, Q
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from apiary_sales.billing.models import Invoice
from apiary_sales.customers.models import Customer
from apiary_sales.mailing.models.emails import Email
from inventory.stock.models.ledger import AppendOnlyModel

DAYS_MAX = 365
_DAYS = [MinValueValidator(1), MaxValueValidator(DAYS_MAX)]


class ReminderPlan(models.Model):
    """How many days after the due day each of the three reminders is due: one row.

    Customers who owe less than `minimum_cents` get none.
    """

    first_days = models.PositiveSmallIntegerField(_("first reminder"), default=7, validators=_DAYS)
    second_days = models.PositiveSmallIntegerField(
        _("second reminder"), default=21, validators=_DAYS
    )
    third_days = models.PositiveSmallIntegerField(_("last reminder"), default=35, validators=_DAYS)
    minimum_cents = models.PositiveIntegerField(_("least amount"), default=500)

    class Meta:
        verbose_name = _("schedule of reminders")
        verbose_name_plural = _("schedule of reminders")
        constraints = [
            models.CheckConstraint(condition=Q(pk=1), name="reminder_plan_is_one"),
            models.CheckConstraint(
                condition=Q(first_days__lt=F("second_days"), second_days__lt=F("third_days")),
                name="reminder_plan_days_rise",
                violation_error_message=_("Each reminder must come later than the one before."),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.first_days}, {self.second_days}, {self.third_days}"

    @classmethod
    def current(cls) -> "ReminderPlan":
        """Return the one row, or its defaults while it has not been saved."""
        return cls.objects.filter(pk=1).first() or cls(pk=1)

    @property
    def days(self) -> tuple[int, int, int]:
        return self.first_days, self.second_days, self.third_days


class Reminder(AppendOnlyModel):
    """One invoice in an e-mail that reminds of it; `level` is 1, 2 or 3."""

    email = models.ForeignKey(Email, on_delete=models.PROTECT, related_name="reminders")
    invoice = models.ForeignKey(Invoice, on_delete=models.PROTECT, related_name="reminders")
    level = models.PositiveSmallIntegerField()
    sent_on = models.DateField(default=timezone.localdate)
    open_cents = models.BigIntegerField()

    class Meta:
        ordering = ["id"]
        constraints = [
            models.UniqueConstraint(
                fields=["email", "invoice"], name="reminder_names_invoice_once"
            ),
            models.CheckConstraint(condition=Q(level__in=[1, 2, 3]), name="reminder_level_1_to_3"),
        ]

    def __str__(self) -> str:
        return f"{self.invoice} ({self.level})"


class ReminderPauseQuerySet(models.QuerySet["ReminderPause"]):
    def on(self, day: object) -> "ReminderPauseQuerySet":
        """Return the pauses that count on a day."""
        return self.filter(Q(until__isnull=True) | Q(until__gte=day), ended_at__isnull=True)


class ReminderPause(models.Model):
    """No reminders of one invoice, which is disputed, or of any of a customer's, for a reason.

    It lasts up to and with the day `until`, or until somebody ends it.
    """

    customer = models.ForeignKey(Customer, on_delete=models.PROTECT, related_name="reminder_pauses")
    invoice = models.ForeignKey(
        Invoice, on_delete=models.PROTECT, null=True, blank=True, related_name="reminder_pauses"
    )
    reason = models.CharField(_("reason"), max_length=200)
    until = models.DateField(_("up to"), null=True, blank=True)
    placed_at = models.DateTimeField(default=timezone.now)
    placed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    ended_at = models.DateTimeField(null=True, blank=True)
    ended_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    idempotency_key = models.CharField(max_length=100, unique=True)

    objects = ReminderPauseQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]
        verbose_name = _("pause of reminders")
        verbose_name_plural = _("pauses of reminders")
        constraints = [
            models.CheckConstraint(
                condition=Q(ended_at__isnull=True, ended_by__isnull=True)
                | Q(ended_at__isnull=False, ended_by__isnull=False),
                name="reminder_pause_names_who_ended_it",
            ),
        ]

    def __str__(self) -> str:
        return self.reason
