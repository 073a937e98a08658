"""Where honey went, by where it came from: the arithmetic of the page "Where every pound went".

Pure: lines of the ledger go in, shares come out. A lot is one honey throughout, so whatever leaves
it has the shares of what went in, by origin: the lots that came in from outside. Honey moves from
lot to lot where one posting takes it out of one and puts it into the other: in a vessel, or by way
of the packing line, where honey becomes jars and jars become other jars, boxes, or honey again.

Amounts are whole nanograms, and each is shared out so that its parts add up to it; the result is
rounded to whole grams in one step, after which rows and columns still add up. Each figure is
within a gram of the exact one.
"""

from collections import defaultdict
from collections.abc import Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from graphlib import TopologicalSorter
from heapq import heappop, heappush
from itertools import accumulate, pairwise
from typing import NamedTuple

from django.db import models
from django.utils.translation import gettext_lazy as _

from inventory.stock.models.ledger import Place, Posting

NANO = 10**9

# Nanograms by origin.
Shares = dict[int, int]

# A row or a column of a table that is rounded.
ROW, COLUMN = "row", "column"
Node = tuple[str, Hashable]


class Form(models.TextChoices):
    """What honey is when it gets where it is now."""

    BULK = "bulk", _("in bulk")
    PIECES = "pieces", _("in jars and comb")


class Source(models.TextChoices):
    """How honey came in."""

    HARVEST = "harvest", _("Extracted")
    COMB = "comb", _("Comb taken from the hives")
    SUPPLIER = "supplier", _("Bought")
    OWNER = "owner", _("Received for its owner")
    UNRECORDED = "unrecorded", _("Jars without an entry of the honey in them")


class Band(models.TextChoices):
    """Where honey is, or how it left."""

    TANKS = "tanks", _("In tanks")
    DRUMS = "drums", _("In drums")
    PAILS = "pails", _("In pails")
    TOTES = "totes", _("In totes")
    STOCK = "stock", _("On shelves, stand and van")
    RETURNED = "returned", _("Returned goods, kept apart")
    OVERFILL_HERE = "overfill_here", _("Overfill of jars in stock")
    SOLD = "sold", _("Sold")
    HANDED_BACK = "handed_back", _("Handed back to its owner")
    BOUGHT = "bought", _("Bought by us from its owner")
    GIVEN_AWAY = "given_away", _("Given away")
    OWN_USE = "own_use", _("Own use")
    FED_TO_BEES = "fed_to_bees", _("Fed back to bees")
    SAMPLED = "sampled", _("Laboratory samples")
    OVERFILL = "overfill", _("Overfill of jars that left")
    FILLING_LOSS = "filling_loss", _("Filling loss")
    BROKEN = "broken", _("Broken")
    SKIMMINGS = "skimmings", _("Skimmings")
    SPILLED = "spilled", _("Spilled")
    SPOILED = "spoiled", _("Spoiled")
    COUNTS = "counts", _("Count differences")
    SCALES = "scales", _("Scale differences")
    TO_SETTLE = "to_settle", _("To be settled")
    PACKING = "packing", _("On the packing line, not in jars")


HERE = (
    Band.TANKS,
    Band.DRUMS,
    Band.PAILS,
    Band.TOTES,
    Band.STOCK,
    Band.RETURNED,
    Band.OVERFILL_HERE,
)

BANDS: dict[str, Band] = {
    Place.Kind.TANK: Band.TANKS,
    Place.Kind.DRUM: Band.DRUMS,
    Place.Kind.PAIL: Band.PAILS,
    Place.Kind.TOTE: Band.TOTES,
    Place.Kind.SHELF: Band.STOCK,
    Place.Kind.STAND: Band.STOCK,
    Place.Kind.VAN: Band.STOCK,
    Place.Kind.CONSIGNMENT: Band.STOCK,
    Place.Kind.RETURNED: Band.RETURNED,
    Place.Kind.CUSTOMER: Band.SOLD,
    Place.Kind.FILLING_LOSS: Band.FILLING_LOSS,
    Place.Kind.BROKEN: Band.BROKEN,
    Place.Kind.SPOILED: Band.SPOILED,
    Place.Kind.OWN_USE: Band.OWN_USE,
    Place.Kind.GIVEN_AWAY: Band.GIVEN_AWAY,
    Place.Kind.SKIMMINGS: Band.SKIMMINGS,
    Place.Kind.SPILLED: Band.SPILLED,
    Place.Kind.FED_TO_BEES: Band.FED_TO_BEES,
    Place.Kind.SAMPLED: Band.SAMPLED,
    Place.Kind.COUNT_DIFFERENCE: Band.COUNTS,
    Place.Kind.SCALE_DIFFERENCE: Band.SCALES,
    Place.Kind.TO_SETTLE: Band.TO_SETTLE,
}


