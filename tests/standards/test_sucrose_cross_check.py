"""Honey beside other strong sugar solutions: no table of honey, but nothing may be far from it.

- Sucrose: National Bureau of Standards Circular 440 (Bates, 1942), density of sucrose solutions,
  d 20 °C/4 °C, after Plato. From memory.
- Sugars in general: Y. Choi and M. R. Okos (1986), as in the ASHRAE Handbook of Refrigeration,
  "Thermal Properties of Foods": specific volumes of carbohydrate and water add up. From memory.

Honey is mostly fructose and glucose, which are a little lighter in solution than sucrose, so it
lies below both: by 0.7 to 1.2 % below sucrose, and by up to 2.5 % below the rule for sugars, which
knows nothing of how sugar and water shrink or swell together.
"""

import pytest

from inventory.physics import density

# Sucrose, g per 100 g of solution: kg/L at 20 °C.
SUCROSE_KG_PER_L = {70: 1.34717, 75: 1.37897, 80: 1.41172, 85: 1.44539}


@pytest.mark.parametrize(("strength", "sucrose"), SUCROSE_KG_PER_L.items())
def test_honey_is_0_7_to_1_2_percent_lighter_than_sucrose_of_the_same_strength(strength, sucrose):
    honey = density.density_kg_per_l(100 - strength)

    assert 0.007 < 1 - honey / sucrose < 0.012


@pytest.mark.parametrize(("strength", "sucrose"), [(70, 1.34717), (75, 1.37897)])
def test_beyond_the_honey_table_sucrose_lies_in_the_stated_band(strength, sucrose):
    """Sucrose less the 0.9 % by which honey is lighter on the table itself."""
    moisture = 100 - strength
    honey = density.density_kg_per_l(moisture)
    band = density.density_uncertainty_kg_per_l(moisture)
    offset_on_the_table = 0.009

    assert abs(honey - sucrose * (1 - offset_on_the_table)) < band


@pytest.mark.parametrize("moisture", [13, 15, 17, 18.6, 20, 21, 25, 30])
def test_honey_lies_up_to_2_5_percent_below_the_rule_for_food_sugars(moisture):
    celsius = 20.0
    carbohydrate = (1599.1 - 0.31046 * celsius) / 1000
    water = (997.18 + 0.0031439 * celsius - 0.0037574 * celsius**2) / 1000
    share = moisture / 100

    rule = 1 / ((1 - share) / carbohydrate + share / water)

    assert 0 < 1 - density.density_kg_per_l(moisture) / rule < 0.025


def test_the_slope_with_moisture_is_that_of_sucrose_to_a_fifth():
    sucrose = (SUCROSE_KG_PER_L[85] - SUCROSE_KG_PER_L[80]) / 5

    honey = (density.density_kg_per_l(15) - density.density_kg_per_l(20)) / 5

    assert honey == pytest.approx(sucrose, rel=0.2)
