"""What one piece and one case of a product cost the buyer. Prices are before sales tax."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from apiary_sales.customers.models import Customer
from apiary_sales.pricing.models import PiecePrice
from apiary_sales.pricing.rules import private_labels
from inventory.bottling.models import Product
from inventory.shared.money import FOUR_PLACES


@dataclass(frozen=True)
class PieceOffer:
    """The price of one piece and, where there is one, of a whole case."""

    piece_cents: int
    case_cents: int | None


@dataclass(frozen=True)
class PricesOfProduct:
    """The rows in force for one product in one tier, by pieces, fewest first."""

    product: Product
    breaks: tuple[PiecePrice, ...]
    # The only customer it is sold to, where its brand is a private label.
    private_to: Customer | None = None
    # The rows that come into force after that day, the next one first.
    coming: tuple[PiecePrice, ...] = ()

    def is_offered_to(self, customer: Customer | None) -> bool:
        """Tell whether this customer can buy it; None is a buyer without a name."""
        return self.private_to is None or self.private_to == customer

    @property
    def base(self) -> PiecePrice | None:
        """The row for a single piece, or None while there is no such price."""
        return next((row for row in self.breaks if row.min_pieces == 1), None)

    @property
    def quantity_breaks(self) -> tuple[PiecePrice, ...]:
        return tuple(row for row in self.breaks if row.min_pieces > 1)

    @property
    def idle_breaks(self) -> tuple[PiecePrice, ...]:
        """The quantity prices that are no lower than that of a single piece."""
        one = self.base.piece_cents if self.base else None
        return tuple(
            row
            for row in self.quantity_breaks
            if one is not None and row.piece_cents is not None and row.piece_cents >= one
        )

    def offer(self, pieces: int = 1) -> PieceOffer | None:
        """Return what a piece and a case cost when so many are taken, or None without a price.

        Of the rows that are reached, the one with the most pieces that names a price counts: a
        quantity price for pieces leaves the price of a case as it is.
        """
        reached = [row for row in self.breaks if row.min_pieces <= pieces]
        one = [row.piece_cents for row in reached if row.piece_cents is not None]
        cases = [row.case_cents for row in reached if row.case_cents is not None]
        return PieceOffer(one[-1], cases[-1] if cases else None) if one else None

    def unit_price(self, pieces: int) -> Decimal | None:
        """Return the price of one of `pieces`, to four places; the stand's figures.js agrees.

        Whole cases go at the case price, shared out over their pieces, unless the piece price for
        so many is lower still; anything else goes at the piece price. Four places lose at most a
        cent in a hundred pieces.
        """
        offer = self.offer(pieces)
        if offer is None:
            return None
        each = (Decimal(offer.piece_cents) / 100).quantize(FOUR_PLACES)
        per_case = self.product.pieces_per_case
        if offer.case_cents is None or pieces % per_case:
            return each
        return min(each, (Decimal(offer.case_cents) / 100 / per_case).quantize(FOUR_PLACES))


@dataclass(frozen=True)
class PriceList:
    """The prices of every product in use for one tier on one day."""

    tier: str
    on: date
    products: tuple[PricesOfProduct, ...]

    def offered_to(self, customer: Customer | None) -> list[PricesOfProduct]:
        """Return what this customer can buy: all but the private labels of others."""
        return [prices for prices in self.products if prices.is_offered_to(customer)]

    def of(self, product: Product) -> PricesOfProduct:
        """Return the prices of one product; without any when it is not on the list."""
        for prices in self.products:
            if prices.product.pk == product.pk:
                return prices
        return PricesOfProduct(product, ())


def price_lists(
    tiers: Iterable[str],
    on: date,
    *,
    products: Sequence[Product],
    in_force: Iterable[PiecePrice],
    coming: Iterable[PiecePrice] = (),
) -> dict[str, PriceList]:
    """Return the price lists of several tiers, out of `PiecePrice.objects.in_force` of a day."""
    to_come: dict[tuple[str, int], list[PiecePrice]] = {}
    for row in coming:
        to_come.setdefault((row.tier, row.product_id), []).append(row)
    by_product: dict[tuple[str, int], list[PiecePrice]] = {}
    for row in in_force:
        by_product.setdefault((row.tier, row.product_id), []).append(row)
    return {
        tier: PriceList(
            tier,
            on,
            tuple(
                PricesOfProduct(
                    product,
                    tuple(by_product.get((tier, product.pk), ())),
                    private_labels.customer_of(product),
                    tuple(to_come.get((tier, product.pk), ())),
                )
                for product in products
            ),
        )
        for tier in tiers
    }
