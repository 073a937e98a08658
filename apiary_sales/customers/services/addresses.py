"""Delivery addresses of customers: added, and taken off the list."""

from django.db import transaction
from django.utils.translation import gettext as _

from apiary_sales.customers.models import Customer, DeliveryAddress
from inventory.shared.checks import save_checked
from inventory.shared.errors import BadValue, NotAllowedNow
from inventory.shared.services.repeats import refuse_repeat

__all__ = ["add", "remove"]


@transaction.atomic
def add(
    *,
    customer: Customer,
    name: str,
    key: str,
    street: str = "",
    city: str = "",
    region: str = "",
    postal_code: str = "",
    country: str = "",
    note: str = "",
) -> DeliveryAddress:
    """Add an address to which goods of a customer go; raises `BadValue`, `AlreadyRecorded`."""
    customer = Customer.objects.select_for_update(no_key=True).get(pk=customer.pk)
    refuse_repeat(DeliveryAddress, key)
    if not name.strip():
        raise BadValue(
            _("Enter the name at this address, for example of the shop."), parameter="name"
        )
    if not street.strip() and not city.strip():
        raise BadValue(_("Enter the street or the town."), parameter="street")
    address = DeliveryAddress(
        customer=customer,
        name=name.strip(),
        street=street.strip(),
        city=city.strip(),
        region=region.strip(),
        postal_code=postal_code.strip(),
        country=country.strip(),
        note=note.strip(),
        idempotency_key=key,
    )
    save_checked(address)
    return address


@transaction.atomic
def remove(address: DeliveryAddress) -> DeliveryAddress:
    """Take an address off the list; orders that go there keep it. Raises `NotAllowedNow`."""
    address = DeliveryAddress.objects.select_for_update(no_key=True).get(pk=address.pk)
    if not address.is_active:
        raise NotAllowedNow(_("This address is off the list already."))
    address.is_active = False
    address.save(update_fields=["is_active"])
    return address
