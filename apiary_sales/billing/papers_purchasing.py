"""The purchase order as a paper: what it shows, and its PDF."""

from typing import Any

from apiary_sales.billing.models import PurchaseOrder
from apiary_sales.billing.queries import purchase_orders
from inventory.shared import documents

PURCHASE_ORDER = "documents/purchase_order.html"


def purchase_order_context(order: PurchaseOrder) -> dict[str, Any]:
    """Return what the paper of a purchase order shows."""
    return {"order": order, "ordered": purchase_orders.ordered(order)}


def purchase_order(order: PurchaseOrder) -> bytes:
    """Return a purchase order as PDF; raises `PdfUnavailable`."""
    return documents.render_pdf(PURCHASE_ORDER, purchase_order_context(order))
