"""Prove all books, as `manage.py verify_ledger` does."""

from collections.abc import Iterator

from apiary_sales.billing.queries import books as money_books
from apiary_sales.billing.queries import journal, purchase_books
from apiary_sales.orders.queries import books as order_books
from inventory.stock.queries import books as stock_books
from inventory.stock.queries import seals


def faults() -> Iterator[str]:
    """Yield a sentence for each thing in the books that its lines do not prove."""
    yield from stock_books.faults()
    yield from order_books.faults()
    yield from money_books.faults()
    yield from purchase_books.faults()
    yield from journal.faults()
    yield from seals.faults()
