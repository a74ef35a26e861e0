"""Strands of other benches beside a bench file: kept, read, and put to use."""

from __future__ import annotations

import math
import os
import secrets
from collections import Counter
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Final

import numpy as np

from castsugar.bench.bench import Bench
from castsugar.data.load import Database
from castsugar.errors import DataError
from castsugar.files.paths import explained, status
from castsugar.files.reading import read_text
from castsugar.files.writing import write_new, write_together
from castsugar.motor.burn_evidence import FOREIGN, Burned
from castsugar.readings.shared_strands import (
    BENCH_ID,
    SharedStrand,
    by_bench,
    from_text,
    to_text,
)

#: Folder beside the bench file, a file a bench; and the file that keeps what the
#: user's own bench is called, drawn by chance when it first shares anything.
FOLDER: Final = "imported"
OWN: Final = "bench-id.txt"

#: Largest file that is imported. [bytes]
LARGEST: Final = 1_000_000


def own_id(bench: Bench) -> str:
    """Return what the user's bench is called where it shares; empty if it never did.

    Raises
    ------
    DataError
        If the file that keeps it was changed.
    """
    path = bench.path.parent / OWN
    if status(path) is None:
        return ""
    found = read_text(path, LARGEST).strip()
    if not BENCH_ID.fullmatch(found):
        raise DataError(
            f"{path}: got {found[:40]!r}; allowed: the 16 hexadecimal digits that "
            "batch export wrote; put them back, or delete the file for a new name"
        )
    return found


def made_id(bench: Bench) -> str:
    """Return the same, drawn and kept if there is none; errors as for `own_id`."""
    if found := own_id(bench):
        return found
    write_new(bench.path.parent / OWN, f"{secrets.token_hex(8)}\n".encode())
    return own_id(bench)


def imported_files(bench: Bench) -> list[Path]:
    """Return the files of other benches that lie beside a bench file."""
    folder = bench.path.parent / FOLDER
    if status(folder) is None:
        return []
    with explained(folder, "read"):
        names = sorted(os.listdir(folder))
    return [folder / n for n in names if n.endswith(".csv") and not n.startswith(".")]


def read_imported(bench: Bench, database: Database) -> tuple[SharedStrand, ...]:
    """Return the strands of other benches that lie beside a bench file.

    Raises
    ------
    DataError
        The first fault of a file; a bench in two files; the user's own bench.
    """
    found: list[SharedStrand] = []
    for path in imported_files(bench):
        strands, faults = from_text(read_text(path, LARGEST), str(path), database)
        faults += tuple(twice(by_bench(strands), by_bench(found), own_id(bench)))
        if faults:
            raise DataError(f"{faults[0]} (deleting {path} leaves it out)")
        found += strands
    return tuple(found)


def twice(
    new: Mapping[str, Sequence[SharedStrand]],
    known: Mapping[str, Sequence[SharedStrand]],
    own: str,
    burned: Sequence[SharedStrand] = (),
) -> list[str]:
    """Say which strands would count twice, a line each.

    `new` and `known` are those of other benches, by bench: of a bench in both the new
    ones replace the others. `own` is the name and `burned` are strands of the user's.
    """
    faults = []
    readings = {name: _readings(strands) for name, strands in known.items()}
    for name, strands in new.items():
        mine = _readings(strands)
        if name == own or _overlap(mine, _readings(burned)):
            faults.append(
                f"bench {name}: got your own strands; allowed: those of other benches; "
                "take them out, you have them already"
            )
        for other, theirs in readings.items():
            if other != name and _overlap(mine, theirs):
                faults.append(
                    f"bench {name}: got strands that bench {other} has, too; allowed: "
                    "each strand once; import one of the two"
                )
        readings[name] = mine
    return faults


def _readings(strands: Sequence[SharedStrand]) -> Counter[object]:
    return Counter((tuple(one.shares.items()), one.reading) for one in strands)


def _overlap(one: Counter[object], other: Counter[object]) -> bool:
    """Say whether all of one are among the other: then they are the same strands."""
    return bool(one and other) and (one <= other or other <= one)


def keep(bench: Bench, strands: Sequence[SharedStrand]) -> None:
    """Keep strands, a file a bench, all or none; what a bench gave before is replaced.

    Raises
    ------
    InputError
        If they cannot be written.
    """
    texts = {f"{name}.csv": to_text(own) for name, own in by_bench(strands).items()}
    write_together(bench.path.parent / FOLDER, texts, force=True)


def burned_elsewhere(
    strands: Sequence[SharedStrand], temperature: float, sensitivity: float
) -> list[Burned]:
    """Return strands of other benches as evidence, a batch each.

    Their rates are brought to a temperature [K] by the `sensitivity` of ln r [1/K];
    strands of unknown temperature are taken to be there.
    """
    pots: dict[tuple[str, int], list[SharedStrand]] = {}
    for one in strands:
        pots.setdefault((one.bench, one.batch), []).append(one)
    found = []
    for (bench, batch), own in pots.items():
        numbers = [one.numbers for one in own]
        burned_at = [n.get("strand_temperature_K", temperature) for n in numbers]
        colder = temperature - np.array(burned_at)
        rates = np.array([1e-3 * n["burn_rate_mm_s"] for n in numbers])
        degraded = math.fsum(n["degraded_sugar_percent"] for n in numbers)
        first, whole = own[0], math.fsum(own[0].shares.values())
        found.append(
            Burned(
                name="strands of another bench",
                fractions={name: x / whole for name, x in first.shares.items()},
                kind=FOREIGN,
                bench=bench,
                batch=f"{bench}/{batch}",
                pressure=np.array([1e6 * n["pressure_MPa"] for n in numbers]),
                rate=rates * np.exp(sensitivity * colder),
                process=first.process,
                degraded=0.01 * degraded / len(numbers),
                source=f"{FOLDER}/{bench}.csv, {first.licence}",
            )
        )
    return found
