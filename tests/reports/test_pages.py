"""Pages of reports: what is asked stands in the address, and figures add up and open."""

import re
from dataclasses import replace
from datetime import date
from html import unescape
from html.parser import HTMLParser

import pytest

from apiary_sales.reports import catalogue
from apiary_sales.reports.frames import bottling
from apiary_sales.reports.frames.bottling import RunFilters
from apiary_sales.reports.report import FilteredReport
from inventory.bottling.services import products
from inventory.stock.models import Place
from tests import builders
from tests.inventory import bottling_room
from tests.reports import conftest as made

pytestmark = pytest.mark.django_db

SALES = [
    slug for slug, report in catalogue.REPORTS.items() if "customer" in report.form.base_fields
]


class Table(HTMLParser):
    """The rows of a page's table as text, and the address in each cell."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.rows: list[list[str]] = []
        self.urls: list[list[str | None]] = []
        self._in_cell = False
        self.feed(html[html.index("<table") : html.index("</table>")])

    def handle_starttag(self, tag, attrs):
        if tag == "tr":
            self.rows.append([])
            self.urls.append([])
        elif tag in ("td", "th"):
            self.rows[-1].append("")
            self.urls[-1].append(None)
            self._in_cell = True
        elif tag == "a" and self._in_cell:
            self.urls[-1][-1] = dict(attrs)["href"]

    def handle_endtag(self, tag):
        if tag in ("td", "th"):
            self._in_cell = False
            self.rows[-1][-1] = " ".join(self.rows[-1][-1].split())

    def handle_data(self, data):
        if self._in_cell:
            self.rows[-1][-1] += data

    def column(self, heading: str) -> list[str]:
        at = self.rows[0].index(heading)
        return [row[at] for row in self.rows[1:]]


def cents(text: str) -> int:
    """Read "−$1,234.50" as −123450, and so far too; a dash and words are no money."""
    digits = (
        text.removesuffix(" (so far)")
        .replace("−", "-")
        .replace("$", "")
        .replace(",", "")
        .replace(".", "")
    )
    return int(digits) if re.fullmatch(r"-?\d+", digits) else 0


@pytest.fixture
def office(client):
    client.force_login(builders.person("office"))
    return client


@pytest.mark.parametrize("role", ["stand", "bottling"])
@pytest.mark.parametrize(
    "path", ["", "margin-by-product/", "margin-by-product.csv", "margin-by-product.xlsx"]
)
def test_who_may_not_see_money_sees_no_report(client, role, path):
    client.force_login(builders.person(role))

    assert client.get(f"/reports/{path}").status_code == 403


def test_the_first_page_names_every_report_with_its_sentence(office):
    page = office.get("/reports/")

    for report in catalogue.REPORTS.values():
        assert f'href="/reports/{report.slug}/"' in page.text
        assert str(report.sentence) in unescape(page.text)


def test_a_report_there_is_not(office):
    assert office.get("/reports/sales-by-moon/").status_code == 404
    assert office.get("/reports/sales-by-moon.csv").status_code == 404


@pytest.mark.parametrize("slug", catalogue.REPORTS)
def test_every_report_says_what_it_counts(office, slug):
    page = unescape(office.get(f"/reports/{slug}/").text)

    report = catalogue.REPORTS[slug]
    assert page.count("<h1>") == 1
    for sentence in report.definition:
        assert str(sentence) in page


@pytest.mark.parametrize("slug", catalogue.REPORTS)
def test_a_report_without_rows_says_so(office, slug):
    page = office.get(f"/reports/{slug}/")

    assert str(catalogue.REPORTS[slug].nothing) in page.text
    assert "<table" not in page.text
    assert 'class="chart' not in page.text


@pytest.mark.parametrize("slug", catalogue.REPORTS)
def test_the_total_is_the_sum_of_the_rows_shown(office, billed, slug):
    bottling_room.recorded(bottling_room.set_up())

    page = office.get(f"/reports/{slug}/?{'days=1' if slug == 'slow-stock' else ''}")
    table = Table(page.text)

    assert table.rows[-1][0].strip() == "Total"
    # What there is at the end of each month is no sum.
    levels = {
        str(column.label)
        for column in page.context["made"].columns
        if not column.adds_up and not column.is_derived
    }
    money = [
        heading
        for heading in table.rows[0]
        if any("$" in text for text in table.column(heading))
        and "per pound" not in heading
        and heading not in levels
    ]
    assert money or slug == "yield-by-run"
    for heading in money:
        *rows, total = map(cents, table.column(heading))
        assert sum(rows) == total, heading


def test_a_long_table_has_pages_and_its_total_is_of_all_rows(office, house, monkeypatch):
    report = replace(catalogue.REPORTS["sale-lines"], rows_a_page=2)
    monkeypatch.setitem(catalogue.REPORTS, "sale-lines", report)

    second = Table(html_of(office, "sale-lines", page=2))
    all_rows = Table(html_of(office, "sale-lines", rows="all"))

    # 8,000 + 15,000 on the first page; 20,400 and 139,828 on the second.
    assert second.column("Sales") == ["$204.00", "$1,398.28", "$1,832.28"]
    assert second.rows[-1][0].strip() == "Total of all 4 rows"
    assert len(all_rows.rows) == len(second.rows) + 2
    csv = office.get("/reports/sale-lines.csv?page=2").getvalue().decode("utf-8-sig")
    assert len(csv.splitlines()) == 6


def test_a_report_opens_on_this_year_says_so_and_offers_all_days(office, house):
    """Today is November 20, 2026: 2 jars of the year before count only where all days do."""
    made.order(house.shop, "shop", made.jars(house.pounds, 2, "9.00"), on=date(2025, 11, 20))

    opened = html_of(office, "sales-by-product")
    of_all_days = html_of(office, "sales-by-product", since="", until="")

    assert "Jan 1, 2026 to Nov 20, 2026" in opened
    assert 'href="?since=&amp;until="' in opened
    assert "All days" in of_all_days
    assert Table(opened).column("Jars")[0] == "34 pc"
    assert Table(of_all_days).column("Jars")[0] == "36 pc"
    # The rows behind those of all days are of all days too.
    assert "/reports/sale-lines/?since=&amp;product=one-pound" in of_all_days


def test_days_or_a_season_that_are_asked_for_stay_as_they_are(office, house):
    asked = {
        "since=2025-03-01": (date(2025, 3, 1), None),
        "until=2025-03-01": (None, date(2025, 3, 1)),
        "season=2025": (None, None),
        "size=one-pound": (date(2026, 1, 1), date(2026, 11, 20)),
    }

    for query, days in asked.items():
        filters = office.get(f"/reports/sale-lines/?{query}").context["form"].asked()
        assert (filters.since, filters.until) == days


def test_a_month_that_is_not_over_says_so_and_is_compared_by_the_same_days(office, house):
    """Today is November 20, 2026."""
    shop = house.shop
    made.order(shop, "shop", made.jars(house.pounds, 1, "9.00"), on=date(2025, 11, 20))
    made.order(shop, "shop", made.jars(house.pounds, 1, "7.00"), on=date(2025, 11, 21))
    made.order(shop, "shop", made.jars(house.pounds, 2, "9.00"), on=date(2026, 11, 2))

    page = " ".join(html_of(office, "sales-by-month").split())

    assert "<p>You sold $18.00 in November 2026 so far.</p>" in page
    assert (
        "<p>By the same day of November 2025 it was $9.00; this is 100.0 % more. "
        "The whole month came to $16.00.</p>"
    ) in page
    assert "November 2026 <small>(so far)</small>" in page
    assert 'class="chart-hollow"' in page


def test_a_month_cut_by_the_days_asked_for_says_so(office, house):
    page = html_of(office, "sales-by-month", since="2026-08-10", until="2026-09-30")

    assert "August 2026 <small>(not all days)</small>" in page
    assert "September 2026 <small>" not in page


def test_this_year_is_compared_with_the_same_days_of_the_year_before(office, house):
    """Today is November 20, 2026; the first sale in the books is of November 2, 2025."""
    for day, price in ((date(2025, 11, 2), "9.00"), (date(2025, 11, 21), "7.00")):
        made.order(house.shop, "shop", made.jars(house.pounds, 1, price), on=day)
    made.order(house.shop, "shop", made.jars(house.pounds, 2, "9.00"), on=date(2026, 11, 20))

    table = Table(html_of(office, "year-on-year"))

    rows = {row[0].strip(): row[1:] for row in table.rows}
    assert table.rows[0] == [
        "Month", "2025", "2026 so far", "2025, the same days", "Difference", "Difference, percent",
    ]  # fmt: skip
    assert rows["November"] == [
        "$16.00", "$18.00 (so far)", "$9.00", "$9.00 (so far)", "100.0 %",
    ]  # fmt: skip
    # Unknown before the books began, and of a month that has not begun.
    assert rows["October"] == ["–", "$1,398.28", "–", "–", "–"]
    assert rows["December"] == ["$0.00", "–", "–", "–", "–"]


def test_the_picture_follows_the_order_of_the_table(office, house):
    usual = office.get("/reports/sales-by-product/").context["made"].picture
    turned = office.get("/reports/sales-by-product/?sort=-amount_cents").context["made"].picture

    def names(picture):
        return [row.label[0].words for row in picture.rows]

    assert names(usual) == ["Pound jar", "Quart jar", "Honey in bulk"]
    assert names(turned) == ["Honey in bulk", "Pound jar", "Quart jar"]


def test_runs_are_drawn_apart_by_size(office):
    bottling_room.recorded(bottling_room.set_up())

    drawn = office.get("/reports/yield-by-run/").context["made"].pictures

    assert [len(picture.panels) for picture in drawn] == [1, 1]
    assert drawn[1].limit_words == "the weight on the label"


def test_runs_stand_25_on_a_page_since_each_takes_much_of_a_phone(office, monkeypatch):
    bottling_room.recorded(bottling_room.set_up())
    one = bottling.runs_by_size(RunFilters())
    many = one.loc[one.index.repeat(26)].reset_index(drop=True)
    report = replace(catalogue.REPORTS["yield-by-run"], frame=lambda _asked: many)
    monkeypatch.setitem(catalogue.REPORTS, "yield-by-run", report)

    page, rest, every = (
        office.get(f"/reports/yield-by-run/{asked}").text for asked in ("", "?page=2", "?rows=all")
    )

    assert [text.count('<th scope="row"') - 1 for text in (page, rest, every)] == [25, 1, 26]
    assert "Page 1 of 2" in page


def test_seasons_are_drawn_as_they_add_up_as_far_as_the_newest_has_come(office, house):
    page = office.get("/reports/season-against-season/")
    picture = page.context["made"].picture

    assert [tick.words for tick in picture.across if not tick.is_narrow] == [
        "Aug",
        "Sep",
        "Oct",
        "Nov",
    ]
    newest = picture.lines[0]
    assert [mark.words for mark in newest.marks] == ["$204.00"] * 2 + ["$1,602.28"] * 2
    assert "By the end of October, the honey of season 2026 has come to $1,602.28" in page.text


@pytest.mark.parametrize("slug", [slug for slug in SALES if slug != "sale-lines"])
def test_every_figure_of_sales_opens_to_the_lines_it_came_from(office, house, slug):
    """A row's amount is the total of the lines behind its address; charges have rows too."""
    takes_all = slug not in (
        "margin-by-size",
        "margin-by-product",
        "sales-by-variety",
        "bulk-against-retail",
        "season-against-season",
        "year-on-year",
    )
    goods = "goods=all" if takes_all else ""
    table = Table(office.get(f"/reports/{slug}/?{goods}&since=2026-08-01").text)

    opened = 0
    for row, urls in zip(table.rows[1:-1], table.urls[1:-1], strict=True):
        for at, url in enumerate(urls):
            if url is None or (at == 0 and cents(row[table.rows[0].index("Sales")]) == 0):
                continue
            shown = row[at].removesuffix(" (so far)") if at else row[table.rows[0].index("Sales")]
            behind = Table(office.get(url).text)
            assert behind.column("Sales")[-1] == shown, url
            opened += 1
    assert opened >= 2


