r"""Everything burned at one pressure: the rate there, and what it cannot tell.

Strands in open air give a rate and a repeatability; the exponent is left to what was
held beforehand, until the test that would fix it. With k strands here and m at x times
the pressure,

.. math:: u(n) = \frac{s \sqrt{1/k + 1/m}}{\ln x}

(difference of two means over the difference in ln p; s the scatter of ln r).
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike

from castsugar.errors import InputError
from castsugar.frozen import dataclass
from castsugar.motor.strand_fit import checked, student

#: Strands count as burned at one pressure if their ln p spans less than this (5 %):
#: the weather moves the pressure of open air by less.
ONE_PRESSURE_SPAN = 0.05

#: The standard error of the exponent that the proposed test aims at.
EXPONENT_GOAL = 0.05

#: The proposed test: at least this pressure ratio, preferably not more than that one,
#: and at least so many strands (common practice, no source).
_LEAST_RATIO, _MOST_RATIO, _LEAST_STRANDS, _MOST_STRANDS = 2.0, 10.0, 3, 12


@dataclass(frozen=True, slots=True, kw_only=True)
class NextTest:
    """The test that would fix the exponent."""

    ratio: float  # burn strands at this many times the tested pressure, or more
    strands: int  # how many there
    more_here: int  # how many more at the pressure already tested
    exponent_u: float  # standard error of the exponent to expect


@dataclass(frozen=True, slots=True, kw_only=True)
class SinglePressure:
    """What strands at one pressure tell."""

    pressure: float  # geometric mean [Pa]
    count: int
    rate: float  # geometric mean [m/s]
    #: Confidence interval of the rate, Student t; infinitely wide for one strand. [m/s]
    low: float
    high: float
    level: float  # probability of the interval
    repeatability: float  # standard deviation of the rates; NaN for one strand [m/s]
    variation: float  # coefficient of variation, standard deviation over mean
    scatter: float  # standard deviation of ln r

    @property
    def new_strand_u(self) -> float:
        """Return the standard uncertainty of ln r of a new strand at this pressure."""
        return self.scatter * math.sqrt(1.0 + 1.0 / self.count)


def is_one_pressure(pressure: ArrayLike) -> bool:
    """Return whether all pressures count as one (:data:`ONE_PRESSURE_SPAN`)."""
    p = np.asarray(pressure, dtype=float)
    return bool(np.log(p.max() / p.min()) < ONE_PRESSURE_SPAN)


def at_one_pressure(
    pressure: ArrayLike, rate: ArrayLike, level: float = 0.95
) -> SinglePressure:
    """Return the rate at the one pressure, with band and repeatability.

    Parameters
    ----------
    pressure, rate : array_like, shape (n,)
        [Pa], [m/s]

    Raises
    ------
    InputError
        No strand, values that are not positive, more than one pressure.
    """
    p, r = checked(pressure, rate)
    if not len(p) or not is_one_pressure(p):
        raise InputError(f"{len(p)} strands do not lie at one pressure; fit a law")
    n, log_r = len(r), np.sort(np.log(r))
    scatter = float(log_r.std(ddof=1)) if n > 1 else math.nan
    half = student(level, n - 1) * scatter / math.sqrt(n) if n > 1 else math.inf
    middle = float(log_r.mean())
    spread = float(np.sort(r).std(ddof=1)) if n > 1 else math.nan
    return SinglePressure(
        pressure=float(np.exp(np.sort(np.log(p)).mean())),
        count=n,
        rate=math.exp(middle),
        low=math.exp(middle - half),
        high=math.exp(middle + half) if half < 700.0 else math.inf,
        level=level,
        repeatability=spread,
        variation=spread / float(np.sort(r).mean()),
        scatter=scatter,
    )


def exponent_error(scatter: float, here: int, there: int, ratio: float) -> float:
    """Return the standard error of an exponent from two pressures.

    Parameters
    ----------
    scatter : float
        Standard deviation of ln r.
    here, there : int
        Strands at each pressure.
    ratio : float
        Of the two pressures, above 1.

    Examples
    --------
    >>> round(exponent_error(0.05, 4, 4, 2.0), 4)  # 0.05 sqrt(1/4 + 1/4) / ln 2
    0.051
    """
    return scatter * math.sqrt(1.0 / here + 1.0 / there) / math.log(ratio)


def next_test(found: SinglePressure) -> NextTest | None:
    """Return the smallest test that brings u(n) to 0.05. None without repeatability.

    First the fewest strands (3 to 12) at no more than 10 times the pressure, the ratio
    as small as they allow but at least 2; if none is enough, as many at both pressures,
    10 times apart.
    """
    s, k = found.scatter, found.count
    if not math.isfinite(s):
        return None
    for m in range(_LEAST_STRANDS, _MOST_STRANDS + 1):
        ratio = math.exp(s * math.sqrt(1.0 / k + 1.0 / m) / EXPONENT_GOAL)
        if ratio <= _MOST_RATIO:
            # Rounded up to a tenth, so that the goal is kept.
            ratio = max(_LEAST_RATIO, math.ceil(10.0 * ratio) / 10.0)
            return NextTest(
                ratio=ratio,
                strands=m,
                more_here=0,
                exponent_u=exponent_error(s, k, m, ratio),
            )
    both = math.ceil(2.0 * (s / (EXPONENT_GOAL * math.log(_MOST_RATIO))) ** 2)
    both = max(both, k)
    return NextTest(
        ratio=_MOST_RATIO,
        strands=both,
        more_here=both - k,
        exponent_u=exponent_error(s, both, both, _MOST_RATIO),
    )