# What honey that comes from a place of a kind may have come in as.
SOURCES: dict[str, tuple[Source, ...]] = {
    Place.Kind.HARVEST: (Source.HARVEST, Source.COMB),
    Place.Kind.SUPPLIER: (Source.SUPPLIER,),
}
# Parts of what is elsewhere: the honey above the label of what is there.
OVERFILLS = {Band.OVERFILL_HERE, Band.OVERFILL}


def band_named(name: str) -> Band | Source | None:
    """Return the band or the source of this name, None where there is none."""
    if name in Source:
        return Source(name)
    return Band(name) if name in Band else None


class Leaf(NamedTuple):
    """One end of the flow: honey in bulk, or in pieces, that is or went somewhere."""

    form: Form
    band: Band


@dataclass(frozen=True)
class FlowLot:
    """What the arithmetic needs of a lot with honey in it.

    `unit_grams` is the honey in one of it where the ledger does not say so: 1 for what is counted
    in grams, the label weight of a piece, 0 for a box that has only what went into it.
    """

    key: int
    is_bulk: bool
    unit_grams: Fraction
    has_label: bool = False

    @property
    def form(self) -> Form:
        return Form.BULK if self.is_bulk else Form.PIECES


class FlowLine(NamedTuple):
    """A signed quantity of a lot at a place; `event` is the posting that happened, with whatever
    undid or corrected it, and `number` tells what came first."""

    number: int
    event: int
    lot: int
    place: int
    place_kind: str
    quantity: int


class FlowSum(NamedTuple):
    """What plain events moved of a lot at places of a kind.

    An event is plain where no honey changes its lot, nobody undid or corrected it, and no other
    beekeeper is in it: then all that counts is how much of which lot came to or left which places.
    """

    lot: int
    place_kind: str
    quantity: int


class FlowMove(NamedTuple):
    """So much of a lot that an event brought to an end, or in from a source."""

    event: int
    lot: int
    end: "Band | Source"
    quantity: int


class LotStep(NamedTuple):
    """So much of a lot that went into another: in what the first is counted in.

    `grams` is what the second weighed then, where that was told; None for pieces.
    """

    event: int
    parent: int
    child: int
    quantity: int
    grams: int | None


@dataclass
class _LotBook:
    """All that the ledger says of one lot: what came in and went out, in what it is counted in."""

    sources: dict[Source, int] = field(default_factory=lambda: defaultdict(int))
    ends: dict[Band, int] = field(default_factory=lambda: defaultdict(int))
    # What went into another lot, by that lot.
    steps: dict[int, list[LotStep]] = field(default_factory=lambda: defaultdict(list))


@dataclass(frozen=True)
class LotUnit:
    """The nanograms of honey in one of a lot, and which part of them is above the label."""

    form: Form
    nanograms: Fraction
    over: Fraction

    def at(self, leaf: Leaf) -> Fraction:
        """Return how much of one that is at an end counts there: above the label, or up to it."""
        if leaf.form != self.form:
            return Fraction(0)
        return self.nanograms * (self.over if leaf.band in OVERFILLS else 1 - self.over)


