"""The model of burn rates: limits by hand, identities, what may not matter."""

from __future__ import annotations

import itertools
import math
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from castsugar import InputError
from castsugar.motor import scatter
from castsugar.motor.burn_evidence import (
    FIRING,
    KINDS,
    Burned,
    Places,
    published,
    rows_of,
)
from castsugar.motor.burn_law import Band, BurnLaw, burn_rate
from castsugar.motor.burn_model import MIX, NEXT, Asked, BurnModel, without_firings
from castsugar.motor.burn_widths import Widths, covariance
from castsugar.motor.law_of_mix import law_of_mix
from castsugar.motor.scatter import CENTRE, Scatter

sys.path.insert(0, str(Path(__file__).parent))
import simulated_burns as burns

HELD = Scatter()
CENTRE_MIX = burns.MEASURED[0]
SORBITOL = "sorbitol"


def held(**changes: float) -> Widths:
    """Return one point of widths: those held beforehand, or others."""
    names = (*scatter.LOG_SPREADS, "strand")
    return Widths(**{n: np.array([changes.get(n, getattr(HELD, n))]) for n in names})


def strands(pressure, rate, batch="a", mix=CENTRE_MIX, **more) -> Burned:
    """Return strands of one batch."""
    return Burned(
        name=batch,
        fractions=dict(zip(burns.NAMES, np.asarray(mix).tolist(), strict=True)),
        pressure=np.atleast_1d(np.asarray(pressure, dtype=float)),
        rate=np.atleast_1d(np.asarray(rate, dtype=float)),
        batch=batch,
        **more,
    )


def law(rows, low=1e5, high=7e6) -> BurnLaw:
    """Return a published law of many bands or one."""
    edges = np.geomspace(low, high, rows + 1) if rows > 1 else [low, high]
    bands = [
        Band(low=float(a), high=float(b), rate=8e-3, exponent=0.32)
        for a, b in itertools.pairwise(edges)
    ]
    return BurnLaw(name="book", bands=tuple(bands), log_rate_u=0.25, source="book")


def all_kinds() -> list[Burned]:
    """Return the example's strands, and one of every other kind."""
    evidence, supply = burns.example()
    dry = {"potassium nitrate": 0.65, "sucrose": 0.35}
    foreign = {"potassium nitrate": 0.65, SORBITOL: 0.35}
    return [
        *evidence,
        burns.fired(burns.TWO[1], 3.5e6, supply),
        strands([1e6, 3e6], [5e-3, 7e-3], "p", process="pressed"),
        strands([1e6, 2e6], [4e-3, 6e-3], "d", burns.BETWEEN, degraded=0.03),
        published(law(1), dry),
        published(law(1), foreign),
    ]


# ----------------------------------------------------------------------------
# Limits by hand.


@pytest.mark.exact
@pytest.mark.parametrize("level", [0.5, 1000.0])
@pytest.mark.parametrize("motor", [False, True])
def test_one_strand_is_a_normal_update(monkeypatch, *, level: float, motor: bool):
    """One reading y of one mean, prior normal: mean m + C/(C + e)(y - m), and so on.

    At 2.5 MPa, at the centre mix, so that only levels, surface, bend and batch count.
    """
    monkeypatch.setattr(scatter, "LEVEL", (math.log(9e-3), level))
    y, m = math.log(7e-3), math.log(9e-3)
    shared = level**2 + HELD.surface**2 + HELD.bend**2
    noise = HELD.batch**2 + HELD.session**2 + HELD.strand**2
    gain = shared / (shared + noise)
    model = BurnModel([strands(CENTRE, 7e-3)], widths=held())
    got = model.rates(CENTRE_MIX, burns.NAMES, CENTRE, Asked(motor=motor))
    step = HELD.strands_to_motor * motor
    own = HELD.batch**2 + motor * (HELD.strands_to_motor_u**2 + HELD.firing**2)
    variance = shared * noise / (shared + noise) + own
    assert got.mean[0] == pytest.approx(m + gain * (y - m) + step, abs=1e-6)
    assert got.u[0] == pytest.approx(math.sqrt(variance), rel=1e-3)


