"""The independent states of ``independent_states.csv``, read as they stand."""

from __future__ import annotations

import csv
import functools
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

import castsugar as cs
from castsugar.rows import shipped_species
from castsugar.thermo.species import SpeciesTable

FILE = Path(__file__).parents[1] / "independent_states.csv"

#: The states were computed with 1 bar data read as 1 atm data.
REFERENCE = 101325.0

EXIT = 101325.0

#: Text columns; all others are numbers.
_TEXT = ("chamber_phases", "throat_phases", "exit_phases")


@dataclass(frozen=True)
class Row:
    """One state: its number in the file, its mix and its values."""

    number: int
    name: str
    values: dict

    def __getitem__(self, key: str):
        return self.values[key]

    @property
    def pressure(self) -> float:
        """Chamber pressure. [Pa]"""
        return 1e6 * self["peak_pressure_MPa"]

    @property
    def smooth(self) -> bool:
        """No throat on a phase boundary, no plateau, no graphite."""
        stations = (self["chamber_phases"], self["throat_phases"])
        return not self["throat_pinned"] and not any(
            "K2CO3(s)+K2CO3(L)" in s or "C(gr)" in s for s in stations
        )


@functools.cache
def rows() -> tuple[Row, ...]:
    """All states of the file."""
    with FILE.open(encoding="utf-8") as handle:
        lines = list(csv.DictReader(handle))
    found = []
    for number, line in enumerate(lines):
        values = {k: v if k in _TEXT else float(v) for k, v in line.items()}
        parts = [
            values[f"{k}_mass_fraction"]
            for k in ("potassium_nitrate", "sucrose", "water")
        ]
        name = "/".join(f"{100 * p:g}" for p in parts)
        name += f" {values['peak_pressure_MPa']:g} MPa"
        found.append(Row(number, name, values))
    return tuple(found)


def mix_of(row: Row) -> cs.Mix:
    """The mix of a state."""
    return cs.Mix.weigh(
        {
            "KNO3": row["potassium_nitrate_mass_fraction"],
            "sucrose": row["sucrose_mass_fraction"],
            "water": row["water_mass_fraction"],
        },
        name=row.name,
    )


@functools.cache
def one_atmosphere() -> SpeciesTable:
    """The shipped species with their data read as the states were."""
    return shipped_species().at_reference_pressure(REFERENCE)


@functools.cache
def table(flow: str, *, shipped: bool = False) -> pd.DataFrame:
    """All states in one batch by :func:`castsugar.evaluate`."""
    return cs.evaluate(
        [mix_of(r) for r in rows()],
        pressure=[r.pressure for r in rows()],
        exit_pressure=EXIT,
        flow=flow,
        species=shipped_species() if shipped else one_atmosphere(),
    )
