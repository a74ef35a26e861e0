"""Simulated firings as castsugar takes them: recording, stand, grain."""

from __future__ import annotations

import math

from castsugar.motor.firing.quantities import Stand
from castsugar.motor.firing.reduction import Recorded
from castsugar.motor.grain import AreaTable, Grain, HollowCylinder
from support.firings import Firing
from support.motors import Grain as TrueGrain


def recorded(firing: Firing, *, thrust: bool = True) -> Recorded:
    """Return what the sensors wrote, both channels or the pressure alone."""
    found = firing.recording
    return Recorded(
        time=found.time,
        pressure=found.pressure,
        thrust=found.thrust if thrust else None,
    )


def stand(firing: Firing) -> Stand:
    """Return what the user states of throat and mass."""
    stated = firing.motor.stated
    return Stand(
        propellant_mass=stated.mass,
        throat_diameter=stated.throat,
        throat_after=stated.throat_after,
        ambient_pressure=stated.ambient,
        igniter_mass=stated.igniter_mass,
    )


def grain(firing: Firing) -> Grain:
    """Return the grain as the user measured it; a table where no shape has a name."""
    stated = firing.motor.stated.grain
    if stated.burns == "core":
        return HollowCylinder(
            outer_diameter=stated.outer,
            core_diameter=stated.core,
            segment_length=stated.length,
            segments=stated.segments,
            burning_ends=stated.ends,
        )
    return _table(stated)


def _table(stated: TrueGrain) -> AreaTable:
    """Return two points: the areas of faces, rods and tubes change straight."""
    webs = (0.0, stated.web)
    areas = tuple(float(stated.area(x)) for x in webs)
    return AreaTable(webs=webs, areas=areas, port_area=0.25 * math.pi * stated.outer**2)