@pytest.mark.exact
def test_grains_of_the_batch_that_burned() -> None:
    """Of its own batch only session and strand stand between a strand and the grain."""
    model = BurnModel([strands(CENTRE, 7e-3)], widths=held())
    asked = Asked(of="a", motor=False)
    got = model.rates(CENTRE_MIX, burns.NAMES, CENTRE, asked)
    shared = 0.5**2 + HELD.surface**2 + HELD.bend**2 + HELD.batch**2
    noise = HELD.session**2 + HELD.strand**2
    assert got.u[0] ** 2 == pytest.approx(shared * noise / (shared + noise), rel=1e-9)


@pytest.mark.exact
def test_strands_at_one_pressure_merge_exactly() -> None:
    """Strand by strand by the plain formula: the same law as from merged rows."""
    rng = np.random.default_rng(3)
    p = np.repeat([1e6, 2e6, 5e6], [3, 1, 4])
    rate = 7e-3 * (p / 2.5e6) ** 0.35 * np.exp(0.03 * rng.standard_normal(8))
    widths = held()
    model = BurnModel([strands(p, rate)], widths=widths)
    assert model.rows.strands.tolist() == [3.0, 1.0, 4.0]
    assert model.rows.freedom == 8 - 3
    y = np.log(rate)
    within = sum(((y[p == q] - y[p == q].mean()) ** 2).sum() for q in np.unique(p))
    assert model.rows.squares == pytest.approx(within, rel=1e-9)
    # With a fourth place: a strand of the same batch at 3 MPa.
    x = np.log(np.append(p, 3e6) / CENTRE)
    places = _places(np.repeat(model.rows.places.fractions[:1], 9, axis=0), x, batch=0)
    k = covariance(model.rows.components, places, places, HELD, widths)[0]
    noise = HELD.session**2 * (p[:, None] == p) + HELD.strand**2 * np.eye(8)
    prior = math.log(9e-3) + 0.40 * x
    gain = np.linalg.solve(k[:8, :8] + noise, k[:8, 8])
    got = model.rates(CENTRE_MIX, burns.NAMES, 3e6, Asked(of="a", motor=False))
    assert got.mean[0] == pytest.approx(prior[8] + gain @ (y - prior[:8]), abs=1e-9)
    assert got.u[0] ** 2 == pytest.approx(k[8, 8] - gain @ k[:8, 8], rel=1e-6)


def _places(fractions, x, batch=-1, *, motor=False, process=-1, degraded=0.0):
    n = len(x)
    return Places(
        fractions=fractions,
        x=np.asarray(x),
        batch=np.full(n, batch),
        motor=np.full(n, motor),
        process=np.full(n, process),
        degraded=np.full(n, degraded),
    )


# ----------------------------------------------------------------------------
# One formula, two ways.


@pytest.mark.exact
@pytest.mark.parametrize("of", [NEXT, MIX, "p"])
@pytest.mark.parametrize("process", ["", "pressed"])
@pytest.mark.parametrize("pressure", [0.3e6, 2.5e6, 9e6])
def test_many_mixes_agree_with_the_plain_formula(of, process, pressure) -> None:
    """Every kind of evidence; mixes near, far and foreign; degraded sugar."""
    model = BurnModel(all_kinds())
    names = (*model.rows.components, "erythritol")
    rng = np.random.default_rng(4)
    mixes = np.vstack([rng.dirichlet([30, 10, 10, 1, 1], 4), np.eye(5)[:1]])
    gone = np.array([0.0, 0.0, 0.02, 0.1, 0.0])
    asked = Asked(of=of, process=process)
    fast = model.rates(mixes, names, pressure, asked, gone)
    x = math.log(pressure / CENTRE)
    new = len(model.rows.batches)
    for i, w in enumerate(mixes):
        number = {NEXT: new, MIX: -1}.get(of, model.rows.batches.index("p"))
        place = _places(
            w[None],
            [x],
            number,
            motor=True,
            process=model.process_number(process),
            degraded=gone[i],
        )
        means, variances = model.joint(place, names)
        own = 0.0 if of == MIX else HELD.firing**2
        np.testing.assert_allclose(fast.means[:, i], means[:, 0], atol=1e-9)
        np.testing.assert_allclose(
            fast.variances[:, i], variances[:, 0, 0] + own, rtol=1e-7, atol=1e-11
        )


