"""Density of honey from its moisture and temperature, and how far that can be wrong.

Sources.
- Specific gravity 20 °C/20 °C by moisture: J. W. White, in E. Crane (ed.), Honey: A Comprehensive
  Survey, 1975, after Wedmore (1955), repeated by Bogdanov, Book of Honey, chapter 4 (from memory;
  the rows at 13 and 21 % also by way of a trade journal). Between whole percents the table itself
  runs in even steps, so straight lines join its rows.
- Water at 20 °C: 0.998207 kg/L (IAPWS-95, or any handbook). Density is specific gravity times that.
- Temperature: 0.0006 kg/L lost for each °C (White 1975, from memory; that density falls as
  temperature rises: J. Food Eng. 119(1), 167–172, 2013, read).
- Beyond the table, 10 to 13 and 21 to 30 % moisture, no honey table was found. There honey is
  taken to change as a sucrose solution of the same strength does (National Bureau of Standards
  Circular 440, from memory): 0.0068 a percent below 13 %, 0.0064 a percent above 21 %.

How far it can be wrong. Sources use "specific gravity" and "kg/L" as if they were one, and differ
by 0.18 %; honeys of one moisture differ too. On top of that stand 0.0001 kg/L for each degree away
from 20 °C (the temperature term has one digit), and 0.1 % for each percent of moisture beyond the
table. These are bounds and are added, not a standard deviation.
"""

from __future__ import annotations

from typing import Any

from .lazy import np, pint
from .ranges import Floats, Range, alike, same_shape
from .units import GALLON_LITRES, POUND_GRAMS, quantity

MOISTURE = Range("moisture", "g per 100 g", 10, 30)
CELSIUS = Range("temperature", "°C", 0, 60)

REFERENCE_CELSIUS = 20.0
WATER_KG_PER_L = 0.998207
KG_PER_L_PER_CELSIUS = 0.0006

TABLE_MOISTURE = (13.0, 14.0, 15.0, 16.0, 17.0, 18.0, 19.0, 20.0, 21.0)
TABLE_SPECIFIC_GRAVITY = (
    1.4457, 1.4404, 1.4350, 1.4295, 1.4237, 1.4171, 1.4101, 1.4027, 1.3950,
)  # fmt: skip
SPECIFIC_GRAVITY_PER_PERCENT_BELOW = 0.0068
SPECIFIC_GRAVITY_PER_PERCENT_ABOVE = 0.0064

UNCERTAINTY_OF_SOURCES = 0.0018
UNCERTAINTY_KG_PER_L_PER_CELSIUS = 0.0001
UNCERTAINTY_PER_PERCENT_BEYOND_TABLE = 0.001

_MOISTURE = (MOISTURE.low, *TABLE_MOISTURE, MOISTURE.high)
_SPECIFIC_GRAVITY = (
    TABLE_SPECIFIC_GRAVITY[0]
    + SPECIFIC_GRAVITY_PER_PERCENT_BELOW * (TABLE_MOISTURE[0] - MOISTURE.low),
    *TABLE_SPECIFIC_GRAVITY,
    TABLE_SPECIFIC_GRAVITY[-1]
    - SPECIFIC_GRAVITY_PER_PERCENT_ABOVE * (MOISTURE.high - TABLE_MOISTURE[-1]),
)
_POUNDS_PER_GALLON = float(GALLON_LITRES * 1000 / POUND_GRAMS)


def density_kg_per_l(moisture: Any, celsius: Any = REFERENCE_CELSIUS) -> Any:
    """Return the density of honey in kg/L.

    Moisture is in g per 100 g, 10 to 30; the table covers 13 to 21 and the rest is a guess with a
    wider band, see `density_uncertainty_kg_per_l`. Temperature is in °C, 0 to 60. Falls with both.
    Raises ValueError outside these.

    >>> round(density_kg_per_l(17), 4)
    1.4211
    """
    moisture, celsius = _checked(moisture, celsius)
    return alike(_density(moisture, celsius))


def density_uncertainty_kg_per_l(moisture: Any, celsius: Any = REFERENCE_CELSIUS) -> Any:
    """Return how far `density_kg_per_l` can be wrong, in kg/L, either way.

    At least 0.18 % of the density; more away from 20 °C, and more off the table of moistures.
    Raises ValueError as `density_kg_per_l` does.
    """
    moisture, celsius = _checked(moisture, celsius)
    return alike(_uncertainty(moisture, celsius))


def pounds_per_gallon(moisture: Any, celsius: Any = REFERENCE_CELSIUS) -> Any:
    """Return the density of honey in avoirdupois pounds a US gallon; raises ValueError.

    68 °F, at which liquids are traded by the gallon, is 20 °C.
    """
    moisture, celsius = _checked(moisture, celsius)
    return alike(_density(moisture, celsius) * _POUNDS_PER_GALLON)


def density(moisture: Any, temperature: pint.Quantity[Any] | None = None) -> pint.Quantity[Any]:
    """Return the density as a pint quantity for a temperature in any unit, 20 °C by default.

    Raises ValueError as `density_kg_per_l`, `pint.DimensionalityError` where it is no temperature.
    """
    celsius = REFERENCE_CELSIUS if temperature is None else temperature.to("degC").magnitude
    return quantity(density_kg_per_l(moisture, celsius), "kg/L")


def _checked(moisture: Any, celsius: Any) -> list[Floats]:
    return same_shape(MOISTURE.floats(moisture), CELSIUS.floats(celsius))


def _density(moisture: Floats, celsius: Floats) -> Floats:
    at_reference = np.interp(moisture, _MOISTURE, _SPECIFIC_GRAVITY) * WATER_KG_PER_L
    return at_reference - KG_PER_L_PER_CELSIUS * (celsius - REFERENCE_CELSIUS)


def _uncertainty(moisture: Floats, celsius: Floats) -> Floats:
    beyond = np.abs(moisture - np.clip(moisture, TABLE_MOISTURE[0], TABLE_MOISTURE[-1]))
    share = UNCERTAINTY_OF_SOURCES + UNCERTAINTY_PER_PERCENT_BEYOND_TABLE * beyond
    away = np.abs(celsius - REFERENCE_CELSIUS)
    return share * _density(moisture, celsius) + UNCERTAINTY_KG_PER_L_PER_CELSIUS * away
