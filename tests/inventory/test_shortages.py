"""What was taken although the books had none of it is shown until it is settled."""

from datetime import date, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils.formats import date_format

from inventory.bottling.services import reversals
from inventory.shared import days
from inventory.stock.models import Balance, Item, Lot, Place, Posting, Shortage
from inventory.stock.queries import books, shortages
from inventory.stock.services import ledger
from inventory.stock.services import shortages as shortages_service
from tests import builders
from tests.inventory.pages import books_unchanged, errors, signed_in, text

pytestmark = pytest.mark.django_db


def days_ago(count: int) -> date:
    return builders.today() - timedelta(days=count)


def taken(
    item: Item, place: Place | None, quantity: int, *, lot: Lot | None = None, ago: int = 0
) -> Shortage:
    """Book goods that left as sold from what is to be settled, as of that day."""
    posting = ledger.post(
        kind=Posting.Kind.SALE,
        lines=ledger.move(
            item=item,
            lot=lot,
            source=Place.objects.outside(Place.Kind.TO_SETTLE),
            target=Place.objects.outside(Place.Kind.CUSTOMER),
            quantity=quantity,
        ),
        recorded_by=builders.person("bottling"),
        key=builders.new_key(),
        occurred_at=days.moment(days_ago(ago)),
    )
    return Shortage.objects.create(
        posting=posting, item=item, lot=lot, place=place, quantity=quantity
    )


def settle(shortage: Shortage) -> Posting:
    """Book a shortage as a difference of a count."""
    shortage.settled_by = ledger.post(
        kind=Posting.Kind.SETTLEMENT,
        lines=ledger.move(
            item=shortage.item,
            lot=shortage.lot,
            source=Place.objects.outside(Place.Kind.COUNT_DIFFERENCE),
            target=Place.objects.outside(Place.Kind.TO_SETTLE),
            quantity=shortage.quantity,
        ),
        recorded_by=builders.person(),
        key=builders.new_key(),
    )
    shortage.save(update_fields=["settled_by"])
    return shortage.settled_by


def unknown_lot() -> Lot:
    """The lot of honey that nobody knows."""
    return Lot.objects.create(
        kind=Lot.Kind.UNKNOWN, code="26-U01", season=2026, made_on=builders.today()
    )


@pytest.fixture
def tank():
    return builders.place("tank-1", name="Tank 1")


@pytest.fixture
def lot(tank):
    return builders.lot_in(tank)


@pytest.fixture
def honey():
    return Item.objects.honey()


@pytest.fixture
def shelf():
    return builders.place("shelf", Place.Kind.SHELF, name="Shelf")


def test_a_shortage_is_told_in_plain_figures(honey, tank, lot):
    made = taken(honey, tank, 10_000, lot=lot, ago=3)

    [row] = shortages.open_rows()

    assert (row.what, row.much, row.quantity) == ("bulk honey", "22.0 lb", 10_000)
    assert (row.lot, row.is_lot_unknown) == (lot.code, False)
    assert (row.place, row.place_code) == ("Tank 1", "tank-1")
    assert (row.act, row.posting, row.who) == ("sale", made.posting_id, "Bottling")
    assert (row.day, row.entered_on) == (days_ago(3), builders.today())
    assert (row.settled_by, row.settled_on) == (None, None)


def test_honey_without_a_lot_and_honey_of_the_unknown_lot_are_of_an_unknown_lot(honey, tank):
    taken(honey, tank, 1_000)
    taken(honey, tank, 2_000, lot=unknown_lot())

    assert [(row.lot, row.is_lot_unknown) for row in shortages.open_rows()] == [("", True)] * 2


def test_parts_have_no_lot_that_could_be_unknown():
    part = builders.part("Lid")
    taken(part.item, None, 12)

    [row] = shortages.open_rows()

    assert (row.much, row.lot, row.is_lot_unknown, row.place) == ("12 pieces", "", False, "")


