"""Simulated firings as castsugar takes them: recording, stand, grain."""

from __future__ import annotations

import math

from castsugar.motor.firing.quantities import CALIBRATION_DOUBT, Stand
from castsugar.motor.firing.reduction import Recorded
from castsugar.motor.firing.two_sensors import mean_of_two
from castsugar.motor.grain import AreaTable, Grain, HollowCylinder
from support.firings import Firing
from support.motors import Grain as TrueGrain


def recorded(firing: Firing, *, thrust: bool = True) -> Recorded:
    """Return what the sensors wrote, thrust and pressure or the pressure alone.

    Of two pressures their mean; InputError if they disagree.
    """
    found = firing.recording
    pressure = found.pressure
    if found.second is not None:
        pressure = mean_of_two(
            found.time,
            pressure,
            found.second,
            names=("left", "right"),
            calibration_u=CALIBRATION_DOUBT,
        )
    return Recorded(
        time=found.time,
        pressure=pressure,
        thrust=found.thrust if thrust else None,
    )


def stand(firing: Firing) -> Stand:
    """Return what the user states of nozzle, masses and sensors."""
    stated = firing.motor.stated
    sensors = 1 if firing.recording.second is None else 2
    return Stand(
        propellant_mass=stated.mass,
        throat_diameter=stated.throat,
        throat_after=stated.throat_after,
        exit_diameter=stated.exit_diameter,
        pressure_calibration_u=CALIBRATION_DOUBT / math.sqrt(sensors),
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
