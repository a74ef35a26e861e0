"""The lowest point of the largest of some quadratics, others and linear rows kept."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from castsugar.arrays import FloatArray
from castsugar.frozen import dataclass
from castsugar.numerics import nonnegative_least_squares

# ----------------------------------------------------------------------------
# Newton's method on the conditions of Karush, Kuhn and Tucker, a quadratic program a
# step, whose violations cost so much that keeping the rows is cheaper (R. Fletcher,
# *Practical Methods of Optimization*, ch. 12 and 14, from memory). scipy.optimize has
# SLSQP for it, and loads longer than a search takes for all of its steps.

#: What a violation costs: the first that leaves none.
_COSTS = (1e1, 1e3, 1e5)

#: A violation that is none; a step that is the last one; most steps.
_KEPT, _DONE, _STEPS = 1e-9, 1e-9, 60

#: Least curvature of a model; what goes above a row by rounding.
_FLAT, _ROUNDING = 1e-6, 1e-12

#: Shares of a step that are tried, and the share of what it promises that counts.
_SHARES = tuple(0.5**halved for halved in range(14))
_GAINED = 1e-4

Numbers = NDArray[np.intp]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Program:
    """Minimise the largest of quadratics; the others at most 0, and linear rows."""

    #: Of the quadratics, all near 1 in size.
    value: FloatArray  # (m,)
    gradient: FloatArray  # (m, d)
    hessian: FloatArray  # (m, d, d)
    tops: int  # how many of the first are those of which the largest counts, 1 or more
    #: ``normals w <= room``; they hold w between -1 and 1.
    normals: FloatArray  # (r, d)
    room: FloatArray  # (r,)

    def solve(self, start: FloatArray) -> tuple[FloatArray, float]:
        """Return the w found from one that keeps the linear rows, and what counts."""
        for cost in _COSTS:
            w = np.clip(self._sought(start, cost), -1.0, 1.0)
            top, violation = self._levels(self._quadratics(w))
            if violation <= _KEPT:
                break
        return w, float(top)

    def _quadratics(self, w: FloatArray) -> FloatArray:
        return self.value + (self.gradient + 0.5 * self.hessian @ w) @ w

    def _levels(self, out: FloatArray) -> FloatArray:
        """Return the largest that counts, and the violation."""
        return np.array([out[: self.tops].max(), out[self.tops :].max(initial=0.0)])

    def _sought(self, w: FloatArray, cost: float) -> FloatArray:
        """Return the best w found by steps in w and both levels."""
        count, size = self.gradient.shape
        costs = np.append(np.zeros(size), [1.0, cost])
        curved = np.diag(np.append(np.ones(size + 1), cost))
        rows = np.zeros((count + len(self.room) + 1, size + 2))
        rows[: self.tops, -2] = rows[self.tops : count, -1] = rows[-1, -1] = -1.0
        rows[count:-1, :size] = self.normals
        prices, own = np.zeros(count), np.array([], dtype=np.intp)
        prices[: self.tops] = 1.0 / self.tops
        out = self._quadratics(w)
        level = self._levels(out)
        for _ in range(_STEPS):
            curved[:size, :size] = _convex(np.tensordot(prices, self.hessian, 1))
            rows[:count, :size] = self.gradient + self.hessian @ w
            over = out + rows[:count, size:] @ level
            limits = np.concatenate([-over, self.room - self.normals @ w, level[1:]])
            step, paid, own = _quadratic_program(curved, costs, rows, limits, own)
            for share in _SHARES:
                new = w + share * step[:size]
                out = self._quadratics(new)
                risen = costs[size:] @ (self._levels(out) - level)
                if risen <= 1e-15 + _GAINED * share * (costs @ step):
                    break
            else:
                return w
            moved, w, level = np.abs(new - w).max(), new, self._levels(out)
            if moved < _DONE:
                break
            prices = np.zeros(len(limits))
            prices[own] = paid
            prices = prices[:count]
        return w


def _convex(hessian: FloatArray) -> FloatArray:
    """Return a matrix without what bends down or not at all."""
    size, ways = np.linalg.eigh(hessian)
    return np.asarray((ways * np.maximum(size, _FLAT)) @ ways.T)


def _quadratic_program(
    curved: FloatArray,
    costs: FloatArray,
    rows: FloatArray,
    limits: FloatArray,
    guess: Numbers,
) -> tuple[FloatArray, FloatArray, Numbers]:
    """Minimise ``costs x + x curved x / 2`` with ``rows x <= limits``.

    As the shortest vector of a polyhedron: C. L. Lawson & R. J. Hanson, *Solving Least
    Squares Problems*, ch. 23 (from memory). Returns x, and the prices and numbers of
    the rows that hold it; those guessed are tried first.
    """
    if guess.size:
        x, prices = _held(curved, costs, rows, limits, guess)
        if prices.min() >= 0.0 and (rows @ x - limits).max() <= _ROUNDING:
            return x, prices, guess
    size, ways = np.linalg.eigh(curved)
    half = ways / np.sqrt(size)
    normals = rows @ half
    away = limits + normals @ (half.T @ costs)
    short = nonnegative_least_squares(
        np.vstack([normals.T, away]), np.append(np.zeros(len(costs)), -1.0)
    )
    own = np.flatnonzero(short)
    return *_held(curved, costs, rows, limits, own), own


def _held(
    curved: FloatArray,
    costs: FloatArray,
    rows: FloatArray,
    limits: FloatArray,
    own: Numbers,
) -> tuple[FloatArray, FloatArray]:
    """Return the lowest x at some of the rows, and their prices."""
    size = len(costs)
    both = np.zeros((size + len(own), size + len(own)))
    both[:size, :size], both[size:, :size] = curved, rows[own]
    both[:size, size:] = rows[own].T
    found = np.linalg.lstsq(both, np.concatenate([-costs, limits[own]]), 1e-14)[0]
    return found[:size], found[size:]
