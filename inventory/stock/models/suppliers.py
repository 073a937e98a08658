"""Whom the house buys parts and honey from, and whose honey it works on."""

from django.core.validators import MaxValueValidator
from django.db import models
from django.utils.translation import gettext_lazy as _

from inventory.shared.countries import check_country, name_of


class SupplierQuerySet(models.QuerySet["Supplier"]):
    def beekeepers(self) -> "SupplierQuerySet":
        """Return those whose honey the house may extract, store and pack, in use."""
        return self.filter(kind=Supplier.Kind.BEEKEEPER, is_active=True)

    def called(self, name: str) -> "Supplier | None":
        """Return the supplier of this name, however it is capitalised."""
        exact = self.filter(name=name).first()
        return exact or self.filter(name__iexact=name).order_by("pk").first()


class Supplier(models.Model):
    """Somebody who sends parts, goods or honey, or a beekeeper whose own honey is here."""

    class Kind(models.TextChoices):
        PARTS = "parts", _("supplier of parts and goods")
        PRODUCER = "producer", _("honey producer")
        BEEKEEPER = "beekeeper", _("beekeeper")

    name = models.CharField(_("name"), max_length=120, unique=True)
    kind = models.CharField(_("kind"), max_length=10, choices=Kind, default=Kind.PARTS)
    contact = models.CharField(_("contact person"), max_length=120, blank=True)
    phone = models.CharField(_("telephone"), max_length=40, blank=True)
    email = models.EmailField(_("e-mail"), blank=True)
    street = models.CharField(_("street"), max_length=160, blank=True)
    city = models.CharField(_("town"), max_length=80, blank=True)
    region = models.CharField(_("state or region"), max_length=80, blank=True)
    postal_code = models.CharField(_("postal code"), max_length=20, blank=True)
    country = models.CharField(_("country"), max_length=2, blank=True, validators=[check_country])
    tax_number = models.CharField(_("tax number"), max_length=40, blank=True)
    terms_days = models.PositiveSmallIntegerField(
        _("bills are due after days"), default=30, validators=[MaxValueValidator(365)]
    )
    payment_details = models.CharField(_("how they are paid"), max_length=300, blank=True)
    is_active = models.BooleanField(_("in use"), default=True)
    note = models.CharField(_("note"), max_length=300, blank=True)

    objects = SupplierQuerySet.as_manager()

    class Meta:
        verbose_name = _("supplier")
        verbose_name_plural = _("suppliers")
        ordering = ["name"]
        permissions = [("manage_suppliers", "Can add and change suppliers")]

    def __str__(self) -> str:
        return self.name

    @property
    def country_name(self) -> str:
        """The country in the reader's language; empty while it is not entered."""
        return name_of(self.country) if self.country else ""
