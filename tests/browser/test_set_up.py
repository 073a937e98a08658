"""The owner sets the house up: the market fills in the rest, a tank is drawn as it is typed."""

import pytest
from playwright.sync_api import expect

from inventory.bottling.services import sizes
from inventory.stock.models import Place
from tests import builders

from .conftest import DESKTOP, PHONE


@pytest.mark.parametrize("viewport", [DESKTOP, PHONE])
def test_the_pages_follow_what_is_typed_and_can_be_read_by_all(sign_in, axe, viewport):
    sizes.add_usual_sizes(["1-lb"])
    builders.place("shelf", Place.Kind.SHELF, name="Shelf")
    builders.measured_tank("tank-9", diameter_mm=900, length_mm=1200, name="Old tank")
    page = sign_in("owner", viewport)

    page.goto("/set-up/market/")
    page.get_by_label("European Union").check()
    expect(page.get_by_label("Currency")).to_have_value("EUR")
    expect(page.get_by_label("Prices for customers include the tax")).to_be_checked()
    page.get_by_label("United States").check()
    expect(page.get_by_label("Decimal sign")).to_have_value(".")
    axe(page)

    page.goto("/set-up/tanks/")
    tank = page.locator("[data-tank]").first
    expect(tank.locator("svg")).to_be_hidden()
    tank.get_by_label("Tank 1: Shape").select_option("upright-cone")
    tank.locator("[name$=-diameter]").fill("36")
    tank.locator("[name$=-wall]").fill("48")
    tank.locator("[name$=-cone]").fill("12")
    # π × 18² × (48 + 12 / 3) in³ at 231 in³ to the gallon, by hand.
    expect(tank.locator("[data-capacity]")).to_have_text("holds about 229 gal")
    axe(page)

    for step in ("house", "tax", "drums", "sizes", "prices", "honey", "jars", "customers", "made"):
        page.goto(f"/set-up/{step}/")
        axe(page)
        width = page.evaluate("document.documentElement.scrollWidth")
        assert width <= viewport[0], step
