"""Sales at a stand as they happened: where, when, by whom, and what did not fit."""

import secrets
from typing import Any, cast

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from apiary_sales.billing.models.book import Entry, EntryLine
from apiary_sales.billing.models.invoices import Invoice
from apiary_sales.billing.models.payments import Payment
from apiary_sales.orders.models import Fulfilment, Order
from inventory.shared.prepared import Given, PreparedQuery
from inventory.stock.models import Place

READ_CODE_BYTES = 16


def new_read_code() -> str:
    """Return what a receipt is read by later: nobody can guess it."""
    return secrets.token_urlsafe(READ_CODE_BYTES)


_PAYMENTS_OF = PreparedQuery(
    lambda: (
        Payment.objects.filter(
            allocations__invoice=Given("receipt", models.IntegerField()), reverses=None
        )
        .distinct()
        .order_by("id")
    )
)


class StandSaleQuerySet(models.QuerySet["StandSale"]):
    def standing(self) -> "StandSaleQuerySet":
        """Leave out the sales that were undone or corrected by another."""
        return self.filter(undone_on=None)


class StandSale(models.Model):
    """A sale over the counter, beside the receipt that was written for it.

    It may be goods of an order that its buyer fetched: then `receipt` is the customer's invoice.

    `sold_at` is the time the sale counts for: the server's, or the device's where that can be.
    `clock_said` is what the device said where it was something else. `sold_by` is the seller,
    `sent_by` who was signed in when the sale reached the books. `asked` is what the device sent.
    """

    class Source(models.TextChoices):
        TILL = "till", _("stand page")
        FORM = "form", _("form")
        WEIGHT = "weight", _("sold by weight")
        HONESTY_BOX = "honesty_box", _("honesty box")
        OTHER = "other", _("other")

    receipt = models.OneToOneField(Invoice, on_delete=models.PROTECT, related_name="stand_sale")
    place = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="stand_sales")
    source = models.CharField(_("sold with"), max_length=12, choices=Source, default=Source.TILL)
    sold_at = models.DateTimeField(_("sold"), db_index=True)
    clock_said = models.DateTimeField(_("clock of the device"), null=True, blank=True)
    sold_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="stand_sales"
    )
    sent_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    device = models.CharField(_("device"), max_length=64, blank=True)
    key = models.CharField(max_length=100, unique=True)
    read_code = models.CharField(max_length=40, unique=True, default=new_read_code)
    asked = models.JSONField(null=True, blank=True)
    # Given beyond the price: a tip, or the change that the buyer left.
    on_top_cents = models.BigIntegerField(_("given on top"), default=0)
    on_top_entry = models.OneToOneField(
        Entry, on_delete=models.PROTECT, null=True, blank=True, related_name="stand_sale"
    )
    on_top_undo_entry = models.OneToOneField(
        Entry, on_delete=models.PROTECT, null=True, blank=True, related_name="stand_sale_undone"
    )
    # The day the whole sale was taken back; part of it may have come back before.
    undone_on = models.DateField(null=True, blank=True)
    corrected_by = models.OneToOneField(
        "self", on_delete=models.PROTECT, null=True, blank=True, related_name="corrects"
    )
    recorded_at = models.DateTimeField(default=timezone.now)

    objects = StandSaleQuerySet.as_manager()

    class Meta:
        ordering = ["-sold_at", "-id"]
        verbose_name = _("stand sale")
        verbose_name_plural = _("stand sales")
        indexes = [
            models.Index(fields=["place", "sold_at"], name="stand_sale_by_place"),
            models.Index(fields=["-sold_at", "-id"], name="stand_sale_newest_first"),
            models.Index(fields=["sold_by", "place"], name="stand_sale_by_seller"),
        ]
        constraints = [
            models.CheckConstraint(condition=Q(on_top_cents__gte=0), name="stand_on_top_gte_0"),
        ]

    def __str__(self) -> str:
        return str(self.receipt)

    @property
    def invoice(self) -> Invoice:
        return self.receipt

    @property
    def order(self) -> Order:
        # A receipt is always of an order.
        return cast(Order, self.receipt.order)

    @property
    def fulfilment(self) -> Fulfilment:
        """What was handed over with it; goods of the same order may be fetched on several days."""
        return self.order.fulfilments.filter(lines__invoice_lines__invoice=self.receipt).latest(
            "id"
        )

    @property
    def payments(self) -> list[Payment]:
        """The money taken when it was sold, in the order in which it was given."""
        taken = _PAYMENTS_OF.rows(receipt=self.receipt_id)
        if self.receipt.is_receipt:
            return taken
        # Of an order that was fetched, some may be paid in advance, or later on account.
        return [pay for pay in taken if pay.idempotency_key.startswith(f"{self.key}:payment")]

    @property
    def total_cents(self) -> int:
        return self.receipt.total_cents

    @property
    def payment(self) -> Payment | None:
        """The first money taken, None where there was nothing to pay."""
        return next(iter(self.payments), None)

    @property
    def change_cents(self) -> int:
        """The cash given back at the counter."""
        given = [pay for pay in self.payments if pay.tendered_cents is not None]
        kept_cents = sum(pay.handed_cents for pay in given)
        handed_cents = sum(cast(int, pay.tendered_cents) for pay in given)
        return max(0, handed_cents - kept_cents - self._on_top_in_cash) if given else 0

    @property
    def _on_top_in_cash(self) -> int:
        if self.on_top_entry is None:
            return 0
        lines = self.on_top_entry.lines.filter(account=EntryLine.Account.CASH)
        return sum(line.amount_cents for line in lines)

    @property
    def text(self) -> str:
        """What was sold, in one line."""
        return ", ".join(self.receipt.lines.values_list("description", flat=True))


