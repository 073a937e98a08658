"""Where every pound went: the honey of a harvest, or of all, from the lines of the ledger.

What happened counts with what undid or corrected it. All is read in a constant number of questions,
and most of it is added up in the database: only where honey changed its lot, was undone or
corrected, or another beekeeper's, is each entry read.
"""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from fractions import Fraction
from typing import Any

from django.db.models import F, Max, Min, QuerySet, Sum
from django.db.models.functions import Coalesce
from django.utils.translation import gettext as _

from inventory.stock import flow
from inventory.stock.flow import (
    HERE,
    Band,
    FlowLine,
    FlowLot,
    FlowMove,
    FlowSum,
    Form,
    Leaf,
    Source,
)
from inventory.stock.models import Balance, Item, Lot, Place, Posting, PostingLine


@dataclass(frozen=True)
class Harvest:
    """Whose honey is asked for: all of the house's, of a season, of one lot; or of the others."""

    season: int | None = None
    lot: Lot | None = None
    is_of_others: bool = False

    def has(self, lot: Lot) -> bool:
        if self.lot is not None:
            return lot == self.lot
        if self.is_of_others == lot.is_ours:
            return False
        return self.season in (None, lot.season)


@dataclass(frozen=True)
class BandRow:
    """How much honey is in a place, or left in a way, in grams; below zero where more was found."""

    band: Band
    bulk: int
    pieces: int

    @property
    def grams(self) -> int:
        return self.bulk + self.pieces

    @property
    def is_here(self) -> bool:
        return self.band in HERE

    def of(self, form: Form) -> int:
        return self.bulk if form == Form.BULK else self.pieces


@dataclass(frozen=True)
class OriginRow:
    """The honey of one origin, or of a season: what came in, what is here, and what left."""

    season: int
    source: Source
    owner: str
    # None for a season.
    lot: Lot | None
    came_in: int
    pieces: int
    bands: dict[Band, int]

    @property
    def here(self) -> int:
        return sum(grams for band, grams in self.bands.items() if band in HERE)

    @property
    def sold(self) -> int:
        return self.bands.get(Band.SOLD, 0)

    @property
    def otherwise(self) -> int:
        return self.left - self.sold

    @property
    def left(self) -> int:
        return sum(self.bands.values()) - self.here

    @property
    def difference(self) -> int:
        return self.came_in - self.here - self.left


@dataclass(frozen=True)
class HarvestFlow:
    """Where the honey of a harvest is and went, in whole grams that add up."""

    harvest: Harvest
    sources: dict[Source, int]
    bands: list[BandRow]
    origins: list[OriginRow]

    @property
    def came_in(self) -> int:
        return sum(self.sources.values())

    @property
    def here(self) -> int:
        return sum(row.grams for row in self.bands if row.is_here)

    @property
    def went_out(self) -> int:
        return sum(row.grams for row in self.bands if not row.is_here)

    @property
    def difference(self) -> int:
        return self.came_in - self.went_out - self.here

    @property
    def in_pieces(self) -> int:
        """The honey that went into jars and comb, and did not become honey in bulk again."""
        return sum(row.pieces for row in self.bands)


@dataclass(frozen=True)
class FlowEntry:
    """What happened, with the grams it brought to a band, or took away."""

    posting: int
    occurred_at: datetime
    grams: int


