"""Read what is to be shown: a column by its name, with or without its unit."""

from __future__ import annotations

import re
from collections.abc import Sequence

from castsugar.columns import COLUMNS, RENAMED, Column, stem
from castsugar.errors import (
    InputError,
    UnknownNameError,
    nearest_names,
    unknown_name,
)
from castsugar.plausible import OLD_NAME, remark
from castsugar.report.sweep import WINDOW

_SHORT = {"pour_window": WINDOW.key, "pour_viscosity": "pour_viscosity_Pa_s"}


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
    keys = {c.key.lower(): c for c in columns}
    known = keys | {stem(c).lower(): c for c in columns}
    begin = [c for key, c in keys.items() if key.startswith(wanted + "_")]
    if wanted in known or len(begin) == 1:
        return known.get(wanted) or begin[0]
    old = _renamed()
    if wanted in old:
        remark(f"{name!r} is now {old[wanted]!r}: write that", OLD_NAME)
        return keys[old[wanted].lower()]
    offered = [*_SHORT, *(c.key for c in columns)]
    near = nearest_names(name, [*offered, *old], count=1)
    if near and near[0] in old:
        now = old[near[0]]
        raise UnknownNameError(f"unknown column {name!r}; did you mean {now!r}?")
    raise unknown_name("column", name, offered)


def _renamed() -> dict[str, str]:
    """Return old names, with and without their units, and what they are now."""
    found = {}
    for key, now in RENAMED.items():
        found[key.lower()] = now.key
        bare = re.sub(r"_(?:[a-z]+_mol|[kmg]?pa|c)$", "", key.lower())
        found.setdefault(bare, now.key)
    return found


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
