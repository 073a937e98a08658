"""What the plan can choose from: read from the books, changed by hand, made into a programme.

    read(on)                     the books: honey, sizes, parts, prices, labour       -> Books
    Figures.from_books(...)      the same as figures that a person may change          -> Figures
    programme_of(books, figures) both as an integer programme                          -> Programme

Runs that are planned already keep their honey, parts and jars: the plan comes on top of them.
"""

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from decimal import ROUND_CEILING, ROUND_HALF_EVEN, Decimal
from fractions import Fraction

from django.db.models import TextChoices
from django.utils.translation import gettext_lazy as _

from apiary_sales.planning import programme
from apiary_sales.planning.demand import History
from apiary_sales.planning.programme import (
    POUND_GRAMS,
    Buyer,
    Honey,
    Need,
    Part,
    PlannedSize,
    Programme,
)
from apiary_sales.pricing.models import ChannelCost
from apiary_sales.pricing.queries import costs, prices
from inventory.bottling.models import BottlingRun, PackagingPart, Size, SizePart
from inventory.bottling.queries import packed_stock as stock_queries
from inventory.bottling.queries import parts as part_queries
from inventory.bottling.rules import filling
from inventory.stock.models import Balance, Item, Lot, Place, ProductionSettings

FOUR_PLACES = Decimal("0.0001")
# A 55-gallon drum holds about 640 to 660 lb (common practice).
DRUM_POUNDS = Decimal(650)
# Nobody has said how long work may take: a week of one person, and a quarter of an hour to set up
# and clean. Both are figures to change on the page. What is counted for each run is taken out of
# the minutes each of past runs, whose recorded work began with setting up.
HOURS = Decimal(40)
MINUTES_PER_RUN = Decimal(15)
# Always offered; the other channels when something was ever sold there.
USUAL_CHANNELS = (ChannelCost.Channel.STAND, ChannelCost.Channel.SHOP)


class Bulk(TextChoices):
    """How honey that is not bottled is sold."""

    POUNDS = "pounds", _("by the pound: the last drum may be part full")
    DRUMS = "drums", _("in full drums only")


@dataclass(frozen=True)
class Vessel:
    """Honey in one vessel that is neither promised nor wanted by a planned run."""

    place: Place
    lot: Lot
    free_grams: int
    bid_per_pound: Decimal | None
    # Sizes whose declared weight of this honey does not go in.
    misfits: frozenset[int]

    @property
    def is_drum(self) -> bool:
        return self.place.kind == Place.Kind.DRUM


@dataclass(frozen=True)
class SizeNow:
    """One size: what a piece takes, and the pieces that are filled or planned and not promised."""

    size: Size
    uses: tuple[SizePart, ...]
    grams_each: int
    minutes_each: Decimal | None
    ready: int


@dataclass(frozen=True)
class PartNow:
    """One part: pieces that no planned run needs, and what one costs on average."""

    part: PackagingPart
    stock: int
    cost: Decimal | None


@dataclass(frozen=True)
class Offer:
    """One size in one channel, at the price of its list; None while there is no price."""

    size: Size
    channel: str
    price_cents: int | None

    @property
    def channel_label(self) -> str:
        return str(ChannelCost.Channel(self.channel).label)

    @property
    def key(self) -> str:
        return f"{self.size.pk}-{self.channel}"


@dataclass(frozen=True)
class Books:
    """What the books say on one day."""

    on: date
    vessels: tuple[Vessel, ...]
    sizes: tuple[SizeNow, ...]
    parts: tuple[PartNow, ...]
    costs: costs.Book
    planned_runs: int
    # The key of the planned run that was made last; 0 without any.
    newest_run: int

    @property
    def ready(self) -> dict[str, int]:
        """Pieces that are filled or planned and not promised, by the key of their size."""
        return {str(row.size.pk): row.ready for row in self.sizes}

    def offers(self, history: History) -> tuple[Offer, ...]:
        """Return every size in each channel it is usually or was ever sold in."""
        found = []
        for row in self.sizes:
            for channel, tier in costs.TIER_OF_CHANNEL.items():
                price = self.costs.price_lists[tier].of(row.size).offer()
                was_sold = any(history.of(row.size.pk, channel).pieces)
                if was_sold or (price and channel in USUAL_CHANNELS):
                    cents = price.piece_cents if price else None
                    found.append(Offer(row.size, str(channel), cents))
        return tuple(found)


