"""The only code that changes stock.

`post` writes a posting with its lines and keeps the balances in the same transaction. It first
locks the items of the posting, in order of their keys. Every act that reads before it posts takes
the same lock first, with `lock_items`, so parallel acts wait for each other and never deadlock.

An entry for an earlier moment is booked on its own day, and what was entered for later moments is
told again (`retelling`): what differs is posted as corrections, in the same transaction.
"""

from collections.abc import Callable, Collection, Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache
from itertools import chain

from django.db import IntegrityError, connection
from django.db.models import Exists, OuterRef, Q, Sum
from django.utils import timezone
from django.utils.translation import gettext as _

from inventory.shared import acts, days, keys, prepared
from inventory.shared.errors import CannotReverse, NotEnoughStock, StockReserved
from inventory.shared.models import BooksLock
from inventory.shared.people import Person
from inventory.shared.prepared import PreparedQuery, given_keys
from inventory.shared.rows import save_fields
from inventory.shared.services import repeats
from inventory.stock import signals
from inventory.stock.models import Balance, Item, Lot, Place, Posting, PostingLine, Shortage
from inventory.stock.models.ledger import not_booked
from inventory.stock.services import average_closings, lot_corrections, retelling
from inventory.stock.services.retelling import EntryCorrection, Quantities, Retold, Short


@dataclass(frozen=True)
class Line:
    """A signed quantity of an item and lot at a place: grams of honey, or pieces."""

    item: Item
    place: Place
    lot: Lot | None
    quantity: int

    @property
    def key(self) -> tuple[int, int, int]:
        return (self.item.pk, self.place.pk, self.lot.pk if self.lot else 0)


@dataclass(frozen=True)
class ReservedStock:
    """A positive quantity of an item and lot at a place that is promised, or no longer is."""

    item: Item
    place: Place
    lot: Lot | None
    quantity: int


# The balances that a posting changes, by the key of their lines.
Balances = dict[tuple[int, int, int], Balance]


class LedgerLawBroken(Exception):
    """A posting that would not balance: a fault in the program, never in what a person typed."""


def move(*, item: Item, lot: Lot | None, source: Place, target: Place, quantity: int) -> list[Line]:
    """Return the two lines that carry `quantity` from one place to another."""
    return [Line(item, source, lot, -quantity), Line(item, target, lot, quantity)]


def lock_items(items: Iterable[Item]) -> None:
    """Lock these items until the transaction ends; call once, before looking at balances.

    SQLite has one writer at a time, which needs no other lock.
    """
    locked: set[int] = acts.kept("items locked", set)
    keys = sorted({item.pk for item in items} - locked)
    if keys and connection.features.has_select_for_update:
        list(Item.objects.select_for_update(no_key=True).filter(pk__in=keys).order_by("pk"))
    locked.update(keys)


def find(key: str) -> Posting | None:
    """Return the posting already made with this idempotency key."""
    return Posting.objects.filter(idempotency_key=key).first()


def refuse_repeat(key: str) -> None:
    """Raise `AlreadyRecorded` when this form came before; call with the items locked."""
    repeats.refuse_repeat(Posting, key)


@acts.act
def post(
    *,
    kind: str,
    lines: Iterable[Line],
    recorded_by: Person,
    key: str,
    occurred_at: datetime | None = None,
    note: str = "",
    releases: Iterable[ReservedStock] = (),
    has_happened: bool = False,
    took_all: bool = False,
    place_is_known: bool = False,
) -> Posting:
    """Write one posting and keep the balances; return it.

    `releases` are reservations used by this posting; they are removed before the goods leave.
    What has happened (`has_happened`, and all of an earlier day) is always booked: what the books
    do not have comes from the outside place "to be settled", and reservations give way. For an
    earlier moment the entries after it are told again. `took_all` says that honey was taken to the
    last gram, however much that was. `place_is_known` says that goods of a sale left the place that
    their line names: another shelf gave them only where they were carried here since.
    Raises `NotEnoughStock`, `StockReserved`, `AlreadyRecorded`, `NotAllowedNow` where a later entry
    can't be told again, and `LedgerLawBroken` when the lines of an item do not add up to zero.
    """
    lines = _merged(lines)
    _check_balanced(lines)
    lock_items(line.item for line in lines)
    moment = occurred_at or timezone.now()
    is_late = occurred_at is not None and retelling.is_late(_places_by_item(lines), moment)
    happened = has_happened or days.is_past(moment)
    shorts: list[tuple[Item, Short]] = []
    batch = _Batch(recorded_by, key)
    batch.releases, batch.gives_way = list(releases), happened
    if happened:
        if is_late:
            if kind == Posting.Kind.SALE:
                if not place_is_known or _are_there(lines):
                    lines = _where_they_were(lines, moment)
                moment = _when_they_were_there(lines, moment)
            there = _there(lines, moment)
        else:
            batch.balances = _locked_balances(line.key for line in lines)
            there = {key: balance.quantity for key, balance in batch.balances.items()}
        lines, shorts = _with_shortages(lines, there)
    posting = batch.enter(
        kind=kind, lines=lines, occurred_at=moment, note=note, key=key, took_all=took_all
    )
    batch.note_shorts(posting, shorts)
    if is_late:
        batch.tell_again(posting, lines, caused_by=posting)
    batch.finish()
    posting.just_short = batch.shortages
    return posting