@dataclass
class Flow:
    """Whole grams by origin: what came in, and where it is; each origin adds up to zero.

    `shares` are those of each lot in nanograms, by origin; `moves` are those of events that are
    not plain, and `weighed` the nanograms that scales differed by, with the event and the lot.
    """

    came_in: dict[int, dict[Source, int]]
    cells: dict[int, dict[Leaf, int]]
    shares: dict[int, Shares]
    units: dict[int, LotUnit]
    moves: list[FlowMove]
    weighed: dict[Leaf, list[tuple[int, int, Fraction]]]
    lots: Mapping[int, FlowLot]

    def entries_of(
        self, ends: Sequence[Leaf | Source], origins: set[int], plain: Iterable[FlowMove]
    ) -> dict[int, int]:
        """Return the grams that each event brought to some ends, of these origins, by event.

        They add up to what the ends have, or what came in by these sources. `plain` are the moves
        of plain events to `ends_behind` them.
        """
        parts: dict[int, Fraction] = {
            lot: Fraction(sum(n for key, n in shares.items() if key in origins), whole)
            for lot, shares in self.shares.items()
            if (whole := sum(shares.values()))
        }
        each: dict[tuple[int, Band | Source], Fraction] = {}
        exact: dict[int, Fraction] = defaultdict(Fraction)
        for move in (*self.moves, *plain):
            key = move.lot, move.end
            if key not in each:
                each[key] = self._nanograms_each(*key, ends, origins, parts)
            if each[key]:
                exact[move.event] += each[key] * move.quantity
        for end in ends:
            for event, lot, nanograms in self.weighed.get(end, ()):  # type: ignore[arg-type]
                exact[event] += nanograms * parts.get(lot, 0)
        total = sum(self._grams(key, end) for end in ends for key in origins)
        moved = {event: nano / NANO for event, nano in sorted(exact.items()) if nano}
        grams = rounded_to(total, list(moved.values()))
        return dict(zip(moved, grams, strict=True))

    def _nanograms_each(
        self,
        lot: int,
        moved_to: Band | Source,
        ends: Sequence[Leaf | Source],
        origins: set[int],
        parts: Mapping[int, Fraction],
    ) -> Fraction:
        """Return what one of a lot that came to an end counts at those asked for."""
        if isinstance(moved_to, Source):
            is_asked = moved_to in ends and lot in origins
            return self.lots[lot].unit_grams * NANO if is_asked else Fraction(0)
        unit = self.units.get(lot)
        if unit is None or lot not in parts:
            return Fraction(0)
        found = sum(
            (
                unit.at(end)
                for end in ends
                if isinstance(end, Leaf) and end.band in (moved_to, _overfill(moved_to))
            ),
            Fraction(0),
        )
        return found * parts[lot]

    def _grams(self, origin: int, end: Leaf | Source) -> int:
        if isinstance(end, Source):
            return self.came_in[origin].get(end, 0)
        return self.cells[origin].get(end, 0)


def ends_behind(ends: Iterable[Leaf | Source]) -> set[Band | Source]:
    """Return where what is at some ends was moved to: overfill is in all that has a label."""
    found: set[Band | Source] = set()
    for end in ends:
        if isinstance(end, Source):
            found.add(end)
        elif end.band in OVERFILLS:
            found |= {band for band in Band if _overfill(band) == end.band} - OVERFILLS
        else:
            found.add(end.band)
    return found


def flow(
    lots: Mapping[int, FlowLot],
    sums: Iterable[FlowSum],
    lines: Iterable[FlowLine],
    kinds: Mapping[int, str],
) -> Flow:
    """Return where the honey of each origin is: from sums over plain events, and all other lines.

    `kinds` are those of the events of the lines. Lots that are not among `lots` have no honey.
    """
    books, moves = _books(lots, sums, lines, kinds)
    sharing = _Sharing(lots)
    for key in _parents_first(books):
        sharing.share_out(key, books[key])
    came_in, cells = _in_grams(sharing.exact)
    return Flow(came_in, cells, sharing.shares, sharing.units, moves, dict(sharing.weighed), lots)


