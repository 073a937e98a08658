"""What a season's honey cost, and its pages."""

import re
from decimal import Decimal

import pytest
from django.urls import reverse

from apiary_sales.pricing.models import SeasonExpense
from apiary_sales.pricing.queries import seasons as read
from apiary_sales.pricing.services import seasons
from inventory.bottling.services import reversals
from inventory.shared.errors import AlreadyRecorded, NotAllowedNow, SeveralProblems
from inventory.stock.models import Lot
from tests import builders


def expense(cents, category="wages", season=2026):
    return seasons.add_expense(
        season=season, category=category, amount_cents=cents, key=builders.new_key()
    )


def cost_of(lot):
    return Lot.objects.get(pk=lot.pk).cost_cents


def test_expenses_are_spread_over_the_pounds_extracted_to_the_cent(db):
    # 1,000.01 over 100, 200 and 300 kg: running totals 166.67 (166.668…), 500.00 (500.005, half
    # a cent to the even one), 1,000.01, so the shares are 166.67, 333.33 and 500.01.
    first, second, third = (
        builders.lot_in(builders.place(f"t{count}"), count * 100_000) for count in (1, 2, 3)
    )
    expense(60_000)
    expense(40_001, "feed")

    seasons.spread(2026)

    assert [cost_of(lot) for lot in (first, second, third)] == [16_667, 33_333, 50_001]
    view = read.season(2026)
    assert view.is_spread
    assert view.cost_cents == view.total_cents == 100_001
    # 1,000.01 ÷ 600 kg × 0.45359237 kg = 0.755995 a pound.
    assert view.cost_per_pound == Decimal("0.7560")


def test_only_lots_of_that_season_get_a_share_and_an_undone_extraction_gets_none(db):
    lot = builders.lot_in(builders.place("t1"), 100_000)
    older = builders.lot_in(builders.place("t2"), 100_000, season=2025)
    undone = builders.lot_in(builders.place("t3"), 100_000)
    reversals.reverse(
        posting=undone.lines.first().posting, recorded_by=builders.person(), key="undo"
    )
    expense(5_000)

    assert seasons.spread(2026) == [lot]

    assert cost_of(lot) == 5_000
    assert cost_of(older) is None
    assert cost_of(undone) is None


def test_a_season_without_expenses_or_honey_cannot_be_spread(db):
    with pytest.raises(NotAllowedNow) as nothing:
        seasons.spread(2026)
    expense(5_000)
    with pytest.raises(NotAllowedNow) as nowhere:
        seasons.spread(2026)

    assert nothing.value.message == (
        "No expenses are entered for 2026 yet. Enter the expenses first."
    )
    assert nowhere.value.message == (
        "No honey of 2026 is extracted yet, so the expenses can't be spread. Receive the "
        "honey first."
    )


def test_the_same_expense_sent_twice_is_entered_once(db):
    entered = seasons.add_expense(season=2026, category="feed", amount_cents=500, key="once")

    with pytest.raises(AlreadyRecorded) as repeat:
        seasons.add_expense(season=2026, category="feed", amount_cents=500, key="once")

    assert repeat.value.made == entered
    assert SeasonExpense.objects.count() == 1


def test_all_that_is_wrong_with_an_expense_is_told_at_once(db):
    with pytest.raises(SeveralProblems) as refused:
        seasons.add_expense(season=26, category="feed", amount_cents=0, key="x")

    assert [(each.parameter, each.message) for each in refused.value.problems] == [
        ("amount_cents", "Enter an amount above zero and up to $1,000,000.00."),
        ("season", "Enter the season as a year, for example 2026."),
    ]
    assert not SeasonExpense.objects.exists()


# ---- pages


@pytest.fixture
def office(client, db):
    client.force_login(builders.person("office"))
    return client


def test_an_expense_is_entered_and_spread_on_the_pages(office):
    lot = builders.lot_in(builders.place("t1"), 100_000)
    office.post(
        reverse("pricing:expense_add"),
        {"season": 2026, "category": "wages", "amount_cents": "1234.50", "key": "k"},
    )
    page = office.get(reverse("pricing:season", args=[2026]))
    assert re.search(r"over 1 extraction\s*<", page.text)

    response = office.post(reverse("pricing:season_spread", args=[2026]), follow=True)

    assert cost_of(lot) == 123_450
    assert f"The cost of 1 lot is worked out again: {lot.code}." in response.text


