"""The office sets prices and tries out what pays better, on a desk and on a phone."""

from datetime import date
from decimal import Decimal

import pytest
from playwright.sync_api import expect

from apiary_sales.pricing.models import PiecePrice
from apiary_sales.pricing.services import prices
from tests import builders

from .conftest import DESKTOP, PHONE

START = date(2026, 1, 1)


@pytest.fixture
def house(transactional_db):
    """One pound jars at 9.00 whose only part costs 1.00, and white honey at 2.00 in drums."""
    pound = builders.product(code="pound")
    part = builders.part("Jar")
    builders.made_of(pound, part)
    lot = builders.lot_in(builders.place("tank-1"), cost_cents=100_000)
    part.receipts.create(
        place=builders.place("shelf", "shelf"),
        pieces=10,
        cost_cents=1_000,
        received_on=START,
        posting=lot.lines.first().posting,
    )
    prices.set_piece(product=pound, tier="stand", piece_cents=900, valid_from=START)
    prices.set_piece(product=pound, tier="shop", piece_cents=650, valid_from=START)
    prices.set_bulk(colour_class="White", price_per_pound=Decimal("2.00"), valid_from=START)
    return pound


@pytest.mark.parametrize("viewport", [DESKTOP, PHONE], ids=["desktop", "phone"])
def test_a_drum_price_is_tried_and_answered_at_once(house, sign_in, axe, viewport):
    page = sign_in("office", viewport)
    page.goto("/prices/drum-or-jar/")
    # 9.00 − 1.00 = 8.00 at the stand, 6.50 − 1.00 = 5.50 twice for shops: all beat 2.00.
    expect(page.locator("#verdict")).to_contain_text("3 of 3 products and channels bring more")
    axe(page)

    page.get_by_text("Try other figures", exact=True).click()
    page.get_by_label("Drum price per pound").fill("6.00")

    expect(page.locator("#verdict")).to_contain_text("1 of 3 products and channels bring more")
    expect(page.get_by_role("link", name="Use it from now on")).to_be_visible()
    assert "drum_price=6.00" in page.url
    axe(page)
    assert not page.evaluate(
        "document.documentElement.scrollWidth > document.documentElement.clientWidth"
    )


def test_a_figure_opens_to_the_lines_it_comes_from(house, sign_in, axe):
    page = sign_in("office", DESKTOP)
    page.goto("/prices/drum-or-jar/")

    page.locator("#ladder-table").get_by_role("link", name="One pound").first.click()

    stand = page.locator("#stand")
    expect(stand).to_contain_text("Left for the honey of one piece")
    expect(stand).to_contain_text("$8.00")
    axe(page)


def test_prices_go_up_only_after_they_were_seen(house, sign_in, axe):
    page = sign_in("office", PHONE)
    page.goto("/prices/")
    axe(page)
    page.get_by_role("link", name="Change by percent").click()
    page.get_by_label("stand").check()
    page.get_by_label("Up or down by, percent").fill("5")
    page.get_by_role("button", name="Show before and after").click()
    # 9.00 × 1.05 = 9.45 → 9.49.
    expect(page.get_by_text("$9.49")).to_be_visible()
    axe(page)
    assert PiecePrice.objects.count() == 2

    page.get_by_role("button", name="Change 1 price").click()

    expect(page.get_by_role("status")).to_contain_text("1 price changes on")
    assert PiecePrice.objects.filter(tier="stand").latest("id").piece_cents == 949


def test_a_customer_is_added_with_the_keyboard_alone(house, sign_in, axe):
    page = sign_in("office", DESKTOP)
    page.goto("/customers/new/")
    axe(page)

    page.get_by_label("Name").focus()
    page.keyboard.type("Hollow Oak Bakery")
    page.get_by_role("button", name="Add the customer").focus()
    page.keyboard.press("Enter")

    expect(page.get_by_role("heading", level=1)).to_have_text("Hollow Oak Bakery")
    axe(page)
