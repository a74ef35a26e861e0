"""Strands of other benches in the model of burn rates: by hand, and in worlds.

No source outside the project: the model is held against the formula of a normal update,
and against the truths of ``tests/support/clubs.py``, which knows nothing of it.
"""

from __future__ import annotations

import math
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from castsugar import InputError
from castsugar.bench.imported import burned_elsewhere
from castsugar.motor import scatter
from castsugar.motor.burn_evidence import FOREIGN, Burned, rows_of
from castsugar.motor.burn_model import MIX, NEXT, Asked, BurnModel
from castsugar.motor.burn_widths import NAMES, WITH_BENCH, Widths
from castsugar.motor.pressure_table import batches_of, origin_of, own_of
from castsugar.motor.scatter import CENTRE, CENTRE_MIX, LEVEL, Scatter
from castsugar.readings.shared_strands import SharedStrand

sys.path.insert(0, str(Path(__file__).parent))
import judged_clubs as judge

from support.clubs import Kind

pytestmark = pytest.mark.exact

HELD, BENCH = Scatter(), 0.2
WIDTHS = Widths(
    **{n: np.array([BENCH if n == "bench" else getattr(HELD, n)]) for n in WITH_BENCH}
)
SHARES = np.array([list(CENTRE_MIX.values())])

#: Variances at the centre mix and 2.5 MPa: of the recipe; of what a strand of another
#: bench, and of the user's, has beside it and beside benches.
RECIPE = LEVEL[1] ** 2 + HELD.surface**2 + HELD.bend**2
ELSEWHERE = (
    scatter.BATCH_ELSEWHERE**2
    + scatter.SESSION_ELSEWHERE**2
    + scatter.STRAND_ELSEWHERE**2
)
OWN = HELD.batch**2 + HELD.session**2 + HELD.strand**2


def strand(rate: float, bench: str = "a", pressure: float = CENTRE, **more) -> Burned:
    """Return a strand of the centre mix on another bench; bench "": the user's."""
    kind = {"kind": FOREIGN} if bench else {}
    batch = more.pop("batch", f"{bench}/1")
    return Burned(
        name="invented",
        fractions=CENTRE_MIX,
        bench=bench,
        batch=batch,
        pressure=np.atleast_1d(pressure),
        rate=np.atleast_1d(rate),
        **kind,
        **more,
    )


def by_hand(rates: list[float], joint: np.ndarray) -> tuple[float, float]:
    """Return mean and variance of ln r of the recipe: a normal update."""
    gain = np.linalg.solve(joint, np.full(len(rates), RECIPE))
    off = np.log(rates) - LEVEL[0]
    return LEVEL[0] + float(gain @ off), RECIPE - RECIPE * float(gain.sum())


def told(evidence: list[Burned], of: str = MIX) -> tuple[float, float]:
    """Return mean and variance of ln r of strands, widths held."""
    asked = Asked(of=of, motor=False)
    model = BurnModel(evidence, HELD, WIDTHS)
    found = model.rates(SHARES, tuple(CENTRE_MIX), CENTRE, asked)
    return float(found.means[0, 0]), float(found.variances[0, 0])


def test_one_strand_of_one_bench_by_hand() -> None:
    """Its bench and the user's lie apart from what all have in common: twice."""
    row = RECIPE + 2.0 * BENCH**2 + ELSEWHERE
    mean = LEVEL[0] + RECIPE / row * (math.log(0.012) - LEVEL[0])
    variance = RECIPE - RECIPE**2 / row
    assert told([strand(0.012)]) == pytest.approx((mean, variance), rel=1e-12)
    batch = told([strand(0.012)], NEXT)[1]
    assert batch == pytest.approx(variance + HELD.batch**2, rel=1e-12)


def test_two_benches_and_a_strand_of_the_users_by_hand() -> None:
    """Benches share that the user's lies apart; of the user's there is none of it."""
    rates = [0.012, 0.010, 0.008]
    joint = np.full((3, 3), RECIPE)
    joint[:2, :2] += BENCH**2 + np.eye(2) * (BENCH**2 + ELSEWHERE)
    joint[2, 2] += OWN
    evidence = [strand(rates[0]), strand(rates[1], "b"), strand(rates[2], "")]
    assert told(evidence) == pytest.approx(by_hand(rates, joint), rel=1e-12)
    two = by_hand(rates[:2], joint[:2, :2])
    assert told(evidence[:2]) == pytest.approx(two, rel=1e-12)


def test_two_batches_of_one_bench_by_hand() -> None:
    """They share their bench, not their pot; their order does not matter."""
    rates = [0.012, 0.010]
    joint = np.full((2, 2), RECIPE + 2.0 * BENCH**2) + np.eye(2) * ELSEWHERE
    evidence = [strand(rates[0]), strand(rates[1], batch="a/2")]
    assert told(evidence) == pytest.approx(by_hand(rates, joint), rel=1e-12)
    assert told(evidence[::-1]) == pytest.approx(told(evidence), rel=1e-14)


