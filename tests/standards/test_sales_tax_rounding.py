"""Sales tax rounded as published rules say.

- Streamlined Sales Tax rounding rule, as enacted in R.I. Gen. Laws 44-18.1-25 (read): tax is
  computed to the third decimal place and rounded up to a whole cent whenever that decimal is
  greater than four; the seller may do so item by item or once an invoice; state and local tax may
  be added up first. The rule prints no figures of its own: what is worked by hand from it has its
  arithmetic beside it.
- Collection charts that states of the agreement hand to sellers, from which the tax on a price is
  read instead of reckoned: 6 % (Kentucky, Iowa, West Virginia) and 7 % (Indiana). From memory. By
  line each price is looked up, by invoice their sum.
- VAT Notice 700, 17.5.1 (HM Revenue and Customs), rounding by line to the nearest penny: "86.76p
  would be rounded up to 87p". From memory.
"""

from datetime import date
from decimal import ROUND_DOWN, Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from apiary_sales.pricing.models import TaxRate
from apiary_sales.pricing.rules import tax
from apiary_sales.pricing.rules.tax import TaxLine, round_taxes
from apiary_sales.pricing.services import prices
from inventory.shared.models import House

BY_LINE, BY_INVOICE = House.Rounding.BY_LINE, House.Rounding.BY_INVOICE
MAY = date(2026, 5, 1)


def by_the_letter(amount_cents: int, percent: Decimal) -> int:
    """The rule word by word: carry to the third decimal, go up when it is greater than four."""
    dollars = abs(Decimal(amount_cents)) / 100 * percent / 100
    thousandths = int((dollars * 1000).quantize(Decimal(1), ROUND_DOWN))
    cents, third_decimal = divmod(thousandths, 10)
    cents += third_decimal > 4
    return cents if amount_cents >= 0 else -cents


@pytest.mark.parametrize(
    ("amount_cents", "percent", "tax_cents"),
    [
        # 1.92 × 7 % = 0.1344: third decimal 4, stays 0.13.
        (192, "7", 13),
        # 1.93 × 7 % = 0.1351: third decimal 5, goes up to 0.14.
        (193, "7", 14),
        # 0.50 × 5 % = 0.025: exactly half a cent, third decimal 5, goes up to 0.03.
        (50, "5", 3),
        # 0.90 × 5 % = 0.045 → 0.05, where rounding to the even cent would say 0.04.
        (90, "5", 5),
        # 2.99 × 5 % = 0.1495: third decimal 9 → 0.15.
        (299, "5", 15),
        # 1.49 × 1 % = 0.0149: third decimal 4, and the 9 behind it does not count → 0.01.
        (149, "1", 1),
        # 18.99 × 6.875 % = 1.3055625: third decimal 5 → 1.31.
        (1899, "6.875", 131),
        # A credit note takes back what was charged.
        (-193, "7", -14),
        (-50, "5", -3),
        (0, "7", 0),
        (1000, "0", 0),
    ],
)
def test_the_third_decimal_decides(amount_cents, percent, tax_cents):
    assert round_taxes([amount_cents], [Decimal(percent)], BY_LINE) == [tax_cents]
    assert by_the_letter(amount_cents, Decimal(percent)) == tax_cents


# The last cent of price that bears 0, 1, 2 … cents of tax, up to a dollar and a little.
CHARTS = {
    6: [8, 24, 41, 58, 74, 91, 108],
    7: [7, 21, 35, 49, 64, 78, 92, 107],
}


def by_the_chart(price_cents: int, percent: int) -> int:
    return next(tax for tax, up_to in enumerate(CHARTS[percent]) if price_cents <= up_to)


@pytest.mark.parametrize("percent", CHARTS)
def test_by_line_each_price_bears_the_tax_of_the_printed_chart(percent):
    prices_cents = list(range(1, CHARTS[percent][-1] + 1))

    taxes = round_taxes(prices_cents, [Decimal(percent)] * len(prices_cents), BY_LINE)

    assert taxes == [by_the_chart(price, percent) for price in prices_cents]
    assert round_taxes([CHARTS[percent][-1] + 1], [Decimal(percent)], BY_LINE) == [percent + 1]


@pytest.mark.parametrize(
    ("prices_cents", "percent", "by_line", "by_invoice"),
    [
        # Chart: 8 bears 0, and their sum of 24 bears 1.
        ([8, 8, 8], 6, 0, 1),
        # Chart: 25 bears 2, and their sum of 75 bears 5.
        ([25, 25, 25], 6, 6, 5),
        # Chart: 10, 20 and 30 bear 1, 1 and 2, and their sum of 60 bears 4.
        ([10, 20, 30], 6, 4, 4),
        # Chart: 50 bears 4, and their sum of 100 bears 7.
        ([50, 50], 7, 8, 7),
        # Chart: 21 and 35 bear 1 and 2, and their sum of 56 bears 4.
        ([21, 35], 7, 3, 4),
    ],
)
def test_by_invoice_the_sum_is_looked_up_in_the_printed_chart(
    prices_cents, percent, by_line, by_invoice
):
    percents = [Decimal(percent)] * len(prices_cents)

    assert sum(by_the_chart(price, percent) for price in prices_cents) == by_line
    assert by_the_chart(sum(prices_cents), percent) == by_invoice
    assert sum(round_taxes(prices_cents, percents, BY_LINE)) == by_line
    assert sum(round_taxes(prices_cents, percents, BY_INVOICE)) == by_invoice


