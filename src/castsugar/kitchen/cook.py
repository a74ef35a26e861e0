"""What happens on the pan: bulk temperature against time."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from castsugar.arrays import FloatArray
from castsugar.errors import InputError
from castsugar.kitchen.heat import degradation_rate
from castsugar.kitchen.validity import ICE_POINT
from castsugar.kitchen.water import drying_weight
from castsugar.plausible import RANGES

#: Bulk temperatures of a cook that are accepted [K].
COLDEST, HOTTEST = RANGES["bulk temperature"].hard

#: Longest cook [s].
LONGEST = 60.0 * RANGES["minutes"].hard_high

#: Gauss-Legendre nodes a stretch; the integrands are smooth exponentials.
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(12)


@dataclass(frozen=True, slots=True)
class Cook:
    """A cook: points of time and bulk temperature, straight lines between.

    Parameters
    ----------
    times : tuple of float
        Rising, the first is the start. [s]
    temperatures : tuple of float
        Of the bulk, not of the pan; 0 to 200 C. The mix is poured at the last. [K]

    Raises
    ------
    InputError
        For times that do not rise, or temperatures out of range.

    Examples
    --------
    >>> cook = Cook.hold(392.15, 480.0)
    >>> cook.pour_temperature, cook.duration
    (392.15, 480.0)
    """

    times: tuple[float, ...]
    temperatures: tuple[float, ...]

    def __post_init__(self) -> None:
        """Check the points."""
        if len(self.times) != len(self.temperatures) or len(self.times) < 2:
            raise InputError(
                f"the cook has {len(self.times)} times and {len(self.temperatures)} "
                "temperatures; give at least two points, each with both"
            )
        for value in (*self.times, *self.temperatures):
            if not math.isfinite(value):
                raise InputError(f"a point of the cook is {value}; give numbers")
        _check_rising(self.times)
        if self.duration > LONGEST:
            raise InputError(
                f"the cook lasts {self.duration / 3600:g} h; allowed up to 24 h"
            )
        for value in self.temperatures:
            if not COLDEST <= value <= HOTTEST:
                raise InputError(
                    f"cook temperature {value - ICE_POINT:g} C is outside 0 to 200 C "
                    "(temperature of the bulk)"
                )

    @classmethod
    def hold(cls, temperature: float, duration: float) -> Cook:
        """Return a cook at one temperature [K] for a time [s]."""
        if not duration > 0.0:
            raise InputError(
                f"the cook lasts {duration / 60:g} min; give a time above 0"
            )
        return cls((0.0, duration), (temperature, temperature))

    @property
    def duration(self) -> float:
        """From the first point to the last. [s]"""
        return self.times[-1] - self.times[0]

    @property
    def pour_temperature(self) -> float:
        """The last temperature. [K]"""
        return self.temperatures[-1]

    @property
    def hottest(self) -> float:
        """The highest temperature. [K]"""
        return max(self.temperatures)

    def ending_at(self, temperature: float) -> Cook:
        """Return the same cook, all of it warmer or colder, with another end. [K]

        No point is moved beyond the range of a cook.
        """
        shift = temperature - self.pour_temperature
        moved = (min(max(t + shift, COLDEST), HOTTEST) for t in self.temperatures)
        return Cook(self.times, tuple(moved))

    def degradation(self) -> float:
        """Return D, the integral of the rate of degradation."""
        times, temperatures = self.nodes()
        return float(np.sum(times * degradation_rate(temperatures)))

    def degraded(self) -> float:
        """Return the share of sugar degraded, 1 - exp(-D); an index."""
        return -math.expm1(-self.degradation())

    def drying(self) -> float:
        """Return the time at 119 C that dries as much. [s]"""
        times, temperatures = self.nodes()
        return float(np.sum(times * drying_weight(temperatures)))

    def nodes(self) -> tuple[FloatArray, FloatArray]:
        """Return weights [s] and temperatures [K] of the nodes of all stretches."""
        start, end = np.array(self.times[:-1]), np.array(self.times[1:])
        cold, hot = np.array(self.temperatures[:-1]), np.array(self.temperatures[1:])
        place = 0.5 * (1.0 + _NODES)
        weights = 0.5 * (end - start)[:, None] * _WEIGHTS
        return weights, cold[:, None] + (hot - cold)[:, None] * place


def _check_rising(times: Sequence[float]) -> None:
    """Refuse a cook that goes back in time."""
    for before, after in itertools.pairwise(times):
        if not after > before:
            raise InputError(
                f"the cook goes from {before / 60:g} min to {after / 60:g} min; "
                "times must rise"
            )


def cook_of_points(points: Sequence[tuple[float, float]]) -> Cook:
    """Return a cook of (time [s], temperature [K]) points."""
    times, temperatures = zip(*points, strict=True)
    return Cook(tuple(times), tuple(temperatures))