@dataclass(frozen=True)
class Figures:
    """The figures of one plan, as a person left them.

    Weights in grams; bids and part costs in currency to four places; prices of pieces in cents.
    """

    grams: Mapping[int, int]
    bids: Mapping[int, Decimal | None]
    bulk: str
    drum_grams: int
    grams_each: Mapping[int, int]
    minutes_each: Mapping[int, Decimal]
    price_cents: Mapping[str, int | None]
    pieces: Mapping[str, int]
    order_max: Mapping[int, int]
    part_costs: Mapping[int, Decimal]
    is_stock_free: bool
    hours: Decimal
    labour_cents_per_hour: int
    minutes_per_run: Decimal


@dataclass(frozen=True)
class Selling:
    """What one piece, or one pound in drums, brings: its price, and what selling it takes."""

    price: Decimal
    cost: Decimal

    @property
    def net_cents(self) -> Fraction:
        return Fraction(self.price - self.cost) * 100


def read(on: date) -> Books:
    """Read everything the plan can choose from, in a constant number of queries."""
    book = costs.book(on)
    planned = list(
        BottlingRun.objects.filter(status=BottlingRun.Status.PLANNED).select_related("size")
    )
    sizes = _sizes(book, planned)
    used = {use.part_id for size in sizes for use in size.uses}
    return Books(
        on=on,
        vessels=_vessels(on, sizes, planned),
        sizes=sizes,
        parts=tuple(
            PartNow(
                part=row.part,
                stock=max(0, row.on_hand - row.planned),
                cost=_money(book.part_costs.get(row.part.pk)),
            )
            for row in part_queries.stock()
            if row.part.pk in used
        ),
        costs=book,
        planned_runs=len(planned),
        newest_run=max((run.pk for run in planned), default=0),
    )


def buyers_of(books: Books, figures: Figures, offers: tuple[Offer, ...]) -> tuple[Buyer, ...]:
    """Return who buys which size, and how many pieces in all; offers without a price are left out.

    Jars that are ready are not taken off yet.
    """
    return tuple(
        Buyer(
            key=offer.key,
            size=str(offer.size.pk),
            cents_each=selling.net_cents,
            pieces_max=figures.pieces[offer.key],
        )
        for offer in offers
        if (selling := jar_selling(books, figures, offer))
    )


def programme_of(books: Books, figures: Figures, buyers: tuple[Buyer, ...]) -> Programme:
    """Make the integer programme of the books with these figures, for what these buyers take.

    Vessels without honey to use are left out.
    """
    return Programme(
        honeys=tuple(
            _honey(books, figures, vessel)
            for vessel in books.vessels
            if figures.grams[vessel.place.pk]
        ),
        sizes=tuple(
            PlannedSize(
                key=str(each.size.pk),
                grams_each=figures.grams_each[each.size.pk],
                minutes_each=Fraction(figures.minutes_each[each.size.pk]),
                needs=tuple(
                    Need(str(use.part_id), use.quantity, use.per_pieces) for use in each.uses
                ),
            )
            for each in books.sizes
        ),
        buyers=buyers,
        parts=tuple(
            Part(
                key=str(row.part.pk),
                stock=row.stock,
                stock_cents=0
                if figures.is_stock_free
                else Fraction(figures.part_costs[row.part.pk]) * 100,
                order_max=figures.order_max[row.part.pk],
                order_cents=Fraction(figures.part_costs[row.part.pk]) * 100,
            )
            for row in books.parts
        ),
        minutes=Fraction(figures.hours) * programme.HOUR_MINUTES,
        cents_per_minute=Fraction(figures.labour_cents_per_hour, programme.HOUR_MINUTES),
        minutes_per_run=Fraction(figures.minutes_per_run),
    )


def jar_selling(books: Books, figures: Figures, offer: Offer) -> Selling | None:
    """Return what one piece brings in a channel; None while it has no price."""
    price_cents = figures.price_cents[offer.key]
    if price_cents is None:
        return None
    supposed = books.costs.supposing(
        costs.WhatIf(piece_cents={(offer.size.pk, offer.channel): price_cents})
    )
    net_back = supposed.net_back(offer.size, offer.channel)
    taken = sum(
        (line.each for line in net_back.lines if line.kind in ("discount", "card", "channel")),
        Decimal(0),
    )
    return Selling(net_back.price, -taken)


def drum_selling(books: Books, figures: Figures, vessel: Vessel) -> Selling | None:
    """Return what one pound of a vessel brings in drums; None while nobody bids for it."""
    bid = figures.bids[vessel.place.pk]
    if bid is None:
        return None
    return Selling(bid, bid - books.costs.drum_net_back(bid).per_pound)


