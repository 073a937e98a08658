"""Private labels: whose brand a product has, and so who can buy it."""

from apiary_sales.customers.models import Customer
from inventory.bottling.models import Product


def customer_of(product: Product) -> Customer | None:
    """Return the only customer that a product is sold to; None for what everybody can buy.

    Of `priced_products`, which bring their private labels along.
    """
    label = getattr(product.brand, "private_label", None)
    return label.customer if label else None
