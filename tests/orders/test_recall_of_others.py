"""A recall of honey of another beekeeper: what was handed back is out, and has a name."""

import pytest
from django.urls import reverse

from apiary_sales.orders.queries import recall
from inventory.stock.models import Balance, Place
from inventory.stock.services import honey as honey_acts
from inventory.stock.services import others
from tests import builders
from tests.inventory import others_room, pages
from tests.inventory.others_room import act, bring, packed

pytestmark = pytest.mark.django_db


@pytest.fixture
def hanna():
    return others_room.hanna()


def test_an_owner_who_got_jars_back_has_them_by_name(hanna):
    """96 jars of theirs, of which 90 went back and 6 are on the shelf; nobody bought any."""
    room, jars = packed(hanna)
    there = Balance.objects.get(lot=jars, is_physical=True)
    act(others.hand_back_jars, item=there.item, lot=jars, place=room.shelf, pieces=90)

    made = recall.answer([jars.pk], with_sales=True)

    [lot] = made.lots
    assert (lot.came_in, lot.still_out, lot.on_hand) == (96, 90, 6)
    assert (lot.ways_out, lot.difference) == ({}, 0)
    assert (made.buyers, made.owners_with_some, made.pieces_out) == (0, 1, 90)
    assert made.percent_found == 100
    [row] = made.handed_back
    assert (row.name, row.phone, row.email) == ("Hanna Birch", "555 0142", "hanna@birch.example")
    assert (row.lot, row.quantity, row.is_weighed) == (jars.code, 90, False)
    assert recall.from_json(made.as_json()) == made


def test_an_owners_bulk_lot_says_what_came_in_and_each_way_out(hanna):
    """300 kg came; 55 kg went back, 100 kg were bought, 2 kg spoiled."""
    tank, tote = builders.place("tank"), builders.place("tote", Place.Kind.TOTE)
    lot = bring(hanna, tank)
    act(others.hand_back, place=tank, grams=55_000)
    act(others.buy, place=tank, grams=100_000, target=tote, cost_cents=20_000)
    act(honey_acts.write_off, place=tank, grams=2_000, reason="spoilage")

    theirs = next(row for row in recall.answer([lot.pk]).lots if row.is_asked)

    assert (theirs.came_in, theirs.still_out, theirs.handed_back) == (300_000, 55_000, 55_000)
    assert (theirs.on_hand, theirs.into_lots) == (143_000, 100_000)
    assert (theirs.ways_out, theirs.difference) == ({Place.Kind.SPOILED: 2_000}, 0)


def test_page_file_and_api_name_the_owner(hanna):
    tank = builders.place("tank")
    lot = bring(hanna, tank)
    act(others.hand_back, place=tank, grams=45_359)
    client = pages.signed_in("office")

    page = pages.text(client.get(reverse("recall:answer", args=[lot.pk])))
    table = b"".join(client.get(reverse("recall:answer_csv", args=[lot.pk])).streaming_content)
    api = client.get(reverse("api:recall"), {"lot": lot.pk}).json()["answer"]
    [of_lot] = client.get(reverse("api:recall_lots"), {"lot": lot.pk}).json()["results"]

    assert "Hanna Birch 555 0142 hanna@birch.example" in page
    assert "and 1 owner who got some back" in page
    assert "handed back to its owner,Hanna Birch,,555 0142,hanna@birch.example" in table.decode()
    assert api["handed_back"][0]["owner"] == "Hanna Birch"
    assert (api["grams_out"], of_lot["handed_back"]) == (45_359, 45_359)


def test_the_record_of_a_recall_keeps_and_prints_the_owner(hanna):
    tank = builders.place("tank")
    lot = bring(hanna, tank)
    act(others.hand_back, place=tank, grams=45_359)
    client = pages.signed_in("office")

    started = client.post(
        reverse("recall:start", args=[lot.pk]),
        {"kind": "mock", "reason": "Exercise", "key": "start"},
    )

    assert "Hanna Birch 555 0142 hanna@birch.example" in pages.text(client.get(started.url))
