"""Places: tanks with their shape, drums in a row, shelves, and taking them out of use."""

import math
from decimal import Decimal

import pytest
from auditlog.models import LogEntry
from django.urls import reverse

from inventory.shared.errors import BadValue
from inventory.stock.models import Balance, CalibrationPoint, Place, TankShape
from inventory.stock.services import places
from tests import builders
from tests.inventory.pages import books_unchanged, errors, said, signed_in, text

pytestmark = pytest.mark.django_db


@pytest.fixture
def bottler():
    return signed_in("bottling")


def new_place(client, **changes):
    form = {"kind": "tank", "code": "tank-1", "name": "Tank 1"}
    return client.post(reverse("inventory:place_create"), form | changes)


def upright(**changes) -> dict:
    return {
        "form": "upright",
        "diameter": "100",
        "diameter_unit": "cm",
        "length": "120",
        "length_unit": "cm",
        "end": "flat",
    } | changes


# ------------------------------------------------------------------ set up


def test_a_tank_with_a_shape_knows_its_capacity(bottler):
    response = new_place(bottler, **upright())

    tank = Place.objects.get()
    # π × 0.5² × 1.2 m³ = 942.478 L: by hand.
    assert tank.capacity_litres == Decimal("942.478")
    assert (tank.shape.diameter_mm, tank.shape.length_mm) == (1000, 1200)
    assert response.url == reverse("inventory:place_detail", args=["tank-1"])
    assert said(response) == ["Tank 1 is set up."]


def test_a_unit_of_depths_that_is_none_is_refused_at_its_field(bottler):
    with books_unchanged():
        response = new_place(bottler, form="table", points="0, 0\n10, 78.5", points_unit="furlong")

    assert list(errors(response)) == ["points_unit"]


def test_a_cone_below_adds_to_the_capacity(bottler):
    new_place(bottler, **upright(end="cone", cone="30", cone_unit="cm"))

    # A cone of the same width holds a third of the cylinder: π × 0.25 × (1.2 + 0.3 / 3) m³.
    expected = 1000 * math.pi * 0.25 * 1.3
    assert abs(float(Place.objects.get().capacity_litres) - expected) < 0.001


def test_a_lying_tank_is_measured_in_inches(bottler):
    new_place(
        bottler,
        **upright(form="horizontal", diameter="40", length="60", end="flat")
        | {"diameter_unit": "in", "length_unit": "in"},
    )

    # π × 20² × 60 cubic inches = 75,398.2; 231 to the gallon (NIST Handbook 44): 326.4 gal.
    gallons = Place.objects.get().capacity_litres / Decimal("3.785411784")
    assert abs(gallons - Decimal("326.4")) < Decimal("0.05")


def test_a_calibration_table_is_typed_line_by_line(bottler):
    new_place(bottler, form="table", points="0, 0\n10, 78.5\n\n20; 157.25", points_unit="cm")

    points = CalibrationPoint.objects.values_list("depth_mm", "litres")
    assert list(points) == [
        (0, Decimal("0.000")),
        (100, Decimal("78.500")),
        (200, Decimal("157.250")),
    ]
    assert Place.objects.get().capacity_litres == Decimal("157.250")


@pytest.mark.parametrize(
    ("typed", "sentence"),
    [
        (
            "10 78",
            "Line 1: write a depth, a comma, and litres, for example 10, 125.5.",
        ),
        (
            "0, 0\nten, 5",
            "Line 2: write a depth, a comma, and litres, for example 10, 125.5.",
        ),
        ("0, 0\n10, -5", "Line 2: enter a depth and litres of 0 or more."),
        (
            "nan, 0\n10, 5",
            "Line 1: write a depth, a comma, and litres, for example 10, 125.5.",
        ),
        (
            "0; 0\n10; 12,5",
            "Line 2: write a depth, a comma, and litres, for example 10, 125.5.",
        ),
        ("0, 0\n10, 99999999999", "Line 2: no tank is so deep or so large. Check the figures."),
        ("0, 0\n99999999999, 80", "Line 2: no tank is so deep or so large. Check the figures."),
        (
            "0, 0\n10, 50\n10, 60",
            "Line 3 must have a greater depth and more litres than the line before.",
        ),
        (
            "0, 0",
            "A calibration table needs two lines or more, each with a depth and its litres.",
        ),
        (
            "",
            "A calibration table needs two lines or more, each with a depth and its litres.",
        ),
        ("x\n" * 5_001, "That is too much. Enter at most 5,000 lines."),
    ],
)
def test_a_calibration_table_that_cannot_be_is_refused(bottler, typed, sentence):
    with books_unchanged():
        response = new_place(bottler, form="table", points=typed, points_unit="cm")

    assert errors(response) == {"points": [sentence]}


