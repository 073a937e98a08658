"""What keeps the stand on a phone: it opens without signal wherever a person begins, and nothing
that is not whole, or not ours, is kept.
"""

from contextlib import contextmanager
from datetime import date

import pytest

from apiary_sales.billing.views import stand_app
from apiary_sales.pricing.models import PiecePrice
from inventory.shared.models import House
from inventory.stock.models import Place
from tests import builders
from tests.browser import weak_network
from tests.browser.conftest import PHONE

STAND = "/stand/"
TODAY = "/"
QUIET_PAGE = "/stand/receipts/"


@pytest.fixture
def network(live_server, transactional_db):
    House(name="Hollow Oak Honey House").save()
    place = builders.place("stand", Place.Kind.STAND, name="Stand")
    product = builders.product("One pound", code="one-pound")
    builders.packed_lot(product, place, 24)
    PiecePrice.objects.create(
        tier="stand", product=product, piece_cents=800, valid_from=date(2026, 1, 1)
    )
    with weak_network.before(live_server.url) as network:
        yield network


@pytest.fixture
def phone(sign_in, network):
    """A phone on which a seller opened a page of the house that is not the stand."""
    page = sign_in("stand", PHONE)
    page.goto(network.url + QUIET_PAGE)
    return page


def wait_for(page, what: str, *values) -> None:
    """Wait until a promise says yes."""
    for _moment in range(400):
        if page.evaluate(what, list(values)):
            return
        page.wait_for_timeout(25)
    raise AssertionError(page.evaluate(KEPT))


def assert_till_is_open(page) -> None:
    """The page is the stand, and its script is at work."""
    page.locator("[data-till]:not([hidden])").wait_for()


KEPT = """
async () => {
  const kept = {};
  for (const name of await caches.keys()) {
    const cache = await caches.open(name);
    kept[name] = (await cache.keys()).map((request) => new URL(request.url).pathname);
  }
  return kept;
}
"""


def wait_until_ready(page) -> None:
    wait_for(
        page,
        """async () => {
            const registration = await navigator.serviceWorker.getRegistration("/");
            return registration?.active?.state === "activated";
        }""",
    )


def version_kept(page) -> list[str]:
    return sorted(page.evaluate("() => caches.keys()"))


@contextmanager
def a_newer_version(monkeypatch):
    """The house as it is after an upgrade that changed one file of the stand."""
    with monkeypatch.context() as changed:
        changed.setattr(stand_app, "PAGE_TEMPLATES", ["base.html"])
        yield f"stand-{stand_app.version()}"


@pytest.mark.parametrize("start", [STAND, f"{STAND}?place=stand", TODAY, "/orders/"])
def test_the_stand_opens_without_signal_wherever_a_person_begins(phone, network, start):
    wait_until_ready(phone)
    network.break_down("none")

    phone.goto(network.url + start)

    assert_till_is_open(phone)
    assert phone.url.startswith(network.url + STAND)
    assert phone.locator("[data-till]").count() == 1


@pytest.fixture
def short_patience(monkeypatch):
    """A worker that waits for less than a second: asked for before the phone."""
    monkeypatch.setattr(stand_app, "PATIENCE_MS", 700)


@pytest.mark.parametrize(
    ("start", "fault"), [(TODAY, "hangs"), (STAND, "hangs"), (STAND, "stalls")]
)
def test_the_stand_opens_where_the_connection_hangs(short_patience, phone, network, start, fault):
    wait_until_ready(phone)
    network.break_down(fault)

    phone.goto(network.url + start)

    assert_till_is_open(phone)


@pytest.mark.parametrize("fault", ["cut", "short", "portal", "portal_redirect", 500, 502, 404])
def test_what_is_not_the_whole_stand_page_is_neither_shown_nor_kept(phone, network, fault):
    wait_until_ready(phone)
    network.break_down(fault)

    phone.goto(network.url + STAND)
    assert_till_is_open(phone)

    network.break_down("none")
    phone.reload()
    assert_till_is_open(phone)


@pytest.mark.parametrize(
    ("fault", "path"),
    [
        ("short", "/static/billing/stand/sending.js"),
        ("portal", "/static/billing/stand/sending.js"),
        ("short", STAND),
        (502, STAND),
    ],
)
def test_a_worker_that_did_not_get_everything_whole_does_not_begin(sign_in, network, fault, path):
    network.break_down(fault, path)
    page = sign_in("stand", PHONE)
    page.goto(network.url + QUIET_PAGE)
    wait_for(page, "async () => (await caches.keys()).length > 0")
    # It begins or it is given up.
    wait_for(
        page,
        """async () => {
            const registration = await navigator.serviceWorker.getRegistration("/");
            return !registration || Boolean(registration.active);
        }""",
    )
    assert page.evaluate("() => navigator.serviceWorker.getRegistration('/')") is None

    network.heal()
    page.reload()
    wait_until_ready(page)
    network.break_down("none")
    page.goto(network.url + STAND)
    assert_till_is_open(page)


