"""Long books of all kinds of acts of every day, undone ones among them, built in seconds."""

from apiary_sales.billing.services import stand as stand_sales
from apiary_sales.keeping import statistics
from inventory.stock.models import Place
from inventory.stock.services import ledger, stores
from tests import builders
from tests.billing.conftest import invoice_of, jars, pay
from tests.many_times import many_times

# Order lines of one round: an invoice of 38 and a sale of two; it undoes two postings.
LINES = 40


def write_long_books(rounds: int) -> None:
    """Write so many rounds of an invoice, a sale at the stand and two transfers that are undone."""
    shelf = builders.place("shelf", Place.Kind.SHELF)
    stand = builders.place("stand", Place.Kind.STAND)
    products = [builders.product(f"Size {number}") for number in range(1, 4)]
    for place in (shelf, stand):
        for product in products:
            builders.packed_lot(product, place, 100_000_000, cost_cents=30_000_000_000)
    shop, person = builders.customer(), builders.person()
    with many_times(rounds):
        wanted = [jars(products[number % 3], 1 + number, "6.1250") for number in range(LINES - 2)]
        invoice = invoice_of(shop, *wanted)
        pay(shop, invoice.total_cents - 1_000)
        stand_sales.sell(
            lines=[jars(product, 2, "9.50") for product in products[:2]],
            place=stand,
            payments=builders.paid("cash", 10_000),
            sold_by=person,
            key=builders.new_key(),
        )
        for product in products[:2]:
            carried = stores.transfer(
                item=product.item,
                lot=product.lots.filter(lines__place=shelf).first(),
                source=shelf,
                target=stand,
                pieces=24,
                recorded_by=person,
                key=builders.new_key(),
            )
            ledger.reverse(posting=carried, recorded_by=person, key=builders.new_key())
    # As every night: PostgreSQL may have counted these tables while they were empty.
    statistics.refresh()
