"""A last look around an optimum: a pattern of steps in all directions."""

from __future__ import annotations

import numpy as np

from castsugar.arrays import FloatArray
from castsugar.optimize.problem import Ask, Judge, Search
from castsugar.optimize.region import Region

# ----------------------------------------------------------------------------
# A last look around: does any step in any direction, large or small, help?
#
# A pattern search (V. Torczon, SIAM J. Optim. 7 (1997) 1, from memory) whose directions
# lead to the corners of the region, which span every feasible direction, and to random
# mixes. All sizes of step are asked for in one batch.

#: Steps, as shares of the way to a corner.
_SHARES = (0.3, 0.1, 0.03, 0.01, 1e-3, 1e-4, 1e-5)

#: Most corners and random mixes to step towards; most rounds.
_CORNERS, _RANDOM, _ROUNDS = 24, 12, 8


def poll(
    region: Region, number: int, judge: Judge, start: FloatArray, seed: int
) -> Search[FloatArray]:
    """Step in all directions as long as that helps; return the mix where it ends.

    A generator for :func:`castsugar.optimize.problem.side_by_side`.
    """
    rng = np.random.default_rng([seed, 13])
    best = start
    standing: tuple[float, float] | None = None
    for _ in range(_ROUNDS):
        points = np.vstack([best, _around(region, best, rng)])
        answer = yield Ask(fractions=points, region=number)
        objective, violation = judge.standing(answer.values)
        if standing is None:
            standing = float(violation[0]), float(objective[0])
        row = int(np.lexsort((objective, violation))[0])
        reached = float(violation[row]), float(objective[row])
        if not reached < standing or reached[1] > standing[1] - 1e-10 > reached[0]:
            return best
        best, standing = points[row], reached
    return best


def _around(region: Region, best: FloatArray, rng: np.random.Generator) -> FloatArray:
    """Return mixes in all directions, at all sizes of step."""
    targets = region.corners
    if len(targets) > _CORNERS:
        targets = targets[rng.choice(len(targets), _CORNERS, replace=False)]
    shares = rng.dirichlet(np.ones(len(region.corners)), _RANDOM)
    targets = np.vstack([targets, shares @ region.corners])
    ways = targets - best
    return np.vstack([best + share * ways for share in _SHARES])
