"""Read what is to be shown: a column by its name, with or without its unit."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from castsugar.columns import COLUMNS, Column
from castsugar.errors import InputError, unknown_name

#: Not stored in the table: how wide the pour window is.
WINDOW = Column(
    "pour_window_width_K",
    "width of the pour window",
    "C",
    0,
    "highest less lowest temperature of the window",
    "kitchen",
)
_SHORT = {"pour_window": WINDOW.key, "pour_viscosity": "pour_viscosity_Pa_s"}


def add_window(rows: Sequence[dict[str, Any]]) -> None:
    """Add the width of the pour window to rows, after their other columns."""
    for row in rows:
        row[WINDOW.key] = row["pour_window_high_C"] - row["pour_window_low_C"]


def plottable() -> list[Column]:
    """Return the columns that hold numbers worth a picture."""
    kept = ("mix", "chamber", "nozzle", "kitchen", "motor")
    found = [c for c in COLUMNS if c.group in kept and c.decimals is not None]
    return [*found, WINDOW]


def read_column(name: str) -> Column:
    """Return the column of a name such as ``characteristic_velocity``.

    Raises
    ------
    UnknownNameError
        With the nearest names.
    """
    wanted = name.strip().lower().replace("-", "_").replace(" ", "_")
    wanted = _SHORT.get(wanted, wanted).lower()
    columns = plottable()
    exact = [c for c in columns if c.key.lower() == wanted]
    begin = [c for c in columns if c.key.lower().startswith(wanted + "_")]
    found = exact or (begin if len(begin) == 1 else [])
    if found:
        return found[0]
    raise unknown_name("column", name, [*_SHORT, *(c.key for c in columns)])


def check_asked(columns: Sequence[Column], kitchen: object, motor: object) -> None:
    """Refuse to show a column of a wing that was not asked."""
    for column in columns:
        if column.group == "motor" and motor is None:
            raise InputError(
                f"{column.key} needs a motor; add --bench FILE with a [motor]"
            )
        if column.group == "kitchen" and kitchen is None:
            raise InputError(
                f"{column.key} needs a cook; add --cook '119 C' --minutes 8"
            )
