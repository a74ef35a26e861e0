"""Put labels where they hide nothing."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from castsugar.report.svg.canvas import Point, text_width


@dataclass(frozen=True, slots=True)
class Box:
    """A rectangle upright on the page [px]."""

    left: float
    top: float
    right: float
    bottom: float

    @classmethod
    def around(cls, at: Point, half: float) -> Box:
        """Return a square around a point, from half its side [px]."""
        return cls(at[0] - half, at[1] - half, at[0] + half, at[1] + half)

    def meets(self, other: Box) -> bool:
        """Return whether the two share any area."""
        apart = self.right <= other.left or other.right <= self.left
        return not (apart or self.bottom <= other.top or other.bottom <= self.top)

    def inside(self, other: Box) -> bool:
        """Return whether this lies wholly in the other."""
        across = other.left <= self.left and self.right <= other.right
        return across and other.top <= self.top and self.bottom <= other.bottom


def text_box(at: Point, words: str, size: float, anchor: str = "start") -> Box:
    """Return the estimated box of an unturned text whose baseline starts `at` [px]."""
    width = text_width(words, size)
    left = at[0] - {"start": 0.0, "middle": 0.5, "end": 1.0}[anchor] * width
    return Box(left, at[1] - 0.85 * size, left + width, at[1] + 0.25 * size)


def turned_box(at: Point, words: str, size: float, turn: float) -> Box:
    """Return the upright box around a text centred `at` and turned [px, degrees]."""
    width, height = text_width(words, size) + 6.0, 1.1 * size
    c, s = abs(math.cos(math.radians(turn))), abs(math.sin(math.radians(turn)))
    x, y = 0.5 * (width * c + height * s), 0.5 * (width * s + height * c)
    return Box(at[0] - x, at[1] - y, at[0] + x, at[1] + y)


@dataclass
class Taken:
    """What already stands on a page, and the area in which labels may stand."""

    area: Box
    boxes: list[Box] = field(default_factory=list)

    def free(self, box: Box) -> bool:
        """Return whether a box hides nothing."""
        return box.inside(self.area) and not any(box.meets(b) for b in self.boxes)

    def add(self, boxes: Iterable[Box]) -> None:
        """Note what has been drawn."""
        self.boxes.extend(boxes)


#: Directions tried around a mark, and the anchors that go with them.
_AROUND = (
    (1.0, 0.0, "start"), (-1.0, 0.0, "end"), (0.7, -0.9, "start"), (0.7, 0.9, "start"),
    (-0.7, -0.9, "end"), (-0.7, 0.9, "end"), (0.0, -1.2, "middle"),
    (0.0, 1.2, "middle"),
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Label:
    """Where the label of a mark stands: baseline [px], anchor, whether led to."""

    at: Point
    anchor: str
    led: bool


def beside(mark: Point, words: str, size: float, taken: Taken) -> Label:
    """Return the nearest free place beside a mark; the right of it if none is free.

    Parameters
    ----------
    mark : tuple of float
        Centre of the mark [px].
    words : str
    size : float
        Font size [px].
    taken : Taken
        The place chosen is added to it.
    """
    for reach in (11.0, 26.0, 44.0, 66.0, 92.0):
        for across, down, anchor in _AROUND:
            at = (mark[0] + reach * across, mark[1] + reach * down + 0.35 * size)
            label = Label(at, anchor, led=reach > 11.0)
            box = text_box(at, words, size, anchor)
            if taken.free(box):
                taken.add([box])
                return label
    return Label((mark[0] + 11.0, mark[1] + 0.35 * size), "start", led=False)


def spread(wanted: Sequence[float], gap: float, low: float, high: float) -> list[float]:
    """Return places at least `gap` apart, in order, near those wanted.

    Parameters
    ----------
    wanted : sequence of float
        Rising [px].
    gap, low, high : float
        Least distance and the range allowed [px]; overfull ranges run over `high`.

    Examples
    --------
    >>> spread([10.0, 12.0, 40.0], 10.0, 0.0, 45.0)
    [10.0, 20.0, 40.0]
    >>> spread([40.0, 44.0], 10.0, 0.0, 45.0)
    [35.0, 45.0]
    """
    places: list[float] = []
    for value in wanted:
        places.append(max(value, places[-1] + gap if places else low))
    most = high
    for index in reversed(range(len(places))):
        places[index] = min(places[index], most)
        most = places[index] - gap
    if places and places[0] < low:
        return [low + gap * k for k in range(len(places))]
    return places
