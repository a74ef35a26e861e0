"""A table as CSV and as JSON: full precision, units in the names."""

from __future__ import annotations

import math
import platform
from collections.abc import Mapping, Sequence
from importlib import metadata
from typing import Any

from castsugar.plain import DIGITS

__all__ = ["Row", "to_csv", "versions"]

Row = Mapping[str, Any]

#: How a cell starts that spreadsheets take for a formula (OWASP, "CSV Injection", from
#: memory; the last four are the full-width forms of the first).
_RUN = ("=", "+", "-", "@", "\t", "\r", "\n", "\uff1d", "\uff0b", "\uff0d", "\uff20")


def versions(data_version: str) -> dict[str, str]:
    """Return the versions that a result depends on."""
    return {
        "castsugar": metadata.version("castsugar"),
        "species_data": data_version,
        "cantera": _version("cantera"),
        "numpy": metadata.version("numpy"),
        "python": platform.python_version(),
    }


def _version(package: str) -> str:
    """Return the version of a package that may be absent."""
    try:
        return metadata.version(package)
    except metadata.PackageNotFoundError:
        return "not installed"


def to_csv(rows: Sequence[Row], columns: Sequence[str]) -> str:
    """Return rows as CSV: one header line, empty where there is no finite number.

    A text that a spreadsheet would run gets an apostrophe in front.
    """
    lines = [",".join(map(_cell, columns))]
    lines += [",".join(_cell(row[c]) for c in columns) for row in rows]
    return "\n".join(lines) + "\n"


def _cell(value: Any) -> str:
    """Write one cell, quoted where it must be."""
    if isinstance(value, str):
        text = (
            f"'{value}" if value.startswith(_RUN) and not _is_number(value) else value
        )
        quoted = any(c in text for c in ',"\n\r')
        return '"' + text.replace('"', '""') + '"' if quoted else text
    return f"{value:.{DIGITS}g}" if math.isfinite(value) else ""


def _is_number(text: str) -> bool:
    """Return whether a text is a number, as "-5" is."""
    try:
        float(text)
    except ValueError:
        return False
    return True
