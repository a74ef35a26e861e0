"""Recordings of static tests: what a data logger wrote, read as it stands."""

from __future__ import annotations

from dataclasses import dataclass
from os import PathLike
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from castsugar.arrays import FloatArray
from castsugar.errors import DataError
from castsugar.readings.samples import Samples, read_samples
from castsugar.readings.tables import Column, Heading, listed
from castsugar.units import UNITS, parse

#: Columns of a recording; others are left out. Units stand in the header.
TRACE_COLUMNS = (
    Heading(
        name="time",
        others=("t", "elapsed", "elapsed time", "time stamp", "timestamp"),
        quantity="time",
        example="time (s)",
    ),
    Heading(
        name="pressure",
        others=("chamber pressure", "p", "pc"),
        quantity="pressure",
        required=False,
        other_quantity="voltage",
        example="pressure (psig)",
    ),
    Heading(
        name="thrust",
        others=("force", "load", "load cell", "f"),
        quantity="force",
        required=False,
        other_quantity="voltage",
        example="thrust (N)",
    ),
)

#: Fewest rows of data that make a recording (a choice of this program).
FEWEST_ROWS = 20


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Recording:
    """A recording of a static test as read: nothing sorted, filtered or corrected.

    Attributes
    ----------
    file : str
    time : (n,) array
        In the order of the file, which may go back (:func:`check_order`). [s]
    pressure, thrust : (n,) array or None
        What the sensor reads, NaN where it dropped out: [Pa], [N], or [V] where the
        kind is "volts". A gauge reading stays one: no atmosphere is added.
    pressure_kind : str
        "absolute", "gauge", "unstated" (a bare unit: psi, bar), "volts", or "" for
        no pressure.
    thrust_kind : str
        "force", "volts", or "" for no thrust.
    pressure_unit, thrust_unit : str
        As a key of :data:`castsugar.units.UNITS`, for example "psi", "mV"; or "".
    not_read : tuple of str
        Titles of the columns that were left out.
    lines : (n,) array or None
        Line in the file of each sample, from 1; None if line 1 is the header and
        nothing stands between the rows.
    """

    file: str
    time: FloatArray
    pressure: FloatArray | None = None
    pressure_kind: str = ""
    pressure_unit: str = ""
    thrust: FloatArray | None = None
    thrust_kind: str = ""
    thrust_unit: str = ""
    not_read: tuple[str, ...] = ()
    lines: NDArray[np.int32] | None = None

    def line(self, index: int) -> int:
        """Return the line in the file of sample `index`, which counts from 0."""
        return index + 2 if self.lines is None else int(self.lines[index])


def read_trace(path: str | PathLike[str]) -> Recording:
    """Read the recording of a static test from the CSV file of a data logger.

    One header line, one row a sample: time, and pressure or thrust or both, in any
    order; units stand in the header ("time (s)", "pressure (psig)", "thrust_N").
    Pressure and thrust may be a sensor's volts. Other columns are left out. Cells are
    separated by commas, semicolons or tabs; a decimal comma is read in the last two.
    Lines that start with # and blank lines are skipped. An empty cell or "nan" in
    pressure or thrust is a dropout. The order of the times is left to
    :func:`check_order`.

    Raises
    ------
    InputError
        If the file cannot be read, is no regular one or larger than 100 MB.
    DataError
        Names file, line, column, cell and what is allowed.
    """
    samples = read_samples(Path(path), TRACE_COLUMNS)
    file, columns = samples.file, samples.columns
    if len(columns) < 2:
        raise DataError(
            f"{file} line {samples.header_line}: neither pressure nor thrust found; "
            f"columns are {listed(TRACE_COLUMNS)}; write for example 'pressure (psig)' "
            "or 'thrust (N)'"
        )
    count = len(samples.lines)
    if count < FEWEST_ROWS:
        raise DataError(
            f"{file}: {count} rows of data follow the header in line "
            f"{samples.header_line}; a recording needs at least {FEWEST_ROWS}"
        )
    pressure, thrust = columns.get("pressure"), columns.get("thrust")
    return Recording(
        file=file,
        time=_values(samples, columns["time"]),
        pressure=_values(samples, pressure) if pressure else None,
        pressure_kind=_pressure_kind(pressure) if pressure else "",
        pressure_unit=_unit(pressure) if pressure else "",
        thrust=_values(samples, thrust) if thrust else None,
        thrust_kind=_KINDS[thrust.quantity] if thrust else "",
        thrust_unit=_unit(thrust) if thrust else "",
        not_read=samples.not_read,
        lines=samples.lines,
    )


_KINDS = {"force": "force", "voltage": "volts"}


def _unit(column: Column) -> str:
    """Return the unit of a column as a key of `UNITS`, without "gauge" and the like."""
    return parse(f"1 {column.unit}", column.quantity).unit


def _pressure_kind(column: Column) -> str:
    """Return what the pressure is counted from, if its unit says so."""
    if column.quantity == "voltage":
        return "volts"
    if parse(f"1 {column.unit}", "pressure").note.startswith("gauge"):
        return "gauge"
    bare = column.unit.casefold() == _unit(column).casefold()
    return "unstated" if bare else "absolute"


def _values(samples: Samples, column: Column) -> FloatArray:
    """Return a column in SI; turned in place, a long column is held once."""
    values = samples.values[column.heading.name]
    scale = UNITS[column.quantity][_unit(column)].scale
    with np.errstate(over="ignore"):
        if scale.numerator == 1:
            values /= scale.denominator
        else:
            values *= float(scale)
    endless = np.flatnonzero(np.isinf(values))
    if endless.size:
        line = samples.lines[endless[0]]
        raise DataError(
            f"{samples.file} line {line}, column {column.title!r}: "
            "the number is too large for any sensor; correct the row or delete it"
        )
    return values


def check_order(recording: Recording) -> None:
    """Refuse a recording whose times do not rise from row to row.

    Raises
    ------
    DataError
        Names the first line where time goes back or stands still.
    """
    time = recording.time
    places = np.flatnonzero(np.diff(time) <= 0.0)
    if not places.size:
        return
    first = int(places[0])
    more = f", the first of {places.size} such places" if places.size > 1 else ""
    where = f"{recording.file} line {recording.line(first + 1)}"
    before, after = float(time[first]), float(time[first + 1])
    if after < before:
        digits = ".12g" if f"{before:.12g}" != f"{after:.12g}" else ".17g"
        raise DataError(
            f"{where}: time goes back from {before:{digits}} s to {after:{digits}} s"
            f"{more}; if the clock was set back or the file holds two recordings, cut "
            "it there and keep one part"
        )
    values = [v for v in (recording.pressure, recording.thrust) if v is not None]
    fault = "with other values"
    do = "give times with more digits, or keep one row of each time"
    if all(np.array_equal(v[first], v[first + 1], equal_nan=True) for v in values):
        fault, do = "the whole row is repeated", "delete the repeated rows"
    raise DataError(
        f"{where}: same time {after:.12g} s as line {recording.line(first)} "
        f"({fault}){more}; {do}"
    )