# ----------------------------------------------------------------------------
# What may not matter.


@pytest.mark.exact
def test_order_of_rows_and_names_does_not_matter() -> None:
    """Evidence, strands and ingredients in another order: the same to 1e-9."""
    evidence, supply = all_kinds(), burns.example()[1]
    rng = np.random.default_rng(5)
    other = []
    for i in rng.permutation(len(evidence)):
        one = evidence[i]
        keep = np.arange(len(one.pressure))
        order = keep if one.kind == "published" else rng.permutation(keep)
        other.append(
            replace(
                one,
                fractions=dict(reversed(list(one.fractions.items()))),
                pressure=one.pressure[order],
                rate=one.rate[order],
            )
        )
    first, second = BurnModel(evidence), BurnModel(other)
    for of in (NEXT, "p"):
        a = first.rates(burns.MEASURED, burns.NAMES, 4e6, Asked(of=of))
        turned, names = burns.MEASURED[:, ::-1], burns.NAMES[::-1]
        b = second.rates(turned, names, 4e6, Asked(of=of))
        np.testing.assert_allclose(a.mean, b.mean, rtol=1e-9)
        np.testing.assert_allclose(a.u, b.u, rtol=1e-9)
    p95 = [burns.upper(m, burns.BETWEEN, supply) for m in (first, second)]
    assert p95[0] == pytest.approx(p95[1], rel=1e-9)


@pytest.mark.exact
def test_files_of_one_batch_are_one_batch() -> None:
    """A batch whose strands stand in two files is the batch of one file."""
    whole = burns.example()[0][0]
    parts = [
        replace(whole, pressure=whole.pressure[s], rate=whole.rate[s])
        for s in (slice(0, 5), slice(5, None))
    ]
    one, two = BurnModel([whole]), BurnModel(parts)
    a, b = (m.rates(burns.MEASURED, burns.NAMES, 4e6) for m in (one, two))
    np.testing.assert_allclose(a.mean, b.mean, rtol=1e-12)
    np.testing.assert_allclose(a.u, b.u, rtol=1e-12)


@pytest.mark.exact
@pytest.mark.parametrize("process", scatter.PROCESSES)
def test_one_process_only_changes_nothing(process: str) -> None:
    """Whatever all was made by: the numbers of the first, to 1e-12."""
    evidence, supply = burns.example()
    other = [replace(one, process=process) for one in evidence]
    first, second = BurnModel(evidence), BurnModel(other)
    for asked in (Asked(), Asked(process=process)):
        a = burns.upper(first, burns.BETWEEN, supply)
        b = burns.upper(second, burns.BETWEEN, supply, asked)
        assert b == pytest.approx(a, rel=1e-12)
    # The process that nobody used is wider.
    unlike = next(p for p in scatter.PROCESSES if p != process)
    a, b = (
        second.rates(CENTRE_MIX, burns.NAMES, 4e6, Asked(process=p)).u[0]
        for p in ("", unlike)
    )
    assert b**2 - a**2 == pytest.approx(HELD.process**2, rel=1e-9)


@pytest.mark.exact
def test_degraded_sugar_widens() -> None:
    """By 1.0 of ln r per unit of degraded share, where nothing degraded burned."""
    model = BurnModel(burns.example()[0])
    plain, browned = (
        model.rates(CENTRE_MIX, burns.NAMES, 4e6, degraded=d).u[0] for d in (0.0, 0.1)
    )
    assert browned**2 - plain**2 == pytest.approx(0.1**2, rel=1e-9)


# ----------------------------------------------------------------------------
# What evidence does.


