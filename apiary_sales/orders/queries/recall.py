"""The answer to a recall: what was made of some lots, who has it, where the rest is, and whether
that is all of it. The same answer feeds the page, the papers, the API and the record that is kept.
"""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import asdict, dataclass, field, fields
from datetime import date
from decimal import ROUND_DOWN, Decimal
from fractions import Fraction
from functools import cached_property, partial
from itertools import islice
from typing import Any, TypeVar, cast

from django.db.models import QuerySet
from django.utils import timezone
from django.utils.translation import gettext as _

from apiary_sales.customers.models import Customer
from apiary_sales.orders.queries import consignments, trace
from apiary_sales.orders.queries.trace import (
    BuyerRow,
    InvoiceKey,
    SaleRow,
    UnnamedRow,
    WaitingRow,
)
from inventory.stock.models import Balance, Lot, Place, PostingLine, Supplier
from inventory.stock.models.lots import LotKeys
from inventory.stock.queries import shortages, whereabouts
from inventory.stock.queries.shortages import ShortageRow

# Percentages are cut, not rounded: 100 % means all of it.
STEP = Decimal("0.01")
Row = TypeVar("Row")
# Where goods go that are out, but that nobody is named for.
WITHOUT_NAME = (Place.Kind.GIVEN_AWAY, Place.Kind.OWN_USE)


@dataclass(frozen=True)
class LotAccount:
    """One lot, in grams of bulk honey or pieces: all of it that came in, and what became of it.

    What was sold is from the orders, what is on hand from the balances, the rest from the lines of
    the ledger: three books that must agree. `ways_out` is by the kind of the outside place;
    customers are not in it. `honey_grams` is the honey in all of the lot.
    """

    pk: int
    code: str
    kind: str
    what: str
    made_on: date
    is_weighed: bool
    is_asked: bool
    is_on_hold: bool
    hold_reason: str
    quantity_made: int
    honey_grams: int
    came_in: int
    sold: int
    came_back: int
    unnamed_out: int
    on_hand: int
    reserved: int
    into_lots: int
    ways_out: dict[str, int]
    # Records of a former version have none of these.
    handed_back: int = 0
    lost_in_counts: int = 0
    found_in_counts: int = 0
    what_code: str = ""

    @property
    def still_out(self) -> int:
        """What somebody has: buyers, or the owner to whom it was handed back."""
        return self.sold - self.came_back + self.handed_back

    @property
    def other_ways(self) -> int:
        return sum(self.ways_out.values())

    @property
    def ways_in_words(self) -> list[tuple[str, int]]:
        """The other ways out by name, largest first; a minus is what counts found beyond."""
        named = [
            (str(Place.Kind(kind).label), much)
            for kind, much in self.ways_out.items()
            if kind != Place.Kind.COUNT_DIFFERENCE
        ]
        named += [(_("lost in counts"), self.lost), (_("found in counts"), -self.found)]
        return sorted((way for way in named if way[1]), key=lambda way: -way[1])

    @property
    def _net(self) -> int:
        return self.ways_out.get(Place.Kind.COUNT_DIFFERENCE, 0)

    @property
    def lost(self) -> int:
        """What counts found missing; a surplus in another place does not make up for it."""
        return self.lost_in_counts or max(self._net, 0)

    @property
    def found(self) -> int:
        """What counts found beyond the books, place by place."""
        return self.found_in_counts or max(-self._net, 0)

    @property
    def given_or_used(self) -> int:
        """What was given away or used at home: it is out, and nobody is named for it."""
        return sum(max(self.ways_out.get(kind, 0), 0) for kind in WITHOUT_NAME)

    @property
    def gone(self) -> int:
        """All that went another way, count differences aside."""
        return sum(
            max(much, 0)
            for kind, much in self.ways_out.items()
            if kind != Place.Kind.COUNT_DIFFERENCE
        )

    @property
    def difference(self) -> int:
        """What came in and is accounted for nowhere: zero where all books agree."""
        out = self.still_out + self.on_hand + self.into_lots + self.other_ways
        return self.came_in - out

    @property
    def grams_each(self) -> Fraction:
        """Grams of honey in one unit of the lot, to add jars and bulk honey up."""
        if self.is_weighed or self.quantity_made <= 0:
            return Fraction(1)
        return Fraction(self.honey_grams, self.quantity_made)