class _Sharing:
    """Shares out lot after lot, parents first: what went into one to its ends and to its children.

    `exact` has nanograms by origin and end, below zero for what came in, so that the ends of an
    origin add up to zero.
    """

    def __init__(self, lots: Mapping[int, FlowLot]) -> None:
        self.lots = lots
        self.exact: dict[int, dict[Leaf | Source, int]] = defaultdict(lambda: defaultdict(int))
        self.shares: dict[int, Shares] = {}
        self.units: dict[int, LotUnit] = {}
        self.weighed: dict[Leaf, list[tuple[int, int, Fraction]]] = defaultdict(list)
        self._inflow: dict[int, Shares] = defaultdict(lambda: defaultdict(int))
        self._labels: dict[int, Fraction] = defaultdict(Fraction)

    def share_out(self, key: int, book: _LotBook) -> None:
        """Share out all of a lot; what went into it is known."""
        lot = self.lots[key]
        self._bring_in(lot, book)
        outs: list[tuple[Band | int, int]] = [
            *book.ends.items(),
            *((child, sum(step.quantity for step in steps)) for child, steps in book.steps.items()),
        ]
        made = sum(quantity for _out, quantity in outs)
        unit, left = self._unit_of(lot, made)
        whole = sum(left.values())
        # A box has the label weight of what is in it.
        label = lot.unit_grams * made * NANO if lot.has_label else self._labels[key]
        over = 1 - label / whole if not lot.is_bulk and 0 < label < whole else Fraction(0)
        self.units[key] = LotUnit(lot.form, unit, over)
        amounts = _running_parts(whole, [unit * quantity for _out, quantity in outs])
        # What a count found is added before anything is taken out.
        for (out, quantity), nano in sorted(
            zip(outs, amounts, strict=True), key=lambda found: found[1] > 0
        ):
            part = _shared(nano, left)
            for origin, share in part.items():
                left[origin] -= share
            if isinstance(out, Band):
                self._end(lot, out, part, over)
            else:
                if made > 0:
                    self._labels[out] += label * quantity / made
                self._pass_on(lot, out, part, book.steps[out], unit)

    def _bring_in(self, lot: FlowLot, book: _LotBook) -> None:
        for source, quantity in book.sources.items():
            nano = round(lot.unit_grams * quantity * NANO)
            self._inflow[lot.key][lot.key] += nano
            self.exact[lot.key][source] -= nano

    def _unit_of(self, lot: FlowLot, made: int) -> tuple[Fraction, Shares]:
        """Return the nanograms in one of a lot, and all of it by origin.

        Honey that no entry brought in, as what only a count found, is an origin itself.
        """
        inflow = self._inflow[lot.key]
        whole = sum(inflow.values())
        if made > 0 and whole > 0:
            self.shares[lot.key] = dict(inflow)
            return Fraction(whole, made), dict(inflow)
        for origin, nano in inflow.items():
            self.exact[origin][Leaf(lot.form, Band.PACKING)] += nano
        unit = lot.unit_grams * NANO
        found = round(unit * made)
        self.exact[lot.key][Source.UNRECORDED] -= found
        self.shares[lot.key] = {lot.key: 1}
        return unit, {lot.key: found}

    def _end(self, lot: FlowLot, band: Band, part: Shares, over: Fraction) -> None:
        leaf, above = Leaf(lot.form, band), Leaf(lot.form, _overfill(band))
        for origin, share in part.items():
            self.exact[origin][leaf] += share
        if over:
            for origin, share in _shared(round(sum(part.values()) * over), part).items():
                self.exact[origin][leaf] -= share
                self.exact[origin][above] += share

    def _pass_on(
        self, lot: FlowLot, child: int, part: Shares, steps: Sequence[LotStep], unit: Fraction
    ) -> None:
        for origin, share in part.items():
            self._inflow[child][origin] += share
        weighed = [step for step in steps if step.grams is not None]
        if not weighed:
            return
        # Honey that is weighed when jars are emptied need not be what went into them.
        leaf = Leaf(lot.form, Band.SCALES)
        gained = sum(step.grams or 0 for step in weighed) * NANO - sum(part.values())
        for origin, share in _shared(gained, part).items():
            self._inflow[child][origin] += share
            self.exact[origin][leaf] -= share
        for step in weighed:
            if difference := unit * step.quantity - (step.grams or 0) * NANO:
                self.weighed[leaf].append((step.event, lot.key, difference))


def _overfill(band: Band) -> Band:
    return Band.OVERFILL_HERE if band in HERE else Band.OVERFILL


def _books(
    lots: Mapping[int, FlowLot],
    sums: Iterable[FlowSum],
    lines: Iterable[FlowLine],
    kinds: Mapping[int, str],
) -> tuple[dict[int, _LotBook], list[FlowMove]]:
    """Sort all into what came in, what went out, and steps from lot to lot.

    Plain events are in their sums already, and come first; of the others, which follow as they
    happened, the moves are returned beside.
    """
    first: dict[int, int] = {}
    events: dict[int, dict[tuple[int, int, str], int]] = defaultdict(lambda: defaultdict(int))
    for line in lines:
        if line.lot in lots:
            first.setdefault(line.event, line.number)
            events[line.event][line.lot, line.place, line.place_kind] += line.quantity
    found = _Books(lots)
    for plain in sums:
        if plain.lot in lots:
            found.add_sum(plain)
    for event in sorted(first, key=lambda event: first[event]):
        found.add_event(event, events[event], kinds.get(event, ""))
    return found.books, found.moves


