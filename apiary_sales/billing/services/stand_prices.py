"""The stand prices in force on a day, for sales that are entered after they happened."""

from collections.abc import Iterable, Sequence
from datetime import date
from decimal import Decimal

from django.db.models import DateField

from apiary_sales.customers.models import Customer
from apiary_sales.orders.models import OrderLine
from apiary_sales.orders.rules.lines import LineWanted
from apiary_sales.pricing.models import PiecePrice, newest_in_force
from apiary_sales.pricing.rules import prices as rules
from apiary_sales.pricing.rules.prices import PriceList, PricesOfProduct
from inventory.bottling.models import Product
from inventory.shared.prepared import Given, PreparedQueryAmong, column

TIER = Customer.Tier.STAND


def on(day: date, products: Sequence[Product]) -> PriceList:
    """Return the stand's price list of some products on a day."""
    in_force = PiecePrice.objects.filter(tier=TIER, product__in=products).in_force(day)
    return rules.price_lists([TIER], day, products=products, in_force=in_force)[TIER]


def of_sold(day: date, products: Iterable[Product]) -> dict[int, PricesOfProduct]:
    """Return the stand's prices on a day, by product key; one not for sale has no prices."""
    sold = {product.pk: product for product in products}
    in_force = newest_in_force(_PRICES_OF.rows(list(sold), day=day))
    return {
        key: PricesOfProduct(product, tuple(row for row in in_force if row.product_id == key))
        for key, product in sold.items()
    }


_PRICES_OF = PreparedQueryAmong(
    lambda products: PiecePrice.objects.filter(
        tier=TIER,
        product__in=Product.objects.for_sale().alias(key=column("pk")).filter(key__in=products),
    ).up_to(Given("day", DateField()))
)


def line(product: Product, pieces: int, unit_price: Decimal) -> LineWanted:
    """Return a line of a sale of pieces at this price."""
    return LineWanted(
        kind=OrderLine.Kind.PACKED, quantity=pieces, unit_price=unit_price, product=product
    )
