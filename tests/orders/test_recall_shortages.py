"""A recall shows what the books were short of, and what may be among it: its lot is unknown."""

import csv
import io

import pytest
from django.template.loader import render_to_string
from django.urls import reverse

from apiary_sales.orders import recall_files
from apiary_sales.orders.models import Recall
from apiary_sales.orders.queries import recall
from inventory.stock.models import Item
from tests import builders
from tests.inventory.pages import text
from tests.inventory.test_shortages import days_ago, settle, taken, unknown_lot

pytestmark = pytest.mark.django_db


@pytest.fixture
def office(client):
    client.force_login(builders.person("office"))
    return client


@pytest.fixture
def lot(jars, shelf):
    return builders.packed_lot(jars, shelf, 48, code="L26200-1")


@pytest.fixture
def other(jars, shelf):
    return builders.packed_lot(jars, shelf, 48, code="L26200-2")


@pytest.fixture
def tank():
    return builders.place("tank-1", name="Tank 1")


@pytest.fixture
def short(lot, other, jars, shelf, tank):
    """Five jars of the lot, seven of another, honey without a lot, and lids."""
    taken(jars.item, shelf, 5, lot=lot, ago=3)
    taken(jars.item, shelf, 7, lot=other, ago=3)
    taken(Item.objects.honey(), tank, 10_000, ago=2)
    taken(builders.part("Lid").item, None, 12)


def answer_page(office, lot):
    return office.get(reverse("recall:answer", args=[lot.pk]))


def test_a_recall_has_what_is_short_of_its_lots_and_of_unknown_lots(short, lot):
    found = recall.answer([lot.pk])

    assert [(row.lot, row.quantity) for row in found.short_of_these] == [("L26200-1", 5)]
    assert [(row.what, row.quantity) for row in found.short_of_unknown] == [("bulk honey", 10_000)]


def test_what_is_settled_is_in_no_recall(lot, tank):
    settle(taken(Item.objects.honey(), tank, 10_000))

    assert recall.answer([lot.pk]).shortages == []


def test_a_recall_of_honey_has_what_is_short_of_the_jars_made_of_it(tank, jars, shelf):
    extraction = builders.lot_in(tank)
    made = builders.packed_lot(jars, shelf, 24, code="L26200-3", parent=extraction)
    taken(jars.item, shelf, 4, lot=made)

    [row] = recall.answer([extraction.pk]).short_of_these
    assert (row.lot, row.quantity) == ("L26200-3", 4)


def test_the_page_says_what_may_be_among_it(office, short, lot):
    said = text(answer_page(office, lot))

    assert "To be settled: The books had less of these lots than was taken." in said
    assert "L26200-1: 5 pieces" in said
    assert (
        "Lot unknown: The books do not say of which lot this was. It may be among what you are "
        "looking for. 22.0 lb (bulk honey, Tank 1, sale," in said
    )
    assert "7 pieces" not in said


def test_honey_of_the_lot_that_stands_for_the_unknown_leads_to_what_was_made_of_it(
    office, lot, tank
):
    unknown = unknown_lot()
    taken(Item.objects.honey(), tank, 10_000, lot=unknown)

    page = answer_page(office, lot).content.decode()

    assert reverse("recall:answer", args=[unknown.pk]) in page


def test_the_file_for_a_spreadsheet_has_a_row_for_each(office, short, lot):
    answer = office.get(reverse("recall:answer_csv", args=[lot.pk]))

    sheet = b"".join(answer.streaming_content).decode("utf-8-sig")
    rows = [row for row in csv.reader(io.StringIO(sheet)) if row[0].startswith("to be settled")]
    assert [(row[0], row[1], row[7], *row[8:12]) for row in rows] == [
        (
            *("to be settled", "Shelf", days_ago(3).isoformat()),
            *("L26200-1", "One pound", "pieces", "5"),
        ),
        (
            *("to be settled, may be among it", "Tank 1", days_ago(2).isoformat()),
            *("lot unknown", "bulk honey", "grams", "10000"),
        ),
    ]


def test_the_record_and_its_paper_keep_what_was_to_be_settled_then(office, short, lot):
    office.post(
        reverse("recall:start", args=[lot.pk]), {"key": "k", "kind": "mock", "reason": "Yearly"}
    )
    record = Recall.objects.get()

    kept = recall.from_json(record.answer)
    paper = render_to_string("documents/recall.html", recall_files.paper_context(record))

    assert kept.shortages == recall.answer([lot.pk]).shortages
    assert "lot unknown, may be among it" in paper
    assert "L26200-1" in text(office.get(reverse("recall:record", args=[record.pk])))


def test_a_record_of_a_former_version_has_none(lot):
    kept = recall.answer([lot.pk]).as_json()
    del kept["shortages"]

    assert recall.from_json(kept).shortages == []


def test_the_api_says_what_is_to_be_settled(office, short, lot):
    said = office.get("/api/v1/recall/", {"code": "L26200-1"}).json()["answer"]["to_be_settled"]

    assert [(row["lot"], row["goods"], row["quantity"], row["is_weighed"]) for row in said] == [
        ("L26200-1", "One pound", 5, False),
        (None, "bulk honey", 10_000, True),
    ]
    assert said[1]["place"] == "Tank 1"
    assert said[1]["day"] == days_ago(2).isoformat()
