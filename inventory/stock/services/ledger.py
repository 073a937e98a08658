"""The only code that changes stock.

`post` writes a posting with its lines and keeps the balances in the same transaction. It first
locks the items of the posting, in order of their keys. Every act that reads before it posts takes
the same lock first, with `lock_items`, so parallel acts wait for each other and never deadlock.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from django.db import IntegrityError, transaction
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext as _

from inventory.shared.errors import AlreadyRecorded, CannotReverse, NotEnoughStock, StockReserved
from inventory.shared.people import Person
from inventory.shared.services import repeats
from inventory.stock.models import Balance, Counter, Item, Lot, Place, Posting, PostingLine


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
    """Lock these items until the transaction ends; call once, before looking at balances."""
    keys = sorted({item.pk for item in items})
    list(Item.objects.select_for_update(no_key=True).filter(pk__in=keys).order_by("pk"))


def find(key: str) -> Posting | None:
    """Return the posting already made with this idempotency key."""
    return Posting.objects.filter(idempotency_key=key).first()


def refuse_repeat(key: str) -> None:
    """Raise `AlreadyRecorded` when this form came before; call with the items locked."""
    repeats.refuse_repeat(Posting, key)


def next_number(series: str) -> int:
    """Return the next whole number of a series; none is missed, because it is taken under lock."""
    Counter.objects.get_or_create(series=series)
    counter = Counter.objects.select_for_update().get(series=series)
    counter.last += 1
    counter.save(update_fields=["last"])
    return counter.last


@transaction.atomic
def post(
    *,
    kind: str,
    lines: Iterable[Line],
    recorded_by: Person,
    key: str,
    occurred_at: datetime | None = None,
    note: str = "",
    reverses: Posting | None = None,
    releases: Iterable[ReservedStock] = (),
) -> Posting:
    """Write one posting and keep the balances; return it.

    `releases` are reservations used by this posting; they are removed before the goods leave.
    Raises `NotEnoughStock`, `StockReserved`, `AlreadyRecorded`, and `LedgerLawBroken` when the
    lines of an item do not add up to zero.
    """
    lines = _merged(lines)
    _check_balanced(lines)
    lock_items(line.item for line in lines)
    try:
        with transaction.atomic():
            posting = Posting.objects.create(
                kind=kind,
                occurred_at=occurred_at or timezone.now(),
                recorded_by=recorded_by,
                idempotency_key=key,
                note=note,
                reverses=reverses,
            )
    except IntegrityError as error:
        made = find(key)
        if made is None:
            raise CannotReverse(_("This was undone already.")) from error
        raise AlreadyRecorded(_("This was recorded already."), made=made) from error
    balances = _balances(lines)
    for promised in releases:
        _change_reserved(balances, promised, -promised.quantity)
    # What goes out is taken off first, so that a vessel is empty before another lot fills it.
    for line in sorted(lines, key=lambda line: line.quantity > 0):
        _change_quantity(balances, line)
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
    return posting


@transaction.atomic
def reserve(stock: Iterable[ReservedStock]) -> list[Balance]:
    """Promise these quantities; return their balances, in the order of `stock`.

    Raises `NotEnoughStock` when less is free.
    """
    return _change_reservations(list(stock), sign=1)


@transaction.atomic
def release(stock: Iterable[ReservedStock]) -> list[Balance]:
    """Take back the promise of these quantities; return their balances."""
    return _change_reservations(list(stock), sign=-1)


def _change_reservations(stock: list[ReservedStock], *, sign: int) -> list[Balance]:
    lock_items(promised.item for promised in stock)
    balances = _balances(
        [Line(promised.item, promised.place, promised.lot, promised.quantity) for promised in stock]
    )
    return [_change_reserved(balances, promised, sign * promised.quantity) for promised in stock]


@transaction.atomic
def reverse(*, posting: Posting, recorded_by: Person, key: str, note: str = "") -> Posting:
    """Post the opposite of `posting`, line by line, and point at it.

    Raises `CannotReverse` when it was undone already, is itself a reversal, or when what it
    brought has since gone elsewhere.
    """
    if posting.kind == Posting.Kind.REVERSAL:
        raise CannotReverse(
            _(
                "This entry undoes an earlier one, so it can't be undone itself. Record the "
                "same thing again instead."
            )
        )
    lines = list(posting.lines.select_related("item", "place", "lot"))
    lock_items(line.item for line in lines)
    if Posting.objects.filter(reverses=posting).exists():
        raise CannotReverse(_("This was undone already."))
    undone = [Line(line.item, line.place, line.lot, -line.quantity) for line in lines]
    _check_vessels_are_free(undone)
    try:
        return post(
            kind=Posting.Kind.REVERSAL,
            lines=undone,
            recorded_by=recorded_by,
            key=key,
            note=note,
            reverses=posting,
        )
    except (NotEnoughStock, StockReserved) as error:
        raise CannotReverse(
            _(
                "This can't be undone any more, because the goods have since been moved or "
                "used. %(why)s First undo what happened later, starting with the newest."
            )
            % {"why": error.message}
        ) from error


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


def _balances(lines: list[Line]) -> Balances:
    """Return the balances of these lines by key, making the ones that are missing."""
    wanted = {line.key: line for line in lines}
    keys = Q()
    for item, place, lot in wanted:
        keys |= Q(item=item, place=place, lot=lot or None)
    rows = (
        Balance.objects.select_for_update().filter(keys).order_by("item_id", "place_id", "lot_id")
    )
    balances = {(row.item_id, row.place_id, row.lot_id or 0): row for row in rows}
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
    balance.save(update_fields=["quantity"])


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
    balance.save(update_fields=["reserved"])
    return balance


def _words(item: Item, place: Place, asked: int, there: int) -> dict[str, str]:
    asked_words, there_words = item.in_words_apart(asked, there)
    return {"item": item.name, "place": place.name, "asked": asked_words, "there": there_words}
