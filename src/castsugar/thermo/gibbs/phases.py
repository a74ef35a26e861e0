"""Which condensed phases are present: one change at a time.

Constant temperature, constant enthalpy and constant entropy are each the dual of a
convex program in the element potentials and the temperature (every condensed g(T) is
concave, because the fits are continued with constant heat capacity). Adding the phase
that most wants in and removing the one that is most negative, one at a time and only
near convergence, therefore ends at the one solution. At given enthalpy or entropy both
forms of a substance may stay: their two rows force g_solid = g_liquid, hence the
melting temperature, and the energy row gives the split; a plateau needs no special
code. At given temperature one form replaces the other.
"""

from __future__ import annotations

import numpy as np

from castsugar.arrays import BoolArray, FloatArray
from castsugar.thermo.gibbs.iterate import Batch, Iterate
from castsugar.thermo.gibbs.model import Model

#: A phase is negative below, and wants in below, these. [mol/kg], [RT]
NEGATIVE, UNDERSATURATED = -1e-12, -1e-9

#: Phase changes wait until the Newton step is smaller than this.
NEAR = 0.03

#: A form this far (relative) outside its range of temperature is exchanged at once.
FAR = 0.01


def update(
    model: Model,
    batch: Batch,
    iterate: Iterate,
    affinity: FloatArray,
    near: BoolArray,
    *,
    free_temperature: bool,
) -> tuple[BoolArray, BoolArray]:
    """Add or remove at most one phase in every row of `near`, or of a runaway.

    Returns
    -------
    added, removed : ndarray of bool, shape (n, phases)
        What was changed.
    """
    added = np.zeros_like(iterate.active)
    removed = np.zeros_like(iterate.active)
    if not iterate.active.shape[1]:
        return added, removed
    near = near | _runaway(batch, iterate)
    if not near.any():
        return added, removed
    rows = np.arange(iterate.count)
    value = np.where(iterate.active & ~batch.held, iterate.amounts, np.inf)
    worst = value.argmin(axis=1)
    out = near & (value[rows, worst] < NEGATIVE)
    removed[rows[out], worst[out]] = True
    wanting = np.where(batch.allowed & ~iterate.active, affinity, np.inf)
    best = wanting.argmin(axis=1)
    into = near & ~out & (wanting[rows, best] < UNDERSATURATED)
    added[rows[into], best[into]] = True
    iterate.active[removed] = False
    iterate.amounts[removed] = 0.0
    iterate.active[added] = True
    if not free_temperature:
        _replace_forms(model, iterate, added)
    elif added.any():
        _leave_plateau(model, iterate, added)
    return added, removed


def _runaway(batch: Batch, iterate: Iterate) -> BoolArray:
    """Whether a phase holds less than minus all atoms of the mix.

    A phase that no equilibrium of these elements holds, present because the first
    guess had it, sends the amount of gas to infinity and its own to minus infinity:
    such a row never comes near convergence, where phases are otherwise removed.
    """
    least: FloatArray = iterate.amounts.min(axis=1)
    return least < -batch.elements.sum(axis=1)


def _leave_plateau(model: Model, iterate: Iterate, added: BoolArray) -> None:
    """Let a row that gets a second plateau leave the first.

    Two substances cannot both be at their transitions: the temperature goes to that of
    the form just added, so that the other substance keeps the form stable there.
    """
    here = {}
    for cold, hot, limit in model.transitions:
        here[cold, hot] = limit, iterate.active[:, cold] & iterate.active[:, hot]
    for (cold, hot), (limit, both) in here.items():
        new = both & (added[:, cold] | added[:, hot])
        if not new.any():
            continue
        for (other_cold, other_hot), (other_limit, other_both) in here.items():
            rows = new & other_both
            if (other_cold, other_hot) == (cold, hot) or not rows.any():
                continue
            stays, goes = (
                (other_cold, other_hot)
                if limit < other_limit
                else (other_hot, other_cold)
            )
            iterate.amounts[rows, stays] += iterate.amounts[rows, goes]
            iterate.amounts[rows, goes] = 0.0
            iterate.active[rows, goes] = False


def swap_forms(
    model: Model, batch: Batch, iterate: Iterate, open_rows: BoolArray
) -> BoolArray:
    """Exchange forms that are far outside their range of temperature.

    An iterate on its way to a distant state need not approach a plateau to find that
    a liquid has become a solid. Each row may do this once: on a plateau it would go
    back and forth. Returns the rows that were changed.
    """
    changed = np.zeros(iterate.count, bool)
    if not open_rows.any():
        return changed
    t = iterate.temperature
    some = np.count_nonzero(iterate.active, axis=0)
    for cold, hot, limit in model.transitions:
        if not (some[cold] or some[hot]):
            continue
        for wrong, right, outside in (
            (hot, cold, t < limit * (1.0 - FAR)),
            (cold, hot, t > limit * (1.0 + FAR)),
        ):
            swap = (
                open_rows & outside & iterate.active[:, wrong] & ~batch.held[:, wrong]
            )
            swap &= batch.allowed[:, right]
            if swap.any():
                iterate.amounts[swap, right] += iterate.amounts[swap, wrong]
                iterate.amounts[swap, wrong] = 0.0
                iterate.active[swap, wrong] = False
                iterate.active[swap, right] = True
                changed |= swap
    return changed


def _replace_forms(model: Model, iterate: Iterate, added: BoolArray) -> None:
    """Let an added form take the place and the amount of the other form."""
    for row, phase in zip(*np.nonzero(added), strict=True):
        other = np.abs(model.phase_atoms - model.phase_atoms[phase]).sum(axis=1)
        same = iterate.active[row] & (other == 0.0)
        same[phase] = False
        iterate.amounts[row, phase] = iterate.amounts[row, same].sum()
        iterate.amounts[row, same] = 0.0
        iterate.active[row, same] = False


def toggled(count: FloatArray, added: BoolArray, limit: int) -> BoolArray:
    """Count additions of each phase and say which rows keep coming back.

    `count` (n, phases) is changed in place.
    """
    count += added
    most: FloatArray = count.max(axis=1, initial=0.0)
    return most >= limit
