"""The pages of the bottling room: what they show, and what they refuse at which field."""

import re
from datetime import timedelta
from decimal import Decimal

import pytest
from django.urls import reverse
from django.utils import timezone

from inventory.bottling.models import (
    BottlingRun,
    FillCheck,
    PackagingPart,
    PartReceipt,
    Size,
)
from inventory.bottling.services import fill_checks, reversals
from inventory.stock.models import (
    Balance,
    Item,
    Lot,
    Place,
    Posting,
    ProductionSettings,
    Shortage,
    TankShape,
)
from inventory.stock.queries import books
from inventory.stock.services import honey, ledger
from tests import builders
from tests.inventory import bottling_room
from tests.inventory.pages import text

pytestmark = pytest.mark.django_db

FULL = "456 457 455.5 456.4 455.9 457.3\n456, 457, 455.5, 456.4, 455.9, 457.3"
SHORT = "448\t449\t447.5\t448.4\t447.9\t449.3\n448;449;447.5;448.4;447.9;449.3"


@pytest.fixture
def room():
    return bottling_room.set_up()


@pytest.fixture
def bottler(client):
    client.force_login(builders.person("bottling"))
    return client


def plan_form(room, **changes) -> dict:
    return {
        "key": builders.new_key(),
        "product": room.product.pk,
        "source": room.tank.code,
        "target": room.shelf.pk,
        "pieces": "96",
        "planned_for": timezone.localdate().isoformat(),
        "celsius": "90",
        "celsius_unit": "F",
    } | changes


def record_form(room, **changes) -> dict:
    return {
        "key": builders.new_key(),
        "pieces_filled": "96",
        "pieces_broken": "2",
        "drawn": "45",
        "drawn_unit": "kg",
        "loss": "500",
        "loss_unit": "g",
        "labour_minutes": "90",
        "celsius": "90",
        "celsius_unit": "F",
        "target": room.shelf.pk,
        "bottled_on": timezone.localdate().isoformat(),
    } | changes


def check_form(**changes) -> dict:
    return {
        "key": builders.new_key(),
        "scheme": "us",
        "unit": "g",
        "weighed": "net",
        "weights": FULL,
        "checked_on": timezone.localdate().isoformat(),
    } | changes


def refused(response) -> dict[str, list[str]]:
    """The sentences of a refused form, by field."""
    assert response.status_code == 422
    return {field: list(said) for field, said in response.context["form"].errors.items()}


def messages_of(response) -> list[str]:
    return [str(message) for message in response.context["messages"]]


def at(name: str, *args) -> str:
    return reverse(f"inventory:{name}", args=args)


# ------------------------------------------------------------------ plan


def test_a_run_is_planned_through_its_page(bottler, room):
    response = bottler.post(at("run_plan"), plan_form(room), follow=True)

    run = BottlingRun.objects.get()
    assert response.redirect_chain == [(at("run_detail", run.number), 302)]
    assert messages_of(response) == [
        f"Planned run {run.number}: 96 pieces of One pound. Stamp {run.lot_code} on them."
    ]
    assert (run.pieces_planned, str(run.celsius)) == (96, "32.2")


def test_the_vessel_is_offered_with_its_lot_and_what_is_in_it(bottler, room):
    page = bottler.get(at("run_plan")).content.decode()

    assert "Tank 1: 441 lb of 26-E01, Clover" in page


def test_the_plan_tells_live_what_it_needs(bottler, room):
    jug = builders.size("Gallon jug", "12", brimful_ml="3785.4")

    page = bottler.get(
        at("run_plan_preview"), plan_form(room, product=jug.standard_product.pk, pieces="4")
    ).content.decode()

    assert (
        "It does not fit: 12 lb of this honey takes up 3.86 L at 90 °F (32.2 °C), and the "
        "capacity of Gallon jug to the brim is 3.79 L."
    ) in page
    assert BottlingRun.objects.count() == 0


def test_the_plan_tells_live_which_parts_are_short(bottler):
    room = bottling_room.set_up(pieces=90)

    page = bottler.get(at("run_plan_preview"), plan_form(room)).content.decode()

    assert "Jar: the run needs 96 pieces. In stock: 90 pieces. Missing: 6 pieces." in page


def test_the_plan_tells_live_that_other_runs_want_the_honey(bottler, room):
    bottling_room.plan(room, 400)

    page = bottler.get(at("run_plan_preview"), plan_form(room)).content.decode()

    assert "There is not enough honey for all of them." in page


@pytest.mark.parametrize("typed", [{}, {"pieces": "x"}, {"pieces": "-4"}, {"product": "999"}])
def test_an_unfinished_plan_is_answered_with_what_to_enter(bottler, room, typed):
    asked = plan_form(room, **typed) if typed else {}

    response = bottler.get(at("run_plan_preview"), asked)

    assert response.status_code == 200
    assert "Enter how many pieces you want." in response.content.decode()


def test_a_plan_can_be_looked_at_without_script(bottler, room):
    response = bottler.post(at("run_plan"), plan_form(room, preview="yes"))

    assert response.status_code == 200
    assert response.context["preview"].needed_grams == 43_545
    assert BottlingRun.objects.count() == 0


@pytest.mark.parametrize(
    ("changes", "expected"),
    [
        (
            {"pieces": "441"},
            {
                "pieces": [
                    (
                        "Not enough honey: the run needs 441.0 lb, but Tank 1 has only 440.9 lb. "
                        "Plan fewer pieces, or choose another vessel."
                    )
                ]
            },
        ),
        ({"pieces": "0"}, {"pieces": ["Enter one piece or more."]}),
        ({"pieces": "-5"}, {"pieces": ["Enter one piece or more."]}),
        ({"pieces": ""}, {"pieces": ["Enter how many."]}),
        ({"pieces": "12.5"}, {"pieces": ["Enter a whole number."]}),
        (
            {"pieces": "1,000,001"},
            {"pieces": ["That is more than a million pieces. Check the figure."]},
        ),
        (
            {"pieces": "99999999999999999999"},
            {"pieces": ["That is far too much. Check the figure."]},
        ),
        (
            {"celsius": "75", "celsius_unit": "C"},
            {
                "celsius": [
                    "The weight of honey can be worked out only from 32 °F (0 °C) to 140 "
                    "°F (60 °C); 167 °F (75 °C) was entered. Check the figure and its unit."
                ]
            },
        ),
        (
            {"planned_for": "2199-01-01"},
            {"planned_for": ["That day is more than a year away. Check the date."]},
        ),
    ],
)
def test_a_plan_that_cannot_be_is_refused_at_its_field(bottler, room, changes, expected):
    response = bottler.post(at("run_plan"), plan_form(room, **changes))

    assert refused(response) == expected
    assert BottlingRun.objects.count() == 0
    assert list(books.faults()) == []


