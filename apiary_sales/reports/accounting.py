"""The reports for the accountant: journal, trial balance, and lists of invoices, payments, tax."""

from __future__ import annotations

from typing import Any
from urllib.parse import urlencode

from django.urls import reverse
from django.utils.translation import gettext_lazy, ngettext

from apiary_sales.billing.models import Entry, LedgerAccount, Payment
from apiary_sales.reports import answers, forms
from apiary_sales.reports.columns import Address, Column, Row, Unit
from apiary_sales.reports.frames import journal
from apiary_sales.reports.report import FilteredReport, Report

ACCOUNTING = gettext_lazy("For the accountant")
NO_ENTRIES = gettext_lazy("Nothing was entered on these days with these filters.")
WHEN_IT_COUNTS = gettext_lazy(
    "Everything is in the days on which it counts: its own day, or the first open day where the "
    "books were closed on its own day."
)
WHAT_MONEY_IS = gettext_lazy(
    "Money comes from invoices, credit notes, payments, bills, expenses and every other entry in "
    "the book of money."
)
WHAT_STOCK_IS = gettext_lazy(
    "Stock comes from every entry of the stock that moves value: what came in at its cost, what "
    "was made of it, and what was sold, used, lost or given away. The stock accounts are the "
    "stock value of each day."
)
WHAT_COST_OF_SALES_IS = gettext_lazy(
    "Cost of sales is the cost recorded when the goods were handed over, as in the reports of "
    "sales. Where stock is worth something else by now, the difference is on “Costs set anew, "
    "and rounding”."
)
WHAT_CLOSED_DAYS_SAY = gettext_lazy(
    "Closed days stay as they were when they were closed. If a cost was changed since, the "
    "difference counts on the first open day, as “Costs set anew since the books were closed”."
)
WHAT_HAS_NO_COST = gettext_lazy(
    "Stock whose cost nobody has entered yet counts as zero, and the page says how many entries "
    "that concerns."
)
JOURNAL_DEFINITION = (
    WHEN_IT_COUNTS,
    WHAT_MONEY_IS,
    WHAT_STOCK_IS,
    WHAT_COST_OF_SALES_IS,
    WHAT_CLOSED_DAYS_SAY,
    WHAT_HAS_NO_COST,
)
COUNTS_ON = Column("counts_on", gettext_lazy("Counts on"), Unit.DAY)
CUSTOMER = Column("customer", gettext_lazy("Customer"))
DEBIT = Column("debit_cents", gettext_lazy("Debit"), Unit.CENTS, adds_up=True)
CREDIT = Column("credit_cents", gettext_lazy("Credit"), Unit.CENTS, adds_up=True)


def _fixed(*columns: Column) -> Any:
    return lambda _frame, _asked: list(columns)


def _without_cost(made: FilteredReport) -> list[str]:
    count = made.sum_of("without_cost") or 0
    if not count:
        return []
    return [
        ngettext(
            "%(count)s entry of stock has no cost yet and counts as zero.",
            "%(count)s entries of stock have no cost yet and count as zero.",
            count,
        )
        % {"count": count}
    ]


def _account_lines(row: Row, address: Address) -> str:
    asked = {name: value for name, value in address.items() if name != "account"}
    query = urlencode({**asked, "account": row["account_key"]})
    return f"{reverse('reports:report', args=['journal'])}?{query}"


def _invoice(row: Row, _address: Address) -> str:
    return reverse("billing:invoice_detail", args=[row["key"]])


