"""Any number of mixes of any elements: grouped, cut into chunks, solved, put back."""

from __future__ import annotations

import functools
from dataclasses import fields

import numpy as np

from castsugar.thermo.gibbs import solution
from castsugar.thermo.gibbs.model import TableModel
from castsugar.thermo.gibbs.solution import Flow
from castsugar.thermo.gibbs.stations import Stations
from castsugar.thermo.species import restrict
from castsugar.thermo.tables import FloatArray, IntArray, SpeciesTable

#: Mixes solved together. Chunks are cut by index alone, so that a result never depends
#: on how many workers share the work.
CHUNK = 2048


@functools.lru_cache(maxsize=64)
def model_of(table: SpeciesTable) -> TableModel:
    """Return the solver's model of a species table, made once."""
    return TableModel(table)


def solve(
    table: SpeciesTable,
    elements: FloatArray,
    enthalpy: FloatArray,
    pressure: FloatArray,
    *,
    exit_pressure: float | None,
    flow: str,
) -> Flow:
    """Solve mixes through chamber, throat and exit.

    Parameters
    ----------
    table : SpeciesTable
        Species of all elements of the family.
    elements : ndarray, shape (n, elements of the table)
        [mol/kg]
    enthalpy, pressure : ndarray, shape (n,)
        [J/kg], [Pa]
    exit_pressure : float or None
        [Pa]
    flow : str
        One of :data:`castsugar.thermo.flow.FLOWS`.

    Returns
    -------
    Flow
        Rows in the order given; iterates are not kept.
    """
    count = len(enthalpy)
    result = solution.blank(count)
    present = elements > 0.0
    patterns, group = np.unique(present, axis=0, return_inverse=True)
    for index, pattern in enumerate(patterns):
        if not pattern.any():
            continue
        rows = np.flatnonzero(group.ravel() == index)
        names = frozenset(e for e, p in zip(table.elements, pattern, strict=True) if p)
        model = model_of(restrict(table, names))
        own = elements[np.ix_(rows, np.flatnonzero(pattern))]
        for start in range(0, len(rows), CHUNK):
            part = slice(start, start + CHUNK)
            picked = rows[part]
            solved = solution.solve(
                model,
                own[part],
                enthalpy[picked],
                pressure[picked],
                exit_pressure,
                flow,
            )
            _put(result, picked, solved)
    return result


def _put(result: Flow, rows: IntArray, part: Flow) -> None:
    """Copy the rows of one chunk into the whole."""
    for f in fields(Flow):
        value = getattr(part, f.name)
        if isinstance(value, Stations):
            getattr(result, f.name).put(rows, value)
        elif f.name != "solved":
            getattr(result, f.name)[rows] = value
