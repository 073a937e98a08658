"""Office looks at what each size earned, down to the lines, and takes the figures along."""

import csv
import re
from datetime import date, timedelta

import pytest
from django.utils import timezone
from playwright.sync_api import expect

from apiary_sales.reports.catalogue import REPORTS
from inventory.stock.models import Lot, Place
from tests import builders
from tests.reports import conftest as made

from .conftest import DESKTOP, PHONE

# On a phone a dot parts the figures of a row. It stands before its cell: at the beginning of a
# line that is outside the row, which is cut there. The dark of it ends 0.2 of a letter after its
# place begins.
DOTS_SEEN_AT_A_LINE_START = """
  [...document.querySelectorAll(".table-lines :is(.line-said, .line-dot)")].filter((cell) => {
    const row = cell.closest("tr"), box = cell.getBoundingClientRect();
    const style = getComputedStyle(cell);
    const edge = row.getBoundingClientRect().left + row.clientLeft;
    const start = edge + parseFloat(getComputedStyle(row).paddingLeft);
    const dot = box.left + parseFloat(style.textIndent) + 0.2 * parseFloat(style.fontSize);
    const isCut = getComputedStyle(row).overflowX === "clip" && dot <= edge;
    return box.width > 0 && Math.abs(box.left - start) < 1 && !isCut;
  }).map((cell) => cell.textContent)
"""


@pytest.fixture
def sales(transactional_db):
    """Jars of two seasons: 10 that cost 300 cents each sold at 8.00, and 4 that cost 350."""
    stand = builders.place("stand", Place.Kind.STAND, name="Stand")
    product = builders.product("Pound jar", code="pound-jar")
    day = timezone.localdate() - timedelta(days=3)
    for season, pieces, cents in ((2025, 10, 300), (2026, 4, 350)):
        lot = builders.packed_lot(
            product,
            stand,
            pieces,
            code=f"P{season}",
            cost_cents=cents * pieces,
            best_by=date(season + 2, 7, 31),
        )
        Lot.objects.filter(pk=lot.pk).update(season=season)
        made.sell(stand, made.jars(product, pieces, "8.00"), on=day)


@pytest.mark.parametrize("viewport", [DESKTOP, PHONE])
def test_office_opens_a_margin_to_its_lines_and_downloads_it(sign_in, axe, sales, viewport):
    page = sign_in("office", viewport)

    page.goto("/reports/")
    axe(page)
    page.get_by_role("link", name="Margin by size").click()
    # 14 at 8.00.
    expect(page.get_by_role("row", name="Total").get_by_text("$112.00")).to_be_visible()

    page.get_by_text("Choose what is shown").click()
    page.get_by_label("Season").select_option("2025")
    page.get_by_role("button", name="Show").click()

    expect(page).to_have_url(re.compile("season=2025"))
    expect(page.get_by_role("img", name="Sales and margin by size")).to_be_visible()
    # 10 × (8.00 − 3.00).
    expect(page.get_by_role("row", name="Total").get_by_text("$50.00")).to_be_visible()
    axe(page)
    with page.expect_download() as download:
        page.get_by_role("link", name="Download CSV").click()
    with open(download.value.path(), encoding="utf-8-sig", newline="") as file:
        rows = list(csv.DictReader(file))
    assert [(row["Size"], row["Margin, USD"]) for row in rows] == [
        ("Pound jar", "50.00"),
        ("Total", "50.00"),
    ]

    page.get_by_role("link", name="Pound jar").click()

    expect(page.get_by_role("heading", level=1)).to_have_text("Sales, line by line")
    expect(page.get_by_role("row", name="Total").get_by_text("$50.00")).to_be_visible()
    axe(page)
    page.get_by_role("link", name="P2025").click()
    expect(page).to_have_url(re.compile("/honey/lots/P2025/$"))


def test_days_that_make_no_sense_are_said_and_can_be_mended(sign_in, axe, sales):
    page = sign_in("office")

    page.goto("/reports/sales-by-month/?since=2026-09-02&until=2026-09-01")

    expect(page.get_by_role("alert")).to_contain_text("comes before the first")
    axe(page)
    page.get_by_role("link", name="All days").click()
    expect(page.get_by_role("img", name="Sales by month")).to_be_visible()


def test_every_report_can_be_read_by_everyone(sign_in, axe, sales):
    page = sign_in("office", PHONE)

    for slug in REPORTS:
        page.goto(f"/reports/{slug}/")
        axe(page)
        wide = page.evaluate("document.documentElement.scrollWidth > window.innerWidth")
        assert not wide, slug
        assert page.evaluate(DOTS_SEEN_AT_A_LINE_START) == [], slug
