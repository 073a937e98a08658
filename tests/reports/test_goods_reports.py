"""Other goods in reports: apart from honey, in pieces, and with no pounds."""

from datetime import date

import pytest
from django.urls import reverse

from apiary_sales.reports.frames import sales, stock
from apiary_sales.reports.frames.sales import SalesFilters
from apiary_sales.reports.frames.stock import StockFilters
from inventory.bottling.models import Product
from tests import builders
from tests.orders.by_weight_room import wax_line
from tests.reports.conftest import jars, sell

pytestmark = pytest.mark.django_db


@pytest.fixture
def candles(house):
    """Forty candles that had cost 2.00 each, eight of them sold at 4.50, and two kilograms of wax.

    Honey was sold beside them; see the house.
    """
    candle, wax = builders.goods("Candle"), builders.goods("Wax", is_weighed=True)
    builders.goods_lot(candle, house.stand, 40, cost_cents=8_000, maker_lot="VW-1")
    builders.goods_lot(wax, house.stand, 2_000, cost_cents=1_800, maker_lot="W-1")
    sell(house.stand, jars(candle, 8, "4.50"), on=date(2026, 9, 12))
    return candle


def rows(frame, *columns):
    return [tuple(row) for row in frame[list(columns)].astype(object).itertuples(index=False)]


def test_goods_are_counted_apart_from_honey(candles):
    found = sales.by_product(SalesFilters(goods=sales.GOODS))

    columns = ("product", "goods_pieces", "amount_cents", "honey_cents", "cost_cents")
    assert rows(found, *columns) == [("Candle", 8, 3_600, 0, 1_600)]
    assert found["pieces"].isna().all()
    assert found["grams"].isna().all()


def test_sales_of_honey_are_the_same_with_and_without_goods(house, candles):
    honey = sales.by_product(SalesFilters())

    assert "Candle" not in honey["product"].tolist()
    all_of_it = sales.by_channel(SalesFilters(goods=sales.ALL))
    assert all_of_it["honey_cents"].sum() == honey["amount_cents"].sum()


def test_goods_are_of_no_season(candles):
    assert sales.lines(SalesFilters(goods=sales.GOODS, season="2026")).empty

    found = sales.lines(SalesFilters(goods=sales.GOODS, season=sales.NONE))

    assert rows(found, "product", "goods_pieces") == [("Candle", 8)]
    assert found["season"].isna().all()


def test_the_margin_of_goods_is_told_by_the_piece(client, candles):
    client.force_login(builders.person())
    url = reverse("api:report", args=["margin-by-product"])

    made = client.get(url, {"goods": "goods"}).json()

    # (36.00 − 16.00) / 8
    (row,) = made["rows"]
    assert row["margin_per_piece"] == "2.5000"
    assert not {"grams", "pieces", "margin_per_pound"} & set(row)


def test_a_price_per_pound_leaves_goods_out(client, house, candles):
    client.force_login(builders.person())
    url = reverse("api:report", args=["sales-by-channel"])

    honey, everything = (
        {row["channel"]: row["sales_per_pound"] for row in client.get(url, asked).json()["rows"]}
        for asked in ({}, {"goods": "all"})
    )

    assert everything["stand"] == honey["stand"]


def test_stock_of_goods_has_a_kind_and_a_weight_of_its_own(candles):
    found = stock.value(StockFilters(kind="goods"))

    assert sorted(rows(found, "what", "value_cents")) == [("Candle", 6_400), ("Wax", 1_800)]
    by_what = found.set_index("what")
    assert by_what.loc["Candle", "pieces"] == 32
    assert by_what.loc["Wax", "goods_grams"] == 2_000
    assert found["grams"].isna().all()
    assert found["season"].isna().all()


def test_stock_of_a_season_has_no_goods(candles):
    kinds = stock.value(StockFilters(season="2026"))["kind"].unique().tolist()

    assert kinds == ["packed"]


def test_goods_stay_out_of_the_wall_of_jars_and_the_list_of_seasons(client, candles):
    client.force_login(builders.person())

    today = client.get(reverse("web:today"))

    assert "Candle" not in [jar.label for jar in today.context["today"].jars]


def test_goods_sold_by_weight_are_counted_in_pounds_and_are_of_no_season(client, house, candles):
    wax = Product.objects.get(name="Wax")
    sell(house.stand, wax_line(wax, 907), on=date(2026, 9, 13))
    client.force_login(builders.person())

    found = sales.by_product(SalesFilters(goods=sales.GOODS))
    by_season = sales.by_season(SalesFilters(goods=sales.ALL))
    csv = (
        client.get(reverse("reports:report_csv", args=["sales-by-product"]), {"goods": "goods"})
        .getvalue()
        .decode()
    )

    assert rows(found, "product", "goods_grams")[-1] == ("Wax", 907)
    of_none = by_season[by_season["season"].isna()]
    assert of_none["goods_grams"].tolist() == [907]
    # 907 / 453.59237 = 1.9996
    assert "2.00" in csv
