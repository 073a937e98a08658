"""What the till works out beyond the price of a sale: weights, percentages, totals that a buyer
names, how money is written, what is gone from stock, and which product a bar code means.

Expected values were worked out by hand; those of weights also compared with the server's.
"""

from decimal import Decimal
from pathlib import Path

import pytest
from django.conf import settings
from hypothesis import given
from hypothesis import settings as hypothesis_settings
from hypothesis import strategies as st

from apiary_sales.orders.rules.lines import honey_cents
from inventory.physics.units import round_grams
from tests import scripts

FIGURES = Path(settings.BASE_DIR) / "apiary_sales/billing/static/billing/stand/figures.js"
DOLLARS = {"before": "$", "after": "", "decimal": ".", "group": ","}
FRANCS = {"before": "", "after": " CHF", "decimal": ",", "group": "."}


def call(name, *calls):
    return scripts.call(FIGURES, name, [list(each) for each in calls])


def product(*breaks, per_case=1):
    names = ("pieces", "piece_cents", "case_cents")
    return {
        "code": "pound",
        "per_case": per_case,
        "taxed_as": "honey",
        "breaks": [dict(zip(names, row, strict=True)) for row in breaks],
    }


def tax(parts=0, *, by_line=False):
    return {
        "rates": {"honey": {"name": "Tax", "parts": parts}},
        "by_line": by_line,
        "included": False,
    }


@hypothesis_settings(max_examples=5, deadline=None, database=None)
@given(
    drawn=st.lists(
        st.tuples(st.integers(0, 50_000_000), st.integers(0, 10_000_000)), min_size=50, max_size=60
    )
)
def test_the_page_prices_any_weight_as_the_server_does(drawn):
    prices = [(grams, Decimal(parts).scaleb(-4)) for grams, parts in drawn]

    page = call("weightCents", *((grams, f"{price:.4f}") for grams, price in prices))

    assert page == [honey_cents(grams, price) for grams, price in prices]


def test_a_pound_of_honey_is_453_59237_grams():
    # 454 g are 1.000899 lb, at 10.00 that is 10.01; 453 g are 0.998694 lb, 9.99.
    assert call("weightCents", (454, "10.0000"), (453, "10.0000"), (0, "10.0000")) == [1001, 999, 0]


def test_a_kilogram_is_1000_grams_and_cash_goes_to_the_nearest_coin():
    # 1.234 kg at 9.90 are 12.2166.
    assert call("weightCents", (1234, "9.9000", "1000"), (500, "9.9900", "1000")) == [1222, 500]
    # From memory: 1 and 2 cents go down, 3 and 4 up, where five cents are the smallest coin.
    assert call("toCoins", (1002, 5), (1003, 5), (1008, 5), (1003, 1), (1003,)) == [
        1000,
        1005,
        1010,
        1003,
        1003,
    ]


@hypothesis_settings(max_examples=5, deadline=None, database=None)
@given(drawn=st.lists(st.decimals(0, 50_000, places=3), min_size=50, max_size=60))
def test_a_typed_weight_is_rounded_as_the_server_does(drawn):
    drawn = [*drawn, Decimal("340.5"), Decimal("341.5"), Decimal("340.500001"), Decimal("7")]

    assert call("wholeGrams", *([f"{grams:f}"] for grams in drawn)) == [
        round_grams(grams) for grams in drawn
    ]


@pytest.mark.parametrize(
    ("cents", "percent", "off"),
    [
        (1600, "0", 0),
        (1600, "12.5", 200),
        (1600, "100", 1600),
        # 3.335 and 3.325 cents' worth: half a cent rounds up.
        (667, "50", 334),
        (1, "50", 1),
        (1, "49.9999", 0),
        # More than the whole is for the page to refuse.
        (100, "101", 101),
    ],
)
def test_a_percentage_is_taken_off_to_the_cent(cents, percent, off):
    assert call("percentOf", (cents, percent)) == [off]


@pytest.mark.parametrize("percent", ["-5", "", "1e3", "12.34567", "5000"])
def test_what_is_no_percentage_is_none(percent):
    # JSON writes NaN as null.
    assert call("percentOf", (100, percent)) == [None]


@pytest.mark.parametrize(
    ("named", "discount", "on_top"),
    [(1600, 0, 0), (1601, 0, 1), (1599, 1, 0), (0, 1600, 0), (2000, 0, 400)],
)
def test_without_tax_a_named_total_is_a_discount_or_on_top(named, discount, on_top):
    basket = [{"product": product([1, 800, None]), "pieces": 2}]

    assert call("nameTotal", (basket, named, tax())) == [{"discount": discount, "on_top": on_top}]


@hypothesis_settings(max_examples=5, deadline=None, database=None)
@given(
    drawn=st.lists(
        st.tuples(
            st.lists(st.integers(1, 5_000), min_size=1, max_size=4),
            st.integers(0, 200_000),
            st.booleans(),
            st.integers(0, 25_000),
        ),
        min_size=20,
        max_size=25,
    )
)
def test_any_named_total_is_what_the_buyer_pays(drawn):
    baskets = [
        ([{"product": product([1, cents, None]), "pieces": 1} for cents in lines], parts, by_line)
        for lines, parts, by_line, _named in drawn
    ]
    named = [each[-1] for each in drawn]
    taxes = [tax(parts, by_line=by_line) for _basket, parts, by_line in baskets]

    answers = call(
        "nameTotal",
        *(
            (basket, cents, rates)
            for (basket, *_), cents, rates in zip(baskets, named, taxes, strict=True)
        ),
    )
    sums = call(
        "reckon",
        *(
            (basket, answer["discount"], rates)
            for (basket, *_), answer, rates in zip(baskets, answers, taxes, strict=True)
        ),
    )

    assert [each["wrong"] for each in sums] == [""] * len(sums)
    assert [
        each["total"] + answer["on_top"] for each, answer in zip(sums, answers, strict=True)
    ] == named
    assert min(answer["on_top"] for answer in answers) >= 0


