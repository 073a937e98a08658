"""Moisture of honey from the index a refractometer shows, and back.

Source: S. Bogdanov, Book of Honey, chapter 4 (2009, 2011/2016), table of refractive index against
water after Chataway (1932) and Wedmore (1955), the same table as in the International Honey
Commission's harmonised methods and AOAC 969.38B (read): W = (−0.26810 − log10(n − 1)) / 0.002243,
with n at 20 °C. An index read above 20 °C is raised by 0.00023 for each degree, one read below is
lowered. The formula meets the printed table within 0.03 points of moisture.

The table spans 13 to 25 g of water in 100 g, an index of 1.5044 to 1.4740; it is not stretched.
Both columns are rounded, so up to 0.05 points beyond an end still count as that end. The
temperature correction is for a room, 10 to 40 °C: let sample and instrument come to one
temperature first.
"""

from __future__ import annotations

from typing import Any

from .lazy import np
from .ranges import Range, alike, same_shape

INTERCEPT = -0.26810
SLOPE = 0.002243
INDEX_PER_CELSIUS = 0.00023
REFERENCE_CELSIUS = 20.0

MOISTURE = Range("moisture by refractometer", "g per 100 g", 12.95, 25.05)
CELSIUS = Range("temperature of the reading", "°C", 10, 40)
# What can be read at 10 to 40 °C when the index at 20 °C lies on the table.
READING = Range("refractive index (a plain ratio)", "at 10 to 40 °C", 1.4693, 1.5068)


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
