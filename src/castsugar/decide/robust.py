"""An optimum that a sloppy batch still keeps.

A batch misses its recipe: every part is weighed wrong a little, the syrup is thinner or
thicker than thought, powders are damp. To first order each limit then moves with a
standard deviation of its own, found by weighing every part wrong once. The search is
asked again with every limit tightened by so many deviations that 95 of 100 batches keep
it (each limit by itself); both answers are then tried in 200 drawn batches.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from castsugar.decide.found import Found
from castsugar.decide.hunt import Effort
from castsugar.decide.problem import Goal, Limit
from castsugar.decide.search import optimise
from castsugar.decide.sloppy import Batches
from castsugar.decide.space import Space
from castsugar.decide.table import TableProblem

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
