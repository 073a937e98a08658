"""ICUMSA, Specification and Standard SPS-3 (2000): refractive index of sucrose solutions.

The table at 20 °C and 589 nm in steps of 5 g per 100 g, and the international temperature
correction table, which refractometers of °Brix are delivered with. Both from memory. A polynomial
that is often printed for the same table, in whole powers of the index, is a second recollection
that does not depend on the first.
"""

import numpy as np
import pytest

from inventory.physics import refractometer

# °Brix: refractive index at 20 °C.
INDEX_BY_BRIX = {
    0: 1.332986,
    5: 1.340264,
    10: 1.347824,
    15: 1.355677,
    20: 1.363842,
    25: 1.372328,
    30: 1.381149,
    35: 1.390322,
    40: 1.399860,
    45: 1.409777,
    50: 1.420087,
    55: 1.430800,
    60: 1.441928,
    65: 1.453478,
    70: 1.465456,
    75: 1.477866,
    80: 1.490708,
    85: 1.503978,
}
# °C: what is added to a reading of 0, 10, 20, 30, 40, 50, 60 and 70 °Brix.
READINGS = (0, 10, 20, 30, 40, 50, 60, 70)
ADDED_BY_CELSIUS = {
    10: (-0.50, -0.58, -0.64, -0.68, -0.72, -0.74, -0.76, -0.79),
    15: (-0.27, -0.31, -0.34, -0.35, -0.37, -0.38, -0.39, -0.40),
    18: (-0.12, -0.13, -0.14, -0.14, -0.15, -0.15, -0.16, -0.16),
    22: (0.13, 0.14, 0.15, 0.15, 0.15, 0.16, 0.16, 0.16),
    25: (0.33, 0.36, 0.38, 0.39, 0.40, 0.40, 0.40, 0.40),
    28: (0.56, 0.60, 0.62, 0.63, 0.64, 0.64, 0.64, 0.64),
    30: (0.72, 0.77, 0.79, 0.80, 0.81, 0.81, 0.81, 0.81),
}


@pytest.mark.parametrize(("brix", "index"), INDEX_BY_BRIX.items())
def test_the_index_gives_the_printed_brix(brix, index):
    assert refractometer.brix_from_refractive_index(index) == pytest.approx(brix, abs=0.02)


@pytest.mark.parametrize(("brix", "index"), INDEX_BY_BRIX.items())
def test_the_brix_gives_the_printed_index(brix, index):
    assert refractometer.refractive_index_from_brix(brix) == pytest.approx(index, abs=0.00003)


@pytest.mark.parametrize("index", [1.34, 1.36, 1.38, 1.40, 1.42, 1.44, 1.46, 1.48, 1.50])
def test_the_polynomial_in_powers_of_the_index_says_the_same_within_its_rounding(index):
    powers = [-99127.4536, 318417.95, -413145.80, 270177.93, -88885.21, 11758.74]

    printed = sum(factor * index**power for power, factor in enumerate(powers))

    assert refractometer.brix_from_refractive_index(index) == pytest.approx(printed, abs=0.035)


@pytest.mark.parametrize("celsius", ADDED_BY_CELSIUS)
def test_a_reading_at_another_temperature_is_corrected_as_the_table_says(celsius):
    indices = [INDEX_BY_BRIX[reading] for reading in READINGS]
    corrected = np.array(READINGS) + ADDED_BY_CELSIUS[celsius]
    inside = corrected >= 0

    brix = refractometer.brix_from_refractive_index(np.array(indices)[inside], celsius)

    np.testing.assert_allclose(brix, corrected[inside], atol=0.02)


@pytest.mark.parametrize("celsius", [10, 17.5, 20, 27, 40])
@pytest.mark.parametrize("brix", [0, 0.5, 20, 66.6, 81.5, 85])
def test_there_and_back_is_the_same_brix(brix, celsius):
    index = refractometer.refractive_index_from_brix(brix, celsius)

    assert refractometer.brix_from_refractive_index(index, celsius) == pytest.approx(brix, abs=1e-6)


def test_an_array_of_indices_gives_the_whole_column():
    brix = refractometer.brix_from_refractive_index(list(INDEX_BY_BRIX.values()))

    np.testing.assert_allclose(brix, list(INDEX_BY_BRIX), atol=0.02)


@pytest.mark.parametrize("index", [1.3325, 1.5043])
def test_beyond_0_and_85_brix_there_is_no_figure(index):
    with pytest.raises(ValueError, match=r"off the sucrose scale.*0 °Brix.*85 °Brix"):
        refractometer.brix_from_refractive_index(index)


@pytest.mark.parametrize("celsius", [9.9, 40.1])
def test_a_temperature_outside_a_room_is_refused(celsius):
    with pytest.raises(ValueError, match="temperature of the reading"):
        refractometer.brix_from_refractive_index(1.4, celsius)


def test_the_water_of_honey_is_less_than_100_less_brix():
    """A honey of 17.0 % shows 1.4940 (Book of Honey), which is 81.3 °Brix: 18.7 would be wrong."""
    brix = refractometer.brix_from_refractive_index(1.4940)

    assert 100 - brix == pytest.approx(18.7, abs=0.1)
    assert refractometer.moisture_from_refractive_index(1.4940) == pytest.approx(17.0, abs=0.03)