@dataclass(frozen=True)
class SourceRow:
    """A lot that went into what is recalled; going back to it recalls more."""

    pk: int
    code: str
    kind: str
    what: str
    made_on: date
    what_code: str = ""


@dataclass(frozen=True)
class PlaceRow:
    """A place that has some of it now; `holder` is the shop on whose shelf it is."""

    code: str
    place: str
    lot: str
    is_weighed: bool
    quantity: int
    reserved: int
    # Records of a former version have none of these.
    holder: str = ""
    contact: str = ""
    phone: str = ""
    email: str = ""


@dataclass(frozen=True)
class BackRow:
    """Goods that came back from customers, and where they were put."""

    day: date
    lot: str
    place: str
    is_weighed: bool
    quantity: int


@dataclass(frozen=True)
class HandedBackRow:
    """What was handed back to the beekeeper to whom it belongs, and how to reach them."""

    name: str
    contact: str
    phone: str
    email: str
    day: date
    lot: str
    what: str
    is_weighed: bool
    quantity: int


@dataclass(frozen=True)
class ShortRow:
    """What an act took although the books had none of it, and is not settled yet.

    `lot` is empty where nobody knows the lot: then it may be any lot's. `lot_key` is then that of
    the lot that stands for it, if there is one: what was made of it has a recall of its own.
    """

    lot: str
    lot_key: int | None
    what: str
    place: str
    act: str
    day: date
    who: str
    is_weighed: bool
    quantity: int


class LongList(Sequence[Row]):
    """A list that grows with the sales: counted in the database, and fetched as far as asked."""

    def __init__(self, found: QuerySet, tell: Callable[[Iterable[Any]], list[Row]]) -> None:
        self.found, self.tell = found, tell

    @cached_property
    def _length(self) -> int:
        return self.found.count()

    def __len__(self) -> int:
        return self._length

    def __getitem__(self, asked: Any) -> Any:
        return self.tell(self.found[asked]) if isinstance(asked, slice) else list(self)[asked]

    def fetch(self) -> list[Row]:
        """Return all of it at once."""
        return self.tell(self.found)

    def __iter__(self) -> Iterator[Row]:
        rows = self.found.iterator(chunk_size=trace.CHUNK)
        while portion := list(islice(rows, trace.CHUNK)):
            yield from self.tell(portion)