@pytest.mark.parametrize("slug", ["sales-by-size", "margin-by-size"])
def test_an_address_kept_since_before_there_were_products_shows_the_same(office, house, slug):
    page = office.get(f"/reports/{slug}/?size=one-pound")

    assert Table(page.text).column("Size") == ["Pound jar", "Total"]
    # 8,000 + 15,000.
    assert Table(page.text).column("Sales") == ["$230.00", "$230.00"]


def test_variety_and_product_are_asked_only_where_they_are_more_than_the_size(office, house):
    url = "/reports/sales-by-channel/"

    plain = [field.name for field in office.get(url).context["form"].visible_fields()]
    products.save_honey(size=house.pounds.size, new_variety="Buckwheat")
    several = [field.name for field in office.get(url).context["form"].visible_fields()]

    assert "size" in plain
    assert [name for name in several if name not in plain] == ["variety", "product"]


def test_a_sentence_begins_with_a_capital_also_where_a_channel_begins_it(office, house):
    answers = office.get("/reports/sales-by-channel/").context["made"].answers

    told = [sentence.split(". ")[1] for sentence in answers if "brought the most" in sentence]
    assert [sentence[0].isupper() for sentence in told] == [True], answers


def test_a_line_opens_to_its_order_and_its_lot(office, house):
    table = Table(office.get("/reports/sale-lines/?product=three-pound").text)

    order, lot = table.urls[1][0], table.urls[1][table.rows[0].index("Lot")]
    assert lot == "/honey/lots/P26-001/"
    assert office.get(order).status_code == 200
    assert office.get(lot).status_code == 200