@pytest.mark.parametrize(
    ("wrong", "told"),
    [
        ({"code": ""}, {"code": ["Fill this in."]}),
        (
            {"code": "tank 1"},
            {"code": ["Use only letters, digits and hyphens, without spaces, for example tank-2."]},
        ),
        ({"code": "new"}, {"code": ["Choose another short name: this one is taken."]}),
        ({"name": ""}, {"name": ["Fill this in."]}),
        (
            {"kind": "customer"},
            {"kind": ["Choose one from the list."]},
        ),
        (
            {"form": "upright"},
            {
                "diameter": ["Enter the inside diameter."],
                "length": ["Enter the height or length of the straight wall."],
            },
        ),
        (
            upright(diameter="-1"),
            {"diameter": ["Enter a figure of 0 or more."]},
        ),
        (upright(end="cone"), {"cone": ["Enter how deep the cone is."]}),
        (
            upright(diameter_unit="gal"),
            {"diameter": ["gal does not fit here. Choose another unit."]},
        ),
        (
            upright(diameter="5001"),
            {
                "diameter": [
                    "1,968.9 in (50,010 mm) is too much for a tank. Check the figure and its unit."
                ]
            },
        ),
        (
            upright(end="cone", cone="99999", cone_unit="in"),
            {
                "cone": [
                    "99,999.0 in (2,539,975 mm) is too much for a tank. Check the figure "
                    "and its unit."
                ]
            },
        ),
        (
            upright(diameter="4000", length="4000"),
            {
                "diameter": [
                    ("13,278,736 gal is too much for one vessel. Check the figure and its unit.")
                ]
            },
        ),
        (
            {"capacity": "0", "capacity_unit": "gal"},
            {"capacity": ["Enter a capacity of more than zero."]},
        ),
        (
            {"capacity": "9999999", "capacity_unit": "gal"},
            {
                "capacity": [
                    ("9,999,999 gal is too much for one vessel. Check the figure and its unit.")
                ]
            },
        ),
        (
            {"kind": "drum", "tare": "3800", "tare_unit": "lb"},
            {
                "tare": [
                    "An empty drum weighs from 4 lb to 88 lb; you entered 3,800.0 lb. Check the "
                    "figure and its unit, or weigh the empty drum again."
                ]
            },
        ),
        ({"kind": "shelf", **upright()}, {"form": ["Only a vessel for honey has a shape."]}),
    ],
)
def test_a_place_that_cannot_be_is_refused_at_its_field(bottler, wrong, told):
    with books_unchanged():
        response = new_place(bottler, **wrong)

    assert errors(response) == told


def test_a_short_name_is_given_once(bottler):
    builders.place("tank-1")

    with books_unchanged():
        response = new_place(bottler)

    assert list(errors(response)) == ["code"]


def test_a_shelf_needs_no_measurements(bottler):
    new_place(bottler, kind="shelf", code="shelf", name="Shelf")

    shelf = Place.objects.get()
    assert (shelf.kind, shelf.capacity_litres, hasattr(shelf, "shape")) == ("shelf", None, False)


def test_the_capacity_is_said_while_a_shape_is_typed(bottler):
    url = reverse("inventory:convert_capacity")

    assert text(bottler.get(url, upright())) == "= 249 gal (942 L) full to the brim"
    assert text(bottler.get(url, upright(length=""))) == ""
    assert text(bottler.get(url, {"form": ""})) == ""
    assert text(bottler.get(url, {"form": "table", "points": "a mess"})) == ""


def test_only_who_sets_up_places_does():
    for role, status in (("owner", 200), ("bottling", 200), ("office", 403), ("stand", 403)):
        assert signed_in(role).get(reverse("inventory:place_create")).status_code == status


# ------------------------------------------------------------------ drums


def test_drums_are_numbered_in_a_row(bottler):
    response = bottler.post(
        reverse("inventory:drums_create"),
        {
            "code": "D-009",
            "count": "3",
            "tare": "38.5",
            "tare_unit": "lb",
            "capacity": "55",
            "capacity_unit": "gal",
        },
    )

    drums = Place.objects.filter(kind=Place.Kind.DRUM)
    # 38.5 lb × 453.59237 g = 17,463 g; 55 gal × 3.785411784 L = 208.198 L: NIST Handbook 44.
    assert [(drum.code, drum.name) for drum in drums] == [
        ("D-009", "Drum D-009"),
        ("D-010", "Drum D-010"),
        ("D-011", "Drum D-011"),
    ]
    assert {(drum.tare_grams, drum.capacity_litres) for drum in drums} == {
        (17_463, Decimal("208.198"))
    }
    assert said(response) == ["3 drums are set up: D-009 to D-011."]


