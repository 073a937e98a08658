"""What remains of sales after the goods and the selling, by customer and by way of selling.

Costs of selling are of two kinds. Typed are the rates of a way of selling, by piece, by weight and
for cards: they are those of today, and are taken of every sale whose cost is known. Recorded are
discounts for early payment, what was written off, and the costs of market days.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from decimal import Decimal
from fractions import Fraction
from typing import TYPE_CHECKING, Any

from django.db.models import F, Q, QuerySet, Sum
from django.utils.translation import gettext as _

from apiary_sales.billing.models import (
    Adjustment,
    EntryLine,
    Expense,
    ExpenseCategory,
    MarketDayCost,
    MoneyMove,
)
from apiary_sales.orders.models import FulfilmentLine, Order
from apiary_sales.planning.rules.demand import channel_of
from apiary_sales.pricing.models import ChannelCost
from apiary_sales.reports.frames import sales
from apiary_sales.reports.frames.make import TEXT, WHOLE, frame_of, plain
from apiary_sales.reports.frames.sales import NONE, SalesFilters
from inventory.shared.money import cents_half_even, share_cents
from inventory.shared.weights import unit_grams

if TYPE_CHECKING:
    import pandas as pd

# What is not sold through a shop, the stand or in drums has a row, and no typed cost.
NO_RATES = (Order.Channel.SERVICE,)
# Of an invoice from the books before nobody knows how it was sold.
FROM_BEFORE = "before"

COLUMN_OF: dict[str, str] = {
    Adjustment.Kind.DISCOUNT: "early_cents",
    Adjustment.Kind.WRITE_OFF: "written_off_cents",
    Adjustment.Kind.BAD_DEBT: "written_off_cents",
}

MEASURES = {
    "lines": WHOLE,
    "amount_cents": WHOLE,
    "no_cost_cents": WHOLE,
    "never_cost_cents": WHOLE,
    "known_cents": WHOLE,
    "known_nanograms": WHOLE,
    "brought_in_cents": WHOLE,
    # Taken off in the amount already.
    "discount_cents": WHOLE,
    "cost_cents": WHOLE,
    # Typed rates, of the sales whose cost is known.
    "card_cents": WHOLE,
    "handling_cents": WHOLE,
    # Recorded.
    "early_cents": WHOLE,
    "market_cents": WHOLE,
    "written_off_cents": WHOLE,
    "remains_cents": WHOLE,
    # Recorded for a row of which no cost of goods is known.
    "left_out_cents": WHOLE,
}
CUSTOMER = {"customer_key": TEXT, "customer": TEXT, **MEASURES}
WAY = {"way": TEXT, "only_channel": TEXT, **MEASURES}
_FROM_LINES = (
    "lines",
    "amount_cents",
    "no_cost_cents",
    "never_cost_cents",
    "known_cents",
    "known_nanograms",
    "brought_in_cents",
    "cost_cents",
)
_TYPED = ("card_cents", "handling_cents")
RECORDED = ("early_cents", "market_cents", "written_off_cents")


@dataclass(frozen=True)
class Typed:
    """What selling one line takes by the rates of its way of selling, in cents."""

    card_cents: int
    handling_cents: int


@dataclass(frozen=True)
class RecordedCost:
    """A cost of selling that was recorded for a customer, or for all buyers at the stand."""

    column: str
    customer: int | None
    customer_name: str | None
    tier: str | None
    channel: str | None
    cents: int


def typed_costs(
    rates: ChannelCost | None, *, amount_cents: int, pieces: int, nanograms: int
) -> Typed:
    """Return what selling takes by typed rates: of the amount, for each piece, and by weight.

    The amount is before tax. Each line is rounded to a cent, half a cent to the even one.
    """
    if rates is None:
        return Typed(0, 0)
    units = Fraction(nanograms, sales.NANO) / Fraction(unit_grams())
    by_weight = Fraction(rates.per_pound) * 100 * units
    return Typed(
        cents_half_even(Fraction(amount_cents, 100) * Fraction(rates.card_percent) / 100),
        cents_half_even((pieces * rates.piece_cents + by_weight) / 100),
    )


def way_of(channel: str, tier: str | None) -> str:
    """Return how goods were sold: a channel of the costs of selling, or consignment or services.

    >>> way_of("shop", "distributor"), way_of("bulk", None), way_of("consign", None)
    ('distributor', 'bulk', 'consign')
    """
    if channel in (Order.Channel.BULK, Order.Channel.SERVICE, Order.Channel.CONSIGNMENT):
        return channel
    return channel_of(channel, tier)


def rates_of(channel: str, tier: str | None) -> str | None:
    """Return the channel whose rates count for a sale; None for what has none."""
    if channel in NO_RATES:
        return None
    return str(
        ChannelCost.Channel.BULK if channel == Order.Channel.BULK else channel_of(channel, tier)
    )


def by_customer(filters: SalesFilters) -> pd.DataFrame:
    """Return what remains by customer, the most first; buyers without a name share one row."""
    return _frame(
        filters,
        CUSTOMER,
        sales.BUYER,
        ("customer_key", "customer"),
        lambda cost: (
            NONE if cost.customer is None else str(cost.customer),
            cost.customer_name or _("Buyers at the stand"),
        ),
    )


def by_channel(filters: SalesFilters) -> pd.DataFrame:
    """Return what remains by way of selling, the most first.

    `only_channel` is the channel of the orders where all that was sold in it was sold this way, so
    that its lines can be shown.
    """
    frame = _frame(
        filters,
        WAY,
        {},
        ("way", "channel"),
        lambda cost: (
            FROM_BEFORE if cost.channel is None else way_of(cost.channel, cost.tier),
            cost.channel or "",
        ),
    )
    return _one_row_a_way(frame)


def _frame(
    filters: SalesFilters,
    columns: dict[str, str],
    by: Mapping[str, str],
    keys: tuple[str, str],
    key_of: Callable[[RecordedCost], tuple[str, str]],
) -> pd.DataFrame:
    """Add up what was sold by two keys, and put to it what was recorded for these keys."""
    found: dict[tuple[str, str], dict[str, int]] = {}
    measures = (*_FROM_LINES, *_TYPED, "known_lines")
    for sold in _sold(replace(filters, goods=sales.ALL), by):
        of_row = found.setdefault(
            (sold[keys[0]], sold[keys[1]]), dict.fromkeys((*MEASURES, "known_lines"), 0)
        )
        for name in measures:
            of_row[name] += sold[name] or 0
    for cost in [*_discounts(filters), *_recorded(filters)]:
        nothing = dict.fromkeys((*MEASURES, "known_lines"), 0)
        found.setdefault(key_of(cost), nothing)[cost.column] += cost.cents
    rows = [(*key, *_measured(row)) for key, row in found.items()]
    frame = frame_of(rows, columns).pipe(_most_first)
    frame.attrs["beside"] = _beside(filters)
    return frame


def _measured(row: dict[str, int]) -> list[int | None]:
    """Return the figures of a row; what remains is unknown where no cost of its goods is known."""
    recorded = sum(row[name] for name in RECORDED)
    is_unknown = row["lines"] > 0 and not row["known_lines"]
    remains = row["known_cents"] - row["cost_cents"] - recorded - sum(row[each] for each in _TYPED)
    figures: dict[str, int | None] = {
        **row,
        "cost_cents": None if is_unknown else row["cost_cents"],
        "remains_cents": None if is_unknown else remains,
        "left_out_cents": recorded if is_unknown else 0,
    }
    return [figures[name] for name in MEASURES]


def _most_first(frame: pd.DataFrame) -> pd.DataFrame:
    return frame.sort_values(
        ["remains_cents", "amount_cents"],
        ascending=False,
        kind="stable",
        ignore_index=True,
        na_position="last",
    )


def _one_row_a_way(frame: pd.DataFrame) -> pd.DataFrame:
    """Add up the channels of orders in each way of selling."""
    channels: dict[str, set[str]] = {}
    ways_in: dict[str, set[str]] = {}
    for way, channel in zip(frame["way"], frame["only_channel"], strict=True):
        channels.setdefault(way, set()).add(channel)
        ways_in.setdefault(channel, set()).add(way)
    rows = []
    for way, found in channels.items():
        of_way = frame[frame["way"] == way]
        [channel] = found if len(found) == 1 else [""]
        is_alone = len(ways_in[channel]) == 1 if channel else False
        totals = [plain(of_way[name].sum(min_count=1)) for name in MEASURES]
        rows.append((way, channel if is_alone else "", *totals))
    made = frame_of(rows, WAY).pipe(_most_first)
    made.attrs |= frame.attrs
    return made


def _sold(filters: SalesFilters, by: Mapping[str, str]) -> Iterator[dict[str, Any]]:
    """Yield what was sold with its way of selling and what that takes by typed rates.

    Each is a line, or so many that are alike to the cent: what a line takes is rounded by itself.
    """
    rates = {row.channel: row for row in ChannelCost.objects.all()}
    for figures, tier in sales.alike_to_the_cent(filters, by):
        channel, lines = figures["channel"], figures["lines"]
        is_known = figures["cost_cents"] is not None
        pieces = (figures["pieces"] or 0) + (figures["goods_pieces"] or 0)
        # What has no known cost is in no margin, so it bears no cost of selling either.
        each = typed_costs(
            rates.get(rates_of(channel, tier) or "") if is_known else None,
            amount_cents=figures["amount_cents"] // lines,
            pieces=pieces // lines,
            nanograms=(figures["nanograms"] or 0) // lines,
        )
        yield figures | {
            "way": way_of(channel, tier),
            "card_cents": each.card_cents * lines,
            "handling_cents": each.handling_cents * lines,
            "known_lines": lines if is_known else 0,
        }


def _discounts(filters: SalesFilters) -> Iterable[RecordedCost]:
    """Yield the discounts on lines of orders, as far as their goods were handed over and stayed."""
    found = _on_days(
        FulfilmentLine.objects.not_taken_back().filter(order_line__discount_cents__gt=0),
        filters,
        "fulfilment__filled_on",
    )
    if filters.channel:
        found = found.filter(fulfilment__order__channel=filters.channel)
    if filters.customer:
        wanted = None if filters.customer == NONE else int(filters.customer)
        found = found.filter(fulfilment__order__customer=wanted)
    for customer, name, tier, channel, cents, part, whole in found.order_by("id").values_list(
        "fulfilment__order__customer",
        "fulfilment__order__customer__name",
        "fulfilment__order__customer__tier",
        "fulfilment__order__channel",
        "order_line__discount_cents",
        F("quantity") - F("returned"),
        "order_line__quantity",
    ):
        if part and whole:
            share = share_cents(cents, part, whole)
            yield RecordedCost("discount_cents", customer, name, tier, channel, share)


def _recorded(filters: SalesFilters) -> Iterable[RecordedCost]:
    """Yield discounts for early payment, what was written off, and the costs of market days."""
    adjusted = _adjusted(filters)
    for kind, customer, name, tier, channel, cents in (
        adjusted.order_by("customer__name", "kind")
        .values_list(
            "kind", "customer", "customer__name", "customer__tier", "invoice__order__channel"
        )
        .annotate(Sum("net_cents"))
    ):
        yield RecordedCost(COLUMN_OF[kind], customer, name, tier, channel, cents)
    at_the_stand = filters.channel in ("", Order.Channel.STAND)
    if not at_the_stand or filters.customer not in ("", NONE):
        return
    costs = MarketDayCost.objects.filter(expense__undone_entry=None)
    cents = _on_days(costs, filters, "market_day__day").aggregate(
        cents=Sum(F("expense__amount_cents") - F("expense__tax_cents"), default=0)
    )["cents"]
    if cents:
        yield RecordedCost("market_cents", None, None, None, Order.Channel.STAND, cents)


def _adjusted(filters: SalesFilters) -> QuerySet[Adjustment]:
    adjusted = _on_days(Adjustment.objects.filter(kind__in=COLUMN_OF), filters, "entry__entered_on")
    if filters.channel:
        adjusted = adjusted.filter(invoice__order__channel=filters.channel)
    if filters.customer:
        wanted = None if filters.customer == NONE else int(filters.customer)
        adjusted = adjusted.filter(customer=wanted)
    return adjusted


def _written_off(filters: SalesFilters) -> tuple[WrittenOff, ...]:
    rows = (
        _adjusted(filters)
        .exclude(kind=Adjustment.Kind.DISCOUNT)
        .order_by()
        .values_list("customer__name", "kind")
        .annotate(cents=Sum("net_cents"))
        .order_by("-cents", "customer__name")
    )
    return tuple(WrittenOff(*row) for row in rows if row[2])


def _on_days(found: QuerySet[Any], filters: SalesFilters, day: str) -> QuerySet[Any]:
    if filters.since:
        found = found.filter(**{f"{day}__gte": filters.since})
    if filters.until:
        found = found.filter(**{f"{day}__lte": filters.until})
    return found


@dataclass(frozen=True)
class WrittenOff:
    """What was written off of one customer in one way; None are the buyers at the stand."""

    customer: str | None
    kind: str
    cents: int


@dataclass(frozen=True)
class Beside:
    """What else is to be said: what was written off, of whom; what is of no customer or channel."""

    written_off: tuple[WrittenOff, ...]
    card_fees_cents: int
    selling_cents: int
    freight_cents: int


def _beside(filters: SalesFilters) -> Beside:
    """Return what the books have of card fees, advertising and freight, market days left out."""
    fees = _on_days(
        MoneyMove.objects.filter(undone_on=None, from_account=EntryLine.Account.CARD),
        filters,
        "entry__entered_on",
    ).aggregate(cents=Sum("fee_cents", default=0))["cents"]
    spent = _on_days(
        EntryLine.objects.filter(account=EntryLine.Account.EXPENSES), filters, "entry__entered_on"
    ).aggregate(
        selling=Sum("amount_cents", filter=Q(detail=ExpenseCategory.SELLING), default=0),
        freight=Sum("amount_cents", filter=Q(detail=ExpenseCategory.FREIGHT), default=0),
    )
    at_markets = _on_days(
        Expense.objects.filter(undone_entry=None, market_day_cost__isnull=False),
        filters,
        "entry__entered_on",
    ).aggregate(
        selling=Sum(
            F("amount_cents") - F("tax_cents"),
            filter=Q(category=ExpenseCategory.SELLING),
            default=0,
        ),
        freight=Sum(
            F("amount_cents") - F("tax_cents"),
            filter=Q(category=ExpenseCategory.FREIGHT),
            default=0,
        ),
    )
    return Beside(
        _written_off(filters),
        fees,
        spent["selling"] - at_markets["selling"],
        spent["freight"] - at_markets["freight"],
    )


def percent(part_cents: int, whole_cents: int) -> Decimal | None:
    """Return a part in percent with one decimal; None of nothing."""
    if not whole_cents:
        return None
    return (Decimal(part_cents) * 100 / whole_cents).quantize(Decimal("0.1"))