def test_what_is_settled_is_no_longer_open_and_says_what_settled_it(honey, tank, lot):
    settlement = settle(taken(honey, tank, 10_000, lot=lot))

    assert shortages.open_rows() == []
    [row] = shortages.rows(shortages.settled())
    assert (row.settled_by, row.settled_act) == (settlement.pk, "shortage settled")
    assert row.settled_on == builders.today()


def test_a_shortage_of_an_entry_that_was_undone_is_none(honey, tank, lot):
    made = ledger.post(
        kind=Posting.Kind.SPOILAGE,
        lines=ledger.move(
            item=honey,
            lot=lot,
            source=Place.objects.outside(Place.Kind.TO_SETTLE),
            target=Place.objects.outside(Place.Kind.SPOILED),
            quantity=500,
        ),
        recorded_by=builders.person(),
        key=builders.new_key(),
    )
    Shortage.objects.create(posting=made, item=honey, lot=lot, place=tank, quantity=500)

    reversals.reverse(posting=made, recorded_by=builders.person(), key=builders.new_key())

    assert shortages.open_rows() == []
    assert list(shortages.settled()) == []


def test_the_page_lists_what_is_open_with_the_ways_out_and_what_was_settled(honey, tank, lot):
    taken(honey, tank, 10_000, lot=lot, ago=3)
    settle(taken(honey, tank, 4_536, ago=9))

    said = text(signed_in().get(reverse("inventory:shortage_list")))

    assert "22.0 lb bulk honey" in said
    assert f"{lot.code} Tank 1" in said
    assert "10.0 lb bulk honey lot unknown Tank 1 shortage settled" in said
    for way in (
        "Something was not written down: enter the receipt",
        "There is another quantity than the books say: count the shelf, or dip or weigh",
        "The entry itself is wrong: open it from this list, and correct its weight",
    ):
        assert way in said


def test_each_open_row_leads_to_what_settles_it(honey, tank, shelf, lot):
    candles = builders.goods()
    goods_lot = builders.goods_lot(candles, shelf)
    lid = builders.part("Lid")
    taken(honey, tank, 10_000, lot=lot)
    taken(candles.item, shelf, 2, lot=goods_lot)
    taken(lid.item, None, 5)

    page = signed_in().get(reverse("inventory:shortage_list")).content.decode()

    assert f"{reverse('inventory:receive')}?place=tank-1" in page
    assert reverse("inventory:goods_receive") in page
    assert reverse("inventory:part_receive") in page
    assert f"?place=shelf&amp;thing=lot-{goods_lot.pk}" in page
    # No shelf is named where any could have given the lids: the person chooses it.
    assert f"?place=&amp;thing=item-{lid.item_id}" in page


def test_the_page_says_when_nothing_is_to_be_settled():
    said = text(signed_in().get(reverse("inventory:shortage_list")))

    assert "There is nothing to settle: no act took more than the books had." in said


def test_the_page_asks_as_often_for_many_rows_as_for_one(honey, tank, lot):
    client = signed_in()
    taken(honey, tank, 1_000, lot=lot)
    settle(taken(honey, tank, 1_000, lot=lot))
    with CaptureQueriesContext(
        connection,
    ) as few:
        client.get(reverse("inventory:shortage_list"))
    for _ in range(5):
        taken(honey, tank, 1_000, lot=lot)
        settle(taken(honey, tank, 1_000, lot=lot))

    with CaptureQueriesContext(connection) as many:
        client.get(reverse("inventory:shortage_list"))

    assert len(many) == len(few)


def test_the_page_of_a_lot_says_what_is_to_be_settled_of_it(honey, tank, lot):
    other = builders.lot_in(builders.place("tank-2"), 1_000)
    taken(honey, tank, 10_000, lot=lot)
    address = "inventory:lot_detail"

    assert "To be settled: 22.0 lb of bulk honey more than the books had" in text(
        signed_in().get(reverse(address, args=[lot.code]))
    )
    assert "To be settled" not in text(signed_in().get(reverse(address, args=[other.code])))


def test_the_page_of_goods_says_what_is_to_be_settled_of_them(shelf):
    candles = builders.goods()
    made = builders.goods_lot(candles, shelf)
    taken(candles.item, shelf, 2, lot=made)

    said = text(signed_in().get(reverse("inventory:lot_detail", args=[made.code])))

    assert "To be settled: 2 pieces of Candle more than the books had" in said


