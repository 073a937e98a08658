"""What the stand page works out without the server is what the server books, without a page."""

import json
from dataclasses import replace
from decimal import Decimal
from pathlib import Path

import pytest
from django.conf import settings
from hypothesis import given
from hypothesis import settings as hypothesis_settings
from hypothesis import strategies as st

from apiary_sales.orders.models import OrderLine
from apiary_sales.orders.rules.lines import LineWanted
from apiary_sales.pricing.models import PiecePrice
from apiary_sales.pricing.rules.prices import PricesOfProduct
from apiary_sales.pricing.rules.tax import PARTS_PER_PERCENT, round_taxes, take_out_taxes
from inventory.bottling.models import Product, Size
from inventory.shared.models import House
from inventory.shared.money import split_cents
from tests import scripts

FIGURES = (
    Path(settings.BASE_DIR)
    / "apiary_sales"
    / "billing"
    / "static"
    / "billing"
    / "stand"
    / "figures.js"
)
CASES = json.loads((Path(__file__).parent / "stand_figures.json").read_text(encoding="utf-8"))
BY_LINE, BY_INVOICE = House.Rounding.BY_LINE, House.Rounding.BY_INVOICE
ROUNDING = {True: BY_LINE, False: BY_INVOICE}


def product_of(per_case, breaks):
    """Return a product as the page gets it; each break is pieces, cents a piece, cents a case."""
    names = ("pieces", "piece_cents", "case_cents")
    return {
        "per_case": per_case,
        "breaks": [dict(zip(names, row, strict=True)) for row in breaks],
    }


def priced(per_case, breaks, pieces):
    """Return the price of a piece and the cents of the line, as the server has them."""
    product = Product(size=Size(pieces_per_case=per_case))
    rows = tuple(
        PiecePrice(min_pieces=least, piece_cents=piece_cents, case_cents=case_cents)
        for least, piece_cents, case_cents in breaks
    )
    price = PricesOfProduct(product, rows).unit_price(pieces)
    return price, line(price, pieces).gross_cents


def line(price, pieces, discount_cents=0):
    return LineWanted(
        kind=OrderLine.Kind.PACKED,
        quantity=pieces,
        unit_price=price,
        discount_cents=discount_cents,
    )


def parts_of(percent):
    return int(Decimal(percent) * PARTS_PER_PERCENT)


def tax_data(percent, other_percent="0", *, by_line, included=False):
    """Return the tax as the page gets it: the rates on honey and on other goods."""
    return {
        "rates": {
            "honey": {"name": "State", "parts": parts_of(percent)},
            "other": {"name": "City", "parts": parts_of(other_percent)},
        },
        "by_line": by_line,
        "included": included,
    }


def taxed(amounts, percent, rounding):
    return sum(round_taxes(amounts, [Decimal(percent)] * len(amounts), rounding))


def booked(lines_cents, discount, percent, *, by_line):
    """Return what a sale of single pieces comes to, as the server works it out."""
    lines = [line(Decimal(cents) / 100, 1) for cents in lines_cents]
    shares = split_cents(discount, [each.amount_cents for each in lines])
    nets = [
        replace(each, discount_cents=share).amount_cents
        for each, share in zip(lines, shares, strict=True)
    ]
    return sum(nets) + taxed(nets, percent, BY_LINE if by_line else BY_INVOICE)


def basket_of(lines_cents):
    return [line_of(cents, "honey") for cents in lines_cents]


def line_of(cents, taxed_as):
    return {"product": product_of(1, [[1, cents, None]]) | {"taxed_as": taxed_as}, "pieces": 1}


@pytest.mark.parametrize("case", CASES["prices"])
def test_the_server_prices_as_the_table_says(case):
    price, cents = priced(case["per_case"], case["breaks"], case["pieces"])

    assert (str(price), cents) == (case["unit_price"], case["line_cents"])


def test_the_page_prices_as_the_table_says():
    calls = [
        [product_of(case["per_case"], case["breaks"]), case["pieces"]] for case in CASES["prices"]
    ]

    prices = scripts.call(FIGURES, "priceSent", calls)
    cents = scripts.call(FIGURES, "lineCents", calls)

    assert prices == [case["unit_price"] for case in CASES["prices"]]
    assert cents == [case["line_cents"] for case in CASES["prices"]]


@pytest.mark.parametrize("case", CASES["taxes"])
def test_the_server_taxes_as_the_table_says(case):
    by_line = taxed(case["amounts"], case["percent"], BY_LINE)
    by_invoice = taxed(case["amounts"], case["percent"], BY_INVOICE)

    assert (by_line, by_invoice) == (case["by_line"], case["by_invoice"])


