"""Honey measured again: what the lot is from then on, and what was made of it."""

from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.core.management import call_command

from inventory.shared.errors import AlreadyRecorded, BadValue, HouseError, NotAllowedNow
from inventory.shared.services import files
from inventory.stock.models import DipReading, Lot, LotCorrection, Measurement, VesselTemperature
from inventory.stock.queries import honey as queries
from inventory.stock.queries import measurements as figures
from inventory.stock.services import honey, measurements
from tests import builders
from tests.uploads import upload

EXTRACTED = date(2026, 7, 20)
DRIED = date(2026, 8, 10)


@pytest.fixture
def tank(db):
    return builders.place("tank-1", name="Tank 1")


@pytest.fixture
def lot(tank):
    return builders.lot_in(tank, 500_000, moisture_percent="18.8", colour_mm="30")


@pytest.fixture
def again(tank, owner):
    def again(place=tank, **read) -> measurements.MeasuredAgain:
        return measurements.measure_again(
            place=place,
            measured_on=read.pop("measured_on", DRIED),
            recorded_by=owner,
            key=read.pop("key", None) or builders.new_key(),
            **{name: Decimal(value) if name in READ else value for name, value in read.items()},
        )

    return again


READ = {
    *("moisture_percent", "refractive_index", "brix", "refractometer_celsius"),
    *("colour_mm", "celsius"),
}


def problems(error: HouseError) -> list[tuple[str | None, str]]:
    return [(each.parameter, each.message) for each in error.problems]


def test_the_lot_has_the_latest_figures_and_keeps_those_it_came_with(again, lot):
    again(moisture_percent="17.6", colour_mm="38", measured_by="Bram")

    lot.refresh_from_db()
    assert (lot.moisture_percent, lot.colour_mm) == (Decimal("17.6"), Decimal(38))
    assert (lot.moisture_percent_at_first, lot.colour_mm_at_first) == (
        Decimal("18.8"),
        Decimal(30),
    )
    # Up to 18.6 % is U.S. Grade A; above 34 mm is extra light amber (US Standards, 1985).
    assert (lot.moisture_grade, lot.colour_class) == ("U.S. Grade A", "Extra Light Amber")
    assert [(row.what, row.value, row.measured_on) for row in figures.of_lot(lot).house] == [
        ("Moisture", "18.8 %", EXTRACTED),
        ("Moisture", "17.6 %", DRIED),
        ("Colour", "30 mm Pfund", EXTRACTED),
        ("Colour", "38 mm Pfund", DRIED),
    ]
    assert [each.before for each in lot.corrections.all()] == [
        {"moisture_percent": "18.80"},
        {"colour_mm": "30.0"},
    ]


def test_the_gallons_of_a_vessel_follow_the_moisture(again, lot, tank):
    before = queries.vessel(tank).litres

    again(moisture_percent="17.0")

    # Drier honey is denser (White 1967: 1.4129 at 18.6 %, 1.4237 at 17.0 %).
    assert queries.vessel(tank).litres < before


def test_the_latest_day_counts_whenever_it_was_entered(again, lot):
    again(moisture_percent="17.2", measured_on=DRIED)
    again(moisture_percent="18.3", measured_on=DRIED - timedelta(days=5))

    lot.refresh_from_db()
    assert lot.moisture_percent == Decimal("17.2")


def test_a_removed_measurement_gives_the_lot_its_former_figure_back(again, lot, owner):
    first = again(moisture_percent="18.0", colour_mm="33")
    second = again(moisture_percent="17.2", measured_on=DRIED + timedelta(days=1))

    measurements.remove(measurement=second.figures[0], removed_by=owner)
    lot.refresh_from_db()
    assert lot.moisture_percent == Decimal("18.0")
    for made in first.figures:
        measurements.remove(measurement=made, removed_by=owner)
    lot.refresh_from_db()
    assert (lot.moisture_percent, lot.colour_mm) == (Decimal("18.8"), Decimal(30))


def test_a_lot_of_unknown_colour_has_none_again_when_its_only_measurement_is_removed(
    again, tank, owner
):
    lot = builders.lot_in(tank, colour_mm=None)
    made = again(colour_mm="33")
    lot.refresh_from_db()
    assert lot.colour_mm == Decimal(33)

    measurements.remove(measurement=made.figures[0], removed_by=owner)

    lot.refresh_from_db()
    assert lot.colour_mm is None


