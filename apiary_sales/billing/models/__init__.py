"""Invoices, payments, bills of suppliers, expenses, and the balanced book of money."""

from .book import Entry, EntryLine
from .consignment import ConsignmentReport
from .deposits import KeptDeposit
from .expenses import Expense, ExpenseCategory, RecurringExpense, Rhythm, SkippedExpense
from .invoices import Invoice, InvoiceLine, InvoiceLineTax, plain
from .late_certificates import LateCertificate
from .payments import Allocation, Payment
from .purchasing import (
    PaidBy,
    PurchaseOrder,
    PurchaseOrderLine,
    PurchaseReceipt,
    SupplierAllocation,
    SupplierBill,
    SupplierBillLine,
    SupplierPayment,
)

__all__ = [
    "Allocation",
    "ConsignmentReport",
    "Entry",
    "EntryLine",
    "Expense",
    "ExpenseCategory",
    "Invoice",
    "InvoiceLine",
    "InvoiceLineTax",
    "KeptDeposit",
    "LateCertificate",
    "PaidBy",
    "Payment",
    "PurchaseOrder",
    "PurchaseOrderLine",
    "PurchaseReceipt",
    "RecurringExpense",
    "Rhythm",
    "SkippedExpense",
    "SupplierAllocation",
    "SupplierBill",
    "SupplierBillLine",
    "SupplierPayment",
    "plain",
]
