"""The dip chart of a vessel: its rows, its pages, and for which honey it is."""

from decimal import Decimal

import pytest
from django.urls import reverse

from inventory.physics.units import MM_PER_INCH
from inventory.physics.vessels import CalibrationTable, UprightCylinder
from inventory.stock import dip_chart as charts
from inventory.stock import vessels
from inventory.stock.models import Place
from inventory.stock.services import places
from tests import builders
from tests.inventory.pages import errors, signed_in, text

pytestmark = pytest.mark.django_db

HONEY = {"moisture_percent": Decimal(17), "celsius": Decimal(20), "mark_mm": Decimal("3.2")}
EIGHTH = charts.EIGHTH_OF_AN_INCH_MM


@pytest.fixture
def tank():
    """A metre wide, half a metre deep."""
    return builders.measured_tank("tank-1", diameter_mm=1000, length_mm=500, name="Tank 1")


def chart_url(place: Place, ending: str = "") -> str:
    return reverse(f"inventory:dip_chart{ending}", args=[place.code])


def rows(shape, step_mm=EIGHTH):
    return charts.rows(shape, step_mm=step_mm, **HONEY)


def test_there_is_a_row_for_every_eighth_of_an_inch_and_every_centimetre_below_the_brim(tank):
    shape = vessels.shape_of(tank)
    eighths, centimetres = rows(shape), rows(shape, charts.CENTIMETRE_MM)

    # 500 mm are 19.685 in: 157 eighths and a bit.
    assert (len(eighths), eighths[-1].inches_in_eighths) == (157, "19 ⅝")
    assert (len(centimetres), centimetres[-1].centimetres) == (50, 50)
    assert [row.inches_in_eighths for row in eighths[5:10]] == ["¾", "⅞", "1", "1 ⅛", "1 ¼"]
    assert [row.centimetres for row in eighths[:2]] == [Decimal("0.3175"), Decimal("0.635")]


def test_a_wide_tank_is_wrong_by_ten_pounds_an_eighth(tank):
    shape = UprightCylinder(diameter_cm=142, wall_cm=100)
    coarse = {**HONEY, "mark_mm": EIGHTH * 2}

    first = charts.rows(shape, step_mm=EIGHTH, **coarse)[0]

    # π × 71² cm² × 0.3175 cm = 5.028 L of honey of 1.4212 kg/L: 7.146 kg, 15.75 lb, for a stick
    # that is read to a quarter of an inch; the density tables are wrong by 0.18 % of it.
    assert first.pounds == pytest.approx(Decimal("15.75"), abs=Decimal("0.01"))
    assert first.uncertainty_pounds == pytest.approx(Decimal("15.78"), abs=Decimal("0.01"))


def test_below_the_first_line_of_a_calibration_table_there_is_no_row():
    shape = CalibrationTable(depths_cm=(10, 20, 50), volumes_l=(40, 100, 280))

    found = rows(shape, charts.CENTIMETRE_MM)

    # Straight lines between the points: 6 L each cm from 10 to 50 cm.
    assert [(row.centimetres, row.litres) for row in found[:3]] == [(10, 40), (11, 46), (12, 52)]
    # Half a mark below the first line is not known: the half above it tells.
    assert found[0].uncertainty_grams == pytest.approx(1364 + 102, abs=3)


def test_rows_are_grouped_by_whole_inches_and_printed_in_two_columns(tank):
    groups = charts.grouped(rows(vessels.shape_of(tank)), step_mm=EIGHTH, steps=8)

    pages = list(charts.side_by_side(groups, first_page=5, further_pages=7))

    assert [group[-1].inches_in_eighths for group in groups[:2]] == ["1", "2"]
    assert [len(group) for group in (groups[0], groups[-1])] == [8, 5]
    assert [len(page) for page in pages] == [5, 7]
    assert [[side[-1].inches_in_eighths for side in pair if side] for pair in pages[0][:2]] == [
        ["1", "6"],
        ["2", "7"],
    ]
    # 20 groups: 5 and 5, then 7 and 3.
    assert [bool(right) for _left, right in pages[1]] == [True] * 3 + [False] * 4


def test_the_page_begins_with_the_honey_that_is_in_the_vessel(tank):
    builders.lot_in(tank, moisture_percent="18.2")

    page = signed_in().get(chart_url(tank))

    assert page.status_code == 200
    assert page.context["form"]["moisture_percent"].value() == "18.2"
    assert [row.depth_mm for row in page.context["rows"][:2]] == [MM_PER_INCH, MM_PER_INCH * 2]
    assert (
        chart_url(tank) in signed_in().get(reverse("inventory:place_detail", args=["tank-1"])).text
    )


def test_the_chart_is_for_the_honey_that_was_asked_for_and_printed_so(tank):
    client = signed_in()
    asked = {"moisture_percent": "17", "celsius": "68", "celsius_unit": "F"}

    page = client.get(chart_url(tank), asked)
    pdf = client.get(chart_url(tank, "_pdf"), asked)

    # π × 50² cm² × 2.54 cm = 19.949 L = 5.27 gal; × 1.4212 kg/L (White's table) = 28.35 kg.
    assert "1 in 2.5 cm 5.3 gal 19.9 L 62.5 lb 28.4 kg ± 4.0 lb" in text(page)
    assert f"{chart_url(tank, '_pdf')}?moisture_percent=17" in page.text
    assert pdf.content[:5] == b"%PDF-"
    assert "documents/dip_chart.html" in [each.name for each in pdf.templates]


@pytest.mark.parametrize(
    ("asked", "field"),
    [
        ({"moisture_percent": "9", "celsius": "68"}, "moisture_percent"),
        ({"moisture_percent": "31", "celsius": "68"}, "moisture_percent"),
        ({"moisture_percent": "17", "celsius": "200"}, "celsius"),
        ({"moisture_percent": "17", "celsius": "warm"}, "celsius"),
    ],
)
@pytest.mark.parametrize("ending", ["", "_pdf"])
def test_honey_that_can_not_be_is_told_at_its_field(tank, asked, field, ending):
    answer = signed_in().get(chart_url(tank, ending), {**asked, "celsius_unit": "F"})

    assert list(errors(answer)) == [field]


def test_a_vessel_without_a_shape_has_no_chart(owner):
    drum = builders.place("drum", Place.Kind.DRUM)

    client = signed_in()

    assert client.get(chart_url(drum)).status_code == 404
    assert "Dip chart" not in client.get(reverse("inventory:place_detail", args=["drum"])).text


def test_a_tank_with_a_calibration_table_has_a_chart(owner):
    shape = places.Shape(form="table", points=[(0, Decimal(0)), (500, Decimal(380))])
    table = places.create(kind=Place.Kind.TANK, code="tank-3", name="Tank 3", shape=shape)

    assert signed_in().get(chart_url(table)).status_code == 200
