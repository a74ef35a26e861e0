"""CPU of what people type, in times of `import numpy`; prints, no limits.

python benchmarks/speed/commands.py [ROUNDS]

Every command runs in a process of its own, in turns with `python -c "import numpy"`,
on one thread, in a folder with the example bench, its compiled files at hand; the
least of the rounds counts. The last column is that of a machine on which the import
takes 0.085 s. Linux and macOS (`resource`).
"""

from __future__ import annotations

import os
import resource
import subprocess
import sys
import tempfile
from collections.abc import Sequence

#: Seconds of `import numpy` on the machine that the last column is for.
SCALED_TO = 0.085

_MIX = "KNO3:60 powdered sugar:20 corn syrup:20"
_TRIANGLE = ("map", "KNO3", "sucrose", "corn syrup", "--step", "1%", "--force")

#: What is timed, and the seconds it is meant to take on that machine.
COMMANDS: tuple[tuple[str, tuple[str, ...], float], ...] = (
    ("help", ("--help",), 0.15),
    ("evaluate", ("evaluate", _MIX, "--no-bench", "--no-confirm"), 0.35),
    ("evaluate, confirmed", ("evaluate", _MIX, "--no-bench"), 0.7),
    ("evaluate with the bench", ("evaluate", _MIX, "--no-confirm"), 0.8),
    ("evaluate with the bench, confirmed", ("evaluate", _MIX), 1.15),
    ("compare", ("compare", "base", "red", "--no-confirm"), 1.3),
    ("search", ("search", "--no-confirm"), 1.6),
    ("map of 1 %, no bench", (*_TRIANGLE, "--no-bench", "--csv", "a.csv"), 1.4),
    ("map of 1 %", (*_TRIANGLE, "--csv", "b.csv"), 3.5),
    ("map of 1 % in full", (*_TRIANGLE, "--csv", "c.csv", "--full"), 4.5),
    (
        "map of 1 % with its picture",
        (*_TRIANGLE, "--csv", "d.csv", "--picture", "d.svg"),
        5.1,
    ),
)


def seconds(words: Sequence[str], folder: str) -> float:
    """Return the CPU of one process. [s]"""
    one = {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}
    own = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"}
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    subprocess.run(words, cwd=folder, check=True, capture_output=True, env=own | one)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def main() -> None:
    """Time the commands and print the table."""
    rounds = int(sys.argv[1]) if len(sys.argv) > 1 else 3
    python, ours = [sys.executable], [sys.executable, "-m", "castsugar"]
    least = {name: float("inf") for name, _, _ in COMMANDS} | {"numpy": float("inf")}
    with tempfile.TemporaryDirectory() as folder:
        seconds([*ours, "init"], folder)
        seconds([*ours, "evaluate", _MIX], folder)  # compiles
        for _ in range(rounds):
            for name, words, _ in COMMANDS:
                bare = seconds([*python, "-c", "import numpy"], folder)
                least["numpy"] = min(least["numpy"], bare)
                least[name] = min(least[name], seconds([*ours, *words], folder))
    bare = least["numpy"]
    print(f"import numpy: {bare:.3f} s CPU, least of {rounds * len(COMMANDS)}")
    print(f"{'command':36s} {'s here':>7s} {'x numpy':>8s} {'s':>6s} {'aim':>6s}")
    for name, _, aim in COMMANDS:
        times = least[name] / bare
        print(
            f"{name:36s} {least[name]:7.2f} {times:8.1f} {SCALED_TO * times:6.2f} "
            f"{aim:6.2f}"
        )


if __name__ == "__main__":
    main()
