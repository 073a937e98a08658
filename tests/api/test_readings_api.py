"""What the API reads is what the pages show: the same queries, in a constant number of them."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inventory.stock.models import Balance, Place
from inventory.stock.services import honey
from tests import builders

pytestmark = pytest.mark.django_db


@pytest.fixture
def read(client):
    """Return a reader who signs in with the token of a role."""

    def get(path, *, role="owner", status=200):
        headers = {"Authorization": builders.authorization(role)}
        answer = client.get(f"/api/v1/{path}", headers=headers)
        assert answer.status_code == status, answer.content
        return answer.json()

    return get


def test_honey_in_hand_is_told_vessel_by_vessel(read):
    builders.lot_in(builders.place("tank-1"), 400_000)
    builders.lot_in(builders.place("drum-1", Place.Kind.DRUM), 280_000)
    builders.place("tank-2")

    told = read("honey/")

    assert told["total"]["grams"] == 680_000
    assert told["in_drums"] == {**told["in_drums"], "grams": 280_000, "vessels": 1}
    assert {row["code"]: row["grams"] for row in told["vessels"]} == {
        "tank-1": 400_000,
        "drum-1": 280_000,
        "tank-2": 0,
    }


def test_the_bottling_room_reads_which_parts_to_order(read):
    builders.part("Lid", kind="lid", reorder_point=100, code="lid")

    [part] = read("bottling/", role="bottling")["parts_to_order"]

    assert (part["code"], part["on_hand_pieces"]) == ("lid", 0)


def test_a_place_tells_what_it_holds_and_what_happened_there(read):
    lot = builders.lot_in(builders.place("tank-1"), 400_000)

    assert read("places/tank-1/contents/")["vessel"]["lot"] == lot.code
    [posting] = read("places/tank-1/postings/")["results"]
    assert posting["kind"] == "extraction"


def test_a_lot_is_traced_back_and_out(read):
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

    out = read(f"lots/{first.code}/story/")
    back = read(f"lots/{blend.code}/story/")
    became = read(f"lots/{first.code}/became/")["results"]
    origins = read(f"lots/{blend.code}/origins/")["results"]

    assert (out["origin_count"], out["became_count"]) == (0, 1)
    assert (back["origin_count"], back["became_count"]) == (2, 0)
    assert read(f"lots/{first.code}/origins/")["results"] == []
    assert [(row["lot"]["id"], row["quantity"]) for row in became] == [(blend.pk, 100_000)]
    assert {row["lot"]["id"]: row["grams"] for row in origins} == {
        first.pk: 100_000,
        second.pk: 100_000,
    }


def test_stock_for_sale_is_what_the_page_has(read):
    shelf = builders.place("shelf", Place.Kind.SHELF)
    builders.packed_lot(builders.product("One pound", code="1-lb"), shelf, 24)

    [size] = read("stock-for-sale/")["sizes"]

    assert (size["free"], size["products"][0]["product"]) == (24, "1-lb")
    assert read("stock-for-sale/1-lb/")["lots"][0]["on_hand"] == 24


@pytest.mark.parametrize(
    "path",
    [
        "bottling/",
        "changes/",
        "drum-or-jar/",
        "find/?q=tank",
        "goods-in-stock/",
        "jars-to-do/",
        "markets/",
        "me/",
        "money/",
        "money-kept/",
        "opening-balances/",
        "orders-to-do/",
        "owed-on/",
        "parts/",
        "people/",
        "prices/",
        "prices/1-lb/",
        "products-in-stock/",
        "receipts/",
        "season-costs/",
        "selling-costs/",
        "sizes-in-detail/",
        "stand-catalogue/",
        "system/",
        "takings/",
        "taxes-in-force/",
        "to-deposit/",
        "today/",
        "weight-prices/",
        "when-to-stop/",
    ],
)
def test_each_reading_answers_in_a_house_with_stock(read, path):
    builders.lot_in(builders.place("tank-1"), 400_000)
    stand = builders.place("stand", Place.Kind.STAND)
    builders.packed_lot(builders.product("One pound", code="1-lb"), stand, 24)

    assert read(path) is not None


def test_the_stand_reads_its_own_first_page(read):
    builders.place("stand", Place.Kind.STAND)

    told = read("today/", role="stand")

    assert told["house"] is None
    assert [place["place"] for place in told["stand"]["places"]] == ["stand"]


@pytest.mark.parametrize("path", ["honey/", "dips/", "stock-for-sale/", "today/", "parts/"])
def test_more_vessels_and_products_take_no_more_questions(client, path):
    headers = {"Authorization": builders.authorization()}
    shelf = builders.place("shelf", Place.Kind.SHELF)

    def add(number):
        builders.lot_in(builders.place(f"tank-{number}"), 400_000)
        builders.packed_lot(builders.product(f"Size {number}", code=f"s{number}"), shelf, 24)

    def questions():
        with CaptureQueriesContext(
            connection,
        ) as asked:
            assert client.get(f"/api/v1/{path}", headers=headers).status_code == 200
        return len(asked)

    add(1)
    questions()
    few = questions()
    add(2)
    add(3)

    assert questions() == few
