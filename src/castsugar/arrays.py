"""Arrays by what they hold, and inside the range that a source covers."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from castsugar.constants import ICE_POINT
from castsugar.errors import ValidityError

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]


def inside(
    values: ArrayLike,
    low: float,
    high: float,
    what: str,
    unit: str = "",
    *,
    zero: float = 0.0,
) -> FloatArray:
    """Return the values as an array, if all lie in a closed range.

    Parameters
    ----------
    values : array_like
        In SI, as `low` and `high`.
    what, unit : str
        For the message.
    zero : float
        Taken from the numbers before they are shown (273.15 shows K as C).

    Raises
    ------
    ValidityError
        Names what it is, the first value outside, and the range.
    """
    array = np.asarray(values, dtype=float)
    if array.size and not (array.min() >= low and array.max() <= high):
        outside = array[~((array >= low) & (array <= high))]
        got = float(outside.flat[0]) - zero
        tail = f" {unit}" if unit else ""
        raise ValidityError(
            f"{what} is {got:.6g}{tail}; the model covers {low - zero:g} to "
            f"{high - zero:g}{tail}"
        )
    return array


def celsius(values: ArrayLike, low: float, high: float, what: str) -> FloatArray:
    """Return temperatures in C of values in K, if inside a range given in C."""
    kelvin = inside(
        values, low + ICE_POINT, high + ICE_POINT, what, "C", zero=ICE_POINT
    )
    return kelvin - ICE_POINT
