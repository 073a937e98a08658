"""Invoices, credit notes, receipts and statements as papers: what each shows, and its PDF.

The same context feeds the page and the paper, so that they never disagree.
"""

from datetime import date
from typing import Any

from django.utils import timezone

from apiary_sales.billing import rules
from apiary_sales.billing.models import Invoice, InvoiceLine
from apiary_sales.billing.queries import money
from apiary_sales.billing.services import stand
from apiary_sales.customers.models import Customer
from apiary_sales.orders.models import OrderLine
from inventory.shared import documents


def invoice_template(invoice: Invoice) -> str:
    return f"documents/{'credit_note' if invoice.is_credit_note else 'invoice'}.html"


def invoice_context(invoice: Invoice) -> dict[str, Any]:
    """Return what the page and the paper of an invoice or credit note show, as it stands now."""
    invoice.refresh_from_db(fields=["open_cents"])
    lines = list(
        invoice.lines.select_related("fulfilment_line__weighing", "fulfilment_line__order_line")
    )
    settled = money.settled_by(invoice)
    notes = list(invoice.credit_notes.order_by("id"))
    return {
        "invoice": invoice,
        "lines": lines,
        "taxes": rules.taxes_of(lines),
        "settled": settled,
        "paid_cents": sum(share.cents for share in settled),
        "credit_notes": notes,
        "is_credited": bool(notes)
        and sum(note.total_cents for note in notes) == -invoice.total_cents,
        "has_bulk": any(_may_be_a_drum(line) for line in lines),
        # The address as it was on the day the bill was issued.
        "house": invoice.seller,
    }


def _may_be_a_drum(line: InvoiceLine) -> bool:
    if line.fulfilment_line is None:
        return False
    sold = line.fulfilment_line.order_line
    return sold.kind == OrderLine.Kind.HONEY and not sold.is_drawn


def receipt_context(receipt: Invoice) -> dict[str, Any]:
    """Return what the page and the paper of a stand receipt show."""
    return {
        "receipt": receipt,
        "sale": stand.of_receipt(receipt),
        "undone_by": receipt.credit_notes.first(),
        "house": receipt.seller,
    }


def statement_context(customer: Customer, since: date, until: date) -> dict[str, Any]:
    """Return what the page and the paper of a customer's statement show."""
    return {
        "statement": money.statement(customer, since, until),
        "is_today": until == timezone.localdate(),
    }


def invoice(invoice: Invoice) -> bytes:
    """Return an invoice or credit note as PDF; raises `PdfUnavailable`."""
    return documents.render_pdf(invoice_template(invoice), invoice_context(invoice))


def receipt(receipt: Invoice) -> bytes:
    """Return a stand receipt as PDF; raises `PdfUnavailable`."""
    return documents.render_pdf("documents/receipt.html", receipt_context(receipt))


def statement(customer: Customer, since: date, until: date) -> bytes:
    """Return a customer's statement as PDF; raises `PdfUnavailable`."""
    context = statement_context(customer, since, until)
    return documents.render_pdf("documents/statement.html", context)
