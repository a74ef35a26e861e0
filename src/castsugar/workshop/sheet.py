"""Read a table that a person kept in a spreadsheet: dialect, header, units, cells.

Tolerant where nothing can be misread (byte-order mark, comma, semicolon or tab between
cells, decimal comma where the comma separates nothing, comment and blank lines, units
in round or square brackets or after an underscore), strict where something can. Every
complaint is one line and names file, line, column and cell.
"""

from __future__ import annotations

import csv
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from castsugar.errors import DataError
from castsugar.files.reading import read_text
from castsugar.workshop.header import Column, Heading, listed, match_header, shown

#: Largest table that is read [bytes]: some 10,000 strands.
LARGEST = 1_000_000

_NAMES = {";": "semicolon", "\t": "tab", ",": "comma"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """A table as read: columns by name, rows as text, with their lines in the file.

    Attributes
    ----------
    file : str
    separator : str
    header_line : int
    columns : dict
        Name of the heading -> column, for those present.
    lines : tuple of int
        Line in the file of each row, from 1.
    rows : tuple of tuple of str
        Cells without surrounding space, as many as the header has.
    """

    file: str
    separator: str
    header_line: int
    columns: Mapping[str, Column]
    lines: tuple[int, ...]
    rows: tuple[tuple[str, ...], ...]

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
    text = read_text(path, LARGEST).removeprefix("\ufeff")
    kept = [
        (number, line)
        for number, line in enumerate(text.splitlines(), start=1)
        if line.strip() and not line.lstrip().startswith("#")
    ]
    if not kept:
        raise DataError(
            f"{file} line 1: the file is empty; a header line is needed: "
            f"{listed(headings)}"
        )
    header_line, header = kept[0]
    separator = next((s for s in "\t;" if s in header), ",")
    cells = _split(file, kept, separator)
    titles = list(next(cells)[1])
    while titles and not titles[-1]:
        titles.pop()
    columns = match_header(f"{file} line {header_line}", titles, headings)
    lines, rows = [], []
    for line, row in cells:
        if any(row):
            lines.append(line)
            rows.append(_fitted(f"{file} line {line}", row, len(titles), separator))
    if not rows:
        raise DataError(
            f"{file} line {header_line}: no row of data follows the header; give one "
            "row for each measurement"
        )
    return Sheet(
        file=file,
        separator=separator,
        header_line=header_line,
        columns=columns,
        lines=tuple(lines),
        rows=tuple(rows),
    )


def _split(
    file: str, kept: Sequence[tuple[int, str]], separator: str
) -> Iterator[tuple[int, tuple[str, ...]]]:
    """Yield line number and cells of each line; a quotation must end on its line."""
    reader = csv.reader(
        (line for _, line in kept), delimiter=separator, skipinitialspace=True
    )
    done = 0
    try:
        for cells in reader:
            line = kept[done][0]
            if reader.line_num != done + 1:
                raise DataError(
                    f"{file} line {line}: a quotation mark opens and does not close on "
                    "this line; close it or leave it out"
                )
            done += 1
            yield line, tuple(cell.strip() for cell in cells)
    except csv.Error as error:
        raise DataError(f"{file} line {kept[done][0]}: {error}") from None


def _fitted(
    where: str, row: tuple[str, ...], width: int, separator: str
) -> tuple[str, ...]:
    """Return a row of `width` cells; empty cells beyond the header are dropped."""
    if len(row) > width and not any(row[width:]):
        row = row[:width]
    if len(row) != width:
        hint = ""
        if separator == "," and len(row) > width:
            hint = (
                "; a decimal comma is read only in files separated by semicolon or tab"
            )
        raise DataError(
            f"{where}: {len(row)} cells, but the header has {width} "
            f"(separated by {_NAMES[separator]}){hint}"
        )
    return row
