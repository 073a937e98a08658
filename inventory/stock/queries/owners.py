"""Honey of other beekeepers: what is here, and what happened to it between two days."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from django.db.models import QuerySet
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from inventory.physics.units import POUND_GRAMS
from inventory.stock.models import Balance, Item, Lot, Place, Posting, PostingLine, Supplier

CAME, PACKED, LOST, HANDED_BACK, BOUGHT = "came", "packed", "lost", "handed_back", "bought"
WORDS = {
    CAME: gettext_lazy("came in"),
    PACKED: gettext_lazy("packed"),
    LOST: gettext_lazy("lost"),
    HANDED_BACK: gettext_lazy("handed back"),
    BOUGHT: gettext_lazy("bought by us"),
}


@dataclass(frozen=True)
class OwnerRow:
    """One thing that changed what is here of one lot; `quantity` is below zero where it left."""

    posting: Posting
    day: date
    what: str
    item: Item
    lot: Lot
    quantity: int

    @property
    def label(self) -> str:
        return str(WORDS[self.what])


@dataclass
class OwnerSum:
    """All of one item: what was here, came and went, and is here; in grams, or pieces."""

    item: Item
    opening: int = 0
    changes: dict[str, int] = field(default_factory=lambda: dict.fromkeys(WORDS, 0))

    @property
    def closing(self) -> int:
        return self.opening + sum(self.changes.values())

    @property
    def came(self) -> int:
        return self.changes[CAME]

    @property
    def packed(self) -> int:
        return self.changes[PACKED]

    @property
    def lost(self) -> int:
        return self.changes[LOST]

    @property
    def handed_back(self) -> int:
        return self.changes[HANDED_BACK]

    @property
    def bought(self) -> int:
        return self.changes[BOUGHT]


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
    the packing line and gives jars; what was spilled, broken, spoiled or not found is lost.
    """
    sums: dict[int, OwnerSum] = {}
    rows = []
    for row in _rows(_lines(owner, until)):
        known = sums.setdefault(row.item.pk, OwnerSum(row.item))
        if row.day < since:
            known.opening += row.quantity
        else:
            known.changes[row.what] += row.quantity
            rows.append(row)
    return OwnerStatement(owner, since, until, rows, sorted(sums.values(), key=_honey_first))


def _honey_first(each: OwnerSum) -> tuple[bool, str]:
    return (each.item.kind != Item.Kind.HONEY, str(each.item))


def table(made: OwnerStatement) -> Iterator[list[Any]]:
    """Yield the rows of a statement for a spreadsheet, headings first; honey in pounds."""
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
        return [day, what, lot, item.name, round(quantity / POUND_GRAMS, 1), _("lb")]
    return [day, what, lot, item.name, quantity, _("pieces")]


def _lines(owner: Supplier, until: date) -> QuerySet[PostingLine]:
    """Return the lines by which anything of an owner came from outside or went there."""
    return (
        PostingLine.objects.filter(
            lot__owner=owner,
            posting__reverses=None,
            posting__reversed_by=None,
            posting__occurred_at__date__lte=until,
        )
        .exclude(place__kind__in=[*Place.VESSELS, *Place.STORES])
        .select_related("posting", "item", "place", "lot")
        .order_by("posting__occurred_at", "posting_id", "id")
    )


def _rows(lines: Iterable[PostingLine]) -> Iterator[OwnerRow]:
    for line in lines:
        lot = line.lot
        assert lot is not None  # Filtered by its owner.
        yield OwnerRow(
            posting=line.posting,
            day=timezone.localdate(line.posting.occurred_at),
            what=_what(line),
            item=line.item,
            lot=lot,
            # What an outside place got is what left.
            quantity=-line.quantity,
        )


def _what(line: PostingLine) -> str:
    if line.place.kind == Place.Kind.PACKING:
        return PACKED
    if line.place.kind != Place.Kind.OWNER:
        return LOST
    if line.posting.kind == Posting.Kind.PURCHASE:
        return BOUGHT
    return HANDED_BACK if line.posting.kind == Posting.Kind.OWNER_RETURN else CAME
