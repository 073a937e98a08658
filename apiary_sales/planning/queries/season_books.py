"""What the books give to the season plan, in a constant number of questions to the database."""

from collections import defaultdict
from datetime import date
from decimal import Decimal
from fractions import Fraction

from django.db.models import Sum

from apiary_sales.orders.models import FulfilmentLine
from apiary_sales.planning.models import SeasonOutlook
from apiary_sales.planning.queries import monthly_sales
from apiary_sales.planning.queries.monthly_sales import MonthlySales
from apiary_sales.planning.rules import season as rules
from apiary_sales.planning.rules.season import (
    DemandState,
    HoneyState,
    LeftHoney,
    PartOnHand,
    PieceState,
    SeasonBooks,
)
from apiary_sales.pricing.queries import costs, prices
from apiary_sales.pricing.rules.costs import TIER_OF_CHANNEL, Book
from inventory.bottling.models import BottlingRun, Product
from inventory.bottling.queries import packed_stock as stock_queries
from inventory.bottling.queries import parts as part_queries
from inventory.bottling.rules import filling
from inventory.shared.days import month_number
from inventory.shared.month_of import MonthOf
from inventory.stock import density
from inventory.stock.models import Balance, Item, Lot, Place, ProductionSettings
from inventory.stock.rules import is_above_limit

# What is filled from a vessel as it is; comb and chunk honey need comb too.
FORMS_PLANNED = (Product.Form.LIQUID, Product.Form.CREAMED)
# What selling takes, in the lines of a net back; parts and work count apart.
OF_SELLING = ("price", "discount", "card", "tax", "channel")
# Usual honey, to say what a vessel holds.
USUAL_MOISTURE, USUAL_CELSIUS = Decimal("17.5"), Decimal(20)


def read(on: date) -> SeasonBooks:
    """Read all that the season plan of one day is made of."""
    book = costs.book(on)
    settings = ProductionSettings.current()
    planned = list(
        BottlingRun.objects.filter(status=BottlingRun.Status.PLANNED).select_related("product")
    )
    history = monthly_sales.monthly(on)
    pieces = _pieces(book, planned)
    planned_ids = {row.product.pk for row in pieces}
    demands, priceless, too_new = _demands(book, pieces, history)
    honeys, left_honey = _honeys(on, pieces, planned, settings)
    used = {part for row in pieces for part in row.needs}
    room, unknown = _room()
    harvests, this_month = _harvests(on)
    at_list = _average(honeys)
    net = book.drum_net_back(Decimal(1))
    drums = {key: months for key, months in history.pieces.items() if key[0] is None}
    sold: dict[int, int] = defaultdict(int)
    for months in drums.values():
        for month, grams in months.items():
            if month < history.this_month:
                sold[month_number(month)] += grams
    return SeasonBooks(
        on=on,
        outlook=SeasonOutlook.current(),
        honeys=honeys,
        left_honey=left_honey,
        pieces=pieces,
        demands=demands,
        priceless=priceless,
        too_new=too_new,
        other_forms=tuple(
            product.name for product in book.products if product.pk not in planned_ids
        ),
        parts=tuple(
            PartOnHand(
                part=row.part,
                stock=max(0, row.on_hand - row.planned),
                cents=_cents(book.part_costs.get(row.part.pk)),
            )
            for row in part_queries.stock(with_prices=False)
            if row.part.pk in used
        ),
        harvests=harvests,
        extracted_this_month=this_month,
        drums_sold=dict(sold),
        drums_known=tuple(sorted(sold)),
        list_price=at_list,
        drum_kept_share=float(net.kept_share),
        drum_cost=float(net.cost_per_pound),
        room_grams=room,
        rooms_unknown=unknown,
        labour_cents_per_hour=book.labour_cents_per_hour,
        planned_runs=len(planned),
    )


def _pieces(book: Book, planned: list[BottlingRun]) -> tuple[PieceState, ...]:
    ready: dict[int, int] = defaultdict(int)
    for row in stock_queries.products():
        ready[row.product.pk] += row.free + row.setting
    for run in planned:
        if run.lot is None or run.lot.is_ours:
            ready[run.product_id] += run.pieces_planned
    found = []
    for product in book.products:
        if product.form not in FORMS_PLANNED:
            continue
        fill = book.fill(product)
        found.append(
            PieceState(
                product=product,
                grams_each=float(max(fill.drawn_grams, product.declared_grams)),
                minutes_each=fill.minutes,
                ready=ready[product.pk],
                needs=_needs(book, product),
            )
        )
    return tuple(found)


def _needs(book: Book, product: Product) -> dict[int, float]:
    needs: dict[int, float] = defaultdict(float)
    for use in book.parts.get(product.pk, ()):
        needs[use.part_id] += use.quantity / use.per_pieces
    return dict(needs)


