"""What parts cost in the books: the moving average of the pieces that are there.

The movements of a part are told again in the order in which they were recorded, since that is how
the pieces were there to be taken. Each posting takes or brings whole cents, which add up to what
came in and what is left: what a run takes is in the cost of its jars, what is written off or found
is on its own account. A receipt or a run that was corrected counts as it should have been, in its
place; what a run had taken by then stays, and the difference is on the account for costs set anew.

What parts cost now is read from the last closing of each (`AverageClosing`); what each movement was
worth, and what was known at a moment, from the whole history (`part_book`).
"""

from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from fractions import Fraction

from django.db.models import Q, QuerySet, Sum
from django.db.models.functions import Coalesce

from inventory.bottling.models import PackagingPart, PartReceipt, ReceiptCorrection
from inventory.stock.costing import HeapAtAverage
from inventory.stock.models import AverageClosing, Item, Place, Posting, PostingLine
from inventory.stock.models.ledger import NOTHING_CLOSED, changed_items

# A posting and an item.
PartMove = tuple[int, int]
# An item, a posting, how many came, and the cents that were paid for them or None.
PartChange = tuple[int, int, int, int | None]


@dataclass(frozen=True)
class PartBook:
    """The heap of each part by its item, and the cents by which each posting changed it."""

    heaps: Mapping[int, HeapAtAverage]
    changes: Mapping[PartMove, int]
    parts: Mapping[int, int]

    @property
    def unit_cents(self) -> dict[int, Fraction]:
        """What one of each part costs, by part; a part that never had a price is left out."""
        return {
            part: unit
            for part, item in self.parts.items()
            if item in self.heaps and (unit := self.heaps[item].unit_cents) is not None
        }

    def value_by(self, day: date | None = None) -> dict[int, int]:
        """Return what each part was worth when a day ended, or is now, by item."""
        wanted = None
        if day is not None:
            counting = PostingLine.objects.filter(item__kind=Item.Kind.PART).counting_by(day)
            wanted = set(counting.order_by().values_list("posting", flat=True))
        found: dict[int, int] = defaultdict(int)
        for (posting, item), cents in self.changes.items():
            if wanted is None or posting in wanted:
                found[item] += cents
        return found


def heaps_of(parts: Iterable[PackagingPart]) -> dict[int, HeapAtAverage]:
    """Return the heap of each of these parts by part, in two queries.

    What came before the last closing of a part is not read again.
    """
    items = {part.item_id: part.pk for part in parts}
    closings = AverageClosing.objects.last_of(items)
    heaps = {item: closings[item].heap if item in closings else HeapAtAverage() for item in items}
    since = {item: closing.posting_id for item, closing in closings.items()}
    for item, _posting, pieces, cents in moves(items, since=since):
        heaps[item].change(pieces, cents)
    return {items[item]: heap for item, heap in heaps.items()}


def unit_cents_of(parts: Iterable[PackagingPart]) -> dict[int, Fraction]:
    """Return what one of each part costs, by part; a part that never had a price is left out."""
    units = {part: heap.unit_cents for part, heap in heaps_of(parts).items()}
    return {part: unit for part, unit in units.items() if unit is not None}


def since_closing(item: int) -> tuple[HeapAtAverage, Iterator[PartChange]]:
    """Return the heap of a part at its last closing, and what changed it since."""
    closing = AverageClosing.objects.last_of([item]).get(item)
    if closing is None:
        return HeapAtAverage(), moves([item])
    return closing.heap, moves([item], since={item: closing.posting_id})


def moves(
    items: Collection[int], *, since: Mapping[int, int] = NOTHING_CLOSED
) -> Iterator[PartChange]:
    """Yield item, posting, how many came (below zero: went), and the cents that were paid for them.

    In the order of postings, a correction with what it corrects; the cents are None where nobody
    paid for what came. `since` leaves out the postings of an item up to that one.
    """
    rows = (
        changed_items(items, since=since)
        .annotate(
            paid=Coalesce(
                "lines__posting__corrects__part_receipt__cost_cents",
                "lines__posting__part_receipt__cost_cents",
            )
        )
        .values("pk", "counts_at", "paid")
        .annotate(pieces=Sum("lines__quantity"))
        .exclude(pieces=0)
        .order_by("counts_at", "pk")
        .values_list("pk", "counts_at", "pieces", "paid")
    )
    return rows.iterator()


