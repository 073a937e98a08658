"""Sales tax rounded as published rules say.

- Streamlined Sales Tax rounding rule, as enacted in R.I. Gen. Laws 44-18.1-25 (read): tax is
  computed to the third decimal place and rounded up to a whole cent whenever that decimal is
  greater than four; the seller may do so item by item or once an invoice; state and local tax may
  be added up first. The rule prints no figures of its own: what is worked by hand from it has its
  arithmetic beside it.
- Collection charts that states of the agreement hand to sellers, from which the tax on a price is
  read instead of reckoned: 6 % (Kentucky, Iowa, West Virginia) and 7 % (Indiana). From memory. By
  line each price is looked up, by invoice their sum.
- Prices that include tax: the VAT fraction, rate ÷ (100 + rate), 1/6 at 20 % and 1/21 at 5 % (HM
  Revenue and Customs, VAT Notice 700), 3/23 at 15 %, 7/47 at 17.5 %; and €123 at 23 % is €100 and
  €23 (Irish Revenue). From memory. EN 16931-1: BR-CO-17, the tax of a rate is its taxable amount
  × rate to two decimals; BT-114, the rounding amount between that and what is to pay. From memory.
- VAT Notice 700, 17.5.1 (HM Revenue and Customs), rounding by line to the nearest penny: "86.76p
  would be rounded up to 87p". From memory.
"""

from datetime import date, timedelta
from decimal import ROUND_DOWN, Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from apiary_sales.pricing.models import GoodsCategory, TaxRate
from apiary_sales.pricing.rules import tax
from apiary_sales.pricing.rules.tax import Category, NamedTax, TaxLine, round_taxes
from apiary_sales.pricing.services import prices, taxes
from inventory.shared.errors import BadValue
from inventory.shared.models import House

BY_LINE, BY_INVOICE = House.Rounding.BY_LINE, House.Rounding.BY_INVOICE
MAY = date(2026, 5, 1)
JULY = date(2026, 7, 1)
DAY = timedelta(days=1)


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


def treatments_on(day, **more):
    house = {"deposits_taxed": True} | more
    rates, said = TaxRate.objects.in_force(day), GoodsCategory.objects.in_force(day)
    return tax.treatments(rates, said, **house)


def rate(percent, *, name="Sales tax", goods="honey", on=MAY, **more):
    return prices.set_tax_rate(
        name=name, goods=goods, percent=Decimal(percent), valid_from=on, **more
    )


def test_state_and_local_rates_are_added_up_before_rounding(db):
    rate("6", name="State", jurisdiction="Iowa")
    rate("1.5", name="County", jurisdiction="Linn County")

    # 1.10 × 7.5 % = 0.0825 → 0.08. Rounded apart, 0.066 → 0.07 and 0.0165 → 0.02 would be 0.09.
    [taxed] = tax.tax_invoice_lines([TaxLine("honey", 110)], BY_LINE, treatments=treatments_on(MAY))

    assert (taxed.net_cents, taxed.tax_cents, taxed.rounding_cents) == (110, 8, 0)
    assert (taxed.treatment.rate.name, taxed.treatment.rate.percent) == (
        "State + County",
        Decimal("7.5"),
    )
    # 8 × 6 ÷ 7.5 = 6.4 and 8 × 1.5 ÷ 7.5 = 1.6.
    assert taxed.treatment.rate.taxes == (
        NamedTax("State", "Iowa", Decimal(6)),
        NamedTax("County", "Linn County", Decimal("1.5")),
    )
    assert taxed.tax_by_name == (6, 2)


def test_a_buyer_with_a_certificate_pays_no_tax_and_the_reason_is_kept(db):
    rate("7")
    freed = tax.exempted(treatments_on(MAY), "resale")

    [taxed] = tax.tax_invoice_lines([TaxLine("honey", 1000)], BY_LINE, treatments=freed)

    assert (taxed.net_cents, taxed.tax_cents) == (1000, 0)
    assert (taxed.treatment.category, taxed.treatment.reason) == ("E", "resale")


def test_each_kind_of_goods_has_its_own_rate_and_none_means_no_tax(db):
    rate("7", goods="other")
    lines = [TaxLine("honey", 10_000), TaxLine("other", 2_000), TaxLine("freight", 5_000)]

    taxed = tax.tax_invoice_lines(lines, BY_INVOICE, treatments=treatments_on(MAY))

    assert [line.tax_cents for line in taxed] == [0, 140, 0]
    assert [line.treatment.rate.name for line in taxed] == ["", "Sales tax", ""]
    assert [line.treatment.category for line in taxed] == ["Z", "S", "Z"]


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


@pytest.mark.parametrize(
    ("category", "reason"),
    [("E", "food for home consumption, exempt by state law"), ("Z", ""), ("O", "not a sale")],
)
def test_what_the_owner_says_of_goods_counts_from_its_day(db, category, reason):
    rate("7")
    taxes.set_category(goods="honey", category=category, reason=reason, valid_from=JULY)

    assert treatments_on(JULY - DAY)["honey"].category == "S"
    how = treatments_on(JULY)["honey"]
    assert (how.category, how.reason, how.is_said) == (Category(category), reason, True)
    assert treatments_on(JULY)["honey"].rate.percent == 0


def test_goods_are_exempt_for_a_reason_and_taxable_again_later(db):
    rate("7")
    with pytest.raises(BadValue) as refused:
        taxes.set_category(goods="honey", category="E", reason=" ", valid_from=MAY)
    assert refused.value.parameter == "reason"

    taxes.set_category(goods="honey", category="E", reason="food", valid_from=MAY)
    taxes.set_category(goods="honey", category="S", reason="food", valid_from=JULY)

    assert treatments_on(JULY)["honey"].rate.percent == 7
    assert GoodsCategory.objects.get(category="S").reason == ""


