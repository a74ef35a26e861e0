"""Do the intervals of a firing cover as often as they say, without being wide?"""

from __future__ import annotations

import math
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from castsugar.motor.firing.inference import infer_law
from castsugar.motor.firing.law_doubts import rivals_of
from castsugar.motor.firing.reduction import reduce_recording
from castsugar.motor.grain import AreaTable, Grain, HollowCylinder

sys.path.insert(0, str(Path(__file__).parent))
from simulated_firing import USUAL, Known, Sensors, Setup, drawn

# Exact: firings are drawn from a known law, and whatever is measured is off by normal
# errors of the stated standard uncertainties. With 500 seeds a true 95 % is counted as
# 92 to 98 % but for a chance of 0.1 %. The ideal half-width is 1.96 times the standard
# deviation of the errors themselves.
SEEDS = 500
KNOWN = Known()

PROGRESSIVE = HollowCylinder(
    outer_diameter=32e-3, core_diameter=12e-3, segment_length=100e-3, burning_ends=1
)
REGRESSIVE = HollowCylinder(
    outer_diameter=40e-3, core_diameter=20e-3, segment_length=32e-3, segments=3
)
#: dA/dx = 2 pi (L - 2 d - 6 x) vanishes half-way through a web of (D - d) / 2 if
#: L = (3 D + d) / 2: the area rises, and falls again to what it was.
THERE_AND_BACK = HollowCylinder(
    outer_diameter=32e-3, core_diameter=12e-3, segment_length=54e-3, segments=2
)
#: Kn changes by 1 %; two throat diameters known to 0.05 mm leave its change unsure by
#: 2^(1/2) 2 x 0.05/8 = 1.8 %.
NEARLY_NEUTRAL = AreaTable(webs=(0.0, 10e-3), areas=(7.5e-3, 7.575e-3), port_area=2e-4)

JUMP = Sensors(noise=0.01, jump=0.02, bits=12, rate=400.0, lag=3e-3)

FOUND = (
    "characteristic_velocity",
    "specific_impulse",
    "total_impulse",
    "thrust_coefficient",
    "log rate",
    "exponent",
)


def study(setup: Setup, seeds: int) -> tuple[dict[str, np.ndarray], float]:
    """Return errors and uncertainties, shape (seeds, 2), and how often n is told."""
    found: dict[str, list[tuple[float, float]]] = {name: [] for name in FOUND}
    told = 0
    rivals = rivals_of(setup.grain, setup.size_u)
    for seed in range(seeds):
        record, stand, true = drawn(setup, KNOWN, np.random.default_rng([7, seed]))
        reduced = reduce_recording(record, stand)
        truth = {
            "characteristic_velocity": KNOWN.velocity,
            "specific_impulse": true.specific_impulse,
            "total_impulse": true.total_impulse,
            "thrust_coefficient": KNOWN.thrust_coefficient,
        }
        for name, value in truth.items():
            result = reduced.results[name]
            found[name].append((result.value / value - 1.0, result.u / value))
        law = infer_law(reduced, setup.grain, rivals=rivals)
        rate = KNOWN.rate * (law.centre / 1e6) ** KNOWN.exponent
        found["log rate"].append((math.log(law.rate / rate), law.log_rate_u))
        found["exponent"].append((law.exponent - KNOWN.exponent, law.exponent_u))
        told += law.told
    return {name: np.array(rows) for name, rows in found.items()}, told / seeds


def covered(rows: np.ndarray) -> float:
    """Return how often 95 % intervals hold the truth."""
    return float(np.mean(np.abs(rows[:, 0]) <= 1.959964 * rows[:, 1]))


def width(rows: np.ndarray) -> float:
    """Return the mean half-width over the ideal one."""
    return float(rows[:, 1].mean() / rows[:, 0].std())


@pytest.mark.exact
@pytest.mark.slow
@pytest.mark.parametrize(
    "grain", [PROGRESSIVE, REGRESSIVE], ids=["progressive", "regressive"]
)
def test_intervals_cover(grain: Grain) -> None:
    """Of c*, Isp, impulse, C_F, rate and n; not much wider than they must be."""
    found, told = study(Setup(grain=grain), SEEDS)
    assert told == 1.0
    shares = {name: covered(rows) for name, rows in found.items()}
    widths = {name: width(rows) for name, rows in found.items()}
    assert all(0.92 <= share <= 0.98 for share in shares.values()), shares
    assert all(ratio <= 1.3 for ratio in widths.values()), widths