JOURNAL = Report(
    slug="journal",
    title=gettext_lazy("Journal"),
    sentence=gettext_lazy("Every movement of money and stock, as debits and credits."),
    subject=ACCOUNTING,
    definition=JOURNAL_DEFINITION,
    form=forms.JournalForm,
    frame=journal.lines,
    listing=journal.listed_lines,
    columns=_fixed(
        Column("document", gettext_lazy("Document")),
        COUNTS_ON,
        Column("happened_on", gettext_lazy("Its day"), Unit.DAY),
        Column("number", gettext_lazy("Account"), is_kept_together=True),
        Column("account", gettext_lazy("Name")),
        DEBIT,
        CREDIT,
        Column("who", gettext_lazy("Who")),
        Column("note", gettext_lazy("Note")),
    ),
    picture=None,
    opens=lambda row, _address: row["url"] or None,
    nothing=NO_ENTRIES,
    warns=_without_cost,
    answers=answers.of_journal,
    instead_of_main=(CREDIT.name,),
    names_main=True,
)
TRIAL_BALANCE = Report(
    slug="trial-balance",
    title=gettext_lazy("Trial balance"),
    sentence=gettext_lazy("What was on each account, what came and went, and what is on it."),
    subject=ACCOUNTING,
    definition=(
        gettext_lazy(
            "A balance in debit is above zero, one in credit below it; all of them come to zero. "
            "Each account opens its lines in the journal."
        ),
        *JOURNAL_DEFINITION,
    ),
    form=forms.BookForm,
    frame=journal.trial_balance,
    columns=_fixed(
        Column("account", gettext_lazy("Account")),
        Column("kind", gettext_lazy("Kind"), names=dict(LedgerAccount.Kind.choices)),
        Column("opening_cents", gettext_lazy("Opening"), Unit.CENTS, adds_up=True),
        DEBIT,
        CREDIT,
        Column("closing_cents", gettext_lazy("Closing"), Unit.CENTS, adds_up=True),
    ),
    picture=None,
    opens=_account_lines,
    nothing=NO_ENTRIES,
    warns=_without_cost,
    answers=answers.of_journal,
    main="closing_cents",
)
INVOICES = Report(
    slug="invoices",
    title=gettext_lazy("List of invoices"),
    sentence=gettext_lazy("Every invoice, receipt and credit note, with its tax and total."),
    subject=ACCOUNTING,
    definition=(
        WHEN_IT_COUNTS,
        gettext_lazy("Credit notes are below zero. What is open is what is to be paid now."),
        gettext_lazy(
            "What was left of invoices from the books before is in a column of its own: it is not "
            "in net, and its tax was accounted for there."
        ),
        gettext_lazy(
            "Net has the deposits on drums in it; the trial balance has them as owed, not as sales."
        ),
    ),
    form=forms.BookForm,
    frame=journal.invoices,
    listing=journal.listed_invoices,
    columns=_fixed(
        Column("document", gettext_lazy("Number"), is_kept_together=True),
        Column("kind", gettext_lazy("Kind"), names=dict(Entry.Kind.choices)),
        Column("issued_on", gettext_lazy("Issued"), Unit.DAY),
        COUNTS_ON,
        CUSTOMER,
        Column("net_cents", gettext_lazy("Net"), Unit.CENTS, adds_up=True),
        Column("tax_cents", gettext_lazy("Tax"), Unit.CENTS, adds_up=True),
        Column(
            "rounding_cents",
            gettext_lazy("Rounding"),
            Unit.CENTS,
            adds_up=True,
            is_left_out_when_nothing=True,
        ),
        Column(
            "opening_cents",
            gettext_lazy("From the books before"),
            Unit.CENTS,
            adds_up=True,
            is_left_out_when_nothing=True,
        ),
        Column("total_cents", gettext_lazy("Total"), Unit.CENTS, adds_up=True),
        Column("open_cents", gettext_lazy("Open"), Unit.CENTS, adds_up=True),
    ),
    picture=None,
    opens=_invoice,
    nothing=NO_ENTRIES,
    answers=answers.of_documents,
    main="total_cents",
)
PAYMENTS = Report(
    slug="payments",
    title=gettext_lazy("List of payments"),
    sentence=gettext_lazy("Every payment that was received or given back."),
    subject=ACCOUNTING,
    definition=(
        WHEN_IT_COUNTS,
        gettext_lazy("Money given back, and a payment that was undone, are below zero."),
    ),
    form=forms.BookForm,
    frame=journal.payments,
    listing=journal.listed_payments,
    columns=_fixed(
        Column("received_on", gettext_lazy("Received"), Unit.DAY),
        COUNTS_ON,
        CUSTOMER,
        Column("method", gettext_lazy("Paid by"), names=dict(Payment.Method.choices)),
        Column("reference", gettext_lazy("Check number or reference")),
        Column("amount_cents", gettext_lazy("Amount"), Unit.CENTS, adds_up=True),
        Column("who", gettext_lazy("Who")),
    ),
    picture=None,
    opens=lambda row, _address: reverse("billing:payment_detail", args=[row["key"]]),
    nothing=NO_ENTRIES,
    answers=answers.of_payments,
)
TAX = Report(
    slug="tax-by-document",
    title=gettext_lazy("Tax, document by document"),
    sentence=gettext_lazy("Each tax on each invoice and credit note, at each rate."),
    subject=ACCOUNTING,
    definition=(
        WHEN_IT_COUNTS,
        gettext_lazy("Credit notes are below zero. Documents without tax are left out."),
        gettext_lazy(
            "Discounts and write-offs that lower the tax of an invoice are below zero, on the day "
            "on which they count."
        ),
    ),
    form=forms.BookForm,
    frame=journal.tax,
    columns=_fixed(
        Column("document", gettext_lazy("Number"), is_kept_together=True),
        COUNTS_ON,
        Column("supplied_on", gettext_lazy("Handed over"), Unit.DAY),
        CUSTOMER,
        Column("jurisdiction", gettext_lazy("Jurisdiction")),
        Column("tax", gettext_lazy("Name of the tax")),
        Column("percent", gettext_lazy("Percent")),
        Column("base_cents", gettext_lazy("Taxable"), Unit.CENTS, adds_up=True),
        Column("tax_cents", gettext_lazy("Tax"), Unit.CENTS, adds_up=True),
    ),
    picture=None,
    opens=_invoice,
    nothing=NO_ENTRIES,
    answers=answers.of_taxes,
    main="tax_cents",
)

REPORTS = (TRIAL_BALANCE, JOURNAL, INVOICES, PAYMENTS, TAX)
