"""Recordings of static tests: what a data logger wrote, read as it stands."""

from __future__ import annotations

from dataclasses import replace
from os import PathLike
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from castsugar.arrays import FloatArray
from castsugar.errors import DataError, unknown_name
from castsugar.frozen import dataclass
from castsugar.readings.layout import Stated
from castsugar.readings.samples import Samples, read_samples
from castsugar.readings.tables import TRANSLATED, Column, Heading
from castsugar.units import UNITS, parse

#: Columns of a recording; others are left out. Units stand in the header.
TRACE_COLUMNS = (
    Heading(
        name="time",
        others=("t", "elapsed", "elapsed time", "time stamp", "timestamp")
        + ("clock", "time of day", "date time", "datetime", "epoch", "unix time")
        + TRANSLATED["time"]
        + TRANSLATED["clock"],
        quantity="time",
        example="time (s)",
        otherwise=", or time the rows by count: --sampling-rate '100 /s'",
    ),
    Heading(
        name="pressure",
        others=("chamber pressure", "p", "pc")
        + TRANSLATED["pressure"]
        + TRANSLATED["chamber pressure"],
        sensors=2,
        quantity="pressure",
        required=False,
        other_quantity="voltage",
        example="pressure (psig)",
    ),
    Heading(
        name="thrust",
        others=("force", "load", "load cell", "f")
        + TRANSLATED["thrust"]
        + TRANSLATED["force"],
        sensors=1,
        quantity="force",
        required=False,
        other_quantity="voltage",
        example="thrust (N)",
    ),
)

#: A first time between these, the years 2001 and 2096, counts from 1970. [s] Our rule.
_EPOCH = 1e9, 4e9

#: What a sensor did not read belongs to the burning where a reading beside it stands
#: off from those at rest by this share of the highest. Our rule.
_BURNING = 0.2

#: Samples in a row that may be missing from the burning. A lone dropout of a radio or
#: a card is common: a straight line over it is told and counts in the doubt. What a
#: sensor did over a longer time is not known. Our rule.
_MISSING = 2

#: Times of a file and a stated sampling rate may differ by this share. Our rule.
_RATES_AGREE = 0.02

#: Share of equal stamps that are too coarse rather than rows repeated. Our rule.
_COARSE = 0.1

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
    second_pressure : (n,) array or None
        What a second sensor reads, of the same kind: for
        :func:`castsugar.firing.mean_of_two`. [Pa] or [V]
    pressure_titles : tuple of str
        As in the header.
    not_read : tuple of str
        Titles of the columns that were left out.
    notes : tuple of str
        What was taken or left out without being asked.
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
    second_pressure: FloatArray | None = None
    pressure_titles: tuple[str, ...] = ()
    not_read: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    lines: NDArray[np.int32] | None = None

    def line(self, index: int) -> int:
        """Return the line in the file of sample `index`, which counts from 0."""
        return index + 2 if self.lines is None else int(self.lines[index])


