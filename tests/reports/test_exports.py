"""Reports as files: the figures of the page, and no text that turns into a formula.

The starts of formulas are those OWASP lists under "CSV Injection": = + - @, tab, carriage return
(and line feed, and the wide forms of the four marks).
"""

import csv
import io
from datetime import date
from decimal import Decimal

import openpyxl
import pytest

from apiary_sales.reports import catalogue, exports
from apiary_sales.reports.report import FilteredReport
from apiary_sales.reports.workbook import xlsx_file
from tests import builders
from tests.reports import conftest as house_made

pytestmark = pytest.mark.django_db

FORMULAS = [
    "=1+1",
    "+1",
    "-2+3",
    "@SUM(A1)",
    "\t=1",
    "\r=1",
    "\n=1",
    '=HYPERLINK("http://example.invalid";"look")',
    "=cmd|' /C calc'!A0",
    "＝1+1",
    "＋1",
    "－1",
    "＠x",
]


def made(slug: str, **address: str) -> FilteredReport:
    form = catalogue.REPORTS[slug].form(address)
    assert form.is_valid(), form.errors
    return FilteredReport(catalogue.REPORTS[slug], form)


def csv_rows(report: FilteredReport) -> list[list[str]]:
    text = exports.csv_file(report).decode("utf-8-sig")
    return list(csv.reader(io.StringIO(text, newline="")))


def workbook(report: FilteredReport) -> openpyxl.Workbook:
    return openpyxl.load_workbook(io.BytesIO(xlsx_file(report)))


def test_csv_has_the_figures_of_the_page_with_their_units(house):
    lines = exports.csv_file(made("margin-by-product")).decode("utf-8-sig").splitlines()

    assert lines == [
        'Product,"Jars, pc","Honey, lb","Honey, g","Sales, USD","Sales without a '
        'cost, USD","Cost, USD","Margin, USD","Margin, percent of sales, '
        '%","Margin per pound, USD"',
        # 15,422 g ÷ 453.59237 = 33.99969 lb; 12,800 ÷ 23,000 = 55.65 %;
        # 128.00 ÷ 33.99969 = 3.76474.
        "Pound jar,34,34.00,15422,230.00,0.00,102.00,128.00,55.7,3.7647",
        "Quart jar,12,36.00,16329,204.00,204.00,,,,",
        # 295,000 g = 650.3637 lb; 80,828 ÷ 139,828 = 57.81 %; 808.28 ÷ 650.3637 = 1.24281.
        "Honey in bulk,,650.36,295000,1398.28,0.00,590.00,808.28,57.8,1.2428",
        # 15,422 + 16,329 + 295,000 = 326,751 g = 720.3626 lb; 93,628 ÷ 162,828 = 57.50 %;
        # 936.28 ÷ (310,422 g = 684.3634 lb) = 1.36810.
        "Total,46,720.36,326751,1832.28,204.00,692.00,936.28,57.5,1.3681",
    ]


def test_csv_begins_with_the_mark_of_utf_8(house):
    assert exports.csv_file(made("sales-by-product")).startswith(b"\xef\xbb\xbfProduct,")


def test_text_that_begins_like_a_formula_is_quoted_in_csv(house):
    for text in FORMULAS:
        house.shop.name = text
        house.shop.save()

        names = [row[0] for row in csv_rows(made("sales-by-customer"))]

        # What ends a cell for some spreadsheets may be followed by another.
        harmless = f"'{text[0]}'{text[1:]}" if text[0] in "\t\r\n" else f"'{text}"
        assert names == ["Customer", "Prairie Packers", harmless, "Buyers at the stand", "Total"]


def test_text_that_begins_like_a_formula_is_a_quoted_text_cell_in_xlsx(house):
    for text in FORMULAS:
        house.shop.name = text
        house.shop.save()

        cell = workbook(made("sales-by-customer")).active["A3"]

        assert cell.data_type == "s", text
        assert cell.quotePrefix, text
        # XML hands a carriage return on as a line feed; all else is as it was typed.
        assert cell.value in (text, text.replace("\r", "\n"))


def test_other_text_stays_as_it_is(house):
    for text in ("Corner = Grocery", "O'Hara", "3-Hill Farm", " =1+1"):
        house.shop.name = text
        house.shop.save()

        assert csv_rows(made("sales-by-customer"))[2][0] == text
        assert workbook(made("sales-by-customer")).active["A3"].value == text


