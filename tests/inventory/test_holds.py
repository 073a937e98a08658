"""Many lots on hold in one act: what can't be done with them then, and how they are released."""

import pytest
from django.urls import reverse

from inventory.bottling.services import fill_checks, holds, reversals
from inventory.shared.errors import (
    BadValue,
    LotOnHold,
    NotAllowedNow,
    NotEnoughStock,
    SeveralProblems,
)
from inventory.stock.models import Balance, Lot, Place
from inventory.stock.queries import holds as queries
from inventory.stock.services import drums, honey, stores
from tests import builders
from tests.inventory import bottling_room

pytestmark = pytest.mark.django_db

WHY = "Odd smell."


@pytest.fixture
def room(db):
    return bottling_room.set_up()


def hold(*lots):
    return holds.hold(lots=lots, reason=WHY, held_by=builders.person())


def free(lots, reason="Laboratory found nothing."):
    return holds.release(lots=lots, reason=reason, released_by=builders.person())


def pour(source, target, grams=None):
    return honey.transfer(
        source=source,
        target=target,
        grams=grams,
        recorded_by=builders.person(),
        key=builders.new_key(),
    )


def state(lot):
    lot = Lot.objects.get(pk=lot.pk)
    return lot.is_on_hold, lot.hold_reason


def test_a_lot_and_all_that_was_made_of_it_go_on_hold_at_once(room):
    packed = bottling_room.recorded(room).packed_lot
    other = builders.lot_in(builders.place("tank-2"))

    done = hold(room.lot)

    assert done.changed == [room.lot, packed]
    assert [state(lot) for lot in (room.lot, packed)] == [(True, WHY)] * 2
    assert state(other) == (False, "")


def test_a_lot_on_hold_for_something_else_is_held_for_both(room):
    packed = bottling_room.recorded(room).packed_lot
    holds.hold(lots=[packed], reason="Dented lids.", held_by=builders.person())

    done = hold(room.lot)

    assert (done.changed, done.left) == ([room.lot, packed], [])
    assert state(packed) == (True, "Dented lids. Odd smell.")


def test_what_is_all_on_hold_is_not_held_again(room):
    hold(room.lot)

    with pytest.raises(NotAllowedNow) as refused:
        hold(room.lot)

    assert refused.value.message == "All these lots are on hold already."


@pytest.mark.parametrize(("act", "who"), [(holds.hold, "held_by"), (holds.release, "released_by")])
@pytest.mark.parametrize("reason", ["", "  ", "x" * 301])
def test_holding_and_releasing_need_lots_and_a_reason(room, act, who, reason):
    with pytest.raises(SeveralProblems) as refused:
        act(lots=[], reason=reason, **{who: builders.person()})

    assert [problem.parameter for problem in refused.value.problems] == ["lots", "reason"]


def test_a_reason_of_300_characters_fits(room):
    holds.hold(lots=[room.lot], reason="x" * 300, held_by=builders.person())

    assert state(room.lot) == (True, "x" * 300)


def test_honey_on_hold_is_not_mixed_whichever_of_the_two_it_is(room):
    tank = builders.place("tank-2", name="Tank 2")
    builders.lot_in(tank, 50_000)
    hold(room.lot)

    with pytest.raises(LotOnHold) as poured:
        pour(room.tank, tank, 1_000)
    with pytest.raises(LotOnHold) as poured_into:
        pour(tank, room.tank, 1_000)
    with pytest.raises(LotOnHold) as received:
        builders.lot_in(room.tank, 1_000)

    sentence = "Lot 26-E01 is on hold and can't be mixed with other honey: Odd smell."
    assert [(each.value.message, each.value.parameter) for each in (poured, poured_into)] == [
        (sentence, "source"),
        (sentence, "target"),
    ]
    assert received.value.parameter == "place"
    assert Balance.objects.in_vessel(room.tank).quantity == 200_000


def test_honey_on_hold_may_be_put_apart_in_an_empty_vessel_and_stays_on_hold(room):
    hold(room.lot)
    tote = builders.place("tote", Place.Kind.TOTE)

    pour(room.tank, tote)

    assert Balance.objects.in_vessel(tote).honey_lot.is_on_hold


def test_an_empty_drum_takes_honey_on_hold_as_any_empty_vessel_does_and_another_refuses_it(room):
    empty, other = (
        builders.place(code, Place.Kind.DRUM, tare_grams=18_000) for code in ("D-1", "D-2")
    )
    builders.lot_in(other, 10_000)
    hold(room.lot)
    who = {"recorded_by": builders.person()}

    drums.fill(tank=room.tank, drum=empty, gross_grams=50_000, key="k", **who)
    with pytest.raises(LotOnHold) as refused:
        drums.fill(tank=room.tank, drum=other, gross_grams=50_000, key="m", **who)

    assert Balance.objects.in_vessel(empty).honey_lot.is_on_hold
    assert refused.value.message == (
        "Lot 26-E01 is on hold and can't be mixed with other honey: Odd smell."
    )


