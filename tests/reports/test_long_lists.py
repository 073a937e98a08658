"""Long lists are read some rows at a time, and still come to what all of them come to."""

import pytest
from django.http import QueryDict

from apiary_sales.api import reports as api_reports
from apiary_sales.reports import catalogue, report
from apiary_sales.reports.frames.listing import Listing
from apiary_sales.reports.report import FilteredReport
from tests import builders
from tests.benchmarks import reports as benchmarks

LONG = ("journal", "sale-lines", "invoices", "payments")


class ReadKeys:
    """Hears which rows of a list are read at a time."""

    def __init__(self, monkeypatch):
        self.at_once: list[int] = []
        read = Listing.records

        def records(listing, places):
            self.at_once.append(len(places))
            return read(listing, places)

        monkeypatch.setattr(Listing, "records", records)


def made(slug: str, query: str, sort: str = "") -> FilteredReport:
    form = catalogue.REPORTS[slug].form(QueryDict(query))
    assert form.is_valid()
    return FilteredReport(catalogue.REPORTS[slug], form, sort)


@pytest.fixture
def office(client, db):
    client.force_login(builders.person("office"))
    return client


@pytest.mark.parametrize("slug", LONG)
def test_a_list_has_the_rows_of_its_frame_and_their_sums(billed, slug):
    found = made(slug, "since=" if slug != "sale-lines" else "since=&goods=all")
    assert found.listing is not None
    assert found.count == len(found.frame) > 0

    rows = list(found.each_row())

    of_frame = [
        {column.name: column.value(record) for column in found.columns}
        for record in found.frame.to_dict("records")
    ]
    assert rows == of_frame
    for column in found.columns:
        if column.adds_up:
            known = [row[column.name] for row in rows if row[column.name] is not None]
            assert found.total[column.name] == (sum(known) if known else None), column.name


def test_the_lines_handed_over_are_those_told_in_the_house(house):
    """As in `test_sales_frames`: 10 jars for 80.00, 24 for 150.00, 12 for 204.00, and a drum."""
    found = made("sale-lines", "since=")

    assert sorted(row["amount_cents"] for row in found.each_row()) == [
        8_000,
        15_000,
        20_400,
        139_828,
    ]
    assert found.total["amount_cents"] == 8_000 + 15_000 + 20_400 + 139_828


@pytest.mark.parametrize("slug", ["journal", "sale-lines"])
def test_pages_answers_and_files_read_few_rows_at_a_time(office, billed, monkeypatch, slug):
    monkeypatch.setattr(report, "ROWS_AT_ONCE", 2)
    monkeypatch.setattr(api_reports, "ROWS_A_PAGE", 2)
    heard = ReadKeys(monkeypatch)

    answer = office.get(f"/api/v1/reports/{slug}/?since=&page=2").json()
    assert (answer["count"] > 2, heard.at_once) == (True, [len(answer["rows"])])
    heard.at_once.clear()

    assert office.get(f"/reports/{slug}.csv?since=").getvalue()
    assert office.get(f"/reports/{slug}.xlsx?since=").content
    assert sum(heard.at_once) == 2 * answer["count"]
    assert max(heard.at_once) == 2


def test_a_list_is_sorted_as_its_frame_is(house):
    by_amount = made("sale-lines", "since=", "-amount_cents")

    amounts = [row["amount_cents"] for row in by_amount.each_row()]

    assert amounts == [139_828, 20_400, 15_000, 8_000]


def test_every_report_is_held_against_an_aggregate_by_hand():
    assert set(benchmarks.AGGREGATES) == set(catalogue.REPORTS)
