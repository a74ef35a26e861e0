"""Where a local search stands, and what it sees from there."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from castsugar.arrays import FloatArray
from castsugar.decide.judge import Judge, standing
from castsugar.decide.models import Quadratics, fit, nodes, stencil
from castsugar.decide.region import LocalRows, Region
from castsugar.decide.subproblem import Surroundings
from castsugar.decide.together import Answer

#: Slopes that change by more than this share nearby betray a kink, and what is nearby.
_KINK, _NARROW = 0.1, 5e-3


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Look:
    """Places to look from, and points around each.

    Attributes
    ----------
    places : ndarray, shape (p, d)
        The first is the mix itself.
    around : ndarray, shape (p, s, d)
    """

    places: FloatArray
    around: FloatArray

    @classmethod
    def plain(cls, z: FloatArray, reach: float) -> Look:
        """Look from one place."""
        return cls(places=z[None, :], around=stencil(z, reach)[None])

    @classmethod
    def sampling(cls, z: FloatArray, radius: float) -> Look:
        """Look from several places within half a radius.

        Gradient sampling: J. V. Burke, A. S. Lewis & M. L. Overton, SIAM J. Optim. 15
        (2005) 751 (from memory).
        """
        ends = nodes(len(z))[: len(z) + 1]
        places = np.vstack([z, z + 0.5 * radius * (ends - z)])
        return cls(
            places=places,
            around=np.stack([stencil(place, 0.03 * radius) for place in places]),
        )

    @property
    def points(self) -> FloatArray:
        """Return all points: the places first."""
        return np.vstack([self.places, *self.around])

    def __len__(self) -> int:
        """Return how many points there are."""
        places, each = self.around.shape[:2]
        return int(places * (each + 1))


@dataclass(slots=True, kw_only=True)
class Walk:
    """State of one search: where it stands, what it knows, how far it may step.

    Attributes
    ----------
    region, judge
        The region, and the judge of the goal.
    z : ndarray, shape (d,)
        Coordinates of the mix.
    radius : float
        Reach of a step. [coordinates]
    values, outputs : ndarray
        Columns of the mix, and what the judge makes of them.
    pieces : list of Quadratics
        Models; several where the columns have kinks.
    reach : float
        Of the look behind the models.
    kinky : bool
        Whether places nearby disagree about slopes.
    weight : float
        Of a violation against the objective.
    steepness : ndarray, optional
        How large slopes were in the first look.
    steps : int
        Made so far.
    entry : int, optional
        Number on the board of rivals.
    gave_up : bool
        Whether a rival made this search needless.
    """

    region: Region
    judge: Judge
    z: FloatArray
    radius: float
    values: FloatArray = field(default_factory=lambda: np.empty(0))
    outputs: FloatArray = field(default_factory=lambda: np.full(1, np.nan))
    pieces: list[Quadratics] = field(default_factory=list)
    reach: float = np.inf
    kinky: bool = False
    weight: float = 10.0
    steepness: FloatArray | None = None
    steps: int = 0
    entry: int | None = None
    gave_up: bool = False
    rows: LocalRows = field(init=False)

    def __post_init__(self) -> None:
        """Keep the rows of the region."""
        self.rows = self.region.local_rows()

    def surroundings(self, radius: float) -> Surroundings:
        """Return the models within reach."""
        return Surroundings.of(self.pieces, self.rows, self.z, radius)

    def merit(self, outputs: FloatArray) -> FloatArray:
        """Return objective plus weighted violation; infinite where a row failed."""
        objective, violation = standing(outputs)
        with np.errstate(invalid="ignore"):
            total = objective + self.weight * violation
        return np.where(np.isfinite(total), total, np.inf)

    def arrive(self, look: Look, answer: Answer) -> bool:
        """Stand where a look was taken; return whether it told anything.

        Parameters
        ----------
        look : Look
        answer : Answer
            To its points alone.
        """
        self.z, self.values = look.places[0], answer.values[0]
        self.outputs = self.judge.outputs(self.values)
        pieces = self._pieces(look, answer)
        if not pieces:
            return False
        self.reach = float(np.abs(look.around[0] - look.places[0]).max(initial=0.0))
        self._sort_out(pieces)
        return True

    def _pieces(self, look: Look, answer: Answer) -> list[Quadratics]:
        """Return models from the places whose columns are known."""
        count, each = look.around.shape[:2]
        outputs = self.judge.outputs(answer.values)
        if not np.isfinite(outputs[0]).all():
            return []
        found = []
        for row in range(count):
            if not np.isfinite(outputs[row]).all():
                continue
            part = slice(count + row * each, count + (row + 1) * each)
            slopes = None
            if answer.slopes is not None:
                slopes = self._slopes(answer.slopes[row], answer.values[row])
            points = look.around[row]
            place = look.places[row]
            found.append(fit(place, outputs[row], points, outputs[part], slopes))
        return found

    def _slopes(self, by_fraction: FloatArray, values: FloatArray) -> FloatArray:
        """Return derivatives of the outputs by coordinates from those of columns."""
        known = by_fraction[self.judge.places] @ self.region.directions.T
        return known * self.judge.factors(values)[:, None]

    def _bends(self, piece: Quadratics) -> FloatArray:
        """Return how much slopes change within a piece, against the first wide look."""
        bend = np.abs(piece.hessian).max(axis=(1, 2), initial=0.0)
        if self.steepness is None:
            slope = np.abs(piece.gradient).max(axis=1, initial=0.0)
            self.steepness = np.maximum(slope + 0.1 * bend, 1e-6)
        return bend * piece.reach / self.steepness

    def _sort_out(self, pieces: list[Quadratics]) -> None:
        """Keep the pieces, without those that lie across a kink if others do not."""
        across = [bool((self._bends(p) > _KINK).any()) for p in pieces]
        clean = [p for p, bad in zip(pieces, across, strict=True) if not bad]
        self.pieces = clean if self.reach <= _NARROW and clean else pieces
        slopes = np.stack([p.around(self.z, 1.0)[1] for p in self.pieces])
        change = np.ptp(slopes, axis=0).max(axis=1, initial=0.0)
        differ = bool((change > _KINK * np.asarray(self.steepness)).any())
        self.kinky = differ or (self.reach <= _NARROW and any(across))
