"""Erase what orders hold of a customer as a person and the books need not keep."""

from collections.abc import Iterator

from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext as _

from apiary_sales.customers.models import Customer
from apiary_sales.orders.models import Order
from apiary_sales.orders.trade_models import StandingOrder
from inventory.shared import findable


def still_needed(customer: Customer) -> Iterator[str]:
    """Say which orders are still to be filled or answered."""
    waiting = (*Order.OPEN_STATUSES, Order.Status.QUOTED)
    for order in Order.objects.filter(customer=customer, status__in=waiting).order_by("pk"):
        yield _("%(number)s is still open: fill, cancel or withdraw it first.") % {
            "number": order.number
        }
    goes_on = Q(ends_on=None) | Q(ends_on__gte=timezone.localdate())
    if StandingOrder.objects.filter(goes_on, customer=customer).exists():
        yield _("There is a standing order: end it first.")


def erase(customer: Customer) -> None:
    """Empty the notes on the orders of a customer."""
    for model in (Order, StandingOrder):
        with_note = model.objects.filter(customer=customer).exclude(note="")
        keys = list(with_note.values_list("pk", flat=True))
        with_note.update(note="")
        findable.written(model.objects.filter(pk__in=keys))