def test_overfill_opens_to_its_runs_and_a_run_to_its_page(office):
    run = bottling_room.recorded(bottling_room.set_up())

    overfill = Table(office.get("/reports/overfill/").text)
    runs = Table(office.get(overfill.urls[1][0]).text)

    assert overfill.column("Above the label")[0] == runs.column("Above the label")[-1] == "0.1 lb"
    assert runs.rows[1][0] == run.number
    assert office.get(runs.urls[1][0]).status_code == 200


def test_stock_opens_to_its_lots_and_parts(office):
    bottling_room.recorded(bottling_room.set_up())

    table = Table(office.get("/reports/stock-value/").text)

    addresses = [urls[0] for urls in table.urls[1:-1]]
    assert len(addresses) == 5
    for address in addresses:
        assert office.get(address).status_code == 200


def test_stock_below_nothing_on_a_day_is_said_and_counted(office):
    """An earlier version booked what was used on the 1st and received on the 20th like this."""
    shelf, jar = builders.place("shelf", Place.Kind.SHELF), builders.part("Jar")
    made.post_as_before(jar.item, shelf, -98, date(2026, 11, 1))
    made.post_as_before(jar.item, shelf, 98, date(2026, 11, 20))

    then = office.get("/reports/stock-value/?on=2026-11-10")
    now = office.get("/reports/stock-value/")

    warning = "At the end of this day the books show less than zero of Jar:"
    assert warning in unescape(then.text)
    assert "less than zero" not in now.text
    assert "−98 pc" in Table(then.text).column("Pieces")