def test_a_weight_that_does_not_fit_is_refused_at_the_size(bottler, room):
    jug = builders.size("Gallon jug", "12", brimful_ml="3785.4")

    response = bottler.post(
        at("run_plan"), plan_form(room, product=jug.standard_product.pk, pieces="4")
    )

    assert refused(response) == {
        "product": [
            "It does not fit: 12 lb of this honey takes up 3.86 L at 90 °F (32.2 °C), and "
            "the capacity of Gallon jug to the brim is 3.79 L."
        ]
    }


def test_honey_promised_to_an_order_is_refused_at_the_pieces(bottler, room):
    ledger.reserve([ledger.ReservedStock(Item.objects.honey(), room.tank, room.lot, 190_000)])

    response = bottler.post(at("run_plan"), plan_form(room))

    assert refused(response) == {
        "pieces": [
            "Tank 1 is reserved for an order: the run needs 96.0 lb, but only 22.0 lb is "
            "free. Choose another vessel, or cancel the order first."
        ]
    }


def test_a_vessel_that_was_emptied_meanwhile_is_refused(bottler, room):
    empty = builders.place("tank-2", name="Tank 2")

    response = bottler.post(at("run_plan"), plan_form(room, source=empty.code))

    assert refused(response) == {"source": ["That vessel is empty now. Choose one from the list."]}


def test_the_same_plan_sent_twice_is_made_once(bottler, room):
    form = plan_form(room)
    bottler.post(at("run_plan"), form)

    response = bottler.post(at("run_plan"), form, follow=True)

    assert messages_of(response)[-1] == "This was recorded already."
    assert BottlingRun.objects.count() == 1


def test_without_sizes_honey_or_shelves_the_page_says_what_to_do_first(bottler):
    assert "There is no size to fill yet." in bottler.get(at("run_plan")).content.decode()

    builders.size("One pound")
    assert "No vessel has honey." in bottler.get(at("run_plan")).content.decode()

    builders.lot_in(builders.place("tank-1"))
    assert "There is no shelf" in bottler.get(at("run_plan")).content.decode()


# ------------------------------------------------------------------ record


def test_a_run_is_recorded_through_its_page(bottler, room):
    run = bottling_room.plan(room)

    response = bottler.post(at("run_record", run.number), record_form(room), follow=True)

    run.refresh_from_db()
    assert run.status == BottlingRun.Status.RECORDED
    assert (run.drawn_grams, run.loss_grams, run.drawn_by) == (45_000, 500, "scale")
    assert messages_of(response) == [
        f"Filled 96 pieces of One pound: lot {run.packed_lot.code}, on Shelf."
    ]
    page = response.content.decode()
    assert reverse("inventory:posting_reverse", args=[run.posting_id]) in page
    assert run.packed_lot.code in page
    assert "96.8" in page
    assert list(books.faults()) == []


def test_recording_tells_live_what_it_would_do(bottler, room):
    run = bottling_room.plan(room)

    page = bottler.get(at("run_record_preview", run.number), record_form(room)).content.decode()

    assert "96.8" in page
    assert "$0.24" in page
    assert "+0.5" in page
    assert Posting.objects.filter(kind=Posting.Kind.BOTTLING).count() == 0


def test_what_was_drawn_is_shown_as_typed_and_its_shares_add_up_to_it(bottler, room):
    run = bottling_room.plan(room)
    typed = {"drawn": "102.5", "drawn_unit": "lb", "loss": "3", "loss_unit": "lb"}
    form = record_form(room, pieces_broken="0", **typed)

    preview = bottler.get(at("run_record_preview", run.number), form).text
    bottler.post(at("run_record", run.number), form)
    page = bottler.get(at("run_detail", run.number)).text

    # 102.5 = 99.5 + 3.0; 102.5 lb are 46.5 kg, 3 lb are 1.4 kg. 200 kg are 440.9 lb.
    assert re.findall(r"<b>([\d.]+)</b> <small>lb", preview) == ["102.5", "338.4", "99.5", "3.0"]
    shares = re.findall(r"<b>([\d.]+)</b> <small>lb</small> <small class=\"also\">([\d.]+)", page)
    assert shares == [("99.5", "45.1"), ("3.0", "1.4"), ("0.0", "0.0"), ("102.5", "46.5")]


def test_a_plan_shows_tenths_that_subtract(bottler, room):
    page = bottler.get(at("run_plan_preview"), plan_form(room, pieces="300")).text

    # 200 kg are 440.92 lb: 440.9 − 300.0 = 140.9.
    assert re.findall(r"<b>([\d.]+)</b> <small>lb", page) == ["440.9", "300.0", "140.9"]


def test_recording_tells_live_that_the_jars_are_short(bottler, room):
    run = bottling_room.plan(room)

    page = bottler.get(
        at("run_record_preview", run.number), record_form(room, drawn="44")
    ).content.decode()

    assert "on average 9.9 g below the label weight of 1 lb" in page


def test_a_tank_refilled_since_the_plan_is_told_before_the_run_is_recorded(bottler, room):
    run = bottling_room.plan(room)
    assert "the run was planned with" not in bottler.get(at("run_detail", run.number)).text

    other = builders.place("tank-2")
    builders.lot_in(other, 10_000)
    honey.transfer(
        source=other,
        target=room.tank,
        grams=None,
        recorded_by=builders.person(),
        key=builders.new_key(),
    )

    told = (
        f"Tank 1 now has lot {Balance.objects.in_vessel(room.tank).lot}, "
        f"but the run was planned with lot {room.lot}. If you filled the jars before "
        "the other honey went in, undo the entry of that honey first."
    )
    assert told in bottler.get(at("run_detail", run.number)).text
    assert told in bottler.get(at("run_record_preview", run.number), record_form(room)).text


