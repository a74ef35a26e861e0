"""Read the long table of a data logger: blocks of lines become columns of numbers."""

from __future__ import annotations

import csv
import itertools
import math
import re
from array import array
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from io import StringIO
from pathlib import Path
from typing import Any, TextIO

import numpy as np
from numpy.typing import NDArray

from castsugar.arrays import FloatArray
from castsugar.errors import DataError
from castsugar.files.reading import opened_text
from castsugar.frozen import dataclass
from castsugar.readings.layout import (
    HEAD,
    Clock,
    Layout,
    Stated,
    find_layout,
    read_clock,
    titled,
)
from castsugar.readings.tables import (
    Column,
    Heading,
    cells_of,
    fitted,
    listed,
    match_header,
    shown,
)

# ----------------------------------------------------------------------------
# The lines of a long text file, some thousand at a time.

#: Bytes read at once: many lines for pandas, little memory.
BLOCK = 1 << 20

#: Longest line [characters].
LONGEST = 8_000


def read_blocks(file: str, stream: TextIO) -> Iterator[tuple[list[int], list[str]]]:
    """Yield lines that hold something, whole ones, with their numbers from 1.

    Raises
    ------
    DataError
        Bytes that are no text, a line that is no row.
    """
    first = 1
    while text := stream.read(BLOCK) + stream.readline(LONGEST + 1):
        numbers, texts = [], []
        for number, line in enumerate(text.split("\n"), start=first):
            _check_line(f"{file} line {number}", line)
            if line and not line.isspace():
                numbers.append(number)
                texts.append(line)
        if texts:
            yield numbers, texts
        first += text.count("\n")


def _check_line(where: str, line: str) -> None:
    """Refuse a line that is no row of a text."""
    if "\0" in line:
        raise DataError(
            f"{where}: a zero byte, which no text holds; cut the damaged lines off, or "
            "save the file as UTF-8"
        )
    if len(line) > LONGEST:
        raise DataError(
            f"{where}: more than {LONGEST:,} characters; no row of a recording is so "
            "long"
        )


# ----------------------------------------------------------------------------
# Read the long table of a data logger: blocks of lines become columns of numbers.
#
# The dialect is that of the other tables (:mod:`castsugar.readings.tables`), the size
# is not: blocks of lines go through pandas, and a block in which anything is unusual
# goes through a slow reader, which takes the same cells and can name line, column and
# cell.

_NUMBER = re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?")
_MARKED = re.compile(r"[+-]?(?:[0-9]+[.,][0-9]*|[.,][0-9]+)(?:[eE][+-]?[0-9]+)?")
_NUMBERLIKE = re.compile(r"[-+.,0-9eE:]*[0-9][-+.,0-9eE:]*")
_DROPOUT = re.compile(r"(?i)(?:[+-]?nan|#?n/?a|#num!|null|none|-{2,3})?")
_NANS = [sign + nan for sign in ("", "+", "-") for nan in ("nan", "NaN", "NAN", "Nan")]
_GROUPED = re.compile(r"[-+]?[1-9][0-9]{0,2}(?:,[0-9]{3})+")

#: What a logger writes where a sensor is beyond its range.
_OVER = re.compile(
    r"(?i)[+-]?(?:ovf|ovfl|ovl|ovr|ol|o\.l\.?|over|overflow|overload|overrange)"
)

#: A time of day that falls by more than this has passed midnight. [us]
_HALF_DAY = 12 * 3_600_000_000


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Samples:
    """Columns of numbers as they stand in a file, in the units of its header."""

    file: str
    header_line: int
    columns: Mapping[str, Column]  # name of the heading -> column, for those present
    #: Name of the heading -> numbers (n,), NaN for a dropout, infinite where the sensor
    #: was beyond its range; a clock in seconds since the first row.
    values: Mapping[str, FloatArray]
    lines: NDArray[np.int32]  # line in the file of each row, from 1, (n,)
    not_read: tuple[str, ...]  # titles of the columns that were left out
    notes: tuple[str, ...] = ()  # what was taken or left out without being asked