@pytest.mark.exact
def test_a_row_never_widens_with_the_widths_held() -> None:
    """Normal theory: one more row, whatever it says, lowers every variance or none."""
    evidence, widths = all_kinds(), held()
    asked = [Asked(), Asked(of=MIX), Asked(process="pressed")]
    mixes = np.vstack([burns.MEASURED, burns.BETWEEN, [0.70, 0.15, 0.15]])
    before = np.full((3, 3, len(mixes)), np.inf)
    for count in range(len(evidence) + 1):
        model = BurnModel(evidence[:count], widths=widths)
        now = np.array(
            [
                [model.rates(mixes, burns.NAMES, p, a).u for p in (1e6, 2.5e6, 6e6)]
                for a in asked
            ]
        )
        assert np.all(now <= before * (1.0 + 1e-9)), count
        before = now


@pytest.mark.exact
def test_two_strands_are_worth_much() -> None:
    """From 0.5 of ln r to below 0.16 at the mix itself, next batch, in a motor."""
    at = (CENTRE_MIX, burns.NAMES, 2e6)
    before = BurnModel().rates(*at).u[0]
    one = BurnModel([strands([2e6], [6.9e-3])]).rates(*at).u[0]
    two = BurnModel([strands([2e6, 2e6], [6.9e-3, 7.1e-3])]).rates(*at).u[0]
    assert 0.5 < before < 0.55
    assert two < 0.16
    assert one < 0.17


@pytest.mark.exact
@pytest.mark.parametrize(("bands", "rows"), [(1, 2), (8, 2), (20, 2)])
def test_a_published_law_is_at_most_two_rows(bands: int, rows: int) -> None:
    """Many exact points of a book would teach that no law bends."""
    dry = {"potassium nitrate": 0.65, "sucrose": 0.35}
    one = published(law(bands), dry)
    assert len(rows_of([one]).log_rate) == rows
    np.testing.assert_allclose(one.rate, burn_rate(law(bands), one.pressure))
    unknown = published(law(1, 0.0, math.inf), dry)
    assert len(rows_of([unknown]).log_rate) == 1
    # It speaks of its own mix by a third: the widest of what is stated.
    u = BurnModel([one]).rates([0.65, 0.35], list(dry), CENTRE, Asked(of=MIX)).u[0]
    assert 0.25 < u < 0.40


@pytest.mark.slow
@pytest.mark.exact
def test_a_forecast_moves_towards_a_firing() -> None:
    """c* held: the new median lies between the old one and the firing.

    Within 15 % of what was foreseen the band narrows; a surprise of 30 % below widens
    it: surprise is doubt.
    """
    evidence, supply = burns.example()
    for factor in burns.FACTORS:
        found = burns.after_firing(evidence, supply, burns.TWO[1], factor)
        low, high = sorted((1.0, factor))
        assert low - 1e-3 <= found.moved <= high + 1e-3
        if 0.85 <= factor <= 1.15:
            assert found.wide_after < found.wide_before
    assert burns.after_firing(evidence, supply, burns.TWO[1], 0.7).wide_after > 1.3


@pytest.mark.exact
def test_a_firing_is_felt_by_the_rate_and_forgotten_on_demand() -> None:
    """Faster than foreseen: faster everywhere; without firings as if never fired."""
    evidence, supply = burns.example()
    model = BurnModel(evidence)
    with_it = BurnModel([*evidence, burns.fired(burns.TWO[1], 6e6, supply)])
    a, b = (m.rates(burns.MEASURED, burns.NAMES, 4e6).mean for m in (model, with_it))
    assert np.all(b > a)
    assert any(one.kind == FIRING for one in with_it.evidence)
    again = without_firings(with_it).rates(burns.MEASURED, burns.NAMES, 4e6)
    np.testing.assert_allclose(again.mean, a, rtol=1e-12)
    assert without_firings(model) is model


# ----------------------------------------------------------------------------
# No steps in the recipe.