def test_what_cannot_be_is_told_before_it_is_recorded_and_not_worked_out(bottler, room):
    run = bottling_room.plan(room)
    preview = at("run_record_preview", run.number)

    # 96 one-pound jars want 96 lb; 100 lb less 100 lb lost leave nothing.
    page = bottler.get(
        preview, record_form(room, drawn="100", drawn_unit="lb", loss="100", loss_unit="lb")
    ).text
    assert (
        "96 pieces of 1 lb need 96.0 lb, but of the 100 lb drawn only 0.0 lb was left for them."
    ) in page
    assert "Yield" not in page

    for wrong in ({"pieces_broken": "-1"}, {"loss": "-1"}, {"labour_minutes": "1.5"}):
        assert "Yield" not in bottler.get(preview, record_form(room, **wrong)).text


def test_minutes_left_empty_are_said_not_taken_for_nothing(bottler, room):
    ProductionSettings(labour_cents_per_hour=1_800).save()
    run = bottling_room.plan(room)

    page = bottler.get(at("run_record_preview", run.number), record_form(room, labour_minutes=""))
    assert "without labour" in page.text
    bottler.post(at("run_record", run.number), record_form(room, labour_minutes=""))

    run.refresh_from_db()
    assert run.labour_minutes is None
    page = bottler.get(at("run_detail", run.number)).text
    assert "minutes not entered" in page
    assert (
        "This cost does not include labour, because the minutes of work were not entered."
    ) in page
    lot = bottler.get(reverse("inventory:lot_detail", args=[run.packed_lot.code])).text
    assert lot.count("without labour") == 1
    assert "The minutes of work were not entered." in lot


def test_a_packed_lot_and_its_posting_lead_to_the_run(bottler, room):
    run = bottling_room.recorded(room)
    address = at("run_detail", run.number)

    lot = bottler.get(reverse("inventory:lot_detail", args=[run.packed_lot.code])).text
    posting = bottler.get(reverse("inventory:posting_detail", args=[run.posting_id])).text

    assert f'<a href="{address}#cost-heading">what it cost</a>' in lot
    assert f'<a href="{address}">{run.number}</a>' in posting
    assert "without labour" not in lot
    assert 'id="cost-heading"' in bottler.get(address).text
    honey = bottler.get(reverse("inventory:lot_detail", args=[room.lot.code])).text
    assert "Bottling run" not in honey


def test_a_record_can_be_looked_at_without_script(bottler, room):
    run = bottling_room.plan(room)

    response = bottler.post(at("run_record", run.number), record_form(room, preview="yes"))

    assert response.status_code == 200
    assert str(response.context["preview"].figures.yield_percent) == "96.8"
    run.refresh_from_db()
    assert run.status == BottlingRun.Status.PLANNED


@pytest.mark.parametrize("changes", [{"pieces_filled": ""}, {"pieces_filled": "0"}, {"drawn": "0"}])
def test_unfinished_figures_are_answered_with_what_to_enter(bottler, room, changes):
    run = bottling_room.plan(room)

    response = bottler.get(at("run_record_preview", run.number), record_form(room, **changes))

    assert "Enter the pieces filled to see the yield" in response.content.decode()


def test_honey_can_be_drawn_by_two_dips(bottler, room):
    # An upright tank 1 m across: 10 cm of it are π × 50² × 10 = 78,539.8 cm³, 78.540 L. At 17.4 %
    # and 32.2 °C (90 °F) honey is 1.4185 - 0.0006 × 12.2 = 1.4112 kg/L: 110.83 kg.
    TankShape.objects.create(place=room.tank, form="upright", diameter_mm=1000, length_mm=1200)
    run = bottling_room.plan(room)
    form = record_form(
        room,
        pieces_filled="240",
        pieces_broken="0",
        drawn="",
        depth_before="30",
        depth_before_unit="cm",
        depth_after="20",
        depth_after_unit="cm",
    )

    response = bottler.post(at("run_record", run.number), form)

    assert response.status_code == 302
    run.refresh_from_db()
    assert run.drawn_by == BottlingRun.DrawnBy.DIP
    assert abs(run.drawn_grams - 110_830) < 40
    assert [(dip.moment, dip.reading.depth_mm) for dip in run.dips.all()] == [
        ("before", 300),
        ("after", 200),
    ]
    page = text(bottler.get(at("run_detail", run.number)))
    # The books had 200 kg, the tank 235.6 L × 1.4112 = 332.5 kg by the dip.
    assert "Dips of the run" in page
    assert "before the run 11.8 in (300 mm) 733.0 lb" in page
    assert "440.9 lb" in page
    reading = bottler.get(reverse("inventory:dip_detail", args=[run.dips.first().reading_id]))
    assert f'href="{at("run_detail", run.number)}"' in reading.text


DIPS = {
    "drawn": "",
    "depth_before": "30",
    "depth_before_unit": "cm",
    "depth_after": "20",
    "depth_after_unit": "cm",
}


@pytest.mark.parametrize(
    ("changes", "expected"),
    [
        (
            {"drawn": "45"},
            {"drawn": ["Enter the weight drawn or the two dips, not both."]},
        ),
        (
            {"depth_after": ""},
            {
                "depth_after": [
                    ("Enter this dip too: the weight is the difference between the two dips.")
                ]
            },
        ),
        (
            {"depth_after": "30"},
            {
                "depth_after": [
                    (
                        "The dip after the run is not lower than the dip before it, so no honey "
                        "was drawn. Check both dips."
                    )
                ]
            },
        ),
        (
            {"celsius": "80", "celsius_unit": "C"},
            {
                "celsius": [
                    "The weight of honey can be worked out only from 32 °F (0 °C) to 140 "
                    "°F (60 °C); 176 °F (80 °C) was entered. Check the figure and its unit."
                ]
            },
        ),
    ],
)
def test_dips_that_cannot_be_are_refused_at_their_field(bottler, room, changes, expected):
    TankShape.objects.create(place=room.tank, form="upright", diameter_mm=1000, length_mm=1200)
    run = bottling_room.plan(room)

    response = bottler.post(at("run_record", run.number), record_form(room, **(DIPS | changes)))

    assert refused(response) == expected
    assert Balance.objects.in_vessel(room.tank).quantity == 200_000