def read_samples(path: Path, headings: Sequence[Heading], stated: Stated) -> Samples:
    """Read the columns of numbers that are among `headings`; leave out the others.

    An empty cell, "nan" or "n/a" is a dropout, which a required column must not have.
    Lines above the header and behind the last row are left out and counted.

    Raises
    ------
    InputError
        A file that cannot be read or is too large.
    DataError
        A file that is empty; a fault of the header; a row of another
        length; a cell that is no number; points and commas as decimal marks.
    """
    file = path.name or str(path)
    with opened_text(path) as stream:
        blocks = read_blocks(file, stream)
        samples = _read(file, blocks, headings, stated)
        old = stream.encoding == "cp1252"
    note = ("the text is no UTF-8 and was read as cp1252 (Latin-1)",) if old else ()
    return replace(samples, notes=note + samples.notes)


def _read(
    file: str,
    blocks: Iterator[tuple[list[int], list[str]]],
    headings: Sequence[Heading],
    stated: Stated,
) -> Samples:
    """Find the table in the first lines of a file and read it to the end."""
    head: list[tuple[list[int], list[str]]] = []
    for block in blocks:
        head.append(block)
        if sum(len(texts) for _, texts in head) >= HEAD:
            break
    lines = [line for block in head for line in zip(*block, strict=True)][:HEAD]
    layout = find_layout(file, lines, headings)
    if layout is None:
        raise DataError(
            f"{file} line 1: the file is empty; a header line is needed, for example "
            f"{_example(headings)}"
        )
    table = _Table(file, layout, headings, stated)
    for numbers, texts in itertools.chain(head, blocks):
        table.add(numbers, texts)
    return table.samples()


def _example(headings: Sequence[Heading]) -> str:
    return repr(",".join(heading.example for heading in headings))


def _left_out(count: int, where: str, first: str) -> tuple[str, ...]:
    """Return a note on lines that hold no samples; none for none."""
    lines = "1 line" if count == 1 else f"{count} lines"
    return (f"{lines} {where} left out, the first {first}",) if count else ()


