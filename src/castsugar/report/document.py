"""A result as data: JSON documents of version 2, their schemas, and CSV."""

from __future__ import annotations

import contextlib
import csv
import importlib
import io
import json
import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import field
from operator import attrgetter
from typing import Any, BinaryIO

from castsugar.frozen import dataclass
from castsugar.plain import DIGITS, plain, to_json
from castsugar.report.field import INTERVAL, Field, Row, interval_schema
from castsugar.report.screen import STATUSES, Screen

#: Version of every document.
VERSION = 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """One key of a document."""

    meaning: str
    #: Of the object, or of each object of the list; none: whatever it holds.
    fields: tuple[Field, ...] = ()
    many: bool = False  # whether it is a list
    #: Key to schema of each value of the object, whatever the keys of that are.
    values: Mapping[str, Any] = field(default_factory=dict)
    needed: bool = True  # whether every document has it
    read: Callable[..., Any] | None = None  # returns it from what a command found

    def schema(self) -> dict[str, Any]:
        """Return what the schema says of it."""
        if not self.fields and not self.values:
            return {"description": self.meaning}
        keys: dict[str, Any] = {}
        for one in self.fields:
            keys[one.key] = one.schema()
            keys[one.key + INTERVAL] = interval_schema()
        whole: dict[str, Any] = {"type": "object", "properties": keys}
        if self.values:
            own = dict(self.values)
            each = {"type": "object", "properties": own, "required": [*own]}
            whole = {"type": "object", "additionalProperties": each}
        if self.many:
            return {"description": self.meaning, "type": "array", "items": whole}
        return {"description": self.meaning, **whole}


def part(
    meaning: str, read: str | Callable[..., Any], fields: tuple[Field, ...] = ()
) -> Part:
    """Return a part and what reads it: a function, or an attribute of what was found.

    With fields it is a list of such rows.
    """
    if isinstance(read, str):
        attribute = attrgetter(read)
        return Part(meaning=meaning, read=lambda found, *_: attribute(found))
    return Part(meaning=meaning, fields=fields, many=bool(fields), read=read)


def read_parts(parts: Mapping[str, Part], *found: Any) -> dict[str, Any]:
    """Return the parts of what a command found; last those that not all have."""
    told = {key: one.read(*found) for key, one in parts.items() if one.read}
    needed = {key: told[key] for key in told if parts[key].needed}
    return needed | {k: v for k, v in told.items() if v is not None}


def document(what: str, screen: Screen, parts: Mapping[str, Any], **told: Any) -> str:
    """Return a document as JSON.

    Parameters
    ----------
    what : str
        Name of the command.
    screen : Screen
        In SI: its findings, its invented entries.
    parts : mapping
        The numbers, units in their keys.
    **told
        `version` of the species data, `command`, `files_read`, `conditions`,
        `assumptions`, `cautions` (texts), `references`.
    """
    made: dict[str, Any] = {
        "schema": f"castsugar.{what}/{VERSION}",
        "versions": versions(told.pop("version")),
        **told,
        "invented": bool(screen.invented),
        "invented_entries": list(screen.invented),
        "findings": [one.to_dict() for one in screen.findings],
        "least_sure": screen.least_sure or None,
        "next": screen.next or None,
        **parts,
    }
    return to_json(made)


def versions(data: str) -> dict[str, str]:
    """Return the versions that a result depends on."""
    from importlib import metadata

    return {
        "castsugar": metadata.version("castsugar"),
        "species_data": data,
        "cantera": metadata.version("cantera"),
    }


#: Keys of a reference.
REFERENCE = ("key", "citation", "doi_or_url", "note")

_TEXTS = {"type": "array", "items": {"type": "string"}}

#: What every document holds.
_COMMON: dict[str, Any] = {
    "versions": {"type": "object", "description": "castsugar, species data, Cantera"},
    "command": {"type": "string", "description": "what gives the same numbers again"},
    "files_read": {
        "description": "names of the files that were read to the first digits of their "
        "SHA-256",
        "type": "object",
        "additionalProperties": {"type": "string"},
    },
    "references": {
        "description": "with --cite: of the data that were used",
        "type": "array",
        "items": {
            "type": "object",
            "properties": {k: {"type": "string"} for k in REFERENCE},
            "required": [*REFERENCE],
        },
    },
    "conditions": {
        "type": "object",
        "description": "pressure_Pa, exit_pressure_Pa, nozzle_flow, where they apply",
    },
    "assumptions": {"description": "what was assumed, in words", **_TEXTS},
    "cautions": {"description": "all that apply, in full", **_TEXTS},
    "remarks": {"type": "array", "description": "on unusual input: code and text"},
    "invented": {
        "type": "boolean",
        "description": "whether a number that the answer rests on is an example's",
    },
    "invented_entries": {"description": "which entries those are", **_TEXTS},
    "findings": {
        "type": "array",
        "items": {
            "type": "object",
            "properties": {
                "status": {"enum": list(STATUSES)},
                "text": {"type": "string"},
                "values": {"type": "object", "description": "units in the keys"},
            },
            "required": ["status", "text", "values"],
        },
    },
    "least_sure": {"type": ["string", "null"]},
    "next": {"type": ["string", "null"], "description": "a command to go on with"},
}

