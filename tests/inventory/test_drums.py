"""Drums: filled by volume and by depth, weighed again, and what an empty one can weigh."""

from datetime import date, timedelta
from decimal import Decimal

import pytest

from inventory.shared.errors import (
    AlreadyRecorded,
    BadValue,
    HouseError,
    NotAllowedNow,
)
from inventory.stock.models import Balance, Place, Posting
from inventory.stock.services import drums, honey, places
from tests import builders

FILLED = date(2026, 8, 1)


@pytest.fixture
def tank(db):
    tank = builders.place("tank-1", name="Tank 1")
    builders.lot_in(tank, 500_000, moisture_percent="17.0")
    return tank


@pytest.fixture
def drum(db):
    return builders.place(
        *("d-014", Place.Kind.DRUM),
        name="Drum D-014",
        tare_grams=18_000,
        capacity_litres=Decimal(212),
    )


@pytest.fixture
def fill(tank, drum, owner):
    def fill(**measured):
        return drums.fill(
            tank=tank, drum=drum, recorded_by=owner, key=builders.new_key(), **measured
        )

    return fill


@pytest.fixture
def weigh(drum, owner):
    def weigh(gross_grams, **fields):
        return drums.weigh_again(
            drum=drum,
            gross_grams=gross_grams,
            recorded_by=owner,
            key=fields.pop("key", None) or builders.new_key(),
            **fields,
        )

    return weigh


def inside(place) -> int:
    there = Balance.objects.in_vessel(place)
    return there.quantity if there else 0


def problems(error: HouseError) -> list[tuple[str | None, str]]:
    return [(each.parameter, each.message) for each in error.problems]


# White (1967): specific gravity 1.4237 at 17.0 %, 20/20 °C; water 0.9982 kg/L: 1.4211 kg/L.
def test_a_drum_is_filled_by_volume(fill, drum):
    made = fill(litres=Decimal(200), celsius=Decimal(20))

    assert inside(drum) == pytest.approx(284_220, abs=300)
    assert made.note.startswith("Weight worked out from 52.8 gal (200.0 L) at 17 % moisture, 68 °F")


def test_a_drum_is_filled_by_the_depth_of_all_that_is_in_it(fill, drum):
    """A usual drum is 572 mm wide inside: 400 mm are π/4 × 5.72² × 4 = 102.8 L, 146.1 kg."""
    fill(gross_grams=68_000)

    fill(depth_mm=400, celsius=Decimal(20))

    assert inside(drum) == pytest.approx(146_070, abs=300)


def test_a_drum_that_was_measured_counts_with_its_own_shape(fill, drum):
    """300 mm wide and 400 mm deep are π/4 × 3² × 4 = 28.27 L: 40.2 kg."""
    places.change(
        place=drum,
        name=drum.name,
        shape=places.Shape(form="upright", diameter_mm=300, length_mm=500),
    )
    drum.refresh_from_db()

    fill(depth_mm=400, celsius=Decimal(20))

    assert inside(drum) == pytest.approx(40_180, abs=100)


@pytest.mark.parametrize(
    ("measured", "refused"),
    [
        (
            {},
            ("gross_grams", "Enter one of the three: the gross weight, the volume, or the depth."),
        ),
        (
            {"litres": Decimal(10), "depth_mm": 100},
            ("gross_grams", "Enter one of the three: the gross weight, the volume, or the depth."),
        ),
        (
            {"litres": Decimal(10)},
            ("celsius", "Enter the temperature: the weight depends on it."),
        ),
        ({"litres": Decimal(0), "celsius": Decimal(20)}, ("litres", "Enter the volume.")),
        (
            {"depth_mm": 900, "celsius": Decimal(20)},
            (
                "depth_mm",
                "The dip is too deep: 35.4 in (900 mm) was entered, Drum D-014 is 33.5 in "
                "(851 mm) deep inside. Check the figure and its unit.",
            ),
        ),
    ],
)
def test_a_measure_that_cannot_be_is_refused(fill, drum, measured, refused):
    with pytest.raises(HouseError) as error:
        fill(**measured)

    assert problems(error.value) == [refused]
    assert inside(drum) == 0


def test_a_small_drum_without_measurements_is_not_filled_by_depth(fill, drum):
    Place.objects.filter(pk=drum.pk).update(capacity_litres=Decimal(60))
    drum.refresh_from_db()

    with pytest.raises(BadValue, match="The shape of Drum D-014 is not known"):
        fill(depth_mm=100, celsius=Decimal(20))


