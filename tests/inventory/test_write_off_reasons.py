"""Honey that is gone has a reason of its own, and only own honey is fed back to bees."""

import pytest
from django.urls import reverse

from apiary_sales.orders.queries import recall
from inventory.shared.errors import BadValue, LotOnHold, NotAllowedNow
from inventory.stock.models import Balance, Place, Posting
from inventory.stock.queries import books
from inventory.stock.services import honey, stores
from tests import builders
from tests.inventory import others_room
from tests.inventory.pages import books_unchanged, errors, said, signed_in, text

pytestmark = pytest.mark.django_db

# The reason on the page, the kind of the posting, where it goes, and the word in a recall.
OF_HONEY = [
    ("skimming", "skimmings", "skimmings"),
    ("spill", "spilled", "spilled"),
    ("sample", "sampled", "laboratory samples"),
    ("feeding", "fed_to_bees", "fed back to bees"),
    ("own_use", "own_use", "own use"),
    ("gift", "given_away", "given away"),
]


def by(**more) -> dict:
    return {"recorded_by": builders.person(), "key": builders.new_key(), **more}


@pytest.mark.parametrize(("reason", "kind", "word"), OF_HONEY)
def test_honey_goes_to_the_place_of_its_reason_and_a_recall_says_so(reason, kind, word):
    tank = builders.place("tank-1", name="Tank 1")
    lot = builders.lot_in(tank, 100_000)

    response = signed_in().post(
        reverse("inventory:write_off"),
        {"key": "k", "place": "tank-1", "reason": reason, "weight": "2", "weight_unit": "kg"},
    )

    made = Posting.objects.latest("id")
    assert said(response) == [f"4.4 lb from Tank 1 written off: {made.get_kind_display()}."]
    assert made.kind == reason
    assert Balance.objects.get(place__kind=kind, lot=lot).quantity == 2_000
    [account] = recall.answer([lot.pk]).lots
    assert account.ways_in_words == [(word, 2_000)]
    assert account.difference == 0
    assert list(books.faults()) == []


@pytest.mark.parametrize(("reason", "kind", "word"), OF_HONEY[1:])
def test_jars_go_to_the_place_of_their_reason(reason, kind, word):
    shelf = builders.place("shelf", Place.Kind.SHELF)
    lot = builders.packed_lot(builders.product(), shelf, 48)
    balance = Balance.objects.get(lot=lot, place=shelf)

    signed_in().post(
        reverse("inventory:stock_write_off"),
        {"key": "k", "stock": balance.pk, "reason": reason, "pieces": "2", "may_be_fed": "on"},
    )

    assert Posting.objects.latest("id").kind == reason
    assert Balance.objects.get(place__kind=kind, lot=lot).quantity == 2
    [account] = recall.answer([lot.pk]).lots
    assert (word, 2) in account.ways_in_words


def test_what_is_gone_for_good_counts_as_found_in_a_recall():
    tank = builders.place("tank-1")
    lot = builders.lot_in(tank, 100_000)
    for reason in ("skimming", "spill", "sample", "feeding"):
        honey.write_off(place=tank, grams=1_000, reason=reason, **by())

    answer = recall.answer([lot.pk])

    assert (answer.percent_accounted, answer.percent_found) == (100, 100)


# ------------------------------------------------------------------ feeding


def test_own_honey_is_fed_without_more_ado():
    tank = builders.place("tank-1")
    builders.lot_in(tank, 100_000)

    assert honey.write_off(place=tank, grams=1_000, reason="feeding", **by()).kind == "feeding"


def test_honey_with_bought_honey_in_it_is_fed_only_when_confirmed():
    tank, tote = builders.place("tank-1"), builders.place("tote", Place.Kind.TOTE)
    builders.lot_in(tank, 100_000)
    bought = builders.bought_lot(tote, 1_000)
    honey.transfer(source=tote, target=tank, grams=None, **by())
    blend = Balance.objects.in_vessel(tank).honey_lot

    with pytest.raises(NotAllowedNow) as refused, books_unchanged():
        honey.write_off(place=tank, grams=1_000, reason="feeding", **by())

    assert refused.value.parameter == "may_be_fed"
    assert refused.value.message == (
        f"Lot {blend.code} has honey in it that is not known to be of your own hives "
        f"({bought.code}). Spores of foulbrood travel in honey and can infect your bees. Don't "
        "feed it, unless you know that it has none: then tick that it may be fed."
    )
    honey.write_off(place=tank, grams=1_000, reason="feeding", may_be_fed=True, **by())


def test_the_page_asks_about_bought_honey_with_a_box():
    tote = builders.place("tote", Place.Kind.TOTE)
    builders.bought_lot(tote, 10_000)
    client, url = signed_in(), reverse("inventory:write_off")
    form = {"place": "tote", "reason": "feeding", "weight": "1", "weight_unit": "kg"}

    first = text(client.get(url))
    assert "It may be fed" not in first
    assert "Feed bees only your own honey, from hives known to be healthy" in first
    refused = client.post(url, form | {"key": "a"})
    assert list(errors(refused)) == ["may_be_fed"]
    assert "It may be fed" in text(refused)
    assert client.post(url, form | {"key": "b", "may_be_fed": "on"}).status_code == 302


def test_honey_of_another_beekeeper_is_never_fed():
    tank = builders.place("tank-1")
    others_room.bring(others_room.hanna(), tank)

    with pytest.raises(NotAllowedNow) as refused, books_unchanged():
        honey.write_off(place=tank, grams=1_000, reason="feeding", may_be_fed=True, **by())

    assert "belongs to Hanna Birch" in refused.value.message
    # A sample of it may be taken.
    honey.write_off(place=tank, grams=100, reason="sample", **by())


def test_honey_on_hold_is_never_fed():
    tank = builders.place("tank-1")
    lot = builders.lot_in(tank, 100_000)
    lot.is_on_hold = True
    lot.save()

    with pytest.raises(LotOnHold), books_unchanged():
        honey.write_off(place=tank, grams=1_000, reason="feeding", may_be_fed=True, **by())


@pytest.mark.parametrize("reason", ["skimming", "spill", "feeding"])
def test_goods_that_are_no_honey_are_neither_spilled_nor_fed(reason):
    shelf = builders.place("shelf", Place.Kind.SHELF)
    candle = builders.goods()
    lot = builders.goods_lot(candle, shelf)

    with pytest.raises(BadValue) as refused, books_unchanged():
        stores.write_off(item=candle.item, lot=lot, place=shelf, pieces=1, reason=reason, **by())

    assert refused.value.parameter == "reason"
