"""What the answer when to stop bottling is worked out of, as the books have it."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from fractions import Fraction

from apiary_sales.orders.queries.stock import PastReading
from apiary_sales.planning.queries import books as book_queries
from apiary_sales.planning.queries import monthly_sales, tanks
from apiary_sales.planning.queries.monthly_sales import MonthlySales
from apiary_sales.planning.queries.tanks import TankRoom
from apiary_sales.planning.rules.books import Books, Offer
from apiary_sales.planning.rules.coming_demand import RECENT_MONTHS, ComingDemand, coming_demand
from apiary_sales.planning.rules.demand import Period, period_from
from apiary_sales.planning.rules.stopping import Stopping, TankState, stopping


@dataclass(frozen=True)
class EarningsBooks:
    """Everything that was read: books, sales by month, and what is known of the tanks."""

    books: Books
    period: Period
    sales: MonthlySales
    weeks_in_tank: dict[int, Decimal]
    room: TankRoom
    expected_grams: int | None
    # Of each product what it sells of late over what it sold a year ago, None if not known.
    level_of: Mapping[int, Fraction | None]

    def answer(
        self,
        *,
        hours: Decimal,
        drum_price: Decimal | None = None,
        expected_grams: int | None = None,
        are_parts_bought: bool = False,
    ) -> Stopping:
        """Work the answer out; a drum price and the honey expected replace what the books say."""
        return stopping(
            self.books,
            period=self.period,
            demand_of={offer.key: self._demand(offer) for offer in self.books.offers},
            weeks_in_tank=self.weeks_in_tank,
            tanks=TankState(
                room_grams=self.room.tanks if self.room.is_measured else None,
                other_room_grams=self.room.others,
                expected_grams=self.expected_grams if expected_grams is None else expected_grams,
            ),
            hours=hours,
            drum_price=drum_price,
            are_parts_bought=are_parts_bought,
        )

    def _demand(self, offer: Offer) -> ComingDemand:
        sales, product, channel = self.sales, offer.product.pk, offer.channel
        recent = sales.known_months(product, channel)[-RECENT_MONTHS:]
        demand = coming_demand(
            self.period,
            lambda month: sales.expected(product, channel, month),
            [sales.in_month(product, channel, month) or 0 for month in recent],
        )
        return replace(demand, level=self.level_of.get(product))


def read(on: date, *, months: int) -> EarningsBooks:
    """Read all of it for so many coming months, in a constant number of queries."""
    period = period_from(on, months)
    books = book_queries.read(on, months=months)
    return EarningsBooks(
        books=books,
        period=period,
        sales=monthly_sales.monthly(on),
        weeks_in_tank=tanks.weeks_in_tank(on),
        room=tanks.room(),
        expected_grams=tanks.expected_grams(period),
        level_of=_levels(books, on),
    )


def _levels(books: Books, on: date) -> dict[int, Fraction | None]:
    """Return the level of this year of each product, as the stock page has it."""
    products = {offer.product.pk: offer.product for offer in books.offers}
    past = PastReading([*products.values()], on).by_product
    return {key: each.season.level if each.season else None for key, each in past.items()}
