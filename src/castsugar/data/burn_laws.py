"""Published burn laws that may be borrowed: records of ``burn_laws.csv``."""

from __future__ import annotations

import itertools
import math
from collections.abc import Container, Mapping, Sequence
from pathlib import Path

from castsugar.data import csv_reader
from castsugar.data.csv_reader import Row, read_rows
from castsugar.data.records import NOT_READ, READ, Source
from castsugar.frozen import dataclass

#: What the rows of one law must have in common.
_SHARED = (
    "mix",
    "fuel",
    "oxidizer_percent",
    "status",
    "source",
)

#: A law whose tested pressures are not known.
_UNKNOWN_PRESSURES = (0.0, math.inf)

PressureBand = tuple[float, float, float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class BurnLawRecord:
    """A published burn law: one or more rows of ``burn_laws.csv``.

    Attributes
    ----------
    name : str
    mix : str
        What was burned, in words.
    fuel : str
        A name in ``ingredients.csv``.
    oxidizer_fraction : float
        By mass. [-]
    bands : tuple of (low, high, rate at 1 MPa, exponent)
        Rising, touching pressure bands; 0 and infinity where the tested pressures are
        not known. [Pa], [Pa], [m/s], [-]
    status : str
        Whether the source was read: "published, read" or "published, not read".
    source : str
        As everywhere in the species data.
    note : str
        Of its first row.
    """

    name: str
    mix: str
    fuel: str
    oxidizer_fraction: float
    bands: tuple[PressureBand, ...]
    status: str
    source: str
    note: str = ""


def load_burn_laws(
    folder: Path, sources: Mapping[str, Source], fuels: Container[str]
) -> dict[str, BurnLawRecord]:
    """Read the burn laws, by name.

    Parameters
    ----------
    folder : pathlib.Path
    sources : mapping
    fuels : container of str
        Names of the ingredients.

    Raises
    ------
    DataError
        A bad cell, bands that do not rise or touch, rows of a law that disagree.
    """
    groups: dict[str, list[Row]] = {}
    for row in read_rows(folder / "burn_laws.csv", csv_reader.BURN_LAWS):
        groups.setdefault(row.required("name"), []).append(row)
    return {name: _law(name, rows, sources, fuels) for name, rows in groups.items()}


def _law(
    name: str,
    rows: Sequence[Row],
    sources: Mapping[str, Source],
    fuels: Container[str],
) -> BurnLawRecord:
    """Make one law of its rows."""
    first = rows[0]
    for row in rows[1:]:
        for column in _SHARED:
            if row.text(column) != first.text(column):
                raise row.fail(
                    column,
                    f"differs from {first.text(column)!r} in line {first.line}; the "
                    f"bands of {name!r} must agree",
                )
    if first.required("fuel") not in fuels:
        raise first.fail("fuel", "is not a name in ingredients.csv")
    bands = [_band(row, alone=len(rows) == 1) for row in rows]
    for (below, above), row in zip(itertools.pairwise(bands), rows[1:], strict=True):
        if above[0] != below[1]:
            raise row.fail(
                "band_low_MPa",
                f"is not the upper end {below[1] / 1e6:g} of the band before; bands "
                "must rise and touch",
            )
    return BurnLawRecord(
        name=name,
        mix=first.required("mix"),
        fuel=first.text("fuel"),
        oxidizer_fraction=1e-2 * first.number("oxidizer_percent", 40.0, 90.0),
        bands=tuple(bands),
        status=first.text("status", (READ, NOT_READ)),
        source=csv_reader.source(first, "source", sources),
        note=first.text("note"),
    )


def _band(row: Row, *, alone: bool) -> PressureBand:
    """Make one band of a row; both ends may be empty where it is the only one."""
    low, high = _UNKNOWN_PRESSURES
    if not (alone and row.text("band_low_MPa") == row.text("band_high_MPa") == ""):
        low = 1e6 * row.number("band_low_MPa", 0.0, 100.0)
        high = 1e6 * row.number("band_high_MPa", 0.0, 100.0)
    if not low < high:
        raise row.fail(
            "band_high_MPa", f"is not above the lower end {low / 1e6:g} of the band"
        )
    exponent = row.number("exponent", -2.0, 1.0)
    if exponent == 1.0:
        raise row.fail("exponent", "is not below 1: no pressure would be stable")
    rate = 1e-3 * row.number("rate_at_1MPa_mm_s", 0.1, 100.0)
    return low, high, rate, exponent
