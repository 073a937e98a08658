"""Count sheets for display: what is to count, what was counted, and what closing would do."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace

from django.db.models import Count, Q, QuerySet
from django.utils import timezone

from inventory.shared.people import Person
from inventory.stock import counting, own_places
from inventory.stock.counting import ComparedLine, LotSurplus
from inventory.stock.models import (
    Balance,
    CountLine,
    CountSheet,
    Item,
    Lot,
    Place,
    Posting,
    Shortage,
)
from inventory.stock.models.counting import BookReading, StockKey, book_since


@dataclass(frozen=True)
class SheetRow:
    """One thing to count at a place, with the line that counts and those that it replaced.

    `book_quantity` is what the books have now; None where the sheet doesn't show it.
    """

    place: Place
    item: Item
    lot: Lot | None
    book_quantity: int | None
    line: CountLine | None = None
    earlier: Sequence[CountLine] = field(default_factory=list)

    @property
    def key(self) -> StockKey:
        return (
            self.place.pk,
            self.item.pk,
            0 if self.place.is_vessel or self.lot is None else self.lot.pk,
        )


@dataclass(frozen=True)
class SheetPlace:
    """A store with its rows, or all vessels of a kind."""

    place: Place
    rows: list[SheetRow]

    @property
    def counted(self) -> int:
        return sum(row.line is not None for row in self.rows)


@dataclass(frozen=True)
class SheetView:
    """All that is on a sheet: stores, vessels with honey, and vessels that the books have empty."""

    sheet: CountSheet
    stores: list[SheetPlace]
    vessels: list[SheetRow]
    empty: list[Place]
    kept_apart: int
    shows_books: bool

    @property
    def rows(self) -> list[SheetRow]:
        return [*(row for store in self.stores for row in store.rows), *self.vessels]

    @property
    def total(self) -> int:
        return len(self.rows)

    @property
    def counted(self) -> int:
        return sum(row.line is not None for row in self.rows)

    @property
    def to_seal(self) -> bool:
        """Whether a drum or other vessel with a seal waits to be counted."""
        return any(row.line is None and row.place.kind != Place.Kind.TANK for row in self.vessels)

    @property
    def differences(self) -> int:
        return sum(bool(row.line and row.line.posting_id) for row in self.rows)


@dataclass(frozen=True)
class ClosingView:
    """What closing a sheet would do now."""

    compared: list[ComparedLine]
    uncounted: list[SheetRow]
    surpluses: list[LotSurplus]

    @property
    def differing(self) -> list[ComparedLine]:
        return [each for each in self.compared if each.changes]

    @property
    def agreeing(self) -> int:
        return len(self.compared) - len(self.differing)

    @property
    def within_dip(self) -> list[ComparedLine]:
        return [each for each in self.compared if each.is_within_dip]

    @property
    def problems(self) -> list[str]:
        return [each.problem for each in self.compared if each.problem]


def sheets(person: Person) -> QuerySet[CountSheet]:
    """Return the sheets on which a person may enter counts, newest first.

    Those of everything, and of places at which the person may act; each has its `line_count`: how
    many things were counted.
    """
    found = (
        CountSheet.objects.select_related("opened_by", "closed_by", "place")
        .annotate(line_count=Count("lines", filter=Q(lines__replaced_by=None)))
        .order_by("-opened_at", "-id")
    )
    if own_places.has_every(person):
        return found
    return found.filter(Q(place=None) | Q(place__kind__in=own_places.KINDS))


def open_of(place: Place) -> CountSheet | None:
    """Return the open sheet of one place alone."""
    return CountSheet.objects.open().filter(place=place).first()


def rows_to_count(place: Place) -> list[SheetRow]:
    """Return what to count at a store: what the books have there, and what was short there.

    The figures of the books are not told, so that what is there is counted.
    """
    rows = {
        row.key: row
        for balance in book_since(timezone.now(), [place]).now.values()
        if balance.quantity
        for row in [SheetRow(place, balance.item, balance.lot, None)]
    }
    for row in _short_at(place):
        rows.setdefault(row.key, row)
    return sorted(rows.values(), key=_row_order)


def _short_at(place: Place) -> list[SheetRow]:
    """Return what was taken at a place although the books had none of it, and is not settled."""
    short = Shortage.objects.open().filter(place=place, posting__reversed_by__reverses=None)
    # Bulk honey, and honey of which nobody knows the lot, is not counted on a shelf.
    known = short.exclude(item__kind=Item.Kind.HONEY).exclude(lot__kind=Lot.Kind.UNKNOWN)
    return [
        SheetRow(place, row.item, row.lot, None)
        for row in known.select_related("item", "lot__product", "lot__owner").order_by("id")
    ]


def sheet_view(sheet: CountSheet, person: Person | None = None) -> SheetView:
    """Return what is on a sheet; of a closed one, what was counted.

    For a person, only what is at the places at which that person may act.
    """
    view = _view(sheet, book_since(timezone.now(), _places_of(sheet)))
    if person is None or own_places.has_every(person):
        return view
    stores = [store for store in view.stores if own_places.is_own(person, store.place)]
    return replace(view, stores=stores, vessels=[], empty=[], kept_apart=0)


def closing_view(sheet: CountSheet) -> ClosingView:
    """Return what closing a sheet would post now, and what stands in the way."""
    lines = list(sheet.lines.standing().with_all())
    since = min([timezone.now(), *(line.counted_at for line in lines)])
    book = book_since(since, _places_of(sheet))
    compared = [counting.compare(line, book) for line in lines]
    changes = [change for each in compared for change in each.changes]
    lots = {change.lot.pk for change in changes if change.lot}
    return ClosingView(
        compared=sorted(compared, key=lambda each: _row_order(each.line)),
        uncounted=[row for row in _view(sheet, book).rows if row.line is None],
        surpluses=counting.surpluses(
            changes, here=Balance.objects.here(lots), most=Balance.objects.most_here(lots)
        ),
    )


def rows_at(sheet: CountSheet, place: Place) -> list[SheetRow]:
    """Return the rows of one place."""
    return [row for row in sheet_view(sheet).rows if row.place == place]


def postings(sheet: CountSheet) -> QuerySet[Posting]:
    """Return the postings that closing a sheet made, one a place, with their undoing."""
    found = Posting.objects.filter(count_lines__sheet=sheet).distinct()
    return found.select_related("reversed_by").order_by("id")


def _places_of(sheet: CountSheet) -> list[Place] | None:
    """Return the one place of a sheet; None for all of them."""
    return None if sheet.place is None else [sheet.place]


def _view(sheet: CountSheet, book: BookReading) -> SheetView:
    shows_books = not (sheet.is_blind and sheet.is_open)
    lines: dict[StockKey, list[CountLine]] = {}
    for line in sheet.lines.with_all():
        lines.setdefault(line.key, []).append(line)
    rows: dict[StockKey, SheetRow] = {}
    if sheet.is_open:
        for balance in book.now.values():
            if balance.quantity:
                row = _row(
                    balance.place,
                    balance.item,
                    balance.lot,
                    balance.quantity if shows_books else None,
                    lines,
                )
                rows[row.key] = row
        for short in _short_at(sheet.place) if sheet.place else []:
            row = _row(short.place, short.item, short.lot, 0 if shows_books else None, lines)
            rows.setdefault(row.key, row)
    for key, told in lines.items():
        if key not in rows:
            last = told[-1]
            book_quantity = (last.book_then if not sheet.is_open else 0) if shows_books else None
            rows[key] = _row(last.place, last.item, last.lot, book_quantity, lines)
    ordered = sorted(rows.values(), key=_row_order)
    return SheetView(
        sheet=sheet,
        stores=_stores(ordered, sheet.place),
        vessels=[row for row in ordered if row.place.is_vessel],
        empty=_empty(rows.values()) if sheet.is_open and not sheet.place else [],
        kept_apart=_kept_apart() if sheet.is_open and not sheet.place else 0,
        shows_books=shows_books,
    )


def _row(
    place: Place,
    item: Item,
    lot: Lot | None,
    book_quantity: int | None,
    lines: dict[StockKey, list[CountLine]],
) -> SheetRow:
    row = SheetRow(place, item, lot, book_quantity)
    told = lines.get(row.key)
    if not told:
        return row
    return SheetRow(place, item, lot, book_quantity, told[-1], told[:-1])


def _row_order(row: SheetRow | CountLine) -> tuple:
    kinds: list[str] = [*Place.FOR_GOODS, *Place.VESSELS]
    items: list[str] = [Item.Kind.HONEY, Item.Kind.PACKED, Item.Kind.GOODS, Item.Kind.PART]
    return (
        kinds.index(row.place.kind),
        row.place.code,
        items.index(row.item.kind),
        row.item.name,
        row.lot.pk if row.lot else 0,
    )


def _stores(rows: Iterable[SheetRow], only: Place | None) -> list[SheetPlace]:
    """Return the stores in use, those with nothing on them too, since something may be found."""
    by_place: dict[int, list[SheetRow]] = {} if only is None else {only.pk: []}
    for row in rows:
        by_place.setdefault(row.place.pk, []).append(row)
    places = Place.objects.filter(
        Q(kind__in=Place.FOR_GOODS) & (Q(is_active=True) | Q(pk__in=by_place))
    )
    if only is not None:
        places = places.filter(pk=only.pk)
    ordered = sorted(places, key=lambda place: (Place.FOR_GOODS.index(place.kind), place.code))
    return [SheetPlace(place, by_place.get(place.pk, [])) for place in ordered]


def _empty(rows: Iterable[SheetRow]) -> list[Place]:
    told = {row.place.pk for row in rows}
    vessels = Place.objects.filter(kind__in=Place.VESSELS, is_active=True).exclude(pk__in=told)
    return sorted(vessels, key=lambda place: (Place.VESSELS.index(place.kind), place.code))


def _kept_apart() -> int:
    """Return how many lots are kept apart: their pieces wait for a decision, not for a count."""
    return Balance.objects.filter(place__kind=Place.Kind.RETURNED, quantity__gt=0).count()
