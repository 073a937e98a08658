"""Volumes against the integral of the cross-section, and dips back from their volumes."""

import itertools
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate

from inventory.physics import units, vessels

cheap = settings(derandomize=True, deadline=None, max_examples=60)

ENDS = [
    vessels.Flat(),
    vessels.Cone(18.0),
    vessels.Dished(7.5),
    vessels.Elliptical(),
    vessels.Hemispherical(),
]
BOTTOMS = [*ENDS, vessels.Torispherical(), vessels.Torispherical(0.8, 0.154)]
TABLE = vessels.CalibrationTable(
    depths_cm=(0, 10, 25, 60, 100), volumes_l=(0.5, 20.0, 66.0, 180.5, 301.0)
)


def names(values):
    return [type(value).__name__ for value in values]


def bulge(end, radius, r):
    """How far an end reaches beyond the straight wall at distance `r` from the axis."""
    if isinstance(end, vessels.Flat):
        return 0.0
    if isinstance(end, vessels.Cone):
        return end.cone_cm * (1 - r / radius)
    if isinstance(end, vessels.Torispherical):
        crown, knuckle = 2 * radius * end.crown_share, 2 * radius * end.knuckle_share
        hub = radius - knuckle
        lift = math.sqrt((crown - knuckle) ** 2 - hub**2)
        if r <= crown * hub / (crown - knuckle):
            return math.sqrt(crown**2 - r**2) - lift
        return math.sqrt(max(knuckle**2 - (r - hub) ** 2, 0.0))
    depth = {"Dished": 7.5, "Elliptical": radius / 2, "Hemispherical": radius}[type(end).__name__]
    return depth * math.sqrt(max(1 - (r / radius) ** 2, 0.0))


def upright_by_shells(tank, depth):
    """Litres under `depth`, from rings of radius r: each is filled from the bottom's surface up."""
    radius = tank.diameter_cm / 2
    bottom = bulge(tank.bottom, radius, 0.0)

    def ring(r):
        return 2 * math.pi * r * max(depth - (bottom - bulge(tank.bottom, radius, r)), 0.0)

    edges = [0.0, radius]
    if isinstance(tank.bottom, vessels.Torispherical):
        share = 2 * radius * tank.bottom.crown_share, 2 * radius * tank.bottom.knuckle_share
        edges.insert(1, share[0] * (radius - share[1]) / (share[0] - share[1]))
    volume = sum(
        integrate.quad(ring, low, high, limit=400, epsabs=1e-9, epsrel=1e-10)[0]
        for low, high in itertools.pairwise(edges)
    )
    return volume / 1000


def lying_by_chords(tank, depth):
    """Litres under `depth`: each level is a chord, long as the tank and its two heads there."""
    radius = tank.diameter_cm / 2

    def level(angle):
        # y runs from the bottom up, y = radius (1 − cos angle), to tame the ends of the integral.
        half = radius * math.sin(angle)
        offset = radius * math.cos(angle)

        def length(x):
            reach = min(math.hypot(x, offset), radius)
            return tank.length_cm + 2 * bulge(tank.heads, radius, reach)

        across = integrate.quad(
            lambda t: length(half * math.sin(t)) * half * math.cos(t),
            0.0,
            math.pi / 2,
            epsabs=1e-10,
            epsrel=1e-10,
        )[0]
        return 2 * across * half

    top = math.acos(1 - depth / radius)
    return integrate.quad(level, 0.0, top, epsabs=1e-8, epsrel=1e-9)[0] / 1000


@pytest.mark.parametrize("bottom", BOTTOMS, ids=names(BOTTOMS))
@pytest.mark.parametrize("share", [0.02, 0.1, 0.3, 0.7, 1.0])
def test_an_upright_tank_holds_the_integral_of_its_cross_section(bottom, share):
    tank = vessels.UprightCylinder(diameter_cm=64.0, wall_cm=90.0, bottom=bottom)
    depth = tank.height_cm * share

    assert tank.volume_l(depth) == pytest.approx(upright_by_shells(tank, depth), rel=1e-6)


@pytest.mark.parametrize("heads", ENDS, ids=names(ENDS))
@pytest.mark.parametrize("share", [0.01, 0.2, 0.5, 0.8, 1.0])
def test_a_lying_tank_holds_the_integral_of_its_cross_section(heads, share):
    tank = vessels.HorizontalCylinder(length_cm=150.0, diameter_cm=80.0, heads=heads)
    depth = tank.height_cm * share

    assert tank.volume_l(depth) == pytest.approx(lying_by_chords(tank, depth), rel=1e-7)