def test_a_spread_that_cannot_be_is_told_and_changes_nothing(office):
    response = office.post(reverse("pricing:season_spread", args=[2026]), follow=True)

    assert "No expenses are entered for 2026 yet. Enter the expenses first." in response.text


def test_an_expense_is_taken_off(office):
    row = expense(5_000)

    office.post(reverse("pricing:expense_remove", args=[row.pk]))

    assert not SeasonExpense.objects.exists()


def test_the_cost_of_one_lot_is_entered(office):
    lot = builders.lot_in(builders.place("t1"), 100_000)

    office.post(reverse("pricing:lot_cost", args=[lot.code]), {"cost": "450.25"})
    assert cost_of(lot) == 45_025
    office.post(reverse("pricing:lot_cost", args=[lot.code]), {"cost": ""})
    assert cost_of(lot) is None


def test_seasons_are_listed_newest_first(office):
    builders.lot_in(builders.place("t1"), season=2025)
    expense(5_000, season=2027)

    assert read.years() == [2027, 2025]
    assert [each.season for each in read.all_seasons()] == [2027, 2025]
    assert office.get(reverse("pricing:honey_cost")).status_code == 200


def test_the_list_adds_each_season_up_in_as_many_queries_as_for_one(
    office, django_assert_num_queries
):
    builders.lot_in(builders.place("t1"), 100_000, season=2025, cost_cents=70_000)
    builders.lot_in(builders.place("t2"), 50_000, season=2025)
    builders.lot_in(builders.place("t3"), 200_000, season=2026, cost_cents=90_000)
    undone = builders.lot_in(builders.place("t4"), 30_000, season=2026)
    reversals.reverse(
        posting=undone.lines.get(quantity__gt=0).posting,
        recorded_by=builders.person(),
        key=builders.new_key(),
    )
    expense(5_000, season=2026)
    expense(6_000, "feed", season=2026)

    with django_assert_num_queries(4):
        newer, older = read.all_seasons()

    assert (newer.grams, newer.total_cents, newer.cost_cents) == (200_000, 11_000, 90_000)
    assert (older.grams, older.total_cents, older.cost_cents) == (150_000, None, None)
    assert (newer.season, older.season) == (2026, 2025)

    # Of one whole season the lots have their shares; of the other one lot lacks a cost.
    seasons.spread(2026)
    with django_assert_num_queries(5):
        newer, older = read.all_seasons()
    assert (newer.is_spread, newer.total_cents, newer.cost_cents) == (True, 11_000, 11_000)
    assert (older.is_spread, older.total_cents, older.cost_cents) == (False, None, None)
    assert (older.grams, older.per_pound) == (150_000, None)


def test_a_season_is_spread_only_where_each_extraction_costs_its_share(db):
    builders.lot_in(builders.place("t1"), 100_000, season=2026, cost_cents=4_000)
    builders.lot_in(builders.place("t2"), 100_000, season=2026, cost_cents=6_000)
    expense(10_000, season=2026)

    [unequal] = read.all_seasons()
    assert (unequal.cost_cents, unequal.is_spread) == (10_000, False)
    seasons.spread(2026)
    [equal] = read.all_seasons()
    assert (equal.cost_cents, equal.is_spread) == (10_000, True)


def test_a_page_of_a_season_has_fifty_extractions_and_the_total_of_all(office):
    for number in range(51):
        builders.lot_in(builders.place(f"t{number}"), 1_000, season=2026, cost_cents=100)

    first = office.get(reverse("pricing:season", args=[2026]))
    last = office.get(reverse("pricing:season", args=[2026]), {"page": 2})

    assert (len(first.context["page"]), len(last.context["page"])) == (50, 1)
    assert "The total is of all pages." in first.text
    assert "$51.00" in last.text


@pytest.mark.parametrize("role", ["bottling", "stand"])
def test_who_does_not_manage_prices_sees_no_costs(client, db, role):
    client.force_login(builders.person(role))
    lot = builders.lot_in(builders.place("t1"))
    row = expense(5_000)

    for address in (
        reverse("pricing:honey_cost"),
        reverse("pricing:season", args=[2026]),
        reverse("pricing:expense_add"),
        reverse("pricing:lot_cost", args=[lot.code]),
    ):
        assert client.get(address).status_code == 403
    assert client.post(reverse("pricing:season_spread", args=[2026])).status_code == 403
    assert client.post(reverse("pricing:expense_remove", args=[row.pk])).status_code == 403
    assert SeasonExpense.objects.count() == 1
