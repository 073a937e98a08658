"""Sales by season of the honey in a blend, and the sales that have no cost."""

from decimal import Decimal

import pytest

from apiary_sales.orders.models import OrderLine
from apiary_sales.orders.rules.lines import LineWanted
from apiary_sales.orders.services import orders
from apiary_sales.reports.frames import sales
from apiary_sales.reports.frames.make import plain, total
from apiary_sales.reports.frames.sales import SalesFilters
from tests import builders

pytestmark = pytest.mark.django_db


@pytest.fixture
def blend():
    """100 one-pound jars that cost 200.00, two thirds of 2026 and one of 2025 through a blend."""
    newer = builders.lot_in(builders.place("a"), 30_000, season=2026)
    older = builders.lot_in(builders.place("b"), 30_000, season=2025)
    honey = builders.packed_lot(builders.product("Base"), builders.place("x", "shelf"), 1)
    honey.parent_links.create(parent=newer, grams=20_000)
    honey.parent_links.create(parent=older, grams=10_000)
    stand = builders.place("stand", "stand")
    return builders.packed_lot(
        builders.product("One pound", code="1-lb"), stand, 100, cost_cents=20_000, parent=honey
    )


def sell(lot, *pieces, price="6.50"):
    for each in pieces:
        order = orders.take(
            customer=builders.customer(f"Shop {builders.new_key()}"),
            channel="shop",
            lines=[LineWanted(OrderLine.Kind.PACKED, each, Decimal(price), product=lot.product)],
            created_by=builders.person(),
            key=builders.new_key(),
        )
        orders.fulfil(order=order, filled_by=builders.person(), key=builders.new_key())


def by_season(name):
    found = sales.by_season(SalesFilters())
    return {plain(row["season"]): plain(row[name]) for row in found.to_dict("records")}


def test_a_jar_of_a_blend_counts_in_each_season_by_its_grams(blend):
    """10 jars at 6.50 = 65.00, two thirds 43.33; 4,536 g, two thirds 3,024; 20.00 of cost."""
    sell(blend, 10)

    assert by_season("amount_cents") == {2026: 4_333, 2025: 2_167}
    assert by_season("grams") == {2026: 3_024, 2025: 1_512}
    assert by_season("pieces") == {2026: 7, 2025: 3}
    assert by_season("cost_cents") == {2026: 1_333, 2025: 667}
    assert by_season("margin_cents") == {2026: 3_000, 2025: 1_500}


def test_single_jars_of_a_blend_are_not_all_of_the_season_with_most_of_it(blend):
    """Six jars, one by one: four of 2026 and two of 2025."""
    sell(blend, 1, 1, 1, 1, 1, 1)

    assert by_season("pieces") == {2026: 4, 2025: 2}
    assert by_season("lines") == {2026: 4, 2025: 2}


def test_all_seasons_come_to_what_was_sold(blend):
    sell(blend, 1, 2, 4, 7, price="7.99")
    sold = sales.lines(SalesFilters())

    seasons = sales.by_season(SalesFilters())

    for name in sales.MEASURES:
        assert total(seasons, name) == total(sold, name), name


def test_a_season_that_is_asked_for_has_its_part_of_a_line(blend):
    sell(blend, 10)

    older = sales.lines(SalesFilters(season="2025"))

    assert older["amount_cents"].tolist() == [2_167]
    assert len(sales.lines(SalesFilters())) == 1
    assert sales.lines(SalesFilters(season="2024")).empty


@pytest.mark.parametrize("count", [1, 8])
def test_seasons_are_read_in_so_many_queries(blend, count, django_assert_num_queries):
    sell(blend, *[1] * count)

    # Lots, what went into them, past sales, sums, and the lines of blends of several seasons.
    with django_assert_num_queries(5):
        sales.by_season(SalesFilters())


def test_a_margin_says_how_much_has_no_cost_and_opens_it_line_by_line(client, blend):
    """39.00 of 104.00 has no cost: 37.5 %."""
    sell(blend, 10)
    other = builders.packed_lot(
        builders.product("Quart", code="quart"), builders.place("s", "shelf"), 9
    )
    sell(other, 6)
    client.force_login(builders.person("office"))

    page = client.get("/reports/margin-by-product/").text

    sentence = "$39.00 of $104.00 sold (37.5 %) has no cost yet and is not in this margin."
    assert sentence in page
    assert "/reports/sale-lines/?since=2026-01-01&amp;until=2026-11-20&amp;cost=none" in page
    assert sentence in client.get("/reports/season-against-season/?measure=margin_cents").text
    assert "has no cost yet" not in client.get("/reports/sales-by-product/").text
    lines = client.get("/reports/sale-lines/?cost=none").text
    assert "$39.00" in lines
    assert "$65.00" not in lines
    assert sales.lines(SalesFilters(cost="known"))["amount_cents"].tolist() == [6_500]
