"""Sales frames against sums made by hand and, on many sales, against plain Python.

What was sold (see `conftest.py`); one pound is 453.59237 g, so 10 lb are 4,535.9 g:

| day        | to              | what                      |   cents |  cost | grams   |
|------------|-----------------|---------------------------|---------|-------|---------|
| 2026-08-05 | stand           | 10 × 1 lb at 8.00         |   8,000 | 3,000 |   4,536 |
| 2026-08-20 | Corner Grocery  | 24 × 1 lb at 6.50 − 6.00  |  15,000 | 7,200 |  10,886 |
| 2026-08-20 | Corner Grocery  | 12 × 3 lb at 17.00        |  20,400 |     ? |  16,329 |
| 2026-10-02 | Prairie Packers | 295,000 g at 2.15 a lb    | 139,828 |59,000 | 295,000 |
| 2026-10-02 | Prairie Packers | deposit of a drum         |   2,500 |       |         |

295,000 g ÷ 453.59237 × 2.15 = 1,398.282 → 139,828 cents. Five jars were sold and taken back.
"""

import random
from collections import Counter
from datetime import date, timedelta

import pandas as pd
import pytest
from django.urls import reverse

from apiary_sales.orders.models import FulfilmentLine, Order
from apiary_sales.orders.services import orders
from apiary_sales.reports.frames import sales
from apiary_sales.reports.frames.sales import SalesFilters
from inventory.bottling.services import products
from inventory.stock.models import Lot, Place
from tests import builders
from tests.reports import conftest as made

pytestmark = pytest.mark.django_db


def column(frame, key, value="amount_cents"):
    """Return a column by key as plain Python, unknown figures as None."""
    return {
        None if pd.isna(name) else name: None if pd.isna(figure) else int(figure)
        for name, figure in zip(frame[key], frame[value], strict=True)
    }


def test_each_line_handed_over_is_one_row(house):
    found = sales.lines(SalesFilters())

    assert found["amount_cents"].tolist() == [8_000, 15_000, 20_400, 139_828]
    assert found["grams"].tolist() == [4_536, 10_886, 16_329, 295_000]
    assert found["lot"].tolist()[:3] == ["P25-001", "P25-001", "P26-001"]
    assert house.taken_back.order.number not in found["order"].tolist()


def test_money_and_honey_stay_whole_numbers(house):
    for frame in (
        sales.lines(SalesFilters()),
        sales.by_product(SalesFilters()),
        sales.by_size(SalesFilters()),
        sales.by_variety(SalesFilters()),
        sales.by_channel(SalesFilters()),
        sales.by_customer(SalesFilters()),
        sales.by_month(SalesFilters()),
        sales.by_season(SalesFilters()),
        sales.bulk_against_retail(SalesFilters()),
        sales.season_against_season(SalesFilters()),
    ):
        kinds = {str(dtype) for dtype in frame.dtypes}
        assert kinds <= {"Int64", "object"}


def test_the_frames_without_any_sale_have_the_same_columns_and_kinds(house):
    before = SalesFilters(until=date(2020, 1, 1))

    for make in (
        sales.lines,
        sales.by_product,
        sales.by_size,
        sales.by_variety,
        sales.by_channel,
        sales.by_customer,
        sales.by_month,
        sales.by_season,
        sales.bulk_against_retail,
    ):
        empty, full = make(before), make(SalesFilters())
        assert len(empty) == 0
        assert list(empty.columns) == list(full.columns)
        assert empty.dtypes.to_dict() == full.dtypes.to_dict()
    assert len(sales.season_against_season(before)) == 0


def test_products_come_smallest_first_with_bulk_after_the_jars(house):
    found = sales.by_product(SalesFilters())

    # 8,000 + 15,000; then 20,400; then the drum.
    assert column(found, "product") == {
        "Pound jar": 23_000,
        "Quart jar": 20_400,
        "Honey in bulk": 139_828,
    }
    assert list(found["product"]) == ["Pound jar", "Quart jar", "Honey in bulk"]
    assert column(found, "product", "pieces") == {
        "Pound jar": 34,
        "Quart jar": 12,
        "Honey in bulk": None,
    }
    # 4,536 + 10,886 = 15,422: the rounded lines are added, not 34 lb rounded once.
    assert column(found, "product", "grams")["Pound jar"] == 15_422


