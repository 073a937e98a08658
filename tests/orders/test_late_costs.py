"""Goods sold before their cost was known, and the cost they get later."""

import re
from datetime import timedelta
from decimal import Decimal

import pytest
from django.utils import timezone
from django.utils.html import strip_tags

from apiary_sales.orders.late_cost_models import LateCosting
from apiary_sales.orders.late_costs import sold_without_cost
from apiary_sales.orders.models import FulfilmentLine, OrderLine
from apiary_sales.orders.rules.lines import LineWanted
from apiary_sales.orders.rules.returns import GoodsBack
from apiary_sales.orders.services import late_costs, orders, returns
from apiary_sales.pricing.services import service_list
from inventory.shared.errors import AlreadyRecorded, NotAllowedNow
from inventory.shared.services import books_lock
from inventory.stock.models import Lot, ProductionSettings
from tests import builders


@pytest.fixture
def sell(shop, jar_line, owner, key):
    """Return a maker of a sale of jars, handed over at once."""

    def make(pieces, **fields):
        order = orders.take(
            customer=shop,
            channel="shop",
            lines=[jar_line(pieces, **fields)],
            created_by=owner,
            key=key(),
        )
        return orders.fulfil(order=order, filled_by=owner, key=key())

    return make


@pytest.fixture
def cost(owner, key):
    def make(**asked):
        return late_costs.cost(recorded_by=owner, key=key(), **asked)

    return make


def costs():
    return list(FulfilmentLine.objects.order_by("id").values_list("cost_cents", flat=True))


def cost_is(lot, cents):
    Lot.objects.filter(pk=lot.pk).update(cost_cents=cents)


def test_sales_of_a_lot_costed_late_come_to_the_cost_of_the_lot(sell, cost, jars, shelf):
    """7 jars at 10.00: 3 cost 428.57 → 4.29, and 4 more the rest, 5.71."""
    lot = builders.packed_lot(jars, shelf, 7)
    sell(3)
    sell(4)
    cost_is(lot, 1_000)

    made = cost()

    assert costs() == [429, 571]
    assert list(OrderLine.objects.order_by("id").values_list("cost_cents", flat=True)) == [429, 571]
    assert list(made.lines.values_list("cost_cents", flat=True)) == [429, 571]
    assert sold_without_cost().lines == []


def test_a_cost_that_was_known_is_never_changed(sell, cost, jars, shelf):
    lot = builders.packed_lot(jars, shelf, 10, cost_cents=1_000)
    sell(2)
    other = builders.packed_lot(builders.product("Quart"), shelf, 4)
    sell(1, product=other.product)
    cost_is(lot, 5_000)
    cost_is(other, 400)

    cost()

    assert costs() == [200, 100]


def test_what_has_still_no_cost_stays_unknown_and_alone_it_is_refused(sell, cost, jars, shelf):
    builders.packed_lot(jars, shelf, 4)
    sell(1)

    with pytest.raises(NotAllowedNow) as refused:
        cost()

    assert str(refused.value) == (
        "Nothing that was sold without a cost has one by now. Enter the costs first."
    )
    assert costs() == [None]


def test_at_the_average_a_late_cost_is_that_of_the_day_it_was_sold(sell, cost, jars, shelf):
    """2 at 1.00 and 2 at 3.00, one sold: 2.00. Then 97 at 9.00 came, and one is sold: 8.79."""
    ProductionSettings(cost_method=ProductionSettings.CostMethod.WEIGHTED_AVERAGE).save()
    builders.packed_lot(jars, shelf, 2, cost_cents=200)
    late = builders.packed_lot(jars, shelf, 2)
    sell(1)
    builders.packed_lot(jars, shelf, 97, cost_cents=97 * 900)
    sell(1)
    cost_is(late, 600)

    cost()

    # (3 × 2.00 + 97 × 9.00) / 100 = 8.79
    assert costs() == [200, 879]


