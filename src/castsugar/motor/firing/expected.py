"""What the motor was expected to do: the band of predicted pressure against time.

Burn law, throat, density, burning area, c* and grain temperature are drawn together;
each draw is a firing of its own, and at every time the draws are put in order.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from castsugar.motor import balance
from castsugar.motor.assembly import Motor
from castsugar.motor.law import BurnLaw, draw_laws
from castsugar.motor.peak import LAW_STREAM, MOTOR_STREAM, Spread
from castsugar.motor.trace import Trace, fire

FloatArray = NDArray[np.float64]

DRAWS, POINTS = 100, 240

#: Panels of one firing; corners add theirs.
_PANELS = 24


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Expected:
    """A predicted firing with its band.

    Attributes
    ----------
    best : Trace
        With every input at its best estimate.
    time : ndarray, shape (points,)
        From ignition. [s]
    low, high : ndarray, shape (points,)
        Pressure that 5 and 95 of 100 draws stay below, ambient after burnout. [Pa]
    failed : int
        Draws that have no stable pressure; they stand above every other one.
    draws, seed : int
    """

    best: Trace
    time: FloatArray
    low: FloatArray
    high: FloatArray
    failed: int
    draws: int
    seed: int


def expect(
    motor: Motor,
    law: BurnLaw,
    spread: Spread,
    *,
    draws: int = DRAWS,
    seed: int = 1,
) -> Expected:
    """Predict a firing with its band.

    Parameters
    ----------
    motor : Motor
        Its delivered c* counts.
    law : BurnLaw
    spread : Spread
    draws, seed : int

    Raises
    ------
    InputError
        As :func:`castsugar.motor.trace.fire`.
    """
    best = fire(motor, law)
    bands = balance.as_bands(law)
    shift, exponent = draw_laws(law, draws, np.random.default_rng([seed, LAW_STREAM]))
    parts = spread.log_supply(motor.propellant.temperature_sensitivity)
    rng = np.random.default_rng([seed, MOTOR_STREAM])
    supply = rng.standard_normal(draws) * math.hypot(*parts.values())
    traces: list[Trace | None] = []
    for log_rate, n, more in zip(shift, exponent, supply, strict=True):
        drawn = bands.shifted(log_rate, n, law.centre)
        # Density, throat, area and c* act on the pressure through one product.
        traces.append(_fire(motor, drawn, math.exp(more)))
    longest = [t.burn_time for t in traces if t is not None] + [best.burn_time]
    time = np.linspace(0.0, 1.05 * float(np.quantile(longest, 0.95)), POINTS)
    ambient = motor.ambient_pressure
    course = np.full((draws, POINTS), np.inf)
    for row, trace in enumerate(traces):
        if trace is not None:
            course[row] = np.interp(time, trace.time, trace.pressure, right=ambient)
    order = np.sort(course, axis=0)
    return Expected(
        best=best,
        time=time,
        low=order[int(0.05 * (draws - 1))],
        high=order[math.ceil(0.95 * (draws - 1))],
        failed=sum(t is None for t in traces),
        draws=draws,
        seed=seed,
    )


def _fire(motor: Motor, bands: balance.Bands, factor: float) -> Trace | None:
    """Fire one draw; None where no pressure is stable."""
    if np.any(bands.exponent >= 1.0):
        return None
    scaled = _with_supply(motor, factor)
    return fire(scaled, bands, panels=_PANELS)


def _with_supply(motor: Motor, factor: float) -> Motor:
    """Return the motor with more gas for its throat."""
    propellant = motor.propellant
    velocity = factor * propellant.characteristic_velocity
    return replace(
        motor, propellant=replace(propellant, characteristic_velocity=velocity)
    )
