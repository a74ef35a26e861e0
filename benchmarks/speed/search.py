"""Speed of the search: three and six ingredients; prints, no limits.

OMP_NUM_THREADS=1 python benchmarks/speed/search.py
"""

from __future__ import annotations

import resource
import time
from dataclasses import replace

import castsugar as cs
from castsugar.data.load import load_database
from castsugar.motor.burn_evidence import published
from castsugar.motor.burn_law import borrowed_law
from castsugar.motor.burn_model import BurnModel
from castsugar.motor.case import Case
from castsugar.motor.grain import HollowCylinder
from castsugar.motor.hardware import Hardware
from castsugar.optimize.multistart import Effort
from castsugar.optimize.optimum import optimise
from castsugar.optimize.settings import Settings
from castsugar.optimize.space import Space
from castsugar.optimize.task import Task

#: What the borrowed law was burned with.
DRY = {"potassium nitrate": 0.65, "sucrose": 0.35}

THREE = {
    "potassium nitrate": (0.5, 0.7),
    "powdered sugar": (0.05, 0.35),
    "light corn syrup": (0.1, 0.35),
}
SIX = THREE | {
    "sucrose": (0.0, 0.2),
    "red iron oxide": (0.0, 0.02),
    "water": (0.0, 0.05),
}


def task(bounds: dict[str, tuple[float, float]]) -> Task:
    """Return an invented task: all wings, chance limits on pouring and pressure."""
    law = borrowed_law(load_database(), "sucrose 65/35")
    motor = Hardware(
        grain=HollowCylinder(
            outer_diameter=0.032, core_diameter=0.012, segment_length=0.055, segments=3
        ),
        throat_diameter=0.0105,
        burning=BurnModel(
            [published(law, {"potassium nitrate": 0.65, "sucrose": 0.35})]
        ),
        case=Case(rated_pressure=6.9e6),
    )
    kitchen = cs.Kitchen(cook=cs.Cook.hold(392.15, 480.0), draws=500)
    space = Space(bounds=bounds)
    return Task(
        space=space,
        settings=Settings(items=space.columns, kitchen=kitchen, motor=motor),
        requirements=(
            cs.Requirement(column="pour_viscosity_Pa_s", at_most=15.0, probability=0.8),
            cs.Requirement(column="peak_pressure_MPa", at_most=5.0, probability=0.95),
            cs.Requirement(column="relative_solids_20C", at_least=0.95),
        ),
        effort=Effort(seed=1),
    )


def main() -> None:
    """Time both searches, with and without shadow prices."""
    for name, bounds in (("3 ingredients", THREE), ("6 ingredients", SIX)):
        asked = task(bounds)
        start = time.perf_counter()
        asked.problem().evaluate(asked.space.regions()[0].corners[:1])
        first = time.perf_counter() - start
        for prices in (False, True):
            effort = replace(asked.effort, prices=prices)
            start = time.perf_counter()
            found = optimise(asked.problem(), asked.goal(), asked.space, effort=effort)
            took = time.perf_counter() - start
            print(
                f"{name}, {'with' if prices else 'no'} shadow prices: {took:.2f} s, "
                f"{len(found.trials)} mixes in {found.batches} batches, "
                f"{1e3 * took / len(found.trials):.2f} ms a mix, "
                f"{took / first:.0f} times one mix alone, {found.status}"
            )
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"peak memory {peak:.0f} MB")


if __name__ == "__main__":
    main()