@pytest.mark.parametrize(
    ("cents", "dollars", "francs"),
    [
        (0, "$0.00", "0,00 CHF"),
        (5, "$0.05", "0,05 CHF"),
        (99_999, "$999.99", "999,99 CHF"),
        (100_000, "$1,000.00", "1.000,00 CHF"),
        (123_456_789, "$1,234,567.89", "1.234.567,89 CHF"),
        (-50, "−$0.50", "−0,50 CHF"),
    ],
)
def test_money_is_written_as_the_house_writes_it(cents, dollars, francs):
    assert call("writeMoney", (cents, DOLLARS), (cents, FRANCS)) == [dollars, francs]


def test_a_price_a_pound_has_more_decimals_where_they_are_not_nought():
    prices = ["6.5000", "6.5025", "1250.0000", "0.5500"]

    written = call("writePrice", *((price, DOLLARS) for price in prices))

    assert written == ["$6.50", "$6.5025", "$1,250.00", "$0.55"]


@pytest.mark.parametrize(
    ("breaks", "per_case", "offer"),
    [
        ([[1, 800, None]], 1, None),
        ([[1, 800, None], [3, 700, None], [6, 650, None]], 1, (3, 2_100, False)),
        # A dozen at 90.00 instead of 96.00.
        ([[1, 800, 9_000]], 12, (12, 9_000, True)),
        ([[1, 800, 9_000], [6, 780, 9_000]], 12, (6, 4_680, False)),
        # A case that is no cheaper is no offer.
        ([[1, 800, 9_600]], 12, None),
        ([[1, 800, None], [3, 800, None]], 1, None),
    ],
)
def test_a_tile_offers_the_next_better_price(breaks, per_case, offer):
    (found,) = call("nextOffer", (product(*breaks, per_case=per_case),))

    expected = offer and dict(zip(("pieces", "cents", "is_case"), offer, strict=True))
    assert found == expected


def test_a_mended_sale_keeps_its_price_until_its_pieces_change():
    sold = {"pieces": 2, "unit_price": "7.5000"}
    now = product([1, 800, None])

    lines = call(
        "priceOfLine",
        ({"product": now, "pieces": 2, "was": sold},),
        ({"product": now, "pieces": 3, "was": sold},),
    )

    assert [line["cents"] for line in lines] == [1_500, 2_400]
    assert [line["unit_price"] for line in lines] == ["7.5000", "8.0000"]


def entry(state, pieces, place="stand", **more):
    lines = [{"product": "pound", "pieces": pieces}]
    return {"kind": "sale", "state": state, "place": place, "body": {"lines": lines}, **more}


def test_what_is_gone_is_what_the_catalogue_has_not_heard_of():
    heard = "2026-07-01T10:00:00+00:00"
    entries = [
        entry("waits", 1),
        entry("refused", 2),
        entry("waits", 4, place="van"),
        entry("done", 8, said={"now": "2026-07-01T10:00:01+00:00"}),
        # In the catalogue already.
        entry("done", 16, said={"now": heard}),
        entry("differs", 32),
        entry("undone", 64),
        {"kind": "undo", "state": "waits", "place": "stand", "body": {"key": "one"}},
        # Kept since before there were products.
        {**entry("waits", 0), "body": {"lines": [{"size": "pound", "pieces": 128}]}},
        # Weights are not counted in pieces.
        {**entry("waits", 0), "body": {"lines": [{"weighed": "vessel-1", "net_grams": 500}]}},
    ]

    assert call("goneSince", (entries, "stand", heard)) == [{"pound": 1 + 2 + 8 + 128}]


def test_takings_are_told_by_way_of_paying_and_what_is_on_top_apart():
    def sale(total, on_top, *payments):
        rows = [{"method": method, "cents": cents} for method, cents in payments]
        return {"total_cents": total, "body": {"on_top_cents": on_top, "payments": rows}}

    entries = [
        sale(1_600, 400, ("card", 1_000), ("cash", 1_000)),
        sale(800, 0, ("cash", 800)),
        # As sales were kept before they could be paid in two ways.
        {"total_cents": 500, "body": {"method": "check", "tendered_cents": None}},
    ]

    assert call("takingsOf", (entries,)) == [
        {
            "sales": 3,
            "cents": 2_900,
            "on_top_cents": 400,
            "methods": {"cash": 600 + 800, "card": 1_000, "check": 500},
        }
    ]


@pytest.mark.parametrize(
    ("scanned", "found"),
    [
        ("00012345678905", "pound"),
        ("012345678905", "pound"),
        ("12345678905", "pound"),
        (" POUND ", "pound"),
        ("12345678906", None),
        # Too short to be a bar code.
        ("123", None),
        ("", None),
        ("000000", None),
    ],
)
def test_a_scanned_code_finds_its_product(scanned, found):
    products = [{"code": "quart", "gtin": ""}, {"code": "pound", "gtin": "00012345678905"}]

    (product_found,) = call("findScanned", (products, scanned))

    assert (product_found and product_found["code"]) == found


@pytest.mark.parametrize(
    ("search", "is_found"),
    [("miel", True), ("MIEL liquida", True), ("liquida  miel", True), ("miel oscura", False)],
)
def test_a_search_needs_every_word_and_no_accents(search, is_found):
    assert call("isFound", ("Miel líquida", search)) == [is_found]