@acts.act
def correct(
    *,
    posting: Posting,
    lines: Iterable[Line] | Callable[[], Iterable[Line]],
    recorded_by: Person,
    key: str,
    occurred_at: datetime | None = None,
    note: str = "",
    may_not_lack: Collection[Item] = (),
) -> Posting | None:
    """Let `posting` be what `lines` say: post the difference, and tell later entries again.

    Return the posting that the act has now: the same one, or for another day (`occurred_at`) a new
    one, while the old one comes to nothing; lines that depend on what is there then are worked out
    by a function, called when the old ones are gone. None when nothing differs. Fewer of
    `may_not_lack` than have left already are refused. Raises `NotEnoughStock`, `AlreadyRecorded`,
    `NotAllowedNow`, `CannotReverse` for what was undone.
    """
    lock_items({line.item for line in effective_lines(posting)})
    if Posting.objects.filter(reverses=posting).exists():
        raise CannotReverse(_("This was undone already."))
    batch = _Batch(recorded_by, key)
    batch.gives_way = True
    batch.may_not_lack(may_not_lack)
    if not callable(lines) and (occurred_at is None or occurred_at == posting.occurred_at):
        lines = _merged(lines)
        _check_balanced(lines)
        made = batch.correct(posting, lines, note=note, key=key)
        batch.finish()
        return posting if made else None
    occurred_at = occurred_at or posting.occurred_at
    batch.correct(posting, [], note=note, key=keys.part(key, "before"))
    lines = _merged(lines() if callable(lines) else lines)
    _check_balanced(lines)
    lines, shorts = _with_shortages(lines, _there(lines, occurred_at))
    moved = batch.enter(
        kind=posting.kind,
        lines=lines,
        occurred_at=occurred_at,
        note=posting.note,
        key=key,
        caused_by=posting,
    )
    batch.note_shorts(moved, shorts)
    batch.tell_again(moved, lines, caused_by=moved)
    batch.finish()
    return moved


@acts.act
def rename(
    *, posting: Posting, lines: Iterable[Line], recorded_by: Person, key: str, note: str = ""
) -> Posting:
    """Correct the lot of what a posting took from outside; no place of the house is touched."""
    difference = _merged([*lines, *_negated(effective_lines(posting))])
    _check_balanced(difference)
    if any(line.place.is_physical for line in difference):
        raise LedgerLawBroken("Only what came from outside is given another lot.")
    lock_items(line.item for line in difference)
    batch = _Batch(recorded_by, key)
    correction = batch.enter(
        kind=Posting.Kind.CORRECTION,
        lines=difference,
        occurred_at=posting.occurred_at,
        note=note,
        key=key,
        corrects=posting,
    )
    batch.finish()
    return correction


def effective_lines(posting: Posting) -> list[Line]:
    """Return what a posting comes to with all its corrections."""
    found = PostingLine.objects.of_entry(posting)
    return _merged(
        Line(line.item, line.place, line.lot, line.quantity)
        for line in found.select_related("item", "place", "lot")
    )


def _negated(lines: Iterable[Line]) -> list[Line]:
    return [Line(line.item, line.place, line.lot, -line.quantity) for line in lines]