def test_all_varieties_of_a_size_are_one_row_and_each_variety_is_one(house):
    """Ten buckwheat pounds at 9.00 beside the 34 pounds sold for 230.00."""
    buckwheat = products.save_honey(size=house.pounds.size, new_variety="Buckwheat")
    builders.packed_lot(buckwheat, house.stand, 20)
    made.order(house.shop, "shop", made.jars(buckwheat, 10, "9.00"), on=date(2026, 9, 1))

    sizes = column(sales.by_size(SalesFilters()), "size")
    varieties = column(sales.by_variety(SalesFilters()), "variety")
    of_size = sales.lines(SalesFilters(size="one-pound"))
    of_variety = sales.lines(SalesFilters(variety=str(buckwheat.variety_id)))
    without = sales.lines(SalesFilters(variety=sales.NONE))

    assert sizes == {"Pound jar": 32_000, "Quart jar": 20_400, "Honey in bulk": 139_828}
    # 23,000 + 20,400.
    assert varieties == {
        "Honey in bulk": 139_828,
        "Without a variety": 43_400,
        "Buckwheat": 9_000,
    }
    assert of_size["amount_cents"].sum() == 32_000
    assert of_variety["amount_cents"].sum() == 9_000
    assert without["amount_cents"].sum() == 43_400


def test_a_margin_is_sales_less_cost_and_unknown_cost_stays_unknown(house):
    found = sales.by_product(SalesFilters())

    # 3,000 + 7,200 = 10,200; 23,000 − 10,200 = 12,800. 139,828 − 59,000 = 80,828.
    assert column(found, "product", "cost_cents") == {
        "Pound jar": 10_200,
        "Quart jar": None,
        "Honey in bulk": 59_000,
    }
    assert column(found, "product", "margin_cents") == {
        "Pound jar": 12_800,
        "Quart jar": None,
        "Honey in bulk": 80_828,
    }
    assert column(found, "product", "no_cost_cents") == {
        "Pound jar": 0,
        "Quart jar": 20_400,
        "Honey in bulk": 0,
    }


def test_sales_less_those_without_a_cost_are_cost_and_margin(house):
    for make in (sales.lines, sales.by_product, sales.by_channel, sales.by_month, sales.by_season):
        found = make(SalesFilters())
        known = found["amount_cents"].sum() - found["no_cost_cents"].sum()
        assert known == found["cost_cents"].sum() + found["margin_cents"].sum()


def test_channels_and_customers_come_largest_first(house):
    by_channel = sales.by_channel(SalesFilters())
    by_customer = sales.by_customer(SalesFilters())

    # Corner Grocery: 15,000 + 20,400.
    assert list(column(by_channel, "channel").items()) == [
        ("bulk", 139_828),
        ("shop", 35_400),
        ("stand", 8_000),
    ]
    assert list(column(by_customer, "customer").items()) == [
        ("Prairie Packers", 139_828),
        ("Corner Grocery", 35_400),
        ("Buyers at the stand", 8_000),
    ]


def test_a_month_without_sales_stands_with_nothing(house):
    found = sales.by_month(SalesFilters())

    # Up to the month of today, in which nothing was sold yet.
    assert column(found, "month") == {
        "2026-08": 43_400,
        "2026-09": 0,
        "2026-10": 139_828,
        "2026-11": 0,
    }
    assert column(found, "month", "cost_cents")["2026-09"] == 0


def test_the_months_run_over_the_turn_of_the_year(house):
    made.sell(house.stand, made.jars(house.pounds, 1, "8.00"), on=date(2025, 11, 30))

    months = list(sales.by_month(SalesFilters())["month"])

    assert months[:3] == ["2025-11", "2025-12", "2026-01"]
    assert months[-1] == "2026-11"


def test_a_season_is_that_of_the_lot(house):
    found = sales.by_season(SalesFilters())

    # 2026: 20,400 + 139,828 (both lots are of 2026); 2025: the one pound jars.
    assert list(column(found, "season").items()) == [(2026, 160_228), (2025, 23_000)]


