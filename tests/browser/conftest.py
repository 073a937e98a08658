"""Chromium for the tests that a person's task works on screen.

def test_the_drum_is_filled(sign_in, axe):
    page = sign_in("bottling", PHONE)
    page.goto("/honey/")
    axe(page)
"""

import json
import os
import shutil
from collections.abc import Callable, Iterator
from datetime import date
from urllib.parse import urlsplit

import pytest
from django.conf import settings
from django.test import Client

from apiary_sales.pricing.models import PiecePrice
from inventory.shared.models import House
from inventory.stock.models import Place
from tests import builders, skips
from tests.browser import tills

DESKTOP = (1280, 800)
PHONE = (390, 844)

# WCAG 2.2, levels A and AA, and what they took over from 2.0 and 2.1.
WCAG_TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22a", "wcag22aa"]

CHROMIUM_PATH = os.environ.get("CHROMIUM", "") or (
    shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Mark everything in this folder, so that `-m "not browser"` leaves it out."""
    for item in items:
        if "/browser/" in item.path.as_posix():
            item.add_marker(pytest.mark.browser)


@pytest.fixture(scope="session")
def chromium() -> Iterator:
    """A running Chromium; without one the test is skipped, and fails where CI=true."""
    try:
        from playwright.sync_api import Error, expect, sync_playwright
    except ImportError:
        skips.skip("Playwright is not installed: install the test extras.")
    if not CHROMIUM_PATH:
        skips.skip("Chromium is not on this machine: install it, or set CHROMIUM to its path.")
    # Playwright keeps a loop running in this thread, which Django would take for async code.
    before = os.environ.get("DJANGO_ALLOW_ASYNC_UNSAFE")
    os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "true"
    # A busy machine may be slow; a page that is wrong stays wrong.
    expect.set_options(timeout=20_000)
    playwright = sync_playwright().start()
    try:
        browser = playwright.chromium.launch(
            executable_path=CHROMIUM_PATH, args=["--no-sandbox", "--disable-dev-shm-usage"]
        )
    except Error as error:
        playwright.stop()
        skips.skip(f"Chromium does not start: {error}")
    yield browser
    browser.close()
    playwright.stop()
    if before is None:
        del os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"]
    else:
        os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = before


@pytest.fixture
def sign_in(chromium, live_server, transactional_db) -> Iterator[Callable]:
    """Return `sign_in(role, viewport=DESKTOP)`: a page of its own, signed in as that role.

    `locale` is the language that its browser asks for.

    Each call is another person with another browser. A script that fails, or that the content
    security policy stops, fails the test at its end.
    """
    contexts, complaints = [], []

    def note_complaint(message) -> None:
        if message.type == "error" and "Content Security Policy" in message.text:
            complaints.append(message.text)

    def open_page(role: str, viewport: tuple[int, int] = DESKTOP, locale: str = "en-US"):
        client = Client()
        client.force_login(builders.person(role))
        width, height = viewport
        context = chromium.new_context(
            base_url=live_server.url,
            viewport={"width": width, "height": height},
            has_touch=width < 600,
            is_mobile=width < 600,
            locale=locale,
        )
        contexts.append(context)
        context.set_default_timeout(30_000)
        context.add_cookies(
            [
                {
                    "name": settings.SESSION_COOKIE_NAME,
                    "value": client.cookies[settings.SESSION_COOKIE_NAME].value,
                    "domain": urlsplit(live_server.url).hostname,
                    "path": "/",
                }
            ]
        )
        page = context.new_page()
        page.on("pageerror", lambda error: complaints.append(str(error)))
        page.on("console", note_complaint)
        return page

    yield open_page
    for context in contexts:
        context.close()
    assert complaints == []


@pytest.fixture
def axe() -> Callable:
    """Return `axe(page)`: assert that axe-core finds no WCAG 2.2 A or AA violation on the page."""
    from axe_playwright_python.sync_playwright import Axe

    def check(page) -> None:
        # A colour that is still on its way to another theme is neither of the two.
        page.evaluate("Promise.all(document.getAnimations().map((each) => each.finished))")
        results = Axe().run(page, options={"runOnly": {"type": "tag", "values": WCAG_TAGS}})
        found = [
            {
                "rule": violation["id"],
                "help": violation["help"],
                "where": [node["html"] for node in violation["nodes"]],
            }
            for violation in results.response["violations"]
        ]
        assert found == [], f"{page.url}\n{json.dumps(found, indent=2)}"

    return check


@pytest.fixture
def stand(transactional_db):
    House(name="Hollow Oak Honey House").save()
    return builders.place("stand", Place.Kind.STAND, name="Stand")


@pytest.fixture
def price_of(stand):
    """Return `price_of(product, cents, …)`: set what a product costs at the stand."""

    def put(product, piece_cents, *, pieces=1, case_cents=None, since=date(2026, 1, 1)):
        return PiecePrice.objects.create(
            tier="stand",
            product=product,
            min_pieces=pieces,
            piece_cents=piece_cents,
            case_cents=case_cents,
            valid_from=since,
        )

    return put


@pytest.fixture
def pounds(stand, price_of):
    """The one-pound jar at 8.00, 24 of them at the stand."""
    product = builders.product("One pound", code="one-pound")
    builders.packed_lot(product, stand, 24)
    price_of(product, 800)
    return product


@pytest.fixture
def till(sign_in, pounds):
    """The stand page on a telephone, ready to go on without signal."""
    page = sign_in("stand", PHONE)
    page.goto("/stand/")
    tills.open_till(page)
    return page