_NEEDED = ["schema", "versions", "cautions", "invented", "findings"]


def schema_of(what: str, parts: Mapping[str, Part]) -> dict[str, Any]:
    """Return the JSON Schema (draft 2020-12) of a document, from its fields."""
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": f"castsugar.{what}/{VERSION}",
        "description": "Numbers carry their unit in the key; null: no number, or none "
        "that is finite. Values of limits are in the unit of the limit's key.",
        "type": "object",
        "properties": {
            "schema": {"const": f"castsugar.{what}/{VERSION}"},
            **_COMMON,
            **{key: part.schema() for key, part in parts.items()},
        },
        "required": [*_NEEDED, *(key for key, part in parts.items() if part.needed)],
    }


# ----------------------------------------------------------------------------
# CSV.

#: What makes a spreadsheet run a cell.
_RUN = ("=", "+", "-", "@", "\t", "\r", "\n", "\uff1d", "\uff0b", "\uff0d", "\uff20")


def to_csv(rows: Sequence[Row], fields: Sequence[Field]) -> str:
    """Return rows as CSV: one column a field, and two for each band that occurs.

    Missing and infinite numbers are empty, and a hyphen is the minus.
    """
    columns = _columns(rows, fields)
    return csv_lines(*([name] for name in columns)) + csv_lines(*columns.values())


def csv_lines(*columns: Sequence[Any]) -> str:
    """Return lines of CSV, of one value a column each."""
    buffer = io.StringIO()
    writer = csv.writer(buffer)  # quotes what holds either end of a line
    writer.writerows(zip(*map(_cells, columns), strict=True))
    return buffer.getvalue().replace("\r\n", "\n")


def _cells(values: Sequence[Any]) -> Sequence[Any]:
    """Return values as CSV holds them."""
    if not hasattr(values, "dtype"):
        return [*map(_cell, values)]
    import numpy as np

    finite = np.isfinite(values)
    numbers = np.asarray(values)[finite].tolist()
    texts = (f"%.{DIGITS}g\n" * len(numbers) % tuple(numbers)).splitlines()
    cells = np.full(len(finite), "", dtype=object)
    # A text with a point is what its float would be written as.
    cells[finite] = [t if "." in t and "e" not in t else float(t) for t in texts]
    return cells.tolist()


@contextlib.contextmanager
def parquet_in_parts(
    stream: BinaryIO,
) -> Iterator[Callable[[Mapping[str, Sequence[Any]]], None]]:
    """Write a Parquet file: what is given appends columns of the same names to it.

    Numbers are not rounded; needs pyarrow.
    """
    pa: Any = importlib.import_module("pyarrow")
    parquet: Any = importlib.import_module("pyarrow.parquet")
    with contextlib.ExitStack() as stack:
        made: list[Any] = []

        def append(columns: Mapping[str, Sequence[Any]]) -> None:
            table = pa.table(
                {k: pa.array(v, from_pandas=True) for k, v in columns.items()}
            )
            if not made:
                writer = parquet.ParquetWriter(stream, table.schema, compression="zstd")
                made.append(stack.enter_context(writer))
            made[0].write_table(table)

        yield append


def _columns(rows: Sequence[Row], fields: Sequence[Field]) -> dict[str, list[Any]]:
    """Return the values of each field, and of both ends of each band that occurs."""
    found: dict[str, list[Any]] = {}
    for one in fields:
        found[one.key] = [one.raw(row) for row in rows]
        if any(row.get(one.key + INTERVAL) for row in rows):
            bands = [one.band(row) for row in rows]
            found[f"{one.key}_low"] = [low for low, _ in bands]
            found[f"{one.key}_high"] = [high for _, high in bands]
    return found


def _cell(value: Any) -> Any:
    """Return a value as CSV holds it; what a spreadsheet would run is made a text."""
    if isinstance(value, float):
        return float(f"{value:.{DIGITS}g}") if math.isfinite(value) else ""
    if isinstance(value, str) and value.startswith(_RUN) and not _is_number(value):
        return f"'{value}"
    if value is None:
        return ""
    if isinstance(value, bool | str | int):
        return value
    told = plain(value)
    return json.dumps(told) if isinstance(told, list | dict) else told


def _is_number(text: str) -> bool:
    """Say whether a text is a number, as "-5" is."""
    try:
        float(text)
    except ValueError:
        return False
    return True