@pytest.mark.parametrize(
    ("wrong", "told"),
    [
        ({"code": "drum"}, {"code": ["The first number must end in digits, for example D-001."]}),
        ({"count": "0"}, {"count": ["Enter how many drums, from 1 to 200."]}),
        ({"count": "201"}, {"count": ["Enter how many drums, from 1 to 200."]}),
        ({"count": "-1"}, {"count": ["Enter how many drums, from 1 to 200."]}),
        ({"count": "some"}, {"count": ["Enter a whole number."]}),
        (
            {"code": "D-004"},
            {"code": ["Taken already: D-005. Choose another first number."]},
        ),
        ({"tare": "-1", "tare_unit": "lb"}, {"tare": ["Enter a figure of 0 or more."]}),
    ],
)
def test_drums_that_cannot_be_are_refused_and_none_is_made(bottler, wrong, told):
    builders.place("D-005", Place.Kind.DRUM)
    form = {"code": "D-001", "count": "3"}

    with books_unchanged():
        response = bottler.post(reverse("inventory:drums_create"), form | wrong)

    assert errors(response) == told


# ------------------------------------------------------------------ change


def form_of(client, place: Place) -> dict:
    """Return what the form of a place would send if nothing were touched."""
    form = client.get(reverse("inventory:place_edit", args=[place.code])).context["form"]
    sent = {}
    for field in form:
        value = field.value()
        if isinstance(value, tuple):
            sent[field.name], sent[f"{field.name}_unit"] = value
        elif value is not None:
            sent[field.name] = value
    return sent


def test_a_place_saved_untouched_stays_as_it_was(bottler):
    shapes = {
        "a": places.Shape("upright", 1003, 1207, "cone", 301),
        "b": places.Shape("horizontal", 914, 1524, "elliptical"),
        "c": places.Shape("table", points=[(0, Decimal(0)), (333, Decimal("200.125"))]),
        "d": None,
    }
    for code, shape in shapes.items():
        places.create(
            kind="tank",
            code=code,
            name=code,
            tare_grams=17_463,
            capacity_litres=Decimal("208.198"),
            shape=shape,
            note="by the door",
        )
    rows = [Place, TankShape, CalibrationPoint]

    def kept() -> list:
        return [list(model.objects.order_by("pk").values_list()) for model in rows]

    before = Place.objects.order_by("pk").values_list()
    before, shapes_before = (
        list(before),
        sorted(
            TankShape.objects.values_list("form", "diameter_mm", "length_mm", "end", "cone_mm"),
            key=str,
        ),
    )
    for place in Place.objects.all():
        response = bottler.post(
            reverse("inventory:place_edit", args=[place.code]), form_of(bottler, place)
        )
        assert response.status_code == 302

    assert kept()[0] == before
    assert (
        sorted(
            TankShape.objects.values_list("form", "diameter_mm", "length_mm", "end", "cone_mm"),
            key=str,
        )
        == shapes_before
    )
    assert list(CalibrationPoint.objects.values_list("depth_mm", "litres")) == [
        (0, Decimal("0.000")),
        (333, Decimal("200.125")),
    ]


def test_a_new_measurement_changes_the_capacity(bottler):
    new_place(bottler, **upright())

    bottler.post(
        reverse("inventory:place_edit", args=["tank-1"]),
        {"name": "Big tank", **upright(length="60")},
    )

    tank = Place.objects.get()
    assert (tank.name, tank.capacity_litres) == ("Big tank", Decimal("471.239"))


def test_a_tank_is_not_made_smaller_than_what_is_in_it(bottler):
    new_place(bottler, **upright())
    builders.lot_in(Place.objects.get(), 900_000, moisture_percent="17.0")

    with books_unchanged():
        response = bottler.post(
            reverse("inventory:place_edit", args=["tank-1"]),
            {"name": "Tank 1", **upright(length="60")},
        )

    # 900 kg / 1.42115 kg/L = 633.3 L = 167.3 gal; 471.239 L = 124.5 gal: by hand.
    assert errors(response) == {
        "diameter": [
            (
                "Tank 1 now has 167 gal in it. That does not fit into 124 gal. Enter a larger "
                "capacity, or empty it first."
            )
        ]
    }


