"""What filmed firings teach the model of burn rates, against what is true of them."""

from __future__ import annotations

import math
import sys
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pytest

from castsugar.errors import InputError
from castsugar.motor import scatter
from castsugar.motor.burn_evidence import FIRING, Burned, rows_of
from castsugar.motor.burn_model import BurnModel
from castsugar.motor.efficiency import MEDIANS, SCATTER, SPREADS
from castsugar.motor.firing.frames import (
    ENDS,
    UNBURNT,
    Frames,
    MeanRate,
    burn_time,
    mass_flow,
    mean_pressure,
    mean_rate,
    rate_at_mean,
)
from castsugar.motor.firing.law_doubts import rivals_of
from castsugar.motor.firing.quantities import Stand
from castsugar.motor.grain import HollowCylinder

sys.path.insert(0, str(Path(__file__).parent))
import simulated_burns as burns

IDEAL, DENSITY = 900.0, 1750.0
MIX = burns.MEASURED[0]


def entry(found: MeanRate, name: str, u: float, shared: float) -> Burned:
    return Burned(
        name=name,
        fractions=dict(zip(burns.NAMES, MIX.tolist(), strict=True)),
        pressure=np.array([found.centre]),
        rate=np.array([found.rate]),
        kind=FIRING,
        batch=name,
        log_rate_u=u,
        shared_u=shared,
    )


@pytest.mark.exact
def test_the_shared_part_is_a_covariance() -> None:
    """Two filmed firings: u^2 on the diagonal, both shared parts beside it."""
    found = MeanRate(centre=2e6, rate=5e-3, log_rate_u=0.05, shared_u=0.04)
    one, two, own = (
        entry(found, name, 0.05, shared)
        for name, shared in (("a", 0.04), ("b", 0.03), ("c", 0.0))
    )
    expected = np.diag([0.05**2] * 3)
    expected[0, 1] = expected[1, 0] = 0.04 * 0.03
    np.testing.assert_allclose(rows_of([one, two, own]).fixed, expected, rtol=1e-12)
    with pytest.raises(InputError, match="at most all of it"):
        entry(found, "d", 0.05, 0.06)


# ----------------------------------------------------------------------------
# Workshops whose truth is known, by formulas of this file: quasi-steady firings of one
# motor, filmed twice.


@dataclass(frozen=True)
class Workshop:
    """What stays from firing to firing: law, motor as made and as measured, eye."""

    exponent: float
    rate: float
    made: tuple[float, float, float]
    throat: float
    efficiency: float
    early: float
    late: float
    unburnt: float


GRAIN = HollowCylinder(
    outer_diameter=0.036, core_diameter=0.014, segment_length=0.062, segments=4
)
THROAT = 8e-3


def workshop(rng: np.random.Generator) -> Workshop:
    outer, core, length = rng.normal([0.036, 0.014, 0.062], 1e-4)
    return Workshop(
        exponent=rng.normal(*scatter.EXPONENT),
        rate=4e-3 * math.exp(0.2 * rng.standard_normal()),
        made=(outer, core, length),
        throat=rng.normal(THROAT, 5e-5),
        efficiency=MEDIANS[0] * math.exp(SPREADS[0] * rng.standard_normal()),
        early=rng.uniform(-ENDS, ENDS),
        late=rng.uniform(-ENDS, ENDS),
        unburnt=rng.uniform(0.0, 2.0 * UNBURNT),
    )


def fired(one: Workshop, rng: np.random.Generator) -> tuple[float, float]:
    """Return burn time and mass of one firing."""
    outer, core, length = one.made
    web = 0.5 * (outer - core)
    x = (np.arange(400) + 0.5) / 400 * web
    around = math.pi * (core + 2.0 * x) * (length - 2.0 * x)
    area = 4.0 * (around + 0.5 * math.pi * (outer**2 - (core + 2.0 * x) ** 2))
    velocity = IDEAL * one.efficiency * math.exp(SCATTER * rng.standard_normal())
    supply = DENSITY * velocity * area / (0.25 * math.pi * one.throat**2)
    n = one.exponent
    pressure = 1e6 * (supply * one.rate / 1e6) ** (1.0 / (1.0 - n))
    rate = one.rate * (pressure / 1e6) ** n
    time = float((web / 400 / rate).sum()) + one.unburnt
    return time, DENSITY * float(area.sum()) * web / 400


def filmed(one: Workshop, rng: np.random.Generator) -> MeanRate:
    """Return what the firing tells, filmed at 30 frames a second."""
    time, mass = fired(one, rng)
    start = rng.uniform(1.0, 2.0)
    first, last = (start + one.early, start + time + one.late)
    frames = Frames(first=round(30 * first), last=round(30 * last), rate=30.0)
    stand = Stand(
        propellant_mass=mass * math.exp(0.005 * rng.standard_normal()),
        throat_diameter=THROAT,
        throat_after=THROAT,
    )
    read = burn_time(frames)
    doubt = math.hypot(SPREADS[0], SCATTER)
    pressure = mean_pressure(
        mass_flow(read, stand), stand, MEDIANS[0] * IDEAL, {"c* efficiency": doubt}
    )
    return rate_at_mean(mean_rate(read, GRAIN, rivals_of(GRAIN)), pressure, GRAIN)


def off(found: MeanRate, one: Workshop) -> float:
    """Return ln of the rate told over the true one at the pressure told."""
    true = one.rate * (found.centre / 1e6) ** one.exponent
    return math.log(found.rate / true)


@pytest.mark.slow
@pytest.mark.exact
def test_learning_never_narrows_below_an_oracle() -> None:
    """The oracle knows how far such rows are off, and how alike in one workshop.

    400 workshops of two firings, those of 1 to 6 s and 0.5 to 10 MPa.
    """
    rng = np.random.default_rng(20)
    told, errors = [], []
    while len(told) < 400:
        one = workshop(rng)
        if not (one.exponent < 0.65 and 1.5 <= fired(one, rng)[0] <= 6.0):
            continue
        pair = [filmed(one, rng) for _ in range(2)]
        if not all(5e5 < each.centre < 1e7 for each in pair):
            continue
        told.append(pair[0])
        errors.append([off(each, one) for each in pair])
    off_by = np.array(errors)
    scatter_, alike = off_by.std(), math.sqrt(np.cov(off_by.T)[0, 1])
    u = math.sqrt(np.mean([each.log_rate_u**2 for each in told]))
    shared = math.sqrt(np.mean([each.shared_u**2 for each in told]))
    inside = [
        abs(e[0]) < 1.96 * t.log_rate_u for e, t in zip(errors, told, strict=True)
    ]
    # Three standard errors of 400.
    assert abs(off_by.mean()) < 0.01
    assert 0.93 - 0.033 <= np.mean(inside) <= 0.99
    assert u > scatter_ * (1.0 - 3.0 / math.sqrt(800))
    assert shared > alike * (1.0 - 3.0 / math.sqrt(800))
    strands = burns.drawn(np.random.default_rng(3), burns.Known()).evidence
    # As foreseen: a firing that surprises teaches widths, which are not asked here.
    level = float(BurnModel(strands).rates(MIX, burns.NAMES, 2.5e6).mean[0])
    typical = replace(told[0], centre=2.5e6, rate=math.exp(level))
    for count in (1, 2, 4):
        own, oracle = (
            _u([*strands, *(entry(typical, f"f{i}", a, b) for i in range(count))])
            for a, b in ((u, shared), (scatter_, alike))
        )
        assert own >= oracle


def _u(evidence: list[Burned]) -> float:
    return float(BurnModel(evidence).rates(MIX, burns.NAMES, 2.5e6).u[0])
