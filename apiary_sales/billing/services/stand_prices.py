"""The stand prices in force on a day, for sales that are entered after they happened."""

from collections.abc import Sequence
from datetime import date
from decimal import Decimal

from apiary_sales.customers.models import Customer
from apiary_sales.orders.models import OrderLine
from apiary_sales.orders.rules.lines import LineWanted
from apiary_sales.pricing.models import PiecePrice
from apiary_sales.pricing.rules import prices as rules
from apiary_sales.pricing.rules.prices import PriceList
from inventory.bottling.models import Product

TIER = Customer.Tier.STAND


def on(day: date, products: Sequence[Product]) -> PriceList:
    """Return the stand's price list of some products on a day."""
    in_force = PiecePrice.objects.filter(tier=TIER, product__in=products).in_force(day)
    return rules.price_lists([TIER], day, products=products, in_force=in_force)[TIER]


def line(product: Product, pieces: int, unit_price: Decimal) -> LineWanted:
    """Return a line of a sale of pieces at this price."""
    return LineWanted(
        kind=OrderLine.Kind.PACKED, quantity=pieces, unit_price=unit_price, product=product
    )
