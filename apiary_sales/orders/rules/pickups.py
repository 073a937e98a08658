"""Which orders their buyers may fetch at a stand, and what of them."""

from apiary_sales.orders.models import Order, OrderLine

CHANNELS = (Order.Channel.SHOP, Order.Channel.DELIVERY)
# What is handed over there: pieces, and the freight that was agreed.
KINDS = (OrderLine.Kind.PACKED, OrderLine.Kind.FREIGHT)


def may_be_fetched(order: Order) -> bool:
    """Tell whether a buyer may fetch an order: it goes to no other address."""
    return order.channel in CHANNELS and order.ship_to_id is None
