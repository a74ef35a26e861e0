"""Speed of the motor: Monte-Carlo peaks, many mixes, one firing; prints, no limits.

OMP_NUM_THREADS=1 python benchmarks/speed/motor.py
"""

from __future__ import annotations

import time
from collections.abc import Callable

import numpy as np

from castsugar.data.load import load_database
from castsugar.motor.burn_law import borrowed_law
from castsugar.motor.burn_model import blend_law
from castsugar.motor.grain import HollowCylinder
from castsugar.motor.hardware import SPREAD, BurnKnowledge, Hardware
from castsugar.motor.peak_pressure import (
    MixBurns,
    one_band_each,
    peak_pressure,
    peaks_of_mixes,
)
from castsugar.motor.trace import fire

GRAIN = HollowCylinder(
    outer_diameter=0.032, core_diameter=0.012, segment_length=0.055, segments=3
)


def seconds(work: Callable[[], object]) -> float:
    """Return the shortest of three runs."""
    times = []
    for _ in range(3):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return min(times)


def main() -> None:
    """Time peaks, mixes and a firing, for one band and for five."""
    database = load_database()
    for name in ("sucrose 65/35", "dextrose 65/35"):
        law = borrowed_law(database, name)
        hardware = Hardware(
            grain=GRAIN,
            throat_diameter=0.008,
            burning=BurnKnowledge(law=blend_law([], borrowed=law)),
        )
        motor = hardware.motor(density=1820.0, characteristic_velocity=905.0)
        peaks = seconds(lambda m=motor, w=law: peak_pressure(m, w, spread=SPREAD))
        firing = seconds(lambda m=motor, w=law: fire(m, w))
        print(
            f"{name} ({len(law.bands)} bands): 10,000 peaks {1e3 * peaks:.0f} ms, "
            f"one firing {1e3 * firing:.1f} ms, ratio {peaks / firing:.1f}"
        )
    rng = np.random.default_rng(1)
    mixes = MixBurns(
        density=rng.uniform(1750.0, 1850.0, 5000),
        characteristic_velocity=rng.uniform(880.0, 920.0, 5000),
        bands=one_band_each(
            np.log(rng.uniform(3e-3, 9e-3, 5000)), rng.uniform(0.2, 0.5, 5000), 3e6
        ),
        log_rate_u=0.1,
        exponent_u=0.03,
        centre=3e6,
    )
    many = seconds(lambda: peaks_of_mixes(motor, mixes, spread=SPREAD, draws=256))
    print(f"5,000 mixes x 256 draws: {many:.2f} s, {1e6 * many / 5000:.0f} us a mix")


if __name__ == "__main__":
    main()