def test_a_deposit_is_taxed_like_other_goods_or_outside_the_scope(db):
    rate("7", goods="other")

    assert treatments_on(MAY, deposits_taxed=True)[tax.DEPOSIT].rate.percent == 7
    assert treatments_on(MAY, deposits_taxed=False)[tax.DEPOSIT].category == "O"
    assert treatments_on(MAY, deposits_taxed=False)["other"].rate.percent == 7


# ---- prices that include tax


@pytest.mark.parametrize(
    ("price_cents", "percent", "net_cents", "tax_cents"),
    [
        # VAT fraction 1/6: 120.00 ÷ 6 = 20.00.
        (12_000, "20", 10_000, 2_000),
        # 1/21 of 10.50 is 0.50.
        (1_050, "5", 1_000, 50),
        # 3/23 of 115.00 is 15.00, 7/47 of 117.50 is 17.50.
        (11_500, "15", 10_000, 1_500),
        (11_750, "17.5", 10_000, 1_750),
        # €123 at 23 %.
        (12_300, "23", 10_000, 2_300),
        # 10.00 ÷ 6 = 1.6667 → 1.67; 8.33 × 20 % = 1.666 → 1.67.
        (1_000, "20", 833, 167),
        # 5.99 × 7 ÷ 107 = 0.39187 → 0.39; 5.60 × 7 % = 0.392 → 0.39.
        (599, "7", 560, 39),
    ],
)
def test_the_tax_in_a_price_is_its_vat_fraction(price_cents, percent, net_cents, tax_cents):
    assert tax.take_out_tax(price_cents, Decimal(percent)) == (net_cents, tax_cents, 0)


@pytest.mark.parametrize(
    ("price_cents", "percent", "split"),
    [
        # 0.03 ÷ 6 = 0.005 → 0.01. 0.02 × 20 % is 0.00, 0.03 × 20 % is 0.01: no net comes to 0.03.
        (3, "20", (3, 1, -1)),
        # 9.99 ÷ 6 = 1.665 → 1.67. 8.32 × 20 % = 1.664 → 1.66; 8.33 × 20 % = 1.666 → 1.67, 10.00.
        (999, "20", (833, 167, -1)),
        # 0.10 ÷ 21 = 0.0048 → 0. 0.10 × 5 % is 0.01 already, 0.09 × 5 % is 0.00.
        (10, "5", (9, 0, 1)),
    ],
)
def test_a_cent_that_net_and_tax_cannot_reach_is_rounding(price_cents, percent, split):
    assert tax.take_out_tax(price_cents, Decimal(percent)) == split


@given(price_cents=st.integers(0, 10_000_000), percent=st.decimals(0, 100, places=4))
def test_net_tax_and_rounding_keep_all_rules_at_once(price_cents, percent):
    net, tax_cents, rounding = tax.take_out_tax(price_cents, percent)

    # The buyer pays the price; the tax is that on the net, by the letter; rounding is a cent.
    assert net + tax_cents + rounding == price_cents
    assert tax_cents == by_the_letter(net, percent)
    assert rounding in (-1, 0, 1)
    # And it is the VAT fraction to the nearest cent.
    assert abs(tax_cents * (100 + percent) - price_cents * percent) <= (100 + percent) / 2
    # A cent is left over only where no net could have been found.
    if rounding:
        near = range(max(0, net - 3), net + 4)
        assert price_cents not in [each + by_the_letter(each, percent) for each in near]


prices_with_tax = st.lists(
    st.tuples(st.integers(0, 1_000_000), st.sampled_from([0, 5, 7, 20])), min_size=1, max_size=12
)


@given(prices_with_tax)
def test_a_bill_of_prices_with_tax_comes_to_its_prices_and_each_rate_has_its_tax(lines):
    amounts = [price for price, _rate in lines]
    split = tax.take_out_taxes(amounts, [Decimal(percent) for _price, percent in lines])

    assert [sum(each) for each in split] == amounts
    for percent in (0, 5, 7, 20):
        of_rate = [each for each, line in zip(split, lines, strict=True) if line[1] == percent]
        net, tax_cents, rounding = (
            (sum(part) for part in zip(*of_rate, strict=True)) if (of_rate) else (0, 0, 0)
        )
        assert tax_cents == by_the_letter(net, Decimal(percent))
        assert rounding in (-1, 0, 1)


# ---- several taxes on one line


@given(
    st.lists(st.integers(0, 100_000), min_size=1, max_size=30),
    st.lists(st.integers(1, 80_000), min_size=1, max_size=4),
)
def test_each_tax_of_a_bill_comes_to_its_part_of_the_whole(amounts, parts):
    percents = [Decimal(part) / 10_000 for part in parts]
    named = tuple(NamedTax(f"Tax {place}", "", each) for place, each in enumerate(percents))
    how = tax.Treatment(Category.TAXABLE, "", tax.Rate("All", sum(percents), named))

    taxed = tax.tax_invoice_lines(
        [TaxLine("honey", amount) for amount in amounts], BY_LINE, treatments={"honey": how}
    )

    assert all(sum(line.tax_by_name) == line.tax_cents for line in taxed)
    assert all(share >= 0 for line in taxed for share in line.tax_by_name)
    whole = sum(line.tax_cents for line in taxed)
    for place, part in enumerate(parts):
        share = sum(line.tax_by_name[place] for line in taxed)
        assert abs(share - Decimal(whole) * part / sum(parts)) <= 1