def test_a_laboratorys_later_figure_counts_too(lot, owner):
    report = files.attach(
        thing=lot, file=upload(), kind="laboratory", added_by=owner, key=builders.new_key()
    )

    measurements.record(
        lot=lot,
        what="moisture",
        value=Decimal("18.1"),
        measured_on=DRIED,
        is_laboratory=True,
        laboratory="Prairie Analytics",
        report=report,
        recorded_by=owner,
        key=builders.new_key(),
    )

    lot.refresh_from_db()
    assert lot.moisture_percent == Decimal("18.1")


def test_a_blend_made_since_has_the_figures_of_its_day_however_late_they_are_entered(
    again, lot, tank, owner
):
    """200 kg of 17.6 % into 300 kg of 17.0 %: (2 × 17.6 + 3 × 17.0) ÷ 5 = 17.24 %."""
    other = builders.place("tank-2")
    builders.lot_in(other, 300_000, moisture_percent="17.0", colour_mm="40")
    honey.transfer(
        source=tank,
        target=other,
        grams=200_000,
        recorded_by=owner,
        key="pour",
        poured_on=DRIED + timedelta(days=2),
    )
    blend = Lot.objects.get(kind=Lot.Kind.BLEND)
    # (2 × 18.8 + 3 × 17.0) ÷ 5
    assert blend.moisture_percent == Decimal("17.72")

    again(moisture_percent="17.6")

    blend.refresh_from_db()
    assert blend.moisture_percent == Decimal("17.24")
    assert LotCorrection.objects.get(lot=blend).before == {"moisture_percent": "17.72"}


def test_a_blend_made_before_keeps_the_figures_of_its_day(again, lot, tank, owner):
    other = builders.place("tank-2")
    builders.lot_in(other, 300_000, moisture_percent="17.0")
    pour = {"source": tank, "target": other, "grams": 200_000, "recorded_by": owner}
    honey.transfer(**pour, key="before", poured_on=DRIED - timedelta(days=2))
    blend = Lot.objects.get(kind=Lot.Kind.BLEND)

    again(moisture_percent="17.6")

    blend.refresh_from_db()
    assert blend.moisture_percent == Decimal("17.72")


def test_a_pour_entered_late_takes_the_moisture_of_its_own_day(again, lot, tank, owner):
    other = builders.place("tank-2")
    builders.lot_in(other, 300_000, moisture_percent="17.0")
    again(moisture_percent="17.6")

    honey.transfer(
        source=tank,
        target=other,
        grams=200_000,
        recorded_by=owner,
        key="late",
        poured_on=DRIED - timedelta(days=2),
    )

    assert Lot.objects.get(kind=Lot.Kind.BLEND).moisture_percent == Decimal("17.72")


def test_the_lot_of_the_day_is_measured_not_the_one_there_now(again, lot, tank, owner):
    elsewhere = builders.place("tote-1", "tote")
    honey.transfer(
        source=tank,
        target=elsewhere,
        grams=None,
        recorded_by=owner,
        key="out",
        poured_on=DRIED + timedelta(days=1),
    )
    newer = honey.receive(
        place=tank,
        grams=1_000,
        season=2026,
        floral_source="Aster",
        extracted_on=DRIED + timedelta(days=2),
        moisture_percent=Decimal("16.5"),
        recorded_by=owner,
        key="in",
    )

    assert again(moisture_percent="17.9").lot == lot
    assert again(moisture_percent="16.9", measured_on=DRIED + timedelta(days=3)).lot == newer
    with pytest.raises(NotAllowedNow, match=r"Tank 1 had no honey on Jul 19, 2026\."):
        again(moisture_percent="17.9", measured_on=EXTRACTED - timedelta(days=1))


