"""Several things at once: carried from one store to another, taken off, or brought to a count.

Each act is one posting. A lot is chosen by age, the oldest first, and nobody has to name it.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db import transaction
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext as _

from inventory.shared import keys
from inventory.shared.errors import HouseError, Problems
from inventory.shared.people import Person
from inventory.stock import rules
from inventory.stock.counting import CountChange
from inventory.stock.models import Balance, Item, Lot, Place, Posting, PostingLine, Shortage
from inventory.stock.services import ledger, shortages, stores, surpluses
from inventory.stock.services.honey import WRITE_OFF_PLACES, refuse_to_use

# The parameter in which a figure of one of several things was typed, by its position.
ParameterOf = Callable[[int], str]


@dataclass(frozen=True)
class PiecesOf:
    """So many pieces of one item, of whatever lots."""

    item: Item
    pieces: int


@dataclass(frozen=True)
class PiecesOfLot:
    """So many pieces of one item and lot."""

    item: Item
    lot: Lot | None
    pieces: int


def at(item: Item, place: Place, moment: datetime | None = None) -> list[PiecesOfLot]:
    """Return what of ours is at a place now, or at an earlier moment, oldest lot first.

    Call with the item locked.
    """
    if moment is None:
        found = Balance.objects.filter(item=item, place=place, quantity__gt=0).ours()
        there = {row.lot: row.quantity for row in found.select_related("lot")}
    else:
        state = Balance.objects.at(item, moment, places=[place.pk])
        lots = Lot.objects.filter(owner=None).in_bulk({lot for _place, lot in state if lot})
        there = {
            lots.get(lot): quantity
            for (_place, lot), quantity in state.items()
            if quantity > 0 and (not lot or lot in lots)
        }
    return [PiecesOfLot(item, lot, there[lot]) for lot in sorted(there, key=_age)]


def oldest(rows: Iterable[PiecesOfLot], pieces: int) -> list[PiecesOfLot]:
    """Return so many pieces out of these rows, from the first one on."""
    taken = []
    for row in rows:
        part = min(pieces, row.pieces)
        if part > 0:
            taken.append(PiecesOfLot(row.item, row.lot, part))
            pieces -= part
    return taken


def last_lot(item: Item, place: Place | None = None) -> Lot | None:
    """Return the lot that came to a place last, or to any store; None where none ever did."""
    where = Q(place__kind__in=Place.STORES) if place is None else Q(place=place)
    line = (
        PostingLine.objects.standing()
        .filter(where, item=item, quantity__gt=0, lot__isnull=False, lot__owner=None)
        .select_related("lot")
        .order_by("-posting__occurred_at", "-id")
        .first()
    )
    return line.lot if line else None


@transaction.atomic
def carry(
    *,
    things: Sequence[PiecesOf],
    source: Place,
    target: Place,
    recorded_by: Person,
    key: str,
    carried_at: datetime | None = None,
    note: str = "",
    named_at: ParameterOf = lambda index: f"things.{index}.pieces",
) -> Posting:
    """Carry pieces of several things to another store in one posting, oldest lots first.

    Now, only what is free is carried; at an earlier moment, what was there. Raises `BadValue`,
    `NotEnoughStock` at the parameter of the thing, `AlreadyRecorded`.
    """
    problems = Problems()
    if not things:
        problems.add("things", _("Enter how many pieces of at least one product."))
    for index, thing in enumerate(things):
        rules.check_pieces(problems, named_at(index), thing.pieces)
    rules.check_store(problems, "source", source)
    rules.check_store(problems, "target", target)
    if source == target:
        problems.add("target", _("Choose another place than the one they are in."))
    problems.raise_any()
    ledger.lock_items(thing.item for thing in things)
    ledger.refuse_repeat(key)
    moved: list[PiecesOfLot] = []
    for index, thing in enumerate(things):
        try:
            moved += _picked(thing, source, carried_at, named_at(index))
        except HouseError as error:
            problems.add_error(error)
    problems.raise_any()
    return post_moved(
        kind=Posting.Kind.TRANSFER,
        moved=moved,
        source=source,
        target=target,
        recorded_by=recorded_by,
        key=key,
        at=carried_at,
        note=note,
    )


@transaction.atomic
def write_off(
    *,
    taken: Sequence[PiecesOfLot],
    place: Place,
    reason: str,
    recorded_by: Person,
    key: str,
    written_off_at: datetime | None = None,
    note: str = "",
) -> Posting:
    """Take pieces of several lots off the books for a reason of `WRITE_OFF_PLACES`, in one posting.

    Call with the items locked. Raises `LotOnHold` for what would be used or given away.
    """
    for each in taken:
        refuse_to_use(each.lot, reason)
    return post_moved(
        kind=reason,
        moved=taken,
        source=place,
        target=Place.objects.outside(WRITE_OFF_PLACES[reason]),
        recorded_by=recorded_by,
        key=key,
        at=written_off_at,
        note=note,
    )


@transaction.atomic
def count(
    *,
    changes: Sequence[CountChange],
    items: Sequence[Item],
    place: Place,
    reason: str,
    recorded_by: Person,
    key: str,
    counted_at: datetime | None = None,
    surplus_reason: str = "",
) -> Posting | None:
    """Post differences of count of several lots at a place in one posting; None without any.

    What was short of the counted `items` there is settled. `surplus_reason` says why there are more
    of a lot than were made of it and have not left. Call with the items locked. Raises `BadValue`,
    `StockReserved`, `AlreadyRecorded`.
    """
    problems = Problems()
    if not surplus_reason.strip():
        surpluses.ask_why(problems, surpluses.found(changes), "surplus_reason")
    problems.raise_any()
    moment = counted_at or timezone.now()
    posting = None
    if changes:
        difference = Place.objects.outside(Place.Kind.COUNT_DIFFERENCE)
        note = " ".join(part for part in (reason.strip(), surplus_reason.strip()) if part)
        posting = ledger.post(
            kind=Posting.Kind.COUNT,
            lines=[
                line
                for change in changes
                for line in ledger.move(
                    item=change.item,
                    lot=change.lot,
                    source=difference,
                    target=place,
                    quantity=change.quantity,
                )
            ],
            recorded_by=recorded_by,
            key=key,
            note=note[: stores.NOTE_LENGTH_MAX],
            occurred_at=moment,
        )
    for short in Shortage.objects.open().filter(item__in=items, place=place):
        shortages.settle_counted(
            item=short.item,
            place=place,
            lot=short.lot,
            settled_by=recorded_by,
            key=keys.part(key, f"short-{short.pk}"),
            occurred_at=moment,
        )
    return posting


def post_moved(
    *,
    kind: str,
    moved: Sequence[PiecesOfLot],
    source: Place,
    target: Place,
    recorded_by: Person,
    key: str,
    at: datetime | None = None,
    note: str = "",
) -> Posting:
    """Post that these pieces went from one place to another; call with the items locked."""
    return ledger.post(
        kind=kind,
        lines=[
            line
            for each in moved
            for line in ledger.move(
                item=each.item, lot=each.lot, source=source, target=target, quantity=each.pieces
            )
        ],
        recorded_by=recorded_by,
        key=key,
        note=note,
        occurred_at=at,
    )


def _picked(
    thing: PiecesOf, source: Place, moment: datetime | None, parameter: str
) -> list[PiecesOfLot]:
    if moment is None:
        picked = stores.pick(
            item=thing.item, places=[source], pieces=thing.pieces, parameter=parameter
        )
        return [PiecesOfLot(balance.item, balance.lot, pieces) for balance, pieces in picked]
    there = at(thing.item, source, moment)
    taken = oldest(there, thing.pieces)
    lacking = thing.pieces - sum(row.pieces for row in taken)
    if lacking:
        # It has happened: the rest is of the lot that was there last, and is settled later.
        last = there[-1].lot if there else None
        taken.append(PiecesOfLot(thing.item, last, lacking))
    return taken


def _age(lot: Lot | None) -> tuple[bool, str, str, int]:
    """Sort as `stores.free_at` does: by best by, day made and key; without a day comes last."""
    if lot is None:
        return (True, "", "", 0)
    return (False, str(lot.best_by or "9999"), str(lot.made_on), lot.pk)
