"""One convex region of mixes: its corners, coordinates and regular points inside it."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from castsugar.arrays import BoolArray, FloatArray
from castsugar.errors import InputError
from castsugar.frozen import dataclass
from castsugar.mix.text import parse_ratio

# ----------------------------------------------------------------------------
# Corners and edges of a polytope of mixes, by the double description method.
#
# The polytope is the standard simplex cut by half-spaces, one after the other. Two
# corners share an edge when no third corner lies on all the faces that both lie on.
# Source: T. S. Motzkin, H. Raiffa, G. L. Thompson & R. M. Thrall, "The double
# description method", in Contributions to the Theory of Games II (1953); K. Fukuda & A.
# Prodon, "Double description method revisited" (1996), proposition 7 (from memory).

#: Distance from a face, in mass fraction, within which a corner lies on it.
ON_FACE = 1e-11


def corners(
    matrix: FloatArray, limits: FloatArray, present: BoolArray
) -> tuple[FloatArray, NDArray[np.int64]]:
    """Return the corners and edges of ``{x >= 0, sum(x) = 1, matrix x <= limits}``.

    Parameters
    ----------
    matrix : ndarray, shape (m, k)
    limits : ndarray, shape (m,)
    present : ndarray of bool, shape (k,)
        The ingredients that occur at all; the others are 0.

    Returns
    -------
    corners : ndarray, shape (n, k)
        None if the polytope is empty.
    edges : ndarray of int, shape (edges, 2)
        Pairs of corners.

    Examples
    --------
    >>> all_three = np.ones(3, dtype=bool)
    >>> points, edges = corners(np.array([[1.0, 0, 0]]), np.array([0.5]), all_three)
    >>> len(points), len(edges)
    (4, 4)
    """
    points = np.eye(len(present))[present]
    faces = np.hstack([points < 0.5, np.zeros((len(points), len(limits)), dtype=bool)])
    faces[:, : len(present)] &= present
    for number, (row, limit) in enumerate(zip(matrix, limits, strict=True)):
        size = max(float(np.abs(row).max(initial=0.0)), 1e-300)
        points, faces = _cut(points, faces, (points @ row - limit) / size, number)
        if not len(points):
            return points, np.empty((0, 2), dtype=np.int64)
    one, two = np.triu_indices(len(points), 1)
    joined = _adjacent(faces, one, two)
    return points, np.stack([one[joined], two[joined]], axis=1)


def _cut(
    points: FloatArray, faces: BoolArray, beyond: FloatArray, number: int
) -> tuple[FloatArray, BoolArray]:
    """Keep what does not lie beyond a new face, and add corners where edges meet it."""
    column = points.shape[1] + number
    faces = faces.copy()
    faces[:, column] = np.abs(beyond) <= ON_FACE
    outside = beyond > ON_FACE
    if not outside.any():
        return points, faces
    inside = np.flatnonzero(beyond < -ON_FACE)
    one, two = (i.ravel() for i in np.meshgrid(inside, np.flatnonzero(outside)))
    joined = _adjacent(faces, one, two)
    one, two = one[joined], two[joined]
    weight = (beyond[two] / (beyond[two] - beyond[one]))[:, None]
    new = weight * points[one] + (1.0 - weight) * points[two]
    new_faces = faces[one] & faces[two]
    new_faces[:, column] = True
    kept = ~outside
    return np.vstack([points[kept], new]), np.vstack([faces[kept], new_faces])


def _adjacent(
    faces: BoolArray, one: NDArray[np.int64], two: NDArray[np.int64]
) -> BoolArray:
    """Say which pairs of corners share an edge."""
    missing = (~faces).astype(np.float32)
    found = np.zeros(len(one), dtype=bool)
    for start in range(0, len(one), 4096):
        part = slice(start, start + 4096)
        shared = (faces[one[part]] & faces[two[part]]).astype(np.float32)
        found[part] = (shared @ missing.T == 0.0).sum(axis=1) == 2
    return found


# ----------------------------------------------------------------------------
# Ratio constraints: "sucrose:corn syrup >= 0.5" as a linear row.


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """A linear limit on a recipe: the sum of coefficient x fraction is at most `limit`.

    Attributes
    ----------
    name : str
        How messages call it.
    coefficients : mapping
        Ingredient or slot to coefficient; what is not named counts 0. [-]
    limit : float
        [mass fraction]

    Raises
    ------
    InputError
        For what is not finite, and without a coefficient.

    Examples
    --------
    >>> sugars = Row(
    ...     name="sugars", coefficients={"sucrose": 1.0, "dextrose": 1.0}, limit=0.4
    ... )
    >>> sugars.limit
    0.4
    """

    name: str
    coefficients: Mapping[str, float]
    limit: float

    def __post_init__(self) -> None:
        """Check the numbers."""
        values = [*self.coefficients.values(), self.limit]
        if not all(math.isfinite(v) for v in values):
            raise InputError(f"limit {self.name!r} holds {values}; give finite numbers")
        if not any(self.coefficients.values()):
            raise InputError(
                f"limit {self.name!r} has no coefficient but 0; name what it limits"
            )


def ratio_rows(text: str) -> tuple[Row, ...]:
    """Return a ratio constraint as one linear row, or two where it is fixed.

    ``a:b >= r`` is ``r b - a <= 0``; it asks nothing of a mix without both. A ratio
    that is fixed is kept from both sides.

    Parameters
    ----------
    text : str
        "one:other >= number", with "<=" or "=".

    Raises
    ------
    InputError
        If the text has another form, the ratio is not a number above 0, or compares an
        ingredient with itself.

    Examples
    --------
    >>> [row.coefficients for row in ratio_rows("sucrose:corn syrup >= 0.5")]
    [{'sucrose': -1.0, 'corn syrup': 0.5}]
    >>> len(ratio_rows("sucrose:corn syrup = 0.5"))
    2
    """
    one, other, sense, number = parse_ratio(text)
    try:
        ratio = float(number)
    except ValueError:
        ratio = math.nan
    if not (math.isfinite(ratio) and ratio > 0.0):
        raise InputError(f"ratio {text!r}: {number!r} must be a number above 0")
    if one == other:
        raise InputError(f"ratio {text!r} compares an ingredient with itself")
    name = f"{one}:{other} {sense} {number}"
    signs = {"<=": (1.0,), ">=": (-1.0,), "=": (1.0, -1.0)}[sense]
    return tuple(
        Row(name=name, coefficients={one: sign, other: -sign * ratio}, limit=0.0)
        for sign in signs
    )


# ----------------------------------------------------------------------------
# One convex region of mixes: its corners, and coordinates inside it.

#: How far beyond a row a mix may lie by rounding. [mass fraction]
ROUNDING = 1e-10

#: A fraction below this is rounding.
_TRACE = 1e-14

#: A direction shorter than this is none. [mass fraction]
_FLAT = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LocalRows:
    """Rows in coordinates: ``normals z <= limits``."""

    #: Each divided by its size.
    normals: FloatArray  # (r, d)
    limits: FloatArray  # (r,)
    sizes: FloatArray  # largest coefficient, before the division, (r,)
    places: NDArray[np.int64]  # number of the row in the region, (r,)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Region:
    """A polytope of mixes, with every discrete choice made."""

    #: Slot to the alternative that occupies it; empty without choices.
    choice: Mapping[str, str]
    row_names: tuple[str, ...]
    #: ``matrix x <= limits``; the rows ``x >= 0`` included.
    matrix: FloatArray  # (m, k)
    limits: FloatArray  # (m,)
    corners: FloatArray  # (n, k)
    edges: NDArray[np.int64]  # (edges, 2)
    origin: FloatArray  # a corner; where the coordinates are 0, (k,)
    #: From there to d other corners that span the region: ``x = origin + z
    #: directions``. A wide simplex, so that coordinates suit the region's own shape,
    #: (d, k).
    directions: FloatArray

    @property
    def dimension(self) -> int:
        """Return how many fractions can be chosen freely."""
        return len(self.directions)

    @property
    def centre(self) -> FloatArray:
        """Return the mean of the corners."""
        return self.corners.mean(axis=0)

    @property
    def label(self) -> str:
        """Return the choices in words."""
        return ", ".join(f"{slot}: {name}" for slot, name in self.choice.items())

    def slack(self, fractions: FloatArray) -> FloatArray:
        """Return how far each row is from its limit, (..., m); below 0 is beyond."""
        return self.limits - fractions @ self.matrix.T

    def contains(self, fractions: FloatArray) -> BoolArray:
        """Say which mixes keep every row within rounding."""
        kept = (self.slack(fractions) >= -ROUNDING).all(axis=-1)
        return np.asarray(kept)

    def coordinates(self, fractions: FloatArray) -> FloatArray:
        """Return z of ``x = origin + z directions``, (..., d)."""
        inverse = np.linalg.pinv(self.directions) if self.dimension else np.zeros((0,))
        if not self.dimension:
            return np.zeros((*fractions.shape[:-1], 0))
        return (fractions - self.origin) @ inverse

    def mixes(self, coordinates: FloatArray) -> FloatArray:
        """Return the mixes at coordinates, pulled inside where they lie outside."""
        x = self.origin + coordinates @ self.directions
        centre = self.centre
        room = self.slack(centre)
        over = -self.slack(x)
        real = room > _FLAT
        with np.errstate(divide="ignore", invalid="ignore"):
            pull = np.where(real & (over > 0.0), over / (room + over), 0.0)
        share = pull.max(axis=-1, keepdims=True, initial=0.0)
        x = x + share * (centre - x)
        return tidy(x)

    def local_rows(self) -> LocalRows:
        """Return the rows in coordinates, without those that nothing inside meets."""
        normal = self.matrix @ self.directions.T
        reach = self.slack(self.origin)
        size = np.abs(normal).max(axis=1, initial=0.0)
        # A row that no corner touches is never met.
        touched = (self.slack(self.corners) <= ROUNDING).any(axis=0)
        kept = (size > _FLAT) & touched
        return LocalRows(
            normals=normal[kept] / size[kept, None],
            limits=reach[kept] / size[kept],
            sizes=size[kept],
            places=np.flatnonzero(kept),
        )


def tidy(fractions: FloatArray) -> FloatArray:
    """Return mixes without traces that only rounding left."""
    return np.where(fractions < _TRACE, 0.0, fractions)


def region(
    choice: Mapping[str, str],
    columns: Sequence[str],
    rows: Sequence[Row],
    present: BoolArray,
) -> Region | None:
    """Return the region of rows, or None if it is empty.

    Parameters
    ----------
    columns : sequence of str
        The ingredients.
    rows : sequence of Row
        Their coefficients name ingredients. The rows ``x >= 0`` are added.
    present : ndarray of bool, shape (k,)
        The ingredients of this choice.
    """
    matrix, limits = as_arrays(columns, rows)
    points, edges = corners(matrix, limits, present)
    if not len(points):
        return None
    origin, directions = _wide_simplex(points)
    return Region(
        choice=dict(choice),
        row_names=(*(r.name for r in rows), *(f"{c} at least 0 %" for c in columns)),
        matrix=np.vstack([matrix, -np.eye(len(present))]),
        limits=np.concatenate([limits, np.zeros(len(present))]),
        corners=points,
        edges=edges,
        origin=origin,
        directions=directions,
    )


def as_arrays(
    columns: Sequence[str], rows: Sequence[Row]
) -> tuple[FloatArray, FloatArray]:
    """Return matrix (m, k) and limits (m,) of rows."""
    matrix = np.array([[r.coefficients.get(c, 0.0) for c in columns] for r in rows])
    limits = np.array([r.limit for r in rows], dtype=float)
    return matrix.reshape(len(rows), len(columns)), limits


def _wide_simplex(points: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return a corner and directions to others, each far from the span so far."""
    start = np.argmax(((points - points.mean(axis=0)) ** 2).sum(axis=1))
    origin = points[start]
    left = points - origin
    chosen: list[int] = []
    while True:
        length = (left**2).sum(axis=1)
        far = int(np.argmax(length))
        if length[far] <= _FLAT**2 or len(chosen) == points.shape[1]:
            return origin, points[chosen] - origin
        chosen.append(far)
        unit = left[far] / np.sqrt(length[far])
        left = left - np.outer(left @ unit, unit)


