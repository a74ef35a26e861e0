"""Print the peak memory of work on many mixes, as JSON.

``python memory.py 50000`` solves 50,000 mixes in this process; run.py starts it afresh.
The base is the peak after import, loading of the data and one solved mix.

``python memory.py map 0.0625% [BENCH]`` writes the map of so fine a step as a table, by
one process and by two workers, and prints the peak of each process, the CPU of all and
whether the two tables hold the same bytes; a third word ``.parquet`` writes that kind.
"""

from __future__ import annotations

import filecmp
import json
import resource
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any

MAP = ("map", "KNO3", "powdered sugar", "corn syrup")


def peak(who: int = resource.RUSAGE_SELF) -> float:
    """Return the largest resident memory of a process so far. [MB]"""
    unit = 1.0 if sys.platform == "darwin" else 1024.0  # bytes, or KiB
    return unit * resource.getrusage(who).ru_maxrss / 1e6


def solved(count: int) -> dict[str, Any]:
    """Solve mixes."""
    import region

    from castsugar.rows import shipped_species

    table = shipped_species()
    region.solve(table, region.random(1, seed=0))
    base = peak()
    region.solve(table, region.random(count, seed=count))
    total = peak()
    return {
        "mixes": count,
        "base_MB": base,
        "peak_MB": total,
        "above_base_MB": total - base,
    }


def command(*words: str) -> dict[str, float]:
    """Run one command in this process; it waits for its workers."""
    from castsugar.cli.main import main

    assert main(words) == 0
    who = (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)
    used = [resource.getrusage(one) for one in who]
    return {
        "parent_MB": peak(),
        "largest_worker_MB": peak(resource.RUSAGE_CHILDREN),
        "CPU_s": sum(one.ru_utime + one.ru_stime for one in used),
    }


def tables(step: str, *more: str) -> dict[str, Any]:
    """Write a map by one process and by two workers, each started afresh."""
    ending = ".parquet" if ".parquet" in more else ".csv"
    bench = [word for word in more if word != ".parquet"]
    found: dict[str, Any] = {}
    with tempfile.TemporaryDirectory() as folder:
        files = [Path(folder) / f"{workers}{ending}" for workers in (1, 2)]
        for workers, file in zip((1, 2), files, strict=True):
            words = [*MAP, "--step", step, "--workers", str(workers)]
            words += ["--bench", *bench] if bench else ["--no-bench"]
            words += ["--csv", str(file), "-o", f"{file}.txt"]
            run = [sys.executable, __file__, "command", *words]
            told = subprocess.run(run, check=True, capture_output=True, text=True)
            found[f"workers_{workers}"] = json.loads(told.stdout)
        found["bytes"] = files[0].stat().st_size
        found["same_bytes"] = filecmp.cmp(*files, shallow=False)
    return found


if __name__ == "__main__":
    what, *rest = sys.argv[1:]
    own = {"map": tables, "command": command}
    print(json.dumps(own[what](*rest) if what in own else solved(int(what))))
