"""How goods handed over travel: carrier, truck, address and packages, for the papers."""

from typing import TypedDict, Unpack

from django.db import transaction

from apiary_sales.orders.models import Delivery, Fulfilment
from apiary_sales.orders.services import orders
from inventory.shared import checks


class DeliveryDetails(TypedDict, total=False):
    carrier: str
    vehicle: str
    ship_to: str
    freight: str
    packages: int | None
    instructions: str


@transaction.atomic
def describe(*, fulfilment: Fulfilment, **details: Unpack[DeliveryDetails]) -> Delivery:
    """Set who carries the goods of a fulfilment and where to; return the delivery.

    `details` are fields of `Delivery`; those left out stay as they are. The papers show them from
    now on. Raises `BadValue`, or several, for what does not fit its field.
    """
    orders.lock(fulfilment.order)
    delivery = Delivery.objects.filter(fulfilment=fulfilment).first() or Delivery(
        fulfilment=fulfilment
    )
    for name, value in details.items():
        setattr(delivery, name, value.strip() if isinstance(value, str) else value)
    checks.save_checked(delivery)
    return delivery
