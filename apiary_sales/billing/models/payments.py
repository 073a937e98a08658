"""Money received and given back, and what it was put to."""

from typing import TYPE_CHECKING, TypedDict, cast

from django.conf import settings
from django.db import models
from django.db.models import F, OuterRef, Q, Subquery, Sum
from django.db.models.functions import Coalesce
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from apiary_sales.billing.models.invoices import Invoice
from apiary_sales.customers.models import Customer
from apiary_sales.orders.models import Order
from inventory.stock.models.ledger import AppendOnlyModel

if TYPE_CHECKING:
    from django_stubs_ext import WithAnnotations


class LeftOnPayment(TypedDict):
    left_cents: int


class PaymentQuerySet(models.QuerySet["Payment"]):
    def opening_credits(self) -> "PaymentQuerySet":
        """Return what was on account when the books began, also what was undone since."""
        # Asked so that SQLite begins with these, not with all that undoes no other payment.
        return self.filter(method=Payment.Method.OPENING).exclude(reverses__gt=0)

    def with_left(self) -> "models.QuerySet[WithAnnotations[Payment, LeftOnPayment]]":
        """Return the payments with `left_cents`, which are put to no bill.

        Added up for each payment that is read: joined, they would be for every one there is.
        """
        put_to_bills = (
            Allocation.objects.filter(payment=OuterRef("pk"))
            .order_by()
            .values("payment")
            .annotate(cents=Sum("amount_cents"))
            .values("cents")
        )
        found = self.annotate(left_cents=F("amount_cents") - Coalesce(Subquery(put_to_bills), 0))
        return cast("models.QuerySet[WithAnnotations[Payment, LeftOnPayment]]", found)


class Payment(models.Model):
    """Money received (or, negative, given back)."""

    class Method(models.TextChoices):
        CASH = "cash", _("cash")
        CHECK = "check", _("check")
        CARD = "card", _("card")
        TRANSFER = "transfer", _("bank transfer")
        # Money on account when the books began; nobody pays so.
        OPENING = "opening", _("opening amount")

    # How money is paid.
    WAYS = Method.choices[:-1]

    customer = models.ForeignKey(
        Customer, on_delete=models.PROTECT, null=True, blank=True, related_name="payments"
    )
    method = models.CharField(_("paid by"), max_length=8, choices=Method)
    amount_cents = models.BigIntegerField(_("amount"))
    tendered_cents = models.BigIntegerField(_("cash given"), null=True, blank=True)
    # What a buyer at the stand gave on top with a check, beyond `amount_cents`.
    on_top_cents = models.BigIntegerField(_("given on top"), default=0)
    # What the smallest coin adds to `amount_cents` in cash, or takes off.
    rounding_cents = models.BigIntegerField(_("rounding of cash"), default=0)
    received_on = models.DateField(_("received"), default=timezone.localdate)
    reference = models.CharField(_("check number or reference"), max_length=60, blank=True)
    note = models.CharField(_("note"), max_length=300, blank=True)
    received_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    reverses = models.OneToOneField(
        "self", on_delete=models.PROTECT, null=True, blank=True, related_name="reversed_by"
    )
    # Paid in advance: kept for the invoices of this order or quote. Few are, which have an index of
    # their own.
    order = models.ForeignKey(
        Order,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="prepayments",
        db_index=False,
    )
    # Given back for this credit note; few payments are, which have an index of their own.
    refunds = models.ForeignKey(
        Invoice,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="refunds",
        db_index=False,
    )
    idempotency_key = models.CharField(max_length=100, unique=True)

    objects = PaymentQuerySet.as_manager()

    class Meta:
        ordering = ["-received_on", "-id"]
        indexes = [
            models.Index(fields=["-received_on", "-id"], name="payment_newest_first"),
            models.Index(fields=["method", "-received_on", "-id"], name="payment_by_method"),
            # Those of the counter are far more, and have no customer.
            models.Index(
                fields=["-received_on", "-id"],
                condition=Q(customer__isnull=False),
                name="payment_of_customers_newest",
            ),
            models.Index(
                fields=["order"], condition=Q(order__isnull=False), name="payment_of_order"
            ),
            models.Index(
                fields=["refunds"], condition=Q(refunds__isnull=False), name="payment_that_refunds"
            ),
        ]
        permissions = [("take_payments", "Can record payments")]
        constraints = [
            models.CheckConstraint(condition=~Q(amount_cents=0), name="payment_amount_not_0"),
            models.CheckConstraint(
                condition=Q(rounding_cents=0) | Q(method="cash"),
                name="payment_only_cash_is_rounded",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_method_display()} {self.amount_cents}"

    @property
    def is_pay_back(self) -> bool:
        """Whether this is money on account given back, and no undoing of a payment."""
        return self.amount_cents < 0 and self.reverses_id is None

    @property
    def has_receipt(self) -> bool:
        """Whether there is a receipt for it: money changed hands, and it undoes no payment."""
        return self.reverses_id is None and self.method != self.Method.OPENING

    @property
    def handed_cents(self) -> int:
        """What changed hands: the amount, in cash rounded to the smallest coin."""
        return self.amount_cents + self.rounding_cents

    @property
    def face_cents(self) -> int:
        """What a check says: the amount, and what was given on top with it."""
        return self.amount_cents + self.on_top_cents

    @property
    def given_back_cents(self) -> int:
        return max(0, -self.handed_cents)


class Allocation(AppendOnlyModel):
    """So much of a payment settles so much of an invoice.

    A negative row takes it off again: when the check bounced, or the invoice was credited and the
    money stays on account. `put_on` is the day from which it counts, `put_at` when it was entered,
    None of rows older than that column.
    """

    payment = models.ForeignKey(Payment, on_delete=models.PROTECT, related_name="allocations")
    invoice = models.ForeignKey(Invoice, on_delete=models.PROTECT, related_name="allocations")
    put_on = models.DateField(default=timezone.localdate)
    put_at = models.DateTimeField(default=timezone.now, null=True, blank=True)
    amount_cents = models.BigIntegerField()

    class Meta:
        indexes = [models.Index(fields=["put_on"], name="allocation_by_day")]
        constraints = [
            models.CheckConstraint(condition=~Q(amount_cents=0), name="allocation_amount_not_0"),
        ]

    def __str__(self) -> str:
        return f"{self.payment} for {self.invoice}"
