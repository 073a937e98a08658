"""Laws of honey density that hold over the whole range, whatever the table says."""

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from inventory.physics import density, units

moistures = st.floats(10, 30)
temperatures = st.floats(0, 60)
cheap = settings(derandomize=True, deadline=None, max_examples=200)


@cheap
@given(moistures, moistures, temperatures)
def test_wetter_honey_is_lighter(one, other, celsius):
    drier, wetter = sorted([one, other])

    assert density.density_kg_per_l(drier, celsius) >= density.density_kg_per_l(wetter, celsius)


@cheap
@given(moistures, temperatures, temperatures)
def test_warmer_honey_is_lighter(moisture, one, other):
    colder, warmer = sorted([one, other])

    assert density.density_kg_per_l(moisture, colder) >= density.density_kg_per_l(moisture, warmer)


def test_density_falls_strictly_at_every_hundredth_of_a_percent_and_tenth_of_a_degree():
    by_moisture = density.density_kg_per_l(np.arange(1000, 3001) / 100)
    by_temperature = density.density_kg_per_l(18.0, np.arange(0, 601) / 10)

    assert (np.diff(by_moisture) < 0).all()
    assert (np.diff(by_temperature) < 0).all()


def test_the_band_grows_away_from_20_degrees_and_off_the_table():
    def band(moisture, celsius):
        return density.density_uncertainty_kg_per_l(moisture, celsius)

    assert band(18, 20) == min(band(18, celsius) for celsius in range(61))
    for nearer, further in itertools.pairwise([20, 25, 30, 40, 60]):
        assert band(18, nearer) < band(18, further)
    for nearer, further in itertools.pairwise([20, 15, 10, 0]):
        assert band(18, nearer) < band(18, further)
    for nearer, further in itertools.pairwise([21, 22, 23, 25, 30]):
        assert band(nearer, 20) < band(further, 20)
    for nearer, further in itertools.pairwise([13, 12, 11, 10]):
        assert band(nearer, 20) < band(further, 20)


def test_a_lot_off_the_table_is_weighed_with_a_band_of_half_a_percent_not_refused():
    share = density.density_uncertainty_kg_per_l(24.0) / density.density_kg_per_l(24.0)

    # 0.18 % and 3 points beyond 21 % at 0.1 % each
    assert share == pytest.approx(0.0048)


def test_warm_honey_is_weighed_with_a_wider_band():
    """At 17.0 % and 30 °C: 1.4237 × 0.998207 − 0.006 = 1.415147 kg/L."""
    assert density.density_kg_per_l(17.0, 30.0) == pytest.approx(1.415147, abs=1e-6)
    # 0.18 % of that is 0.002547 kg/L, and 0.001 kg/L for ten degrees comes on top
    band = density.density_uncertainty_kg_per_l(17.0, 30.0)
    assert band == pytest.approx(0.003547, abs=1e-6)


def test_a_pint_temperature_may_be_in_fahrenheit():
    found = density.density(17.0, units.quantity(86.0, "degF"))

    assert str(found.units) == "kilogram / liter"
    assert found.magnitude == pytest.approx(density.density_kg_per_l(17.0, 30.0))


def test_without_a_temperature_the_pint_density_is_at_20_degrees():
    assert density.density(17.0).magnitude == density.density_kg_per_l(17.0, 20.0)


def test_a_drum_of_55_gallons_holds_what_the_trade_says():
    """Common practice: a 55-gallon drum holds about 640 to 660 lb of honey (its brim is higher)."""
    pounds = 55 * density.pounds_per_gallon(17.5)

    assert 640 <= pounds <= 660
