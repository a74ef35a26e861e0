"""Which condensed phases a flow allows, and which form of each is the stable one.

A substance (K2CO3) can have several forms (solid, liquid). At a temperature one form
has the lowest g; at a transition two have the same. In a flow without solidification
each substance keeps the form it has in the chamber, on a melting plateau even its
solid share; substances that are not there may still condense as liquids.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from castsugar.arrays import FloatArray, IntArray
from castsugar.thermo.tables import PhaseTable, SpeciesTable


def stable_forms(
    table: SpeciesTable, temperature: float, *, hotter_at_transition: bool = True
) -> IntArray:
    """Return the index of the stable form of every substance at a temperature.

    Parameters
    ----------
    table : SpeciesTable
    temperature : float
        [K]
    hotter_at_transition : bool
        Which of the two forms is meant exactly at a transition.
    """
    excluded = set()
    for cold, hot, limit in table.transitions:
        above = temperature > limit or (temperature == limit and hotter_at_transition)
        excluded.add(cold if above else hot)
    keep = [i for i in range(len(table.phase.names)) if i not in excluded]
    return np.array(keep, dtype=np.intp)


def without_solidification(
    table: SpeciesTable, phase_amounts: FloatArray
) -> tuple[SpeciesTable, FloatArray]:
    """Return the species that a chamber of these phase amounts lets downstream.

    Parameters
    ----------
    table : SpeciesTable
        All species.
    phase_amounts : ndarray, shape (phases,)
        Amounts in the equilibrium chamber. [mol/kg]

    Returns
    -------
    table : SpeciesTable
        The same gases; of the phases only those allowed, a plateau substance as one
        phase of fixed solid share. It has no transitions.
    expand : ndarray, shape (new phases, phases)
        Multiplies new amounts to give amounts in the phases of the full table.
    """
    phase = table.phase
    tables: list[PhaseTable] = []
    rows: list[FloatArray] = []
    for substance in dict.fromkeys(phase.substances):
        forms = [i for i, s in enumerate(phase.substances) if s == substance]
        share = np.zeros(len(phase.names))
        present = [i for i in forms if phase_amounts[i] > 0.0]
        if present:
            share[present] = phase_amounts[present] / phase_amounts[present].sum()
        else:
            liquids = [i for i in forms if phase.liquid[i]]
            share[liquids] = 1.0
        if share.any():
            tables.append(_blend(phase, share))
            rows.append(share)
    expand = np.array(rows).reshape(len(rows), len(phase.names))
    return replace(table, phase=_join(phase, tables), transitions=()), expand


def _blend(phase: PhaseTable, share: FloatArray) -> PhaseTable:
    """Return a table of one phase whose fits are a fixed blend of forms."""
    members = np.flatnonzero(share)
    joins = np.unique(phase.joins[:, members])
    joins = joins[np.isfinite(joins)]
    edges = np.concatenate([[-np.inf], joins])
    fit = np.zeros((len(joins) + 1, phase.fit.shape[1], 1))
    for region, edge in enumerate(edges):
        for member in members:
            own = int((phase.joins[:, member] <= edge).sum())
            fit[region, :, 0] += share[member] * phase.fit[own, :, member]
    first = members[0]
    only = np.array([first])
    return PhaseTable(
        names=("+".join(phase.names[i] for i in members),),
        substances=(phase.substances[first],),
        atoms=phase.atoms[only],
        molar_mass=phase.molar_mass[only],
        joins=joins[:, None],
        fit=fit,
        low=phase.low[members].min(keepdims=True),
        high=phase.high[members].max(keepdims=True),
        density=phase.density[only],
        liquid=(phase.liquid[members[-1]],),
        sources=(phase.sources[first],),
    )


def _join(like: PhaseTable, tables: list[PhaseTable]) -> PhaseTable:
    """Put tables of one phase each side by side."""
    regions = max((t.fit.shape[0] for t in tables), default=1)
    joins = np.full((regions - 1, len(tables)), np.inf)
    fit = np.zeros((regions, like.fit.shape[1], len(tables)))
    for column, t in enumerate(tables):
        own = t.fit.shape[0]
        joins[: own - 1, column] = t.joins[:, 0]
        fit[:own, :, column] = t.fit[:, :, 0]
        fit[own:, :, column] = t.fit[-1, :, 0]
    width = like.atoms.shape[1]
    return PhaseTable(
        names=tuple(t.names[0] for t in tables),
        substances=tuple(t.substances[0] for t in tables),
        atoms=np.array([t.atoms[0] for t in tables]).reshape(len(tables), width),
        molar_mass=np.array([t.molar_mass[0] for t in tables]),
        joins=joins,
        fit=fit,
        low=np.array([t.low[0] for t in tables]),
        high=np.array([t.high[0] for t in tables]),
        density=np.array([t.density[0] for t in tables]),
        liquid=tuple(t.liquid[0] for t in tables),
        sources=tuple(t.sources[0] for t in tables),
    )
