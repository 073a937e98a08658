"""Counts and write-offs through the API: each calls the service of its page."""

from itertools import count

import pytest

from inventory.stock.models import Balance, CountLine, CountSheet, Place, Posting
from inventory.stock.queries import books
from tests import builders
from tests.inventory.pages import books_unchanged

pytestmark = pytest.mark.django_db


@pytest.fixture
def send(client):
    keys = (f"sent-{number}" for number in count())

    def make(path, body=None, *, role="owner", key=None):
        client.force_login(builders.person(role))
        return client.post(
            f"/api/v1/{path}",
            {} if body is None else body,
            content_type="application/json",
            headers={"Idempotency-Key": key or next(keys)},
        )

    return make


@pytest.fixture
def read(client):
    def make(path, *, role="owner"):
        client.force_login(builders.person(role))
        return client.get(f"/api/v1/{path}")

    return make


@pytest.fixture
def shelf():
    return builders.place("shelf", Place.Kind.SHELF, name="Shelf")


@pytest.fixture
def jars(shelf):
    return builders.packed_lot(builders.product("One pound"), shelf, 48, code="L26-1")


@pytest.fixture
def drum():
    made = builders.place("d-1", Place.Kind.DRUM, name="Drum 1", tare_grams=20_000)
    builders.lot_in(made, 290_000)
    return made


def made(answer, status=201):
    assert answer.status_code == status, answer.content
    return answer.json()


def fields(answer):
    assert answer.status_code in (400, 409, 422), answer.content
    return [error["field"] for error in answer.json()["errors"]]


def there(lot) -> int:
    return Balance.objects.get(lot=lot, place__kind="shelf").quantity


def test_one_thing_is_counted(send, jars):
    body = {"lot": jars.pk, "place": "shelf", "counted": 46, "reason": "End of the month"}

    posting = made(send("stock-counts/", body, role="bottling"))

    assert (posting["kind"], posting["note"]) == ("count", "End of the month")
    assert there(jars) == 46
    assert send("stock-counts/", body).status_code == 204


def test_parts_are_counted_by_their_short_name(send, shelf):
    lid = builders.part("Lid", "lid")

    made(
        send(
            "stock-counts/",
            {"part": lid.code, "place": "shelf", "counted": 120, "reason": "First count"},
        )
    )

    assert Balance.objects.get(item=lid.item, place=shelf).quantity == 120


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"counted": -1}, "counted"),
        ({"lot": None}, "lot"),
        ({"part": "x"}, "part"),
        ({"reason": ""}, "reason"),
        ({"counted": 49}, "surplus_reason"),
    ],
)
def test_a_count_that_cannot_be_is_refused_at_its_field(send, jars, changes, field):
    body = {"lot": jars.pk, "place": "shelf", "counted": 46, "reason": "End of the month"}

    with books_unchanged():
        assert fields(send("stock-counts/", body | changes)) == [field]


def test_only_who_may_says_why_there_are_more_than_were_made(send, jars):
    body = {
        "lot": jars.pk,
        "place": "shelf",
        "counted": 50,
        "reason": "Counted",
        "surplus_reason": "Written down wrongly",
    }

    with books_unchanged():
        assert send("stock-counts/", body, role="bottling").status_code == 403
    made(send("stock-counts/", body, role="office"))
    assert there(jars) == 50


@pytest.mark.parametrize(
    ("reason", "place"),
    [
        ("sample", "sampled"),
        ("feeding", "fed_to_bees"),
        ("spill", "spilled"),
        ("gift", "given_away"),
    ],
)
def test_pieces_are_written_off_with_a_reason_of_their_own(send, jars, reason, place):
    body = {"lot": jars.pk, "place": "shelf", "pieces": 2, "reason": reason, "may_be_fed": True}

    posting = made(send("stock-write-offs/", body, role="bottling"))

    assert posting["kind"] == reason
    assert Balance.objects.get(place__kind=place, lot=jars).quantity == 2


def test_bulk_honey_is_written_off_with_a_reason_of_its_own(send, drum):
    body = {"place": "d-1", "grams": 1_500, "reason": "skimming"}

    posting = made(send("honey-write-offs/", body))

    assert posting["kind"] == "skimming"
    assert Balance.objects.get(place__kind="skimmings").quantity == 1_500
    made(send("honey-write-offs/", {"place": "d-1", "grams": None, "reason": "spill"}))
    assert Balance.objects.in_vessel(drum) is None


def test_bought_honey_is_fed_only_when_confirmed(send):
    tank = builders.place("tank-1")
    builders.bought_lot(tank, 10_000)
    body = {"place": "tank-1", "grams": 1_000, "reason": "feeding"}

    with books_unchanged():
        assert fields(send("honey-write-offs/", body)) == ["may_be_fed"]
    made(send("honey-write-offs/", body | {"may_be_fed": True}))


def test_a_sheet_is_opened_filled_and_closed(send, read, jars, drum):
    sheet = made(send("count-sheets/", {"name": "Year end", "is_blind": True}, role="bottling"))
    address = f"count-sheets/{sheet['number']}"

    lines = made(
        send(
            f"{address}/store/",
            {"place": "shelf", "things": [{"lot": jars.pk, "quantity": 46}]},
            role="bottling",
        )
    )
    seal = made(send(f"{address}/vessel/", {"vessel": "d-1", "how": "seal"}, role="bottling"))

    # A blind sheet tells no figure of the books.
    assert (lines[0]["counted"], lines[0]["book_quantity"]) == (46, None)
    assert (seal["counted"], seal["book_quantity"]) == (None, None)
    assert read(f"{address}/differences/", role="stand").status_code == 403
    shown = made(read(f"{address}/differences/"), 200)
    assert [(line["place"], line["difference"]) for line in shown["lines"]] == [
        ("shelf", -2),
        ("d-1", 0),
    ]
    body = {"reason": "Year-end count", "uncounted": "left"}
    assert send(f"{address}/close/", body, role="stand").status_code == 403
    closed = made(send(f"{address}/close/", body, key="close"), 200)
    assert closed["is_open"] is False
    assert there(jars) == 46
    assert made(send(f"{address}/close/", body, key="close"), 200) == closed
    listed = made(read(f"{address}/lines/", role="bottling"), 200)["results"]
    assert [(line["counted"], line["book_quantity"]) for line in listed] == [
        (46, 48),
        (290_000, 290_000),
    ]
    assert len(made(read("count-sheets/"), 200)["results"]) == 1
    assert read(f"{address}/sheet.pdf").content.startswith(b"%PDF")
    assert list(books.faults()) == []


def test_what_is_wrong_with_a_thing_is_named_at_its_row(send, shelf, jars):
    lid = builders.part("Lid", "lid")
    made(send("count-sheets/", {"name": "Year end", "is_blind": False}))
    number = CountSheet.objects.get().number

    answer = send(
        f"count-sheets/{number}/store/",
        {
            "place": "shelf",
            "things": [
                {"lot": jars.pk, "quantity": 1},
                {"part": lid.code, "quantity": 2_000_000},
            ],
        },
    )

    assert fields(answer) == ["things.1.quantity"]
    assert not CountLine.objects.exists()


def test_a_sheet_is_cancelled(send, jars):
    made(send("count-sheets/", {"name": "Year end", "is_blind": False}))
    number = CountSheet.objects.get().number

    assert send(f"count-sheets/{number}/cancel/", role="stand").status_code == 403
    assert made(send(f"count-sheets/{number}/cancel/"), 200)["is_open"] is False
    assert send(f"count-sheets/{number}/cancel/").status_code == 409
    assert not Posting.objects.filter(kind="count").exists()
