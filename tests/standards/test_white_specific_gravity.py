"""J. W. White, in E. Crane (ed.), Honey: A Comprehensive Survey, 1975: specific gravity 20/20 °C.

After Wedmore (1955), repeated in Bogdanov, Book of Honey, chapter 4. From memory, whole percents
and the rows at steps of 0.2 alike; the rows at 13 and 21 % also by way of a trade-journal article,
which gives 12.0571 and 11.6343 lb a gallon (1.4457 and 1.3950 × 8.34); those at 17 and 18 % to
three decimals from a second text.

Density is specific gravity × 0.998207 kg/L, water at 20 °C (IAPWS-95).
"""

import math
from decimal import Decimal

import numpy as np
import pytest

from inventory.physics import density, vessels
from inventory.stock import dip_chart

WATER_AT_20_CELSIUS = 0.998207

# Moisture, g per 100 g: specific gravity.
SPECIFIC_GRAVITY = {
    13.0: 1.4457,
    13.2: 1.4446,
    13.4: 1.4435,
    13.6: 1.4425,
    13.8: 1.4414,
    14.0: 1.4404,
    14.2: 1.4393,
    14.4: 1.4382,
    14.6: 1.4372,
    14.8: 1.4361,
    15.0: 1.4350,
    15.2: 1.4339,
    15.4: 1.4328,
    15.6: 1.4317,
    15.8: 1.4306,
    16.0: 1.4295,
    16.2: 1.4284,
    16.4: 1.4272,
    16.6: 1.4260,
    16.8: 1.4249,
    17.0: 1.4237,
    17.2: 1.4224,
    17.4: 1.4211,
    17.6: 1.4198,
    17.8: 1.4185,
    18.0: 1.4171,
    18.2: 1.4157,
    18.4: 1.4143,
    18.6: 1.4129,
    18.8: 1.4115,
    19.0: 1.4101,
    19.2: 1.4087,
    19.4: 1.4072,
    19.6: 1.4057,
    19.8: 1.4042,
    20.0: 1.4027,
    20.2: 1.4012,
    20.4: 1.3996,
    20.6: 1.3981,
    20.8: 1.3966,
    21.0: 1.3950,
}


@pytest.mark.parametrize(("moisture", "gravity"), SPECIFIC_GRAVITY.items())
def test_the_density_at_20_degrees_is_the_printed_gravity_times_water(moisture, gravity):
    expected = gravity * WATER_AT_20_CELSIUS

    assert density.density_kg_per_l(moisture) == pytest.approx(expected, abs=0.0002)


def test_an_array_of_moistures_gives_the_whole_column():
    densities = density.density_kg_per_l(np.array(list(SPECIFIC_GRAVITY)))

    expected = np.array(list(SPECIFIC_GRAVITY.values())) * WATER_AT_20_CELSIUS
    np.testing.assert_allclose(densities, expected, atol=0.0002)


@pytest.mark.parametrize(("moisture", "pounds"), [(13.0, 12.0571), (21.0, 11.6343)])
def test_the_pounds_a_gallon_of_the_trade_journal_lie_in_the_stated_band(moisture, pounds):
    """The article multiplies by 8.34 and so takes specific gravity for a density in air."""
    ours = density.pounds_per_gallon(moisture)

    band = density.density_uncertainty_kg_per_l(moisture) / density.density_kg_per_l(moisture)
    assert abs(ours - pounds) / ours < band
    assert ours == pytest.approx(pounds, rel=0.0013)


def test_the_density_falls_by_0_0006_a_degree_between_20_and_40_degrees():
    """White 1975, from memory: about 0.0006 kg/L for each °C near 20 to 40 °C."""
    fall = density.density_kg_per_l(17.0, 20.0) - density.density_kg_per_l(17.0, 40.0)

    assert fall / 20 == pytest.approx(0.0006, abs=0.00005)


def test_the_band_is_never_under_the_0_18_percent_by_which_the_sources_differ():
    moisture = np.linspace(10, 30, 41)[:, None]
    celsius = np.linspace(0, 60, 25)

    band = density.density_uncertainty_kg_per_l(moisture, celsius)

    assert (band >= 0.0018 * density.density_kg_per_l(moisture, celsius) - 1e-15).all()


def test_specific_gravity_and_density_differ_by_the_0_18_percent():
    difference = 1 - WATER_AT_20_CELSIUS

    assert difference == pytest.approx(density.UNCERTAINTY_OF_SOURCES, abs=0.00001)


@pytest.mark.parametrize("moisture", [13.0, 17.0, 21.0])
def test_a_dip_chart_weighs_a_cylinder_by_the_table(moisture):
    """π r² h litres at each inch, times the row of the table; an eighth of an inch is 3.175 mm."""
    rows = dip_chart.rows(
        vessels.UprightCylinder(diameter_cm=100, wall_cm=60),
        step_mm=dip_chart.EIGHTH_OF_AN_INCH_MM,
        moisture_percent=Decimal(str(moisture)),
        celsius=Decimal(20),
        mark_mm=Decimal("3.2"),
    )

    kg_per_l = SPECIFIC_GRAVITY[moisture] * WATER_AT_20_CELSIUS
    for number, row in enumerate(rows, start=1):
        litres = math.pi * 50**2 * (0.3175 * number) / 1000
        assert float(row.litres) == pytest.approx(litres, abs=0.001)
        assert row.grams == pytest.approx(litres * kg_per_l * 1000, abs=2)
        # Half of a mark of 3.2 mm, and 0.18 % of the weight: the least that the sources differ by.
        stick_grams = math.pi * 50**2 * 0.16 * kg_per_l
        assert row.uncertainty_grams == pytest.approx(
            stick_grams + 0.0018 * litres * kg_per_l * 1000, abs=3
        )
