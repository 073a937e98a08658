"""A recall through the API: found by a code, answered in whole grams and pieces."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.utils import timezone

from apiary_sales.billing.services import stand as stand_sales
from apiary_sales.orders.rules.lines import LineWanted
from apiary_sales.orders.services import orders
from inventory.stock.models import Balance, Place
from inventory.stock.services import honey
from tests import builders

pytestmark = pytest.mark.django_db
LISTS = ("lots", "sources", "came-back", "unnamed", "sales")


@pytest.fixture
def office(client):
    client.force_login(builders.person("office"))
    return client


@pytest.fixture
def shelf(db):
    return builders.place("shelf", Place.Kind.SHELF, name="Shelf")


@pytest.fixture
def jars(db):
    return builders.product("One pound", code="1lb")


@pytest.fixture
def sold(jars, shelf, owner, key):
    """Return a lot of 48 jars of which 12 are with a shop."""
    lot = builders.packed_lot(jars, shelf, 48, code="L26200-1")
    order = orders.take(
        customer=builders.customer("Corner Grocery"),
        channel="shop",
        lines=[LineWanted("packed", 12, Decimal("6.50"), product=jars)],
        created_by=owner,
        key=key(),
    )
    orders.fulfil(order=order, filled_by=owner, key=key())
    return lot


def test_a_code_is_answered_with_its_balance(office, sold):
    said = office.get("/api/v1/recall/", {"code": "l26200-1"}).json()

    [match], answer = said["matches"], said["answer"]
    assert (match["id"], match["code"], match["is_meant"]) == (sold.pk, "L26200-1", True)
    assert (answer["buyers"], answer["pieces_out"], answer["grams_out"]) == (1, 12, 0)
    assert answer["percent_found"] == "100.00"
    assert answer["lot_count"] == 1
    [lot] = office.get("/api/v1/recall/lots/", {"code": "l26200-1"}).json()["results"]
    assert (lot["came_in"], lot["still_out"], lot["on_hand"], lot["difference"]) == (48, 12, 36, 0)
    [place] = answer["places"]
    assert (place["place"], place["quantity"]) == ("shelf", 36)


def test_a_part_of_a_code_asks_to_choose(office, sold, jars, shelf):
    other = builders.packed_lot(jars, shelf, 10, code="L26200-2")

    asked = office.get("/api/v1/recall/", {"code": "L262"}).json()
    chosen = office.get("/api/v1/recall/", {"lot": [sold.pk, other.pk]}).json()

    assert [match["code"] for match in asked["matches"]] == ["L26200-2", "L26200-1"]
    assert asked["answer"] is None
    assert chosen["answer"]["lot_count"] == 2
    lots = office.get("/api/v1/recall/lots/", {"lot": [sold.pk, other.pk]}).json()["results"]
    assert [(lot["code"], lot["is_asked"]) for lot in lots] == [
        ("L26200-1", True),
        ("L26200-2", True),
    ]


def test_sales_come_in_pages_with_their_buyer(office, sold):
    said = office.get("/api/v1/recall/sales/", {"code": "L26200-1", "page_size": 1}).json()

    assert (said["next"], said["previous"]) == (None, None)
    [row] = said["results"]
    assert (row["buyer"], row["sold"], row["came_back"], row["still_out"]) == (
        "Corner Grocery",
        12,
        0,
        12,
    )


def read_in_pages(office, name, asked):
    """Return the rows of all pages of one row each, with how many pages there were."""
    address, rows, pages = f"/api/v1/recall/{name}/", [], 0
    said = office.get(address, asked | {"page_size": 1}).json()
    while True:
        rows, pages = rows + said["results"], pages + 1
        if said["next"] is None:
            return rows, pages
        said = office.get(said["next"]).json()


def test_each_list_of_a_recall_comes_in_pages(office, sold, jars, shelf, key):
    """The jars of one run, of which two came back; 5 and 3 were sold at the stand on two days."""
    stand = builders.place("stand", Place.Kind.STAND)
    other = builders.packed_lot(jars, stand, 20, code="L26200-2")
    for pieces, day in ((5, timezone.now() - timedelta(days=1)), (3, None)):
        stand_sales.sell(
            lines=[LineWanted("packed", pieces, Decimal("9.50"), product=jars)],
            place=stand,
            payments=builders.paid("cash", 5_000),
            sold_by=builders.person(),
            sold_at=day,
            key=key(),
        )
    asked = {"lot": [sold.pk, other.pk]}

    counts = office.get("/api/v1/recall/", asked).json()["answer"]
    lots, lot_pages = read_in_pages(office, "lots", asked)
    unnamed, unnamed_pages = read_in_pages(office, "unnamed", asked)

    assert (lot_pages, counts["lot_count"]) == (2, 2)
    assert {lot["code"]: lot["still_out"] for lot in lots} == {"L26200-1": 12, "L26200-2": 8}
    assert (unnamed_pages, counts["unnamed_count"]) == (2, 2)
    assert [(row["lot"], row["sold"]) for row in unnamed] == [("L26200-2", 3), ("L26200-2", 5)]


def test_what_a_lot_was_made_of_is_a_list(office):
    tank, other = builders.place("tank-1"), builders.place("tank-2")
    first, second = builders.lot_in(tank, 300_000), builders.lot_in(other, 100_000)
    honey.transfer(
        source=tank,
        target=other,
        grams=100_000,
        recorded_by=builders.person(),
        key=builders.new_key(),
    )
    blend = Balance.objects.in_vessel(other).lot

    sources, pages = read_in_pages(office, "sources", {"lot": blend.pk})
    out = [row["code"] for row in read_in_pages(office, "lots", {"lot": first.pk})[0]]

    assert (pages, {row["id"] for row in sources}) == (2, {first.pk, second.pk})
    assert sorted(out) == sorted([first.code, blend.code])


@pytest.mark.parametrize("asked", [{}, {"code": "XYZ"}, {"lot": "0"}])
def test_what_fits_no_lot_finds_nothing(office, sold, asked):
    assert office.get("/api/v1/recall/", asked).json() == {"matches": [], "answer": None}
    for name in LISTS:
        assert office.get(f"/api/v1/recall/{name}/", asked).json()["results"] == []


@pytest.mark.parametrize(("role", "status"), [("bottling", 200), ("stand", 403)])
def test_who_may_ask(client, sold, role, status):
    client.force_login(builders.person(role))

    for address in ("/api/v1/recall/", *(f"/api/v1/recall/{name}/" for name in LISTS)):
        assert client.get(address, {"code": "L26200-1"}).status_code == status


def test_a_drum_number_is_a_code_too(office):
    tank = builders.place("tank-1")
    lot = builders.lot_in(tank, 100_000)
    tote = builders.place("tote-9", Place.Kind.TOTE)
    assert office.get("/api/v1/recall/", {"code": tote.code}).json()["matches"] == []

    said = office.get("/api/v1/recall/lots/", {"code": "tank-1"}).json()

    assert [row["code"] for row in said["results"]] == [lot.code]
