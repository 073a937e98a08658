"""Sales tax: how each kind of goods is taxed, and the ways of rounding it.

Rounding (Streamlined Sales and Use Tax Agreement, rounding rule, as enacted for example in R.I.
Gen. Laws 44-18.1-25): tax is computed to the third decimal and rounded up to the next cent when
that decimal is greater than four, item by item or once an invoice, as the seller chooses; state
and local rates may be added up first. Rounding the exact tax half up is the same rule.
Where prices include their tax, it is derived for each rate of a bill: the tax is the price × rate
÷ (100 + rate), to the nearest cent, as tax offices say it, and the tax on the net as EN 16931 wants
it (BR-CO-17: taxable amount × rate, to two decimals). Some prices have no such net: 0.03 at 20 % is
0.02 + 0.00 or 0.03 + 0.01. There a cent goes to the rounding amount (BT-114), so that what the
buyer pays is the price.

Rates and exemptions are local: the tax authority has the last word.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from itertools import accumulate, pairwise
from math import ceil, floor

from django.utils.translation import gettext as _

from apiary_sales.pricing.models import GoodsCategory, ProductTax, TaxRate
from inventory.bottling.models import Product
from inventory.shared.models import House
from inventory.shared.money import cents_half_up, split_cents

# A tax name is printed on one line of an invoice.
NAME_LENGTH = 60
# Rates are kept to four places: so many parts make one percent.
PARTS_PER_PERCENT = 10_000


# What a product may be taxed as; freight is a charge, no product.
CLASSES = (TaxRate.Goods.HONEY, TaxRate.Goods.OTHER)
# The deposit on a drum is no kind of goods: the house says whether it is taxed like other goods.
DEPOSIT = "deposit"
# A way of rounding that is no choice of the house: the norm of structured invoices asks for it.
BY_RATE = "rate"

Category = GoodsCategory.Category


@dataclass(frozen=True)
class NamedTax:
    """One tax of a rate: a state's, a county's, or VAT."""

    name: str
    jurisdiction: str
    percent: Decimal


@dataclass(frozen=True)
class Rate:
    """The rate on one kind of goods, and the taxes that it is the sum of; zero when none is set."""

    name: str = ""
    percent: Decimal = Decimal(0)
    taxes: tuple[NamedTax, ...] = ()


@dataclass(frozen=True)
class Treatment:
    """How something is taxed: its category, why where it is not taxed, and its rate where it is."""

    category: Category = Category.ZERO_RATED
    reason: str = ""
    rate: Rate = Rate()
    is_by_certificate: bool = False
    # Somebody said so; else it follows from the rates.
    is_said: bool = False

    @property
    def said(self) -> str:
        """The words of the category, empty where nobody said how it is taxed."""
        return str(self.category.label) if self.is_said else ""


@dataclass(frozen=True)
class TaxLine:
    """An amount to be taxed, as its price says it, and what it is for: goods, or a `DEPOSIT`."""

    goods: str
    amount_cents: int


@dataclass(frozen=True)
class TaxedAmount:
    """One amount with its tax: net + tax + rounding are the price, or the price with its tax.

    `tax_by_name` is the tax of each of the rate's taxes, in their order.
    """

    treatment: Treatment
    net_cents: int
    tax_cents: int
    rounding_cents: int = 0
    tax_by_name: tuple[int, ...] = ()

    @property
    def total_cents(self) -> int:
        return self.net_cents + self.tax_cents + self.rounding_cents


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


def treatments(
    rates: Iterable[TaxRate], categories: Iterable[GoodsCategory], *, deposits_taxed: bool
) -> dict[str, Treatment]:
    """Return how each kind of goods, and a `DEPOSIT`, is taxed, out of what is in force on a day.

    Goods of which nobody said it are taxable where a rate is set, and zero-rated elsewhere. What is
    exempt, zero-rated or outside the scope bears no tax, whatever rates are set.
    """
    said = {row.goods: row for row in categories}
    found = {
        goods: _treatment(rate, said.get(goods)) for goods, rate in rates_by_goods(rates).items()
    }
    outside = Treatment(Category.OUTSIDE, _("deposit"), is_said=True)
    return {**found, DEPOSIT: found[TaxRate.Goods.OTHER] if deposits_taxed else outside}


def exempted(usual: Mapping[str, Treatment], reason: str) -> dict[str, Treatment]:
    """Return how goods are taxed for a buyer whose certificate frees them from tax."""
    return {
        goods: Treatment(Category.EXEMPT, reason, is_by_certificate=True)
        if how.category == Category.TAXABLE
        else how
        for goods, how in usual.items()
    }


def tax_invoice_lines(
    lines: Sequence[TaxLine],
    rounding: str,
    *,
    treatments: Mapping[str, Treatment],
    prices_include_tax: bool = False,
) -> list[TaxedAmount]:
    """Return the tax on each line of one invoice, in order, by the `treatments` of its day.

    `rounding` is one of `House.Rounding`, or `BY_RATE`. By line, each is rounded by itself. By
    invoice, the whole tax is rounded once and shared out over the lines, so that what the lines
    show adds up; by rate, the tax of each rate is. Where prices include their tax, it is derived
    for each rate of the invoice, either way.
    """
    # A service may be said to bear no tax: it is no kind of goods.
    found = [treatments.get(line.goods, Treatment()) for line in lines]
    amounts = [line.amount_cents for line in lines]
    if prices_include_tax:
        split = take_out_taxes(amounts, [how.rate.percent for how in found])
    else:
        taxes = round_taxes(amounts, [how.rate.percent for how in found], rounding)
        split = [(net, tax_cents, 0) for net, tax_cents in zip(amounts, taxes, strict=True)]
    by_name = _by_name([how.rate for how in found], [tax_cents for _net, tax_cents, _odd in split])
    return [
        TaxedAmount(how, net, tax_cents, odd, names)
        for how, (net, tax_cents, odd), names in zip(found, split, by_name, strict=True)
    ]


def round_taxes(
    amounts_cents: Sequence[int], percents: Sequence[Decimal], rounding: str
) -> list[int]:
    """Return the tax in cents on each amount at its percentage, by line, invoice or rate.

    >>> round_taxes([50, 50], [Decimal(5), Decimal(5)], House.Rounding.BY_LINE)
    [3, 3]
    >>> round_taxes([50, 50], [Decimal(5), Decimal(5)], House.Rounding.BY_INVOICE)
    [3, 2]
    >>> round_taxes([50, 50, 50], [Decimal(5), Decimal(5), Decimal(3)], BY_RATE)
    [3, 2, 2]
    """
    exact = [
        amount * int(percent * PARTS_PER_PERCENT)
        for amount, percent in zip(amounts_cents, percents, strict=True)
    ]
    if rounding == BY_RATE:
        taxes = [0] * len(exact)
        for percent in set(percents):
            places = [place for place, each in enumerate(percents) if each == percent]
            shares = _round_once([exact[place] for place in places])
            for place, share in zip(places, shares, strict=True):
                taxes[place] = share
        return taxes
    if House.Rounding(rounding) == House.Rounding.BY_LINE:
        return [_rounded(tax) for tax in exact]
    return _round_once(exact)


def take_out_taxes(
    prices_cents: Sequence[int], percents: Sequence[Decimal]
) -> list[tuple[int, int, int]]:
    """Return net, tax and rounding of prices of 0 or more that include a tax, in cents.

    The three add up to each price. They are derived from the sum of each rate, and shared out.

    >>> take_out_taxes([1200, 3], [Decimal(20), Decimal(20)])
    [(1001, 200, -1), (2, 1, 0)]
    """
    split = [(price, 0, 0) for price in prices_cents]
    for percent in {percent for percent in percents if percent}:
        places = [place for place, each in enumerate(percents) if each == percent]
        prices = [prices_cents[place] for place in places]
        whole = sum(prices)
        if not whole:
            continue
        _net, tax_cents, odd_cents = take_out_tax(whole, percent)
        taxes = split_cents(tax_cents, prices)
        # The odd cent goes to the largest amount, where it is the smallest part.
        largest = max(range(len(prices)), key=lambda place: prices[place])
        for place, (where, price) in enumerate(zip(places, prices, strict=True)):
            odd = odd_cents if place == largest else 0
            split[where] = (price - taxes[place] - odd, taxes[place], odd)
    return split


def take_out_tax(price_cents: int, percent: Decimal) -> tuple[int, int, int]:
    """Return net, tax and rounding of a price that includes a tax at a percentage, in cents.

    The tax is the price × rate ÷ (100 + rate), half a cent up: the "VAT fraction". It is also the
    rounded tax on the net; where no net has both, net and tax miss the price by a cent, which is
    the rounding: −1 or 1.

    >>> take_out_tax(1200, Decimal(20)), take_out_tax(3, Decimal(20)), take_out_tax(10, Decimal(5))
    ((1000, 200, 0), (3, 1, -1), (9, 0, 1))
    """
    parts = int(percent * PARTS_PER_PERCENT)
    tax_cents = cents_half_up(
        Fraction(price_cents * parts, (100 * PARTS_PER_PERCENT + parts) * 100)
    )
    # One of the three fits: net + rounded tax grows by one or two cents with each cent of net.
    for rounding_cents in (0, 1, -1):
        net_cents = price_cents - tax_cents - rounding_cents
        if _rounded(net_cents * parts) == tax_cents:
            return net_cents, tax_cents, rounding_cents
    raise ArithmeticError(f"No net of {price_cents} cents with {percent} % of tax.")


def _by_name(rates: Sequence[Rate], taxes_cents: Sequence[int]) -> list[tuple[int, ...]]:
    """Share the tax of each line out to the taxes of its rate, so that none gains from rounding.

    What a tax had too little or too much of on one line is made up on the next of the same rate.
    """
    owed = {rate: [Fraction(0)] * len(rate.taxes) for rate in rates}
    shared = []
    for rate, tax_cents in zip(rates, taxes_cents, strict=True):
        due = [
            before + tax_cents * Fraction(one.percent) / Fraction(rate.percent)
            for before, one in zip(owed[rate], rate.taxes, strict=True)
        ]
        shares = [max(0, floor(share)) if tax_cents >= 0 else min(0, ceil(share)) for share in due]
        while rest := tax_cents - sum(shares):
            step = 1 if rest > 0 else -1
            most = max(range(len(due)), key=lambda place: step * (due[place] - shares[place]))
            shares[most] += step
        owed[rate] = [share - given for share, given in zip(due, shares, strict=True)]
        shared.append(tuple(shares))
    return shared


def _round_once(exact: Sequence[int]) -> list[int]:
    """Return the shares of exact taxes in their sum, rounded once to whole cents."""
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
    taxes = tuple(NamedTax(row.name, row.jurisdiction, row.percent) for row in rows)
    return Rate(name, sum((row.percent for row in rows), Decimal(0)), taxes)


def _treatment(rate: Rate, said: GoodsCategory | None) -> Treatment:
    if said is not None and said.category != Category.TAXABLE:
        return Treatment(Category(said.category), said.reason, is_said=True)
    return Treatment(Category.TAXABLE, "", rate) if rate.percent else Treatment()
