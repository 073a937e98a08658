"""Dips: from a depth and a temperature to a weight, beside the book, and into it."""

import math
from datetime import timedelta
from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from inventory.shared.errors import BadValue
from inventory.stock import dip_weights, vessels
from inventory.stock.models import (
    Balance,
    DipReading,
    Item,
    Place,
    Posting,
    ProductionSettings,
    TankShape,
)
from inventory.stock.queries import books
from inventory.stock.services import dips, honey, ledger, places, production
from tests import builders
from tests.inventory.pages import books_unchanged, errors, said, signed_in, text

pytestmark = pytest.mark.django_db


@pytest.fixture
def tank():
    """One metre wide and 1.2 m high: 942.478 L, and 7.854 L a centimetre."""
    return builders.measured_tank("tank-1", diameter_mm=1000, length_mm=1200, name="Tank 1")


@pytest.fixture
def bottler():
    return signed_in("bottling")


def dip(client, tank, **changes):
    form = {
        "key": builders.new_key(),
        "depth": "80",
        "depth_unit": "cm",
        "celsius": "30",
        "celsius_unit": "C",
    }
    return client.post(reverse("inventory:dip", args=[tank.code]), form | changes)


def accept(client, reading, **changes):
    form = {"key": builders.new_key(), "reason": "Foam was skimmed off."}
    return client.post(reverse("inventory:dip_accept", args=[reading.pk]), form | changes)


# ------------------------------------------------------------------ shapes


def shaped(form: str, **measurements) -> Place:
    shape = places.Shape(form=form, **measurements)
    return places.create(kind=Place.Kind.TANK, code="shaped", name="Shaped", shape=shape)


@pytest.mark.parametrize(
    ("form", "measurements", "depth_mm", "litres"),
    [
        # Expected: geometry worked out here, r = 0.5 m, litres = 1000 × m³.
        ("upright", {"end": "flat"}, 600, 1000 * math.pi * 0.25 * 0.6),
        (
            "upright",
            {"end": "cone", "cone_mm": 300},
            900,
            1000 * math.pi * 0.25 * (0.3 / 3 + 0.6),
        ),
        # Half a ball: 2/3 π r³.
        ("upright", {"end": "hemisphere"}, 500, 1000 * 2 / 3 * math.pi * 0.125),
        # Half an ellipsoid a quarter of the diameter deep: 2/3 π r² (r/2).
        ("upright", {"end": "elliptical"}, 250, 1000 * 2 / 3 * math.pi * 0.25 * 0.25),
        # A lying cylinder half full: half a circle times its length.
        ("horizontal", {"end": "flat"}, 500, 1000 * math.pi * 0.25 * 1.2 / 2),
        # The same with both ends half balls, together one ball half full.
        (
            "horizontal",
            {"end": "hemisphere"},
            500,
            1000 * (math.pi * 0.25 * 1.2 + 4 / 3 * math.pi * 0.125) / 2,
        ),
        (
            "horizontal",
            {"end": "elliptical"},
            500,
            1000 * (math.pi * 0.25 * 1.2 + 4 / 3 * math.pi * 0.25 * 0.25) / 2,
        ),
        (
            "horizontal",
            {"end": "cone", "cone_mm": 300},
            500,
            1000 * (math.pi * 0.25 * 1.2 + 2 * math.pi * 0.25 * 0.3 / 3) / 2,
        ),
    ],
)
def test_a_dip_means_the_litres_of_the_vessels_shape(form, measurements, depth_mm, litres):
    place = shaped(form, diameter_mm=1000, length_mm=1200, **measurements)

    assert abs(float(vessels.litres_at(place, depth_mm)) - litres) < 0.01


def test_a_calibration_table_is_joined_by_straight_lines():
    place = shaped("table", points=[(100, Decimal(80)), (300, Decimal(240)), (500, Decimal(500))])

    assert vessels.litres_at(place, 200) == Decimal("160.000")
    assert vessels.litres_at(place, 400) == Decimal("370.000")
    assert place.capacity_litres == Decimal("500.000")