def test_every_text_column_of_every_report_is_quoted(house):
    lot = house.known
    type(lot).objects.filter(pk=lot.pk).update(code="=A1", floral_source="=A1")
    type(house.pounds).objects.filter(pk=house.pounds.pk).update(name="=A1")
    house.shop.name = "=A1+1"
    house.shop.save()

    for slug in catalogue.REPORTS:
        report = made(slug, **({"days": "1"} if slug == "slow-stock" else {}))
        cells = [cell for row in csv_rows(report) for cell in row]
        assert not [cell for cell in cells if cell.startswith("=")], slug
        book = workbook(report)
        for sheet in book:
            assert not [cell for row in sheet.rows for cell in row if cell.data_type == "f"]


def test_negative_figures_stay_figures(house):
    """A jar that had cost 3.00 is sold for 1.00: the margin is −2.00, a number."""
    house_made.sell(house.stand, house_made.jars(house.pounds, 1, "1.00"), on=date(2026, 11, 1))

    report = made("sale-lines", since="2026-11-01")

    assert csv_rows(report)[1][-1] == "-2.00"
    assert list(workbook(report).active.iter_rows(values_only=True))[1][-1] == -2


def test_xlsx_opens_with_numbers_days_and_a_total(house):
    sheet = workbook(made("sale-lines", goods="all")).active

    rows = list(sheet.iter_rows(values_only=True))
    assert rows[0][:2] == ("Order", "Handed over")
    assert rows[1][1].date() == date(2026, 8, 5)
    assert sheet["B2"].number_format == "yyyy-mm-dd"
    sales = rows[0].index("Sales, USD")
    amounts = [Decimal(str(row[sales])) for row in rows[1:]]
    assert sum(amounts[:-1]) == amounts[-1] == Decimal("1832.28")
    assert rows[-1][0] == "Total"


def test_xlsx_says_what_is_counted(house):
    book = workbook(made("margin-by-product", season="2025"))

    said = [row[0] for row in book["About"].iter_rows(values_only=True)]

    assert said[:3] == ["Margin by product", "all days", "Season: 2025"]
    assert said[3:] == [str(line) for line in catalogue.MARGIN_BY_PRODUCT.definition]


def test_a_report_without_rows_is_a_heading_alone(house):
    empty = made("margin-by-product", until="2020-01-01")

    assert len(csv_rows(empty)) == 1
    assert workbook(empty).active.max_row == 1


def test_marks_that_xml_forbids_are_left_out_of_xlsx(house):
    house.shop.name = "Corner\x0bGrocery"
    house.shop.save()

    assert workbook(made("sales-by-customer")).active["A3"].value == "CornerGrocery"


def test_every_report_can_be_downloaded_both_ways(house, client):
    client.force_login(builders.person("office"))

    for slug in catalogue.REPORTS:
        as_csv = client.get(f"/reports/{slug}.csv?season=2026")
        as_xlsx = client.get(f"/reports/{slug}.xlsx?season=2026")
        assert as_csv.headers["Content-Type"] == "text/csv; charset=utf-8"
        assert as_csv.headers["Content-Disposition"] == f'attachment; filename="{slug}.csv"'
        sheet = openpyxl.load_workbook(io.BytesIO(as_xlsx.content)).active
        in_csv = list(csv.reader(io.StringIO(as_csv.getvalue().decode("utf-8-sig"), newline="")))
        assert [cell.value for cell in sheet[1]] == in_csv[0]
        assert sheet.max_row == len(in_csv)


def test_the_days_are_in_the_name_of_the_file(house, client):
    client.force_login(builders.person("office"))

    answer = client.get("/reports/sales-by-product.csv?since=2026-08-01&until=2026-08-31")

    assert answer.headers["Content-Disposition"] == (
        'attachment; filename="sales-by-product-2026-08-01-2026-08-31.csv"'
    )


@pytest.mark.parametrize("slug", ["margin-by-product", "sales-by-product", "overfill"])
def test_a_table_for_programs_keeps_the_point_in_a_comma_house(house, request, slug):
    with_a_point = exports.csv_file(made(slug))
    cells = [[cell.value for cell in row] for row in workbook(made(slug)).active]

    request.getfixturevalue("comma_house")

    assert exports.csv_file(made(slug), for_program=True) == with_a_point
    assert exports.csv_file(made(slug)) != with_a_point
    assert [[cell.value for cell in row] for row in workbook(made(slug)).active] == cells
