"""A house that acts through the services and keeps a second book of its own by hand.

The second book is the oracle of "Where every pound went": it is written from what each act was
told, not from the ledger, and works out the origin of all honey by brute force in exact fractions.
Lots are only names in it.
"""

from collections import defaultdict
from contextlib import suppress
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from django.db import transaction

from inventory.bottling.models import Product
from inventory.bottling.services import comb, gift_boxes, jars, returned_jars, reversals
from inventory.shared.errors import HouseError
from inventory.stock.flow import Band, Form, Leaf
from inventory.stock.models import Balance, Lot, Place, Posting, PostingLine
from inventory.stock.services import honey, ledger, others, purchases, stores
from inventory.stock.services.arrivals import VesselReceived
from tests import builders
from tests.inventory import bottling_room, forms_room, jar_room

POUND = Fraction(Decimal("453.59237"))
WAYS_OUT = {
    "spoilage": Band.SPOILED,
    "own_use": Band.OWN_USE,
    "gift": Band.GIVEN_AWAY,
    "breakage": Band.BROKEN,
    "skimming": Band.SKIMMINGS,
    "spill": Band.SPILLED,
    "feeding": Band.FED_TO_BEES,
    "sample": Band.SAMPLED,
}
BANDS = {"tank": Band.TANKS, "drum": Band.DRUMS, "pail": Band.PAILS, "shelf": Band.STOCK}
# Acts that say how much there is, whatever was told before.
LEVELS = ("count", "reweighing")


@dataclass
class Move:
    """So many units of a lot that became part of another; `grams` is what they weighed then."""

    act: int
    parent: int
    units: int
    child: int
    child_units: int
    grams: Fraction | None = None


@dataclass
class End:
    """So many units of a lot that an act brought to a band; `place` is None outside the house.

    `short` are those that it took beside, which were not there: a later level has settled them.
    """

    act: int
    lot: int
    units: int
    band: Band
    place: int | None = None
    short: int = 0


