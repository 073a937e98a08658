"""When to stop bottling for each product and channel, and what is scarce meanwhile."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

from django.db.models import TextChoices

from apiary_sales.planning import programme
from apiary_sales.planning.programme import PlannedBuyer
from apiary_sales.planning.rules import earnings, scarce
from apiary_sales.planning.rules.books import Books, PartState
from apiary_sales.planning.rules.coming_demand import ComingDemand
from apiary_sales.planning.rules.demand import Period
from apiary_sales.planning.rules.earnings import Earning, Measure, RankedEarning
from apiary_sales.planning.rules.scarce import MEASURE_OF, Scarce, Scarcity, ToFill


class Verdict(TextChoices):
    """What to do about one product in one channel."""

    NOT_COSTED = "not_costed"
    NO_DRUM_PRICE = "no_drum_price"
    DRUM_PAYS = "drum_pays"
    NO_DEMAND_KNOWN = "no_demand_known"
    ENOUGH_READY = "enough_ready"
    FILL = "fill"
    FILL_SOME = "fill_some"
    NOT_NOW = "not_now"


@dataclass(frozen=True)
class StoppingRow:
    """One product in one channel: what it earns, what of it will sell, and when to stop."""

    ranked: RankedEarning
    demand: ComingDemand
    # Of what is ready, so many are for this channel.
    ready: int
    fills: int
    held_back_by: tuple[Scarce | PartState, ...]

    @property
    def earning(self) -> Earning:
        return self.ranked.earning

    @property
    def still(self) -> int | None:
        """Pieces that could still be sold once those that are ready are; None if not known."""
        return None if self.demand.pieces is None else self.demand.pieces - self.ready

    @property
    def verdict(self) -> Verdict:
        earning = self.earning
        if earning.missing:
            return Verdict.NOT_COSTED
        if earning.drum is None:
            return Verdict.NO_DRUM_PRICE
        if not earning.is_worth_filling:
            return Verdict.DRUM_PAYS
        if self.still is None:
            return Verdict.NO_DEMAND_KNOWN
        if not self.still:
            return Verdict.ENOUGH_READY
        if not self.fills:
            return Verdict.NOT_NOW
        return Verdict.FILL if self.fills == self.still else Verdict.FILL_SOME


@dataclass(frozen=True)
class TankState:
    """Room for the honey that is expected, in grams; None where it is not known."""

    room_grams: int | None
    other_room_grams: int
    expected_grams: int | None

    @property
    def short_grams(self) -> int | None:
        """By how much the room falls short with empty drums and pails; None if not known."""
        if self.expected_grams is None:
            return None
        if not self.expected_grams:
            return 0
        if self.room_grams is None:
            return None
        return max(0, self.expected_grams - self.room_grams - self.other_room_grams)


@dataclass(frozen=True)
class Stopping:
    """The answer for every product and channel over one period."""

    period: Period
    rows: tuple[StoppingRow, ...]
    scarcity: Scarcity
    tanks: TankState
    # What is scarce once the missing parts are bought, where parts are scarce now.
    next_scarce: Scarce | None = None

    @property
    def scarcest(self) -> Scarce | None:
        """What is scarce now. What has no room can't be taken in, so room comes first."""
        return Scarce.TANKS if self.tanks.short_grams else self.scarcity.scarcest

    @property
    def measure(self) -> Measure:
        """By what to rank now; by weight of honey while nothing is scarce."""
        return MEASURE_OF[self.scarcest] if self.scarcest else Measure.POUND

    def sorted_by(self, measure: str) -> list[StoppingRow]:
        row_of = {row.earning.key: row for row in self.rows}
        in_order = earnings.in_order([row.ranked for row in self.rows], measure)
        return [row_of[ranked.earning.key] for ranked in in_order]


def stopping(
    books: Books,
    *,
    period: Period,
    demand_of: Mapping[str, ComingDemand],
    weeks_in_tank: Mapping[int, Decimal],
    tanks: TankState,
    hours: Decimal,
    drum_price: Decimal | None = None,
    are_parts_bought: bool = False,
) -> Stopping:
    """Answer for every offer of the books that has a price, with what is likely to sell of it.

    `drum_price` replaces the bids for all honey. With `are_parts_bought` missing parts are bought.
    """
    found = _earnings(books, weeks_in_tank, drum_price)
    ready_of = _ready_by_row(books, found, demand_of)
    pools = scarce.pools_of(books, drum_price)
    still_of = {
        each.key: pieces - ready_of.get(each.key, 0)
        for each in found
        if (pieces := demand_of[each.key].pieces) is not None
    }
    to_fill = [
        ToFill(each, still_of[each.key])
        for each in found
        if not each.missing and each.is_worth_filling and still_of.get(each.key)
    ]

    def scarcity_with(*, are_parts_bought: bool) -> Scarcity:
        return scarce.scarcity(
            to_fill,
            pools=pools,
            parts=books.parts,
            hours=hours,
            are_parts_bought=are_parts_bought,
        )

    scarcity = scarcity_with(are_parts_bought=are_parts_bought)
    next_scarce = None
    if scarcity.scarcest == Scarce.PARTS:
        next_scarce = scarcity_with(are_parts_bought=True).scarcest
    return Stopping(
        period=period,
        rows=tuple(
            StoppingRow(
                ranked=row,
                demand=demand_of[row.earning.key],
                ready=ready_of.get(row.earning.key, 0),
                fills=scarcity.fills.get(row.earning.key, 0),
                held_back_by=scarcity.held_back_by.get(row.earning.key, ()),
            )
            for row in earnings.ranked(found)
        ),
        scarcity=scarcity,
        tanks=tanks,
        next_scarce=next_scarce,
    )


def _earnings(
    books: Books, weeks_in_tank: Mapping[int, Decimal], drum_price: Decimal | None
) -> list[Earning]:
    uses = {row.product.pk: row.uses for row in books.products}
    found = []
    for offer in books.offers:
        net_back = books.costs.net_back(offer.product, offer.channel)
        if net_back is None:
            continue
        bids = _bids(books, offer.product.pk) if drum_price is None else [drum_price]
        found.append(
            Earning(
                offer=offer,
                net_back=net_back,
                drum=books.costs.drum_net_back(max(bids)) if bids else None,
                least_drum=books.costs.drum_net_back(min(bids)) if bids else None,
                weeks_in_tank=weeks_in_tank.get(offer.product.pk),
                uses=uses.get(offer.product.pk, ()),
            )
        )
    return found


def _bids(books: Books, product_pk: int) -> list[Decimal]:
    """Return the drum prices of free honey that may be filled as a product."""
    return [
        vessel.bid_per_pound
        for vessel in books.vessels
        if vessel.bid_per_pound is not None
        and not vessel.moisture_question
        and product_pk not in vessel.misfits
    ]


def _ready_by_row(
    books: Books, found: Sequence[Earning], demand_of: Mapping[str, ComingDemand]
) -> dict[str, int]:
    """Share out what is ready, first to the channels that pay most, as the plan does."""
    buyers = tuple(
        PlannedBuyer(
            key=each.key,
            product=str(each.offer.product.pk),
            cents_each=int(each.net_back.price * each.net_back.kept_share * 100),
            pieces_max=pieces,
        )
        for each in found
        if (pieces := demand_of[each.key].pieces) is not None
    )
    left = programme.less_on_hand(buyers, books.ready).buyers
    return {
        before.key: (before.pieces_max or 0) - (after.pieces_max or 0)
        for before, after in zip(buyers, left, strict=True)
    }