def line(model, log_supply, start, end, step) -> np.ndarray:
    """Return ln p95 every so much of the mass along a line, its direction beyond."""
    total = math.sqrt(0.5 * ((end - start) ** 2).sum())
    count = round(total / step)
    share = np.arange(count + 1)[:, None] * step / total
    mixes = start + share * (end - start)
    p95 = burns.peaks(
        model,
        mixes,
        burns.NAMES,
        log_supply=log_supply,
        supply_u=burns.MOTOR_U,
        levels=(0.95,),
    ).quantiles[0]
    return np.log(p95)


@pytest.mark.exact
@pytest.mark.parametrize(
    ("start", "end"),
    [
        ((0.60, 0.20, 0.20), (0.62, 0.18, 0.20)),
        ((0.609, 0.1495, 0.2415), (0.612, 0.145, 0.243)),
        ((0.58, 0.14, 0.28), (0.70, 0.15, 0.15)),
    ],
)
def test_no_cliff_in_the_example(start, end) -> None:
    """At most 1 % per 0.1 % of the mass and 0.1 % per 0.01 %: ours."""
    evidence, supply = burns.example()
    model = BurnModel(evidence)
    start, end = np.array(start), np.array(end)
    assert np.abs(np.diff(line(model, supply, start, end, 1e-3))).max() <= 0.01
    end = start + 0.2 * (end - start)
    assert np.abs(np.diff(line(model, supply, start, end, 1e-4))).max() <= 0.001


def steps_of_lines(worlds: int, seed: int) -> np.ndarray:
    """Return the largest change per 0.1 % and 0.01 % of lines in worlds, (lines, 2).

    Lines of 6 % of the mass through measured mixes, slopes as wide as expected; lines
    that reach 100 MPa, where no limit is told, are left out.
    """
    rng, found = np.random.default_rng(seed), []
    for _ in range(worlds):
        world = burns.drawn(rng, burns.Known(slope=2.2))
        model = BurnModel(world.evidence)
        for mix in burns.MEASURED:
            way = rng.standard_normal(3)
            way -= way.mean()
            way *= 0.03 / math.sqrt(0.5 * (way**2).sum())
            coarse = line(model, world.log_supply, mix - way, mix + way, 1e-3)
            near = mix - 0.02 * way, mix + 0.06 * way
            fine = line(model, world.log_supply, *near, 1e-4)
            if np.isfinite(coarse).all():
                found.append([np.abs(np.diff(a)).max() for a in (coarse, fine)])
    return np.array(found)


@pytest.mark.exact
@pytest.mark.parametrize("worlds", [3, pytest.param(40, marks=pytest.mark.simulation)])
def test_no_cliff_in_random_worlds(worlds: int) -> None:
    """Lines through measured mixes: smooth, so a tenth of the way is a tenth of it."""
    coarse, fine = steps_of_lines(worlds, 7).T
    assert len(coarse) >= 0.95 * 3 * worlds
    # Nine lines of ten, less three standard errors of so many.
    assert np.mean(coarse <= 0.01) >= 0.9 - 3.0 * math.sqrt(0.09 / len(coarse))
    assert np.all(coarse <= 0.025)
    assert np.all(fine <= 0.15 * coarse + 1e-5)


# ----------------------------------------------------------------------------
# The law of one mix.


@pytest.mark.exact
def test_the_law_of_a_mix_is_the_mean_of_the_model() -> None:
    """At the pressures where its bands meet; no band jumps; u at 2.5 MPa."""
    model = BurnModel(burns.example()[0])
    found = law_of_mix(model, burns.BETWEEN, burns.NAMES)
    at = np.array([band.low for band in found.bands[1:]])
    means = [model.rates(burns.BETWEEN, burns.NAMES, p).mean[0] for p in at]
    np.testing.assert_allclose(np.log(burn_rate(found, at)), means, atol=1e-9)
    np.testing.assert_allclose(
        burn_rate(found, at * (1 + 1e-9)), burn_rate(found, at * (1 - 1e-9)), rtol=1e-6
    )
    u = model.rates(burns.BETWEEN, burns.NAMES, CENTRE).u[0]
    assert found.log_rate_u == pytest.approx(u, rel=1e-9)
    assert found.tested == (0.101325e6, 7e6)