def test_nothing_is_guessed_below_a_calibration_table():
    place = shaped("table", points=[(100, Decimal(80)), (300, Decimal(240))])

    with pytest.raises(BadValue) as refused:
        vessels.litres_at(place, 99)

    assert refused.value.parameter == "depth_mm"
    assert refused.value.message == (
        "The dip of 3.9 in (99 mm) is below the first line of the calibration table of "
        "Shaped. Add a line for a smaller depth, or weigh the honey that is left."
    )


def test_every_form_and_end_a_tank_can_have_is_a_shape():
    for form in TankShape.Form.values:
        for end in TankShape.End.values:
            shape = TankShape(form=form, diameter_mm=1000, length_mm=1000, end=end, cone_mm=100)
            points = [(0, Decimal(0)), (100, Decimal(50))]

            assert vessels.physical(shape, points).capacity_l > 0


def test_the_level_of_a_lying_tank_is_that_of_its_height():
    place = shaped("horizontal", diameter_mm=1000, length_mm=1200)

    # A lying cylinder filled to a quarter of its height holds 19.55 % of its capacity:
    # (acos(1/2) − 1/2 × √3/2) / π, by hand.
    litres = place.capacity_litres * Decimal("0.19550")
    assert abs(vessels.level(place, litres) - Decimal("0.25")) < Decimal("0.0005")


def test_a_vessel_without_shape_or_capacity_has_no_level():
    assert vessels.level(builders.place("bare"), Decimal(10)) is None
    assert vessels.level(
        builders.place("known", capacity_litres=Decimal(40)), Decimal(10)
    ) == Decimal("0.25")


# ------------------------------------------------------------------ read


def test_a_dip_is_kept_beside_the_book_and_changes_nothing_in_it(tank, bottler):
    builders.lot_in(tank, 900_000, moisture_percent="17.0")
    before = Posting.objects.count()

    response = dip(bottler, tank)

    reading = DipReading.objects.get()
    # π × 50² × 80 cm³ = 628.319 L; at 17 % and 30 °C 1.4237 × 0.998207 − 10 × 0.0006 kg/L,
    # with White 1975 (from memory): 889,163 g, by hand.
    assert reading.litres == Decimal("628.319")
    assert abs(reading.grams - 889_163) <= 1
    # The density: 0.18 % and 0.0001 kg/L for each of 10 °C, 1,600 + 628 g. The stick: half of
    # 3.2 mm over π × 50² cm² are 1.257 L, 1,779 g. Bounds are added. By hand.
    assert abs(reading.stick_grams - 1_779) <= 1
    assert abs(reading.uncertainty_grams - 4_008) <= 2
    assert reading.density_grams + reading.stick_grams == reading.uncertainty_grams
    assert (reading.book_grams, reading.depth_mm, reading.celsius) == (900_000, 800, Decimal("30"))
    assert response.url == reverse("inventory:dip_detail", args=[reading.pk])
    assert said(response) == ["Tank 1 dipped at 31.5 in (800 mm): 1,960.3 lb."]
    assert Posting.objects.count() == before


def test_a_depth_in_inches_and_a_temperature_in_fahrenheit_mean_the_same(tank, bottler):
    builders.lot_in(tank, 900_000, moisture_percent="17.0")

    dip(bottler, tank, depth="31.5", depth_unit="in", celsius="86", celsius_unit="F")

    reading = DipReading.objects.get()
    assert (reading.depth_mm, reading.celsius) == (800, Decimal("30.0"))


def test_a_reading_shows_dip_book_difference_and_uncertainty(tank, bottler):
    builders.lot_in(tank, 900_000, moisture_percent="17.0")
    dip(bottler, tank)
    reading = DipReading.objects.get()

    page = text(bottler.get(reverse("inventory:dip_detail", args=[reading.pk])))

    assert "The dip says 1,960.3 lb 889.2 kg give or take 8.8 lb" in page
    assert "The books said 1,984.2 lb" in page
    assert "Difference −23.9 lb" in page
    assert "Tank 1 1,984.2 lb → 1,960.3 lb" in page
    assert "628 L, 166 gal" in page


