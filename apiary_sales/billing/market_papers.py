"""The load list of a market day, as context and PDF."""

from typing import Any

from apiary_sales.billing.models import MarketDay
from apiary_sales.billing.queries import market_days
from inventory.shared import documents

LOAD_LIST = "documents/market_load_list.html"


def load_list_context(market_day: MarketDay) -> dict[str, Any]:
    """Return what page and paper of a load list show: pieces, cases and the weight of the honey."""
    rows = market_days.load_rows(market_day)
    return {
        "market_day": market_day,
        "rows": rows,
        "pieces": sum(row.line.wanted for row in rows),
        "net_grams": sum(row.net_grams for row in rows),
    }


def load_list(market_day: MarketDay) -> bytes:
    """Return the load list of a market day as PDF; raises `PdfUnavailable`."""
    return documents.render_pdf(LOAD_LIST, load_list_context(market_day))
