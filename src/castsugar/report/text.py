"""Tables for a terminal of 80 columns, plain text."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from castsugar.columns import COLUMN, COLUMNS, DOUBTS, Column
from castsugar.data.records import Caution
from castsugar.report.layout import (
    CELL,
    LABEL,
    letters,
    number,
    remarks,
    solver_differences,
    wrapped,
)

Row = Mapping[str, Any]

_GROUPS = (
    ("mix", "The mix as cast"),
    ("chamber", "In the chamber"),
    ("nozzle", "Through an ideal nozzle, no losses"),
)


@dataclass(frozen=True, slots=True)
class Extra:
    """Further blocks: one for each group of three mixes, and lines after all."""

    block: Callable[[slice], list[str]]
    after: list[str]


def performance_table(
    rows: Sequence[Row],
    assumptions: Sequence[str],
    cautions: Sequence[Caution],
    species: Sequence[Mapping[str, Sequence[float]]] = (),
    extra: Extra | None = None,
) -> str:
    """Return the performance table of some mixes.

    Parameters
    ----------
    rows : sequence of mappings
        Rows of the contract's columns.
    assumptions : sequence of str
        What was assumed, one line each.
    cautions : sequence of Caution
        Those that apply.
    species : sequence of mappings, optional
        For each mix, species to amounts in chamber, throat and exit. [mol/kg]
    extra : Extra, optional
        What the motor says.
    """
    lines = ["Ideal performance of nitrate-sugar mixes: a model, no losses", ""]
    names = letters(len(rows))
    for name, row in zip(names, rows, strict=True):
        lines += wrapped(str(row["name"]), "      ", f"  {name:<4}")
    lines += ["", "Assumed"]
    for text in assumptions:
        lines += wrapped(text, "    ", "  - ")
    for start in range(0, len(rows), 3):
        lines += _block(names[start : start + 3], rows[start : start + 3])
        lines += _kitchen_block(names[start : start + 3], rows[start : start + 3])
        if extra is not None:
            lines += extra.block(slice(start, start + 3))
    lines += extra.after if extra is not None else []
    lines += _species(names, species)
    lines += _second_opinion(names, rows)
    lines += remarks(names, rows)
    lines += ["", "Cautions"]
    for caution in cautions:
        lines += wrapped(caution.text, "    ", "  ! ")
    return "\n".join(lines) + "\n"


def _kitchen_block(names: Sequence[str], rows: Sequence[Row]) -> list[str]:
    """Return what the kitchen says; nothing is loaded where it was not asked."""
    if all(row["flow_class"] == "not asked" for row in rows):
        return []
    from castsugar.report.kitchen import kitchen_lines

    return kitchen_lines(names, rows)


def _block(names: Sequence[str], rows: Sequence[Row]) -> list[str]:
    """Return the numbers of up to three mixes side by side."""
    lines: list[str] = []
    for group, title in _GROUPS:
        columns = [c for c in COLUMNS if c.group == group]
        if all(not math.isfinite(row[c.key]) for c in columns for row in rows):
            continue
        heads = "".join(f"{name:>{CELL}}" for name in names)
        lines += ["", f"{title:<{LABEL}}{heads}"]
        for column in columns:
            unit = f", {column.unit}" if column.unit else ""
            cells = "".join(f"{_cell(row, column):>{CELL}}" for row in rows)
            lines.append(f"  {column.label + unit:<{LABEL - 2}}{cells}")
    return lines


def _cell(row: Row, column: Column) -> str:
    """Write a value, with its uncertainty where the row has one."""
    text = number(row[column.key], column.decimals)
    doubt = row.get(DOUBTS.get(column.key, ""), math.nan)
    if math.isfinite(doubt):
        text += f" ±{number(doubt, COLUMN[DOUBTS[column.key]].decimals)}"
    return text


def _species(
    names: Sequence[str], species: Sequence[Mapping[str, Sequence[float]]]
) -> list[str]:
    """Return the main species of every mix, station by station."""
    lines: list[str] = []
    stations = ("chamber", "throat", "exit")
    for name, amounts in zip(names, species, strict=False):
        heads = "".join(f"{s:>{CELL}}" for s in stations)
        lines += ["", f"{'Species of ' + name + ', mol/kg':<{LABEL}}{heads}"]
        for label, values in amounts.items():
            cells = "".join(f"{number(v, 4):>{CELL}}" for v in values)
            lines.append(f"  {label:<{LABEL - 2}}{cells}")
    return lines


def _second_opinion(names: Sequence[str], rows: Sequence[Row]) -> list[str]:
    """Say what the second solver made of the mixes."""
    verdicts = [str(row["confirmation"]) for row in rows]
    if all(v == "not asked" for v in verdicts):
        return ["", "Second solver not asked (--confirm asks it)"]
    lines = ["", "Second solver (Cantera, own search for states)"]
    for name, row, verdict in zip(names, rows, verdicts, strict=True):
        text = "; ".join(t for t in (verdict, solver_differences(row)) if t)
        lines += wrapped(text, "      ", f"  {name:<4}")
    return lines
