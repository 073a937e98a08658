"""What "Find anything" finds of selling: orders and quotes, and contracts for drums."""

from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext_lazy

from apiary_sales.customers.permissions import ANY_OF
from apiary_sales.orders.models import Order, OrderLine
from inventory.shared import findable
from inventory.shared.findable import Findable, OwnedRows, SearchWords, ThingPage


def register() -> None:
    findable.register(
        Findable(
            name="order",
            number=130,
            label=gettext_lazy("Orders and quotes"),
            one=gettext_lazy("Order or quote"),
            model="orders.Order",
            fields=("number", "customer_reference"),
            reads=lambda order: SearchWords(
                codes=(order.number, order.customer_reference), cents=_cents(order)
            ),
            owned=(OwnedRows("orders.OrderLine", ("amount_cents",), _order_with_a_total),),
            pages=(
                ThingPage(
                    ANY_OF, lambda order: reverse("orders:order_detail", args=[order.number])
                ),
            ),
            line=_of_whom,
            day=lambda order: order.placed_on,
            cents=lambda order: order.total_cents,
            along=("customer",),
            beside=("lines",),
        )
    )
    findable.register(
        Findable(
            name="contract",
            number=140,
            label=gettext_lazy("Contracts"),
            one=gettext_lazy("Contract"),
            model="orders.Contract",
            fields=("number",),
            reads=lambda contract: SearchWords(codes=(contract.number,)),
            pages=(
                ThingPage(
                    ANY_OF, lambda contract: reverse("orders:contract", args=[contract.number])
                ),
            ),
            title=lambda contract: contract.number,
            line=lambda contract: contract.customer.name,
            along=("customer",),
        )
    )


def _cents(order: Order) -> int | None:
    """Return the total before tax; None for what is paid at once, whose bill has its amount."""
    return None if order.channel in Order.AT_ONCE else order.total_cents or None


def _order_with_a_total(line: OrderLine) -> int | None:
    return None if line.order.channel in Order.AT_ONCE else line.order_id


def _of_whom(order: Order) -> str:
    state = Order.Status(order.state_on(timezone.localdate())).label
    name = order.customer.name if order.customer else str(order.get_channel_display())
    return findable.in_one_line(name, str(state), order.customer_reference)
