"""Read what is to be shown: a column by its name, with or without its unit."""

from __future__ import annotations

from castsugar.columns import COLUMNS, Column
from castsugar.errors import unknown_name


def plottable() -> list[Column]:
    """Return the columns that hold numbers worth a picture."""
    return [c for c in COLUMNS if c.group in ("mix", "chamber", "nozzle")]


def read_column(name: str) -> Column:
    """Return the column of a name such as ``characteristic_velocity``.

    Raises
    ------
    UnknownNameError
        With the nearest names.
    """
    wanted = name.strip().lower().replace("-", "_").replace(" ", "_")
    columns = plottable()
    exact = [c for c in columns if c.key.lower() == wanted]
    begin = [c for c in columns if c.key.lower().startswith(wanted + "_")]
    found = exact or (begin if len(begin) == 1 else [])
    if found:
        return found[0]
    raise unknown_name("column", name, [c.key for c in columns])
