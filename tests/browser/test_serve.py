"""The stand over HTTPS, as it is served for real."""

import re
from datetime import date

import pytest
from django.conf import global_settings
from django.db import connection

from apiary_sales.pricing.models import PiecePrice
from inventory.shared.models import House
from inventory.stock.models import Place
from tests import builders, serving
from tests.browser.conftest import CHROMIUM_PATH


@pytest.fixture
def stand(transactional_db, settings, tmp_path):
    """A served house with one jar at its stand; return its address."""
    settings.PASSWORD_HASHERS = global_settings.PASSWORD_HASHERS
    House(name="Hollow Oak Honey House").save()
    place = builders.place("stand", Place.Kind.STAND, name="Stand")
    product = builders.product("One pound", code="one-pound")
    builders.packed_lot(product, place, 24)
    PiecePrice.objects.create(
        tier="stand", product=product, piece_cents=800, valid_from=date(2026, 1, 1)
    )
    builders.person("stand")
    with connection.cursor() as cursor:
        cursor.execute("VACUUM INTO %s", [str(tmp_path / "honey.sqlite3")])
    with (
        serving.service(tmp_path, HTTPS="true", ALLOWED_HOSTS="localhost") as port,
        serving.https_proxy(port) as (https_port, _trust),
    ):
        yield f"https://localhost:{https_port}"


def test_the_stand_page_is_kept_for_times_without_signal(chromium, stand):
    # A worker is only registered where the certificate is good, or where all certificates are.
    browser = chromium.browser_type.launch(
        executable_path=CHROMIUM_PATH,
        args=["--no-sandbox", "--disable-dev-shm-usage", "--ignore-certificate-errors"],
    )
    try:
        page = browser.new_page(base_url=stand)
        page.goto("/stand/")
        page.get_by_label("Name").fill("stand")
        page.get_by_label("Password").fill("stand")
        page.get_by_role("button", name="Sign in").click()
        page.get_by_role("button", name="One pound").wait_for()
        scope = page.evaluate("navigator.serviceWorker.ready.then(worker => worker.scope)")

        assert page.url == f"{stand}/stand/"
        # The worker keeps the stand for every page of the house.
        assert scope == f"{stand}/"
        assert page.evaluate("window.isSecureContext")
        cookies = {cookie["name"]: cookie["secure"] for cookie in page.context.cookies()}
        assert cookies == {
            "__Host-csrftoken": True,
            "__Host-sessionid": True,
            "has_signed_in": True,
        }

        page.context.set_offline(True)
        page.reload()
        page.get_by_role("button", name="One pound").wait_for()

        scripts = page.eval_on_selector_all("script[src]", "all => all.map(one => one.src)")
        # The files are kept under the names that `serve` gave them.
        assert any(re.search(r"/stand/page\.[0-9a-f]{12}\.js$", address) for address in scripts)
    finally:
        browser.close()