class _Batch:
    """Postings written in one act; the balances change once, when all of them are written.

    Between them a place could seem to have less than nothing, which the database refuses.
    """

    def __init__(self, recorded_by: Person, key: str) -> None:
        self.recorded_by, self.key = recorded_by, key
        self.releases: list[ReservedStock] = []
        self.gives_way = False
        self._guarded: dict[Item, int] = {}
        self._lines: list[Line] = []
        self._retold: list[tuple[Posting, Retold]] = []
        self.shortages: list[Shortage] = []
        # Those that were read already, locked.
        self.balances: Balances = {}
        self._count = 0

    def enter(
        self,
        *,
        kind: str,
        lines: Iterable[Line],
        occurred_at: datetime,
        note: str,
        key: str,
        reverses: Posting | None = None,
        corrects: Posting | None = None,
        caused_by: Posting | None = None,
        took_all: bool = False,
    ) -> Posting:
        day = timezone.localdate(occurred_at)
        counts_on = BooksLock.objects.counting_day(day)
        try:
            posting = Posting.objects.create(
                kind=kind,
                occurred_at=occurred_at,
                counts_on=None if counts_on == day else counts_on,
                recorded_by=self.recorded_by,
                idempotency_key=key,
                note=note,
                reverses=reverses,
                corrects=corrects,
                caused_by=caused_by,
                took_all=took_all,
            )
        except IntegrityError as error:
            if repeat := repeats.rival(error, Posting, key):
                raise repeat from error
            raise CannotReverse(_("This was undone already.")) from error
        lines = list(lines)
        PostingLine.objects.bulk_create(
            PostingLine(
                posting=posting,
                item=line.item,
                place=line.place,
                lot=line.lot,
                quantity=line.quantity,
            )
            for line in lines
        )
        if corrects is not None:
            average_closings.open_since(corrects, {line.item.pk for line in lines})
        self._lines += lines
        written = not_booked()
        for line in lines:
            written[line.key] = written.get(line.key, 0) + line.quantity
        return posting

    def note_shorts(self, posting: Posting, shorts: Iterable[tuple[Item, Short]]) -> None:
        """Keep what an entry lacked; what was counted later is settled by that count."""
        for item, short in shorts:
            row = Shortage.objects.create(
                posting=posting,
                item=item,
                lot_id=short.lot or None,
                place_id=short.place or None,
                quantity=short.quantity,
            )
            self.shortages.append(row)
            self._settle_by_later_count(row)

    def correct(
        self, posting: Posting, lines: list[Line], *, note: str, key: str
    ) -> Posting | None:
        """Post what differs of one entry, and tell the later ones again; None for no difference."""
        was = effective_lines(posting)
        there = _there(lines, posting.occurred_at, upto=posting.pk)
        for line in was:
            there[line.key] = there.get(line.key, 0) - line.quantity
        lines, shorts = _with_shortages(lines, there)
        difference = _merged([*lines, *_negated(was)])
        if not difference:
            return None
        correction = self.enter(
            kind=Posting.Kind.CORRECTION,
            lines=difference,
            occurred_at=posting.occurred_at,
            note=note,
            key=key,
            corrects=posting,
        )
        for item in {line.item for line in difference}:
            rows = list(Shortage.objects.filter(posting=posting, item=item).standing())
            of_item = [short for each, short in shorts if each == item]
            self._replace_shorts(posting, item, rows, of_item, correction)
        self.tell_again(posting, difference, caused_by=correction)
        return correction

    def tell_again(self, posting: Posting, change: list[Line], *, caused_by: Posting) -> None:
        """Tell what comes after an entry again, now that its lines have changed by `change`."""
        by_item: dict[Item, Quantities] = {}
        for line in change:
            quantities = by_item.setdefault(line.item, {})
            key = (line.place.pk, line.lot.pk if line.lot else 0)
            quantities[key] = quantities.get(key, 0) + line.quantity
        for item, quantities in by_item.items():
            retold = retelling.tell_again(
                item, moment=posting.occurred_at, after=posting.pk, change=quantities
            )
            for correction in retold.corrections:
                self._enter_correction(correction, caused_by)
            if retold.corrections or retold.blends:
                self._retold.append((caused_by, retold))

    def may_not_lack(self, items: Iterable[Item]) -> None:
        """Refuse at the end that more of these items is short than is now."""
        self._guarded = {item: _lacking(item) for item in items}

    def finish(self) -> None:
        """Change the balances by all that was written, and tell the rooms above."""
        for item, before in self._guarded.items():
            if (more := _lacking(item) - before) > 0:
                raise NotEnoughStock(
                    _("%(more)s of %(item)s that left already would be missing. Check the figure.")
                    % {"more": item.in_words(more), "item": item.name},
                    asked=more,
                    there=0,
                )
        moved = _apply(_merged(self._lines), self.releases, self.balances, gives_way=self.gives_way)
        not_booked().clear()
        for cause, retold in self._retold:
            changed = lot_corrections.follow(retold, posting=cause, person=self.recorded_by)
            signals.entries_retold.send(
                sender=Posting, retold=retold, changed=changed, person=self.recorded_by
            )
        for balance, other, quantity in moved:
            signals.promise_moved.send(
                sender=Balance,
                balance=balance,
                other=other,
                quantity=quantity,
                person=self.recorded_by,
                key=self.key,
            )

    def _enter_correction(self, told: EntryCorrection, cause: Posting) -> None:
        self._count += 1
        event = told.event
        lines = _as_lines(told.item, told.change)
        _check_balanced(lines)
        correction = self.enter(
            kind=Posting.Kind.CORRECTION,
            lines=lines,
            occurred_at=event.posting.occurred_at,
            note=_told_again_after(cause),
            key=keys.part(self.key, f"again-{self._count}"),
            corrects=event.posting,
            caused_by=cause,
        )
        self._replace_shorts(event.posting, told.item, event.shortages, told.shorts, correction)

    def _replace_shorts(
        self,
        posting: Posting,
        item: Item,
        rows: Iterable[Shortage],
        shorts: Iterable[Short],
        correction: Posting,
    ) -> None:
        """Let the shortages of an entry be those that it has now."""
        old = {(row.place_id or 0): row for row in rows}
        for short in shorts:
            row = old.pop(short.place, None)
            if row is None:
                self.note_shorts(posting, [(item, short)])
            elif (row.quantity, row.lot_id or 0) != (short.quantity, short.lot):
                row.quantity, row.lot_id = short.quantity, short.lot or None
                row.save(update_fields=["quantity", "lot"])
        for row in old.values():
            row.settled_by = correction
            row.save(update_fields=["settled_by"])

    def _settle_by_later_count(self, row: Shortage) -> None:
        """What was counted after it was short is known: the rest is a difference of that count."""
        if row.place_id is None:
            return
        counted = PostingLine.objects.filter(
            posting=OuterRef("pk"), place=row.place_id, item=row.item_id
        )
        if row.item.kind != Item.Kind.HONEY:
            # A count of other jars beside them says nothing of these.
            counted = counted.filter(lot=row.lot_id)
        count = (
            Posting.objects.filter(
                kind__in=retelling.LEVELS,
                occurred_at__gte=row.posting.occurred_at,
                reversed_by__reverses=None,
            )
            .filter(Exists(counted))
            .exclude(pk=row.posting_id)
            .order_by("occurred_at", "id")
            .first()
        )
        if count is not None:
            self.settle(row, occurred_at=count.occurred_at, note=_("Counted afterwards"))

    def settle(self, row: Shortage, *, occurred_at: datetime, note: str) -> None:
        """Book a shortage as a difference of count."""
        self._count += 1
        row.settled_by = self.enter(
            kind=Posting.Kind.SETTLEMENT,
            lines=move(
                item=row.item,
                lot=row.lot,
                source=Place.objects.outside(Place.Kind.COUNT_DIFFERENCE),
                target=Place.objects.outside(Place.Kind.TO_SETTLE),
                quantity=row.quantity,
            ),
            occurred_at=occurred_at,
            note=note,
            key=keys.part(self.key, f"settled-{self._count}"),
        )
        row.save(update_fields=["settled_by"])