class _Books:
    """The books of the lots, written event by event."""

    def __init__(self, lots: Mapping[int, FlowLot]) -> None:
        self.lots = lots
        self.books: dict[int, _LotBook] = defaultdict(_LotBook)
        self.moves: list[FlowMove] = []

    def add_sum(self, moved: FlowSum) -> None:
        """Add what plain events moved."""
        end = end_of(self.lots[moved.lot], moved.place_kind, moved.quantity)
        self._put(moved.lot, end, moved.quantity)

    def add_event(
        self, event: int, moved: Mapping[tuple[int, int, str], int], event_kind: str
    ) -> None:
        """Add what one event moved, by lot and place with its kind."""
        on_packing: dict[int, int] = {}
        in_bulk: dict[tuple[int, int], int] = {}
        for (key, place, kind), quantity in moved.items():
            if not quantity:
                continue
            if self.lots[key].is_bulk:
                in_bulk[place, key] = quantity
            if kind == Place.Kind.PACKING:
                on_packing[key] = quantity
            else:
                end = end_of(self.lots[key], kind, quantity, event_kind)
                self._move(event, key, end, quantity)
        steps = _steps_in_vessels(event, in_bulk)
        steps += self._steps_of_packing(event, on_packing, event_kind)
        for step in steps:
            self.books[step.parent].steps[step.child].append(step)
            # Listed, even where all that is known of it is what went in.
            self.books[step.child]

    def _move(self, event: int, lot: int, end: Band | Source, quantity: int) -> None:
        self._put(lot, end, quantity)
        came = -quantity if isinstance(end, Source) else quantity
        self.moves.append(FlowMove(event, lot, end, came))

    def _put(self, lot: int, end: Band | Source, quantity: int) -> None:
        if isinstance(end, Source):
            self.books[lot].sources[end] -= quantity
        else:
            self.books[lot].ends[end] += quantity

    def _steps_of_packing(self, event: int, moved: Mapping[int, int], kind: str) -> list[LotStep]:
        """Return what became of what went to the packing line: jars, boxes, or honey again.

        Boxes that are taken apart give back what went into them, so their steps count against
        those.
        """
        sign = -1 if kind == Posting.Kind.UNBOXING else 1
        went_in = {lot: quantity * sign for lot, quantity in moved.items() if quantity * sign > 0}
        came_out = {lot: -quantity * sign for lot, quantity in moved.items() if quantity * sign < 0}
        if not went_in:
            for lot, quantity in came_out.items():
                self._move(event, lot, Source.UNRECORDED, -quantity * sign)
            return []
        if not came_out:
            for lot, quantity in went_in.items():
                self._move(event, lot, Band.PACKING, quantity * sign)
            return []
        in_grams = {lot: grams for lot, grams in came_out.items() if self.lots[lot].is_bulk}
        pieces = {lot: count for lot, count in came_out.items() if not self.lots[lot].is_bulk}
        left, steps = dict(went_in), []
        for child, grams in in_grams.items():
            # Beside pieces, honey takes its own grams of what is counted in grams too; alone, all.
            wanted = min(grams, sum(left.values())) if pieces else grams
            parts = _shared(wanted, went_in)
            for parent, weight in parts.items():
                taken = weight
                if not pieces:
                    taken = _shared(went_in[parent], in_grams)[child]
                left[parent] -= taken
                steps.append(LotStep(event, parent, child, taken * sign, weight * sign))
        for parent, quantity in left.items():
            for child, taken in _shared(quantity, pieces).items():
                if taken:
                    steps.append(LotStep(event, parent, child, taken * sign, None))
        return steps


def end_of(lot: FlowLot, kind: str, quantity: int, event_kind: str = "") -> Band | Source:
    """Return what a place of this kind is to honey that comes to it, or leaves it."""
    return _source(lot, kind, quantity) or _band(kind, event_kind)


def _source(lot: FlowLot, kind: str, quantity: int) -> Source | None:
    if kind == Place.Kind.HARVEST:
        return Source.HARVEST if lot.is_bulk else Source.COMB
    if kind == Place.Kind.SUPPLIER:
        return Source.SUPPLIER
    # An owner gives, and gets back.
    return Source.OWNER if kind == Place.Kind.OWNER and quantity < 0 else None


def _band(place_kind: str, event_kind: str) -> Band:
    if place_kind == Place.Kind.OWNER:
        return Band.BOUGHT if event_kind == Posting.Kind.PURCHASE else Band.HANDED_BACK
    return BANDS[place_kind]


