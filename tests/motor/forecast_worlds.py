"""Firings whose truth is drawn from what a forecast says it does not know.

Burn rates by ``simulated_burns``, firings by ``support.motors``: neither knows the
forecast, the latter nothing of the project. Invented motors.
"""

from __future__ import annotations

import math
import sys
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from castsugar.motor.burn_model import Asked, BurnModel
from castsugar.motor.efficiency import MEDIANS, SCATTER, SCATTER_SPREAD, SPREADS
from castsugar.motor.firing.expectation import Expected
from castsugar.motor.grain import HollowCylinder
from castsugar.motor.hardware import SPREAD, TEMPERATURE_SENSITIVITY, Hardware
from castsugar.motor.law_of_mix import law_of_mix
from castsugar.motor.peak_pressure import SENSITIVITY_DOUBT
from castsugar.static_test import predicted
from support import motors as simulator

sys.path.insert(0, str(Path(__file__).parent))
import simulated_burns as burns

#: Ideal c* and density without voids, as foreseen, and the usual share of voids.
VELOCITY, DENSITY, RATIO = 900.0, 1815.0, 0.95

#: What is looked at.
RESULTS = ("peak_pressure", "mean_pressure", "burn_time", "total_impulse")

#: Pressures over that foreseen between which the true law is taken as one power law.
_RANGE = (0.4, 1.4)


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """A forecast, and the motor that was fired.

    `fired` lacks nothing of the truth; `limit` is the p95 of the table. [Pa]
    """

    expected: Expected
    limit: float
    fired: simulator.Motor


def case(rng: np.random.Generator) -> Case:
    """Draw one motor, its strands and its firing, and foresee it."""
    world = burns.drawn(rng, burns.Known())
    model, mix = BurnModel(world.evidence), world.fractions[0]
    law = law_of_mix(model, mix, burns.NAMES)
    grain = HollowCylinder(
        outer_diameter=(outer := rng.uniform(0.024, 0.060)),
        core_diameter=(core := outer * rng.uniform(0.28, 0.42)),
        segment_length=outer * rng.uniform(1.3, 2.0),
        segments=int(rng.integers(1, 5)),
    )
    # As wide as the strands say for the pressure that the worlds stand at.
    area = math.exp(world.log_supply) / (DENSITY * RATIO * VELOCITY)
    throat = min(math.sqrt(4.0 * grain.largest_area / area / math.pi), 0.95 * core)
    wide = rng.uniform(3.0, 9.0)
    hardware = Hardware(
        grain=grain,
        throat_diameter=throat,
        exit_diameter=throat * math.sqrt(wide),
        density_ratio=RATIO,
        burning=model,
    )
    row = {
        "density_kg_m3": DENSITY,
        "characteristic_velocity_m_s": VELOCITY,
        "isentropic_exponent": 1.13,
    }
    supply = hardware.supply(DENSITY, VELOCITY)
    limit = burns.peaks(
        model,
        mix,
        burns.NAMES,
        log_supply=np.log(supply.per_rate),
        supply_u=hardware.supply_u,
        filling=supply.filling,
        levels=(0.95,),
        asked=Asked(),
    ).quantiles[0, 0]
    return Case(
        expected=predicted(hardware, row, law, 1),
        limit=float(limit),
        fired=_fired(rng, hardware, world, wide),
    )


