"""People and firms we sell to."""

from datetime import date

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from inventory.shared.countries import check_country
from inventory.shared.models import House


class Customer(models.Model):
    """Somebody who buys: a household, a shop, or a bulk buyer."""

    class Kind(models.TextChoices):
        RETAIL = "retail", _("retail")
        SHOP = "shop", _("shop")
        BULK = "bulk", _("bulk buyer")

    class Tier(models.TextChoices):
        STAND = "stand", _("stand")
        SHOP = "shop", _("shop")
        DISTRIBUTOR = "distributor", _("distributor")
        BULK = "bulk", _("bulk")

    class TaxStatus(models.TextChoices):
        TAXABLE = "taxable", _("taxable")
        EXEMPT = "exempt", _("exempt with certificate")

    name = models.CharField(_("name"), max_length=120, unique=True)
    kind = models.CharField(_("kind"), max_length=8, choices=Kind, default=Kind.SHOP)
    tier = models.CharField(_("price list"), max_length=12, choices=Tier, default=Tier.SHOP)
    contact = models.CharField(_("contact person"), max_length=120, blank=True)
    email = models.EmailField(_("e-mail"), blank=True)
    phone = models.CharField(_("telephone"), max_length=40, blank=True)
    street = models.CharField(_("street"), max_length=160, blank=True)
    city = models.CharField(_("town"), max_length=80, blank=True)
    region = models.CharField(_("state or region"), max_length=80, blank=True)
    postal_code = models.CharField(_("postal code"), max_length=20, blank=True)
    country = models.CharField(_("country"), max_length=60, blank=True)
    country_code = models.CharField(
        _("country code"), max_length=2, blank=True, validators=[check_country]
    )
    tax_number = models.CharField(_("tax number"), max_length=40, blank=True)
    # Of the papers; empty is the language of the house.
    language = models.CharField(
        _("language of papers"), max_length=8, choices=settings.LANGUAGES, blank=True
    )
    terms_days = models.PositiveSmallIntegerField(_("days to pay"), default=30)
    credit_limit_cents = models.BigIntegerField(_("credit limit"), null=True, blank=True)
    tax_status = models.CharField(
        _("sales tax"), max_length=8, choices=TaxStatus, default=TaxStatus.TAXABLE
    )
    certificate_number = models.CharField(_("certificate number"), max_length=60, blank=True)
    certificate_expires = models.DateField(_("certificate expires"), null=True, blank=True)
    is_active = models.BooleanField(_("active"), default=True)
    note = models.TextField(_("note"), blank=True)
    # The beekeeper whose honey is worked on here, and who is billed for it under this name.
    supplier = models.OneToOneField(
        "inventory.Supplier",
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="customer",
        verbose_name=_("beekeeper or supplier"),
    )

    class Meta:
        verbose_name = _("customer")
        verbose_name_plural = _("customers")
        ordering = ["name"]
        permissions = [("manage_customers", "Can add and change customers")]
        constraints = [
            models.CheckConstraint(
                condition=Q(tax_status="taxable") | ~Q(certificate_number=""),
                name="customer_exempt_has_certificate",
                violation_error_message=_("An exempt customer needs a certificate number."),
            ),
            models.CheckConstraint(
                condition=Q(credit_limit_cents__isnull=True) | Q(credit_limit_cents__gte=0),
                name="customer_credit_limit_gte_0",
            ),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def paper_language(self) -> str:
        """The language of what is written to this customer: their own, or the house's."""
        return self.language or House.language()

    def is_exempt_on(self, day: date) -> bool:
        """Tell whether a certificate in force on `day` frees this customer from sales tax."""
        return self.tax_status == self.TaxStatus.EXEMPT and (
            self.certificate_expires is None or self.certificate_expires >= day
        )


class DeliveryAddress(models.Model):
    """Where else goods of a customer go. Orders point at it, so it is never changed.

    One that is wrong or no longer used is taken off the list, and another is added.
    """

    customer = models.ForeignKey(
        Customer,
        on_delete=models.PROTECT,
        related_name="delivery_addresses",
        verbose_name=_("customer"),
    )
    name = models.CharField(_("name"), max_length=120)
    street = models.CharField(_("street"), max_length=160, blank=True)
    city = models.CharField(_("town"), max_length=80, blank=True)
    region = models.CharField(_("state or region"), max_length=80, blank=True)
    postal_code = models.CharField(_("postal code"), max_length=20, blank=True)
    country = models.CharField(_("country"), max_length=60, blank=True)
    note = models.CharField(_("note"), max_length=200, blank=True)
    is_active = models.BooleanField(_("on the list"), default=True)
    idempotency_key = models.CharField(max_length=100, unique=True)

    class Meta:
        verbose_name = _("delivery address")
        verbose_name_plural = _("delivery addresses")
        ordering = ["name", "id"]

    def __str__(self) -> str:
        return ", ".join(part for part in (self.name, self.street, self.city) if part)


class CustomerBalanceQuerySet(models.QuerySet["CustomerBalance"]):
    def owed_cents(self, customer: Customer) -> int:
        """Return what a customer owes now; below zero, they have money on account."""
        balance = self.filter(customer=customer).first()
        return balance.owed_cents if balance else 0


class CustomerBalance(models.Model):
    """What a customer owes now, tax included; below zero, they have money on account.

    Only the book of money writes it, with each entry; `verify_ledger` proves it. It is kept here so
    that an order can be weighed against the credit limit.
    """

    customer = models.OneToOneField(
        Customer, on_delete=models.PROTECT, related_name="balance", primary_key=True
    )
    owed_cents = models.BigIntegerField(default=0)

    objects = CustomerBalanceQuerySet.as_manager()

    def __str__(self) -> str:
        return f"{self.customer} {self.owed_cents}"