def test_what_a_dip_means_is_said_while_it_is_typed(tank, bottler):
    builders.lot_in(tank, 900_000, moisture_percent="17.0")
    url = reverse("inventory:convert_dip", args=["tank-1"])
    form = {"depth": "80", "depth_unit": "cm", "celsius": "30", "celsius_unit": "C"}

    assert text(bottler.get(url, form)) == (
        "= 628.3 L, 166 gal; 889 kg, 1,960.3 lb, give or take 8.8 lb, at 17 %, 86 °F (30 "
        "°C). The books say 1,984.2 lb."
    )
    assert text(bottler.get(url, form | {"depth": ""})) == ""
    assert text(bottler.get(url, form | {"depth": "130"})).startswith("The dip is too deep")
    assert "158 °F (70 °C) was entered." in text(bottler.get(url, form | {"celsius": "70"}))


@pytest.mark.parametrize(
    ("wrong", "field", "sentence"),
    [
        (
            {"depth": "120.1"},
            "depth",
            "The dip is too deep: 47.3 in (1,201 mm) was entered, Tank 1 is 47.2 in (1,200 mm) "
            "deep inside. Check the figure and its unit.",
        ),
        ({"depth": "-1"}, "depth", "Enter a figure of 0 or more."),
        ({"depth": ""}, "depth", "Enter a figure."),
        ({"depth_unit": "lb"}, "depth", "lb does not fit here. Choose another unit."),
        (
            {"celsius": "60.1"},
            "celsius",
            "The weight of honey can be worked out only from 32 °F (0 °C) to 140 °F (60 "
            "°C); 140 °F (60.1 °C) was entered. Check the figure and its unit.",
        ),
        ({"celsius": ""}, "celsius", "Enter a figure."),
        ({"celsius": "warm"}, "celsius", "“warm” is not a number. Write it in digits, as in 12.5."),
    ],
)
def test_a_dip_that_cannot_be_is_refused_at_its_field(tank, bottler, wrong, field, sentence):
    builders.lot_in(tank, 900_000)

    with books_unchanged():
        response = dip(bottler, tank, **wrong)

    assert errors(response) == {field: [sentence]}


@pytest.mark.parametrize("depth", ["0", "120"])
def test_a_dip_at_the_ends_of_the_tank_is_taken(tank, bottler, depth):
    builders.lot_in(tank, 900_000)

    dip(bottler, tank, depth=depth)

    assert DipReading.objects.get().depth_mm == int(depth) * 10


def test_a_tank_empty_on_the_books_is_received_before_it_is_dipped(tank, bottler):
    page = text(bottler.get(reverse("inventory:dip", args=["tank-1"])))

    with books_unchanged():
        response = dip(bottler, tank)

    assert "Tank 1 is empty on the books. If there is honey in it, receive that honey first" in page
    assert errors(response) == {
        "__all__": ["Tank 1 is empty on the books. Receive the honey first."]
    }


def test_a_tank_without_a_shape_is_measured_before_it_is_dipped(bottler):
    bare = builders.place("tank-2", name="Tank 2")
    builders.lot_in(bare)
    page = text(bottler.get(reverse("inventory:dip", args=["tank-2"])))

    with books_unchanged():
        response = dip(bottler, bare)

    assert "The shape of Tank 2 is not known, so a dip can't be turned into a weight." in page
    assert errors(response) == {
        "__all__": ["The shape of Tank 2 is not known. Enter its measurements first."]
    }


def test_the_same_dip_sent_twice_is_kept_once(tank, bottler):
    builders.lot_in(tank, 900_000)

    dip(bottler, tank, key="once")
    dip(bottler, tank, key="once")

    assert DipReading.objects.count() == 1


# ------------------------------------------------------------------ accept