def test_honey_that_the_jars_cannot_hold_is_booked_as_lost_once_confirmed(bottler, room):
    run = bottling_room.plan(room)
    form = record_form(room, drawn="60")

    preview = bottler.get(reverse("inventory:run_record_preview", args=[run.number]), form).text
    asked = bottler.post(at("run_record", run.number), form)

    [sentence] = refused(asked)["figures_are_right"]
    assert sentence in preview.replace("&#x27;", "'")
    assert sentence.startswith(
        "Of the 132 lb drawn, 129.2 lb were left for 96 pieces of 1 lb, but filled to the brim "
        "they hold "
    )
    bottler.post(at("run_record", run.number), form | {"figures_are_right": "on"})
    run.refresh_from_db()
    assert run.status == "recorded"
    assert run.loss_grams > 500


def test_a_run_recorded_with_more_than_its_jars_hold_is_questioned_on_its_page(bottler, room):
    run = bottling_room.recorded(room, drawn_grams=55_000)
    assert "can&#x27;t be overfill" not in bottler.get(at("run_detail", run.number)).text
    # The capacity turns out to be less: 340 ml hold 481 g of this honey at most.
    Size.objects.update(brimful_ml=Decimal(340))

    page = bottler.get(at("run_detail", run.number)).text

    # 96 jars of 481 g are 46,176 g; 55,000 − 500 − 907 = 53,593 g, so 7,417 g are too much.
    assert (
        "By these figures 96 pieces of 1 lb hold 118.2 lb, but filled to the brim they hold "
        "101.8 lb at most: 16.4 lb can&#x27;t be overfill."
    ) in page


def test_a_dip_deeper_than_the_tank_is_refused_at_the_dip(bottler, room):
    TankShape.objects.create(place=room.tank, form="upright", diameter_mm=1000, length_mm=1200)
    run = bottling_room.plan(room)

    response = bottler.post(
        at("run_record", run.number), record_form(room, **(DIPS | {"depth_before": "121"}))
    )

    assert list(refused(response)) == ["depth_before"]
    assert Balance.objects.in_vessel(room.tank).quantity == 200_000


@pytest.mark.parametrize(
    ("changes", "expected"),
    [
        ({"pieces_filled": "0"}, {"pieces_filled": ["Enter one piece or more."]}),
        ({"pieces_filled": ""}, {"pieces_filled": ["Enter how many."]}),
        (
            {"pieces_broken": "-1"},
            {"pieces_broken": ["Enter how many broke, from 0 to a million."]},
        ),
        ({"drawn": "-45"}, {"drawn": ["Enter a figure of 0 or more."]}),
        ({"drawn": "0"}, {"drawn": ["Enter a weight of more than zero."]}),
        (
            {"drawn": "30"},
            {
                "drawn": [
                    "96 pieces of 1 lb need 96.0 lb, but of the 66.1 lb drawn only 63.0 lb "
                    "was left for them. Check the pieces, the honey drawn and the loss."
                ]
            },
        ),
        (
            {"drawn": "55.7"},
            {
                "figures_are_right": [
                    "123 lb were drawn for 96 pieces of 1 lb. That is over a quarter more "
                    "than they need. Check the figures, or tick that they are right."
                ]
            },
        ),
        ({"loss": "-1"}, {"loss": ["Enter a figure of 0 or more."]}),
    ],
)
def test_a_record_that_cannot_be_is_refused_at_its_field(bottler, room, changes, expected):
    run = bottling_room.plan(room)

    response = bottler.post(at("run_record", run.number), record_form(room, **changes))

    assert refused(response) == expected
    run.refresh_from_db()
    assert run.status == BottlingRun.Status.PLANNED
    assert Balance.objects.in_vessel(room.tank).quantity == 200_000
    assert Lot.objects.filter(kind=Lot.Kind.PACKED).count() == 0
    assert list(books.faults()) == []


def test_odd_figures_are_taken_when_they_are_ticked(bottler, room):
    run = bottling_room.plan(room)
    first = bottler.post(at("run_record", run.number), record_form(room, drawn="60"))
    assert 'name="figures_are_right"' in first.content.decode()

    form = record_form(room, drawn="60", figures_are_right="on")
    assert bottler.post(at("run_record", run.number), form).status_code == 302


def test_what_the_books_lack_is_said_before_and_booked_to_be_settled(bottler):
    # The jars are filled: a record is never refused because the books have too little.
    room = bottling_room.set_up(44_000, pieces=97)
    run = bottling_room.plan(room)
    form = record_form(room)

    preview = bottler.get(at("run_record_preview", run.number), form).content.decode()
    page = bottler.post(at("run_record", run.number), form, follow=True)

    for sentence in (
        "The run used 99.2 lb, but the books have only 97.0 lb in Tank 1. The rest will be to be "
        "settled.",
        "The run used 98 pieces of Jar, but the books have only 97 pieces. The rest will be to be "
        "settled.",
        "The run used 98 pieces of Lid, but the books have only 97 pieces. The rest will be to be "
        "settled.",
    ):
        assert sentence in " ".join(preview.split())
    assert messages_of(page)[-1].endswith(
        "The books had too little for it: see what is to be settled."
    )
    assert f'href="{reverse("inventory:shortage_list")}"' in page.content.decode()
    run.refresh_from_db()
    assert run.status == BottlingRun.Status.RECORDED
    assert Shortage.objects.open().count() == 3
    assert list(books.faults()) == []


def test_a_run_of_an_earlier_day_is_planned_and_recorded_for_that_day(bottler, room):
    # The tank is empty by now; on the day of the run it was full.
    day = timezone.localdate() - timedelta(days=5)
    honey.write_off(
        place=room.tank,
        grams=None,
        reason="spoilage",
        written_off_on=day + timedelta(days=3),
        recorded_by=builders.person(),
        key=builders.new_key(),
    )
    typed = plan_form(room, planned_for=day.isoformat())

    preview = bottler.get(at("run_plan_preview"), typed).content.decode()
    page = bottler.post(at("run_plan"), typed, follow=True)
    run = BottlingRun.objects.get()
    bottler.post(at("run_record", run.number), record_form(room, bottled_on=day.isoformat()))

    assert "Not enough honey" not in preview
    assert f"lot {room.lot.code}" in preview
    assert page.redirect_chain[-1][0] == f"{at('run_record', run.number)}?day={day:%Y-%m-%d}"
    assert f'value="{day:%Y-%m-%d}"' in page.content.decode()
    run.refresh_from_db()
    assert (run.lot, run.packed_lot.made_on) == (room.lot, day)
    # 45 kg less were there to spoil.
    assert Balance.objects.in_vessel(room.tank) is None
    assert not Shortage.objects.open().filter(item=Item.objects.honey()).exists()
    assert list(books.faults()) == []


