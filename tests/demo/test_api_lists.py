"""Every list of the API, over the invented house: what each parameter promises, it does.

What a filter must find is told by the whole list itself: of the rows that it has without the
filter, those whose field says so.
"""

from datetime import date
from functools import cache

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone
from django.utils.dateparse import parse_datetime
from drf_spectacular.generators import SchemaGenerator

from apiary_sales.accounts.models import User
from apiary_sales.billing.models import HonestyBox
from apiary_sales.customers.models import Customer
from apiary_sales.orders.models import Order
from inventory.shared import conventions
from inventory.stock.models import Lot, Place
from tests.conftest import usual_conventions

# As many rows of a list as are compared.
ROWS = 300
# What the invented house has none of, and where its lists are tested.
NOT_IN_THE_HOUSE = {
    "/api/v1/count-sheets/{number}/lines/": "tests/api/test_counts_api.py",
    "/api/v1/imports/{id}/bad-rows/": "tests/api/test_pages_acts_api.py",
    "/api/v1/late-costings/{id}/lines/": "tests/api/test_late_costs_api.py",
    "/api/v1/orders/{number}/payments/": "tests/api/test_money_api.py",
}
# A warming is found by any day from its first to its last.
SPANS = {"day_from": "ended_on", "day_until": "started_on"}
# What else an address of a list is filled in with: the thing that has the most rows there.
FILLED_IN = {
    "/api/v1/customers/{id}/addresses/": lambda: Customer.objects.earliest("id").pk,
    "/api/v1/customers/{id}/files/": lambda: Customer.objects.earliest("id").pk,
    "/api/v1/customers/{id}/reminder-pauses/": lambda: Customer.objects.earliest("id").pk,
    "/api/v1/honesty-boxes/{id}/counts/": lambda: HonestyBox.objects.earliest("id").pk,
    "/api/v1/lots/{code}/became/": lambda: Lot.objects.earliest("id").code,
    "/api/v1/lots/{code}/files/": lambda: Lot.objects.earliest("id").code,
    "/api/v1/lots/{code}/measurements/": lambda: (
        Lot.objects.filter(measurements__isnull=False).earliest("id").code
    ),
    "/api/v1/lots/{code}/origins/": lambda: (
        Lot.objects.filter(kind=Lot.Kind.BLEND).latest("id").code
    ),
    "/api/v1/orders/{number}/files/": lambda: Order.objects.earliest("id").number,
    "/api/v1/places/{code}/postings/": lambda: (
        Place.objects.filter(kind=Place.Kind.TANK).earliest("id").code
    ),
}
# What says of which things the list is, and not which rows of it.
ASKED_BEFORE = {
    **{
        f"/api/v1/recall/{name}/": {"code", "lot"}
        for name in ("lots", "sources", "came-back", "unnamed", "sales")
    },
    **{f"/api/v1/lots/{{code}}/{name}/": {"product"} for name in ("origins", "became")},
}
# What several parts of a row say: the part, by the list and the filter.
PARTS = {
    **{
        ("/api/v1/postings/", name): "lines"
        for name in ("item_id", "place", "place_id", "lot", "lot_id")
    },
    **{("/api/v1/orders/", name): "lines" for name in ("product", "product_id")},
    ("/api/v1/payments/", "invoice_id"): "invoices",
}
# What no row tells of: see tests/api/test_list_filters_api.py.
TESTED_ELSEWHERE = {
    ("/api/v1/invoices/", "state"),
    ("/api/v1/supplier-bills/", "state"),
    ("/api/v1/contracts/", "runs_on"),
    ("/api/v1/lots/", "place"),
    ("/api/v1/lots/{code}/files/", "product"),
    ("/api/v1/shortages/", "settled"),
}
# A field of another name, or what is worked out of a row.
TOLD_BY = {
    "is_finished": lambda row: row["finished_at"] is not None,
    "is_undone": lambda row: row["undone_on"] is not None,
    "is_removed": lambda row: row["removed_at"] is not None,
}
# What is shown of the thing that a row is about.
INSIDE = {"/api/v1/cleaning-tasks/": "task"}


@cache
def lists():
    """Return the parameters of each list, by its address.

    It is asked while tests are collected, when there is no database to read the house's units from.
    """
    conventions.use(usual_conventions())
    paths = SchemaGenerator().get_schema(request=None, public=True)["paths"]
    found = {}
    for address, at in paths.items():
        parameters = {
            each["name"]: each
            for each in at.get("get", {}).get("parameters", [])
            if each["in"] == "query"
        }
        if "cursor" in parameters:
            found[address] = parameters
    conventions.read_again()
    return found


