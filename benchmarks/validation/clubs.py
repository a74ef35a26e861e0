"""Strands of other clubs: does an import narrow a forecast, and does it stay honest?

Run ``python benchmarks/validation/clubs.py``; it takes about eight minutes of CPU
and prints what stands in ``clubs.md``. The worlds are those of
``tests/support/clubs.py``, which knows nothing of the project.
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import datetime
import sys
import time
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2] / "tests"))
sys.path.insert(0, str(Path(__file__).parents[2] / "tests" / "motor"))

import judged_clubs as judge
import numpy as np
from judged_clubs import Judged

from support.clubs import Kind

#: Worlds of the first table and of each row of the others, and the seed: fixed before
#: the run.
COUNT, FEWER, SEED = 400, 50, 30

#: What is asked of the first table.
LEAST, BETWEEN = 0.25, (0.92, 0.98)

KINDS = {
    "1 club": Kind(clubs=1),
    "3 clubs": Kind(clubs=3),
    "20 clubs, benches 6 % apart": Kind(bench=0.06),
    "20 clubs, benches 33 % apart": Kind(bench=0.33),
    "20 clubs, all with the user's mix": Kind(same=True),
    "20 clubs, one told twice the rate": Kind(wrong=2.0),
    "20 clubs, one told 25.4 times the rate": Kind(wrong=25.4),
    "20 clubs, 4 batches of the user's": Kind(batches=4),
}


def _row(*cells: object) -> None:
    print("| " + " | ".join(str(cell) for cell in cells) + " |", flush=True)


def _head(*cells: str) -> None:
    print()
    _row(*cells)
    _row(*("---" for _ in cells))


def judged(pool: ProcessPoolExecutor, given: str, kind: Kind, count: int) -> Judged:
    """Judge worlds on all processes."""
    parts = [range(start, min(start + 10, count)) for start in range(0, count, 10)]
    one = partial(judge.judged, given, kind, seed=SEED)
    found = list(pool.map(one, parts))
    names = ("width", "below", "inside", "score")
    whole = {n: np.concatenate([getattr(f, n) for f in found]) for n in names}
    return Judged(**whole)


def first(pool: ProcessPoolExecutor) -> None:
    """Print the table of 20 clubs."""
    print(
        f"\n20 clubs, each with 1 or 2 batches of mixes of its own, 3 strands a batch; "
        f"benches as far apart as is held beforehand; {COUNT} worlds. A motor with the "
        "next batch on the user's bench. Own: 5 strands of one batch of the mix."
    )
    _head("known", "ln(p95/p50), median", "below p95", "inside 95 %", "log score")
    found = {}
    for given in judge.GIVEN:
        one = found[given] = judged(pool, given, Kind(), COUNT)
        _row(
            given,
            f"{np.median(one.width):.3f}",
            f"{one.below.mean():.3f}",
            f"{one.inside.mean():.3f}",
            f"{one.score.mean():.2f}",
        )
    _head("import added to", "narrower by, median", "5 % of worlds below", "wider in")
    for before, after in (
        ("nothing", "imported"),
        ("a published law", "imported"),
        ("own", "own and imported"),
    ):
        gone = judge.narrowed(found[before], found[after])
        share = f"{np.mean(gone < -0.01):.3f}"
        _row(before, f"{np.median(gone):.3f}", f"{np.quantile(gone, 0.05):.3f}", share)
    gone = np.median(judge.narrowed(found["nothing"], found["imported"]))
    below, inside = (getattr(found["imported"], n).mean() for n in ("below", "inside"))
    low, high = BETWEEN
    sound = gone >= LEAST and low <= below <= high and low <= inside <= high
    print(
        f"\nAsked of a user without strands: narrower by {LEAST}, {low} to {high} "
        f"below p95 and inside 95 %: {'reached' if sound else '**not reached**'}."
    )


def others(pool: ProcessPoolExecutor) -> None:
    """Print other worlds."""
    print(
        f"\nOther worlds, {FEWER} each: narrower by (median); below p95 / inside 95 %."
    )
    _head(
        "worlds",
        "without strands, than nothing",
        "than by a published law",
        "below / inside",
        "log score",
        "with strands",
        "below / inside",
        "log score",
        "below / inside, without import",
    )
    for name, kind in KINDS.items():
        found = {g: judged(pool, g, kind, FEWER) for g in judge.GIVEN}
        alone, own = found["imported"], found["own and imported"]
        _row(
            name,
            _narrower(found["nothing"], alone),
            _narrower(found["a published law"], alone),
            _kept(alone),
            f"{alone.score.mean() - found['nothing'].score.mean():+.2f}",
            _narrower(found["own"], own),
            _kept(own),
            f"{own.score.mean() - found['own'].score.mean():+.2f}",
            _kept(found["own"]),
        )


def _narrower(before: Judged, after: Judged) -> str:
    return f"{np.median(judge.narrowed(before, after)):.3f}"


def _kept(one: Judged) -> str:
    return f"{one.below.mean():.3f} / {one.inside.mean():.3f}"


def main() -> None:
    """Print everything."""
    started = time.time()
    print("# Strands of other clubs: worlds with known truth\n")
    print(f"{datetime.date.today()}, seed {SEED}; two processes")
    with ProcessPoolExecutor(2) as pool:
        first(pool)
        others(pool)
    print(f"\n{(time.time() - started) / 60.0:.0f} min.")


if __name__ == "__main__":
    main()
