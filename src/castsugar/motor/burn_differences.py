r"""Do two mixes burn differently?

Lines ``ln r`` against ``ln p`` for both mixes, common scatter. Two F tests against
separate lines (Draper & Smith, *Applied Regression Analysis*, ch. 14): one line for
both (coincidence), and one exponent for both (parallel). The ratio of the rates at a
pressure has the interval

.. math:: \exp\left(\Delta \ln r \pm t \, s \sqrt{v_1 + v_2}\right)

with the pooled scatter s. Mixes burned at one pressure are compared by their means.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from castsugar.arrays import FloatArray
from castsugar.errors import InputError
from castsugar.motor.single_pressure import ONE_PRESSURE_SPAN, is_one_pressure
from castsugar.motor.strand_fit import (
    LeastSquares,
    checked,
    f_probability,
    least_squares,
    student,
)

#: Two mixes differ if one line for both is less probable than this.
DIFFERENCE_PROBABILITY = 0.05


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """Two mixes side by side.

    Attributes
    ----------
    first, second : str
        Names of the mixes.
    verdict : str
        "differ" or "cannot tell".
    coincidence : float
        Probability of data as far apart if one law serves both. For mixes at one
        pressure, that of equal means.
    parallel : float
        The same, if one exponent serves both; NaN at one pressure.
    unequal_scatter : float
        The same for the ratio of their variances, if the scatter is the same; a small
        value says that the pooled scatter misleads.
    pressure : float
        Where the ratio is taken. [Pa]
    ratio, low, high : float
        Rate of the first over the rate of the second, and its interval.
    level : float
    reason : str
        Why nothing could be told, else empty.
    """

    first: str
    second: str
    verdict: str
    coincidence: float = math.nan
    parallel: float = math.nan
    unequal_scatter: float = math.nan
    pressure: float = math.nan
    ratio: float = math.nan
    low: float = math.nan
    high: float = math.nan
    level: float = 0.95
    reason: str = ""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Group:
    """The strands of one mix: name, pressures [Pa], rates [m/s]."""

    name: str
    pressure: FloatArray
    rate: FloatArray


def testable(first: Group, second: Group) -> bool:
    """Return whether two mixes can be compared at all."""
    return not compare(first, second).reason


def compare(
    first: Group,
    second: Group,
    *,
    pressure: float | None = None,
    level: float = 0.95,
    pairs: int = 1,
) -> Comparison:
    """Compare the burning rates of two mixes.

    Parameters
    ----------
    first, second : Group
        3 strands or more each.
    pressure : float, optional
        Where to state the ratio; by default the middle of the common pressures, else
        the middle of all. Mixes burned at one pressure are compared there. [Pa]
    level : float
        Probability of the interval of the ratio.
    pairs : int
        Number of pairs that are compared; the probability of coincidence is multiplied
        by it for the verdict (Bonferroni).

    Returns
    -------
    Comparison
        With "cannot tell" and a reason where the data do not allow a test.
    """
    p1, r1 = checked(first.pressure, first.rate)
    p2, r2 = checked(second.pressure, second.rate)
    if min(len(p1), len(p2)) < 3:
        few = first.name if len(p1) < 3 else second.name
        return _no(first, second, f"{few!r} has fewer than 3 strands")
    if pressure is not None and not (math.isfinite(pressure) and pressure > 0.0):
        raise InputError(f"pressure is {pressure:g} Pa; it must be finite, above 0")
    one = is_one_pressure(p1), is_one_pressure(p2)
    if one == (True, True):
        apart = abs(float(np.log(p1).mean() - np.log(p2).mean()))
        if apart >= ONE_PRESSURE_SPAN:
            return _no(first, second, "each burned at one pressure, but not the same")
    elif any(one):
        only = first.name if one[0] else second.name
        return _no(first, second, f"{only!r} burned at one pressure only")
    # Where both burned at one pressure, nothing is known of the ratio elsewhere.
    at = _common_pressure(p1, p2) if pressure is None or one[0] else pressure
    x = (np.sort(np.log(p1 / at)), np.sort(np.log(p2 / at)))
    y = (np.log(r1)[np.lexsort((r1, p1))], np.log(r2)[np.lexsort((r2, p2))])
    return _tested((first.name, second.name), x, y, (at, level, pairs), flat=one[0])


def _tested(
    names: tuple[str, str],
    x: tuple[FloatArray, FloatArray],
    y: tuple[FloatArray, FloatArray],
    how: tuple[float, float, int],
    *,
    flat: bool,
) -> Comparison:
    at, level, pairs = how
    all_x, all_y = np.concatenate(x), np.concatenate(y)
    second = np.repeat([0.0, 1.0], [len(x[0]), len(x[1])])
    one = np.ones_like(all_x)
    columns = [one] if flat else [one, all_x]
    common = least_squares(np.column_stack(columns), all_y)
    shared = least_squares(np.column_stack([*columns, second]), all_y)
    apart = [*columns, second] if flat else [*columns, second, second * all_x]
    separate = least_squares(np.column_stack(apart), all_y)
    coincidence = _f_test(common, separate)
    doubted = _unequal(x, y, flat=flat)
    # at x = 0 the coefficient of `second` is ln(r2 / r1)
    place = len(columns)
    difference = -float(separate.coefficients[place])
    half = student(level, separate.degrees_of_freedom) * float(
        separate.standard_errors[place]
    )
    differ = min(1.0, pairs * coincidence) < DIFFERENCE_PROBABILITY
    return Comparison(
        first=names[0],
        second=names[1],
        verdict="differ" if differ else "cannot tell",
        coincidence=coincidence,
        parallel=math.nan if flat else _f_test(shared, separate),
        unequal_scatter=doubted,
        pressure=at,
        ratio=_exp(difference),
        low=_exp(difference - half),
        high=_exp(difference + half),
        level=level,
    )


def _exp(value: float) -> float:
    """Return e to a power; infinite where a float cannot hold it."""
    return math.exp(value) if value < 700.0 else math.inf


def _f_test(narrow: LeastSquares, wide: LeastSquares) -> float:
    """Return the probability of the gain of `wide` over the nested `narrow`."""
    steps = narrow.degrees_of_freedom - wide.degrees_of_freedom
    rest = float((wide.residuals**2).sum())
    gain = max(float((narrow.residuals**2).sum()) - rest, 0.0)
    scale = rest / wide.degrees_of_freedom
    if scale == 0.0:
        return 1.0 if gain == 0.0 else 0.0
    return float(f_probability(gain / steps / scale, steps, wide.degrees_of_freedom))


def _unequal(
    x: tuple[FloatArray, FloatArray], y: tuple[FloatArray, FloatArray], *, flat: bool
) -> float:
    """Return the two-sided probability of the ratio of the two variances."""
    fits = [
        least_squares(np.vander(a, 1 if flat else 2, increasing=True), b)
        for a, b in zip(x, y, strict=True)
    ]
    s1, s2 = (float(f.residual_sd) ** 2 for f in fits)
    d1, d2 = (f.degrees_of_freedom for f in fits)
    if s1 == 0.0 or s2 == 0.0:
        return math.nan
    upper = float(f_probability(s1 / s2, d1, d2))
    return 2.0 * min(upper, 1.0 - upper)


def _common_pressure(p1: FloatArray, p2: FloatArray) -> float:
    low, high = max(p1.min(), p2.min()), min(p1.max(), p2.max())
    if low > high:
        low, high = min(p1.min(), p2.min()), max(p1.max(), p2.max())
    return math.sqrt(low * high)


def _no(first: Group, second: Group, reason: str) -> Comparison:
    return Comparison(
        first=first.name, second=second.name, verdict="cannot tell", reason=reason
    )