@pytest.mark.parametrize("reason", ["gift", "own_use", "feeding"])
def test_what_is_on_hold_is_neither_given_away_nor_used(room, reason):
    packed = bottling_room.recorded(room).packed_lot
    hold(room.lot)
    who = {"reason": reason, "recorded_by": builders.person()}
    jars = {"item": room.product.item, "lot": packed, "place": room.shelf, "pieces": 1}

    with pytest.raises(LotOnHold) as honey_refused:
        honey.write_off(place=room.tank, grams=1_000, key="h", **who)
    with pytest.raises(LotOnHold) as jars_refused:
        stores.write_off(**jars, key="j", **who)
    stores.write_off(**jars, key="b", **(who | {"reason": "breakage"}))
    # It is tested to find out what is wrong with it.
    stores.write_off(**jars, key="s", **(who | {"reason": "sample"}))

    assert honey_refused.value.parameter == jars_refused.value.parameter == "reason"
    assert jars_refused.value.message == (
        f"Lot {packed.code} is on hold, so it can't be used or given away: Odd smell. It may "
        "only be written off as lost or spoiled, or as a sample."
    )


def test_jars_on_hold_are_named_where_they_could_be_sold(client, room):
    packed = bottling_room.recorded(room).packed_lot
    builders.place("stand", Place.Kind.STAND, name="Stand")
    hold(packed)
    client.force_login(builders.person())

    for address in ("/", "/selling/orders/new/"):
        page = " ".join(client.get(address).text.split())
        assert f"lot {packed.code} of One pound (96 pieces in {room.shelf}): Odd smell." in page
    told = [each["held"] for each in client.get("/stand/data/").json()["places"]]
    assert ["96 pieces of One pound on hold: Odd smell."] in told
    with pytest.raises(NotEnoughStock) as refused:
        stores.pick(item=room.product.item, places=[room.shelf], pieces=1)
    assert refused.value.message.endswith(f"On hold, not for sale: 96 pieces of lot {packed.code}.")


def test_vessels_on_hold_are_marked_in_lists_and_on_the_page_of_quotes(client, room):
    drum = builders.place("D-1", Place.Kind.DRUM, name="Drum 1", tare_grams=18_000)
    lot = builders.lot_in(drum, 10_000)
    hold(lot)
    client.force_login(builders.person())

    quote = " ".join(client.get("/selling/quotes/new/").text.split())

    assert f"Drum 1, lot {lot.code}: Odd smell." in quote
    assert "all that are full are reserved or on hold" in quote
    assert "Fill drums from a tank first" not in quote
    for address in ("transfer", "blend", "drain", "fill-drum"):
        assert f"{lot.code}, Clover. ON HOLD" in client.get(f"/honey/{address}/").text


def test_honey_on_hold_can_not_be_planned_for_a_run(room):
    hold(room.lot)

    with pytest.raises(LotOnHold) as planned:
        bottling_room.plan(room)

    assert (planned.value.message, planned.value.parameter) == (
        "Lot 26-E01 in Tank 1 is on hold and can't be bottled: Odd smell.",
        "pieces",
    )


def test_jars_filled_with_honey_on_hold_are_on_hold_too(room):
    # They are there, so they are booked; the hold goes with the honey.
    run = bottling_room.plan(room)
    hold(room.lot)

    packed = bottling_room.record(run).packed_lot

    packed.refresh_from_db()
    assert packed.is_on_hold
    assert packed.hold_reason == "Made from lot 26-E01, which is on hold. Odd smell."


def test_a_hold_stays_on_jars_whose_run_is_undone_and_recorded_again(room):
    run = bottling_room.recorded(room)
    packed = run.packed_lot
    hold(packed)

    reversals.reverse(posting=run.posting, recorded_by=builders.person(), key=builders.new_key())
    run.refresh_from_db()
    again = bottling_room.record(run)

    assert again.packed_lot == packed
    assert again.packed_lot.code == packed.code == run.lot_code
    packed.refresh_from_db()
    assert packed.is_on_hold
    with pytest.raises(LotOnHold):
        stores.write_off(
            item=room.product.item,
            lot=packed,
            place=room.shelf,
            pieces=1,
            reason="gift",
            recorded_by=builders.person(),
            key=builders.new_key(),
        )


def test_a_hold_put_on_jars_of_an_undone_run_is_there_when_it_is_recorded_again(room):
    # Jars of a run that was undone by mistake are on the shelf, whatever the books say.
    run = bottling_room.recorded(room)
    reversals.reverse(posting=run.posting, recorded_by=builders.person(), key=builders.new_key())
    hold(run.packed_lot)
    run.refresh_from_db()

    again = bottling_room.record(run)

    again.packed_lot.refresh_from_db()
    assert (again.packed_lot, again.packed_lot.is_on_hold) == (run.packed_lot, True)


def test_honey_on_hold_can_be_written_off(room):
    hold(room.lot)

    honey.write_off(
        place=room.tank, grams=None, reason="spoilage", recorded_by=builders.person(), key="k"
    )

    assert Balance.objects.in_vessel(room.tank) is None