def _lacking(item: Item) -> int:
    found = Shortage.objects.open().filter(item=item).aggregate(total=Sum("quantity"))
    return found["total"] or 0


def _places_by_item(lines: Iterable[Line]) -> dict[int, set[int]]:
    places: dict[int, set[int]] = {}
    for line in lines:
        if line.place.is_physical:
            places.setdefault(line.item.pk, set()).add(line.place.pk)
    return places


def _as_lines(item: Item, change: Mapping[tuple[int, int], int]) -> list[Line]:
    places = Place.objects.in_bulk({place for place, _lot in change})
    found = Lot.objects.in_bulk({lot for _place, lot in change if lot})
    return [
        Line(item, places[place], found.get(lot), quantity)
        for (place, lot), quantity in sorted(change.items())
    ]


def _there(
    lines: Iterable[Line], moment: datetime | None, *, upto: int | None = None
) -> dict[tuple[int, int, int], int]:
    """Return how much the places of these lines have, now or at an earlier moment, by line key."""
    there: dict[tuple[int, int, int], int] = {}
    lines = list(lines)
    for item in {line.item for line in lines}:
        places = {line.place.pk for line in lines if line.item == item and line.place.is_physical}
        if moment is None:
            found = Balance.objects.filter(item=item, place__in=places)
            state = {(row.place_id, row.lot_id or 0): row.quantity for row in found}
        else:
            state = Balance.objects.at(item, moment, upto=upto, places=places)
        there |= {(item.pk, place, lot): quantity for (place, lot), quantity in state.items()}
    return there