def test_a_row_of_a_season_says_how_little_of_its_honey_is_in_it(client, sell, jars, shelf):
    """500 g of 10,500 g are 4.8 %."""
    client.force_login(builders.person("office"))
    of_2026 = builders.lot_in(builders.place("a"), 10_000, season=2026)
    of_2025 = builders.lot_in(builders.place("b"), 10_000, season=2025)
    blend = builders.packed_lot(jars, shelf, 4, parent=of_2026)
    blend.parent_links.update(grams=10_000)
    blend.parent_links.create(parent=of_2025, grams=500)
    quarts = builders.product("Quart")
    builders.packed_lot(quarts, shelf, 4, parent=of_2025)
    sell(1)
    sell(1, product=quarts)

    page = " ".join(strip_tags(client.get("/selling/without-cost/?season=2025").text).split())

    assert page.count("has some honey of 2025") == 1
    assert "has some honey of 2025: about 5 %" in page


def test_a_season_costs_what_has_its_honey_in_it_through_a_blend(sell, cost, jars, shelf):
    other = builders.product("Quart")
    of_2025 = builders.lot_in(builders.place("a"), 10_000, season=2026)
    blend = builders.packed_lot(jars, shelf, 4, parent=of_2025)
    blend.parent_links.create(
        parent=builders.lot_in(builders.place("b"), 10_000, season=2025), grams=500
    )
    alone = builders.packed_lot(other, shelf, 4)
    sell(1)
    sell(1, product=other)
    cost_is(blend, 400)
    cost_is(alone, 800)

    cost(season=2025)

    assert costs() == [100, None]


def test_what_came_back_before_gets_its_share(sell, cost, jars, shelf, owner, key):
    """6 jars of 10 that cost 10.00; 2 are back on the shelf: 6.00 less 2.00."""
    lot = builders.packed_lot(jars, shelf, 10)
    done = sell(6)
    returns.record(
        order=done.order,
        goods_back=[GoodsBack(done.lines.get(), 2, shelf)],
        recorded_by=owner,
        key=key(),
        reason="too many",
    )
    cost_is(lot, 1_000)

    cost()

    row = done.lines.get()
    assert (row.cost_cents, row.returned_cost_cents) == (600, 200)
    assert row.returns.get().cost_cents == 200
    assert row.order_line.cost_cents == 400


def test_undone_the_goods_are_without_a_cost_again_also_what_came_back_since(
    sell, cost, jars, shelf, owner, key
):
    lot = builders.packed_lot(jars, shelf, 10)
    done = sell(6)
    cost_is(lot, 1_000)
    made = cost()
    returns.record(
        order=done.order,
        goods_back=[GoodsBack(done.lines.get(), 2, shelf)],
        recorded_by=owner,
        key=key(),
        reason="too many",
    )

    undoing = late_costs.undo(costing=made, recorded_by=owner, key=key())

    row = done.lines.get()
    assert (row.cost_cents, row.returned_cost_cents) == (None, 0)
    assert row.returns.get().cost_cents is None
    assert row.order_line.cost_cents is None
    assert undoing.undoes == made
    with pytest.raises(NotAllowedNow) as refused:
        late_costs.undo(costing=made, recorded_by=owner, key=key())
    assert str(refused.value) == "This was undone already."
    cost()
    assert costs() == [600]


def test_the_same_form_twice_costs_once(sell, jars, shelf, owner):
    lot = builders.packed_lot(jars, shelf, 10)
    sell(6)
    cost_is(lot, 1_000)
    made = late_costs.cost(recorded_by=owner, key="once")

    with pytest.raises(AlreadyRecorded) as repeat:
        late_costs.cost(recorded_by=owner, key="once")

    assert repeat.value.made == made
    assert LateCosting.objects.count() == 1


def test_what_was_taken_back_is_not_sold_and_gets_no_cost(sell, jars, shelf, owner, key):
    lot = builders.packed_lot(jars, shelf, 10)
    done = sell(6)
    orders.take_back(fulfilment=done, taken_by=owner, key=key(), reason="wrong shop")
    cost_is(lot, 1_000)

    assert sold_without_cost().lines == []


