"""Every act takes the day on which it happened: today, unless another is chosen."""

from datetime import date, timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from inventory.bottling.models import ReturnedJars
from inventory.shared.forms.fields import DayField
from inventory.stock.models import Balance, DipReading, Place, Posting
from inventory.stock.services import drums, others, stores
from tests import builders
from tests.inventory import bottling_room, jar_room, others_room
from tests.inventory.pages import books_unchanged, errors, signed_in, text

pytestmark = pytest.mark.django_db

FUTURE = "This day is in the future. Choose today or an earlier day."


@pytest.fixture
def bottler():
    return signed_in("bottling")


@pytest.fixture
def cellar():
    """Two tanks and a drum on record; 500 kg are in the first tank since July 20."""
    tank = builders.measured_tank("tank-1", diameter_mm=1_000, length_mm=1_500, name="Tank 1")
    builders.place("tank-2", name="Tank 2")
    builders.place("tank-3", name="Tank 3")
    builders.place("d-014", Place.Kind.DRUM, name="Drum D-014", tare_grams=17_600)
    builders.lot_in(tank)
    return tank


@pytest.fixture
def shelf():
    """Two shelves; 24 candles are on the first since three weeks ago."""
    place = builders.place("shelf", Place.Kind.SHELF, name="Shelf")
    builders.place("van", Place.Kind.VAN, name="Van")
    came_on = builders.today() - timedelta(days=21)
    builders.goods_lot(builders.goods(), place, 24, received_on=came_on)
    return place


def days_ago(count: int) -> date:
    return builders.today() - timedelta(days=count)


def send(client, name: str, data: dict, *args):
    address = reverse(f"inventory:{name}", args=args)
    return client.post(address, {"key": builders.new_key()} | data)


# Address, its arguments, the field of the day, and what else is typed.
HONEY_ACTS = {
    "pour": ("transfer", (), "poured_on", {"source": "tank-1", "target": "tank-2"}),
    "drain": ("drain", (), "drained_on", {"source": "tank-1", "target": "tank-2"}),
    "blend": (
        "blend",
        (),
        "poured_on",
        {"source_1": "tank-1", "weight_1": "10", "source_2": "tank-2", "target": "tank-3"},
    ),
    "fill a drum": ("drum_fill", (), "filled_on", {"tank": "tank-1", "drum": "d-014"}),
    "write off": ("write_off", (), "written_off_on", {"place": "tank-1", "reason": "spoilage"}),
}
WEIGHED = {
    "pour": {"weight": "100", "weight_unit": "lb"},
    "drain": {},
    "blend": {"weight_1_unit": "lb", "weight_2": "5", "weight_2_unit": "lb"},
    "fill a drum": {"gross": "600", "gross_unit": "lb"},
    "write off": {"weight": "3", "weight_unit": "lb"},
}


@pytest.mark.parametrize("act", HONEY_ACTS)
def test_an_act_with_honey_is_in_the_books_on_the_day_that_was_chosen(cellar, bottler, act):
    name, args, field, typed = HONEY_ACTS[act]
    if act == "blend":
        builders.lot_in(Place.objects.get(code="tank-2"), 50_000)

    send(bottler, name, typed | WEIGHED[act] | {field: days_ago(6).isoformat()}, *args)

    made = Posting.objects.order_by("-pk")[0]
    assert made.kind != Posting.Kind.EXTRACTION
    assert timezone.localdate(made.occurred_at) == days_ago(6)
    assert timezone.localdate(made.recorded_at) == builders.today()


@pytest.mark.parametrize("act", HONEY_ACTS)
def test_an_act_with_honey_is_of_today_where_no_day_is_chosen(cellar, bottler, act):
    name, args, field, typed = HONEY_ACTS[act]
    if act == "blend":
        builders.lot_in(Place.objects.get(code="tank-2"), 50_000)

    send(bottler, name, typed | WEIGHED[act] | {field: ""}, *args)

    made = Posting.objects.order_by("-pk")[0]
    assert made.kind != Posting.Kind.EXTRACTION
    assert timezone.localdate(made.occurred_at) == builders.today()


@pytest.mark.parametrize("act", HONEY_ACTS)
def test_an_act_with_honey_cannot_be_of_tomorrow(cellar, bottler, act):
    name, args, field, typed = HONEY_ACTS[act]
    if act == "blend":
        builders.lot_in(Place.objects.get(code="tank-2"), 50_000)

    with books_unchanged():
        response = send(
            bottler, name, typed | WEIGHED[act] | {field: days_ago(-1).isoformat()}, *args
        )

    assert errors(response)[field] == [FUTURE]


def test_the_page_of_an_act_has_today_as_its_day(cellar, bottler):
    page = bottler.get(reverse("inventory:transfer")).content.decode()

    assert f'name="poured_on" value="{builders.today().isoformat()}"' in page
    assert '<div class="field field-day" id="field-poured_on">' in page


@pytest.mark.parametrize("act", ["stock_write_off", "write_off", "stock_transfer", "transfer"])
def test_every_day_that_an_act_takes_is_on_its_page(cellar, bottler, act):
    builders.lot_in(Place.objects.get(code="tank-2"), 50_000)
    page = bottler.get(reverse(f"inventory:{act}"))

    days = [
        name for name, field in page.context["form"].fields.items() if isinstance(field, DayField)
    ]

    assert days
    assert [name for name in days if f'name="{name}"' not in page.text] == []