@dataclass(frozen=True)
class RecallAnswer:
    """Everything a recall says but the list of named sales, which can be very long."""

    lots: list[LotAccount]
    sources: Sequence[SourceRow]
    places: list[PlaceRow]
    waiting: list[WaitingRow]
    back: Sequence[BackRow]
    unnamed: Sequence[UnnamedRow]
    buyers: int
    buyers_with_some: int
    named_sales: int
    sales: list[SaleRow] = field(default_factory=list)
    handed_back: list[HandedBackRow] = field(default_factory=list)
    # Those of the lots first, then those of which nobody knows the lot.
    shortages: list[ShortRow] = field(default_factory=list)

    @property
    def lot_count(self) -> int:
        return len(self.lots)

    @property
    def source_count(self) -> int:
        return len(self.sources)

    @property
    def came_back_count(self) -> int:
        return len(self.back)

    @property
    def unnamed_count(self) -> int:
        return len(self.unnamed)

    @property
    def short_of_these(self) -> list[ShortRow]:
        return [row for row in self.shortages if row.lot]

    @property
    def short_of_unknown(self) -> list[ShortRow]:
        return [row for row in self.shortages if not row.lot]

    @property
    def owners_with_some(self) -> int:
        return len({row.name for row in self.handed_back})

    @property
    def asked(self) -> list[LotAccount]:
        return [lot for lot in self.lots if lot.is_asked]

    @property
    def made_of_them(self) -> list[LotAccount]:
        return [lot for lot in self.lots if not lot.is_asked]

    @property
    def place_count(self) -> int:
        return len({row.code for row in self.places})

    @property
    def pieces_out(self) -> int:
        return sum(lot.still_out for lot in self.lots if not lot.is_weighed) + self.pieces_given

    @property
    def grams_out(self) -> int:
        return sum(lot.still_out for lot in self.lots if lot.is_weighed) + self.grams_given

    @property
    def pieces_given(self) -> int:
        """Pieces that were given away or used at home."""
        return sum(lot.given_or_used for lot in self.lots if not lot.is_weighed)

    @property
    def grams_given(self) -> int:
        return sum(lot.given_or_used for lot in self.lots if lot.is_weighed)

    @property
    def given(self) -> list[LotAccount]:
        """The lots of which some was given away or used at home."""
        return [lot for lot in self.lots if lot.given_or_used]

    @property
    def lost(self) -> list[LotAccount]:
        """The lots of which a count found some missing."""
        return [lot for lot in self.lots if lot.lost]

    @property
    def pieces_back(self) -> int:
        return sum(lot.came_back for lot in self.lots if not lot.is_weighed)

    @property
    def grams_back(self) -> int:
        return sum(lot.came_back for lot in self.lots if lot.is_weighed)

    @property
    def pieces_on_hand(self) -> int:
        return sum(lot.on_hand for lot in self.lots if not lot.is_weighed)

    @property
    def grams_on_hand(self) -> int:
        return sum(lot.on_hand for lot in self.lots if lot.is_weighed)

    @property
    def pieces_unnamed(self) -> int:
        return sum(lot.unnamed_out for lot in self.lots if not lot.is_weighed)

    @property
    def grams_unnamed(self) -> int:
        return sum(lot.unnamed_out for lot in self.lots if lot.is_weighed)

    @property
    def reserved_count(self) -> int:
        return sum(row.is_reserved for row in self.waiting)

    @property
    def not_balanced(self) -> list[LotAccount]:
        return [lot for lot in self.lots if lot.difference]

    @property
    def on_hold(self) -> list[LotAccount]:
        return [lot for lot in self.lots if lot.is_on_hold]

    @property
    def not_on_hold(self) -> list[LotAccount]:
        return [lot for lot in self.lots if not lot.is_on_hold]

    @property
    def percent_accounted(self) -> Decimal | None:
        """How much of the honey the books account for, in percent; None where there was none.

        What a count found missing is in the books, but where it is nobody knows.
        """
        return self._percent(lambda lot: abs(lot.difference) + lot.lost)

    @property
    def percent_found(self) -> Decimal | None:
        """How much is in the house, destroyed, or with somebody whose name is known, in percent.

        Sales without a name, gifts and own use are accounted for, but nobody can be called.
        """
        return self._percent(
            lambda lot: abs(lot.difference) + lot.lost + lot.unnamed_out + lot.given_or_used
        )

    def _percent(self, missing: Callable[[LotAccount], int]) -> Decimal | None:
        whole = lost = Fraction(0)
        for lot in self.lots:
            # What was filled into other lots is counted there.
            ends = lot.still_out + lot.on_hand + lot.gone + lot.lost + abs(lot.difference)
            missed = missing(lot)
            if ends or missed:
                whole += ends * lot.grams_each
                lost += missed * lot.grams_each
        if not whole:
            return None
        percent = (whole - lost) * 100 / whole
        exact = Decimal(percent.numerator) / Decimal(percent.denominator)
        return exact.quantize(STEP, rounding=ROUND_DOWN)

    def as_json(self) -> dict[str, Any]:
        """Return it as a record keeps it; `from_json` reads it back."""
        return _plain(asdict(self))