class SecondBook:
    """What was told: honey that came in, moves from lot to lot, and ends. What is undone is cut.

    Acts that counted or weighed, the `levels`, said how much there was, and that stays so: when
    something before them is undone, what they found differs by as much.
    """

    def __init__(self) -> None:
        self.came: list[tuple[int, int, int, Fraction]] = []
        self.moves: list[Move] = []
        self.ends: list[End] = []
        self.levels: set[int] = set()
        self.is_bulk: dict[int, bool] = {}
        self.label: dict[int, Fraction] = {}
        # Honey in one of a lot where no act says so.
        self.unit: dict[int, Fraction] = {}

    def undo(self, act: int) -> None:
        self.came = [row for row in self.came if row[0] != act]
        self.moves = [move for move in self.moves if move.act != act]
        undone = [end for end in self.ends if end.act == act and end.place is not None]
        self.ends = [end for end in self.ends if end.act != act]
        for end in undone:
            self._tell_again(end)
        # Where a level agrees with what was told, nothing was found.
        self.ends = [end for end in self.ends if end.units or end.short]

    def _tell_again(self, undone: End) -> None:
        """Tell what came after an end that is undone, up to the next level of its place."""
        of_place = [end for end in self.ends if (end.place, end.lot) == (undone.place, undone.lot)]
        of_place.sort(key=lambda end: end.act)
        there = sum(end.units for end in of_place if end.act < undone.act)
        was_there = there + undone.units
        for end in of_place:
            if end.act < undone.act:
                continue
            was_there += end.units
            if end.act in self.levels:
                [outside] = [each for each in self.ends if each.act == end.act and each != end]
                end.units = was_there - there
                outside.units = -end.units
                return
            wanted = end.short - end.units
            end.short = max(wanted - max(there, 0), 0)
            end.units = end.short - wanted
            there += end.units

    def expected(self) -> tuple[dict[int, Fraction], dict[int, dict[Leaf, Fraction]]]:
        """Return what came in, and where it is, by origin: exact grams."""
        made: dict[int, int] = defaultdict(int)
        own: dict[int, Fraction] = defaultdict(Fraction)
        for _act, lot, units, grams in self.came:
            made[lot] += units
            own[lot] += grams
        for move in self.moves:
            made[move.child] += move.child_units
        each: dict[int, dict[int, Fraction]] = {}
        label: dict[int, Fraction] = {}
        # Over and over, until nothing changes: no order of lots is needed.
        while True:
            inside = {lot: {lot: grams} if grams else {} for lot, grams in own.items()}
            labelled: dict[int, Fraction] = defaultdict(Fraction)
            for move in self.moves:
                goes = inside.setdefault(move.child, {})
                for origin, grams in _moved(each, move).items():
                    goes[origin] = goes.get(origin, Fraction(0)) + grams
                labelled[move.child] += label.get(move.parent, Fraction(0)) * move.units
            found = {
                # What no act brought in, as what only a scale found, is an origin of its own.
                lot: {origin: grams / made[lot] for origin, grams in inside.get(lot, {}).items()}
                if made[lot]
                else {lot: self.unit[lot]}
                for lot in self.is_bulk
            }
            labels = {
                lot: self.label.get(lot, labelled[lot] / made[lot] if made[lot] else Fraction(0))
                for lot in self.is_bulk
            }
            if (found, labels) == (each, label):
                break
            each, label = found, labels
        cells: dict[int, dict[Leaf, Fraction]] = defaultdict(lambda: defaultdict(Fraction))
        for end in self.ends:
            self._end(cells, end, each[end.lot], label[end.lot])
            settled = End(end.act, end.lot, -end.short, Band.COUNTS)
            self._end(cells, settled, each[end.lot], label[end.lot])
        for move in self.moves:
            form = Form.BULK if self.is_bulk[move.parent] else Form.PIECES
            got = _moved(each, move)
            for origin, grams in each[move.parent].items():
                # What was weighed is not always what had gone in.
                cells[origin][Leaf(form, Band.SCALES)] += grams * move.units - got[origin]
        return dict(own), cells

    def _end(self, cells, end: End, each: dict[int, Fraction], label: Fraction) -> None:
        whole = sum(each.values())
        over = Fraction(0)
        if not self.is_bulk[end.lot] and label and whole > label:
            over = (whole - label) / whole
        form = Form.BULK if self.is_bulk[end.lot] else Form.PIECES
        is_here = end.band in (Band.TANKS, Band.DRUMS, Band.PAILS, Band.STOCK, Band.RETURNED)
        above = Band.OVERFILL_HERE if is_here else Band.OVERFILL
        for origin, grams in each.items():
            cells[origin][Leaf(form, end.band)] += grams * end.units * (1 - over)
            cells[origin][Leaf(form, above)] += grams * end.units * over


def _moved(each: dict[int, dict[int, Fraction]], move: Move) -> dict[int, Fraction]:
    parent = each.get(move.parent, {})
    whole = sum(parent.values())
    factor = Fraction(move.units)
    if move.grams is not None and whole:
        factor = move.grams / whole
    return {origin: grams * factor for origin, grams in parent.items()}


