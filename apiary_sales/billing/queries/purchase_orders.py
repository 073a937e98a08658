"""What the pages of purchase orders and of deliveries that wait for a bill show."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db.models import Exists, OuterRef, Prefetch, Q, QuerySet
from django.utils.translation import gettext as _

from apiary_sales.billing.models import PurchaseOrder, PurchaseOrderLine, SupplierBillLine
from inventory.bottling.models import GoodsReceipt, PackagingPart, PartReceipt, Product
from inventory.shared import words
from inventory.stock.models import Lot, Posting, PostingLine, Supplier


@dataclass(frozen=True)
class Ordered:
    """A purchase order with its lines and its state in a word."""

    order: PurchaseOrder
    lines: tuple[PurchaseOrderLine, ...]

    @property
    def goods_cents(self) -> int:
        return sum(line.amount_cents for line in self.lines)

    @property
    def total_cents(self) -> int:
        return self.goods_cents + self.order.freight_cents

    @property
    def has_come(self) -> bool:
        return any(line.received for line in self.lines)

    @property
    def is_complete(self) -> bool:
        return not any(line.missing for line in self.lines)

    def tag(self, on: date) -> dict[str, str]:
        """Return the text and the look of the order's state."""
        if not self.order.is_open:
            return {"text": str(self.order.get_status_display()), "kind": ""}
        if self.is_complete:
            return {"text": _("all received"), "kind": "good"}
        if self.order.expected_on and self.order.expected_on < on:
            return {"text": _("late"), "kind": "warn"}
        if self.has_come:
            return {"text": _("part received"), "kind": "info"}
        return {"text": _("ordered"), "kind": "info"}


def orders(*, text: str = "", state: str = "") -> QuerySet[PurchaseOrder]:
    """Return orders, the newest first, by number or supplier; `state` is a status."""
    found = PurchaseOrder.objects.select_related("supplier").prefetch_related(_lines())
    if state:
        found = found.filter(status=state)
    if text:
        found = found.filter(Q(number__icontains=text) | Q(supplier__name__icontains=text))
    return found


def ordered(order: PurchaseOrder) -> Ordered:
    """Return an order read by `orders` with what came in for each line."""
    return Ordered(order, tuple(order.lines.all()))


def _lines() -> "Prefetch[Any]":
    lines = PurchaseOrderLine.objects.with_received()
    return Prefetch("lines", lines.select_related("part__item", "product__item"))


def unlinked(line: PurchaseOrderLine) -> list[PartReceipt] | list[GoodsReceipt]:
    """Return deliveries of the same thing since the order that came in without one."""
    if line.part_id:
        parts = PartReceipt.objects.filter(
            part=line.part_id,
            purchase_receipt=None,
            posting__reversed_by__reverses=None,
            received_on__gte=line.order.ordered_on,
        )
        return list(parts.select_related("supplier", "part")[:10])
    goods = GoodsReceipt.objects.filter(
        product=line.product_id,
        purchase_receipt=None,
        posting__reversed_by__reverses=None,
        received_on__gte=line.order.ordered_on,
    )
    return list(goods.select_related("supplier", "product__item")[:10])


@dataclass(frozen=True)
class ToBill:
    """A delivery for which no bill was entered yet; its cost is None while nobody knows it."""

    delivery: PartReceipt | GoodsReceipt | Lot
    supplier: Supplier | None
    name: str
    quantity: str
    received_on: date
    cost_cents: int | None
    order: PurchaseOrder | None

    @property
    def key(self) -> str:
        """Return the delivery's key among all kinds: part-7, goods-7 or honey-7."""
        return f"{_KINDS[type(self.delivery)]}-{self.delivery.pk}"


_KINDS: dict[type, str] = {PartReceipt: "part", GoodsReceipt: "goods", Lot: "honey"}


def to_bill(supplier: Supplier | None = None, *, since: date) -> list[ToBill]:
    """Return the deliveries since a day that have no bill, the oldest first.

    Of one supplier also those whose supplier nobody entered.
    """
    whose = Q() if supplier is None else Q(supplier=supplier) | Q(supplier=None)
    found = [*_parts(whose, since), *_goods(whose, since), *_honey(supplier, since)]
    return sorted(found, key=lambda row: (row.received_on, row.key))


def to_bill_cents(rows: Iterable[ToBill]) -> int:
    """Return what deliveries without a bill cost by the books; unknown costs are left out."""
    return sum(row.cost_cents or 0 for row in rows)


def _without_bill(link: str) -> Q:
    billed = SupplierBillLine.objects.filter(bill__undone_entry=None, **{link: OuterRef("pk")})
    return ~Q(Exists(billed))


def _parts(whose: Q, since: date) -> Iterable[ToBill]:
    rows = PartReceipt.objects.filter(
        whose,
        _without_bill("part_receipt"),
        posting__reversed_by__reverses=None,
        received_on__gte=since,
        cost_cents__gt=0,
    ).select_related("supplier", "part", "purchase_receipt__line__order")
    for row in rows:
        yield ToBill(
            row,
            row.supplier,
            row.part.name,
            words.pieces(row.pieces),
            row.received_on,
            row.cost_cents,
            _order_of(row),
        )


def _goods(whose: Q, since: date) -> Iterable[ToBill]:
    rows = GoodsReceipt.objects.filter(
        whose,
        _without_bill("goods_receipt"),
        posting__reversed_by__reverses=None,
        received_on__gte=since,
        cost_cents__gt=0,
    ).select_related("supplier", "product__item", "purchase_receipt__line__order")
    for row in rows:
        is_weighed = row.product.item.is_weighed
        yield ToBill(
            row,
            row.supplier,
            row.product.name,
            words.weight(row.quantity) if is_weighed else words.pieces(row.quantity),
            row.received_on,
            row.cost_cents,
            _order_of(row),
        )


def _honey(supplier: Supplier | None, since: date) -> Iterable[ToBill]:
    undone = PostingLine.objects.filter(
        lot=OuterRef("pk"),
        posting__kind=Posting.Kind.PURCHASE,
        posting__reversed_by__isnull=False,
    )
    rows = Lot.objects.filter(
        _without_bill("honey_lot"),
        ~Q(Exists(undone)),
        kind=Lot.Kind.BOUGHT,
        owner=None,
        made_on__gte=since,
    ).select_related("supplier")
    if supplier is not None:
        rows = rows.filter(supplier=supplier)
    for lot in rows:
        yield ToBill(
            lot,
            lot.supplier,
            _("Honey, lot %(lot)s") % {"lot": lot.code},
            words.weight(lot.quantity_made),
            lot.made_on,
            lot.cost_cents,
            None,
        )


def _order_of(receipt: PartReceipt | GoodsReceipt) -> PurchaseOrder | None:
    linked = getattr(receipt, "purchase_receipt", None)
    return linked.line.order if linked else None


def things() -> list[PackagingPart | Product]:
    """Return what can be ordered: parts and other goods in use, by name."""
    parts = PackagingPart.objects.filter(is_active=True).select_related("item")
    goods = Product.objects.in_use().of_goods().select_related("item")
    return [*parts.order_by("name"), *goods.order_by("name")]
