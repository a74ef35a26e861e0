"""Peaks by formula: roots by brute force, closed forms, crowds, what has no limit."""

from __future__ import annotations

import math
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy import stats
from scipy.optimize import bisect
from scipy.special import ndtr

from castsugar import InputError
from castsugar.motor import scatter
from castsugar.motor.burn_model import MIX, NEXT, Asked, BurnModel
from castsugar.motor.peak_pressure import NO_LIMIT, Spread, peaks
from castsugar.motor.scatter import CENTRE

sys.path.insert(0, str(Path(__file__).parent))
import simulated_burns as burns

SPREAD = Spread(
    density=0.01,
    throat_diameter=0.01,
    area=0.02,
    characteristic_velocity=0.01,
    temperature=10.0,
)
LEVELS = (0.05, 0.5, 0.9, 0.95, 0.99)


def quantiles(model, mixes, supply, levels=LEVELS, asked=None, u=burns.MOTOR_U):
    """Return quantiles of mixes of the usual three ingredients, (levels, mixes)."""
    found = peaks(
        model,
        mixes,
        burns.NAMES,
        log_supply=supply,
        supply_u=u,
        levels=levels,
        asked=asked,
    )
    return found.quantiles


@pytest.mark.exact
def test_what_the_motor_adds() -> None:
    """1 %, 2 x 1 %, 2 %, 1 % and 0.002 x 10 K = 2 %, in quadrature."""
    total = math.sqrt(0.01**2 + 0.02**2 + 0.02**2 + 0.01**2 + 0.02**2)
    assert SPREAD.supply_u(0.002) == pytest.approx(total, rel=1e-12)


def crossing(model, w, supply, asked, level) -> float:
    """Return ln(p / 2.5 MPa) above which a level is kept: signs on a grid, halving."""
    x = np.linspace(-3.0, math.log(NO_LIMIT / CENTRE), 41)
    off = [burns.chance_below(model, w, a, supply, asked) - level for a in x]
    i = int(np.flatnonzero(np.array(off) < 0.0)[-1])
    if i == len(x) - 1:
        return math.inf
    return bisect(
        lambda a: burns.chance_below(model, w, a, supply, asked) - level,
        x[i],
        x[i + 1],
        xtol=1e-5,
    )


@pytest.mark.exact
@pytest.mark.slow
def test_quantiles_are_roots_by_brute_force() -> None:
    """By signs and halving on the plain sum of normals: within 0.5 % of pressure.

    The laws of these worlds bend by up to 10 %; what is left is the cubic between the
    pressures at which means and variances are computed. In the shipped example: 0.1 %.
    """
    evidence, supply = burns.example()
    rng = np.random.default_rng(1)
    cases = [(evidence, supply, burns.BETWEEN, NEXT, 1e-3)]
    cases += [(evidence[:1], supply, burns.MEASURED[2], NEXT, 1e-3)]
    cases += [((), supply, burns.MEASURED[0], NEXT, 1e-3)]
    for _ in range(3):
        world = burns.drawn(rng, burns.Known())
        for place, of in ((0, "mix 0, batch 0"), (3, MIX), (4, NEXT)):
            w = world.fractions[place]
            cases.append((world.evidence, world.log_supply, w, of, 5e-3))
    for known, log_supply, w, of, tolerance in cases:
        model, asked = BurnModel(known), Asked(of=of)
        got = quantiles(model, w, log_supply, asked=asked)[:, 0]
        for level, p in zip(LEVELS, got.tolist(), strict=True):
            x = crossing(model, w, log_supply, asked, level)
            wanted = math.log(p / CENTRE)
            assert wanted == pytest.approx(x, abs=tolerance), level


@pytest.mark.exact
@pytest.mark.parametrize("supply", np.linspace(18.9, 20.7, 4))
def test_of_several_roots_the_highest_counts(supply: float) -> None:
    """Strands on a plateau, then as steep as pressure: the chance falls and rises.

    Whatever is told, from there up no pressure is kept by fewer: on a grid, by the
    plain sum of normals, to 1 % of the chance; and just below it too few keep it.
    """
    p = np.repeat([0.1e6, 1e6, 2e6, 4e6, 7e6], 2)
    rate = np.repeat([1.7e-3, 3.9e-3, 5.0e-3, 5.6e-3, 11.5e-3], 2)
    evidence = replace(burns.example()[0][0], pressure=p, rate=rate, batch="a")
    model, asked = BurnModel([evidence]), Asked(of="a")
    w = burns.MEASURED[0]
    got = quantiles(model, w, supply, asked=asked)[:, 0]
    assert np.all(np.diff(got[np.isfinite(got)]) >= 0.0)
    grid = np.linspace(-3.4, math.log(NO_LIMIT / CENTRE), 80)
    chance = np.array([burns.chance_below(model, w, x, supply, asked) for x in grid])
    for level, pressure in zip(LEVELS, got.tolist(), strict=True):
        x = math.log(pressure / CENTRE)
        assert np.all(chance[grid > x + 0.05] >= level - 0.01), level
        if math.isfinite(x):
            below = burns.chance_below(model, w, x - 0.05, supply, asked)
            assert below <= level + 0.01, level