def _steps_in_vessels(event: int, moved: Mapping[tuple[int, int], int]) -> list[LotStep]:
    """Return how honey changed its lot in an event: from lots that lost to lots that gained.

    What was in a vessel goes into the new lot in it; the rest goes into all that still lacks some.
    """
    net: dict[int, int] = defaultdict(int)
    for (_place, lot), quantity in moved.items():
        net[lot] += quantity
    lost = {lot: -quantity for lot, quantity in net.items() if quantity < 0}
    gained = {lot: quantity for lot, quantity in net.items() if quantity > 0}
    steps = []
    for (place, parent), quantity in moved.items():
        if quantity > 0 or not lost.get(parent):
            continue
        for child in gained:
            grams = min(-quantity, lost[parent], gained[child], moved.get((place, child), 0))
            if grams > 0:
                steps.append(LotStep(event, parent, child, grams, grams))
                lost[parent] -= grams
                gained[child] -= grams
                quantity += grams
    for child, wanted in gained.items():
        for parent, grams in _shared(wanted, lost).items():
            if grams:
                steps.append(LotStep(event, parent, child, grams, grams))
                lost[parent] -= grams
    return steps


def _parents_first(books: Mapping[int, _LotBook]) -> list[int]:
    parents: dict[int, set[int]] = {key: set() for key in sorted(books)}
    for key, book in books.items():
        for child, steps in book.steps.items():
            if sum(step.quantity for step in steps):
                parents[child].add(key)
    ordered = {key: sorted(found) for key, found in parents.items()}
    return list(TopologicalSorter(ordered).static_order())


def _running_parts(whole: int, exact: Sequence[Fraction]) -> list[int]:
    """Round amounts that add up to `whole`, so that they still do: each running sum is rounded."""
    sums = [0, *(round(total) for total in accumulate(exact))]
    if exact:
        sums[-1] = whole
    return [after - before for before, after in pairwise(sums)]


def _shared(amount: int, weights: Mapping[int, int]) -> dict[int, int]:
    """Share an amount out by weights of one sign, so that the parts add up to it.

    Each running sum is cut to a whole number, so no part is a whole one off, and none is more than
    its weight where the amount is not more than all of them.

    >>> _shared(10, {1: 1, 2: 1, 3: 1})
    {1: 3, 2: 3, 3: 4}
    """
    if len(weights) == 1:
        return dict.fromkeys(weights, amount)
    whole = sum(weights.values())
    if not amount or not whole:
        return {}
    parts, running, given = {}, 0, 0
    for key, weight in weights.items():
        running += weight
        upto = amount * running // whole
        parts[key] = upto - given
        given = upto
    return parts


def rounded_to(total: int, exact: Sequence[Fraction]) -> list[int]:
    """Round figures so that they add up to `total`, which is near their sum.

    Each is cut to a whole number; those cut most get one more until it is the total.

    >>> rounded_to(3, [Fraction(4, 3), Fraction(5, 3)])
    [1, 2]
    """
    if not exact:
        return []
    cut = [figure.__floor__() for figure in exact]
    each, missing = divmod(total - sum(cut), len(cut))
    most_cut = sorted(range(len(cut)), key=lambda at: (cut[at] - exact[at], at))
    for place, at in enumerate(most_cut):
        cut[at] += each + (place < missing)
    return cut


def _in_grams(
    exact: Mapping[int, Mapping[Leaf | Source, int]],
) -> tuple[dict[int, dict[Source, int]], dict[int, dict[Leaf, int]]]:
    """Return what came in and where it is in whole grams, in rows that add up as before."""
    grams = controlled_rounding(
        {(origin, end): nano for origin, ends in exact.items() for end, nano in ends.items()}, NANO
    )
    came_in: dict[int, dict[Source, int]] = {}
    cells: dict[int, dict[Leaf, int]] = {}
    for origin in sorted(exact):
        if not any(exact[origin].values()):
            continue
        came_in[origin] = {}
        cells[origin] = {}
        for end in exact[origin]:
            figure = grams[origin, end]
            if isinstance(end, Leaf):
                if figure:
                    cells[origin][end] = figure
            elif figure:
                came_in[origin][end] = -figure
    return came_in, cells