def _are_there(lines: Iterable[Line]) -> bool:
    """Tell whether what these lines take is at its places now."""
    lines = list(lines)
    there = _there(lines, None)
    return all(
        line.quantity >= 0 or not line.place.is_physical or there.get(line.key, 0) >= -line.quantity
        for line in lines
    )


def _where_they_were(lines: list[Line], moment: datetime) -> list[Line]:
    """Let jars that were sold on an earlier day come from the shelf on which they were that day.

    They are picked where they are now, and may have been carried since.
    """
    stores = Place.objects.filter(kind__in=Place.STORES).in_bulk()
    made: list[Line] = []
    for line in lines:
        if line.place.kind not in Place.STORES or line.quantity > 0:
            made.append(line)
            continue
        there = Balance.objects.at(line.item, moment, places=stores)
        wanted, lot = -line.quantity, line.lot.pk if line.lot else 0
        others = sorted(key for key in stores if key != line.place.pk)
        for place in (line.place.pk, *others):
            taken = min(wanted, max(there.get((place, lot), 0), 0))
            made.append(Line(line.item, stores[place], line.lot, -taken))
            wanted -= taken
        made.append(Line(line.item, line.place, line.lot, -wanted))
    return _merged(made)


def _when_they_were_there(lines: list[Line], moment: datetime) -> datetime:
    """Return the moment of a sale, or if the goods came into the books later, when they were there.

    The document of the sale keeps its day. Where they never were, the sale is short.
    """

    def lack(at: datetime) -> bool:
        there = _there(lines, at)
        return any(
            line.place.is_physical and line.quantity < 0 and there.get(line.key, 0) < -line.quantity
            for line in lines
        )

    if not lack(moment):
        return moment
    came = Q()
    for line in lines:
        if line.place.is_physical:
            came |= Q(item=line.item, place=line.place, lot=line.lot)
    later = (
        PostingLine.objects.standing()
        .filter(came, quantity__gt=0, posting__occurred_at__gt=moment)
        .order_by("posting__occurred_at")
        .values_list("posting__occurred_at", flat=True)
    )
    return next((at for at in later if not lack(at)), moment)


def _with_shortages(
    lines: Iterable[Line], there: Mapping[tuple[int, int, int], int]
) -> tuple[list[Line], list[tuple[Item, Short]]]:
    """Let what a place does not have come from "to be settled"."""
    made: list[Line] = []
    shorts = []
    for line in lines:
        missing = -line.quantity - max(there.get(line.key, 0), 0)
        if not line.place.is_physical or line.quantity > 0 or missing <= 0:
            made.append(line)
            continue
        to_settle = Place.objects.outside(Place.Kind.TO_SETTLE)
        made.append(Line(line.item, line.place, line.lot, line.quantity + missing))
        made.append(Line(line.item, to_settle, line.lot, -missing))
        shorts.append((line.item, Short(line.place.pk, line.lot.pk if line.lot else 0, missing)))
    return _merged(made), shorts


@acts.act
def reserve(stock: Iterable[ReservedStock]) -> list[Balance]:
    """Promise these quantities; return their balances, in the order of `stock`.

    Raises `NotEnoughStock` when less is free.
    """
    return _change_reservations(list(stock), sign=1)