def test_a_depth_that_is_less_than_what_was_in_it_adds_nothing(fill, drum):
    fill(gross_grams=218_000)

    with pytest.raises(BadValue, match=r"already has 440\.9 lb of honey, and this depth is only"):
        fill(depth_mm=100, celsius=Decimal(20))


@pytest.mark.parametrize(("gross", "difference"), [(217_000, -1_000), (219_500, 1_500)])
def test_a_drum_weighed_again_goes_up_or_down_as_a_scale_difference(
    fill, weigh, drum, gross, difference
):
    fill(gross_grams=218_000)

    made = weigh(gross, note="New scale")

    assert (made.difference_grams, inside(drum)) == (difference, 200_000 + difference)
    assert made.posting.kind == Posting.Kind.REWEIGHING
    booked = made.posting.lines.get(place__kind=Place.Kind.SCALE_DIFFERENCE)
    assert booked.quantity == -difference


def test_a_drum_that_weighs_what_the_books_say_is_left_alone(fill, weigh):
    fill(gross_grams=218_000)

    made = weigh(218_000)

    assert (made.difference_grams, made.posting) == (0, None)
    assert not Posting.objects.filter(kind=Posting.Kind.REWEIGHING).exists()


def test_a_tare_that_is_weighed_becomes_the_drums(fill, weigh, drum):
    fill(gross_grams=218_000)

    made = weigh(218_000, tare_grams=17_600)

    drum.refresh_from_db()
    assert (drum.tare_grams, made.difference_grams, inside(drum)) == (17_600, 400, 200_400)


def test_an_earlier_day_is_compared_with_what_was_in_it_then(fill, weigh, drum, tank, owner):
    fill(gross_grams=218_000, filled_on=FILLED)
    honey.transfer(
        source=drum,
        target=tank,
        grams=50_000,
        recorded_by=owner,
        key="back",
        poured_on=FILLED + timedelta(days=5),
    )

    made = weigh(219_000, weighed_on=FILLED + timedelta(days=1))

    assert (made.difference_grams, inside(drum)) == (1_000, 151_000)
    assert made.posting.occurred_at.date() == FILLED + timedelta(days=1)


def test_on_a_day_on_which_it_was_empty_a_drum_is_not_weighed(fill, weigh):
    fill(gross_grams=218_000, filled_on=FILLED)

    with pytest.raises(NotAllowedNow, match=r"Drum D-014 had no honey on Jul 31, 2026\."):
        weigh(218_000, weighed_on=FILLED - timedelta(days=1))


def test_an_empty_drum_is_filled_first(weigh):
    with pytest.raises(NotAllowedNow, match=r"The books show Drum D-014 as empty\. Fill it first"):
        weigh(218_000)


def test_the_same_weighing_twice_counts_once(fill, weigh, drum):
    fill(gross_grams=218_000)
    weigh(217_000, key="once")

    with pytest.raises(AlreadyRecorded):
        weigh(216_000, key="once")

    assert inside(drum) == 199_000


# Common practice: see `rules.check_tare`.
@pytest.mark.parametrize(
    ("capacity", "tare_grams", "is_right"),
    [
        ("208", 6_999, False),
        ("208", 7_000, True),
        ("208", 40_000, True),
        ("208", 40_001, False),
        ("57", 1_999, False),
        ("57", 2_000, True),
        ("57", 25_000, True),
        ("57", 25_001, False),
        (None, 1_999, False),
        (None, 2_000, True),
        (None, 40_000, True),
        (None, 40_001, False),
    ],
)
def test_an_empty_drum_weighs_what_a_drum_of_its_size_can(db, capacity, tare_grams, is_right):
    def add():
        return places.create(
            kind=Place.Kind.DRUM,
            code="d-1",
            name="D-1",
            tare_grams=tare_grams,
            capacity_litres=capacity and Decimal(capacity),
        )

    if is_right:
        assert add().tare_grams == tare_grams
    else:
        with pytest.raises(BadValue, match="Check the figure and its unit, or weigh the empty"):
            add()


def test_a_tare_that_no_drum_has_is_refused_when_it_is_filled_or_weighed(fill, weigh, drum):
    fill(gross_grams=218_000)
    sentence = (
        "An empty drum of 56.0 gal weighs from 15 lb to 88 lb; you entered 99.2 lb. Check the "
        "figure and its unit, or weigh the empty drum again."
    )

    for act in (
        lambda: fill(gross_grams=300_000, tare_grams=45_000),
        lambda: weigh(218_000, tare_grams=45_000),
    ):
        with pytest.raises(BadValue) as refused:
            act()
        assert problems(refused.value) == [("tare_grams", sentence)]
    drum.refresh_from_db()
    assert (drum.tare_grams, inside(drum)) == (18_000, 200_000)
