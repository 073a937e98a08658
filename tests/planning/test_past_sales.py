"""What a plan learns from past sales: no day twice, and nothing from before the first sale."""

from datetime import date, timedelta

import pytest
from django.utils.formats import date_format

from apiary_sales.planning.queries import past_sales
from apiary_sales.planning.rules import demand
from apiary_sales.planning.rules.demand import Outlook, Period, PeriodNotUsed
from tests import builders
from tests.planning.test_page import URL, priced, sold, today, words_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def pound():
    return builders.product("One pound")


def test_a_plan_for_twelve_months_counts_each_sale_of_last_year_once(pound):
    sold(pound, 20, date(2023, 6, 1))
    sold(pound, 40, date(2024, 6, 1))
    sold(pound, 60, date(2025, 6, 1))

    history = past_sales.history(on=date(2026, 5, 10), months=12)

    # The year from 10 May 2023 begins before the first sale, so it is left out: (60 + 40) / 2.
    first, second = (
        Period(date(2025, 5, 10), date(2026, 5, 9)),
        Period(date(2024, 5, 10), date(2025, 5, 9)),
    )
    assert history.periods == (first, second)
    assert history.of(pound.pk, "stand").pieces == (60, 40)
    assert history.of(pound.pk, "stand").average == 50
    assert history.not_used == (
        PeriodNotUsed(Period(date(2023, 5, 10), date(2024, 5, 9)), date(2023, 6, 1)),
    )


def test_a_year_of_which_half_is_known_is_used_from_the_first_sale_on_and_said_to_be_a_part(pound):
    sold(pound, 30, date(2025, 8, 1))
    sold(pound, 12, date(2026, 4, 1))

    history = past_sales.history(on=date(2026, 5, 10), months=12)

    assert history.is_partial
    assert history.periods == (Period(date(2025, 8, 1), date(2026, 5, 9)),)
    assert history.of(pound.pk, "stand").pieces == (42,)
    assert history.not_used == ()


@pytest.mark.parametrize(
    ("first", "used", "pieces"),
    [
        # 10 May to 9 August are 92 days: 46 are known from 25 June on, and 45 from 26 June on.
        (date(2025, 6, 25), Period(date(2025, 6, 25), date(2025, 8, 9)), 5),
        (date(2025, 6, 26), Period(date(2026, 2, 10), date(2026, 5, 9)), 7),
    ],
)
def test_less_than_half_of_a_season_gives_way_to_the_months_just_past(pound, first, used, pieces):
    sold(pound, 5, first)
    sold(pound, 7, date(2026, 3, 1))

    history = past_sales.history(on=date(2026, 5, 10), months=3)

    assert history.periods == (used,)
    assert history.of(pound.pk, "stand").pieces == (pieces,)


def test_a_product_that_is_new_in_a_channel_is_not_averaged_with_the_years_before_it(pound):
    half, quarter = builders.product("Half pound"), builders.product("Quarter pound")
    shop = builders.customer("Shop")
    for year in (2023, 2024, 2025):
        sold(pound, 10, date(year, 5, 1))
        sold(pound, 20, date(year, 6, 1))
    # New in the shop in 2024, and the small ones since last June and last autumn.
    sold(pound, 8, date(2024, 1, 15), channel="shop", customer=shop)
    sold(pound, 6, date(2025, 6, 20), channel="shop", customer=shop)
    sold(half, 9, date(2025, 6, 15))
    sold(quarter, 3, date(2025, 10, 1))
    sold(quarter, 4, date(2026, 4, 1))

    history = past_sales.history(on=date(2026, 5, 10), months=3)

    years = {year: Period(date(year, 5, 10), date(year, 8, 9)) for year in (2023, 2024, 2025)}
    assert history.periods == (years[2025], years[2024], years[2023])
    assert history.of(pound.pk, "stand").pieces == (20, 20, 20)
    # A year in which it could be had and was not bought is a true zero.
    assert history.of(pound.pk, "shop").pieces == (6, 0)
    assert history.of(pound.pk, "shop").periods == (years[2025], years[2024])
    assert history.of(half.pk, "stand").periods == (Period(date(2025, 6, 15), date(2025, 8, 9)),)
    assert history.of(half.pk, "stand").is_partial
    # Never sold in these months: those just past stand in.
    assert history.of(quarter.pk, "stand").periods == (Period(date(2026, 2, 10), date(2026, 5, 9)),)
    assert history.of(quarter.pk, "stand").expected(Outlook.USUAL) == 4
    assert history.of(half.pk, "shop").periods == ()
    assert history.newest == {
        (pound.pk, "stand"): 20,
        (pound.pk, "shop"): 6,
        (half.pk, "stand"): 9,
    }


def test_the_page_names_the_periods_it_uses_and_those_it_leaves_out_and_why(client, owner, pound):
    priced(pound, "stand", 950)
    priced(builders.product("Half pound"), "stand", 550)
    on = today()
    first = demand.years_before(on, 2) + timedelta(days=10)
    sold(pound, 4, first)
    sold(pound, 5, demand.years_before(on, 1))
    builders.lot_in(builders.place("tank-1"), 50_000)
    client.force_login(owner)

    text = words_of(client.get(URL, {"months": "3"}))

    last_year, before = (
        f"{date_format(period.first)} to {date_format(period.last)}"
        for period in (demand.period_from(demand.years_before(on, ago), 3) for ago in (1, 2))
    )
    assert f"What could be sold comes from the same days of 1 earlier year: {last_year}." in text
    told = f"Left out: {before}, because sales are known only from {date_format(first)} on."
    assert told in text
    assert "One pound, stand 5 pieces" in text
    assert "Half pound, stand never sold" in text
