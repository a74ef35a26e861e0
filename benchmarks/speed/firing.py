"""Speed of the static test: reading, reducing, inferring, expecting; prints, no limits.

OMP_NUM_THREADS=1 python benchmarks/speed/firing.py
"""

from __future__ import annotations

import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd

from castsugar.motor.assembly import Motor, Propellant
from castsugar.motor.burn_law import Band, BurnLaw
from castsugar.motor.firing.expectation import expect
from castsugar.motor.firing.inference import infer_law
from castsugar.motor.firing.quantities import Stand
from castsugar.motor.firing.reduction import Recorded, reduce_recording
from castsugar.motor.grain import HollowCylinder
from castsugar.motor.hardware import SPREAD
from castsugar.motor.nozzle import Nozzle
from castsugar.motor.trace import fire
from castsugar.readings.recordings import read_trace

ROWS = 200_000
AMBIENT = 101325.0
STAND = Stand(propellant_mass=0.124, throat_diameter=0.008, throat_after=0.008)


def seconds(work: Callable[[], object]) -> float:
    """Return the shortest of three runs."""
    times = []
    for _ in range(3):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return min(times)


def invented() -> tuple[Motor, BurnLaw]:
    """Return an invented motor and its law."""
    motor = Motor(
        grain=HollowCylinder(
            outer_diameter=0.032, core_diameter=0.012, segment_length=0.1
        ),
        nozzle=Nozzle(throat_diameter=0.008, exponent=1.13),
        propellant=Propellant(density=1800.0, characteristic_velocity=850.0),
    )
    band = Band(low=1e5, high=1e7, rate=5e-3, exponent=0.35)
    return motor, BurnLaw(name="invented", bands=(band,), log_rate_u=0.05)


def write(path: Path, rows: int) -> None:
    """Write an invented recording."""
    motor, law = invented()
    course = fire(motor, law)
    t = np.linspace(0.0, course.burn_time + 2.0, rows)
    rng = np.random.default_rng(1)
    gauge = np.interp(t - 0.5, course.time, course.pressure - AMBIENT, 0.0, 0.0)
    thrust = np.interp(t - 0.5, course.time, course.thrust, 0.0, 0.0)
    table = pd.DataFrame(
        {
            "time (s)": t,
            "pressure (kPa(g))": 1e-3 * gauge + rng.normal(0.0, 10.0, rows),
            "thrust (N)": thrust + rng.normal(0.0, 0.5, rows),
        }
    )
    table.to_csv(path, index=False, float_format="%.7g")


def recorded(path: Path) -> Recorded:
    """Read a recording."""
    read = read_trace(path)
    return Recorded(time=read.time, pressure=read.pressure, thrust=read.thrust)


def peak_memory(path: Path) -> float:
    """Return the peak memory of reading and reducing a file in a new process. [MB]"""
    done = subprocess.run(
        [sys.executable, __file__, str(path)],
        check=True,
        capture_output=True,
        text=True,
    )
    return float(done.stdout)


def main() -> None:
    """Time 200,000 samples, and measure the memory of a 50 MB file."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "shot.csv"
        write(path, ROWS)
        plain = seconds(lambda: pd.read_csv(path))
        reading = seconds(lambda: read_trace(path))
        samples = recorded(path)
        reducing = seconds(lambda: reduce_recording(samples, STAND))
        reduction = reduce_recording(samples, STAND)
        motor, law = invented()
        inferring = seconds(lambda: infer_law(reduction, motor.grain))
        expecting = seconds(lambda: expect(motor, law, SPREAD))
        print(
            f"{ROWS:,} rows: read {reading:.2f} s ({reading / plain:.1f} times "
            f"pandas alone), reduce {reducing:.2f} s, infer {inferring:.2f} s, "
            f"together {reading + reducing + inferring:.2f} s; "
            f"2,048 expected firings {expecting:.2f} s"
        )
        size = path.stat().st_size
        large = Path(folder) / "large.csv"
        write(large, int(ROWS * 50e6 / size))
        small, big = peak_memory(path), peak_memory(large)
        print(
            f"peak memory, read and reduced: {size / 1e6:.0f} MB file {small:.0f} MB, "
            f"{large.stat().st_size / 1e6:.0f} MB file {big:.0f} MB"
        )


if __name__ == "__main__":
    if len(sys.argv) > 1:
        reduce_recording(recorded(Path(sys.argv[1])), STAND)
        print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)
    else:
        main()
