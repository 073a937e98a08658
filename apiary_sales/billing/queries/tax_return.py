"""The tax return of a period: what was sold, what of it bore which tax, and what bore none and why.

Sales are read from the lines of bills, and taxes from them and from the discounts and write-offs
that lower a tax. All count on the day of their entry in the book of money, so that credits count in
their own period and a closed period stays as it was.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any, TypeVar

from django.contrib.contenttypes.models import ContentType
from django.db.models import Exists, OuterRef, Q, QuerySet, Sum
from django.db.models.functions import Coalesce
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from apiary_sales.billing.models import (
    AdjustmentTax,
    Entry,
    EntryLine,
    Invoice,
    InvoiceLine,
    InvoiceLineTax,
    plain,
)
from apiary_sales.customers.models import ExemptionCertificate
from apiary_sales.pricing.models import TaxRate
from inventory.shared.models import Attachment

Taxes = TypeVar("Taxes", bound=QuerySet[Any])

Category = InvoiceLine.TaxCategory
# What is taxed, though not by the jurisdiction that was asked for.
ELSEWHERE = "elsewhere"
ORDER = [Category.TAXABLE, ELSEWHERE, Category.EXEMPT, Category.ZERO_RATED, Category.OUTSIDE]


@dataclass(frozen=True)
class SalesRow:
    """Sales of one category and reason before tax, in cents; credits are negative."""

    category: str
    reason: str
    sales_cents: int
    credits_cents: int

    @property
    def net_cents(self) -> int:
        return self.sales_cents + self.credits_cents

    @property
    def label(self) -> str:
        if self.category == ELSEWHERE:
            return _("taxed by others only")
        return str(Category(self.category).label)


@dataclass(frozen=True)
class TaxRow:
    """One tax at one rate: what it was on, and the tax, in cents.

    Credits are negative; discounts and write-offs that lower the tax are among them.
    """

    name: str
    jurisdiction: str
    percent: Decimal
    sales_cents: int
    credits_cents: int
    charged_cents: int
    credited_cents: int

    @property
    def rate(self) -> Decimal:
        """The percentage without the zeros it is stored with."""
        return plain(self.percent)

    @property
    def base_cents(self) -> int:
        return self.sales_cents + self.credits_cents

    @property
    def tax_cents(self) -> int:
        return self.charged_cents + self.credited_cents


@dataclass(frozen=True)
class TaxReturn:
    """What a return asks for; `jurisdiction` is empty for all of them together.

    `all_tax_cents` is the tax of all jurisdictions, `book_cents` what the account of sales tax in
    the book of money says of the same days.
    """

    since: date
    until: date
    jurisdiction: str
    sales: list[SalesRow]
    taxes: list[TaxRow]
    all_tax_cents: int
    book_cents: int

    @property
    def gross_cents(self) -> int:
        return sum(row.net_cents for row in self.sales)

    @property
    def taxable_cents(self) -> int:
        return sum(row.net_cents for row in self.sales if row.category == Category.TAXABLE)

    @property
    def tax_cents(self) -> int:
        return sum(row.tax_cents for row in self.taxes)

    @property
    def difference_cents(self) -> int:
        """What the documents say beyond the book of money: zero, where both agree."""
        return self.all_tax_cents - self.book_cents

    def table(self) -> list[list[Any]]:
        """Return it as rows of a table to download; amounts are in the house's currency."""
        sales = [
            [row.label, row.reason, None, None, *map(_money, _three(row)), None]
            for row in self.sales
        ]
        taxes = [
            [
                row.name,
                row.jurisdiction,
                plain(row.percent),
                *map(_money, (row.sales_cents, row.credits_cents, row.base_cents)),
                _money(row.tax_cents),
            ]
            for row in self.taxes
        ]
        headings = [
            *(_("What"), _("Reason or jurisdiction"), _("Percent")),
            *(_("Sales"), _("Credits"), _("Together"), _("Tax")),
        ]
        gross = [_("all sales"), "", None, None, None, _money(self.gross_cents), None]
        whole = [_("all tax"), "", None, None, None, None, _money(self.tax_cents)]
        return [
            headings,
            gross,
            *([label, why, None, *rest] for label, why, _gap, _gap_two, *rest in sales),
            *taxes,
            whole,
        ]


