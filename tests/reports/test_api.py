"""Reports in the API: the figures of the pages, in whole cents, grams and pieces."""

import pytest

from apiary_sales.reports import catalogue
from apiary_sales.reports.report import FilteredReport
from tests import builders
from tests.inventory import bottling_room

pytestmark = pytest.mark.django_db


@pytest.fixture
def ask(client):
    def get(path, role="office"):
        return client.get(
            f"/api/v1/reports/{path}", headers={"Authorization": builders.authorization(role)}
        )

    return get


def test_a_report_gives_its_rows_in_whole_cents_and_grams(ask, house):
    answer = ask("margin-by-product/?season=2025").json()

    assert answer["slug"] == "margin-by-product"
    assert answer["filters"] == {"season": "2025"}
    assert (answer["currency"], answer["weight_unit"]) == ("USD", "lb")
    assert answer["rows"] == [
        {
            "product": "Pound jar",
            "pieces": 34,
            "grams": 15_422,
            "amount_cents": 23_000,
            "no_cost_cents": 0,
            "cost_cents": 10_200,
            "margin_cents": 12_800,
            "margin_percent": "55.7",
            "margin_per_pound": "3.7647",
        }
    ]
    assert answer["total"] == {**answer["rows"][0], "product": None}


def test_the_list_names_every_report_with_its_address_and_filters(ask, house):
    listed = ask("").json()

    assert [report["slug"] for report in listed] == list(catalogue.REPORTS)
    stock = next(report for report in listed if report["slug"] == "stock-value")
    assert stock["title"] == "Stock value"
    assert set(stock["filters"]) == {"on", "known_on", "kind", "season"}
    for report in listed:
        assert (
            ask(report["url"].removeprefix("http://testserver/api/v1/reports/")).status_code == 200
        )


def test_an_unknown_cost_is_null(ask, house):
    rows = ask("margin-by-product/").json()["rows"]

    assert [row["margin_cents"] for row in rows] == [12_800, None, 80_828]


def test_columns_say_their_unit(ask, house):
    columns = ask("margin-by-product/").json()["columns"]

    assert columns[1] == {"name": "pieces", "label": "Jars", "unit": "pieces"}
    assert columns[3] == {"name": "amount_cents", "label": "Sales", "unit": "cents"}


@pytest.mark.parametrize("slug", catalogue.REPORTS)
def test_the_api_gives_what_the_page_shows(ask, client, billed, slug):
    bottling_room.recorded(bottling_room.set_up())
    filters = catalogue.REPORTS[slug].form.base_fields
    asked = {"days": 1, "season": 2026}
    name = next((name for name in asked if name in filters), None)
    query = f"{name}={asked[name]}" if name else ""

    answer = ask(f"{slug}/?{query}").json()
    client.force_login(builders.person("office"))
    page = client.get(f"/reports/{slug}/?{query}")

    report: FilteredReport = page.context["made"]
    assert len(answer["rows"]) == len(report.rows) > 0
    for row, made_row in zip(answer["rows"], report.rows, strict=True):
        for column in report.columns:
            value = made_row[column.name]
            assert row[column.name] == (
                value if value is None or isinstance(value, int) else str(value)
            )
            # What the page writes is the figure of the API.
            if column in report.columns_shown:
                assert str(column.shown(value)) in page.text
    for column in report.columns:
        if column.adds_up:
            known = [row[column.name] for row in answer["rows"] if row[column.name] is not None]
            assert answer["total"][column.name] == (sum(known) if known else None)


def test_a_report_is_of_this_year_and_says_so_unless_all_days_are_asked_for(ask, house):
    """Today is November 20, 2026."""
    assert ask("sale-lines/").json()["filters"] == {"since": "2026-01-01", "until": "2026-11-20"}
    assert ask("sale-lines/?since=").json()["filters"] == {"since": ""}
    assert ask("year-on-year/").json()["filters"] == {}


def test_the_rows_of_a_long_report_come_page_by_page_and_the_total_is_of_all(
    ask, house, monkeypatch
):
    monkeypatch.setattr("apiary_sales.api.reports.ROWS_A_PAGE", 3)

    first = ask("sale-lines/?since=").json()
    second = ask(first["next"].partition("/reports/")[2]).json()

    # 80.00 + 150.00, 204.00 and 1,398.28 of four lines.
    assert [len(answer["rows"]) for answer in (first, second)] == [3, 1]
    assert first["count"] == second["count"] == 4
    assert second["next"] is None
    assert first["total"]["amount_cents"] == second["total"]["amount_cents"] == 183_228
    together = [row["amount_cents"] for row in first["rows"] + second["rows"]]
    assert together == [8_000, 15_000, 20_400, 139_828]
    refused = ask("sale-lines/?page=3")
    assert refused.status_code == 400
    assert refused.json()["errors"][0]["field"] == "page"


def test_a_filter_of_other_reports_is_refused(ask, house):
    answer = ask("stock-value/?customer=none")

    assert answer.status_code == 400
    [error] = answer.json()["errors"]
    assert (error["field"], error["code"]) == ("customer", "unknown_parameter")


def test_filters_that_make_no_sense_are_problems_of_their_fields(ask):
    answer = ask("sales-by-product/?since=soon&product=bucket")

    assert answer.status_code == 400
    assert answer.headers["Content-Type"] == "application/problem+json"
    assert {problem["field"] for problem in answer.json()["errors"]} == {"since", "product"}


@pytest.mark.parametrize("role", ["stand", "bottling"])
def test_who_may_not_see_money_gets_no_report(ask, role):
    assert ask("sales-by-product/", role=role).status_code == 403
    assert ask("", role=role).status_code == 403


def test_a_report_there_is_not_is_not_found(ask):
    assert ask("sales-by-moon/").status_code == 404


def test_without_a_token_there_is_no_report(client):
    assert client.get("/api/v1/reports/sales-by-product/").status_code == 401


def test_a_report_cannot_be_written(client):
    client.force_login(builders.person("office"))

    assert client.post("/api/v1/reports/sales-by-product/").status_code == 405
