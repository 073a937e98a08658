"""The tasks of the office: quote a drum buyer, and take and fill an order for a shop."""

from decimal import Decimal

import pytest
from playwright.sync_api import expect

from apiary_sales.orders.models import Order
from apiary_sales.orders.queries import books
from apiary_sales.pricing.models import BulkPrice, PiecePrice
from inventory.shared.models import House
from inventory.stock.models import Balance, Place
from inventory.stock.services import drums
from tests import builders

from .conftest import DESKTOP, PHONE


def is_too_wide(page) -> bool:
    return page.evaluate("document.documentElement.scrollWidth > window.innerWidth")


@pytest.fixture
def house(transactional_db):
    """Three drums of 295 kg, 48 jars on the shelf, their prices, and two customers."""
    House(name="Marsh Road Honey", drum_deposit_cents=4_000).save()
    owner = builders.person("owner")
    for number in (1, 2, 3):
        tank = builders.place(f"tank-{number}", name=f"Tank {number}")
        builders.lot_in(tank, 295_000, cost_cents=52_000)
        drum = builders.place(f"drum-{number}", Place.Kind.DRUM, name=f"Drum {number}")
        drums.fill(
            tank=tank,
            drum=drum,
            gross_grams=313_000,
            tare_grams=18_000,
            recorded_by=owner,
            key=builders.new_key(),
        )
    BulkPrice.objects.create(price_per_pound=Decimal("2.15"), moisture_percent_max=Decimal(30))
    jars = builders.product("One pound")
    builders.packed_lot(jars, builders.place("shelf", Place.Kind.SHELF, name="Shelf"), 48)
    PiecePrice.objects.create(tier="shop", product=jars, piece_cents=650, case_cents=7_200)
    builders.customer("Corner Grocery")
    builders.customer("Prairie Packers", kind="bulk", tier="bulk")


@pytest.mark.parametrize("viewport", [DESKTOP, PHONE])
def test_a_drum_buyer_is_quoted_and_the_quote_becomes_an_order(house, sign_in, axe, viewport):
    page = sign_in("office", viewport)
    page.goto("/selling/")
    axe(page)
    page.get_by_role("link", name="Quote drums").click()

    page.get_by_label("How much").fill("1200")
    page.get_by_role("button", name="Tick the drums").click()
    total = page.locator("#total")
    expect(total).to_contain_text("2 drums")
    # Each is 650.3636 lb: 650.36 × 2.15 would be 1,398.27, 650.364 × 2.15 is 1,398.28.
    expect(total).to_contain_text("1,300.728 lb")
    expect(page.get_by_label("Drum 1", exact=False).first).to_be_checked()
    expect(page.get_by_label("Drum 3", exact=False).first).not_to_be_checked()
    page.get_by_label("Buyer", exact=True).select_option(label="Prairie Packers")
    page.get_by_label("Freight").fill("180")
    # Twice 295 kg at $2.15 a pound, two deposits of $40, and freight.
    expect(total).to_contain_text("$3,056.56")
    axe(page)
    assert not is_too_wide(page)
    page.get_by_role("button", name="Save the quote").click()

    expect(page.get_by_role("status")).to_contain_text(
        "No goods are reserved until it is accepted."
    )
    axe(page)
    assert not is_too_wide(page)
    page.get_by_role("link", name="Buyer accepts").click()
    # The click does not wait for the page that it leads to.
    expect(page.get_by_role("button", name="Reserve the goods for")).to_be_visible()
    axe(page)
    page.get_by_role("button", name="Reserve the goods for").click()

    expect(page.get_by_role("status")).to_contain_text("is an order now")
    order = Order.objects.get()
    assert (order.status, order.total_cents) == (Order.Status.OPEN, 305_656)
    assert sorted(
        Balance.objects.filter(reserved__gt=0).values_list("place__name", "reserved")
    ) == [("Drum 1", 295_000), ("Drum 2", 295_000)]
    assert list(books.faults()) == []


@pytest.mark.parametrize("viewport", [DESKTOP, PHONE])
def test_a_shop_order_is_taken_and_filled_in_two_parts(house, sign_in, axe, viewport):
    page = sign_in("office", viewport)
    page.goto("/selling/orders/new/")

    page.get_by_label("Customer").select_option(label="Corner Grocery")
    expect(page.locator("#products")).to_contain_text("Price list: shop")
    page.get_by_label("One pound: pieces", exact=True).fill("30")
    expect(page.locator("#total")).to_contain_text("$195.00")
    axe(page)
    assert not is_too_wide(page)
    page.get_by_role("button", name="Take the order").click()

    expect(page.get_by_role("status")).to_contain_text("its goods are reserved")
    axe(page)
    page.get_by_role("link", name="Hand over", exact=True).click()
    page.get_by_label("One pound", exact=True).fill("12")
    axe(page)
    assert not is_too_wide(page)
    page.get_by_role("button", name="Hand it over").click()

    expect(page.get_by_role("status")).to_contain_text("the rest stays reserved")
    page.get_by_role("link", name="Hand over", exact=True).click()
    page.get_by_role("button", name="Hand it over").click()

    expect(page.get_by_role("status")).to_contain_text("are handed over")
    expect(page.get_by_role("link", name="Invoice it")).to_be_visible()
    order = Order.objects.get()
    shelf = Balance.objects.get(place__code="shelf")
    assert order.status == Order.Status.FILLED
    assert (shelf.quantity, shelf.reserved) == (18, 0)
    assert list(books.faults()) == []


def test_a_refused_order_shows_its_sentence_at_the_row_and_takes_the_focus(house, sign_in, axe):
    page = sign_in("office", PHONE)
    page.goto("/selling/orders/new/")
    page.get_by_label("Customer").select_option(label="Corner Grocery")
    page.get_by_label("One pound: pieces", exact=True).fill("49")
    page.get_by_role("button", name="Take the order").click()

    sentence = "Not enough One pound. Asked for: 49 pieces. Free: 48 pieces."
    summary = page.locator(".error-summary")
    expect(summary).to_contain_text(sentence)
    expect(summary).to_be_focused()
    expect(page.locator("#products")).to_contain_text(sentence)
    axe(page)
    assert Order.objects.count() == 0


def test_going_back_and_sending_the_form_again_takes_one_order(house, sign_in):
    page = sign_in("office", DESKTOP)
    page.goto("/selling/orders/new/")
    page.get_by_label("Customer").select_option(label="Corner Grocery")
    page.get_by_label("One pound: pieces", exact=True).fill("12")
    page.get_by_role("button", name="Take the order").click()
    expect(page.get_by_role("status")).to_contain_text("its goods are reserved")

    page.go_back()
    page.get_by_label("Customer").select_option(label="Corner Grocery")
    page.get_by_label("One pound: pieces", exact=True).fill("12")
    page.get_by_role("button", name="Take the order").click()

    expect(page.get_by_text("This was recorded already.")).to_be_visible()
    assert Order.objects.count() == 1
    assert Balance.objects.get(place__code="shelf").reserved == 12


def test_a_new_form_is_a_new_order(house, sign_in):
    page = sign_in("office", DESKTOP)
    for _order in range(2):
        page.goto("/selling/orders/new/")
        page.get_by_label("Customer").select_option(label="Corner Grocery")
        page.get_by_label("One pound: pieces", exact=True).fill("12")
        page.get_by_role("button", name="Take the order").click()
        expect(page.get_by_role("status")).to_contain_text("its goods are reserved")

    assert Order.objects.count() == 2
