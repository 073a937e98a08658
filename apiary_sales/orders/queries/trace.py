"""Who has goods of some lots, and who gave them back: the end of a trace, buyer by buyer.

Everything here takes the keys of the lots to count, as `Lot.objects.family_keys` gives them: what
was made from a lot is among them. Rows have plain figures and texts in them, so that they can be
kept as they are.
"""

from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date
from itertools import groupby
from typing import Any, cast

from django.db.models import Case, Count, F, Q, QuerySet, Sum, When, Window
from django.db.models.functions import Coalesce, RowNumber
from django.db.models.lookups import Exact
from django.utils.translation import gettext as _

from apiary_sales.orders.models import FulfilmentLine, Order, OrderLine, Reservation
from inventory.stock.models import Lot
from inventory.stock.models.lots import LotKeys

# A sale without a name, as it is made at the stand.
UNNAMED = Q(order_line__order__customer__isnull=True)
CAME_BACK = Q(fulfilment__is_taken_back=True)
# What came back of a row: all that was taken back, else what credit notes brought.
BACK = Case(When(CAME_BACK, then=F("quantity")), default=F("returned"))
BUYER = "order_line__order__customer"
# Goods counted in pieces; a lot without a product is bulk honey, which is weighed.
IN_PIECES = Q(lot__product__item__is_weighed=False)
WEIGHED = Q(lot__product=None) | Q(lot__product__item__is_weighed=True)
# So many of the sales of one buyer are shown in a list of buyers.
SALES_SHOWN = 3
# Rows read at once from a long list. The bills of these are looked up in one question, of which
# SQLite refuses one with 1,000 keys.
CHUNK = 200


@dataclass(frozen=True)
class InvoiceKey:
    """A bill that names the goods, by its key and its number."""

    pk: int
    number: str


@dataclass(frozen=True)
class SaleRow:
    """So much of one lot handed over to one buyer with one order; grams of bulk honey, or pieces.

    What came back still names its buyer. `customer` is None for a sale without a name.
    """

    customer: int | None
    name: str
    contact: str
    phone: str
    email: str
    order: str
    invoices: list[InvoiceKey]
    lot: str
    description: str
    handed_over_on: date
    is_weighed: bool
    sold: int
    came_back: int

    @property
    def still_out(self) -> int:
        return self.sold - self.came_back


@dataclass(frozen=True)
class BuyerRow:
    """All that one named buyer got, summed up in pieces and in grams, with the latest `sales`."""

    sales: list[SaleRow]
    sales_count: int
    pieces_sold: int
    pieces_back: int
    grams_sold: int
    grams_back: int

    @property
    def buyer(self) -> SaleRow:
        """The latest sale, which says who the buyer is and how to reach them."""
        return self.sales[0]

    @property
    def pieces_out(self) -> int:
        return self.pieces_sold - self.pieces_back

    @property
    def grams_out(self) -> int:
        return self.grams_sold - self.grams_back

    @property
    def is_summed(self) -> bool:
        """Whether there is more than one sale to sum up."""
        return self.sales_count > 1

    @property
    def sales_left(self) -> int:
        """How many more sales of this buyer there are than are shown."""
        return self.sales_count - len(self.sales)


@dataclass(frozen=True)
class UnnamedRow:
    """What was sold of one lot on one day to people whose names are not known."""

    day: date
    lot: str
    description: str
    is_weighed: bool
    sales: int
    sold: int
    came_back: int

    @property
    def still_out(self) -> int:
        return self.sold - self.came_back


@dataclass(frozen=True)
class WaitingRow:
    """An order or quote that names goods of one lot which are not handed over yet."""

    order: str
    name: str
    phone: str
    email: str
    lot: str
    place: str
    is_weighed: bool
    quantity: int
    is_reserved: bool
    is_quote: bool


def sales(family: LotKeys) -> QuerySet[FulfilmentLine]:
    """Return all that was ever handed over of the family."""
    return FulfilmentLine.objects.filter(lot__in=family)


def named(family: LotKeys) -> QuerySet[FulfilmentLine]:
    """Return what named buyers got, buyer by buyer, the latest of each first.

    Fetch the rows of a page of it, or of all, with `sale_rows`.
    """
    # Bills are written a layer above, and found here only by the name of their relation.
    return (
        sales(family)
        .exclude(UNNAMED)
        .select_related("order_line__order__customer", "lot__product__item", "fulfilment")
        .prefetch_related("invoice_lines__invoice")
        .order_by(f"{BUYER}__name", f"{BUYER}_id", "-fulfilment__filled_on", "-id")
    )


