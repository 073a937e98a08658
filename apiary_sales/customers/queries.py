"""The only code that reads customers for display."""

from dataclasses import dataclass
from datetime import date, timedelta

from django.db.models import Q, QuerySet
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from apiary_sales.customers import rules
from apiary_sales.customers.models import Customer, DeliveryAddress, ExemptionCertificate
from inventory.shared.models import House
from inventory.shared.tags import Tag

# So long before an exemption certificate runs out, ask for the next one.
RENEW_BEFORE = timedelta(days=30)
# So long after it ran out, it is no longer asked for.
REMIND_AFTER = timedelta(days=90)


@dataclass(frozen=True)
class CertificateState:
    """How good an exemption certificate is on a day: valid, soon (to expire), expired or later."""

    state: str
    certificate: ExemptionCertificate
    days_left: int | None

    @property
    def expires(self) -> date | None:
        return self.certificate.expires

    @property
    def is_valid(self) -> bool:
        return self.state in ("valid", "soon")

    @property
    def tag(self) -> Tag:
        if self.state == "expired":
            return Tag(_("certificate expired"), "bad")
        if self.state == "later":
            return Tag(_("to come"), "info")
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
    return with_words(customers, words)


def with_words(customers: QuerySet[Customer], words: str) -> QuerySet[Customer]:
    """Return those of some customers in whom each of the words is."""
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


def state_of(certificate: ExemptionCertificate, on: date) -> CertificateState:
    """Return how good a certificate is on a day."""
    expires = certificate.expires
    days_left = None if expires is None else (expires - on).days
    if days_left is not None and days_left < 0:
        return CertificateState("expired", certificate, days_left)
    if not certificate.is_good_on(on):
        return CertificateState("later", certificate, days_left)
    is_soon = days_left is not None and days_left <= RENEW_BEFORE.days
    return CertificateState("soon" if is_soon else "valid", certificate, days_left)


def certificate(customer: Customer, on: date) -> CertificateState | None:
    """Return the state of the certificate that counts for a customer, None where there is none.

    What is good on the day goes before what expired and what is to come, and what is good for
    longest before the others. Takes no query where `certificates` are prefetched.
    """
    states = [state_of(one, on) for one in customer.certificates.all()]
    return max(
        states,
        key=lambda found: (
            found.is_valid,
            found.state == "expired",
            found.expires or date.max,
            found.certificate.pk,
        ),
        default=None,
    )


def certificates(customer: Customer, on: date) -> list[CertificateState]:
    """Return the certificates of a customer, the newest first."""
    return [state_of(one, on) for one in customer.certificates.select_related("accepted_by")]


def certificates_of_all(on: date) -> list[CertificateState]:
    """Return the certificates of all active customers, what expires first at the top."""
    rows = ExemptionCertificate.objects.filter(customer__is_active=True)
    states = [state_of(one, on) for one in rows.select_related("customer", "accepted_by")]
    return sorted(
        states,
        key=lambda found: (found.expires or date.max, found.certificate.customer.name),
    )


def to_renew(on: date) -> list[CertificateState]:
    """Return the certificates of active customers to ask for again, what expires first first.

    They expire within 30 days, or expired in the last 90; a customer with a better one is left out.
    """
    near = Q(
        certificates__expires__gte=on - REMIND_AFTER, certificates__expires__lte=on + RENEW_BEFORE
    )
    customers = Customer.objects.filter(near, is_active=True).distinct()
    states = [
        found
        for customer in customers.prefetch_related("certificates")
        if (found := certificate(customer, on)) and found.state in ("soon", "expired")
    ]
    return sorted(states, key=lambda found: found.expires or date.max)


def missing_for_data(customer: Customer) -> list[str]:
    """Return what is to be entered before the next invoice of a customer can have data."""
    house = House.current()
    return rules.missing_for_data(
        {"country_code": house.country_code, "tax_number": house.tax_number},
        {"country_code": customer.country_code},
    )
