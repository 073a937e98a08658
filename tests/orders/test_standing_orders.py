"""Standing orders: their days, what they propose, and confirming it in one step."""

from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.utils import timezone

from apiary_sales.orders.models import Order
from apiary_sales.orders.queries import standing_orders as found
from apiary_sales.orders.rules import rhythm
from apiary_sales.orders.rules.pieces import PiecesWanted
from apiary_sales.orders.services import standing_orders
from apiary_sales.orders.services.standing_orders import DueOrder
from apiary_sales.orders.trade_models import StandingOrderDay
from apiary_sales.pricing.models import PiecePrice
from inventory.shared.errors import AlreadyRecorded, BadValue, HouseError, NotAllowedNow
from tests import builders

pytestmark = pytest.mark.django_db

MONDAY = date(2026, 1, 5)


@pytest.mark.parametrize(
    ("every", "starts_on", "upto", "last", "following"),
    [
        ("weekly", MONDAY, date(2026, 1, 4), None, MONDAY),
        ("weekly", MONDAY, MONDAY, MONDAY, date(2026, 1, 12)),
        ("weekly", MONDAY, date(2026, 1, 11), MONDAY, date(2026, 1, 12)),
        ("weekly", MONDAY, date(2026, 1, 12), date(2026, 1, 12), date(2026, 1, 19)),
        ("fortnightly", MONDAY, date(2026, 1, 18), MONDAY, date(2026, 1, 19)),
        ("fortnightly", MONDAY, date(2026, 1, 19), date(2026, 1, 19), date(2026, 2, 2)),
        ("monthly", date(2026, 1, 31), date(2026, 2, 27), date(2026, 1, 31), date(2026, 2, 28)),
        ("monthly", date(2026, 1, 31), date(2026, 2, 28), date(2026, 2, 28), date(2026, 3, 31)),
        ("monthly", date(2025, 12, 15), date(2026, 1, 14), date(2025, 12, 15), date(2026, 1, 15)),
        ("monthly", date(2025, 12, 15), date(2025, 12, 15), date(2025, 12, 15), date(2026, 1, 15)),
    ],
)
def test_the_days_of_a_rhythm(every, starts_on, upto, last, following):
    days = {"starts_on": starts_on, "ends_on": None}

    assert rhythm.last_due(every, upto=upto, **days) == last
    assert rhythm.next_due(every, after=upto, **days) == following


def test_a_rhythm_ends_on_its_last_day():
    days = {"starts_on": MONDAY, "ends_on": date(2026, 1, 12)}

    assert rhythm.last_due("weekly", upto=date(2026, 2, 1), **days) == date(2026, 1, 12)
    assert rhythm.next_due("weekly", after=date(2026, 1, 5), **days) == date(2026, 1, 12)
    assert rhythm.next_due("weekly", after=date(2026, 1, 12), **days) is None


@pytest.fixture
def today():
    return timezone.localdate()


@pytest.fixture
def stocked(jars, shelf):
    PiecePrice.objects.create(
        tier="shop", product=jars, piece_cents=650, valid_from=date(2026, 1, 1)
    )
    return builders.packed_lot(jars, shelf, 30)


@pytest.fixture
def weekly(shop, jars, owner, key, today):
    def make(pieces=12, **fields):
        return standing_orders.set_up(
            **{
                "customer": shop,
                "channel": "shop",
                "rhythm": "weekly",
                "lines": [PiecesWanted(jars, pieces)],
                "starts_on": today - timedelta(days=7),
                "created_by": owner,
                "key": key(),
                **fields,
            }
        )

    return make


def due(proposals):
    return [DueOrder(each.standing, each.due_on, each.lines) for each in proposals]


def test_a_standing_order_proposes_an_order_at_the_price_of_the_day(stocked, weekly, today, shop):
    weekly()

    [proposal] = found.proposals(today)

    assert (proposal.standing.customer, proposal.due_on) == (shop, today)
    assert [(line.pieces, line.unit_price) for line in proposal.proposed] == [
        (12, Decimal("6.5000"))
    ]
    assert proposal.total_cents == 7_800
    assert proposal.can_be_taken


def test_confirmed_in_one_step_the_orders_are_taken_and_proposed_no_more(
    stocked, weekly, today, owner, key
):
    weekly()
    weekly(6, rhythm="monthly", starts_on=today)

    made = standing_orders.confirm(due=due(found.proposals(today)), confirmed_by=owner, key=key())

    assert [order.total_cents for order in made] == [7_800, 3_900]
    assert {order.wanted_on for order in made} == {today}
    assert found.proposals(today) == []
    [again] = found.proposals(today + timedelta(days=7))
    assert again.due_on == today + timedelta(days=7)


def test_all_or_none_is_taken_and_each_refusal_names_its_customer(
    stocked, weekly, today, owner, key
):
    weekly(20)
    weekly(20)
    proposals = found.proposals(today)
    assert [each.lacks for each in proposals] == [False, True]

    with pytest.raises(HouseError, match="Corner Grocery: Not enough One pound") as refused:
        standing_orders.confirm(due=due(proposals), confirmed_by=owner, key=key())

    assert [each.parameter for each in refused.value.problems] == ["due.1"]
    assert not Order.objects.exists()
    assert not StandingOrderDay.objects.exists()


def test_the_same_confirmation_sent_twice_takes_the_orders_once(stocked, weekly, today, owner, key):
    weekly()
    proposals = due(found.proposals(today))
    standing_orders.confirm(due=proposals, confirmed_by=owner, key="twice")

    with pytest.raises(AlreadyRecorded):
        standing_orders.confirm(due=proposals, confirmed_by=owner, key="twice")
    with pytest.raises(NotAllowedNow, match="was taken already"):
        standing_orders.confirm(due=proposals, confirmed_by=owner, key=key())

    assert Order.objects.count() == 1


def test_a_day_that_is_left_out_is_proposed_no_more(stocked, weekly, today, owner, key):
    standing = weekly()

    standing_orders.leave_out(standing=standing, due_on=today, decided_by=owner, key=key())

    assert found.proposals(today) == []
    with pytest.raises(BadValue, match="is no day of this standing order"):
        standing_orders.leave_out(
            standing=standing, due_on=today + timedelta(days=1), decided_by=owner, key=key()
        )


def test_a_paused_standing_order_proposes_nothing_until_it_is_resumed(stocked, weekly, today):
    standing = standing_orders.pause(standing=weekly(), is_paused=True)
    assert found.proposals(today) == []
    assert found.next_day(standing, today) is None

    standing_orders.pause(standing=standing, is_paused=False)
    assert len(found.proposals(today)) == 1


def test_a_product_without_a_price_is_named_and_not_taken(jars, shelf, weekly, today):
    builders.packed_lot(jars, shelf, 30)
    weekly()

    [proposal] = found.proposals(today)

    assert proposal.unpriced == [jars]
    assert not proposal.can_be_taken


def test_a_changed_standing_order_proposes_what_it_says_now(stocked, weekly, jars, today):
    standing = weekly()

    standing_orders.change(
        standing=standing,
        rhythm="fortnightly",
        lines=[PiecesWanted(jars, 5)],
        starts_on=today,
    )

    [proposal] = found.proposals(today + timedelta(days=13))
    assert proposal.due_on == today
    assert [line.pieces for line in proposal.proposed] == [5]


def test_proposals_take_a_constant_number_of_queries(
    stocked, weekly, today, django_assert_num_queries
):
    weekly(1)
    with django_assert_num_queries(8):
        found.proposals(today)

    for _number in range(4):
        weekly(1)

    with django_assert_num_queries(8):
        found.proposals(today)
