"""The paper of a consignment delivery and the load list of a round, each as context and PDF."""

from typing import Any

from apiary_sales.orders.queries import consignments, rounds
from apiary_sales.orders.trade_models import ConsignmentDelivery, DeliveryRound
from inventory.shared import documents

CONSIGNMENT_DELIVERY = "documents/consignment_delivery.html"
LOAD_LIST = "documents/load_list.html"


def consignment_delivery_context(delivery: ConsignmentDelivery) -> dict[str, Any]:
    """Return what the paper shows that goes with jars to the shelf of a shop; no price is owed."""
    carried = consignments.carried(delivery)
    lines = list(delivery.lines.all())
    pieces = sum(line.quantity for line in carried) or sum(line.pieces for line in lines)
    return {
        "delivery": delivery,
        "customer": delivery.shelf.customer,
        "carried": carried,
        "lines": lines,
        "pieces": pieces,
    }


def load_list_context(round: DeliveryRound) -> dict[str, Any]:
    """Return what page and paper of a load list show."""
    return {"round": round, "load": rounds.load_list(round)}


def consignment_delivery(delivery: ConsignmentDelivery) -> bytes:
    """Return the paper of a consignment delivery as PDF; raises `PdfUnavailable`."""
    return documents.render_pdf(CONSIGNMENT_DELIVERY, consignment_delivery_context(delivery))


def load_list(round: DeliveryRound) -> bytes:
    """Return the load list of a round as PDF; raises `PdfUnavailable`."""
    return documents.render_pdf(LOAD_LIST, load_list_context(round))
