"""Invoices, payments, and the balanced book of money."""

from .adjustments import Adjustment, AdjustmentTax, InterestCharge
from .book import Entry, EntryLine
from .cash import BouncedCheck, CashCount, DepositedCheck, DepositSlip, OpeningAmount
from .invoices import Invoice, InvoiceLine, InvoiceLineTax, plain
from .payments import Allocation, Payment

__all__ = [
    "Adjustment",
    "AdjustmentTax",
    "Allocation",
    "BouncedCheck",
    "CashCount",
    "DepositSlip",
    "DepositedCheck",
    "Entry",
    "EntryLine",
    "InterestCharge",
    "Invoice",
    "InvoiceLine",
    "InvoiceLineTax",
    "OpeningAmount",
    "Payment",
    "plain",
]
