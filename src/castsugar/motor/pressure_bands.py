r"""One power law, or several in pressure bands? Only if the data call for it.

Rule. Against the single law stand the continuous laws of one and of two breaks, each
band with at least 3 strands at 2 or more pressures. The gain of the best break,

.. math:: G = 1 - SS_{break} / SS_{single}, \quad \max \text{ over all places,}

has no F distribution, because the place was searched for (Davies, *Biometrika* 74
(1987) 33, from memory). But without a break G depends on nothing but the tested
pressures and normal noise, so its distribution is drawn: a Monte-Carlo test, exact at
its level (Barnard, *J. R. Statist. Soc. B* 25 (1963) 294, from memory). One and two
breaks share the level of 5 %: each must beat 2.5 %. Of those that do, the lower AICc
wins, a break counted as two parameters.
"""

from __future__ import annotations

import itertools
import math

import numpy as np
from numpy.typing import ArrayLike

from castsugar.arrays import FloatArray
from castsugar.frozen import dataclass
from castsugar.motor.strand_fit import LawFit, checked, fit_law, replicates

#: Strands that each band must have, and at how many pressures.
STRANDS_A_BAND, PRESSURES_A_BAND = 3, 2

#: False alarms on straight data, shared by the tests for one and for two breaks.
FALSE_ALARM = 0.05

_DRAWS, _SEED = 1999, 20260101
_PLACES = 33  # grid of breaks over ln p; the best place is refined afterwards
_NO_SCATTER = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class BandTest:
    """What speaks for breaks."""

    breaks: int  # 1 or 2
    probability: float  # of a gain as large on straight data
    aicc: float  # of the best law with so many breaks


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BandChoice:
    """The chosen law, and the tests between one band and several."""

    chosen: LawFit
    tests: tuple[BandTest, ...]  # empty where there are too few strands for two bands


def choose_bands(pressure: ArrayLike, rate: ArrayLike) -> BandChoice:
    """Choose between one law and laws in pressure bands, by the rule of this module.

    Parameters
    ----------
    pressure, rate : array_like, shape (n,)
        [Pa], [m/s]

    Returns
    -------
    BandChoice
        The same for the same data, whatever their order: the seed is fixed.
    """
    p, r = checked(pressure, rate)
    single = fit_law(p, r)
    order = np.lexsort((r, p))
    p, r = p[order], r[order]
    tests: list[BandTest] = []
    fits: list[LawFit] = []
    noise = np.random.default_rng(_SEED).standard_normal((_DRAWS, len(p)))
    for count in (1, 2):
        search = BreakSearch(p, count)
        if not len(search.places) or single.scatter < _NO_SCATTER:
            break
        gain = search.gain(np.log(r))
        drawn = search.gain(noise)
        share = (1.0 + float((drawn >= gain).sum())) / (1.0 + _DRAWS)
        fit = fit_law(pressure, rate, search.best(np.log(r)))
        tests.append(BandTest(breaks=count, probability=share, aicc=_aicc(fit)))
        fits.append(fit)
    level = FALSE_ALARM / 2.0
    called = [i for i, t in enumerate(tests) if t.probability <= level]
    best = min(called, key=lambda i: tests[i].aicc, default=None)
    return BandChoice(
        chosen=single if best is None else fits[best],
        tests=tuple(tests),
    )


class BreakSearch:
    """All admitted places of breaks for given pressures, and what they gain.

    Parameters
    ----------
    pressure : ndarray, shape (n,)
        Rising. [Pa]
    count : int
        Number of breaks, 1 or 2.

    Attributes
    ----------
    places : ndarray, shape (m, count)
        ln p of the breaks; m is 0 if no place gives every band its strands.
    """

    def __init__(self, pressure: FloatArray, count: int) -> None:
        self._x = np.log(pressure)
        self._group = replicates(pressure)
        self._count = count
        grid = np.linspace(self._x[0], self._x[-1], _PLACES + 2)[1:-1]
        self._step = float(grid[1] - grid[0]) if len(grid) > 1 else 0.0
        pairs = itertools.combinations(grid, count)
        self.places = self._admitted(np.array(list(pairs)).reshape(-1, count))
        self._bases = self._orthonormal(self.places)

    def gain(self, log_rate: FloatArray) -> FloatArray:
        """Return the largest share of the single law's squares that breaks save.

        Parameters
        ----------
        log_rate : ndarray, shape (..., n)
        """
        return np.asarray(self._gains(log_rate, self._bases).max(axis=-1))

    def best(self, log_rate: FloatArray) -> tuple[float, ...]:
        """Return the best breaks [Pa], refined by ever finer grids round the best."""
        places, step = self.places, self._step
        at = places[int(np.argmax(self._gains(log_rate, self._bases)))]
        offsets = np.linspace(-1.0, 1.0, 9)
        around = np.array(list(itertools.product(offsets, repeat=self._count)))
        for _ in range(12):
            near = self._admitted(at + step * around)
            gains = self._gains(log_rate, self._orthonormal(near))
            at, step = near[int(np.argmax(gains))], 0.4 * step
        return tuple(float(b) for b in np.exp(at))

    def _admitted(self, places: FloatArray) -> FloatArray:
        """Keep the places that leave each band strands and pressures enough."""
        edges = np.full((len(places), 1), np.inf)
        bounds = np.hstack([-edges, places, edges])
        keep = np.ones(len(places), dtype=bool)
        for low, high in itertools.pairwise(bounds.T):
            inside = (self._x > low[:, None]) & (self._x <= high[:, None])
            first = np.where(inside, self._group, len(self._x)).min(axis=1)
            last = np.where(inside, self._group, -1).max(axis=1)
            levels = last - first + 1
            keep &= inside.sum(axis=1) >= STRANDS_A_BAND
            keep &= levels >= PRESSURES_A_BAND
        return places[keep]

    def _orthonormal(self, places: FloatArray) -> FloatArray:
        """Return what hinges add to a straight line, shape (m, n, count)."""
        hinges = np.maximum(0.0, self._x[None, :, None] - places[:, None, :])
        line = np.stack([np.ones_like(self._x), self._x - self._x.mean()], axis=1)
        line, _ = np.linalg.qr(line)
        hinges = hinges - line @ (line.T @ hinges)
        return np.asarray(np.linalg.qr(hinges)[0])

    def _gains(self, log_rate: FloatArray, bases: FloatArray) -> FloatArray:
        x = self._x - self._x.mean()
        y = log_rate - log_rate.mean(axis=-1, keepdims=True)
        y = y - (y @ x / (x @ x))[..., None] * x
        total = (y**2).sum(axis=-1, keepdims=True)
        saved = np.einsum("...n,mnk->...mk", y, bases, optimize=True)
        return np.asarray((saved**2).sum(axis=-1) / total)


def _aicc(fit: LawFit) -> float:
    """Return Akaike's criterion, corrected for few data (Hurvich & Tsai 1989)."""
    n = len(fit.pressure)
    parameters = len(fit.coefficients) + len(fit.breaks) + 1  # and the scatter
    square = max(fit.degrees_of_freedom * fit.scatter**2, n * _NO_SCATTER**2)
    if n - parameters - 1 <= 0:
        return math.inf
    penalty = 2.0 * parameters * n / (n - parameters - 1)
    return n * math.log(square / n) + penalty
