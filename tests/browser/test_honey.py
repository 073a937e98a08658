"""The person in the honey house: dips the tank, accepts, fills a drum."""

import re

import pytest
from playwright.sync_api import expect

from inventory.stock.models import Balance, DipReading, Place, Posting
from inventory.stock.queries import books
from tests import builders

from .conftest import DESKTOP, PHONE


@pytest.fixture
def house(transactional_db):
    """A tank of clover a metre wide, and an empty drum."""
    tank = builders.measured_tank("tank-1", diameter_mm=1000, length_mm=1200, name="Tank 1")
    builders.lot_in(tank, 900_000, moisture_percent="17.0")
    drum = builders.place("d-014", Place.Kind.DRUM, name="Drum D-014", tare_grams=17_463)
    return tank, drum


@pytest.mark.parametrize("viewport", [DESKTOP, PHONE])
def test_the_tank_is_dipped_accepted_and_a_drum_filled(sign_in, axe, house, viewport):
    tank, drum = house
    page = sign_in("bottling", viewport)

    page.goto("/honey/")
    axe(page)
    page.get_by_role("link", name="Dip a tank").click()
    page.get_by_role("link", name="Tank 1").click()

    page.get_by_label("Depth of the honey").fill("31.5")
    page.get_by_label("Temperature of the honey").fill("86")
    # 31.5 in is 80 cm: 628.3 L at 17 % and 30 °C, 889 kg (worked out in test_dips).
    expect(page.locator(".conversion").first).to_contain_text("889 kg, 1,960.3 lb")
    axe(page)
    page.get_by_role("button", name="Record this dip").click()

    expect(page.get_by_role("heading", name="Dip of Tank 1")).to_be_visible()
    expect(page.get_by_text("−23.9").first).to_be_visible()
    axe(page)
    page.get_by_label("Reason").fill("Foam was skimmed off.")
    page.get_by_role("button", name="Accept the dip and correct the books").click()

    expect(page.get_by_text("The books of Tank 1 now match the dip: 1,960.3 lb.")).to_be_visible()
    axe(page)
    page.get_by_role("link", name="Fill a drum from it").click()

    page.get_by_label("Drum", exact=True).select_option("d-014")
    page.get_by_label("Gross weight").fill("688.5")
    # 688.5 lb less 38.5 lb of drum.
    expect(page.locator(".conversion").first).to_contain_text("650.0 lb net")
    expect(page.locator("#preview")).to_contain_text("1,960.3 lb → 1,310.3 lb")
    axe(page)
    page.get_by_role("button", name="Fill this drum").click()

    expect(page.get_by_text("650.0 lb from Tank 1 into Drum D-014.")).to_be_visible()
    reading = DipReading.objects.get()
    assert abs(Balance.objects.in_vessel(drum).quantity - 294_835) <= 2
    assert (
        Balance.objects.in_vessel(tank).quantity + Balance.objects.in_vessel(drum).quantity
        == reading.grams
    )
    assert list(books.faults()) == []


def test_going_back_and_sending_the_form_again_pours_once(sign_in, house):
    tank, _drum = house
    other = builders.place("tank-2", name="Tank 2")
    page = sign_in("bottling")
    page.goto("/honey/transfer/")
    page.get_by_label("From").select_option("tank-1")
    page.get_by_label("Into").select_option("tank-2")
    page.get_by_label("Weight", exact=True).fill("100")
    page.get_by_role("button", name="Transfer this honey").click()
    expect(page.get_by_text("100.0 lb from Tank 1 into Tank 2.")).to_be_visible()

    page.go_back()
    page.get_by_label("Weight", exact=True).fill("100")
    page.get_by_role("button", name="Transfer this honey").click()

    expect(page.get_by_text("This was recorded already.")).to_be_visible()
    # 100 lb × 453.59237 g.
    assert Balance.objects.in_vessel(other).quantity == 45_359
    assert Balance.objects.in_vessel(tank).quantity == 900_000 - 45_359