# ----------------------------------------------------------------------------
# Regular points of a region of mixes: corners, edge midpoints, centre, lattice.

#: Finest lattice: parts of what lies above the lowest fractions.
_FINEST = 1000

#: Most lattice points of the box around a region that are tried.
_MOST = 400_000


def fill(
    region: Region, count: int, seed: int, *, step: float | None = None
) -> FloatArray:
    """Return points that fill a region evenly.

    Parameters
    ----------
    count : int
        About how many; ignored with a `step`.
    seed : int
        Of the random mixtures of corners that fill a region too thin for a lattice.
    step : float, optional
        Of the lattice. [mass fraction]

    Returns
    -------
    ndarray, shape (n, k)
        Always with corners, edge midpoints and centre first.
    """
    ends = region.corners[region.edges]
    special = np.vstack([region.corners, region.centre, ends.mean(axis=1)])
    if region.dimension == 0:
        return special[:1]
    if step is not None:
        return tidy(np.vstack([special, lattice(region, step)]))
    # In a region flatter than its ingredients allow, a lattice of theirs has no points.
    varied = np.ptp(region.corners, axis=0) > _FLAT
    flat = region.dimension < int(varied.sum()) - 1
    points = special[:0] if flat else _lattice_of(region, count)
    if len(points) < count // 2:
        rng = np.random.default_rng([seed, 11])
        shares = rng.dirichlet(np.ones(len(region.corners)), count - len(points))
        points = np.vstack([points, shares @ region.corners])
    return tidy(np.vstack([special, points]))


