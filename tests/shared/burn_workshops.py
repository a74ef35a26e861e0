"""Simulated workshops that burn strands or fire, and choose by what they learnt.

More nitrate is better, and faster; rates bend by so much per mass moved squared.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
from scipy.special import ndtr

from castsugar import Hardware
from castsugar.motor.burn_evidence import FIRING, STRANDS, Burned
from castsugar.motor.burn_model import BurnModel
from castsugar.motor.case import Case
from castsugar.motor.grain import HollowCylinder
from castsugar.motor.peak_pressure import peaks
from castsugar.optimize import next_burns
from castsugar.optimize.next_burns import NEW_BATCH, Candidates, Option
from castsugar.optimize.settings import Settings
from castsugar.optimize.space import Space
from castsugar.optimize.task import Task
from castsugar.optimize.value_of_burning import Stakes, most_telling

NAMES = ("potassium nitrate", "powdered sugar", "light corn syrup")

#: What may be burned; more nitrate is better, and faster.
LATTICE = np.array(
    [(a, b, 100 - a - b) for a in range(54, 74, 2) for b in range(8, 36, 3)
     if 10 <= 100 - a - b <= 32]
) / 100.0  # fmt: skip
KNOWN = np.array([(0.60, 0.20, 0.20), (0.58, 0.14, 0.28), (0.64, 0.20, 0.16)])
CORNERS = LATTICE[[(LATTICE @ way).argmax() for way in np.eye(3)]]
CASE, DENSITY, VELOCITY = 6.9e6, 1780.0, 895.0
RATIO, RATIO_U = 0.96, 0.0096  # of a casting over that, as it is usual
_SPACE = Space(bounds=dict.fromkeys(NAMES, (0.0, 1.0)))

#: Of a firing: how far it strays, and what its record leaves open.
_FIRED, _RECORD = 0.025, 0.015


def motor(*burned: Burned, rating: float | None = 7e6) -> Hardware:
    return Hardware(
        grain=HollowCylinder(
            outer_diameter=0.036, core_diameter=0.014, segment_length=0.062, segments=3
        ),
        throat_diameter=0.008,
        case=None if rating is None else Case(rated_pressure=rating),
        burning=BurnModel(burned),
    )


class Workshop:
    """A world whose rates bend, and its motor."""

    def __init__(self, seed: int, bend: float = 15.0) -> None:
        self.rng = rng = np.random.default_rng([seed, 47])
        self.level = math.log(9e-3) + rng.normal(0.0, 0.15)
        self.exponent, self.to_motor = rng.normal([0.38, 0.04], 0.05)
        self.slope = rng.normal([1.0, 0.0, -1.0], 2.2 / math.sqrt(2.0))
        self.middle = np.array([0.62, 0.18, 0.20]) + rng.normal(0.0, 0.02, 3)
        way = rng.normal(size=3)
        way -= way.mean()
        self.way = way * math.sqrt(2.0) / np.linalg.norm(way)
        self.bend = bend * rng.choice([-1.0, 1.0])
        self.burned: list[Burned] = []
        self.known: tuple[int, Hardware] | None = None
        # The throat at which 60/20/20 stands at half the case: S = P/r.
        wanted = 0.5 * CASE / math.exp(self.log_rate(KNOWN[0], 0.5 * CASE))
        hardware = motor(rating=CASE)
        have = float(hardware.supply(DENSITY, VELOCITY).per_rate[0])
        self.throat = hardware.throat_diameter * math.sqrt(have / wanted)

    def log_rate(self, mix: np.ndarray, pressure: float) -> float:
        """Return the true ln r of strands."""
        bent = self.bend * ((mix - self.middle) @ self.way) ** 2
        straight = self.level + (mix - KNOWN[0]) @ self.slope
        return float(straight + bent + self.exponent * math.log(pressure / 2.5e6))

    def burn(self, mix: np.ndarray, *, fired: bool = False) -> None:
        """Cook a batch of 6 % scatter, burn two strands at each of two pressures.

        Or fire its grains, at two thirds of the case.
        """
        own, sets = self.rng.normal(0.0, 0.06), self.rng.normal(0.0, 0.01, 2)
        p = np.array([2e6, 2e6, 5e6, 5e6])
        y = np.array([self.log_rate(mix, x) for x in p]) + own + sets.repeat(2)
        y = y + self.rng.normal(0.0, 0.025, 4)
        if fired:
            p = np.array([CASE / 1.5])
            y = np.array([self.log_rate(mix, float(p[0])) + own + self.to_motor])
            y = y + self.rng.normal(0.0, math.hypot(_FIRED, _RECORD), 1)
        name = f"{len(self.burned)}"
        self.burned.append(
            Burned(
                name=name,
                batch=name,
                fractions=dict(zip(NAMES, mix.tolist(), strict=True)),
                pressure=p,
                rate=np.exp(y),
                kind=FIRING if fired else STRANDS,
                log_rate_u=_RECORD if fired else 0.0,
            )
        )

    def hardware(self) -> Hardware:
        """Return the motor with what was learnt; made once for what was burned."""
        if self.known is None or self.known[0] != len(self.burned):
            made = motor(*self.burned, rating=CASE)
            made = replace(made, throat_diameter=self.throat)
            self.known = (len(self.burned), made)
        return self.known[1]

    def peaks(self) -> np.ndarray:
        """Return 50 and 95 % peaks of the lattice. [Pa]"""
        hardware = self.hardware()
        supply = float(hardware.supply(DENSITY, VELOCITY).per_rate[0])
        return peaks(
            hardware.burning, LATTICE, NAMES,
            log_supply=math.log(supply), supply_u=hardware.supply_u, levels=(0.5, 0.95),
        ).quantiles  # fmt: skip

    def stakes(self) -> Stakes:
        """Return what hangs on batches of strands of the mixes of the lattice."""
        middle, high = self.peaks() / 1e6
        even = np.ones(len(LATTICE))
        found = Candidates(
            recipes=tuple(dict(zip(NAMES, w, strict=True)) for w in LATTICE.tolist()),
            fractions=LATTICE,
            kept=True,
            looked_at=len(LATTICE),
            values={
                "flame_temperature_K": 100.0 * LATTICE[:, 0],
                "density_kg_m3": DENSITY * even,
                "density_ratio": RATIO * even,
                "density_ratio_u": RATIO_U * even,
                "characteristic_velocity_m_s": VELOCITY * even,
                "peak_pressure_MPa": middle,
                "peak_pressure_p95_MPa": high,
            },
        )
        settings = Settings(items=NAMES, motor=self.hardware(), water_lost=0.1)
        task = Task(space=_SPACE, settings=settings, objective="flame_temperature_K")
        plan = next_burns.plan_of(task, found)
        options = [Option(NEW_BATCH, one, plan.expected) for one in found.recipes]
        return next_burns.stakes_of(task, found, plan, options)

    def most_telling(self) -> np.ndarray:
        """Return the mix that is worth most, of strand batches alone."""
        return LATTICE[most_telling(self.stakes(), 1)[0]]

    def outcome(self) -> tuple[float, float]:
        """Return points of nitrate less 40 times the chance above the case, and that.

        Of the best mix that is known to keep it; without one the worst less 5 points.
        """
        kept = self.peaks()[1] <= CASE
        if not kept.any():
            return 100.0 * LATTICE[:, 0].min() - 5.0, 0.0
        mix = LATTICE[np.where(kept, LATTICE[:, 0], 0.0).argmax()]
        hardware = self.hardware()
        supply = math.log(float(hardware.supply(DENSITY, VELOCITY).per_rate[0]))
        room = math.log(CASE) - supply - self.log_rate(mix, CASE) - self.to_motor
        spread = math.hypot(0.06, 0.025, hardware.supply_u)
        chance = float(ndtr(-room / spread))
        return 100.0 * mix[0] - 40.0 * chance, chance
