"""The states of the till, each driven by what the page's parts are called and not by its words."""

from contextlib import contextmanager
from datetime import timedelta

from django.utils import timezone
from playwright.sync_api import Page

from apiary_sales.pricing.models import PiecePrice
from inventory.stock.models import Place
from tests.browser.states import STATES
from tests.browser.tills import wait_until

PORTAL = "<!doctype html><title>Free network</title>"
# A code that no product has, as a scanner types it.
NO_CODE = "4000000000006"
WRONG_PIN, PIN = "1357", "4831"
KEEPS_NOTHING = """
    Object.defineProperty(window, "indexedDB", {
      value: { open() { throw new DOMException("", "SecurityError"); } },
    });
"""
MAY_LOSE = """
    navigator.storage.persisted = async () => false;
    navigator.storage.persist = async () => false;
"""


# ---- what a person does


def open_stand(page: Page) -> None:
    page.goto("/stand/?place=stand")
    page.locator("[data-till]:not([hidden])").wait_for()


def press(page: Page, what: str) -> None:
    """Press the first button of this kind that can be seen."""
    page.locator(f"[data-{what}]").filter(visible=True).first.click()


def put_in(page: Page, lines: int = 3) -> None:
    tiles = page.locator("[data-part=products] [data-product]")
    for number in range(lines):
        tiles.nth(number % tiles.count()).click()


def unfold(page: Page, lines: int = 3) -> None:
    open_stand(page)
    put_in(page, lines)
    press(page, "act=unfold")


def pay(page: Page, way: str = "cash") -> None:
    unfold(page)
    press(page, f"pay={way}")


def sell(page: Page, lines: int = 1) -> None:
    put_in(page, lines)
    press(page, "act=pay")
    press(page, "act=finish")
    page.locator("[data-stage=done]").wait_for()


def lose_signal(page: Page) -> None:
    # An answer that is on its way would say that there is a signal.
    page.wait_for_load_state("networkidle")
    page.context.set_offline(True)
    page.locator("[data-part=signal].warn").wait_for()


def see_notice(page: Page) -> None:
    page.locator("[data-part=notices] > li").first.wait_for()


def open_newest(page: Page) -> None:
    """Open the newest sale of the device, where it is not open yet."""
    press(page, "act=sales")
    newest = page.locator(".sales-list details").first
    newest.wait_for()
    if newest.get_attribute("open") is None:
        newest.locator("summary").click()


def choose_in_sale(page: Page, number: int) -> None:
    """Press one of what can be done with the opened sale."""
    page.locator(".sales-list .actions > *").nth(number).click()


def choose_first(page: Page) -> None:
    """Press the main button of a question."""
    page.locator("dialog .choices-of button").first.click()


def write_reason(page: Page) -> None:
    page.locator("dialog .chip").first.click()
    choose_first(page)


def change_price(page: Page, way: str, typed: str) -> None:
    unfold(page)
    page.locator("[data-part=discount-box] summary").click()
    page.locator(f".chip:has([value={way}])").click()
    page.locator("#till-discount").fill(typed)


# ---- faults


def answer_sales(page: Page, act) -> None:
    page.context.route("**/stand/sales/", act)


def refuse_sales(page: Page) -> None:
    """Let each sale reach the house with a product that it does not have."""

    def change(route):
        body = route.request.post_data_json
        for line in body["lines"]:
            line["product"] = "no-such-jar"
        route.continue_(post_data=body)

    answer_sales(page, change)


def sell_and_lose_the_answer(page: Page) -> None:
    """Sell: the house books it, and the phone does not hear of it."""
    lost = []

    def lose(route):
        lost.append(route.fetch().status)
        route.abort("connectionreset")

    answer_sales(page, lose)
    sell(page)
    for _turn in range(300):
        if lost:
            break
        # Only while the page is waited for, the function above can be called.
        page.wait_for_timeout(50)
    assert lost == [200], lost


@contextmanager
def changed(rows, **values):
    """Change rows of the house until the end of the block."""
    before = [(row.pk, {name: getattr(row, name) for name in values}) for row in rows]
    rows.update(**values)
    try:
        yield
    finally:
        for pk, old in before:
            rows.model.objects.filter(pk=pk).update(**old)


# ---- finding

state = STATES.group("Products")


@state("First opening")
def first_opening(page):
    open_stand(page)


@state("A search with a hit")
def search_with_hit(page):
    open_stand(page)
    name = page.locator(".product-name").first.inner_text()
    page.locator("#till-search").fill(name[:4])


@state("A search without a hit")
def search_without_hit(page):
    open_stand(page)
    page.locator("#till-search").fill("xyzzy")