sizes = st.floats(5, 400)
shares = st.floats(1e-4, 1)


@st.composite
def tanks(draw):
    diameter, length = draw(sizes), draw(sizes)
    end = draw(st.sampled_from([*ENDS, vessels.Cone(draw(sizes)), vessels.Dished(draw(sizes))]))
    if draw(st.booleans()):
        bottom = draw(st.sampled_from([end, vessels.Torispherical(draw(st.floats(0.5, 2)), 0.1)]))
        return vessels.UprightCylinder(diameter, length, bottom)
    return vessels.HorizontalCylinder(max(length, diameter / 4), diameter, end)


@cheap
@given(tanks(), shares)
def test_a_dip_comes_back_from_its_volume(tank, share):
    depth = tank.height_cm * share

    back = tank.depth_cm(tank.volume_l(depth))

    assert back == pytest.approx(depth, rel=1e-9)


@cheap
@given(tanks(), shares)
def test_a_volume_comes_back_from_its_dip(tank, share):
    volume = tank.capacity_l * share

    back = tank.volume_l(tank.depth_cm(volume))

    assert back == pytest.approx(volume, rel=1e-9)


@cheap
@given(st.floats(0, 100))
def test_a_calibrated_vessel_reads_both_ways(depth):
    assert TABLE.depth_cm(TABLE.volume_l(depth)) == pytest.approx(depth, rel=1e-9, abs=1e-9)


@cheap
@given(tanks())
def test_a_deeper_dip_never_means_less(tank):
    depths = np.linspace(0, tank.height_cm, 200)

    volumes = tank.volume_l(depths)

    assert volumes[0] == 0.0
    assert (np.diff(volumes) > 0).all()
    assert volumes[-1] == tank.capacity_l


@cheap
@given(tanks())
def test_empty_and_full_are_exact(tank):
    assert tank.depth_cm(0.0) == 0.0
    assert tank.depth_cm(tank.capacity_l) == tank.height_cm
    assert tank.volume_l(tank.height_cm) == tank.capacity_l


@pytest.mark.parametrize("depth", [1e-3, 1e-4, 1e-5])
@pytest.mark.parametrize("heads", ENDS, ids=names(ENDS))
def test_a_film_in_a_lying_tank_keeps_its_digits(heads, depth):
    """Near the wall the surface is 2√(2rh) wide: the film is 4/3 √(2r) h^1.5 in section."""
    tank = vessels.HorizontalCylinder(150.0, 80.0, heads)

    film = 4 / 3 * math.sqrt(80.0) * depth**1.5 * 150.0 / 1000
    assert tank.volume_l(depth) == pytest.approx(film, rel=1e-2)
    assert tank.depth_cm(tank.volume_l(depth)) == pytest.approx(depth, rel=1e-9)


@pytest.mark.parametrize("heads", ENDS, ids=names(ENDS))
def test_a_dip_just_below_the_brim_of_a_lying_tank_keeps_its_digits(heads):
    """The missing litre fraction there is far below the last digit of a sum from the bottom."""
    for length, diameter in ((10.4, 286.0), (150.0, 80.0), (200.0, 100.0)):
        tank = vessels.HorizontalCylinder(length, diameter, heads)
        below = math.nextafter(tank.height_cm, 0)

        assert tank.depth_cm(tank.volume_l(below)) == pytest.approx(below, abs=1e-12)


def test_the_series_near_the_wall_joins_the_closed_form_without_a_step():
    """The switch is where the half angle of a conical head is 0.3, that of the wall 0.15."""
    tank = vessels.HorizontalCylinder(5.0, 80.0, vessels.Cone(5000.0))

    for angle in (0.15, 0.3):
        seam = 40.0 * (1 - math.cos(angle))
        below, above = tank.volume_l(np.array([seam * (1 - 1e-12), seam * (1 + 1e-12)]))

        assert 0 <= above - below < 1e-11 * above


def test_a_calibration_table_is_met_at_its_rows_and_straight_between():
    assert TABLE.volume_l(25) == 66.0
    assert TABLE.volume_l(17.5) == pytest.approx(43.0)
    assert TABLE.volume_l(np.array([0, 100])).tolist() == [0.5, 301.0]
    assert TABLE.depth_cm(66.0) == 25.0
    assert TABLE.capacity_l == 301.0
    assert TABLE.height_cm == 100.0


