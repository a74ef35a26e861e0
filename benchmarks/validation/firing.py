"""Simulated static firings with and without faults: what is seen, and what is told.

Run ``python benchmarks/validation/firing.py``; it takes about eleven minutes of CPU on
two processes and prints what stands in ``firing.md``. The firings are those of
``tests/support``, which knows nothing of the project. A number on the command line
takes that many firings a fault, and twice as many sound ones; a fifth of that is fired
beside it, with another seed, to set thresholds on.
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import datetime
import math
import resource
import sys
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2] / "tests"))
sys.path.insert(0, str(Path(__file__).parents[2] / "tests" / "shared"))

import numpy as np
from judged_firings import (
    ALONE,
    CLEAN,
    LAWS,
    NAMES,
    RESULTS,
    SEEDS,
    SHAPES,
    SOUND,
    STRUCK,
    Row,
    alarmed,
    covered,
    exponents_covered,
    figures,
    off,
    rates_covered,
    row,
    share,
)

from support.firings import FAULTS

#: Shares of recordings with an alarm that the first study of these rules found on
#: firings of its own, in %: the nine tests, any, and any by the pressure alone.
FORMER: dict[str, tuple[float, ...]] = {
    "clean": (0.4, 1.6, 0.3, 1.1, 0.6, 0.1, 0.1, 1.1, 0.2, 4.9, 1.5),
    "clip 95 %": (2, 18, 85, 0, 0, 0, 0, 55, 0, 87, 55),
    "clip 85 %": (41, 96, 96, 1, 0, 0, 0, 44, 0, 100, 44),
    "clip 70 %": (88, 98, 97, 1, 0, 0, 0, 28, 0, 100, 28),
    "soft 1.0": (99, 88, 68, 4, 3, 0, 0, 1, 0, 100, 1),
    "soft 0.8": (100, 95, 72, 4, 3, 0, 0, 1, 0, 100, 1),
    "thrust clip 85 %": (18, 79, 96, 0, 0, 0, 0, 1, 0, 99, 1),
    "gain +6 %": (3, 1, 0, 0, 0, 0, 0, 2, 0, 6, 2),
    "gain +10 %": (30, 1, 0, 0, 0, 0, 0, 2, 0, 32, 2),
    "gain -10 %": (60, 1, 0, 0, 0, 0, 0, 2, 0, 61, 2),
    "lag 10 ms": (1, 2, 40, 0, 0, 0, 0, 2, 0, 42, 2),
    "lag 20 ms": (1, 19, 70, 0, 0, 0, 0, 1, 0, 71, 2),
    "lag 50 ms": (1, 39, 88, 59, 37, 56, 0, 3, 0, 98, 57),
    "lag 100 ms": (1, 60, 90, 96, 79, 94, 0, 25, 0, 100, 94),
    "slag 0.1 s": (1, 14, 44, 96, 0, 90, 0, 24, 0, 97, 91),
    "slag 0.2 s": (16, 20, 48, 100, 0, 100, 0, 44, 0, 100, 100),
    "slag 0.4 s": (57, 27, 54, 100, 0, 100, 0, 48, 0, 100, 100),
    "heat 2 %, 1 s": (1, 1, 1, 1, 0, 82, 0, 2, 0, 83, 82),
    "heat 5 %, 1 s": (1, 3, 4, 1, 0, 99, 0, 2, 0, 99, 99),
    "heat 10 %, 1 s": (26, 13, 14, 1, 0, 100, 0, 67, 0, 100, 100),
    "heat 5 %, 0.3 s": (1, 4, 3, 1, 0, 100, 0, 1, 0, 100, 100),
    "heat 5 %, 4.0 s": (1, 0, 1, 1, 0, 59, 0, 1, 0, 60, 59),
    "zero step 3 %": (1, 4, 93, 2, 2, 0, 0, 4, 0, 95, 4),
    "zero step 6 %": (1, 25, 94, 4, 4, 0, 0, 4, 0, 98, 4),
    "burst 3": (1, 1, 18, 1, 1, 0, 100, 8, 0, 100, 100),
    "burst 4": (1, 1, 23, 1, 1, 0, 100, 8, 0, 100, 100),
    "burst 6": (1, 1, 28, 1, 1, 0, 96, 8, 0, 98, 96),
    "burst 5 x 4": (1, 4, 46, 3, 1, 0, 100, 8, 0, 100, 100),
    **{
        f"hum {size} %": (*(math.nan,) * 8, found, math.nan, math.nan)
        for size, found in ((0.5, 84), (1, 88), (3, 100), (10, 100))
    },
}

#: The same of the lack of fit of the burn law: Q above 4 and above 6, in %.
FORMER_FIT = {
    "clean": (3.3, 1.9),
    "crack 5 %": (100, 100),
    "crack 10 %": (100, 100),
    "crack 30 %": (100, 100),
    "debond 35 %": (25, 15),
    "late 40 %": (70, 60),
    "late 25 %": (17, 17),
    "erosion 5 %": (55, 22),
    "erosion 10 %": (98, 92),
    "erosion 30 %": (100, 100),
}


def told(hits: Iterable[bool]) -> str:
    """Return a share and its standard error as words."""
    return _plus(share(hits))


def _plus(value: tuple[float, float]) -> str:
    return f"{value[0]:.1f} +- {value[1]:.1f}"


def cell(value: float, former: float) -> str:
    """Return a share beside that of the first study, marked if they are far apart."""
    if math.isnan(former):
        return f"{value:.0f}"
    mark = " **!**" if abs(value - former) > 10.0 else ""
    return f"{value:.0f} ({former:.3g}){mark}"


def _row(*cells: object) -> None:
    print("| " + " | ".join(str(cell) for cell in cells) + " |")


def _head(*cells: str) -> None:
    print()
    _row(*cells)
    _row(*("---" for _ in cells))


def asked(rows: dict[str, Row]) -> None:
    """Print the figures that are asked for, each with what was found."""
    print("\n## What is asked")
    _head("what", "low", "high", "found", "+-", "")
    for f in figures(rows):
        limits = ["" if math.isinf(x) else f"{x:g}" for x in (f.low, f.high)]
        found = f"{f.value:.3g} {f.unit}".rstrip()
        mark = "" if f.kept() else "**not reached**"
        _row(f.what, *limits, found, f"{f.error:.2g}", mark)


def alarms(rows: dict[str, Row], former: dict[str, Row]) -> None:
    """Print which alarm is given how often."""
    print(
        "\n## Alarms\n\nShare of recordings with an alarm, %; in brackets what the "
        "first study of these rules found on firings of its own, **!** where the two "
        "differ by more than 10 points. 'Any' with its standard error, on the fleet "
        "that counts and, behind it, on the one that thresholds may be set on; a "
        "refused recording counts in both. 'Other' are tests that are younger than "
        "that study; 'alone' is any alarm without the thrust."
    )
    _head("fault", "firings", *NAMES, "other", "any", "setting", "refused", "alone")
    for name, found in rows.items():
        if name.startswith("free volume"):
            continue
        old = FORMER.get(name, (math.nan,) * 11)
        cells = [
            cell(share(test in j.alarms for j in found)[0], before)
            for test, before in zip(NAMES, old[:9], strict=True)
        ]
        whole = share(map(alarmed, found))
        again = share(map(alarmed, former.get(name, [])))
        alone = share(bool(j.alone) for j in found if not j.refused)[0]
        _row(
            name,
            len(found),
            *cells,
            _others(found),
            f"{cell(whole[0], old[9])} +- {whole[1]:.1f}",
            "" if math.isnan(again[0]) else f"{again[0]:.0f}",
            f"{share(bool(j.refused) for j in found)[0]:.0f}",
            cell(alone, old[10]) if name.startswith(ALONE) else "",
        )
    print(WHY)


#: Why cells lie more than 10 points from the first study.
WHY = """
Where the two differ by more than 10 points:

* wobble: it alarms above 2.5 % (first study: 0.7 %), because sound recordings of real
  motors show 1 to 2 %. What one cause explains counts under its name: clip, lag. So
  zeros that step by 3 % at mid-burn are only "unusual"; of their intervals only that of
  the peak is too narrow. Longer bursts: not looked into.
* clip: with a thrust beside it a pressure that stands still is seen against the thrust;
  a soft limit and a growing zero are told so, too. Alone: other blocks and levels.
* length, start, recovery, trend of slow sensors: limits are wider by what separation
  and slow slopes leave unsure; the test of lag finds these sensors. Alone, the recovery
  is timed by the pressure that is itself late.
* recovery of heated zeros: 60 parts and finer times; rests of 1.5 to 3 burn times.
* mean: nozzles here have 0.83 to 0.97 with exits measured to 0.1 mm, so that a reading
  10 % low is above 1.01 less often. Clogged lines: clogged from mid-burn on here, so
  that the burning itself is read right.
* trend of a strong soft limit, and of zeros that grow or step by 6 % and more: not
  looked into."""


def _others(found: Row) -> str:
    """Return the shares of the other tests that give an alarm in 1 % or more."""
    tests = sorted({test for j in found for test in j.alarms} - {*NAMES})
    shares = {test: share(test in j.alarms for j in found)[0] for test in tests}
    return ", ".join(f"{t} {s:.0f}" for t, s in shares.items() if s >= 1.0)


def kinds(found: Row) -> None:
    """Print the sound firings kind by kind."""
    print("\n## Sound firings, kind by kind\n\nShare with an alarm, %.")
    _head("kind", "firings", *NAMES, "other", "any", "n told")
    for kind in (*SOUND, "all"):
        some = [j for j in found if kind in (j.kind, "all")]
        cells = [f"{share(t in j.alarms for j in some)[0]:.1f}" for t in NAMES]
        whole = told(map(alarmed, some))
        law = f"{share(j.told for j in some)[0]:.0f}"
        _row(kind, len(some), *cells, _others(some), whole, law)
    refused = sorted({j.refused for j in found if j.refused})
    print("\nRefused: " + ("; ".join(refused) or "none") + ".")


def coverage(rows: dict[str, Row]) -> None:
    """Print how often the intervals of firings without an alarm hold the truth."""
    print(
        "\n## Intervals of firings without an alarm\n\nShare of 95 % intervals that "
        "hold the truth, %; n and rate where told. Faulty firings without an alarm are "
        "those that got through."
    )
    _head("row", "without", *(n.replace("_", " ") for n in RESULTS), "n told", "n", "r")
    for name, whole in rows.items():
        found = [j for j in whole if not alarmed(j)]
        if len(found) < 10:
            continue
        cells = [told(covered(found, result)) for result in RESULTS]
        law = [
            sum(j.told for j in found),
            told(exponents_covered(found)),
            told(rates_covered(found)),
        ]
        _row(
            name, len(found), *cells, *(law if name.startswith(LAWS) else ["", "", ""])
        )


def fits(rows: dict[str, Row]) -> None:
    """Print the lack of fit of the burn law, and what rate and n are off by."""
    print(
        "\n## Burn law\n\nQ above 4 and 6 in % (in brackets the first study); share of "
        "firings that tell n; mean of ln r and n less the truth where told."
    )
    _head("row", "Q > 4", "Q > 6", "n told", "ln r, %", "n", "largest |n|")
    for name, found in rows.items():
        if not name.startswith(LAWS) or name.startswith(("clip", "soft")):
            continue
        fit = [j.lack_of_fit for j in found if not math.isnan(j.lack_of_fit)]
        old = FORMER_FIT.get(name, (math.nan,) * 2)
        law = [j for j in found if j.told]
        apart = [j.exponent[0] - j.exponent[1] for j in law]
        rate = np.array([j.rate[0] for j in found if not math.isnan(j.rate[0])])
        _row(
            name,
            cell(share(q > 4.0 for q in fit)[0], old[0]),
            cell(share(q > 6.0 for q in fit)[0], old[1]),
            f"{share(j.told for j in found)[0]:.0f}",
            _mean(100.0 * rate),
            f"{np.mean(apart):+.3f}" if apart else "",
            f"{max((abs(j.exponent[0]) for j in law), default=math.nan):.2f}",
        )


def _mean(values: np.ndarray) -> str:
    """Return a mean and its standard error as words."""
    if not len(values):
        return ""
    return f"{values.mean():+.2f} +- {values.std() / math.sqrt(len(values)):.2f}"


#: Faults with a correction, and the results that it mends.
MENDED = (
    *(name for name in FAULTS if name.startswith(("heat", "slag", "hum", "burst "))),
    *(name for name in FAULTS if name.startswith(("lag", "igniter", "path"))),
)


def corrections(rows: dict[str, Row]) -> None:
    """Print what corrections do."""
    print(
        "\n## Corrections\n\nMedian of found over true, %, by bare sums over the "
        "samples -> as told; share of the intervals that hold the truth; share told as "
        "a limit only."
    )
    _head("fault", "c*", "covered", "limit", "peak", "covered", "limit")
    for name in MENDED:
        if name not in rows:
            continue
        cells: list[str] = []
        for result in ("characteristic_velocity", "peak_pressure"):
            found = [j for j in rows[name] if not j.refused]
            before = np.median([j.plain[result] for j in found])
            mended = off(found, result)
            after = f"{np.median(mended):+.2f}" if mended else "none"
            cells += [
                f"{100 * before:+.2f} -> {after}",
                told(covered(found, result)),
                f"{share(result in j.limits for j in found)[0]:.0f}",
            ]
        _row(name, *cells)


def main(argv: Sequence[str]) -> None:
    """Print everything."""
    struck = int(argv[0]) if argv else STRUCK
    names = (*SHAPES, *FAULTS)
    counted = dict.fromkeys(names, struck) | {"clean": struck * CLEAN // STRUCK}
    setting = dict.fromkeys(names, struck // 5) | {"clean": struck}
    works = [("setting", name, count) for name, count in setting.items()]
    works += [("counted", name, count) for name, count in counted.items()]
    found: dict[str, dict[str, Row]] = {which: {} for which in SEEDS}
    with ProcessPoolExecutor(2) as pool:
        for which, name, judgements in pool.map(row, works):
            found[which][name] = judgements
    rows, former = found["counted"], found["setting"]
    print("# Static firings: what is seen, and what is told\n")
    print(
        f"{datetime.date.today()}, {counted['clean']} sound firings and {struck} a "
        f"fault, seed {SEEDS['counted']}; {setting['clean']} and {struck // 5} to set "
        f"thresholds on, seed {SEEDS['setting']}"
    )
    report: tuple[Callable[[], None], ...] = (
        lambda: asked(rows),
        lambda: alarms(rows, former),
        lambda: kinds(rows["clean"]),
        lambda: coverage(rows),
        lambda: fits(rows),
        lambda: corrections(rows),
    )
    for part in report:
        part()
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    minutes = (used.ru_utime + used.ru_stime) / 60.0
    print(f"\n{minutes:.1f} minutes of CPU on two processes.")


if __name__ == "__main__":
    main(sys.argv[1:])
