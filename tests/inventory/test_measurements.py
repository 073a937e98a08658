"""Measurements of a lot: what may be, what a laboratory's figure needs, what the lot keeps."""

from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.utils import timezone

from inventory.shared.errors import AlreadyRecorded, BadValue, HouseError, NotAllowedNow
from inventory.shared.services import files
from inventory.stock.models import Lot, Measurement
from inventory.stock.queries import measurements as queries
from inventory.stock.services import honey, measurements
from tests import builders
from tests.uploads import upload

EXTRACTED = date(2026, 7, 20)


@pytest.fixture
def lot(owner):
    return builders.lot_in(builders.place("tank-1"), moisture_percent="17.4", colour_mm="30")


@pytest.fixture
def measure(lot, owner):
    def measure(what="moisture", value="17.9", **fields) -> Measurement:
        return measurements.record(
            lot=fields.pop("lot", lot),
            what=what,
            value=Decimal(value),
            measured_on=fields.pop("measured_on", EXTRACTED),
            recorded_by=owner,
            key=fields.pop("key", None) or builders.new_key(),
            **fields,
        )

    return measure


@pytest.fixture
def report(lot, owner):
    return files.attach(
        thing=lot, file=upload(), kind="laboratory", added_by=owner, key=builders.new_key()
    )


def problems(error: HouseError) -> list[tuple[str | None, str]]:
    return [(each.parameter, each.message) for each in error.problems]


# Moisture: the table of Bogdanov, Book of Honey, ch. 4, ends at 25 % and the house takes 10 to 30;
# colour: the Pfund wedge ends at 140 mm; the other ends are common practice.
@pytest.mark.parametrize(
    ("what", "low", "high", "below", "above", "sentence"),
    [
        ("moisture", "10", "30", "9.99", "30.01", "Moisture can be from 10 % to 30 %."),
        ("colour", "0", "150", "-0.1", "150.1", "Colour can be from 0 mm Pfund to 150 mm Pfund."),
        ("hmf", "0", "1000", "-0.1", "1000.1", "HMF can be from 0 mg/kg to 1,000 mg/kg."),
        (
            *("diastase", "0", "100", "-0.1", "100.1"),
            "Diastase number can be from 0 Schade units to 100 Schade units.",
        ),
        ("ph", "3", "7", "2.99", "7.01", "pH can be from 3 to 7."),
        (
            *("conductivity", "0", "5", "-0.001", "5.001"),
            "Electrical conductivity can be from 0 mS/cm to 5 mS/cm.",
        ),
    ],
)
def test_a_figure_that_cannot_be_is_refused_with_its_range(
    measure, what, low, high, below, above, sentence
):
    assert [measure(what, value).value for value in (low, high)] == [Decimal(low), Decimal(high)]
    for value in (below, above):
        with pytest.raises(BadValue) as refused:
            measure(what, value)
        assert problems(refused.value) == [("value", f"{sentence} Check the figure and its unit.")]


@pytest.mark.parametrize(
    ("fields", "refused"),
    [
        ({"what": "taste"}, ("what", "Choose one from the list.")),
        ({"value": "17.123"}, ("value", "Moisture: enter at most 2 decimals.")),
        (
            {"measured_on": EXTRACTED - timedelta(days=1)},
            (
                "measured_on",
                "Lot 26-E01 was made on Jul 20, 2026. Choose that day or a later one.",
            ),
        ),
        ({"laboratory": "Prairie"}, None),
    ],
)
def test_what_does_not_fit_is_told_at_its_parameter(measure, fields, refused):
    refused = refused or (
        "is_laboratory",
        "Tick that a laboratory measured it, or leave out the laboratory and its report.",
    )

    with pytest.raises(HouseError) as error:
        measure(**fields)

    assert problems(error.value) == [refused]


def test_a_day_in_the_future_is_refused(measure):
    with pytest.raises(BadValue) as refused:
        measure(measured_on=timezone.localdate() + timedelta(days=1))

    assert refused.value.parameter == "measured_on"


