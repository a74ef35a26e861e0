"""Turn entries of the product file into arrays, and check them on the way."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from castsugar.arrays import FloatArray
from castsugar.constants import (
    ATOMIC_MASSES,
    ELEMENTS,
    GAS_CONSTANT,
    REFERENCE_PRESSURE,
    REFERENCE_TEMPERATURE,
)
from castsugar.errors import DataError
from castsugar.thermo import fits
from castsugar.thermo.tables import GasTable, PhaseTable

Entry = dict[str, Any]

#: Bounds and nine-term fits of the regions of one species.
Regions = tuple[list[float], list[FloatArray]]

#: A step of h/RT or s/R at a join of two fits above this is a damaged file. (The
#: widest among the shipped species is 1.5e-3, FeO(s); gases are within 9e-5.)
JOIN_TOLERANCE = 2e-3

#: Fit and stated enthalpy of formation may differ by this [kJ/mol]: they are
#: evaluations of different years (OH 0.4, CH4 0.3).
ENTHALPY_TOLERANCE = 0.5

#: All gas fits of the family meet at this temperature [K].
GAS_JOIN = 1000.0

#: A condensed phase lighter than this is a missing density [kg/m3].
LEAST_DENSITY = 100.0


def gas_table(path: Path, entries: list[Entry]) -> GasTable:
    """Build the table of gases; see :func:`castsugar.thermo.species.read_species`."""
    fit = np.zeros((2, fits.TERMS, len(entries)))
    for column, entry in enumerate(entries):
        bounds, rows = _regions(path, entry)
        if len(rows) != 2 or bounds[1] != GAS_JOIN:
            raise fault(
                path,
                entry,
                f"temperature ranges {bounds} must be two that meet at {GAS_JOIN:g} K",
            )
        fit[0, :, column], fit[1, :, column] = rows
    return GasTable(
        names=_names(path, entries),
        atoms=_atoms(path, entries),
        molar_mass=_molar_mass(entries),
        join=GAS_JOIN,
        fit=fit,
        sources=tuple(str(e.get("source", "")) for e in entries),
    )


def phase_table(path: Path, entries: list[Entry]) -> PhaseTable:
    """Build the table of condensed phases, fits continued outside their ranges."""
    read = [_regions(path, entry) for entry in entries]
    substances = tuple(_substance(path, e) for e in entries)
    liquid = tuple(str(e["name"]).endswith("(L)") for e in entries)
    whole = [
        _continued(read, substances, i, liquid=liquid[i]) for i in range(len(entries))
    ]
    count = max(len(rows) for _, rows in whole)
    joins = np.full((count - 1, len(entries)), np.inf)
    fit = np.zeros((count, fits.TERMS, len(entries)))
    for column, (bounds, rows) in enumerate(whole):
        joins[: len(bounds), column] = bounds
        for region in range(count):
            fit[region, :, column] = rows[min(region, len(rows) - 1)]
    return PhaseTable(
        names=_names(path, entries),
        substances=substances,
        atoms=_atoms(path, entries),
        molar_mass=_molar_mass(entries),
        joins=joins,
        fit=fit,
        low=np.array([bounds[0] for bounds, _ in read]),
        high=np.array([bounds[-1] for bounds, _ in read]),
        density=np.array([_density(path, e) for e in entries]),
        liquid=liquid,
        sources=tuple(str(e.get("source", "")) for e in entries),
    )


def _continued(
    read: list[Regions],
    substances: tuple[str, ...],
    index: int,
    *,
    liquid: bool,
) -> tuple[list[float], list[FloatArray]]:
    """Return joins and fits of a phase over all temperatures.

    Beyond its range a form follows the heat capacities of the next forms of the
    substance, one after the other: its g and that of the form which is stable then
    differ by a straight line in T and cannot cross a second time. (With a constant heat
    capacity Na2CO3(I), whose fit ends steeply, would become "stable" again.) A form
    without neighbour, and a liquid below its freezing point, which can exist
    supercooled, keep the heat capacity of the end.
    """
    bounds, rows = read[index]
    same = [r for r, s in zip(read, substances, strict=True) if s == substances[index]]
    hotter = [r for r in same if r[0][0] >= bounds[-1] - 1.0]
    colder = [r for r in same if r[0][-1] <= bounds[0] + 1.0 and not liquid]
    low_joins, low_rows = _downward(bounds[0], rows[0], colder)
    high_joins, high_rows = _upward(bounds[-1], rows[-1], hotter)
    return (
        [*low_joins, *bounds, *high_joins],
        [*low_rows, *rows, *high_rows],
    )


def _upward(end: float, last: FloatArray, hotter: list[Regions]) -> Regions:
    """Continue a fit above `end` along the forms `hotter`, then with constant cp."""
    joins: list[float] = []
    rows: list[FloatArray] = []
    for follow in sorted(hotter, key=lambda r: r[0][0]):
        for row, top in zip(follow[1], follow[0][1:], strict=True):
            last = fits.shifted(row, last, end)
            rows.append(last)
            joins.append(top)
            end = top
    return joins, [*rows, fits.constant_heat_capacity(last, end)]


def _downward(end: float, last: FloatArray, colder: list[Regions]) -> Regions:
    """Continue a fit below `end` along the forms `colder`, then with constant cp."""
    joins: list[float] = []
    rows: list[FloatArray] = []
    for follow in sorted(colder, key=lambda r: r[0][0], reverse=True):
        regions = list(zip(follow[1], follow[0][:-1], strict=True))
        for row, bottom in reversed(regions):
            last = fits.shifted(row, last, end)
            rows.insert(0, last)
            joins.insert(0, bottom)
            end = bottom
    return joins, [fits.constant_heat_capacity(last, end), *rows]


def fault(path: Path, entry: Entry, message: str) -> DataError:
    """Build the error for one entry: names file, line and species."""
    name = str(entry.get("name", "?"))
    line = 0
    for number, text in enumerate(path.read_text("utf-8").splitlines(), start=1):
        if text.startswith("- name:") and text.split(":", 1)[1].strip(' "') == name:
            line = number
    return DataError(f"{path.name} line {line}, species {name!r}: {message}")


def _regions(path: Path, entry: Entry) -> Regions:
    """Return bounds and nine-term fits of the non-empty regions of one species."""
    if "thermo" not in entry:
        raise fault(path, entry, "has no 'thermo' entry")
    thermo = entry["thermo"]
    pressure = _number(
        path, entry, "reference-pressure", thermo.get("reference-pressure", 0.0)
    )
    if pressure != REFERENCE_PRESSURE:
        got = f"is {pressure:g} Pa" if pressure else "is missing"
        raise fault(path, entry, f"reference-pressure {got}; it must be 1.0e5 (1 bar)")
    ranges = [float(t) for t in thermo["temperature-ranges"]]
    seven = thermo["model"] == "NASA7"
    bounds, rows = [ranges[0]], []
    for low, high, row in zip(ranges, ranges[1:], thermo["data"], strict=False):
        if high < low:
            raise fault(path, entry, f"temperature ranges {ranges} do not rise")
        if high > low:
            rows.append(fits.from_seven(row) if seven else np.array(row, dtype=float))
            bounds.append(high)
    _check_joins(path, entry, bounds, rows)
    _check_enthalpy(path, entry, rows[0])
    return bounds, rows


def _check_joins(
    path: Path, entry: Entry, bounds: list[float], rows: list[FloatArray]
) -> None:
    """Refuse fits whose enthalpy or entropy jumps where two regions meet."""
    for join, left, right in zip(bounds[1:-1], rows, rows[1:], strict=False):
        phi = fits.basis(np.array(join))
        for name, terms in (
            ("enthalpy h/RT", fits.enthalpy_terms),
            ("entropy s/R", fits.entropy_terms),
        ):
            step = float(phi @ (terms(right) - terms(left)))
            if not abs(step) < JOIN_TOLERANCE:
                raise fault(
                    path,
                    entry,
                    f"{name} steps by {step:.3g} at {join:g} K; "
                    f"the fits must join within {JOIN_TOLERANCE:g}",
                )


def _check_enthalpy(path: Path, entry: Entry, fit: FloatArray) -> None:
    """Compare the fit at 298.15 K with the enthalpy stated beside it, if any."""
    key = "enthalpy-of-formation-kJ-mol"
    if key not in entry:
        return
    stated = _number(path, entry, key, entry[key])
    phi = fits.basis(np.array(REFERENCE_TEMPERATURE))
    relative = float(phi @ fits.enthalpy_terms(fit))
    fitted = 1e-3 * GAS_CONSTANT * REFERENCE_TEMPERATURE * relative
    if not abs(fitted - stated) < ENTHALPY_TOLERANCE:
        raise fault(
            path,
            entry,
            f"the fit gives {fitted:.3f} kJ/mol at 298.15 K, but {stated:g} is stated; "
            f"they must agree within {ENTHALPY_TOLERANCE:g}",
        )


def _number(path: Path, entry: Entry, key: str, value: Any) -> float:
    """Return an entry as a number."""
    try:
        return float(value)
    except (TypeError, ValueError):
        raise fault(path, entry, f"{key} {value!r} is not a number") from None


def _names(path: Path, entries: list[Entry]) -> tuple[str, ...]:
    """Return the names; each must be text and occur once."""
    names = []
    for entry in entries:
        name = entry["name"]
        if not isinstance(name, str) or name in names:
            raise fault(path, entry, f"the name {name!r} is not text or occurs twice")
        names.append(name)
    return tuple(names)


def _atoms(path: Path, entries: list[Entry]) -> FloatArray:
    """Return the atoms of each entry, shape (entries, elements)."""
    out = np.zeros((len(entries), len(ELEMENTS)))
    for row, entry in enumerate(entries):
        for element, count in entry["composition"].items():
            if element not in ELEMENTS:
                raise fault(
                    path,
                    entry,
                    f"element {element!r} is not one of {' '.join(ELEMENTS)}",
                )
            if not count > 0:
                raise fault(path, entry, f"has {count:g} atoms of {element}")
            out[row, ELEMENTS.index(element)] = count
    return out


def _molar_mass(entries: list[Entry]) -> FloatArray:
    """Return the molar masses. [kg/mol]"""
    return np.array(
        [
            sum(ATOMIC_MASSES[e] * n for e, n in x["composition"].items())
            for x in entries
        ]
    )


def _substance(path: Path, entry: Entry) -> str:
    """Return the substance of which a condensed entry is a form."""
    if "substance" not in entry:
        raise fault(path, entry, "has no 'substance' entry")
    return str(entry["substance"])


def _density(path: Path, entry: Entry) -> float:
    """Return the true density of a condensed entry."""
    density = _number(path, entry, "density", entry.get("density", 0.0))
    if not density > LEAST_DENSITY:
        raise fault(
            path,
            entry,
            f"density {density:g} kg/m3 must be above {LEAST_DENSITY:g}",
        )
    return density
