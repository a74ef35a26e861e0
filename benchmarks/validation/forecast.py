"""Forecasts of firings held against an independent simulator: do the bands hold?

Run ``python benchmarks/validation/forecast.py``; it takes about two minutes of one core
and prints what stands in ``forecast.md``. Strands, batch, motor and firing are drawn
from what the forecast says it does not know (``tests/motor/forecast_worlds.py``); the
firing itself is that of ``tests/support/motors.py``, which imports nothing of the
project.
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import datetime
import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2] / "tests"))
sys.path.insert(0, str(Path(__file__).parents[2] / "tests" / "motor"))

import forecast_worlds as worlds
import numpy as np

#: Motors, and the seed: fixed before the run.
COUNT, SEED = 600, 2101

LABELS = {
    "peak_pressure": "peak pressure",
    "mean_pressure": "mean pressure",
    "burn_time": "burn time",
    "total_impulse": "total impulse",
}


def main() -> None:
    """Print the table."""
    began = time.process_time()
    found = worlds.judged(COUNT, SEED)
    print(f"# Forecasts of firings\n\n{datetime.date.today()}, ", end="")
    print(f"{COUNT} motors, seed {SEED}; in % of them.\n")
    print(
        "| | inside the 95 % band | below it | above it | true over foreseen, median "
        "| its scatter, % | upper over lower end, median |"
    )
    print("| --- | --- | --- | --- | --- | --- | --- |")
    for name, label in LABELS.items():
        inside, above = found.inside[name].mean(), found.above[name].mean()
        scatter = np.std(np.log(found.ratio[name]))
        print(
            f"| {label} | {inside:.1%} | {1.0 - inside - above:.1%} | {above:.1%} | "
            f"{np.median(found.ratio[name]):.3f} | {100.0 * scatter:.1f} | "
            f"{np.median(found.width[name]):.2f} |"
        )
    error = np.sqrt(0.95 * 0.05 / COUNT)
    below = found.below_limit.mean()
    print(
        "\nTrue peaks below the p95 of the table, which takes the ideal c\\*: ", end=""
    )
    print(f"{below:.1%}.\nStandard error of a share of 95 %: {error:.1%}. Asked for: ")
    print("92 to 98 % of peaks and impulses inside.")
    print(f"\nCPU time: {(time.process_time() - began) / 60.0:.1f} min.")


if __name__ == "__main__":
    main()