@acts.act
def release(stock: Iterable[ReservedStock]) -> list[Balance]:
    """Take back the promise of these quantities; return their balances."""
    return _change_reservations(list(stock), sign=-1)


def _change_reservations(stock: list[ReservedStock], *, sign: int) -> list[Balance]:
    lock_items(promised.item for promised in stock)
    balances = _balances(
        [Line(promised.item, promised.place, promised.lot, promised.quantity) for promised in stock]
    )
    return [_change_reserved(balances, promised, sign * promised.quantity) for promised in stock]


@acts.act
def reverse(
    *,
    posting: Posting,
    recorded_by: Person,
    key: str,
    note: str = "",
    occurred_at: datetime | None = None,
) -> Posting:
    """Post the opposite of `posting` and its corrections, and point at it.

    It counts for the moment of the posting, as if that had never been, or for `occurred_at`. What
    an entry for an earlier day has changed in later ones is told again without it.
    Raises `CannotReverse` when it was undone already, is itself a reversal, or when what it
    brought has since gone elsewhere.
    """
    if posting.kind in (Posting.Kind.REVERSAL, Posting.Kind.CORRECTION):
        raise CannotReverse(
            _(
                "This entry undoes an earlier one, so it can't be undone itself. Record the "
                "same thing again instead."
            )
        )
    moved = PostingLine.objects.of_entry(posting).select_related("item")
    lock_items(line.item for line in moved)
    if Posting.objects.filter(reverses=posting).exists():
        raise CannotReverse(_("This was undone already."))
    undone = _negated(effective_lines(posting))
    if not undone:
        raise CannotReverse(
            _("There is nothing to undo: this entry came to nothing when another was corrected.")
        )
    has_caused = Posting.objects.filter(
        Q(caused_by=posting) | Q(caused_by__corrects=posting)
    ).exists()
    batch = _Batch(recorded_by, key)
    batch.may_not_lack({line.item for line in undone})
    settlements = _settlements_of(posting)
    if not has_caused:
        given_back = [_negated(effective_lines(settlement)) for settlement in settlements]
        _check_vessels_are_free(_merged(chain(undone, *given_back)))
    try:
        is_told_again = has_caused or _was_counted_since(undone, posting.occurred_at)
        if not is_told_again:
            _check_was_there_since(undone, posting.occurred_at)
        reversal = batch.enter(
            kind=Posting.Kind.REVERSAL,
            lines=undone,
            occurred_at=occurred_at or posting.occurred_at,
            note=note,
            key=key,
            reverses=posting,
        )
        average_closings.open_again(posting)
        for settlement in settlements:
            batch.correct(
                settlement,
                [],
                note=_told_again_after(reversal),
                key=keys.part(key, f"settlement-{settlement.pk}"),
            )
        _take_off_shortages(posting, reversal)
        if is_told_again:
            batch.tell_again(posting, undone, caused_by=reversal)
        batch.finish()
    except (NotEnoughStock, StockReserved) as error:
        raise CannotReverse(
            _(
                "This can't be undone any more, because the goods have since been moved or "
                "used. %(why)s First undo what happened later, starting with the newest."
            )
            % {"why": error.message}
        ) from error
    return reversal


def _told_again_after(cause: Posting) -> str:
    return _("Told again after entry %(number)s was made or corrected") % {
        "number": cause.corrects_id or cause.pk
    }


def _settlements_of(posting: Posting) -> list[Posting]:
    """Return the entries that settled what this one lacked."""
    rows = Shortage.objects.filter(posting=posting, settled_by__kind=Posting.Kind.SETTLEMENT)
    return [row.settled_by for row in rows.select_related("settled_by") if row.settled_by]


def _take_off_shortages(posting: Posting, reversal: Posting) -> None:
    """What an undone entry lacked is not lacking any more, settled or not."""
    is_settlement = Q(settled_by__kind=Posting.Kind.SETTLEMENT)
    for row in Shortage.objects.filter(Q(settled_by=None) | is_settlement, posting=posting):
        row.settled_by = reversal
        row.save(update_fields=["settled_by"])


