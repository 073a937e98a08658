"""Finding what is sold: favourites, search, bar codes, weights; and who sells it."""

from datetime import date
from decimal import Decimal

import pytest

from apiary_sales.accounts.services import people, pins
from apiary_sales.billing.models import Invoice, StandSale
from apiary_sales.pricing.services import weight_prices
from inventory.bottling.models import Product
from inventory.stock.models import Place
from tests import builders
from tests.browser.conftest import DESKTOP
from tests.browser.tills import open_till, sees, sell_one, tap, tile


@pytest.fixture
def shelf(stand, price_of, pounds):
    for number in range(1, 10):
        product = builders.product(f"Líquida {number}", code=f"honey-{number}")
        price_of(product, 500 + number)
    Product.objects.filter(pk=pounds.pk).update(gtin="00012345678905")
    return pounds


def scan(page, code):
    """Type as fast as a scanner does, however busy the machine is: a key every 5 ms."""
    page.evaluate(
        """(code) => {
            const began = performance.now();
            for (const [place, key] of [...code, "Enter"].entries()) {
              const field = document.activeElement;
              const how = { key, bubbles: true, cancelable: true };
              const pressed = new KeyboardEvent("keydown", how);
              Object.defineProperty(pressed, "timeStamp", { value: began + 5 * place });
              field.dispatchEvent(pressed);
              if (key.length === 1 && field.matches("input")) {
                field.value += key;
                field.dispatchEvent(new Event("input", { bubbles: true }));
              }
            }
        }""",
        code,
    )


def test_what_sold_most_comes_first(till, price_of, stand):
    product = builders.product("Amber", code="amber")
    price_of(product, 500)
    till.reload()
    sell_one(till)
    sees(till, "Recorded on receipt")

    till.reload()
    open_till(till)

    names = till.locator(".goods .product-name").all_inner_texts()
    assert names == ["One pound", "Amber"]


def test_the_search_finds_by_part_of_a_name_without_accents_and_enter_takes_it(sign_in, shelf):
    page = sign_in("stand", DESKTOP)
    page.goto("/stand/")
    page.locator("#till-search").fill("liquida 7")
    assert page.locator(".goods .product:visible").count() == 1

    page.locator("#till-search").press("Enter")

    page.locator(".basket li", has_text="Líquida 7").wait_for()
    assert page.locator("#till-search").input_value() == ""


@pytest.mark.parametrize("code", ["00012345678905", "012345678905", "12345678905", "one-pound"])
def test_a_scanner_puts_the_product_in_wherever_the_focus_is(sign_in, shelf, code):
    page = sign_in("stand", DESKTOP)
    page.goto("/stand/")
    open_till(page)
    tile(page, "honey-3").focus()

    scan(page, code)

    page.locator(".basket li", has_text="One pound").wait_for()
    assert page.locator(".basket li").count() == 1


def test_what_a_scanner_types_does_not_stay_in_a_field(sign_in, shelf):
    page = sign_in("stand", DESKTOP)
    page.goto("/stand/")
    open_till(page)
    tile(page, "honey-3").click()
    page.get_by_text("Discount, another total or tip").click()
    page.locator("#till-discount").fill("1.00")
    page.wait_for_timeout(200)

    scan(page, "012345678905")

    page.locator(".basket li", has_text="One pound").wait_for()
    assert page.locator("#till-discount").input_value() == "1.00"


def test_a_code_of_no_product_is_told(sign_in, shelf):
    page = sign_in("stand", DESKTOP)
    page.goto("/stand/")
    open_till(page)

    scan(page, "4000000000006")

    sees(page, "No product here has the code 4000000000006.")


@pytest.fixture
def honey_in_tank(pounds):
    """Honey in a pail, at 6.50 a pound."""
    builders.lot_in(builders.place("pail-1", Place.Kind.PAIL, name="Pail 1"), 27_000)
    weight_prices.set_price(
        tier="stand", price_per_pound=Decimal("6.50"), valid_from=date(2026, 1, 1)
    )


def test_honey_is_sold_by_weight_without_signal(till, honey_in_tank):
    till.reload()
    open_till(till)
    till.context.set_offline(True)
    sees(till, "No signal")
    till.locator("[data-weighed]").tap()
    till.get_by_label("Full container").fill("3 lb 8 oz")
    till.get_by_label("Empty container").fill("8 oz")
    # 3 lb at 6.50.
    sees(till, "= $19.50")
    tap(till, "Put in the sale")
    tap(till, "Pay")
    tap(till, "Take $19.50")
    sees(till, "Sold", exact=True)

    till.context.set_offline(False)
    sees(till, "Recorded on receipt")

    assert Invoice.objects.get().total_cents == 1_950
    assert not StandSale.objects.get().marks.exists()


def test_a_weight_that_can_not_be_is_told_in_words(till, honey_in_tank):
    till.reload()
    open_till(till)
    till.locator("[data-weighed]").tap()
    till.get_by_label("Full container").fill("1")
    till.get_by_label("Empty container").fill("2")
    tap(till, "Put in the sale")

    sees(till, "The full container must weigh more than the empty one.")


@pytest.fixture
def ruth(transactional_db):
    """Another person who sells here and has a PIN."""
    person = people.add(username="ruth", name="Ruth", role="stand", password="a long one")
    pins.set_pin(person=person, pin="4711", set_by=person)
    return person


def take_over(page, pin):
    page.locator("[data-act=seller]").tap()
    tap(page, "Ruth")
    page.get_by_label("PIN of Ruth").fill(pin)
    tap(page, "Ruth sells now")


def test_another_person_sells_with_her_pin_and_the_sale_is_hers(till, ruth):
    till.reload()
    open_till(till)
    take_over(till, "1234")
    till.locator("dialog .errors", has_text="PIN").wait_for()
    till.get_by_label("PIN of Ruth").fill("4711")
    tap(till, "Ruth sells now")
    till.locator("[data-part=seller-name]", has_text="Ruth").wait_for()

    sell_one(till)
    sees(till, "Recorded on receipt")

    sale = StandSale.objects.get()
    assert sale.sold_by == ruth
    assert sale.sent_by != ruth


def test_without_signal_only_a_pin_that_was_right_here_before_is_right(till, ruth):
    till.reload()
    open_till(till)
    till.context.set_offline(True)
    sees(till, "No signal")
    take_over(till, "4711")
    sees(
        till, "Without signal only people can take over who typed their PIN on this device before."
    )
    tap(till, "Cancel")

    till.context.set_offline(False)
    take_over(till, "4711")
    till.locator("[data-part=seller-name]", has_text="Ruth").wait_for()
    till.locator("[data-act=seller]").tap()
    tap(till, "Stand")
    till.locator("[data-part=seller-name]", has_text="Stand").wait_for()
    till.context.set_offline(True)
    sees(till, "No signal")

    take_over(till, "4712")
    sees(till, "This is not the right PIN.")
    till.get_by_label("PIN of Ruth").fill("4711")
    tap(till, "Ruth sells now")

    till.locator("[data-part=seller-name]", has_text="Ruth").wait_for()
