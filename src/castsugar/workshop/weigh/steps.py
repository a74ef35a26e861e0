"""Masses in whole steps of a scale: rounding that keeps the total and the ratio."""

from __future__ import annotations

import math

from castsugar.errors import InputError

#: A mass this close to a whole number of steps is that number [steps].
_EDGE = 1e-6

#: Most steps in one mass: beyond, a float cannot hold them.
MOST = 10**9


def steps_up(mass: float, step: float) -> int:
    """Return the least whole number of steps that is not below a mass."""
    return math.ceil(_ratio(mass, step) - _EDGE)


def steps_near(mass: float, step: float) -> int:
    """Return the nearest whole number of steps, half upwards."""
    return math.floor(_ratio(mass, step) + 0.5)


def _ratio(mass: float, step: float) -> float:
    ratio = mass / step
    if not abs(ratio) <= MOST:
        raise InputError(
            f"{1e3 * mass:g} g is {ratio:.3g} steps of {1e3 * step:g} g; allowed are "
            f"{MOST:g}; give the step of the scale"
        )
    return ratio


def portions(count: int, most: int) -> tuple[int, ...]:
    """Part whole steps into the fewest, nearly equal weighings of at most `most`.

    Examples
    --------
    >>> portions(10, 4)
    (4, 3, 3)
    """
    pieces = -(-count // most)
    if pieces <= 1:
        return (count,)
    each, more = divmod(count, pieces)
    return tuple(each + (index < more) for index in range(pieces))