def test_a_mistake_is_undone_from_the_line_that_tells_of_it(sign_in, house):
    tank, drum = house
    page = sign_in("bottling", PHONE)

    page.goto("/honey/fill-drum/?tank=tank-1&drum=d-014")
    page.get_by_label("Gross weight").fill("688.5")
    page.get_by_role("button", name="Fill this drum").click()
    page.get_by_role("link", name="Undo").click()
    page.get_by_role("button", name="Undo this entry").click()

    expect(page.get_by_text(re.compile("^Undone: drum filled"))).to_be_visible()
    assert Balance.objects.in_vessel(drum) is None
    assert Balance.objects.in_vessel(tank).quantity == 900_000


def test_what_is_wrong_takes_the_focus_and_leads_to_its_field(sign_in, axe, house):
    page = sign_in("bottling")

    page.goto("/honey/dip/tank-1/")
    page.get_by_label("Depth of the honey").fill("60")
    page.get_by_role("button", name="Record this dip").click()

    summary = page.locator(".error-summary")
    expect(summary).to_be_focused()
    axe(page)
    summary.get_by_role("link").click()
    expect(page.get_by_label("Depth of the honey")).to_be_focused()


def test_the_unit_last_chosen_is_offered_again_for_an_empty_figure(sign_in, house):
    page = sign_in("bottling")

    page.goto("/honey/dip/tank-1/")
    page.locator("select[name=depth_unit]").select_option("cm")
    page.locator("select[name=celsius_unit]").select_option("C")
    page.goto("/honey/dip/tank-1/")

    expect(page.locator("select[name=depth_unit]")).to_have_value("cm")
    # The usual temperature stands there in its own unit.
    expect(page.locator("select[name=celsius_unit]")).to_have_value("F")


def test_only_the_fields_of_the_way_of_measuring_are_shown(sign_in, axe, house):
    page = sign_in("bottling", PHONE)

    page.goto("/honey/receive/")
    expect(page.get_by_label("Weight on the scale")).to_be_visible()
    expect(page.get_by_label("Dip after")).to_be_hidden()
    page.get_by_text("by dipping the tank").click()

    expect(page.get_by_label("Dip after")).to_be_visible()
    expect(page.get_by_label("Weight on the scale")).to_be_hidden()
    axe(page)


@pytest.mark.parametrize("viewport", [DESKTOP, PHONE])
def test_every_honey_page_can_be_read_by_everyone_and_fits(sign_in, axe, house, viewport):
    tank, _drum = house
    shelf = builders.place("shelf", Place.Kind.SHELF, name="Shelf")
    builders.lot_in(tank, 10_000, moisture_percent="19.0")
    builders.packed_lot(builders.size(), shelf, 48, parent=Balance.objects.in_vessel(tank).lot)
    received = Posting.objects.filter(kind="extraction").latest("id")
    page = sign_in("owner", viewport)

    for address in (
        "/honey/lots/",
        "/honey/lots/26-B01/",
        "/honey/receive/",
        "/honey/transfer/",
        "/honey/blend/",
        "/honey/drain/",
        "/honey/write-off/",
        "/honey/dip/",
        "/honey/dips/",
        "/honey/places/",
        "/honey/places/new/",
        "/honey/places/drums/",
        "/honey/places/d-014/",
        "/honey/places/shelf/",
        "/honey/places/tank-1/edit/",
        "/honey/postings/",
        f"/honey/postings/{received.pk}/",
        f"/honey/postings/{received.pk}/undo/",
        "/honey/stock/",
        "/honey/stock/transfer/",
        "/honey/stock/write-off/",
        "/honey/stock/count/",
    ):
        assert page.goto(address).status == 200
        axe(page)
        width = page.evaluate("document.documentElement.scrollWidth")
        assert (address, width) == (address, viewport[0])