def test_a_record_of_an_earlier_day_is_weighed_against_that_day(bottler):
    room = bottling_room.set_up(44_000)
    yesterday = timezone.localdate() - timedelta(days=1)
    run = bottling_room.plan(room)
    builders.lot_in(room.tank, 50_000)
    form = record_form(room, bottled_on=yesterday.isoformat())

    preview = bottler.get(at("run_record_preview", run.number), form).content.decode()

    assert "the books have only 97.0 lb in Tank 1" in " ".join(preview.split())


def test_the_same_record_sent_twice_is_made_once(bottler, room):
    run = bottling_room.plan(room)
    form = record_form(room)
    bottler.post(at("run_record", run.number), form)

    response = bottler.post(at("run_record", run.number), form, follow=True)

    assert messages_of(response)[-1] == "This was recorded already."
    assert Posting.objects.filter(kind=Posting.Kind.BOTTLING).count() == 1


def test_a_run_recorded_meanwhile_is_refused_in_words(bottler, room):
    run = bottling_room.recorded(room)

    response = bottler.post(at("run_record", run.number), record_form(room))

    assert refused(response) == {
        "__all__": [f"Run {run.number} is recorded, no longer planned. Plan another run."]
    }


def test_an_undone_run_is_recorded_again_with_its_code_and_lot(bottler, room):
    run = bottling_room.recorded(room)
    reversals.reverse(posting=run.posting, recorded_by=builders.person(), key=builders.new_key())

    form = bottler.get(at("run_record", run.number)).content.decode()
    bottler.post(
        at("run_record", run.number), record_form(room, pieces_filled="94", lot_code="OTHER")
    )

    assert f"its jars keep lot code {run.lot_code}" in form
    assert 'value="99.208"' in form
    code, packed = run.lot_code, run.packed_lot
    run.refresh_from_db()
    assert (run.status, run.pieces_filled) == (BottlingRun.Status.RECORDED, 94)
    assert (run.lot_code, run.packed_lot, run.packed_lot.code) == (code, packed, code)
    assert Lot.objects.filter(kind=Lot.Kind.PACKED).count() == 1


def test_an_estimate_does_not_come_back_as_a_weight_by_the_scale(bottler, room):
    run = bottling_room.recorded(room, drawn_grams=None)
    reversals.reverse(posting=run.posting, recorded_by=builders.person(), key=builders.new_key())

    form = bottler.get(at("run_record", run.number)).context["form"]

    assert form["drawn"].value() is None
    assert form["pieces_filled"].value() == 96


def test_a_run_is_undone_from_its_page(bottler, room):
    run = bottling_room.recorded(room)

    bottler.post(
        reverse("inventory:posting_reverse", args=[run.posting_id]),
        {"key": builders.new_key(), "note": "Wrong size", "reason": "Wrong size"},
    )

    run.refresh_from_db()
    assert run.status == BottlingRun.Status.REVERSED
    page = bottler.get(at("run_detail", run.number)).content.decode()
    assert "Plan it again" in page
    assert "Record again" in page
    assert list(books.faults()) == []


def test_a_run_is_cancelled_through_its_page(bottler, room):
    run = bottling_room.plan(room)

    bottler.post(at("run_cancel", run.number), {"key": "k", "reason": "No lids"})

    run.refresh_from_db()
    assert (run.status, run.note) == (BottlingRun.Status.CANCELLED, "No lids")


def test_the_bottling_room_shows_plans_orders_runs_and_held_lots(bottler, room):
    run = bottling_room.recorded(room)
    planned = bottling_room.plan(room, 200)
    fill_checks.record(
        run=run,
        scheme="us",
        weights_milligrams=[448_000, 449_000] * 6,
        checked_by=builders.person(),
        key="c",
    )
    builders.part("Ribbon", reorder_point=5)

    page = bottler.get(at("bottling")).content.decode()

    assert at("run_record", planned.number) in page
    assert run.packed_lot.code in page
    assert "Ribbon: 0 pieces in stock. Order more: the limit you set is 5 pieces." in page
    assert "is on hold and can't be sold" in page


def test_the_bottling_room_reads_a_constant_number_of_queries(
    bottler, room, django_assert_max_num_queries
):
    for _number in range(3):
        bottling_room.recorded(room, drawn_grams=45_000)
    for _number in range(3):
        bottling_room.plan(room, 10)

    with django_assert_max_num_queries(20):
        bottler.get(at("bottling"))


def test_label_lines_carry_what_the_law_and_the_trace_want(bottler, room):
    run = bottling_room.recorded(room)

    page = bottler.get(at("run_labels", run.number)).content.decode()

    assert "NET WT 16 OZ (1 LB)" in page
    assert f"Lot {run.packed_lot.code}" in page
    assert "Do not feed honey to infants under one year of age." in page


# ------------------------------------------------------------------ fill check


def test_pasted_weights_are_checked_and_kept(bottler, room):
    run = bottling_room.recorded(room)

    response = bottler.post(at("fill_check", run.number), check_form(), follow=True)

    kept = FillCheck.objects.get()
    assert kept.has_passed
    assert [weight.net_milligrams for weight in kept.weights.all()] == [
        456_000, 457_000, 455_500, 456_400, 455_900, 457_300,
    ] * 2  # fmt: skip
    page = response.content.decode()
    assert messages_of(response) == ["The fill check passed and is kept with the run."]
    assert "<svg" in page
    assert "456.0 · 457.0 · 455.5" in page
    assert "This is your own check, not an official inspection." in page
    assert "legal for trade" in page


def test_the_verdict_is_told_in_the_colour_of_its_news(bottler, room):
    run = bottling_room.recorded(room)

    passed = bottler.post(at("fill_check", run.number), check_form(), follow=True)
    failed = bottler.post(at("fill_check", run.number), check_form(weights=SHORT), follow=True)

    assert [message.level_tag for message in passed.context["messages"]] == ["success"]
    assert [message.level_tag for message in failed.context["messages"]] == ["warning"]
    assert "Failed. The average of 12 pieces" in failed.content.decode()