@state("Narrowed to one kind", look_at="[data-part=chips] [aria-pressed=true]")
def filtered(page):
    open_stand(page)
    page.locator("[data-part=chips] .chip").last.click()


@state("What is sold by weight", look_at="[data-part=weighed-box]")
def by_weight(page):
    open_stand(page)


@state("Weighing a container")
def weighing(page):
    open_stand(page)
    page.locator("[data-weighed]").first.click()
    page.locator("#till-gross").fill("3 lb 8 oz")
    page.locator("#till-tare").fill("8 oz")


@state("Orders to pick up", look_at="[data-part=pickups-box]")
def orders_to_pick_up(page):
    open_stand(page)
    page.locator("[data-part=pickups-box] summary").click()


@state("A scanned code that no product has")
def unknown_code(page):
    open_stand(page)
    page.keyboard.type(NO_CODE)
    page.keyboard.press("Enter")
    see_notice(page)


@state("0 here: sell anyway")
def sell_anyway(page):
    open_stand(page)
    tile = page.locator("li:has(.product-stock.none) [data-product]").first
    tile.click()
    press(page, "act=unfold")
    page.locator(".line-note").filter(visible=True).first.wait_for()


@state("No product has a price")
def no_products(page):
    with changed(PiecePrice.objects.all(), valid_from=timezone.localdate() + timedelta(days=30)):
        page.goto("/stand/")


@state("No place to sell from")
def no_place(page):
    with changed(Place.objects.filter(kind__in=["stand", "van"]), is_active=False):
        page.goto("/stand/")


# ---- the sale

state = STATES.group("The sale")


@state("Three lines, folded")
def basket_folded(page):
    open_stand(page)
    put_in(page)


@state("Three lines, unfolded")
def basket_unfolded(page):
    unfold(page)


@state("A discount in percent")
def percent_off(page):
    change_price(page, "percent", "10")


@state("The buyer names the total")
def named_price(page):
    change_price(page, "named", "30")


@state("A discount of more than the sale")
def too_much_off(page):
    change_price(page, "amount", "500")


@state("A tip")
def tip(page):
    unfold(page)
    page.locator("[data-part=discount-box] summary").click()
    page.locator("#till-tip").fill("2")


@state("The place is changed with goods in the sale")
def place_chooser(page):
    open_stand(page)
    put_in(page)
    page.locator("#till-place").select_option("van")


@state("The basket was kept at its place")
def basket_kept(page):
    place_chooser(page)
    choose_first(page)
    page.locator("#till-place").select_option("stand")


# ---- the money

state = STATES.group("The money")


@state("Cash, exact")
def cash_exact(page):
    pay(page)


@state("Cash with change")
def cash_with_change(page):
    pay(page)
    page.locator("#till-given").fill("60")


@state("Too little cash")
def too_little(page):
    pay(page)
    page.locator("#till-given").fill("5")
    press(page, "act=finish")


@state("The buyer leaves the change")
def change_kept(page):
    cash_with_change(page)
    press(page, "act=keep-change")


@state("A zero too many")
def a_lot_of_change(page):
    pay(page)
    page.locator("#till-given").fill("3000")
    press(page, "act=finish")


@state("Card")
def card(page):
    pay(page, "card")


@state("Check with its number")
def check(page):
    pay(page, "check")
    page.locator("#till-check-number").fill("1042")


@state("Split: half by card, the rest in cash")
def split(page):
    card(page)
    page.locator("#till-card").fill("10")
    press(page, "act=finish")


@state("Sold, with change")
def sold_with_change(page):
    cash_with_change(page)
    press(page, "act=finish")
    page.locator("[data-part=done-receipt]").wait_for()


@state("Sold while the network hangs")
def sold_while_it_hangs(page):
    open_stand(page)
    answer_sales(page, lambda route: None)
    sell(page, 2)


# ---- sales of the device

state = STATES.group("Sales here")


@state("No signal: sales wait")
def sales_wait(page):
    open_stand(page)
    lose_signal(page)
    sell(page, 3)
    sell(page)


@state("A sale that waits, opened")
def waiting_sale(page):
    sales_wait(page)
    open_newest(page)


@state("A sale is mended")
def mending(page):
    waiting_sale(page)
    choose_in_sale(page, 0)


@state("Undone? A reason is asked")
def undo_asked(page):
    waiting_sale(page)
    choose_in_sale(page, 2)


@state("Undone")
def undone(page):
    undo_asked(page)
    write_reason(page)
    page.locator("dialog").wait_for(state="detached")


@state("A sale that was refused, just sold")
def refused_at_hand(page):
    open_stand(page)
    refuse_sales(page)
    sell(page)
    page.locator("[data-part=done-problem]:not(:empty)").wait_for()


@state("A sale that was refused, opened")
def refused(page):
    refused_at_hand(page)
    open_newest(page)