def _lattice_of(region: Region, count: int) -> FloatArray:
    """Return the coarsest lattice tried that has `count` points inside."""
    room = _room(region)
    parts = 4
    while True:
        points = lattice(region, room / parts)
        if len(points) >= count or parts >= _FINEST:
            return points
        growth = (count / max(len(points), 1)) ** (1.0 / region.dimension)
        finer = min(math.ceil(parts * min(max(growth, 1.1), 2.0)), _FINEST)
        if math.comb(finer + region.dimension, region.dimension) > _MOST:
            return points
        parts = finer


def _room(region: Region) -> float:
    """Return what is left of 1 above the lowest fraction of every ingredient."""
    return float(1.0 - region.corners.min(axis=0).sum())


def lattice(region: Region, step: float) -> FloatArray:
    """Return the mixes of a region at whole steps above its lowest fractions.

    These are the points of a simplex lattice in pseudo-components that the region holds
    (J. A. Cornell, *Experiments with Mixtures*, from memory). An ingredient that takes
    up the rest is not a multiple of the step where the room is not.
    """
    low, high = region.corners.min(axis=0), region.corners.max(axis=0)
    free = np.flatnonzero(high > low + 1e-12)
    most = np.floor((high - low)[free] / step + 1e-9).astype(np.int64)
    total = math.floor(_room(region) / step + 1e-9)
    counts = _compositions(total, most)
    points = np.tile(low, (len(counts), 1))
    points[:, free] += step * counts
    rest = 1.0 - points.sum(axis=1)
    points[:, free[-1]] += rest
    return points[region.contains(points)]


def _compositions(total: int, most: NDArray[np.int64]) -> NDArray[np.int64]:
    """Return all ways to write `total` as a sum of whole numbers up to `most`."""
    found = np.zeros((1, 0), dtype=np.int64)
    left = np.array([total])
    for index, top in enumerate(most):
        later = int(most[index + 1 :].sum())
        least, largest = np.maximum(left - later, 0), np.minimum(left, top)
        options = np.maximum(largest - least + 1, 0)
        row = np.repeat(np.arange(len(found)), options)
        place = np.arange(len(row)) - np.repeat(np.cumsum(options) - options, options)
        value = least[row] + place
        found = np.hstack([found[row], value[:, None]])
        left = left[row] - value
    return found
