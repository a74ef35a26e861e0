"""Damped Newton steps on a batch, condensed phases coming and going."""

from __future__ import annotations

import numpy as np

from castsugar.arrays import BoolArray, FloatArray, IntArray
from castsugar.constants import GAS_CONSTANT
from castsugar.frozen import dataclass
from castsugar.thermo.gibbs import linear
from castsugar.thermo.gibbs.linear import Moments
from castsugar.thermo.gibbs.model import Batch, Iterate, Model

# ----------------------------------------------------------------------------
# What is prescribed beside the elements, and what a row remembers on its way.


@dataclass(slots=True, eq=False)
class Target:
    """What is prescribed beside the elements."""

    #: ``"temperature"`` (held at the start value), ``"enthalpy"`` or ``"entropy"``.
    kind: str
    value: FloatArray  # H0 [J/kg] or S0 [J/(kg K)]; unused at given temperature, (n,)
    #: What fixes the pressure along an isentrope: ``""`` (it is held), ``"pressure"``,
    #: ``"sonic"`` or ``"saturation"``.
    closure: str = ""
    #: ln(p/p0) to be reached; the chamber enthalpy [J/kg]; or the index of the absent
    #: phase that is just about to form, (n,).
    closing: FloatArray | None = None
    floor: float = 0.0  # temperature below which a row is given up [K]

    def take(self, rows: IntArray | BoolArray) -> Target:
        """Return some of the rows."""
        closing = None if self.closing is None else self.closing[rows]
        return Target(self.kind, self.value[rows], self.closure, closing, self.floor)


@dataclass(slots=True, eq=False)
class Progress:
    """What a row remembers from step to step."""

    returns: FloatArray  # (n, phases)
    swapped: BoolArray
    excess: FloatArray  # last u2 - a2
    log_pressure: FloatArray  # where it was

    def take(self, rows: IntArray | BoolArray) -> Progress:
        """Return some of the rows."""
        return Progress(
            self.returns[rows],
            self.swapped[rows],
            self.excess[rows],
            self.log_pressure[rows],
        )


def energy_residual(work: Iterate, m: Moments, target: Target) -> FloatArray:
    """Return r of the energy row: what enthalpy or entropy lacks; 0 where neither.

    In moles per kilogram: (H0 - H)/RT, or (S0 - S)/R + pi.E.
    """
    if target.kind == "enthalpy":
        lack = target.value / (GAS_CONSTANT * work.temperature) - m.enthalpy(work)
    elif target.kind == "entropy":
        lack = target.value / GAS_CONSTANT - m.entropy(work)
        lack = lack + (work.potentials * m.lack).sum(axis=1)
    else:
        lack = np.zeros(work.count)
    return lack


# ----------------------------------------------------------------------------
# What fixes the pressure along an isentrope: a value, the throat, a saturation.

#: Largest change of ln p in one step towards a given pressure.
MOST_LOG_P = 4.0

#: Largest change of ln p in one step towards a throat or a saturation.
MOST_SONIC = 0.6


@dataclass(slots=True, eq=False)
class Move:
    """A Newton step at an iterate, and the response to ln p at constant entropy."""

    work: Iterate
    m: Moments
    energy: FloatArray  # residual of the energy row
    step: FloatArray  # (n, size)
    response: FloatArray  # (n, size)

    @property
    def elements(self) -> int:
        """Number of elements, the first entries of a step."""
        return int(self.m.atoms.shape[1])


def along_isentrope(
    model: Model, target: Target, progress: Progress, move: Move
) -> tuple[FloatArray, FloatArray]:
    """Return the whole step, change of pressure included, and the change of ln p."""
    if target.closing is None:
        raise ValueError("a closure needs a value to reach")
    if target.closure == "pressure":
        wanted = target.closing - move.work.log_pressure
        log_p = np.clip(wanted, -MOST_LOG_P, MOST_LOG_P)
    elif target.closure == "saturation":
        log_p = _to_saturation(model, target.closing.astype(np.intp), move)
    else:
        log_p = _to_throat(target.closing, progress, move)
    return move.step + log_p[:, None] * _bent(move, log_p), log_p