def test_bulk_stands_beside_the_jars_of_each_channel(house):
    found = sales.bulk_against_retail(SalesFilters())

    assert list(column(found, "way").items()) == [
        ("Jars, shop", 35_400),
        ("Jars, stand", 8_000),
        ("Honey in bulk", 139_828),
    ]
    # 10,886 + 16,329; of these only the first has a known cost.
    assert column(found, "way", "grams")["Jars, shop"] == 27_215
    assert column(found, "way", "known_grams")["Jars, shop"] == 10_886


def test_seasons_are_laid_side_by_side_by_their_age(house):
    found = sales.season_against_season(SalesFilters())

    # August 2026 is month 7 of season 2026 and month 12 + 7 = 19 of season 2025.
    assert column(found, "age", "season_2026") == {
        7: 20_400,
        8: 0,
        9: 139_828,
        10: 0,
        **dict.fromkeys(range(11, 20)),
    }
    assert column(found, "age", "season_2025") == {**dict.fromkeys(range(7, 19), 0), 19: 23_000}
    assert found["month"].tolist()[0] == "August"
    assert found["month"].tolist()[-1] == "August, 1 year later"


def test_seasons_are_added_up_to_the_end_of_each_month(house):
    """204.00 in August and 1,398.28 in October 2026; 230.00 of season 2025 a year after it."""
    found = sales.season_against_season(SalesFilters())

    assert column(found, "age", "by_then_2026") == {
        7: 20_400,
        8: 20_400,
        9: 160_228,
        10: 160_228,
        **dict.fromkeys(range(11, 20)),
    }
    assert list(column(found, "age", "by_then_2025").values())[-2:] == [0, 23_000]


def test_only_the_newest_seasons_are_laid_side_by_side(house):
    for season in (2022, 2023, 2024):
        lot = builders.packed_lot(house.pounds, house.stand, 5, best_by=date(2026, 12, 1))
        Lot.objects.filter(pk=lot.pk).update(season=season)
        made.sell(house.stand, made.jars(house.pounds, 5, "8.00"), on=date(2026, 11, 2))

    two = sales.season_against_season(SalesFilters(seasons=2))
    grams = sales.season_against_season(SalesFilters(seasons=4, measure="grams"))

    assert [name for name in two.columns if name.startswith("season_")] == [
        "season_2025",
        "season_2026",
    ]
    # 5 lb = 2,267.96 g.
    assert grams["season_2024"].sum() == 2_268


def test_a_deposit_is_in_no_report(house):
    """The deposit of 25.00 is owed back to the buyer: it is no sale."""
    for make in (sales.lines, sales.by_product, sales.by_season, sales.by_channel):
        everything, honey = make(SalesFilters(goods="all")), make(SalesFilters())

        for name in ("amount_cents", "no_cost_cents", "margin_cents", "cost_cents", "known_cents"):
            assert everything[name].sum() == honey[name].sum()
    assert sales.lines(SalesFilters(goods="charges")).empty


@pytest.mark.parametrize(
    ("filters", "cents"),
    [
        ({"since": date(2026, 8, 20)}, 15_000 + 20_400 + 139_828),
        ({"since": date(2026, 8, 21)}, 139_828),
        ({"until": date(2026, 8, 20)}, 8_000 + 15_000 + 20_400),
        ({"until": date(2026, 8, 19)}, 8_000),
        ({"season": "2025"}, 23_000),
        ({"season": "none", "goods": "all"}, 0),
        ({"product": "three-pound"}, 20_400),
        ({"channel": "stand"}, 8_000),
        ({"customer": "none"}, 8_000),
        ({"goods": "packed"}, 43_400),
        ({"goods": "bulk"}, 139_828),
        ({"goods": "charges"}, 0),
        ({"goods": "all"}, 183_228),
    ],
)
def test_filters_leave_out_what_was_not_asked_for(house, filters, cents):
    assert sales.lines(SalesFilters(**filters))["amount_cents"].sum() == cents


def test_a_customer_is_found_by_number(house):
    found = sales.lines(SalesFilters(customer=str(house.shop.pk)))

    assert set(found["customer"]) == {"Corner Grocery"}
    assert len(found) == 2


