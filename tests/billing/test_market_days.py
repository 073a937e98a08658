"""Market days: planned, loaded, unloaded and reckoned up; each figure is in the books once."""

from datetime import date, time, timedelta

import pytest
import time_machine

from apiary_sales.billing import market_sums
from apiary_sales.billing.models import Expense, MarketDay, StandSale
from apiary_sales.billing.queries import books
from apiary_sales.billing.queries import market_days as found
from apiary_sales.billing.services import expenses, market_days, market_unloading, stand
from apiary_sales.billing.services.market_unloading import CameHome
from apiary_sales.billing.services.stand import PaymentMade
from apiary_sales.orders.rules.pieces import PiecesWanted
from inventory.shared.errors import (
    AlreadyRecorded,
    BadValue,
    CannotReverse,
    NotAllowedNow,
    NotEnoughStock,
    SeveralProblems,
)
from inventory.stock.models import Balance, Place, Posting
from inventory.stock.queries import books as stock_books
from tests import builders
from tests.billing.conftest import NOON, TODAY, jars

pytestmark = pytest.mark.django_db


@pytest.fixture
def van(house):
    return builders.place("van", Place.Kind.VAN, name="Van")


def plan(van, shelf, *lines, day=TODAY, market="Mill Square", **more):
    return market_days.plan(
        place=more.pop("place", van),
        day=day,
        market=market,
        opens_at=more.pop("opens_at", time(8)),
        closes_at=more.pop("closes_at", time(13)),
        source=shelf,
        **more,
        lines=[PiecesWanted(product, pieces) for product, pieces in lines],
        planned_by=builders.person("stand"),
        key=builders.new_key(),
    )


def load(market_day, *lines, key=None):
    return market_days.load(
        market_day=market_day,
        lines=[PiecesWanted(product, pieces) for product, pieces in lines],
        loaded_by=builders.person("stand"),
        key=key or builders.new_key(),
    )


def sell(van, *lines, **more):
    return stand.sell(
        lines=lines,
        place=van,
        payments=[PaymentMade("cash", tendered_cents=100_000)],
        sold_by=builders.person("stand"),
        key=builders.new_key(),
        **more,
    )


def unload(market_day, *lines, target=None, **more):
    return market_unloading.unload(
        market_day=market_day,
        lines=lines,
        target=target,
        unloaded_by=builders.person("stand"),
        key=more.pop("key", None) or builders.new_key(),
        **more,
    )


def pieces(product, place):
    found = Balance.objects.filter(item=product.item, place=place)
    return sum(balance.quantity for balance in found)


def no_faults():
    return [*books.faults(), *stock_books.faults()] == []


def test_what_is_loaded_is_carried_in_one_posting_oldest_lots_first(van, shelf, pounds, quarts):
    builders.packed_lot(pounds, shelf, 12, code="P26-000", best_by=date(2027, 1, 31))
    market_day = plan(van, shelf, (pounds, 20), (quarts, 6))

    load(market_day, (pounds, 20), (quarts, 6))

    posting = market_day.load_posting
    assert posting.kind == Posting.Kind.TRANSFER
    came = posting.lines.filter(place=van).order_by("lot__code")
    assert [(line.lot.code, line.quantity) for line in came] == [
        ("P26-000", 12),
        ("P26-001", 8),
        ("P26-003", 6),
    ]
    assert no_faults()


def test_more_than_the_shelf_has_is_refused_at_its_product(van, shelf, pounds, quarts):
    market_day = plan(van, shelf, (pounds, 6))

    with pytest.raises(NotEnoughStock) as refused:
        load(market_day, (pounds, 6), (quarts, 37))

    assert refused.value.parameter == "lines.1.pieces"
    assert pieces(pounds, van) == 0


def test_the_same_loading_sent_twice_loads_once(van, shelf, pounds):
    market_day = plan(van, shelf, (pounds, 6))
    load(market_day, (pounds, 6), key="load-1")

    with pytest.raises(AlreadyRecorded):
        load(market_day, (pounds, 6), key="load-1")

    assert pieces(pounds, van) == 6


