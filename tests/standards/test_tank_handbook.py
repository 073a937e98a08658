"""Engineers' handbooks on partly filled tanks.

Horizontal cylinder: V = L [r² acos((r − h)/r) − (r − h) √(2rh − h²)] (read); area fractions of the
circle at h/D (computed from it). Both heads together: 2:1 elliptical 0.5236 h² (1.5 d − h),
hemispherical 1.0472 h² (1.5 d − h) (read).
"""

import math

import numpy as np
import pytest

from inventory.physics import vessels


@pytest.mark.parametrize(
    ("filled", "fraction"),
    [
        (0.0, 0.0),
        (0.10, 0.05204),
        (0.20, 0.14238),
        (0.25, 0.19550),
        (0.30, 0.25232),
        (0.40, 0.37353),
        (0.50, 0.5),
        (0.60, 1 - 0.37353),
        (0.90, 1 - 0.05204),
        (1.0, 1.0),
    ],
)
def test_the_area_fraction_of_the_circle(filled, fraction):
    tank = vessels.HorizontalCylinder(length_cm=180, diameter_cm=90)

    assert tank.volume_l(90 * filled) / tank.capacity_l == pytest.approx(fraction, abs=0.000005)


def test_the_formula_of_the_lying_cylinder():
    length, radius = 200.0, 45.0
    depth = np.linspace(0.5, 89.5, 30)
    printed = length * (
        radius**2 * np.arccos((radius - depth) / radius)
        - (radius - depth) * np.sqrt(2 * radius * depth - depth**2)
    )

    tank = vessels.HorizontalCylinder(length_cm=length, diameter_cm=2 * radius)

    np.testing.assert_allclose(tank.volume_l(depth), printed / 1000, rtol=1e-10)


@pytest.mark.parametrize(
    ("heads", "factor"),
    [(vessels.Elliptical(), 0.5236), (vessels.Hemispherical(), 1.0472)],
    ids=["elliptical", "hemispherical"],
)
def test_both_heads_of_a_lying_tank(heads, factor):
    depth, diameter = np.array([5.0, 20.0, 45.0, 60.0, 90.0]), 90.0
    bare = vessels.HorizontalCylinder(length_cm=100, diameter_cm=diameter)
    headed = vessels.HorizontalCylinder(length_cm=100, diameter_cm=diameter, heads=heads)

    both = (headed.volume_l(depth) - bare.volume_l(depth)) * 1000

    np.testing.assert_allclose(both, factor * depth**2 * (1.5 * diameter - depth), rtol=2e-5)


def test_whole_bodies():
    ball = 4 / 3 * math.pi * 30**3 / 1000
    cylinder = math.pi * 30**2 * 100 / 1000
    cone = math.pi * 30**2 * 40 / 3 / 1000

    upright = vessels.UprightCylinder(60, 100)
    assert upright.capacity_l == pytest.approx(cylinder)
    assert vessels.UprightCylinder(60, 100, vessels.Cone(40)).capacity_l == pytest.approx(
        cylinder + cone
    )
    assert vessels.UprightCylinder(60, 100, vessels.Hemispherical()).capacity_l == pytest.approx(
        cylinder + ball / 2
    )
    assert vessels.UprightCylinder(60, 100, vessels.Elliptical()).capacity_l == pytest.approx(
        cylinder + ball / 4
    )
    assert vessels.HorizontalCylinder(100, 60, vessels.Hemispherical()).capacity_l == pytest.approx(
        cylinder + ball
    )
    assert vessels.HorizontalCylinder(100, 60, vessels.Cone(40)).capacity_l == pytest.approx(
        cylinder + 2 * cone
    )


def test_a_klopper_bottom_has_the_depth_and_the_content_of_the_standard():
    """DIN 28011: depth 0.1935 D without the straight flange, content about 0.1 D³. From memory."""
    bottom, diameter = vessels.Torispherical(), 100.0
    with_bottom = vessels.UprightCylinder(diameter, 50, bottom)
    without = vessels.UprightCylinder(diameter, 50)

    assert bottom.depth_cm(diameter / 2) == pytest.approx(0.1935 * diameter, rel=0.003)
    content = (with_bottom.capacity_l - without.capacity_l) * 1000
    assert content == pytest.approx(0.1 * diameter**3, rel=0.015)