def test_filters_stand_in_the_address_and_on_the_page(office, house):
    page = office.get("/reports/margin-by-product/?season=2025&since=2026-08-10&channel=shop")

    text = " ".join(page.text.split())
    assert "From Aug 10, 2026 on · Season: 2025 · Channel: shop" in text
    assert Table(page.text).column("Sales") == ["$150.00", "$150.00"]
    assert '<option value="2025" selected>' in page.text
    assert (
        "/reports/margin-by-product.csv?season=2025&amp;since=2026-08-10&amp;channel=shop"
        in page.text
    )


def test_the_margin_of_unknown_cost_is_said_not_guessed(office, house):
    page = office.get("/reports/margin-by-product/")

    table = Table(page.text)
    assert table.rows[2][0] == "Quart jar"
    assert table.column("Cost")[1] == "cost not entered"
    assert table.column("Margin")[1] == "cost not entered"
    assert table.column("Sales without a cost") == ["$0.00", "$204.00", "$0.00", "$204.00"]


def test_the_column_of_unknown_cost_is_left_out_when_all_is_known(office, house):
    page = office.get("/reports/margin-by-product/?season=2025")

    assert "Sales without a cost" not in Table(page.text).rows[0]


@pytest.mark.parametrize(
    ("query", "message"),
    [
        ("since=yesterday", "From: Enter the day as year, month, day: 2026-09-30."),
        ("since=0001-01-01", "From: Choose a year from 1900 to 2200."),
        (
            "since=2026-09-02&until=2026-09-01",
            "Up to: The last day, Sep 1, 2026, comes before the first, Sep 2, 2026. "
            "Change one of them.",
        ),
        ("product=bucket", "Product: Choose one from the list, or choose “all”."),
        ("customer=1%27--", "Customer: Choose one from the list, or choose “all”."),
        ("season=2025.5", "Season: Choose one from the list, or choose “all”."),
    ],
)
def test_a_filter_that_makes_no_sense_is_said_in_words(office, query, message):
    page = office.get(f"/reports/sales-by-product/?{query}")

    assert page.status_code == 422
    assert message in " ".join(unescape(page.text).split())
    assert office.get(f"/reports/sales-by-product.csv?{query}").status_code == 422


@pytest.mark.parametrize("days", ["0", "3651", "many"])
def test_idle_days_are_whole_and_not_too_many(office, days):
    page = office.get(f"/reports/slow-stock/?days={days}")

    assert page.status_code == 422
    assert "Enter a whole number of days, from 1 to 3650." in page.text


def test_the_picture_has_words_for_those_who_do_not_see_it(office, house):
    page = office.get("/reports/margin-by-product/").text

    assert 'role="img" aria-labelledby="chart-title chart-words"' in page
    assert "Sales: Pound jar $230.00, Quart jar $204.00, Honey in bulk $1,398.28" in page
    assert "Margin: Pound jar $128.00, Quart jar cost not entered" in page


