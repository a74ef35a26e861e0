"""Read a CSV file strictly: every complaint names file, line, column and value."""

from __future__ import annotations

import csv
import math
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from castsugar.errors import DataError, nearest_names


@dataclass(frozen=True, slots=True)
class Row:
    """One line of a CSV file, with the place it was read from."""

    file: str
    line: int
    cells: dict[str, str]

    def fail(self, column: str, allowed: str) -> DataError:
        """Build the error for a cell: what was got and what is allowed."""
        return DataError(
            f"{self.file} line {self.line}, column {column}: "
            f"{self.cells.get(column, '')!r} {allowed}"
        )

    def text(self, column: str, allowed: tuple[str, ...] | None = None) -> str:
        """Return a cell as text, which may be empty unless `allowed` is given."""
        value = self.cells[column]
        if allowed is not None and value not in allowed:
            raise self.fail(column, f"is not one of {', '.join(allowed)}")
        return value

    def required(self, column: str) -> str:
        """Return a cell that must not be empty."""
        if not self.cells[column]:
            raise self.fail(column, "is empty; a value is needed")
        return self.cells[column]

    def number(
        self, column: str, low: float = -math.inf, high: float = math.inf
    ) -> float:
        """Return a cell as a number inside [low, high]."""
        try:
            value = float(self.required(column))
        except ValueError:
            raise self.fail(
                column, "is not a number (decimal point, no unit)"
            ) from None
        if not math.isfinite(value):
            raise self.fail(column, "is not a finite number")
        if not low <= value <= high:
            raise self.fail(column, f"is outside the allowed {low:g} to {high:g}")
        return value

    def optional(self, column: str, low: float = -math.inf) -> float:
        """Return a cell as a number, or NaN if it is empty."""
        return self.number(column, low) if self.cells[column] else math.nan

    def names(self, column: str) -> tuple[str, ...]:
        """Return a cell that lists names separated by ``|``."""
        return tuple(part.strip() for part in self.cells[column].split("|") if part)


def read_text(path: Path) -> str:
    """Read a text file; a missing or wrongly encoded one is named."""
    try:
        return path.read_text("utf-8-sig")
    except OSError as error:
        raise DataError(f"{path.name}: cannot be read ({error.strerror})") from None
    except UnicodeDecodeError as error:
        raise DataError(
            f"{path.name}: byte {error.start} is not UTF-8; save the file as UTF-8"
        ) from None


def read_rows(path: Path, columns: tuple[str, ...]) -> Iterator[Row]:
    """Read a data file whose header must be exactly `columns`.

    Raises
    ------
    DataError
        For a missing file, a wrong header or a line with too few or too many cells.
    """
    reader = csv.reader(read_text(path).splitlines())
    header = tuple(next(reader, ()))
    _check_header(path.name, header, columns)
    for cells in reader:
        if len(cells) != len(columns):
            raise DataError(
                f"{path.name} line {reader.line_num}: {len(cells)} cells, but the "
                f"header has {len(columns)}"
            )
        stripped = [cell.strip() for cell in cells]
        yield Row(path.name, reader.line_num, dict(zip(columns, stripped, strict=True)))


def _check_header(name: str, header: tuple[str, ...], columns: tuple[str, ...]) -> None:
    """Compare a header with the columns that the file must have."""
    for column in columns:
        if column not in header:
            near = nearest_names(column, header, 1)
            got = f"; {near[0]!r} looks like it" if near else ""
            raise DataError(f"{name} line 1: column {column!r} is missing{got}")
    if header != columns:
        extra = [c for c in header if c not in columns]
        raise DataError(
            f"{name} line 1: columns must be {','.join(columns)}"
            + (f"; not known: {', '.join(extra)}" if extra else " in this order")
        )