def part_book(known_at: datetime | None = None) -> PartBook:
    """Tell the movements of all parts as they are known now, or were at a moment."""
    parts = dict(PackagingPart.objects.order_by().values_list("pk", "item"))
    paid = {posting: (pieces, cents) for posting, _part, pieces, cents in part_receipts(known_at)}
    lines = PostingLine.objects.filter(item__kind=Item.Kind.PART, place__kind__in=Place.IN_HOUSE)
    if known_at is not None:
        lines = lines.filter(posting__recorded_at__lte=known_at)
    heaps: dict[int, HeapAtAverage] = defaultdict(HeapAtAverage)
    changes: dict[PartMove, int] = {}
    for posting, item, pieces in _effective(lines, known_at):
        cents = paid[posting][1] if posting in paid else None
        changes[posting, item] = heaps[item].change(pieces, cents)
    for posting, item, pieces in _undone(lines, known_at):
        unit = heaps[item].unit_cents
        changes[posting, item] = 0 if unit is None else round(unit * pieces)
    return PartBook(dict(heaps), changes, parts)


def part_receipts(known_at: datetime | None = None) -> list[tuple[int, int, int, int]]:
    """Return posting, part, pieces and cents of each receipt that was not undone by then."""
    receipts = PartReceipt.objects.all()
    if known_at is None:
        receipts = receipts.filter(posting__reversed_by__reverses=None)
    else:
        receipts = receipts.filter(
            _not_undone("posting__", known_at), posting__recorded_at__lte=known_at
        )
    corrected = corrected_since(known_at, "part_receipt")
    return [
        (
            posting,
            part,
            corrected.get(key, {}).get("quantity", pieces),
            corrected.get(key, {}).get("cost_cents", cents),
        )
        for key, posting, part, pieces, cents in receipts.order_by("pk").values_list(
            "pk", "posting", "part", "pieces", "cost_cents"
        )
    ]


def corrected_since(known_at: datetime | None, of: str) -> dict[int, dict[str, int]]:
    """Return the figures that receipts had at a moment and have not now, by receipt."""
    found: dict[int, dict[str, int]] = {}
    if known_at is None:
        return found
    later = ReceiptCorrection.objects.filter(corrected_at__gt=known_at, **{f"{of}__isnull": False})
    for key, before in later.order_by("id").values_list(of, "before"):
        figures = found.setdefault(key, {})
        for name, value in before.items():
            figures.setdefault(name, value)
    return found


def _not_undone(path: str, known_at: datetime | None) -> Q:
    is_standing = Q(**{f"{path}reversed_by__reverses": None})
    if known_at is not None:
        is_standing |= Q(**{f"{path}reversed_by__recorded_at__gt": known_at})
    return is_standing


def _effective(
    lines: QuerySet[PostingLine], known_at: datetime | None
) -> Iterable[tuple[int, int, int]]:
    """Return posting, item and how many came (below zero: went), corrections with their posting."""
    standing = lines.filter(
        Q(posting__corrects=None) | _not_undone("posting__corrects__", known_at),
        _not_undone("posting__", known_at),
        # SQLite would take the index on what a posting reverses, and read all postings.
        ~Q(posting__kind=Posting.Kind.REVERSAL),
    )
    return _moved(standing)


def _undone(
    lines: QuerySet[PostingLine], known_at: datetime | None
) -> Iterable[tuple[int, int, int]]:
    """Return the same of what was undone and of what undid it, which come to zero together."""
    undone = ~_not_undone("posting__", known_at) | ~_not_undone("posting__corrects__", known_at)
    return _moved(lines.filter(Q(posting__kind=Posting.Kind.REVERSAL) | undone))


def _moved(lines: QuerySet[PostingLine]) -> list[tuple[int, int, int]]:
    """Return posting, item and how many came with these lines, corrections with their posting."""
    sums: dict[PartMove, int] = defaultdict(int)
    for posting, corrects, item, pieces in (
        lines.values("posting", "posting__corrects", "item")
        .annotate(pieces=Sum("quantity"))
        .order_by()
        .values_list("posting", "posting__corrects", "item", "pieces")
    ):
        sums[corrects or posting, item] += pieces
    return [(posting, item, pieces) for (posting, item), pieces in sorted(sums.items()) if pieces]