def test_goods_that_come_back_leave_every_frame(house):
    last = Order.objects.get(customer=house.shop).fulfilments.get()

    orders.take_back(
        fulfilment=last, taken_by=builders.person(), key=builders.new_key(), reason="Wrong jars"
    )

    assert column(sales.by_customer(SalesFilters()), "customer") == {
        "Prairie Packers": 139_828,
        "Buyers at the stand": 8_000,
    }


def many_sales() -> None:
    chance = random.Random(20260731)
    stand = builders.place("stand", Place.Kind.STAND, name="Stand")
    products = [
        builders.product(f"{ounces} ounces", str(ounces), "oz", code=f"oz-{ounces}")
        for ounces in (8, 12, 16)
    ]
    for product in products:
        for season, cost in ((2024, 1_003), (2025, None), (2026, 997)):
            lot = builders.packed_lot(
                product, stand, 60, cost_cents=cost, best_by=date(season + 2, 7, 31)
            )
            Lot.objects.filter(pk=lot.pk).update(season=season, made_on=date(2025, 11, 1))
    shops = [builders.customer(f"Shop {number}") for number in range(3)]
    for number in range(40):
        day = date(2025, 12, 1) + timedelta(days=chance.randrange(300))
        line = made.jars(
            chance.choice(products), chance.randint(1, 7), f"{chance.randint(300, 999)}"
        )
        if number % 2:
            made.sell(stand, line, on=day)
        else:
            channel = chance.choice(["shop", "delivery"])
            given = made.order(chance.choice(shops), channel, line, on=day)
            if number % 10 == 0:
                orders.take_back(
                    fulfilment=given,
                    taken_by=builders.person(),
                    key=builders.new_key(),
                    reason="Not wanted",
                )


FRAMES = [
    (sales.by_product, "product_key", lambda row: row.order_line.product.code),
    (sales.by_channel, "channel", lambda row: row.fulfilment.order.channel),
    (
        sales.by_customer,
        "customer_key",
        lambda row: str(row.fulfilment.order.customer_id or "none"),
    ),
    (sales.by_month, "month", lambda row: f"{row.fulfilment.filled_on:%Y-%m}"),
    (sales.by_season, "season", lambda row: row.lot.season),
]


def test_sums_agree_with_plain_python_on_many_sales():
    many_sales()

    for make, key, of in FRAMES:
        _check_sums(make, key, of)


def _check_sums(make, key, of) -> None:
    pieces, cents, costs, no_cost = Counter(), Counter(), Counter(), Counter()
    for row in FulfilmentLine.objects.all():
        if row.fulfilment.is_taken_back:
            continue
        pieces[of(row)] += row.quantity
        cents[of(row)] += row.amount_cents
        if row.cost_cents is None:
            no_cost[of(row)] += row.amount_cents
        else:
            costs[of(row)] += row.cost_cents
    found = make(SalesFilters())
    found = found[found["lines"] > 0]

    assert sum(pieces.values()) > 100
    assert sum(no_cost.values()) > 0
    assert column(found, key, "pieces") == dict(pieces)
    assert column(found, key) == dict(cents)
    assert column(found, key, "no_cost_cents") == {name: no_cost[name] for name in cents}
    assert {name: cost or 0 for name, cost in column(found, key, "cost_cents").items()} == {
        name: costs[name] for name in cents
    }


@pytest.mark.parametrize(
    "make",
    [
        sales.lines,
        sales.by_product,
        sales.by_customer,
        sales.by_month,
    ],
)
def test_a_frame_takes_one_query_for_sales_and_one_for_past_ones_however_many(
    house, make, django_assert_num_queries
):
    for number in range(4):
        made.sell(house.stand, made.jars(house.pounds, 1, "8.00"), on=date(2026, 6, 1 + number))

    with django_assert_num_queries(2):
        make(SalesFilters())


def test_a_one_pound_jar_brings_its_price_a_pound(client, house):
    dear = builders.product("Gift pound", code="gift")
    builders.packed_lot(dear, house.stand, 10, code="G26-001", cost_cents=5_000)
    made.sell(house.stand, made.jars(dear, 1, "11.50"), on=date(2026, 9, 12))
    client.force_login(builders.person())

    url = reverse("api:report", args=["sales-by-product"])
    answer = client.get(url, {"product": "gift"})

    (row,) = answer.json()["rows"]
    assert (row["grams"], row["sales_per_pound"]) == (454, "11.5000")
