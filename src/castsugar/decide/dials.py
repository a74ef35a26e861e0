"""Limits that can be moved over mixes evaluated before: positions and values.

Values are rounded to what is shown, against the mix, so that the rule gives the same
answer before and after at every position.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from castsugar.arrays import FloatArray, IntArray
from castsugar.decide.around import Around
from castsugar.decide.measure import KEPT
from castsugar.decide.problem import Limit
from castsugar.decide.remaining import ENDLESS, standing
from castsugar.decide.stated import C_STAR

#: Digits of pressure, viscosity and c*: of a viscosity, good to a factor, two.
DIGITS = (4, 2, 4)

#: Steps of a linear scale, from which the first that needs few enough is taken.
_STEPS = {
    "<=": (0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0),
    ">=": (0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0),
}

#: Most stops of a linear scale, one for each step.
_STOPS = 58.0

#: A scale reaches so many times the least value; beyond, only "any" allows a mix.
_REACH = (10.0, 1e4)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Dial:
    """A limit that can be moved.

    Attributes
    ----------
    column : str
        Empty without the wing that computes it.
    sense : str
    values : ndarray, shape (n + 2,)
        Of all mixes, base and new last; rounded.
    stops : tuple of float or None
        From one end to the other; None, at the loosest end, allows any.
    start : int
        Place of the limit given, or of None.
    given : float or None
        The limit given.
    """

    column: str
    sense: str
    values: FloatArray
    stops: tuple[float | None, ...]
    start: int
    given: float | None

    @property
    def works(self) -> bool:
        """Say whether there is more than one position."""
        return len(self.stops) > 1


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Dials:
    """Three limits that can be moved, and how mixes stand under all others.

    Attributes
    ----------
    pressure, viscosity, velocity : Dial
    fixed : tuple of Limit
        The limits that stay.
    others : ndarray of int, shape (n + 2,)
        Under those, as :func:`castsugar.decide.remaining.standing` says it.
    """

    pressure: Dial
    viscosity: Dial
    velocity: Dial
    fixed: tuple[Limit, ...]
    others: IntArray

    @property
    def each(self) -> tuple[Dial, Dial, Dial]:
        """Return the three."""
        return self.pressure, self.viscosity, self.velocity

    def states(self, places: Sequence[int] | None = None) -> IntArray:
        """Return how all mixes stand at some positions; at the start by default."""
        at = [d.start for d in self.each] if places is None else list(places)
        first, second, third = (d.stops[k] for d, k in zip(self.each, at, strict=True))
        one, two, three = (d.values for d in self.each)
        return standing(one, two, three, (first, second, third), self.others)


def dials_of(around: Around, limits: Sequence[Limit]) -> Dials:
    """Return the limits that can be moved over the mixes around two.

    Parameters
    ----------
    around : Around
    limits : sequence of Limit
        Given; those on columns that can be moved are where these start.
    """
    columns = (around.pressure, around.viscosity, C_STAR)
    senses = ("<=", "<=", ">=")
    given: list[Limit | None] = []
    for column, sense in zip(columns, senses, strict=True):
        mine = [x for x in limits if x.column == column and x.sense == sense]
        given.append(min(mine, key=lambda x: x.sign * x.value) if mine else None)
    fixed = tuple(x for x in limits if not any(x is g for g in given))
    made = [
        _dial(around, place, columns[place], senses[place], limit)
        for place, limit in enumerate(given)
    ]
    return Dials(
        pressure=made[0],
        viscosity=made[1],
        velocity=made[2],
        fixed=fixed,
        others=around.under(fixed),
    )


def _dial(
    around: Around, place: int, column: str, sense: str, limit: Limit | None
) -> Dial:
    """Return one limit that can be moved."""
    given = limit.value if limit else None
    values = coarse(around.column(column), DIGITS[place], sense, given)
    known = values[np.isfinite(values) & (values > 0.0)]
    stops: list[float | None] = []
    if sense == ">=" and known.size:
        stops = [None, *linear_stops(known, sense, given, _STEPS[sense])]
    elif known.size and known.min() < ENDLESS[place]:
        most = max(_REACH[place] * float(known.min()), given or 0.0)
        near = known[known <= most]
        found = (
            linear_stops(near, sense, given, _STEPS[sense])
            if place == 0
            else decade_stops(near, given)
        )
        stops = [*found, None]
    return Dial(
        column=column,
        sense=sense,
        values=values,
        stops=tuple(stops or [None]),
        start=stops.index(given) if given in stops else 0,
        given=given,
    )


def coarse(
    values: FloatArray, digits: int, sense: str, limit: float | None = None
) -> FloatArray:
    """Round against the mix, so that no rounded value keeps what the value breaks.

    Up where less is better ("<="), down where more is (">="). A value that keeps
    `limit` is not rounded beyond it: whether a mix keeps it is the same before and
    after, and likewise for every number of so many digits.

    Parameters
    ----------
    values : ndarray
        NaN and infinite ones stay.
    digits : int
        That count.
    sense : str
    limit : float, optional

    Examples
    --------
    >>> coarse(np.array([10.04, 6.8946, 9.9]), 2, "<=", 6.894757).tolist()
    [11.0, 6.894757, 9.9]
    """
    up = sense == "<="
    found = [_rounded(value, digits, up=up) for value in np.ravel(values).tolist()]
    if limit is not None:
        sign = 1.0 if up else -1.0
        room = KEPT * abs(limit)
        pairs = zip(np.ravel(values).tolist(), found, strict=True)
        found = [
            limit if sign * (v - limit) <= room and sign * (r - limit) > 0.0 else r
            for v, r in pairs
        ]
    return np.array(found, dtype=float).reshape(np.shape(values))


def _rounded(value: float, digits: int, *, up: bool) -> float:
    """Round a number up or down to so many digits."""
    if not math.isfinite(value) or value == 0.0:
        return value
    step = 10.0 ** (math.floor(math.log10(abs(value))) - digits + 1)
    parts = value / step
    whole = math.ceil(parts - 1e-7) if up else math.floor(parts + 1e-7)
    return float(f"{whole * step:.{digits}g}")


def linear_stops(
    values: FloatArray, sense: str, limit: float | None, steps: Sequence[float]
) -> list[float]:
    """Return the positions of a limit on a linear scale, rising; the given one too.

    From where nothing is left to where nearly everything is.

    Parameters
    ----------
    values : ndarray
        Those known.
    sense : str
    limit : float, optional
        Is among the stops.
    steps : sequence of float
        Steps to choose from, rising: the first that needs 60 stops or fewer.

    Examples
    --------
    >>> linear_stops(np.array([2.0, 3.9]), "<=", 3.3, (0.1, 1.0))[-3:]
    [3.7, 3.8, 3.9]
    >>> linear_stops(np.array([2.0, 3.9]), "<=", 3.25, (1.0,))
    [1.0, 2.0, 3.0, 3.25]
    """
    both = values if limit is None else np.append(values, limit)
    low, high = float(both.min()), float(both.max())
    step = next((s for s in steps if (high - low) / s <= _STOPS), steps[-1])
    first, last = math.floor(low / step), math.floor(high / step)
    if sense == "<=":
        first -= first * step == low
    else:
        first, last = math.ceil(low / step), math.ceil(high / step)
        last += last * step == high
    found = {float(f"{k * step:.9g}") for k in range(first, last + 1)}
    return sorted(found if limit is None else {*found, limit})


def decade_stops(values: FloatArray, limit: float | None) -> list[float]:
    """Return the positions of an upper limit on a logarithmic scale, rising.

    Examples
    --------
    >>> decade_stops(np.array([4.5, 11.0]), 9.5)
    [4.0, 5.0, 6.0, 8.0, 9.5, 10.0]
    """
    both = values if limit is None else np.append(values, limit)
    low, high = float(both.min()), float(both.max())
    first, last = math.floor(math.log10(low)) - 1, math.ceil(math.log10(high))
    series = [
        float(f"{lead * 10.0**power:.3g}")
        for power in range(first, last + 1)
        for lead in (1.0, 1.2, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 8.0)
    ]
    below = [s for s in series if s < low]
    found = {below[-1], *(s for s in series if low <= s <= high)}
    return sorted(found if limit is None else {*found, limit})