def test_accepting_brings_the_book_to_the_dip_with_its_reason(tank, bottler):
    builders.lot_in(tank, 900_000, moisture_percent="17.0")
    dip(bottler, tank)
    reading = DipReading.objects.get()

    response = accept(bottler, reading)

    reading.refresh_from_db()
    assert Balance.objects.in_vessel(tank).quantity == reading.grams
    assert (reading.accepted.kind, reading.accepted.note) == ("count", "Foam was skimmed off.")
    assert said(response)[-1] == "The books of Tank 1 now match the dip: 1,960.3 lb."
    assert list(books.faults()) == []


def test_accepting_without_a_reason_is_refused(tank, bottler):
    builders.lot_in(tank, 900_000)
    dip(bottler, tank)

    with books_unchanged():
        response = accept(bottler, DipReading.objects.get(), reason=" ")

    assert errors(response) == {"reason": ["Say why the books should be changed to match the dip."]}


def test_a_reading_is_accepted_once(tank, bottler):
    builders.lot_in(tank, 900_000)
    dip(bottler, tank)
    reading = DipReading.objects.get()
    accept(bottler, reading)

    with books_unchanged():
        response = accept(bottler, reading)

    assert errors(response) == {"__all__": ["This reading was accepted already."]}


def test_the_same_acceptance_sent_twice_counts_once(tank, bottler):
    builders.lot_in(tank, 900_000)
    dip(bottler, tank)
    reading = DipReading.objects.get()
    first = accept(bottler, reading, key="once")

    with books_unchanged():
        response = accept(bottler, reading, key="once")

    assert response.url == first.url


def test_a_reading_is_accepted_after_honey_moved_and_counts_for_its_own_moment(
    tank, bottler, owner, key
):
    builders.lot_in(tank, 900_000)
    other = builders.place("tank-2", name="Tank 2")
    dip(bottler, tank)
    reading = DipReading.objects.get()
    honey.transfer(source=tank, target=other, grams=5_000, recorded_by=owner, key=key())

    accept(bottler, reading)

    reading.refresh_from_db()
    assert reading.accepted.occurred_at == reading.read_at
    assert Balance.objects.in_vessel(tank).quantity == reading.grams - 5_000
    assert Balance.objects.in_vessel(other).quantity == 5_000


def test_a_reading_is_not_accepted_after_its_books_were_changed(tank, bottler, owner, key):
    builders.lot_in(tank, 900_000)
    other = builders.place("tank-2", name="Tank 2")
    dip(bottler, tank)
    reading = DipReading.objects.get()
    honey.transfer(
        source=tank,
        target=other,
        grams=1,
        recorded_by=owner,
        key=key(),
        poured_on=builders.today() - timedelta(days=1),
    )

    with books_unchanged():
        page = text(bottler.get(reverse("inventory:dip_detail", args=[reading.pk])))
        response = accept(bottler, reading)

    sentence = "The books of that moment were changed after this reading"
    assert sentence in page
    assert errors(response) == {"__all__": [f"{sentence}. Dip again."]}


def test_a_dip_below_what_is_promised_is_not_accepted(tank, bottler):
    lot = builders.lot_in(tank, 900_000, moisture_percent="17.0")
    ledger.reserve([ledger.ReservedStock(Item.objects.honey(), tank, lot, 895_000)])
    dip(bottler, tank)

    with books_unchanged():
        response = accept(bottler, DipReading.objects.get())

    [[sentence]] = errors(response).values()
    assert "Reserved for orders:" in sentence


def test_an_accepted_dip_can_be_undone(tank, bottler):
    builders.lot_in(tank, 900_000)
    dip(bottler, tank)
    reading = DipReading.objects.get()
    accept(bottler, reading)
    reading.refresh_from_db()

    bottler.post(
        reverse("inventory:posting_reverse", args=[reading.accepted_id]),
        {"key": builders.new_key()},
    )

    reading.refresh_from_db()
    assert reading.accepted is None
    assert Balance.objects.in_vessel(tank).quantity == 900_000
    assert list(books.faults()) == []


