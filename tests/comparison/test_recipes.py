"""Burn rates and pressures of recipes side by side: by formula, no draws, no seed.

Motor and strands are invented.
"""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.stats import norm
from worlds import borrowed

import castsugar as cs
from castsugar import Claim, Conditions, Doubts, Hardware, UnknownNameError, compare
from castsugar.comparison.change import justify
from castsugar.comparison.claims import BURN_RATE, OPEN, SUPPORTED, parse_claim
from castsugar.comparison.compare import CANNOT_TELL, LOWER, Comparison
from castsugar.comparison.draws import draw
from castsugar.comparison.in_motor import BATCH, FIRING, TO_MOTOR
from castsugar.draw_set import WIDTH, normals
from castsugar.evaluation import evaluate_columns
from castsugar.limits import chance_column
from castsugar.motor.burn_evidence import Burned
from castsugar.motor.burn_model import BurnModel
from castsugar.motor.burn_widths import Widths
from castsugar.motor.grain import HollowCylinder
from castsugar.motor.mix_difference import batches_to_tell, difference
from castsugar.motor.pressure_doubt import pressure_doubt
from castsugar.motor.scatter import Scatter

# Exact: worked out beside it by other means, or two ways to one number.
pytestmark = pytest.mark.exact

PEAK, C_STAR = "peak_pressure_MPa", "characteristic_velocity_m_s"
NITRATE, SUGAR, SYRUP = "potassium nitrate", "sucrose", "light corn syrup"
BASE, SOFTER = (0.60, 0.20, 0.20), (0.60, 0.17, 0.23)
NAMES = (NITRATE, SUGAR, SYRUP)


def named(*mixes: tuple[float, ...]) -> tuple[dict[str, float], ...]:
    return tuple(dict(zip(NAMES, mix, strict=True)) for mix in mixes)


