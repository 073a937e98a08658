"""What a pound costs the buyer: of goods sold by weight, and of honey in the buyer's container."""

from dataclasses import dataclass
from decimal import Decimal

from apiary_sales.pricing.models import WeightPrice
from inventory.bottling.models import Product
from inventory.stock.models import Lot


@dataclass(frozen=True)
class WeightPriceList:
    """The prices a pound of one tier on one day, out of `WeightPrice.objects.in_force`."""

    tier: str
    rows: tuple[WeightPrice, ...]

    def of_product(self, product: Product) -> Decimal | None:
        """Return the price a pound of goods, or None without one."""
        found = (row.price_per_pound for row in self.rows if row.product_id == product.pk)
        return next(found, None)

    def of_honey(self, lot: Lot) -> Decimal | None:
        """Return the price a pound of a lot of honey, or None without one.

        A variety that names the lot's floral source goes before the price of any honey; of two
        that do, the one with the longer name of the source.
        """
        fitting = [row for row in self.rows if row.product_id is None and _fits(row, lot)]
        return max(fitting, key=_particularity).price_per_pound if fitting else None


def _fits(row: WeightPrice, lot: Lot) -> bool:
    if row.variety is None:
        return True
    return bool(row.variety.floral_source.strip()) and row.variety.covers(lot.floral_source)


def _particularity(row: WeightPrice) -> int:
    return len(row.variety.floral_source.strip()) if row.variety else 0
