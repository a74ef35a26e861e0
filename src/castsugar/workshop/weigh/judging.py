"""Mixes of one charge side by side: how they burn, pour and press."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from castsugar.evaluation import evaluate
from castsugar.workshop.weigh.charge import Charge

if TYPE_CHECKING:
    from castsugar.kitchen.settings import Kitchen
    from castsugar.motor.hardware import Hardware

#: Columns that a sheet looks at, in the words of the table of mixes.
C_STAR = "characteristic_velocity_m_s"
PEAK = "chamber_pressure_MPa"
POUR = "pour_viscosity_Pa_s"
LOOKED_AT = (
    "oxidizer_fuel_ratio",
    "water_as_cast_percent",
    "density_kg_m3",
    "flame_temperature_K",
    C_STAR,
    POUR,
    "flow_class",
    "set_ratio",
    PEAK,
    "chamber_pressure_p95_MPa",
)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Conditions:
    """Under what mixes are judged.

    Attributes
    ----------
    pressure, exit_pressure : float
        [Pa]
    water_lost : float
        Share of the water that is known to leave; at 0 a kitchen says it.
    kitchen : Kitchen or None
    motor : Hardware or None
    """

    pressure: float
    exit_pressure: float
    water_lost: float = 0.0
    kitchen: Kitchen | None = None
    motor: Hardware | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Judged:
    """One mix as judged: its name, status, and the columns that a sheet looks at."""

    name: str
    status: str
    values: dict[str, Any]
    flags: str


def judge(
    charge: Charge,
    batches: Mapping[str, Mapping[str, float]],
    conditions: Conditions,
) -> list[Judged]:
    """Judge batches in one call; each alone gives the same numbers.

    Parameters
    ----------
    charge : Charge
    batches : mapping
        Name of a batch to the masses in its pan, by catalogue name. [kg]
    conditions : Conditions
    """
    mixes = [
        charge.mix(masses, name=name, water_lost=conditions.water_lost)
        for name, masses in batches.items()
    ]
    table = evaluate(
        mixes,
        pressure=conditions.pressure,
        exit_pressure=conditions.exit_pressure,
        kitchen=conditions.kitchen,
        motor=conditions.motor,
    )
    rows: Sequence[Mapping[Any, Any]] = table.to_dict("records")
    return [
        Judged(
            name=str(row["name"]),
            status=str(row["status"]),
            values={key: row[key] for key in LOOKED_AT},
            flags=str(row["flags"]),
        )
        for row in rows
    ]