@pytest.mark.parametrize("sales", [1, 12])
def test_what_was_sold_without_a_cost_is_read_in_so_many_queries(
    sales, sell, jars, shelf, django_assert_num_queries
):
    builders.packed_lot(jars, shelf, 20)
    for _each in range(sales):
        sell(1)

    with django_assert_num_queries(7):
        assert len(sold_without_cost(2026).lines) == sales


def test_the_page_says_what_can_be_costed_costs_it_and_undoes_it(client, sell, jars, shelf):
    client.force_login(builders.person("office"))
    lot = builders.packed_lot(jars, shelf, 10)
    unknown = builders.packed_lot(builders.product("Quart"), shelf, 4, code="L-unknown")
    sell(6)
    sell(2, product=unknown.product)
    cost_is(lot, 1_000)

    shown = client.get("/selling/without-cost/").text
    money = '<span class="money">$39.00</span>'
    assert f"1 line sold for {money} had no cost when it was sold; now its cost is known." in shown
    assert "A part in lot L-unknown has no price." in shown

    done = client.post("/selling/without-cost/", {"key": "once"}, follow=True)
    assert "1 line that was sold without a cost has one now: $6.00." in done.text
    assert costs() == [600, None]

    undone = client.post(f"{done.request['PATH_INFO']}undo/", {"key": "back"}, follow=True)
    assert "Undone. What was costed then has no cost again." in undone.text
    assert costs() == [None, None]


def hidden(page, name):
    [value] = re.findall(f'name="{name}" value="([^"]*)"', page)
    return value


def test_costs_that_changed_since_they_were_shown_are_shown_anew_and_not_recorded(
    client, sell, jars, shelf
):
    client.force_login(builders.person("office"))
    lot = builders.packed_lot(jars, shelf, 10)
    other = builders.packed_lot(builders.product("Quart"), shelf, 4)
    sell(6)
    sell(1, product=other.product)
    cost_is(lot, 1_000)
    asked = "/selling/without-cost/?season=2026"
    names = ("key", "season", "expected_total_cents", "expected_lines")

    def send(page):
        return client.post(asked, {name: hidden(page, name) for name in names}, follow=True)

    shown = client.get(asked).text
    cost_is(lot, 1_500)
    dearer = send(shown)
    cost_is(other, 400)
    more = send(dearer.text)
    before = costs()
    done = send(more.text)

    told = "The figures have changed: it comes to $9.00 now, and $6.00 was shown."
    assert (dearer.status_code, told in dearer.text) == (422, True)
    told = "The figures have changed: 2 lines can be costed now, for $10.00, and 1 was shown."
    assert (more.status_code, told in more.text) == (422, True)
    assert (before, done.status_code) == ([None, None], 200)
    assert costs() == [900, 100]


def test_undoing_says_where_the_cost_is_taken_off_when_the_books_are_closed(
    client, sell, cost, jars, shelf, owner, key
):
    lot = builders.packed_lot(jars, shelf, 10)
    sell(6)
    cost_is(lot, 1_000)
    made = cost()
    client.force_login(builders.person("office"))
    told = "the journal takes the cost off on the first open day"
    assert told not in client.get(f"/selling/late-costs/{made.pk}/undo/").text

    books_lock.close(until=timezone.localdate() - timedelta(days=1), locked_by=owner, key=key())

    assert told in client.get(f"/selling/late-costs/{made.pk}/undo/").text


def test_a_service_without_a_cost_leads_to_where_its_cost_is_entered(client, shop, owner, key):
    service = service_list.add(name="Delivery", unit="each")
    wanted = LineWanted(OrderLine.Kind.SERVICE, 100, Decimal("35.00"), service=service)
    order = orders.take(
        customer=shop, channel="service", lines=[wanted], created_by=owner, key=key()
    )
    orders.fulfil(order=order, filled_by=owner, key=key())
    client.force_login(builders.person("office"))

    shown = client.get("/selling/without-cost/").text

    assert "The cost of this service is not entered." in shown
    assert f'href="/prices/services/{service.code}/"' in shown


def test_only_who_manages_prices_costs_late(client, shelf):
    client.force_login(builders.person("stand"))

    assert client.get("/selling/without-cost/").status_code == 403