def test_a_difference_the_tables_cannot_tell_need_not_be_accepted(tank, bottler):
    builders.lot_in(tank, 890_000, moisture_percent="17.0")
    dip(bottler, tank)

    page = text(bottler.get(reverse("inventory:dip_detail", args=[DipReading.objects.get().pk])))

    assert "The difference is less than the dip stick and the density tables can tell." in page


def test_a_reading_that_agrees_has_nothing_to_correct(tank, bottler, owner, key):
    builders.lot_in(tank, 889_163, moisture_percent="17.0")
    reading = dips.record(
        place=tank, depth_mm=800, celsius=Decimal(30), recorded_by=owner, key=key()
    )
    DipReading.objects.filter(pk=reading.pk).update(grams=889_163)

    with books_unchanged():
        page = text(bottler.get(reverse("inventory:dip_detail", args=[reading.pk])))
        response = accept(bottler, reading)

    sentence = "The reading agrees with the books. You don't need to correct anything."
    assert sentence in page
    assert errors(response) == {"__all__": [sentence]}


def test_who_may_not_count_sees_the_reading_without_the_form(tank, bottler):
    builders.lot_in(tank, 900_000)
    dip(bottler, tank)
    reading = DipReading.objects.get()
    stand = signed_in("stand")

    page = text(stand.get(reverse("inventory:dip_detail", args=[reading.pk])))

    assert "Accept the dip and correct the books" not in page
    assert accept(stand, reading).status_code == 403


# ------------------------------------------------------------------ lists


def test_past_dips_are_listed_for_all_and_for_one_vessel(tank, bottler):
    builders.lot_in(tank, 900_000)
    other = builders.measured_tank("tank-2", diameter_mm=900, length_mm=900, name="Tank 2")
    builders.lot_in(other, 100_000)
    dip(bottler, tank)
    dip(bottler, other, depth="10")
    url = reverse("inventory:dip_list")

    everything = bottler.get(url).context["page"].object_list
    of_one = bottler.get(url, {"place": "tank-2"}).context["page"].object_list

    assert [reading.place.code for reading in everything] == ["tank-2", "tank-1"]
    assert [reading.place.code for reading in of_one] == ["tank-2"]
    assert "No dip has been recorded yet." in text(
        signed_in("office").get(url, {"place": builders.place("tank-3").code})
    )


def test_the_list_of_dips_shows_how_far_each_can_be_wrong(tank, bottler):
    builders.lot_in(tank, 900_000)
    dip(bottler, tank)

    page = text(bottler.get(reverse("inventory:dip_list")))

    # 628.32 L of 1.4125 kg/L, which is loose by 0.18 % and by 0.0001 kg/L for each of ten degrees;
    # and 1.257 L, half a mark of the stick.
    assert "1,956.6 lb ± 8.8 lb" in page


# ------------------------------------------------------------------ the stick


def test_an_eighth_of_an_inch_in_a_wide_tank_is_ten_pounds(bottler):
    # A tank 45 in across has π × 22.5² in² × 1/8 in = 198.8 in³ in an eighth of an inch, which are
    # 0.8606 gal of 231 in³, at 11.8 lb a gallon 10.2 lb. The stick is right to half of it.
    wide = builders.measured_tank("wide", diameter_mm=1143, length_mm=1500, name="Wide")
    builders.lot_in(wide, 900_000, moisture_percent="17.4")
    production.change(
        labour_cents_per_hour=0,
        honey_house_celsius=Decimal(32),
        cost_method="fifo",
        stick_mark_mm=Decimal("3.2"),
    )

    dip(bottler, wide, celsius="20")

    assert abs(DipReading.objects.get().stick_grams / 453.59237 - 5.1) < 0.1


@pytest.mark.parametrize(("mark", "stick_grams"), [("1", 556), ("3.2", 1_779), ("25.4", 14_116)])
def test_the_finer_the_stick_the_less_a_dip_can_be_wrong(tank, bottler, mark, stick_grams):
    # π × 50² cm² × half a mark × 1.415147 kg/L.
    ProductionSettings(stick_mark_mm=Decimal(mark)).save()
    builders.lot_in(tank, 900_000, moisture_percent="17.0")

    dip(bottler, tank)

    assert abs(DipReading.objects.get().stick_grams - stick_grams) <= 1