@pytest.mark.parametrize(
    ("read", "moisture", "said"),
    [
        # The table of the Book of Honey, chapter 4: 1.4940 is 17.0 %.
        ({"refractive_index": "1.4940"}, "17.0", "Read: index 1.4940."),
        # Ten degrees above, 10 × 0.00023 is added: 1.4963, which is 16.1 %.
        (
            {"refractive_index": "1.4940", "refractometer_celsius": "30"},
            "16.1",
            "Read: index 1.4940 at 86 °F (30 °C).",
        ),
        # 81.3 °Brix is 1.4940 by ICUMSA SPS-3.
        ({"brix": "81.3"}, "17.0", "Read: 81.3 °Brix."),
        (
            {"brix": "81.3", "refractometer_celsius": "30"},
            "16.1",
            "Read: 81.3 °Brix at 86 °F (30 °C).",
        ),
        # A scale of percent that shows 17.0 at 30 °C saw 1.4940 there.
        (
            {"moisture_percent": "17.0", "refractometer_celsius": "30"},
            "16.1",
            "Read: 17 % at 86 °F (30 °C).",
        ),
    ],
)
def test_a_reading_is_brought_to_20_degrees_and_read_from_the_table_of_honey(
    again, lot, read, moisture, said
):
    made = again(**read, note="After drying.")

    assert abs(made.figures[0].value - Decimal(moisture)) <= Decimal("0.06")
    assert made.figures[0].note == f"After drying. {said}"


@pytest.mark.parametrize(
    ("read", "refused"),
    [
        (
            {},
            [
                (
                    "moisture_percent",
                    "Enter the moisture, the colour or the temperature of the honey.",
                )
            ],
        ),
        (
            {"moisture_percent": "17", "brix": "81"},
            [
                (
                    "moisture_percent",
                    "Enter one reading of the moisture: percent of water, the index, or °Brix.",
                )
            ],
        ),
        (
            {"brix": "18.5"},
            [
                (
                    "brix",
                    "Honey shows from 71 to 85 °Brix; you entered 18.5. Take the reading again, "
                    "or enter the moisture in percent.",
                )
            ],
        ),
        (
            {"moisture_percent": "9", "celsius": "200"},
            [
                ("moisture_percent", "Enter a moisture from 10 to 30 percent."),
                ("celsius", "Enter a temperature from -22 °F (-30 °C) to 212 °F (100 °C)."),
            ],
        ),
        (
            {"moisture_percent": "27", "refractometer_celsius": "25"},
            [
                (
                    "moisture_percent",
                    "A reading can be corrected from 13 to 25 percent of water. Take it again at "
                    "68 °F (20 °C), and leave the temperature empty.",
                )
            ],
        ),
    ],
)
def test_a_reading_that_cannot_be_is_refused_and_changes_nothing(again, lot, read, refused):
    with pytest.raises(HouseError) as error:
        again(**read)

    assert problems(error.value) == refused
    lot.refresh_from_db()
    assert lot.moisture_percent == Decimal("18.8")
    assert not VesselTemperature.objects.exists()


def test_the_same_form_twice_measures_once(again, lot):
    again(moisture_percent="17.6", celsius="31", key="once")

    with pytest.raises(AlreadyRecorded):
        again(moisture_percent="17.0", key="once")

    assert Measurement.objects.filter(place__isnull=False).count() == 1


def test_the_temperature_of_a_vessel_is_kept_with_its_day(again, lot, tank, owner):
    assert queries.warmth(tank) is None
    again(celsius="38.5")

    warmth = queries.warmth(tank)

    assert (warmth.celsius, warmth.read_on, warmth.is_dip) == (Decimal("38.5"), DRIED, False)
    lot.refresh_from_db()
    assert lot.moisture_percent == Decimal("18.8")


def test_a_later_dip_says_the_temperature_too(again, owner):
    tank = builders.measured_tank("tank-9", diameter_mm=1_000, length_mm=1_000)
    lot = builders.lot_in(tank)
    again(place=tank, celsius="38.5")
    DipReading.objects.create(
        place=tank,
        lot=lot,
        read_by=owner,
        depth_mm=100,
        celsius=Decimal("33.0"),
        moisture_percent=lot.moisture_percent,
        litres=Decimal(1),
        grams=1,
        uncertainty_grams=1,
        book_grams=1,
        idempotency_key="dip",
    )

    warmth = queries.warmth(tank)

    assert (warmth.celsius, warmth.is_dip) == (Decimal("33.0"), True)


def test_a_packed_lot_is_not_measured_in_a_vessel(again, lot, owner):
    shelf = builders.place("shelf", "shelf")

    with pytest.raises(BadValue, match="is not for bulk honey"):
        again(place=shelf, moisture_percent="17")


def test_the_books_stay_right(again, lot):
    again(moisture_percent="17.6", colour_mm="38", celsius="30")

    call_command("verify_ledger", verbosity=0)
