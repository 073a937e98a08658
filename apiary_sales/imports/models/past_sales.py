"""What was sold before the books began: figures for plans and reports, and no more."""

from datetime import date

from django.db import models
from django.db.models import Min, Q, Subquery, Value
from django.db.models.functions import Coalesce
from django.utils.translation import gettext_lazy as _

from apiary_sales.customers.models import Customer
from apiary_sales.imports.models.imports import Import
from apiary_sales.orders.models import Order
from inventory.bottling.models import Product


class PastSaleQuerySet(models.QuerySet["PastSale"]):
    def counting(self) -> "PastSaleQuerySet":
        """Return the past sales that plans and reports count.

        Their import is complete, and their day is before the first own sale in their channel, so
        that no day of a channel is counted twice, also where an own sale is entered late.
        """
        counted = Q()
        for channel in Order.Channel.values:
            first = own_orders().filter(channel=channel).order_by("placed_on").values("placed_on")
            # Each of these is worked out once, however many past sales there are.
            counted |= Q(channel=channel, day__lt=Coalesce(Subquery(first[:1]), Value(date.max)))
        return self.filter(counted, of_import__state=Import.State.COMPLETE)


class PastSale(models.Model):
    """Pieces of a product, or grams of honey, sold in a channel on a day before the books began.

    It has no posting, no invoice and no cost. Bulk honey has no product.
    """

    of_import = models.ForeignKey(Import, on_delete=models.PROTECT, related_name="past_sales")
    row_number = models.PositiveIntegerField(_("row of the file"))
    day = models.DateField(_("day"))
    product = models.ForeignKey(
        Product,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="past_sales",
        verbose_name=_("product"),
    )
    # Pieces, or grams of honey and of what is sold by weight.
    quantity = models.PositiveIntegerField(_("how much"))
    channel = models.CharField(_("channel"), max_length=8, choices=Order.Channel)
    customer = models.ForeignKey(
        Customer,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="past_sales",
        verbose_name=_("customer"),
    )
    amount_cents = models.BigIntegerField(_("amount"))

    objects = PastSaleQuerySet.as_manager()

    class Meta:
        verbose_name = _("past sale")
        verbose_name_plural = _("past sales")
        ordering = ["day", "id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(quantity__gt=0, amount_cents__gte=0), name="past_sale_amounts"
            ),
        ]
        indexes = [models.Index(fields=["day"], name="past_sale_day")]

    def __str__(self) -> str:
        return f"{self.day} {self.product or ''}"


def first_own_days() -> dict[str, date]:
    """Return the day of the first own sale in each channel that has one."""
    return dict(own_orders().order_by().values_list("channel").annotate(Min("placed_on")))


def own_orders() -> models.QuerySet[Order]:
    """Return the orders of the books that are sales: no quotes, and none that was cancelled."""
    return Order.objects.exclude(status__in=[*Order.QUOTE_STATUSES, Order.Status.CANCELLED])