def _three(row: SalesRow) -> tuple[int, int, int]:
    return row.sales_cents, row.credits_cents, row.net_cents


def _money(cents: int) -> Decimal:
    return Decimal(cents).scaleb(-2)


def jurisdictions() -> list[str]:
    """Return whose taxes were ever set or charged, by name."""
    set_up = TaxRate.objects.exclude(jurisdiction="").order_by()
    names = {*_charged(), *set_up.values_list("jurisdiction", flat=True).distinct()}
    return sorted(names, key=str.casefold)


def _charged() -> Iterator[str]:
    """Yield whose taxes were ever charged: few names, each looked up behind the one before it."""
    names = InvoiceLineTax.objects.order_by("jurisdiction").values_list("jurisdiction", flat=True)
    name: str | None = ""
    while (name := names.filter(jurisdiction__gt=name).first()) is not None:
        yield name


def of_period(since: date, until: date, jurisdiction: str = "") -> TaxReturn:
    """Return the tax return of some days, both included, in a constant number of queries."""
    lines = _lines(since, until)
    taxes = InvoiceLineTax.objects.filter(line__in=lines)
    lowered = _lowered(since, until)
    book = EntryLine.objects.filter(
        account=EntryLine.Account.SALES_TAX,
        entry__entered_on__range=(since, until),
        entry__kind__in=(Entry.Kind.INVOICE, Entry.Kind.CREDIT_NOTE, Entry.Kind.ADJUSTMENT),
    )
    return TaxReturn(
        since=since,
        until=until,
        jurisdiction=jurisdiction,
        sales=_sales(lines, jurisdiction),
        taxes=_taxes(_of(taxes, jurisdiction), _of(lowered, jurisdiction)),
        all_tax_cents=_sum(taxes, "tax_cents") - _sum(lowered, "tax_cents"),
        book_cents=-_sum(book, "amount_cents"),
    )


def _lines(since: date, until: date) -> QuerySet[InvoiceLine]:
    """Return the lines of bills that count on these days; opening documents are not among them."""
    return InvoiceLine.objects.filter(
        invoice__entry__entered_on__range=(since, until),
        invoice__entry__kind__in=(Entry.Kind.INVOICE, Entry.Kind.CREDIT_NOTE),
    )


def _lowered(since: date, until: date) -> QuerySet[AdjustmentTax]:
    """Return by how much discounts and write-offs that count on these days lower each tax."""
    return AdjustmentTax.objects.filter(adjustment__entry__entered_on__range=(since, until))


def _of(taxes: Taxes, jurisdiction: str) -> Taxes:
    return taxes.filter(jurisdiction=jurisdiction) if jurisdiction else taxes


def _is_taxed_by(jurisdiction: str) -> Exists:
    return Exists(InvoiceLineTax.objects.filter(line=OuterRef("pk"), jurisdiction=jurisdiction))


IS_CREDIT = Q(invoice__credits__isnull=False)


def _sales(lines: QuerySet[InvoiceLine], jurisdiction: str) -> list[SalesRow]:
    if jurisdiction:
        lines = lines.annotate(is_here=_is_taxed_by(jurisdiction))
    groups = ["tax_category", "exemption_reason", *(["is_here"] if jurisdiction else [])]
    rows = (
        lines.order_by()
        .values(*groups)
        .annotate(
            sales_cents=Coalesce(Sum("amount_cents", filter=~IS_CREDIT), 0),
            credits_cents=Coalesce(Sum("amount_cents", filter=IS_CREDIT), 0),
        )
    )
    found = [
        SalesRow(
            ELSEWHERE
            if row["tax_category"] == Category.TAXABLE and not row.get("is_here", True)
            else row["tax_category"],
            row["exemption_reason"],
            row["sales_cents"],
            row["credits_cents"],
        )
        for row in rows
    ]
    return sorted(_together(found), key=lambda row: (ORDER.index(row.category), row.reason))


