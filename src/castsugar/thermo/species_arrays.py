"""Combustion products as a built array file beside the file that is read by Cantera.

What :func:`castsugar.thermo.species.read_species` makes of a product file, so that a
command that shows no second opinion need not load Cantera. The array file names the
bytes that it was built from; beside any other product file it counts for nothing.
Written by species_data/build_arrays.py.
"""

from __future__ import annotations

import functools
import hashlib
import io
import zipfile
from dataclasses import fields
from pathlib import Path
from typing import Any

import numpy as np

from castsugar.thermo.species import (
    GasTable,
    PhaseTable,
    SpeciesTable,
    read_species,
)

#: Of the array file: raised when the tables change their fields.
FORM = "castsugar species 1"


def array_file(path: Path) -> Path:
    """Return where the array file of a product file stands."""
    return path.with_suffix(".npz")


@functools.lru_cache(maxsize=8)
def known_species(path: Path) -> SpeciesTable:
    """Return the species of a product file, from its arrays if they are of it.

    Raises
    ------
    DataError
        As for :func:`castsugar.thermo.species.read_species`.
    """
    return read_arrays(path) or read_species(path)


def arrays_of(path: Path, table: SpeciesTable) -> bytes:
    """Return what stands in the array file of a product file; the same each time."""
    told = {"built_from": _print_of(path), "data_set": table.data_set}
    arrays: dict[str, Any] = {name: np.array(text) for name, text in told.items()}
    arrays["elements"] = np.array(table.elements)
    arrays["reference_pressure"] = np.array(table.reference_pressure)
    arrays["transitions"] = np.array(table.transitions, dtype=float).reshape(-1, 3)
    for kind, part in (("gas", table.gas), ("phase", table.phase)):
        for one in fields(part):
            arrays[f"{kind}.{one.name}"] = np.array(getattr(part, one.name))
    held = io.BytesIO()
    np.savez_compressed(held, allow_pickle=False, **arrays)
    return held.getvalue()


def read_arrays(path: Path) -> SpeciesTable | None:
    """Return the table of a product file from its arrays; None if they are not its.

    Missing, of other bytes, of another form or damaged: then the product file itself
    has to be read.
    """
    try:
        with np.load(
            io.BytesIO(array_file(path).read_bytes()), allow_pickle=False
        ) as held:
            if str(held["built_from"]) != _print_of(path):
                return None
            return SpeciesTable(
                gas=GasTable(**_part(held, "gas")),
                phase=PhaseTable(**_part(held, "phase")),
                transitions=tuple(
                    (int(cold), int(hot), float(limit))
                    for cold, hot, limit in held["transitions"]
                ),
                reference_pressure=float(held["reference_pressure"]),
                elements=tuple(held["elements"].tolist()),
                data_set=str(held["data_set"]),
            )
    except (OSError, ValueError, KeyError, TypeError, zipfile.BadZipFile):
        return None


def _part(held: Any, kind: str) -> dict[str, Any]:
    """Return the fields of a table: arrays of more than words stay arrays."""
    found: dict[str, Any] = {}
    for key in held.files:
        if key.startswith(f"{kind}."):
            value = held[key]
            words = value.dtype.kind in "Ub"
            plain = tuple(value.tolist()) if words else value
            found[key.split(".")[1]] = plain if value.ndim else float(value)
    return found


def _print_of(path: Path) -> str:
    """Return what tells the bytes of a product file from others."""
    return f"{FORM}, {hashlib.sha256(path.read_bytes()).hexdigest()}"
