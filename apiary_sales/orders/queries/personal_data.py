"""What orders hold of a customer as a person."""

from django.utils.translation import gettext as _

from apiary_sales.customers.models import Customer
from apiary_sales.customers.personal_data import HeldData, row_of
from apiary_sales.orders.models import Order
from apiary_sales.orders.trade_models import Contract, StandingOrder

OF_ORDER = ("number", "placed_on", "status", "customer_reference")


def held(customer: Customer) -> list[HeldData]:
    """Return orders and agreements; they stay without their notes."""
    stays = _("They are the ground of the bills, and of the trace of each lot to its buyers.")
    orders = Order.objects.filter(customer=customer).order_by("pk")
    contracts = Contract.objects.filter(customer=customer).order_by("pk")
    standing = StandingOrder.objects.filter(customer=customer).order_by("pk")
    return [
        HeldData(
            _("Quotes and orders"),
            [
                row_of(each, "number", "placed_on", "status", "customer_reference")
                for each in orders
            ],
            stays=stays,
        ),
        HeldData(
            _("Notes on orders"),
            [row_of(each, "number", "note") for each in orders if each.note],
        ),
        HeldData(
            _("Contracts and standing orders"),
            [
                *(row_of(each, "number", "customer_reference") for each in contracts),
                *(row_of(each, "rhythm", "customer_reference") for each in standing),
            ],
            stays=stays,
        ),
    ]