def test_a_signed_out_phone_with_signal_is_asked_to_sign_in(phone, network):
    wait_until_ready(phone)
    phone.context.clear_cookies(name="sessionid")

    phone.goto(network.url + STAND)
    assert "/sign-in/" in phone.url

    network.break_down("none")
    phone.goto(network.url + STAND)
    assert_till_is_open(phone)


def test_who_may_not_sell_is_told_so(phone, sign_in, network):
    wait_until_ready(phone)
    other = sign_in("bottling", PHONE).context.cookies()
    phone.context.clear_cookies(name="sessionid")
    phone.context.add_cookies([cookie for cookie in other if cookie["name"] == "sessionid"])

    answer = phone.goto(network.url + STAND)

    assert answer.status == 403
    assert phone.locator("[data-till]").count() == 0


def test_the_kept_page_names_nobody(sign_in, network):
    page = sign_in("owner", PHONE)
    page.goto(network.url + QUIET_PAGE)
    assert page.locator(".apart", has_text="Owner").count() == 1
    wait_until_ready(page)

    network.break_down("none")
    page.goto(network.url + STAND)

    assert_till_is_open(page)
    assert page.locator(".apart", has_text="Owner").count() == 0


def test_a_new_version_replaces_the_old_one_whole(phone, network, monkeypatch):
    wait_until_ready(phone)
    [old] = version_kept(phone)

    with a_newer_version(monkeypatch) as new:
        # First without one of its files: the old one stays.
        network.break_down("portal", "/stand/")
        phone.goto(network.url + QUIET_PAGE)
        wait_for(phone, "async ([name]) => caches.has(name)", new)
        wait_for(phone, "async () => !(await navigator.serviceWorker.ready).installing")
        network.break_down("none")
        phone.goto(network.url + STAND)
        assert_till_is_open(phone)
        assert old in version_kept(phone)

        network.heal()
        phone.goto(network.url + QUIET_PAGE)
        wait_for(phone, "async ([name]) => String(await caches.keys()) === name", new)
        kept = phone.evaluate(KEPT)[new]

    assert new != old
    assert sorted(kept) == sorted([STAND, *stand_app.shell_digests()])


def test_a_newer_page_never_gets_the_files_of_an_older_one(phone, network, monkeypatch):
    wait_until_ready(phone)
    phone.goto(network.url + STAND)
    network.seen.clear()
    phone.reload()
    shell = set(stand_app.shell_digests())
    assert not shell & {path for path, _body in network.seen}

    with a_newer_version(monkeypatch):
        phone.reload()
        phone.wait_for_load_state("load")

    asked = {path for path, _body in network.seen}
    assert "/static/billing/stand/page.js" in asked
    assert "/static/billing/stand.css" in asked


def test_the_worker_of_earlier_versions_retires(sign_in, network):
    page = sign_in("stand", PHONE)
    # A page that registers nothing.
    page.goto(f"{network.url}/static/web/icons/house.svg")
    page.evaluate(
        """async () => {
            await navigator.serviceWorker.register("/stand/worker.js", { scope: "/stand/" });
            await (await caches.open("stand-2")).put("/stand/", new Response("old"));
        }"""
    )

    page.goto(network.url + QUIET_PAGE)
    wait_until_ready(page)

    wait_for(
        page,
        """async () => {
            const all = await navigator.serviceWorker.getRegistrations();
            const isAlone = all.length === 1 && new URL(all[0].scope).pathname === "/";
            return isAlone && !(await caches.has("stand-2"));
        }""",
    )


def test_what_is_not_a_page_or_a_file_of_the_stand_goes_past_the_worker(phone, network):
    wait_until_ready(phone)
    phone.reload()
    network.break_down("portal_json")

    said = phone.evaluate("async () => (await fetch('/stand/data/')).json()")
    sent = phone.evaluate("async () => (await fetch('/stand/sales/', {method: 'POST'})).json()")
    kept = [path for paths in phone.evaluate(KEPT).values() for path in paths]

    assert said == sent == {"key": "yes"}
    assert not {"/stand/data/", "/stand/sales/"} & set(kept)