def test_the_rule_last_used_for_a_size_is_offered_again_for_that_size_alone(bottler, room):
    run = bottling_room.recorded(room)
    before = bottler.get(at("fill_check", run.number)).context["form"].initial["scheme"]

    weights = " ".join(["456"] * 20)
    bottler.post(at("fill_check", run.number), check_form(scheme="eu", weights=weights))

    other = bottling_room.plan(room, product=builders.product("Half pound"), pieces=12)
    assert before == "us"
    assert bottler.get(at("fill_check", run.number)).context["form"].initial["scheme"] == "eu"
    assert bottler.get(at("fill_check", other.number)).context["form"].initial["scheme"] == "us"


def test_gross_weights_have_the_tare_taken_off(bottler, room):
    run = bottling_room.recorded(room)
    weights = "\n".join(["1.4"] * 12)

    bottler.post(
        at("fill_check", run.number),
        check_form(weighed="gross", unit="lb", weights=weights, tare="180", tare_unit="g"),
    )

    # 1.4 lb are 635.029 g, less 180 g.
    kept = FillCheck.objects.get()
    assert kept.tare_milligrams == 180_000
    assert {weight.net_milligrams for weight in kept.weights.all()} == {455_029}


def test_a_tare_is_not_taken_off_net_weights(bottler, room):
    run = bottling_room.recorded(room)

    bottler.post(at("fill_check", run.number), check_form(tare="180", tare_unit="g"))

    assert FillCheck.objects.get().has_passed


@pytest.mark.parametrize(
    ("changes", "expected"),
    [
        (
            {"weights": "456\n45a\n457, -3"},
            {
                "weights": [
                    "Weight 2: “a” is not a unit that fits here. Use lb, oz, kg, g.",
                    "Weight 4: Enter a figure of 0 or more.",
                ]
            },
        ),
        ({"weights": "456 nan 1/3"}, {"weights": [
            "Weight 1: “nan” is not a unit that fits here. Use lb, oz, kg, g.",
            "Weight 2: Write fractions in halves, quarters, eighths or sixteenths, as in 12 1/2, "
            "or with decimals, as in 12.5."]}),
        ({"weights": " "}, {"weights": ["Type or paste the weights."]}),
        (
            {"checked_on": "2001-01-01"},
            {"checked_on": ["The day is more than five years ago. Check the year."]},
        ),
        (
            {"weights": "456 45.6" + " 456" * 10},
            {
                "weights": [
                    "Weight 2 is 45.6 g net, far from the 1 lb on the label. Check the "
                    "figure, its unit and the tare."
                ]
            },
        ),
        (
            {"weighed": "gross", "tare": "500", "tare_unit": "g", "weights": "456 690"},
            {"weights": [(
                "Weight 1, 456 g, is not more than the weight of an empty piece. Check it.")]},
        ),
        (
            {"weighed": "gross"},
            {"tare": ["Enter the empty weight: it is subtracted from the gross weights."]},
        ),
        (
            {"weights": " ".join(["456"] * 97)},
            {"weights": ["97 pieces were weighed, but the lot has only 96."]},
        ),
    ],
)  # fmt: skip
def test_weights_that_cannot_be_are_named(bottler, room, changes, expected):
    run = bottling_room.recorded(room)

    response = bottler.post(at("fill_check", run.number), check_form(**changes))

    assert refused(response) == expected
    assert FillCheck.objects.count() == 0


def test_gross_weights_taken_for_net_are_asked_about_and_kept_once_confirmed(bottler, room):
    run = bottling_room.recorded(room)
    gross = check_form(weights=" ".join(["534"] * 12))

    asked = bottler.post(at("fill_check", run.number), gross)

    assert list(refused(asked)) == ["weights_are_right"]
    assert 'name="weights_are_right"' in asked.text
    bottler.post(at("fill_check", run.number), gross | {"weights_are_right": "on"})
    assert FillCheck.objects.get().has_passed


def test_weights_are_read_as_postal_scales_write_them(bottler, room):
    run = bottling_room.recorded(room)
    weights = "1 lb 0 1/4 oz, 1 lb 0.25 oz; 16 1/4 oz 16¼ 1 lb 0.25\n0.4607 kg 460.7 g"

    response = bottler.post(
        at("fill_check", run.number), check_form(weights=weights, unit="oz"), follow=True
    )

    # 16.25 oz of 28.349523125 g each are 460.679750781 g.
    assert [weight.net_milligrams for weight in FillCheck.objects.get().weights.all()] == [
        *[460_680] * 5,
        *[460_700] * 2,
    ]
    assert messages_of(response) == ["The weights are kept with the run."]
    assert "There is no verdict yet: weigh 5 pieces more." in response.text


def test_a_house_with_a_decimal_comma_types_its_weights_so(bottler, room, comma_house):
    run = bottling_room.recorded(room)

    bottler.post(at("fill_check", run.number), check_form(weights="456,5, 457,5\n1 lb 0,25 oz 455"))

    assert [weight.net_milligrams for weight in FillCheck.objects.get().weights.all()] == [
        *(456_500, 457_500, 460_680, 455_000)
    ]


def test_a_small_sample_is_weighed_on_from_the_page(bottler, room):
    run = bottling_room.recorded(room)
    first = check_form(weights="456 457 455.5 456.4 455.9")
    page = bottler.post(at("fill_check", run.number), first, follow=True).text
    assert "Add these to the 5 pieces weighed before" in page

    rest = check_form(weights="456 457 455.5 456.4 455.9 457.3 456", continues="on")
    done = bottler.post(at("fill_check", run.number), rest, follow=True)

    assert messages_of(done) == ["The fill check passed and is kept with the run."]
    assert FillCheck.objects.whole().get().weights.count() == 12
    assert "Add these to the" not in done.text


def test_pieces_weighed_apart_from_an_earlier_sample_are_a_check_of_their_own(bottler, room):
    run = bottling_room.recorded(room)
    for _time in range(2):
        bottler.post(at("fill_check", run.number), check_form(weights="456 457"))

    assert [check.weights.count() for check in FillCheck.objects.whole()] == [2, 2]


def test_the_nozzle_is_set_on_the_page_of_a_planned_run(bottler, room):
    run = bottling_room.plan(room)
    assert "Check the fill" in bottler.get(at("run_detail", run.number)).text
    page = bottler.get(at("fill_check", run.number)).text
    assert "before the run: weigh two or three pieces to set the nozzle" in page
    assert 'name="scheme"' not in page

    weights = check_form(weights="455 456.5")
    del weights["scheme"]
    response = bottler.post(at("fill_check", run.number), weights, follow=True)

    assert messages_of(response) == ["The weights are kept with the run."]
    assert "The average of 2 pieces is 455.75 g; the label says 453.59 g." in response.text
    bottling_room.record(run)
    kept = bottler.get(at("run_detail", run.number)).text
    assert "This was weighed before the run, so it has no verdict." in kept