def read_trace(
    path: str | PathLike[str],
    *,
    time_unit: str = "",
    sampling_rate: float = 0.0,
    mass_is_force: bool = False,
) -> Recording:
    r"""Read the recording of a static test from the CSV file of a data logger.

    One header line, one row a sample: time, and pressure or thrust or both, in any
    order; units stand in the header ("time (s)", "pressure (psig)", "thrust_N") or in a
    row below it. Names may be German, French or Spanish, with words that name the
    sensor ("pressure left (bar)"); two pressures are kept. Pressure and thrust may be a
    sensor's volts. Other columns are left out. The time may be a clock (14:03:22.125,
    or with a date, ISO 8601), which is counted from the first row, as is an epoch.
    Cells are separated by commas, semicolons, tabs or blanks; a decimal comma is read
    in the last three. The text is UTF-8, UTF-16 or cp1252. Text above the header and
    behind the last row, lines that start with # and blank lines are skipped. An empty
    cell or "nan" in pressure or thrust is a dropout, and so is "OVF" or "overload"
    outside the burning; more than two dropouts in a row within it are refused. The
    order of the times is left to :func:`check_order`.

    Parameters
    ----------
    path : path
    time_unit : str
        Of a time whose title has none: s, ms, us, min or h.
    sampling_rate : float
        Rows follow each other at this rate and are timed by count; 0 takes the times
        of the file. [1/s]
    mass_is_force : bool
        A thrust in kg, g or lb is one in kgf, gf or lbf.

    Returns
    -------
    Recording
        As the file has it: nothing sorted, filtered or corrected.

    Raises
    ------
    UnknownNameError
        For a `time_unit` that is not known.
    InputError
        If the file cannot be read, is no regular one or larger than 100 MB.
    DataError
        Names file, line, column, cell and what is allowed.

    Examples
    --------
    >>> import tempfile
    >>> from pathlib import Path
    >>> rows = [f"{0.01 * i:.2f},{2.0 * (30 < i < 70)}" for i in range(100)]
    >>> text = "\n".join(["time (s),pressure (MPa gauge)", *rows])
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     file = Path(folder) / "shot.csv"
    ...     _ = file.write_text(text)
    ...     found = read_trace(file)
    >>> found.pressure_kind, float(found.pressure.max())
    ('gauge', 2000000.0)
    """
    if time_unit and time_unit not in UNITS["time"]:
        raise unknown_name("unit of time", time_unit, UNITS["time"])
    stated = Stated(
        time_unit=time_unit, sampling_rate=sampling_rate, mass_is_force=mass_is_force
    )
    samples = read_samples(Path(path), _headings(sampling_rate), stated)
    file, columns = samples.file, samples.columns
    count = len(samples.lines)
    if count < FEWEST_ROWS:
        raise DataError(
            f"{file}: {count} rows of data follow the header in line "
            f"{samples.header_line}; a recording needs at least {FEWEST_ROWS}"
        )
    pressure, thrust = columns.get("pressure"), columns.get("thrust")
    time, notes = _times(samples, sampling_rate)
    if mass_is_force and thrust:
        notes += (f"{thrust.title!r} taken as {_unit(thrust)}",)
    return Recording(
        file=file,
        time=time,
        pressure=_values(samples, "pressure") if pressure else None,
        pressure_kind=_pressure_kind(pressure) if pressure else "",
        pressure_unit=_unit(pressure) if pressure else "",
        thrust=_values(samples, "thrust") if thrust else None,
        thrust_kind=_KINDS[thrust.quantity] if thrust else "",
        thrust_unit=_unit(thrust) if thrust else "",
        second_pressure=_second(samples),
        pressure_titles=tuple(
            c.title for c in columns.values() if c.heading.name == "pressure"
        ),
        not_read=samples.not_read,
        notes=samples.notes + notes,
        lines=samples.lines,
    )


def _headings(sampling_rate: float) -> tuple[Heading, ...]:
    """Return the columns of a recording; no time is needed where a rate is stated."""
    time, *others = TRACE_COLUMNS
    return replace(time, required=not sampling_rate), *others


def _times(samples: Samples, rate: float) -> tuple[FloatArray, tuple[str, ...]]:
    """Return the times, by count where a rate is stated, and what to note. [s]"""
    if not rate:
        time = _values(samples, "time")
        if _EPOCH[0] < time[0] < _EPOCH[1]:
            time -= time[0]
        return time, ()
    counted = np.arange(len(samples.lines)) / rate
    note = f"rows timed by count at {rate:.6g} /s"
    column = samples.columns.get("time")
    if column is None:
        return counted, (note,)
    read = _values(samples, "time")
    told = float(read[-1] - read[0])
    steps = np.diff(read)
    coarse = float(np.median(steps[steps > 0.0])) if (steps > 0.0).any() else 0.0
    if abs(told - counted[-1]) > _RATES_AGREE * counted[-1] + 2.0 * coarse:
        raise DataError(
            f"{samples.file}: at {rate:.6g} /s its {len(counted)} rows last "
            f"{counted[-1]:.4g} s, but column {column.title!r} says {told:.4g} s; the "
            "sampling rate is another one, or rows are missing"
        )
    return counted, (f"{note}, which column {column.title!r} agrees with",)


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


