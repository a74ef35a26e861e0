"""Many delay columns at once: how they depart from the best estimate, what they do."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace

import numpy as np

from castsugar.arrays import FloatArray
from castsugar.motor.delay.inputs import Settings, Thrusting
from castsugar.motor.law import BurnLaw, burn_rate, draw_laws
from castsugar.motor.peak import LAW_STREAM

_DELAY_STREAM = 11  # of random numbers, beside LAW_STREAM

#: Beyond so many nodes of a trace they are gathered in bins of ln p this wide, each at
#: its mean: that costs at most n^2 _BIN^2 / 24 of the length burned, 2e-5 n^2.
_MOST_NODES, _BIN = 400, 0.02

_AT_ONCE = 2_000_000  # numbers held at once


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Departures:
    """What draws add to the best estimate: to ln, but for exponent and length [m].

    Each of shape (draws,), or (1,) where nothing departs.
    """

    burn_law: FloatArray
    exponent: FloatArray
    chamber_pressure: FloatArray
    burn_time: FloatArray
    ambient_pressure: FloatArray
    length: FloatArray

    def only(self, *names: str) -> Departures:
        """Return departures of nothing but `names`."""
        still = {f.name: np.zeros(1) for f in fields(self) if f.name not in names}
        return replace(self, **still)


def depart(law: BurnLaw, thrusting: Thrusting, settings: Settings) -> Departures:
    """Draw new columns, firings and days."""
    count, seed = settings.draws, settings.seed
    shift, exponent = draw_laws(law, count, np.random.default_rng([seed, LAW_STREAM]))
    z = np.random.default_rng([seed, _DELAY_STREAM]).standard_normal((4, count))
    return Departures(
        burn_law=shift,
        exponent=exponent,
        chamber_pressure=thrusting.pressure_u * z[0],
        burn_time=thrusting.time_u * z[1],
        ambient_pressure=settings.ambient_u * z[2],
        length=settings.length_u * z[3],
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Column:
    """A law, a thrust phase as nodes, and the air.

    Attributes
    ----------
    law : BurnLaw
    log_pressure, weight : ndarray, shape (nodes,)
        Of :meth:`Thrusting.nodes`. [ln Pa], [s]
    burning_at : float
        Pressure of the air. [Pa]
    """

    law: BurnLaw
    log_pressure: FloatArray
    weight: FloatArray
    burning_at: float

    def still_rate(self, pressure: float) -> float:
        """Return the rate of the law itself at a pressure [Pa]. [m/s]"""
        return float(burn_rate(self.law, pressure))

    def phases(self, drawn: Departures) -> tuple[FloatArray, FloatArray]:
        """Return length burned during thrust [m] and rate afterwards [m/s].

        Shapes (draws,) or (1,); a rate is never 0.
        """
        with np.errstate(over="ignore", under="ignore"):
            burned = self._burned(drawn) * np.exp(drawn.burn_time)
            air = np.log(self.burning_at) + drawn.ambient_pressure
            rate = self._rate(air, drawn.burn_law, drawn.exponent)
        return burned, np.maximum(rate, np.finfo(float).tiny)

    def _burned(self, drawn: Departures) -> FloatArray:
        """Return the length that the stated burn time takes. [m]"""
        parts = np.broadcast_arrays(
            drawn.chamber_pressure, drawn.burn_law, drawn.exponent
        )
        log_pressure, weight = _gathered(self.log_pressure, self.weight)
        rows = max(_AT_ONCE // len(weight), 1)
        found = []
        for start in range(0, len(parts[0]), rows):
            p, shift, exponent = (x[start : start + rows, None] for x in parts)
            found.append(self._rate(log_pressure + p, shift, exponent) @ weight)
        return np.concatenate(found)

    def _rate(
        self, log_pressure: FloatArray, shift: FloatArray, exponent: FloatArray
    ) -> FloatArray:
        departed = shift + exponent * (log_pressure - np.log(self.law.centre))
        return np.asarray(burn_rate(self.law, np.exp(log_pressure)) * np.exp(departed))


def _gathered(
    log_pressure: FloatArray, weight: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return fewer nodes that tell the same."""
    if len(weight) <= _MOST_NODES:
        return log_pressure, weight
    k = np.floor((log_pressure - log_pressure.min()) / _BIN).astype(int)
    total = np.bincount(k, weight).astype(float)
    used = total > 0.0
    middle = np.bincount(k, weight * log_pressure)[used] / total[used]
    return middle, total[used]
