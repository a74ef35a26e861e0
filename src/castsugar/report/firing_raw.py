"""A recording as a picture, just as it was read: for one that was refused."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from castsugar.arrays import FloatArray
from castsugar.report.svg.line import line_chart
from castsugar.report.svg.series import LineChart, Panel, Series, thinned

Course = tuple[str, str, FloatArray]

#: Width of what was recorded [px].
THIN = 1.6

#: Readings beyond are no readings.
ABSURD = 1e12

#: Clocks that start beyond count from their first sample. [s]
_LATE = 1e4


def raw_chart(file: str, time: FloatArray, courses: Sequence[Course]) -> str:
    """Return the picture of a recording just as it was read, as SVG text.

    Parameters
    ----------
    file : str
    time : ndarray, shape (n,)
        As read; where it does not rise throughout, samples are counted instead. [s]
    courses : sequence of (label, unit, ndarray of shape (n,))
        NaN leaves a gap.

    Raises
    ------
    InputError
        No sample, no course, a course of another length.
    """
    t = np.asarray(time, dtype=float)
    notes = ["Nothing was reduced: readings as they stand in the file."]
    origin = 0.0
    label, unit = "sample, counted from 1", ""
    if np.isfinite(t).all() and (np.diff(t) > 0.0).all() and t.size:
        origin, label = clock(t)
        unit = "s"
    else:
        falls = int(np.count_nonzero(~(np.diff(t) > 0.0)))
        where = "at 1 place" if falls == 1 else f"at {falls} places"
        notes.append(f"The times do not rise {where}, so samples are counted instead.")
        t = np.arange(1.0, t.size + 1.0)
    values = []
    for name, _, course in courses:
        found = np.asarray(course, dtype=float)
        known = np.isfinite(found) & (np.abs(np.nan_to_num(found)) < ABSURD)
        missing = int(found.size - known.sum())
        if missing:
            notes.append(f"{name}: {missing} missing or absurd readings left out.")
        values.append(np.where(known, found, np.nan))
    x, drawn = thinned(t - origin, values)
    panels = [
        Panel(name, words, (Series("as read", line, width=THIN),))
        for (name, words, _), line in zip(courses, drawn, strict=True)
    ]
    return line_chart(
        LineChart(
            title=f"As read: {file}",
            x_label=label,
            x_unit=unit,
            x=x,
            panels=tuple(panels),
            notes=tuple(notes),
        )
    )


def clock(time: FloatArray) -> tuple[float, str]:
    """Return where the clock of the picture starts [s], and its name."""
    if abs(float(time[0])) < _LATE:
        return 0.0, "time"
    return float(time[0]), "time from the first sample"