class FlowBook:
    """The flow of all honey, read once, of which any harvest may be told."""

    def __init__(self) -> None:
        self._lots = {lot.pk: lot for lot in _lots_with_honey()}
        self._flow_lots = {key: _flow_lot(lot) for key, lot in self._lots.items()}
        self._days: dict[int, datetime] = {}
        kinds: dict[int, str] = {}
        event_of: dict[int, int] = {}
        lines = []
        for posting, kind, occurred_at, first, *line in _lines_of(_tangled()):
            if posting not in kinds:
                event_of[posting] = event_of.get(first, first) if first else posting
                kinds[posting], self._days[posting] = kind, occurred_at
            number, lot, place, place_kind, quantity = line
            lines.append(FlowLine(number, event_of[posting], lot, place, place_kind, quantity))
        lines.sort()
        self._flow = flow.flow(self._flow_lots, _plain_sums(lines), lines, kinds)
        self.origins = [self._lots[key] for key in self._flow.came_in]

    @property
    def seasons(self) -> list[int]:
        """The seasons of the house's own honey, the latest first."""
        return sorted({lot.season for lot in self.origins if lot.is_ours}, reverse=True)

    @property
    def has_others(self) -> bool:
        return any(not lot.is_ours for lot in self.origins)

    def of(self, harvest: Harvest) -> HarvestFlow:
        """Return where the honey of a harvest is and went."""
        origins = self.origins_of(harvest)
        sources: dict[Source, int] = defaultdict(int)
        cells: dict[Leaf, int] = defaultdict(int)
        for lot in origins:
            for source, grams in self._flow.came_in[lot.pk].items():
                sources[source] += grams
            for leaf, grams in self._flow.cells[lot.pk].items():
                cells[leaf] += grams
        rows = [
            BandRow(band, cells[Leaf(Form.BULK, band)], cells[Leaf(Form.PIECES, band)])
            for band in Band
        ]
        return HarvestFlow(
            harvest,
            {source: sources[source] for source in Source if sources[source]},
            [row for row in rows if row.bulk or row.pieces],
            self._origin_rows(harvest, origins),
        )

    def entries(self, harvest: Harvest, ends: Sequence[Leaf | Source]) -> list[FlowEntry]:
        """Return what is behind some ends of a harvest, the latest first; it adds up to them."""
        origins = {lot.pk for lot in self.origins_of(harvest)}
        grams = self._flow.entries_of(ends, origins, self._plain_moves(ends))
        found = [FlowEntry(key, self._days[key], moved) for key, moved in grams.items()]
        return sorted(found, key=lambda entry: (entry.occurred_at, entry.posting), reverse=True)

    def _plain_moves(self, ends: Sequence[Leaf | Source]) -> Iterator[FlowMove]:
        """Yield what plain events moved to some ends, and keep when that was."""
        behind = flow.ends_behind(ends)
        kinds = {kind for kind, band in flow.BANDS.items() if band in behind}
        kinds |= {kind for kind, sources in flow.SOURCES.items() if behind.intersection(sources)}
        found = _plain_lines().filter(place__kind__in=kinds).order_by()
        for posting, occurred_at, lot, kind, quantity in found.values_list(
            "posting", "posting__occurred_at", "lot", "place__kind", "quantity"
        ).iterator():
            if lot not in self._flow_lots:
                continue
            end = flow.end_of(self._flow_lots[lot], kind, quantity)
            if end in behind:
                self._days[posting] = occurred_at
                came = -quantity if isinstance(end, Source) else quantity
                yield FlowMove(posting, lot, end, came)

    def origins_of(self, harvest: Harvest) -> list[Lot]:
        """Return the lots that the honey of a harvest came in as."""
        return [lot for lot in self.origins if harvest.has(lot)]

    def _origin_rows(self, harvest: Harvest, origins: Iterable[Lot]) -> list[OriginRow]:
        """Return a row for each lot of a season, and for each season of all."""
        by_season = harvest.season is None and harvest.lot is None
        grouped: dict[tuple, list[Lot]] = defaultdict(list)
        for lot in origins:
            whose = (str(lot.owner or ""), "") if by_season else ("", lot.code)
            at = list(Source).index(self.source_of(lot))
            grouped[-lot.season, at, *whose, 0 if by_season else lot.pk].append(lot)
        return [self._origin_row(grouped[name], by_season) for name in sorted(grouped)]

    def _origin_row(self, lots: list[Lot], by_season: bool) -> OriginRow:
        bands: dict[Band, int] = defaultdict(int)
        pieces = 0
        for lot in lots:
            for leaf, grams in self._flow.cells[lot.pk].items():
                bands[leaf.band] += grams
                pieces += grams if leaf.form == Form.PIECES else 0
        return OriginRow(
            season=lots[0].season,
            source=self.source_of(lots[0]),
            owner=str(lots[0].owner or ""),
            lot=None if by_season else lots[0],
            came_in=sum(sum(self._flow.came_in[lot.pk].values()) for lot in lots),
            pieces=pieces,
            bands={band: bands[band] for band in Band if bands[band]},
        )

    def figures_of(self, lot: Lot) -> tuple[int, dict[Leaf, int]]:
        """Return the grams that came in as a lot, and those at each end."""
        return sum(self._flow.came_in[lot.pk].values()), self._flow.cells[lot.pk]

    def source_of(self, lot: Lot) -> Source:
        """Return how most of an origin came in."""
        sources = self._flow.came_in[lot.pk]
        return max(sources, key=lambda source: sources[source], default=Source.UNRECORDED)


