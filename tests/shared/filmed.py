"""Simulated firings as a phone sees them, and what castsugar makes of the film."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from castsugar.motor.efficiency import learn_efficiencies
from castsugar.motor.firing.frames import (
    ENDS,
    Frames,
    MeanRate,
    burn_time,
    mass_flow,
    mean_pressure,
    mean_rate,
    rate_at_mean,
)
from castsugar.motor.firing.law_doubts import rivals_of
from castsugar.motor.firing.quantities import Measured
from shared.firings import grain, stand
from support.firings import GRAINS, Firing, fleet

#: Frames a second that phones take.
CAMERAS = (24.0, 30.0, 60.0, 120.0, 240.0)

#: u of the ideal c*, from data and mix. Invented.
IDEAL_U = 0.004


@dataclass(frozen=True, slots=True, kw_only=True)
class Filmed:
    """One firing: what the film says, and what is true.

    `rate` is that told at the mean pressure, `true_rate` the law's own there.
    """

    kind: str
    time: Measured
    true_time: float
    pressure: Measured
    true_pressure: float
    rate: MeanRate
    true_rate: float

    @property
    def time_inside(self) -> bool:
        low, high = self.time.interval
        return low <= self.true_time <= high

    @property
    def pressure_inside(self) -> bool:
        low, high = self.pressure.interval
        return low <= self.true_pressure <= high

    @property
    def pressure_off(self) -> float:
        """Return ln of the mean pressure told over the true one."""
        return math.log(self.pressure.value / self.true_pressure)

    @property
    def rate_off(self) -> float:
        """Return ln of the rate told over the true one at that pressure."""
        return math.log(self.rate.rate / self.true_rate)

    @property
    def rate_inside(self) -> bool:
        return abs(self.rate_off) <= 1.96 * self.rate.log_rate_u


def filmed(
    seed: int,
    count: int,
    *,
    kinds: Sequence[str] = GRAINS,
    ideal: float | None = None,
    wrong: tuple[float, float] | None = None,
) -> list[Filmed]:
    """Film firings of a fleet.

    Parameters
    ----------
    seed, count : int
    kinds : sequence of str
        Of :data:`support.firings.KINDS`, in turn.
    ideal : float, optional
        Ideal c* of all mixes [m/s]; else each motor has the ideal one that makes its
        efficiency one of those held beforehand.
    wrong : tuple of float, optional
        By how much start and end are read late [s]; else each anywhere within the
        stated time, evenly.
    """
    rng = np.random.default_rng(seed)
    return [_film(one, rng, ideal, wrong) for one in fleet(seed, count, kinds)]


def _film(
    firing: Firing,
    rng: np.random.Generator,
    ideal: float | None,
    wrong: tuple[float, float] | None,
) -> Filmed:
    held = learn_efficiencies().characteristic_velocity
    z, data = rng.standard_normal(2)
    truth, motor = firing.truth, firing.motor
    if ideal is None:
        efficiency = held.median * math.exp(held.next_u * z)
        ideal = truth.characteristic_velocity / efficiency
    velocity = held.median * ideal * math.exp(IDEAL_U * data)
    frames = _frames(truth.burn_time, rng, wrong)
    beside = stand(firing)
    time = burn_time(frames)
    doubts = {"c* efficiency": held.next_u, "data of the ideal value": IDEAL_U}
    pressure = mean_pressure(mass_flow(time, beside), beside, velocity, doubts)
    own = grain(firing)
    rate = rate_at_mean(mean_rate(time, own, rivals_of(own)), pressure, own)
    return Filmed(
        kind=motor.kind,
        time=time,
        true_time=truth.burn_time,
        pressure=pressure,
        true_pressure=truth.mean_pressure,
        rate=rate,
        true_rate=truth.rate_at(rate.centre),
    )


def _frames(
    lasting: float, rng: np.random.Generator, wrong: tuple[float, float] | None
) -> Frames:
    """Return the frames that somebody names: each within one of what he judges."""
    camera = float(rng.choice(CAMERAS))
    start = float(rng.uniform(1.0, 2.0))
    early, late = wrong or rng.uniform(-ENDS, ENDS, 2)
    ends = camera * np.array([start + early, start + lasting + late])
    first, last = np.rint(ends + rng.uniform(-0.5, 0.5, 2))
    return Frames(first=int(first), last=int(last), rate=camera)
