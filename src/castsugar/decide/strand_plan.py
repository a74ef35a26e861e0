"""At which two pressures to burn strands of new mixes, and what that fixes."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from castsugar.arrays import FloatArray
from castsugar.decide.requirement import Requirement
from castsugar.decide.strand_candidates import OF_THE_BURN_LAW
from castsugar.decide.strand_model import StrandDoubt
from castsugar.motor.hardware import Hardware
from castsugar.motor.single_pressure import SinglePressure, exponent_error, next_test

#: Scatter of ln r of single strands where none was measured (assumed: that of good
#: strands; common practice, no source).
USUAL_SCATTER = 0.03

#: Strands at the lower pressure: with three at the other, a law and its scatter.
_STRANDS = 3

#: Most times that one pressure is above the other, as for a single pressure.
_MOST_RATIO = 10.0


@dataclass(frozen=True, slots=True, kw_only=True)
class StrandPlan:
    """Strands to burn of every proposed mix.

    Attributes
    ----------
    expected : float
        Middle of the chamber pressures to expect. [Pa]
    low, high : float
        Pressures to burn at. [Pa]
    at_low, at_high : int
        Strands at each.
    scatter : float
        Of ln r of single strands.
    scatter_measured : bool
        False: assumed.
    exponent_u : float
        Standard uncertainty of n of one mix to expect.
    from_motor : bool
        Whether the pressure is that of the motor; False: that of the search.
    """

    expected: float
    low: float
    high: float
    at_low: int
    at_high: int
    scatter: float
    scatter_measured: bool
    exponent_u: float
    from_motor: bool

    def doubt(self, reference: float | None) -> StrandDoubt:
        """Return how well the strands fix the law of a mix.

        Parameters
        ----------
        reference : float or None
            Where ln r is modelled; None: in the middle of the strands. [Pa]
        """
        total = self.at_low + self.at_high
        middle = (
            self.at_low * math.log(self.low) + self.at_high * math.log(self.high)
        ) / total
        away = 0.0 if reference is None else math.log(reference) - middle
        own = self.scatter / math.sqrt(total)
        return StrandDoubt(
            rate_u=math.hypot(own, away * self.exponent_u),
            exponent_u=self.exponent_u,
            scatter=self.scatter,
        )


def plan_strands(
    motor: Hardware | None,
    requirements: Sequence[Requirement],
    pressures: FloatArray,
    otherwise: float,
) -> StrandPlan:
    """Return two pressures around those to expect in the motor.

    The smallest ratio, 2 or more, that brings n to 0.05 with three strands at the lower
    pressure (:func:`castsugar.motor.single_pressure.next_test`), or the ratio of the
    pressures that most mixes reach, whichever is larger, but at most 10. No pressure
    counts above what the case may hold or the requirements allow.

    Parameters
    ----------
    motor : Hardware or None
    requirements : sequence of Requirement
    pressures : ndarray, shape (n,)
        Expected in the motor; NaN for none. [Pa]
    otherwise : float
        Pressure where nothing is expected. [Pa]
    """
    top = _top(motor, requirements)
    least = motor.ambient_pressure if motor is not None else 0.0
    known = pressures[np.isfinite(pressures)]
    from_motor = bool(len(known))
    used = np.clip(known if from_motor else np.array([otherwise]), least, top)
    below, above = np.quantile(np.log(used), [0.1, 0.9]).tolist()
    scatter, measured = _scatter(motor)
    test = next_test(_single(scatter))
    assert test is not None  # the scatter is finite
    ratio = min(max(test.ratio, math.exp(above - below)), _MOST_RATIO)
    expected = math.exp(0.5 * (below + above))
    low = max(expected / math.sqrt(ratio), least)
    at_low = _STRANDS + test.more_here
    return StrandPlan(
        expected=expected,
        low=low,
        high=low * ratio,
        at_low=at_low,
        at_high=test.strands,
        scatter=scatter,
        scatter_measured=measured,
        exponent_u=exponent_error(scatter, at_low, test.strands, ratio),
        from_motor=from_motor,
    )


def _top(motor: Hardware | None, requirements: Sequence[Requirement]) -> float:
    """Return the highest pressure that a motor would be run at. [Pa]"""
    limits = [
        1e6 * r.at_most
        for r in requirements
        if r.at_most is not None and r.column in OF_THE_BURN_LAW[:2]
    ]
    if motor is not None and math.isfinite(motor.allowable):
        limits.append(motor.allowable)
    return min(limits, default=math.inf)


def _scatter(motor: Hardware | None) -> tuple[float, bool]:
    """Return the scatter of the strands burned so far, else the usual one."""
    mixes = () if motor is None else motor.burning.law.mixes
    known = [m.law.scatter for m in mixes if m.law.scatter > 0.0]
    if not known:
        return USUAL_SCATTER, False
    return math.sqrt(math.fsum(s**2 for s in known) / len(known)), True


def _single(scatter: float) -> SinglePressure:
    """Return three strands at one pressure, of which only the scatter is known."""
    return SinglePressure(
        pressure=math.nan,
        count=_STRANDS,
        rate=math.nan,
        low=math.nan,
        high=math.nan,
        level=0.95,
        repeatability=math.nan,
        variation=math.nan,
        scatter=scatter,
    )
