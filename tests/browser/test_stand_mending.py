"""A sale that happened is booked; what is wrong is mended, undone or given to the office."""

import pytest
from django.utils import timezone

from apiary_sales.billing.models import HandedInSale, Invoice, StandSale
from apiary_sales.billing.queries import books
from inventory.bottling.models import Product
from inventory.stock.models import Balance
from tests import builders
from tests.browser.conftest import PHONE
from tests.browser.tills import (
    at,
    open_newest_sale,
    open_sales,
    open_till,
    sees,
    sees_no,
    sell_one,
    stock_says,
    tap,
    tile,
    wait_until,
)


@pytest.fixture
def offline(till):
    till.context.set_offline(True)
    sees(till, "No signal")
    return till


def states_on(page):
    """Return the states of the sales that a device keeps."""
    return page.evaluate(
        """async () => {
            const { entries } = await import("/static/billing/stand/store.js");
            return (await entries()).map(({ state }) => state);
        }"""
    )


def back_online(page):
    page.context.set_offline(False)
    sees_no(page, "1 sale is waiting to be sent.")


def test_sold_is_said_at_once_while_the_network_hangs(till):
    till.context.route("**/stand/sales/", lambda route: None)
    tap(till, "One pound")
    tap(till, "Pay")

    till.locator("[data-act=finish]").filter(visible=True).tap()

    # No answer ever comes. How long it takes is measured in `tests/benchmarks/bench_sold.py`.
    sees(till, "Sold", exact=True)
    assert not Invoice.objects.exists()
    tile(till, "one-pound").tap()
    sees(till, "1 piece · $8.00")


def test_the_last_jar_is_sold_on_two_phones_and_the_books_say_that_one_is_missing(
    sign_in, stand, price_of
):
    product = builders.product("Last jar", code="last")
    builders.packed_lot(product, stand, 1)
    price_of(product, 800)
    phones = [sign_in("stand", PHONE), sign_in("stand", PHONE)]
    for page in phones:
        page.goto("/stand/")
        open_till(page)
        stock_says(page, "last", "1 here")

    for page in phones:
        sell_one(page, name="Last jar")
        sees(page, "Recorded on receipt")
    sees(phones[1], "It is to be settled.")
    stock_says(phones[1], "last", "0 here: sell anyway")
    sell_one(phones[1], name="Last jar")
    sees(phones[1], "Recorded on receipt")

    assert StandSale.objects.count() == 3
    shorts = StandSale.objects.filter(marks__kind="short").count()
    assert shorts == 2
    assert sum(Invoice.objects.values_list("total_cents", flat=True)) == 2_400
    left = Balance.objects.filter(place=stand, item=product.item, quantity__gt=0)
    assert not left.exists()
    assert list(books.faults()) == []


def test_a_sale_that_waits_is_mended_and_booked_once_as_mended(offline, pounds):
    sell_one(offline)
    stock_says(offline, "one-pound", "23 here")
    open_newest_sale(offline)
    tap(offline, "Change the sale")
    sees(offline, "You are mending a sale that is kept here.")
    offline.get_by_role("button", name="One more: One pound").tap()
    tap(offline, "Cash")
    tap(offline, "Take $16.00")
    sees(offline, "Sold", exact=True)
    stock_says(offline, "one-pound", "22 here")

    back_online(offline)
    sees(offline, "Recorded on receipt")

    assert Invoice.objects.get().total_cents == 1_600
    assert at("stand", pounds) == 22
    assert list(StandSale.objects.get().marks.values_list("kind", flat=True)) == []


def test_a_sale_that_was_booked_while_it_was_mended_is_corrected_in_the_books(offline, pounds):
    sell_one(offline)
    open_newest_sale(offline)
    tap(offline, "Change the sale")
    offline.get_by_role("button", name="One more: One pound").tap()
    tap(offline, "Cash")
    offline.context.set_offline(False)
    wait_until(lambda: states_on(offline) == ["done"])

    tap(offline, "Take $16.00")
    sees(offline, "Recorded on receipt")

    first, second = StandSale.objects.order_by("id")
    assert (first.corrected_by, second.total_cents) == (second, 1_600)
    assert at("stand", pounds) == 22
    assert list(books.faults()) == []


def test_a_sale_mended_though_it_reached_the_books_differs_until_a_person_says_what_holds(
    till, pounds
):
    def lose_the_answer(route):
        route.fetch()
        route.abort("connectionreset")

    till.context.route("**/stand/sales/", lose_the_answer)
    sell_one(till)
    # The page is asked something too, so that its sale is let through.
    wait_until(lambda: till.evaluate("true") and StandSale.objects.exists())
    sees(till, "The sale is kept on this device and sent later.")
    open_newest_sale(till)
    tap(till, "Change the sale")
    till.get_by_role("button", name="One more: One pound").tap()
    tap(till, "Cash")
    till.context.unroute("**/stand/sales/")
    tap(till, "Take $16.00")
    sees(till, "This sale is in the books already, with other figures: One pound. Sold for $8.00.")

    # It is open as it was left.
    open_sales(till)
    sees(till, "In the books: 1 × One pound")
    sees(till, "On this device: 2 × One pound: $16.00, Cash")
    tap(till, "Record it as on this device")
    wait_until(lambda: StandSale.objects.count() == 2)

    first, second = StandSale.objects.order_by("id")
    assert (first.corrected_by, second.total_cents) == (second, 1_600)
    assert at("stand", pounds) == 22
    assert list(books.faults()) == []


