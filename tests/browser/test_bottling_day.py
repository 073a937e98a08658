"""A bottling day on a phone: three sizes on one sheet, in few taps."""

from playwright.sync_api import expect

from inventory.bottling.models import BottlingDay, BottlingRun
from inventory.stock.queries import books
from tests.inventory import day_room

from .conftest import DESKTOP, PHONE

# At two seconds a tap and three a figure, this is well under two minutes.
TAPS_MAX = 12


def is_too_wide(page) -> bool:
    return page.evaluate("document.documentElement.scrollWidth > window.innerWidth")


class Hand:
    """Tap and type as a person does: each figure is one tap and some digits."""

    def __init__(self, page) -> None:
        self.page = page
        self.taps = 0

    def tap(self, found) -> None:
        found.tap()
        self.taps += 1

    def type(self, found, figure: str) -> None:
        self.tap(found)
        self.page.keyboard.type(figure)


def row(page, name: str):
    return page.get_by_role("group", name=name, exact=True)


def test_three_sizes_are_recorded_in_under_two_minutes_on_a_phone(sign_in, axe):
    room = day_room.set_up()
    page = sign_in("bottling", PHONE)
    page.goto("/")
    hand = Hand(page)

    hand.tap(page.get_by_role("link", name="Bottling day"))
    expect(page.get_by_role("heading", name="Bottling day")).to_be_visible()
    axe(page)
    assert not is_too_wide(page)
    hand.type(page.get_by_label("Dip before"), "17.72")
    for name, pieces in (("Half pound", "200"), ("One pound", "144"), ("Two pounds", "60")):
        hand.type(row(page, name).get_by_label("Pieces"), pieces)
    hand.type(page.get_by_label("Dip after"), "11.6")
    expect(page.locator("#preview")).to_contain_text("Honey drawn, measured")
    axe(page)
    assert not is_too_wide(page)
    hand.tap(page.get_by_role("button", name="Record this day"))

    expect(page.get_by_role("status")).to_contain_text("Recorded 3 runs from Tank 1")
    axe(page)
    assert not is_too_wide(page)
    assert hand.taps <= TAPS_MAX
    runs = BottlingRun.objects.order_by("product__size__brimful_ml")
    assert [(run.product, run.pieces_filled, run.drawn_by) for run in runs] == [
        (room.half, 200, "dip"),
        (room.pound, 144, "dip"),
        (room.two, 60, "dip"),
    ]
    assert list(books.faults()) == []


def test_a_half_filled_sheet_is_finished_by_another_person(sign_in, axe):
    day_room.set_up()
    page = sign_in("bottling", PHONE)
    page.goto("/bottling/days/add/")
    row(page, "One pound").get_by_label("Pieces").fill("100")
    page.get_by_role("button", name="Save for later").click()
    expect(page.get_by_role("status")).to_contain_text("No stock has moved yet.")

    other = sign_in("owner", DESKTOP)
    other.goto("/")
    other.get_by_role("link", name="Go on").click()
    axe(other)
    expect(row(other, "One pound").get_by_label("Pieces")).to_have_value("100")
    row(other, "One pound").get_by_label("Pieces").fill("144")
    other.get_by_role("button", name="Record this day").click()

    expect(other.get_by_role("status")).to_contain_text("The honey drawn is estimated.")
    other.get_by_role("link", name="Settle it by a dip").click()
    axe(other)
    other.get_by_label("Depth of the honey").fill("15.3")
    other.get_by_role("button", name="Settle it").click()
    expect(other.get_by_role("status")).to_contain_text("Settled 1 run from Tank 1")
    axe(other)
    assert BottlingDay.objects.get().is_recorded
    assert not BottlingRun.objects.estimated().exists()


def test_what_is_wrong_takes_the_focus_and_names_its_row(sign_in, axe):
    day_room.set_up()
    page = sign_in("bottling", PHONE)
    page.goto("/bottling/days/add/")
    row(page, "One pound").get_by_label("Pieces").fill("0")

    page.get_by_role("button", name="Record this day").click()

    summary = page.locator(".error-summary")
    expect(summary).to_be_focused()
    expect(summary).to_contain_text("One pound: Pieces")
    expect(row(page, "One pound").locator(".errorlist")).to_have_text("Enter one piece or more.")
    axe(page)


def test_the_enter_key_saves_a_half_filled_sheet_and_never_records_it(sign_in):
    day_room.set_up()
    page = sign_in("bottling", PHONE)
    page.goto("/bottling/days/add/")
    row(page, "One pound").get_by_label("Pieces").fill("100")

    page.keyboard.press("Enter")

    expect(page.get_by_role("status")).to_contain_text("No stock has moved yet.")
    assert not BottlingRun.objects.exists()
    # What it would do is shown as it was left.
    expect(page.locator("#preview")).to_contain_text("100.0 lb")
