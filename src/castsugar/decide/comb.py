"""Mixes scattered closely around the best one: for edges where columns jump.

A burn law that is borrowed outside the measured mixes makes the pressure jump; along
such an edge hardly any direction is feasible, and neither models nor a pattern of
directions follow it. A cloud of mixes at all distances does. Our own safeguard.
"""

from __future__ import annotations

import numpy as np

from castsugar.arrays import FloatArray
from castsugar.decide.region import Region

#: Nearest and farthest mixes of the cloud [mass fraction].
_NEAREST, _FARTHEST = 5e-4, 0.04

#: Mixes for each free ingredient.
_EACH = 80


def cloud(region: Region, best: FloatArray, seed: int, turn: int) -> FloatArray:
    """Return mixes of the region around one, (n, k).

    Parameters
    ----------
    region : Region
    best : ndarray, shape (k,)
    seed, turn : int
        Another cloud for every turn.
    """
    rng = np.random.default_rng([seed, 17, turn])
    count = _EACH * region.dimension
    way = rng.standard_normal((count, region.dimension)) @ region.directions
    way /= np.abs(way).max(axis=1, keepdims=True)
    far = np.exp(rng.uniform(np.log(_NEAREST), np.log(_FARTHEST), (count, 1)))
    points = best + far * way
    return points[region.contains(points)]