def test_mending_is_left_and_the_basket_before_it_is_there_again(offline):
    sell_one(offline)
    tile(offline, "one-pound").tap()
    tile(offline, "one-pound").tap()
    open_newest_sale(offline)
    tap(offline, "Change the sale")

    tap(offline, "Leave it as it was")

    tap(offline, "Back to the products")
    sees(offline, "2 pieces · $16.00")


def test_a_sale_is_undone_without_signal_and_never_reaches_the_books(offline, pounds):
    sell_one(offline)
    offline.locator("[data-stage=done] [data-act=undo]").tap()
    tap(offline, "Mistyped")
    tap(offline, "Undo and give back $8.00")
    sees(offline, "The sale is undone.")
    stock_says(offline, "one-pound", "24 here")

    offline.context.set_offline(False)
    sees_no(offline, "No signal")

    assert not StandSale.objects.exists()
    assert at("stand", pounds) == 24


def test_a_booked_sale_is_undone_from_the_till_with_a_reason(till, pounds):
    sell_one(till)
    sees(till, "Recorded on receipt")
    till.locator("[data-stage=done] [data-act=undo]").tap()
    tap(till, "Undo and give back $8.00")
    sees(till, "Undo this sale?")
    assert not Invoice.objects.filter(credits__isnull=False).exists()
    till.get_by_label("Why?").fill("Wrong jar")
    tap(till, "Undo and give back $8.00")
    sees(till, "The sale is undone.")

    assert at("stand", pounds) == 24
    note = Invoice.objects.exclude(credits=None).get()
    assert note.total_cents == -800
    assert list(books.faults()) == []


def test_a_sale_that_can_not_be_booked_is_given_to_the_office(offline, pounds):
    sell_one(offline)
    Product.objects.filter(pk=pounds.pk).update(code="renamed")
    offline.context.set_offline(False)
    sees(offline, "There is no product called one-pound any more.")
    open_newest_sale(offline)
    sees(offline, "not accepted")

    tap(offline, "Give to the office")
    offline.get_by_label("Why?").fill("It was sold this morning")
    offline.locator("dialog").get_by_role("button", name="Give to the office").tap()
    sees(offline, "given to the office")

    wait_until(HandedInSale.objects.exists)
    assert not StandSale.objects.exists()
    given = HandedInSale.objects.get()
    assert (given.body["total_cents"], given.reason) == (800, "It was sold this morning")


def test_takings_and_receipts_of_this_device_are_read_without_signal(till):
    sell_one(till)
    sees(till, "Recorded on receipt")
    number = Invoice.objects.get()
    till.context.set_offline(True)
    sees(till, "No signal")
    sell_one(till)

    till.reload()
    open_till(till)
    open_newest_sale(till)

    sees(till, "Today at Stand: $16.00")
    sees(till, "2 sales · 1 of them is not in the books yet")
    till.locator(".sales-list summary").nth(1).tap()
    sees(till, f"{number} · ")
    till.context.set_offline(False)


def test_what_is_in_the_basket_stays_when_its_price_ends(till, pounds, price_of):
    candle = builders.product("Candle", code="candle")
    price_of(candle, 300)
    till.reload()
    open_till(till)
    tap(till, "Candle")
    tap(till, "One pound")
    price_of(candle, None, since=timezone.localdate())

    till.evaluate("window.dispatchEvent(new Event('online'))")
    tile(till, "candle").wait_for(state="detached")

    sees(till, "2 pieces · $11.00")
    till.locator("[data-act=unfold]").tap()
    sees(till, "It is not on the price list any more.")
    tap(till, "Cash")
    tap(till, "Take $11.00")
    sees(till, "Recorded on receipt")
    assert Invoice.objects.get().total_cents == 1_100
    assert list(books.faults()) == []


def test_a_line_of_a_product_that_is_gone_is_seen_when_its_sale_is_mended(
    offline, pounds, price_of
):
    sell_one(offline)
    Product.objects.filter(pk=pounds.pk).update(code="renamed")
    offline.context.set_offline(False)
    sees(offline, "There is no product called one-pound any more.")

    offline.reload()
    open_till(offline)
    open_newest_sale(offline)
    sees(offline, "1 × One pound ($8.00)")
    tap(offline, "Change the sale")

    sees(offline, "It is not on the price list any more.")
    assert offline.locator("[data-part=total]").inner_text() == "$8.00"


def test_the_folded_sale_says_that_it_mends_one_after_the_phone_was_restarted(offline):
    sell_one(offline)
    open_newest_sale(offline)
    tap(offline, "Change the sale")
    tap(offline, "Add more")
    sees(offline, "Mending a sale: 1 piece · $8.00")

    offline.reload()
    open_till(offline)

    sees(offline, "Mending a sale: 1 piece · $8.00")


CLOCK_IN_60_DAYS = """
const RealDate = Date;
window.Date = class extends RealDate {
  constructor(...values) {
    super(...(values.length ? values : [RealDate.now() + 60 * 864e5]));
  }
  static now() {
    return RealDate.now() + 60 * 864e5;
  }
};
"""


def test_a_wrong_clock_throws_away_no_sale_that_the_device_keeps(till):
    sell_one(till)
    sees(till, "Recorded on receipt")
    number = Invoice.objects.get()
    till.context.set_offline(True)
    till.add_init_script(CLOCK_IN_60_DAYS)

    till.reload()
    open_till(till)

    sees(till, "No signal")
    open_newest_sale(till)
    sees(till, f"{number} · ")
    assert states_on(till) == ["done"]
    till.context.set_offline(False)
