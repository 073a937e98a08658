"""Moisture of honey, and °Brix, from the index a refractometer shows, and back.

Moisture. Source: S. Bogdanov, Book of Honey, chapter 4 (2009, 2011/2016), table of refractive
index against water after Chataway (1932) and Wedmore (1955), the same table as in the
International Honey Commission's harmonised methods and AOAC 969.38B (read):
W = (−0.26810 − log10(n − 1)) / 0.002243, with n at 20 °C. An index read above 20 °C is raised by
0.00023 for each degree, one read below is lowered. The formula meets the printed table within
0.03 points of moisture.

The table spans 13 to 25 g of water in 100 g, an index of 1.5044 to 1.4740; it is not stretched.
Both columns are rounded, so up to 0.05 points beyond an end still count as that end. The
temperature correction is for a room, 10 to 40 °C: let sample and instrument come to one
temperature first.

°Brix is the strength of a solution of sucrose, g in 100 g, with the same index. Source: ICUMSA,
Specification and Standard SPS-3 (2000), refractive index of sucrose solutions at 20 °C and 589 nm
(from memory): a polynomial that meets its table, in steps of 5 from 0 to 85, within 0.002. A
reading at another temperature is corrected as in the international temperature correction table
of ICUMSA (from memory; printed from 0 to 70 °Brix and 10 to 30 °C), which the correction here
meets within 0.02; beyond the table it goes on as the formula does.

Honey is no sucrose: its other sugars and its acids give less index for the same solids. So 100
less °Brix is about 1.5 to 2 points more than the water of a honey, and the water is read from the
honey's own table: °Brix → index → moisture.
"""

from __future__ import annotations

from typing import Any

from .lazy import np
from .ranges import Floats, Range, alike, same_shape

INTERCEPT = -0.26810
SLOPE = 0.002243
INDEX_PER_CELSIUS = 0.00023
REFERENCE_CELSIUS = 20.0

MOISTURE = Range("moisture by refractometer", "g per 100 g", 12.95, 25.05)
CELSIUS = Range("temperature of the reading", "°C", 10, 40)
# What can be read at 10 to 40 °C when the index at 20 °C lies on the table.
READING = Range("refractive index (a plain ratio)", "at 10 to 40 °C", 1.4693, 1.5068)

# Sucrose: the index of water, and °Brix by powers of what the index is above it, the first first.
WATER_INDEX = 1.332986
BRIX_BY_INDEX = (699.933, -1829.30, 5271.6, -11035.4, 12870.2)
# What is added to a reading for each degree above 20 °C, and for each degree squared, by powers of
# the reading: 0.0617 at 0 °Brix, 0.079 at 70.
BRIX_PER_CELSIUS = (6.17e-2, 5.47e-4, -4.29e-6)
BRIX_PER_CELSIUS_SQUARED = (1.10e-3, -1.73e-5, 4.45e-8)

BRIX = Range("°Brix", "g of sucrose per 100 g", -0.05, 85.05)
# From water at 40 °C to 85 °Brix at 10 °C.
BRIX_READING = Range("refractive index (a plain ratio)", "at 10 to 40 °C", 1.3305, 1.5062)
NEWTON_STEPS = 8


def moisture_from_refractive_index(index: Any, celsius: Any = REFERENCE_CELSIUS) -> Any:
    """Return the moisture, g per 100 g, for an index read at a temperature in °C.

    Raises ValueError where the temperature is outside 10 to 40 °C, or the index, brought to 20 °C,
    is off the table (1.4740 to 1.5044).

    >>> round(moisture_from_refractive_index(1.4940), 1)
    17.0
    """
    index, celsius = same_shape(READING.floats(index), CELSIUS.floats(celsius))
    index_at_reference = index + INDEX_PER_CELSIUS * (celsius - REFERENCE_CELSIUS)
    moisture = (INTERCEPT - np.log10(index_at_reference - 1)) / SLOPE
    # Nine decimals, so that the last bit of a float never decides at an end.
    within = np.round(moisture, 9)
    outside = (within < MOISTURE.low) | (within > MOISTURE.high)
    if outside.any():
        raise ValueError(
            f"A refractive index of {index[outside].flat[0]:.4f} read at "
            f"{celsius[outside].flat[0]:g} °C is off the table: brought to 20 °C it must be from "
            "1.4740 (25 g per 100 g of moisture) to 1.5044 (13 g per 100 g)."
        )
    return alike(moisture)


