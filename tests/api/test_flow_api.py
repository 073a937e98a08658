"""Where every pound went, through the API: the same grams as on the page."""

import pytest
from rest_framework.test import APIClient

from tests import builders
from tests.inventory import bottling_room, jar_room

pytestmark = pytest.mark.django_db


@pytest.fixture
def api():
    client = APIClient()
    client.force_authenticate(builders.person("stand"))
    return client


@pytest.fixture
def season():
    """200,000 g in a tank; 45,000 g of it in 96 jars, two broken and 500 g lost; one jar sold."""
    room = bottling_room.set_up(200_000)
    room.run = bottling_room.recorded(room)
    room.sale = jar_room.sell(room.run.packed_lot, room.shelf, 1)
    return room


def test_every_gram_is_told(api, season):
    answer = api.get("/api/v1/honey-flow/", {"season": "2026"}).json()

    assert answer["came_in_grams"] == 200_000
    assert answer["came_in_grams"] == answer["went_out_grams"] + answer["here_grams"]
    assert answer["difference_grams"] == 0
    assert answer["sources"] == [{"source": "harvest", "grams": 200_000}]
    told = {row["band"]: row for row in answer["bands"]}
    assert told["tanks"] == {
        "band": "tanks",
        "is_here": True,
        "bulk_grams": 155_000,
        "pieces_grams": 0,
        "grams": 155_000,
    }
    assert (told["filling_loss"]["grams"], told["broken"]["grams"]) == (500, 907)
    [origin] = answer["origins"]
    assert (origin["lot"], origin["season"], origin["source"]) == ("26-E01", 2026, "harvest")
    assert sum(origin["bands"].values()) == origin["came_in_grams"] == 200_000


def test_a_lot_may_be_asked_for_and_seasons_are_rows_of_all(api, season):
    builders.lot_in(builders.place("tank-9"), 7_000, season=2025)

    of_lot = api.get("/api/v1/honey-flow/", {"lot": "26-E01"}).json()
    of_all = api.get("/api/v1/honey-flow/").json()

    assert of_lot["came_in_grams"] == 200_000
    assert [(row["lot"], row["season"], row["came_in_grams"]) for row in of_all["origins"]] == [
        (None, 2026, 200_000),
        (None, 2025, 7_000),
    ]


def test_the_entries_behind_a_band_add_up_to_it(api, season):
    answer = api.get("/api/v1/honey-flow/sold/", {"form": "pieces"}).json()

    [entry] = answer["entries"]
    assert (entry["posting"], entry["grams"]) == (season.sale.pk, 454)
    assert answer["total_grams"] == 454
    assert api.get("/api/v1/honey-flow/sold/", {"form": "bulk"}).json()["entries"] == []


def test_what_is_asked_wrongly_names_the_field(api, season):
    wrong_lot = api.get("/api/v1/honey-flow/", {"lot": "26-E99"})
    wrong_form = api.get("/api/v1/honey-flow/sold/", {"form": "steam"})

    assert wrong_lot.status_code == 400
    assert "No honey came in as lot 26-E99." in wrong_lot.text
    assert wrong_form.status_code == 400
    assert '"form"' in wrong_form.text
    assert api.get("/api/v1/honey-flow/moon/").status_code == 404


def test_nobody_reads_it_without_signing_in(season):
    assert APIClient().get("/api/v1/honey-flow/").status_code == 401
