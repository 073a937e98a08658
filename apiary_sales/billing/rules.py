"""What a bill comes to, what a credit note takes off it, and which bills a payment pays.

Nothing here reads or writes the database: lines and bills are handed in, loaded.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal

from django.utils.translation import gettext as _

from apiary_sales.billing.models import Invoice, InvoiceLine, InvoiceLineTax, plain
from apiary_sales.pricing.models import GoodsCategory
from inventory.shared import words
from inventory.shared.errors import Problems
from inventory.shared.money import amount, cents_half_up, share_cents


@dataclass(frozen=True)
class BillTotal:
    """What the lines of a bill come to, in cents: the sums of the rounded lines."""

    net_cents: int
    tax_cents: int
    rounding_cents: int

    @property
    def total_cents(self) -> int:
        return self.net_cents + self.tax_cents + self.rounding_cents


@dataclass(frozen=True)
class TaxSum:
    """What one tax is on, on a bill, and the tax, in cents; or what bears none, and why."""

    name: str
    percent: Decimal
    net_cents: int
    tax_cents: int
    category: GoodsCategory.Category = GoodsCategory.Category.TAXABLE


def total_of(lines: Iterable[InvoiceLine]) -> BillTotal:
    """Return what the lines of a bill come to."""
    lines = list(lines)
    return BillTotal(
        sum(line.amount_cents for line in lines),
        sum(line.tax_cents for line in lines),
        sum(line.rounding_cents for line in lines),
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
        TaxSum(reason, Decimal(0), net, 0, GoodsCategory.Category(category))
        for (category, reason), net in sorted(without.items())
    ]


@dataclass(frozen=True)
class LineCredit:
    """What of one line of an invoice is credited.

    Goods, by their `quantity` or all that is left of it, at the price billed; with `price_off`, so
    much of the price of each, for that quantity or all that is left; with `allowance_cents`, an
    amount. Both are before tax, or with it where the prices of the bill include it.
    """

    line: InvoiceLine
    quantity: Decimal | None = None
    price_off: Decimal | None = None
    allowance_cents: int | None = None


@dataclass
class Left:
    """What of one line of a bill no credit note has taken back yet; tax in cents by its row.

    The amount is as the price says it: with its tax and rounding, where prices include the tax.
    """

    line: InvoiceLine
    quantity: Decimal
    amount_cents: int
    tax_cents: dict[InvoiceLineTax, int]
    rounding_cents: int

    @property
    def discount_cents(self) -> int:
        """What is left is less than quantity times price by so much."""
        return cents_half_up(self.quantity * self.line.unit_price) - self.amount_cents


@dataclass(frozen=True)
class CreditedLine:
    """One line of a credit note with its taxes, unsaved."""

    line: InvoiceLine
    taxes: list[InvoiceLineTax]


def left_on(lines: Iterable[InvoiceLine], credited: Iterable[InvoiceLine]) -> list[Left]:
    """Return what of each line of a bill is left after the lines of its credit notes.

    Lines of which nothing is left are left out. A price or an allowance that was credited leaves
    the quantity as it is.
    """
    by_line = {
        line.pk: Left(
            line,
            line.quantity,
            line.shown_cents,
            {row: row.tax_cents for row in line.taxes.all()},
            line.rounding_cents,
        )
        for line in lines
    }
    for note_line in credited:
        left = by_line[note_line.credits_line_id or 0]
        if note_line.credited_as == InvoiceLine.CreditedAs.GOODS:
            left.quantity += note_line.quantity
        left.amount_cents += note_line.shown_cents
        left.rounding_cents += note_line.rounding_cents
        taken = {(row.name, row.jurisdiction): row.tax_cents for row in note_line.taxes.all()}
        for row in left.tax_cents:
            left.tax_cents[row] += taken.get((row.name, row.jurisdiction), 0)
    return [left for left in by_line.values() if left.quantity or left.amount_cents]


def without_kept(left: Iterable[Left], kept: Iterable[tuple[int, int]]) -> list[Left]:
    """Take deposits that are kept off what is left of a bill; each is of one drum.

    `kept` has the key of the line and the cents of each. The tax of a deposit is kept with it.
    """
    by_line = {each.line.pk: each for each in left}
    for line, cents in kept:
        there = by_line.get(line)
        if there is None or there.quantity <= 0:
            continue
        for row in there.tax_cents:
            there.tax_cents[row] -= share_cents(there.tax_cents[row], 1, int(there.quantity))
        there.quantity -= 1
        there.amount_cents -= cents
    return [each for each in by_line.values() if each.quantity or each.amount_cents]


def credited(
    problems: Problems, left: Sequence[Left], asked: Sequence[LineCredit]
) -> list[CreditedLine]:
    """Return the lines of a credit note; collect what can't be credited at `lines.<position>`.

    A line may be asked about once.
    """
    by_line = {each.line.pk: each for each in left}
    made = []
    for index, credit in enumerate(asked):
        there = by_line.pop(credit.line.pk, None)
        if there is None:
            problems.add(
                f"lines.{index}.quantity",
                _("Nothing is left to credit of %(what)s.") % {"what": credit.line.description},
            )
        elif _check(problems, f"lines.{index}", there, credit):
            made.append(_credit(there, credit))
    if not asked:
        problems.add("lines", _("Say for at least one line what is credited."))
    return made


def _check(problems: Problems, name: str, left: Left, credit: LineCredit) -> bool:
    asked = left.quantity if credit.quantity is None else credit.quantity
    if credit.allowance_cents is None and not _is_countable(left, asked):
        problems.add(
            f"{name}.quantity",
            _("%(what)s is counted in whole pieces. Enter a whole number, or credit an amount.")
            % {"what": left.line.description},
        )
        return False
    if credit.allowance_cents is None and not 0 < asked <= left.quantity and left.quantity:
        problems.add(
            f"{name}.quantity",
            _("Enter a quantity from 0 to %(left)s of %(what)s.")
            % {"left": f"{plain(left.quantity):f}", "what": left.line.description},
        )
        return False
    cents, parameter = credit.allowance_cents, "allowance_cents"
    if credit.price_off is not None:
        cents, parameter = cents_half_up(asked * credit.price_off), "price_off"
    if cents is not None and not 0 < cents <= left.amount_cents:
        problems.add(
            f"{name}.{parameter}",
            _("Only %(left)s is left to credit of %(what)s. Enter less, and more than 0.")
            % {"left": words.money(left.amount_cents), "what": left.line.description},
        )
        return False
    return True


def _is_countable(left: Left, quantity: Decimal) -> bool:
    """Tell whether a line can be credited by so much: pieces by whole ones, or all that is left."""
    is_in_pieces = left.line.unit == InvoiceLine.Unit.PIECE
    return not is_in_pieces or quantity == left.quantity or quantity % 1 == 0


def _credit(left: Left, credit: LineCredit) -> CreditedLine:
    line = left.line
    quantity = left.quantity if credit.quantity is None else credit.quantity
    price, discount_cents, unit = line.unit_price, 0, line.unit
    if credit.allowance_cents is not None:
        way, cents = InvoiceLine.CreditedAs.ALLOWANCE, credit.allowance_cents
        quantity, price, unit = Decimal(1), amount(cents), InvoiceLine.Unit.EACH
    elif credit.price_off is not None:
        way, price = InvoiceLine.CreditedAs.PRICE, credit.price_off
        cents = cents_half_up(quantity * price)
    else:
        way = InvoiceLine.CreditedAs.GOODS
        discount_cents = left.discount_cents
        if quantity != left.quantity:
            shares = (int(quantity.scaleb(5)), int(left.quantity.scaleb(5)))
            discount_cents = share_cents(discount_cents, *shares)
        gross_cents = cents_half_up(quantity * price)
        # Half a cent of a part rounds up: of an amount credited before, a cent may be too much.
        cents = min(max(gross_cents - discount_cents, 0), left.amount_cents)
        discount_cents = gross_cents - cents
    made = InvoiceLine(
        fulfilment_line=line.fulfilment_line,
        credits_line=line,
        credited_as=way,
        description=line.description,
        lot_code=line.lot_code,
        quantity=-quantity,
        unit=unit,
        unit_price=price,
        discount_cents=-discount_cents,
        tax_name=line.tax_name,
        tax_percent=line.tax_percent,
        tax_category=line.tax_category,
        exemption_reason=line.exemption_reason,
        certificate=line.certificate,
    )
    taxes = [
        InvoiceLineTax(
            name=row.name,
            jurisdiction=row.jurisdiction,
            percent=row.percent,
            tax_cents=-_share_of_tax(there_cents, cents, left.amount_cents),
        )
        for row, there_cents in left.tax_cents.items()
    ]
    made.tax_cents = sum(row.tax_cents for row in taxes)
    made.amount_cents = -cents
    if line.invoice.prices_include_tax:
        # The odd cent goes back with the last part.
        made.rounding_cents = -left.rounding_cents if cents == left.amount_cents else 0
        made.amount_cents -= made.tax_cents + made.rounding_cents
    for row in taxes:
        row.base_cents = made.amount_cents
    return CreditedLine(made, taxes)


def _share_of_tax(tax_cents: int, cents: int, left_cents: int) -> int:
    """Return the tax that falls to a part of an amount; the last part takes what is left."""
    return tax_cents if cents == left_cents else share_cents(tax_cents, cents, left_cents)


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