def test_what_an_act_of_an_earlier_day_changes_is_told_of_that_day(cellar, bottler):
    drums.drain(
        drum=cellar,
        target=Place.objects.get(code="tank-2"),
        recorded_by=builders.person(),
        key=builders.new_key(),
    )
    typed = {"key": "k", "source": "tank-1", "target": "tank-3", "weight": "100"}
    typed |= {"weight_unit": "lb", "poured_on": days_ago(6).isoformat()}

    page = bottler.get(reverse("inventory:transfer"), typed, headers={"HX-Request": "true"})

    # 500 kg were in it then, and 100 lb are 45,359 g.
    said = text(page)
    assert "Tank 1 1,102.3 lb → 1,002.3 lb" in said
    assert "Tank 3 0.0 lb → 100.0 lb" in said


def test_the_next_drum_of_an_earlier_day_is_offered_with_that_day(cellar, bottler):
    day = days_ago(6).isoformat()
    typed = {"tank": "tank-1", "drum": "d-014", "gross": "600", "gross_unit": "lb"}

    filled = send(bottler, "drum_fill", typed | {"filled_on": day})

    page = bottler.get(filled["Location"]).content.decode()
    assert f'name="filled_on" value="{day}"' in page


def test_a_dip_is_kept_with_the_day_on_which_it_was_read(cellar, bottler):
    typed = {"depth": "40", "depth_unit": "cm", "celsius": "30", "celsius_unit": "C"}

    send(bottler, "dip", typed | {"read_on": days_ago(4).isoformat()}, "tank-1")

    assert timezone.localdate(DipReading.objects.get().read_at) == days_ago(4)


def test_a_vessel_that_is_empty_by_now_is_offered_last_for_an_act_of_an_earlier_day(
    cellar, bottler
):
    other = Place.objects.get(code="tank-2")
    builders.lot_in(other, 50_000)
    drums.drain(drum=cellar, target=other, recorded_by=builders.person(), key=builders.new_key())

    page = bottler.get(reverse("inventory:write_off"))

    offered = [place.code for place in page.context["form"].fields["place"].queryset]
    assert offered == ["tank-2", "tank-1"]
    assert "Tank 1: empty" in text(page)


def test_honey_of_another_that_is_gone_by_now_can_be_handed_back_on_an_earlier_day(bottler):
    tank = builders.place("tank-9", name="Their tank")
    others_room.bring(others_room.hanna(), tank)
    others_room.act(others.hand_back, place=tank, grams=None)

    page = bottler.get(reverse("inventory:others_hand_back"))

    assert "Their tank: empty" in text(page)


def test_goods_are_carried_on_the_day_that_was_chosen(shelf, bottler):
    candles = Balance.objects.get(place=shelf)
    typed = {"stock": candles.pk, "target": "van", "pieces": "4", "pieces_unit": "pieces"}

    send(bottler, "stock_transfer", typed | {"carried_on": days_ago(3).isoformat()})

    made = Posting.objects.get(kind=Posting.Kind.TRANSFER)
    assert timezone.localdate(made.occurred_at) == days_ago(3)


def test_goods_are_written_off_on_the_day_that_was_chosen(shelf, bottler):
    candles = Balance.objects.get(place=shelf)
    typed = {
        "stock": candles.pk,
        "pieces": "2",
        "pieces_unit": "pieces",
        "reason": "breakage",
        "written_off_on": days_ago(3).isoformat(),
    }

    send(bottler, "stock_write_off", typed)

    made = Posting.objects.get(kind=Posting.Kind.BREAKAGE)
    assert timezone.localdate(made.occurred_at) == days_ago(3)


def test_goods_are_counted_on_the_day_that_was_chosen(shelf):
    lot = Balance.objects.get(place=shelf).honey_lot
    typed = {
        "place": "shelf",
        "thing": f"lot-{lot.pk}",
        "counted": "20",
        "counted_unit": "pieces",
        "reason": "Counted on Sunday",
        "counted_on": days_ago(2).isoformat(),
    }

    send(signed_in("owner"), "stock_count", typed)

    made = Posting.objects.get(kind=Posting.Kind.COUNT)
    assert timezone.localdate(made.occurred_at) == days_ago(2)


def test_what_is_gone_from_a_shelf_by_now_is_offered_last_for_an_act_of_an_earlier_day(
    shelf, bottler
):
    candles = Balance.objects.get(place=shelf)
    builders.goods_lot(builders.goods("Soap"), shelf, 10)
    stores.write_off(
        item=candles.item,
        lot=candles.lot,
        place=shelf,
        pieces=24,
        reason="spoilage",
        recorded_by=builders.person(),
        key=builders.new_key(),
    )

    page = bottler.get(reverse("inventory:stock_transfer"))

    offered = [row.item.name for row in page.context["form"].fields["stock"].queryset]
    assert offered == ["Soap", "Candle"]


@pytest.fixture
def lot():
    """Jars of a run of today."""
    return bottling_room.recorded(jar_room.set_up().room).packed_lot


def test_jars_that_came_back_are_kept_apart_on_the_day_that_was_chosen(lot):
    typed = {"place": "shelf", "pieces": "10", "reason": "In a shop's window"}
    typed |= {"set_aside_on": builders.today().isoformat()}

    send(signed_in("owner"), "jars_set_aside", typed, lot.code, lot.what)

    kept = ReturnedJars.objects.get()
    assert timezone.localdate(kept.set_aside.occurred_at) == builders.today()


def test_a_decision_cannot_be_before_the_day_on_which_the_jars_were_kept_apart(lot):
    client = signed_in("owner")
    typed = {"place": "shelf", "pieces": "10", "reason": "In a shop's window"}
    send(client, "jars_set_aside", typed, lot.code, lot.what)
    kept = ReturnedJars.objects.get()
    decided = {"pieces": "10", "decision": "spoiled", "decided_on": days_ago(1).isoformat()}

    with books_unchanged():
        response = send(client, "jars_returned", decided, kept.pk)

    assert [
        said.startswith("These jars were kept apart on") for said in errors(response)["decided_on"]
    ] == [True]
