"""The published values: one CSV a source, one row a number."""

from __future__ import annotations

import csv
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

FOLDER = Path(__file__).parents[1]

COLUMNS = (
    "case",
    "quantity",
    "value",
    "unit",
    "tolerance",
    "tolerance_reason",
    "source",
    "locator",
    "provenance",
    "conditions",
    "note",
)

#: How a number came here -> the mark of its test: checked against the outside world;
#: recalled by those who wrote the test; our own calculation, by other code.
KINDS = {
    "read": "published",
    "open data": "published",
    "from memory, reproduced": "recalled",
    "independent calculation": "calculated",
}

#: Units in which a row may give a pressure, in Pa. 1 psi = 1 lbf/in2, exact from
#: the pound (0.45359237 kg), the inch (0.0254 m) and standard gravity.
PRESSURE_UNITS = {
    "bar": 1.0e5,
    "MPa": 1.0e6,
    "atm": 101325.0,
    "psi": 0.45359237 * 9.80665 / 0.0254**2,
}


@dataclass(frozen=True, slots=True)
class Given:
    """The conditions of a row, which remember what was asked for.

    A condition that no evaluator asks for would be a promise that nobody keeps.
    """

    values: dict[str, str]
    used: set[str] = field(default_factory=set)

    def text(self, key: str) -> str:
        """Return a condition as it stands."""
        self.used.add(key)
        return self.values[key]

    def number(self, key: str) -> float:
        """Return a condition as a number, in the unit of its key."""
        return float(self.text(key))

    def pressure(self, key: str = "pressure") -> float:
        """Return a pressure, given in any of the units. [Pa]"""
        found = [u for u in PRESSURE_UNITS if f"{key}_{u}" in self.values]
        return self.number(f"{key}_{found[0]}") * PRESSURE_UNITS[found[0]]

    def unused(self) -> set[str]:
        """Return the conditions that were not asked for."""
        return set(self.values) - self.used


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One published number and all that is known about it."""

    file: str
    case: str
    quantity: str
    value: float
    unit: str
    tolerance: float
    tolerance_reason: str
    source: str
    locator: str
    provenance: str
    conditions: str
    note: str

    @property
    def id(self) -> str:
        """Short name of the row, unique."""
        return f"{self.file}: {self.case}: {self.quantity}"

    def given(self) -> Given:
        """Return the conditions, not yet used."""
        pairs = (p.split("=", 1) for p in self.conditions.split("; ") if p)
        return Given(dict(pairs))

    def message(self, got: float) -> str:
        """Return what to say when the value is missed."""
        return (
            f"{self.id}\n"
            f"  source     {self.source}\n"
            f"  locator    {self.locator} ({self.provenance})\n"
            f"  conditions {self.conditions}\n"
            f"  expected   {self.value:g} {self.unit}\n"
            f"  got        {got:.8g} {self.unit}\n"
            f"  off by     {got - self.value:.3g}; allowed {self.tolerance:g}: "
            f"{self.tolerance_reason}\n"
            f"  note       {self.note or '-'}"
        )


def read_rows(folder: Path = FOLDER) -> list[Row]:
    """Read all rows of all files of a folder, in the order of the files' names."""
    return [row for path in sorted(folder.glob("*.csv")) for row in _read(path)]


def _read(path: Path) -> list[Row]:
    with path.open(encoding="utf-8", newline="") as stream:
        reader = csv.DictReader(stream)
        if tuple(reader.fieldnames or ()) != COLUMNS:
            raise ValueError(f"{path.name}: columns are {reader.fieldnames}")
        return [_row(path.stem, cells) for cells in reader]


def _row(file: str, cells: dict[str, str]) -> Row:
    numbers: dict[str, Any] = {k: float(cells[k]) for k in ("value", "tolerance")}
    return Row(**{"file": file, **cells, **numbers})
