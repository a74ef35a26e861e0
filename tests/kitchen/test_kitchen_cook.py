"""A cook: integrals over time, bad profiles, the pour window."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from kitchen_checks.pots import AIR, hold, kitchen, retail, weigh
from scipy.integrate import quad

import castsugar as cs
from castsugar.constants import ICE_POINT as C
from castsugar.kitchen import heat, pour_window, water
from castsugar.kitchen.heat import cook_of_points
from castsugar.kitchen.parameters import Values
from castsugar.kitchen.pot import Pot, poured
from castsugar.kitchen.pour_window import degradation_limit
from castsugar.kitchen.suspension import CLASS_NAMES, flow_class
from castsugar.kitchen.verdict import judge

pytestmark = pytest.mark.exact

PROFILES = {
    "hold": ((0.0, 600.0), (119.0, 119.0)),
    "warming": ((0.0, 1200.0), (20.0, 140.0)),
    "peak": ((0.0, 300.0, 420.0, 900.0), (90.0, 145.0, 145.0, 112.0)),
    "steep": ((0.0, 1.0, 3600.0, 3601.0), (20.0, 130.0, 118.0, 180.0)),
    "late start": ((7200.0, 7800.0), (100.0, 125.0)),
}


def _profile(name: str) -> cs.Cook:
    times, celsius = PROFILES[name]
    return cs.Cook(times, tuple(t + C for t in celsius))


@pytest.mark.parametrize("name", PROFILES)
def test_integrals_over_the_profile(name: str) -> None:
    """Exact: adaptive quadrature of the same straight lines."""
    cook = _profile(name)

    def integral(rate: object) -> float:
        total = 0.0
        stretches = zip(cook.times[:-1], cook.times[1:], strict=True)
        for start, end in stretches:

            def at(t: float) -> float:
                kelvin = np.interp(t, cook.times, cook.temperatures)
                return float(rate(kelvin))  # type: ignore[operator]

            total += quad(at, start, end, epsabs=0.0, epsrel=1e-12, limit=200)[0]
        return total

    assert cook.degradation() == pytest.approx(
        integral(heat.degradation_rate), rel=1e-9
    )
    assert cook.drying() == pytest.approx(integral(water.drying_weight), rel=1e-9)
    assert cook.degraded() == pytest.approx(-math.expm1(-cook.degradation()), rel=1e-12)


def test_hold_is_the_closed_form() -> None:
    """Exact: one temperature needs no quadrature."""
    cook = hold(119.0, 10.0)
    rate = float(heat.degradation_rate(119.0 + C))
    assert cook.degraded() == pytest.approx(-math.expm1(-600.0 * rate), rel=1e-12)
    assert cook.drying() == pytest.approx(600.0, rel=1e-12)
    assert (cook.duration, cook.hottest) == (600.0, 119.0 + C)


def test_a_profile_of_points_is_the_same_cook() -> None:
    """Exact: only the form differs; a point on the line changes nothing."""
    points = [(0.0, 100 + C), (300.0, 120 + C), (600.0, 119 + C)]
    cook = cook_of_points(points)
    assert cook == cs.Cook((0.0, 300.0, 600.0), (100 + C, 120 + C, 119 + C))
    finer = cook_of_points([points[0], (150.0, 110 + C), *points[1:]])
    assert finer.degradation() == pytest.approx(cook.degradation(), rel=1e-12)


@pytest.mark.parametrize(
    ("times", "celsius", "words"),
    [
        ((0.0,), (119.0,), "at least two points"),
        ((), (), "at least two points"),
        ((0.0, 1.0), (119.0,), "2 times and 1 temperatures"),
        ((0.0, 600.0, 300.0), (100.0, 119.0, 119.0), "from 10 min to 5 min"),
        ((0.0, 0.0), (119.0, 119.0), "times must rise"),
        ((0.0, math.nan), (119.0, 119.0), "is nan; give numbers"),
        ((0.0, 60.0), (119.0, math.inf), "is inf; give numbers"),
        ((0.0, 25 * 3600.0), (119.0, 119.0), "25 h; allowed up to 24 h"),
        ((0.0, 60.0), (119.0, 201.0), "201 C is outside 0 to 200 C"),
        ((0.0, 60.0), (-0.5, 119.0), "-0.5 C is outside 0 to 200 C"),
    ],
)
def test_bad_profiles(
    times: tuple[float, ...], celsius: tuple[float, ...], words: str
) -> None:
    """One line that says what is wrong."""
    with pytest.raises(cs.InputError, match=words):
        cs.Cook(times, tuple(t + C for t in celsius))


@pytest.mark.parametrize("minutes", [0.0, -8.0, math.nan])
def test_no_time_is_no_cook(minutes: float) -> None:
    """A hold needs a time above 0."""
    with pytest.raises(cs.InputError, match="above 0"):
        cs.Cook.hold(119.0 + C, 60.0 * minutes)


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ({"water_lost": 1.2}, "between 0 and 1"),
        ({"water_lost": -0.1}, "between 0 and 1"),
        ({"water_lost": math.nan}, "between 0 and 1"),
        ({"draws": 19}, "20 to 100,000"),
        ({"draws": 100_001}, "20 to 100,000"),
        ({"air_pressure": 49.9e3}, "50 to 110 kPa"),
        ({"air_pressure": 110.1e3}, "50 to 110 kPa"),
        ({"air_pressure": 101.325}, "50 to 110 kPa"),
        ({"degradation_limit": 0.0}, "1e-06 to 0.5"),
        ({"degradation_limit": 0.6}, "1e-06 to 0.5"),
    ],
)
def test_bad_kitchens(options: dict[str, float], words: str) -> None:
    """Settings without meaning are refused, the range named."""
    with pytest.raises((cs.InputError, cs.ValidityError), match=words):
        kitchen(**options)  # type: ignore[arg-type]


def test_pour_must_be_warm() -> None:
    """The pour is modelled from 85 C up; below it is refused, at it not."""
    with pytest.raises(cs.InputError, match="from 85 C up"):
        kitchen(84.9)
    assert kitchen(85.0).cook.pour_temperature == pytest.approx(358.15)


def test_no_verdict_above_150_degrees() -> None:
    """At 150 C there is one, just above there is none, whatever the pour."""
    mix = weigh(60, 20, 20)
    assert cs.kitchen_table(mix, kitchen(150.0)).flow_class[0] != "not computed"
    peak = cs.Kitchen(cook=cs.Cook((0.0, 60.0, 120.0), (90 + C, 150.1 + C, 119 + C)))
    for rules in (kitchen(150.1), peak):
        row = cs.kitchen_table(mix, rules).iloc[0]
        assert row.flow_class == "not computed"
        assert "no verdict above 150 C bulk temperature" in row["flags"]
        assert np.isnan(row.pour_viscosity_Pa_s)
        assert np.isnan(row.pours_probability)


def test_ending_at_shifts_the_whole_cook() -> None:
    """Exact: the shape stays."""
    cook = _profile("peak")
    warmer = cook.ending_at(cook.pour_temperature + 7.0)
    assert warmer.times == cook.times
    shifts = np.subtract(warmer.temperatures, cook.temperatures)
    np.testing.assert_allclose(shifts, 7.0, atol=1e-9)


@pytest.mark.parametrize("name", ["hold", "peak", "late start"])
@pytest.mark.parametrize("limit", [0.01, 0.02, 0.05])
def test_degradation_limit_is_the_root(name: str, limit: float) -> None:
    """Exact: the cook that ends there degrades just as much as is allowed."""
    cook = _profile(name)
    end = degradation_limit(cook, limit)
    assert cook.ending_at(end).degraded() == pytest.approx(limit, rel=1e-9)


def test_limit_of_a_hold_is_the_closed_form() -> None:
    """Exact: E / (R ln(A t / -ln(1 - limit)))."""
    rate = -math.log(1.0 - 0.02) / 600.0
    wanted = heat.ENERGY / (8.31446261815324 * math.log(10**heat.LOG10_RATE / rate))
    assert degradation_limit(hold(119.0), 0.02) == pytest.approx(wanted, abs=1e-9)
    assert float(heat.degradation_rate(wanted)) == pytest.approx(rate, rel=1e-12)


WINDOW_RECIPES = [
    (60, 20, 20),
    (60, 22, 18),
    (60, 15, 25),
    (60, 25, 15),
    (55, 20, 25),
    (55, 25, 20),
    (65, 15, 20),
    (65, 20, 15),
    (70, 10, 20),
    (58, 21, 21),
    (50, 10, 40),
    (63, 17, 20),
    (62, 30, 8),
]


@pytest.mark.parametrize("minutes", [1.0, 5.0])
def test_pour_window_against_a_scan(minutes: float) -> None:
    """Exact: the first stretch of 0.25 K steps at which half of the draws pour.

    Close to one half the share of 40 draws goes up and down by a draw or two from
    step to step; an edge may be any of those steps.
    """
    draws = 40
    pots, rules = retail(WINDOW_RECIPES), kitchen(119.0, minutes, draws=draws)
    values = rules.belief.draw(draws, rules.seed)
    top = min(degradation_limit(rules.cook, rules.degradation_limit), 150.0 + C)
    steps = np.append(np.arange(90.0 + C, top, 0.25), top)
    share = np.stack(
        [_pouring(pots, values, rules.cook.ending_at(float(t))) for t in steps], axis=1
    )
    slack = 2.0 / draws + 1e-9
    low, high = judge(pots, rules).window
    for row, name in enumerate(WINDOW_RECIPES):
        if np.isnan(low[row]):
            assert share[row].max() < 0.5 + slack, name
            continue
        inside = (steps > low[row] + 0.1) & (steps < high[row] - 0.1)
        assert (share[row][inside] >= 0.5 - slack).all(), name
        assert (share[row][steps < low[row] - 0.1] < 0.5 + slack).all(), name
        after = np.flatnonzero(steps > high[row] + 0.1)[:1]
        assert (share[row][after] < 0.5 + slack).all(), name
    assert np.isfinite(low).sum() > 3
    assert np.isnan(low).any()


def _pouring(pots: Pot, values: Values, cook: cs.Cook) -> np.ndarray:
    """Return the share of draws that pour."""
    classes = flow_class(*poured(pots, values, cook, AIR))
    return (classes <= CLASS_NAMES.index("pours")).mean(axis=1)


def test_window_of_a_profile_that_starts_cold() -> None:
    """A pan that is warmed from the room has a window as well."""
    cook = cs.Cook((0.0, 240.0, 300.0), (20 + C, 119 + C, 119 + C))
    row = cs.kitchen_table(weigh(60, 15, 25), cs.Kitchen(cook=cook)).iloc[0]
    assert row.pour_window_low_C < 119.0 < row.pour_window_high_C


def test_window_of_a_profile_with_a_short_peak() -> None:
    """A peak above the end must not leave the range of the models."""
    cook = cs.Cook((0.0, 5.0, 10.0), (100 + C, 150 + C, 100 + C))
    mixes = [weigh(60, 15, 25), "KNO3:55 erythritol:25 sorbitol:20"]
    table = cs.kitchen_table(mixes, cs.Kitchen(cook=cook))
    assert "not computed" not in set(table["flow_class"])


def test_what_is_too_crowded_with_all_its_water_pours_nowhere(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Exact: the windows are those of asking every row at every heat.

    The other way round a row without a window may be none of these: it is too thick.
    """
    recipes = [(n, s, 100 - n - s) for n in range(30, 96, 5) for s in range(0, 21, 5)]
    pots, rules = retail([one for one in recipes if one[2] >= 0]), kitchen(draws=64)
    values = rules.belief.draw(64, rules.seed)
    found, told = judge(pots, rules).window, []

    def none(pot: Pot, *given: Any) -> np.ndarray:
        told.append(jammed(pot, *given))
        return np.zeros(len(pot), dtype=bool)

    jammed = pour_window._jammed
    monkeypatch.setattr(pour_window, "_jammed", none)
    for some in (pots, pots.as_dummy()):
        again = judge(some, rules).window
        assert np.isnan(again[:, told[-1]]).all()
        assert 5 < told[-1].sum() < np.isnan(again[0]).sum() < len(some)
        if some is pots:
            np.testing.assert_array_equal(found, again)
    assert jammed(replace(pots, fines_ratio=2.0), values, 400.0, 0.5).sum() == 0