def test_one_place_has_one_market_a_day(van, shelf, pounds):
    first = plan(van, shelf, (pounds, 6))

    with pytest.raises(BadValue) as refused:
        plan(van, shelf, (pounds, 6), market="Harbour")

    assert (refused.value.parameter, refused.value.message) == (
        "day",
        "Van is at Mill Square on that day already. Sales count for one market only: choose "
        "another place or day.",
    )
    market_days.cancel(market_day=first)
    assert plan(van, shelf, (pounds, 6), market="Harbour").market == "Harbour"


def test_a_market_is_sold_at_from_a_van_or_a_stand(shelf, pounds):
    other = builders.place("cold", Place.Kind.SHELF)

    with pytest.raises(BadValue) as refused:
        plan(other, shelf, (pounds, 6))

    assert refused.value.parameter == "place"


def test_undone_loading_brings_the_goods_back_unless_some_are_sold(van, shelf, pounds):
    market_day = load(plan(van, shelf, (pounds, 6)), (pounds, 6))
    market_days.undo_load(
        market_day=market_day, undone_by=builders.person("stand"), key=builders.new_key()
    )
    assert (pieces(pounds, van), pieces(pounds, shelf)) == (0, 96)

    load(market_day, (pounds, 6))
    sell(van, jars(pounds, 1, "8.00"))
    with pytest.raises((CannotReverse, NotEnoughStock)):
        market_days.undo_load(
            market_day=market_day, undone_by=builders.person("stand"), key=builders.new_key()
        )
    assert no_faults()


def test_what_came_home_is_carried_to_the_shelf(van, shelf, pounds):
    market_day = load(plan(van, shelf, (pounds, 24)), (pounds, 24))
    sell(van, jars(pounds, 10, "8.00"))

    unload(market_day, CameHome(pounds, 14), target=shelf)

    assert (pieces(pounds, van), pieces(pounds, shelf)) == (0, 96 - 10)
    assert no_faults()


def test_missing_pieces_are_asked_about(van, shelf, pounds):
    market_day = load(plan(van, shelf, (pounds, 24)), (pounds, 24))
    sell(van, jars(pounds, 10, "8.00"))

    with pytest.raises(BadValue) as refused:
        unload(market_day, CameHome(pounds, 11), target=shelf)

    assert (refused.value.parameter, refused.value.message) == (
        "lines.0.pieces",
        "14 should be there and 11 came home, so 3 pieces are missing. Say below "
        "whether they were sold and not entered, broken or given as samples, or tick that it is a "
        "difference of count.",
    )
    assert pieces(pounds, van) == 14


def test_what_became_of_missing_pieces_is_booked_as_what_it_was(van, shelf, pounds):
    market_day = load(plan(van, shelf, (pounds, 24)), (pounds, 24))
    sell(van, jars(pounds, 10, "8.00"))

    unload(
        market_day,
        CameHome(pounds, 9, sold=2, broken=1, samples=1),
        target=shelf,
        differences_are_right=True,
    )

    market_day.refresh_from_db()
    assert market_day.missed_sale.total_cents == 1_600
    kinds = market_day.entries.values_list("posting__kind", flat=True)
    assert list(kinds) == ["transfer", "breakage", "gift", "count", "transfer"]
    assert (pieces(pounds, van), pieces(pounds, shelf)) == (0, 72 + 9)
    assert market_day.lines.get().difference == -1
    assert no_faults()


def test_more_than_was_there_is_counted_in_after_a_tick(van, shelf, pounds):
    market_day = load(plan(van, shelf, (pounds, 24)), (pounds, 24))

    with pytest.raises(BadValue):
        unload(market_day, CameHome(pounds, 25))
    with pytest.raises(BadValue) as refused:
        unload(market_day, CameHome(pounds, 25), differences_are_right=True)
    assert refused.value.parameter == "surplus_reason"
    unload(
        market_day,
        CameHome(pounds, 25),
        differences_are_right=True,
        surplus_reason="Filled one more than was recorded.",
    )

    assert pieces(pounds, van) == 25
    assert no_faults()