def test_products_of_a_drawing_are_written_with_a_point_in_every_language(office, house):
    for number in range(30):
        builders.customer(f"Shop {number}")
        product = builders.product(f"Product {number}", code=f"product-{number}")
        builders.packed_lot(product, house.stand, 2)
        made.sell(house.stand, made.jars(product, 1, "5.00"), on=date(2026, 8, 1))

    page = office.get("/reports/sales-by-product/", headers={"accept-language": "es"}).text

    drawing = page[page.index('<svg class="chart-row"') : page.index("</figure>")]
    assert not re.search(r' (x|y|width|height|x1|y1|cx)="[^"]*,', drawing)


def test_the_language_of_the_reader_keeps_the_figures(office, house):
    page = office.get("/reports/sales-by-month/", headers={"accept-language": "es"})

    assert page.status_code == 200


@pytest.mark.parametrize("slug", ["margin-by-product", "sales-by-customer", "sale-lines"])
def test_a_page_takes_the_same_number_of_queries_however_many_rows(
    office, house, slug, django_assert_num_queries, django_assert_max_num_queries
):
    office.get(f"/reports/{slug}/")
    with django_assert_max_num_queries(14) as before:
        office.get(f"/reports/{slug}/")
    for number in range(4):
        shop = builders.customer(f"Shop {number}")
        product = builders.product(f"Product {number}", code=f"product-{number}")
        builders.packed_lot(product, house.stand, 2)
        made.order(shop, "shop", made.jars(product, 1, "5.00"), on=date(2026, 8, 1))

    with django_assert_num_queries(len(before)):
        office.get(f"/reports/{slug}/")


def test_a_frame_is_made_once_for_page_and_picture(house, django_assert_num_queries):
    form = catalogue.MARGIN_BY_SIZE.form({})
    form.is_valid()

    with django_assert_num_queries(2):
        report = FilteredReport(catalogue.MARGIN_BY_SIZE, form)
        assert report.picture is not None
        assert report.page(report.order).total


def html_of(client, slug, **asked):
    return client.get(f"/reports/{slug}/", asked).text


def test_a_table_is_sorted_by_the_column_in_the_address(office, house):
    smallest_first = Table(html_of(office, "sales-by-product", sort="amount_cents"))
    largest_first = Table(html_of(office, "sales-by-product", sort="-amount_cents"))

    amounts = [cents(text) for text in smallest_first.column("Sales ▲")[:-1]]
    assert amounts == sorted(amounts)
    assert [cents(text) for text in largest_first.column("Sales ▼")[:-1]] == amounts[::-1]
    assert largest_first.rows[-1][0] == smallest_first.rows[-1][0] == "Total"


def test_a_row_opens_to_its_own_lines_however_the_table_is_sorted(office, house):
    plain, turned = (
        Table(html_of(office, "sales-by-product", sort=sort)) for sort in ("product", "-product")
    )

    def addresses(table):
        return {row[0]: urls[0] for row, urls in zip(table.rows, table.urls, strict=True)}

    assert addresses(plain)["Quart jar"] == addresses(turned)["Quart jar"]
    assert "product=three-pound" in addresses(turned)["Quart jar"]


def test_a_heading_turns_the_order_round_and_keeps_the_filters(office, house):
    html = html_of(office, "sales-by-product", sort="-amount_cents", since="2026-08-01")

    assert 'href="?sort=amount_cents&amp;since=2026-08-01#table">Sales' in html
    assert 'aria-sort="descending"' in html
    assert '<option value="-amount_cents" selected>Sales</option>' in html


def test_figures_that_are_not_known_come_last_either_way(office, house):
    for sort in ("margin_cents", "-margin_cents"):
        table = Table(html_of(office, "sale-lines", sort=sort))
        margins = [row[-1] for row in table.rows[1:-1]]
        unknown = [at for at, text in enumerate(margins) if text == "cost not entered"]
        assert unknown == list(range(len(margins) - len(unknown), len(margins)))
        assert unknown


def test_a_column_that_is_not_there_leaves_the_usual_order(office, house):
    usual = Table(html_of(office, "sales-by-product"))

    assert Table(html_of(office, "sales-by-product", sort="-nothing")).rows == usual.rows


def test_files_come_in_the_order_of_the_table(office, house):
    asked = {"sort": "-amount_cents"}
    csv = office.get("/reports/sales-by-product.csv", asked).getvalue().decode("utf-8-sig")
    table = Table(html_of(office, "sales-by-product", **asked))

    assert [line.split(",")[0] for line in csv.splitlines()[1:]] == [
        row[0] for row in table.rows[1:]
    ]
