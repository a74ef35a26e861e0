"""Mixes of one charge side by side: how they burn, pour and press."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from castsugar.evaluation import evaluate
from castsugar.kitchen import pour_table
from castsugar.kitchen.pour_table import kitchen_table
from castsugar.mix.blends import of_mixes
from castsugar.mix.mix import Mix
from castsugar.rows import mix_columns
from castsugar.workshop.weigh.charge import Charge

if TYPE_CHECKING:
    from castsugar.kitchen.parameters import Kitchen
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


#: Status of a mix that does not burn because a salt stands in for its oxidizer.
DUMMY = "not computed: a dummy does not burn"


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
    rows: Sequence[Mapping[Any, Any]]
    if charge.dummy:
        rows = _in_the_kitchen(mixes, conditions.kitchen)
    else:
        rows = evaluate(
            mixes,
            pressure=conditions.pressure,
            exit_pressure=conditions.exit_pressure,
            kitchen=conditions.kitchen,
            motor=conditions.motor,
        ).to_dict("records")
    return [
        Judged(
            name=str(row["name"]),
            status=str(row.get("status", DUMMY)),
            values={key: row.get(key, math.nan) for key in LOOKED_AT},
            flags=str(row["flags"]),
        )
        for row in rows
    ]


def _in_the_kitchen(
    mixes: Sequence[Mix], kitchen: Kitchen | None
) -> Sequence[Mapping[Any, Any]]:
    """Return what can be said of dummies: how they pour, if there is a cook."""
    if kitchen is not None:
        return kitchen_table(mixes, kitchen).to_dict("records")
    blends = of_mixes(mixes)
    columns = mix_columns(blends) | pour_table.not_asked(len(blends))
    columns["flags"] = ["; ".join(flags) for flags in blends.flags]
    lines = zip(*columns.values(), strict=True)
    return [dict(zip(columns, line, strict=True)) for line in lines]
