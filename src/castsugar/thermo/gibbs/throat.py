"""The throat: where the mass flux along the isentrope is largest.

Where everything is smooth the velocity equals the sound speed there. A phase that
starts to form lowers the sound speed at once, so that the flux can have its maximum
exactly at the onset, with the velocity between the two sound speeds (a pinned throat);
where a melting plateau ends the sound speed jumps up again, so that there can be two
maxima. The upstream one is what a flow from the chamber meets first; it is the one
returned, with a flag.
"""

from __future__ import annotations

import numpy as np

from castsugar.arrays import BoolArray, FloatArray, IntArray
from castsugar.constants import GAS_CONSTANT
from castsugar.frozen import dataclass
from castsugar.thermo.certificate import FLUX_STEP
from castsugar.thermo.gibbs import linear
from castsugar.thermo.gibbs.expansion import (
    Isentrope,
    excess,
    exits,
    to_saturation,
    to_sound,
)
from castsugar.thermo.gibbs.model import Iterate

#: A throat within this of a transition temperature may have to be decided [relative].
_NEAR_TRANSITION = 1e-7

#: The last resort walks down the isentrope in steps of ln p, then halves them.
_SCAN_STEP, _SCAN_COUNT, _HALVINGS = 0.04, 40, 45


@dataclass(slots=True, eq=False)
class Throats:
    """Solved throats, one row a mix."""

    iterate: Iterate
    start: Iterate  # the chamber, or the end of a plateau that was passed
    solved: BoolArray
    iterations: IntArray
    pinned: BoolArray  # on the onset of a phase
    two: BoolArray  # a second maximum lies downstream


def throats(isentrope: Isentrope, chamber: Iterate) -> Throats:
    """Find the throat of every row."""
    iterate, outcome = to_sound(isentrope, chamber)
    none = np.zeros(chamber.count, bool)
    result = Throats(
        iterate,
        chamber.take(np.arange(chamber.count)),
        outcome.solved,
        outcome.iterations,
        none.copy(),
        none.copy(),
    )
    by_heat = sorted(isentrope.model.transitions, key=lambda t: -t[2])
    for cold, hot, limit in by_heat:
        rows = _crossing(isentrope, chamber, result, (cold, hot, limit))
        if rows.size:
            _decide_plateau(isentrope, result, rows, (cold, hot))
    left = np.flatnonzero(~result.solved)
    if left.size:
        _decide_onset(isentrope, result, left)
    left = np.flatnonzero(~result.solved)
    if left.size:
        _bisect(isentrope, chamber, result, left)
    return result


def flux_excess(isentrope: Isentrope, throat: Iterate) -> FloatArray:
    """Return by how much the mass flux beside each throat exceeds its own, relative.

    The states beside are solved again at constant entropy; no exponent comes in. A side
    on which other phases are present, or the gases have their other fit, is not looked
    at: there the flux may have a kink or a step, and rise again. So a throat pinned on
    an onset is tested from upstream only. NaN where no side can be looked at, infinite
    where a state beside is not found.
    """
    model = isentrope.model
    at, above = _flux(isentrope, throat), model.side(throat.temperature)
    most = np.full(throat.count, np.nan)
    for step in (FLUX_STEP, -FLUX_STEP):
        wanted = throat.log_pressure + np.log1p(step)
        beside, outcome = exits(isentrope, throat, wanted)
        alike = (beside.active == throat.active).all(axis=1)
        alike &= model.side(beside.temperature) == above
        excess = np.where(alike, _flux(isentrope, beside) / at - 1.0, np.nan)
        most = np.fmax(most, np.where(outcome.solved, excess, np.inf))
    return most


def _flux(isentrope: Isentrope, iterate: Iterate) -> FloatArray:
    """Return the mass flux, over the reference pressure. [s/m]"""
    m = linear.moments(isentrope.model, isentrope.batch, iterate)
    scale = GAS_CONSTANT * iterate.temperature
    gained = isentrope.enthalpy - scale * m.enthalpy(iterate)
    velocity = np.sqrt(2.0 * np.maximum(gained, 0.0))
    return velocity * np.exp(iterate.log_pressure) / (m.moles * scale)


def _crossing(
    isentrope: Isentrope,
    chamber: Iterate,
    result: Throats,
    transition: tuple[int, int, float],
) -> IntArray:
    """Return the rows whose throat may lie on a plateau, or beyond it."""
    cold, hot, limit = transition
    allowed = isentrope.batch.allowed
    t_chamber, t_throat = chamber.temperature, result.iterate.temperature
    reached = t_throat <= limit * (1.0 + _NEAR_TRANSITION)
    unsure = ~result.solved & (t_chamber < 1.15 * limit)
    from_above = t_chamber >= limit * (1.0 - _NEAR_TRANSITION)
    melted = chamber.active[:, hot] & allowed[:, cold] & allowed[:, hot]
    return np.flatnonzero(melted & from_above & (reached | unsure))


