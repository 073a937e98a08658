"""Photograph every page of the demo at three widths, light and dark, in English and Spanish.

python -m tests.browser.all_pages FOLDER [NAME OR BEGINNING OF A NAME …]

It makes the house of the demo in a folder of its own, serves it, opens one address of each name as
the owner ("billing:", "inventory:place_detail"), and lays the photographs side by side: a sheet for
each section and language, and an `index.html` with all of them. It names the pages that fail, and
those that are wider than their window.
"""

import logging
import os
import sys
import tempfile
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from itertools import groupby, product
from pathlib import Path

from tests.browser.contact_sheet import LANGUAGES, SCHEMES, index, phone, sheet

WIDTHS = (320, 390, 1280)
# Of a long page so much is on a photograph.
LONGEST = 1800
WINDOW = 844
# What has no page of its own look: answers for programs, and the repair shop behind it.
LEFT_OUT = ("api:", "admin:")


@dataclass
class Outcome:
    """What was photographed, and what was wrong with it."""

    rows: list[tuple[str, str, list[Path]]] = field(default_factory=list)
    faults: list[str] = field(default_factory=list)


def wanted_pages(found: Iterator[tuple[str, str]], wanted: Sequence[str]) -> list[tuple[str, str]]:
    """Return the names and addresses of pages that were asked for, one of each name."""
    by_name = {
        name: url
        for name, url in found
        if not name.startswith(LEFT_OUT) and (not wanted or name.startswith(tuple(wanted)))
    }
    return sorted(by_name.items())


def photograph(page, name: str, folder: Path) -> tuple[list[Path], list[str]]:
    """Photograph an open page at all widths in both schemes; return the files and what is wrong."""
    files, faults = [], []
    page.mouse.move(0, 0)
    for scheme, width in product(SCHEMES, WIDTHS):
        page.emulate_media(color_scheme=scheme)
        page.set_viewport_size({"width": width, "height": WINDOW})
        size = page.evaluate(
            "[document.documentElement.scrollWidth, document.documentElement.scrollHeight]"
        )
        if size[0] > width and scheme == SCHEMES[0]:
            faults.append(f"{name} is {size[0]} wide in a window of {width}")
        page.set_viewport_size({"width": width, "height": max(WINDOW, min(size[1], LONGEST))})
        path = folder / f"{name.replace(':', '-')}-{scheme}-{width}.png"
        page.screenshot(path=path, animations="disabled")
        files.append(path)
    return files, faults


def lay_out(folder: Path, rows: Sequence[tuple[str, str, list[Path]]]) -> None:
    """Make the sheets of what was photographed, as (name, language, files), and their index."""
    sheets = []
    for (language, section), group in groupby(
        sorted(rows, key=lambda row: (row[1], row[0])), key=lambda row: (row[1], _section(row[0]))
    ):
        target = folder / f"{section}-{language}.png"
        sheet([(f"{name} ({language})", files) for name, _language, files in group], target)
        sheets.append((f"{section}, {language}", target))
    index(folder, sheets, "All pages")


def _section(name: str) -> str:
    """Return what a sheet is named for: the app, and the beginning of the page's own name."""
    app, _, own = name.rpartition(":")
    return f"{app.replace(':', '-')}-{own.split('_', 1)[0]}" if app else own


def take_all(folder: Path, data_dir: Path, wanted: Sequence[str]) -> Outcome:
    """Photograph the pages in all languages."""
    from django.core.management import call_command
    from django.db import connections
    from django.test import Client
    from django.test.utils import setup_test_environment
    from playwright.sync_api import Error, sync_playwright

    from apiary_sales.accounts.models import User
    from tests import serving
    from tests.browser.conftest import CHROMIUM_PATH
    from tests.upgrade import walk

    call_command("demo", no_serve=True)
    setup_test_environment()
    # What is no page, and answers so, is not told.
    logging.disable()
    client = Client(raise_request_exception=False)
    client.force_login(User.objects.filter(role=User.Role.OWNER).earliest("pk"))
    pages = [
        (name, url)
        for name, url in wanted_pages(walk.pages(client), wanted)
        if _is_page(client.get(url))
    ]
    connections.close_all()
    outcome = Outcome()
    with sync_playwright() as playwright, serving.service(data_dir) as port:
        browser = playwright.chromium.launch(
            executable_path=CHROMIUM_PATH, args=["--no-sandbox", "--disable-dev-shm-usage"]
        )
        for language in LANGUAGES:
            target = folder / "photos" / language
            target.mkdir(parents=True, exist_ok=True)
            cookie = client.cookies["sessionid"].value
            with phone(browser, f"http://127.0.0.1:{port}", cookie, language) as page:
                for name, url in pages:
                    try:
                        answer = page.goto(url)
                        files, faults = photograph(page, name, target)
                    except Error as error:
                        outcome.faults.append(f"{name} ({language}): {error}")
                        continue
                    outcome.faults += [f"{fault} ({language})" for fault in faults]
                    if answer is not None and answer.status >= 500:
                        outcome.faults.append(f"{name} ({language}) answers {answer.status}")
                    outcome.rows.append((name, language, files))
        browser.close()
    return outcome


def _is_page(answer) -> bool:
    """Tell whether an answer is a page of the house, not a paper, a file or the way elsewhere."""
    return answer.status_code == 200 and answer["Content-Type"].startswith("text/html")


def main(folder: Path, wanted: Sequence[str]) -> int:
    """Make the sheets in a folder, and return how many faults were seen."""
    house = tempfile.TemporaryDirectory(prefix="pages-house-")
    os.environ |= {
        "DATA_DIR": house.name,
        "DJANGO_SETTINGS_MODULE": "apiary_sales.settings",
        "DJANGO_ALLOW_ASYNC_UNSAFE": "true",
    }
    import django

    django.setup()
    with house:
        outcome = take_all(folder, Path(house.name), wanted)
    lay_out(folder, outcome.rows)
    for fault in outcome.faults:
        print(fault, file=sys.stderr)
    print(f"{len(outcome.rows)} rows in {folder / 'index.html'}, {len(outcome.faults)} faults")
    return len(outcome.faults)


if __name__ == "__main__":
    if len(sys.argv) < 2:
        sys.exit(__doc__)
    sys.exit(1 if main(Path(sys.argv[1]), sys.argv[2:]) else 0)
