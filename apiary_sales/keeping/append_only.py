"""Which rows the database itself keeps as they were written: one table of them, with its reasons.

No row of these tables is ever deleted, and of its columns only those change that are named here. A
mistake is undone by an opposite entry, which is a row of its own. `triggers.py` makes the database
refuse the rest; a service that wants more has to be named here first.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

from django.apps import apps
from django.db import models

NOTHING: Mapping[str, str] = MappingProxyType({})
UNDONE: Mapping[str, str] = MappingProxyType(
    {
        "undone_on": "It was taken back on that day,",
        "undone_by_id": "by that person,",
        "undone_reason": "for that reason,",
        "undo_entry_id": "by that opposite entry.",
    }
)
UNDONE_BY_KEY: Mapping[str, str] = MappingProxyType(
    {
        "undone_entry_id": "It was taken back by that opposite entry,",
        "undone_by_id": "by that person,",
        "undone_reason": "for that reason,",
        "undone_key": "once only.",
    }
)


@dataclass(frozen=True)
class KeptTable:
    """A table whose rows stay as they were written, but for columns that change for a reason."""

    label: str
    may_change: Mapping[str, str] = field(default_factory=dict)
    # Rows that belong to one of these kinds of sealed rows, by the column that names it: none comes
    # to a row that was sealed (`inventory.shared.sealable`).
    sealed_by: tuple[str, str] | None = None

    @property
    def model(self) -> type[models.Model]:
        return apps.get_model(self.label)

    @property
    def name(self) -> str:
        return str(self.model._meta.db_table)


KEPT: tuple[KeptTable, ...] = (
    # The stock.
    KeptTable("inventory.Posting", sealed_by=("posting", "id")),
    KeptTable("inventory.PostingLine", sealed_by=("posting", "posting_id")),
    KeptTable("inventory.LotCorrection"),
    KeptTable("inventory.LotCost"),
    KeptTable("inventory.RunCorrection"),
    KeptTable("inventory.ReceiptCorrection"),
    KeptTable(
        "inventory.FillCheck",
        {
            "released_at": "The lot of a check that failed was released then,",
            "released_by_id": "by that person,",
            "release_reason": "for that reason.",
        },
    ),
    KeptTable("inventory.FillWeight"),
    KeptTable(
        "inventory.Measurement",
        {"removed_at": "It was taken off then,", "removed_by_id": "by that person; it stays."},
    ),
    # The book of money.
    KeptTable("billing.Entry", sealed_by=("entry", "id")),
    KeptTable("billing.EntryLine", sealed_by=("entry", "entry_id")),
    KeptTable("inventory.BooksLock"),
    KeptTable("billing.ClosedStock"),
    KeptTable("billing.ClosedStockLine"),
    KeptTable("inventory.Seal"),
    # What was issued to customers: invoices, receipts of the stand and credit notes.
    KeptTable(
        "billing.Invoice",
        {"open_cents": "What is still to be paid follows allocations, credits and adjustments."},
    ),
    KeptTable("billing.InvoiceLine"),
    KeptTable("billing.InvoiceLineTax"),
    KeptTable("billing.InterestCharge"),
    KeptTable("billing.LateCertificate"),
    KeptTable(
        "billing.StandSale",
        {
            "undone_on": "It was taken back on that day,",
            "corrected_by_id": "or corrected by that other sale;",
            "on_top_undo_entry_id": "what was given on top went back by that entry.",
        },
    ),
    # Money.
    KeptTable(
        "billing.Payment", {"order_id": "Money in advance is set free of its order, never put to."}
    ),
    KeptTable("billing.Allocation"),
    KeptTable("billing.Adjustment"),
    KeptTable("billing.AdjustmentTax"),
    KeptTable("billing.DepositSlip", UNDONE),
    KeptTable("billing.DepositedCheck"),
    KeptTable(
        "billing.BouncedCheck",
        {**UNDONE, "recorded_again_id": "The payment was recorded again when this was undone."},
    ),
    KeptTable("billing.CashCount", UNDONE),
    KeptTable("billing.OpeningAmount", UNDONE),
    KeptTable("billing.MoneyMove", UNDONE),
    KeptTable("billing.KeptDeposit", UNDONE),
    KeptTable("billing.StandDayClose", UNDONE),
    KeptTable(
        "billing.StandCash",
        {name: why for name, why in UNDONE.items() if name != "undo_entry_id"},
    ),
    KeptTable("billing.StandLateCash", {"undo_entry_id": UNDONE["undo_entry_id"]}),
    KeptTable(
        "billing.HonestyCount",
        {
            "undone_at": "It was taken back then,",
            "undone_by_id": "by that person,",
            "undone_reason": "for that reason,",
            "cash_undo_entry_id": "by that opposite entry.",
        },
    ),
    KeptTable("billing.HonestyCountLine"),
    # What suppliers bill, and what is spent.
    KeptTable(
        "billing.SupplierBill",
        {**UNDONE_BY_KEY, "open_cents": "What is still to be paid follows its payments."},
    ),
    KeptTable(
        "billing.SupplierBillLine",
        {"season_expense_id": "Undone, it costs its season nothing any more."},
    ),
    KeptTable("billing.SupplierPayment", UNDONE_BY_KEY),
    KeptTable("billing.SupplierAllocation"),
    KeptTable(
        "billing.Expense",
        {**UNDONE_BY_KEY, "season_expense_id": "Undone, it costs its season nothing any more."},
    ),
    # Costs that were known late, and papers that were sent.
    KeptTable("orders.LateCosting"),
    KeptTable("orders.LateCost"),
    KeptTable("mailing.PaperCopy"),
    KeptTable("mailing.EmailPaper"),
    KeptTable("mailing.Reminder"),
)