def refractive_index_from_moisture(moisture: Any, celsius: Any = REFERENCE_CELSIUS) -> Any:
    """Return the index that honey of a moisture, g per 100 g, shows at a temperature in °C.

    The exact inverse of `moisture_from_refractive_index`. Raises ValueError where the moisture is
    off the table (13 to 25, and 0.05 beyond) or the temperature outside 10 to 40 °C.

    >>> round(refractive_index_from_moisture(17.0), 4)
    1.494
    """
    moisture, celsius = same_shape(MOISTURE.floats(moisture), CELSIUS.floats(celsius))
    index_at_reference = 1 + 10 ** (INTERCEPT - SLOPE * moisture)
    return alike(index_at_reference - INDEX_PER_CELSIUS * (celsius - REFERENCE_CELSIUS))


def brix_from_refractive_index(index: Any, celsius: Any = REFERENCE_CELSIUS) -> Any:
    """Return the °Brix, g of sucrose per 100 g, of an index read at a temperature in °C.

    Raises ValueError where the temperature is outside 10 to 40 °C, or the index, brought to 20 °C,
    is outside 0 to 85 °Brix (1.3330 to 1.5040).

    >>> round(brix_from_refractive_index(1.3999), 1)
    40.0
    """
    index, celsius = same_shape(BRIX_READING.floats(index), CELSIUS.floats(celsius))
    reading = _brix_at_reference(index)
    brix = reading + _brix_correction(reading, celsius)
    # Nine decimals, so that the last bit of a float never decides at an end.
    within = np.round(brix, 9)
    outside = (within < BRIX.low) | (within > BRIX.high)
    if outside.any():
        raise ValueError(
            f"A refractive index of {index[outside].flat[0]:.4f} read at "
            f"{celsius[outside].flat[0]:g} °C is off the sucrose scale: brought to 20 °C it must "
            "be from 1.3330 (0 °Brix) to 1.5040 (85 °Brix)."
        )
    return alike(brix)


def refractive_index_from_brix(brix: Any, celsius: Any = REFERENCE_CELSIUS) -> Any:
    """Return the index that a sucrose solution of a °Brix shows at a temperature in °C.

    The exact inverse of `brix_from_refractive_index`. Raises ValueError where the °Brix is outside
    0 to 85 (and 0.05 beyond) or the temperature outside 10 to 40 °C.

    >>> round(refractive_index_from_brix(40.0), 4)
    1.3999
    """
    brix, celsius = same_shape(BRIX.floats(brix), CELSIUS.floats(celsius))
    reading = brix
    for _step in range(NEWTON_STEPS):
        # The correction hardly depends on the reading, so that each step adds two digits.
        reading = brix - _brix_correction(reading, celsius)
    index = WATER_INDEX + reading / BRIX_BY_INDEX[0]
    for _step in range(NEWTON_STEPS):
        index = index - (_brix_at_reference(index) - reading) / _brix_slope(index)
    return alike(index)


def _brix_at_reference(index: Floats) -> Floats:
    """Return the °Brix of an index as if it were read at 20 °C."""
    polyval = np.polynomial.polynomial.polyval
    return np.asarray(polyval(index - WATER_INDEX, (0.0, *BRIX_BY_INDEX)), dtype=float)


def _brix_slope(index: Floats) -> Floats:
    """Return how much °Brix at 20 °C rises with the index."""
    powers = [power * factor for power, factor in enumerate(BRIX_BY_INDEX, start=1)]
    return np.asarray(np.polynomial.polynomial.polyval(index - WATER_INDEX, powers), dtype=float)


def _brix_correction(reading: Floats, celsius: Floats) -> Floats:
    """Return the °Brix to add to a reading made at another temperature than 20 °C."""
    polyval = np.polynomial.polynomial.polyval
    above = celsius - REFERENCE_CELSIUS
    return above * polyval(reading, BRIX_PER_CELSIUS) + above**2 * polyval(
        reading, BRIX_PER_CELSIUS_SQUARED
    )
