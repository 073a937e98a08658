"""Who has goods of some lots, and who gave them back: the end of a trace, buyer by buyer.

Everything here takes the keys of the lots to count, as `Lot.objects.family_keys` gives them: what
was made from a lot is among them. Rows have plain figures and texts in them, so that they can be
kept as they are.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from typing import cast

from django.db.models import Case, Count, F, Q, QuerySet, Sum, When
from django.utils.translation import gettext as _

from apiary_sales.orders.models import FulfilmentLine, Order, OrderLine, Reservation
from inventory.stock.models import Lot
from inventory.stock.models.lots import LotKeys

# A sale without a name, as it is made at the stand.
UNNAMED = Q(order_line__order__customer__isnull=True)
CAME_BACK = Q(fulfilment__is_taken_back=True)
# What came back of a row: all that was taken back, else what credit notes brought.
BACK = Case(When(CAME_BACK, then=F("quantity")), default=F("returned"))


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
        .order_by(
            "order_line__order__customer__name",
            "order_line__order__customer_id",
            "-fulfilment__filled_on",
            "-id",
        )
    )


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


def unnamed(family: LotKeys) -> list[UnnamedRow]:
    """Return the sales without a name, one row a day, lot and thing sold, the latest first."""
    days = (
        sales(family)
        .filter(UNNAMED)
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
        for row in days
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
    buyer = "order_line__order__customer"
    found = sales(family).aggregate(
        all=Count(buyer, distinct=True),
        with_some=Count(buyer, distinct=True, filter=~CAME_BACK & Q(returned__lt=F("quantity"))),
        rows=Count(buyer),
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
