"""People and firms we sell to."""

from collections.abc import Iterable
from datetime import date

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from inventory.shared import conventions
from inventory.shared.countries import check_country
from inventory.shared.literals import ZERO
from inventory.shared.prepared import Given, PreparedQuery


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

    class InvoiceFormat(models.TextChoices):
        PDF = "pdf", _("PDF only")
        HYBRID = "hybrid", _("PDF with the data inside (Factur-X)")
        UBL = "ubl", _("PDF and a UBL 2.1 file beside it")

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
    # What the buyer's program needs: EN 16931 calls the reference BT-10.
    invoice_format = models.CharField(
        _("invoices as"), max_length=8, choices=InvoiceFormat, default=InvoiceFormat.PDF
    )
    buyer_reference = models.CharField(_("their reference for invoices"), max_length=60, blank=True)
    # Of the papers; empty is the language of the house.
    language = models.CharField(
        _("language of papers"), max_length=8, choices=settings.LANGUAGES, blank=True
    )
    terms_days = models.PositiveSmallIntegerField(_("days to pay"), default=30)
    discount_percent = models.DecimalField(
        _("discount for early payment, percent"), max_digits=5, decimal_places=2, default=0
    )
    discount_days = models.PositiveSmallIntegerField(_("days for the discount"), default=0)
    credit_limit_cents = models.BigIntegerField(_("credit limit"), null=True, blank=True)
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
        permissions = [
            ("manage_customers", "Can add and change customers"),
            ("erase_customers", "Can erase the personal data of customers"),
            ("view_customers", "Can see buyers, how to reach them and what they buy"),
        ]
        constraints = [
            models.CheckConstraint(
                condition=Q(credit_limit_cents__isnull=True) | Q(credit_limit_cents__gte=0),
                name="customer_credit_limit_gte_0",
            ),
            models.CheckConstraint(
                condition=Q(discount_percent__gte=0, discount_percent__lt=100),
                name="customer_discount_percent_0_to_100",
            ),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def paper_language(self) -> str:
        """The language of what is written to this customer: their own, or the house's."""
        return self.language or conventions.current().language

    @property
    def gets_data(self) -> bool:
        """Whether invoices come with data for the customer's program."""
        return self.invoice_format != self.InvoiceFormat.PDF


class ExemptionCertificateQuerySet(models.QuerySet["ExemptionCertificate"]):
    def longest_by_customer(self, day: date) -> "dict[int, ExemptionCertificate]":
        """Return the longest of these certificates that is in force, by the key of its customer."""
        return _longest(self, day)


def _longest(
    certificates: "Iterable[ExemptionCertificate]", day: date
) -> "dict[int, ExemptionCertificate]":
    good = [one for one in certificates if one.is_good_on(day)]
    good.sort(key=lambda one: (one.expires or date.max, one.pk))
    return {one.customer_id: one for one in good}


class ExemptionCertificateManager(models.Manager["ExemptionCertificate"]):
    def in_force(self, customer: Customer, day: date) -> "ExemptionCertificate | None":
        """Return the certificate that frees a customer from tax on a day, the longest first."""
        return _longest(_CERTIFICATES_OF.rows(customer=customer.pk), day).get(customer.pk)


_CERTIFICATES_OF = PreparedQuery(
    lambda: ExemptionCertificate.objects.filter(customer=Given("customer", models.IntegerField()))
)


class ExemptionCertificate(models.Model):
    """What frees a customer from sales tax, from a day to a day, both included.

    Without a first day it counts from the beginning, without a last one it does not expire. A scan
    is attached to it as a file. What was sold keeps the certificate it was sold under.
    """

    class Reason(models.TextChoices):
        RESALE = "resale", _("resale")
        FARM = "farm", _("farm use")
        ORGANISATION = "organisation", _("exempt organisation")
        OTHER = "other", _("other")

    customer = models.ForeignKey(
        Customer, on_delete=models.PROTECT, related_name="certificates", verbose_name=_("customer")
    )
    number = models.CharField(_("certificate number"), max_length=60)
    jurisdiction = models.CharField(_("state or authority"), max_length=60, blank=True)
    # Empty where it was entered before reasons were asked for.
    reason = models.CharField(_("reason"), max_length=12, choices=Reason, blank=True)
    other_reason = models.CharField(_("other reason"), max_length=80, blank=True)
    valid_from = models.DateField(_("valid from"), null=True, blank=True)
    expires = models.DateField(_("certificate expires"), null=True, blank=True)
    accepted_by = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="+",
        verbose_name=_("accepted by"),
    )
    accepted_on = models.DateField(_("accepted on"), null=True, blank=True)
    idempotency_key = models.CharField(max_length=100, unique=True)

    objects = ExemptionCertificateManager.from_queryset(ExemptionCertificateQuerySet)()

    class Meta:
        verbose_name = _("exemption certificate")
        verbose_name_plural = _("exemption certificates")
        ordering = ["customer__name", "-id"]
        constraints = [
            models.CheckConstraint(condition=~Q(number=""), name="certificate_has_a_number"),
            models.CheckConstraint(
                condition=Q(valid_from__isnull=True)
                | Q(expires__isnull=True)
                | Q(expires__gte=models.F("valid_from")),
                name="certificate_expires_after_it_begins",
                violation_error_message=_("The certificate expires before it begins."),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.customer}: {self.number}"

    @property
    def reason_in_words(self) -> str:
        """Why the customer is exempt, as lists and bills say it."""
        if self.reason == self.Reason.OTHER:
            return self.other_reason
        return str(self.get_reason_display()) if self.reason else str(_("exempt with certificate"))

    def is_good_on(self, day: date) -> bool:
        """Tell whether it is in force on a day, through its last one."""
        begun = self.valid_from is None or self.valid_from <= day
        return begun and (self.expires is None or self.expires >= day)

    def sentence(self) -> str:
        """Return what a bill says of it."""
        parts = [self.number, self.jurisdiction, self.reason and self.reason_in_words]
        return gettext("Exempt from sales tax, certificate %(number)s") % {
            "number": ", ".join(part for part in parts if part)
        }


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
    def not_zero(self) -> "CustomerBalanceQuerySet":
        """Return the balances of who owes something or has money on account."""
        return self.exclude(owed_cents=ZERO)

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

    class Meta:
        indexes = [
            # Most customers have paid all.
            models.Index(
                fields=["customer"], condition=~Q(owed_cents=0), name="customer_balance_not_0"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.customer} {self.owed_cents}"


class Erasure(models.Model):
    """That the personal data of a customer was erased: when, by whom, and who asked for it."""

    customer = models.OneToOneField(Customer, on_delete=models.PROTECT, related_name="erasure")
    asked = models.CharField(_("who asked for it, and how"), max_length=200)
    erased_at = models.DateTimeField(_("erased"), auto_now_add=True)
    erased_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+", verbose_name=_("by")
    )
    idempotency_key = models.CharField(max_length=100, unique=True)

    class Meta:
        verbose_name = _("erased data")
        verbose_name_plural = _("erased data")

    def __str__(self) -> str:
        return str(self.customer)