def test_the_page_of_an_entry_says_what_it_was_short_of(honey, tank, lot):
    made = taken(honey, tank, 10_000, lot=lot)
    address = reverse("inventory:posting_detail", args=[made.posting_id])

    open_page = text(signed_in().get(address))
    settle(made)

    assert "To be settled: 22.0 lb of bulk honey more than the books had" in open_page
    assert "To be settled:" not in text(signed_in().get(address))


@pytest.mark.parametrize("role", ["owner", "bottling", "office"])
def test_today_shows_what_is_to_be_settled_to_those_who_can(honey, tank, role):
    taken(honey, tank, 10_000)

    said = text(signed_in(role).get(reverse("web:today")))

    assert "To be settled: 22.0 lb of bulk honey more than the books had" in said
    assert "lot unknown" in said


def test_today_has_one_line_for_several_of_them(honey, tank, lot):
    taken(honey, tank, 10_000, lot=lot, ago=3)
    taken(honey, tank, 2_000, ago=1)
    taken(honey, tank, 3_000, ago=1)

    page = signed_in().get(reverse("web:today"))

    first = date_format(days_ago(3))
    assert (
        f"To be settled: In 3 entries since {first}, more was taken than the books had. "
        "Lot unknown: 2." in text(page)
    )
    assert reverse("inventory:shortage_list") in page.content.decode()


def test_today_of_the_stand_is_silent_about_it(honey, tank):
    taken(honey, tank, 10_000)

    assert "To be settled" not in text(signed_in("stand").get(reverse("web:today")))


def test_the_api_lists_what_is_open_and_what_is_settled(client, honey, tank, lot):
    client.force_login(builders.person("office"))
    made = taken(honey, tank, 10_000, lot=lot, ago=3)
    settled = taken(honey, tank, 4_000)
    settlement = settle(settled)

    [row] = client.get("/api/v1/shortages/").json()["results"]
    [done] = client.get("/api/v1/shortages/", {"settled": "true"}).json()["results"]

    assert row == {
        "id": made.pk,
        "kind": "honey",
        "item": "bulk honey",
        "item_id": made.item_id,
        "quantity": 10_000,
        "unit": "grams",
        "lot": lot.code,
        "lot_id": lot.pk,
        "place": "tank-1",
        "place_id": tank.pk,
        "posting": made.posting_id,
        "day": days_ago(3).isoformat(),
        "entered_on": builders.today().isoformat(),
        "recorded_by": "Bottling",
        "settled_by": None,
    }
    assert (done["id"], done["lot"], done["settled_by"]) == (settled.pk, None, settlement.pk)


def test_what_a_late_entry_lacked_is_shown_until_what_was_missing_is_entered(tank):
    """Through the pages: 100 lb were written off of a tank that had 60 lb by the books."""
    bottler = signed_in()
    day = days_ago(5)
    received = {
        "place": "tank-1",
        "floral_source": "Clover",
        "season": "2026",
        "extracted_on": days_ago(8).isoformat(),
        "moisture": "17.4",
        "measured_by": "scale",
        "weight_unit": "lb",
    }

    def receive(weight: str, **changes) -> None:
        data = received | {"key": builders.new_key(), "weight": weight} | changes
        bottler.post(reverse("inventory:receive"), data)

    receive("60")
    bottler.post(
        reverse("inventory:write_off"),
        {
            "key": builders.new_key(),
            "place": "tank-1",
            "weight": "100",
            "weight_unit": "lb",
            "reason": "spoilage",
            "written_off_on": day.isoformat(),
        },
    )
    [short] = shortages.open_rows()
    today = text(bottler.get(reverse("web:today")))
    receive("40", extracted_on=days_ago(7).isoformat())

    assert (short.much, short.place, short.act, short.day) == ("40.0 lb", "Tank 1", "spoilage", day)
    assert "To be settled: 40.0 lb of bulk honey more than the books had" in today
    assert shortages.open_rows() == []
    assert "To be settled" not in text(bottler.get(reverse("web:today")))
    assert list(books.faults()) == []


