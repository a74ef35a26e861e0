"""Combustion products as arrays, read from the Cantera-format file."""

from __future__ import annotations

import functools
import itertools
import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from castsugar.arrays import FloatArray, IntArray
from castsugar.constants import (
    ATOMIC_MASSES,
    ELEMENTS,
    GAS_CONSTANT,
    REFERENCE_PRESSURE,
    REFERENCE_TEMPERATURE,
)
from castsugar.errors import DataError
from castsugar.frozen import dataclass
from castsugar.numerics import bisected
from castsugar.thermo import fits

# ----------------------------------------------------------------------------
# Arrays of species data: what the reader returns and the solvers take.


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class GasTable:
    """Gas species: names, atoms and fits below and above one common join."""

    names: tuple[str, ...]
    atoms: FloatArray  # (species, elements)
    molar_mass: FloatArray  # (species,) [kg/mol]
    join: float  # temperature where the two fits meet [K]
    fit: FloatArray  # (2, 9, species): below, above the join
    sources: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PhaseTable:
    """Condensed phases: each pure, with fits continued outside their ranges."""

    names: tuple[str, ...]
    substances: tuple[str, ...]
    atoms: FloatArray  # (phases, elements)
    molar_mass: FloatArray  # (phases,) [kg/mol]
    joins: FloatArray  # (regions - 1, phases), +inf where a phase has fewer
    fit: FloatArray  # (regions, 9, phases)
    low: FloatArray  # (phases,) range of the published fit [K]
    high: FloatArray
    density: FloatArray  # (phases,) a fact, not part of the equilibrium [kg/m3]
    liquid: tuple[bool, ...]
    sources: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SpeciesTable:
    """All species that a set of elements can form.

    Attributes
    ----------
    gas, phase : GasTable, PhaseTable
        Gas species and pure condensed phases.
    transitions : tuple of (int, int, float)
        Index of the colder and the hotter form of one substance and the temperature
        [K] at which their g are equal (computed, not a range limit).
    reference_pressure : float
        Pressure of the standard state. [Pa]
    elements : tuple of str
        The elements of the columns of `atoms`.
    data_set : str
        Name of the data.
    """

    gas: GasTable
    phase: PhaseTable
    transitions: tuple[tuple[int, int, float], ...]
    reference_pressure: float
    elements: tuple[str, ...]
    data_set: str

    @property
    def names(self) -> tuple[str, ...]:
        """Gas names, then condensed phases."""
        return self.gas.names + self.phase.names

    @property
    def atoms(self) -> FloatArray:
        """Atoms of gases, then phases, shape (species, elements). [-]"""
        return np.vstack([self.gas.atoms, self.phase.atoms])

    @property
    def molar_mass(self) -> FloatArray:
        """Molar masses of gases, then phases. [kg/mol]"""
        return np.concatenate([self.gas.molar_mass, self.phase.molar_mass])

    def at_reference_pressure(self, pressure: float) -> SpeciesTable:
        """Return the same fits read as data of another standard pressure.

        For comparison with work that took 1 bar data as 1 atm data.
        """
        return replace(self, reference_pressure=pressure)


# ----------------------------------------------------------------------------
# Turn entries of the product file into arrays, and check them on the way.

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


# ----------------------------------------------------------------------------
# Read the combustion products from the Cantera-format file into plain arrays.


@functools.lru_cache(maxsize=8)
def read_species(path: Path) -> SpeciesTable:
    """Read the product file with Cantera's reader and validate it.

    Raises
    ------
    DataError
        For an unreadable file, fits that do not join, a density below 100 kg/m3, an
        element outside the family, or a reference pressure other than 1 bar; names
        file, line, species and value.
    """
    gases, phases = _read_entries(path)
    gas = gas_table(path, gases)
    phase = phase_table(path, phases)
    header = re.search(r"^data-set: *(.+)$", path.read_text("utf-8"), re.MULTILINE)
    return SpeciesTable(
        gas=gas,
        phase=phase,
        transitions=transitions(phase),
        reference_pressure=REFERENCE_PRESSURE,
        elements=ELEMENTS,
        data_set=header.group(1) if header else path.stem,
    )


def _read_entries(path: Path) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    """Return the entries of gases and condensed phases."""
    import cantera as ct

    try:
        gases = ct.Species.list_from_file(str(path), "gases")
        phases = ct.Species.list_from_file(str(path), "condensed")
    except (ct.CanteraError, RuntimeError, OSError) as error:
        raise DataError(_unreadable(path, str(error))) from None
    return [dict(s.input_data) for s in gases], [dict(s.input_data) for s in phases]


def _unreadable(path: Path, message: str) -> str:
    """Turn the reader's message into one line: file, line, value, reason."""
    found = re.search(r"[Ll]ine (\d+)", message)
    if not found:
        reason = " ".join(message.replace("*", " ").split())
        return f"{path.name}: cannot be read: {reason[:160]}"
    number = int(found.group(1))
    lines = path.read_text("utf-8").splitlines()
    nearby = " / ".join(line.strip() for line in lines[max(number - 2, 0) : number])
    after = message[found.end() :].splitlines()[1:3]
    why = " ".join(" ".join(after).split())
    return f"{path.name} line {number}: cannot be read: {why}; there: {nearby[:160]}"