def controlled_rounding(
    cells: Mapping[tuple[int, Hashable], int], unit: int
) -> dict[tuple[int, Hashable], int]:
    """Round a table to whole units so that rows and columns still add up.

    Each row must come to a whole number of units, and does after; each column comes to its own sum
    if that is whole, or to one of the two whole numbers beside it; so does each cell. Parts of a
    unit are shifted along closed ways through the table until none is left (controlled rounding;
    Bacharach, Matrix rounding problems, Management Science 12, 1966; from memory).
    """
    rounded = {place: amount // unit for place, amount in cells.items()}
    broken: dict[tuple[Hashable, Hashable], int] = {
        place: rest for place, amount in cells.items() if (rest := amount % unit)
    }
    lacking: dict[Hashable, int] = defaultdict(int)
    for (_row, column), rest in broken.items():
        lacking[column] -= rest
    # What a column lacks to be whole is in a row of its own, which is left out in the end.
    broken |= {(None, column): rest for column, lack in lacking.items() if (rest := lack % unit)}
    beside: dict[Node, dict[Node, None]] = defaultdict(dict)
    for row, column in broken:
        beside[ROW, row][COLUMN, column] = beside[COLUMN, column][ROW, row] = None
    least = _LeastOfColumns(broken)
    way: list[Node] = []
    steps_to: dict[Node, int] = {}
    while broken:
        if not way:
            row, _column = next(iter(broken))
            way, steps_to = [(ROW, row)], {(ROW, row): 0}
        # Rows and columns come to whole units, so a part of one is never alone in them. Across a
        # row it goes to the most that is left, down a column to the least: large parts are rounded
        # up, as by their remainders.
        came_from = way[-2] if len(way) > 1 else None
        if way[-1][0] == ROW:
            others = (node for node in beside[way[-1]] if node != came_from)
            following = max(others, key=lambda node: broken[way[-1][1], node[1]])
        else:
            following = least.beside(way[-1], came_from)
        if following not in steps_to:
            steps_to[following] = len(way)
            way.append(following)
            continue
        start = steps_to[following]
        ring = [_place(one, other) for one, other in pairwise([*way[start:], following])]
        if following[0] == COLUMN:
            ring = [*ring[1:], ring[0]]
        for node in way[start + 1 :]:
            del steps_to[node]
        del way[start + 1 :]
        _shift(broken, ring, unit)
        for row, column in ring:
            least.set(row, column)
            if (rest := broken[row, column]) % unit == 0:
                if rest and row is not None:
                    rounded[row, column] += 1  # type: ignore[index]
                del broken[row, column]
                del beside[ROW, row][COLUMN, column], beside[COLUMN, column][ROW, row]
        if not beside[way[-1]]:
            way = []
    return rounded


class _LeastOfColumns:
    """Finds the row that has the least left in a column; of several the first of the table.

    A column may have as many rows as there are origins, so that each keeps its rows in order.
    """

    def __init__(self, broken: Mapping[tuple[Hashable, Hashable], int]) -> None:
        self._broken = broken
        self._numbers = {place: number for number, place in enumerate(broken)}
        self._heaps: dict[Hashable, list[tuple[int, int, Hashable]]] = defaultdict(list)
        for row, column in broken:
            self.set(row, column)

    def set(self, row: Hashable, column: Hashable) -> None:
        """Keep what is left now in a place of the table."""
        place = row, column
        heappush(self._heaps[column], (self._broken[place], self._numbers[place], row))

    def beside(self, column: Node, other: Node | None) -> Node:
        """Return the row with the least left in a column, another than `other`."""
        heap = self._heaps[column[1]]
        passed: list[tuple[int, int, Hashable]] = []
        while True:
            found = rest, _number, row = heappop(heap)
            # What was kept before its place changed, or became whole, is passed over for good.
            if self._broken.get((row, column[1])) != rest or found in passed:
                continue
            passed.append(found)
            if (ROW, row) != other:
                break
        for each in passed:
            heappush(heap, each)
        return ROW, row


def _place(one: Node, other: Node) -> tuple[Hashable, Hashable]:
    return (one[1], other[1]) if one[0] == ROW else (other[1], one[1])


def _shift(
    broken: dict[tuple[Hashable, Hashable], int],
    ring: Sequence[tuple[Hashable, Hashable]],
    unit: int,
) -> None:
    """Add to every other place of a ring what the places between lose, until one is whole.

    The first of a ring leads from a row to a column.
    """
    up, down = ring[::2], ring[1::2]
    shift = min(unit - max(broken[place] for place in up), min(broken[place] for place in down))
    for place in up:
        broken[place] += shift
    for place in down:
        broken[place] -= shift