@state("Given to the office")
def given_to_the_office(page):
    refused(page)
    choose_in_sale(page, 3)
    write_reason(page)
    page.locator(".sales-list .tag-info").wait_for()


@state("It differs from what is in the books")
def differs(page):
    open_stand(page)
    sell_and_lose_the_answer(page)
    open_newest(page)
    choose_in_sale(page, 0)
    page.locator(".stepper button").last.click()
    press(page, "pay=cash")
    page.context.unroute("**/stand/sales/")
    press(page, "act=finish")
    page.locator("[data-part=done-problem]:not(:empty)").wait_for()
    open_newest(page)


@state("Sales of today, with a receipt")
def sales_of_today(page):
    open_stand(page)
    sell(page, 3)
    page.locator("[data-part=done-receipt]").wait_for()
    open_newest(page)


# ---- the network, the clock and the device

state = STATES.group("Faults")


@state("Prices and stock are old")
def stale_prices(page):
    open_stand(page)
    page.evaluate("navigator.serviceWorker.ready")
    wait_until(lambda: page.evaluate("async () => Boolean(await caches.match('/stand/'))"))
    lose_signal(page)
    page.clock.set_fixed_time(timezone.now() + timedelta(hours=5, minutes=10))
    page.reload()
    page.locator("[data-till]:not([hidden])").wait_for()


@state("A price changed while it is in the sale", look_at="[data-part=notices]")
def price_changed(page):
    open_stand(page)
    put_in(page)
    code = page.locator("[data-product].chosen").first.get_attribute("data-product")

    def change(route):
        answer = route.fetch()
        data = answer.json()
        for product in data["products"]:
            if product["code"] == code:
                product["breaks"][0]["piece_cents"] += 50
        route.fulfill(response=answer, json=data)

    page.context.route("**/stand/data/", change)
    page.context.set_offline(True)
    page.context.set_offline(False)
    see_notice(page)


@state("The clock of the device is wrong", look_at="[data-part=notices]")
def wrong_clock(page):
    page.clock.set_fixed_time(timezone.now() + timedelta(days=60))
    open_stand(page)
    sell(page)
    see_notice(page)


@state("The portal of a public network", look_at="[data-part=notices]")
def captive_portal(page):
    open_stand(page)
    for path in ("data", "sales"):
        page.context.route(
            f"**/stand/{path}/", lambda route: route.fulfill(body=PORTAL, content_type="text/html")
        )
    sell(page)
    see_notice(page)


@state("Signed out", look_at="[data-part=notices]")
def signed_out(page):
    open_stand(page)
    page.context.clear_cookies(name="sessionid")
    sell(page)
    see_notice(page)


@state("The browser may delete what waits", look_at="[data-part=notices]")
def storage_refused(page):
    page.add_init_script(MAY_LOSE)
    open_stand(page)
    lose_signal(page)
    sell(page)
    see_notice(page)


@state("The device stores nothing", look_at="[data-part=notices]")
def cannot_store(page):
    page.add_init_script(KEEPS_NOTHING)
    open_stand(page)
    see_notice(page)


@state("The device stores nothing, and no signal: not stored", look_at="[data-part=notices]")
def not_stored(page):
    cannot_store(page)
    lose_signal(page)
    sell(page)


# ---- who sells

state = STATES.group("Who sells")


@state("Who sells now?")
def who_sells(page):
    open_stand(page)
    press(page, "act=seller")


def choose_seller(page):
    """Choose the first who has a PIN: of the demo, the owner."""
    who_sells(page)
    data = page.evaluate("fetch('/stand/data/').then((answer) => answer.json())")
    name = next(seller["name"] for seller in data["sellers"] if seller["has_pin"])
    page.locator("dialog button", has_text=name).click()


def type_pin(page, pin):
    page.locator("#till-pin").fill(pin)
    page.locator("#till-pin").press("Enter")
    page.locator("dialog form button:not([aria-disabled])").or_(
        page.locator("body:not(:has(dialog))")
    ).wait_for()


@state("The PIN is asked")
def pin_asked(page):
    choose_seller(page)


@state("A wrong PIN")
def wrong_pin(page):
    choose_seller(page)
    type_pin(page, WRONG_PIN)


@state("Too many wrong PINs")
def throttled(page):
    choose_seller(page)
    for _try in range(5):
        type_pin(page, WRONG_PIN)


@state("A person without a PIN")
def no_pin(page):
    who_sells(page)
    data = page.evaluate("fetch('/stand/data/').then((answer) => answer.json())")
    others = [seller for seller in data["sellers"] if seller["id"] != data["me"]["id"]]
    name = next(seller["name"] for seller in others if not seller["has_pin"])
    page.locator("dialog button", has_text=name).click()