@pytest.mark.exact
@pytest.mark.slow
def test_intervals_cover_with_one_throat_diameter() -> None:
    """A throat that stayed as it was, measured before only: whether it grew is not
    known to the reduction, so that n may be told less surely than this study needs.
    """
    found, _ = study(Setup(grain=PROGRESSIVE, throat_after=None), 250)
    # 250 seeds: 95 % is counted as 90 to 99 % but for a chance of 0.2 %.
    exponent = found.pop("exponent")
    shares = {name: covered(rows) for name, rows in found.items()}
    widths = {name: width(rows) for name, rows in found.items()}
    assert all(0.90 <= share <= 0.99 for share in shares.values()), shares
    assert all(ratio <= 1.3 for ratio in widths.values()), widths
    assert covered(exponent) >= 0.90


@pytest.mark.exact
@pytest.mark.slow
def test_an_area_that_rises_and_falls() -> None:
    """A change of the throat bends the course but does not tilt n: the scatter that it
    leaves makes the interval of n wide, never too narrow.
    """
    found, _ = study(Setup(grain=THERE_AND_BACK), 200)
    # 200 seeds: 95 % is counted as 90 to 99 % but for a chance of 0.3 %.
    shares = {name: covered(rows) for name, rows in found.items()}
    assert shares.pop("exponent") >= 0.90
    assert all(0.90 <= share <= 0.99 for share in shares.values()), shares
    assert width(found["log rate"]) <= 1.3


@pytest.mark.exact
@pytest.mark.slow
@pytest.mark.parametrize("after", [None, 8e-3, 8.1e-3])
def test_a_nearly_neutral_grain_does_not_tell_n(after: float | None) -> None:
    """But it does tell the rate."""
    found, told = study(Setup(grain=NEARLY_NEUTRAL, throat_after=after), 50)
    # 50 seeds: 95 % is counted as 86 % or more but for a chance of 1 %.
    assert covered(found["log rate"]) >= 0.86
    assert told <= 0.05


@pytest.mark.exact
@pytest.mark.slow
@pytest.mark.parametrize(
    "grain", [PROGRESSIVE, REGRESSIVE], ids=["progressive", "regressive"]
)
def test_intervals_cover_when_the_zero_jumps(grain: Grain) -> None:
    """All of the drift comes at once, as with a sensor that gets hot."""
    found, _ = study(Setup(grain=grain, sensors=JUMP), 150)
    # A weaker check: a straight line is the wrong zero here. 88 % or more.
    shares = {name: covered(rows) for name, rows in found.items()}
    assert all(share >= 0.88 for share in shares.values()), shares


@pytest.mark.exact
def test_a_few_seeds() -> None:
    """The same in short: nothing is off by 4 standard uncertainties."""
    found, told = study(Setup(grain=PROGRESSIVE), 20)
    assert told == 1.0
    for name, rows in found.items():
        # 20 x 6 normal deviates beyond 4: a chance of 0.8 %.
        assert np.all(np.abs(rows[:, 0]) < 4.0 * rows[:, 1]), name
        assert USUAL.noise > rows[:, 1].mean() * 0.3, name


@pytest.mark.exact
@pytest.mark.parametrize("share", [0.1, 0.2, 0.3])
def test_the_law_does_not_hang_on_the_limits(share: float) -> None:
    """The pressure starts at 17 % of its peak: limits above leave mass out of the
    integrals, but the law must know all that burnt.
    """
    grain = HollowCylinder(
        outer_diameter=32e-3, core_diameter=10e-3, segment_length=90e-3, burning_ends=0
    )
    quiet = Setup(grain=grain, throat_after=None, sensors=Sensors(noise=0.002))
    record, stand, true = drawn(quiet, KNOWN, np.random.default_rng(1))
    assert true.pressure.min() / true.pressure.max() == pytest.approx(0.17, abs=0.01)
    usual = infer_law(reduce_recording(record, stand), grain)
    other = infer_law(reduce_recording(record, replace(stand, share=share)), grain)
    assert other.rate == pytest.approx(usual.rate, rel=1e-3)
    assert other.exponent == pytest.approx(usual.exponent, abs=1e-3)
    assert other.log_rate_u < 1.5 * usual.log_rate_u
