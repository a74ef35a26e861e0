"""An optimum that a sloppy batch still keeps."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from scipy.special import ndtri

from castsugar.arrays import BoolArray, FloatArray
from castsugar.data.load import load_database
from castsugar.draw_set import FEW_DRAWS, normals
from castsugar.limits import Limit
from castsugar.mix.weighing import Lot, syrup_use
from castsugar.optimize.multistart import Effort
from castsugar.optimize.optimum import optimise
from castsugar.optimize.problem import Goal
from castsugar.optimize.shadow_prices import Found
from castsugar.optimize.space import Space
from castsugar.optimize.task import Settings, Sloppiness, TableProblem

# ----------------------------------------------------------------------------
# Batches as people weigh them: recipes that miss, syrup and powders that differ.

#: Batches that are drawn, and levels of the syrup's solids among them.
COUNT, _LEVELS = FEW_DRAWS, 5

_WATER = "water"

#: A limit counts as kept down to this part of it.
_ROUNDING = 1e-9

#: Dry solids stay between these.
_SOLIDS = (0.5, 0.95)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Batches:
    """How batches of a mix scatter.

    Attributes
    ----------
    sloppiness : Sloppiness
    batch : float
        Mass of what is weighed. [kg]
    seed : int
    count : int
    """

    sloppiness: Sloppiness
    batch: float
    seed: int
    count: int = COUNT

    def deviations(
        self, problem: TableProblem, fractions: FloatArray, goal: Goal
    ) -> FloatArray:
        """Return the standard deviation of every limit, (m,).

        Of the logarithm where the limit is logarithmic.
        """
        used = np.flatnonzero(fractions > 0.0)
        weighed = np.repeat(fractions[None], len(used) + 1, axis=0)
        weighed[np.arange(len(used)), used] += self.sloppiness.weighing / self.batch
        damp = np.r_[np.zeros(len(used)), self.sloppiness.moisture]
        changed = _evaluate(problem, weighed, damp, 0.0)
        still = _evaluate(problem, fractions[None], np.zeros(1), 0.0)
        thinner = _evaluate(
            problem, fractions[None], np.zeros(1), -self.sloppiness.syrup_solids
        )
        every = _shifts(problem, goal, np.vstack([changed, thinner]))
        moved = every - _shifts(problem, goal, still)
        moved[-1, _own_solids(goal)] = 0.0
        return np.sqrt((moved**2).sum(axis=0))

    def kept(self, problem: TableProblem, fractions: FloatArray, goal: Goal) -> float:
        """Return the share of drawn batches that keep every limit."""
        used = fractions > 0.0
        scores = [self._scores(f"weighing|{i}") for i in problem.settings.items]
        wrong = np.stack(scores, axis=1) * used
        weighed = fractions + wrong * self.sloppiness.weighing / self.batch
        weighed = np.maximum(weighed, 0.0)
        damp = self.sloppiness.moisture * np.abs(self._scores("moisture"))
        chances = (np.arange(_LEVELS) + 0.5) / _LEVELS
        shifts = self.sloppiness.syrup_solids * ndtri(chances)
        kept = 0
        for level, shift in enumerate(shifts.tolist()):
            part = slice(level, None, _LEVELS)
            values = _evaluate(problem, weighed[part], damp[part], shift)
            still = _evaluate(problem, weighed[part], damp[part], 0.0)
            fine = np.ones(len(values), dtype=bool)
            own = _own_solids(goal)
            for limit, drawn in zip(goal.limits, own.tolist(), strict=True):
                table = still if drawn else values
                slack = limit.slack(table[:, _place(problem, limit.column)])
                fine &= slack >= -_ROUNDING * abs(limit.value)
            kept += int(fine.sum())
        return kept / self.count

    def _scores(self, name: str) -> FloatArray:
        return normals(name, self.count, self.seed)


def _own_solids(goal: Goal) -> BoolArray:
    """Mark limits that draw the solids of the syrup already: chances of pouring."""
    names = [limit.column for limit in goal.limits]
    return np.array([n.startswith("pour_viscosity_Pa_s, ") for n in names], dtype=bool)


def _evaluate(
    problem: TableProblem, weighed: FloatArray, damp: FloatArray, shift: float
) -> FloatArray:
    """Return the columns of batches: parts as weighed, water of damp powders."""
    settings = problem.settings
    items = settings.items
    if _WATER not in items:
        items = (*items, _WATER)
        weighed = np.column_stack([weighed, np.zeros(len(weighed))])
    wet = weighed.copy()
    dry = np.array([_is_powder(name) for name in items])
    brought = damp[:, None] * weighed * dry
    wet -= brought
    wet[:, items.index(_WATER)] += brought.sum(axis=1)
    lots = _lots(settings, shift)
    moved = replace(problem, settings=replace(settings, items=items, lots=lots))
    return moved.evaluate(wet / wet.sum(axis=1, keepdims=True))


def _is_powder(name: str) -> bool:
    return name != _WATER and syrup_use(load_database(), name, 1.0, None) is None


def _lots(settings: Settings, shift: float) -> Mapping[str, Lot]:
    """Return the lots with the dry solids of every syrup shifted."""
    data, lots = load_database(), dict(settings.lots)
    if shift == 0.0:
        return lots
    for name in settings.items:
        lot = lots.get(name)
        use = syrup_use(data, name, 1.0, lot)
        if use is not None and use.dry_solids < 1.0:
            solids = float(np.clip(use.dry_solids + shift, *_SOLIDS))
            lots[name] = replace(lot or Lot(), dry_solids=solids)
    return lots


def _shifts(problem: TableProblem, goal: Goal, values: FloatArray) -> FloatArray:
    """Return what limits look at: columns, or their logarithms, (n, m)."""
    found = []
    for limit in goal.limits:
        column = values[:, _place(problem, limit.column)]
        found.append(np.log(column) if limit.logarithmic else column)
    return np.stack(found or [np.zeros(len(values))], axis=1)


def _place(problem: TableProblem, column: str) -> int:
    return list(problem.columns).index(column)


# ----------------------------------------------------------------------------
# An optimum that a sloppy batch still keeps.
#
# A batch misses its recipe: every part is weighed wrong a little, the syrup is thinner
# or thicker than thought, powders are damp. To first order each limit then moves with a
# standard deviation of its own, found by weighing every part wrong once. The search is
# asked again with every limit tightened by so many deviations that 95 of 100 batches
# keep it (each limit by itself); both answers are then tried in drawn batches.

#: One-sided normal quantile of 95 of 100 batches.
_KEPT = 1.645


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Robust:
    """A robust optimum beside the nominal one.

    Attributes
    ----------
    found : Found
        Of the tightened limits.
    margins : dict of str to float
        Name of each limit to how far it was tightened; of a logarithmic one the factor
        less 1. [unit of the column, or -]
    price : float
        Objective of the nominal optimum less that of the robust one, the better way up.
    kept_nominal, kept_robust : float
        Share of the drawn batches that keep all limits.
    batches : int
    """

    found: Found
    margins: Mapping[str, float]
    price: float
    kept_nominal: float
    kept_robust: float
    batches: int


def robust_optimum(
    problem: TableProblem,
    goal: Goal,
    space: Space,
    nominal: Found,
    batches: Batches,
    *,
    effort: Effort,
) -> Robust:
    """Search again with limits tightened by what a sloppy batch may do."""
    deviation = batches.deviations(problem, nominal.fractions, goal)
    tightened = tuple(
        _tightened(limit, _KEPT * s)
        for limit, s in zip(goal.limits, deviation, strict=True)
    )
    found = optimise(
        problem,
        replace(goal, limits=tightened),
        space,
        effort=replace(effort, prices=False),
    )
    sign = 1.0 if goal.maximise else -1.0
    return Robust(
        found=found,
        margins={
            limit.name: _KEPT * s
            for limit, s in zip(goal.limits, deviation.tolist(), strict=True)
        },
        price=sign * (nominal.objective - found.objective),
        kept_nominal=batches.kept(problem, nominal.fractions, goal),
        kept_robust=batches.kept(problem, found.fractions, goal),
        batches=batches.count,
    )


def _tightened(limit: Limit, margin: float) -> Limit:
    """Return a limit moved inward; by a factor if it is logarithmic."""
    if limit.logarithmic:
        value = limit.value * float(np.exp(-limit.sign * margin))
    else:
        value = limit.value - limit.sign * margin
    return replace(limit, value=value)
