"""What the books give to a plan: honey, products, parts, prices, labour, and what was sold before.

Runs that are planned already keep their honey, parts and jars: the plan comes on top of them.
"""

from collections import defaultdict
from datetime import date
from decimal import ROUND_HALF_EVEN, Decimal
from fractions import Fraction

from django.db.models import Min

from apiary_sales.customers.models import Customer
from apiary_sales.planning.queries import past_sales
from apiary_sales.planning.rules.books import (
    Books,
    NotUsedBecause,
    Offer,
    PartState,
    ProductState,
    VesselNotUsed,
    VesselState,
)
from apiary_sales.planning.rules.demand import History
from apiary_sales.planning.rules.figures import MINUTES_PER_RUN, whole_grams
from apiary_sales.pricing.models import ChannelCost
from apiary_sales.pricing.queries import costs, prices
from apiary_sales.pricing.rules.costs import TIER_OF_CHANNEL, Book
from inventory.bottling.models import BottlingRun, Product
from inventory.bottling.queries import packed_stock as stock_queries
from inventory.bottling.queries import parts as part_queries
from inventory.bottling.rules import filling
from inventory.shared.money import FOUR_PLACES
from inventory.stock.models import Balance, Item, Lot, ProductionSettings
from inventory.stock.rules import above_limit_sentence

# What is filled from a vessel as it is; comb and chunk honey need comb too.
FORMS_PLANNED = (Product.Form.LIQUID, Product.Form.CREAMED)

# Always offered; the other channels when something was ever sold there.
USUAL_CHANNELS = (ChannelCost.Channel.STAND, ChannelCost.Channel.SHOP)


def read(on: date, *, months: int) -> Books:
    """Read all that a plan for so many months can choose from, in a constant number of queries."""
    book = costs.book(on)
    history = past_sales.history(on=on, months=months)
    planned = list(
        BottlingRun.objects.filter(status=BottlingRun.Status.PLANNED).select_related(
            "product__size", "lot"
        )
    )
    products = _products(book, planned)
    used = {use.part_id for product in products for use in product.uses}
    vessels, not_used = _vessels(on, products, planned)
    return Books(
        on=on,
        vessels=vessels,
        not_used=not_used,
        products=products,
        left_out=_left_out(book),
        parts=tuple(
            PartState(
                part=row.part,
                stock=max(0, row.on_hand - row.planned),
                cost=_money(book.part_costs.get(row.part.pk)),
            )
            for row in part_queries.stock(with_prices=False)
            if row.part.pk in used
        ),
        offers=_offers(book, products, history),
        history=history,
        costs=book,
        planned_runs=len(planned),
        smallest_run=costs.runs_recorded(on).aggregate(least=Min("pieces_filled"))["least"],
        newest_run=max((run.pk for run in planned), default=0),
    )


def _offers(book: Book, products: tuple[ProductState, ...], history: History) -> tuple[Offer, ...]:
    """Return every product in each channel in which it is usually sold or ever was."""
    found = []
    for row in products:
        for channel, tier in TIER_OF_CHANNEL.items():
            if not book.is_sold_in(row.product, channel):
                continue
            listed = book.price_lists[tier].of(row.product)
            price = listed.offer()
            was_sold = any(history.of(row.product.pk, channel).pieces)
            # The customer of a private label has it filled to buy it, whatever the channel.
            is_usual = channel in USUAL_CHANNELS or listed.private_to is not None
            if was_sold or (price and is_usual):
                cents = price.piece_cents if price else None
                found.append(Offer(row.product, str(channel), cents))
    return tuple(found)


