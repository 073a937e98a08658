"""Invoices, payments, and the balanced book of money."""

from .book import Entry, EntryLine
from .invoices import Invoice, InvoiceLine, InvoiceLineTax, plain
from .late_certificates import LateCertificate
from .payments import Allocation, Payment

__all__ = [
    "Allocation",
    "Entry",
    "EntryLine",
    "Invoice",
    "InvoiceLine",
    "InvoiceLineTax",
    "LateCertificate",
    "Payment",
    "plain",
]
