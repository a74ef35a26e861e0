"""Where the table stands in a logger's file: header, units row, separator, clock."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise, zip_longest

from castsugar.errors import DataError, InputError
from castsugar.frozen import dataclass
from castsugar.readings.tables import (
    SEPARATORS,
    Heading,
    cells_of,
    identify,
    measures,
    shown,
    unpadded,
)
from castsugar.units import UNITS, parse

#: Lines at the start of a file among which the header is looked for. Our choice.
HEAD = 500

NUMBER = re.compile(r"[+-]?(?:[0-9]+[.,]?[0-9]*|[.,][0-9]+)(?:[eE][+-]?[0-9]+)?")
_DATE = re.compile(
    r"([0-9]{4})[-/.]([0-9]{1,2})[-/.]([0-9]{1,2})"
    r"|([0-9]{1,2})([./-])([0-9]{1,2})\5([0-9]{4}|[0-9]{2})"
)
_CLOCK = re.compile(
    r"(?i)(?:([0-9./-]+)[T ,] ?)?(?:([0-9]{1,2}):)?([0-9]{1,2}):([0-5][0-9])"
    r"(?:[.,]([0-9]+)|:([0-9]{3}))?(?: ?([ap])\.?m\.?)?(?:Z|[+-][0-9]{2}:?[0-9]{2})?"
)

#: Steps of a time without a unit that are probably milliseconds; from the second on
#: microseconds, and below one seconds. Our rule.
_IN_MS, _IN_US = (1.0, 100.0), 1000.0

#: A unit of mass in the title of a force.
_OF_MASS = re.compile(r"(?i)(?<![a-z])(kg|g|lb)s?(?![a-z])")


@dataclass(frozen=True, slots=True, kw_only=True)
class Stated:
    """What a person says of a file beside what stands in it."""

    time_unit: str = ""  # of a time whose title has none; empty if not said
    #: The rows follow each other at this rate, whatever their times say; 0 if not said.
    #: [1/s]
    sampling_rate: float = 0.0
    mass_is_force: bool = False  # a force in kg, g or lb is meant in kgf, gf or lbf


@dataclass(frozen=True, slots=True, kw_only=True)
class Layout:
    """Where a table stands in a file and how it is written."""

    header: int  # index of the header among the lines that it was looked for in
    separator: str  # a key of readings.tables.SEPARATORS
    #: Of the columns, with the units of a row of units behind them.
    titles: tuple[str, ...]
    units: tuple[str, ...] = ()  # the row of units below the header; empty for none
    clock: int = -1  # column of times of day, or of dates and times; -1 for none
    #: Lines in the file of the header, and of the last one above the data.
    line: int = 0
    last: int = 0
    above: tuple[str, ...] = ()  # lines above the header that are no comments
    rows: tuple[str, ...] = ()  # the first lines of data

    @property
    def first(self) -> int:
        """Return the index of the first row of data."""
        return self.header + (2 if self.units else 1)


@dataclass(frozen=True, slots=True, kw_only=True)
class Clock:
    """A time of day as read: `date` as written, or empty; `now` in microseconds.

    `now` counts from midnight, with a date from the year 1; `doubtful` where day and
    month of the date may be exchanged.
    """

    date: str
    now: int
    doubtful: bool = False


def read_clock(cell: str) -> Clock | None:
    """Return a time of day, with or without a date; None for neither.

    14:03:22.125, 2:03:22 PM, 03:22.5, 14:03:22:125; 2026-05-16 or 16.05.2026 before,
    with a blank or a T between. The zone of the time is left out.

    Examples
    --------
    >>> [read_clock(c).now for c in ("00:00:01.5", "01:02,5", "12:00:01 AM")]
    [1500000, 62500000, 1000000]
    >>> read_clock("1.5"), read_clock("05/06/2026 00:00:01").doubtful
    (None, True)
    """
    found = _CLOCK.fullmatch(cell)
    day = _day(found[1] or "") if found else None
    if found is None or day is None:
        return None
    date, hours, minutes, seconds, fraction, millis, half = found.groups()
    if hours is None and (fraction is None or half):
        return None  # 12:05 may be hours and minutes, or minutes and seconds
    if half and not 1 <= int(hours) <= 12:
        return None
    hour = int(hours or 0) % 12 + 12 * (half in "pP") if half else int(hours or 0)
    whole = 3600 * hour + 60 * int(minutes) + int(seconds)
    micros = round(float(f"0.{fraction or millis or 0}") * 1e6)
    return Clock(
        date=date or "",
        now=(86_400 * day[0] + whole) * 1_000_000 + micros,
        doubtful=day[1],
    )


def _day(text: str) -> tuple[int, bool] | None:
    """Return the number of a day, and whether day and month may be exchanged.

    Day.month.year with points; with slashes or dashes whichever is possible.
    """
    if not text:
        return 0, False
    found = _DATE.fullmatch(text)
    if found is None:
        return None
    if found[1]:
        year, month, day = map(int, found.groups()[:3])
        doubtful = False
    else:
        day, month, year = int(found[4]), int(found[6]), int(found[7])
        doubtful = found[5] != "." and max(day, month) <= 12 and day != month
        if found[5] != "." and month > 12:
            day, month = month, day
        year += 2000 if year < 100 else 0
    try:
        return dt.date(year, month, day).toordinal(), doubtful
    except ValueError:
        return None


def find_layout(
    file: str, lines: Sequence[tuple[int, str]], headings: Sequence[Heading]
) -> Layout | None:
    """Find the header among the first lines of a file: the one that names most columns.

    Columns with a unit, of their own or from a row of units below, count more. A header
    may be a comment (#) if no other line is one. Without any it is the line above the
    first row of numbers.

    Parameters
    ----------
    file : str
        For messages.
    lines : sequence of (int, str)
        Number and text of those that hold something.

    Returns
    -------
    Layout or None
        None if all lines are comments.

    Raises
    ------
    DataError
        A unit in a title and another one below it.
    """
    plain = [(n, text) for n, text in lines if not text.lstrip().startswith("#")]
    if not plain:
        return None
    searched = plain
    found = _best([text for _, text in plain], headings)
    if found is None or not _score(found, headings)[0]:
        bare = [(n, text.lstrip(" \t#")) for n, text in lines]
        other = _best([text for _, text in bare], headings)
        if other is not None and _stands_above(bare[other.first - 1][0], plain, other):
            found, searched = other, bare
    where = [f"{file} line {n}" for n, _ in searched]
    found = found or _above_numbers(where, [text for _, text in searched])
    line, last = (searched[i][0] for i in (found.header, found.first - 1))
    return replace(
        found,
        titles=with_units(where[found.header], found.titles, found.units, headings),
        line=line,
        last=last,
        above=tuple(text for n, text in plain if n < line),
        rows=tuple(text for n, text in plain if n > last),
    )


def _best(texts: Sequence[str], headings: Sequence[Heading]) -> Layout | None:
    """Return the layout of the line that names most columns; None for none."""
    best, most = None, (0, 0)
    for index, text in enumerate(texts):
        for separator in _separators(text):
            try:
                found = _below(texts, index, separator, headings)
            except DataError:
                continue
            score = _score(found, headings)
            if score > most:
                best, most = found, score
        if most[0] > 1:
            break
    return best


def _stands_above(last: int, plain: Sequence[tuple[int, str]], found: Layout) -> bool:
    """Return whether a line is the last one above all rows of data."""
    rows = [n for n, text in plain if _is_row(text.split(found.separator)[0].strip())]
    below = [n for n, _ in plain if n > last]
    return bool(rows and below) and rows[0] == below[0]


def _is_row(cell: str) -> bool:
    """Return whether a line that begins with a cell may be one of data."""
    return NUMBER.fullmatch(cell) is not None or read_clock(cell) is not None


def _separators(text: str) -> list[str]:
    return [s for s in SEPARATORS if s in text and s != " "] or [" "]


def _above_numbers(places: Sequence[str], texts: Sequence[str]) -> Layout:
    """Return the layout with the line above the first row of numbers as header."""
    index = 0
    for below, text in enumerate(texts):
        cells = text.split(_separators(text)[0])
        if len(cells) > 1 and all(NUMBER.fullmatch(cell.strip()) for cell in cells):
            index = max(below - 1, 0)
            break
    separator = _separators(texts[index])[0]
    titles = _titles(places[index], texts[index], separator)
    return Layout(header=index, separator=separator, titles=titles)


def _titles(where: str, text: str, separator: str) -> tuple[str, ...]:
    cells = cells_of(where, text, separator)
    if separator == " ":  # a unit in brackets belongs to the name before it
        apart = re.split(r" {2,}", text.strip())
        cells = apart if len(apart) > 1 else re.split(r"\s+(?![(\[])", text.strip())
    return unpadded(cells)


def _below(
    texts: Sequence[str], index: int, separator: str, headings: Sequence[Heading]
) -> Layout:
    """Return the layout with a line as header, from the two lines below it."""
    titles = _titles("", texts[index], separator)
    found = Layout(header=index, separator=separator, titles=titles)
    if not any(identify(title, headings) for title in titles):
        return found
    row = _titles("", texts[index + 1], separator) if index + 1 < len(texts) else ()
    found = replace(found, units=units_row(titles, row))
    data = texts[found.first : found.first + 1]
    cells = cells_of("", data[0], separator) if data else []
    return replace(found, clock=_clock(_known(found, headings), cells))


_Known = tuple[Heading, str] | None


def _known(layout: Layout, headings: Sequence[Heading]) -> list[tuple[_Known, _Known]]:
    """Return heading and unit of each title: as its name says, and if its unit fits."""
    found = []
    for title, unit in zip_longest(layout.titles, layout.units, fillvalue=""):
        own = identify(title, headings, with_unit=True)
        fitting = own or identify(_joined(title, unit), headings, with_unit=True)
        found.append((identify(title, headings), fitting))
    return found


def _clock(known: Sequence[tuple[_Known, _Known]], cells: Sequence[str]) -> int:
    """Return the column of time that holds a clock and no number; -1 for none."""
    if any(fitting and fitting[0].name == "time" for _, fitting in known):
        return -1
    for index, ((meant, _), cell) in enumerate(zip(known, cells, strict=False)):
        if meant and meant[0].name == "time" and read_clock(cell) is not None:
            return index
    return -1


def units_row(titles: Sequence[str], cells: Sequence[str]) -> tuple[str, ...]:
    """Return the units in the row below a header; empty if it is a row of data."""
    units = tuple(re.sub(r"^[(\[](.*)[)\]]$", r"\1", cell) for cell in cells)
    numbers = any(NUMBER.fullmatch(c) or read_clock(c) is not None for c in units)
    known = any(measures(unit, UNITS) for unit in units)
    return units if known and not numbers and len(units) <= len(titles) else ()


def _size(unit: str, quantity: str) -> tuple[str, str] | None:
    """Return unit and what it is counted from; None if it is none of the quantity."""
    try:
        typed = parse(f"1 {unit}", quantity)
    except InputError:
        return None
    return typed.unit, typed.note


def _joined(title: str, unit: str) -> str:
    """Return a title with its unit in brackets; other brackets hold words."""
    name = " ".join(re.split(r"[()\[\] ]+", title)).strip()
    return f"{name} ({unit})"


def _score(layout: Layout, headings: Sequence[Heading]) -> tuple[int, int]:
    """Return how many quantities have a unit, and how many a name."""
    known = _known(layout, headings)
    named = {found[0].name for pair in known for found in pair if found}
    fitting = {found[0].name for _, found in known if found}
    return len(fitting | ({"time"} if layout.clock >= 0 else set())), len(named)


def with_units(
    where: str, titles: Sequence[str], units: Sequence[str], headings: Sequence[Heading]
) -> tuple[str, ...]:
    """Return the titles of a header with the units of the row below.

    Raises
    ------
    DataError
        A unit in a title and another one below it.
    """
    found = []
    for title, unit in zip_longest(titles, units, fillvalue=""):
        own = identify(title, headings, with_unit=True)
        if unit and own is None:
            found.append(_joined(title, unit))
            continue
        if unit and own is not None and own[1]:
            sizes = [_size(u, own[0].quantity) for u in (own[1], unit)]
            if sizes[0] != sizes[1]:
                raise DataError(
                    f"{where}, column {shown(title)}: the row of units below says "
                    f"{shown(unit)}; state one unit, or the same one twice"
                )
        found.append(title)
    return tuple(found)


def titled(
    where: str,
    layout: Layout,
    headings: Sequence[Heading],
    stated: Stated,
) -> list[str]:
    """Return the titles of a layout with the units that a clock and a person say.

    Raises
    ------
    DataError
        A time without a unit; a unit that header and person say differently.
    """
    titles = list(layout.titles)
    if stated.mass_is_force:
        titles = [_as_force(title, headings) for title in titles]
        if tuple(titles) == layout.titles:
            raise DataError(
                f"{where}: no column is a force in kg, g or lb, and "
                "--kilograms-are-force says so; leave that out"
            )
    if layout.clock >= 0:
        titles[layout.clock] = "time (s)"
    known = [identify(title, headings, with_unit=True) for title in titles]
    own = next((found[1] for found in known if found and found[0].name == "time"), "")
    if layout.clock >= 0:
        own = "a clock"
    if own and stated.time_unit not in ("", own):
        raise DataError(
            f"{where}: the header says that the time is {own}, and --time-unit "
            f"{stated.time_unit}; leave that out"
        )
    bare = [i for i, title in enumerate(titles) if _is_bare_time(title, headings)]
    for index in [] if own else bare[:1]:
        place = f"{where}, column {shown(titles[index])}"
        titles[index] = f"time ({stated.time_unit})" if stated.time_unit else ""
        if not (stated.time_unit or stated.sampling_rate):
            steps = _steps(index, layout)
            raise DataError(f"{place}: has no unit{steps}")
    return titles


def _is_bare_time(title: str, headings: Sequence[Heading]) -> bool:
    found = identify(title, headings)
    return found is not None and found[0].name == "time" and not found[1]


def _as_force(title: str, headings: Sequence[Heading]) -> str:
    """Return a title of a force in kg with kgf; any other as it is."""
    found = None
    if identify(title, headings, with_unit=True) is None:
        found = identify(_OF_MASS.sub(r"\1f", title), headings, with_unit=True)
    if found is None or found[0].quantity != "force":
        return title
    return _OF_MASS.sub(r"\1f", title)


def _steps(index: int, layout: Layout) -> str:
    """Return what a time without a unit may be, and how to say it."""
    rows = [text.split(layout.separator) for text in layout.rows]
    cells = [row[index].strip().replace(",", ".") for row in rows if index < len(row)]
    if any(re.fullmatch(r"[0-9]+:[0-9]+", cell) for cell in cells):
        return (
            f"; {shown(cells[0])} may be minutes and seconds or hours and minutes: "
            "write 00:14:03, or a time in s"
        )
    read = [float(cell) for cell in cells if NUMBER.fullmatch(cell)]
    if len(read) < 2:
        return "; write for example 'time (s)' above plain numbers"
    from statistics import median

    step = median(b - a for a, b in pairwise(read))
    unit = "ms" if _IN_MS[0] <= step <= _IN_MS[1] else "us" if step >= _IN_US else ""
    unit = "s" if 0.0 < step < 1.0 else unit
    likely = f"; its steps of {step:.6g} are probably {unit}" if unit else ""
    unit = unit or "s"
    return f"{likely}: write 'time ({unit})' in the header, or say --time-unit {unit}"
