"""What who sells at the stand sees first: takings, stock, what to bring, and what did not fit."""

from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from apiary_sales.accounts.services import people
from apiary_sales.billing.services import stand as stand_sales
from apiary_sales.billing.services.stand import PaymentMade
from apiary_sales.orders.models import Order
from apiary_sales.orders.services import orders
from inventory.stock.models import Place
from tests import builders
from tests.billing.conftest import jars, queries_of
from tests.inventory.pages import text

pytestmark = pytest.mark.django_db


@pytest.fixture
def suki():
    return people.add(username="suki", name="Suki", role="stand", password="beeswax-and-twine")


@pytest.fixture
def sell(stand, suki):
    def sell(product, pieces, method="cash", **more):
        given = 100_000 if method == "cash" else None
        fields = {"place": stand, "sold_by": suki, "key": builders.new_key()}
        return stand_sales.sell(
            lines=[jars(product, pieces, "8.00")],
            payments=[PaymentMade(method, tendered_cents=given)],
            **{**fields, **more},
        )

    return sell


@pytest.fixture
def page(client):
    def page(person):
        client.force_login(person)
        answer = client.get(reverse("web:today"))
        assert answer.status_code == 200
        return answer

    return page


def glance(answer, code="stand"):
    return next(each for each in answer.context["today"].glances if each.place.code == code)


def test_takings_of_the_day_are_told_by_way_and_by_person(page, sell, pounds, suki, stand):
    office = builders.person("office")
    sell(pounds, 2)
    sell(pounds, 1, method="card", on_top_cents=0)
    sell(pounds, 1, sold_by=office)
    sell(pounds, 1, sold_at=timezone.now() - timedelta(days=1))
    undone = sell(pounds, 1)
    stand_sales.take_back(
        receipt=undone.receipt, taken_by=suki, key=builders.new_key(), reason="Mistake"
    )

    answer = page(suki)

    shown = glance(answer)
    assert (shown.sales, shown.cents) == (3, 3_200)
    assert shown.ways == [("card", 800), ("cash", 2_400)]
    assert [(row.name, row.sales, row.cents) for row in shown.people] == [
        ("Suki", 2, 2_400),
        ("Office", 1, 800),
    ]
    assert "Suki: $24.00 in 2 sales" in text(answer)


def test_what_runs_low_comes_first_with_what_to_bring_from_the_shelf(
    page, sell, pounds, quarts, suki
):
    # 24 pounds were there and 15 sold: 9 are left, below what sold in two weeks and the mark of 12.
    sell(pounds, 15)
    # 6 quarts were there and 1 sold: 5 are left.
    sell(quarts, 1)

    answer = page(suki)

    shown = glance(answer)
    assert [(row.product.name, row.free, row.sold, row.is_low) for row in shown.stock] == [
        ("One pound", 9, 15, True),
        ("Three pound", 5, 1, False),
    ]
    assert [(row.product.name, row.bring) for row in shown.to_bring] == [("One pound", 6)]
    assert "6 pieces One pound" in text(answer)


def test_no_more_is_brought_than_the_shelf_has_and_what_it_lacks_is_said(
    page, sell, pounds, stand, suki
):
    comb = builders.product("Comb", code="comb")
    builders.packed_lot(comb, stand, 4, code="C26-1")
    sell(comb, 3)

    shown = glance(page(suki))

    assert [(row.product.name, row.free, row.bring) for row in shown.missing] == [("Comb", 1, 0)]


def test_a_product_that_is_low_only_by_its_own_mark_is_low_here(page, pounds, suki, sell):
    # 13 sold more than two weeks ago: 11 are left, below the mark of 12.
    sell(pounds, 13, sold_at=timezone.now() - timedelta(days=20))

    [row] = glance(page(suki)).stock

    assert (row.free, row.sold, row.is_low, row.bring) == (11, 0, True, 1)


def test_stand_and_van_are_shown_and_neither_shelf_nor_tanks(page, pounds, suki):
    builders.lot_in(builders.place("tank-1", name="Holding tank"), 900_000)
    builders.place("van", Place.Kind.VAN, name="Van")

    answer = page(suki)

    assert {each.place.code for each in answer.context["today"].glances} == {"stand", "van"}
    shown = text(answer)
    assert "In tanks" not in shown
    assert "Last runs" not in shown
    assert "Packing shelf" not in shown
    assert f'href="{reverse("billing:stand")}"' in answer.text
    assert f'href="{reverse("inventory:count_now", args=["stand"])}"' in answer.text


def test_a_sale_that_did_not_fit_is_told_to_its_seller_and_counted_for_the_office(
    page, sell, pounds, suki
):
    sell(pounds, 30, has_happened=True)

    mine = text(page(suki))
    other = text(page(builders.person("stand")))
    office = text(page(builders.person("office")))

    assert "Your sales that somebody should look at" in mine
    assert "too few at Stand" in mine
    assert "More was sold than the books had" in mine
    assert "Your sales that somebody should look at" not in other
    assert "Sales at the stand to look at: 1" in office


def test_orders_to_be_picked_up_are_told_with_their_day(page, pounds, suki, shop):
    orders.take(
        customer=shop,
        channel=Order.Channel.SHOP,
        lines=[jars(pounds, 4)],
        created_by=builders.person("owner"),
        key=builders.new_key(),
        wanted_on=timezone.localdate() + timedelta(days=2),
    )

    shown = text(page(suki))

    assert "Corner Grocery, Sep 12, 2026" in shown


def test_an_empty_house_is_told_in_words(page, house, suki):
    nowhere = text(page(suki))
    builders.place("stand", Place.Kind.STAND, name="Stand")
    empty = text(page(suki))

    assert "There is no stand yet" in nowhere
    assert "The books have nothing for sale here" in empty
    assert "No order is waiting to be picked up." in empty


def test_the_page_takes_the_same_number_of_questions_however_much_was_sold(
    client, page, sell, pounds, quarts, suki
):
    sell(pounds, 1)
    page(suki)
    few = queries_of(client, reverse("web:today"))
    builders.place("van", Place.Kind.VAN, name="Van")
    for _sale in range(3):
        sell(quarts, 1)
        sell(pounds, 1, sold_by=builders.person("office"))

    assert queries_of(client, reverse("web:today")) == few
