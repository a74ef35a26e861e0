"""What decides which cautions apply: one place for all commands."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from castsugar.bench.bench import Bench
    from castsugar.kitchen.parameters import Kitchen
    from castsugar.mix.blends import Blends
    from castsugar.mix.mix import Mix
    from castsugar.motor.hardware import Hardware
    from castsugar.motor.pressure_table import Firing

Facts = dict[str, float]
Row = Mapping[str, Any]


def pan_facts(
    *,
    batch: float | None = None,
    kitchen: Kitchen | None = None,
    bench: Bench | None = None,
) -> Facts:
    """Return what is known of the batch in the pan.

    Parameters
    ----------
    batch : float, optional
        [kg]
    kitchen : Kitchen, optional
    bench : Bench, optional
        Its pan may be one that closes.
    """
    from castsugar.units import to_celsius

    facts = {"sealed_container": 0.0}
    if bench is not None:
        from castsugar.bench.tables import is_sealed

        facts["sealed_container"] = float(is_sealed(bench.pan))
    if batch is not None:
        facts["batch_mass"] = 1e3 * batch
    if kitchen is not None:
        facts["bulk_temperature"] = to_celsius(kitchen.cook.hottest)
    return facts


def mix_facts(rows: Sequence[Row], mixes: Sequence[Mix]) -> Facts:
    """Return what is known of mixes, the worst of them."""
    return {
        "water_as_cast": _most(row["water_as_cast_percent"] for row in rows),
        "inert_fraction": _most(100.0 * mix.inert_fraction for mix in mixes),
    }


def motor_facts(
    motor: Hardware | None,
    rows: Sequence[Row] = (),
    blends: Blends | None = None,
    mixes: Sequence[Mix] | None = None,
    fired: Sequence[Firing | None] = (),
) -> Facts:
    """Return what is known of a motor filled with the worst of some mixes.

    Parameters
    ----------
    motor : Hardware or None
        Without one nothing is known.
    rows : sequence of mappings
        Of the table, one a mix: density, c*, specific impulse.
    blends, mixes : optional
        What the rows are of: chooses the burn laws.
    fired : sequence of Firing or None
        Gives the total impulse; that of a mix without one is its ideal specific
        impulse times its mass.
    """
    if motor is None:
        return {}
    from castsugar.mix.blends import of_mixes
    from castsugar.motor.pressure_table import loaded_mass, steepest
    from castsugar.units import to_celsius

    facts = {
        "grain_temperature": to_celsius(motor.grain_temperature),
        "casing_plastic": float(motor.case is not None and motor.case.is_plastic),
    }
    if rows:
        masses = [
            loaded_mass(motor, float(row.get("density_kg_m3", math.nan)))
            for row in rows
        ]
        facts["propellant_mass"] = 1e3 * _most(masses)
        facts["total_impulse"] = _impulse(rows, masses, fired)
    if motor.installed_mass is not None:
        facts["installed_mass"] = 1e3 * motor.installed_mass
    elif rows:  # nobody said: the rocket is heavier than its propellant
        facts["installed_mass"] = facts["propellant_mass"]
    if blends is None and mixes:
        blends = of_mixes(mixes)
    if blends is not None:
        velocity = [float(row["characteristic_velocity_m_s"]) for row in rows]
        facts["pressure_amplification"] = steepest(motor, blends, velocity)
    return facts


def _impulse(
    rows: Sequence[Row], masses: Sequence[float], fired: Sequence[Firing | None]
) -> float:
    """Return the largest total impulse. [N s]"""
    from castsugar.constants import STANDARD_GRAVITY

    known = [one.trace.total_impulse for one in fired if one is not None]
    if not known:
        known = [
            mass * STANDARD_GRAVITY * float(row.get("specific_impulse_s", math.nan))
            for mass, row in zip(masses, rows, strict=True)
        ]
    return _most(known)


def _most(values: Any) -> float:
    """Return the largest number; NaN, on which no caution applies, without one."""
    return max((float(v) for v in values if not math.isnan(v)), default=math.nan)
