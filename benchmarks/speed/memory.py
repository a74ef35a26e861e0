"""Print the peak memory of one solved batch, as JSON; run.py starts it afresh.

``python memory.py 50000`` solves 50,000 mixes in this process. The base is the peak
after import, loading of the data and one solved mix.
"""

from __future__ import annotations

import json
import resource
import sys

import region

from castsugar.rows import shipped_species


def peak() -> float:
    """Return the largest resident memory of this process so far. [MB]"""
    unit = 1.0 if sys.platform == "darwin" else 1024.0  # bytes, or KiB
    return unit * resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6


def main(count: int) -> None:
    """Solve and print."""
    table = shipped_species()
    region.solve(table, region.random(1, seed=0))
    base = peak()
    region.solve(table, region.random(count, seed=count))
    total = peak()
    print(
        json.dumps(
            {
                "mixes": count,
                "base_MB": base,
                "peak_MB": total,
                "above_base_MB": total - base,
            }
        )
    )


if __name__ == "__main__":
    main(int(sys.argv[1]))
