"""What costs and margins are worked out of, as it was read on one day."""

from collections.abc import Iterable
from datetime import date, timedelta
from decimal import Decimal
from fractions import Fraction
from typing import cast

from django.db import models
from django.db.models import F, QuerySet

from apiary_sales.customers.models import Customer
from apiary_sales.pricing.models import (
    ChannelCost,
    FillingTime,
    GoodsCategory,
    ProductTax,
    TaxRate,
)
from apiary_sales.pricing.queries import prices
from apiary_sales.pricing.rules import tax
from apiary_sales.pricing.rules.costs import Book, HoneyCost
from inventory.bottling.models import (
    BottlingRun,
    Product,
    UsedPart,
    parts_of_products,
)
from inventory.bottling.part_prices import known_for_plans, plan_prices
from inventory.shared import conventions, days
from inventory.shared.models import House
from inventory.stock.models import Balance, Item, Lot, ProductionSettings

RUNS_SINCE = timedelta(days=365)

# The product of a run, pieces filled and broken, grams drawn, with seed or comb, and lost, minutes
# of work.
RunFigures = tuple[int, int, int, int, int, int | None]


def book(on: date) -> Book:
    """Read the book of one day; the number of queries does not grow with the products."""
    price_lists = prices.all_price_lists(on)
    products = tuple(
        each.product for each in price_lists[Customer.Tier.STAND].products if each.product.is_filled
    )
    percents = _taxes_in_prices(on)
    own = ProductTax.objects.by_product() if percents else {}
    part_prices = plan_prices(on)
    return Book(
        on=on,
        products=products,
        parts=_parts(products),
        part_costs=known_for_plans(part_prices),
        quoted_on={
            part: each.quoted.quoted_on for part, each in part_prices.items() if each.quoted
        },
        runs=_runs(on),
        minutes=dict(FillingTime.objects.values_list("product_id", "minutes_each")),
        labour_cents_per_hour=ProductionSettings.current().labour_cents_per_hour,
        channels={row.channel: row for row in ChannelCost.objects.all()},
        price_lists=price_lists,
        tax_percents={
            product.pk: percents[tax.class_of(product, own)] for product in products if percents
        },
        bulk_tax_percent=percents.get(TaxRate.Goods.HONEY, Decimal(0)),
    )


def _taxes_in_prices(on: date) -> dict[str, Decimal]:
    """Return the percent of tax in the price of each kind of goods; none where it comes on top."""
    if not conventions.current().prices_include_tax:
        return {}
    treatments = tax.treatments(
        TaxRate.objects.in_force(on),
        GoodsCategory.objects.in_force(on),
        deposits_taxed=House.current().deposits_taxed,
    )
    return {goods: how.rate.percent for goods, how in treatments.items()}


def honey_cost(lot: Lot | None = None) -> HoneyCost:
    """Return the cost of a lot's honey, or the average of all honey in tanks and drums now.

    The average is weighted by grams, and unknown while any lot there has no cost.
    """
    if lot is not None:
        return HoneyCost(lot.unit_cost_cents)
    in_hand = [(grams, there.unit_cost_cents) for there, grams in honey_in_hand()]
    known = [(grams, cents) for grams, cents in in_hand if cents is not None]
    if not known or len(known) < len(in_hand):
        return HoneyCost(None)
    whole_cents = sum((grams * cents for grams, cents in known), Fraction(0))
    return HoneyCost(whole_cents / sum(grams for grams, _cents in known))


def honey_in_hand() -> list[tuple[Lot, int]]:
    """Return our lots in tanks and drums with the grams of each, the most first."""
    grams: dict[Lot, int] = {}
    balances = (
        Balance.objects.filter(item__kind=Item.Kind.HONEY, is_vessel=True, quantity__gt=0)
        .ours()
        .select_related("lot")
    )
    for balance in balances:
        # Honey in a vessel always has a lot.
        lot = cast(Lot, balance.lot)
        grams[lot] = grams.get(lot, 0) + balance.quantity
    return sorted(grams.items(), key=lambda pair: (-pair[1], pair[0].pk))


def _parts(products: tuple[Product, ...]) -> dict[int, tuple[UsedPart, ...]]:
    models.prefetch_related_objects(products, *parts_of_products())
    return {
        product.pk: tuple(
            sorted(product.uses(), key=lambda use: (use.part.kind, use.part.name, use.pk))
        )
        for product in products
    }


def runs_recorded(on: date) -> QuerySet[BottlingRun]:
    """Return the runs of the year up to `on`, which averages are taken of.

    By the day of the bottling, not that on which somebody wrote it down.
    """
    return BottlingRun.objects.filter(
        status=BottlingRun.Status.RECORDED,
        **days.lookups("posting__occurred_at", on - RUNS_SINCE + timedelta(days=1), on),
    )


def _runs(on: date) -> dict[int, dict[str, int]]:
    """Return the sums of the runs recorded in the year up to `on`, by product.

    "timed" are the pieces filled in runs whose minutes were entered.
    """
    found: dict[int, dict[str, int]] = {}
    rows = runs_recorded(on).values_list(
        "product_id",
        "pieces_filled",
        "pieces_broken",
        F("drawn_grams") + F("added_grams"),
        "loss_grams",
        "labour_minutes",
    )
    # A recorded run has all its figures; only its minutes may be missing.
    for product, filled, broken, drawn, loss, minutes in cast(Iterable[RunFigures], rows):
        figures = {
            "count": 1,
            "filled": filled,
            "broken": broken,
            "drawn": drawn,
            "loss": loss,
            "minutes": minutes or 0,
            "timed": 0 if minutes is None else filled,
        }
        sums = found.setdefault(product, dict.fromkeys(figures, 0))
        for name, figure in figures.items():
            sums[name] += figure
    return found
