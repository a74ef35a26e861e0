"""Read the combustion products from the Cantera-format file into plain arrays."""

from __future__ import annotations

import functools
import itertools
import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from castsugar.arrays import FloatArray, IntArray
from castsugar.constants import ELEMENTS, REFERENCE_PRESSURE
from castsugar.errors import DataError
from castsugar.thermo import fits
from castsugar.thermo.entries import gas_table, phase_table
from castsugar.thermo.tables import GasTable, PhaseTable, SpeciesTable


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
    gas : GasTable
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
    low, high = limit - 25.0, limit + 25.0
    for _ in range(60):
        middle = 0.5 * (low + high)
        _, h, s = phase_properties(pair, np.array(middle))
        if h[0] - s[0] < h[1] - s[1]:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)
