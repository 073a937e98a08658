"""What is left on a device after signing out: no page, price or receipt, but each sale that waits.

Chromium keeps the page before in memory here, as it does for people: Playwright turns that off.
"""

from collections.abc import Iterator

import pytest

from apiary_sales.accounts.services import people, pins
from apiary_sales.billing.models import StandSale
from tests import builders
from tests.browser.conftest import CHROMIUM_PATH, PHONE
from tests.browser.tills import at, open_till, sees, sell_one, wait_until

STORED = """
async () => {
  const files = [];
  for (const name of await caches.keys()) files.push(...(await (await caches.open(name)).keys()));
  const database = await new Promise((resolve, reject) => {
    const asked = indexedDB.open("stand");
    asked.onsuccess = () => resolve(asked.result);
    asked.onerror = () => reject(asked.error);
  });
  const all = (name, what) => new Promise((resolve) => {
    const asked = database.transaction(name).objectStore(name)[what]();
    asked.onsuccess = () => resolve(asked.result);
  });
  const entries = await all("entries", "getAll");
  const state = await all("state", "getAllKeys");
  database.close();
  return { files: files.length, entries: entries.map(({ state }) => state), state };
}
"""


@pytest.fixture
def browser(chromium) -> Iterator:
    """A Chromium that keeps the page before in memory."""
    browser = chromium.browser_type.launch(
        executable_path=CHROMIUM_PATH,
        args=["--no-sandbox", "--disable-dev-shm-usage"],
        ignore_default_args=["--disable-back-forward-cache"],
    )
    yield browser
    browser.close()


def type_in(page, name):
    page.fill("input[name=username]", name)
    page.fill("input[name=password]", name)
    page.get_by_role("button", name="Sign in").click()
    page.wait_for_url(lambda url: "sign-in" not in url)


def choose_seller(page, name):
    page.get_by_role("button", name="Change the seller").click()
    page.get_by_role("dialog").get_by_role("button", name=name).click()


def type_pin(page, pin):
    page.locator("#till-pin").fill(pin)
    page.locator("#till-pin").press("Enter")


def sign_out(page):
    page.goto("/account/")
    page.get_by_role("button", name="Sign out").click()
    page.get_by_role("heading", name="You are signed out").wait_for()


def test_the_back_button_shows_nothing_after_signing_out(browser, live_server, transactional_db):
    # The worker of who may sell would have the browser forget the pages in memory anyway.
    builders.person("bottling")
    page = browser.new_context(base_url=live_server.url).new_page()
    page.goto("/account/sign-in/")
    type_in(page, "bottling")
    page.goto("/honey/places/")
    sign_out(page)

    for seen in ("/account/", "/honey/places/"):
        page.evaluate("history.back()")
        page.wait_for_url(f"**/account/sign-in/?next={seen}")
        page.get_by_role("heading", name="Sign in").wait_for()
    page.context.close()


def test_a_sale_that_waits_is_sent_after_signing_in_again_and_all_else_is_gone(till, pounds):
    sell_one(till)
    sees(till, "Recorded on receipt")
    till.route("**/stand/sales/", lambda route: route.abort())
    till.reload()
    open_till(till)
    sell_one(till)
    wait_until(lambda: till.evaluate(STORED)["entries"].count("waits") == 1)

    sign_out(till)

    wait_until(lambda: till.evaluate(STORED)["state"] == ["device"])
    wait_until(lambda: till.evaluate(STORED)["entries"] == ["waits"])
    assert till.evaluate(STORED)["files"] == 0
    assert at("stand", pounds) == 23

    till.unroute("**/stand/sales/")
    till.get_by_role("link", name="Sign in").click()
    type_in(till, "stand")
    till.goto("/stand/")
    wait_until(lambda: at("stand", pounds) == 22)
    # It is kept anew, for the next time without signal.
    open_till(till)


def test_the_page_that_is_kept_names_nobody_and_still_knows_the_seller(sign_in, pounds):
    people.add(username="stand", name="Suki Fennimore", role="stand", password="stand")
    people.add(username="other", name="Odile Quarrier", role="owner", password="other")
    page = sign_in("stand", PHONE)
    page.goto("/stand/")
    open_till(page)

    kept = page.evaluate("async () => (await caches.match('/stand/')).text()")

    assert "One pound" in kept
    assert [name for name in ("Suki", "Fennimore", "Odile", "Quarrier") if name in kept] == []
    wait_until(lambda: "data" in page.evaluate(STORED)["state"])
    page.context.set_offline(True)
    page.reload()
    page.get_by_role("button", name="Suki Fennimore sells. Change the seller").wait_for()


def test_who_took_over_with_a_pin_is_believed_with_and_without_signal(sign_in, pounds):
    suki = people.add(username="suki", name="Suki", role="stand", password="beeswax-and-twine")
    pins.set_pin(person=suki, pin="4831", set_by=suki)
    page = sign_in("stand", PHONE)
    page.goto("/stand/")
    open_till(page)
    choose_seller(page, "Suki")
    type_pin(page, "4831")
    page.get_by_role("button", name="Suki sells. Change the seller").wait_for()
    sell_one(page)
    sees(page, "Recorded on receipt")
    choose_seller(page, "Stand")
    page.get_by_role("button", name="Stand sells. Change the seller").wait_for()

    page.context.set_offline(True)
    choose_seller(page, "Suki")
    type_pin(page, "4831")
    page.get_by_role("button", name="Suki sells. Change the seller").wait_for()
    sell_one(page)
    page.context.set_offline(False)

    wait_until(lambda: StandSale.objects.count() == 2)
    for sale in StandSale.objects.all():
        assert (sale.sold_by, sale.sent_by.username, list(sale.marks.all())) == (suki, "stand", [])


def test_a_sale_after_the_session_ended_is_kept_and_sent_after_signing_in(till, pounds):
    people.switch_off(person=builders.person("stand"))
    people.switch_on(person=builders.person("stand"))

    sell_one(till)

    till.get_by_role("link", name="Sign in").click()
    type_in(till, "stand")
    till.goto("/stand/")
    wait_until(lambda: at("stand", pounds) == 23)