def _together(rows: Iterable[SalesRow]) -> list[SalesRow]:
    """Add up rows of one category and reason: what is exempt is so with a tax of others or not."""
    sums: dict[tuple[str, str], list[int]] = {}
    for row in rows:
        pair = sums.setdefault((row.category, row.reason), [0, 0])
        pair[0] += row.sales_cents
        pair[1] += row.credits_cents
    return [SalesRow(*key, *pair) for key, pair in sums.items()]


def _taxes(taxes: QuerySet[InvoiceLineTax], lowered: QuerySet[AdjustmentTax]) -> list[TaxRow]:
    is_credit = Q(line__invoice__credits__isnull=False)
    by_tax = ("name", "jurisdiction", "percent")
    rows = (
        taxes.order_by()
        .values(*by_tax)
        .annotate(
            sales_cents=Coalesce(Sum("base_cents", filter=~is_credit), 0),
            credits_cents=Coalesce(Sum("base_cents", filter=is_credit), 0),
            charged_cents=Coalesce(Sum("tax_cents", filter=~is_credit), 0),
            credited_cents=Coalesce(Sum("tax_cents", filter=is_credit), 0),
        )
    )
    found = {tuple(row[name] for name in by_tax): row for row in rows}
    for less in (
        lowered.order_by().values(*by_tax).annotate(base=Sum("base_cents"), tax=Sum("tax_cents"))
    ):
        which = {name: less[name] for name in by_tax}
        amounts = ("sales_cents", "credits_cents", "charged_cents", "credited_cents")
        row = found.setdefault(tuple(which.values()), {**which, **dict.fromkeys(amounts, 0)})
        row["credits_cents"] -= less["base"]
        row["credited_cents"] -= less["tax"]
    made = [TaxRow(**row) for row in found.values()]
    return sorted(made, key=lambda row: (row.jurisdiction, row.name, -row.percent))


def _sum(rows: QuerySet[Any], field: str) -> int:
    return rows.aggregate(cents=Coalesce(Sum(field), 0))["cents"]


@dataclass(frozen=True)
class DocumentRow:
    """What one bill, or what was taken off it later, adds to a figure of the return, in cents."""

    invoice: Invoice
    counts_on: date
    amount_cents: int
    tax_cents: int


def documents(
    since: date,
    until: date,
    *,
    jurisdiction: str = "",
    category: str = "",
    reason: str | None = None,
    name: str = "",
    percent: Decimal | None = None,
) -> list[DocumentRow]:
    """Return the bills behind a figure of the return, by day: of a category and reason, or a tax.

    Amount and tax are of those lines alone; of a tax, where its name is given.
    """
    lines = _lines(since, until)
    if name:
        taxes = _of(InvoiceLineTax.objects.filter(line__in=lines, name=name), jurisdiction)
        lowered = _of(_lowered(since, until).filter(name=name), jurisdiction)
        if percent is not None:
            taxes, lowered = taxes.filter(percent=percent), lowered.filter(percent=percent)
        rows = [*_by_bill(taxes, "line__invoice", "base_cents"), *_taken_off(lowered)]
        return sorted(rows, key=lambda row: row.counts_on)
    if jurisdiction and category in (Category.TAXABLE, ELSEWHERE):
        here = _is_taxed_by(jurisdiction)
        lines = lines.filter(here if category == Category.TAXABLE else ~here)
    if category:
        lines = lines.filter(tax_category="S" if category == ELSEWHERE else category)
    if reason is not None:
        lines = lines.filter(exemption_reason=reason)
    return _by_bill(lines, "invoice", "amount_cents")