def test_explaining_more_than_is_missing_is_refused(van, shelf, pounds):
    market_day = load(plan(van, shelf, (pounds, 24)), (pounds, 24))

    with pytest.raises(BadValue) as refused:
        unload(market_day, CameHome(pounds, 23, broken=2), differences_are_right=True)

    assert refused.value.message == (
        "24 should be there and 23 came home, so fewer are missing than you explained. "
        "Check the figures."
    )


def test_everything_that_is_there_is_counted(van, shelf, pounds, quarts):
    market_day = load(plan(van, shelf, (pounds, 24), (quarts, 6)), (pounds, 24), (quarts, 6))

    with pytest.raises(BadValue) as refused:
        unload(market_day, CameHome(pounds, 24))

    assert refused.value.message == "Three pound: enter how many came home. Enter 0 if none did."


def test_an_undone_unloading_leaves_nothing_behind(van, shelf, pounds):
    market_day = load(plan(van, shelf, (pounds, 24)), (pounds, 24))
    unload(
        market_day,
        CameHome(pounds, 18, sold=2, broken=2),
        target=shelf,
        differences_are_right=True,
    )

    market_unloading.undo_unload(
        market_day=market_day,
        undone_by=builders.person("stand"),
        key=builders.new_key(),
        reason="Counted the wrong box",
    )

    assert pieces(pounds, van) == 24
    assert not StandSale.objects.standing().exists()
    assert found.result(market_day).total_cents == 0
    assert no_faults()
    unload(market_day, CameHome(pounds, 24), target=shelf)
    assert pieces(pounds, shelf) == 96


def test_unloading_waits_for_the_day_of_the_market(van, shelf, pounds):
    market_day = load(plan(van, shelf, (pounds, 24), day=TODAY + timedelta(days=1)), (pounds, 24))

    with pytest.raises(NotAllowedNow):
        unload(market_day, CameHome(pounds, 24))


def test_the_result_is_what_was_taken_less_what_it_cost(van, shelf, honey_tax, pounds):
    # 10 × 8.00 and 6.25 % of it; a fee of 25.00; 4 hours of work: (80.00 − 25.00) / 4 = 13.75
    market_day = load(plan(van, shelf, (pounds, 24)), (pounds, 24))
    sell(van, jars(pounds, 10, "8.00"))
    cost(market_day, 2_500)
    unload(market_day, CameHome(pounds, 14), target=shelf)
    market_days.close(market_day=market_day, labour_minutes=240)

    result = found.result(market_day)

    assert (result.total_cents, result.net_cents) == (8_500, 8_000)
    assert (result.sold, result.costs_cents) == ({pounds: 10}, 2_500)
    assert (result.earned_cents, result.hourly_cents) == (5_500, 1_375)
    assert result.goods_cost_is_known is False
    assert no_faults()


def cost(market_day, cents, **more):
    return market_days.enter_cost(
        market_day=market_day,
        payee="Mill Square Market",
        amount_cents=cents,
        paid_by="cash",
        entered_by=builders.person(),
        key=builders.new_key(),
        **more,
    )


def test_the_cost_of_the_goods_is_taken_off_where_it_is_known(van, shelf, pounds):
    candle = builders.goods("Candle", code="candle")
    builders.goods_lot(candle, shelf, 20, cost_cents=4_000)
    market_day = load(plan(van, shelf, (candle, 10)), (candle, 10))
    sell(van, jars(candle, 4, "5.00"))
    unload(market_day, CameHome(candle, 5, broken=1), target=shelf)

    result = found.result(market_day)

    # 4 sold and 1 broken at 2.00
    assert (result.goods_cost_cents, result.goods_cost_is_known) == (1_000, True)
    assert result.earned_cents == 2_000 - 1_000


def test_an_undone_expense_is_no_cost_of_the_market(van, shelf, pounds):
    market_day = plan(van, shelf, (pounds, 24))
    expense = cost(market_day, 2_500)

    expenses.undo(
        expense=expense, undone_by=builders.person(), key=builders.new_key(), reason="Twice"
    )

    assert found.result(market_day).costs_cents == 0
    assert Expense.objects.count() == 1


