"""Speed of the kitchen: many mixes with draws, and pour windows; prints, no limits.

OMP_NUM_THREADS=1 python benchmarks/speed/kitchen.py
"""

from __future__ import annotations

import time

import numpy as np

import castsugar as cs
from castsugar.kitchen.pot import pots_of
from castsugar.kitchen.verdict import judge

ITEMS = ("KNO3", "powdered sugar", "corn syrup")


def main() -> None:
    """Judge random mixes around 60/20/20 and print the times."""
    kitchen = cs.Kitchen(cook=cs.Cook.hold(392.15, 480.0), draws=200)
    fractions = np.random.default_rng(1).dirichlet([12.0, 4.0, 4.0], 10_000)
    pot = pots_of(cs.blend(ITEMS, fractions), kitchen)
    single = [pot.take(np.array([row])) for row in range(100)]
    judge(single[0], kitchen)
    times = {}
    for name, part, window in (
        ("10,000 mixes x 200 draws, viscosity and class", pot, False),
        ("1,000 mixes, with pour windows", pot.take(np.arange(1000)), True),
    ):
        start = time.perf_counter()
        judge(part, kitchen, window=window)
        times[name] = (time.perf_counter() - start, len(part))
    start = time.perf_counter()
    for one in single:
        judge(one, kitchen, window=False)
    alone = (time.perf_counter() - start) / len(single)
    for name, (seconds, count) in times.items():
        print(f"{name}: {seconds:.2f} s, {1e6 * seconds / count:.0f} us a mix")
    batch = times["10,000 mixes x 200 draws, viscosity and class"]
    ratio = alone / (batch[0] / batch[1])
    print(f"one mix alone: {1e3 * alone:.1f} ms, {ratio:.0f} times a mix of the batch")


if __name__ == "__main__":
    main()
