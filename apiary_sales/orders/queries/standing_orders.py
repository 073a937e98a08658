"""Standing orders, and the orders they propose for a day."""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from django.db.models import QuerySet

from apiary_sales.orders.models import OrderLine
from apiary_sales.orders.queries.consignments import free_pieces
from apiary_sales.orders.rules import rhythm
from apiary_sales.orders.rules.lines import LineWanted
from apiary_sales.orders.trade_models import StandingOrder, StandingOrderDay, StandingOrderLine
from apiary_sales.pricing.queries import prices
from apiary_sales.pricing.rules.prices import PriceList
from inventory.bottling.models import Product


@dataclass(frozen=True)
class ProposedLine:
    """So many pieces of a product, at the price of the day; None where there is no price.

    `lacking` is how many more than are free now, earlier proposals of the day counted first.
    """

    product: Product
    pieces: int
    unit_price: Decimal | None
    lacking: int


@dataclass(frozen=True)
class Proposal:
    """The order that a standing order proposes for one of its days."""

    standing: StandingOrder
    due_on: date
    proposed: list[ProposedLine]

    @property
    def name(self) -> str:
        """What stands for it in a form."""
        return f"{self.standing.pk}:{self.due_on:%Y-%m-%d}"

    @property
    def lines(self) -> list[LineWanted]:
        """The lines of its order; what has no price is left out, see `unpriced`."""
        return [
            LineWanted(OrderLine.Kind.PACKED, line.pieces, line.unit_price, product=line.product)
            for line in self.proposed
            if line.unit_price is not None
        ]

    @property
    def unpriced(self) -> list[Product]:
        return [line.product for line in self.proposed if line.unit_price is None]

    @property
    def lacks(self) -> bool:
        return any(line.lacking for line in self.proposed)

    @property
    def can_be_taken(self) -> bool:
        return not self.unpriced and not self.lacks

    @property
    def total_cents(self) -> int:
        return sum(line.amount_cents for line in self.lines)


def listed() -> QuerySet[StandingOrder]:
    return StandingOrder.objects.select_related("customer").prefetch_related("lines__product__item")


def days(standing: StandingOrder) -> QuerySet[StandingOrderDay]:
    """Return what was decided for the days of a standing order, newest first."""
    return standing.days.select_related("order", "decided_by")


def next_day(standing: StandingOrder, after: date) -> date | None:
    """Return the first day of a standing order after a day, None where it has ended or rests."""
    if standing.is_paused:
        return None
    return rhythm.next_due(
        standing.rhythm, starts_on=standing.starts_on, ends_on=standing.ends_on, after=after
    )


def proposals(day: date) -> list[Proposal]:
    """Return the orders that standing orders propose for a day, in a constant number of queries.

    Of each that does not rest: its last day up to then, unless that was decided. An earlier day
    that nobody decided is not proposed any more once the next has come.
    """
    due: list[tuple[StandingOrder, date]] = []
    decided = set(
        StandingOrderDay.objects.filter(due_on__lte=day).values_list("standing", "due_on")
    )
    for standing in listed().filter(is_paused=False, customer__is_active=True):
        last = rhythm.last_due(
            standing.rhythm, starts_on=standing.starts_on, ends_on=standing.ends_on, upto=day
        )
        if last is not None and (standing.pk, last) not in decided:
            due.append((standing, last))
    tiers = {standing.customer.tier for standing, _due_on in due}
    lists = prices.price_lists(tiers, day) if tiers else {}
    wanted = [line for standing, _due_on in due for line in standing.lines.all()]
    free = free_pieces(line.product.item for line in wanted)
    found = []
    for standing, due_on in sorted(due, key=lambda each: (each[1], each[0].customer.name)):
        price_list = lists[standing.customer.tier]
        found.append(
            Proposal(
                standing,
                due_on,
                [_proposed(line, price_list, free) for line in standing.lines.all()],
            )
        )
    return found


def propose(standing: StandingOrder, due_on: date) -> Proposal:
    """Return the order that a standing order has on a day, at the prices of that day."""
    tier = standing.customer.tier
    price_list = prices.price_list(tier, due_on)
    free = free_pieces(line.product.item for line in standing.lines.all())
    return Proposal(
        standing, due_on, [_proposed(line, price_list, free) for line in standing.lines.all()]
    )


def _proposed(line: StandingOrderLine, price_list: PriceList, free: dict[int, int]) -> ProposedLine:
    there = free.get(line.product.item_id, 0)
    taken = min(there, line.pieces)
    free[line.product.item_id] = there - taken
    return ProposedLine(
        line.product,
        line.pieces,
        price_list.of(line.product).unit_price(line.pieces),
        line.pieces - taken,
    )