@pytest.mark.parametrize("rounding", ["by_line", "by_invoice"])
def test_the_page_taxes_as_the_table_says(rounding):
    is_by_line = rounding == "by_line"
    calls = [
        [case["amounts"], [parts_of(case["percent"])] * len(case["amounts"]), is_by_line]
        for case in CASES["taxes"]
    ]

    assert scripts.call(FIGURES, "taxCents", calls) == [case[rounding] for case in CASES["taxes"]]


@pytest.mark.parametrize("case", CASES["shares"])
def test_the_server_shares_a_discount_out_as_the_table_says(case):
    assert split_cents(case["total"], case["weights"]) == case["shares"]


def test_the_page_shares_a_discount_out_as_the_table_says():
    calls = [[case["total"], case["weights"]] for case in CASES["shares"]]

    assert scripts.call(FIGURES, "splitCents", calls) == [
        case["shares"] for case in CASES["shares"]
    ]


@pytest.mark.parametrize("case", CASES["sales"])
def test_the_server_sums_a_sale_up_as_the_table_says(case):
    total = booked(case["lines"], case["discount"], case["percent"], by_line=case["by_line"])

    assert (total, case["given"] - total) == (case["total"], case["change"])


def test_the_page_sums_a_sale_up_as_the_table_says():
    calls = [
        [
            basket_of(case["lines"]),
            case["discount"],
            tax_data(case["percent"], by_line=case["by_line"]),
        ]
        for case in CASES["sales"]
    ]

    sums = scripts.call(FIGURES, "reckon", calls)
    cash = scripts.call(
        FIGURES, "settle", [[case["given"], case["total"]] for case in CASES["sales"]]
    )

    assert [each["total"] for each in sums] == [case["total"] for case in CASES["sales"]]
    assert [each["wrong"] for each in sums] == [""] * len(sums)
    assert cash == [{"missing": 0, "change": case["change"]} for case in CASES["sales"]]


CENTS = st.integers(0, 100_000)
SIZES = st.tuples(
    st.integers(1, 200),
    st.tuples(CENTS, st.none() | CENTS),
    st.lists(st.tuples(st.integers(2, 200), CENTS, st.none() | CENTS), max_size=3),
).map(
    lambda drawn: (
        drawn[0],
        [[1, *drawn[1]], *sorted({row[0]: list(row) for row in drawn[2]}.values())],
    )
)
SALES = st.tuples(
    st.lists(st.integers(1, 50_000), min_size=1, max_size=6),
    st.fractions(0, 1, max_denominator=1000),
    st.integers(0, 200_000).map(lambda parts: str(Decimal(parts).scaleb(-4))),
    st.booleans(),
)


@hypothesis_settings(max_examples=5, deadline=None, database=None)
@given(drawn=st.lists(st.tuples(SIZES, st.integers(1, 1000)), min_size=40, max_size=60))
def test_the_page_prices_any_product_as_the_server_does(drawn):
    calls = [[product_of(*product), pieces] for product, pieces in drawn]
    server = [priced(*product, pieces) for product, pieces in drawn]

    assert scripts.call(FIGURES, "priceSent", calls) == [str(price) for price, _ in server]
    assert scripts.call(FIGURES, "lineCents", calls) == [cents for _, cents in server]


@hypothesis_settings(max_examples=5, deadline=None, database=None)
@given(drawn=st.lists(SALES, min_size=40, max_size=60))
def test_the_page_sums_any_sale_up_as_the_server_does(drawn):
    sales = [
        (lines, int(sum(lines) * part), percent, by_line) for lines, part, percent, by_line in drawn
    ]

    sums = scripts.call(
        FIGURES,
        "reckon",
        [
            [basket_of(lines), discount, tax_data(percent, by_line=by_line)]
            for lines, discount, percent, by_line in sales
        ],
    )

    assert [each["total"] for each in sums] == [
        booked(lines, discount, percent, by_line=by_line)
        for lines, discount, percent, by_line in sales
    ]


@pytest.mark.parametrize(
    ("discount", "wrong", "total"),
    # JSON has no NaN, which the page uses for what is no amount; its text compares alike.
    [
        (0, "", 800),
        (800, "", 0),
        (801, "too_much", 800),
        (-1, "unread", 800),
        ("NaN", "unread", 800),
    ],
)
def test_a_discount_that_cannot_be_is_left_out_and_told(discount, wrong, total):
    tax = tax_data("0", by_line=True)

    (sums,) = scripts.call(FIGURES, "reckon", [[basket_of([800]), discount, tax]])

    assert (sums["wrong"], sums["total"]) == (wrong, total)