def bulk_grams(figures: Figures, vessel: Vessel) -> int | Fraction:
    """Return what one bulk unit of a vessel weighs: a full drum as it stands, a drum, a pound."""
    if vessel.is_drum:
        return figures.grams[vessel.place.pk]
    return figures.drum_grams if figures.bulk == Bulk.DRUMS else POUND_GRAMS


def _honey(books: Books, figures: Figures, vessel: Vessel) -> Honey:
    selling = drum_selling(books, figures, vessel)
    # Below what selling takes, honey is better kept than sold.
    sells = selling is not None and selling.net_cents >= 0
    each = bulk_grams(figures, vessel)
    return Honey(
        key=str(vessel.place.pk),
        grams=figures.grams[vessel.place.pk],
        bulk_grams=each if sells else None,
        bulk_cents=selling.net_cents * each / POUND_GRAMS if sells else 0,
        never_in=frozenset(str(pk) for pk in vessel.misfits),
    )


def _vessels(
    on: date, sizes: tuple[SizeNow, ...], planned: list[BottlingRun]
) -> tuple[Vessel, ...]:
    wanted: dict[int, int] = defaultdict(int)
    grams_each = {row.size.pk: row.grams_each for row in sizes}
    for run in planned:
        each = grams_each.get(run.size_id) or _up(run.size.declared_grams)
        wanted[run.source_id] += run.pieces_planned * each
    bids = prices.bulk_list(on)
    celsius = ProductionSettings.current().honey_house_celsius
    balances = (
        Balance.objects.filter(
            item__kind=Item.Kind.HONEY,
            is_vessel=True,
            quantity__gt=0,
            place__is_active=True,
            lot__is_on_hold=False,
        )
        .select_related("place", "lot")
        .order_by("place__kind", "place__code")
    )
    found = [
        Vessel(
            place=balance.place,
            lot=balance.lot,
            free_grams=balance.free - wanted[balance.place_id],
            bid_per_pound=bids.price_per_pound(balance.lot),
            misfits=frozenset(
                row.size.pk for row in sizes if filling.fit_error(balance, row.size, celsius)
            ),
        )
        for balance in balances
    ]
    # Tanks first: what is in drums already is the less likely to be bottled.
    usable = [vessel for vessel in found if vessel.free_grams > 0]
    return tuple(sorted(usable, key=lambda vessel: vessel.is_drum))


def _sizes(book: costs.Book, planned: list[BottlingRun]) -> tuple[SizeNow, ...]:
    ready: dict[int, int] = defaultdict(int)
    for row in stock_queries.sizes():
        ready[row.size.pk] += row.free
    for run in planned:
        ready[run.size_id] += run.pieces_planned
    recorded = _minutes_each(book.on)
    found = []
    for size in book.sizes:
        fill = book.fill(size)
        minutes_each = recorded.get(size.pk, fill.minutes)
        found.append(
            SizeNow(
                size=size,
                uses=tuple(book.parts.get(size.pk, ())),
                # A run is refused below the label weight, whatever earlier runs drew.
                grams_each=_up(max(fill.drawn_grams, size.declared_grams)),
                minutes_each=None if minutes_each is None else minutes_each.quantize(FOUR_PLACES),
                ready=ready[size.pk],
            )
        )
    return tuple(found)


def _minutes_each(on: date) -> dict[int, Decimal]:
    """Return minutes of work on one piece by size, without setting up and cleaning.

    From the runs of the year up to `on` that recorded their work. Those that took no longer than
    the usual set-up tell nothing of their pieces.
    """
    minutes: dict[int, Decimal] = defaultdict(Decimal)
    filled: dict[int, int] = defaultdict(int)
    rows = costs.runs_recorded(on).filter(labour_minutes__gt=MINUTES_PER_RUN)
    for size_id, pieces, worked in rows.values_list("size_id", "pieces_filled", "labour_minutes"):
        minutes[size_id] += worked - MINUTES_PER_RUN
        filled[size_id] += pieces
    return {pk: minutes[pk] / filled[pk] for pk in filled}


def _up(grams: Decimal) -> int:
    return int(grams.to_integral_value(ROUND_CEILING))


def _money(cents: Fraction | None) -> Decimal | None:
    if cents is None:
        return None
    exact = Decimal(cents.numerator) / cents.denominator / 100
    return exact.quantize(FOUR_PLACES, ROUND_HALF_EVEN)


def label_grams(size: Size) -> int:
    """Return the whole grams that fill one piece to its label, rounded up."""
    return _up(size.declared_grams)
