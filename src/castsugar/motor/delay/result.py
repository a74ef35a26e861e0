"""What a delay column does, with its doubt."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from castsugar.arrays import FloatArray
from castsugar.motor.delay.inputs import Settings, Thrusting
from castsugar.motor.law import BurnLaw


@dataclass(frozen=True, slots=True, kw_only=True)
class Estimate:
    """A best estimate and the ends of its band."""

    value: float
    low: float
    high: float


def estimate(value: float, draws: FloatArray, probability: float) -> Estimate:
    """Return a best estimate with the band of draws, rounded outward to a draw."""
    last = len(draws) - 1
    tail = 0.5 * (1.0 - probability)
    low, high = int(tail * last), int(np.ceil((1.0 - tail) * last))
    order = np.partition(draws, sorted({low, high}))
    return Estimate(value=value, low=float(order[low]), high=float(order[high]))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Delay:
    """A delay column, with its doubt.

    Attributes
    ----------
    wanted : bool
        True: `time` was asked for and `length` found; False: the other way round.
    length : Estimate
        Length to cut, with the band of what single columns would need; or the length
        given, with the doubt about it. [m]
    time : Estimate
        From the end of thrust until a column of that length is through. [s]
    burned, left : Estimate
        Length that the thrust phase burns, of a column long enough, and length left
        then. [m]
    ambient_rate : Estimate
        Rate where the delay burns. [m/s]
    ambient, burning_at : float
        Pressure of the air at the test place and where the delay burns. [Pa]
    ground_time : float
        Best estimate if the delay burns at the test place. [s]
    climb_pressure, climb_time : float
        The same `checks.CLIMB` above the test place; the law is continued there if
        nothing was tested so low. [Pa], [s]
    burn_through : float
        Share of draws in which the column is through before the thrust ends.
    half_widths : dict of str to float
        Half the band of `time` if one input alone is uncertain, largest first. [s]
    scatter_share : float
        Part of the variance of the ambient rate that is scatter between columns.
    draws : ndarray, shape (draws,)
        Delays. [s]
    law : BurnLaw
    thrusting : Thrusting
    settings : Settings
    cautions : tuple of str
    """

    wanted: bool
    length: Estimate
    time: Estimate
    burned: Estimate
    left: Estimate
    ambient_rate: Estimate
    ambient: float
    burning_at: float
    ground_time: float
    climb_pressure: float
    climb_time: float
    burn_through: float
    half_widths: dict[str, float]
    scatter_share: float
    draws: FloatArray
    law: BurnLaw
    thrusting: Thrusting
    settings: Settings
    cautions: tuple[str, ...]

    @property
    def burned_share(self) -> float:
        """Return the part of the length that burns during thrust."""
        return min(self.burned.value / self.length.value, 1.0)

    @property
    def thrust_rate(self) -> float:
        """Return the mean rate during thrust, at best estimate. [m/s]"""
        return self.burned.value / self.thrusting.burn_time

    @property
    def climb_change(self) -> float:
        """Return by which part the delay grows over `checks.CLIMB`; NaN without one."""
        return self.climb_time / self.ground_time - 1.0 if self.lasts else math.nan

    @property
    def end(self) -> float:
        """Return the time from ignition to the end of the column. [s]

        NaN if it is through before the thrust ends.
        """
        return self.thrusting.burn_time + self.time.value if self.lasts else math.nan

    @property
    def lasts(self) -> bool:
        """Whether the column, at best estimate, outlasts the thrust."""
        return self.time.value > 0.0
