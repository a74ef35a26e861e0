"""Local search: quadratic models of columns within a trust region."""

from __future__ import annotations

from dataclasses import field, replace

import numpy as np

from castsugar.arrays import FloatArray
from castsugar.frozen import dataclass
from castsugar.optimize.problem import Answer, Judge, merit
from castsugar.optimize.quadratic_program import Program
from castsugar.optimize.region import LocalRows, Region

# ----------------------------------------------------------------------------
# Quadratic models of columns near a mix, from points that all lie in the region.
#
# The points are a {d+1, 2} simplex lattice (corners and edge midpoints; H. Scheffe, J.
# Royal Stat. Soc. B 20 (1958) 344, from memory) spanned by corners of the region and
# shrunk towards the mix: a convex region holds them all, and they determine a
# quadratic.


def nodes(dimension: int) -> FloatArray:
    """Return the {d+1, 2} simplex lattice in coordinates, ((d+1)(d+2)/2, d).

    Examples
    --------
    >>> nodes(1).tolist()
    [[0.0], [1.0], [0.5]]
    """
    ends = np.vstack([np.zeros(dimension), np.eye(dimension)])
    one, two = np.triu_indices(dimension + 1, 1)
    return np.vstack([ends, 0.5 * (ends[one] + ends[two])])


