"""A table as CSV and as JSON: full precision, units in the names."""

from __future__ import annotations

import json
import math
import platform
from collections.abc import Mapping, Sequence
from importlib import metadata
from typing import Any

#: Significant digits of a number in a file.
DIGITS = 10

Row = Mapping[str, Any]


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
    """Return rows as CSV: one header line, empty where there is no finite number."""
    lines = [",".join(columns)]
    lines += [",".join(_cell(row[c]) for c in columns) for row in rows]
    return "\n".join(lines) + "\n"


def _cell(value: Any) -> str:
    """Write one cell, quoted where it must be."""
    if isinstance(value, str):
        if any(c in value for c in ',"\n'):
            return '"' + value.replace('"', '""') + '"'
        return value
    return f"{value:.{DIGITS}g}" if math.isfinite(value) else ""


def to_json(document: Mapping[str, Any]) -> str:
    """Return a document as JSON; a number that is missing is null."""
    return json.dumps(_plain(document), indent=2, ensure_ascii=False) + "\n"


def _plain(value: Any) -> Any:
    """Round floats to the digits of a file and turn NaN into null."""
    if isinstance(value, Mapping):
        return {str(k): _plain(v) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(v) for v in value]
    if isinstance(value, float):
        return float(f"{value:.{DIGITS}g}") if math.isfinite(value) else None
    return value
