"""What a jar, a case and a pound in a drum cost the buyer, from which day on."""

from django.db import models
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from apiary_sales.customers.models import Customer
from inventory.models import ContainerSize


class ContainerPrice(models.Model):
    """The price of one size in one tier from a day on, at so many pieces or more.

    A price is never changed: a new row with a later day takes over, and the history stays.
    """

    tier = models.CharField(_("tier"), max_length=12, choices=Customer.Tier)
    container = models.ForeignKey(
        ContainerSize, on_delete=models.PROTECT, related_name="prices", verbose_name=_("size")
    )
    valid_from = models.DateField(_("valid from"), default=timezone.localdate)
    min_pieces = models.PositiveIntegerField(_("from so many pieces"), default=1)
    piece_cents = models.BigIntegerField(_("price of one"))
    case_cents = models.BigIntegerField(_("price of a case"), null=True, blank=True)

    class Meta:
        ordering = ["container", "tier", "min_pieces", "-valid_from", "-id"]
        permissions = [("manage_prices", "Can change prices and tax rates")]
        constraints = [
            models.CheckConstraint(
                condition=Q(piece_cents__gte=0, min_pieces__gte=1), name="container_price_amounts"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.container} {self.get_tier_display()}"


class BulkPrice(models.Model):
    """Price a pound in drums by colour class, moisture and floral source, from a day on.

    The most particular row that fits a lot wins: floral source before any, colour before any,
    then the lowest moisture limit that still covers the lot, then the latest day.
    """

    colour_class = models.CharField(_("colour class"), max_length=30, blank=True)
    moisture_percent_max = models.DecimalField(
        _("up to moisture, percent"), max_digits=4, decimal_places=2, default=30
    )
    floral_source = models.CharField(_("floral source"), max_length=120, blank=True)
    price_per_pound = models.DecimalField(_("price a pound"), max_digits=9, decimal_places=4)
    valid_from = models.DateField(_("valid from"), default=timezone.localdate)

    class Meta:
        ordering = ["colour_class", "moisture_percent_max", "-valid_from", "-id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(price_per_pound__gte=0), name="bulk_price_per_pound_gte_0"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.colour_class or 'any colour'} {self.price_per_pound}"


class TaxRate(models.Model):
    """A sales tax rate on one kind of goods, from a day on. Rates are local: ask your authority."""

    class Goods(models.TextChoices):
        HONEY = "honey", _("honey in jars and drums")
        OTHER = "other", _("other goods, drums and deposits")
        FREIGHT = "freight", _("freight")

    name = models.CharField(_("name"), max_length=60)
    goods = models.CharField(_("on"), max_length=8, choices=Goods)
    percent = models.DecimalField(_("percent"), max_digits=7, decimal_places=4)
    valid_from = models.DateField(_("valid from"), default=timezone.localdate)

    class Meta:
        ordering = ["goods", "-valid_from", "-id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(percent__gte=0, percent__lte=100), name="tax_rate_percent_0_to_100"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.name} {self.percent} %"
