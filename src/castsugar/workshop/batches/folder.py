"""Read the records of a folder: one, or what a list needs of all."""

from __future__ import annotations

import os
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from castsugar.errors import DataError, InputError, nearest_names
from castsugar.files.paths import explained, status
from castsugar.files.reading import read_bytes
from castsugar.workshop.batches.batch import Batch
from castsugar.workshop.batches.codec import decode
from castsugar.workshop.batches.record import IDENTITY, SUFFIX

#: Largest record that is read [bytes].
LARGEST = 16_000_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Summary:
    """What a list says of a batch.

    Attributes
    ----------
    id, date, name, recipe, note : str
    mass : float
        As made. [kg]
    outcome : str
        used, partly or discarded; "" while open.
    counts : dict of str to int
        Events of each kind that stand, by kind.
    is_sound : bool
        False if what was made was corrected.
    """

    id: str
    date: str
    name: str
    recipe: str
    note: str
    mass: float
    outcome: str
    counts: dict[str, int]
    is_sound: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Damaged:
    """A file that is no good record: what it is called and what is wrong."""

    path: Path
    fault: str


def read_batch(path: Path) -> Batch:
    """Read the record of a batch.

    Raises
    ------
    DataError
        File, line and what is wrong.
    InputError
        If the file cannot be read or is too large.
    """
    return decode(read_bytes(path, LARGEST), path)


def record_path(folder: Path, identity: str) -> Path:
    """Return the file of a batch.

    Raises
    ------
    InputError
        If the folder has no such batch; names the nearest.
    """
    if not IDENTITY.fullmatch(identity):
        raise InputError(
            f"{identity!r} is not what a batch is called; write for example "
            "2026-05-02-1; castsugar batch list shows them"
        )
    path = folder / f"{identity}{SUFFIX}"
    if status(path) is None:
        known = [name.removesuffix(SUFFIX) for name in _names(folder)]
        near = nearest_names(identity, known)
        hint = f"did you mean {near[0]}? " if near else ""
        raise InputError(
            f"{folder} has no batch {identity}; {hint}castsugar batch list shows "
            "those of a folder, --dir names it"
        )
    return path


def list_batches(folder: Path) -> tuple[list[Summary], list[Damaged]]:
    """Return all batches of a folder, oldest first, and the files that are damaged.

    A folder that does not exist has none.

    Raises
    ------
    InputError
        If the folder cannot be read.
    """
    damaged: list[Damaged] = []
    found = [summary_of(batch) for batch in _each(folder, damaged)]
    return sorted(found, key=lambda s: _order(s.id)), damaged


def read_batches(folder: Path) -> tuple[list[Batch], list[Damaged]]:
    """Return the same as whole batches; see :func:`list_batches`."""
    damaged: list[Damaged] = []
    found = list(_each(folder, damaged))
    return sorted(found, key=lambda b: _order(b.id)), damaged


def _each(folder: Path, damaged: list[Damaged]) -> Iterator[Batch]:
    """Yield the batches of a folder; put what is damaged on the list."""
    for name in _names(folder):
        path = folder / name
        try:
            batch = read_batch(path)
        except (DataError, InputError) as error:
            damaged.append(Damaged(path=path, fault=str(error)))
        else:
            yield batch


def _names(folder: Path) -> list[str]:
    """Return the names of the records, those of hidden files left out."""
    if status(folder) is None:
        return []
    with explained(folder, "read"):
        names = os.listdir(folder)
    return sorted(n for n in names if n.endswith(SUFFIX) and not n.startswith("."))


def _order(identity: str) -> tuple[str, int]:
    date, _, number = identity.rpartition("-")
    return date, int(number) if number.isdecimal() else 0


def summary_of(batch: Batch) -> Summary:
    """Return what a list says of a batch."""
    counts: dict[str, int] = {}
    for event in batch.standing:
        counts[event.kind] = counts.get(event.kind, 0) + 1
    made = batch.made
    return Summary(
        id=batch.id,
        date=made.date,
        name=made.name,
        recipe=made.recipe,
        note=made.note,
        mass=made.mass,
        outcome=batch.outcome,
        counts=counts,
        is_sound=batch.is_sound,
    )
