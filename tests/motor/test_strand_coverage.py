"""Do the intervals of strands cover as often as they say, and alarms ring as seldom?"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from castsugar.motor.burn_law import burn_rate, draw_laws
from castsugar.motor.pressure_bands import choose_bands
from castsugar.motor.strand_fit import fit_law, lack_of_fit

# Exact: strands are drawn from a known law with normal scatter of ln r, which is what
# the intervals assume. With 500 seeds a true 95 % is counted as 92 to 98 % but for a
# chance of 0.1 %.
SEEDS = 500
RATE, EXPONENT, SCATTER = 4.6e-3, 0.31, 0.03
AT = 5.0e6

#: Pressures of the strands [Pa].
LAYOUTS = {
    "12 spread": np.geomspace(1e5, 7e6, 12),
    "5 few": np.array([1e5, 1e5, 1e6, 3e6, 7e6]),
    "2 at each of 4": np.repeat([1e5, 1e6, 3e6, 7e6], 2),
}


def strands(pressure: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Draw rates of strands from the known law. [m/s]"""
    noise = SCATTER * rng.standard_normal(pressure.size)
    return RATE * (pressure / 1e6) ** EXPONENT * np.exp(noise)


@pytest.mark.slow
@pytest.mark.exact
@pytest.mark.parametrize(
    "layout",
    ["5 few"]
    + [pytest.param(x, marks=pytest.mark.simulation) for x in LAYOUTS if x != "5 few"],
)
def test_intervals_cover(layout: str) -> None:
    """Of a, n, the law at a pressure and a new strand; no wider than need be."""
    pressure, rng = LAYOUTS[layout], np.random.default_rng(11)
    x = np.log(pressure / 1e6)
    true_at = RATE * (AT / 1e6) ** EXPONENT
    hits, halves = np.zeros(4), []
    for _ in range(SEEDS):
        fit = fit_law(pressure, strands(pressure, rng))
        new = true_at * math.exp(SCATTER * rng.standard_normal())
        intervals = [
            (*map(float, fit.law_interval(1e6)), RATE),
            (*fit.exponent_interval(), EXPONENT),
            (*map(float, fit.law_interval(AT)), true_at),
            (*map(float, fit.strand_interval(AT)), new),
        ]
        hits += [low <= value <= high for low, high, value in intervals]
        halves.append(
            [
                0.5 * math.log(intervals[0][1] / intervals[0][0]),
                0.5 * (intervals[1][1] - intervals[1][0]),
                0.5 * math.log(intervals[2][1] / intervals[2][0]),
            ]
        )
    share = hits / SEEDS
    assert ((share >= 0.92) & (share <= 0.98)).all(), share
    # Half-widths if the scatter were known: t s sqrt(x' (X'X)^-1 x), in closed form.
    spread = x - x.mean()
    square, t = float((spread**2).sum()), stats.t.ppf(0.975, x.size - 2)
    exact = [
        t * SCATTER * math.sqrt(1 / x.size + (place - x.mean()) ** 2 / square)
        for place in (0.0, math.log(AT / 1e6))
    ]
    wanted = [exact[0], t * SCATTER / math.sqrt(square), exact[1]]
    median = np.median(halves, axis=0)
    assert (median <= 1.3 * np.array(wanted)).all()
    assert (median >= 0.6 * np.array(wanted)).all()


@pytest.mark.exact
def test_lack_of_fit_rings_seldom() -> None:
    """A right law is doubted in 5 % of the cases, a bent one is found."""
    pressure, rng = LAYOUTS["2 at each of 4"], np.random.default_rng(12)
    doubted = 0
    for _ in range(SEEDS):
        test = lack_of_fit(fit_law(pressure, strands(pressure, rng)))
        assert test is not None
        doubted += test.probability < 0.05
    assert 0.02 <= doubted / SEEDS <= 0.08
    bent = RATE * np.where(pressure < 5e5, 1.0, 1.6) * (pressure / 1e6) ** EXPONENT
    noise = np.exp(0.01 * rng.standard_normal(pressure.size))
    found = lack_of_fit(fit_law(pressure, bent * noise))
    assert found is not None
    assert found.probability < 0.01


@pytest.mark.slow
@pytest.mark.exact
def test_bands_only_where_the_data_call_for_them() -> None:
    """Straight data keep one law; a plateau is found."""
    pressure, rng = np.geomspace(1e5, 1e7, 18), np.random.default_rng(13)
    count = 60
    straight = sum(
        len(choose_bands(pressure, strands(pressure, rng)).chosen.exponents) == 1
        for _ in range(count)
    )
    # 95 % of 60 are 57; 52 or fewer have a chance of 1 %.
    assert straight >= 53
    knee = np.where(pressure < 1e6, (pressure / 1e6) ** 0.6, 1.0)
    found = 0
    for _ in range(10):
        noise = np.exp(0.02 * rng.standard_normal(pressure.size))
        found += len(choose_bands(pressure, RATE * knee * noise).chosen.exponents) > 1
    assert found == 10


@pytest.mark.slow
@pytest.mark.exact
def test_a_drawn_grain_covers_a_new_grain() -> None:
    """Laws drawn for a Monte-Carlo bracket a new strand as often as they should."""
    pressure, rng = LAYOUTS["12 spread"], np.random.default_rng(15)
    inside = 0
    for seed in range(SEEDS):
        law = fit_law(pressure, strands(pressure, rng)).law("drawn")
        shift, turn = draw_laws(law, 400, seed)
        drawn = float(burn_rate(law, AT)) * np.exp(shift) * (AT / law.centre) ** turn
        new = RATE * (AT / 1e6) ** EXPONENT * math.exp(SCATTER * rng.standard_normal())
        low, high = np.quantile(drawn, [0.025, 0.975])
        inside += low <= new <= high
    assert 0.92 <= inside / SEEDS <= 0.98