def _demands(
    book: Book, pieces: tuple[PieceState, ...], history: MonthlySales
) -> tuple[tuple[DemandState, ...], tuple[str, ...], tuple[str, ...]]:
    """Return who buys what, with its history; then what has no price, and what is too new."""
    found, priceless, too_new = [], [], []
    for row in pieces:
        product = row.product
        for channel in TIER_OF_CHANNEL:
            sold = history.pieces.get((product.pk, channel))
            if not sold:
                continue
            name = f"{product.name}, {channel.label}"
            known = tuple(
                month_number(month) for month in history.known_months(product.pk, str(channel))
            )
            net = _net_cents(book, product, str(channel))
            if net is None:
                priceless.append(name)
            elif len(known) < rules.MONTHS_KNOWN_MIN:
                too_new.append(name)
            else:
                by_month = {month_number(month): count for month, count in sold.items()}
                found.append(DemandState(product, str(channel), net, by_month, known))
    return tuple(found), tuple(priceless), tuple(too_new)


def _net_cents(book: Book, product: Product, channel: str) -> float | None:
    """Return what a piece brings after selling it, before parts and work."""
    net_back = book.net_back(product, channel)
    if net_back is None:
        return None
    told = [line.each for line in net_back.lines if line.kind in OF_SELLING]
    return float(sum((each for each in told if each is not None), Decimal(0)) * 100)


def _honeys(
    on: date,
    pieces: tuple[PieceState, ...],
    planned: list[BottlingRun],
    settings: ProductionSettings,
) -> tuple[tuple[HoneyState, ...], tuple[LeftHoney, ...]]:
    """Return the honey that the plan may use, and what it leaves out with the reason."""
    grams_each = {row.product.pk: row.grams_each for row in pieces}
    wanted: dict[int, float] = defaultdict(float)
    for run in planned:
        each = grams_each.get(run.product_id, float(run.product.declared_grams))
        wanted[run.source_id] += run.pieces_planned * each
    bids = prices.bulk_list(on)
    found, left = [], []
    balances = (
        Balance.objects.filter(item__kind=Item.Kind.HONEY, is_vessel=True, quantity__gt=0)
        .select_related("place", "lot")
        .order_by("place__kind", "place__code")
    )
    for balance in balances:
        lot, place = balance.lot, balance.place
        if lot is None:
            continue
        because = _because(lot, settings)
        if because or not place.is_active:
            left.append(LeftHoney(place.name, balance.quantity, because or str(place)))
            continue
        free = int(balance.free - wanted[balance.place_id])
        if balance.quantity > max(0, free):
            taken = balance.quantity - max(0, free)
            left.append(LeftHoney(place.name, taken, rules.because_promised()))
        if free > 0:
            misfits = frozenset(
                row.product.pk
                for row in pieces
                if filling.fit_error(balance, row.product.honey_size, settings.honey_house_celsius)
                or filling.variety_sentence(row.product, balance)
            )
            found.append(HoneyState(place.name, free, bids.price_per_pound(lot), misfits))
    return tuple(found), tuple(left)


def _because(lot: Lot, settings: ProductionSettings) -> str:
    """Return why honey is not used without being told to; empty where it may be."""
    if not lot.is_ours:
        return rules.because_of_others()
    if lot.is_on_hold:
        return rules.because_on_hold()
    if lot.moisture_percent is None:
        return rules.because_moisture_unknown()
    if is_above_limit(lot, settings.moisture_limit_percent):
        return rules.because_above_limit()
    return ""


def _average(honeys: tuple[HoneyState, ...]) -> Decimal | None:
    """Return the average price of the honey there is, by weight; None where none has a price."""
    priced = [(honey.grams, honey.price) for honey in honeys if honey.price is not None]
    whole = sum(grams for grams, _price in priced)
    if not whole:
        return None
    return sum((grams * price for grams, price in priced), Decimal(0)) / whole


def _room() -> tuple[int, tuple[str, ...]]:
    """Return the grams that the vessels of the house hold, and which hold nobody knows how much.

    Drums that are out at buyers are not counted.
    """
    out = set(FulfilmentLine.objects.still_out().values_list("order_line__drum_id", flat=True))
    grams, unknown = 0, []
    vessels = Place.objects.filter(kind__in=Place.VESSELS, is_active=True).exclude(pk__in=out)
    for place in vessels:
        if place.capacity_litres:
            grams += density.grams_of(
                place.capacity_litres, moisture_percent=USUAL_MOISTURE, celsius=USUAL_CELSIUS
            ).grams
        else:
            unknown.append(place.name)
    return grams, tuple(unknown)


def _harvests(on: date) -> tuple[dict[int, dict[int, int]], int]:
    """Return what was extracted, by season and month of the year; then what was this month.

    The season of this year counts once its last month, by earlier seasons, is over.
    """
    rows = (
        Lot.objects.filter(kind=Lot.Kind.EXTRACTION, made_on__lte=on, owner=None)
        .order_by()
        .annotate(month=MonthOf("made_on"))
        .values_list("season", "month")
        .annotate(grams=Sum("quantity_made"))
    )
    found: dict[int, dict[int, int]] = defaultdict(lambda: defaultdict(int))
    this_month = 0
    for season, month, grams in rows:
        found[season][month.month] += grams
        this_month += grams if month == on.replace(day=1) else 0
    earlier = [month for season in found if season < on.year for month in found[season]]
    last = max(earlier, default=0)
    whole = {
        season: dict(months)
        for season, months in found.items()
        if season < on.year or on.month > max(last, *months)
    }
    return whole, this_month


def _cents(cost: Fraction | None) -> float | None:
    return None if cost is None else float(cost)
