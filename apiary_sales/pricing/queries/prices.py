"""What one piece, one case and one pound cost the buyer on a day. Prices are before sales tax."""

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from django.utils import timezone
from django.utils.translation import gettext as _

from apiary_sales.customers.models import Customer
from apiary_sales.pricing.models import BulkPrice, PiecePrice, priced_products
from apiary_sales.pricing.rules import prices as rules
from apiary_sales.pricing.rules.prices import PriceList, PricesOfProduct
from inventory.bottling.models import Product, Size
from inventory.physics.grading import GRADE_MOISTURE_UP_TO
from inventory.shared.tags import Tag
from inventory.stock.models import Lot

# Limits of the United States grades in percent (see `grading`), and the one for any moisture.
USUAL_STEPS = frozenset([*(Decimal(str(limit)) for limit in GRADE_MOISTURE_UP_TO), Decimal(30)])


@dataclass(frozen=True)
class BulkList:
    """The bulk prices in force on one day."""

    on: date
    rows: tuple[BulkPrice, ...]

    def row_for(
        self, *, colour_class: str | None, moisture_percent: Decimal, floral_source: str = ""
    ) -> BulkPrice | None:
        """Return the most particular row that fits such honey, or None when none does."""
        colour, source = _plain(colour_class), _plain(floral_source)
        fitting = [
            row
            for row in self.rows
            if _plain(row.colour_class) in ("", colour)
            and _plain(row.floral_source) in ("", source)
            and row.moisture_percent_max >= moisture_percent
        ]
        return min(fitting, key=_particularity, default=None)

    def step_for(self, moisture_percent: Decimal) -> Decimal:
        """Return the lowest moisture limit in use, or usual, that covers such honey."""
        steps = USUAL_STEPS.union(row.moisture_percent_max for row in self.rows)
        return min(step for step in steps if step >= moisture_percent)

    def price_per_pound(self, lot: Lot) -> Decimal | None:
        """Return the price a pound of a lot, or None when no row fits it."""
        row = self.row_for(
            colour_class=lot.colour_class,
            moisture_percent=lot.honey_moisture,
            floral_source=lot.floral_source,
        )
        return None if row is None else row.price_per_pound


@dataclass(frozen=True)
class ProductPrices:
    """What one product costs in every tier."""

    product: Product
    private_to: Customer | None
    # The label of each tier with the prices there.
    lists: tuple[tuple[str, PricesOfProduct], ...]


@dataclass(frozen=True)
class PriceGroup:
    """The products of one size; those that have none are one group."""

    size: Size | None
    products: tuple[ProductPrices, ...]

    @property
    def is_plain(self) -> bool:
        """Whether a size is sold as one product only, so that it needs no heading."""
        return self.size is not None and len(self.products) == 1


def by_size(lists: dict[str, PriceList]) -> list[PriceGroup]:
    """Set price lists side by side: each product with its price in every tier, under its size."""
    groups: dict[Size | None, list[ProductPrices]] = {}
    by_product = {
        tier: {each.product.pk: each for each in listed.products} for tier, listed in lists.items()
    }
    for each in next(iter(lists.values())).products:
        groups.setdefault(each.product.size, []).append(
            ProductPrices(
                each.product,
                each.private_to,
                tuple(
                    (str(Customer.Tier(tier).label), of_tier[each.product.pk])
                    for tier, of_tier in by_product.items()
                ),
            )
        )
    return [PriceGroup(size, tuple(found)) for size, found in groups.items()]


def price_list(tier: str, on: date) -> PriceList:
    """Return the prices of every product in use for one tier, in two queries."""
    return price_lists([tier], on)[tier]


def price_lists(tiers: Iterable[str], on: date) -> dict[str, PriceList]:
    """Return the price lists of several tiers, in two queries."""
    in_force, later = PiecePrice.objects.in_force_and_coming(on)
    today = timezone.localdate()
    return rules.price_lists(
        tiers,
        on,
        products=list(priced_products()),
        in_force=in_force,
        # On the lists of a day that is past, what began since is no news.
        coming=[row for row in later if row.valid_from > today],
    )


def all_price_lists(on: date) -> dict[str, PriceList]:
    """Return the price list of every tier, in two queries."""
    return price_lists(Customer.Tier.values, on)


def bulk_list(on: date) -> BulkList:
    """Return the bulk prices in force on a day, in one query; ask it for the price of each lot."""
    newest: dict[tuple[str, Decimal, str], BulkPrice] = {}
    for row in BulkPrice.objects.filter(valid_from__lte=on).order_by("-valid_from", "-id"):
        key = (_plain(row.colour_class), row.moisture_percent_max, _plain(row.floral_source))
        newest.setdefault(key, row)
    rows = [row for row in newest.values() if row.price_per_pound is not None]
    return BulkList(on, tuple(sorted(rows, key=_particularity)))


def history(
    product: Product, *, on: date, in_force: Collection[PiecePrice], tiers: Collection[str]
) -> list[tuple[PiecePrice, Tag]]:
    """Return every price of a product in these tiers, newest first, with its state on a day."""

    def state(row: PiecePrice) -> Tag:
        if row in in_force:
            return Tag(_("valid"), "good")
        return Tag(_("to come"), "info") if row.valid_from > on else Tag(_("past"))

    rows = product.prices.filter(tier__in=tiers).order_by("-valid_from", "-id")
    return [(row, state(row)) for row in rows]


def _particularity(row: BulkPrice) -> tuple[bool, bool, Decimal]:
    return (not row.floral_source, not row.colour_class, row.moisture_percent_max)


def _plain(word: str | None) -> str:
    return " ".join((word or "").casefold().split())
