"""From the motor table of a bench file to a Hardware with its burn laws."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from castsugar.bench.bench import Bench
from castsugar.bench.burned import Files, burning_of, check_pots, readings_of
from castsugar.data.load import Database
from castsugar.errors import CastsugarError, InputError
from castsugar.motor.case import Case, Material
from castsugar.motor.efficiency import learn_efficiencies
from castsugar.motor.grain import AreaTable, Grain, HollowCylinder
from castsugar.motor.hardware import SPREAD, Hardware
from castsugar.motor.peak_pressure import Spread

_MILLI = 1e-3

#: Standard uncertainty (ln) of an efficiency that is stated as measured. Assumed.
_MEASURED_U = 0.02

#: Words in the name of a material that make a case plastic.
PLASTICS = frozenset(
    [
        "plastic",
        "pvc",
        "cpvc",
        "upvc",
        "abs",
        "pla",
        "petg",
        "pet",
        "hdpe",
        "pe",
        "pp",
        "nylon",
        "polyamide",
        "acrylic",
        "pmma",
        "polycarbonate",
        "polypropylene",
        "polyethylene",
        "resin",
    ]
)


def hardware_of(
    bench: Bench, database: Database, files: Files | None = None
) -> Hardware:
    """Return the motor that a bench file describes.

    `files` as for :func:`castsugar.bench.burned.strands_of`.

    Raises
    ------
    InputError
        If the file has no [motor] table, or a value of it cannot be used.
    DataError
        For a file of strands.
    """
    table = bench.motor
    if table is None:
        raise InputError(
            f"{bench.path} has no [motor] table; add one with throat, [motor.grain] "
            "and [[motor.burn_law]]"
        )
    try:
        return _hardware(table, bench, database, {} if files is None else files)
    except CastsugarError as error:
        text = str(error)
        if text.startswith(str(bench.path)) or "line " in text:
            raise
        raise InputError(f"{bench.path}, [motor]: {text}") from None


def resized(motor: Hardware, bench: Bench) -> Hardware:
    """Return a motor with throat and grain of a bench, all else as it is.

    Parameters
    ----------
    motor : Hardware
        As :func:`hardware_of` made it of a bench that differs in these alone.

    Raises
    ------
    InputError
        A motor that cannot be built.
    """
    table = bench.motor or {}
    return replace(
        motor,
        grain=_grain(table["grain"]),
        throat_diameter=table["throat"],
        spread=_spread(table),
    )


def _hardware(
    table: Mapping[str, Any], bench: Bench, database: Database, files: Files
) -> Hardware:
    check_pots(bench, database, files)
    burning, strands_at = burning_of(bench, database, files)
    options: dict[str, Any] = {
        "grain": _grain(table["grain"]),
        "throat_diameter": table["throat"],
        "burning": burning,
        "exit_diameter": table["exit"],
        "nozzle_efficiency": table["nozzle_efficiency"],
        "thrust_coefficient": table["thrust_coefficient"],
        "case": _case(table["case"]),
        **_efficiency(table),
        "spread": _spread(table),
        "invented": sizes_invented(bench),
    }
    for name in (
        "density_ratio",
        "grain_temperature",
        "temperature_sensitivity",
        "ambient_pressure",
        "installed_mass",
        "case_volume",
        "throat_after",
        "igniter_mass",
        "igniter_time",
        "hottest_grain",
    ):
        if table[name] is not None:
            options[name] = table[name]
    if table["cone_half_angle"] is not None:
        options["cone_half_angle"] = math.radians(table["cone_half_angle"])
    if strands_at is not None:
        options["strand_temperature"] = strands_at
    return Hardware(**options)


def _efficiency(table: Mapping[str, Any]) -> dict[str, Any]:
    """Return the efficiency of c*: of firings, else stated as measured, else stated."""
    learnt = learn_efficiencies(readings_of(table["firing"]))
    own = learnt.characteristic_velocity
    found: dict[str, Any] = {"efficiencies": learnt}
    if own.count:
        return found | {
            "efficiency": min(own.median, 1.0),
            "efficiency_measured": True,
            "efficiency_u": own.next_u,
            "firings": own.count,
        }
    measured = table["measured_efficiency"]
    if measured is None:
        return found | {"efficiency": table["efficiency"]}
    return found | {
        "efficiency": measured,
        "efficiency_measured": True,
        "efficiency_u": _MEASURED_U,
    }


def sizes_invented(bench: Bench) -> tuple[str, ...]:
    """Return what is invented of the motor, burn laws left out."""
    found = bench.invented_in("motor")
    return tuple(n for n in found if "burn_law" not in n and "firing" not in n)


def _spread(table: Mapping[str, Any]) -> Spread:
    """Return the uncertainties that the table states, the usual ones otherwise."""

    def stated(name: str, usual: float) -> float:
        value = table[name]
        return usual if value is None else float(value)

    throat = SPREAD.throat_diameter
    if table["throat_spread"] is not None:
        throat = table["throat_spread"] / table["throat"]
    return Spread(
        density=stated("density_ratio_spread", SPREAD.density),
        throat_diameter=throat,
        area=stated("area_spread", SPREAD.area),
        characteristic_velocity=stated("c_star_spread", SPREAD.characteristic_velocity),
        temperature=stated("grain_temperature_spread", SPREAD.temperature),
    )


def _grain(table: Mapping[str, Any]) -> Grain:
    if "web_mm" in table:
        port = table["port"]
        return AreaTable(
            webs=tuple(_MILLI * x for x in table["web_mm"]),
            areas=tuple(_MILLI**2 * a for a in table["area_mm2"]),
            port_area=math.nan if port is None else 0.25 * math.pi * port**2,
        )
    for name in ("segments", "burning_ends"):
        if table[name] != int(table[name]):
            raise InputError(f"{name} is {table[name]:g}; it must be a whole number")
    return HollowCylinder(
        outer_diameter=table["outer"],
        core_diameter=table["core"],
        segment_length=table["length"],
        segments=int(table["segments"]),
        burning_ends=int(table["burning_ends"]),
    )


def _case(table: Mapping[str, Any] | None) -> Case | None:
    if table is None:
        return None
    words = set(re.split(r"[^a-z]+", table["material"].lower()))
    plastic = table["plastic"] or bool(words & PLASTICS)
    if plastic and table["wall"] is not None and table["derating"] is None:
        raise InputError(
            "a plastic wall softens in a firing: give derating in [motor.case], its "
            "strength hot over cold, or a rated_pressure of your own"
        )
    derating = 1.0 if table["derating"] is None else table["derating"]
    material = None
    if table["yield_strength"] is not None or table["ultimate_strength"] is not None:
        material = Material(
            name=table["material"],
            yield_strength=table["yield_strength"],
            ultimate_strength=table["ultimate_strength"],
            plastic=plastic,
        )
    return Case(
        rated_pressure=table["rated_pressure"],
        proof_pressure=table["proof_pressure"],
        inner_diameter=table["inner_diameter"],
        thickness=table["wall"],
        material=material,
        safety_factor=table["safety_factor"],
        derating=derating,
        plastic=plastic,
    )
