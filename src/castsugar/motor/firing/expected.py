"""What the motor was expected to do: the band of predicted pressure against time.

Burn law, throat, density, burning area, c* and grain temperature are drawn together;
each draw is a firing of its own, and at every time the draws are put in order.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from castsugar.arrays import FloatArray
from castsugar.motor import balance
from castsugar.motor.assembly import Motor
from castsugar.motor.law import BurnLaw, draw_laws
from castsugar.motor.peak import LAW_STREAM, MOTOR_STREAM, Spread
from castsugar.motor.trace import Trace, fire

DRAWS, POINTS = 200, 240

#: Share of the draws beyond each end of a band.
TAIL = 0.05

#: Results of a firing that get a band.
_BANDED = ("peak_pressure", "mean_pressure", "burn_time", "total_impulse")

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
        Pressure that 5 and 95 of 100 draws stay below, or as many as `tail` says;
        ambient after burnout. [Pa]
    bands : dict of str to tuple of float
        peak_pressure [Pa], mean_pressure [Pa], burn_time [s], total_impulse [N s]:
        what so many draws stay below; infinite where draws have no pressure.
    failed : int
        Draws that have no stable pressure; they stand above every other one.
    draws, seed : int
    tail : float
        Share of the draws beyond each end of a band.
    """

    best: Trace
    time: FloatArray
    low: FloatArray
    high: FloatArray
    bands: dict[str, tuple[float, float]]
    failed: int
    draws: int
    seed: int
    tail: float = TAIL

    def to_dict(self) -> dict[str, object]:
        """Return the best estimate and the bands, with units in the names."""
        names = {
            "peak_pressure": ("peak_pressure_{}_MPa", 1e-6),
            "mean_pressure": ("mean_pressure_{}_MPa", 1e-6),
            "burn_time": ("burn_time_{}_s", 1.0),
            "total_impulse": ("total_impulse_{}_N_s", 1.0),
        }
        ends = (_end_name(self.tail), _end_name(1.0 - self.tail))
        bands = {
            key.format(end): scale * value
            for name, (key, scale) in names.items()
            for end, value in zip(ends, self.bands[name], strict=True)
        }
        return {
            **self.best.summary(),
            **bands,
            "draws": self.draws,
            "draws_without_stable_pressure": self.failed,
            "seed": self.seed,
        }

    def holds(self, name: str, value: float) -> bool:
        """Return whether a result lies within its band."""
        low, high = self.bands[name]
        return low <= value <= high


def expect(
    motor: Motor,
    law: BurnLaw,
    spread: Spread,
    *,
    draws: int = DRAWS,
    seed: int = 1,
    tail: float = TAIL,
) -> Expected:
    """Predict a firing with its band.

    Parameters
    ----------
    motor : Motor
        Its delivered c* counts.
    law : BurnLaw
    spread : Spread
    draws, seed : int
    tail : float
        Share of the draws beyond each end of a band.

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
    low, high = _ends(course, tail)
    return Expected(
        best=best,
        time=time,
        low=low,
        high=high,
        bands={name: _band(traces, name, tail) for name in _BANDED},
        failed=sum(t is None for t in traces),
        draws=draws,
        seed=seed,
        tail=tail,
    )


def _end_name(share: float) -> str:
    """Return the name of a quantile: p05 for 0.05, p97_5 for 0.975."""
    text = f"p{100.0 * share:04.1f}"
    return text.removesuffix(".0").replace(".", "_")


def _ends(values: FloatArray, tail: float) -> tuple[FloatArray, FloatArray]:
    """Return what so many draws stay below, rounded outward to a draw."""
    order, most = np.sort(values, axis=0), len(values) - 1
    return order[int(tail * most)], order[math.ceil((1.0 - tail) * most)]


def _band(traces: list[Trace | None], name: str, tail: float) -> tuple[float, float]:
    """Return the band of one result over the draws."""
    values = [math.inf if t is None else getattr(t, name) for t in traces]
    low, high = _ends(np.array(values), tail)
    return float(low), float(high)


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
