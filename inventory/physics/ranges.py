"""Ranges: what a number may be, and the plain sentence when it is not."""

from __future__ import annotations

import math
import numbers
import sys
from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING, Any, TypeAlias

from .lazy import np, pint

if TYPE_CHECKING:
    from numpy.typing import NDArray

# One number, or many: an array of no dimensions, or of some.
Floats: TypeAlias = "NDArray[np.float64]"


@dataclass(frozen=True)
class Range:
    """The values a quantity may take, in its unit, both ends included.

    `low_included` False means "more than `low`".
    """

    what: str
    unit: str
    low: float
    high: float = math.inf
    low_included: bool = True

    def floats(self, value: Any) -> Floats:
        """Return `value` as an array of floats, of no dimensions where it was one number.

        Raises ValueError, with the range and the unit, for what is outside the range, is not a
        finite number (a string, None, True, a complex number, a quantity with a unit of its own),
        is masked, or is empty.
        """
        array = self._array(value)
        if array.size == 0:
            raise ValueError(f"There is no {self.what} here: at least one is wanted, {self}.")
        if not np.isfinite(array).all():
            wrong = array[~np.isfinite(array)].flat[0]
            raise ValueError(f"The {self.what} must be a finite number, {self}, not {wrong}.")
        low_enough = array < self.low if self.low_included else array <= self.low
        outside = low_enough | (array > self.high)
        if outside.any():
            raise ValueError(f"The {self.what} must be {self}, not {array[outside].flat[0]:.12g}.")
        return array

    def one(self, value: Any) -> float:
        """Return `value`, which must be a single number, as a float; raises ValueError."""
        array = self.floats(value)
        if array.ndim:
            raise ValueError(f"The {self.what} must be one number, {self}, not {array.size}.")
        return float(array)

    def whole_numbers(self, value: Any) -> NDArray[np.int64]:
        """Return `value` as an array of integers; raises ValueError as `floats` does."""
        array = self.floats(value)
        broken = array != np.floor(array)
        if broken.any():
            raise ValueError(
                f"The {self.what} must be a whole number of {self.unit}, "
                f"not {array[broken].flat[0]:.12g}."
            )
        return array.astype(np.int64)

    def _array(self, value: Any) -> Floats:
        if isinstance(value, np.floating):
            value = np.asarray(value)
        if isinstance(value, np.ndarray) and value.dtype.kind in "iuf" and not _is_masked(value):
            if value.dtype.kind == "f" and value.dtype.itemsize < 8:
                # By their digits: 18.6 in single precision is not a little over 18.6.
                value = value.astype(str)
            return np.array(value, dtype=float)
        if _is_quantity(value) or _is_masked(value):
            raise ValueError(f"The {self.what} must be plain numbers, {self}, not {value!r}.")
        items = np.asarray(value, dtype=object)
        for item in items.flat:
            if isinstance(item, bool) or not isinstance(item, numbers.Real | Decimal):
                raise ValueError(f"The {self.what} must be a number, {self}, not {item!r}.")
        try:
            return items.astype(float)
        except (OverflowError, ValueError) as error:
            raise ValueError(f"The {self.what} must be a finite number, {self}.") from error

    def __str__(self) -> str:
        low = f"{self.low:,.12g}"
        if math.isinf(self.high):
            return f"{low} {self.unit} or more" if self.low_included else f"over {low} {self.unit}"
        start = f"from {low}" if self.low_included else f"over {low} and"
        joint = "to" if self.low_included else "up to"
        return f"{start} {joint} {self.high:,.12g} {self.unit}"


def _is_quantity(value: Any) -> bool:
    # Where pint was not imported, there is no quantity, and no need to import it.
    return "pint" in sys.modules and isinstance(value, pint.Quantity)


def _is_masked(value: Any) -> bool:
    return isinstance(value, np.ma.MaskedArray)


def alike(result: np.ndarray | np.generic) -> Any:
    """Return one Python value for an array of no dimensions, any other array as it is."""
    result = np.asarray(result)
    return result.item() if result.ndim == 0 else result


def same_shape(*arrays: np.ndarray) -> list[np.ndarray]:
    """Return the arrays stretched to one shape; raises ValueError where they do not fit."""
    try:
        return list(np.broadcast_arrays(*arrays))
    except ValueError as error:
        shapes = " and ".join(str(array.shape) for array in arrays)
        raise ValueError(f"The arrays do not go together: their shapes are {shapes}.") from error


def each(function: Callable[[Any], Any], value: Any) -> Any:
    """Return `function` of one value, or the array of its answers for an array or a list.

    Raises ValueError for an empty array.
    """
    if not isinstance(value, np.ndarray | list | tuple):
        return function(value)
    items = np.asarray(value, dtype=object)
    if items.size == 0:
        raise ValueError("There is nothing here: at least one value is wanted.")
    answers = [function(item) for item in items.flat]
    return alike(np.array(answers).reshape(items.shape))
