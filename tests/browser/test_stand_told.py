"""What the till says of what it left out, of the house, of its clock, and where it leads.

A person counts the drawer by it: what is not among the takings is named beside them.
"""

import re
from datetime import timedelta

import pytest
from django.utils import timezone

from apiary_sales.billing.models import HandedInSale, StandSale
from apiary_sales.billing.services import honesty_boxes
from inventory.stock.models import Place
from tests import builders
from tests.browser.conftest import PHONE
from tests.browser.tills import (
    open_newest_sale,
    open_sales,
    open_till,
    sees,
    sees_no,
    sell_one,
    stock_says,
    tap,
    wait_until,
)

NOT_IN_TAKINGS = "$8.00 given to the office, not in these takings"
NOT_SURE = "The clock of this device is not sure until there is a signal."


def test_what_is_given_to_the_office_is_named_beside_the_takings_until_it_is_booked(till):
    sell_one(till)
    sees(till, "Recorded on receipt")
    till.context.set_offline(True)
    sees(till, "No signal")
    sell_one(till)
    open_newest_sale(till)
    sees(till, "Today at Stand: $16.00")
    sees_no(till, "not in these takings")

    tap(till, "Give to the office")
    till.locator("#till-reason").fill("It is not accepted")
    till.locator("dialog").get_by_role("button", name="Give to the office").tap()
    sees(till, NOT_IN_TAKINGS)
    sees(till, "Today at Stand: $8.00")
    till.reload()
    open_till(till)
    open_sales(till)
    sees(till, NOT_IN_TAKINGS)

    till.context.set_offline(False)
    wait_until(lambda: HandedInSale.objects.exists())
    sees(till, "given to the office", exact=True)
    sees(till, NOT_IN_TAKINGS)
    HandedInSale.objects.update(sale=StandSale.objects.get())
    till.reload()
    open_till(till)
    open_sales(till)
    sees(till, "Today at Stand: $8.00")
    sees_no(till, "not in these takings")


@pytest.mark.parametrize("status", [500, 502, 429])
def test_a_house_that_answers_badly_is_not_called_no_signal(till, status):
    till.context.route(
        re.compile("/stand/(sales|data)/$"), lambda route: route.fulfill(status=status, body="<p>")
    )

    sell_one(till)

    sees(till, "The house's computer does not answer properly. Go on selling")
    sees(till, "The house's computer does not answer properly. The sale is kept on this device")
    sees_no(till, "No signal")
    till.context.unroute_all()
    till.context.set_offline(True)
    sees(till, "No signal. Go on selling")


@pytest.mark.parametrize("days", [-300, 300])
def test_by_a_clock_that_can_not_be_right_the_takings_are_those_of_the_last_word(till, days):
    sell_one(till)
    sees(till, "Recorded on receipt")
    sell_one(till)
    stock_says(till, "one-pound", "22 here")
    wait_until(lambda: StandSale.objects.count() == 2)
    till.reload()
    open_till(till)
    open_sales(till)
    sees(till, "Today at Stand: $16.00")
    sees_no(till, NOT_SURE)
    till.context.set_offline(True)
    till.clock.set_fixed_time(timezone.now() + timedelta(days=days))

    till.reload()
    open_till(till)
    open_sales(till)

    sees(till, "At Stand: $16.00")
    sees(till, NOT_SURE)
    tap(till, "Back to the products")
    sell_one(till)
    open_sales(till)
    sees(till, "At Stand: $24.00")
    till.context.set_offline(False)
    sees_no(till, NOT_SURE)


def test_a_recorded_sale_has_a_receipt_for_the_buyer_where_the_house_has_an_address(till, settings):
    settings.ALLOWED_HOSTS = ["localhost", "127.0.0.1", "honey.example"]
    till.evaluate("() => { navigator.share = async (what) => { window.shared = what; }; }")
    sell_one(till)
    sees(till, "Recorded on receipt")
    till.context.set_offline(True)

    open_newest_sale(till)

    address = f"http://honey.example/r/{StandSale.objects.get().read_code}/"
    link = till.get_by_role("link", name="Receipt to read later")
    assert link.get_attribute("href") == address
    tap(till, "Share the receipt")
    assert till.evaluate("() => window.shared.url") == address


def test_a_house_without_a_public_address_offers_no_receipt_to_read_later(till):
    sell_one(till)
    sees(till, "Recorded on receipt")

    open_newest_sale(till)

    till.get_by_role("link", name="Receipt", exact=True).wait_for()
    assert till.get_by_role("link", name="Receipt to read later").count() == 0
    assert till.get_by_role("button", name="Share the receipt").count() == 0


def test_shelves_and_honesty_boxes_come_last_under_their_names(sign_in, pounds, axe):
    box = builders.place("barn", Place.Kind.STAND, name="Barn")
    honesty_boxes.set_up(place=box, set_up_by=builders.person(), key=builders.new_key())
    builders.place("attic", Place.Kind.SHELF, name="Attic")
    builders.place("van", Place.Kind.VAN, name="A van")
    page = sign_in("owner", PHONE)
    page.goto("/stand/")
    open_till(page)

    listed = page.evaluate(
        """() => [...document.querySelectorAll("#till-place > *")].map((row) =>
            row.label && row.children.length
              ? [row.label, ...[...row.children].map((each) => each.text)]
              : row.text)"""
    )

    assert listed == ["Stand", "A van", ["Shelves", "Attic"], ["Honesty boxes", "Barn"]]
    assert page.locator("#till-place").input_value() == "stand"
    axe(page)
    page.locator("#till-place").select_option("attic")
    stock_says(page, "one-pound", "0 here")
    page.reload()
    open_till(page)
    assert page.locator("#till-place").input_value() == "attic"


def test_the_other_pages_of_the_stand_are_below_the_till_and_harmless_offline(till):
    pages = till.get_by_role("navigation", name="Pages of the stand")
    tiles = till.locator(".goods").bounding_box()
    assert pages.bounding_box()["y"] >= tiles["y"] + tiles["height"]
    assert till.get_by_role("link", name="Sales to look at").count() == 0

    till.context.set_offline(True)
    pages.get_by_role("link", name="Days", exact=True).tap()
    open_till(till)
    sees(till, "One pound")

    till.context.set_offline(False)
    pages.get_by_role("link", name="Days", exact=True).tap()
    till.get_by_role("heading", name="Stand days").wait_for()
