"""The figures of a plan as a person left them, and the programme they make with the books."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from decimal import ROUND_CEILING, Decimal
from fractions import Fraction

from django.db.models import TextChoices
from django.utils.translation import gettext_lazy as _

from apiary_sales.planning.programme import (
    HOUR_MINUTES,
    Honey,
    Need,
    Part,
    PlannedBuyer,
    PlannedProduct,
    Programme,
)
from apiary_sales.planning.rules.books import Books, Offer, VesselState
from apiary_sales.pricing.rules.costs import WhatIf
from inventory.shared import conventions
from inventory.shared.weights import unit_grams

# A 55-gallon drum holds about 640 to 660 lb (common practice).
# What a full drum of 55 gallons weighs net, about.
DRUM_POUNDS, DRUM_KILOGRAMS = Decimal(650), Decimal(295)
# A drum is full that has nine tenths of it: one is filled to a weight, and never to the brim.
FULL_DRUM = Fraction(9, 10)
# Default hours and minutes, which can be changed on the page: one week of one person, and a
# quarter of an hour for setting up and cleaning a run. The recorded work of past runs includes
# setting up, so these minutes are deducted before the minutes of each piece are worked out.
HOURS = Decimal(40)
MINUTES_PER_RUN = Decimal(15)


class Bulk(TextChoices):
    """How honey that is not bottled is sold."""

    POUNDS = "pounds", _("by weight: the last drum may be partly full")
    DRUMS = "drums", _("in full drums only")


class WhichHoney(TextChoices):
    """Which honey the plan may use where nothing else is typed."""

    ALL = "all", _("all free honey, in tanks and drums")
    TANKS = "tanks", _("only what is in tanks; drums stay as they are")


@dataclass(frozen=True)
class Figures:
    """The figures of one plan, by primary keys of vessels, products, parts, and keys of offers.

    Weights in grams, as much of each vessel as the plan may use; bids and part costs in currency
    to four places; prices of pieces in cents.
    """

    which_honey: str
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
    cents_per_run: int
    least_pieces: int


@dataclass(frozen=True)
class Selling:
    """What one piece, or one pound in drums, brings: its price, and what selling it takes."""

    price: Decimal
    cost: Decimal

    @property
    def price_cents(self) -> int:
        """The price in whole cents, as that of a piece is."""
        return int(self.price * 100)

    @property
    def net_cents(self) -> Fraction:
        return Fraction(self.price - self.cost) * 100


def jar_sellings(books: Books, figures: Figures) -> dict[str, Selling]:
    """Return what a piece of each offer brings, by its key; those without a price are left out."""
    found = {}
    for offer in books.offers:
        if selling := _jar_selling(books, offer, figures.price_cents[offer.key]):
            found[offer.key] = selling
    return found


def drum_sellings(books: Books, figures: Figures) -> dict[str, Selling]:
    """Return what a pound of each vessel brings in drums, by its key; those nobody bids for are
    left out."""
    found = {}
    for vessel in books.vessels:
        bid = figures.bids[vessel.place.pk]
        if bid is not None:
            found[vessel.key] = Selling(bid, bid - books.costs.drum_net_back(bid).per_pound)
    return found


def buyers_of(
    books: Books, figures: Figures, sellings: Mapping[str, Selling]
) -> tuple[PlannedBuyer, ...]:
    """Return who buys which product, and how many pieces in all.

    Offers without a price are left out. Jars that are ready are not taken off yet.
    """
    return tuple(
        PlannedBuyer(
            key=offer.key,
            product=str(offer.product.pk),
            cents_each=sellings[offer.key].net_cents,
            pieces_max=figures.pieces[offer.key],
        )
        for offer in books.offers
        if offer.key in sellings
    )


def programme_of(
    books: Books,
    figures: Figures,
    buyers: tuple[PlannedBuyer, ...],
    drum_sellings: Mapping[str, Selling],
) -> Programme:
    """Make the integer programme of the books with these figures, for what these buyers take.

    Vessels without honey to use are left out.
    """
    return Programme(
        honey_step=Fraction(unit_grams()),
        honeys=tuple(
            _honey(figures, vessel, drum_sellings.get(vessel.key))
            for vessel in sorted(books.vessels, key=lambda each: _opened_after(figures, each))
            if figures.grams[vessel.place.pk]
        ),
        products=tuple(
            PlannedProduct(
                key=each.key,
                grams_each=figures.grams_each[each.product.pk],
                minutes_each=Fraction(figures.minutes_each[each.product.pk]),
                needs=tuple(
                    Need(str(use.part_id), use.quantity, use.per_pieces) for use in each.uses
                ),
            )
            for each in books.products
        ),
        buyers=buyers,
        parts=tuple(
            Part(
                key=row.key,
                stock=row.stock,
                stock_cents=0
                if figures.is_stock_free
                else Fraction(figures.part_costs[row.part.pk]) * 100,
                order_max=figures.order_max[row.part.pk],
                order_cents=Fraction(figures.part_costs[row.part.pk]) * 100,
            )
            for row in books.parts
        ),
        minutes=Fraction(figures.hours) * HOUR_MINUTES,
        cents_per_minute=Fraction(figures.labour_cents_per_hour, HOUR_MINUTES),
        minutes_per_run=Fraction(figures.minutes_per_run),
        cents_per_run=figures.cents_per_run,
        least_pieces=figures.least_pieces,
    )


def usual_drum_weight() -> Decimal:
    """Return what a full drum of 55 gallons weighs, in the house's unit of weight."""
    return DRUM_KILOGRAMS if conventions.current().is_metric else DRUM_POUNDS


