"""Invoices, payments, and the balanced book of money."""

from .book import Entry, EntryLine
from .invoices import Invoice, InvoiceLine, InvoiceLineTax, plain
from .ledger_accounts import ClosedStock, ClosedStockLine, LedgerAccount
from .payments import Allocation, Payment

__all__ = [
    "Allocation",
    "ClosedStock",
    "ClosedStockLine",
    "Entry",
    "EntryLine",
    "Invoice",
    "InvoiceLine",
    "InvoiceLineTax",
    "LedgerAccount",
    "Payment",
    "plain",
]