def burned(
    shares: tuple[float, ...], batch: str, *, off: float = 0.0, count: int = 10
) -> Burned:
    """Return strands of one batch on r = 6.5 mm/s (p / 2.5 MPa)^0.35, off in ln r."""
    p = np.repeat([1.5e6, 4.0e6], count // 2)
    # Strands scatter by 2 %, the same for all: half above, half below.
    strand = np.tile([0.02, -0.02], count // 2)[: len(p)]
    return Burned(
        name=f"mix {100.0 * shares[1]:g}",
        fractions=dict(zip(NAMES, shares, strict=True)),
        batch=batch,
        pressure=p,
        rate=6.5e-3 * (p / 2.5e6) ** 0.35 * np.exp(off + strand),
    )


def hardware(model: BurnModel) -> Hardware:
    grain = HollowCylinder(
        outer_diameter=0.036, core_diameter=0.014, segment_length=0.062, segments=4
    )
    return Hardware(grain=grain, throat_diameter=0.008, burning=model)


def recipe(shares: tuple[float, ...], **more: Any) -> cs.Mix:
    found = {n: 100.0 * s for n, s in zip(NAMES, shares, strict=True)}
    return cs.Mix.weigh(found, **more)


def several(off: float, count: int) -> BurnModel:
    """Return so many batches of both mixes, the second one off; batches by 1 %."""
    turns = np.linspace(-0.01, 0.01, count)
    return BurnModel(
        [burned(BASE, f"a{i}", off=t) for i, t in enumerate(turns)]
        + [burned(SOFTER, f"b{i}", off=off + t) for i, t in enumerate(turns)]
    )


@cache
def pair(off: float = -0.06, count: int = 1) -> Comparison:
    motor = hardware(several(off, count))
    mixes = [recipe(BASE), recipe(SOFTER)]
    return compare(mixes, conditions=Conditions(motor=motor), draws=100)


# The formula.


def test_the_difference_is_that_of_a_mixture_worked_out_by_hand() -> None:
    """Three points of widths: plain covariances, plain conditioning, a plain root.

    Covariances as the model is described (trend, surface, exponent, bend, batch), of
    two mixes burned once each at one pressure, one strand each, at 2.5 MPa.
    """
    values = {
        "batch": [0.02, 0.06, 0.30],
        "surface": [0.05, 0.08, 0.03],
        "length": [0.06, 0.1, 0.04],
        "session": [0.01, 0.02, 0.01],
        "bend": [0.02, 0.01, 0.03],
        "slope": [2.0, 3.0, 1.0],
        "strand": [0.025, 0.02, 0.03],
    }
    widths = Widths(**{name: np.array(v) for name, v in values.items()})
    rates = np.array([6.5e-3, 6.1e-3])
    model = BurnModel(
        [
            Burned(
                name="a",
                fractions=dict(zip(NAMES, w, strict=True)),
                batch=f"batch {i}",
                pressure=np.array([2.5e6]),
                rate=np.array([r]),
            )
            for i, (w, r) in enumerate(zip((BASE, SOFTER), rates, strict=True))
        ],
        widths=widths,
    )
    found = difference(model, named(BASE, SOFTER))
    w = np.array([BASE, SOFTER]) - np.array(BASE)  # the centre is 60/20/20
    moved = 0.5 * ((w[1] - w[0]) ** 2).sum()
    means, spreads = [], []
    for k in range(3):
        at = {name: v[k] for name, v in values.items()}
        a = math.sqrt(5.0 * moved) / at["length"]
        near = (1.0 + a + a * a / 3.0) * math.exp(-a)
        mixes = 0.5**2 + at["slope"] ** 2 * 0.5 * w @ w.T
        mixes += at["surface"] ** 2 * np.array([[1.0, near], [near, 1.0]])
        like = math.exp(-moved / (2.0 * 0.15**2))
        mixes += at["bend"] ** 2 * np.array([[1.0, like], [like, 1.0]])
        noise = min(at["batch"], 0.15) ** 2 + at["session"] ** 2 + at["strand"] ** 2
        rows = mixes + noise * np.eye(2)
        gain = mixes @ np.linalg.inv(rows)
        mean = gain @ (np.log(rates) - math.log(9e-3))
        left = mixes - gain @ mixes
        means.append(mean[0] - mean[1])
        spreads.append(math.sqrt(left[0, 0] + left[1, 1] - 2.0 * left[0, 1]))

    def below(y: float, share: float) -> float:
        return float(np.mean(norm.cdf((y - np.array(means)) / spreads))) - share

    ends = [brentq(below, -2.0, 2.0, args=(s,), xtol=1e-14) for s in (0.025, 0.975)]
    assert (found.low, found.high) == pytest.approx(tuple(ends), abs=1e-9)
    assert found.mean == pytest.approx(np.mean(means), abs=1e-10)
    assert found.chance == pytest.approx(-below(0.0, 1.0), abs=1e-9)
    variance = np.mean(np.square(spreads)) + np.var(means)
    assert found.u == pytest.approx(math.sqrt(variance), rel=1e-9)
    # What else counts moves it and widens it, as any sum of normals.
    more = difference(model, named(BASE, SOFTER), added=(0.01, 0.05))
    assert more.mean == pytest.approx(found.mean + 0.01, abs=1e-12)
    assert more.u == pytest.approx(math.hypot(found.u, 0.05), rel=1e-9)


@pytest.mark.parametrize("off", [0.0, 0.06, -0.06, 0.2, -0.35])
def test_one_batch_of_each_is_never_told_apart(off: float) -> None:
    """Nothing in the data tells a batch from a mix, however firm the strands are."""
    model = several(off, 1)
    found = difference(model, named(SOFTER, BASE))
    assert not found.told
    assert (found.chance > 0.5) == (found.mean > 0.0)
    # Four batches of each, within 1 % of their middle, tell 6 %; not nothing.
    four = difference(several(off, 4), named(SOFTER, BASE))
    assert four.told == (off != 0.0)


def test_the_next_grains_differ_by_batch_and_firing_besides() -> None:
    found = pair().cells[1][PEAK].recipes
    assert found is not None
    assert found.rate.pressure == pytest.approx(1e6 * pair().cells[0][PEAK].value)
    own = found.grains.u**2 - 2.0 * 0.025**2
    assert found.grains.u > 1.3 * found.rate.u
    assert own > found.rate.u**2
    assert abs(found.grains.chance - 0.5) < abs(found.rate.chance - 0.5)


def test_batches_that_tell() -> None:
    """16 (sigma_b^2 + sigma_e^2 / 4) / delta^2 and 2: 16 (.0016 + .00015625) / .0036
    is 7.8; of nothing there is no end."""
    assert batches_to_tell(0.06, 0.04, 0.025) == math.ceil(7.806 + 2.0)
    assert batches_to_tell(-0.06, 0.04, 0.025) == batches_to_tell(0.06, 0.04, 0.025)
    assert batches_to_tell(0.0, 0.04, 0.025) == 51


# The cell of the peak.


@pytest.mark.slow
def test_a_peak_has_the_interval_of_the_table_whatever_the_seed() -> None:
    motor = hardware(several(-0.06, 1))
    mixes = [recipe(BASE), recipe(SOFTER)]
    conditions = Conditions(motor=motor)
    levels = [(PEAK, 0.025), (PEAK, 0.95), (PEAK, 0.975)]
    table = evaluate_columns(
        mixes, motor=motor, flow="no-solidification", chances=levels
    )
    one, two = (
        compare(mixes, conditions=conditions, draws=100, seed=s) for s in (1, 9)
    )
    for i in range(2):
        cell, other = one.cells[i][PEAK], two.cells[i][PEAK]
        assert cell.value == pytest.approx(float(table[PEAK][i]), rel=1e-9)
        ends = [float(table[chance_column(PEAK, p)][i]) for p in (0.025, 0.975)]
        assert cell.interval == pytest.approx(tuple(ends), rel=1e-9)
        assert (cell.interval, cell.difference, cell.chance_higher) == (
            other.interval,
            other.difference,
            other.chance_higher,
        )
        assert cell.interval == one.draws.interval(PEAK, i)
    drawn = [f.draws.values[PEAK] for f in (one, two)]
    assert not np.array_equal(*drawn)
    rows = [
        conditions.rows(mixes, confirm=False)[0]["peak_pressure_p95_MPa"]
        for conditions in (Conditions(motor=replace(motor, seed=s)) for s in (1, 9))
    ]
    assert rows[0] == rows[1] == table["peak_pressure_p95_MPa"][0]


@pytest.mark.slow
def test_draws_are_those_of_the_formula() -> None:
    """2.5, 50 and 97.5 of 100 of 2,048 draws: ranks are known to 0.4 and 1.1 of 100."""
    motor = hardware(several(-0.06, 1))
    found = draw(
        [recipe(BASE)], conditions=Conditions(motor=motor), doubts=Doubts.none()
    )
    again = draw([recipe(BASE)], conditions=Conditions(motor=motor))
    low, high = again.interval(PEAK, 0)
    drawn, middle = again.values[PEAK][:, 0], again.best[PEAK][0]
    assert np.mean(drawn < low) == pytest.approx(0.025, abs=0.011)
    assert np.mean(drawn < middle) == pytest.approx(0.5, abs=0.033)
    assert np.mean(drawn < high) == pytest.approx(0.975, abs=0.011)
    # What was switched off is not drawn.
    kinds = {i.kind for i in found.inputs}
    assert not kinds & {"batch", "process", "firing"}
    assert found.values[PEAK].std() < again.values[PEAK].std()


@pytest.mark.slow
def test_switches_of_the_scatter() -> None:
    conditions = Conditions(motor=hardware(several(-0.06, 1)))
    for kind in ("batch", "firing"):
        off = Doubts(**{f"{kind}_scatter": False})  # type: ignore[arg-type]
        by_switch = draw([recipe(BASE)], conditions=conditions, doubts=off, draws=100)
        by_name = draw([recipe(BASE)], conditions=conditions, without=[kind], draws=100)
        assert kind not in {i.kind for i in by_switch.inputs}
        np.testing.assert_array_equal(by_switch.values[PEAK], by_name.values[PEAK])
    with pytest.raises(UnknownNameError, match="kind of input"):
        draw([recipe(BASE)], conditions=conditions, without=["process"], draws=100)


@pytest.mark.slow
def test_batches_scatter_with_a_heavy_tail() -> None:
    """A width of its own for each draw, by its weight; then the batch's own score."""
    model = several(-0.06, 1)
    names = {i.key for i in draw([recipe(BASE)],
        conditions=Conditions(motor=hardware(model)), draws=100).inputs}  # fmt: skip
    only = Doubts.none()
    conditions = Conditions(
        motor=replace(hardware(model), temperature_sensitivity=1e-9)
    )
    found = draw(
        [recipe(BASE)],
        conditions=conditions,
        doubts=replace(only, batch_scatter=True),
        without=[
            n
            for n in names
            if n.startswith(("motor|", "burn law|rate", "burn law|exp"))
        ]
        + [TO_MOTOR, f"{BATCH}|exponent"],
    )
    bench = found.outlook.benches[0]
    y = np.log(found.values[PEAK][:, 0] / np.median(found.values[PEAK]))
    y = y * (1.0 - bench.exponent)
    widths, weights = model.widths.between, model.weights
    assert np.mean(y**2) == pytest.approx(weights @ widths**2, rel=0.05)
    fourth = 3.0 * float(weights @ widths**4)
    assert np.mean(y**4) == pytest.approx(fourth, rel=0.25)
    assert fourth > 2.0 * 3.0 * float(weights @ widths**2) ** 2
    assert WIDTH in found.scores
    assert np.array_equal(found.scores[WIDTH], normals(WIDTH, 2048))


# Where the uncertainty comes from.


def test_a_budget_names_what_is_allowed_for() -> None:
    """Shares of the variance of ln P, by hand where they are plain numbers."""
    found = pair()
    draws = found.draws
    parts = {p.input.key: p for p in draws.parts(PEAK, 0)}
    assert sum(p.share for p in parts.values()) == pytest.approx(1.0)
    known = {BATCH, FIRING, TO_MOTOR, "motor|area", "motor|throat_diameter"}
    assert known <= set(parts)
    ratio = parts[FIRING].share / parts["motor|area"].share
    assert ratio == pytest.approx((0.025 / 0.02) ** 2, rel=1e-2)
    ratio = parts[TO_MOTOR].share / parts["motor|area"].share
    assert ratio == pytest.approx((0.05 / 0.02) ** 2, rel=1e-2)
    for key in (BATCH, FIRING, TO_MOTOR):
        assert parts[key].input.origin == "assumed"
    # The other way to the shares: the model asked for less and less.
    bench = draws.outlook.benches[0]
    wanted = pressure_doubt(bench.hardware, draws.outlook.mixes[0], 1e6 * bench.median)
    own = {
        "next batch": (BATCH, f"{BATCH}|exponent"),
        "firing to firing": (FIRING,),
        "strands to motor": (TO_MOTOR,),
        "throat": ("motor|throat_diameter",),
    }
    shares = {cause.name: cause.share for cause in wanted.causes}
    for name, keys in own.items():
        share = sum(parts[key].share for key in keys if key in parts)
        assert share == pytest.approx(shares[name], rel=0.05), name
    rates = [p.input.label for key, p in parts.items() if "|rate|" in key]
    assert rates == [f"burning rate ({found.names[0]})"]
    # A difference between recipes has no batch, no firing and no motor in it.
    for part in draws.parts(PEAK, 1, 0):
        if part.input.key in known:
            assert part.share < 0.02


@pytest.mark.slow
def test_what_stands_beside_two_mixes_moves_no_share_of_theirs() -> None:
    motor = hardware(several(-0.06, 1))
    mixes = [recipe(BASE), recipe(SOFTER), recipe((0.62, 0.18, 0.20))]
    conditions = Conditions(motor=motor)
    two = compare(mixes[:2], conditions=conditions, draws=100)
    three = compare(mixes[::-1], baseline=2, conditions=conditions, draws=100)
    for parts in ((0, None), (1, 0)):
        one = two.draws.parts(PEAK, *parts)
        places = [None if i is None else 2 - i for i in parts]
        other = three.draws.parts(PEAK, *places)  # type: ignore[arg-type]
        first = {p.input.key: p.share for p in one}
        again = {p.input.key: p.share for p in other}
        for key, share in first.items():
            assert again.get(key, 0.0) == pytest.approx(share, abs=0.01), key
    assert two.cells[1][PEAK].difference == three.cells[1][PEAK].difference


@pytest.mark.slow
def test_what_was_cooked_more_than_once_is_learnt_and_what_is_stated_is_stated() -> (
    None
):
    learnt = pair(count=3).draws
    origins = {i.key: i.origin for i in learnt.inputs}
    assert origins[BATCH] == "learnt from 6 batches of mixes cooked more than once"
    stated = Scatter(batch=0.03, firing=0.02, stated=("batch", "firing"))
    model = BurnModel([burned(BASE, "a")], stated)
    found = draw(
        [recipe(BASE)], conditions=Conditions(motor=hardware(model)), draws=100
    )
    origins = {i.key: i.origin for i in found.inputs}
    assert origins[BATCH] == origins[FIRING] == "stated by you, [scatter]"
    assert origins[TO_MOTOR] == "assumed"


# Claims and what they rest on.


@pytest.mark.slow
def test_a_claim_on_the_burning_rate() -> None:
    """Burns slower: of the recipes, c* and density left out."""
    claim = parse_claim("burns slower")
    assert claim == Claim(column=BURN_RATE, direction=LOWER)
    assert (claim.row, claim.label) == (PEAK, "burning rate")
    assert parse_claim("higher burn rate") == parse_claim("burns faster")
    claims = [claim, parse_claim("lower pressure")]
    for off, count, word in ((-0.2, 6, SUPPORTED), (-0.06, 1, OPEN)):
        motor = hardware(several(off, count))
        change = justify(
            recipe(BASE), recipe(SOFTER), conditions=Conditions(motor=motor),
            claims=claims, draws=100, confirm=False,
        )  # fmt: skip
        assert [c.verdict for c in change.claims] == [word, word]
        recipes = change.cells[PEAK].recipes
        assert recipes is not None
        assert change.claims[0].chance == pytest.approx(1.0 - recipes.rate.chance)
        assert "claim, lower burning rate" in repr(change)


@pytest.mark.slow
def test_what_each_pressure_rests_on() -> None:
    """Burned, not burned but in the model, nothing burned: in evidence and limits."""
    known = Scatter(firing=0.02, stated=("firing",))
    model = BurnModel([burned(BASE, "a")], known)
    limit = cs.Requirement(column=PEAK, at_most=7.0, probability=0.95)
    mixes = (recipe(BASE), recipe(SOFTER))
    grounds = {}
    for name, burning in (("own", model), ("borrowed", borrowed())):
        change = justify(
            *mixes, conditions=Conditions(motor=hardware(burning)), limits=[limit],
            draws=100, confirm=False,
        )  # fmt: skip
        grounds[name] = [s.ground for s in change.limits[0].standings]
        rates = [e for e in change.evidence if e.subject.startswith("burning rate of")]
        wanted = ["measured", "derived"] if name == "own" else ["borrowed"] * 2
        assert [e.standing for e in rates] == wanted
        if name == "own":
            assert rates[1].source == "model of 1 mix: 3 % of the mass from mix 20"
            widths = [e for e in change.evidence if e.subject.startswith("scatter of")]
            assert [e.standing for e in widths] == ["stated", "assumed"]
            assert widths[0].subject == "scatter of burning rates: firing 2 %"
            taken = "batch 6 %, strands to motor 4 \u00b1 5 %, surface 6 %"
            assert taken in widths[1].subject
            assert "firing" not in widths[1].subject
    assert grounds["own"] == ["", "model of 1 mix: 3 % of the mass from mix 20"]
    assert set(grounds["borrowed"]) == {"borrowed burning rate"}


@pytest.mark.slow
def test_mixes_made_unlike_say_so() -> None:
    model = several(-0.06, 3)
    pressed = recipe(BASE, process="pressed", name="pressed")
    found = compare(
        [recipe(BASE, process="cooked syrup"), pressed],
        conditions=Conditions(motor=hardware(model)),
        draws=100,
    )
    cell = found.cells[1][PEAK]
    assert cell.verdict == CANNOT_TELL
    assert cell.recipes is not None
    assert cell.recipes.unlike == ("pressed", "cooked syrup")
    (note,) = [n for n in found.notes if "not made alike" in n]
    assert "cooked syrup, pressed" in note
    first = cell.parts[0].input
    assert (first.kind, first.label) == (
        "process",
        "process, not that of most strands (pressed)",
    )
    # 12 % of scatter: u of ln r between the two.
    assert cell.recipes.rate.u == pytest.approx(0.12, rel=1e-6)
    off = draw(
        [pressed],
        conditions=Conditions(motor=hardware(model)),
        doubts=Doubts(process_scatter=False),
        draws=100,
    )
    assert "process" not in {i.kind for i in off.inputs}
    assert off.values[PEAK].std() < found.draws.values[PEAK][:, 1].std()
    same = compare(
        [recipe(BASE), recipe(BASE, process="cooked syrup", name="again")],
        conditions=Conditions(motor=hardware(model)),
        draws=100,
    )
    assert not [n for n in same.notes if "not made alike" in n]
