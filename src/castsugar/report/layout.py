"""Pieces of every page: width, wrapped lines, numbers, short names, remarks."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Mapping, Sequence
from typing import Any

#: Columns of the screen, of a label, and of a cell.
WIDTH, LABEL, CELL = 80, 44, 12

Row = Mapping[str, Any]


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


#: What the second solver differs in, and its unit.
_DIFFERENCES = (
    ("difference_temperature_K", "K"),
    ("difference_characteristic_velocity_ppm", "ppm of c*"),
    ("difference_specific_impulse_ppm", "ppm of specific impulse"),
)


def solver_differences(row: Row) -> str:
    """Say by how much the second solver differs; empty where it gave no number."""
    values = [(float(row.get(key, math.nan)), unit) for key, unit in _DIFFERENCES]
    texts = [f"{abs(value):.1e} {unit}" for value, unit in values if value == value]
    return f"differs by {', '.join(texts)}" if texts else ""


def remarks(names: Sequence[str], rows: Sequence[Row]) -> list[str]:
    """Return lines for each mix that is not plain ok, or has flags."""
    lines: list[str] = []
    for name, row in zip(names, rows, strict=True):
        status = str(row.get("status", "ok"))
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
