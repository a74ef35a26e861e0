"""Read a table that a person kept in a spreadsheet: header, units, cells.

Tolerant where nothing can be misread (byte-order mark, comma, semicolon or tab between
cells, decimal comma where the comma separates nothing, comment and blank lines, units
in round or square brackets or after an underscore), strict where something can. Every
complaint is one line and names file, line, column and cell.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path

from castsugar.errors import DataError, InputError
from castsugar.files.reading import opened_text
from castsugar.frozen import dataclass
from castsugar.readings.layout import units_row, with_units
from castsugar.readings.tables import (
    LONGEST_CELL,
    Column,
    Heading,
    cells_of,
    fitted,
    listed,
    match_header,
    says_invented,
    shown,
    unpadded,
)
from castsugar.units import parse

#: Largest table that is read [bytes]: some 10,000 strands.
LARGEST = 1_000_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """A table as read: columns by name, rows as text, with their lines in the file."""

    file: str
    separator: str
    header_line: int
    columns: Mapping[str, Column]  # name of the heading -> column, for those present
    lines: tuple[int, ...]  # line in the file of each row, from 1
    #: Cells without surrounding space, as many as the header has.
    rows: tuple[tuple[str, ...], ...]
    invented: bool = False  # whether its first line says so

    def cells(self, name: str) -> Iterator[tuple[int, str]]:
        """Yield line and text of every cell of a column; nothing if it is absent."""
        column = self.columns.get(name)
        if column is not None:
            for line, row in zip(self.lines, self.rows, strict=True):
                yield line, row[column.index]

    def fail(self, line: int, name: str, cell: str, fault: str) -> DataError:
        """Build the error for a cell."""
        title = self.columns[name].title
        return DataError(
            f"{self.file} line {line}, column {title!r}: {shown(cell)} {fault}"
        )


def read_sheet(path: Path, headings: Sequence[Heading]) -> Sheet:
    """Read a table whose columns are among `headings`, in any order.

    Raises
    ------
    InputError
        A file that cannot be read, is too large or no text.
    DataError
        A file that is empty or has no rows; a missing, unknown or doubled column; an
        unknown unit; a row of another length.
    """
    file = path.name or str(path)
    with opened_text(path, LARGEST) as stream:
        whole = stream.read()
    kept = [
        (number, line)
        for number, line in enumerate(whole.splitlines(), start=1)
        if line.strip() and not line.lstrip().startswith("#")
    ]
    if not kept:
        raise DataError(
            f"{file} line 1: the file is empty; a header line is needed: "
            f"{listed(headings)}"
        )
    header_line = kept[0][0]
    separator = next((s for s in "\t;" if s in kept[0][1]), ",")
    titles, units = (
        unpadded(cells_of(f"{file} line {line}", text, separator))
        for line, text in [*kept, (0, "")][:2]
    )
    units = units_row(titles, units)
    where = f"{file} line {header_line}"
    titles = with_units(where, titles, units, headings)
    columns = match_header(where, titles, headings)
    lines, rows = [], []
    for line, text in kept[2 if units else 1 :]:
        where = f"{file} line {line}"
        cells = cells_of(where, text, separator)
        if any(cells):
            lines.append(line)
            rows.append(tuple(fitted(where, cells, len(titles), separator)))
    if not rows:
        raise DataError(
            f"{file} line {header_line}: no row of data follows the header; give one "
            "row for each measurement"
        )
    return Sheet(
        invented=says_invented(whole),
        file=file,
        separator=separator,
        header_line=header_line,
        columns=columns,
        lines=tuple(lines),
        rows=tuple(rows),
    )


# ----------------------------------------------------------------------------
# Cells of a column as numbers in SI: one unit a column, one decimal mark a file.

_BARE = re.compile(r"[-+0-9., /]*[0-9.,](?:[eE][+-]?[0-9]+)?")
_NUMERIC = re.compile(r"[-+]?[0-9.,]")
_GROUPED = re.compile(r"[-+]?[1-9][0-9]{0,2}(?:,[0-9]{3})+(?![0-9,.])")

_Unit = tuple[str, str]  # canonical unit; "absolute", "gauge + ..." or nothing


def decimal_comma(sheet: Sheet) -> bool:
    """Return whether a comma is the decimal mark of the file's numbers.

    It can be where cells are separated by semicolons or tabs.

    Raises
    ------
    DataError
        Points and commas in one file, or commas that may as well group thousands
        ("1,000") and nothing that decides.
    """
    if sheet.separator == ",":
        return False
    numbers = [
        (line, name, cell)
        for name, column in sheet.columns.items()
        if column.heading.quantity
        for line, cell in sheet.cells(name)
        if _NUMERIC.match(cell)
    ]
    commas = [place for place in numbers if "," in place[2]]
    point = next((place for place in numbers if "." in place[2]), None)
    if commas and point:
        raise sheet.fail(
            *commas[0],
            f"has a comma, but {point[2]!r} in line {point[0]} a point; use one "
            "decimal mark in a file and do not group thousands",
        )
    if commas and all(_GROUPED.match(cell) for _, _, cell in commas):
        raise sheet.fail(
            *commas[0],
            "may have a decimal comma or group thousands; write 1,0000 for one and "
            "1000 for a thousand",
        )
    return bool(commas)


def quantities(
    sheet: Sheet, name: str, words: Mapping[str, float] | None = None
) -> list[float | None]:
    """Return a column in SI; None for an empty cell of an optional column.

    The unit stands in the header, or in every cell, the same one.

    Parameters
    ----------
    name : str
        Name of the heading; an absent column gives None in every row.
    words : mapping, optional
        Words that may stand for a number, lower case, with their SI value.

    Raises
    ------
    DataError
        A cell that is empty, no number, negative, or in another unit.
    """
    if name not in sheet.columns:
        return [None] * len(sheet.rows)
    reader = _Reader(sheet, name, words or {})
    return [reader.read(line, cell) for line, cell in sheet.cells(name)]


class _Reader:
    """Reads the cells of one column, from the first to the last."""

    def __init__(self, sheet: Sheet, name: str, words: Mapping[str, float]) -> None:
        self._sheet, self._name, self._words = sheet, name, words
        self._column = sheet.columns[name]
        self._comma = decimal_comma(sheet)
        self._unit: _Unit | None = None
        if self._column.unit:
            typed = parse(f"1 {self._column.unit}", self._column.heading.quantity)
            self._unit = typed.unit, typed.note

    def read(self, line: int, cell: str) -> float | None:
        if cell.lower() in self._words:
            return self._words[cell.lower()]
        if not cell:
            if self._column.heading.required:
                raise self._fail(line, cell, "is empty; a number is needed")
            return None
        if len(cell) > LONGEST_CELL:
            raise self._fail(line, cell, "is too long for a number")
        text = cell.replace(",", ".") if self._comma else cell
        bare = _BARE.fullmatch(text) is not None
        if bare and not self._column.unit:
            raise self._fail(
                line,
                cell,
                "has no unit; write one in the header, or the same one in every cell",
            )
        return self._value(line, cell, f"{text} {self._column.unit}" if bare else text)

    def _value(self, line: int, cell: str, text: str) -> float:
        try:
            typed = parse(text, self._column.heading.quantity)
        except InputError as error:
            file, title = self._sheet.file, self._column.title
            raise DataError(f"{file} line {line}, column {title!r}: {error}") from None
        unit = typed.unit, typed.note
        if self._unit is None:
            self._unit = unit
        if unit != self._unit:
            where = "header" if self._column.unit else "first cell"
            raise self._fail(
                line,
                cell,
                f"is in {_words(unit)}, but the {where} says {_words(self._unit)}; "
                "use one unit in a column",
            )
        return typed.value

    def _fail(self, line: int, cell: str, fault: str) -> DataError:
        return self._sheet.fail(line, self._name, cell, fault)


def _words(unit: _Unit) -> str:
    name, note = unit
    return f"{name} {note.split(' ', 1)[0]}".rstrip()
