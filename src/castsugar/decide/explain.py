"""Why a space is empty: the rows that cannot be kept together."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy.optimize import linprog

from castsugar.decide.ratios import Row

#: A set of rows that must be broken by more than this conflicts. [mass fraction]
_BROKEN = 1e-9


def conflict(columns: Sequence[str], rows: Sequence[Row]) -> tuple[str, ...]:
    """Return names of rows that conflict, such that without any one they do not.

    A deletion filter: a name whose rows can go without making the rest possible goes.
    Rows of one name (a fixed part) go together. That fractions are 0 or more and sum
    to 1 is never given up.

    Source: J. W. Chinneck & E. W. Dravnieks, "Locating minimal infeasible constraint
    sets in linear programs", ORSA J. Computing 3 (1991) 157 (from memory).

    Examples
    --------
    >>> low = Row(name="a at least 70 %", coefficients={"a": -1.0}, limit=-0.7)
    >>> more = Row(name="b at least 40 %", coefficients={"b": -1.0}, limit=-0.4)
    >>> less = Row(name="b at most 90 %", coefficients={"b": 1.0}, limit=0.9)
    >>> conflict(["a", "b"], [low, less, more])
    ('a at least 70 %', 'b at least 40 %')
    """
    if _breakage(columns, rows) <= _BROKEN:
        return ()
    kept = list(rows)
    for name in dict.fromkeys(row.name for row in rows):
        fewer = [row for row in kept if row.name != name]
        if _breakage(columns, fewer) > _BROKEN:
            kept = fewer
    return tuple(dict.fromkeys(row.name for row in kept))


def _breakage(columns: Sequence[str], rows: Sequence[Row]) -> float:
    """Return by how much the rows must be broken at least, all alike."""
    if not rows:
        return 0.0
    count = len(columns)
    matrix = [[r.coefficients.get(c, 0.0) for c in columns] + [-1.0] for r in rows]
    answer = linprog(
        np.r_[np.zeros(count), 1.0],
        A_ub=np.array(matrix),
        b_ub=[r.limit for r in rows],
        A_eq=np.r_[np.ones(count), 0.0][None, :],
        b_eq=[1.0],
        bounds=[(0.0, 1.0)] * count + [(0.0, None)],
        options={"primal_feasibility_tolerance": 1e-10},
    )
    return float(answer.fun)