class SaleMarkQuerySet(models.QuerySet["SaleMark"]):
    def open(self) -> "SaleMarkQuerySet":
        """Return what nobody has looked at yet, of sales that were not undone."""
        return self.filter(seen_at=None, sale__undone_on=None)


class SaleMark(models.Model):
    """What did not fit about a sale that was booked all the same; somebody looks at it."""

    class Kind(models.TextChoices):
        SHORT = "short", _("more than the books had")
        ON_HOLD = "on_hold", _("goods on hold")
        SETTING = "setting", _("not ready for sale yet")
        PRICE = "price", _("another price")
        PAID = "paid", _("another amount paid")
        CASH = "cash", _("cash")
        CLOCK = "clock", _("clock of the device")
        LATE = "late", _("came in late")
        CLOSED_DAY = "closed_day", _("on a closed day")
        SELLER = "seller", _("seller")
        PLACE = "place", _("place")
        PRODUCT = "product", _("product")
        CORRECTED = "corrected", _("corrected")

    sale = models.ForeignKey(StandSale, on_delete=models.CASCADE, related_name="marks")
    kind = models.CharField(_("what does not fit"), max_length=12, choices=Kind)
    text = models.CharField(max_length=400)
    seen_by = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="+",
    )
    seen_at = models.DateTimeField(null=True, blank=True)
    note = models.CharField(_("note"), max_length=300, blank=True)

    objects = SaleMarkQuerySet.as_manager()

    class Meta:
        ordering = ["id"]
        verbose_name = _("mark on a sale")
        verbose_name_plural = _("marks on sales")

    def __str__(self) -> str:
        return self.text


class HandedInSale(models.Model):
    """A sale that a device could not get booked and gave to the office, as the device had it."""

    key = models.CharField(max_length=100, unique=True)
    device = models.CharField(_("device"), max_length=64, blank=True)
    body: models.JSONField[Any, Any] = models.JSONField()
    text = models.CharField(_("what was sold"), max_length=1000)
    reason = models.CharField(_("why it was not booked"), max_length=1000, blank=True)
    handed_in_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    handed_in_at = models.DateTimeField(default=timezone.now)
    sale = models.OneToOneField(
        StandSale, on_delete=models.PROTECT, null=True, blank=True, related_name="handed_in"
    )
    settled_by = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="+",
    )
    settled_at = models.DateTimeField(null=True, blank=True)
    note = models.CharField(_("note"), max_length=300, blank=True)

    class Meta:
        ordering = ["-id"]
        verbose_name = _("sale given to the office")
        verbose_name_plural = _("sales given to the office")

    def __str__(self) -> str:
        return self.text