@pytest.mark.exact
def test_the_law_of_nothing_is_what_is_held() -> None:
    """9 mm/s at 2.5 MPa and 4 % for the motor, n = 0.40, wide and without ends.

    u(n): of its level, its surface, a batch, the slope of a bend, all held beforehand.
    """
    found = law_of_mix(BurnModel(), CENTRE_MIX, burns.NAMES)
    assert float(burn_rate(found, CENTRE)) == pytest.approx(9e-3 * math.exp(0.04))
    assert [b.exponent for b in found.bands] == pytest.approx(
        [0.40] * len(found.bands), abs=1e-9
    )
    assert found.log_rate_u > 0.5
    a = math.sqrt(5.0) / 0.9  # from half a step below the centre to half above it
    alike = (1.0 + a + a * a / 3.0) * math.exp(-a)
    bend = 0.02 * math.exp(0.5**2) * math.sqrt(2.0 * (1.0 - alike))
    slope = math.hypot(*(0.4 / math.sqrt(12), 0.03, 0.02, bend))
    assert math.sqrt(found.covariance[1][1]) == pytest.approx(slope, rel=0.02)


# ----------------------------------------------------------------------------
# Bad input.


@pytest.mark.exact
@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"pressure": [1e6, -1e6], "rate": [5e-3, 5e-3]}, "above 0"),
        ({"pressure": [1e6], "rate": [5e-3, 5e-3]}, "as many pressures as rates"),
        ({"process": "fried"}, "process 'fried'; allowed"),
        ({"degraded": 1.5}, "degraded share is 1.5; allowed: 0 to 1"),
        ({"mix": (0.6, 0.2, 0.3)}, "they sum to 1.1"),
        ({"mix": (0.9, 0.2, -0.1)}, "0 or more and sum to 1"),
        ({"mix": (math.nan, 0.5, 0.5)}, "0 or more and sum to 1"),
        ({"log_rate_u": -0.1}, "uncertainty must be 0 or more"),
    ],
)
def test_bad_evidence(change, words: str) -> None:
    """Refused in one line, with what is allowed."""
    given = {"pressure": [1e6], "rate": [5e-3]} | change
    with pytest.raises(InputError, match=words):
        strands(**given)


@pytest.mark.exact
@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"batch": 0.004}, r"scatter batch is 0\.4 %; allowed: 0\.5 to 30 %"),
        ({"process": 0.31}, r"scatter process is 31 %; allowed: 0\.5 to 30 %"),
        ({"strands_to_motor": 0.5}, "strands to motor is 50 %"),
    ],
)
def test_bad_scatter(change, words: str) -> None:
    """A width in percent outside 0.5 to 30 % is taken for a slip of the pen."""
    with pytest.raises(InputError, match=words):
        Scatter(**change)


@pytest.mark.exact
def test_what_is_no_entry_is_refused() -> None:
    """A law is stated as rates; one entry may stand alone; the docs name all words."""
    law = BurnLaw(
        name="x",
        bands=(Band(low=1e5, high=1e7, rate=5e-3, exponent=0.3),),
        log_rate_u=0.1,
    )
    for wrong in (law, [law], [None], "strands"):
        with pytest.raises(InputError, match=r"what was burned is .*; give a Burned"):
            BurnModel(wrong)  # type: ignore[arg-type]
    pressure = np.array([1e6, 4e6])
    one = Burned(
        name="x",
        kind="stated",
        fractions={"potassium nitrate": 0.65, "sucrose": 0.35},
        pressure=pressure,
        rate=burn_rate(law, pressure),
        log_rate_u=0.1,
    )
    assert len(BurnModel(one).evidence) == 1  # type: ignore[arg-type]
    told = Burned.__doc__ or ""
    assert all(f'"{word}"' in told for word in (*KINDS, *scatter.PROCESSES))