def _fired(
    rng: np.random.Generator, hardware: Hardware, world: burns.World, wide: float
) -> simulator.Motor:
    """Draw what is true of the motor."""
    z = rng.standard_normal
    scatters = SCATTER * np.exp(SCATTER_SPREAD * z(2))
    efficiency = np.exp(np.log(MEDIANS) + np.array(SPREADS) * z(2) + scatters * z(2))
    sensitivity = TEMPERATURE_SENSITIVITY * SENSITIVITY_DOUBT ** z()
    inside = np.log(np.array(_RANGE)) + math.log(burns.STANDS / burns.CENTRE)
    held = (inside[0] < burns.GRID) & (inside[1] > burns.GRID)
    n, level = np.polyfit(burns.GRID[held], world.grains[0][held], 1)
    at_1_MPa = level + n * math.log(1e6 / burns.CENTRE)
    grain = hardware.grain
    throat = hardware.throat_diameter * math.exp(SPREAD.throat_diameter * z())
    return simulator.Motor(
        grain=simulator.Grain(
            burns="core",
            outer=grain.outer_diameter,
            core=grain.core_diameter,
            length=grain.segment_length,
            segments=grain.segments,
            ends=2,
        ),
        throat=throat,
        rate=math.exp(at_1_MPa + sensitivity * SPREAD.temperature * z()),
        exponent=float(n),
        # The burning area as a whole is more or less: so is what it makes.
        density=DENSITY
        * RATIO
        * math.exp(SPREAD.density * z())
        * math.exp(SPREAD.area * z()),
        velocity=VELOCITY
        * float(efficiency[0])
        * math.exp(SPREAD.characteristic_velocity * z()),
        free_volume=grain.volume * rng.uniform(0.3, 1.2),
        gamma=rng.uniform(1.11, 1.15),
        growth=rng.uniform(0.0, 0.02),
        path=float(rng.choice([0.4, 1.0, 2.5])),
        expansion=wide * (hardware.throat_diameter / throat) ** 2,
        efficiency=float(efficiency[1]),
        spread=rng.uniform(0.010, 0.050),
    )


def true_results(course: simulator.Course) -> dict[str, float]:
    """Return what a perfect stand would find. [Pa], [Pa], [s], [N s]"""
    t, p = course.time, course.pressure
    level = simulator.ATMOSPHERE + 0.05 * (p.max() - simulator.ATMOSPHERE)
    above = np.flatnonzero(p > level)
    inside = slice(above[0], above[-1] + 1)
    lasting = float(t[above[-1]] - t[above[0]])
    return {
        "peak_pressure": float(p.max()),
        "mean_pressure": float(np.trapezoid(p[inside], t[inside])) / lasting,
        "burn_time": lasting,
        "total_impulse": float(np.trapezoid(course.thrust, t)),
    }


@dataclass(frozen=True, slots=True, kw_only=True)
class Judged:
    """Forecasts held against their firings.

    Attributes
    ----------
    inside : dict of str to ndarray of bool
        Whether the true value lies in its 95 % band.
    above : dict of str to ndarray of bool
        Whether it lies above the band.
    ratio : dict of str to ndarray
        True over best estimate.
    width : dict of str to ndarray
        Upper over lower end.
    below_limit : ndarray of bool
        Whether the true peak lies below the p95 of the table.
    """

    inside: dict[str, np.ndarray]
    above: dict[str, np.ndarray]
    ratio: dict[str, np.ndarray]
    width: dict[str, np.ndarray]
    below_limit: np.ndarray


def judged(count: int, seed: int) -> Judged:
    """Foresee and fire so many motors."""
    rng = np.random.default_rng(seed)
    cases = [case(rng) for _ in range(count)]
    courses = simulator.courses([one.fired for one in cases])
    true = [true_results(course) for course in courses]
    ends = {n: np.array([c.expected.bands[n] for c in cases]) for n in RESULTS}
    got = {n: np.array([one[n] for one in true]) for n in RESULTS}
    best = {n: np.array([getattr(c.expected.best, n) for c in cases]) for n in RESULTS}
    return Judged(
        inside={n: (got[n] >= e[:, 0]) & (got[n] <= e[:, 1]) for n, e in ends.items()},
        above={n: got[n] > e[:, 1] for n, e in ends.items()},
        ratio={n: got[n] / best[n] for n in RESULTS},
        width={n: e[:, 1] / e[:, 0] for n, e in ends.items()},
        below_limit=got["peak_pressure"] <= np.array([c.limit for c in cases]),
    )