def all_named(family: LotKeys) -> Iterator[SaleRow]:
    """Yield the rows of `named` one by one, however many they are."""
    return map(sale_row, named(family).iterator(chunk_size=CHUNK))


def buyers(family: LotKeys) -> QuerySet[FulfilmentLine, dict[str, Any]]:
    """Return the named buyers by name, each once, with the sums of what they got.

    Fetch the rows of a page of it with `buyer_rows`.
    """
    return (
        sales(family)
        .exclude(UNNAMED)
        .order_by()
        .values(f"{BUYER}__name", BUYER)
        .annotate(
            sales_count=Count("id"),
            pieces_sold=Sum("quantity", filter=IN_PIECES, default=0),
            pieces_back=Sum(BACK, filter=IN_PIECES, default=0),
            grams_sold=Sum("quantity", filter=WEIGHED, default=0),
            grams_back=Sum(BACK, filter=WEIGHED, default=0),
        )
        .order_by(f"{BUYER}__name", BUYER)
    )


def buyer_rows(family: LotKeys, found: Iterable[dict[str, Any]]) -> list[BuyerRow]:
    """Return what rows of `buyers` say, with the latest sales of each."""
    sums = {row[BUYER]: row for row in found}
    of_these = named(family).filter(**{f"{BUYER}__in": list(sums)})
    latest_first = [F("fulfilment__filled_on").desc(), F("id").desc()]
    place = Window(RowNumber(), partition_by=F(BUYER), order_by=latest_first)
    latest = of_these.order_by().annotate(place=place).filter(place__lte=SALES_SHOWN).values("pk")
    by_buyer = defaultdict(list)
    for sale in sale_rows(of_these.filter(pk__in=latest)):
        by_buyer[sale.customer].append(sale)
    return [_buyer_row(row, by_buyer[key]) for key, row in sums.items()]


def _buyer_row(row: dict[str, Any], latest: list[SaleRow]) -> BuyerRow:
    return BuyerRow(
        sales=latest,
        sales_count=row["sales_count"],
        pieces_sold=row["pieces_sold"],
        pieces_back=row["pieces_back"],
        grams_sold=row["grams_sold"],
        grams_back=row["grams_back"],
    )


def by_buyer(kept: Iterable[SaleRow]) -> list[BuyerRow]:
    """Return sales that a record keeps in the order of `named`, buyer by buyer."""
    found = []
    for _customer, rows in groupby(kept, key=lambda sale: sale.customer):
        own = list(rows)
        pieces = [sale for sale in own if not sale.is_weighed]
        grams = [sale for sale in own if sale.is_weighed]
        found.append(
            BuyerRow(
                sales=own[:SALES_SHOWN],
                sales_count=len(own),
                pieces_sold=sum(sale.sold for sale in pieces),
                pieces_back=sum(sale.came_back for sale in pieces),
                grams_sold=sum(sale.sold for sale in grams),
                grams_back=sum(sale.came_back for sale in grams),
            )
        )
    return found


def sale_rows(found: Iterable[FulfilmentLine]) -> list[SaleRow]:
    """Return what rows of `named` say."""
    return [sale_row(line) for line in found]


def sale_row(line: FulfilmentLine) -> SaleRow:
    order, lot = line.order_line.order, cast(Lot, line.lot)
    buyer = order.customer
    bills = {
        row.invoice.pk: str(row.invoice)
        for row in line.invoice_lines.all()
        if not row.invoice.is_credit_note
    }
    return SaleRow(
        customer=buyer.pk if buyer else None,
        name=buyer.name if buyer else _("Somebody at the stand"),
        contact=buyer.contact if buyer else "",
        phone=buyer.phone if buyer else "",
        email=buyer.email if buyer else "",
        order=order.number,
        invoices=[InvoiceKey(pk, number) for pk, number in bills.items()],
        lot=lot.code,
        description=line.order_line.description,
        handed_over_on=line.fulfilment.filled_on,
        is_weighed=lot.is_weighed,
        sold=line.quantity,
        came_back=line.quantity if line.fulfilment.is_taken_back else line.returned,
    )