def _decide_plateau(
    isentrope: Isentrope,
    result: Throats,
    rows: IntArray,
    forms: tuple[int, int],
) -> None:
    """Decide where the upstream throat lies when the isentrope crosses a plateau.

    Going downstream: hot form only, plateau, cold form only. u2 - a2 rises within each
    and jumps where one ends (up at the start of the plateau, down at its end), so its
    sign at the two ends of the plateau says where the first maximum is.
    """
    cold, hot = forms
    here = isentrope.take(rows)
    hot_only = here.without(cold)
    begin = result.start.take(rows)
    above = ~begin.active[:, cold]  # the chamber is not yet on the plateau
    ok = np.ones(len(rows), bool)
    before = np.full(len(rows), -1.0)
    fresh = np.flatnonzero(above)
    if fresh.size:
        found, ok[fresh] = to_saturation(hot_only.take(fresh), begin.take(fresh), cold)
        begin.put(fresh, found)
        before[fresh] = excess(hot_only.take(fresh), found, hot)
    inside = excess(here, begin, cold, hot)
    upstream = ok & above & (before >= 0.0)
    pinned = ok & above & (before < 0.0) & (inside >= 0.0)
    _accept(result, rows[pinned], begin.take(pinned), pinned=True)
    _solve(hot_only, begin, result, rows, upstream)
    late = ok & ~upstream
    if late.any():
        _decide_end(here.take(late), begin.take(late), result, rows[late], forms)


def _decide_end(
    isentrope: Isentrope,
    begin: Iterate,
    result: Throats,
    rows: IntArray,
    forms: tuple[int, int],
) -> None:
    """Look at the end of the plateau: is the throat on it or downstream of it?

    Rows that are pinned at its start have their throat; for them the end only says
    whether a second one follows.
    """
    cold, hot = forms
    cold_only = isentrope.without(hot)
    end = begin.take(np.arange(begin.count))
    end.amounts[:, cold] += end.amounts[:, hot]
    end.active[:, cold] = True
    end, ok = to_saturation(cold_only, end, hot)
    inside = excess(isentrope, end, cold, hot)
    again = ok & (excess(cold_only, end, cold) < 0.0)
    pinned = result.pinned[rows]
    result.two[rows[pinned]] = again[pinned]
    ok &= ~pinned
    down = ok & (inside < 0.0)
    result.start.put(rows[down], end.take(down))
    _solve(cold_only, end, result, rows, down)
    on = ok & (inside >= 0.0)
    if on.any():
        middle = begin.take(np.arange(begin.count))
        for name in ("potentials", "log_moles", "log_pressure", "amounts"):
            mean = 0.5 * (getattr(begin, name) + getattr(end, name))
            getattr(middle, name)[:] = mean
        middle.active[:, [cold, hot]] = True
        _solve(isentrope.holding(cold, hot), middle, result, rows, on)
        result.two[rows[on]] = again[on]


def _decide_onset(isentrope: Isentrope, result: Throats, rows: IntArray) -> None:
    """Decide unsolved throats at which some other phase comes and goes.

    At the onset of the phase the sign of u2 - a2 without and with it says whether the
    throat lies upstream of the onset, on it, or downstream.
    """
    for phase in range(isentrope.batch.allowed.shape[1]):
        left = rows[~result.solved[rows]]
        present = result.start.active[left, phase]
        may_form = isentrope.batch.allowed[left, phase] & ~present
        left = left[may_form]
        if not left.size:
            continue
        here = isentrope.take(left)
        without = here.without(phase)
        onset, ok = to_saturation(without, result.start.take(left), phase)
        before = excess(without, onset)
        inside = excess(here, onset, phase)
        pinned = ok & (before < 0.0) & (inside >= 0.0)
        _accept(result, left[pinned], onset.take(pinned), pinned=True)
        _solve(without, onset, result, left, ok & (before >= 0.0))
        onset.active[:, phase] = True
        _solve(here.holding(phase), onset, result, left, ok & (inside < 0.0))


def _bisect(
    isentrope: Isentrope, chamber: Iterate, result: Throats, rows: IntArray
) -> None:
    """Close in on the first sign change of u2 - a2 downstream of the chamber.

    The last resort, slow and sure: it also finds a throat that lies on a step of the
    sound speed which is no phase change (a heat capacity that steps in a fit).
    """
    here = isentrope.take(rows)
    upper = chamber.take(rows)
    found, known = upper.take(np.arange(len(rows))), np.zeros(len(rows), bool)
    for _ in range(_SCAN_COUNT):
        lower, outcome = exits(here, upper, upper.log_pressure - _SCAN_STEP)
        beyond = outcome.solved & (excess(here, lower) >= 0.0) & ~known
        found.put(beyond, lower.take(beyond))
        known |= beyond
        move = outcome.solved & ~known
        upper.put(move, lower.take(move))
        if known.all() or not (move | known).all():
            break
    for _ in range(_HALVINGS):
        middle = 0.5 * (upper.log_pressure + found.log_pressure)
        between, outcome = exits(here, found, middle)
        known &= outcome.solved
        beyond = excess(here, between) >= 0.0
        found.put(known & beyond, between.take(known & beyond))
        upper.put(known & ~beyond, between.take(known & ~beyond))
    _accept(result, rows[known], found.take(known))


def _solve(
    isentrope: Isentrope,
    start: Iterate,
    result: Throats,
    rows: IntArray,
    chosen: BoolArray,
) -> None:
    """Solve the sonic condition of the chosen rows with the phases that are left."""
    if not chosen.any():
        return
    iterate, outcome = to_sound(isentrope.take(chosen), start.take(chosen))
    picked = rows[chosen]
    result.iterations[picked] += outcome.iterations
    result.solved[picked] = False
    good = outcome.solved & (iterate.amounts >= 0.0).all(axis=1)
    _accept(result, picked[good], iterate.take(good))


def _accept(
    result: Throats, rows: IntArray, iterate: Iterate, *, pinned: bool = False
) -> None:
    """Take over solved throats."""
    result.iterate.put(rows, iterate)
    result.solved[rows] = True
    result.pinned[rows] = pinned
