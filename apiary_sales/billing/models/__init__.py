"""Invoices, payments, and the balanced book of money."""

from .book import Entry, EntryLine
from .deposits import KeptDeposit
from .invoices import Invoice, InvoiceLine, InvoiceLineTax, plain
from .payments import Allocation, Payment

__all__ = [
    "Allocation",
    "Entry",
    "EntryLine",
    "Invoice",
    "InvoiceLine",
    "InvoiceLineTax",
    "KeptDeposit",
    "Payment",
    "plain",
]