def unnamed(family: LotKeys) -> QuerySet[Any, Any]:
    """Return the sales without a name, one row a day, lot and thing sold, the latest first.

    Fetch the rows of a page of it, or of all, with `unnamed_rows`.
    """
    # No index is looked up for this: there are far more sales without a name than of these lots.
    is_unnamed = Exact(Coalesce(BUYER, 0), 0)
    return (
        sales(family)
        .filter(is_unnamed)
        .order_by()
        .values(
            "fulfilment__filled_on",
            "lot",
            "lot__code",
            "lot__product__item__is_weighed",
            "order_line__description",
        )
        .annotate(
            count=Count("fulfilment", distinct=True),
            sold=Sum("quantity"),
            back=Sum(BACK),
        )
        .order_by("-fulfilment__filled_on", "lot", "order_line__description")
    )


def unnamed_rows(found: Iterable[dict[str, Any]]) -> list[UnnamedRow]:
    """Return what rows of `unnamed` say."""
    return [
        UnnamedRow(
            day=row["fulfilment__filled_on"],
            lot=row["lot__code"],
            description=row["order_line__description"],
            is_weighed=row["lot__product__item__is_weighed"] is not False,
            sales=row["count"],
            sold=row["sold"],
            came_back=row["back"],
        )
        for row in found
    ]


@dataclass(frozen=True)
class SoldOfLot:
    """What was handed over of one lot, what of it came back, and what is out without a name."""

    sold: int = 0
    came_back: int = 0
    unnamed_out: int = 0


def sold_by_lot(family: LotKeys) -> dict[int, SoldOfLot]:
    """Return, by the key of the lot, what was sold of it; lots never sold are left out."""
    return {
        row["lot"]: SoldOfLot(row["sold"], row["back"], row["out_unnamed"])
        for row in sales(family)
        .order_by()
        .values("lot")
        .annotate(
            sold=Sum("quantity"),
            back=Sum(BACK),
            out_unnamed=Sum(F("quantity") - BACK, filter=UNNAMED, default=0),
        )
    }


@dataclass(frozen=True)
class BuyerCounts:
    """How many named buyers got some of it, how many still have some, and in how many rows."""

    all: int
    with_some: int
    rows: int


def count_buyers(family: LotKeys) -> BuyerCounts:
    found = sales(family).aggregate(
        all=Count(BUYER, distinct=True),
        with_some=Count(BUYER, distinct=True, filter=~CAME_BACK & Q(returned__lt=F("quantity"))),
        rows=Count(BUYER),
    )
    return BuyerCounts(found["all"], found["with_some"], found["rows"])


def waiting(family: LotKeys) -> list[WaitingRow]:
    """Return the orders that have some of it reserved, then those and quotes that only name it.

    A tank's honey sold by weight is drawn when it is handed over, and a quote reserves nothing.
    """
    reserved = (
        Reservation.objects.filter(balance__lot__in=family)
        .select_related("line__order__customer", "balance__lot__product__item", "balance__place")
        .order_by("line__order", "balance__lot", "pk")
    )
    promised = (
        OrderLine.objects.filter(
            lot__in=family,
            order__status__in=[Order.Status.QUOTED, *Order.OPEN_STATUSES],
            reservations=None,
        )
        .select_related("order__customer", "lot__product__item", "drum")
        .order_by("order", "pk")
    )
    return [
        *(
            _waiting(row.line, row.lot, row.balance.place.name, row.quantity, is_reserved=True)
            for row in reserved
        ),
        *(
            _waiting(line, cast(Lot, line.lot), line.drum.name if line.drum else "", line.to_fill)
            for line in promised
            if line.to_fill
        ),
    ]


def _waiting(
    line: OrderLine, lot: Lot, place: str, quantity: int, *, is_reserved: bool = False
) -> WaitingRow:
    buyer = line.order.customer
    return WaitingRow(
        order=line.order.number,
        name=buyer.name if buyer else "",
        phone=buyer.phone if buyer else "",
        email=buyer.email if buyer else "",
        lot=lot.code,
        place=place,
        is_weighed=lot.is_weighed,
        quantity=quantity,
        is_reserved=is_reserved,
        is_quote=line.order.status == Order.Status.QUOTED,
    )