@pytest.mark.exact
def test_nothing_burned_has_a_closed_form() -> None:
    """At the centre mix, without the spread of the widths: one normal, by hand.

    ln r(x) has the mean ln 9 mm/s + 0.04 + 0.40 x and the variance of all that is held,
    a polynomial in x; the pressure P that a share z of a normal stays below satisfies
    x - m(x) = z sd(x) - ln S + ln 2.5 MPa.
    """
    one = np.ones(1)
    held = scatter.Scatter()
    widths = _held(held)
    model = BurnModel((), widths=widths)
    supply = math.log(4e6 / 12e-3)
    got = quantiles(model, burns.MEASURED[0], supply, u=0.03 * one)[:, 0]
    fixed = 0.5**2 + held.surface**2 + held.bend**2 + held.batch**2
    fixed += held.strands_to_motor_u**2 + held.firing**2 + 0.03**2
    steep = scatter.EXPONENT[1] ** 2 + 0.03**2 + 0.02**2
    for level, p in zip(LEVELS, got.tolist(), strict=True):
        x = math.log(p / CENTRE)
        room = x + math.log(CENTRE) - supply - (math.log(9e-3) + 0.04 + 0.40 * x)
        z = room / math.sqrt(fixed + steep * x * x)
        assert stats.norm.cdf(z) == pytest.approx(level, abs=2e-4)


def _held(held):
    from castsugar.motor.burn_widths import Widths

    names = (*scatter.LOG_SPREADS, "strand")
    return Widths(**{n: np.array([getattr(held, n)]) for n in names})


@pytest.mark.slow
@pytest.mark.exact
def test_alone_and_in_a_crowd() -> None:
    """One mix, 300 mixes, 300 in another order: the same to 1e-9."""
    evidence, supply = burns.example()
    model, rng = BurnModel(evidence), np.random.default_rng(2)
    mixes = rng.dirichlet([30.0, 10.0, 10.0], 300)
    supplies = supply + 0.3 * rng.standard_normal(300)
    whole = quantiles(model, mixes, supplies)
    order = rng.permutation(300)
    fresh = BurnModel(evidence)
    np.testing.assert_allclose(
        quantiles(fresh, mixes[order], supplies[order]), whole[:, order], rtol=1e-9
    )
    for i in (0, 1, 150, 299):
        alone = quantiles(BurnModel(evidence), mixes[i], supplies[i])
        np.testing.assert_allclose(alone[:, 0], whole[:, i], rtol=1e-9)
        # Levels asked for together or alone, too.
        p95 = quantiles(model, mixes[i], supplies[i], levels=(0.95,))
        assert p95[0, 0] == pytest.approx(whole[3, i], rel=1e-9)


@pytest.mark.exact
def test_rows_without_a_supply_keep_their_place() -> None:
    """NaN in, NaN out; the rest is untouched."""
    evidence, supply = burns.example()
    model = BurnModel(evidence)
    got = quantiles(model, burns.MEASURED, np.array([supply, math.nan, supply]))
    assert np.isnan(got[:, 1]).all()
    assert np.isfinite(got[:, [0, 2]]).all()
    alone = quantiles(model, burns.MEASURED[2], supply)
    np.testing.assert_allclose(got[:, 2], alone[:, 0], rtol=1e-9)


@pytest.mark.exact
def test_where_no_upper_limit_can_be_given() -> None:
    """Infinite exactly if less than the share stays below 100 MPa; never a number.

    A mix of another family beside the example; one strand.
    """
    evidence, supply = burns.example()
    foreign = np.array([[0.50, 0.50]])
    names = ("ammonium nitrate", "sorbitol")
    one = BurnModel([_first_strand(evidence[0])])
    for model, w, of, level in (
        (BurnModel(evidence), foreign, names, 0.95),
        (one, burns.MEASURED[:1], burns.NAMES, 0.99999),
        (BurnModel(evidence), burns.MEASURED[:1], burns.NAMES, 0.95),
    ):
        found = peaks(
            model, w, of, log_supply=supply, supply_u=0.03, levels=(0.5, level)
        )
        rates = model.rates(w, of, NO_LIMIT)
        room = math.log(NO_LIMIT) - supply - rates.means[:, 0]
        chance = rates.weights @ ndtr(room / np.sqrt(rates.variances[:, 0] + 0.03**2))
        assert math.isinf(found.quantiles[1, 0]) == (chance < level), (of, chance)
        assert found.quantiles[0, 0] < NO_LIMIT
        assert np.isfinite(found.exponent).all()
    dry = np.array([[0.65, 0.35]])
    for model in (one, BurnModel()):
        names = ("potassium nitrate", "sorbitol")
        found = peaks(
            model, dry, names, log_supply=supply, supply_u=0.03, levels=(0.95,)
        )
        assert np.isinf(found.quantiles).all()


def _first_strand(one):
    return replace(one, pressure=one.pressure[4:5], rate=one.rate[4:5])


@pytest.mark.exact
def test_bad_input() -> None:
    """Refused in one line."""
    with pytest.raises(InputError, match=r"uncertainty of area is -0\.1; it must be 0"):
        Spread(area=-0.1)
    with pytest.raises(InputError, match="each must lie between 0 and 1"):
        quantiles(BurnModel(), burns.MEASURED, 19.0, levels=(0.5, 1.0))


@pytest.mark.exact
def test_a_warmer_grain_doubts_the_temperature_sensitivity() -> None:
    """By a factor of 1.5: sigma dT ln 1.5 beside sigma times the doubt of the grain.

    0.15 % a kelvin at +20 K: 1.22 %; never nothing where the temperatures differ.
    """
    spread = Spread(temperature=5.0)
    assert spread.supply_u(0.0015) == pytest.approx(0.0075, rel=1e-12)
    alone = Spread().supply_u(0.0015, 20.0)
    assert alone == pytest.approx(0.0015 * 20.0 * math.log(1.5), rel=1e-12)
    assert alone == pytest.approx(0.01216, abs=5e-6)
    both = spread.supply_u(0.0015, -20.0)
    assert both == pytest.approx(math.hypot(0.0075, alone), rel=1e-12)