@functools.lru_cache(maxsize=64)
def restrict(table: SpeciesTable, elements: frozenset[str]) -> SpeciesTable:
    """Return the table of those species that are made of the given elements only."""
    kept = [i for i, e in enumerate(table.elements) if e in elements]
    columns = np.array(kept, dtype=np.intp)
    others = [i for i, e in enumerate(table.elements) if e not in elements]
    gas_keep = np.flatnonzero(~table.gas.atoms[:, others].any(axis=1))
    phase_keep = np.flatnonzero(~table.phase.atoms[:, others].any(axis=1))
    gas, phase = table.gas, table.phase
    new_gas = replace(
        gas,
        names=tuple(gas.names[i] for i in gas_keep),
        atoms=gas.atoms[np.ix_(gas_keep, columns)],
        molar_mass=gas.molar_mass[gas_keep],
        fit=gas.fit[:, :, gas_keep],
        sources=tuple(gas.sources[i] for i in gas_keep),
    )
    place = {int(old): new for new, old in enumerate(phase_keep)}
    return replace(
        table,
        gas=new_gas,
        phase=select_phases(phase, phase_keep, columns),
        transitions=tuple(
            (place[cold], place[hot], limit)
            for cold, hot, limit in table.transitions
            if cold in place
        ),
        elements=tuple(e for e in table.elements if e in elements),
    )


def select_phases(
    phase: PhaseTable, keep: IntArray, columns: IntArray | slice = slice(None)
) -> PhaseTable:
    """Return the phase table with only the phases `keep` and element `columns`."""
    joins = phase.joins[:, keep]
    regions = int(np.isfinite(joins).any(axis=1).sum()) + 1
    return replace(
        phase,
        names=tuple(phase.names[i] for i in keep),
        substances=tuple(phase.substances[i] for i in keep),
        atoms=phase.atoms[keep][:, columns],
        molar_mass=phase.molar_mass[keep],
        joins=joins[: regions - 1],
        fit=phase.fit[:regions][:, :, keep],
        low=phase.low[keep],
        high=phase.high[keep],
        density=phase.density[keep],
        liquid=tuple(phase.liquid[i] for i in keep),
        sources=tuple(phase.sources[i] for i in keep),
    )


_KINDS = (fits.heat_capacity_terms, fits.enthalpy_terms, fits.entropy_terms)


@functools.lru_cache(maxsize=64)
def _gas_terms(gas: GasTable) -> FloatArray:
    """Return the terms of cp, h and s of both fits, shape (2, 3, 9, species)."""
    return np.array([[kind(fit) for kind in _KINDS] for fit in gas.fit])


@functools.lru_cache(maxsize=64)
def _phase_terms(phase: PhaseTable) -> FloatArray:
    """Return the terms of cp, h and s of all regions, (regions, 3, 9, phases)."""
    return np.array([[kind(fit) for kind in _KINDS] for fit in phase.fit])


def gas_properties(
    gas: GasTable, temperature: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return cp/R, h/RT and s/R of the gases at the reference pressure.

    Parameters
    ----------
    temperature : ndarray, shape (...)
        [K]

    Returns
    -------
    tuple of three ndarrays, shape (..., species)
    """
    t = np.asarray(temperature, dtype=float)
    phi = fits.basis(t)
    above = (t >= gas.join)[..., None]
    lower, upper = _gas_terms(gas)
    cp, h, s = (
        np.where(above, phi @ high, phi @ low)
        for low, high in zip(lower, upper, strict=True)
    )
    return cp, h, s


def phase_properties(
    phase: PhaseTable, temperature: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return cp/R, h/RT and s/R of the condensed phases; shapes as for gases."""
    t = np.asarray(temperature, dtype=float)
    phi = fits.basis(t)
    region = (t[..., None, None] >= phase.joins).sum(axis=-2)
    chosen = _phase_terms(phase)[region, :, :, np.arange(len(phase.names))]
    values = np.einsum("...pxk,...k->x...p", chosen, phi)
    return values[0], values[1], values[2]


def transitions(phase: PhaseTable) -> tuple[tuple[int, int, float], ...]:
    """Find where the forms of one substance have equal g, from the fits alone."""
    found = []
    for substance in dict.fromkeys(phase.substances):
        forms = [i for i, s in enumerate(phase.substances) if s == substance]
        forms.sort(key=lambda i: float(phase.low[i]))
        found += [
            (cold, hot, _equal_gibbs(phase, cold, hot))
            for cold, hot in itertools.pairwise(forms)
        ]
    return tuple(found)


def _equal_gibbs(phase: PhaseTable, cold: int, hot: int) -> float:
    """Bisect for the temperature at which two forms have equal g."""
    pair = select_phases(phase, np.array([cold, hot]))
    limit = float(phase.high[cold])

    def cold_is_stable(temperature: FloatArray) -> bool:
        _, h, s = phase_properties(pair, np.asarray(temperature))
        return bool(h[0] - s[0] < h[1] - s[1])

    low, high = bisected(cold_is_stable, limit - 25.0, limit + 25.0, 60)
    return float(0.5 * (low + high))
