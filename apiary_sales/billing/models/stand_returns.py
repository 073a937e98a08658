"""Returns at the stand for which the office is asked: of an older day, or without a receipt."""

from datetime import timedelta

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext_lazy as _
from django.utils.translation import pgettext_lazy

from apiary_sales.billing.models.invoices import Invoice, InvoiceLine
from apiary_sales.billing.models.stand import StandSale, StandSaleQuerySet
from inventory.bottling.models import Product
from inventory.stock.models import Place

# Goods without a receipt may be of a sale of so many days before.
DAYS_BACK = 60


class ReturnRequestQuerySet(models.QuerySet["ReturnRequest"]):
    def waiting(self) -> "ReturnRequestQuerySet":
        """Return what the office has not decided yet."""
        return self.filter(state=ReturnRequest.State.ASKED)


class ReturnRequest(models.Model):
    """What a buyer brought back, until the office or the owner decides about the money.

    With a receipt, `lines` say what of it came back. Without one, there are a `product`, its
    `pieces` and the price that the buyer says was paid; who approves it names the receipt that it
    most likely was, which then has its lines. `credit_note` is written when the money is given
    back. `lot_code` is what is printed on the jar.
    """

    class State(models.TextChoices):
        ASKED = "asked", _("waiting for the office")
        APPROVED = "approved", _("approved")
        REFUSED = "refused", pgettext_lazy("return", "refused")
        GIVEN_BACK = "given_back", _("money given back")

    state = models.CharField(_("state"), max_length=10, choices=State, default=State.ASKED)
    place = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="return_requests")
    receipt = models.ForeignKey(
        Invoice, on_delete=models.PROTECT, null=True, blank=True, related_name="return_requests"
    )
    product = models.ForeignKey(
        Product, on_delete=models.PROTECT, null=True, blank=True, related_name="return_requests"
    )
    pieces = models.PositiveIntegerField(_("pieces"), null=True, blank=True)
    price_cents = models.BigIntegerField(_("price of one"), null=True, blank=True)
    lot_code = models.CharField(_("lot"), max_length=30, blank=True)
    reason = models.CharField(_("reason"), max_length=300)
    asked_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="return_requests"
    )
    asked_at = models.DateTimeField(_("asked"), default=timezone.now)
    decided_by = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="+",
    )
    decided_at = models.DateTimeField(_("decided"), null=True, blank=True)
    note = models.CharField(_("note"), max_length=300, blank=True)
    credit_note = models.OneToOneField(
        Invoice, on_delete=models.PROTECT, null=True, blank=True, related_name="return_request"
    )
    idempotency_key = models.CharField(max_length=100, unique=True)
    decision_key = models.CharField(max_length=100, blank=True)

    objects = ReturnRequestQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]
        verbose_name = _("return to approve")
        verbose_name_plural = _("returns to approve")
        constraints = [
            models.CheckConstraint(
                condition=Q(product__isnull=True, pieces__isnull=True, receipt__isnull=False)
                | Q(product__isnull=False, pieces__gt=0, price_cents__gte=0),
                name="return_request_has_a_receipt_or_goods",
            ),
            models.CheckConstraint(
                condition=Q(state="asked", decided_by__isnull=True)
                | (~Q(state="asked") & Q(decided_by__isnull=False, decided_at__isnull=False)),
                name="return_request_decided_by_a_person",
            ),
            models.CheckConstraint(
                condition=Q(state__in=["asked", "refused"])
                | Q(state__in=["approved", "given_back"], receipt__isnull=False),
                name="return_request_approved_for_a_receipt",
            ),
            models.CheckConstraint(
                condition=Q(state="given_back", credit_note__isnull=False)
                | (~Q(state="given_back") & Q(credit_note__isnull=True)),
                name="return_request_given_back_by_a_credit_note",
            ),
        ]

    def __str__(self) -> str:
        return _("Return %(number)s") % {"number": self.pk}

    @property
    def has_receipt(self) -> bool:
        """Whether the buyer had the receipt."""
        return self.product_id is None

    @property
    def is_open(self) -> bool:
        """Whether somebody still has to do something about it."""
        return self.state in (self.State.ASKED, self.State.APPROVED)

    @property
    def text(self) -> str:
        """What came back, in one line."""
        if self.product is not None:
            return f"{self.pieces} × {self.product.name}"
        return ", ".join(
            f"{row.pieces} × {row.line.description}" if row.pieces else row.line.description
            for row in self.lines.all()
        )

    def sales_it_may_be(self) -> StandSaleQuerySet:
        """Return the sales of its product at its place before it was asked about, not undone."""
        since = self.asked_at - timedelta(days=DAYS_BACK)
        return (
            StandSale.objects.standing()
            .filter(
                place=self.place_id,
                receipt__series__startswith=Invoice.RECEIPT_PREFIX,
                sold_at__range=(since, self.asked_at),
                receipt__lines__fulfilment_line__order_line__product=self.product_id,
            )
            .distinct()
        )


class ReturnRequestLine(models.Model):
    """So much of one line of the receipt comes back; without pieces, all that is left of it."""

    request = models.ForeignKey(ReturnRequest, on_delete=models.CASCADE, related_name="lines")
    line = models.ForeignKey(InvoiceLine, on_delete=models.PROTECT, related_name="+")
    pieces = models.PositiveIntegerField(_("pieces"), null=True, blank=True)
    is_on_shelf = models.BooleanField(_("never left the counter"), default=False)

    class Meta:
        ordering = ["id"]
        constraints = [
            models.UniqueConstraint(
                fields=["request", "line"], name="return_request_line_is_asked_once"
            ),
        ]

    def __str__(self) -> str:
        return str(self.line)