def test_a_packed_lot_is_measured_by_the_lot_it_was_filled_from(measure, lot):
    jars = builders.packed_lot(builders.size(), builders.place("shelf", "shelf"), parent=lot)

    with pytest.raises(BadValue, match=r"is packed\. Measure the lot that it was filled from"):
        measure(lot=jars, measured_on=jars.made_on)


def test_the_same_form_twice_records_one_figure(measure):
    first = measure(key="once")

    with pytest.raises(AlreadyRecorded) as repeat:
        measure(key="once", value="20")

    assert repeat.value.made == first


def test_a_laboratorys_figure_needs_its_name_and_a_report_attached_to_the_lot(
    measure, report, owner
):
    other = builders.lot_in(builders.place("tank-2"))
    fields = {"what": "hmf", "value": "8.4", "is_laboratory": True}
    with pytest.raises(HouseError) as without:
        measure(**fields)
    with pytest.raises(BadValue) as elsewhere:
        measure(**fields, lot=other, laboratory="Prairie Analytics", report=report)
    files.remove(attachment=report, removed_by=owner)
    with pytest.raises(BadValue) as removed:
        measure(**fields, laboratory="Prairie Analytics", report=report)

    assert problems(without.value) == [
        ("laboratory", "Enter the name of the laboratory."),
        ("report", "Attach the laboratory's report to the lot, and choose it here."),
    ]
    assert problems(elsewhere.value) == [
        ("report", "Choose a report that is attached to lot 26-E02.")
    ]
    assert problems(removed.value) == [
        ("report", "Choose a report that is attached to lot 26-E01.")
    ]


def test_a_laboratorys_figure_is_proven_only_while_its_report_is_attached(
    measure, lot, report, owner
):
    made = measure("hmf", "8.4", is_laboratory=True, laboratory="Prairie", report=report)
    before = queries.of_lot(lot)

    files.remove(attachment=report, removed_by=owner)
    after = queries.of_lot(lot)

    assert made.method == "laboratory"
    assert (before.laboratory, before.proven) == ([made], [made])
    assert (after.laboratory, after.proven) == ([made], [])


def test_measuring_again_keeps_the_figures_that_the_lot_came_with(measure, lot):
    made = measure("moisture", "18.8", method="refractometer")
    lot.refresh_from_db()

    figures = queries.of_lot(lot)

    assert (lot.moisture_percent, lot.moisture_percent_at_first) == (
        Decimal("18.8"),
        Decimal("17.4"),
    )
    assert figures.latest == [made]
    # 18.8 % is above the 18.6 % of grade A: US Standards for Grades of Extracted Honey, 1985.
    assert [(row.what, row.value, row.grade, row.method) for row in figures.house] == [
        ("Moisture", "17.4 %", "by moisture, at best U.S. Grade A", "method not recorded"),
        ("Moisture", "18.8 %", "by moisture, at best U.S. Grade C", "refractometer"),
        ("Colour", "30 mm Pfund", "white", "method not recorded"),
    ]
    assert {row.measured_on for row in figures.house} == {EXTRACTED}


@pytest.mark.parametrize(
    ("typed", "methods"),
    [
        ({"moisture_percent": Decimal("17.4")}, {"moisture": "not_recorded"}),
        ({"refractive_index": Decimal("1.4925")}, {"moisture": "refractometer"}),
        (
            {
                "moisture_percent": Decimal("17.4"),
                "colour_mm": Decimal(30),
                "moisture_method": "meter",
                "colour_method": "photometer",
            },
            {"moisture": "meter", "colour": "photometer"},
        ),
    ],
)
def test_receiving_honey_records_how_its_figures_were_measured(owner, typed, methods):
    lot = honey.receive(
        place=builders.place("tank"),
        grams=1_000,
        season=2026,
        floral_source="Clover",
        extracted_on=EXTRACTED,
        recorded_by=owner,
        key="k",
        **typed,
    )

    found = {each.what: each for each in lot.measurements.all()}
    assert {what: each.method for what, each in found.items()} == methods
    assert found["moisture"].value == lot.moisture_percent
    assert {each.measured_on for each in found.values()} == {EXTRACTED}


