"""A recall through the API: found by a code, answered in whole grams and pieces."""

from decimal import Decimal

import pytest

from apiary_sales.orders.rules.lines import LineWanted
from apiary_sales.orders.services import orders
from inventory.stock.models import Place
from tests import builders

pytestmark = pytest.mark.django_db


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
    [lot] = answer["lots"]
    assert (lot["came_in"], lot["still_out"], lot["on_hand"], lot["difference"]) == (48, 12, 36, 0)
    [place] = answer["places"]
    assert (place["place"], place["quantity"]) == ("shelf", 36)


def test_a_part_of_a_code_asks_to_choose(office, sold, jars, shelf):
    other = builders.packed_lot(jars, shelf, 10, code="L26200-2")

    asked = office.get("/api/v1/recall/", {"code": "L262"}).json()
    chosen = office.get("/api/v1/recall/", {"lot": [sold.pk, other.pk]}).json()

    assert [match["code"] for match in asked["matches"]] == ["L26200-2", "L26200-1"]
    assert asked["answer"] is None
    assert [lot["code"] for lot in chosen["answer"]["lots"]] == ["L26200-1", "L26200-2"]


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


@pytest.mark.parametrize("asked", [{}, {"code": "XYZ"}, {"lot": "0"}])
def test_what_fits_no_lot_finds_nothing(office, sold, asked):
    assert office.get("/api/v1/recall/", asked).json() == {"matches": [], "answer": None}
    assert office.get("/api/v1/recall/sales/", asked).json()["results"] == []


@pytest.mark.parametrize(("role", "status"), [("bottling", 200), ("stand", 403)])
def test_who_may_ask(client, sold, role, status):
    client.force_login(builders.person(role))

    for address in ("/api/v1/recall/", "/api/v1/recall/sales/"):
        assert client.get(address, {"code": "L26200-1"}).status_code == status


def test_a_drum_number_is_a_code_too(office):
    tank = builders.place("tank-1")
    lot = builders.lot_in(tank, 100_000)
    tote = builders.place("tote-9", Place.Kind.TOTE)
    assert office.get("/api/v1/recall/", {"code": tote.code}).json()["matches"] == []

    said = office.get("/api/v1/recall/", {"code": "tank-1"}).json()

    assert [row["code"] for row in said["answer"]["lots"]] == [lot.code]