def test_at_the_bottom_and_the_brim_only_one_side_of_the_mark_counts(tank):
    # Half a mark of 3.2 mm above the bottom, and below the brim: 1.257 L each.
    for depth_mm in (0, 1200):
        assert vessels.stick_litres(tank, depth_mm, Decimal("3.2")) == Decimal("1.257")


def test_a_dip_at_the_first_line_of_a_calibration_table_counts_the_side_that_is_known():
    place = shaped("table", points=[(100, Decimal(10)), (200, Decimal(30))])

    # 20 L in 100 mm are 0.2 L a mm: half of 3 mm above the line are 0.3 L.
    assert vessels.stick_litres(place, 100, Decimal(3)) == Decimal("0.300")


def test_between_two_dips_both_readings_count_and_the_density_of_what_is_between(tank):
    weighed = dip_weights.between(
        tank,
        800,
        700,
        moisture_percent=Decimal("17.0"),
        celsius=Decimal(30),
        mark_mm=Decimal("3.2"),
    )

    # 78.540 L × 1.415147 kg/L; twice 1.257 L for the stick; 0.003547 kg/L for the density.
    assert abs(weighed.grams - 111_145) <= 1
    assert abs(weighed.stick_grams - 3_558) <= 1
    assert abs(weighed.uncertainty_grams - weighed.stick_grams - 279) <= 1


@pytest.mark.parametrize("mark", ["0.9", "25.5"])
def test_a_mark_that_no_stick_has_is_refused(mark):
    with pytest.raises(BadValue) as refused:
        production.change(
            labour_cents_per_hour=0,
            honey_house_celsius=Decimal(32),
            cost_method="fifo",
            stick_mark_mm=Decimal(mark),
        )

    assert (refused.value.parameter, str(refused.value)) == (
        "stick_mark_mm",
        "Enter the finest mark of the stick, from 1 mm to 1 in (25.4 mm).",
    )


def test_the_stick_stays_as_it_is_where_nothing_is_said_of_it():
    figures = {
        "labour_cents_per_hour": 0,
        "honey_house_celsius": Decimal(32),
        "cost_method": "fifo",
    }
    production.change(**figures, stick_mark_mm=Decimal("1.6"))
    production.change(**figures)

    assert ProductionSettings.current().stick_mark_mm == Decimal("1.6")


def test_the_page_of_a_reading_says_what_the_stick_and_the_density_can_be_wrong_by(tank, bottler):
    builders.lot_in(tank, 900_000, moisture_percent="17.0")
    dip(bottler, tank)
    reading = DipReading.objects.get()
    address = reverse("inventory:dip_detail", args=[reading.pk])

    page = text(bottler.get(address))

    assert "Possible error of the density 4.9 lb" in page
    assert "Possible error of the dip stick, half a mark 3.9 lb" in page
    assert "Both together 8.8 lb" in page
    # A reading kept before sticks were counted says what was counted then.
    DipReading.objects.update(stick_grams=None, uncertainty_grams=2_229)
    page = text(bottler.get(address))
    assert "Possible error of the density 4.9 lb" in page
    assert "dip stick, half" not in page


def test_the_list_of_dips_asks_as_often_for_many_as_for_one(tank, bottler):
    builders.lot_in(tank, 900_000)
    url = reverse("inventory:dip_list")

    def asked() -> int:
        with CaptureQueriesContext(connection) as queries:
            bottler.get(url)
        return len(queries)

    dip(bottler, tank)
    bottler.get(url)
    for_one = asked()
    for _number in range(9):
        dip(bottler, tank)
    bottler.get(url)

    assert asked() == for_one


def test_who_dips_first_chooses_the_tank(tank, bottler):
    builders.lot_in(tank, 900_000)
    builders.place("d-1", Place.Kind.DRUM, name="Drum D-1")

    page = bottler.get(reverse("inventory:dip"))

    assert [vessel.place.code for vessel in page.context["vessels"]] == ["tank-1"]
