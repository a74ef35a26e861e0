"""An invented motor, kitchen and limits around which several tests look."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import castsugar as cs
from castsugar import Hardware, Kitchen, Requirement
from castsugar.kitchen.heat import parse_cook
from castsugar.limits import PEAK, POUR
from castsugar.motor.burn_evidence import published
from castsugar.motor.burn_law import borrowed_law
from castsugar.motor.burn_model import BurnModel
from castsugar.motor.grain import HollowCylinder
from castsugar.optimize.settings import Settings

#: Limits on pressure, viscosity and setting, as hobbyists set them.
PRESSED = Requirement(column=PEAK, at_most=6.894757, probability=0.95)
POURED = Requirement(column=POUR, at_most=10.0, probability=0.8)
SETTLED = Requirement(column="relative_solids_20C", at_least=0.9)
DRY = Settings(items=(), flow="no-solidification")


def mix(name: str, **parts: float) -> cs.Mix:
    """Weigh a mix; "_" stands for a space."""
    recipe = {key.replace("_", " "): part for key, part in parts.items()}
    return cs.Mix.weigh(recipe, name=name)


@cache
def borrowed() -> BurnModel:
    """Return what the published law of dry sucrose tells, and nothing else."""
    law = borrowed_law(cs.load_database(), "Sucrose 65/35")
    return BurnModel([published(law, {"potassium nitrate": 0.65, "sucrose": 0.35})])


@cache
def wings() -> Settings:
    """Return an invented motor with a borrowed burn law, and a kitchen."""
    grain = HollowCylinder(
        outer_diameter=0.032, core_diameter=0.012, segment_length=0.055, segments=3
    )
    motor = Hardware(
        grain=grain,
        throat_diameter=0.010,
        burning=borrowed(),
    )
    kitchen = Kitchen(cook=parse_cook("119 C", 14), draws=60)
    return replace(DRY, motor=motor, kitchen=kitchen)