def _vessels(
    on: date, products: tuple[ProductState, ...], planned: list[BottlingRun]
) -> tuple[tuple[VesselState, ...], tuple[VesselNotUsed, ...]]:
    wanted: dict[int, int] = defaultdict(int)
    grams_each = {row.product.pk: row.grams_each for row in products}
    for run in planned:
        each = grams_each.get(run.product_id) or whole_grams(run.product.declared_grams)
        wanted[run.source_id] += run.pieces_planned * each
    bids = prices.bulk_list(on)
    settings = ProductionSettings.current()
    celsius = settings.honey_house_celsius
    balances = (
        Balance.objects.filter(
            item__kind=Item.Kind.HONEY,
            is_vessel=True,
            quantity__gt=0,
            place__is_active=True,
            lot__isnull=False,
        )
        .select_related("place", "lot")
        .order_by("place__kind", "place__code")
    )
    found, not_used = [], []
    for balance in balances:
        lot, place = balance.honey_lot, balance.place
        free = balance.free - wanted[balance.place_id]
        if because := _because(lot, free):
            not_used.append(VesselNotUsed(place, because))
            continue
        found.append(
            VesselState(
                place=place,
                lot=lot,
                free_grams=free,
                bid_per_pound=bids.price_per_pound(lot),
                misfits=frozenset(
                    row.product.pk for row in products if _misfits(row.product, balance, celsius)
                ),
                moisture_question=above_limit_sentence(lot, place, settings.moisture_limit_percent),
            )
        )
    # Tanks first: what is in drums already is the less likely to be bottled.
    return tuple(sorted(found, key=lambda vessel: vessel.is_drum)), tuple(not_used)


def _because(lot: Lot, free: int) -> NotUsedBecause | None:
    """Return why no plan may use honey; None where it may."""
    if not lot.is_ours:
        return NotUsedBecause.OTHERS
    if lot.is_on_hold:
        return NotUsedBecause.HELD
    return NotUsedBecause.PROMISED if free <= 0 else None


def _products(book: Book, planned: list[BottlingRun]) -> tuple[ProductState, ...]:
    ready: dict[int, int] = defaultdict(int)
    for row in stock_queries.products():
        ready[row.product.pk] += row.free
    for run in planned:
        # What is packed for another beekeeper is not for sale.
        if run.lot is None or run.lot.is_ours:
            ready[run.product_id] += run.pieces_planned
    recorded = _minutes_each(book.on)
    found = []
    for product in book.products:
        if product.form not in FORMS_PLANNED:
            continue
        fill = book.fill(product)
        minutes_each = recorded.get(product.pk, fill.minutes)
        found.append(
            ProductState(
                product=product,
                uses=tuple(book.parts.get(product.pk, ())),
                # A run is refused below the label weight, whatever earlier runs drew.
                grams_each=whole_grams(max(fill.drawn_grams, product.declared_grams)),
                minutes_each=None if minutes_each is None else minutes_each.quantize(FOUR_PLACES),
                ready=ready[product.pk],
            )
        )
    return tuple(found)


def _left_out(book: Book) -> tuple[Product, ...]:
    """Return the honey for sale whose form no plan can fill."""
    return tuple(
        each.product
        for each in book.price_lists[Customer.Tier.STAND].products
        if each.product.is_honey and each.product.form not in FORMS_PLANNED
    )


def _minutes_each(on: date) -> dict[int, Decimal]:
    """Return minutes of work on one piece by product, without setting up and cleaning.

    From the runs of the year up to `on` that recorded their work. Those that took no longer than
    the usual set-up say nothing about their pieces.
    """
    minutes: dict[int, Decimal] = defaultdict(Decimal)
    filled: dict[int, int] = defaultdict(int)
    rows = costs.runs_recorded(on).filter(labour_minutes__gt=MINUTES_PER_RUN)
    for product_id, pieces, worked in rows.values_list(
        "product_id", "pieces_filled", "labour_minutes"
    ):
        minutes[product_id] += (worked or 0) - MINUTES_PER_RUN
        filled[product_id] += pieces or 0
    return {pk: minutes[pk] / filled[pk] for pk in filled}


def _misfits(product: Product, there: Balance, celsius: Decimal) -> bool:
    """Tell whether this honey can't be filled as the product: no room, or another variety."""
    return bool(
        filling.fit_error(there, product.honey_size, celsius)
        or filling.variety_sentence(product, there)
    )


def _money(cents: Fraction | None) -> Decimal | None:
    if cents is None:
        return None
    exact = Decimal(cents.numerator) / cents.denominator / 100
    return exact.quantize(FOUR_PLACES, ROUND_HALF_EVEN)
