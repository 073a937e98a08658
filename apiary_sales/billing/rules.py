"""What a bill comes to, what a credit note takes off it, and which bills a payment pays.

Nothing here reads or writes the database: lines and bills are handed in, loaded.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal

from apiary_sales.billing.models import Invoice, InvoiceLine, InvoiceLineTax, plain
from inventory.shared.money import share_cents


@dataclass(frozen=True)
class BillTotal:
    """What the lines of a bill come to, in cents: the sums of the rounded lines."""

    net_cents: int
    tax_cents: int

    @property
    def total_cents(self) -> int:
        return self.net_cents + self.tax_cents


@dataclass(frozen=True)
class TaxSum:
    """What one tax is on, on a bill, and the tax, in cents; or what bears none, and why."""

    name: str
    percent: Decimal
    net_cents: int
    tax_cents: int
    category: InvoiceLine.TaxCategory = InvoiceLine.TaxCategory.TAXABLE


def total_of(lines: Iterable[InvoiceLine]) -> BillTotal:
    """Return what the lines of a bill come to."""
    lines = list(lines)
    return BillTotal(
        sum(line.amount_cents for line in lines), sum(line.tax_cents for line in lines)
    )


def taxes_of(lines: Iterable[InvoiceLine], taxes: Iterable[InvoiceLineTax]) -> list[TaxSum]:
    """Return what a bill bears of each tax, the highest rate first, and then what bears none.

    `taxes` are those of the lines. What bears none has its reason, where there is one, as its name.
    """
    sums: dict[tuple[Decimal, str], list[int]] = {}
    for row in taxes:
        pair = sums.setdefault((row.percent, row.name), [0, 0])
        pair[0] += row.base_cents
        pair[1] += row.tax_cents
    without: dict[tuple[str, str], int] = {}
    for line in lines:
        if line.tax_category != InvoiceLine.TaxCategory.TAXABLE:
            why = (line.tax_category, line.exemption_reason)
            without[why] = without.get(why, 0) + line.amount_cents
    return [
        TaxSum(name, plain(percent), net, tax)
        for (percent, name), (net, tax) in sorted(sums.items(), reverse=True)
    ] + [
        TaxSum(reason, Decimal(0), net, 0, InvoiceLine.TaxCategory(category))
        for (category, reason), net in sorted(without.items())
    ]


def negative(line: InvoiceLine) -> InvoiceLine:
    """Return the unsaved line of a credit note that takes a line back."""
    return InvoiceLine(
        fulfilment_line_id=line.fulfilment_line_id,
        description=line.description,
        lot_code=line.lot_code,
        quantity=-line.quantity,
        unit=line.unit,
        unit_price=line.unit_price,
        discount_cents=-line.discount_cents,
        amount_cents=-line.amount_cents,
        tax_name=line.tax_name,
        tax_percent=line.tax_percent,
        tax_cents=-line.tax_cents,
    )


def uncredited(lines: Iterable[InvoiceLine], credited: Iterable[InvoiceLine]) -> list[InvoiceLine]:
    """Return what is left of the lines of a bill after the lines of its credit notes.

    The lines are changed in place and not to be saved; those with no quantity left are left out.
    """
    by_goods = {line.fulfilment_line_id: line for line in lines}
    for note_line in credited:
        line = by_goods[note_line.fulfilment_line_id]
        line.quantity += note_line.quantity
        line.discount_cents += note_line.discount_cents
        line.amount_cents += note_line.amount_cents
        line.tax_cents += note_line.tax_cents
    return [line for line in by_goods.values() if line.quantity]


def part(line: InvoiceLine, quantity: int) -> InvoiceLine:
    """Return a part of the line; the last part takes the rounding difference."""
    whole = int(line.quantity)
    line.discount_cents = share_cents(line.discount_cents, quantity, whole)
    line.amount_cents = share_cents(line.amount_cents, quantity, whole)
    line.tax_cents = share_cents(line.tax_cents, quantity, whole)
    line.quantity = Decimal(quantity)
    return line


def oldest_first(invoices: Iterable[Invoice], cents: int) -> list[tuple[Invoice, int]]:
    """Return how a payment is put to bills in their order, as far as it reaches."""
    shares = []
    for invoice in invoices:
        share = min(cents, invoice.open_cents)
        shares.append((invoice, share))
        cents -= share
        if cents == 0:
            break
    return shares
