"""The papers of the story, written where the house keeps its documents."""

from collections.abc import Callable
from pathlib import Path
from typing import cast

from django.conf import settings

from apiary_sales.billing import papers as billing_papers
from apiary_sales.billing.models import Invoice, StandSale
from apiary_sales.billing.services import invoices, stand
from apiary_sales.orders import papers as order_papers
from apiary_sales.orders.models import Order
from apiary_sales.orders.queries import orders
from apiary_sales.web.demo.fixtures import Say, key

Paper = tuple[str, str, Callable[[], bytes]]


def write(say: Say) -> list[tuple[str, Path]]:
    """Write the quote, the pick list, the receipt and the invoice; return what and where.

    Raises `PdfUnavailable` where Pango is missing.
    """
    settings.DOCUMENTS_DIR.mkdir(parents=True, exist_ok=True)
    written = []
    for what, name, make in _papers():
        path = settings.DOCUMENTS_DIR / name
        path.write_bytes(make())
        say(f"  {what}")
        written.append((what, path))
    return written


def _papers() -> list[Paper]:
    # The story is told before its papers are written, so all of it is there.
    quote = _order("quote")
    to_fill = _order("open")
    receipt = cast(StandSale, stand.find(key("stand-sale"))).invoice
    invoice = cast(Invoice, invoices.find(key("shop-invoice")))
    return [
        ("Quote", f"quote-{quote.number}.pdf", lambda: order_papers.quote(quote)),
        ("Pick list", f"pick-list-{to_fill.number}.pdf", lambda: order_papers.pick_list(to_fill)),
        ("Receipt", f"receipt-{receipt}.pdf", lambda: billing_papers.receipt(receipt)),
        ("Invoice", f"invoice-{invoice}.pdf", lambda: billing_papers.invoice(invoice)),
    ]


def _order(name: str) -> Order:
    return orders.for_page().get(idempotency_key=key(name))
