"""Read a data file strictly: headers with units, every complaint names its place."""

from __future__ import annotations

import csv
import math
from collections.abc import Container, Iterator, Mapping
from pathlib import Path

from castsugar.constants import ELEMENTS
from castsugar.data.records import Composition
from castsugar.errors import DataError, nearest_names
from castsugar.frozen import dataclass

# ----------------------------------------------------------------------------
# Read a CSV file strictly: every complaint names file, line, column and value.


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


# ----------------------------------------------------------------------------
# The header of each data file; units are part of the name.

SOURCES = ("key", "kind", "citation", "doi_or_url", "licence", "retrieved", "note")
INGREDIENTS = (
    "name",
    "aliases",
    "formula",
    "role",
    "fuel_kind",
    "enthalpy_of_formation_kJ_mol",
    "enthalpy_uncertainty_kJ_mol",
    "enthalpy_status",
    "enthalpy_source",
    "density_kg_m3",
    "density_status",
    "density_source",
    "note",
)
ALTERNATIVES = (
    "ingredient",
    "alternative",
    "enthalpy_of_formation_kJ_mol",
    "enthalpy_uncertainty_kJ_mol",
    "status",
    "source",
    "note",
)
SYRUPS = (
    "name",
    "aliases",
    "dextrose_equivalent",
    "dry_solids_fraction",
    "dry_solids_uncertainty",
    "fructose_fraction",
    "dp1_fraction",
    "dp2_fraction",
    "dp3_fraction",
    "dp4plus_fraction",
    "dp4plus_chain_length",
    "ash_fraction",
    "solids_specific_volume_cm3_g",
    "viscosity_dextrose_equivalent",
    "acid_series",
    "status",
    "source",
    "note",
)
PREMIXES = (
    "premix",
    "aliases",
    "component",
    "mass_fraction",
    "status",
    "source",
    "note",
)
CAUTIONS = (
    "key",
    "topic",
    "quantity",
    "operator",
    "limit",
    "unit",
    "level",
    "short",
    "text",
    "source",
    "status",
)
BURN_LAWS = (
    "name",
    "mix",
    "fuel",
    "oxidizer_percent",
    "band_low_MPa",
    "band_high_MPa",
    "rate_at_1MPa_mm_s",
    "exponent",
    "status",
    "source",
    "note",
)


# ----------------------------------------------------------------------------
# Checks on data rows that concern more than one cell.


def source(row: Row, column: str, sources: Mapping[str, object]) -> str:
    """Return the source key in a cell; it must be a row of ``sources.csv``."""
    key = row.required(column)
    if key not in sources:
        near = nearest_names(key, sources, 1)
        hint = f"; did you mean {near[0]!r}?" if near else ""
        raise row.fail(column, f"is not a key in sources.csv{hint}")
    return key


def unique(taken: Container[str], name: str, owner: str, row: Row) -> None:
    """Refuse a name that is already taken."""
    if name in taken:
        place = f"{row.file} line {row.line}"
        raise DataError(f"{place}: the name {name!r} (of {owner!r}) is used twice")


def sums_to_one(row: Row, column: str, total: float) -> None:
    """Check that fractions sum to 1 within 1e-6."""
    if abs(total - 1.0) > 1e-6:
        raise DataError(
            f"{row.file} line {row.line}, column {column}: the fractions sum to "
            f"{total:.7g}; they must sum to 1 within 1e-6"
        )


def elements(row: Row, composition: Composition) -> None:
    """Check that a formula uses only the elements of this family."""
    for element, _ in composition:
        if element not in ELEMENTS:
            raise row.fail(
                "formula", f"has element {element}; allowed: {' '.join(ELEMENTS)}"
            )