def _was_counted_since(lines: list[Line], moment: datetime) -> bool:
    """Tell whether a later count has said how much there is, whatever is undone before it."""
    counted = Q()
    for line in lines:
        if line.place.is_physical:
            counted |= Q(item=line.item, place=line.place)
    return bool(counted) and (
        PostingLine.objects.standing()
        .filter(counted, posting__kind__in=retelling.LEVELS, posting__occurred_at__gt=moment)
        .exists()
    )


def _check_was_there_since(lines: list[Line], moment: datetime) -> None:
    """Raise `NotEnoughStock` when a place would have had less than nothing on a day since.

    More may have come in later, so that the balance of today does not show it.
    """
    for item in {line.item for line in lines}:
        taken = [
            line
            for line in lines
            if line.item == item and line.place.is_physical and line.quantity < 0
        ]
        lowest = retelling.lowest_since(item, moment, {line.place.pk for line in taken})
        for line in taken:
            there = lowest.get((line.place.pk, line.lot.pk if line.lot else 0), 0)
            if there + line.quantity < 0:
                raise NotEnoughStock(
                    _(
                        "%(asked)s of %(item)s would be taken from %(place)s, but on a day since "
                        "then it had only %(there)s."
                    )
                    % _words(item, line.place, -line.quantity, there),
                    asked=-line.quantity,
                    there=there,
                )


def _check_vessels_are_free(lines: list[Line]) -> None:
    """Raise `CannotReverse` when honey would go back into a vessel that holds another lot now."""
    change = {line.key: line.quantity for line in lines}
    back = {(line.place.pk, line.lot.pk) for line in lines if line.lot and line.quantity > 0}
    vessels = {line.place.pk for line in lines if line.place.is_vessel}
    for balance in Balance.objects.filter(place__in=vessels, quantity__gt=0).select_related(
        "place", "lot"
    ):
        left = balance.quantity + change.get(
            (balance.item_id, balance.place_id, balance.lot_id or 0), 0
        )
        comes_back = any(place == balance.place_id and lot != balance.lot_id for place, lot in back)
        if left > 0 and comes_back:
            raise CannotReverse(
                _(
                    "This can't be undone any more: %(place)s now has honey of lot "
                    "%(lot)s, and honey of another lot would have to go back into it. "
                    "Empty it first."
                )
                % {"place": balance.place.name, "lot": balance.lot}
            )


def _merged(lines: Iterable[Line]) -> list[Line]:
    """Add up lines of the same item, place and lot, drop what comes to nothing, and order them."""
    merged: dict[tuple[int, int, int], Line] = {}
    for line in lines:
        if known := merged.get(line.key):
            line = Line(line.item, line.place, line.lot, known.quantity + line.quantity)
        merged[line.key] = line
    return [merged[key] for key in sorted(merged) if merged[key].quantity]


def _check_balanced(lines: list[Line]) -> None:
    sums: dict[Item, int] = {}
    for line in lines:
        sums[line.item] = sums.get(line.item, 0) + line.quantity
    crooked = {str(item): total for item, total in sums.items() if total}
    if crooked or len(lines) < 2:
        raise LedgerLawBroken(
            f"The lines of a posting must add up to zero for each item: {crooked}"
        )


def _locked_balances(keys: Iterable[tuple[int, int, int]]) -> Balances:
    """Lock the balances of these keys that there are; return them as they are now."""
    wanted = list(keys)
    if not wanted:
        return {}
    items, places, lots = zip(*wanted, strict=True)
    rows = _balances_of(tuple(map(bool, lots))).rows(
        **given_keys("item", items), **given_keys("place", places), **given_keys("lot", lots)
    )
    return {(row.item_id, row.place_id, row.lot_id or 0): row for row in rows}


@lru_cache(maxsize=64)
def _balances_of(have_lots: tuple[bool, ...]) -> PreparedQuery[Balance]:
    """Return what asks for so many balances and locks them; each key has a lot or none."""
    wanted, count = Q(), len(have_lots)
    items, places, lots = (prepared.keys(name, count) for name in ("item", "place", "lot"))
    for item, place, lot, has_lot in zip(items, places, lots, have_lots, strict=True):
        wanted |= Q(item=item, place=place, lot=lot if has_lot else None)
    rows = Balance.objects.filter(wanted).order_by("item_id", "place_id", "lot_id")
    return PreparedQuery(rows.select_for_update)


