"""CPU time and size of every picture of the example, beside solving one mix.

OMP_NUM_THREADS=1 python benchmarks/speed/pictures.py
"""

from __future__ import annotations

import contextlib
import io
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2] / "tests" / "shared"))

from drawn_pictures import drawn

import castsugar as cs
from castsugar.plot.export import KINDS, written
from castsugar.plot.sheet import Drawing

REPEATS = 5


def spent(work: Callable[[], object], repeats: int = REPEATS) -> float:
    """Return the least CPU time of some runs. [s]"""
    times = []
    for _ in range(repeats):
        start = time.process_time()
        work()
        times.append(time.process_time() - start)
    return min(times)


def row(name: str, draw: Drawing, one: float) -> str:
    """Return a row of the table: times, ratio, sizes."""
    svg = spent(lambda: written(draw, ".svg"))
    sizes = [f"{len(written(draw, kind)) / 1000:.0f}" for kind in KINDS]
    return f"| {name} | {svg:.2f} | {svg / one:.0f} | {' | '.join(sizes)} |"


def main() -> None:
    """Print the table."""
    mix = cs.Mix.weigh({"KNO3": 65, "sucrose": 35})
    cs.evaluate(mix)
    one = spent(lambda: cs.evaluate(mix), 20)
    with tempfile.TemporaryDirectory() as place:
        said = io.StringIO()
        with contextlib.redirect_stdout(said), contextlib.redirect_stderr(said):
            drawings = drawn(Path(place))
    print(f"one mix: {1e3 * one:.1f} ms CPU\n")
    print("| picture | CPU, s | over one mix | SVG, kB | PNG, kB | PDF, kB |")
    print("|---|---|---|---|---|---|")
    for name, draw in drawings.items():
        print(row(name, draw, one))


if __name__ == "__main__":
    main()
