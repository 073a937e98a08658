"""Sales tax: the rate on each kind of goods, and the two ways of rounding it.

Rounding (Streamlined Sales and Use Tax Agreement, rounding rule, as enacted for example in R.I.
Gen. Laws 44-18.1-25): tax is computed to the third decimal and rounded up to the next cent when
that decimal is greater than four, item by item or once an invoice, as the seller chooses; state
and local rates may be added up first. Rounding the exact tax half up is the same rule.
Rates and exemptions are local: the tax authority has the last word.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from itertools import accumulate, pairwise

from apiary_sales.pricing.models import ProductTax, TaxRate
from inventory.bottling.models import Product
from inventory.shared.models import House
from inventory.shared.money import cents_half_up

# A tax name is printed on one line of an invoice.
NAME_LENGTH = 60
# Rates are kept to four places: so many parts make one percent.
PARTS_PER_PERCENT = 10_000


# What a product may be taxed as; freight is a charge, no product.
CLASSES = (TaxRate.Goods.HONEY, TaxRate.Goods.OTHER)


@dataclass(frozen=True)
class Rate:
    """The rate on one kind of goods; zero when none is set."""

    name: str = ""
    percent: Decimal = Decimal(0)


@dataclass(frozen=True)
class TaxLine:
    """An amount to be taxed, before tax, negative on a credit note, and what it was for."""

    goods: str
    amount_cents: int


@dataclass(frozen=True)
class TaxedAmount:
    """The tax on one amount; the name is empty where there is none to pay."""

    name: str
    percent: Decimal
    tax_cents: int


def usual_class(product: Product) -> TaxRate.Goods:
    """Return what a product is taxed as while nobody has said otherwise."""
    return TaxRate.Goods.HONEY if product.is_honey else TaxRate.Goods.OTHER


def class_of(product: Product, own: Mapping[int, ProductTax]) -> TaxRate.Goods:
    """Return what a product is taxed as; `own` are the classes that were set, by product."""
    if row := own.get(product.pk):
        return TaxRate.Goods(row.taxed_as)
    return usual_class(product)


def rates_by_goods(in_force: Iterable[TaxRate]) -> dict[str, Rate]:
    """Return the rate on each kind of goods, out of `TaxRate.objects.in_force` of a day.

    Rates of different names on the same goods are added up.
    """
    rows = list(in_force)
    return {
        goods: _together([row for row in rows if row.goods == goods])
        for goods in TaxRate.Goods.values
    }


def tax_invoice_lines(
    lines: Sequence[TaxLine], rounding: str, *, rates: Mapping[str, Rate]
) -> list[TaxedAmount]:
    """Return the tax on each line of one invoice, in order, by the rates of its day.

    `rates` is empty for an exempt customer. `rounding` is one of `House.Rounding`. By line, each
    is rounded by itself. By invoice, the whole tax is rounded once and shared out over the lines,
    so that what the lines show adds up.
    """
    line_rates = [rates.get(line.goods, Rate()) for line in lines]
    amounts = [line.amount_cents for line in lines]
    taxes = round_taxes(amounts, [rate.percent for rate in line_rates], rounding)
    return [
        TaxedAmount(rate.name, rate.percent, tax_cents)
        for rate, tax_cents in zip(line_rates, taxes, strict=True)
    ]


def round_taxes(
    amounts_cents: Sequence[int], percents: Sequence[Decimal], rounding: str
) -> list[int]:
    """Return the tax in cents on each amount at its percentage, rounded by line or by invoice.

    >>> round_taxes([50, 50], [Decimal(5), Decimal(5)], House.Rounding.BY_LINE)
    [3, 3]
    >>> round_taxes([50, 50], [Decimal(5), Decimal(5)], House.Rounding.BY_INVOICE)
    [3, 2]
    """
    rounding = House.Rounding(rounding)
    exact = [
        amount * int(percent * PARTS_PER_PERCENT)
        for amount, percent in zip(amounts_cents, percents, strict=True)
    ]
    if rounding == House.Rounding.BY_LINE:
        return [_rounded(tax) for tax in exact]
    # The difference of two rounded running totals: the shares add up to the rounded whole.
    upto = [_rounded(running) for running in accumulate(exact)]
    return [after - before for before, after in pairwise([0, *upto])]


def _rounded(exact: int) -> int:
    """Round a tax, given in cents × parts of a percent, to whole cents, half a cent up."""
    return cents_half_up(Fraction(exact, 100 * PARTS_PER_PERCENT * 100))


def _together(rows: list[TaxRate]) -> Rate:
    name = " + ".join(row.name for row in rows)
    if len(name) > NAME_LENGTH:
        name = name[: NAME_LENGTH - 1] + "…"
    return Rate(name, sum((row.percent for row in rows), Decimal(0)))
