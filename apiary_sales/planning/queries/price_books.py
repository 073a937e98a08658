"""What the books give to a trial of prices: sales of a year, costs, and the honey there is."""

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from apiary_sales.planning.queries import tanks
from apiary_sales.planning.rules.demand import Period, channel_of
from apiary_sales.pricing import sales_sources
from apiary_sales.pricing.queries import costs, prices
from apiary_sales.pricing.rules.costs import Book
from inventory.bottling.models import Product
from inventory.bottling.queries import packed_stock
from inventory.stock.models import Balance, Item, Lot, ProductionSettings
from inventory.stock.rules import is_above_limit

# Pieces by how many a sale had.
Sales = Mapping[int, int]


@dataclass(frozen=True)
class HoneyOnHand:
    """Our honey in tanks and drums in grams, and what of it is left out, by why."""

    grams: int
    on_hold: int
    too_moist: int


@dataclass(frozen=True)
class PriceBooks:
    """What a trial of prices is worked out from.

    `sold` has the pieces of each product and channel of a period; `other_pieces` are those of
    products without a cost book, as other goods and gift boxes have none.
    """

    period: Period
    # As many days from today on.
    coming: Period
    book: Book
    sold: Mapping[tuple[int, str], Sales]
    other_pieces: int
    # The first sale of any of these products that was ever entered.
    first_sale: date | None
    ready: Mapping[int, int]
    honey: HoneyOnHand
    # What is likely to come in meanwhile, as in earlier years; None where that is not known.
    expected_grams: int | None
    # The lot of which there is most, and its drum price.
    most: Lot | None
    drum_price: Decimal | None

    @property
    def products(self) -> list[Product]:
        """The products with any sale in the period."""
        sold = {product for product, _channel in self.sold}
        return [each for each in self.book.products if each.pk in sold]


def read(on: date, period: Period) -> PriceBooks:
    """Read what was sold in a period, today's prices and costs; a constant number of queries."""
    book = costs.book(on)
    known = {product.pk for product in book.products}
    sold: dict[tuple[int, str], dict[int, int]] = defaultdict(lambda: defaultdict(int))
    other_pieces = 0
    for row in sales_sources.by_sale(period.first, period.last):
        if row.product_id in known:
            channel = str(channel_of(row.channel, row.tier))
            sold[row.product_id, channel][row.pieces_a_sale] += row.pieces
        else:
            other_pieces += row.pieces
    in_hand = costs.honey_in_hand()
    most = in_hand[0][0] if in_hand else None
    listed = None
    if most is not None and most.moisture_percent is not None:
        listed = prices.bulk_list(on).price_per_pound(most)
    coming = Period(on, on + (period.last - period.first))
    return PriceBooks(
        period=period,
        coming=coming,
        book=book,
        sold={key: dict(sales) for key, sales in sold.items()},
        other_pieces=other_pieces,
        first_sale=min(sales_sources.first_days(known).values(), default=None),
        ready={row.product.pk: row.free for row in packed_stock.products()},
        honey=_honey_on_hand(),
        expected_grams=tanks.expected_grams(coming),
        most=most,
        drum_price=listed,
    )


def _honey_on_hand() -> HoneyOnHand:
    limit = ProductionSettings.current().moisture_limit_percent
    grams = on_hold = too_moist = 0
    balances = (
        Balance.objects.filter(item__kind=Item.Kind.HONEY, is_vessel=True, quantity__gt=0)
        .ours()
        .select_related("lot")
    )
    for balance in balances:
        lot = balance.lot
        if lot is None or lot.is_on_hold:
            on_hold += balance.quantity
        elif lot.moisture_percent is None or is_above_limit(lot, limit):
            too_moist += balance.quantity
        else:
            grams += max(balance.free, 0)
    return HoneyOnHand(grams, on_hold, too_moist)
