"""Speed of the motor: one firing both ways, its band, many mixes; prints, no limits.

OMP_NUM_THREADS=1 python benchmarks/speed/motor.py
"""

from __future__ import annotations

import time
from collections.abc import Callable

import numpy as np

from castsugar.data.load import load_database
from castsugar.draw_set import DRAWS
from castsugar.motor.burn_evidence import published
from castsugar.motor.burn_law import borrowed_law
from castsugar.motor.burn_model import BurnModel
from castsugar.motor.firing.expectation import expect
from castsugar.motor.grain import HollowCylinder
from castsugar.motor.hardware import SPREAD, Hardware
from castsugar.motor.peak_pressure import peaks
from castsugar.motor.trace import fire
from castsugar.motor.transient import course

GRAIN = HollowCylinder(
    outer_diameter=0.032, core_diameter=0.012, segment_length=0.055, segments=3
)
MIX = {"potassium nitrate": 0.65, "sucrose": 0.35}
MIXES = 5000


def milliseconds(work: Callable[[], object]) -> float:
    """Return the shortest CPU time of three runs, the first one thrown away."""
    work()
    times = []
    for _ in range(3):
        start = time.process_time()
        work()
        times.append(time.process_time() - start)
    return 1e3 * min(times)


def main() -> None:
    """Time a firing, its course and band for one band of the law and for five."""
    database = load_database()
    for name in ("sucrose 65/35", "dextrose 65/35"):
        law = borrowed_law(database, name)
        model = BurnModel([published(law, MIX)])
        hardware = Hardware(grain=GRAIN, throat_diameter=0.008, burning=model)
        motor = hardware.motor(density=1820.0, characteristic_velocity=905.0)
        one = milliseconds(lambda m=motor, w=law: fire(m, w))
        whole = milliseconds(lambda m=motor, w=law: course(m, w))
        band = milliseconds(lambda m=motor, w=law: expect(m, w, SPREAD))
        print(
            f"{name} ({len(law.bands)} bands): quasi-steady {one:.1f} ms, with filling "
            f"and tail {whole / one:.1f} of it, a band of {DRAWS} {band / one:.0f}"
        )
    rng = np.random.default_rng(1)
    shares = rng.dirichlet((60.0, 35.0), MIXES)
    supply = hardware.supply(
        rng.uniform(1750.0, 1850.0, MIXES), rng.uniform(880.0, 920.0, MIXES)
    )
    many = milliseconds(
        lambda: peaks(
            model,
            shares,
            tuple(MIX),
            log_supply=np.log(supply.per_rate),
            supply_u=hardware.supply_u,
            filling=supply.filling,
            levels=(0.5, 0.95),
        )
    )
    print(f"{MIXES} mixes, two quantiles: {many / one:.0f} quasi-steady firings")


if __name__ == "__main__":
    main()