def answer(
    roots: Sequence[int], *, family: LotKeys | None = None, with_sales: bool = False
) -> RecallAnswer:
    """Return what the books say of these lots and all that was made from them.

    In a constant number of queries. What grows with the sales is counted, and fetched as far as it
    is asked for; `with_sales` fetches all of it at once and every named sale too, as a record
    keeps them. `family` is what `family_keys` says of the lots, where it was read already.
    """
    if family is None:
        family = Lot.objects.family_keys(roots)
    holding = list(whereabouts.here(family))
    holders = consignments.holders(balance.place for balance in holding)
    places = [_place(balance, holders.get(balance.place_id)) for balance in holding]
    back = LongList(whereabouts.came_back(family), back_rows)
    unnamed = LongList(trace.unnamed(family), trace.unnamed_rows)
    sources = LongList(sources_of(roots), source_rows)
    buyers = trace.count_buyers(family)
    return RecallAnswer(
        lots=accounts(roots, family, holding=holding),
        sources=sources.fetch() if with_sales else sources,
        places=places,
        waiting=trace.waiting(family),
        back=back.fetch() if with_sales else back,
        unnamed=unnamed.fetch() if with_sales else unnamed,
        buyers=buyers.all,
        buyers_with_some=buyers.with_some,
        named_sales=buyers.rows,
        sales=list(trace.all_named(family)) if with_sales else [],
        handed_back=[_handed_back(*row) for row in whereabouts.handed_back(family)],
        shortages=[_short(row) for row in shortages.of_recall(family)],
    )


@dataclass(frozen=True)
class Buyers:
    """The named buyers of a recall, and one of them: the row with the sums, and every sale."""

    all: Sequence[BuyerRow]
    row_of: Callable[[int], list[BuyerRow]]
    sales_of: Callable[[int], Sequence[SaleRow]]


def buyers_now(family: LotKeys) -> Buyers:
    """Return who has bought of the family, as the books are now."""

    def row_of(customer: int) -> list[BuyerRow]:
        return trace.buyer_rows(family, trace.buyers(family).filter(**{trace.BUYER: customer}))

    def sales_of(customer: int) -> Sequence[SaleRow]:
        found = trace.named(family).filter(**{trace.BUYER: customer})
        return LongList(found, trace.sale_rows)

    return Buyers(
        LongList(trace.buyers(family), partial(trace.buyer_rows, family)), row_of, sales_of
    )


def buyers_kept(kept: RecallAnswer) -> Buyers:
    """Return who had bought of it when the answer of a record was given."""

    def sales_of(customer: int) -> Sequence[SaleRow]:
        return [sale for sale in kept.sales if sale.customer == customer]

    return Buyers(
        trace.by_buyer(kept.sales), lambda customer: trace.by_buyer(sales_of(customer)), sales_of
    )


def _place(balance: Balance, holder: Customer | None) -> PlaceRow:
    return PlaceRow(
        code=balance.place.code,
        place=_place_name(balance.place),
        lot=balance.honey_lot.code,
        is_weighed=balance.honey_lot.is_weighed,
        quantity=balance.quantity,
        reserved=balance.reserved,
        holder=holder.name if holder else "",
        contact=holder.contact if holder else "",
        phone=holder.phone if holder else "",
        email=holder.email if holder else "",
    )


def _place_name(place: Place) -> str:
    if place.kind == Place.Kind.RETURNED:
        return _("returned goods, waiting")
    return place.name


def _handed_back(line: PostingLine, quantity: int) -> HandedBackRow:
    lot = cast(Lot, line.lot)
    owner = cast(Supplier, lot.owner)
    return HandedBackRow(
        name=owner.name,
        contact=owner.contact,
        phone=owner.phone,
        email=owner.email,
        day=timezone.localdate(line.posting.occurred_at),
        lot=lot.code,
        what=what_is(lot),
        is_weighed=lot.is_weighed,
        quantity=quantity,
    )


def _short(row: ShortageRow) -> ShortRow:
    return ShortRow(
        lot=row.lot,
        lot_key=row.lot_key,
        what=row.what,
        place=row.place,
        act=row.act,
        day=row.day,
        who=row.who,
        is_weighed=row.is_weighed,
        quantity=row.quantity,
    )


def back_rows(lines: Iterable[PostingLine]) -> list[BackRow]:
    """Return what came back by these lines."""
    return [
        BackRow(
            day=timezone.localdate(line.posting.occurred_at),
            lot=str(line.lot),
            place=line.place.name,
            is_weighed=bool(line.lot and line.lot.is_weighed),
            quantity=line.quantity,
        )
        for line in lines
    ]


