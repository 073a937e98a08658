"""Say whose private label a brand is."""

from django.db import transaction
from django.utils.translation import gettext as _

from apiary_sales.customers.models import Customer
from apiary_sales.pricing.models import PrivateLabel
from inventory.bottling.models import Brand
from inventory.shared.errors import BadValue


@transaction.atomic
def set_customer(*, brand: Brand, customer: Customer | None) -> PrivateLabel | None:
    """Sell the products of a brand to one customer alone, or to everybody without a customer.

    Orders already taken stay as they are. Raises `BadValue` for an inactive customer.
    """
    label = PrivateLabel.objects.filter(brand=brand).first()
    if customer is None:
        if label is not None:
            label.delete()
        return None
    if not customer.is_active:
        raise BadValue(
            _("%(customer)s is marked as inactive. Make this customer active first.")
            % {"customer": customer.name},
            parameter="customer",
        )
    label = label or PrivateLabel(brand=brand)
    label.customer = customer
    label.save()
    return label