def test_a_dip_below_the_first_row_is_not_guessed():
    table = vessels.CalibrationTable((5, 10), (12, 20))

    with pytest.raises(ValueError, match=r"dip of 4 cm is below the first row .* at 5 cm"):
        table.volume_l(4)
    with pytest.raises(ValueError, match=r"volume of 11 L is below the first row .* at 12 L"):
        table.depth_cm(11)


@pytest.mark.parametrize(
    "tank",
    [
        vessels.UprightCylinder(60, 120),
        vessels.HorizontalCylinder(150, 120),
        vessels.CalibrationTable((0, 120), (0, 300)),
    ],
    ids=["upright", "lying", "table"],
)
def test_a_dip_deeper_than_the_tank_states_both(tank):
    assert tank.volume_l(120) == tank.capacity_l
    with pytest.raises(ValueError, match="deeper") as refused:
        tank.volume_l(np.array([10, 120.5]))

    assert str(refused.value) == (
        "A dip of 120.5 cm is deeper than the vessel, which is 120 cm high inside."
    )


def test_more_litres_than_the_tank_holds_states_both():
    tank = vessels.CalibrationTable((0, 120), (0, 300))

    with pytest.raises(ValueError, match="more than the vessel holds") as refused:
        tank.depth_cm(300.5)

    assert (
        str(refused.value) == "A volume of 300.5 L is more than the vessel holds, which is 300 L."
    )


@pytest.mark.parametrize("wrong", [0, -1, math.nan, math.inf, "60", None, True, [60, 70], 5001])
@pytest.mark.parametrize(
    "make",
    [
        lambda size: vessels.UprightCylinder(size, 100),
        lambda size: vessels.UprightCylinder(60, size),
        lambda size: vessels.HorizontalCylinder(size, 60),
        lambda size: vessels.HorizontalCylinder(150, size),
        vessels.Cone,
        vessels.Dished,
    ],
)
def test_a_measurement_that_cannot_be_is_refused_when_the_shape_is_made(make, wrong):
    with pytest.raises(ValueError, match=r"must be .*over 0 and up to 5,000 cm"):
        make(wrong)


@pytest.mark.parametrize("end", ["flat", None, vessels.Cone, 3])
def test_an_end_that_is_no_end_is_refused(end):
    with pytest.raises(ValueError, match="An end must be one of Flat, Cone, Dished, Elliptical"):
        vessels.UprightCylinder(60, 100, end)
    with pytest.raises(ValueError, match="An end must be one of Flat, Cone, Dished, Elliptical"):
        vessels.HorizontalCylinder(150, 60, end)


def test_torispherical_heads_of_a_lying_tank_are_sent_to_a_calibration_table():
    with pytest.raises(ValueError, match=r"known only as a bottom.*calibration table"):
        vessels.HorizontalCylinder(150, 60, vessels.Torispherical())


@pytest.mark.parametrize(
    ("depths", "volumes"),
    [
        ((0,), (0,)),
        ((0, 10), (0, 10, 20)),
        ((0, 10, 10), (0, 10, 20)),
        ((0, 10, 20), (0, 10, 10)),
        ((10, 0), (10, 0)),
        ((), ()),
        ((0, math.nan), (0, 10)),
        ((0, -10), (0, 10)),
        (("0", "10"), (0, 10)),
    ],
)
def test_a_calibration_table_that_does_not_rise_is_refused(depths, volumes):
    with pytest.raises(ValueError, match=r"\."):
        vessels.CalibrationTable(depths, volumes)


def test_shapes_do_not_change_once_made():
    tank = vessels.UprightCylinder(60, 120)

    with pytest.raises(AttributeError):
        tank.diameter_cm = 70


def test_a_dip_in_inches_gives_gallons():
    """A drum 22.5 in across, dipped 30 in: π × 11.25² × 30 = 11,928.2 in³ = 51.637 gal."""
    drum = vessels.UprightCylinder(22.5 * 2.54, 33.5 * 2.54)

    found = drum.volume(units.quantity(30, "inch"))

    assert found.to("gallon").magnitude == pytest.approx(51.637, abs=0.001)
    assert drum.depth(found).to("inch").magnitude == pytest.approx(30, rel=1e-9)