def test_a_release_frees_all_of_them(room):
    packed = bottling_room.recorded(room).packed_lot
    hold(room.lot)

    done = free([room.lot], "Laboratory found nothing.")

    assert done.changed == [room.lot, packed]
    assert [state(lot) for lot in (room.lot, packed)] == [(False, "")] * 2


def test_a_lot_with_a_failed_check_is_not_released_with_the_others(room):
    run = bottling_room.recorded(room)
    hold(room.lot)
    fill_checks.record(
        run=run,
        scheme="us",
        weights_milligrams=[440_000] * 12,
        checked_by=builders.person(),
        key="check",
        weights_are_right=True,
    )

    done = free([room.lot], "Laboratory found nothing.")

    assert (done.freed, done.left) == ([room.lot], [run.packed_lot])
    held, reason = state(run.packed_lot)
    assert held
    assert reason.startswith("Fill check of ")
    with pytest.raises(NotAllowedNow) as refused:
        free([run.packed_lot], "Laboratory found nothing.")
    assert refused.value.message == (
        "A recall of these lots holds none of them. What is on hold has another reason: "
        "release each lot from its own page."
    )


def test_a_lot_of_two_recalls_stays_on_hold_until_both_are_over(room):
    tank = builders.place("tank-2", name="Tank 2")
    other = builders.lot_in(tank, 50_000)
    pour(tank, room.tank, 50_000)
    blend = Balance.objects.in_vessel(room.tank).honey_lot
    hold(room.lot)
    holds.hold(lots=[other], reason="A splinter of glass.", held_by=builders.person())

    first = free([room.lot], "Laboratory found nothing.")
    between = state(blend)
    second = free([other], "No glass was found.")

    assert (first.freed, first.left) == ([room.lot], [blend])
    assert between == (True, "A splinter of glass.")
    assert second.changed == [other, blend]
    assert state(blend) == (False, "")


def test_what_is_not_on_hold_is_not_released(room):
    with pytest.raises(NotAllowedNow) as refused:
        free([room.lot], "Nothing found.")

    assert refused.value.message == "None of these lots is on hold."


def test_a_bulk_lot_is_released_from_its_own_page(client, room):
    hold(room.lot)
    client.force_login(builders.person("office"))
    lot_page = client.get(f"/honey/lots/{room.lot.code}/").text
    address = f"/bottling/lots/{room.lot.code}/in-bulk/release/"

    assert address in lot_page
    assert client.get(address).status_code == 200
    client.post(address, {"key": "k", "reason": "Laboratory found nothing."})

    assert state(room.lot) == (False, "")


def test_one_problem_alone_is_a_bad_value(room):
    with pytest.raises(BadValue) as refused:
        holds.hold(lots=[room.lot], reason=" ", held_by=builders.person())

    assert refused.value.message == "Enter why they go on hold."


def test_the_release_of_one_recall_leaves_what_another_holds(room):
    packed = bottling_room.recorded(room).packed_lot
    holds.hold(lots=[packed], reason="Dented lids.", held_by=builders.person())
    hold(room.lot)

    done = free([room.lot])

    assert (done.freed, done.left) == ([room.lot], [packed])
    assert [lot.hold_reason for lot in done.left] == ["Dented lids."]
    assert state(packed) == (True, "Dented lids.")


def test_every_hold_and_release_is_kept_with_who_when_and_why(client, room):
    packed = bottling_room.recorded(room).packed_lot
    holds.hold(lots=[room.lot], reason=WHY, held_by=builders.person("bottling"))
    client.force_login(builders.person("office"))
    client.post(
        f"/bottling/lots/{packed.code}/{packed.what}/release/",
        {"key": "k", "reason": "Laboratory found nothing."},
    )

    released, held = queries.events(queries.of_lots([packed.pk]))

    assert (released.is_release, released.by, released.reason) == (
        True,
        builders.person("office").display_name,
        "Laboratory found nothing.",
    )
    assert (held.is_release, held.by, held.reason, held.cause) == (
        False,
        builders.person("bottling").display_name,
        WHY,
        "recall",
    )
    assert state(packed) == (False, "")
    for page in (f"/honey/lots/{packed.code}/", reverse("recall:answer", args=[room.lot.pk])):
        assert "Laboratory found nothing." in client.get(page).text


def test_of_two_holds_a_person_releases_the_one_that_is_chosen(client, room):
    packed = bottling_room.recorded(room).packed_lot
    holds.hold(lots=[packed], reason="Glass.", held_by=builders.person())
    hold(room.lot)
    glass, smell = packed.holds.order_by("pk")
    client.force_login(builders.person("office"))
    address = f"/bottling/lots/{packed.code}/{packed.what}/release/"

    none = client.post(address, {"key": "n", "reason": "No glass was found."})
    client.post(address, {"key": "k", "reason": "No glass was found.", "of_holds": [glass.pk]})

    assert (none.status_code, list(none.context["form"].errors)) == (422, ["of_holds"])
    assert state(packed) == (True, smell.reason)
