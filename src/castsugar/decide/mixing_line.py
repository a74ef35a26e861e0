"""The straight line of mixes through two mixes."""

from __future__ import annotations

import numpy as np

from castsugar.arrays import BoolArray, FloatArray
from castsugar.errors import InputError

#: It runs from here to there, in shares of the change, in so many steps.
_ENDS, _STEPS = (-0.5, 1.5), 80

#: Mixes so near each other are the same. [mass fraction]
_SAME = 1e-9


def line_through(base: FloatArray, new: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return shares of the change, (81,), and the mixes on the line, (81, k).

    From half a change before the base to half a change beyond the new mix, clipped to
    where no fraction is below 0.

    Raises
    ------
    InputError
        If both are the same.

    Examples
    --------
    >>> change, mixes = line_through(np.array([0.9, 0.1]), np.array([0.7, 0.3]))
    >>> change[[0, -1]].tolist(), mixes[-1].round(9).tolist()
    ([-0.5, 1.5], [0.6, 0.4])
    """
    step = new - base
    if np.abs(step).max() <= _SAME:
        raise InputError(
            "base and new mix are the same: no mixes lie between them; give two mixes "
            "that differ"
        )
    low, high = _ENDS
    for start, slope in zip(base.tolist(), step.tolist(), strict=True):
        if slope < -_SAME:
            high = min(high, start / -slope)
        elif slope > _SAME:
            low = max(low, -start / slope)
    change = np.linspace(low, high, _STEPS + 1)
    mixes = np.maximum(base + change[:, None] * step, 0.0)
    return change, mixes / mixes.sum(axis=1, keepdims=True)


def same_as(mixes: FloatArray, pair: FloatArray) -> BoolArray:
    """Say which mixes are one of a pair, (n,) of bool."""
    apart = np.abs(mixes[:, None] - pair[None]).max(axis=2)
    return np.asarray((apart <= _SAME).any(axis=1))
