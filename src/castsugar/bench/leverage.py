"""How far the entries of a motor move its pressure margin, and what else tells of them.

All that makes pressure enters as one product S = rho Kn c* r: a step in ln S moves
ln p95 by the same slope, whichever entry it comes from. So one margin and one with
another throat give the leverage of them all.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace
from typing import Any, Final

from castsugar.bench.world import World
from castsugar.errors import CastsugarError
from castsugar.evaluation import evaluate_columns
from castsugar.frozen import dataclass
from castsugar.motor.burn_evidence import FIRING, STRANDS
from castsugar.motor.case import Case, allowable_pressure
from castsugar.motor.grain import HollowCylinder
from castsugar.motor.hardware import Hardware

#: A plausible slip of each entry, in mm, %, K: a reading, a mark of a caliper. Ours.
_SLIPS: Final = {
    "throat": 0.1,
    "size": 0.5,
    "density ratio": 2.0,
    "rate": 10.0,
    "efficiency": 3.0,
    "temperature": 10.0,
    "pressure": 10.0,
}

#: ln of S between the two margins that give the slope.
_STEP: Final = 0.02

NOTHING: Final = "nothing else"


@dataclass(frozen=True, slots=True, kw_only=True)
class Lever:
    """What one entry does to the margin."""

    entry: str  # as in bench.open_points.Point
    slip: float  # by how much it may be off, in `unit`: "mm", "%", "K" or empty
    unit: str
    points: float  # by how much the pressure margin moves then [percentage points]
    told_by: str  # what else in the file tells of the same; NOTHING if nothing does

    def to_dict(self) -> dict[str, Any]:
        """Return plain values, units in the keys."""
        return {
            "entry": self.entry,
            "slip": self.slip,
            "unit": self.unit,
            "margin_points": self.points,
            "told_by": self.told_by,
        }


def levers(world: World) -> tuple[Lever, ...]:
    """Return what moves the pressure margin of the first recipe, by leverage.

    The most first; none without recipe, motor and case, or
    where the recipe has no margin.
    """
    motor, recipe = world.motor, next(iter(world.recipes), "")
    if motor is None or not recipe or motor.case is None:
        return ()
    try:
        peak = _p95(world, recipe, motor)
        nearer = motor.throat_diameter * math.exp(-0.5 * _STEP)
        moved = _p95(world, recipe, replace(motor, throat_diameter=nearer))
    except CastsugarError:
        return ()
    if not (math.isfinite(peak) and math.isfinite(moved)):
        return ()
    slope = math.log(moved / peak) / _STEP
    scale = 100.0 * peak / motor.allowable
    found = [
        Lever(entry=e, slip=by, unit=unit, points=scale * slope * step, told_by=told)
        for e, by, unit, step, told in _entries(world, motor)
    ]
    found.append(_rating(motor.case, scale))
    return tuple(sorted(found, key=lambda x: -x.points))


def _p95(world: World, recipe: str, motor: Hardware) -> float:
    """Return what 95 of 100 peaks stay below. [Pa]"""
    given = world.conditions | {"kitchen": world.kitchen, "motor": motor}
    columns = evaluate_columns([world.mix(recipe)], confirm=False, **given)
    return 1e6 * float(columns["peak_pressure_p95_MPa"][0])


def _rating(case: Case, scale: float) -> Lever:
    """Return the lever of what sets the allowed pressure; another limit may stop it.

    `scale` is the p95 in percent of what is allowed.
    """
    now, by = allowable_pressure(case), _SLIPS["pressure"]
    keys = {"rated": "rated_pressure", "proof": "proof_pressure"}
    key = keys.get(now.rule.partition(" ")[0], "thickness")
    more = replace(case, **{key: getattr(case, key) * (1.0 + 0.01 * by)})
    points = scale * (1.0 - now.pressure / allowable_pressure(more).pressure)
    entry = f"motor.case.{key.replace('thickness', 'wall')}"
    return Lever(entry=entry, slip=by, unit="%", points=points, told_by=NOTHING)


#: Entry, how much it may be off and in what unit, the step in ln S, what else tells.
_Entry = tuple[str, float, str, float, str]


def _entries(world: World, motor: Hardware) -> Iterator[_Entry]:
    """Yield what stands in the product S."""
    table = world.bench.motor or {}
    fired = "firings" if table.get("firing") else NOTHING
    weighed = "the grains' mass" if table.get("grain_mass") else fired
    by = _SLIPS["throat"]
    yield "motor.throat", by, "mm", 2e-3 * by / motor.throat_diameter, fired
    yield from _sizes(motor, weighed)
    if table.get("density_ratio") is not None:
        by = _SLIPS["density ratio"]
        yield "motor.density_ratio", by, "%", 0.01 * by, weighed
    if table.get("measured_efficiency") is not None:
        by = _SLIPS["efficiency"]
        yield "motor.measured_efficiency", by, "%", 0.01 * by, fired
    by = _SLIPS["temperature"]
    step = by * motor.temperature_sensitivity
    yield "motor.grain_temperature", by, "K", step, NOTHING
    by = _SLIPS["rate"]
    yield "motor.burn_law", by, "%", 0.01 * by, _burned(motor)


def _sizes(motor: Hardware, told: str) -> Iterator[_Entry]:
    """Yield the sizes of a grain of cylinders."""
    grain, kn = motor.grain, motor.kn_max
    if not isinstance(grain, HollowCylinder):
        return
    by = _SLIPS["size"]
    changed = {
        "outer": replace(grain, outer_diameter=grain.outer_diameter + 1e-3 * by),
        "core": replace(grain, core_diameter=grain.core_diameter + 1e-3 * by),
        "length": replace(grain, segment_length=grain.segment_length + 1e-3 * by),
        "segments": replace(grain, segments=grain.segments + 1),
    }
    for name, other in changed.items():
        wider = replace(motor, case=None, case_volume=None, grain=other)
        step = abs(math.log(wider.kn_max / kn))
        off = (1.0, "") if name == "segments" else (by, "mm")
        yield f"motor.grain.{name}", *off, step, told


def _burned(motor: Hardware) -> str:
    """Say what tells of the rate beside one batch of strands."""
    kinds = [one.kind for one in motor.burning.evidence]
    if FIRING in kinds and len(kinds) > 1:
        return "strands and firings"
    batches = {one.batch for one in motor.burning.evidence if one.kind == STRANDS}
    return "other batches" if len(batches) > 1 else NOTHING
