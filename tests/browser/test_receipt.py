"""A receipt on a phone: nothing in the way of those who read it with difficulty, and shared."""

import pytest
from django.urls import reverse

from inventory.shared.models import House
from inventory.stock.models import Place
from tests import builders
from tests.billing.receipt_room import sale_of
from tests.browser.conftest import PHONE

# What a phone that can share has; the browser of the tests has none.
CAN_SHARE = "navigator.share = (what) => { window.shared = what; return Promise.resolve(); }"


@pytest.fixture
def sale(transactional_db):
    House(name="Hollow Oak Honey House").save()
    stand = builders.place("stand", Place.Kind.STAND, name="Stand")
    product = builders.product("One pound", code="one-pound")
    builders.packed_lot(product, stand, 24)
    return sale_of(product, stand, pieces=2)


def test_a_receipt_can_be_read_and_shared_on_a_phone(sale, sign_in, axe, settings):
    settings.ALLOWED_HOSTS = ["*", "honey.example"]
    settings.HTTPS = False
    page = sign_in("stand", PHONE)
    page.add_init_script(CAN_SHARE)
    page.goto(reverse("billing:receipt", args=[sale.receipt_id]))

    page.get_by_text("Show the QR code").click()
    axe(page)
    page.get_by_role("button", name="Share").click()

    title = f"Receipt {sale} from Hollow Oak Honey House"
    address = f"http://honey.example/r/{sale.read_code}/"
    assert page.evaluate("window.shared") == {"title": title, "text": title, "url": address}


def test_without_a_way_to_share_there_is_no_button_for_it(sale, sign_in, settings):
    settings.ALLOWED_HOSTS = ["*", "honey.example"]
    page = sign_in("stand", PHONE)
    page.add_init_script("delete Navigator.prototype.share")
    page.goto(reverse("billing:receipt", args=[sale.receipt_id]))

    assert page.locator("[data-share]").count() == 1
    assert not page.locator("[data-share]").is_visible()


def test_the_public_page_can_be_read_by_everybody(sale, sign_in, axe):
    page = sign_in("stand", PHONE)
    page.goto(f"/r/{sale.read_code}/")

    axe(page)
    assert page.get_by_role("heading", name=f"Receipt {sale}").is_visible()