@pytest.fixture
def ask(client):
    client.force_login(User.objects.get(username="odile"))

    def send(address, **asked):
        answer = client.get(address, asked)
        assert answer.status_code == 200, (address, asked, answer.content)
        return answer.json()

    return send


def address_of(template):
    if template in FILLED_IN:
        return template.partition("{")[0] + str(FILLED_IN[template]()) + template.partition("}")[2]
    return template


def day_of(value):
    """Return the day of a field, that of the house where it is a moment."""
    if value is None:
        return None
    if len(value) == len("2026-07-20"):
        return date.fromisoformat(value)
    return timezone.localtime(parse_datetime(value)).date()


def told(row, name):
    """Return what a row says of a filter; raises `KeyError` where it says nothing."""
    return TOLD_BY[name](row) if name in TOLD_BY else row[name]


def field_of_days(row, name):
    """Return the field that a filter of days is of: `occurred_at` for `occurred_on_from`."""
    if "started_on" in row and name in SPANS:
        return SPANS[name]
    base = name.removesuffix("_from").removesuffix("_until")
    for field in (base, f"{base.removesuffix('_on')}_at"):
        if field in row:
            return field
    raise KeyError(name)


@pytest.mark.parametrize("template", sorted(lists().keys() - NOT_IN_THE_HOUSE.keys()))
def test_a_list_keeps_what_its_parameters_promise(ask, client, template):
    address, parameters = address_of(template), lists()[template]
    whole = ask(address, page_size=ROWS)
    rows = whole["results"]

    # A cursor leads through the same rows in the same order.
    paged, at, asked = [], address, {"page_size": max(1, len(rows) // 4)}
    while at:
        page = ask(at, **asked)
        paged, at, asked = paged + page["results"], page["next"], {}
    assert paged[: len(rows)] == rows

    # The database is asked as often for many rows as for one.
    if len(rows) > 1:
        with CaptureQueriesContext(connection) as few:
            ask(address, page_size=2)
        with CaptureQueriesContext(connection) as many:
            ask(address, page_size=ROWS)
        assert len(many) <= len(few) + 1

    # An order that is turned around is the same order turned around.
    description = parameters["ordering"]["description"]
    names = description.removeprefix("One or more of ").partition(", with commas")[0].split(", ")
    for name in names:
        tied = f"{name},id" if "id" in names and name != "id" else name
        back = ",".join(f"-{each}" for each in tied.split(","))
        rising = ask(address, ordering=tied, page_size=ROWS)["results"]
        falling = ask(address, ordering=back, page_size=ROWS)["results"]
        if len(rows) < ROWS:
            assert rising == falling[::-1]
            assert sorted(map(str, rising)) == sorted(map(str, rows))

    # A filter finds the rows that say so, and no other.
    asked_before = ASKED_BEFORE.get(template, set())
    for name, parameter in parameters.items():
        if name in {"cursor", "page_size", "ordering", *asked_before}:
            continue
        check_filter(ask, client, address, template, name, parameter["schema"], rows)


def check_filter(ask, client, address, template, name, schema, rows):
    if "enum" in schema:
        for word in schema["enum"]:
            ask(address, **{name: word})
        wrong = client.get(address, {name: "no-such-word"})
        assert wrong.status_code == 400
        assert schema["enum"][-1] in wrong.json()["errors"][0]["detail"]
    if not rows:
        return
    if name == "changed_since":
        moments = sorted(filter(None, (parse_datetime(row["changed_at"] or "") for row in rows)))
        if not moments:
            return
        middle = moments[len(moments) // 2]

        def fits(row):
            return row["changed_at"] is not None and parse_datetime(row["changed_at"]) >= middle

        value = middle.isoformat()
    elif name.endswith(("_from", "_until")):
        field = field_of_days(rows[0], name)
        days = sorted(day for row in rows if (day := day_of(row[field])))
        if not days:
            return
        middle = days[len(days) // 2]
        is_from = name.endswith("_from")

        def fits(row):
            day = day_of(row[field])
            return day is not None and (day >= middle if is_from else day <= middle)

        value = middle.isoformat()
    elif (template, name) in TESTED_ELSEWHERE:
        return
    else:

        def said(row):
            """Return all that a row says of the filter: one thing, or one of each part."""
            if (template, name) in PARTS:
                return {part[name] for part in row[PARTS[template, name]]}
            return {told(row[INSIDE[template]] if template in INSIDE else row, name)}

        value = next(iter({each for row in rows for each in said(row)} - {None, ""}), None)
        if value is None:
            return

        def fits(row):
            return value in said(row)

    sent = str(value).lower() if isinstance(value, bool) else value
    found = ask(address, page_size=ROWS, **{name: sent})["results"]
    assert [row for row in found if not fits(row)] == [], name
    if len(rows) < ROWS:
        assert found == [row for row in rows if fits(row)], name