def _values(samples: Samples, name: str) -> FloatArray:
    """Return a column in SI; turned in place, a long column is held once."""
    values, column = samples.values[name], samples.columns[name]
    if column.heading.name != "time":
        _check_missing(samples, column, values)
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


def _check_missing(samples: Samples, column: Column, values: FloatArray) -> None:
    """Refuse what a sensor did not read of the burning, beyond lone dropouts.

    Readings beyond its range become dropouts.
    """
    finite = np.isfinite(values)
    if finite.all():
        return
    over, known = np.isinf(values), np.flatnonzero(finite)
    values[over] = np.nan
    # Gap number i lies before reading number i; the last one behind all readings.
    before, after = np.r_[-1, known], np.r_[known, len(values)]
    spacing, beyond = after - before, np.r_[0, np.cumsum(over)]
    overloads = beyond[after] - beyond[before + 1]
    burning = np.ones(len(after), dtype=bool)
    if known.size > 1:
        off = np.abs(values[known] - np.median(values[known[:5]]))
        high = off > _BURNING * off.max()
        burning = np.r_[False, high] | np.r_[high, False]
    missing = (spacing > _MISSING + 1) | (overloads > 0)
    places = np.flatnonzero(burning & missing)
    if not places.size:
        return
    first = places[0]
    fault = f"{spacing[first] - 1} samples in a row are missing from the burning"
    if overloads[first]:
        fault = "the sensor was beyond its range during the burning (OVF, OL, overload)"
    raise DataError(
        f"{samples.file} line {samples.lines[before[first] + 1]}, column "
        f"{column.title!r}: {fault}; what it did not read is not known: leave the "
        "column out (call it 'not used') and use a sensor that reads throughout"
    )


def _second(samples: Samples) -> FloatArray | None:
    """Return what a second pressure sensor reads, if it is of the kind of the first."""
    second = samples.columns.get("pressure 2")
    if second is None:
        return None
    first = samples.columns["pressure"]
    kinds = _pressure_kind(first), _pressure_kind(second)
    if kinds[0] != kinds[1] or "volts" in kinds:
        raise DataError(
            f"{samples.file} line {samples.header_line}, columns {first.title!r} and "
            f"{second.title!r}: two pressures, {kinds[0]} and {kinds[1]}; give both in "
            "units of pressure of one kind (gauge or absolute), or rename one that is "
            "not meant"
        )
    return _values(samples, "pressure 2")


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
    raise DataError(
        f"{where}: same time {after:.12g} s as line {recording.line(first)} "
        f"{_of_equal_times(recording, places, more)}"
    )


def _of_equal_times(recording: Recording, places: NDArray[np.intp], more: str) -> str:
    """Return what rows of the same time have in common, and what to do."""
    values = [v for v in (recording.pressure, recording.thrust) if v is not None]
    pairs = [(v[places], v[places + 1]) for v in values]
    if all(np.array_equal(a, b, equal_nan=True) for a, b in pairs):
        return f"(the whole row is repeated){more}; delete the repeated rows"
    steps = np.diff(recording.time)
    if places.size > max(2, _COARSE * len(steps)) and (steps > 0.0).any():
        lasting, step = np.ptp(recording.time), steps[steps > 0.0].min()
        low = len(steps) / (lasting + step)
        high = len(steps) / max(lasting - step, 0.5 * step)
        return (
            f"(the times are too coarse){more}; give more digits, or the rate that the "
            f"logger was set to (from {low:.0f} to {high:.0f} /s by these times): "
            "--sampling-rate RATE"
        )
    do = "give times with more digits, or keep one row of each time"
    return f"(with other values){more}; {do}"