def bulk_grams(figures: Figures, vessel: VesselState) -> int | Fraction:
    """Return what one bulk unit of a vessel weighs: a drum, or a pound.

    Where full drums are sold, a drum goes as it is, whatever its weight.
    """
    if figures.bulk == Bulk.DRUMS:
        return figures.grams[vessel.place.pk] if vessel.is_drum else figures.drum_grams
    return Fraction(unit_grams())


def whole_grams(grams: Decimal) -> int:
    """Return the whole grams that are enough, rounded up."""
    return int(grams.to_integral_value(ROUND_CEILING))


def _jar_selling(books: Books, offer: Offer, price_cents: int | None) -> Selling | None:
    if price_cents is None:
        return None
    supposed = books.costs.supposing(
        WhatIf(piece_cents={(offer.product.pk, offer.channel): price_cents})
    )
    net_back = supposed.net_back(offer.product, offer.channel)
    if net_back is None:
        return None
    taken = [
        line.each
        for line in net_back.lines
        if line.kind in ("discount", "card", "tax", "channel") and line.each is not None
    ]
    return Selling(net_back.price, -sum(taken, Decimal(0)))


def _honey(figures: Figures, vessel: VesselState, selling: Selling | None) -> Honey:
    honey = Honey(
        key=vessel.key,
        grams=figures.grams[vessel.place.pk],
        never_in=frozenset(str(pk) for pk in vessel.misfits),
    )
    # If the cost of selling is higher than the bid, the honey is not offered for sale.
    if selling is None or selling.net_cents < 0:
        return honey
    each = bulk_grams(figures, vessel)
    cents_per_gram = selling.net_cents / Fraction(unit_grams())
    honey = replace(honey, bulk_grams=each, bulk_cents=cents_per_gram * each)
    if vessel.is_drum and figures.bulk == Bulk.POUNDS and honey.grams == vessel.free_grams:
        return replace(honey, whole_cents=cents_per_gram * vessel.free_grams)
    return honey


def _opened_after(figures: Figures, vessel: VesselState) -> tuple[bool, bool]:
    """Put tanks first, then drums that are not full, then full ones."""
    is_full = vessel.free_grams >= FULL_DRUM * figures.drum_grams
    return vessel.is_drum, vessel.is_drum and is_full
