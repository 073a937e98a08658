"""What a person needs is on the first screen of a phone, and a long list is not a wall of cards."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.urls import reverse
from django.utils import timezone

from apiary_sales.orders.rules.lines import LineWanted
from apiary_sales.orders.services import orders
from inventory.shared.models import House
from inventory.stock.models import Place
from inventory.stock.services import places
from tests import builders
from tests.billing.receipt_room import sale_of
from tests.browser.conftest import DESKTOP, PHONE

SMALLEST_PHONE = (320, 640)
# The bar with the doors is in front of so much.
DOORS_HEIGHT = 64
# Two lines of what and how much, one or two of the rest.
ROW_HEIGHT_MAX = 110
PAST_THEIR_CARD = """() => [...document.querySelectorAll(".figure .value")]
  .filter((value) => value.scrollWidth > value.parentElement.clientWidth)
  .map((value) => value.textContent.trim())"""


@pytest.fixture
def house(transactional_db):
    House(name="Hollow Oak Honey House").save()
    builders.lot_in(builders.place("tank-1", name="Holding tank"), 900_000, moisture_percent="19.5")
    stand = builders.place("stand", Place.Kind.STAND, name="Stand")
    product = builders.product("One pound", code="one-pound", low_stock_pieces=60)
    builders.packed_lot(product, stand, 48)
    for _sale in range(3):
        sale_of(product, stand, pieces=2)
    owner = builders.person("owner")
    orders.take(
        customer=builders.customer("Corner Grocery"),
        channel="shop",
        lines=[LineWanted(kind="packed", product=product, quantity=6, unit_price=Decimal("6.80"))],
        created_by=owner,
        key="first-screen",
        wanted_on=timezone.localdate() + timedelta(days=2),
    )
    places.create_drums(first_code="d-01", count=40, tare_grams=17_000, capacity_litres=None)


def bottom_of(locator):
    box = locator.bounding_box()
    return box["y"] + box["height"]


def test_a_phone_shows_what_needs_a_person_first_and_lists_in_short_rows(house, sign_in, axe):
    page = sign_in("office", PHONE)

    page.goto("/")
    warning = page.locator(".attention .notice").first
    order = page.get_by_text("Corner Grocery").first
    assert bottom_of(warning) < bottom_of(order) < PHONE[1] - DOORS_HEIGHT
    axe(page)

    page.goto(reverse("billing:receipt_list"))
    rows = page.locator("tbody tr:not(.line-head)")
    assert rows.count() == 3
    assert max(rows.nth(at).bounding_box()["height"] for at in range(3)) <= ROW_HEIGHT_MAX
    assert rows.first.locator(".line-start").is_visible()
    assert rows.first.locator(".line-end").inner_text().startswith("$")
    axe(page)

    page.goto(reverse("inventory:places"))
    assert page.evaluate("document.documentElement.scrollHeight") < 3000
    assert page.get_by_label("Kind").is_hidden()
    page.get_by_text("Filter", exact=True).click()
    page.get_by_label("Kind").select_option("tank")
    page.get_by_role("button", name="Show these").click()
    page.wait_for_url("**kind=tank**")
    assert page.locator("tbody tr:not(.line-head)").count() == 1
    axe(page)


@pytest.mark.parametrize("viewport", [SMALLEST_PHONE, DESKTOP])
def test_every_part_of_a_page_fits_and_can_be_read_by_everyone(sign_in, axe, viewport):
    page = sign_in("owner", viewport)
    page.goto(reverse("web:design"))

    assert page.evaluate("document.documentElement.scrollWidth") <= viewport[0]
    assert "$1,234,567.89" in page.locator(".figure .value").first.inner_text()
    assert page.evaluate(PAST_THEIR_CARD) == []
    for scheme in ("light", "dark"):
        page.emulate_media(color_scheme=scheme)
        axe(page)
