"""What lies on a map of three ingredients: values, areas, limits, marks, part shown."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import field, replace
from typing import Any

import numpy as np
from matplotlib.ticker import MaxNLocator

from castsugar.arrays import BoolArray, FloatArray
from castsugar.errors import InputError
from castsugar.frozen import dataclass
from castsugar.plot.style import BLUE, BROWN, DASHES, INK, ORANGE, PAPER, PURPLE, SOFT

Shares = tuple[float, float, float]
Ranges = tuple[tuple[float, float], tuple[float, float], tuple[float, float]]

#: So many mixes at least around a part that is shown: its values lie between theirs.
_FEW = 30

#: Narrowest over widest range from which on a triangle is drawn, not a strip.
_STRIP = 1.0 / 3.0

# ----------------------------------------------------------------------------
# What lies on a map.


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Area:
    """Mixes that are hatched and named in the key: where `beyond` is below 0.

    `beyond` has the shape (n,) or (n, m): where one of them is. What lies below is
    hidden by `ground`; None lets it be seen.
    """

    name: str
    beyond: FloatArray
    hatch: str = "///"
    ground: str | None = PAPER

    @property
    def inside(self) -> BoolArray:
        """Say which mixes it holds, (n,)."""
        count = len(self.beyond)
        return np.asarray((self.beyond.reshape(count, -1) < 0.0).any(axis=1))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Border:
    """A limit: a line where `slack` is 0; below it the limit is broken.

    `name` stands on the line, `words` in the key. NaN: not computed. A `slack` of shape
    (n, m) is that of m limits that are all kept: the line encloses the answer, nothing
    is written inside, and its name stands beside it.
    """

    name: str
    words: str
    slack: FloatArray
    ink: str = INK
    dashes: Any = "-"
    wide: float = 2.4


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
    """A named mix, by a kind of :data:`LOOKS`; `words` stand in the key."""

    name: str
    shares: Shares
    kind: str = "tried"
    words: str = ""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Spread:
    """A quantity over mixes of three ingredients, and what is drawn with it."""

    corners: tuple[str, str, str]  # the three ingredients: top, left, right
    shares: FloatArray  # among themselves; sum 1, (n, 3)
    values: FloatArray  # in the unit shown; NaN where nothing was computed, (n,)
    #: What the three make up of the mix: scales are percent of the whole.
    total: float = 1.0
    #: Whether values run over decades: between mixes their logarithm is followed.
    logarithmic: bool = False
    levels: tuple[float, ...] = ()  # lines of equal value; by default round ones
    areas: Sequence[Area] = ()
    borders: Sequence[Border] = ()
    marks: Sequence[Mark] = ()
    #: Mixes to ring, (m, 3).
    measured: FloatArray = field(default_factory=lambda: np.empty((0, 3)))
    #: Mixes to join, (q, 3), with what they are: a closed one is an outline.
    trails: Sequence[tuple[str, FloatArray]] = ()
    #: Lowest and highest share of each that is shown, of the whole mix.
    zoom: Ranges | None = None

    def __post_init__(self) -> None:
        """Refuse what is no set of mixes."""
        shape, count = self.shares.shape, len(self.values)
        others = [a.beyond for a in self.areas] + [b.slack for b in self.borders]
        if shape != (count, 3) or any(len(one) != count for one in others):
            raise InputError(
                f"a ternary needs shares of shape (n, 3) and a value a mix; got "
                f"{shape} and {count} values"
            )
        if count < 3 or not np.allclose(self.shares.sum(axis=1), 1.0, atol=1e-6):
            raise InputError("a ternary needs three mixes or more; shares sum to 1")

    @property
    def ranges(self) -> Ranges:
        """Return lowest and highest share that can be shown, of the whole mix."""
        given = self.zoom or ((0.0, self.total),) * 3
        sides = []
        for k in range(3):
            low, high = given[k]
            least, most = (
                sum(g[i] for n, g in enumerate(given) if n != k) for i in (0, 1)
            )
            sides.append((max(low, self.total - most), min(high, self.total - least)))
        if any(low >= high for low, high in sides):
            raise InputError(
                "the ranges to zoom to hold no mix: together the three make "
                f"{100.0 * self.total:g} %"
            )
        return sides[0], sides[1], sides[2]

    @property
    def is_strip(self) -> bool:
        """Say whether the ranges are so uneven that a triangle would be empty."""
        spans = [high - low for low, high in self.ranges]
        return min(spans) < _STRIP * max(spans)

    @property
    def slimness(self) -> float:
        """Return width over height of what is shown of a triangle."""
        (bottom, top), (least, most), (low, high) = self.ranges
        rest = self.total - top
        right = high - max(least, rest - high)  # the third less the second
        left = max(low, rest - most) - most
        return float((right - left) / np.sqrt(3.0) / (top - bottom))

    def holds(self, shares: Any) -> BoolArray:
        """Say which mixes, (n, 3), lie on the picture."""
        parts = self.total * np.atleast_2d(np.asarray(shares, dtype=float))
        low, high = np.array(self.ranges).T
        return np.asarray(((parts >= low - 1e-9) & (parts <= high + 1e-9)).all(axis=1))

    @property
    def known(self) -> BoolArray:
        """Say of which mixes the value is known, and not hidden."""
        good = np.isfinite(self.values)
        for area in self.areas:
            if area.ground is not None:
                good &= ~area.inside
        return np.asarray(good)

    @property
    def seen(self) -> FloatArray:
        """Return the values on the picture; those around it if it lies between them."""
        held = self.holds(self.shares)
        if held.any():
            return np.asarray(self.values[held & self.known])
        near = self.near
        return np.asarray(near.values[near.known])

    @property
    def near(self) -> Spread:
        """Return it without the mixes far beside what is shown."""
        if self.zoom is None:
            return self
        low, high = np.array(self.ranges).T
        room = 0.3 * (high - low).max() + 0.02
        parts = self.total * self.shares
        held = np.zeros(len(parts), dtype=bool)
        while held.sum() < min(_FEW, len(parts)):
            held = ((parts >= low - room) & (parts <= high + room)).all(axis=1)
            room *= 1.5
        return replace(
            self,
            shares=self.shares[held],
            values=self.values[held],
            areas=[replace(one, beyond=one.beyond[held]) for one in self.areas],
            borders=[replace(one, slack=one.slack[held]) for one in self.borders],
        )

    @property
    def lines(self) -> tuple[float, ...]:
        """Return the lines of equal value that are asked for, or round ones."""
        return self.levels or levels_of(self.seen, logarithmic=self.logarithmic)


def levels_of(values: FloatArray, *, logarithmic: bool = False) -> tuple[float, ...]:
    """Return round levels between the least and the largest value.

    Examples
    --------
    >>> levels_of(np.array([0.5, 40.0]), logarithmic=True)
    (1.0, 3.0, 10.0, 30.0)
    >>> levels_of(np.array([812.0, 918.0]))
    (820.0, 840.0, 860.0, 880.0, 900.0)
    """
    if not values.size:
        return ()
    low, high = float(values.min()), float(values.max())
    if logarithmic and low > 0.0 and high / low > 8.0:
        steps = (1.0, 3.0) if high / low < 2e4 else (1.0,)
        found: Iterable[float] = (s * 10.0**n for n in range(-4, 7) for s in steps)
    else:
        found = MaxNLocator(9, steps=[1, 2, 5, 10]).tick_values(low, high)
    return tuple(float(level) for level in found if low < level < high)


#: Inks of limits, one after the other.
_INKS = (BLUE, PURPLE, ORANGE, BROWN, SOFT)


def borders_of(limits: Iterable[tuple[str, str, FloatArray]]) -> list[Border]:
    """Return borders of (name, words, slack), each with its ink and dashes."""
    return [
        Border(
            name=name,
            words=words,
            slack=np.asarray(slack, dtype=float),
            ink=_INKS[k % len(_INKS)],
            dashes=DASHES[k % len(DASHES)],
        )
        for k, (name, words, slack) in enumerate(limits)
    ]


def broken_area(borders: Sequence[Border], name: str) -> Area:
    """Return where one of the limits is broken, to be hatched."""
    slacks = np.column_stack([border.slack for border in borders])
    beyond = np.where(np.isnan(slacks), 1.0, slacks)
    return Area(name=name, beyond=beyond, hatch="//", ground=None)


def around(parts: FloatArray, room: float) -> Ranges:
    """Return the ranges of mixes, (n, 3), wider by a share of the widest, at least 3 %.

    `parts` are shares of the whole mix.
    """
    spans = np.ptp(parts, axis=0)
    more = room * max(float(spans.max()), 0.05) + 0.03 * spans
    low, high = np.maximum(parts.min(axis=0) - more, 0.0), parts.max(axis=0) + more
    a, b, c = zip(low.tolist(), high.tolist(), strict=True)
    return a, b, c
