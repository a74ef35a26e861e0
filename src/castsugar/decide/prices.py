"""Shadow prices: what a unit of each limit buys, from slopes and by trying. Floor 5."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import nnls

from castsugar.decide.found import Price
from castsugar.decide.judge import Judge
from castsugar.decide.ledger import MOVED, Ledger
from castsugar.decide.polish import Manner, Polished, polish
from castsugar.decide.region import Region
from castsugar.decide.space import Space
from castsugar.decide.together import Ask, Search, together
from castsugar.decide.vertices import FloatArray
from castsugar.decide.walk import Look, Walk
from castsugar.errors import InputError

#: Scaled slack, and mass fraction, within which a limit or row binds.
BINDS = 1e-6

#: How far limits are moved to try: share of the limit; mass fraction of a row.
_MOVE, _MOVE_ROW = 1e-3, 1e-3

#: Reach of the wide look and radius of the one for slopes; first reach of the searches
#: with a moved limit.
_WIDE, _LOOK, _RADIUS = 0.05, 3e-3, 0.02


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Multipliers:
    """Multipliers of scaled outputs at a mix.

    Attributes
    ----------
    limits : ndarray, shape (m,)
    rows : ndarray, shape (rows of the region,)
        Of the objective to minimise, per mass fraction.
    residual : float
        What is left of the slope, as a share of it.
    """

    limits: FloatArray
    rows: FloatArray
    residual: float


def multipliers(
    region: Region, number: int, judge: Judge, fractions: FloatArray
) -> Search[Multipliers]:
    r"""Return the multipliers that balance the slopes best, none below 0.

    .. math:: \nabla F = \sum_j \lambda_j \nabla G_j - \sum_i \nu_i n_i

    over binding slacks G and rows n, by non-negative least squares (C. L. Lawson &
    R. J. Hanson, *Solving Least Squares Problems*, ch. 23). At a kink the slope of each
    branch of a column has a share of its own; those of the objective sum to 1.
    """
    walk = Walk(
        region=region, judge=judge, z=region.coordinates(fractions), radius=_LOOK
    )
    none = np.zeros(len(judge.goal.limits)), np.zeros(len(region.limits))
    # The wide look tells how large slopes are, the narrow one whether there is a kink.
    for look in (Look.plain(walk.z, _WIDE), Look.sampling(walk.z, _LOOK)):
        points = region.mixes(look.points)
        slopes = tuple(range(len(look.places)))
        answer = yield Ask(fractions=points, region=number, slopes=slopes)
        if not walk.arrive(look, answer):
            return Multipliers(limits=none[0], rows=none[1], residual=np.nan)
    pieces = walk.pieces if walk.kinky else walk.pieces[:1]
    seen = np.stack([piece.around(walk.z, 1.0)[1] for piece in pieces])
    binding = np.flatnonzero(walk.outputs[1:] <= BINDS)
    rows = walk.rows
    close = np.flatnonzero(rows.limits - rows.normals @ walk.z <= BINDS)
    columns = [seen[:, 0], -seen[:, 1 + binding].reshape(-1, region.dimension)]
    design = np.vstack([*columns, rows.normals[close]]).T
    size = max(float(np.abs(seen[:, 0]).max(initial=0.0)), 1e-12)
    shares = np.zeros(design.shape[1])
    shares[: len(pieces)] = 1e3 * size
    target = np.append(np.zeros(region.dimension), 1e3 * size)
    solved, _ = nnls(np.vstack([design, shares]), target)
    rest = float(np.abs(design @ solved).max(initial=0.0)) / size
    parts = np.split(solved, np.cumsum([len(pieces), len(pieces) * len(binding)]))
    of_limits, of_rows = none
    of_limits[binding] = parts[1].reshape(len(pieces), -1).sum(axis=0)
    of_rows[rows.places[close]] = parts[2] / rows.sizes[close]
    return Multipliers(limits=of_limits, rows=of_rows, residual=rest)


def _manner(change: float) -> Manner:
    """Return how to search where the objective is expected to change by so much."""
    return Manner(radius=_RADIUS, gain=1e-4 * change, confirm=False)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Trier:
    """Searches again with one limit or row moved.

    Attributes
    ----------
    ledger, judge, space
        Of the search that found the best mix.
    region : Region
        Where it lies.
    number : int
        Of the region.
    fractions, objective
        Of the best mix; the objective scaled, to be minimised.
    again : bool
        Whether to search again; else prices are multipliers alone.
    """

    ledger: Ledger
    judge: Judge
    space: Space
    region: Region
    number: int
    fractions: FloatArray
    objective: float
    again: bool = True

    def limit_prices(self, found: Multipliers) -> dict[int, Price]:
        """Return the price of every binding limit, by its number."""
        limits = self.judge.goal.limits
        prices: dict[int, Price] = {}
        for index in np.flatnonzero(found.limits > 0.0).tolist():
            slope = limits[index].sign * found.limits[index] / self._unit(index)
            prices[index] = Price(multiplier=-self._per_objective(slope))
        if not self.again:
            return prices
        searches = [
            polish(
                self.region,
                self.number,
                self._moved(index, way),
                self.fractions,
                manner=_manner(_MOVE * found.limits[index]),
            )
            for index in prices
            for way in (1.0, -1.0)
        ]
        ends = together(self.ledger, searches)
        for place, (index, price) in enumerate(prices.items()):
            step = _MOVE * self._unit(index)
            pair = ends[2 * place : 2 * place + 2]
            prices[index] = self._tried(price, pair, step, limits[index].sign)
        return prices

    def row_prices(self, found: Multipliers) -> dict[int, Price]:
        """Return the price of every binding row, by its number in the region."""
        prices: dict[int, Price] = {}
        pairs: dict[int, list[Region | None]] = {}
        names = {row.name for row in self.space.movable_rows()}
        for index in np.flatnonzero(found.rows > 0.0).tolist():
            multiplier = -self._per_objective(found.rows[index])
            prices[index] = Price(multiplier=multiplier)
            name = self.region.row_names[index]
            if self.again and name in names:
                pairs[index] = [self._region(name, s * _MOVE_ROW) for s in (1, -1)]
        moved = {i: [r for r in pair if r] for i, pair in pairs.items() if all(pair)}
        searches = [
            polish(
                region,
                MOVED,
                self.judge,
                self.fractions,
                manner=_manner(_MOVE_ROW * found.rows[index]),
            )
            for index, pair in moved.items()
            for region in pair
        ]
        ends = together(self.ledger, searches)
        for place, index in enumerate(moved):
            pair = ends[2 * place : 2 * place + 2]
            prices[index] = self._tried(prices[index], pair, _MOVE_ROW, 1.0)
        return prices

    def _unit(self, index: int) -> float:
        """Return the size by which a limit's slack was divided."""
        limit = self.judge.goal.limits[index]
        return limit.value if limit.logarithmic else float(self.judge.scales[index])

    def _moved(self, index: int, way: float) -> Judge:
        """Return the judge with one limit relaxed (1) or tightened (-1) by a step."""
        goal = self.judge.goal
        limits = list(goal.limits)
        change = way * limits[index].sign * _MOVE * self._unit(index)
        limits[index] = replace(limits[index], value=limits[index].value + change)
        return replace(self.judge, goal=replace(goal, limits=tuple(limits)))

    def _region(self, name: str, change: float) -> Region | None:
        try:
            regions = self.space.moved(name, change).regions()
        except InputError:
            return None
        same = [r for r in regions if r.choice == self.region.choice]
        return same[0] if same else None

    def _tried(
        self, price: Price, ends: Sequence[Polished], step: float, sign: float
    ) -> Price:
        """Return the price with the slopes of a relaxed and a tightened search."""
        relaxed, tightened = (
            end.objective if end.violation <= 0.0 else np.nan for end in ends
        )
        by = sign * step
        return replace(
            price,
            relaxed=self._per_objective((relaxed - self.objective) / by),
            tightened=self._per_objective((self.objective - tightened) / by),
            step=step,
        )

    def _per_objective(self, scaled: float) -> float:
        """Turn a change of what is minimised into one of the objective."""
        sign = -1.0 if self.judge.goal.maximise else 1.0
        return float(sign * scaled * self.judge.size)
