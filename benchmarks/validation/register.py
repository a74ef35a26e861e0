"""Mistakes in a bench file that make a motor look safer: are they remarked on?

Run ``python benchmarks/validation/register.py [SHARE]``; it takes ten minutes of two
cores and prints what stands in ``register.md``. ``tests/shared/mistaken_benches.py``
writes benches of five kinds and makes single mistakes and pairs of them in what is
typed. A mistake is silent if it raises the pressure margin by more than :data:`RISE`
points against the sound bench, and the default screen of ``evaluate`` (24 lines) has
no remark that it did not have before. The slow tests hold a tenth to the same.
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import copy
import datetime
import functools
import io
import itertools
import re
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2]))

from tests.shared.mistaken_benches import (
    CLASSES,
    CONTRADICTED,
    IMPLAUSIBLE,
    INVISIBLE,
    KINDS,
    MISTAKES,
    SEED,
    Bench,
    Mistake,
    margin_of,
    sound,
    write,
)

from castsugar.bench.open_points import check
from castsugar.cli.main import main
from castsugar.errors import CastsugarError
from castsugar.plausible import collected

#: Sound benches, those of them in which mistakes are made, single ones and pairs in
#: each; the rise of the margin that counts [points]: fixed before the run.
SOUND, FAULTED, SINGLES, PAIRS, RISE = 500, 100, 5, 20, 5.0

#: Most sound benches with a remark. [-]
MOST_ALARMS = 0.05


#: Words that begin a remark; BROKEN and KEPT are of limits.
_ALARMS = "EXAMPLE|DO NOT|REFUSED|MISFIT|OUTSIDE|CAUTION|CANNOT TELL"
_WORDS = re.compile(rf"({_ALARMS})(?::|  )\s*(.*)")


def remarks_of(bench: Bench) -> set[str]:
    """Return the remarks of the default screen, without their numbers."""
    out = io.StringIO()
    with tempfile.TemporaryDirectory() as folder:
        try:
            with collected():
                write(bench, Path(folder))
        except CastsugarError:
            return {"refused"}
        words = ["evaluate", "base", "--no-confirm", "--bench", f"{folder}/bench.toml"]
        with redirect_stdout(out), redirect_stderr(io.StringIO()):
            code = main(words)
    if code == 2:
        return {"refused"}
    screen = out.getvalue().split("\n")
    if code or len(screen) > 25:
        raise RuntimeError(f"exit code {code}, {len(screen)} lines")
    found = (_WORDS.match(line) for line in screen)
    said = (f"{one[1]} {one[2]}" for one in found if one)
    return {re.sub(r"[0-9][0-9.]*", "#", line)[:45] for line in said}


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """What became of a bench with mistakes in it."""

    names: tuple[str, ...]
    entries: tuple[str, ...]
    kind: str
    is_class: str
    rise: float
    silent: bool
    shown: bool = True


@dataclass(kw_only=True)
class World:
    """What became of one sound bench, and of those with mistakes made of it."""

    kind: str
    alarms: set[str]
    margin: float
    seconds: float = 0.0
    outcomes: list[Outcome] = field(default_factory=list)


def _chosen(number: int, count: int, pairs: int) -> Iterator[tuple[Mistake, ...]]:
    """Yield the mistakes of a bench: single ones in turn, pairs by chance."""
    kind, turn = KINDS[number % len(KINDS)], number // len(KINDS)
    known = [one for one in MISTAKES if kind in one.of]
    for place in range(count):
        yield (known[(turn * count + place) % len(known)],)
    rng = np.random.default_rng([SEED, number, 2])
    for _ in range(pairs):
        one, other = rng.choice(len(known), 2, replace=False)
        yield known[min(one, other)], known[max(one, other)]


def judged(number: int, faulted: int = FAULTED) -> World:
    """Make a bench, and mistakes in the first ones, and see what is said of them."""
    singles, pairs = (SINGLES, PAIRS) if number < faulted else (0, 0)
    began = time.process_time()
    bench = sound(number)
    usual = remarks_of(bench)
    margin = margin_of(bench) if singles else 0.0
    found = World(kind=bench["kind"], alarms=usual, margin=margin)
    levers = _levers(number % len(KINDS)) if singles else set()
    for place, mistakes in enumerate(_chosen(number, singles, pairs)):
        rng = np.random.default_rng([SEED, number, 3, place])
        wrong, classes = copy.deepcopy(bench), set()
        for one in mistakes:
            classes.add(one.class_of(bench, one.make(wrong, rng)))
        rise = margin_of(wrong) - found.margin
        entries = tuple(one.entry for one in mistakes)
        silent = rise > RISE and not remarks_of(wrong) - usual
        outcome = Outcome(
            names=tuple(one.name for one in mistakes),
            entries=entries,
            kind=found.kind,
            is_class=next(c for c in CLASSES if c in classes),
            rise=rise,
            silent=silent,
            shown=any(e.startswith(x) for e in entries for x in levers),
        )
        found.outcomes.append(outcome)
    found.seconds = time.process_time() - began
    return found


@functools.cache
def _levers(number: int) -> set[str]:
    """Return the entries whose leverage ``check`` shows on a bench of a kind."""
    bench = sound(number) | {"efficiency": 90.0}
    with tempfile.TemporaryDirectory() as folder, collected():
        told = check(write(bench, Path(folder)))
    return {one.entry for one in getattr(told, "levers", ())}


# ----------------------------------------------------------------------------
# The table.


def _row(*cells: object) -> None:
    print("| " + " | ".join(str(cell) for cell in cells) + " |")


def _head(*cells: str) -> None:
    print()
    _row(*cells)
    _row(*("---" for _ in cells))


_LEGEND = (
    f"Raised: the margin rises by more than {RISE:g} points; silent: raised, and the "
    "default screen of `evaluate` has no remark that the sound bench has not; shown: "
    "of the silent ones, those whose entry `check` shows with its leverage. "
    "Contradicted: something else that was entered states the fact, and the mistake "
    "is at least four joint standard uncertainties of both; implausible: beyond the "
    "usual range of the entry, or no motor; invisible: all others. A pair is of the "
    "first of these classes that one of its two is of."
)


def run(share: float = 1.0) -> None:
    """Judge the benches, print the tables."""
    total, faulted = round(share * SOUND), round(share * FAULTED)
    with ProcessPoolExecutor(2) as pool:
        tell(list(pool.map(judged, range(total), itertools.repeat(faulted))))


def tell(worlds: list[World]) -> None:
    """Print the tables."""
    faulted = sum(bool(world.outcomes) for world in worlds)
    every = [one for world in worlds for one in world.outcomes]
    print("# Mistakes that make a motor look safer\n")
    cpu = sum(world.seconds for world in worlds)
    print(f"{datetime.date.today()}, seed {SEED}, {cpu:.0f} s CPU\n")
    print(f"{len(worlds)} sound benches; in {faulted} of them mistakes. {_LEGEND}")
    alarms = [world for world in worlds if world.alarms]
    told = Counter(a for world in alarms for a in world.alarms)
    by_kind = Counter(world.kind for world in alarms)
    print(
        f"\nSound benches with a remark: {len(alarms)} of {len(worlds)} "
        f"({100.0 * len(alarms) / len(worlds):.1f} %, at most {100 * MOST_ALARMS:g}): "
        + (", ".join(f"{k} {n}" for k, n in by_kind.items()) or "none")
    )
    for words, count in told.most_common(8):
        print(f"* {count}: {words}")
    _head("class", "mistakes", "made", "raised", "silent", "shown", "allowed silent")
    allowed = {
        (CONTRADICTED, 1): "0",
        (CONTRADICTED, 2): "< 1 %",
        (IMPLAUSIBLE, 1): "0",
    }
    for count, name in itertools.product((1, 2), CLASSES):
        own = [o for o in every if len(o.names) == count and o.is_class == name]
        _row(name, ("single", "pair")[count - 1], *_counts(own),
             allowed.get((name, count), "counted"))  # fmt: skip
    _head("mistake", "class", "made", "raised", "silent", "shown")
    for one, name in itertools.product(MISTAKES, CLASSES):
        own = [o for o in every if o.names == (one.name,) and o.is_class == name]
        if own:
            _row(one.name, name, *_counts(own))
    _remaining(every)


def _counts(own: list[Outcome]) -> tuple[int, ...]:
    silent = [one for one in own if one.silent]
    raised = sum(one.rise > RISE for one in own)
    return len(own), raised, len(silent), sum(one.shown for one in silent)


#: Why a mistake in an entry may stay silent.
_WHY = (
    ("motor.throat", "no firing; or less than 8 % of the diameter beside firings"),
    ("motor.grain.", "no firing, and nobody weighed the grains (grain_mass)"),
    ("motor.density_ratio", "a few percent are less than a firing or a scale tells"),
    ("motor.case", "the user alone knows the case; a proof test would tell"),
    ("motor.measured_efficiency", "without a firing nothing else tells of it"),
    ("motor.burn_law", "one batch; or less than batches, and motors, differ by"),
    ("motor.firing", "firings differ as much from what strands lead to expect"),
    ("", "nothing else tells of it"),
)


def _remaining(every: list[Outcome]) -> None:
    """Print what stays silent though it is contradicted or implausible."""
    print("\nSilent single mistakes that only one entry tells of, and why:\n")
    told = Counter(o.entries[0] for o in every if o.silent and len(o.names) == 1)
    for entry, count in told.most_common():
        print(f"* {count}: {entry}: {next(w for e, w in _WHY if entry.startswith(e))}")
    print("\nSilent though contradicted or implausible:\n")
    left = [o for o in every if o.silent and o.is_class != INVISIBLE]
    for one in left:
        names = " and ".join(one.names)
        print(f"* {one.kind}, {one.is_class}: {names}: +{one.rise:.1f} points")
    if not left:
        print("* none")


if __name__ == "__main__":
    run(float(sys.argv[1]) if len(sys.argv) > 1 else 1.0)