def table(told: HarvestFlow, book: FlowBook) -> list[list[str | int]]:
    """Return a harvest in whole grams as rows of a file: lot by lot, and their sums.

    The last column is what came in less where it is or went: zero in every row.
    """
    ends = [Leaf(form, row.band) for row in told.bands for form in Form if row.of(form)]
    rows: list[list[str | int]] = [
        [
            _("Lot"),
            _("Season"),
            _("Belongs to"),
            _("How it came in"),
            _("Came in, grams"),
            *(f"{leaf.band.label}, {leaf.form.label}" for leaf in ends),
            _("Difference, grams"),
        ]
    ]
    sums = [0] * (len(ends) + 2)
    for lot in book.origins_of(told.harvest):
        came_in, cells = book.figures_of(lot)
        figures = [cells.get(leaf, 0) for leaf in ends]
        figures = [came_in, *figures, came_in - sum(cells.values())]
        sums = [total + figure for total, figure in zip(sums, figures, strict=True)]
        how = str(book.source_of(lot).label)
        rows.append([lot.code, lot.season, str(lot.owner or ""), how, *figures])
    return [*rows, [_("All"), "", "", "", *sums]]


def _tangled() -> QuerySet[Any, Any]:
    """Return the postings of which the lines count together, by key: all that are not plain.

    Honey changed its lot, on the packing line or from one lot to another; what was undone or
    corrected, with what did so; and what other beekeepers brought or got.
    """
    undoing = Posting.objects.filter(reverses__isnull=False).order_by()
    correcting = Posting.objects.filter(corrects__isnull=False).order_by()
    at_others = PostingLine.objects.filter(place__kind__in=[Place.Kind.PACKING, Place.Kind.OWNER])
    of_many_lots = (
        PostingLine.objects.filter(item__kind=Item.Kind.HONEY)
        .order_by()
        .values("posting")
        .annotate(first=Min("lot"), last=Max("lot"))
        .exclude(first=F("last"))
    )
    return undoing.values_list("pk").union(
        undoing.values_list("reverses"),
        correcting.values_list("pk"),
        correcting.values_list("corrects"),
        at_others.order_by().values_list("posting"),
        of_many_lots.values_list("posting"),
    )


def _lines_of(postings: QuerySet[Any, Any]) -> Iterator[tuple[Any, ...]]:
    """Yield the lines of honey of some postings, with what these undo or correct."""
    yield from (
        _of_honey()
        .filter(posting__in=postings)
        .order_by("posting", "id")
        .values_list(
            *("posting", "posting__kind", "posting__occurred_at"),
            Coalesce("posting__reverses", "posting__corrects"),
            *("id", "lot", "place", "place__kind", "quantity"),
        )
        .iterator()
    )


def _plain_lines() -> QuerySet[PostingLine]:
    return _of_honey().exclude(posting__in=_tangled())


def _plain_sums(tangled: Iterable[FlowLine]) -> Iterator[FlowSum]:
    """Yield what all but the tangled lines moved: what there is of all, less what these moved.

    The balances have that for every place, outside the house too, so no plain line is read.
    """
    sums: dict[tuple[int, str], int] = defaultdict(int)
    rows = (
        Balance.objects.filter(lot__isnull=False)
        .exclude(item__in=_goods())
        .order_by("lot", "place__kind")
        .values_list("lot", "place__kind")
        .annotate(Sum("quantity"))
    )
    sums.update({(lot, kind): quantity for lot, kind, quantity in rows.iterator()})
    for line in tangled:
        sums[line.lot, line.place_kind] -= line.quantity
    for (lot, kind), quantity in sums.items():
        if quantity:
            yield FlowSum(lot, kind, quantity)


def _of_honey() -> QuerySet[PostingLine]:
    """Return the lines of all that has honey in it; parts have no lot."""
    return PostingLine.objects.filter(lot__isnull=False).exclude(item__in=_goods())


def _goods() -> QuerySet[Item]:
    return Item.objects.filter(product__kind="goods")


def _lots_with_honey() -> Iterable[Lot]:
    return Lot.objects.select_related("product__item", "product__size", "owner").exclude(
        product__kind="goods"
    )


def _flow_lot(lot: Lot) -> FlowLot:
    if lot.product is None:
        return FlowLot(lot.pk, is_bulk=True, unit_grams=Fraction(1))
    if lot.product.item.is_weighed:
        return FlowLot(lot.pk, is_bulk=False, unit_grams=Fraction(1))
    unit_grams = Fraction(lot.product.declared_grams)
    return FlowLot(lot.pk, is_bulk=False, unit_grams=unit_grams, has_label=unit_grams > 0)
