"""Room on a small telephone, and on one that is enlarged: nothing lies over what a person needs."""

import pytest

from tests import builders
from tests.browser.tills import IN_SIGHT, TAPPABLE, open_till, sees, tap, tile

SMALL = (360, 640)
# 1280 × 1024 at 400 %.
ENLARGED = (320, 256)


@pytest.fixture
def shelf(stand, price_of):
    """Ten products at the stand, so that there are a search and chips too."""
    products = []
    for number in range(1, 11):
        product = builders.product(f"Honey number {number}", code=f"honey-{number}")
        builders.packed_lot(product, stand, 20)
        price_of(product, 500 + number)
        products.append(product)
    return products


@pytest.fixture
def small(sign_in, shelf):
    page = sign_in("stand", SMALL)
    page.goto("/stand/")
    open_till(page)
    return page


def put_three_lines_in(page):
    for number in (1, 2, 3):
        tile(page, f"honey-{number}").click()
    sees(page, "3 pieces · $15.06")


def test_with_three_lines_in_the_sale_two_rows_of_tiles_can_be_tapped(small):
    put_three_lines_in(small)

    assert small.evaluate(TAPPABLE) >= 2
    assert small.locator("[data-act=pay]").is_visible()


def test_the_folded_sale_opens_with_all_its_lines_and_folds_again(small):
    put_three_lines_in(small)

    tap(small, "3 pieces · $15.06")

    assert small.locator(".basket li").count() == 3
    assert small.locator("[data-act=unfold]").get_attribute("aria-expanded") == "true"

    tap(small, "Add more")

    assert small.evaluate(TAPPABLE) >= 2


def test_what_was_just_sold_leaves_a_row_of_tiles_for_the_next_buyer(small):
    put_three_lines_in(small)
    tap(small, "Pay")
    tap(small, "Take $15.06")
    sees(small, "Recorded on receipt")

    assert small.evaluate(TAPPABLE) >= 1
    tile(small, "honey-1").click()
    sees(small, "1 piece · $5.01")


def test_a_tap_that_comes_while_a_sale_is_stored_is_in_the_next_sale(small):
    put_three_lines_in(small)
    tap(small, "Pay")

    small.evaluate(
        """() => {
            document.querySelector("[data-act=finish]").click();
            document.querySelector("[data-product=honey-9]").click();
        }"""
    )

    sees(small, "Recorded on receipt")
    sees(small, "1 × Honey number 1, 1 × Honey number 2, 1 × Honey number 3: $15.06, Cash")
    tap(small, "Next sale")
    sees(small, "1 piece · $5.09")


@pytest.mark.parametrize("viewport", [SMALL, ENLARGED])
def test_what_the_keyboard_goes_to_is_never_under_the_sale(sign_in, shelf, viewport):
    page = sign_in("stand", viewport)
    page.goto("/stand/")
    open_till(page)
    put_three_lines_in(page)
    page.evaluate("() => { scrollTo(0, 0); document.getElementById('main').focus(); }")

    hidden, names = [], set()
    # Past the last tile and the footer, the browser begins again at the top.
    while page.evaluate("document.activeElement !== document.body"):
        page.keyboard.press("Tab")
        names.add(page.evaluate("document.activeElement.dataset.product ?? ''"))
        if page.evaluate("document.activeElement !== document.body"):
            hidden.append(page.evaluate(IN_SIGHT))

    assert [each for each in hidden if each] == []
    assert {product.code for product in shelf} <= names


def test_at_400_percent_nothing_is_wider_than_the_window_or_out_of_reach(sign_in, shelf):
    page = sign_in("stand", ENLARGED)
    page.goto("/stand/")
    open_till(page)

    def is_as_wide_as_the_window():
        return page.evaluate("document.documentElement.scrollWidth <= innerWidth")

    assert is_as_wide_as_the_window()
    put_three_lines_in(page)
    assert page.evaluate(TAPPABLE) >= 1
    tap(page, "3 pieces · $15.06")
    assert is_as_wide_as_the_window()
    page.get_by_text("Discount, another total or tip").click()
    assert is_as_wide_as_the_window()
    page.locator("[data-pay=card]").click()
    assert is_as_wide_as_the_window()
    page.get_by_role("button", name="Card paid $15.06").click()
    sees(page, "Recorded on receipt")
    assert is_as_wide_as_the_window()
    page.get_by_role("button", name="Sales").click()
    page.locator(".sales-list summary").click()
    assert is_as_wide_as_the_window()
