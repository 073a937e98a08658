"""Invoices, payments, and the balanced book of money."""

from .book import Entry, EntryLine
from .consignment import ConsignmentReport
from .invoices import Invoice, InvoiceLine, InvoiceLineTax, plain
from .payments import Allocation, Payment

__all__ = [
    "Allocation",
    "ConsignmentReport",
    "Entry",
    "EntryLine",
    "Invoice",
    "InvoiceLine",
    "InvoiceLineTax",
    "Payment",
    "plain",
]