def _balances(lines: list[Line], known: Balances | None = None) -> Balances:
    """Return the balances of these lines by key, making the ones that are missing.

    Those `known` are locked already.
    """
    wanted = {line.key: line for line in lines}
    balances = {key: row for key, row in (known or {}).items() if key in wanted}
    balances |= _locked_balances(wanted.keys() - balances.keys())
    # No parallel transaction can create these, because the items are locked.
    for key in sorted(wanted.keys() - balances.keys()):
        line = wanted[key]
        balances[key] = Balance.objects.create(
            item=line.item,
            place=line.place,
            lot=line.lot,
            is_physical=line.place.is_physical,
            is_vessel=line.place.is_vessel,
        )
    return balances


# A balance that had a promise, the one that has it now or None, and how much of it.
MovedPromise = tuple[Balance, Balance | None, int]


def _apply(
    lines: list[Line], releases: Iterable[ReservedStock], known: Balances, *, gives_way: bool
) -> list[MovedPromise]:
    """Change the balances; return the promises that had to give way. `known` are locked already."""
    releases = list(releases)
    balances = _balances(
        [*lines, *(Line(each.item, each.place, each.lot, each.quantity) for each in releases)],
        known,
    )
    for promised in releases:
        _change_reserved(balances, promised, -promised.quantity)
    gone: list[tuple[Balance, int]] = []
    # What goes out is taken off first, so that a vessel is empty before another lot fills it.
    for line in sorted(lines, key=lambda line: line.quantity > 0):
        balance = balances[line.key]
        if gives_way and (lacking := balance.reserved - (balance.quantity + line.quantity)) > 0:
            lacking = min(lacking, balance.reserved)
            balance.reserved -= lacking
            save_fields([balance], "reserved")
            gone.append((balance, lacking))
        _change_quantity(balances, line)
    return [
        moved for balance, lacking in gone for moved in _promise_again(balances, balance, lacking)
    ]


def _promise_again(balances: Balances, balance: Balance, lacking: int) -> list[MovedPromise]:
    """Move a promise to what is at the same place now: honey of another lot in the same drum."""
    moved: list[MovedPromise] = []
    for other in balances.values():
        is_here = (other.item_id, other.place_id) == (balance.item_id, balance.place_id)
        taken = min(lacking, other.free) if is_here and other.is_vessel and other != balance else 0
        if taken > 0:
            other.reserved += taken
            save_fields([other], "reserved")
            moved.append((balance, other, taken))
            lacking -= taken
    if lacking:
        moved.append((balance, None, lacking))
    return moved


def _change_quantity(balances: Balances, line: Line) -> None:
    balance = balances[line.key]
    after = balance.quantity + line.quantity
    if balance.is_physical and line.quantity < 0:
        if after < 0:
            raise NotEnoughStock(
                _("Not enough %(item)s: %(asked)s needed, but %(place)s has only %(there)s.")
                % _words(line.item, line.place, -line.quantity, balance.quantity),
                asked=-line.quantity,
                there=balance.quantity,
            )
        if after < balance.reserved:
            raise StockReserved(
                _(
                    "Not enough %(item)s in %(place)s. Reserved for orders: %(reserved)s. "
                    "Needed: %(asked)s. Free: %(there)s."
                )
                % {
                    **_words(line.item, line.place, -line.quantity, balance.free),
                    "reserved": line.item.in_words(balance.reserved),
                },
                asked=-line.quantity,
                there=balance.free,
            )
    balance.quantity = after
    save_fields([balance], "quantity")


def _change_reserved(balances: Balances, promised: ReservedStock, change: int) -> Balance:
    line = Line(promised.item, promised.place, promised.lot, promised.quantity)
    balance = balances[line.key]
    after = balance.reserved + change
    if after > balance.quantity:
        raise NotEnoughStock(
            _("Not enough %(item)s: %(asked)s needed, but only %(there)s free in %(place)s.")
            % _words(promised.item, promised.place, promised.quantity, balance.free),
            asked=promised.quantity,
            there=balance.free,
        )
    if after < 0:
        raise LedgerLawBroken(f"More is released than was reserved: {balance}")
    balance.reserved = after
    save_fields([balance], "reserved")
    return balance


def _words(item: Item, place: Place, asked: int, there: int) -> dict[str, str]:
    asked_words, there_words = item.in_words_apart(asked, there)
    return {"item": item.name, "place": place.name, "asked": asked_words, "there": there_words}