def goods_sold_short(shelf: Place) -> Shortage:
    """Two candles that were sold beyond the books; 24 are on the shelf."""
    candles = builders.goods()
    return taken(candles.item, shelf, 2, lot=builders.goods_lot(candles, shelf))


def test_a_person_settles_what_was_short_by_what_they_know(shelf):
    short = goods_sold_short(shelf)
    owner = signed_in("owner")

    answer = owner.post(
        reverse("inventory:shortage_settle", args=[short.pk]),
        {"key": "k", "how": "from_stock", "note": "They were in the window"},
        follow=True,
    )

    assert "Settled: 2 pieces of Candle." in text(answer)
    short.refresh_from_db()
    assert (short.settled_by.kind, short.settled_by.note) == (
        Posting.Kind.SETTLEMENT,
        "They were in the window",
    )
    assert Balance.objects.get(lot=short.lot, place=shelf).quantity == 22


@pytest.mark.parametrize("how", ["from_stock", "count_difference"])
def test_what_settled_an_entry_is_undone_with_it(shelf, how):
    short = goods_sold_short(shelf)
    person = builders.person()
    shortages_service.settle(shortage=short, how=how, settled_by=person, key="settled")

    ledger.reverse(posting=short.posting, recorded_by=person, key="undone")

    assert Balance.objects.get(lot=short.lot, place=shelf).quantity == 24
    assert (
        not Balance.objects.filter(lot=short.lot)
        .exclude(place__kind__in=[Place.Kind.SHELF, Place.Kind.SUPPLIER])
        .exclude(quantity=0)
    )
    assert list(books.faults()) == []


def test_what_is_settled_is_not_settled_again(shelf):
    short = goods_sold_short(shelf)
    settle(short)

    page = signed_in("owner").get(reverse("inventory:shortage_settle", args=[short.pk]))

    assert page.status_code == 404


def test_without_a_way_nothing_is_settled(shelf):
    short = goods_sold_short(shelf)

    with books_unchanged():
        refused = signed_in("owner").post(
            reverse("inventory:shortage_settle", args=[short.pk]), {"key": "k"}
        )

    assert errors(refused) == {"how": ["Choose one from the list."]}


def test_whoever_may_not_count_settles_nothing(shelf):
    short = goods_sold_short(shelf)

    page = signed_in("stand").get(reverse("inventory:shortage_settle", args=[short.pk]))

    assert page.status_code == 403


def test_a_person_names_the_lot_of_unknown_honey(honey, tank, lot):
    short = taken(honey, tank, 10_000, lot=unknown_lot())
    owner = signed_in("owner")
    address = reverse("inventory:shortage_lot", args=[short.pk])
    listed = owner.get(reverse("inventory:shortage_list")).content.decode()

    answer = owner.post(address, {"key": "k", "lot": lot.pk}, follow=True)

    assert address in listed
    assert f"22.0 lb of bulk honey: it was lot {lot.code}." in text(answer)
    [row] = shortages.open_rows()
    assert (row.lot, row.is_lot_unknown) == (lot.code, False)
    assert owner.get(address).status_code == 404


def test_the_api_settles_and_names_the_lot(client, honey, tank, lot):
    client.force_login(builders.person("owner"))
    short = taken(honey, tank, 10_000, lot=unknown_lot())

    def send(act: str, key: str, body: dict):
        return client.post(
            f"/api/v1/shortages/{short.pk}/{act}/",
            body,
            content_type="application/json",
            headers={"Idempotency-Key": key},
        )

    named = send("lot", "n", {"lot": lot.pk})
    settled = send("settle", "s", {"how": "count_difference"})
    again = send("settle", "t", {"how": "count_difference"})

    assert (named.status_code, named.json()["kind"]) == (200, "correction")
    assert (settled.status_code, settled.json()["kind"]) == (200, "settlement")
    assert again.json()["detail"] == "This shortage is settled already."
    short.refresh_from_db()
    assert (short.lot, short.settled_by_id) == (lot, settled.json()["id"])
