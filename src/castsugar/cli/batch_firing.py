"""A static test of a batch: reduced now, and again later from what the record keeps."""

from __future__ import annotations

import argparse
import math
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from castsugar.cli.firing_options import add_stand_options, read_recorded, read_stand
from castsugar.errors import CastsugarError, InputError

if TYPE_CHECKING:
    from castsugar.data.load import Database
    from castsugar.motor.hardware import Hardware
    from castsugar.readings.recordings import Recording
    from castsugar.records.batch import Batch
    from castsugar.static_test import StaticTest

#: Columns of ``castsugar firing --csv`` that a record does not repeat.
_LEFT_OUT = ("file", "mix")


def _parser() -> argparse.ArgumentParser:
    """Return a parser of the options about the stand alone."""
    parser = argparse.ArgumentParser(add_help=False, allow_abbrev=False)
    add_stand_options(parser)
    return parser


def stand_options(options: argparse.Namespace) -> dict[str, Any]:
    """Return the options about the stand that were typed, by name."""
    usual = vars(_parser().parse_args([]))
    return {
        name: getattr(options, name)
        for name, value in usual.items()
        if getattr(options, name) != value
    }


def again(kept: Mapping[str, Any]) -> argparse.Namespace:
    """Return the options of a kept firing as if they were typed now."""
    options = _parser().parse_args([])
    for name, value in kept.items():
        if name != "motor" and not hasattr(options, name):
            raise InputError(
                f"option {name!r} of a firing is not known to this version"
            )
        setattr(options, name, value)
    options.motor = kept.get("motor")
    return options


def reduce_firing(
    path: Path, kept: Mapping[str, Any], batch: Batch, database: Database
) -> tuple[StaticTest, Recording]:
    """Reduce a recording of a batch.

    Parameters
    ----------
    path : pathlib.Path
        The recording.
    kept : mapping
        Options of ``castsugar firing`` as typed, of a :class:`Link`; `motor` is the
        name of a bench file from the folder of the record.
    batch : Batch
        Gives the mix as cast, and the motor of that day where none is named.
    database : Database

    Raises
    ------
    CastsugarError
    """
    from castsugar.cli.firing_options import read_size
    from castsugar.motor.firing.reduction import reduce_recording
    from castsugar.readings.recordings import check_order, read_trace
    from castsugar.records.prediction import mix_of
    from castsugar.static_test import review

    options = again(kept)
    hardware = _hardware(kept, batch, database)
    recording = read_trace(path)
    check_order(recording)
    stand = read_stand(options, hardware)
    reduction = reduce_recording(read_recorded(options, recording), stand)
    size = read_size(options)
    mix = mix_of(batch.made, batch.path.parent, database)
    return review(reduction, mix=mix, hardware=hardware, size_u=size), recording


def _hardware(
    kept: Mapping[str, Any], batch: Batch, database: Database
) -> Hardware | None:
    """Return the motor that a firing names, or that of the record."""
    from castsugar.bench.bench import read_bench
    from castsugar.bench.motor import hardware_of
    from castsugar.records.prediction import thaw

    folder = batch.path.parent
    if "motor" in kept:
        return hardware_of(read_bench(folder / kept["motor"]), database)
    try:
        bench = thaw(batch.made.bench, folder)
        if bench is None or bench.motor is None:
            return None
        return hardware_of(bench, database)
    except CastsugarError as error:
        raise type(error)(
            f"the motor kept in {batch.id}: {error}; --motor FILE names another bench "
            "file"
        ) from None


def firing_values(path: Path, kept: Mapping[str, Any], batch: Batch) -> dict[str, Any]:
    """Return what a record keeps of a firing: its row, cells without a number left out.

    Raises
    ------
    CastsugarError
    """
    from castsugar.data.load import load_database
    from castsugar.report.firing_rows import firing_row
    from castsugar.report.firing_words import Asked

    _check_mass(kept, batch)
    test, recording = reduce_firing(path, kept, batch, load_database())
    row = firing_row(test, Asked(file=recording.file))
    found = {}
    for key, value in row.items():
        plain = value.item() if hasattr(value, "item") else value
        if key not in _LEFT_OUT and not (
            isinstance(plain, float) and math.isnan(plain)
        ):
            found[key] = plain
    if test.hardware is not None and math.isfinite(test.hardware.allowable):
        found["case_may_hold_MPa"] = 1e-6 * test.hardware.allowable
    return found


def _check_mass(kept: Mapping[str, Any], batch: Batch) -> None:
    """Refuse more propellant than the batch had in the pan."""
    from castsugar import plausible

    typed = kept.get("propellant_mass")
    if typed is None:
        return  # the stand says what is missing
    name, where = "propellant mass", "--propellant-mass"
    mass = plausible.read(typed, name, where=where).value
    if mass > batch.made.mass:
        raise InputError(
            f"--propellant-mass is {1e3 * mass:.4g} g, and {batch.id} had only "
            f"{1e3 * batch.made.mass:.4g} g in the pan; give what the grains of this "
            "batch weighed, or the batch that they are of"
        )