class _Table:
    """Takes the lines of a file block by block, keeps the numbers of its columns."""

    def __init__(
        self,
        file: str,
        layout: Layout,
        headings: Sequence[Heading],
        stated: Stated,
    ) -> None:
        self._file, self._layout = file, layout
        self._separator = layout.separator
        self._titles = layout.titles
        where = f"{file} line {layout.line}"
        if all(_NUMBER.fullmatch(title) for title in self._titles):
            numbers = layout.separator.join(self._titles)
            raise DataError(
                f"{where}: {shown(numbers)} is no header; write a line of titles above "
                f"the numbers, for example {_example(headings)}"
            )
        titles = titled(where, layout, headings, stated)
        columns = match_header(where, titles, headings, extra=True)
        if not set(columns) - {"time"}:
            raise DataError(
                f"{where}: neither pressure nor thrust found; columns are "
                f"{listed(headings)}; write for example 'pressure (psig)' or "
                "'thrust (N)'"
            )
        self._columns = {
            name: replace(column, title=self._titles[column.index])
            for name, column in columns.items()
        }
        self._key = self._columns.get("time") or next(iter(self._columns.values()))
        self._values = {name: array("d") for name in self._columns}
        self._lines = array("i")
        self._mark: tuple[str, int, str] | None = None  # decimal mark, line, cell
        self._footer: list[int] = []
        self._fault: DataError | None = None  # of the first line of the footer
        self._clocks: tuple[Clock, Clock] | None = None  # first and latest
        self._midnight = 0  # added since then [us]
        first = shown(layout.above[0]) if layout.above else ""
        self._notes = _left_out(len(layout.above), "above the header", first)

    def add(self, numbers: list[int], texts: list[str]) -> None:
        """Read the lines of a block, those above the data and comments left out."""
        last = self._layout.last
        data = [
            number > last and text.lstrip()[0] != "#"
            for number, text in zip(numbers, texts, strict=True)
        ]
        if not all(data):
            numbers = list(itertools.compress(numbers, data))
            texts = list(itertools.compress(texts, data))
        if not texts:
            return
        if self._separator != "," and self._mark is None:
            self._find_mark(numbers, texts)
        values = None if self._fault else self._fast(texts)
        if values is None:
            numbers, values = self._slow(numbers, texts)
        self._lines.extend(numbers)
        for name, kept in self._values.items():
            kept.frombytes(values[name].tobytes())

    def samples(self) -> Samples:
        """Return what was read."""
        if self._fault and len(self._footer) > len(self._lines):
            raise self._fault
        first = f"line {self._footer[0]}" if self._footer else ""
        below = _left_out(len(self._footer), "behind the last sample", first)
        taken = {column.index for column in self._columns.values()}
        return Samples(
            file=self._file,
            header_line=self._layout.line,
            columns=self._columns,
            values={name: np.asarray(v) for name, v in self._values.items()},
            lines=np.asarray(self._lines),
            not_read=tuple(
                title or f"column {index + 1}"
                for index, title in enumerate(self._titles)
                if index not in taken
            ),
            notes=self._notes + below,
        )

    def _fast(self, texts: list[str]) -> Mapping[str, FloatArray] | None:
        """Return the numbers of lines in which nothing is unusual, otherwise None."""
        import pandas as pd

        if self._layout.clock >= 0:
            return None
        if self._separator == " ":
            texts = [" ".join(line.split()) for line in texts]
        text = "\n".join(texts)
        counts = {line.count(self._separator) for line in texts}
        beyond = max(counts) + 1 - len(self._titles)
        if len(counts) > 1 or beyond < 0 or '"' in text:
            return None
        tail = self._separator * beyond
        if not all(line.endswith(tail) for line in texts):
            return None
        # Since pandas 3.1 every number is the nearest float and the option is gone.
        old = tuple(map(int, pd.__version__.split(".")[:2])) < (3, 1)
        options: dict[str, Any] = {"float_precision": "round_trip"} if old else {}
        try:
            frame = pd.read_csv(
                StringIO(text),
                sep=self._separator,
                header=None,
                usecols=[column.index for column in self._columns.values()],
                dtype=np.float64,
                decimal=self._mark[0] if self._mark else ".",
                skipinitialspace=True,
                keep_default_na=False,
                na_values=["", *_NANS],
                quoting=csv.QUOTE_NONE,
                engine="c",
                low_memory=False,
                **options,
            )
        except ValueError:
            return None
        values = {n: frame[c.index].to_numpy() for n, c in self._columns.items()}
        whole = all(self._whole(name, column) for name, column in values.items())
        return values if whole and len(frame) == len(texts) else None

    def _whole(self, name: str, values: FloatArray) -> bool:
        """Return whether a column holds numbers, and dropouts only where it may."""
        if self._columns[name].heading.required:
            return bool(np.isfinite(values).all())
        return not np.isinf(values).any()

    def _slow(
        self, numbers: list[int], texts: list[str]
    ) -> tuple[list[int], Mapping[str, FloatArray]]:
        """Return lines and numbers cell by cell; raise for the first fault."""
        kept: list[int] = []
        values: dict[str, list[float]] = {name: [] for name in self._columns}
        for line, text in zip(numbers, texts, strict=True):
            cells = self._cells(line, text)
            if not any(cells):
                continue
            if not self._is_timed(cells):
                self._hold(line, cells)
                continue
            if self._fault is not None:
                two = "; if a second recording follows, cut the file there"
                before = kept or len(self._lines)
                raise DataError(f"{self._fault}{two if before else ''}")
            kept.append(line)
            for name, number in self._numbers(line, cells).items():
                values[name].append(number)
        return kept, {name: np.array(column) for name, column in values.items()}

    def _is_timed(self, cells: list[str]) -> bool:
        """Return whether a row has something like a number in the column of times."""
        cell = cells[self._key.index] if self._key.index < len(cells) else ""
        clock = self._layout.clock >= 0 and read_clock(cell) is not None
        return clock or _NUMBERLIKE.fullmatch(cell) is not None

    def _hold(self, line: int, cells: list[str]) -> None:
        """Keep a line that is a footer if no sample follows, and a fault otherwise."""
        self._footer.append(line)
        if self._fault is None:
            try:
                self._numbers(line, cells)
            except DataError as error:
                self._fault = error

    def _numbers(self, line: int, cells: list[str]) -> dict[str, float]:
        """Return the numbers of a row by column."""
        cells = self._fitted(line, cells)
        return {
            name: self._number(line, column, cells[column.index])
            for name, column in self._columns.items()
        }

    def _fitted(self, line: int, cells: list[str]) -> list[str]:
        where = f"{self._file} line {line}"
        return fitted(where, cells, len(self._titles), self._separator)

    def _cells(self, line: int, text: str) -> list[str]:
        return cells_of(f"{self._file} line {line}", text, self._separator)

    def _find_mark(self, numbers: list[int], texts: list[str]) -> None:
        """Find the decimal mark: the first that cannot be taken for another thing."""
        doubtful: DataError | None = None
        for line, text in zip(numbers, texts, strict=True):
            cells = self._cells(line, text) if "." in text or "," in text else []
            if not cells or not self._is_timed(cells):
                continue
            cells = self._fitted(line, cells)
            for column in self._columns.values():
                cell = cells[column.index]
                if _GROUPED.fullmatch(cell):
                    doubtful = doubtful or self._fail(
                        line,
                        column,
                        cell,
                        "may have a decimal comma or group thousands; write 1,0000 for "
                        "one and 1000 for a thousand",
                    )
                elif _MARKED.fullmatch(cell):
                    self._mark = "," if "," in cell else ".", line, cell
                    return
        if doubtful is not None:
            raise doubtful

    def _number(self, line: int, column: Column, cell: str) -> float:
        """Return the number in a cell, NaN for a dropout."""
        if _DROPOUT.fullmatch(cell) and not column.heading.required:
            return math.nan
        if _OVER.fullmatch(cell) and not column.heading.required:
            return math.inf
        if column is self._key and self._layout.clock >= 0:
            return self._time_of_day(line, cell)
        if not cell:
            raise self._fail(line, column, cell, "is empty; a number is needed")
        mark = self._mark[0] if self._mark else "."
        if self._mark and ("," if mark == "." else ".") in cell:
            raise self._fail(
                line,
                column,
                cell,
                f"has another decimal mark than {self._mark[2]!r} in line "
                f"{self._mark[1]}; use one in a file and do not group thousands",
            )
        text = cell.replace(mark, ".")
        value = float(text) if _NUMBER.fullmatch(text) else math.inf
        if not math.isfinite(value):
            fault = "is no number"
            if self._separator == "," and "," in cell:
                fault += "; a decimal comma is read only between semicolons or tabs"
            raise self._fail(line, column, cell, fault)
        return value

    def _time_of_day(self, line: int, cell: str) -> float:
        """Return the seconds since the first row, over one midnight at most."""
        clock = read_clock(cell)
        if clock is None:
            fault = "is no clock like 14:03:22.125 or 2026-05-16T14:03:22.125"
            raise self._fail(line, self._key, cell, fault)
        first, latest = self._clocks or (clock, clock)
        if clock.date != first.date and (clock.doubtful or first.doubtful):
            fault = (
                f"may be day/month or month/day, and the first row says {first.date}; "
                "write dates as 2026-05-16 (year-month-day)"
            )
            raise self._fail(line, self._key, cell, fault)
        if clock.now < latest.now - _HALF_DAY and not self._midnight:
            self._midnight = 2 * _HALF_DAY
        self._clocks = first, clock
        return (clock.now + self._midnight - first.now) / 1e6

    def _fail(self, line: int, column: Column, cell: str, fault: str) -> DataError:
        return DataError(
            f"{self._file} line {line}, column {column.title!r}: {shown(cell)} {fault}"
        )
