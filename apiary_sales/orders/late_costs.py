"""What was sold without a known cost, and what it costs by what is known now.

The page that shows it and the act that writes it both read this; nothing is written here.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from fractions import Fraction
from functools import cached_property
from operator import attrgetter

from django.db.models import F, Q, QuerySet

from apiary_sales.orders.costs_of_sales import AveragesBefore, CostsOfSales
from apiary_sales.orders.late_cost_models import LateCost
from apiary_sales.orders.models import FulfilmentLine, OrderLine
from apiary_sales.orders.rules.lines import OF_PRODUCTS
from apiary_sales.orders.rules.returns import costs_of_returns
from inventory.stock import season_shares
from inventory.stock.models import PostingLine, ProductionSettings

WITH_A_COST = (*OrderLine.STOCKED, OrderLine.Kind.SERVICE)


@dataclass(frozen=True)
class LineWithoutCost:
    """Goods handed over without a known cost; `cost_cents` is what they cost by now, if known.

    `season_share` is how much of the lot is honey of the season asked for; None without one.
    """

    goods: FulfilmentLine
    cost_cents: int | None
    season_share: Fraction | None = None

    @property
    def percent_of_season(self) -> int | None:
        """The whole percent of the lot that is of the season, where others are in it too."""
        if self.season_share is None or self.season_share == 1:
            return None
        # What there is a little of is never said to be none, nor all.
        return min(max(round(self.season_share * 100), 1), 99)

    @property
    def amount_cents(self) -> int:
        billed = self.goods.billed_cents
        return self.goods.amount_cents if billed is None else billed


@dataclass(frozen=True)
class SoldWithoutCost:
    """All that was sold without a known cost, the newest first."""

    lines: Sequence[LineWithoutCost]

    @cached_property
    def known(self) -> list[LineWithoutCost]:
        """Those whose cost is known by now."""
        return [line for line in self.lines if line.cost_cents is not None]

    @cached_property
    def unknown(self) -> list[LineWithoutCost]:
        return [line for line in self.lines if line.cost_cents is None]

    @property
    def amount_cents(self) -> int:
        return sum(line.amount_cents for line in self.lines)

    @property
    def known_amount_cents(self) -> int:
        return sum(line.amount_cents for line in self.known)

    @property
    def known_cost_cents(self) -> int:
        return sum(line.cost_cents or 0 for line in self.known)

    @property
    def unknown_amount_cents(self) -> int:
        return self.amount_cents - self.known_amount_cents


def rows_without_cost() -> QuerySet[FulfilmentLine]:
    """Return what was handed over without a known cost, in the order of hand-over.

    Drums and freight never have one; what came back and was credited in full was not sold.
    """
    return (
        FulfilmentLine.objects.not_taken_back()
        .filter(cost_cents=None, order_line__kind__in=WITH_A_COST)
        .exclude(returned=F("quantity"), billed_cents=0)
        # Asked for in the order of keys, SQLite would look for them among all lines.
        .order_by()
    )


def that_may_be_known() -> QuerySet[FulfilmentLine]:
    """Return the lines without a cost that are of a lot or service that has one by now."""
    has_one = Q(lot__cost_cents__isnull=False, lot__quantity_made__gt=0) | Q(
        order_line__service__unit_cost__isnull=False
    )
    return rows_without_cost().filter(has_one)


def sold_without_cost(season: int | None = None) -> SoldWithoutCost:
    """Return all that was sold without a cost, or what has honey of a season in it.

    In a number of queries that does not grow with the lines.
    """
    rows = rows_without_cost().select_related(
        "fulfilment__order__customer",
        "lot__product__item",
        "lot__owner",
        "order_line__product__item",
        "order_line__service",
    )
    found = sorted(rows.prefetch_related("returns"), key=attrgetter("pk"))
    shares: dict[int, Fraction] = {}
    if season is not None and found:
        seasons = season_shares.seasons_of_lots()
        shares = {lot: of_lot[season] for lot, of_lot in seasons.items() if season in of_lot}
        found = [row for row in found if row.lot_id in shares]
    costs = costs_known_now(found)
    lines = [
        LineWithoutCost(row, costs.get(row.pk), shares.get(row.lot_id) if row.lot_id else None)
        for row in found
    ]
    newest_first = sorted(
        lines, key=lambda line: (line.goods.fulfilment.filled_on, line.goods.pk), reverse=True
    )
    return SoldWithoutCost(newest_first)


def costs_known_now(rows: Sequence[FulfilmentLine]) -> dict[int, int]:
    """Return, by key, what goods handed over cost by what is known now, as of their hand-over.

    The rows have their fulfilment, line and lot, and their returns read; what is still unknown is
    left out. As at hand-over, the sales of a lot come to the cost of the lot together.
    """
    costs = CostsOfSales((row.lot for row in rows), averages=_averages(rows))
    found = {}
    for row in rows:
        posting = row.fulfilment.posting_id
        cents = costs.of(row.order_line, row.lot, row.quantity, posting)
        if cents is None:
            continue
        found[row.pk] = cents
        if row.lot is not None:
            returns = list(row.returns.all())
            shares = costs_of_returns(cents, row.quantity, [back.quantity for back in returns])
            for back, share in zip(returns, shares, strict=True):
                if back.is_fit:
                    costs.take_back(row.lot, back.quantity, share)
    return found


def known_otherwise_at(moment: datetime) -> dict[int, int]:
    """Return, by posting, what is to be added to the costs of today to have those of a moment.

    A cost that came later was not known then; one that was taken off since was.
    """
    found: dict[int, int] = {}
    late = LateCost.objects.filter(costing__undoes=None).select_related(
        "costing__undone_by", "fulfilment_line__fulfilment"
    )
    for row in late.prefetch_related("fulfilment_line__returns").order_by("id"):
        sign = row.costing.counted_at(moment) - (not row.costing.is_undone)
        if not sign:
            continue
        goods = row.fulfilment_line
        postings = [(goods.fulfilment.posting_id, row.cost_cents)]
        returns = list(goods.returns.all())
        shares = costs_of_returns(
            row.cost_cents, goods.quantity, [back.quantity for back in returns]
        )
        postings += [
            (back.posting_id, -share)
            for back, share in zip(returns, shares, strict=True)
            if back.is_fit
        ]
        for posting, cents in postings:
            if posting is not None and goods.lot_id is not None:
                found[posting] = found.get(posting, 0) + sign * cents
    return found


def _averages(rows: Sequence[FulfilmentLine]) -> AveragesBefore:
    if not ProductionSettings.current().costs_by_average:
        return {}
    of_products = [row for row in rows if row.order_line.kind in OF_PRODUCTS]
    ids = {row.fulfilment.posting_id for row in of_products}
    postings = [posting for posting in ids if posting is not None]
    items = {row.order_line.product.item_id for row in of_products if row.order_line.product}
    return PostingLine.objects.average_costs_before(items, postings)
