"""What is shown of returns at the stand: who waits for what, and which receipt it may be."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

from django.db.models import QuerySet

from apiary_sales.billing import rules
from apiary_sales.billing.models import Invoice, InvoiceLine, ReturnRequest, StandSale
from apiary_sales.billing.rules import Left
from apiary_sales.billing.stand_return_rules import allot, comes_to
from apiary_sales.orders.models import OrderLine
from inventory.shared.people import Person

# More receipts than these nobody compares.
RECEIPTS_MAX = 20


@dataclass(frozen=True)
class ReceiptItMayBe:
    """A sale of goods that came back without a receipt, and what they cost on it, with tax."""

    sale: StandSale
    cents: int
    lot_codes: tuple[str, ...]
    is_same_lot: bool

    @property
    def receipt(self) -> Invoice:
        return self.sale.receipt


def requests(person: Person, *, decides: bool) -> QuerySet[ReturnRequest]:
    """Return the returns that were asked about, newest first: all, or those a seller asked."""
    found = (
        ReturnRequest.objects.select_related(
            "place", "receipt", "product", "asked_by", "decided_by", "credit_note"
        )
        .prefetch_related("lines__line__invoice")
        .order_by("-id")
    )
    return found if decides else found.filter(asked_by=person)


def waiting() -> QuerySet[ReturnRequest]:
    """Return the returns that wait for the office."""
    return ReturnRequest.objects.waiting()


def receipts_it_may_be(request: ReturnRequest) -> list[ReceiptItMayBe]:
    """Return the receipts with enough of the goods left, in four queries.

    Those of the lot on the jar come first, then the cheapest, then the latest sale.
    """
    pieces = request.pieces or 0
    sales = list(request.sales_it_may_be().select_related("receipt", "sold_by"))
    left = _left_by_receipt([sale.receipt_id for sale in sales], request.product_id)
    found = []
    for sale in sales:
        back = allot(left[sale.receipt_id], pieces, request.lot_code)
        if sum(each.pieces or 0 for each in back) == pieces:
            codes = tuple(each.line.lot_code for each in back)
            found.append(
                ReceiptItMayBe(
                    sale,
                    comes_to(left[sale.receipt_id], back),
                    codes,
                    bool(request.lot_code) and request.lot_code in codes,
                )
            )
    found.sort(key=lambda each: (not each.is_same_lot, each.cents, -each.sale.sold_at.timestamp()))
    return found[:RECEIPTS_MAX]


def _left_by_receipt(receipts: Sequence[int], product: int | None) -> dict[int, list[Left]]:
    """Return what is left of the pieces of a product on each receipt."""
    lines = list(
        InvoiceLine.objects.filter(
            invoice__in=receipts,
            fulfilment_line__order_line__product=product,
            fulfilment_line__order_line__kind=OrderLine.Kind.PACKED,
        )
        .select_related("invoice", "fulfilment_line", "certificate")
        .prefetch_related("taxes")
        .order_by("id")
    )
    credited = (
        InvoiceLine.objects.filter(credits_line__in=lines)
        .select_related("invoice")
        .prefetch_related("taxes")
    )
    left: dict[int, list[Left]] = defaultdict(list)
    for row in rules.left_on(lines, credited):
        left[row.line.invoice_id].append(row)
    return left
