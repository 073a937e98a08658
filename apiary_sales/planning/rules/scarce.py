"""What is scarce now: hours, honey, parts, buyers or room in tanks, and what more of it would earn.

All that is still to be filled, and brings more than the drum, is one programme (see `programme`):
honey of one drum price that fills the same products is one vessel, and setting up is in the minutes
of a piece as it was in past runs. A limit is scarce where the best plan earns more with more of it.
To compare limits of different kinds, each is given a tenth more of what the coming sales need of
it, and what that earns more is worked out. Honey counts only what it earns above its drum price.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from fractions import Fraction
from math import ceil
from types import MappingProxyType

from django.db.models import TextChoices
from django.utils.translation import gettext_lazy as _

from apiary_sales.planning import programme
from apiary_sales.planning.programme import (
    HOUR_MINUTES,
    Honey,
    Need,
    Part,
    Plan,
    PlannedBuyer,
    PlannedProduct,
    Programme,
)
from apiary_sales.planning.programme.proof import LimitKind
from apiary_sales.planning.rules.books import Books, PartState
from apiary_sales.planning.rules.earnings import Earning, Measure
from inventory.shared.weights import unit_grams

SECONDS = 1.0
A_TENTH = Fraction(1, 10)
# What earns less more than this is within the rounding of the search.
LEAST_CENTS = 100


class Scarce(TextChoices):
    """What there can be too little of."""

    HOURS = "hours", _("Hours of work")
    HONEY = "honey", _("Honey")
    PARTS = "parts", _("Parts")
    BUYERS = "buyers", _("Buyers")
    TANKS = "tanks", _("Room in tanks")


# By what to rank while something is scarce: by what it is scarce of.
MEASURE_OF = {
    Scarce.HOURS: Measure.HOUR,
    Scarce.HONEY: Measure.POUND,
    Scarce.PARTS: Measure.PIECE,
    Scarce.BUYERS: Measure.PIECE,
    Scarce.TANKS: Measure.TANK_WEEK,
}


@dataclass(frozen=True)
class FreePool:
    """Honey of vessels that is alike: it brings the same in drums and fills the same products."""

    key: str
    grams: int
    drum_per_pound: Decimal | None
    misfits: frozenset[int]


@dataclass(frozen=True)
class ToFill:
    """So many pieces of a row that are still to be filled."""

    earning: Earning
    pieces: int

    @property
    def key(self) -> str:
        return self.earning.key

    @property
    def product_pk(self) -> int:
        return self.earning.offer.product.pk


@dataclass(frozen=True)
class Needs:
    """What it takes to fill everything that is still to be filled."""

    minutes: Decimal
    grams: Decimal
    parts: Mapping[int, int]
    pieces: int


@dataclass(frozen=True)
class Scarcity:
    """What is needed of everything, what there is, and what more would earn, in cents.

    `tenth` is what a tenth of the need more of each limit earns, and `hour` what an hour more does;
    `pound`, and those by part and by row are what the next one earns. `fills` is how many pieces of
    each row earn most now.
    """

    needs: Needs
    minutes: Decimal
    grams: int
    parts: tuple[PartState, ...]
    tenth: Mapping[Scarce, int]
    hour: int
    pound: int
    part: Mapping[int, int]
    buyer: Mapping[str, int]
    fills: Mapping[str, int]
    held_back_by: Mapping[str, tuple[Scarce | PartState, ...]]
    is_proven: bool

    @property
    def scarcest(self) -> Scarce | None:
        """The one of which a tenth more earns most; None where more earns nothing."""
        if not any(self.tenth.values()):
            return None
        return max(self.tenth, key=lambda kind: self.tenth[kind])

    @property
    def parts_short(self) -> list[tuple[PartState, int]]:
        """The parts of which there are too few, with what is needed of each."""
        return [
            (row, self.needs.parts[row.part.pk])
            for row in self.parts
            if self.needs.parts.get(row.part.pk, 0) > row.stock
        ]


def pools_of(books: Books, drum_price: Decimal | None) -> tuple[FreePool, ...]:
    """Put vessels together whose honey is alike. A `drum_price` replaces the bids for all.

    Left out is honey above the house's limit of moisture; the books leave out what is on hold.
    """
    found: dict[tuple[Decimal | None, frozenset[int]], int] = {}
    for vessel in books.vessels:
        if vessel.moisture_question:
            continue
        bid = vessel.bid_per_pound if drum_price is None else drum_price
        brings = None if bid is None else books.costs.drum_net_back(bid).per_pound
        found[brings, vessel.misfits] = found.get((brings, vessel.misfits), 0) + vessel.free_grams
    return tuple(
        FreePool(str(number), grams, brings, misfits)
        for number, ((brings, misfits), grams) in enumerate(found.items())
    )


def scarcity(
    to_fill: Sequence[ToFill],
    *,
    pools: Sequence[FreePool],
    parts: Sequence[PartState],
    hours: Decimal,
    are_parts_bought: bool = False,
) -> Scarcity:
    """Work out what is scarce for what is still to be filled.

    Each row must have all its figures and bring more than some honey in drums. With
    `are_parts_bought` parts are no limit: those that are missing are bought in time.
    """
    needs, in_stock = needs_of(to_fill), parts
    if are_parts_bought:
        # Enough for the buyers that are added to see what they would earn too.
        parts = [
            replace(row, stock=row.stock + 2 * needs.parts.get(row.part.pk, 0)) for row in parts
        ]
    minutes = hours * HOUR_MINUTES
    asked = _programme(to_fill, pools, parts, minutes)
    answer = programme.solve(asked, seconds=SECONDS)
    relaxed = programme.relax(asked)
    rates, at_most = relaxed.rates, relaxed.cents_at_most

    def gain(more: Programme, less: Fraction = Fraction(0)) -> int:
        cents = round(programme.relax(more).cents_at_most - at_most - less)
        return cents if cents >= LEAST_CENTS else 0

    more_honey, in_drums = _with_more_honey(asked, needs)
    return Scarcity(
        needs=needs,
        minutes=minutes,
        grams=sum(pool.grams for pool in pools),
        parts=tuple(row for row in in_stock if row.part.pk in needs.parts),
        tenth=MappingProxyType(
            {
                Scarce.HOURS: gain(
                    replace(asked, minutes=asked.minutes + Fraction(needs.minutes) * A_TENTH)
                ),
                Scarce.HONEY: gain(more_honey, in_drums),
                Scarce.PARTS: gain(_with_more_parts(asked, needs)),
                Scarce.BUYERS: gain(_with_more_buyers(asked)),
            }
        ),
        # Not the rate of the next minute: what is still to be filled may take less than an hour.
        hour=gain(replace(asked, minutes=asked.minutes + HOUR_MINUTES)),
        pound=_more_than_in_drums(asked, rates),
        part=MappingProxyType(
            {row.part.pk: round(rates.get(("part", row.key), Fraction(0))) for row in parts}
        ),
        buyer=MappingProxyType(
            {row.key: round(rates.get(("buyer", row.key), Fraction(0))) for row in to_fill}
        ),
        fills=MappingProxyType(dict(answer.plan.sold)),
        held_back_by=MappingProxyType(
            {row.key: _held_back_by(row, answer.plan, parts) for row in to_fill}
        ),
        is_proven=answer.is_proven,
    )


def needs_of(to_fill: Sequence[ToFill]) -> Needs:
    """Add up what it takes to fill all of it. A case begun is a case used."""
    pieces_of: dict[int, int] = {}
    minutes, grams = Decimal(0), Decimal(0)
    uses = {}
    for row in to_fill:
        fill = row.earning.net_back.fill
        minutes += row.pieces * (fill.minutes or Decimal(0))
        grams += row.pieces * fill.drawn_grams
        pieces_of[row.product_pk] = pieces_of.get(row.product_pk, 0) + row.pieces
        uses[row.product_pk] = row.earning.uses
    parts: dict[int, int] = {}
    for product, pieces in pieces_of.items():
        for use in uses[product]:
            need = Need(str(use.part_id), use.quantity, use.per_pieces).of(pieces)
            parts[use.part_id] = parts.get(use.part_id, 0) + need
    return Needs(minutes, grams, MappingProxyType(parts), sum(pieces_of.values()))


def _programme(
    to_fill: Sequence[ToFill],
    pools: Sequence[FreePool],
    parts: Sequence[PartState],
    minutes: Decimal,
) -> Programme:
    """Make the programme. What a piece earns has its parts, its work and its breakage taken off."""
    products = {row.product_pk: row for row in to_fill}
    unit = Fraction(unit_grams())
    return Programme(
        honeys=tuple(
            Honey(
                key=pool.key,
                grams=pool.grams,
                bulk_grams=None if pool.drum_per_pound is None else unit,
                bulk_cents=max(Fraction(0), Fraction(pool.drum_per_pound or 0) * 100),
                never_in=frozenset(str(pk) for pk in pool.misfits),
            )
            for pool in pools
        ),
        products=tuple(
            PlannedProduct(
                key=str(pk),
                grams_each=Fraction(row.earning.net_back.fill.drawn_grams),
                minutes_each=Fraction(row.earning.net_back.fill.minutes or 0),
                needs=tuple(
                    Need(str(use.part_id), use.quantity, use.per_pieces) for use in row.earning.uses
                ),
            )
            for pk, row in products.items()
        ),
        buyers=tuple(
            PlannedBuyer(
                key=row.key,
                product=str(row.product_pk),
                cents_each=Fraction(row.earning.net_back.left or 0) * 100,
                pieces_max=row.pieces,
            )
            for row in to_fill
        ),
        parts=tuple(Part(key=row.key, stock=row.stock) for row in parts),
        minutes=Fraction(minutes),
        honey_step=unit,
    )


def _with_more_honey(asked: Programme, needs: Needs) -> tuple[Programme, Fraction]:
    """Return the programme with a tenth of the needed honey more, of each kind as there is of it.

    And what the added honey brings in drums. Where there is none, it is honey for every product.
    """
    more = Fraction(needs.grams) * A_TENTH
    there = sum(Fraction(honey.grams) for honey in asked.honeys)
    if not there:
        return replace(asked, honeys=(*asked.honeys, Honey("more", more))), Fraction(0)
    honeys, in_drums = [], Fraction(0)
    for honey in asked.honeys:
        added = more * Fraction(honey.grams) / there
        honeys.append(replace(honey, grams=honey.grams + added))
        if honey.bulk_grams:
            in_drums += added / honey.bulk_grams * Fraction(honey.bulk_cents)
    return replace(asked, honeys=tuple(honeys)), in_drums


def _with_more_parts(asked: Programme, needs: Needs) -> Programme:
    return replace(
        asked,
        parts=tuple(
            replace(part, stock=part.stock + ceil(needs.parts.get(int(part.key), 0) * A_TENTH))
            for part in asked.parts
        ),
    )


def _with_more_buyers(asked: Programme) -> Programme:
    return replace(
        asked,
        buyers=tuple(
            replace(
                buyer, pieces_max=(buyer.pieces_max or 0) + ceil((buyer.pieces_max or 0) * A_TENTH)
            )
            for buyer in asked.buyers
        ),
    )


def _more_than_in_drums(asked: Programme, rates: Mapping[tuple[LimitKind, str], Fraction]) -> int:
    """Return what one more unit of honey earns above its drum price, of the best kind."""
    more = [Fraction(0)]
    for honey in asked.honeys:
        rate = rates.get(("honey", honey.key), Fraction(0)) * Fraction(asked.honey_step)
        more.append(rate - (Fraction(honey.bulk_cents) if honey.bulk_grams else 0))
    return round(max(more))


def _held_back_by(
    row: ToFill, plan: Plan, parts: Sequence[PartState]
) -> tuple[Scarce | PartState, ...]:
    """Name what there is too little of to fill one more piece of a row beside the plan."""
    asked = plan.programme
    found: list[Scarce | PartState] = []
    product = asked.product_of[str(row.product_pk)]
    if plan.minutes_used + product.minutes_each > asked.minutes:
        found.append(Scarce.HOURS)
    in_jars: dict[str, Fraction] = {}
    for (honey_key, product_key), pieces in plan.pieces.items():
        grams = pieces * Fraction(asked.product_of[product_key].grams_each)
        in_jars[honey_key] = in_jars.get(honey_key, Fraction(0)) + grams
    if not any(
        honey.grams - in_jars.get(honey.key, 0) >= product.grams_each
        for honey in asked.honeys
        if product.key not in honey.never_in
    ):
        found.append(Scarce.HONEY)
    used = plan.parts_used
    state_of = {each.key: each for each in parts}
    found += [
        state_of[need.part]
        for need in product.needs
        if asked.part_of[need.part].stock - used[need.part] < need.of(1)
    ]
    return tuple(found)
