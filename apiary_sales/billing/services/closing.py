"""Close the books of money and of stock: the stock side of the closed days is kept as it is."""

from datetime import date

from django.db import transaction

from apiary_sales.billing.models import ClosedStock, ClosedStockLine
from apiary_sales.billing.stock_book import StockBook
from inventory.shared.models import BooksLock
from inventory.shared.people import Person
from inventory.shared.services import books_lock
from inventory.stock.services import seals

KEPT_AT_ONCE = 2_000


@transaction.atomic
def close(*, until: date, locked_by: Person, key: str, note: str = "") -> BooksLock:
    """Close the books up to a day, and keep what stock was worth on each of its days.

    They are sealed as background work after it.

    Raises what `books_lock.close` does.
    """
    lock = books_lock.close(until=until, locked_by=locked_by, key=key, note=note)
    book = StockBook()
    closing = ClosedStock.objects.create(lock=lock, after=book.closed_until)
    ClosedStockLine.objects.bulk_create(
        (
            ClosedStockLine(
                closing=closing,
                counts_on=line.counts_on,
                account=line.account,
                posting_id=line.posting,
                item_id=line.item,
                lot_id=line.lot,
                quantity=line.quantity,
                cents=line.cents,
                has_no_cost=line.has_no_cost,
            )
            for line in book.open_lines(until)
        ),
        batch_size=KEPT_AT_ONCE,
    )
    # Not here: the act must wait for nobody, and nobody for it.
    seals.make_soon.enqueue()
    return lock
