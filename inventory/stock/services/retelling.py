"""What a late or corrected entry changes in all that was entered for later moments.

The books are to be as if everything had been told in order. So each later entry that touches the
same stock is told again by the new state of its own moment: which lot was in the vessel, how much
there was. What differs is posted as a correction of that entry, on its own day; the entry itself
is never changed. What weighed or counted something keeps its figure. What took more than there was
takes the rest from the outside place "to be settled".
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime

from django.db.models import DateTimeField, Q, QuerySet, Sum
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from inventory.shared.errors import NotAllowedNow
from inventory.shared.prepared import Given, PreparedQuery
from inventory.stock.models import (
    Balance,
    CountLine,
    Item,
    Lot,
    Place,
    Posting,
    PostingLine,
    Shortage,
)
from inventory.stock.models.ledger import ENTRY
from inventory.stock.services import lots

# A place and a lot by their keys; a lot of zero is none.
Key = tuple[int, int]
Quantities = dict[Key, int]

# They say how much there is, whatever went before.
LEVELS = (Posting.Kind.COUNT, Posting.Kind.REWEIGHING)


@dataclass
class Event:
    """An entry with its corrections, as far as one item goes."""

    posting: Posting
    lines: Quantities = field(default_factory=dict)
    shortages: list[Shortage] = field(default_factory=list)


@dataclass(frozen=True)
class Short:
    """So much that an entry takes from "to be settled", for want of it at a place."""

    place: int
    lot: int
    quantity: int


@dataclass(frozen=True)
class EntryCorrection:
    """The difference between what an entry posted and what it posts now that it is told again."""

    event: Event
    item: Item
    change: Quantities
    # What is short now, in place of `event.shortages`.
    shorts: tuple[Short, ...]


@dataclass
class Retold:
    """What telling later entries again comes to."""

    corrections: list[EntryCorrection] = field(default_factory=list)
    # The parts of blends that are made of something else now, by their key.
    blends: dict[int, dict[int, int]] = field(default_factory=dict)


_LATER = PreparedQuery(
    lambda: (
        Posting.objects.filter(occurred_at__gt=Given("moment", DateTimeField()))
        .order_by()
        .values_list("pk")[:1]
    )
)


def is_late(lines: Mapping[int, Iterable[int]], moment: datetime) -> bool:
    """Tell whether anything of these items at these places is in the books for a later moment."""
    if not lines or not _LATER.finds(moment=moment):
        return False
    later = Posting.objects.filter(occurred_at__gt=moment).order_by().values("pk")
    there = Q()
    for item, places in lines.items():
        there |= Q(item=item, place__in=list(places))
    return (
        PostingLine.objects.filter(there, posting__in=later).exists()
        or Shortage.objects.standing().filter(there, posting__in=later).exists()
    )


def with_lines(lots: Iterable[int]) -> QuerySet[PostingLine, int | None]:
    """Return those of the lots, by key, of which any entry still moves something.

    An entry counts with all its corrections.
    """
    return (
        PostingLine.objects.standing()
        .filter(lot__in=list(lots))
        .annotate(entry=ENTRY)
        .order_by()
        .values("entry", "place", "lot")
        .annotate(total=Sum("quantity"))
        .exclude(total=0)
        .values_list("lot", flat=True)
    )


def lowest_since(item: Item, moment: datetime, places: Iterable[int]) -> Quantities:
    """Return the least that was of each lot at these places, at a moment and at any since."""
    places = list(places)
    state = Balance.objects.at(item, moment, places=places)
    lowest = dict(state)
    for place, lot, _moment, total in (
        PostingLine.objects.of_item_since(item, moment)
        .filter(place__in=places)
        .order_by("posting__occurred_at")
        .values_list("place", "lot", "posting__occurred_at")
        .annotate(total=Sum("quantity"))
    ):
        key = (place, lot or 0)
        state[key] = state.get(key, 0) + total
        lowest[key] = min(lowest.get(key, 0), state[key])
    return lowest


def tell_again(item: Item, *, moment: datetime, after: int, change: Mapping[Key, int]) -> Retold:
    """Tell every later entry again, after the lines of the entry `after` changed by `change`.

    Call it when they are written. Raises `NotAllowedNow` where an entry stands in the way that
    can't be told again.
    """
    walk = _Retelling(item)
    walk.new = Balance.objects.at(item, moment, upto=after)
    walk.old = dict(walk.new)
    _add(walk.old, {key: -n for key, n in change.items() if key[0] in walk.physical})
    events = _events(item, moment, after)
    walk.counted_earlier(events, moment)
    for event in events:
        walk.tell(event)
    return walk.outcome


def _events(item: Item, moment: datetime, after: int) -> list[Event]:
    """Return the later entries of an item in their order, each with its corrections."""
    sums: dict[int, Quantities] = {}
    for entry, place, lot, quantity in (
        PostingLine.objects.of_item_since(item, moment, after=after)
        .annotate(root=ENTRY)
        .order_by()
        .values_list("root", "place", "lot")
        .annotate(total=Sum("quantity"))
    ):
        sums.setdefault(entry, {})[place, lot or 0] = quantity
    events = {
        posting.pk: Event(posting, sums[posting.pk])
        for posting in Posting.objects.filter(pk__in=list(sums)).order_by("occurred_at", "id")
    }
    for row in Shortage.objects.filter(posting__in=list(sums), item=item).standing():
        events[row.posting_id].shortages.append(row)
    # What came to nothing by a correction is over; but what takes all there is may take again.
    return [
        event
        for event in events.values()
        if any(event.lines.values()) or event.shortages or event.posting.took_all
    ]


def _as_posted(posting: Posting, item: Item) -> Quantities:
    """Return the lines of an entry as they were posted, without its corrections."""
    lines: Quantities = {}
    for line in PostingLine.objects.filter(posting=posting, item=item):
        _add(lines, {(line.place_id, line.lot_id or 0): line.quantity})
    return lines


def _add(to: Quantities, change: Mapping[Key, int]) -> None:
    for key, quantity in change.items():
        total = to.get(key, 0) + quantity
        if total:
            to[key] = total
        else:
            to.pop(key, None)


def _at(state: Quantities, place: int) -> dict[int, int]:
    """Return what is at a place, by lot."""
    return {lot: quantity for (where, lot), quantity in state.items() if where == place}


class _Retelling:
    """The walk through later entries, with the old and the new state of every place."""

    def __init__(self, item: Item) -> None:
        self.item = item
        self.is_honey = item.kind == Item.Kind.HONEY
        self.nowhere = Place.objects.outside(Place.Kind.TO_SETTLE)
        self.to_settle = self.nowhere.pk
        in_house = Place.objects.filter(kind__in=Place.IN_HOUSE)
        self.physical = set(in_house.values_list("pk", flat=True))
        self.old: Quantities = {}
        self.new: Quantities = {}
        # The lot that was last in a vessel, for what is drawn from an empty one.
        self._last: dict[int, int] = {}
        # What settled a shortage that is another one now is changed where it comes.
        self._changed_settlements: dict[int, Quantities] = {}
        # When the lines of a count sheet were counted, and what had changed by then.
        self._counts: list[tuple[datetime, int, Key]] = []
        self._changed_by_count: dict[tuple[int, Key], int] = {}
        self.outcome = Retold()

    def counted_earlier(self, events: Iterable[Event], moment: datetime) -> None:
        """Learn which counts are booked later than they were counted: a sheet is closed last."""
        levels = [event.posting.pk for event in events if event.posting.kind in LEVELS]
        for line in CountLine.objects.filter(posting__in=levels, item=self.item):
            key = (line.place_id, 0 if self.is_honey else line.lot_id or 0)
            self._changed_by_count[line.posting_id or 0, key] = 0
            if line.counted_at >= moment:
                self._counts.append((line.counted_at, line.posting_id or 0, key))
        self._counts.sort()

    def _note_counts(self, upto: datetime) -> None:
        while self._counts and self._counts[0][0] <= upto:
            _when, posting, key = self._counts.pop(0)
            self._changed_by_count[posting, key] = self._changed(key)

    def _changed(self, key: Key) -> int:
        """Return by how much the new telling differs from the old, in a vessel or of a lot."""
        if self.is_honey:
            return sum(_at(self.new, key[0]).values()) - sum(_at(self.old, key[0]).values())
        return self.new.get(key, 0) - self.old.get(key, 0)

    def _change_of_level(self, posting: int, key: Key, quantity: int) -> int:
        """Return the difference that a count has now: it said how much there was when counted."""
        changed = self._changed_by_count.get((posting, key))
        return quantity - (self._changed(key) if changed is None else changed)

    def tell(self, event: Event) -> None:
        self._note_counts(event.posting.occurred_at)
        touched = {place for place, _lot in event.lines if place in self.physical}
        touched |= {row.place_id for row in event.shortages if row.place_id} & self.physical
        for place in touched:
            if (there := _at(self.new, place)) and self.is_honey:
                self._last[place] = max(there, key=lambda lot: there[lot])
        lines = dict(event.lines)
        _add(lines, self._changed_settlements.pop(event.posting.pk, {}))
        shorts = tuple(
            Short(row.place_id or 0, row.lot_id or 0, row.quantity) for row in event.shortages
        )
        if any(_at(self.old, place) != _at(self.new, place) for place in touched):
            lines, shorts = (
                self._tell_honey(event, lines) if self.is_honey else self._tell_pieces(event, lines)
            )
        change = dict(lines)
        _add(change, {key: -quantity for key, quantity in event.lines.items()})
        _add(self.old, {key: n for key, n in event.lines.items() if key[0] in self.physical})
        _add(self.new, {key: n for key, n in lines.items() if key[0] in self.physical})
        if change:
            correction = EntryCorrection(event, self.item, change, shorts)
            self.outcome.corrections.append(correction)
            self._settle_what_is_short_now(event, shorts)

    def _settle_what_is_short_now(self, event: Event, shorts: tuple[Short, ...]) -> None:
        """Let a settlement be of what is short now: what is not short any more is not settled.

        More is settled only by a difference of count; stock that gave some need not have more.
        """
        left = {(short.place, short.lot): short.quantity for short in shorts}
        for row in event.shortages:
            gone = row.quantity - left.get((row.place_id or 0, row.lot_id or 0), 0)
            if row.settled_by_id is None or not gone:
                continue
            settled = PostingLine.objects.filter(posting=row.settled_by_id, item=self.item)
            if gone < 0 and settled.filter(place__in=self.physical).exists():
                continue
            change = self._changed_settlements.setdefault(row.settled_by_id, {})
            for line in settled.filter(lot=row.lot_id):
                sign = 1 if line.quantity < 0 else -1
                _add(change, {(line.place_id, line.lot_id or 0): sign * gone})

    # Pieces and goods by weight: each lot at each place for itself.

    def _tell_pieces(self, event: Event, lines: Quantities) -> tuple[Quantities, tuple[Short, ...]]:
        if event.posting.kind in LEVELS:
            return self._tell_counts(event.posting.pk, lines), ()
        missing = {(row.place_id or 0, row.lot_id or 0): row.quantity for row in event.shortages}
        told = {
            (place, lot): quantity
            for (place, lot), quantity in lines.items()
            if place not in self.physical and place != self.to_settle
        }
        shorts = []
        here = {key for key in lines.keys() | missing.keys() if key[0] in self.physical}
        for key in sorted(here):
            place, lot = key
            wanted = missing.get(key, 0) - lines.get(key, 0)
            if wanted <= 0:
                _add(told, {key: -wanted})
                continue
            taken = wanted - missing.get(key, 0)
            if self.old.get(key, 0) != self.new.get(key, 0):
                taken = min(wanted, max(self.new.get(key, 0), 0))
            short = wanted - taken
            _add(told, {key: -taken})
            if short and event.posting.kind == Posting.Kind.TRANSFER:
                # What was not there was not carried.
                target = next(where for where, n in lines.items() if n > 0 and where[1] == lot)
                _add(told, {target: -short})
            elif short:
                _add(told, {(self.to_settle, lot): -short})
                shorts.append(Short(place, lot, short))
        return told, tuple(shorts)

    def _tell_counts(self, posting: int, lines: Quantities) -> Quantities:
        told: Quantities = {}
        for key in sorted(key for key in lines if key[0] in self.physical):
            change = self._change_of_level(posting, key, lines[key])
            outside = self._outside_of(lines, key[1])
            _add(told, {key: change})
            _add(told, {(outside, key[1]): -change})
        return told

    def _outside_of(self, lines: Quantities, lot: int) -> int:
        """Return the outside place that a count takes its difference from."""
        found = [place for place, of in lines if place not in self.physical and of == lot]
        found += [place for place, _of in lines if place not in self.physical]
        return found[0] if found else Place.objects.outside(Place.Kind.COUNT_DIFFERENCE).pk

    # Honey: a vessel has one lot in it, and lots that meet become a blend.

    def _tell_honey(self, event: Event, lines: Quantities) -> tuple[Quantities, tuple[Short, ...]]:
        if event.posting.kind in LEVELS:
            return self._tell_level(event.posting.pk, lines), ()
        if not any(lines.values()) and event.posting.took_all:
            lines = _as_posted(event.posting, self.item)
        flow = _Flow(self, event, lines)
        return flow.told, tuple(flow.shorts)

    def _tell_level(self, posting: int, lines: Quantities) -> Quantities:
        told: Quantities = {}
        for place in {place for place, _lot in lines if place in self.physical}:
            was = _at(lines, place)
            change = self._change_of_level(posting, (place, 0), sum(was.values()))
            outside = self._outside_of(lines, next(iter(was)))
            if change >= 0:
                lot = self.lot_in(place) or next(iter(was))
                portions = {lot: -change}
            else:
                portions, _short = self.draw(place, -change, prefer=was)
            for lot, grams in portions.items():
                _add(told, {(place, lot): -grams})
                _add(told, {(outside, lot): grams})
        return told

    def lot_in(self, place: int) -> int | None:
        """Return the lot that is in a vessel by the new telling, or was last in it."""
        there = {lot: n for lot, n in _at(self.new, place).items() if n > 0}
        return max(there, key=lambda lot: there[lot]) if there else self._last.get(place)

    def draw(
        self, place: int, grams: int, *, prefer: Iterable[int] = ()
    ) -> tuple[dict[int, int], int]:
        """Return what `grams` drawn from a vessel are, by lot, and how much is not there."""
        there = {lot: n for lot, n in _at(self.new, place).items() if n > 0}
        known = [lot for lot in dict.fromkeys(prefer) if lot in there]
        rest = sorted(there.keys() - known, key=lambda lot: -there[lot])
        portions = {}
        for lot in [*known, *rest]:
            taken = min(grams, there[lot])
            if taken:
                portions[lot] = taken
                grams -= taken
        return portions, grams


class _Flow:
    """One entry that draws honey from vessels, or brings it into them, told again."""

    def __init__(self, walk: _Retelling, event: Event, lines: Quantities) -> None:
        self.walk, self.event = walk, event
        self.told: Quantities = {}
        self.shorts: list[Short] = []
        self._count_difference = Place.objects.outside(Place.Kind.COUNT_DIFFERENCE).pk
        nets: dict[int, int] = {}
        for (place, _lot), quantity in lines.items():
            nets[place] = nets.get(place, 0) + quantity
        vessels = {place for place in nets if place in walk.physical}
        missing: dict[int, int] = {}
        for row in event.shortages:
            if row.place_id:
                missing[row.place_id] = missing.get(row.place_id, 0) + row.quantity
                vessels.add(row.place_id)
        self._drawn = {
            place: -nets.get(place, 0) + missing.get(place, 0)
            for place in sorted(vessels)
            if -nets.get(place, 0) + missing.get(place, 0) > 0
        }
        self._filled = {place: nets[place] for place in sorted(vessels) if nets.get(place, 0) > 0}
        came = {
            key: -n
            for key, n in lines.items()
            if key[0] not in walk.physical and n < 0 and key[0] != walk.to_settle
        }
        went = {key: n for key, n in lines.items() if key[0] not in walk.physical and n > 0}
        quiet = vessels - self._drawn.keys() - self._filled.keys()
        if quiet or (self._drawn and came) or (len(self._drawn) > 1 and self._filled and went):
            self._refuse()
        self._tell(lines, came, went)

    def _tell(self, lines: Quantities, came: Quantities, went: Quantities) -> None:
        walk = self.walk
        arriving: dict[int, dict[int, int]] = {place: {} for place in self._filled}
        for place, grams in self._drawn.items():
            was = [lot for lot, n in _at(lines, place).items() if n < 0]
            was += [row.lot_id or 0 for row in self.event.shortages if row.place_id == place]
            takes_all = self._leaves_nothing(place, lines)
            is_billed = takes_all and self.event.posting.kind == Posting.Kind.SALE
            if takes_all and self.event.posting.took_all:
                grams = sum(n for n in _at(walk.new, place).values() if n > 0)
            portions, short = walk.draw(place, grams, prefer=was)
            for lot, taken in portions.items():
                _add(self.told, {(place, lot): -taken})
            if is_billed:
                self._difference_of_count(place, portions)
            if short:
                lot = walk.lot_in(place) or was[0]
                source = self._count_difference if is_billed else walk.to_settle
                _add(self.told, {(source, lot): -short})
                if not is_billed:
                    self.shorts.append(Short(place, lot, short))
                portions[lot] = portions.get(lot, 0) + short
            self._hand_on(place, was, portions, went, arriving)
        for place, grams in self._filled.items():
            if came:
                for (_outside, lot), quantity in came.items():
                    share = min(quantity, grams) if len(came) == 1 else quantity
                    arriving[place][lot] = arriving[place].get(lot, 0) + share
            self._fill(place, arriving[place], lines)
        _add(self.told, {key: -n for key, n in came.items()})
        if not self._drawn:
            # Of what came from outside some was lost on its way: jars that were emptied.
            _add(self.told, went)

    def _leaves_nothing(self, place: int, lines: Quantities) -> bool:
        """Tell whether this entry took all that the books had in a vessel."""
        level = sum(_at(self.walk.old, place).values()) + sum(_at(lines, place).values())
        return level <= 0 and not any(row.place_id == place for row in self.event.shortages)

    def _difference_of_count(self, place: int, sold: dict[int, int]) -> None:
        """What a vessel that left as it was billed held beyond the bill."""
        for lot, grams in _at(self.walk.new, place).items():
            if (rest := grams - sold.get(lot, 0)) > 0:
                _add(self.told, {(place, lot): -rest, (self._count_difference, lot): rest})

    def _hand_on(
        self,
        place: int,
        was: list[int],
        portions: dict[int, int],
        went: Quantities,
        arriving: dict[int, dict[int, int]],
    ) -> None:
        """Carry what was drawn from a vessel to where the entry brought it."""
        if self._filled:
            if len(self._filled) > 1:
                self._refuse()
            [target] = self._filled
            for lot, grams in portions.items():
                arriving[target][lot] = arriving[target].get(lot, 0) + grams
            return
        rest = dict(portions)
        sinks = [(key, n) for key, n in went.items() if len(self._drawn) == 1 or key[1] in was]
        total = sum(portions.values())
        before = sum(n for _key, n in sinks)
        shares = _shares(total, [n for _key, n in sinks]) if before != total else None
        for index, ((outside, _lot), quantity) in enumerate(sinks):
            wanted = shares[index] if shares else quantity
            for lot in list(rest):
                taken = min(wanted, rest[lot])
                if taken:
                    _add(self.told, {(outside, lot): taken})
                    rest[lot] -= taken
                    wanted -= taken

    def _fill(self, place: int, arriving: dict[int, int], lines: Quantities) -> None:
        """Bring what arrives into a vessel, as the lot it then is."""
        walk = self.walk
        there = {lot: n for lot, n in _at(walk.new, place).items() if n > 0}
        parts = dict(there)
        for lot, grams in arriving.items():
            parts[lot] = parts.get(lot, 0) + grams
        if not parts:
            return
        made = self._blend_made(place, lines)
        if made is not None:
            walk.outcome.blends[made] = parts
            result = made
        elif len(parts) == 1:
            [result] = parts
        else:
            result = self._new_blend(parts)
        for lot, grams in there.items():
            _add(self.told, {(place, lot): -grams})
        _add(self.told, {(place, result): sum(parts.values())})

    def _blend_made(self, place: int, lines: Quantities) -> int | None:
        """Return the blend that this entry made in a vessel, or None."""
        was_there = _at(self.walk.old, place)
        from_elsewhere = {lot for (where, lot), n in lines.items() if n < 0 and where != place}
        for lot, grams in _at(lines, place).items():
            if grams > 0 and lot not in was_there and lot not in from_elsewhere:
                return lot
        return None

    def _new_blend(self, parts: dict[int, int]) -> int:
        found = Lot.objects.select_related("owner").in_bulk(list(parts))
        portions = [
            lots.Portion(found[lot], grams, self.walk.nowhere) for lot, grams in parts.items()
        ]
        if len({portion.lot.owner_id for portion in portions}) > 1:
            self._refuse()
        day = timezone.localdate(self.event.posting.occurred_at)
        return lots.make_blend(portions, made_on=day).pk

    def _refuse(self) -> None:
        posting = self.event.posting
        raise NotAllowedNow(
            _(
                "The entry “%(kind)s” of %(day)s stands in the way: it can't be worked out "
                "again with another honey in the vessel. Undo that entry first, enter this "
                "one, and then record the other again."
            )
            % {
                "kind": posting.get_kind_display(),
                "day": date_format(timezone.localdate(posting.occurred_at)),
            }
        )


def _shares(total: int, weights: list[int]) -> list[int]:
    """Share out a whole number by weights; the largest remainders get what is left over."""
    whole = sum(weights)
    exact = [divmod(total * weight, whole) for weight in weights]
    shares = [share for share, _rest in exact]
    order = sorted(range(len(weights)), key=lambda at: -exact[at][1])
    for at in order[: total - sum(shares)]:
        shares[at] += 1
    return shares
