"""A few rows of all kinds of books: an invoice with a tax, partly paid, and its stock."""

from datetime import date
from decimal import Decimal

from apiary_sales.billing.models import Invoice
from apiary_sales.pricing.models import TaxRate
from inventory.stock.models import Place
from tests import builders
from tests.billing.conftest import invoice_of, jars, pay


def write_books() -> Invoice:
    """Bill ten jars for 60.00 and a tax of 3.75, of which 20.00 is paid."""
    shelf = builders.place("shelf", Place.Kind.SHELF)
    product = builders.product("One pound")
    builders.packed_lot(product, shelf, 96, code="P26-001")
    TaxRate.objects.create(
        name="State sales tax", goods="honey", percent=Decimal("6.25"), valid_from=date(2020, 1, 1)
    )
    invoice = invoice_of(builders.customer(), jars(product, 10, "6.00"))
    pay(invoice.customer, 2_000)
    return invoice
