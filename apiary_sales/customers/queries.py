"""The only code that reads customers for display."""

from dataclasses import dataclass
from datetime import date, timedelta

from django.db.models import Q, QuerySet
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from apiary_sales.customers.models import Customer, DeliveryAddress
from inventory.shared.tags import Tag

# So long before an exemption certificate runs out, ask for the next one.
RENEW_BEFORE = timedelta(days=30)


@dataclass(frozen=True)
class Certificate:
    """Whether an exemption certificate is good on a day; `state` is valid, soon or expired."""

    state: str
    expires: date | None
    days_left: int | None

    @property
    def is_valid(self) -> bool:
        return self.state != "expired"

    @property
    def tag(self) -> Tag:
        if self.state == "expired":
            return Tag(_("certificate expired"), "bad")
        if self.state == "soon" and self.days_left is not None:
            text = ngettext("expires in %(days)s day", "expires in %(days)s days", self.days_left)
            return Tag(text % {"days": self.days_left}, "warn")
        return Tag(_("exempt"), "good")


def find(*, words: str = "", kind: str = "", include_inactive: bool = False) -> QuerySet[Customer]:
    """Return customers by name; each word typed must be somewhere in what is known of them."""
    customers = Customer.objects.all()
    if not include_inactive:
        customers = customers.filter(is_active=True)
    if kind:
        customers = customers.filter(kind=kind)
    for word in words.split():
        customers = customers.filter(
            Q(name__icontains=word)
            | Q(contact__icontains=word)
            | Q(city__icontains=word)
            | Q(email__icontains=word)
            | Q(phone__icontains=word)
        )
    return customers


def delivery_addresses(customer: Customer) -> QuerySet[DeliveryAddress]:
    """Return the addresses on a customer's list, by name."""
    return DeliveryAddress.objects.filter(customer=customer, is_active=True)


def certificate(customer: Customer, on: date) -> Certificate | None:
    """Return the state of an exempt customer's certificate, or None for a taxable customer."""
    if customer.tax_status != Customer.TaxStatus.EXEMPT:
        return None
    expires = customer.certificate_expires
    if expires is None:
        return Certificate("valid", None, None)
    days_left = (expires - on).days
    if not customer.is_exempt_on(on):
        return Certificate("expired", expires, days_left)
    return Certificate("soon" if expires - on <= RENEW_BEFORE else "valid", expires, days_left)
