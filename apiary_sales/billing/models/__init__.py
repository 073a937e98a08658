"""Invoices, payments, bills of suppliers, expenses, and the balanced book of money."""

from .adjustments import Adjustment, AdjustmentTax, InterestCharge
from .book import AccountMonth, Entry, EntryLine
from .cash import BouncedCheck, CashCount, DepositedCheck, DepositSlip, OpeningAmount
from .consignment import ConsignmentReport
from .deposits import KeptDeposit
from .expenses import Expense, ExpenseCategory, RecurringExpense, Rhythm, SkippedExpense
from .honesty_boxes import HonestyBox, HonestyCount, HonestyCountLine
from .invoices import Invoice, InvoiceLine, InvoiceLineTax, plain
from .late_certificates import LateCertificate
from .ledger_accounts import ClosedStock, ClosedStockLine, LedgerAccount
from .market_days import MarketDay, MarketDayCost, MarketDayEntry, MarketDayLine
from .money_moves import WAYS, MoneyMove
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
from .stand import HandedInSale, SaleMark, StandSale
from .stand_days import StandCash, StandDay, StandDayClose, StandLateCash
from .stand_returns import ReturnRequest, ReturnRequestLine

__all__ = [
    "WAYS",
    "AccountMonth",
    "Adjustment",
    "AdjustmentTax",
    "Allocation",
    "BouncedCheck",
    "CashCount",
    "ClosedStock",
    "ClosedStockLine",
    "ConsignmentReport",
    "DepositSlip",
    "DepositedCheck",
    "Entry",
    "EntryLine",
    "Expense",
    "ExpenseCategory",
    "HandedInSale",
    "HonestyBox",
    "HonestyCount",
    "HonestyCountLine",
    "InterestCharge",
    "Invoice",
    "InvoiceLine",
    "InvoiceLineTax",
    "KeptDeposit",
    "LateCertificate",
    "LedgerAccount",
    "MarketDay",
    "MarketDayCost",
    "MarketDayEntry",
    "MarketDayLine",
    "MoneyMove",
    "OpeningAmount",
    "PaidBy",
    "Payment",
    "PurchaseOrder",
    "PurchaseOrderLine",
    "PurchaseReceipt",
    "RecurringExpense",
    "ReturnRequest",
    "ReturnRequestLine",
    "Rhythm",
    "SaleMark",
    "SkippedExpense",
    "StandCash",
    "StandDay",
    "StandDayClose",
    "StandLateCash",
    "StandSale",
    "SupplierAllocation",
    "SupplierBill",
    "SupplierBillLine",
    "SupplierPayment",
    "plain",
]