def from_json(kept: dict[str, Any]) -> RecallAnswer:
    """Return the answer that a record keeps."""
    return RecallAnswer(
        lots=_rows(LotAccount, kept["lots"]),
        sources=_rows(SourceRow, kept["sources"]),
        places=_rows(PlaceRow, kept["places"]),
        waiting=_rows(WaitingRow, kept["waiting"]),
        back=_rows(BackRow, kept["back"]),
        unnamed=_rows(UnnamedRow, kept["unnamed"]),
        buyers=kept["buyers"],
        buyers_with_some=kept["buyers_with_some"],
        named_sales=kept["named_sales"],
        sales=_rows(SaleRow, kept["sales"]),
        handed_back=_rows(HandedBackRow, kept.get("handed_back", [])),
        shortages=_rows(ShortRow, kept.get("shortages", [])),
    )


def _rows(kind: Any, kept: list[dict[str, Any]]) -> list[Any]:
    """Return rows of a dataclass from what a record keeps, with days and bills read back."""
    days = {each.name for each in fields(kind) if each.type is date}
    found = []
    for row in kept:
        values = row | {name: date.fromisoformat(row[name]) for name in days}
        if "invoices" in values:
            values["invoices"] = [InvoiceKey(**bill) for bill in values["invoices"]]
        found.append(kind(**values))
    return found


def _plain(value: Any) -> Any:
    """Write days as text, all through a nest of lists and dictionaries."""
    if isinstance(value, dict):
        return {name: _plain(each) for name, each in value.items()}
    if isinstance(value, list):
        return [_plain(each) for each in value]
    return value.isoformat() if isinstance(value, date) else value


def accounts(
    roots: Sequence[int], family: LotKeys, *, holding: Iterable[Balance] | None = None
) -> list[LotAccount]:
    """Return the account of each lot of the family, or of some of it; those asked about first.

    `holding` is where they are now, where it was read already.
    """
    asked = set(roots)
    sold_by_lot = trace.sold_by_lot(family)
    found = [
        _account(
            tally,
            sold_by_lot.get(tally.lot.pk, trace.SoldOfLot()),
            is_asked=tally.lot.pk in asked,
        )
        for tally in whereabouts.tallies(family, holding=holding)
    ]
    return sorted(found, key=lambda account: not account.is_asked)


def _account(
    tally: whereabouts.LotTally,
    sold: trace.SoldOfLot,
    *,
    is_asked: bool,
) -> LotAccount:
    lot, grams = tally.lot, tally.grams_of_parents
    if lot.product is None:
        grams = lot.quantity_made
    elif grams is None:
        # A lot that was made without its honey in the books: by the weight on the label.
        grams = int(lot.product.declared_grams * lot.quantity_made)
    ways = {kind: much for kind, much in tally.ways_out.items() if kind != Place.Kind.CUSTOMER}
    return LotAccount(
        pk=lot.pk,
        code=lot.code,
        kind=lot.kind,
        what=what_is(lot),
        made_on=lot.made_on,
        is_weighed=lot.is_weighed,
        is_asked=is_asked,
        is_on_hold=lot.is_on_hold,
        hold_reason=lot.hold_reason,
        quantity_made=lot.quantity_made,
        honey_grams=grams,
        came_in=tally.came_in,
        sold=sold.sold,
        came_back=sold.came_back,
        unnamed_out=sold.unnamed_out,
        on_hand=tally.on_hand,
        reserved=tally.reserved,
        into_lots=tally.into_lots,
        ways_out=ways,
        handed_back=tally.handed_back,
        lost_in_counts=tally.counted.lost,
        found_in_counts=tally.counted.found,
        what_code=lot.what,
    )


def what_is(lot: Lot) -> str:
    """Say what a lot is: its product, or its floral source and kind."""
    # `get_kind_display` reads all kinds each time, and a recall may be about very many lots.
    return lot.product.name if lot.product else f"{lot.floral_source}, {Lot.Kind(lot.kind).label}"


def sources_of(roots: Sequence[int]) -> QuerySet[Lot]:
    """Return the lots that went into these, the latest first; see `source_rows`."""
    found = Lot.objects.gone_into(roots)
    return found.select_related("product").order_by("-made_on", "-id")


def source_rows(lots: Iterable[Lot]) -> list[SourceRow]:
    """Return what a recall says of lots that went into others."""
    return [
        SourceRow(lot.pk, lot.code, lot.kind, what_is(lot), lot.made_on, lot.what) for lot in lots
    ]