def test_a_dropped_run_has_no_jars_to_check(bottler, room):
    run = bottling_room.plan(room)
    bottler.post(at("run_cancel", run.number), {"key": builders.new_key(), "reason": ""})

    page = bottler.get(at("fill_check", run.number)).text

    assert f"Run {run.number} is cancelled, so its jars can't be checked." in page
    assert "<textarea" not in page


def test_weights_that_a_jar_cannot_hold_are_named(bottler, room):
    run = bottling_room.recorded(room)

    response = bottler.post(at("fill_check", run.number), check_form(weights="456 634"))

    # 400 ml at 20 °C and 17.4 % (White, from memory) are 567 g, and 0.18 % more: 567 + 1 g.
    assert refused(response) == {
        "weights": [
            "Weight 2 is 634.0 g net, but a piece of One pound holds 568.0 g at most, to the "
            "brim. Check the figure, its unit, the tare and the capacity of the size."
        ]
    }


def test_a_failed_check_holds_the_lot_until_somebody_with_the_right_releases_it(client, room):
    run = bottling_room.recorded(room)
    client.force_login(builders.person("bottling"))
    response = client.post(at("fill_check", run.number), check_form(weights=SHORT), follow=True)
    code = run.packed_lot.code
    assert messages_of(response) == [
        f"The fill check failed: lot {code} is on hold and can't be sold."
    ]
    assert Lot.objects.get(code=code).is_on_hold

    release = {"key": builders.new_key(), "reason": "Topped up by hand"}
    assert client.post(at("lot_release", code, room.product.code), release).status_code == 403
    assert Lot.objects.get(code=code).is_on_hold

    client.force_login(builders.person("office"))
    assert refused(
        client.post(at("lot_release", code, room.product.code), {"key": "k", "reason": "  "})
    ) == {"reason": ["Say why the lot may be sold."]}
    response = client.post(at("lot_release", code, room.product.code), release, follow=True)
    assert not Lot.objects.get(code=code).is_on_hold
    assert "Topped up by hand" in response.content.decode()


# ------------------------------------------------------------------ sizes, parts, house


def size_form(**changes) -> dict:
    return {
        "key": builders.new_key(),
        "name": "Half pint",
        "declared": "12",
        "declared_unit": "oz",
        "brimful": "8.8",
        "brimful_unit": "fl_oz",
        "tare": "25",
        "tare_unit": "g",
        "pieces_per_case": "24",
        "gtin": "036000291452",
        "best_by_months": "18",
        "low_stock_pieces": "48",
        "parts-TOTAL_FORMS": "3",
        "parts-INITIAL_FORMS": "0",
    } | changes


def test_a_size_is_added_through_its_page(bottler):
    jar, case = builders.part("Jar"), builders.part("Case", "case")

    bottler.post(
        at("size_create"),
        size_form(
            **{
                "parts-0-part": jar.pk,
                "parts-0-quantity": "1",
                "parts-0-per_pieces": "1",
                "parts-1-part": case.pk,
                "parts-1-quantity": "1",
                "parts-1-per_pieces": "24",
            }
        ),
    )

    size = Size.objects.get()
    # 8.8 fl oz × 29.5735 ml are 260.2 ml.
    assert (str(size.declared_amount), size.declared_unit, str(size.brimful_ml)) == (
        "12.000",
        "oz",
        "260.2",
    )
    assert [(use.part, use.per_pieces) for use in size.size_parts.order_by("id")] == [
        (jar, 1),
        (case, 24),
    ]


@pytest.mark.parametrize(
    ("changes", "expected"),
    [
        (
            {"gtin": "036000291453"},
            {
                "gtin": [
                    "Check the number 036000291453 again. Its last digit is 3, but with "
                    "these numbers it should be 2."
                ]
            },
        ),
        (
            {"declared": "0"},
            {"declared": ["Enter a net weight between 5 g (0.18 oz) and 50 kg (110 lb)."]},
        ),
        ({"brimful": "-1"}, {"brimful": ["Enter a figure of 0 or more."]}),
        (
            {"declared": "1", "declared_unit": "lb", "brimful": "10", "brimful_unit": "mL"},
            {
                "brimful": [
                    "1 lb of honey does not fit: even the driest honey takes up 310 ml, "
                    "and this size has room for only 10 ml to the brim. Check both figures "
                    "and their units."
                ]
            },
        ),
        ({"declared": "1.23456"}, {"declared": ["Enter at most three decimals."]}),
        ({"pieces_per_case": "0"}, {"pieces_per_case": ["Enter a figure from 1 to 1,000."]}),
    ],
)
def test_a_size_that_cannot_be_is_refused_at_its_field(bottler, changes, expected):
    response = bottler.post(at("size_create"), size_form(**changes))

    assert refused(response) == expected
    assert Size.objects.count() == 0


def test_a_size_is_changed_and_shows_its_label_and_its_fit(bottler, room):
    page = bottler.get(at("size_edit", room.size.code)).content.decode()
    assert "NET WT 16 OZ (1 LB)" in page
    assert "1/16 in" in page
    assert "It fits: 1 lb of this honey takes up" in page
    assert "the capacity of One pound to the brim is 400 ml." in page
    assert 'value="1"' in page

    bottler.post(
        at("size_edit", room.size.code),
        size_form(name="Pound jar", declared="1", declared_unit="lb", brimful="345",
                  brimful_unit="mL"),
    )  # fmt: skip

    room.size.refresh_from_db()
    assert (room.size.name, str(room.size.brimful_ml)) == ("Pound jar", "345.0")
    assert room.size.size_parts.count() == 0


def test_a_listed_part_stays_when_the_page_is_saved_as_it_is(bottler, room):
    form = bottler.get(at("size_edit", room.size.code)).context["form"]
    typed = {"key": "k", "parts-INITIAL_FORMS": "3", "parts-TOTAL_FORMS": "6"}
    for name in form.fields:
        value = form[name].value()
        if isinstance(value, list):
            typed |= {name: value[0], f"{name}_unit": value[1]}
        else:
            typed[name] = value
    for line in form.part_lines.initial_forms:
        for name in line.fields:
            typed[f"{line.prefix}-{name}"] = line[name].value()

    response = bottler.post(at("size_edit", room.size.code), typed)

    assert response.status_code == 302
    assert [(use.part, use.per_pieces) for use in room.size.size_parts.order_by("id")] == [
        (room.jar, 1),
        (room.lid, 1),
        (room.case, 12),
    ]


