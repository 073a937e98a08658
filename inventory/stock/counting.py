"""What counted lines mean for the books: differences, what stands in the way, and surpluses.

Pure decisions that the act of closing a count sheet shares with the page that shows it first.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import datetime

from django.utils.formats import date_format
from django.utils.timezone import localtime
from django.utils.translation import gettext as _

from inventory.stock.models import CountLine, Item, Lot, Place
from inventory.stock.models.counting import BookReading, StockKey


@dataclass(frozen=True)
class CountChange:
    """How much of an item and lot is to be added to a place, or taken off it."""

    place: Place
    item: Item
    lot: Lot | None
    quantity: int

    @property
    def key(self) -> StockKey:
        return (self.place.pk, self.item.pk, self.lot.pk if self.lot else 0)


@dataclass(frozen=True)
class ComparedLine:
    """A counted line beside the books of the moment it was counted.

    `lot` is what it was counted of: in a vessel, the lot that the books have in it at that moment
    with all that was entered late, unless a person told another. `difference` is what was counted
    less what the books said. `changes` are to be posted: none where both agree, or where a dip
    can't tell them apart. `problem` says in words why they can't be posted now.
    """

    line: CountLine
    lot: Lot | None
    counted: int
    book_then: int
    changes: Sequence[CountChange] = field(default_factory=list)
    problem: str = ""

    @property
    def difference(self) -> int:
        return self.counted - self.book_then

    @property
    def is_within_dip(self) -> bool:
        """Whether the difference is too small for the dip to tell."""
        return bool(self.difference) and not self.changes

    @property
    def state(self) -> str:
        """One of "agrees", "within_dip", "less", "more", "other_lot"."""
        if self.changes:
            if not self.difference:
                return "other_lot"
            return "more" if self.difference > 0 else "less"
        return "within_dip" if self.difference else "agrees"


@dataclass(frozen=True)
class LotSurplus:
    """A lot of which a count would leave more than was made of it and has not left."""

    lot: Lot
    item: Item
    most: int
    told: int

    @property
    def sentence(self) -> str:
        figures = {
            "lot": self.lot.code,
            "owner": self.lot.owner,
            "packed": self.item.in_words(self.lot.quantity_made),
            "gone": self.item.in_words(max(self.lot.quantity_made - self.most, 0)),
            "most": self.item.in_words(max(self.most, 0)),
            "told": self.item.in_words(self.told),
        }
        if self.lot.owner:
            said = _(
                "Lot %(lot)s belongs to %(owner)s. Packed: %(packed)s. Handed back or lost: "
                "%(gone)s. So %(most)s can be here, but with this count there would be %(told)s."
            )
        else:
            said = _(
                "Lot %(lot)s. Made: %(packed)s. Left since: %(gone)s. So %(most)s can be here, "
                "but with this count there would be %(told)s."
            )
        return said % figures


def surplus_advice() -> str:
    """Return what to do about more than was made."""
    return _("Count again. If the count is right, the owner or the office can say why.")


def surpluses(
    changes: Iterable[CountChange], *, here: dict[int, int], most: dict[int, int]
) -> list[LotSurplus]:
    """Return the lots in jars, or of other goods, of which more would be here than can be.

    `here` is what the books have in the house and `most` what can be there, by key of the lot.
    Bulk honey is weighed and dipped, never to the gram, so no lot of it is asked about.
    """
    added: dict[int, int] = {}
    things: dict[int, tuple[Lot, Item]] = {}
    for change in changes:
        if change.lot is not None and change.lot.product_id is not None:
            things[change.lot.pk] = (change.lot, change.item)
            added[change.lot.pk] = added.get(change.lot.pk, 0) + change.quantity
    found = []
    for key, quantity in added.items():
        told = here.get(key, 0) + quantity
        if quantity > 0 and told > most.get(key, 0):
            lot, item = things[key]
            found.append(LotSurplus(lot, item, most.get(key, 0), told))
    return found


def compare(line: CountLine, book: BookReading, as_of: datetime | None = None) -> ComparedLine:
    """Compare a line with the books of its moment; `as_of` is when it will be booked, None for now.

    `line` comes with its place, item and lot.
    """
    keys = [line.key]
    if line.place.is_vessel:
        keys = book.at_place(line.place, line.item)
    then = {key: book.then(key, line.counted_at) for key in keys}
    book_then = sum(then.values())
    lot = _counted_lot(line, book, then)
    if line.how == CountLine.How.SEAL:
        return ComparedLine(line, lot, book_then, book_then)
    changes = _changes(line, lot, book, then)
    difference = line.counted - book_then
    is_same_honey = all(change.lot == lot for change in changes)
    if is_same_honey and abs(difference) <= (line.uncertainty_grams or 0):
        return ComparedLine(line, lot, line.counted, book_then)
    problem = _problem(line, book, changes, as_of) if changes else ""
    return ComparedLine(line, lot, line.counted, book_then, changes, problem)


def _counted_lot(line: CountLine, book: BookReading, then: dict[StockKey, int]) -> Lot | None:
    if line.place.is_vessel and not line.lot_is_told:
        for key, quantity in then.items():
            if quantity:
                return book.now[key].lot
    return line.lot


def _changes(
    line: CountLine, lot: Lot | None, book: BookReading, then: dict[StockKey, int]
) -> list[CountChange]:
    """Return what brings the books of that moment to the count; a vessel has honey of one lot."""
    own = (line.place_id, line.item_id, lot.pk if lot else 0)
    changes = []
    for key in {**then, own: 0}:
        quantity = (line.counted if key == own else 0) - then.get(key, 0)
        if quantity:
            changed = lot if key == own else book.now[key].lot
            changes.append(CountChange(line.place, line.item, changed, quantity))
    return changes


def _problem(
    line: CountLine, book: BookReading, changes: Sequence[CountChange], as_of: datetime | None
) -> str:
    what = what_is(line)
    if any(book.righted_since(change.key, line.counted_at) for change in changes):
        return _(
            "%(what)s: the books were put right by another count or weighing since it was "
            "counted here. Count it again."
        ) % {"what": what}
    if as_of is not None and any(book.righted_since(change.key, as_of) for change in changes):
        return _(
            "%(what)s: a count or weighing after %(when)s put the books right already. Choose a "
            "later moment."
        ) % {"what": what, "when": moment_in_words(as_of)}
    if line.place.is_vessel and _is_refilled(line, book, changes):
        return _("%(what)s: other honey went in since it was counted. Count it again.") % {
            "what": what
        }
    if as_of is not None and any(_was_not_there(change, book, as_of) for change in changes):
        return _("%(what)s: at %(when)s this lot was not there yet. Choose a later moment.") % {
            "what": what,
            "when": moment_in_words(as_of),
        }
    for change in changes:
        if change.quantity >= 0:
            continue
        taken = -change.quantity
        there = book.now.get(change.key)
        quantity, reserved = (there.quantity, there.reserved) if there else (0, 0)
        figures = {
            "what": what,
            "taken": line.item.in_words(taken, 1),
            "there": line.item.in_words(quantity, 1),
            "reserved": line.item.in_words(reserved, 1),
        }
        if quantity < taken:
            return (
                _(
                    "%(what)s: the count would take off %(taken)s, but since then the rest was "
                    "sold or moved and the books have only %(there)s left. Count it again."
                )
                % figures
            )
        if quantity - taken < reserved:
            return (
                _(
                    "%(what)s: the count would take off %(taken)s of %(there)s, but %(reserved)s "
                    "are reserved for orders. Change those orders first, or count it again."
                )
                % figures
            )
        if as_of is not None and book.least_since(change.key, as_of) < taken:
            return _(
                "%(what)s: the count would take off %(taken)s as of %(when)s, but at that "
                "time or later the books had less there. Choose a later moment."
            ) % {**figures, "when": moment_in_words(as_of)}
    return ""


def _is_refilled(line: CountLine, book: BookReading, changes: Sequence[CountChange]) -> bool:
    """Tell whether the vessel would have honey of two lots with these changes."""
    after = {key: book.quantity(key) for key in book.at_place(line.place, line.item)}
    for change in changes:
        after[change.key] = after.get(change.key, 0) + change.quantity
    # Below zero: the honey that was counted has since become part of other honey.
    return sum(quantity > 0 for quantity in after.values()) > 1 or (
        any(quantity < 0 for quantity in after.values())
        and any(quantity > 0 for quantity in after.values())
    )


def _was_not_there(change: CountChange, book: BookReading, moment: datetime) -> bool:
    """Tell whether what is added was made later, or its vessel had other honey at that moment."""
    if change.quantity < 0 or change.lot is None:
        return False
    others = [key for key in book.at_place(change.place, change.item) if key != change.key]
    return change.lot.made_on > localtime(moment).date() or (
        change.place.is_vessel and any(book.then(key, moment) > 0 for key in others)
    )


def what_is(line: CountLine) -> str:
    """Say which line it is: "One pound, lot 26-1, Shelf", or the name of the vessel."""
    return thing_in_words(line.place, line.item, line.lot)


def thing_in_words(place: Place, item: Item, lot: Lot | None) -> str:
    if place.is_vessel:
        return place.name
    figures = {"item": item.name, "lot": lot, "place": place.name}
    if lot is None:
        return _("%(item)s, %(place)s") % figures
    return _("%(item)s, lot %(lot)s, %(place)s") % figures


def moment_in_words(moment: datetime) -> str:
    return date_format(localtime(moment), "DATETIME_FORMAT")