def sonic_excess(
    work: Iterate,
    m: Moments,
    energy: FloatArray,
    chamber: FloatArray,
    gamma: FloatArray,
) -> FloatArray:
    """Return u2 - a2, with the enthalpy corrected for the unconverged entropy.

    With the raw enthalpy of an unconverged state the formation enthalpies would swamp
    u2; H + RT r is what it will be when the entropy is met. [J/kg]
    """
    scale = GAS_CONSTANT * work.temperature
    enthalpy = scale * (m.enthalpy(work) + energy)
    return 2.0 * (chamber - enthalpy) - gamma * linear.gas_energy(work, m)


def _to_throat(chamber: FloatArray, progress: Progress, move: Move) -> FloatArray:
    """Return the change of ln p that makes the velocity the sound speed.

    The slope of u2 - a2 is that of a constant exponent at first, then the secant.
    """
    work, m = move.work, move.m
    gamma = linear.exponent(move.response, move.elements)
    excess = sonic_excess(work, m, move.energy, chamber, gamma)
    slope = -(gamma + 1.0) * linear.gas_energy(work, m)
    with np.errstate(invalid="ignore", divide="ignore"):
        moved = work.log_pressure - progress.log_pressure
        secant = (excess - progress.excess) / moved
        ratio = secant / slope
        size = np.abs(move.step[:, : move.elements + 2]).max(axis=1)
        close = (size < 1e-3) & (moved != 0.0)
    use = close & (ratio > 0.4) & (ratio < 2.5)
    slope = np.where(use, secant, slope)
    progress.excess[:] = np.where(close | np.isnan(progress.excess), excess, np.nan)
    progress.log_pressure[:] = work.log_pressure
    return np.clip(-excess / slope, -MOST_SONIC, MOST_SONIC)


def _to_saturation(model: Model, phase: IntArray, move: Move) -> FloatArray:
    """Return the change of ln p at which an absent phase is just saturated."""
    rows = np.arange(len(phase))
    atoms, h = model.phase_atoms[phase], move.m.phase.h[rows, phase]

    def change(side: FloatArray) -> FloatArray:
        total: FloatArray = (atoms * side[:, : move.elements]).sum(axis=1)
        return total + h * side[:, move.elements + 1]

    left = move.m.affinity[rows, phase] - change(move.step)
    with np.errstate(divide="ignore", invalid="ignore"):  # a row that is lost
        wanted = left / change(move.response)
    return np.clip(wanted, -MOST_SONIC, MOST_SONIC)


def _bent(move: Move, log_p: FloatArray) -> FloatArray:
    """Return the response to ln p with the potentials bent for a long step.

    Potentials over RT go with 1/T rather than with ln T; following 1/T makes a long
    step down an isentrope land closer.
    """
    x = -log_p * move.response[:, move.elements + 1]
    small = np.abs(x) < 1e-4
    safe = np.where(small, 1.0, x)
    factor = np.where(small, 1.0 + 0.5 * x, np.expm1(safe) / safe)
    bent = move.response.copy()
    bent[:, : move.elements] *= np.clip(factor, 0.5, 2.0)[:, None]
    return bent


# ----------------------------------------------------------------------------
# Which condensed phases are present: one change at a time.
#
# Constant temperature, constant enthalpy and constant entropy are each the dual of a
# convex program in the element potentials and the temperature (every condensed g(T) is
# concave, because the fits are continued with constant heat capacity). Adding the phase
# that most wants in and removing the one that is most negative, one at a time and only
# near convergence, therefore ends at the one solution. At given enthalpy or entropy
# both forms of a substance may stay: their two rows force g_solid = g_liquid, hence the
# melting temperature, and the energy row gives the split; a plateau needs no special
# code. At given temperature one form replaces the other.

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


# ----------------------------------------------------------------------------
# The iteration: damped Newton steps on a batch until every row is solved or lost.

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
    iterate : Iterate
        The start; holds the result afterwards (rows not solved: the last iterate).
    limit : int
        Most iterations.
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
    near = size < NEAR
    swapped = swap_forms(model, batch, work, ~near & ~progress.swapped)
    progress.swapped |= swapped
    added, removed = update(model, batch, work, affinity, near, free_temperature=free)
    returning = toggled(progress.returns, added, RETURNS)
    changed = swapped | added.any(axis=1) | removed.any(axis=1)
    lost = ~np.isfinite(size) | (work.temperature < target.floor)
    if target.closure in ("sonic", "saturation"):
        lost |= returning
    small = size < SOLVED
    nothing = small[:, None] & (work.amounts > NEGATIVE)
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