def test_a_method_that_there_is_not_is_told_at_its_parameter(owner):
    with pytest.raises(BadValue) as refused:
        honey.receive(
            place=builders.place("tank"),
            grams=1_000,
            season=2026,
            floral_source="Clover",
            extracted_on=EXTRACTED,
            moisture_percent=Decimal(17),
            moisture_method="by taste",
            recorded_by=owner,
            key="k",
        )

    assert refused.value.parameter == "moisture_method"
    assert not Lot.objects.exists()


@pytest.mark.usefixtures("without_triggers")
def test_a_lot_from_before_measurements_shows_its_own_figures_without_a_method(lot):
    lot.measurements.all().delete()

    figures = queries.of_lot(lot)

    assert [(row.value, row.method, row.measured_on) for row in figures.house] == [
        ("17.4 %", "method not recorded", None),
        ("30 mm Pfund", "method not recorded", None),
    ]


def test_the_figures_of_a_blend_are_worked_out_beside_what_was_measured(measure, lot, owner):
    """300 kg of 18.2 % into 500 kg of 17.4 %: (5 × 17.4 + 3 × 18.2) ÷ 8 = 17.7 %."""
    blend_tank = lot.balances.get(is_physical=True).place
    builders.lot_in(blend_tank, 300_000, moisture_percent="18.2", colour_mm=None)
    blend = Lot.objects.get(kind=Lot.Kind.BLEND)
    measure(lot=blend, value="17.7", measured_on=blend.made_on, method="refractometer")
    blend.refresh_from_db()

    figures = queries.of_lot(blend)

    assert [(row.what, row.value, row.method) for row in figures.house] == [
        ("Moisture", "17.7 %", "worked out: weighted mean"),
        ("Moisture", "17.7 %", "refractometer"),
    ]


def test_a_removed_figure_stays_with_who_removed_it(measure, lot, owner):
    made = measure("ph", "3.9")

    measurements.remove(measurement=made, removed_by=owner)

    figures = queries.of_lot(lot)
    assert figures.removed == [made]
    assert figures.removed[0].removed_by == owner
    assert "pH" not in [row.what for row in figures.house]
    with pytest.raises(NotAllowedNow, match="This measurement was removed already"):
        measurements.remove(measurement=made, removed_by=owner)


@pytest.mark.parametrize("count", [1, 5])
def test_the_figures_of_a_lot_are_read_in_one_question(
    measure, lot, report, django_assert_num_queries, count
):
    for number in range(count):
        measure("hmf", str(number), is_laboratory=True, laboratory="Prairie", report=report)

    with django_assert_num_queries(1):
        names = [each.report.name for each in queries.of_lot(lot).proven]

    assert names == ["report.pdf"] * count


def test_a_removed_figure_is_on_no_certificate_and_still_the_lots(lot, owner):
    first = lot.measurements.get(what="moisture")
    measurements.remove(measurement=first, removed_by=owner)

    figures = queries.of_lot(lot)

    assert [(row.value, row.method) for row in figures.house] == [
        ("17.4 %", "entered with the lot"),
        ("30 mm Pfund", "method not recorded"),
    ]
    assert [row.value for row in figures.certified] == ["30 mm Pfund"]


def test_what_is_below_the_limit_of_detection_is_written_so(measure):
    assert measure("hmf", "5", is_below=True).in_words == "< 5 mg/kg"
    for what, value, parameter in (("moisture", "17", "is_below"), ("hmf", "0", "value")):
        with pytest.raises(BadValue) as refused:
            measure(what, value, is_below=True)
        assert refused.value.parameter == parameter
