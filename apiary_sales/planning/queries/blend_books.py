"""Read from the books what a blend can be made of."""

from collections import defaultdict
from datetime import date
from fractions import Fraction

from apiary_sales.planning.rules.blend import (
    BlendBooks,
    BlendVessel,
    LeftOut,
    LeftOutBecause,
    ValueFrom,
    cents_per_gram,
)
from apiary_sales.planning.rules.figures import whole_grams
from apiary_sales.pricing.queries import prices
from apiary_sales.pricing.queries.prices import BulkList
from inventory.bottling.models import BottlingRun
from inventory.stock.models import Balance, BlendPlan, Item, Lot, ProductionSettings
from inventory.stock.queries import blend_plans


def read(on: date) -> BlendBooks:
    """Read all honey in vessels with what it is worth, in a constant number of queries.

    A lot is worth what it cost; where that is not known, the drum price that fits it.
    """
    bids = prices.bulk_list(on)
    set_aside: dict[int, int] = defaultdict(int, blend_plans.drafted_grams())
    runs = BottlingRun.objects.filter(status=BottlingRun.Status.PLANNED).select_related(
        "product__size"
    )
    for run in runs:
        set_aside[run.source_id] += run.pieces_planned * whole_grams(run.product.declared_grams)
    vessels, never = [], []
    balances = (
        Balance.objects.filter(
            item__kind=Item.Kind.HONEY, is_vessel=True, quantity__gt=0, place__is_active=True
        )
        .select_related("place", "lot__owner")
        .order_by("-place__kind", "place__code")
    )
    for balance in balances:
        lot = balance.honey_lot
        if (because := _never_because(lot)) is not None:
            never.append(LeftOut(balance.place, lot, because))
            continue
        worth, value_from = _value(lot, bids)
        vessels.append(
            BlendVessel(
                place=balance.place,
                lot=lot,
                grams=balance.quantity,
                reserved_grams=balance.reserved,
                set_aside_grams=set_aside[balance.place_id],
                cents_per_gram=worth,
                value_from=value_from,
            )
        )
    return BlendBooks(
        vessels=tuple(vessels),
        never=tuple(never),
        planned_runs=len(runs),
        drafts=BlendPlan.objects.filter(status=BlendPlan.Status.DRAFT).count(),
        moisture_limit_percent=ProductionSettings.current().moisture_limit_percent,
    )


def _never_because(lot: Lot) -> LeftOutBecause | None:
    if lot.owner_id is not None:
        return LeftOutBecause.OF_ANOTHER
    if lot.is_on_hold:
        return LeftOutBecause.ON_HOLD
    return LeftOutBecause.LOT_UNKNOWN if lot.moisture_percent is None else None


def _value(lot: Lot, bids: BulkList) -> tuple[Fraction | None, ValueFrom]:
    if (cost := lot.unit_cost_cents) is not None:
        return cost, ValueFrom.COST
    price = bids.price_per_pound(lot)
    if price is None:
        return None, ValueFrom.UNKNOWN
    return cents_per_gram(price), ValueFrom.DRUM_PRICE