def test_a_batch_is_two_rows() -> None:
    """Means of its lower and its upper pressures, noise by their numbers; none is own.

    Lower: 1 MPa twice, 2 MPa; upper: 7 MPa. Sessions are pressures.
    """
    pressure = np.array([7e6, 1e6, 2e6, 1e6])
    rate = np.array([0.014, 0.008, 0.009, 0.0085])
    rows = rows_of([strand(rate, pressure=pressure)])
    x = np.log(pressure / CENTRE)
    low = [1, 2, 3]
    assert rows.places.x == pytest.approx([x[low].mean(), x[0]], rel=1e-14)
    y = [np.log(rate[low]).mean(), math.log(rate[0])]
    assert rows.log_rate == pytest.approx(y, rel=1e-14)
    batch, session, each = (
        scatter.BATCH_ELSEWHERE**2,
        scatter.SESSION_ELSEWHERE**2,
        scatter.STRAND_ELSEWHERE**2,
    )
    steep = scatter.EXPONENT_BATCH**2
    own = batch + rows.places.x**2 * steep
    own += [session / 2.0 + each / 3.0, session + each]
    assert np.diag(rows.fixed) == pytest.approx(own, rel=1e-12)
    beside = batch + float(np.prod(rows.places.x)) * steep
    assert rows.fixed[0, 1] == pytest.approx(beside, rel=1e-12)
    assert rows.strands.tolist() == [0.0, 0.0]
    assert (rows.freedom, rows.squares, rows.batches) == (0.0, 0.0, ())
    assert rows.elsewhere is not None
    assert rows.elsewhere.tolist() == [[2.0, 2.0], [2.0, 2.0]]


def test_without_other_benches_nothing_is_another() -> None:
    """Seven widths, no effect; with one, eight; those of the user's stay its own.

    Batches of others that scatter by 60 % do not make the user's scatter wider.
    """
    own = [strand(0.009, ""), strand(0.0095, "", batch="second")]
    alone = BurnModel(own)
    assert alone.rows.elsewhere is None
    assert alone.widths.bench is None
    assert len(NAMES) == 7
    wild = [
        strand(0.009 * math.exp(s * 0.3), f"{i}", batch=f"{i}/{s}")
        for i in range(8)
        for s in (-1, 1)
    ]
    both = BurnModel([*own, *wild])
    assert both.widths.bench is not None
    middle = [float(m.weights @ m.widths.batch) for m in (alone, both)]
    assert 0.8 * middle[0] < middle[1] < 1.1 * middle[0]


def test_benches_far_apart_teach_that_they_are() -> None:
    """Twelve that differ by 30 % say so, twelve that agree say that, too."""
    middle = []
    for apart in (0.0, 0.3):
        rng = np.random.default_rng(3)
        rates = 0.009 * np.exp(apart * rng.normal(size=12))
        model = BurnModel([strand(r, f"{i}") for i, r in enumerate(rates.tolist())])
        middle.append(float(model.weights @ np.asarray(model.widths.bench)))
    assert middle[0] < 0.10 < 0.2 < middle[1]


def test_other_benches_are_never_the_users() -> None:
    """Not measured, no batch of a mix; the origin counts benches, own ones first."""
    others = [strand(0.012), strand(0.010, "b"), strand(0.011, "b", batch="2")]
    model = BurnModel(others)
    assert not any(one.measured for one in own_of(model, CENTRE_MIX))
    assert batches_of(model, CENTRE_MIX) == ()
    said = "imported: strands of 2 other benches, none of yours"
    assert origin_of(model, CENTRE_MIX) == said
    other = {"potassium nitrate": 0.65, "sucrose": 0.35}
    away = origin_of(model, other)
    assert away == f"{said}, nearest 20 % of the mass away"
    mine = replace(strand(0.009, ""), name="mine")
    both = BurnModel([*model.evidence, mine])
    assert origin_of(both, CENTRE_MIX) == "measured: mine; 2 other benches, imported"
    assert origin_of(both, other).startswith("model of 1 mix and 2 other benches: 20 %")
    assert batches_of(both, CENTRE_MIX) == ("/1",)


def test_a_bench_is_named_by_strands_of_others_alone() -> None:
    with pytest.raises(InputError, match="another bench"):
        replace(strand(0.01, ""), bench="a")
    with pytest.raises(InputError, match="another bench"):
        replace(strand(0.01), bench="")


def test_colder_strands_are_brought_to_a_temperature() -> None:
    """By exp(sensitivity x difference); those that state none are taken as they are."""
    numbers = {
        "degraded_sugar_percent": 2.0,
        "pressure_MPa": 2.0,
        "burn_rate_mm_s": 8.0,
        "strand_temperature_K": 283.15,
    }
    one = SharedStrand(
        licence="CC0-1.0",
        bench="00112233445566ff",
        batch=3,
        process="pressed",
        numbers=numbers,
        shares={"potassium nitrate": 65.0, "sucrose": 35.0},
    )
    untold = {n: x for n, x in numbers.items() if n != "strand_temperature_K"}
    (found,) = burned_elsewhere([one, replace(one, numbers=untold)], 293.15, 0.002)
    assert found.rate == pytest.approx([8e-3 * math.exp(0.02), 8e-3], rel=1e-14)
    assert found.pressure.tolist() == [2e6, 2e6]
    assert (found.process, found.degraded) == ("pressed", 0.02)
    assert found.fractions == {"potassium nitrate": 0.65, "sucrose": 0.35}
    assert (found.kind, found.bench) == (FOREIGN, "00112233445566ff")


@pytest.mark.simulation
def test_an_import_narrows_and_stays_honest() -> None:
    """A tenth of the worlds of ``benchmarks/validation/clubs.py``, limits 3 s.e. wider.

    Without strands narrower by a quarter in the median, with strands no wider; 92 to
    98 % of peaks below their p95; the log score rises in both.
    """
    worlds = range(40)
    found = {g: judge.judged(g, Kind(), worlds, 30) for g in judge.GIVEN}
    error = 3.0 * math.sqrt(0.95 * 0.05 / len(worlds))
    for before, after in (("nothing", "imported"), ("own", "own and imported")):
        assert 0.92 - error <= found[after].below.mean() <= 1.0
        assert np.mean(found[after].score - found[before].score) > 0.0
    gone = judge.narrowed(found["nothing"], found["imported"])
    assert np.median(gone) >= 0.25
    gone = judge.narrowed(found["own"], found["own and imported"])
    assert np.median(gone) >= 0.0
