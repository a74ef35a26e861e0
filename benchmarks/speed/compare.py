"""Speed of a comparison: four mixes, 2,048 draws, all wings; prints, no limits.

OMP_NUM_THREADS=1 python benchmarks/speed/compare.py
"""

from __future__ import annotations

import time

import castsugar as cs
from castsugar.data.load import load_database
from castsugar.motor.burn_evidence import published
from castsugar.motor.burn_law import borrowed_law
from castsugar.motor.burn_model import BurnModel
from castsugar.motor.grain import HollowCylinder
from castsugar.motor.hardware import Hardware

#: What the borrowed law was burned with.
DRY = {"potassium nitrate": 0.65, "sucrose": 0.35}

#: Nitrate, powdered sugar, corn syrup, in percent: invented candidates.
MIXES = ((60, 20, 20), (62, 14, 24), (65, 15, 20), (58, 16, 26))
DRAWS = 2000


def conditions() -> cs.Conditions:
    """Return an invented kitchen and motor."""
    law = borrowed_law(load_database(), "sucrose 65/35")
    motor = Hardware(
        grain=HollowCylinder(
            outer_diameter=0.032, core_diameter=0.012, segment_length=0.055, segments=3
        ),
        throat_diameter=0.008,
        burning=BurnModel(
            [published(law, {"potassium nitrate": 0.65, "sucrose": 0.35})]
        ),
    )
    kitchen = cs.Kitchen(cook=cs.Cook.hold(392.15, 480.0))
    return cs.Conditions(kitchen=kitchen, motor=motor)


def main() -> None:
    """Time the comparison against one mix evaluated alone, in one run."""
    names = ("KNO3", "powdered sugar", "corn syrup")
    mixes = [cs.Mix.weigh(dict(zip(names, parts, strict=True))) for parts in MIXES]
    asked = conditions()
    cs.compare(mixes[:1], conditions=asked, draws=100)  # warm
    start = time.perf_counter()
    for mix in mixes:
        cs.evaluate(mix, kitchen=asked.kitchen, motor=asked.motor)
    alone = (time.perf_counter() - start) / len(mixes)
    start = time.perf_counter()
    cs.compare(mixes, conditions=asked, draws=DRAWS)
    took = time.perf_counter() - start
    batches = DRAWS * len(mixes)
    print(
        f"{len(mixes)} mixes x {DRAWS:,} draws, all wings: {took:.2f} s, "
        f"{1e6 * took / batches:.0f} us a drawn batch, "
        f"{took / alone:.1f} times one mix evaluated alone ({1e3 * alone:.0f} ms)"
    )
    start = time.perf_counter()
    cs.justify(mixes[0], mixes[1], conditions=asked, draws=DRAWS)
    print(f"justify, confirmed by Cantera: {time.perf_counter() - start:.2f} s")


if __name__ == "__main__":
    main()