def test_kind_and_number_of_a_place_stay(bottler):
    builders.place("tank-1")

    bottler.post(
        reverse("inventory:place_edit", args=["tank-1"]),
        {"name": "Tank 1", "kind": "shelf", "code": "shelf"},
    )

    place = Place.objects.get()
    assert (place.kind, place.code, place.name) == ("tank", "tank-1", "Tank 1")


# ------------------------------------------------------------------ out of use


def test_an_empty_place_is_taken_out_of_use_and_back(bottler):
    place = builders.place("tank-1", name="Tank 1")
    url = reverse("inventory:place_use", args=["tank-1"])

    out = bottler.post(url)
    place.refresh_from_db()
    assert (place.is_active, said(out)) == (False, ["Tank 1 is out of use."])
    refused = bottler.post(
        reverse("inventory:transfer"), {"key": "k", "source": "tank-1", "target": "tank-1"}
    )
    assert errors(refused)["target"] == ["That vessel is not in use. Choose one from the list."]

    bottler.post(url)
    place.refresh_from_db()
    assert place.is_active


def test_a_place_that_is_not_empty_stays_in_use(bottler):
    place = builders.place("tank-1", name="Tank 1")
    builders.lot_in(place)

    with books_unchanged():
        response = bottler.post(reverse("inventory:place_use", args=["tank-1"]))

    assert said(response) == ["Tank 1 is not empty. Move or write off what is there first."]


def test_drums_sent_away_and_taken_back_are_in_the_trail_of_changes():
    drums = [builders.place(code, Place.Kind.DRUM) for code in ("D-001", "D-002")]
    LogEntry.objects.all().delete()

    places.send_away(drums)
    assert set(Place.objects.values_list("is_active", flat=True)) == {False}

    places.take_back(drums[:1])

    states = Place.objects.order_by("code").values_list("code", "is_active")
    assert list(states) == [("D-001", True), ("D-002", False)]
    told = LogEntry.objects.order_by("id").values_list("object_repr", "changes")
    assert list(told) == [
        ("D-001", {"is_active": [True, False]}),
        ("D-002", {"is_active": [True, False]}),
        ("D-001", {"is_active": [False, True]}),
    ]


def test_taking_out_of_use_is_never_done_by_looking(bottler):
    builders.place("tank-1")

    assert bottler.get(reverse("inventory:place_use", args=["tank-1"])).status_code == 405


# ------------------------------------------------------------------ pages


def test_a_vessels_page_shows_what_is_in_it_and_how_it_is_built(bottler, owner, key):
    new_place(bottler, **upright(end="cone", cone="30", cone_unit="cm"))
    builders.lot_in(Place.objects.get(code="tank-1"), 453_592)

    page = text(bottler.get(reverse("inventory:place_detail", args=["tank-1"])))

    assert "1,000.0 lb" in page
    assert "26-E01" in page
    assert "Inside diameter 39.4 in (1,000 mm)" in page
    assert "Bottom cone, 11.8 in (300 mm)" in page
    assert "extraction 1,000.0 lb harvest Tank 1" in page


def test_a_drums_page_shows_net_and_gross(bottler):
    drum = builders.place("d-1", Place.Kind.DRUM, name="Drum D-1", tare_grams=17_463)
    builders.lot_in(drum, 294_835)

    page = text(bottler.get(reverse("inventory:place_detail", args=["d-1"])))

    # 294,835 g = 650 lb; with 38.5 lb of drum 688.5 lb.
    assert "Net 650.0 lb" in page
    assert "Gross weight in the books 688.5 lb" in page


def test_places_outside_the_house_have_no_page(bottler):
    outside = Place.objects.outside(Place.Kind.CUSTOMER)

    response = bottler.get(reverse("inventory:place_detail", args=[outside.code]))

    assert response.status_code == 404


def test_an_unknown_shape_is_refused_by_the_service():
    with pytest.raises(BadValue) as refused:
        places.create(kind="tank", code="a", name="A", shape=places.Shape(form="ball"))

    assert (refused.value.parameter, str(refused.value)) == (
        "shape.form",
        "Choose the shape of the vessel.",
    )


def test_an_outside_place_is_not_set_up_by_hand():
    with pytest.raises(BadValue) as refused:
        places.create(kind="customer", code="a", name="A")

    assert refused.value.parameter == "kind"
    assert Balance.objects.in_vessel(Place.objects.outside(Place.Kind.CUSTOMER)) is None