def test_a_sale_that_comes_in_late_is_in_the_result(van, shelf, pounds):
    market_day = load(plan(van, shelf, (pounds, 24)), (pounds, 24))
    unload(market_day, CameHome(pounds, 22), target=shelf, differences_are_right=True)

    with time_machine.travel(NOON + timedelta(days=1), tick=False):
        sell(van, jars(pounds, 2, "8.00"), sold_at=NOON, has_happened=True)

        assert found.result(market_day).sold == {pounds: 2}
        assert pieces(pounds, shelf) + pieces(pounds, van) == 94
        assert no_faults()


def test_what_was_loaded_on_paper_after_the_market_is_sold_once(van, shelf, pounds):
    with time_machine.travel(NOON + timedelta(hours=8), tick=False):
        market_day = load(plan(van, shelf, (pounds, 24)), (pounds, 24))
        unload(market_day, CameHome(pounds, 20, sold=4), target=shelf)

    assert (pieces(pounds, van), pieces(pounds, shelf)) == (0, 92)
    assert no_faults()


def test_sales_of_another_place_or_day_are_not_in_the_result(van, shelf, stand, pounds):
    market_day = load(plan(van, shelf, (pounds, 24)), (pounds, 24))
    stand_sale = sell(stand, jars(pounds, 1, "8.00"))
    with time_machine.travel(NOON + timedelta(days=1), tick=False):
        sell(van, jars(pounds, 1, "8.00"))

    assert stand_sale.total_cents == 800
    assert found.result(market_day).sales == 0


@pytest.mark.parametrize(
    ("sold", "per_case", "pieces"),
    [
        # 43 / 3 = 14.3, and a fifth more is 17.2: two cases of 12
        ([14, 18, 11], 12, 24),
        # 10 and a fifth more is 12: one case exactly
        ([10], 12, 12),
        ([11], 12, 24),
        ([5], 1, 6),
        ([0, 0], 12, 0),
    ],
)
def test_the_suggestion_is_the_mean_and_a_fifth_in_whole_cases(sold, per_case, pieces):
    assert market_sums.pieces_to_load(sold, per_case) == pieces


def test_the_suggestion_says_what_was_sold_on_the_last_days(van, shelf, pounds):
    for weeks, sold in ((3, 14), (2, 18), (1, 11)):
        with time_machine.travel(NOON - timedelta(weeks=weeks), tick=False):
            day = TODAY - timedelta(weeks=weeks)
            load(plan(van, shelf, (pounds, 24), day=day, market="Mill square"), (pounds, 24))
            sell(van, jars(pounds, sold, "8.00"))

    suggested = found.suggestions(market="Mill Square", place=van, day=TODAY)

    assert suggested[pounds].pieces == 24
    assert suggested[pounds].why == "Sold 11, 18 and 14 on the last 3 (Mill square)."


def test_a_new_market_is_suggested_by_its_weekday(van, shelf, pounds):
    with time_machine.travel(NOON - timedelta(weeks=1), tick=False):
        load(
            plan(van, shelf, (pounds, 24), day=TODAY - timedelta(weeks=1), market="Harbour"),
            (pounds, 24),
        )
        sell(van, jars(pounds, 5, "8.00"))

    suggested = found.suggestions(market="Mill Square", place=van, day=TODAY)

    assert suggested[pounds].why == "Sold 5 on the last one (Thursday)."
    assert found.suggestions(market="Mill Square", place=van, day=TODAY + timedelta(days=1)) == {}


def test_a_loaded_day_is_changed_and_cancelled_only_after_its_loading_is_undone(van, shelf, pounds):
    market_day = load(plan(van, shelf, (pounds, 24)), (pounds, 24))

    with pytest.raises(NotAllowedNow):
        market_days.cancel(market_day=market_day)

    assert MarketDay.objects.standing().count() == 1


def test_several_wrong_figures_of_a_plan_are_told_together(van, shelf, pounds):
    with pytest.raises(SeveralProblems) as refused:
        plan(van, van, (pounds, 24), market=" ", opens_at=time(13), closes_at=time(8))

    assert [problem.parameter for problem in refused.value.problems] == [
        "market",
        "source",
        "closes_at",
    ]
