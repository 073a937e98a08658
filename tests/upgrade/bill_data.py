"""Every bill of a house as data, checked against the schemas and rules of EN 16931."""

from collections.abc import Iterator

from apiary_sales.billing import structured_invoices
from apiary_sales.billing.models import Invoice
from apiary_sales.customers.models import Customer
from inventory.shared.models import House
from tests import structured


def faults() -> Iterator[str]:
    """Yield what is wrong with the data of the bills, and if there were none to look at.

    Stand receipts and what was written before the books began have no data. Countries are entered
    first, as the owner would.
    """
    House.objects.update(country_code="US")
    Customer.objects.update(country_code="US")
    checked: set[str] = set()
    for bill in Invoice.objects.select_related("customer", "credits", "corrects").order_by("id"):
        if bill.customer is None or not bill.lines.exists():
            continue
        if missing := structured_invoices.missing(bill):
            yield f"{bill}: {missing}"
            continue
        for content in (structured_invoices.ubl(bill), structured_invoices.cii(bill)):
            yield from (f"{bill}: {problem}" for problem in structured.problems(content))
        checked.add("credit note" if bill.is_credit_note else "invoice")
    for kind in {"credit note", "invoice"} - checked:
        yield f"There is no {kind} to look at"
