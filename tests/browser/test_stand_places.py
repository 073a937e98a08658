"""One page sells for every place, with and without signal; a basket stays at its place."""

from datetime import timedelta

import pytest
from django.utils import timezone

from apiary_sales.billing.models import StandSale
from inventory.stock.models import Place
from tests import builders
from tests.browser.conftest import PHONE
from tests.browser.tills import (
    at,
    go_to,
    open_till,
    sees,
    sees_no,
    sell_one,
    stock_says,
    tap,
    wait_until,
)


@pytest.fixture
def van(pounds):
    place = builders.place("van", Place.Kind.VAN, name="Van")
    builders.packed_lot(pounds, place, 6)
    return place


@pytest.fixture
def both(sign_in, van):
    page = sign_in("stand", PHONE)
    page.goto("/stand/")
    open_till(page)
    stock_says(page, "one-pound", "24 here")
    return page


def test_the_chosen_place_is_remembered_and_its_stock_is_shown(both):
    go_to(both, "van")
    stock_says(both, "one-pound", "6 here")

    both.goto("/stand/")

    stock_says(both, "one-pound", "6 here")
    assert both.locator("#till-place").input_value() == "van"


def test_a_basket_is_kept_at_its_place_through_a_change_of_place_and_a_reload(both):
    tap(both, "One pound")
    go_to(both, "van")
    sees(both, "The sale at Stand is not finished: 1 in the basket.")
    tap(both, "Keep the basket at Stand")
    sees_no(both, "1 piece · $8.00")

    both.reload()
    open_till(both)
    go_to(both, "stand")

    sees(both, "1 piece · $8.00")


def test_a_basket_is_taken_along_only_when_asked_to(both, pounds):
    tap(both, "One pound")
    go_to(both, "van")
    tap(both, "Stay at Stand")
    assert both.locator("#till-place").input_value() == "stand"

    go_to(both, "van")
    tap(both, "Take the basket to Van")
    sees(both, "1 piece · $8.00")
    tap(both, "Pay")
    tap(both, "Take $8.00")
    sees(both, "Recorded on receipt")

    assert (at("stand", pounds), at("van", pounds)) == (24, 5)


def test_without_signal_each_place_sells_and_each_sale_is_booked_where_it_was_made(both, pounds):
    both.context.set_offline(True)
    sees(both, "No signal")
    sell_one(both)
    both.reload()
    open_till(both)
    stock_says(both, "one-pound", "23 here")
    go_to(both, "van")
    stock_says(both, "one-pound", "6 here")
    sell_one(both)
    sees(both, "2 sales are waiting to be sent.")
    assert not StandSale.objects.exists()

    both.context.set_offline(False)
    wait_until(lambda: StandSale.objects.count() == 2)
    stock_says(both, "one-pound", "5 here")

    sold = StandSale.objects.values_list("place__code", flat=True)
    assert sorted(sold) == ["stand", "van"]
    assert (at("stand", pounds), at("van", pounds)) == (23, 5)


def test_the_page_says_how_old_prices_and_stock_are(both):
    sees(both, "Prices and stock of ")
    both.context.set_offline(True)
    later = timezone.now() + timedelta(hours=5, minutes=10)
    both.clock.set_fixed_time(later)

    both.reload()

    sees(both, "Prices and stock are 5 hours old.")
