"""Honey of other beekeepers: what is here, and what happened to it between two days."""

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date
from decimal import ROUND_HALF_UP, Decimal
from typing import Any, cast

from django.db.models import Q, QuerySet
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, pgettext_lazy

from inventory.shared import days
from inventory.shared.weights import unit_grams
from inventory.stock.models import Balance, Item, Lot, Place, Posting, PostingLine, Supplier

CAME, PACKED, LOST, COUNTED = "came", "packed", "lost", "counted"
HANDED_BACK, BOUGHT = "handed_back", "bought"
WORDS = {
    CAME: gettext_lazy("came in"),
    PACKED: pgettext_lazy("honey", "packed"),
    LOST: pgettext_lazy("honey", "lost"),
    COUNTED: gettext_lazy("count"),
    HANDED_BACK: pgettext_lazy("honey", "handed back"),
    BOUGHT: gettext_lazy("bought by us"),
}


@dataclass(frozen=True)
class OwnerRow:
    """One thing that changed what is here of one lot; `quantity` is below zero where it left.

    `shown` is what a page prints of it: rows that are shown add up to the sums that are.
    """

    posting: Posting
    day: date
    what: str
    item: Item
    lot: Lot
    quantity: int
    shown: int

    @property
    def label(self) -> str:
        return str(WORDS[self.what])


@dataclass
class OwnerSum:
    """All of one item: what was here, came and went, and is here; in grams, or pieces.

    `changes` are exact, by what happened; `shown` is what a page prints of them.
    """

    item: Item
    opening: int = 0
    changes: dict[str, int] = field(default_factory=lambda: dict.fromkeys(WORDS, 0))
    _steps: dict[str, int] = field(default_factory=lambda: dict.fromkeys(WORDS, 0))

    @property
    def closing(self) -> int:
        return self.opening + sum(self.changes.values())

    @property
    def shown(self) -> dict[str, int]:
        return {what: _of_steps(self.item, steps) for what, steps in self._steps.items()}

    def add(self, what: str, quantity: int) -> int:
        """Count a change, and return it as a page prints it: what it changes of the rest shown."""
        before = _steps(self.item, self.closing)
        self.changes[what] += quantity
        steps = _steps(self.item, self.closing) - before
        self._steps[what] += steps
        return _of_steps(self.item, steps)


@dataclass(frozen=True)
class OwnerStatement:
    """What happened to the honey of one beekeeper between two days, both included."""

    owner: Supplier
    since: date
    until: date
    rows: list[OwnerRow]
    sums: list[OwnerSum]


def all_here() -> QuerySet[Balance]:
    """Return all that belongs to other beekeepers and is here now, owner by owner."""
    return (
        Balance.objects.filter(lot__owner__isnull=False, is_physical=True, quantity__gt=0)
        .select_related("item", "place", "lot__owner")
        .order_by("lot__owner__name", "item__kind", "place__kind", "place__code", "lot__code")
    )


def here(owner: Supplier) -> QuerySet[Balance]:
    """Return what belongs to a beekeeper and is here now, vessels and shelves."""
    return all_here().filter(lot__owner=owner)


def statement(owner: Supplier, since: date, until: date) -> OwnerStatement:
    """Return the statement of a beekeeper, in one query; what was undone does not count.

    Honey poured from one vessel into another is still here, and is no row. A run takes honey to
    the packing line and gives jars; what was spilled, broken or spoiled is lost, and what a count
    found more or less stands by itself. Pounds are printed in tenths, each the difference of what
    was here before and after, so that lines and sums add up as they are printed.
    """
    sums: dict[int, OwnerSum] = {}
    rows = []
    for line in _lines(owner, until):
        known = sums.setdefault(line.item.pk, OwnerSum(line.item))
        day = timezone.localdate(line.posting.occurred_at)
        # What an outside place got is what left.
        quantity = -line.quantity
        if day < since:
            known.opening += quantity
        else:
            what = _what(line)
            shown = known.add(what, quantity)
            lot = cast(Lot, line.lot)
            rows.append(OwnerRow(line.posting, day, what, line.item, lot, quantity, shown))
    return OwnerStatement(owner, since, until, rows, sorted(sums.values(), key=_honey_first))


def _steps(item: Item, quantity: int) -> int:
    """Return a quantity in the steps in which it is printed: tenths of a pound, or pieces."""
    if item.kind != Item.Kind.HONEY:
        return quantity
    return int((quantity * 10 / unit_grams()).quantize(Decimal(1), ROUND_HALF_UP))


def _of_steps(item: Item, steps: int) -> int:
    """Return the quantity, in grams or pieces, that is printed as so many steps."""
    return steps if item.kind != Item.Kind.HONEY else round(steps * unit_grams() / 10)


def _honey_first(each: OwnerSum) -> tuple[bool, str]:
    return (each.item.kind != Item.Kind.HONEY, str(each.item))


def table(made: OwnerStatement) -> Iterator[list[Any]]:
    """Yield the rows of a statement for a spreadsheet, headings first; honey in exact grams."""
    yield [_("Day"), _("What"), _("Lot"), _("Item"), _("Quantity"), _("Unit")]
    for total in made.sums:
        if total.opening:
            yield _cells(made.since, _("here at the start"), "", total.item, total.opening)
    for row in made.rows:
        yield _cells(row.day, row.label, row.lot.code, row.item, row.quantity)
    for total in made.sums:
        yield _cells(made.until, _("here at the end"), "", total.item, total.closing)


def _cells(day: date, what: str, lot: str, item: Item, quantity: int) -> list[Any]:
    if item.kind == Item.Kind.HONEY:
        return [day, what, lot, item.name, quantity, _("g")]
    return [day, what, lot, item.name, quantity, _("pieces")]


def _lines(owner: Supplier, until: date) -> QuerySet[PostingLine]:
    """Return the lines by which anything of an owner came from outside or went there."""
    return (
        PostingLine.objects.filter(
            ~Q(posting__kind=Posting.Kind.REVERSAL),
            lot__owner=owner,
            posting__reversed_by__reverses=None,
            **days.lookups("posting__occurred_at", last=until),
        )
        .exclude(place__kind__in=Place.IN_HOUSE)
        .select_related("posting", "item", "place", "lot")
        .order_by("posting__occurred_at", "posting_id", "id")
    )


def _what(line: PostingLine) -> str:
    if line.place.kind == Place.Kind.PACKING:
        return PACKED
    if line.place.kind == Place.Kind.COUNT_DIFFERENCE:
        return COUNTED
    if line.place.kind != Place.Kind.OWNER:
        return LOST
    if line.posting.kind == Posting.Kind.PURCHASE:
        return BOUGHT
    return HANDED_BACK if line.posting.kind == Posting.Kind.OWNER_RETURN else CAME
