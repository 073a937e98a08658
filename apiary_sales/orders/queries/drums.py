"""Drums a buyer can have, which of them make up an amount, and what a quote comes to."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from functools import cached_property
from typing import cast

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from apiary_sales.orders.models import OrderLine
from apiary_sales.orders.rules.lines import (
    DRUM_CHARGES,
    LineWanted,
    is_whole_drum,
    printed_pounds,
)
from apiary_sales.pricing.queries import costs, prices
from apiary_sales.pricing.rules.costs import JarNetBack
from inventory.physics import density as density_tables
from inventory.physics.units import GALLON_LITRES, GRAMS
from inventory.shared import words
from inventory.shared.errors import BadValue, NotEnoughHoney
from inventory.shared.money import cents_half_even, share_cents
from inventory.shared.weights import in_units
from inventory.stock import density
from inventory.stock.models import Balance, Lot, Place

OLDEST_FIRST = "oldest"
BEST_FIT = "fit"
LITRES = {"gal": GALLON_LITRES, "L": Decimal(1)}


@dataclass(frozen=True)
class DrumOffer:
    """A drum that is free, with what it holds and what a pound of it costs today."""

    drum: Place
    lot: Lot
    grams: int
    price_per_pound: Decimal | None

    @cached_property
    def litres(self) -> Decimal:
        """Litres at 20 °C (68 °F), by the density of honey of this moisture."""
        return density.litres_of(self.grams, moisture_percent=self.lot.honey_moisture)


@dataclass(frozen=True)
class DrumsWanted:
    """An amount of honey in drums, and what it may be like."""

    amount: Decimal
    unit: str
    colour_class: str = ""
    moisture_percent_max: Decimal | None = None
    prefer: str = OLDEST_FIRST

    def fits(self, offer: DrumOffer) -> bool:
        limit = self.moisture_percent_max
        return (not self.colour_class or offer.lot.colour_class == self.colour_class) and (
            limit is None or offer.lot.honey_moisture <= limit
        )

    def measure(self, offer: DrumOffer) -> Decimal:
        """Return how much of the unit a drum holds."""
        if self.unit == "drums":
            return Decimal(1)
        if self.unit in LITRES:
            return offer.litres / LITRES[self.unit]
        return offer.grams / GRAMS[self.unit]


def free_drums(on: date) -> list[DrumOffer]:
    """Return our full drums nobody has reserved and no check holds back, oldest honey first."""
    bulk_list = prices.bulk_list(on)
    balances = (
        Balance.objects.filter(
            # A drum has honey alone in it; asked for the kind too, SQLite would read all honey.
            place__kind=Place.Kind.DRUM,
            place__is_active=True,
            is_physical=True,
            quantity__gt=0,
            reserved=0,
            lot__is_on_hold=False,
        )
        .ours()
        .select_related("place", "lot")
        .order_by("lot__made_on", "lot_id", "place__code")
    )
    # Honey in a drum always has a lot.
    in_drums = [(balance, cast(Lot, balance.lot)) for balance in balances]
    return [
        DrumOffer(balance.place, lot, balance.quantity, bulk_list.price_per_pound(lot))
        for balance, lot in in_drums
    ]


def pick(offers: Sequence[DrumOffer], wanted: DrumsWanted) -> list[DrumOffer]:
    """Choose whole drums that make up at least the amount, oldest honey first or nearest to it.

    For "nearest", take the fewest drums that are enough, then replace each with the emptiest
    drum that still reaches the amount.
    Raises `BadValue` for no amount, `NotEnoughHoney` when all the fitting
    drums together have less in them; the sentence says how much.
    """
    if wanted.amount <= 0:
        raise BadValue(_("Enter how much is wanted."), parameter="wanted.amount")
    fitting = [offer for offer in offers if wanted.fits(offer)]
    there = sum((wanted.measure(offer) for offer in fitting), Decimal(0))
    if there < wanted.amount:
        raise NotEnoughHoney(
            _(
                "Not enough honey in free drums. Asked for: %(asked)s. Free and suitable: "
                "%(there)s. Ask for less, or change the colour or the moisture."
            )
            % {"asked": _amount(wanted.amount, wanted.unit), "there": _amount(there, wanted.unit)},
            parameter="wanted.amount",
        )
    if wanted.prefer == BEST_FIT:
        return _nearest(fitting, wanted)
    return _until_enough(fitting, wanted)


def _until_enough(offers: Sequence[DrumOffer], wanted: DrumsWanted) -> list[DrumOffer]:
    chosen, missing = [], wanted.amount
    for offer in offers:
        if missing <= 0:
            break
        chosen.append(offer)
        missing -= wanted.measure(offer)
    return chosen


def _nearest(offers: Sequence[DrumOffer], wanted: DrumsWanted) -> list[DrumOffer]:
    # Stable: among drums with as much in them, the oldest honey still goes first.
    chosen = _until_enough(sorted(offers, key=wanted.measure, reverse=True), wanted)
    over = sum(wanted.measure(offer) for offer in chosen) - wanted.amount
    for place, offer in enumerate(chosen):
        least = wanted.measure(offer) - over
        others = [other for other in offers if other not in chosen]
        fitting = [other for other in others if wanted.measure(other) >= least]
        emptiest = min(fitting, key=wanted.measure, default=offer)
        if wanted.measure(emptiest) < wanted.measure(offer):
            chosen[place] = emptiest
            over = wanted.measure(emptiest) - least
    return [offer for offer in offers if offer in chosen]


@dataclass(frozen=True)
class QuoteFigures:
    """Contents, total and margin of a quote; `printed_pounds` is the sum of the printed lines."""

    drums: int
    grams: int
    printed_pounds: Decimal
    litres: Decimal
    litres_uncertainty: Decimal
    honey_cents: int
    drum_cents: int
    freight_cents: int
    other_cents: int
    cost_cents: int | None
    jar: JarNetBack | None
    over_jar_cents: int | None

    @property
    def total_cents(self) -> int:
        return self.honey_cents + self.drum_cents + self.freight_cents + self.other_cents

    @property
    def pounds(self) -> Decimal:
        return in_units(self.grams)

    @property
    def price_per_pound(self) -> Decimal | None:
        """The average price a pound, to four places."""
        if not self.grams:
            return None
        return (Decimal(self.honey_cents) / 100 / self.pounds).quantize(Decimal("0.0001"))

    @property
    def margin_cents(self) -> int | None:
        """What the honey brings over its cost; None while a cost is not entered."""
        return None if self.cost_cents is None else self.honey_cents - self.cost_cents


def figures(lines: Sequence[LineWanted | OrderLine], *, on: date) -> QuoteFigures:
    """Return what these lines of a quote come to; a few queries however many lines.

    Gallons are at 68 °F (20 °C) by the density of each lot's moisture; the uncertainties of the
    density tables are added, because they err the same way. The best jar is compared with what is
    left of the drum price when selling in drums is paid, pound for pound of honey.
    """
    honey = [line for line in lines if line.kind == OrderLine.Kind.HONEY]
    litres, wrong_by = _volume([(line.quantity, line.lot) for line in honey if line.lot])
    grams = sum(line.quantity for line in honey)
    honey_cents = sum(line.amount_cents for line in honey)
    lots = [line.lot for line in honey if line.lot]
    jar, over_jar_cents = _against_jars(lots, grams, honey_cents, on) if grams else (None, None)
    return QuoteFigures(
        drums=sum(is_whole_drum(line) for line in honey),
        grams=grams,
        printed_pounds=sum(
            (printed_pounds(line.quantity, line.unit_price) for line in honey), Decimal(0)
        ),
        litres=litres,
        litres_uncertainty=wrong_by,
        honey_cents=honey_cents,
        drum_cents=_sum(lines, *DRUM_CHARGES),
        freight_cents=_sum(lines, OrderLine.Kind.FREIGHT),
        other_cents=_sum(
            lines, OrderLine.Kind.PACKED, OrderLine.Kind.WEIGHED, OrderLine.Kind.SERVICE
        ),
        cost_cents=_cost(honey),
        jar=jar,
        over_jar_cents=over_jar_cents,
    )


def _volume(honey: Sequence[tuple[int, Lot]]) -> tuple[Decimal, Decimal]:
    """Return the litres of so many grams of these lots, and how far off that may be."""
    litres, wrong_by = Decimal(0), Decimal(0)
    for grams, lot in honey:
        moisture = float(lot.honey_moisture)
        share = density_tables.density_uncertainty_kg_per_l(
            moisture
        ) / density_tables.density_kg_per_l(moisture)
        volume = density.litres_of(grams, moisture_percent=lot.honey_moisture)
        litres += volume
        wrong_by += volume * Decimal(str(share))
    return litres, wrong_by.quantize(Decimal("0.001"))


def _cost(honey: Sequence[LineWanted | OrderLine]) -> int | None:
    known = [
        share_cents(line.lot.cost_cents, line.quantity, line.lot.quantity_made)
        for line in honey
        if line.lot and line.lot.cost_cents is not None and line.lot.quantity_made > 0
    ]
    return sum(known) if len(known) == len(honey) else None


def _against_jars(
    lots: Sequence[Lot], grams: int, honey_cents: int, on: date
) -> tuple[JarNetBack | None, int | None]:
    book = costs.book(on)
    for lot in lots:
        book = book.fillable_with(lot)
    jar = book.best_net_back()
    if jar is None or jar.per_pound is None:
        return None, None
    pounds = in_units(grams)
    drum = book.drum_net_back(Decimal(honey_cents) / 100 / pounds)
    return jar, cents_half_even((drum.per_pound - jar.per_pound) * pounds)


def _sum(lines: Sequence[LineWanted | OrderLine], *kinds: str) -> int:
    return sum(line.amount_cents for line in lines if line.kind in kinds)


def _amount(amount: Decimal, unit: str) -> str:
    if unit in LITRES:
        return words.volume(amount * LITRES[unit])
    if unit in GRAMS:
        return words.weight(amount * GRAMS[unit])
    return ngettext("%(count)s drum", "%(count)s drums", int(amount)) % {"count": int(amount)}
