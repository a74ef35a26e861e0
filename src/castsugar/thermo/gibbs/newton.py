"""The iteration: damped Newton steps on a batch until every row is solved or lost."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from castsugar.arrays import BoolArray, FloatArray, IntArray
from castsugar.thermo.gibbs import linear, phases
from castsugar.thermo.gibbs.closure import Move, along_isentrope
from castsugar.thermo.gibbs.iterate import Batch, Iterate
from castsugar.thermo.gibbs.linear import Moments
from castsugar.thermo.gibbs.model import Model
from castsugar.thermo.gibbs.target import Progress, Target, energy_residual

#: Largest changes in one step: ln T, ln N, element potentials.
MOST_LOG_T, MOST_LOG_N, MOST_POTENTIAL = 0.5, 0.7, 6.0

#: A row is solved when its full step is smaller than this: the iteration converges
#: quadratically, so that what is left is of the order of the square.
SOLVED = 1e-7

#: A phase that comes back this often makes a throat that lies on its boundary.
RETURNS = 5

#: The pressure of a throat converges more slowly than the rest; it must be this close.
SOLVED_LOG_P = 1e-9

#: Temperatures that an iterate may visit [K]: exits go below the fits, with a flag.
LOWEST, HIGHEST = 50.0, 7000.0


@dataclass(slots=True, eq=False)
class Outcome:
    """How the iteration ended, one entry a row."""

    solved: BoolArray
    iterations: IntArray


def run(
    model: Model, batch: Batch, iterate: Iterate, target: Target, limit: int = 80
) -> Outcome:
    """Iterate all rows in place; rows leave when they are solved or lost.

    Parameters
    ----------
    model : Model
    batch : Batch
    iterate : Iterate
        The start; holds the result afterwards (rows not solved: the last iterate).
    target : Target
    limit : int
        Most iterations.

    Returns
    -------
    Outcome
    """
    count = iterate.count
    outcome = Outcome(np.zeros(count, bool), np.zeros(count, np.intp))
    rows = np.arange(count)
    progress = Progress(
        np.zeros(iterate.active.shape),
        np.zeros(count, bool),
        np.full(count, np.nan),
        np.full(count, np.nan),
    )
    work = iterate.take(rows)
    for number in range(1, limit + 1):
        solved, lost = _step(model, batch, work, target, progress)
        leaving = solved | lost
        if leaving.any():
            gone = rows[leaving]
            iterate.put(gone, work.take(leaving))
            outcome.solved[gone] = solved[leaving]
            outcome.iterations[gone] = number
            stay = ~leaving
            rows = rows[stay]
            if not rows.size:
                return outcome
            work, batch, target = work.take(stay), batch.take(stay), target.take(stay)
            progress = progress.take(stay)
    iterate.put(rows, work)
    outcome.iterations[rows] = limit
    return outcome


def _step(
    model: Model, batch: Batch, work: Iterate, target: Target, progress: Progress
) -> tuple[BoolArray, BoolArray]:
    """Make one step in every row; return which rows are solved and which are lost."""
    free = target.kind != "temperature"
    m = linear.moments(model, batch, work)
    s = linear.system(model, work, m, free_temperature=free)
    energy = energy_residual(work, m, target)
    right = linear.residual(work, m, s, energy)
    if target.closure:
        both = np.stack([right, linear.pressure_response(m, s)], axis=2)
        solution = linear.solve(s, both)
        move = Move(work, m, energy, solution[:, :, 0], solution[:, :, 1])
        step, log_p = along_isentrope(model, target, progress, move)
    else:
        step = linear.solve(s, right[:, :, None])[:, :, 0]
        log_p = np.zeros(work.count)
    size, affinity = _apply(model, work, s, step, log_p, m)
    near = size < phases.NEAR
    swapped = phases.swap_forms(model, batch, work, ~near & ~progress.swapped)
    progress.swapped |= swapped
    added, removed = phases.update(
        model, batch, work, affinity, near, free_temperature=free
    )
    returning = phases.toggled(progress.returns, added, RETURNS)
    changed = swapped | added.any(axis=1) | removed.any(axis=1)
    lost = ~np.isfinite(size) | (work.temperature < target.floor)
    if target.closure in ("sonic", "saturation"):
        lost |= returning
    small = size < SOLVED
    nothing = small[:, None] & (work.amounts > phases.NEGATIVE)
    np.maximum(work.amounts, 0.0, out=work.amounts, where=nothing)
    solved = small & (np.abs(log_p) < SOLVED_LOG_P) & ~changed & ~lost
    return solved, lost


def _apply(
    model: Model,
    work: Iterate,
    s: linear.System,
    step: FloatArray,
    log_p: FloatArray,
    m: Moments,
) -> tuple[FloatArray, FloatArray]:
    """Damp and apply a step; return the size of the full step, and the affinities.

    The affinities are those expected after the step: amounts and affinities that
    decide on phases must belong to the same point, or a phase is added for a reason
    that the step has just removed.
    """
    elements = m.atoms.shape[1]
    d_pi, d_n, d_t = step[:, :elements], step[:, elements], step[:, elements + 1]
    most = np.abs(d_pi).max(axis=1)
    with np.errstate(divide="ignore", invalid="ignore"):
        damping = np.minimum.reduce(
            [
                np.ones(work.count),
                MOST_POTENTIAL / most,
                MOST_LOG_N / np.abs(d_n),
                MOST_LOG_T / np.abs(d_t),
            ]
        )
    d_c = step[:, elements + 2 :] * s.filled
    relative = (np.abs(d_c) / m.moles[:, None]).max(axis=1, initial=0.0)
    size = np.maximum.reduce([most, np.abs(d_n), np.abs(d_t), relative, np.abs(log_p)])
    work.potentials += damping[:, None] * d_pi
    work.log_moles += damping * d_n
    work.temperature *= np.exp(damping * d_t)
    np.clip(work.temperature, LOWEST, HIGHEST, out=work.temperature)
    work.log_pressure += damping * log_p
    rows = np.arange(work.count)
    for slot in range(d_c.shape[1]):  # one by one: empty slots all point to phase 0
        work.amounts[rows, s.slots[:, slot]] += damping * d_c[:, slot]
    moved = d_pi @ model.phase_atoms.T + m.phase.h * d_t[:, None]
    return size, m.affinity - damping[:, None] * moved
