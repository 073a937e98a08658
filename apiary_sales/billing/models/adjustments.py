"""What takes off an invoice without money or goods: write-offs, bad debts, discounts."""

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from apiary_sales.billing.models.book import Entry
from apiary_sales.billing.models.invoices import Invoice
from apiary_sales.billing.models.payments import Payment
from apiary_sales.customers.models import Customer
from inventory.stock.models.ledger import AppendOnlyModel


class Adjustment(AppendOnlyModel):
    """So much of an invoice is not to be paid any more; a negative one takes that back.

    The tax part lowers the tax owed; `taxes` says which tax. An opening adjustment takes an
    opening document back that was entered wrongly.
    """

    class Kind(models.TextChoices):
        WRITE_OFF = "write_off", _("remainder written off")
        BAD_DEBT = "bad_debt", _("bad debt")
        DISCOUNT = "discount", _("discount for early payment")
        OPENING = "opening", _("opening amount taken back")

    # What a person may enter; an opening document is taken back on its own page.
    BY_HAND = (Kind.WRITE_OFF, Kind.BAD_DEBT, Kind.DISCOUNT)

    customer = models.ForeignKey(
        Customer, on_delete=models.PROTECT, null=True, blank=True, related_name="adjustments"
    )
    invoice = models.ForeignKey(Invoice, on_delete=models.PROTECT, related_name="adjustments")
    kind = models.CharField(_("kind"), max_length=10, choices=Kind)
    net_cents = models.BigIntegerField()
    tax_cents = models.BigIntegerField(default=0)
    happened_on = models.DateField(_("day"), default=timezone.localdate)
    reason = models.CharField(_("reason"), max_length=300, blank=True)
    made_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+", verbose_name=_("who")
    )
    reverses = models.OneToOneField(
        "self", on_delete=models.PROTECT, null=True, blank=True, related_name="reversed_by"
    )
    # The payment that left this: undone, it takes this along.
    payment = models.ForeignKey(
        Payment, on_delete=models.PROTECT, null=True, blank=True, related_name="adjustments"
    )
    entry = models.OneToOneField(Entry, on_delete=models.PROTECT, related_name="adjustment")
    idempotency_key = models.CharField(max_length=100, unique=True)

    class Meta:
        ordering = ["-id"]
        constraints = [
            models.CheckConstraint(
                condition=(Q(reverses__isnull=True) & Q(net_cents__gte=0) & Q(tax_cents__gte=0))
                | (Q(reverses__isnull=False) & Q(net_cents__lte=0) & Q(tax_cents__lte=0)),
                name="adjustment_lowers_and_its_undo_raises",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} {self.total_cents}"

    @property
    def total_cents(self) -> int:
        return self.net_cents + self.tax_cents


class AdjustmentTax(AppendOnlyModel):
    """One tax that an adjustment lowers; together they come to its tax part."""

    adjustment = models.ForeignKey(Adjustment, on_delete=models.PROTECT, related_name="taxes")
    name = models.CharField(_("name"), max_length=60, blank=True)
    jurisdiction = models.CharField(_("jurisdiction"), max_length=60, blank=True)
    percent = models.DecimalField(_("percent"), max_digits=7, decimal_places=4)
    base_cents = models.BigIntegerField()
    tax_cents = models.BigIntegerField()

    class Meta:
        ordering = ["id"]

    def __str__(self) -> str:
        return f"{self.name} {self.percent} %"


class InterestCharge(models.Model):
    """Interest on one overdue invoice for some days, billed by another invoice.

    Simple interest: `base_cents` × percent a year × days / 365, from the day after `after_day` to
    `until_day`. Days that were charged are not charged again.
    """

    invoice = models.ForeignKey(Invoice, on_delete=models.PROTECT, related_name="interest_charges")
    bill = models.ForeignKey(Invoice, on_delete=models.PROTECT, related_name="interest_for")
    base_cents = models.BigIntegerField()
    percent_a_year = models.DecimalField(max_digits=6, decimal_places=3)
    after_day = models.DateField()
    until_day = models.DateField()
    interest_cents = models.BigIntegerField()

    class Meta:
        ordering = ["id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(until_day__gt=models.F("after_day")), name="interest_days_gt_0"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.bill} for {self.invoice}"

    @property
    def days(self) -> int:
        return (self.until_day - self.after_day).days