def _by_bill(rows: QuerySet[Any], invoice: str, amount: str) -> list[DocumentRow]:
    sums = {
        row[invoice]: (row["amount"], row["tax"])
        for row in rows.order_by()
        .values(invoice)
        .annotate(amount=Sum(amount), tax=Sum("tax_cents"))
    }
    bills = Invoice.objects.filter(pk__in=sums).select_related("customer", "entry", "credits")
    return [
        DocumentRow(bill, bill.entry.entered_on, *sums[bill.pk])
        for bill in bills.order_by("entry__entered_on", "id")
    ]


def _taken_off(lowered: QuerySet[AdjustmentTax]) -> list[DocumentRow]:
    rows = lowered.select_related(
        "adjustment__entry", "adjustment__invoice__customer", "adjustment__invoice__credits"
    )
    return [
        DocumentRow(
            row.adjustment.invoice,
            row.adjustment.entry.entered_on,
            -row.base_cents,
            -row.tax_cents,
        )
        for row in rows.order_by("id")
    ]


@dataclass(frozen=True)
class ExemptSale:
    """What one bill has free of tax for one reason, before tax, and the certificate for it."""

    invoice: Invoice
    counts_on: date
    reason: str
    amount_cents: int
    certificate: ExemptionCertificate | None
    scans: int

    def as_row(self) -> list[Any]:
        """Return it as a row of a table to download."""
        paper = self.certificate
        return [
            self.counts_on,
            str(self.invoice),
            str(self.invoice.customer or ""),
            self.reason,
            paper.number if paper else "",
            paper.jurisdiction if paper else "",
            paper.expires if paper else None,
            self.scans if paper else None,
            _money(self.amount_cents),
        ]


def exempt_sales(since: date, until: date, *, with_certificate: bool = False) -> list[ExemptSale]:
    """Return what was sold free of tax on these days, by day, in a constant number of queries.

    `with_certificate` leaves out what is exempt for everybody.
    """
    lines = _lines(since, until).filter(tax_category=Category.EXEMPT)
    if with_certificate:
        lines = lines.filter(certificate__isnull=False)
    rows = list(
        lines.order_by()
        .values("invoice", "exemption_reason", "certificate")
        .annotate(cents=Sum("amount_cents"))
    )
    bills = Invoice.objects.select_related("customer", "entry").in_bulk(
        {row["invoice"] for row in rows}
    )
    papers = ExemptionCertificate.objects.in_bulk({row["certificate"] for row in rows} - {None})
    scans = scans_of(papers)
    found = [
        ExemptSale(
            bills[row["invoice"]],
            bills[row["invoice"]].entry.entered_on,
            row["exemption_reason"],
            row["cents"],
            papers.get(row["certificate"]),
            scans.get(row["certificate"], 0),
        )
        for row in rows
    ]
    return sorted(found, key=lambda sale: (sale.counts_on, sale.invoice.pk, sale.reason))


def exempt_table(sales: Iterable[ExemptSale]) -> list[list[Any]]:
    """Return exempt sales as rows of a table to download."""
    headings = [
        *(_("Counts on"), _("Document"), _("Customer"), _("Reason"), _("Certificate")),
        *(_("State or authority"), _("Expires"), _("Scans"), _("Before tax")),
    ]
    return [headings, *(sale.as_row() for sale in sales)]


def scans_of(certificates: Iterable[int]) -> dict[int, int]:
    """Return how many files are attached to each certificate, by its key."""
    files = Attachment.objects.filter(
        content_type=ContentType.objects.get_for_model(ExemptionCertificate),
        object_id__in=list(certificates),
    ).in_use()
    counts: dict[int, int] = {}
    for key in files.values_list("object_id", flat=True):
        counts[key] = counts.get(key, 0) + 1
    return counts


def title_of(found: TaxReturn) -> str:
    """Return what the return is called on its paper and file."""
    return _("Tax return %(first)s to %(last)s") % {
        "first": date_format(found.since, "SHORT_DATE_FORMAT"),
        "last": date_format(found.until, "SHORT_DATE_FORMAT"),
    }
