"""Two people count everything on their phones, the stand sells meanwhile, and the owner closes."""

import pytest
from playwright.sync_api import expect

from inventory.stock.models import Balance, CountLine, Place
from inventory.stock.queries import books
from inventory.stock.services import stores
from tests import builders

from .conftest import DESKTOP, PHONE


@pytest.fixture
def house(transactional_db):
    """Forty-eight jars on a shelf, a tank a metre wide, and a drum."""
    shelf = builders.place("shelf", Place.Kind.SHELF, name="Shelf")
    jars = builders.packed_lot(builders.product("One pound"), shelf, 48, code="L26-1")
    tank = builders.measured_tank("tank-1", diameter_mm=1000, length_mm=1200, name="Tank 1")
    builders.lot_in(tank, 900_000, moisture_percent="17.0")
    drum = builders.place("d-014", Place.Kind.DRUM, name="Drum D-014", tare_grams=17_463)
    builders.lot_in(drum, 290_000)
    return shelf, jars


def fits(page) -> bool:
    """Tell whether nothing of the page is beside the screen."""
    return page.evaluate(
        "document.documentElement.scrollWidth <= document.documentElement.clientWidth"
    )


def test_two_phones_fill_a_sheet_and_the_owner_closes_it(sign_in, axe, house):
    shelf, jars = house
    owner = sign_in("owner", DESKTOP)
    owner.goto("/honey/stock/")
    owner.get_by_role("link", name="Counts", exact=True).click()
    axe(owner)
    owner.get_by_role("link", name="Open a count").click()
    axe(owner)
    owner.get_by_role("button", name="Open this count").click()
    expect(owner.get_by_text("0 of 3 counted")).to_be_visible()

    helper, bottler = sign_in("office", PHONE), sign_in("bottling", PHONE)
    for page in (helper, bottler):
        page.goto("/honey/counts/H26-1/".replace("H26", f"H{builders.today():%y}"))
        axe(page)
        assert fits(page)
    helper.get_by_role("link", name="Count here").click()
    axe(helper)
    assert fits(helper)
    helper.get_by_label("One pound").fill("45")
    helper.get_by_role("button", name="Enter these counts").click()
    expect(helper.get_by_text("Shelf: 1 count entered.")).to_be_visible()

    bottler.get_by_role("link", name="Tick whole seals").click()
    axe(bottler)
    bottler.get_by_label("Drum D-014").check()
    bottler.get_by_role("button", name="Enter these seals").click()
    bottler.get_by_role("link", name="Count Tank 1").click()
    axe(bottler)
    assert fits(bottler)
    # 31.5 in is 80 cm: 628.3 L at 17 % and 30 °C, 889 kg (worked out in test_dips).
    bottler.get_by_label("Depth of the honey").fill("31.5")
    bottler.get_by_label("Temperature of the honey").fill("86")
    bottler.get_by_role("button", name="Enter this count").click()
    expect(bottler.get_by_text("Tank 1: 1,960.3 lb entered, by dip.")).to_be_visible()

    # Two jars are given away after they were counted: no difference.
    stores.write_off(
        item=jars.product.item,
        lot=jars,
        place=shelf,
        pieces=2,
        reason="gift",
        recorded_by=builders.person("office"),
        key="gift",
    )
    owner.reload()
    expect(owner.get_by_text("3 of 3 counted")).to_be_visible()
    owner.get_by_role("link", name="Look at the differences and close").click()
    axe(owner)
    expect(owner.get_by_role("row", name="One pound")).to_contain_text("−3 pieces")
    owner.get_by_label("Reason").fill("Year-end count")
    owner.get_by_role("button", name="Book the differences and close").click()

    expect(owner.get_by_text("is closed, and the books match it.")).to_be_visible()
    axe(owner)
    assert Balance.objects.get(lot=jars, place=shelf).quantity == 43
    assert CountLine.objects.count() == 3
    assert list(books.faults()) == []