def test_the_usual_sizes_come_at_one_press(bottler):
    response = bottler.post(at("size_add_usual"), follow=True)

    assert Size.objects.count() == 17
    assert "Added 17 usual sizes." in response.content.decode()
    assert "Five-gallon pail (60 lb)" in response.content.decode()


def test_a_size_is_switched_off_and_on(bottler, room):
    bottler.post(at("size_switch", room.size.code))
    room.size.refresh_from_db()
    assert not room.size.is_active

    bottler.post(at("size_switch", room.size.code))
    room.size.refresh_from_db()
    assert room.size.is_active


def test_parts_are_received_through_their_page(bottler, room):
    response = bottler.post(
        at("part_receive"),
        {
            "key": builders.new_key(),
            "part": room.jar.pk,
            "pieces": "144",
            "cost": "86.40",
            "supplier": "Valley Glass",
            "place": room.shelf.pk,
            "received_on": timezone.localdate().isoformat(),
        },
        follow=True,
    )

    receipt = PartReceipt.objects.get(pieces=144)
    assert (receipt.cost_cents, receipt.supplier.name) == (8_640, "Valley Glass")
    assert messages_of(response) == ["Received 144 pieces of Jar for $86.40."]
    assert "Valley Glass" in response.content.decode()


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"pieces": "0"}, "pieces"),
        ({"pieces": "many"}, "pieces"),
        ({"cost": "-1"}, "cost"),
        ({"cost": "1.234"}, "cost"),
        ({"received_on": "2199-01-01"}, "received_on"),
    ],
)
def test_a_receipt_that_cannot_be_is_refused_at_its_field(bottler, room, changes, field):
    before = PartReceipt.objects.count()
    form = {
        "key": builders.new_key(),
        "part": room.jar.pk,
        "pieces": "144",
        "cost": "86.40",
        "place": room.shelf.pk,
        "received_on": timezone.localdate().isoformat(),
    }

    response = bottler.post(at("part_receive"), form | changes)

    assert list(refused(response)) == [field]
    assert PartReceipt.objects.count() == before


def test_a_part_is_added_and_changed_through_its_pages(bottler):
    typed = {"key": "k", "name": "Lid", "kind": "lid", "reorder_point": "100", "is_active": "on"}
    bottler.post(at("part_create"), typed)
    part = PackagingPart.objects.get()
    assert (part.name, part.reorder_point, part.is_active) == ("Lid", 100, True)

    bottler.post(
        at("part_edit", part.code),
        {"key": "k", "name": "Lid, 70 mm", "kind": "lid", "reorder_point": "50"},
    )
    part.refresh_from_db()
    assert (part.name, part.reorder_point, part.is_active) == ("Lid, 70 mm", 50, False)


def test_the_house_sets_its_figures_through_its_page(bottler):
    bottler.post(
        at("production_settings"),
        {
            "key": "k",
            "labour": "19.50",
            "celsius": "95",
            "celsius_unit": "F",
            "cost_method": "average",
            "setting_days": "12",
            "warming_limit": "104",
            "warming_limit_unit": "F",
            "stick_mark": "1/16",
            "stick_mark_unit": "in",
            "lot_code_pattern": "L{yy}{ddd}-{n}",
        },
    )

    settings = ProductionSettings.current()
    assert (settings.labour_cents_per_hour, str(settings.honey_house_celsius)) == (1_950, "35.0")
    # A sixteenth of an inch is 1.5875 mm.
    assert settings.stick_mark_mm == Decimal("1.6")
    assert settings.setting_days == 12
    assert settings.warming_limit_celsius == 40


# ------------------------------------------------------------------ who may


@pytest.mark.parametrize(
    ("name", "role"),
    [
        ("run_plan", "stand"),
        ("run_plan_preview", "stand"),
        ("part_create", "stand"),
        ("part_receive", "office"),
        ("size_create", "office"),
        ("size_add_usual", "stand"),
        ("production_settings", "stand"),
    ],
)
def test_who_has_no_right_is_told_so(client, name, role):
    client.force_login(builders.person(role))

    assert client.post(at(name)).status_code == 403


@pytest.mark.parametrize("name", ["run_record", "run_record_preview", "run_cancel", "fill_check"])
def test_who_minds_the_stand_records_no_run(client, room, name):
    run = bottling_room.plan(room)
    client.force_login(builders.person("stand"))

    assert client.get(at(name, run.number)).status_code == 403


@pytest.mark.parametrize(
    "name",
    ["bottling", "run_plan", "part_list", "part_create", "part_receive", "size_list",
     "size_create", "production_settings"],
)  # fmt: skip
def test_every_page_opens_in_an_empty_house(bottler, name):
    assert bottler.get(at(name)).status_code == 200


def test_every_page_of_a_run_opens_in_each_state(bottler, room):
    planned = bottling_room.plan(room)
    recorded = bottling_room.recorded(room)

    for run in (planned, recorded):
        for name in ("run_detail", "run_record", "run_cancel", "fill_check", "run_labels"):
            assert bottler.get(at(name, run.number)).status_code == 200
    assert bottler.get(at("part_detail", room.jar.code)).status_code == 200
    assert bottler.get(at("part_edit", room.jar.code)).status_code == 200
    assert bottler.get(at("run_detail", "R99-999")).status_code == 404


@pytest.mark.parametrize(
    ("role", "is_open"), [("owner", True), ("bottling", True), ("office", False), ("stand", False)]
)
def test_a_part_leads_to_its_sizes_only_those_who_may_change_them(client, room, role, is_open):
    client.force_login(builders.person(role))

    page = client.get(at("part_detail", room.jar.code)).content.decode()

    assert "One pound" in page
    assert (at("size_edit", room.size.code) in page) is is_open
    assert client.get(at("size_edit", room.size.code)).status_code == (200 if is_open else 403)


def test_an_empty_shelf_is_a_place_for_parts(bottler):
    builders.part("Jar")
    assert "There is no shelf" in bottler.get(at("part_receive")).content.decode()

    builders.place("shelf", Place.Kind.SHELF)
    assert "Receive these parts" in bottler.get(at("part_receive")).content.decode()
