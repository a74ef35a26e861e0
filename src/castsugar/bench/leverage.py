"""How far the entries of a motor move its pressure margin, and what else tells of them.

All that makes pressure enters as one product S = rho Kn c* r: a step in ln S moves
ln p95 by the same slope, whichever entry it comes from. So one margin and one with
another throat give the leverage of them all.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any, Final

from castsugar.bench.world import World
from castsugar.errors import CastsugarError
from castsugar.evaluation import evaluate_columns
from castsugar.motor.burn_evidence import FIRING, STRANDS
from castsugar.motor.grain import HollowCylinder
from castsugar.motor.hardware import Hardware

#: A plausible slip of each entry: a reading, a mark of a caliper, one grain. Ours.
_SLIPS: Final = {
    "throat": 1e-4,
    "size": 5e-4,
    "density ratio": 0.02,
    "rate": 0.1,
    "efficiency": 0.03,
    "temperature": 10.0,
    "pressure": 0.1,
}

#: ln of S between the two margins that give the slope.
_STEP: Final = 0.02

NOTHING: Final = "nothing else"


@dataclass(frozen=True, slots=True, kw_only=True)
class Lever:
    """What one entry does to the margin.

    Attributes
    ----------
    entry : str
        As in :class:`castsugar.bench.open_points.Point`.
    slip : str
        By how much it may be off.
    points : float
        By how much the pressure margin moves then. [percentage points]
    told_by : str
        What else in the file tells of the same; :data:`NOTHING` if nothing does.
    """

    entry: str
    slip: str
    points: float
    told_by: str

    def to_dict(self) -> dict[str, Any]:
        """Return plain values, units in the keys."""
        return {
            "entry": self.entry,
            "slip": self.slip,
            "margin_points": self.points,
            "told_by": self.told_by,
        }


def levers(world: World) -> tuple[Lever, ...]:
    """Return what moves the pressure margin of the first recipe, by leverage.

    Those first that nothing else tells of; none without recipe, motor and case, or
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
        Lever(entry=e, slip=slip, points=scale * slope * step, told_by=told)
        for e, slip, step, told in _entries(world, motor)
    ]
    if world.bench.motor is not None:
        rule = _SLIPS["pressure"]
        points = scale * rule / (1.0 + rule)
        entry = f"motor.case.{_rating(world)}"
        found.append(Lever(entry=entry, slip="10 %", points=points, told_by=NOTHING))
    return tuple(sorted(found, key=lambda x: (x.told_by != NOTHING, -x.points)))


def _p95(world: World, recipe: str, motor: Hardware) -> float:
    """Return what 95 of 100 peaks stay below. [Pa]"""
    given = world.conditions | {"kitchen": world.kitchen, "motor": motor}
    columns = evaluate_columns([world.mix(recipe)], confirm=False, **given)
    return 1e6 * float(columns["peak_pressure_p95_MPa"][0])


def _rating(world: World) -> str:
    """Return the key that sets the allowed pressure."""
    from castsugar.motor.case import allowable_pressure

    case = world.stated_motor.case
    rule = allowable_pressure(case).rule if case is not None else ""
    keys = {"rated": "rated_pressure", "proof": "proof_pressure"}
    return keys.get(rule.split()[0] if rule else "", "wall")


def _entries(world: World, motor: Hardware) -> Iterator[tuple[str, str, float, str]]:
    """Yield entries: how much one may be off, the step in ln S, what else tells."""
    table = world.bench.motor or {}
    fired = "firings" if table.get("firing") else NOTHING
    weighed = "the grains' mass" if table.get("grain_mass") else fired
    step = 2.0 * _SLIPS["throat"] / motor.throat_diameter
    yield "motor.throat", "0.1 mm", step, fired
    yield from _sizes(motor, weighed)
    if table.get("density_ratio") is not None:
        yield "motor.density_ratio", "2 %", _SLIPS["density ratio"], weighed
    if table.get("measured_efficiency") is not None:
        step = _SLIPS["efficiency"]
        yield "motor.measured_efficiency", "3 %", step, fired
    step = _SLIPS["temperature"] * motor.temperature_sensitivity
    yield "motor.grain_temperature", "10 K", step, NOTHING
    yield "motor.burn_law", "10 % of the rate", _SLIPS["rate"], _burned(motor)


def _sizes(motor: Hardware, told: str) -> Iterator[tuple[str, str, float, str]]:
    """Yield the sizes of a grain of cylinders."""
    grain, kn = motor.grain, motor.kn_max
    if not isinstance(grain, HollowCylinder):
        return
    slip = _SLIPS["size"]
    changed = {
        "outer": ("0.5 mm", {"outer_diameter": grain.outer_diameter + slip}),
        "core": ("0.5 mm", {"core_diameter": grain.core_diameter + slip}),
        "length": ("0.5 mm", {"segment_length": grain.segment_length + slip}),
        "segments": ("1", {"segments": grain.segments + 1}),
    }
    for name, (words, values) in changed.items():
        wider = replace(grain, **values)  # type: ignore[arg-type]
        other = replace(motor, case=None, case_volume=None, grain=wider)
        step = abs(math.log(other.kn_max / kn))
        yield f"motor.grain.{name}", words, step, told


def _burned(motor: Hardware) -> str:
    """Say what tells of the rate beside one batch of strands."""
    kinds = [one.kind for one in motor.burning.evidence]
    if FIRING in kinds and len(kinds) > 1:
        return "strands and firings"
    batches = {one.batch for one in motor.burning.evidence if one.kind == STRANDS}
    return "other batches" if len(batches) > 1 else NOTHING