def stencil(centre: FloatArray, reach: float) -> FloatArray:
    """Return points around coordinates (d,): the nodes shrunk towards them."""
    return centre + reach * (nodes(len(centre)) - centre)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Quadratics:
    """``v + g (z - z0) + (z - z0) H (z - z0) / 2`` of p outputs."""

    centre: FloatArray  # (d,)
    value: FloatArray  # (p,)
    gradient: FloatArray  # (p, d)
    hessian: FloatArray  # (p, d, d)
    reach: float  # of the points behind it

    def at(self, z: FloatArray) -> FloatArray:
        """Return the outputs at coordinates (d,)."""
        step = z - self.centre
        return self.value + (self.gradient + 0.5 * self.hessian @ step) @ step

    def around(
        self, z: FloatArray, radius: float
    ) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Return value, gradient and Hessian in ``w`` of ``z + radius w``."""
        step = z - self.centre
        turn = self.hessian @ step
        gradient = (self.gradient + turn) * radius
        return self.at(z), gradient, self.hessian * radius**2


def fit(
    centre: FloatArray,
    value: FloatArray,
    points: FloatArray,
    outputs: FloatArray,
    slopes: FloatArray | None = None,
) -> Quadratics:
    """Return the quadratics through a centre, near points.

    Parameters
    ----------
    centre : ndarray, shape (d,)
    value : ndarray, shape (p,)
        Met exactly.
    points : ndarray, shape (n, d)
    outputs : ndarray, shape (n, p)
        Rows with NaN are left out; with too few the smallest coefficients are taken.
    slopes : ndarray, shape (p, d), optional
        Known gradients; rows with NaN are fitted.
    """
    known = np.isfinite(outputs).all(axis=1)
    steps = points[known] - centre
    reach = float(np.abs(steps).max(initial=0.0)) or 1.0
    u = steps / reach
    dimension, count = len(centre), len(value)
    one, two = np.triu_indices(dimension)
    curves = u[:, one] * u[:, two] * np.where(one == two, 0.5, 1.0)
    change = outputs[known] - value
    gradient = np.zeros((count, dimension))
    bends = np.zeros((count, len(one)))
    given = np.zeros(count, dtype=bool)
    if slopes is not None:
        given = np.asarray(np.isfinite(slopes).all(axis=1))
        gradient[given] = slopes[given] * reach
        left = change[:, given] - u @ gradient[given].T
        bends[given] = _solve(curves, left)
    both = _solve(np.hstack([u, curves]), change[:, ~given])
    gradient[~given], bends[~given] = both[:, :dimension], both[:, dimension:]
    hessian = np.zeros((count, dimension, dimension))
    hessian[:, one, two] = bends
    hessian[:, two, one] = bends
    return Quadratics(
        centre=centre,
        value=value,
        gradient=gradient / reach,
        hessian=hessian / reach**2,
        reach=reach,
    )


def _solve(design: FloatArray, targets: FloatArray) -> FloatArray:
    """Return least-squares coefficients, one row a target."""
    if not targets.size:
        return np.zeros((targets.shape[1], design.shape[1]))
    found = np.linalg.lstsq(design, targets, rcond=1e-11)[0]
    return np.asarray(found.T, dtype=float)


# ----------------------------------------------------------------------------
# The lowest point of models within reach: a small smooth problem.

#: Scaled slack that a step aims at, so that rounding leaves a limit kept.
MARGIN = 2e-9

#: Violation by a model below which a step need not first restore.
_SMALL = 1e-7


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Surroundings:
    """Models around a mix, in ``w``: the mix at 0, the reach of a step at 1."""

    #: Of s pieces; the first output is the objective, the rest are slacks.
    value: FloatArray  # (s, p)
    gradient: FloatArray  # (s, p, d)
    hessian: FloatArray  # (s, p, d, d)
    #: ``normals w <= room``: rows of the region and the reach.
    normals: FloatArray  # (r, d)
    room: FloatArray  # (r,)

    @classmethod
    def of(
        cls,
        pieces: list[Quadratics],
        rows: LocalRows,
        z: FloatArray,
        radius: float,
    ) -> Surroundings:
        """Return the models as seen from z."""
        seen = [piece.around(z, radius) for piece in pieces]
        normals = rows.normals
        room = np.maximum(rows.limits - normals @ z, 0.0) / radius
        near = room < np.abs(normals).sum(axis=1)
        box = np.vstack([np.eye(len(z)), -np.eye(len(z))])
        return cls(
            value=np.stack([s[0] for s in seen]),
            gradient=np.stack([s[1] for s in seen]),
            hessian=np.stack([s[2] for s in seen]),
            normals=np.vstack([normals[near], box]),
            room=np.concatenate([room[near], np.ones(2 * len(z))]),
        )

    def first(self) -> Surroundings:
        """Return the same with the first piece alone."""
        return replace(
            self,
            value=self.value[:1],
            gradient=self.gradient[:1],
            hessian=self.hessian[:1],
        )

    def standing(self, w: FloatArray) -> tuple[float, float]:
        """Return objective and violation by the worst of the pieces."""
        out = self.value + (self.gradient + 0.5 * self.hessian @ w) @ w
        return float(out[:, 0].max()), float((-out[:, 1:]).max(initial=0.0))


def best_step(near: Surroundings) -> FloatArray:
    """Return the step w that the models call best.

    The least violation within reach comes first, then the objective. Where several
    pieces describe an output the worst of them counts, so that a ridge where two
    branches meet can be followed.
    """
    start = np.zeros(near.gradient.shape[-1])
    allowed = 0.0
    if near.standing(start)[1] > _SMALL:
        start, level = _lowest(near, start, slice(1, None), -1.0, None)
        allowed = max(level + MARGIN, 0.0) * (1.0 + 1e-9)
    return _lowest(near, start, slice(0, 1), 1.0, allowed)[0]


def _lowest(
    near: Surroundings,
    start: FloatArray,
    tops: slice,
    sign: float,
    allowed: float | None,
) -> tuple[FloatArray, float]:
    """Minimise the largest of some outputs, with slacks kept up to `allowed`."""
    d = len(start)
    value = [sign * near.value[:, tops].ravel()]
    gradient = [sign * near.gradient[:, tops].reshape(-1, d)]
    hessian = [sign * near.hessian[:, tops].reshape(-1, d, d)]
    size = _size(gradient[0], hessian[0]).max()
    scale = [np.full(len(value[0]), size)]
    if allowed is not None:
        value.append(MARGIN - allowed - near.value[:, 1:].ravel())
        gradient.append(-near.gradient[:, 1:].reshape(-1, d))
        hessian.append(-near.hessian[:, 1:].reshape(-1, d, d))
        scale.append(_size(gradient[1], hessian[1]))
    v, s = np.concatenate(value), np.concatenate(scale)
    base = value[0].max()
    v[: len(value[0])] -= base
    program = Program(
        value=v / s,
        gradient=np.vstack(gradient) / s[:, None],
        hessian=np.concatenate(hessian) / s[:, None, None],
        tops=len(value[0]),
        normals=near.normals,
        room=near.room,
    )
    w, top = program.solve(start)
    return w, float(base + top * size)


def _size(gradient: FloatArray, hessian: FloatArray) -> FloatArray:
    """Return how much each output can change within reach."""
    size = np.abs(gradient).sum(axis=1) + 0.5 * np.abs(hessian).sum(axis=(1, 2))
    return np.maximum(size, 1e-14)


# ----------------------------------------------------------------------------
# Where a local search stands, and what it sees from there.

#: Slopes that change by more than this share nearby betray a kink, and what is nearby.
_KINK, _NARROW = 0.1, 5e-3


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Stencils:
    """Places to look from, and points around each."""

    places: FloatArray  # the first is the mix itself, (p, d)
    around: FloatArray  # (p, s, d)

    @classmethod
    def plain(cls, z: FloatArray, reach: float) -> Stencils:
        """Look from one place."""
        return cls(places=z[None, :], around=stencil(z, reach)[None])

    @classmethod
    def sampling(cls, z: FloatArray, radius: float) -> Stencils:
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
class TrustRegion:
    """State of one search: where it stands, what it knows, how far it may step."""

    #: The region, and the judge of the goal.
    region: Region
    judge: Judge
    z: FloatArray  # coordinates of the mix, (d,)
    radius: float  # reach of a step [coordinates]
    #: Columns of the mix, and what the judge makes of them.
    values: FloatArray = field(default_factory=lambda: np.empty(0))
    outputs: FloatArray = field(default_factory=lambda: np.full(1, np.nan))
    #: Models; several where the columns have kinks.
    pieces: list[Quadratics] = field(default_factory=list)
    reach: float = np.inf  # of the look behind the models
    kinky: bool = False  # whether places nearby disagree about slopes
    weight: float = 10.0  # of a violation against the objective
    steepness: FloatArray | None = None  # how large slopes were in the first look
    steps: int = 0  # made so far
    entry: int | None = None  # number on the incumbents of rivals
    gave_up: bool = False  # whether a rival made this search needless
    rows: LocalRows = field(init=False)

    def __post_init__(self) -> None:
        """Keep the rows of the region."""
        self.rows = self.region.local_rows()

    def surroundings(self, radius: float) -> Surroundings:
        """Return the models within reach."""
        return Surroundings.of(self.pieces, self.rows, self.z, radius)

    def merit(self, outputs: FloatArray) -> FloatArray:
        """Return objective plus weighted violation; infinite where a row failed."""
        objective, violation = merit(outputs)
        with np.errstate(invalid="ignore"):
            total = objective + self.weight * violation
        return np.where(np.isfinite(total), total, np.inf)

    def arrive(self, look: Stencils, answer: Answer) -> bool:
        """Stand where a look was taken; return whether it told anything.

        Parameters
        ----------
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

    def _pieces(self, look: Stencils, answer: Answer) -> list[Quadratics]:
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
