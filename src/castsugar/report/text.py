"""Tables for a terminal of 80 columns, plain text."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Mapping, Sequence
from typing import Any

from castsugar.columns import COLUMN, COLUMNS, DOUBTS, Column
from castsugar.database import Caution

WIDTH = 80
_LABEL = 44
_CELL = 12

Row = Mapping[str, Any]

_GROUPS = (
    ("mix", "The mix as cast"),
    ("chamber", "In the chamber"),
    ("nozzle", "Through an ideal nozzle, no losses"),
)


def wrapped(text: str, indent: str = "  ", first: str | None = None) -> list[str]:
    """Wrap a text to the width of the screen."""
    return textwrap.wrap(
        text,
        WIDTH,
        initial_indent=indent if first is None else first,
        subsequent_indent=indent,
        break_long_words=True,
        break_on_hyphens=False,
    )


def number(value: float, decimals: int | None) -> str:
    """Write a number with the decimals its uncertainty allows; a dash for none.

    Negative decimals round to tens, hundreds, ...
    """
    if not math.isfinite(value):
        return "-"
    digits = decimals or 0
    text = f"{round(value, digits):.{max(digits, 0)}f}"
    return text.replace("-0", "0") if float(text) == 0.0 else text


def letters(count: int) -> list[str]:
    """Return short names for columns: A, B, ... Z, AA, AB, ..."""
    names = []
    for index in range(count):
        name, rest = "", index
        while True:
            name = chr(ord("A") + rest % 26) + name
            rest = rest // 26 - 1
            if rest < 0:
                break
        names.append(name)
    return names


def performance_table(
    rows: Sequence[Row],
    assumptions: Sequence[str],
    cautions: Sequence[Caution],
    species: Sequence[Mapping[str, Sequence[float]]] = (),
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
    lines += _species(names, species)
    lines += _second_opinion(names, rows)
    lines += _remarks(names, rows)
    lines += ["", "Cautions"]
    for caution in cautions:
        lines += wrapped(caution.text, "    ", "  ! ")
    return "\n".join(lines) + "\n"


def _block(names: Sequence[str], rows: Sequence[Row]) -> list[str]:
    """Return the numbers of up to three mixes side by side."""
    lines: list[str] = []
    for group, title in _GROUPS:
        columns = [c for c in COLUMNS if c.group == group]
        if all(not math.isfinite(row[c.key]) for c in columns for row in rows):
            continue
        heads = "".join(f"{name:>{_CELL}}" for name in names)
        lines += ["", f"{title:<{_LABEL}}{heads}"]
        for column in columns:
            unit = f", {column.unit}" if column.unit else ""
            cells = "".join(f"{_cell(row, column):>{_CELL}}" for row in rows)
            lines.append(f"  {column.label + unit:<{_LABEL - 2}}{cells}")
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
        heads = "".join(f"{s:>{_CELL}}" for s in stations)
        lines += ["", f"{'Species of ' + name + ', mol/kg':<{_LABEL}}{heads}"]
        for label, values in amounts.items():
            cells = "".join(f"{number(v, 4):>{_CELL}}" for v in values)
            lines.append(f"  {label:<{_LABEL - 2}}{cells}")
    return lines


def _second_opinion(names: Sequence[str], rows: Sequence[Row]) -> list[str]:
    """Say what the second solver made of the mixes."""
    verdicts = [str(row["confirmation"]) for row in rows]
    if all(v == "not asked" for v in verdicts):
        return ["", "Second solver not asked (--confirm asks it)"]
    lines = ["", "Second solver (Cantera, own search for states)"]
    for name, row, verdict in zip(names, rows, verdicts, strict=True):
        kelvin = row["difference_temperature_K"]
        ppm = row["difference_characteristic_velocity_ppm"]
        if math.isfinite(kelvin):
            verdict += f"; differs by {abs(kelvin):.1e} K"
        if math.isfinite(ppm):
            verdict += f" and {abs(ppm):.1e} ppm of c*"
        lines += wrapped(verdict, "      ", f"  {name:<4}")
    return lines


def _remarks(names: Sequence[str], rows: Sequence[Row]) -> list[str]:
    """Return one line for each mix that is not plain ok."""
    lines: list[str] = []
    for name, row in zip(names, rows, strict=True):
        status = str(row["status"])
        if status == "cold":
            status = (
                "cold: does not burn by this model (its products at 600 K already "
                "hold more enthalpy than the mix)"
            )
        texts = ([status] if status != "ok" else []) + (
            [str(row["flags"])] if row["flags"] else []
        )
        for text in texts:
            lines += wrapped(text, "      ", f"  {name:<4}")
    return ["", "Remarks", *lines] if lines else []
