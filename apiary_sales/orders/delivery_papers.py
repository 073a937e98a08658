"""The papers of a delivery: delivery note, bill of lading and packing slip, from one hand-over.

None of them has a price. The PDF is in the language of the customer's papers, the page in the
reader's; both show the same rows.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from django.db.models import Prefetch, QuerySet
from django.utils import translation

from apiary_sales.customers.models import DeliveryAddress
from apiary_sales.orders.models import Delivery, Fulfilment, FulfilmentLine, OrderLine
from apiary_sales.orders.rules import lines as rules
from apiary_sales.orders.rules import printed_weights
from apiary_sales.orders.rules.printed_weights import PrintedWeights
from inventory.shared import documents
from inventory.shared.models import House
from inventory.stock.models import Lot, Place

DELIVERY_NOTE = "delivery-note"
BILL_OF_LADING = "bill-of-lading"
PACKING_SLIP = "packing-slip"
TEMPLATES = {
    DELIVERY_NOTE: "documents/delivery_note.html",
    BILL_OF_LADING: "documents/bill_of_lading.html",
    PACKING_SLIP: "documents/packing_slip.html",
}


@dataclass(frozen=True)
class GoodsRow:
    """Goods of one line and lot on a paper: pieces, or a weight."""

    line: OrderLine
    lot: Lot | None
    quantity: int
    weights: PrintedWeights | None = None
    drum: Place | None = None
    seal: str = ""

    @property
    def gross(self) -> str:
        return printed_weights.written(self.weights.gross if self.weights else None)

    @property
    def tare(self) -> str:
        return printed_weights.written(self.weights.tare if self.weights else None)

    @property
    def net(self) -> str:
        return printed_weights.written(self.weights.net if self.weights else None)

    @property
    def packages(self) -> int:
        """How many packages these are: a drum, or cases of jars, the last one perhaps not full."""
        size = self.line.product.size if self.line.product else None
        if self.drum or size is None or not size.pieces_per_case:
            return 1
        return -(-self.quantity // size.pieces_per_case)


@dataclass(frozen=True)
class WeightTotals:
    """The sums of the printed weights of some rows; gross and tare only where all have one."""

    gross: str
    tare: str
    net: str


def found() -> QuerySet[Fulfilment]:
    """Return fulfilments with everything that these papers show."""
    lines = FulfilmentLine.objects.select_related(
        "lot", "order_line__drum", "order_line__product__size", "shipped_drum"
    )
    return Fulfilment.objects.select_related(
        "order__customer", "order__ship_to", "filled_by", "weigh_out", "delivery"
    ).prefetch_related(Prefetch("lines", lines))


def context(fulfilment: Fulfilment) -> dict[str, Any]:
    """Return what the page and the papers of a fulfilment from `found` show."""
    house = House.current()
    lines = list(fulfilment.lines.all())
    drums = [_drum_row(line, house) for line in lines if rules.is_whole_drum(line.order_line)]
    goods = [
        _goods_row(line, house)
        for line in lines
        if line.order_line.is_stocked and not rules.is_whole_drum(line.order_line)
    ]
    delivery = getattr(fulfilment, "delivery", None) or Delivery(fulfilment=fulfilment)
    kinds = {line.order_line.kind for line in lines}
    by_weight = [row for row in goods if row.weights]
    return {
        "fulfilment": fulfilment,
        "order": fulfilment.order,
        "customer": fulfilment.order.customer,
        "delivery": delivery,
        "ship_to": delivery.ship_to.splitlines() or _address_lines(fulfilment.order.ship_to),
        "weigh_out": getattr(fulfilment, "weigh_out", None),
        "drums": drums,
        "drum_totals": _totals(drums),
        "goods": goods,
        "has_goods_by_weight": bool(by_weight),
        "unit": printed_weights.unit(house),
        "packages": delivery.packages or sum(row.packages for row in [*drums, *goods]),
        "has_deposit": OrderLine.Kind.DRUM_DEPOSIT in kinds,
    }


def pdf(paper: str, fulfilment: Fulfilment) -> bytes:
    """Return a paper as PDF, in the language of its customer; raises `PdfUnavailable`."""
    with translation.override(fulfilment.order.paper_language):
        return documents.render_pdf(TEMPLATES[paper], context(fulfilment))


def _address_lines(address: DeliveryAddress | None) -> list[str]:
    """Return the lines of the delivery address of an order; none where it has none."""
    if address is None:
        return []
    town = ", ".join(filter(None, [address.city, address.region]))
    lines = [address.name, address.street, f"{town} {address.postal_code}", address.country]
    return [line for line in map(str.strip, lines) if line]


def _drum_row(line: FulfilmentLine, house: House) -> GoodsRow:
    shipped = getattr(line, "shipped_drum", None)
    drum = rules.vessel_of(line.order_line)
    # A drum that left before drums were weighed out has only the tare on record.
    tare = shipped.tare_grams if shipped else drum.tare_grams
    weights = printed_weights.of_goods(house, net_grams=line.quantity, tare_grams=tare)
    return GoodsRow(
        line.order_line,
        line.lot,
        line.quantity,
        weights,
        drum,
        shipped.seal if shipped else "",
    )


def _goods_row(line: FulfilmentLine, house: House) -> GoodsRow:
    weights = None
    if line.order_line.is_by_weight:
        weights = printed_weights.of_goods(house, net_grams=line.quantity)
    return GoodsRow(line.order_line, line.lot, line.quantity, weights)


def _totals(rows: Sequence[GoodsRow]) -> WeightTotals | None:
    weights = [row.weights for row in rows if row.weights]
    if not weights:
        return None
    return WeightTotals(
        *(
            printed_weights.written(_sum(getattr(each, name) for each in weights))
            for name in ("gross", "tare", "net")
        )
    )


def _sum(weights: Iterable[Decimal | None]) -> Decimal | None:
    known = list(weights)
    found = [weight for weight in known if weight is not None]
    return sum(found, Decimal(0)) if len(found) == len(known) else None