def test_cash_is_asked_for_or_given_back():
    answers = scripts.call(FIGURES, "settle", [[799, 800], [800, 800], [801, 800]])

    assert answers == [
        {"missing": 1, "change": 0},
        {"missing": 0, "change": 0},
        {"missing": 0, "change": 1},
    ]


def test_the_exact_amount_and_the_next_notes_are_offered():
    offered = scripts.call(FIGURES, "quickAmounts", [[800], [1_001], [0], [10_000]])

    assert offered == [
        [800, 1_000, 2_000, 5_000, 10_000],
        [1_001, 1_100, 1_500, 2_000, 5_000, 10_000],
        [0],
        [10_000],
    ]


def test_an_amount_is_whole_cents():
    numbers = ["5", "5.0", "5.25", "5.250", "0.5", "-1.5", "5.255", "0.001"]

    cents = scripts.call(FIGURES, "centsOf", [[number] for number in numbers])

    # JSON writes NaN as null.
    assert cents == [500, 500, 525, 525, 50, -150, None, None]


@pytest.mark.parametrize(
    ("by_line", "tax"),
    # Honey 50 at 1 % is 0.5 and 0.5, goods 150 at 5 % are 7.5: by line 1 + 1 + 8, together 8.5 → 9.
    [(True, 10), (False, 9)],
)
def test_honey_and_goods_are_taxed_each_at_its_rate(by_line, tax):
    basket = [line_of(50, "honey"), line_of(50, "honey"), line_of(150, "other")]
    rates = tax_data("1", "5", by_line=by_line)

    (sums,) = scripts.call(FIGURES, "reckon", [[basket, 0, rates]])

    assert (sums["tax"], sums["total"]) == (tax, 250 + tax)
    assert (
        sum(round_taxes([50, 50, 150], [Decimal(1), Decimal(1), Decimal(5)], ROUNDING[by_line]))
        == tax
    )


def test_only_taxes_on_what_is_in_the_basket_are_named():
    honey, goods = line_of(100, "honey"), line_of(100, "other")
    tax = tax_data("1", "5", by_line=True)

    names = scripts.call(
        FIGURES, "taxNames", [[[], tax], [[goods], tax], [[honey, goods, honey], tax]]
    )

    assert names == ["", "City", "State + City"]


@pytest.mark.parametrize(
    ("lines", "discount", "percent", "other", "tax", "total"),
    [
        # 12.00 ÷ 6 = 2.00.
        ([1200], 0, "20", "0", 200, 1200),
        # 12.03 ÷ 6 = 2.005 → 2.01: one sum for each rate, not one for each line (2.00 + 0.01).
        ([1200, 3], 0, "20", "0", 201, 1203),
        # 9.00 left of 10.00: 9.00 × 7 ÷ 107 = 0.5888 → 0.59.
        ([1000], 100, "7", "0", 59, 900),
        ([1000], 0, "0", "0", 0, 1000),
    ],
)
def test_the_page_takes_the_tax_out_of_prices_that_include_it(
    lines, discount, percent, other, tax, total
):
    rates = tax_data(percent, other, by_line=True, included=True)

    (sums,) = scripts.call(FIGURES, "reckon", [[basket_of(lines), discount, rates]])

    assert (sums["tax"], sums["total"]) == (tax, total)


def test_honey_and_goods_have_their_tax_taken_out_each_at_its_rate():
    # 10.50 ÷ 21 = 0.50, 12.00 ÷ 6 = 2.00.
    basket = [line_of(1050, "honey"), line_of(1200, "other")]
    rates = tax_data("5", "20", by_line=False, included=True)

    (sums,) = scripts.call(FIGURES, "reckon", [[basket, 0, rates]])

    assert (sums["tax"], sums["total"]) == (250, 2250)


@hypothesis_settings(max_examples=5, deadline=None, database=None)
@given(drawn=st.lists(SALES, min_size=40, max_size=60))
def test_the_page_takes_out_any_tax_as_the_server_does(drawn):
    calls = [[lines, [parts_of(percent)] * len(lines)] for lines, _part, percent, _by in drawn]

    page = scripts.call(FIGURES, "taxIncluded", calls)

    assert page == [
        sum(tax for _net, tax, _odd in take_out_taxes(lines, [Decimal(percent)] * len(lines)))
        for lines, _part, percent, _by in drawn
    ]
