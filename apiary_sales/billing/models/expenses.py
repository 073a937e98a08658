"""Money spent without a bill that waits: expenses, and those that come again."""

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from apiary_sales.billing.models.booked import BookedDocument
from apiary_sales.billing.models.purchasing import PaidBy
from apiary_sales.pricing.models import SeasonExpense


class ExpenseCategory(models.TextChoices):
    """What money is spent on; the first ones are those of a season's honey, with its names."""

    BEES = "bees", _("queens and bees")
    FEED = "feed", _("feed")
    TREATMENT = "treatment", _("treatments")
    WAGES = "wages", _("wages")
    FUEL = "fuel", _("fuel and truck")
    YARDS = "yards", _("yard rent")
    EXTRACTING = "extracting", _("extracting")
    REPAIRS = "repairs", _("repairs and equipment")
    SUPPLIES = "supplies", _("supplies")
    FREIGHT = "freight", _("freight")
    RENT = "rent", _("rent")
    UTILITIES = "utilities", _("power, water and telephone")
    INSURANCE = "insurance", _("insurance")
    FEES = "fees", _("fees and licences")
    OFFICE = "office", _("office")
    SELLING = "selling", _("advertising and stand fees")
    ADVICE = "advice", _("accountant and advice")
    OTHER = "other", _("other")

    @classmethod
    def of_a_season(cls) -> set[str]:
        """Return the categories that the cost of a season's honey has too."""
        return {value for value in cls.values if value in SeasonExpense.Category.values}


class Rhythm(models.TextChoices):
    """How often an expense comes again."""

    WEEK = "week", _("every week")
    MONTH = "month", _("every month")
    QUARTER = "quarter", _("every three months")
    YEAR = "year", _("every year")


class RecurringExpense(models.Model):
    """An expense that comes again; each one is proposed on its day and entered by one click."""

    payee = models.CharField(_("paid to"), max_length=120)
    category = models.CharField(_("category"), max_length=12, choices=ExpenseCategory)
    amount_cents = models.BigIntegerField(_("amount"))
    tax_cents = models.BigIntegerField(_("tax that you get back"), default=0)
    paid_by = models.CharField(_("paid by"), max_length=8, choices=PaidBy)
    note = models.CharField(_("note"), max_length=200, blank=True)
    for_season = models.BooleanField(_("part of the cost of the season's honey"), default=False)
    rhythm = models.CharField(_("how often"), max_length=8, choices=Rhythm)
    first_on = models.DateField(_("first day"))
    next_on = models.DateField(_("next day"))
    is_active = models.BooleanField(_("in use"), default=True)
    idempotency_key = models.CharField(max_length=100, unique=True)

    class Meta:
        ordering = ["next_on", "id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(amount_cents__gt=0, tax_cents__gte=0)
                & Q(tax_cents__lt=models.F("amount_cents")),
                name="recurring_expense_amounts",
            ),
            models.CheckConstraint(
                condition=Q(next_on__gte=models.F("first_on")),
                name="recurring_expense_next_not_before_first",
            ),
        ]

    def __str__(self) -> str:
        return self.payee


class Expense(BookedDocument):
    """Money spent at once: who got it, what for, and where it came from.

    `amount_cents` is all that was paid, `tax_cents` what of it the house gets back as tax.
    """

    spent_on = models.DateField(_("day"))
    payee = models.CharField(_("paid to"), max_length=120)
    category = models.CharField(_("category"), max_length=12, choices=ExpenseCategory)
    paid_by = models.CharField(_("paid by"), max_length=8, choices=PaidBy)
    amount_cents = models.BigIntegerField(_("amount"))
    tax_cents = models.BigIntegerField(_("tax that you get back"), default=0)
    note = models.CharField(_("note"), max_length=200, blank=True)
    # What of this the cost of a season's honey counts; removing it there leaves the expense.
    season_expense = models.OneToOneField(
        SeasonExpense, on_delete=models.SET_NULL, null=True, blank=True, related_name="expense"
    )
    recurring = models.ForeignKey(
        RecurringExpense, on_delete=models.PROTECT, null=True, blank=True, related_name="expenses"
    )

    class Meta(BookedDocument.Meta):
        ordering = ["-spent_on", "-id"]
        constraints = [
            *BookedDocument.Meta.constraints,
            models.CheckConstraint(
                condition=Q(amount_cents__gt=0, tax_cents__gte=0)
                & Q(tax_cents__lt=models.F("amount_cents")),
                name="expense_amounts",
            ),
        ]
        indexes = [models.Index(fields=["spent_on", "id"], name="expense_by_day")]

    def __str__(self) -> str:
        return f"{self.payee} {self.spent_on}"


class SkippedExpense(models.Model):
    """A day on which an expense that usually comes again did not come."""

    recurring = models.ForeignKey(
        RecurringExpense, on_delete=models.PROTECT, related_name="skipped"
    )
    due_on = models.DateField()
    skipped_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    idempotency_key = models.CharField(max_length=100, unique=True)

    class Meta:
        ordering = ["id"]
        constraints = [
            models.UniqueConstraint(fields=["recurring", "due_on"], name="skipped_expense_is_one"),
        ]

    def __str__(self) -> str:
        return f"{self.recurring} {self.due_on}"