class FlowHouse:
    """Two tanks, a drum and a pail of the house, a drum of another beekeeper, jars and comb."""

    def __init__(self) -> None:
        self.book = SecondBook()
        self.person = builders.person()
        self.room = jar_room.set_up(labels=5_000)
        self.shelf = self.room.shelf
        self.stand = builders.place("stand", Place.Kind.STAND, name="Stand")
        self.vessels = [
            self.room.room.tank,
            builders.place("tank-2"),
            builders.place("drum-1", Place.Kind.DRUM),
            builders.place("pail-2", Place.Kind.PAIL),
        ]
        self.their_drum = builders.place("drum-9", Place.Kind.DRUM)
        self.owner = builders.supplier("Rosa Vale", "beekeeper")
        for part in (self.room.room.jar, self.room.room.lid):
            bottling_room.receive(part, self.shelf, 5_000, 5_000)
        bottling_room.receive(self.room.room.case, self.shelf, 500, 500)
        candle = jar_room.candles(self.shelf)
        self.box_product = jar_room.box(self.room, candle=candle.product)
        self.creamed = forms_room.honey_of(self.room.room.size, Product.Form.CREAMED)
        self.chunk = forms_room.honey_of(self.room.room.size, Product.Form.CHUNK)
        self.comb = forms_room.comb_by_weight()
        self.square = forms_room.comb_by_piece()
        self.made = 0
        posting = Posting.objects.get(kind="extraction")
        self.know(self.room.room.lot)
        self.came(posting, self.room.room.lot, 200_000)
        self.end(posting, self.room.room.lot, 200_000, self.vessels[0])

    # What is written in the second book.

    def know(self, lot: Lot) -> None:
        self.book.is_bulk[lot.pk] = lot.product is None
        product = lot.product
        self.book.unit[lot.pk] = Fraction(1)
        if product and not product.item.is_weighed:
            self.book.unit[lot.pk] = Fraction(product.declared_grams)
            if product.size:
                self.book.label[lot.pk] = Fraction(product.declared_grams)

    def came(self, posting: Posting, lot: Lot, units: int, grams: Fraction | None = None) -> None:
        self.know(lot)
        self.book.came.append(
            (posting.pk, lot.pk, units, Fraction(units) if grams is None else grams)
        )

    def end(self, posting: Posting, lot: Lot, units: int, where: Place | Band) -> None:
        self.know(lot)
        if not units:
            return
        if isinstance(where, Place):
            end = End(posting.pk, lot.pk, units, BANDS[where.kind], where.pk)
        else:
            end = End(posting.pk, lot.pk, units, where)
        self.book.ends.append(end)

    def move(self, posting, parent: Lot, units: int, child: Lot, child_units: int, grams=None):
        self.know(parent)
        self.know(child)
        self.book.moves.append(Move(posting.pk, parent.pk, units, child.pk, child_units, grams))

    def inside(self, place: Place) -> Balance | None:
        return Balance.objects.in_vessel(place)

    def poured(self, posting, before: Balance | None, target: Place, lot: Lot, grams: int) -> None:
        """Write that grams of a lot came into a vessel that had `before` in it."""
        there = self.inside(target)
        assert there is not None
        now = there.honey_lot
        self.end(posting, now, grams, target)
        if lot != now:
            self.move(posting, lot, grams, now, grams)
        if before is not None and before.lot != now:
            self.end(posting, before.honey_lot, -before.quantity, target)
            self.end(posting, now, before.quantity, target)
            self.move(posting, before.honey_lot, before.quantity, now, before.quantity)

    @staticmethod
    def refuse_short(there: Balance | None, grams: int) -> None:
        """What takes more than there is leaves something to settle: not a matter of this house."""
        if there is None or there.quantity < grams:
            raise HouseError("There is not so much.")

    # The acts.

    def act(self, name: str, *figures: int) -> None:
        with suppress(HouseError), transaction.atomic():
            getattr(self, name)(*figures)
            self.made += 1

    def by(self) -> dict:
        return {"recorded_by": self.person, "key": builders.new_key()}

    @staticmethod
    def last() -> Posting:
        return Posting.objects.order_by("-pk")[0]

    def vessel(self, index: int) -> Place:
        return self.vessels[index % len(self.vessels)]

    def extract(self, index: int, grams: int) -> None:
        target = self.vessel(index)
        before = self.inside(target)
        lot = honey.receive(
            place=target,
            grams=grams,
            season=builders.today().year - index % 2,
            floral_source="Clover",
            # The second book is told in order, so nothing here is late.
            extracted_on=builders.today(),
            moisture_percent=Decimal("17.4"),
            **self.by(),
        )
        self.came(self.last(), lot, grams)
        self.poured(self.last(), before, target, lot, grams)

    def buy(self, index: int, grams: int) -> None:
        """Bought honey comes in two vessels at once."""
        targets = [self.vessel(index), self.vessel(index + 1)]
        before = [self.inside(target) for target in targets]
        lot = purchases.receive(
            supplier="Olmo Honey",
            vessels=[
                VesselReceived(targets[0], net_grams=grams),
                VesselReceived(targets[1], net_grams=grams // 3),
            ],
            country="ES",
            floral_source="Rosemary",
            season=2026,
            received_on=builders.today(),
            moisture_percent=Decimal("17.0"),
            cost_cents=None,
            **self.by(),
        )
        posting = self.last()
        self.came(posting, lot, grams + grams // 3)
        self.poured(posting, before[0], targets[0], lot, grams)
        self.poured(posting, before[1], targets[1], lot, grams // 3)

    def pour(self, index: int, to: int, grams: int) -> None:
        source, target = self.vessel(index), self.vessel(to)
        drawn, before = self.inside(source), self.inside(target)
        posting = honey.transfer(source=source, target=target, grams=grams, **self.by())
        assert drawn is not None
        self.end(posting, drawn.honey_lot, -grams, source)
        self.poured(posting, before, target, drawn.honey_lot, grams)

    def lose(self, index: int, way: int, grams: int) -> None:
        source = self.vessel(index)
        there = self.inside(source)
        reason = list(WAYS_OUT)[way % len(WAYS_OUT)]
        posting = honey.write_off(place=source, grams=grams, reason=reason, **self.by())
        assert there is not None
        self.end(posting, there.honey_lot, -grams, source)
        self.end(posting, there.honey_lot, grams, WAYS_OUT[reason])

    def outside(self, index: int, grams: int, kind: str, place: str, band: Band) -> None:
        """Take honey out of a vessel to an outside place, or bring it from there."""
        source = self.vessel(index)
        there = self.inside(source)
        if there is None:
            return
        posting = ledger.post(
            kind=kind,
            lines=ledger.move(
                item=there.item,
                lot=there.lot,
                source=source,
                target=Place.objects.outside(place),
                quantity=grams,
            ),
            **self.by(),
        )
        self.end(posting, there.honey_lot, -grams, source)
        self.end(posting, there.honey_lot, grams, band)
        if kind in LEVELS:
            self.book.levels.add(posting.pk)

    def sell_bulk(self, index: int, grams: int) -> None:
        self.outside(index, grams, "sale", Place.Kind.CUSTOMER, Band.SOLD)

    def reweigh(self, index: int, grams: int) -> None:
        self.outside(index, -grams, "reweighing", Place.Kind.SCALE_DIFFERENCE, Band.SCALES)

    def dip(self, index: int, grams: int) -> None:
        self.outside(index, -grams, "count", Place.Kind.COUNT_DIFFERENCE, Band.COUNTS)

    def fill(self, index: int, pieces: int, over: int, broken: int, without_labels: bool) -> None:
        source = self.vessel(index)
        there = self.inside(source)
        planned = bottling_room.plan(
            self.room.room, pieces, source=source, without_labels=without_labels
        )
        drawn = int(POUND * (pieces + broken)) + over * pieces + 77
        self.refuse_short(there, drawn)
        run = bottling_room.record(
            planned,
            pieces_filled=pieces,
            pieces_broken=broken,
            drawn_grams=drawn,
            loss_grams=77,
            figures_are_right=True,
        )
        assert there is not None
        lot, lost = there.honey_lot, round(POUND * broken)
        self.end(run.posting, lot, -drawn, source)
        self.end(run.posting, lot, 77, Band.FILLING_LOSS)
        self.end(run.posting, lot, lost, Band.BROKEN)
        self.move(run.posting, lot, drawn - 77 - lost, run.packed_lot, pieces)
        self.end(run.posting, run.packed_lot, pieces, self.shelf)

    def cream(self, index: int, seed: int, pieces: int) -> None:
        source, seed_source = self.vessel(index), self.vessel(seed)
        there, seeds = self.inside(source), self.inside(seed_source)
        run = forms_room.plan(
            self.room.room,
            self.creamed,
            pieces,
            source=source,
            seed_source=seed_source,
            seed_percent=Decimal(10),
        )
        drawn, added = 420 * pieces, 46 * pieces
        self.refuse_short(there, drawn)
        self.refuse_short(seeds, added)
        run = forms_room.record(
            run,
            pieces_filled=pieces,
            drawn_grams=drawn,
            seed_grams=added,
            figures_are_right=True,
        )
        assert there is not None
        assert seeds is not None
        for balance, place, grams in ((there, source, drawn), (seeds, seed_source, added)):
            self.end(run.posting, balance.honey_lot, -grams, place)
        self.move(run.posting, there.honey_lot, drawn, run.packed_lot, pieces)
        self.move(run.posting, seeds.honey_lot, added, run.packed_lot, 0)
        self.end(run.posting, run.packed_lot, pieces, self.shelf)

    def harvest_comb(self, grams: int) -> None:
        lot = forms_room.comb_at(self.shelf, self.comb, grams)
        self.came(self.last(), lot, grams)
        self.end(self.last(), lot, grams, self.shelf)

    def harvest_squares(self, pieces: int) -> None:
        lot = forms_room.comb_at(self.shelf, self.square, pieces)
        self.came(self.last(), lot, pieces, Fraction(300 * pieces))
        self.end(self.last(), lot, pieces, self.shelf)

    def cut(self, index: int, pieces: int, drained: int) -> None:
        comb_lot = self.packed(index, self.comb)
        vessel = self.vessels[3]
        before = self.inside(vessel)
        grams = 310 * pieces + drained + 50
        made = comb.cut(
            comb=Balance.objects.of_lot_at(comb_lot, self.shelf),
            comb_grams=grams,
            product=self.square,
            pieces=pieces,
            target=self.shelf,
            loss_grams=50,
            drained_grams=drained,
            vessel=vessel,
            moisture_percent=Decimal("17.8"),
            **self.by(),
        )
        self.end(made.posting, comb_lot, -grams, self.shelf)
        self.end(made.posting, comb_lot, 50, Band.FILLING_LOSS)
        self.move(made.posting, comb_lot, 310 * pieces, made.packed_lot, pieces)
        self.end(made.posting, made.packed_lot, pieces, self.shelf)
        if drained:
            self.move(made.posting, comb_lot, drained, made.drained_lot, drained)
            self.poured(made.posting, before, vessel, made.drained_lot, drained)

    def chunks(self, index: int, of: int, pieces: int) -> None:
        comb_lot = self.packed(of, self.comb)
        source = self.vessel(index)
        there = self.inside(source)
        self.refuse_short(there, 310 * pieces)
        run = forms_room.plan(
            self.room.room,
            self.chunk,
            pieces,
            source=source,
            comb=Balance.objects.of_lot_at(comb_lot, self.shelf),
            comb_grams_each=150,
        )
        run = forms_room.record(
            run,
            pieces_filled=pieces,
            drawn_grams=310 * pieces,
            comb_quantity=150 * pieces,
            figures_are_right=True,
        )
        assert there is not None
        self.end(run.posting, there.honey_lot, -310 * pieces, source)
        self.end(run.posting, comb_lot, -150 * pieces, self.shelf)
        self.move(run.posting, there.honey_lot, 310 * pieces, run.packed_lot, pieces)
        self.move(run.posting, comb_lot, 150 * pieces, run.packed_lot, 0)
        self.end(run.posting, run.packed_lot, pieces, self.shelf)

    def packed(self, index: int, *products: Product) -> Lot:
        found = Lot.objects.filter(product__isnull=False, owner=None).exclude(product__kind="goods")
        if products:
            found = found.filter(product__in=products)
        kept = list(found.order_by("pk"))
        if not kept:
            raise HouseError("There is none.")
        return kept[index % len(kept)]

    def label(self, index: int, is_branded: bool, pieces: int) -> None:
        lot = self.packed(index)
        product = self.room.branded if is_branded else self.room.own
        made = jars.label(
            lot=lot,
            place=self.shelf,
            product=product,
            pieces=pieces,
            changed_by=self.person,
            key=builders.new_key(),
        )
        self.end(made.posting, lot, -pieces, self.shelf)
        self.move(made.posting, lot, pieces, made.lot, pieces)
        self.end(made.posting, made.lot, pieces, self.shelf)

    def empty(self, index: int, pieces: int, more: int) -> None:
        lot = self.packed(index)
        vessel = self.vessels[3]
        before = self.inside(vessel)
        grams = int(POUND * pieces) + more
        made = jars.empty(
            lot=lot,
            place=self.shelf,
            pieces=pieces,
            grams=grams,
            vessel=vessel,
            moisture_percent=Decimal("17.4"),
            figures_are_right=True,
            changed_by=self.person,
            key=builders.new_key(),
        )
        whole = grams + made.loss_grams
        self.end(made.posting, lot, -pieces, self.shelf)
        self.move(made.posting, lot, pieces, made.lot, whole, Fraction(whole))
        self.end(made.posting, made.lot, made.loss_grams, Band.FILLING_LOSS)
        self.poured(made.posting, before, vessel, made.lot, grams)

    def box(self, boxes: int) -> None:
        made = gift_boxes.put_together(
            box=self.box_product,
            place=self.shelf,
            boxes=boxes,
            changed_by=self.person,
            key=builders.new_key(),
        )
        self.boxed(made, 1)

    def unbox(self, index: int, boxes: int) -> None:
        found = list(Lot.objects.filter(product=self.box_product).order_by("pk"))
        if not found:
            return
        made = gift_boxes.take_apart(
            lot=found[index % len(found)],
            place=self.shelf,
            boxes=boxes,
            changed_by=self.person,
            key=builders.new_key(),
        )
        self.boxed(made, -1)

    def boxed(self, made, sign: int) -> None:
        boxes = made.pieces * sign
        for row in made.changed.select_related("lot__product__size", "lot__product__item"):
            if row.lot.product.kind == "goods":
                continue
            self.end(made.posting, row.lot, -row.pieces * sign, self.shelf)
            self.move(made.posting, row.lot, row.pieces * sign, made.lot, boxes)
            boxes = 0
        self.end(made.posting, made.lot, made.pieces * sign, self.shelf)

    def give(self, index: int, way: int, pieces: int) -> None:
        lot = self.packed(index)
        reason = ["breakage", "gift", "own_use", "spoilage"][way % 4]
        posting = stores.write_off(
            item=lot.product.item,
            lot=lot,
            place=self.shelf,
            pieces=pieces,
            reason=reason,
            **self.by(),
        )
        self.end(posting, lot, -pieces, self.shelf)
        self.end(posting, lot, pieces, WAYS_OUT[reason])

    def count(self, index: int, more: int) -> None:
        lot = self.packed(index)
        there = Balance.objects.of_lot_at(lot, self.shelf)
        known = there.quantity if there else 0
        posting = stores.count(
            item=lot.product.item,
            lot=lot,
            place=self.shelf,
            counted=known + more,
            reason="Counted",
            surplus_reason="A case was not written down",
            **self.by(),
        )
        if posting:
            self.end(posting, lot, more, self.shelf)
            self.end(posting, lot, -more, Band.COUNTS)
            self.book.levels.add(posting.pk)

    def sell(self, index: int, pieces: int) -> None:
        lot = self.packed(index)
        posting = jar_room.sell(lot, self.shelf, pieces)
        self.end(posting, lot, -pieces, self.shelf)
        self.end(posting, lot, pieces, Band.SOLD)

    def came_back(self, index: int, pieces: int) -> None:
        lot = self.packed(index)
        kept = returned_jars.set_aside(
            lot=lot, place=self.shelf, pieces=pieces, reason="Found open", **self.by()
        )
        self.end(kept.set_aside, lot, -pieces, self.shelf)
        self.end(kept.set_aside, lot, pieces, Band.RETURNED)

    def receive_theirs(self, grams: int) -> None:
        before = self.inside(self.their_drum)
        lot = others.receive(
            owner=self.owner,
            kind=Lot.Kind.STORED,
            vessels=[VesselReceived(self.their_drum, net_grams=grams)],
            season=2026,
            floral_source="Lime",
            received_on=builders.today(),
            moisture_percent=Decimal("17.0"),
            **self.by(),
        )
        self.came(self.last(), lot, grams)
        self.poured(self.last(), before, self.their_drum, lot, grams)

    def hand_back(self, grams: int) -> None:
        there = self.inside(self.their_drum)
        posting = others.hand_back(place=self.their_drum, grams=grams, **self.by())
        assert there is not None
        self.end(posting, there.honey_lot, -grams, self.their_drum)
        self.end(posting, there.honey_lot, grams, Band.HANDED_BACK)

    def buy_theirs(self, index: int, grams: int) -> None:
        theirs, target = self.inside(self.their_drum), self.vessel(index)
        before = self.inside(target)
        lot = others.buy(
            place=self.their_drum, grams=grams, target=target, cost_cents=500, **self.by()
        )
        assert theirs is not None
        self.end(self.last(), theirs.honey_lot, -grams, self.their_drum)
        self.end(self.last(), theirs.honey_lot, grams, Band.BOUGHT)
        self.came(self.last(), lot, grams)
        self.poured(self.last(), before, target, lot, grams)

    def undo(self, index: int) -> None:
        found = Posting.objects.filter(reverses=None, reversed_by=None)
        found = found.exclude(kind__in=["sale", "part_receipt", "return"])
        posting = found.order_by("-pk")[index : index + 1].first()
        if posting and not self.is_told_otherwise(posting):
            reversals.reverse(posting=posting, **self.by())
            self.book.undo(posting.pk)

    def is_told_otherwise(self, posting: Posting) -> bool:
        """Tell whether acts between a posting and the next level would be others without it.

        Where honey was counted or weighed later, a posting is undone though acts came between, and
        those are told again. Another lot may be in the vessel then, a sale of all that was in it
        another sale, and jars may not be carried that were not there. The second book is told in
        order and doesn't reckon such acts anew; `test_late_entries` does.
        """
        found_something = {end.act for end in self.book.ends} & self.book.levels
        moved = PostingLine.objects.filter(posting=posting, place__kind__in=Place.IN_HOUSE)
        moved = moved.exclude(item__kind="part")
        since = {
            line: PostingLine.objects.standing().filter(
                item=line.item_id, place=line.place_id, posting_id__gt=posting.pk
            )
            for line in moved
        }
        if not any(later.filter(posting__kind__in=LEVELS).exists() for later in since.values()):
            return False
        for line, later in since.items():
            if line.lot.product:
                later = later.filter(lot=line.lot_id)
            lots = {line.lot_id}
            for other in later.order_by("posting_id"):
                lots.add(other.lot_id)
                if len(lots) > 1:
                    return True
                if other.posting_id in found_something:
                    break
                if other.posting.kind == ("transfer" if line.lot.product else "sale"):
                    return True
        return False
