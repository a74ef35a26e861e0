"""Worlds of burn rates whose truth is known: is the p95 of the peak what it says?

Run ``python benchmarks/validation/scatter.py``; it takes about six minutes of one core
and prints what stands in ``scatter.md``. The worlds are those of
``tests/motor/simulated_burns.py``; the slow tests hold a tenth of them to the same
limits, three standard errors wider.
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import datetime
import math
import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2] / "tests" / "motor"))

import numpy as np
import simulated_burns as burns
from scipy.special import ndtr

from castsugar.motor.burn_model import BurnModel
from castsugar.motor.burn_widths import effective

#: Worlds a row, and the seed: fixed before the run.
COUNT, SEED = 500, 20
VERDICTS = 200


def _row(*cells: object) -> None:
    print("| " + " | ".join(str(cell) for cell in cells) + " |")


def _head(*cells: str) -> None:
    print()
    _row(*cells)
    _row(*("---" for _ in cells))


def places() -> float:
    """Print coverages and log scores; return the least effective number."""
    print(
        f"\nShare of the true peaks below their p95 / inside their 95 % interval, in "
        f"worlds of 3 mixes x 10 strands; {COUNT} worlds a row. Behind it the least "
        "that is asked of p95."
    )
    _head("worlds", *burns.PLACES, "asked")
    scores, least, former = {}, math.inf, burns.FORMER_SCORES
    for name, kind in burns.KINDS.items():
        found = burns.judged(kind.known, COUNT, SEED, fired=kind.fired)
        below, inside = found.below.mean(axis=0), found.inside.mean(axis=0)
        cells = [f"{b:.3f} / {i:.3f}" for b, i in zip(below, inside, strict=True)]
        sound = np.all(below >= kind.least) and np.all(below <= kind.most)
        limit = " ".join(f"{x:.3f}" for x in kind.least)
        limit += f" to {kind.most:.2f}" if kind.most < 1.0 else ""
        _row(name, *cells, limit + ("" if sound else " **not reached**"))
        scores[name] = found.score.mean(axis=0)
        least = min(least, float(found.points.min()))
    print("\nLog score (ln of the density foreseen of the true ln peak):")
    _head("worlds", *burns.PLACES)
    for name, score in scores.items():
        _row(name, *(f"{x:.2f}" for x in score))
    _row("former rule, drawn from the priors", *(f"{x:.2f}" for x in former))
    return least


def verdicts() -> None:
    """Print how often two mixes are said to differ."""
    print(f"\nTwo mixes of one rate, one batch of 10 strands each; {COUNT} worlds:")
    _head("true batch sd", "wrong verdicts", "half width of ln r")
    for batch in burns.ONE_BATCH:
        found = burns.verdicts(burns.equal(batch), COUNT, SEED)
        _row(f"{batch:.0%}", f"{found.told.mean():.3f}", f"{found.half.mean():.3f}")
    print(f"\nSeveral batches of 4 strands each; {VERDICTS} worlds:")
    _head(
        "batches of each",
        "true batch sd",
        "wrong verdicts on equal mixes",
        "right verdicts on -6 %",
        "of wrong sign",
        "-6 % inside the interval",
    )
    for batches, batch in burns.REPEATED:
        same = burns.verdicts(burns.equal(batch, batches), VERDICTS, SEED)
        known = burns.equal(batch, batches, burns.APART)
        apart = burns.verdicts(known, VERDICTS, SEED)
        _row(
            batches,
            f"{batch:.0%}",
            f"{same.told.mean():.3f}",
            f"{apart.right.mean():.3f}",
            f"{(apart.told & ~apart.right).mean():.3f}",
            f"{apart.covered.mean():.3f}",
        )
    print(
        f"\nTwo mixes of one rate, 5 batches of 4 strands each, batch sd 2 %, some "
        f"pressed and 15 % slower for it; {VERDICTS} worlds; wrong verdicts:"
    )
    _head("pressed", "process stated", "not stated")
    for name, pressed in burns.PRESSED.items():
        known = burns.processes(pressed)
        told, blind = (
            burns.verdicts(known, VERDICTS, SEED, blind=b).told.mean()
            for b in (False, True)
        )
        _row(name, f"{told:.3f}", f"{blind:.3f}")


def firings() -> None:
    """Print what a firing does to the forecast of the shipped example."""
    print("\nThe shipped example, 60/17/23 fired once (invented strands):")
    _head("firing / forecast", "p50 after / before", "p95/p50 before", "after")
    evidence, supply = burns.example()
    for factor in burns.FACTORS:
        found = burns.after_firing(evidence, supply, burns.TWO[1], factor)
        _row(
            f"{factor:g}",
            f"{found.moved:.3f}",
            f"{found.wide_before:.3f}",
            f"{found.wide_after:.3f}",
        )
    rng = np.random.default_rng(SEED)
    off = np.array([burns.beyond_a_firing(rng) for _ in range(VERDICTS)])
    print(
        f"\nForecast after the firing between the old one and the firing: "
        f"{np.mean(off == 0.0):.3f} of {VERDICTS} worlds from the priors, at most "
        f"{off.max():.1%} beside it in the others."
    )


def points(least: float) -> None:
    """Print what the number of points and their seed do to p95."""
    print(f"\nLeast effective number of points in all worlds: {least:.0f}")
    print(
        "\np95 by 512 points less p95 by 4,096 (10 worlds each, 60/20/20 and 5 % away):"
    )
    _head("batches", "rms %", "largest %")
    for batches in burns.FEW_BATCHES:
        off = 100.0 * burns.against_many_points(batches, 10, SEED)
        _row(batches, f"{np.sqrt((off**2).mean()):.2f}", f"{np.abs(off).max():.2f}")
    seeds = 100.0 * burns.over_seeds(10)
    print(
        "\nOne batch of the example, 10 seeds of the points, sd of p95: "
        f"{seeds[0]:.2f} % at 70/15/15, {seeds[1]:.2f} % 5 % of the mass away."
    )
    moved = 100.0 * burns.one_reading_moved(40, SEED)
    print(f"\nOne reading moved by 0.05 %: p95 moves by {moved.max():.3f} % at most.")


def speed() -> None:
    """Print the CPU time of a fit and of the chance of many mixes."""
    rng = np.random.default_rng(SEED)
    fits = []
    for _ in range(10):
        evidence = burns.ten_batches(rng)
        started = time.process_time()
        model = BurnModel(evidence)
        model.rates(burns.BETWEEN, burns.NAMES, burns.STANDS)
        fits.append(time.process_time() - started)
    mixes = rng.dirichlet([30.0, 10.0, 10.0], 5000)
    spent = {}
    order = np.argsort(model.widths.batch, kind="stable")
    place = (np.arange(128) + 0.5) / 128
    chosen = order[np.searchsorted(np.cumsum(model.weights[order]), place)]
    few = BurnModel(evidence, widths=model.widths.take(chosen))
    for one in (few, model):
        started = time.process_time()
        rates = one.rates(mixes, burns.NAMES, burns.STANDS * 1.5)
        room = math.log(1.5) - rates.means - math.log(9e-3)
        chance = rates.weights @ ndtr(room / np.sqrt(rates.variances + 0.03**2))
        spent[len(one.weights)] = time.process_time() - started
        assert np.isfinite(chance).all()
    times = ", ".join(f"{t:.2f} s by {n} points" for n, t in spent.items())
    print(
        f"\nCPU time, one thread: fit of 10 batches x 10 strands "
        f"{np.median(fits):.2f} s (largest of 10: {max(fits):.2f}; effective number "
        f"{effective(model.weights):.0f}); chance of 5,000 mixes {times}."
    )


def main() -> None:
    """Print everything."""
    started = time.process_time()
    print("# Scatter of burn rates: worlds with known truth\n")
    print(f"{datetime.date.today()}, {COUNT} worlds a row, seed {SEED}")
    least = places()
    verdicts()
    firings()
    points(least)
    speed()
    print(f"\n{(time.process_time() - started) / 60.0:.0f} min of CPU in all.")


if __name__ == "__main__":
    main()
