"""The house of the contact sheet, and how each of its states is photographed; see there."""

import shutil
import sys
from collections.abc import Sequence
from datetime import time
from pathlib import Path

from django.core.management import call_command
from django.db import connections
from django.test import Client
from django.utils import timezone
from playwright.sync_api import Error, sync_playwright

from apiary_sales.accounts.models import User
from apiary_sales.accounts.services import pins
from apiary_sales.billing.services import market_days, return_requests, stand_days
from apiary_sales.billing.stand_return_rules import PiecesBack
from apiary_sales.orders.rules.pieces import PiecesWanted
from inventory.bottling.models import Product
from inventory.stock.models import Place
from tests import serving
from tests.browser import page_states, till_states
from tests.browser.conftest import CHROMIUM_PATH
from tests.browser.contact_sheet import LANGUAGES, phone, photograph
from tests.browser.page_states import older_sales
from tests.browser.states import STATES, State
from tests.browser.till_states import PIN

# Both modules fill the table.
assert till_states.STATES is page_states.STATES

Taken = tuple[State, str, list[Path]]


def furnish() -> None:
    """Make the house of the demo, and what it has not: PINs, an open day, returns, a full van."""
    call_command("demo", no_serve=True)
    owner = User.objects.get(role=User.Role.OWNER)
    minder = User.objects.get(role=User.Role.STAND)
    stand = Place.objects.get(code="stand")
    pins.set_pin(person=owner, pin=PIN, set_by=owner)
    stand_days.open_day(place=stand, opened_by=minder, float_cents=6_000, key="sheet-day")
    jars = Product.objects.filter(code__in=["1-lb", "half-pound"])
    market_day = market_days.plan(
        place=Place.objects.get(code="van"),
        source=Place.objects.get(code="storeroom"),
        day=timezone.localdate(),
        market="Elderwick Green",
        opens_at=time(8),
        closes_at=time(13),
        planned_by=owner,
        lines=[PiecesWanted(product, 12) for product in jars],
        key="sheet-market",
    )
    market_days.load(
        market_day=market_day,
        lines=[PiecesWanted(product, 12) for product in jars],
        loaded_by=minder,
        key="sheet-load",
    )
    _ask_for_returns(owner, minder)


def _ask_for_returns(owner: User, minder: User) -> None:
    for number, sale in enumerate(older_sales()[1:3]):
        asked = return_requests.ask(
            receipt=sale.receipt,
            lines=[PiecesBack(sale.receipt.lines.earliest("id"), 1)],
            reason="The lid leaks",
            asked_by=minder,
            key=f"sheet-return-{number}",
        )
    return_requests.approve(request=asked, approved_by=owner, key="sheet-approved")


def take_all(folder: Path, data_dir: Path, wanted: Sequence[str]) -> tuple[list[Taken], list[str]]:
    """Photograph the states in all languages, and tell which could not be driven."""
    photos = folder / "photos"
    states = [each for each in STATES.states if not wanted or {each.group, each.name} & set(wanted)]
    furnish()
    connections.close_all()
    database, clean = data_dir / "honey.sqlite3", data_dir / "clean.sqlite3"
    serving.copy_database(database, clean)
    taken: list[Taken] = []
    failed: list[str] = []
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path=CHROMIUM_PATH, args=["--no-sandbox", "--disable-dev-shm-usage"]
        )
        for language in LANGUAGES:
            serving.copy_database(clean, database)
            target = photos / language
            shutil.rmtree(target, ignore_errors=True)
            target.mkdir(parents=True)
            with serving.service(data_dir) as port:
                for state in states:
                    try:
                        files = _take(browser, f"http://127.0.0.1:{port}", state, language, target)
                    except (Error, AssertionError) as error:
                        failed.append(f"{state.name} ({language}): {error}")
                        print(failed[-1], file=sys.stderr)
                    else:
                        taken.append((state, language, files))
            connections.close_all()
        browser.close()
    return taken, failed


def _take(browser, address: str, state: State, language: str, folder: Path) -> list[Path]:
    client = Client()
    client.force_login(User.objects.filter(role=state.role).earliest("pk"))
    broken: list[str] = []

    def note(answer) -> None:
        if answer.status >= 500:
            broken.append(answer.url)

    with phone(browser, address, client.cookies["sessionid"].value, language) as page:
        page.on("response", note)
        state.drive(page)
        files = photograph(page, folder, state)
    assert not broken, f"The house failed at {broken}"
    return files