def test_a_line_of_86_76_pence_of_tax_bears_87():
    # 14.46 at 6 % is 0.8676; at 20 % no whole price comes to it.
    assert round_taxes([1446], [Decimal(6)], BY_LINE) == [87]


@given(
    amount_cents=st.integers(-10_000_000, 10_000_000),
    percent=st.decimals(0, 100, places=4),
)
def test_rounding_half_up_is_the_rule_to_the_letter(amount_cents, percent):
    assert round_taxes([amount_cents], [percent], BY_LINE) == [by_the_letter(amount_cents, percent)]


def test_by_line_and_by_invoice_differ_as_the_rule_allows():
    # Three jars of 0.50 at 5 %: by line 3 × 0.025 → 3 × 0.03 = 0.09;
    # by invoice 1.50 × 5 % = 0.075 → 0.08.
    amounts, percents = [50, 50, 50], [Decimal(5)] * 3

    assert round_taxes(amounts, percents, BY_LINE) == [3, 3, 3]
    assert sum(round_taxes(amounts, percents, BY_INVOICE)) == 8


lines = st.lists(
    st.tuples(st.integers(-1_000_000, 1_000_000), st.decimals(0, 30, places=4)), max_size=12
)


@given(lines)
def test_by_invoice_the_shown_taxes_add_up_to_the_tax_of_the_whole(lines):
    amounts, percents = [line[0] for line in lines], [line[1] for line in lines]
    whole = sum((Decimal(amount) * percent / 100 for amount, percent in lines), Decimal(0))
    carried = (abs(whole) * 10).quantize(Decimal(1), ROUND_DOWN)
    expected = int(carried) // 10 + (int(carried) % 10 > 4)

    shown = round_taxes(amounts, percents, BY_INVOICE)

    assert sum(shown) == (expected if whole >= 0 else -expected)
    # No line is more than a cent away from its own exact tax.
    for (amount, percent), tax_cents in zip(lines, shown, strict=True):
        assert abs(tax_cents - Decimal(amount) * percent / 100) <= 1


@given(lines)
def test_a_credit_note_is_the_exact_opposite_of_its_invoice(lines):
    amounts, percents = [line[0] for line in lines], [line[1] for line in lines]
    opposite = [-amount for amount in amounts]

    for rounding in House.Rounding.values:
        charged = round_taxes(amounts, percents, rounding)
        assert round_taxes(opposite, percents, rounding) == [-tax_cents for tax_cents in charged]


# ---- rates


def rates_on(day):
    return tax.rates_by_goods(TaxRate.objects.in_force(day))


def rate(percent, *, name="Sales tax", goods="honey", on=MAY):
    return prices.set_tax_rate(name=name, goods=goods, percent=Decimal(percent), valid_from=on)


def test_state_and_local_rates_are_added_up_before_rounding(db):
    rate("6", name="State")
    rate("1.5", name="County")

    # 1.10 × 7.5 % = 0.0825 → 0.08. Rounded apart, 0.066 → 0.07 and 0.0165 → 0.02 would be 0.09.
    [taxed] = tax.tax_invoice_lines([TaxLine("honey", 110)], BY_LINE, rates=rates_on(MAY))

    assert taxed == tax.TaxedAmount("State + County", Decimal("7.5"), 8)


def test_an_exempt_customer_pays_no_tax():
    [taxed] = tax.tax_invoice_lines([TaxLine("honey", 1000)], BY_LINE, rates={})

    assert taxed == tax.TaxedAmount("", Decimal(0), 0)


def test_each_kind_of_goods_has_its_own_rate_and_none_means_no_tax(db):
    rate("7", goods="other")
    lines = [TaxLine("honey", 10_000), TaxLine("other", 2_000), TaxLine("freight", 5_000)]

    taxed = tax.tax_invoice_lines(lines, BY_INVOICE, rates=rates_on(MAY))

    assert [line.tax_cents for line in taxed] == [0, 140, 0]
    assert [line.name for line in taxed] == ["", "Sales tax", ""]


def test_a_later_rate_takes_over_on_its_day_and_zero_ends_it(db):
    rate("6", on=MAY)
    rate("7", on=date(2026, 7, 1))
    rate("0", on=date(2027, 1, 1))

    assert rates_on(date(2026, 4, 30))["honey"].percent == 0
    assert rates_on(date(2026, 6, 30))["honey"].percent == 6
    assert rates_on(date(2026, 7, 1))["honey"].percent == 7
    assert rates_on(date(2027, 1, 1))["honey"] == tax.Rate()


def test_the_rates_on_all_kinds_of_goods_take_one_query(db, django_assert_num_queries):
    rate("6")
    rate("5", goods="freight")

    with django_assert_num_queries(1):
        rates = rates_on(MAY)

    assert (rates["honey"].percent, rates["freight"].percent) == (6, 5)
