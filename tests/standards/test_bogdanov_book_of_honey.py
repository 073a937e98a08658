"""S. Bogdanov, Book of Honey, chapter 4 (2009, 2011/2016): water content by refractive index.

Table after Chataway (1932) and Wedmore (1955); the same as in the harmonised methods of the
International Honey Commission and AOAC 969.38B. Read. Printed to 0.0001 and 0.2 points; the formula
printed with it is said to meet it within 0.03 points.
"""

import numpy as np
import pytest

from inventory.physics import refractometer

# Refractive index at 20 °C: water, g per 100 g.
WATER_BY_INDEX = {
    1.5044: 13.0,
    1.5033: 13.4,
    1.5023: 13.8,
    1.5012: 14.2,
    1.5002: 14.6,
    1.4992: 15.0,
    1.4982: 15.4,
    1.4971: 15.8,
    1.4961: 16.2,
    1.4951: 16.6,
    1.4940: 17.0,
    1.4930: 17.4,
    1.4920: 17.8,
    1.4910: 18.2,
    1.4900: 18.6,
    1.4890: 19.0,
    1.4880: 19.4,
    1.4870: 19.8,
    1.4860: 20.2,
    1.4850: 20.6,
    1.4840: 21.0,
    1.4830: 21.4,
    1.4820: 21.8,
    1.4810: 22.2,
    1.4800: 22.6,
    1.4790: 23.0,
    1.4780: 23.4,
    1.4770: 23.8,
    1.4760: 24.2,
    1.4750: 24.6,
    1.4740: 25.0,
}


@pytest.mark.parametrize(("index", "water"), WATER_BY_INDEX.items())
def test_the_index_gives_the_printed_water_content(index, water):
    assert refractometer.moisture_from_refractive_index(index) == pytest.approx(water, abs=0.03)


@pytest.mark.parametrize(("index", "water"), WATER_BY_INDEX.items())
def test_the_water_content_gives_the_printed_index(index, water):
    assert refractometer.refractive_index_from_moisture(water) == pytest.approx(index, abs=0.0001)


def test_an_array_of_indices_gives_the_whole_column():
    indices = np.array(list(WATER_BY_INDEX))

    moistures = refractometer.moisture_from_refractive_index(indices)

    np.testing.assert_allclose(moistures, list(WATER_BY_INDEX.values()), atol=0.03)


@pytest.mark.parametrize(
    ("index", "celsius", "index_at_20"),
    [
        (1.4940, 30.0, 1.4963),  # ten degrees above: 10 × 0.00023 is added
        (1.4940, 25.0, 1.49515),
        (1.4940, 15.0, 1.49285),  # five degrees below: 5 × 0.00023 is taken off
        (1.4940, 20.0, 1.4940),
    ],
)
def test_an_index_read_off_20_degrees_is_corrected_by_0_00023_a_degree(index, celsius, index_at_20):
    corrected = refractometer.moisture_from_refractive_index(index, celsius)

    assert corrected == pytest.approx(
        refractometer.moisture_from_refractive_index(index_at_20), abs=1e-9
    )


def test_the_formula_worked_by_hand():
    # log10(0.4900) = −0.309804; (−0.26810 + 0.309804) / 0.002243 = 18.593
    assert refractometer.moisture_from_refractive_index(1.4900) == pytest.approx(18.593, abs=0.001)
