"""Units: exact conversions of what people type, and quantities of pint.

Factors are exact: NIST Handbook 44, appendix C (read): 1 lb = 453.59237 g; 1 US gallon = 231 cubic
inches = 3.785411784 L; 16 oz to the pound, 4 quarts and 128 fluid ounces to the gallon.
"""

from __future__ import annotations

from collections.abc import Mapping
from decimal import ROUND_HALF_EVEN, Decimal
from functools import cache
from typing import Any

from .lazy import pint

POUND_GRAMS = Decimal("453.59237")
OUNCE_GRAMS = POUND_GRAMS / 16
GALLON_LITRES = Decimal("3.785411784")
QUART_LITRES = GALLON_LITRES / 4
FLUID_OUNCE_LITRES = GALLON_LITRES / 128
MM_PER_INCH = Decimal("25.4")

GRAMS: Mapping[str, Decimal] = {
    "g": Decimal(1),
    "kg": Decimal(1000),
    "lb": POUND_GRAMS,
    "oz": OUNCE_GRAMS,
}
LITRES: Mapping[str, Decimal] = {
    "L": Decimal(1),
    "mL": Decimal("0.001"),
    "gal": GALLON_LITRES,
    "qt": QUART_LITRES,
    "fl_oz": FLUID_OUNCE_LITRES,
}


def fahrenheit(celsius: Decimal) -> Decimal:
    """Return a temperature in °F, exact."""
    return celsius * 9 / 5 + 32


def celsius(fahrenheit: Decimal) -> Decimal:
    """Return a temperature in °C, to as many decimals as the context has."""
    return (fahrenheit - 32) * 5 / 9


def quantity(amount: Any, unit: str) -> pint.Quantity[Any]:
    """Return an amount in a unit as a quantity of pint, all of one registry.

    >>> quantity(1, "lb").to("oz").magnitude
    16.0
    """
    return _registry().Quantity(amount, unit)


def grams_from(amount: Decimal, unit: str) -> Decimal:
    """Return a weight in g, kg, lb or oz as grams, exactly.

    Raises ValueError for a unit that is no weight, and for an amount that is negative, not finite,
    or a float (floats carry no exact decimals: make a Decimal of the text that was typed).

    >>> grams_from(Decimal("1.5"), "lb")
    Decimal('680.388555')
    """
    return _plain(_amount(amount) * _factor(unit, GRAMS))


def litres_from(amount: Decimal, unit: str) -> Decimal:
    """Return a volume in L, mL, gal, qt or fl_oz as litres, exactly; raises as `grams_from`.

    >>> litres_from(Decimal(5), "gal")
    Decimal('18.92705892')
    """
    return _plain(_amount(amount) * _factor(unit, LITRES))


def round_grams(grams: Decimal) -> int:
    """Return whole grams, half a gram rounding to the even gram.

    >>> round_grams(Decimal("340.5")), round_grams(Decimal("341.5"))
    (340, 342)
    """
    return int(_amount(grams).quantize(Decimal(1), rounding=ROUND_HALF_EVEN))


@cache
def _registry() -> pint.UnitRegistry[Any]:
    return pint.UnitRegistry()


def _amount(amount: Decimal | int) -> Decimal:
    if isinstance(amount, bool) or not isinstance(amount, Decimal | int):
        raise ValueError(f"An exact decimal number is wanted, not {amount!r}.")
    amount = Decimal(amount)
    if not amount.is_finite():
        raise ValueError(f"A finite number is wanted, not {amount}.")
    if amount < 0:
        raise ValueError(f"An amount is 0 or more, not {amount}.")
    return amount


def _factor(unit: str, wanted: Mapping[str, Decimal]) -> Decimal:
    if isinstance(unit, str) and unit in wanted:
        return wanted[unit]
    mass = wanted is GRAMS
    other = LITRES if mass else GRAMS
    told = f"{unit} is not a unit we know"
    if isinstance(unit, str) and unit in other:
        told = f"{unit} is a {'volume' if mass else 'weight'}"
    *first, last = wanted
    raise ValueError(
        f"{told}; a {'weight' if mass else 'volume'} is wanted: {', '.join(first)} or {last}."
    )


def _plain(amount: Decimal) -> Decimal:
    """Drop trailing zeros, and never answer in powers of ten: 1E+3 becomes 1000."""
    return Decimal(f"{amount.normalize():f}")
