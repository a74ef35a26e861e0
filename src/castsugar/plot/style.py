"""One style for all pictures: inks, axes, bands, the allowed pressure, labels.

Every ink has a light and a dark form of enough contrast (WCAG 2.2: 4.5 for text, 3 for
marks); a picture is drawn in the light one, and :mod:`castsugar.plot.export` adds the
other. Nothing here touches the settings of matplotlib.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from functools import cache
from typing import TYPE_CHECKING, Any

import numpy as np

from castsugar.arrays import FloatArray
from castsugar.report import numbers

if TYPE_CHECKING:
    from matplotlib.axes import Axes

#: Ink -> how it looks on a light and on a dark ground.
INKS = {
    "paper": ("#fefefe", "#14161a"),
    "ink": ("#1a1b1c", "#e8e9eb"),
    "soft": ("#4c5258", "#b3b8be"),
    "rule": ("#d2d5d8", "#3a3f46"),
    "blue": ("#00558a", "#7fc4f5"),
    "orange": ("#9c3f00", "#ffab73"),
    "green": ("#00614a", "#6fd6b4"),
    "purple": ("#8a2277", "#e9a0da"),
    "brown": ("#5a4a00", "#dcc765"),
    "red": ("#a30003", "#ff9c94"),
}
PAPER, INK, SOFT, RULE = (INKS[name][0] for name in ("paper", "ink", "soft", "rule"))
BLUE, ORANGE, GREEN, PURPLE, BROWN, RED = (
    INKS[name][0] for name in ("blue", "orange", "green", "purple", "brown", "red")
)

#: Inks, dashes and marks of curves, one after the other: told apart without colour.
LINES = (BLUE, ORANGE, GREEN, PURPLE, BROWN, SOFT)
DASHES: tuple[Any, ...] = (
    "-",
    (0, (6, 2)),
    (0, (1.5, 1.5)),
    (0, (6, 2, 1.5, 2)),
    (0, (10, 3)),
    (0, (3, 1.5)),
)
MARKS = ("o", "s", "^", "D", "v", "P", "*")

#: Tints of a field, from its lowest class to its highest; ink is legible on each.
TINTS = (
    ("#f7fafd", "#171b21"),
    ("#eaf2f9", "#18212b"),
    ("#dceaf5", "#192735"),
    ("#cee1f1", "#1a2d3f"),
    ("#c0d9ed", "#1b3349"),
    ("#b2d0e9", "#1c3953"),
    ("#a4c7e4", "#1d3f5d"),
    ("#96bedf", "#1e4567"),
    ("#88b5da", "#1f4b71"),
    ("#7aacd5", "#20517b"),
)

#: Sizes of letters: plain, small, head of the picture. [px]
SIZE, SMALL, HEAD = 11.0, 10.0, 14.0

#: What the settings of a picture of our own are; those of a caller stay as they are.
SETTINGS: dict[str, Any] = {
    "font.family": ["DejaVu Sans"],
    "font.size": SIZE,
    "text.color": INK,
    "text.parse_math": False,
    "svg.fonttype": "none",
    "hatch.linewidth": 0.8,
    "path.simplify": True,
}

#: Keeps words apart from what lies below them; an outline would turn them into paths.
HALO: dict[str, Any] = {
    "facecolor": PAPER,
    "edgecolor": "none",
    "alpha": 0.8,
    "pad": 1.0,
}

#: Steps of a logarithmic axis inside a decade, the finest first, and their least
#: distance [decades]; room that a tick needs on either axis. [px]
_STEPS = (
    ((1.0, 2.0, 3.0, 5.0, 7.0), 0.146),
    ((1.0, 2.0, 5.0), 0.301),
    ((1.0, 3.0), 0.477),
    ((1.0,), 1.0),
)
_TICK = {"x": 32.0, "y": 13.0}

#: How far up the allowed pressure may lie and still be on the picture. [axes]
_REACH = 3.0


def tints(count: int) -> list[str]:
    """Return the tints of so many classes, the lowest first."""
    places = np.linspace(0.0, len(TINTS) - 1.0, max(count, 1)).round().astype(int)
    return [TINTS[place][0] for place in places]


def new_axes(**options: Any) -> Axes:
    """Return Axes of a figure of their own, made without ``pyplot``."""
    from matplotlib.figure import Figure

    axes: Axes = Figure(layout="constrained").add_subplot(**options)
    return axes


def dress(axes: Axes, label: str = "", *, x: str = "", grid: str = "y") -> None:
    """Give Axes our look: the quantity above them, what runs below, a faint grid."""
    axes.set_facecolor("none")
    axes.set_axisbelow(True)
    for side, spine in axes.spines.items():
        spine.set_visible(side in ("left", "bottom"))
        spine.set_color(SOFT)
    axes.tick_params(colors=INK, labelsize=SMALL, length=3.0, color=SOFT)
    if grid:
        axes.grid(axis=grid, color=RULE, linewidth=0.8)  # type: ignore[arg-type]
    if label:
        axes.set_title(
            label, loc="left", fontsize=SIZE, fontweight="bold", color=INK, pad=6.0
        )
    if x:
        axes.set_xlabel(x, fontsize=SIZE, color=INK)


def headed(label: str, unit: str) -> str:
    """Return a label with its unit, as it heads an axis.

    Examples
    --------
    >>> headed("burning rate", "mm/s"), headed("share", "")
    ('burning rate, mm/s', 'share')
    """
    return f"{label}, {unit}" if unit else label


def logarithmic(axes: Axes, name: str, low: float, high: float) -> None:
    """Make the axis "x" or "y" logarithmic, with ticks that can be read."""
    from matplotlib.ticker import FixedLocator, FuncFormatter, MaxNLocator, NullLocator

    axis = axes.xaxis if name == "x" else axes.yaxis
    getattr(axes, f"set_{name}scale")("log")
    getattr(axes, f"set_{name}lim")(low, high)
    decades = range(math.floor(math.log10(low)), math.ceil(math.log10(high)) + 1)
    frame = axes.get_window_extent()
    decade = (frame.width if name == "x" else frame.height) / math.log10(high / low)
    fit = [steps for steps, least in _STEPS if least * decade >= _TICK[name]]
    steps = fit[0] if fit else _STEPS[-1][0]
    ticks = [step * 10.0**n for n in decades for step in steps]
    axis.set_major_locator(FixedLocator([t for t in ticks if low <= t <= high]))
    axis.set_minor_locator(NullLocator())
    axis.set_major_formatter(
        FuncFormatter(lambda value, _: numbers.typed(numbers.tidy(value)))
    )
    if sum(low <= tick <= high for tick in ticks) < 3:  # a short axis: even steps
        even = MaxNLocator(6, steps=[1, 2, 5, 10]).tick_values(low, high)
        axis.set_major_locator(FixedLocator([t for t in even if low <= t <= high]))


def band(
    axes: Axes, x: FloatArray, low: FloatArray, high: FloatArray, colour: str
) -> None:
    """Shade the 95 % band of a curve; NaN leaves a gap."""
    axes.fill_between(x, low, high, color=colour, alpha=0.2, linewidth=0.0)
    for edge in (low, high):
        axes.plot(x, edge, color=colour, linewidth=0.7, alpha=0.8)


def allowed(axes: Axes, pressure: float, words: str, *, reach: float = _REACH) -> None:
    """Draw the allowed pressure, in the unit of the axes: the same on every picture.

    A thick dark line with its name, the region above it shaded. Call it last: a line
    farther up than `reach` times the axis is told at the upper edge instead.
    """
    if not math.isfinite(pressure):
        return
    low, top = axes.get_ylim()
    style: dict[str, Any] = {
        "fontsize": SMALL,
        "fontweight": "bold",
        "color": INK,
        "ha": "right",
    }
    if pressure > low + reach * (top - low):
        axes.annotate(
            f"{words}, above the picture \N{UPWARDS ARROW}",
            (1.0, 1.0),
            (-4.0, -4.0),
            xycoords="axes fraction",
            textcoords="offset points",
            va="top",
            **style,
        )
        return
    top = max(top, pressure + 0.15 * (pressure - low))
    axes.set_ylim(low, top)
    axes.axhspan(pressure, top, facecolor=INK, alpha=0.1, linewidth=0.0)
    axes.axhline(pressure, color=INK, linewidth=2.8, solid_capstyle="butt")
    axes.annotate(
        words,
        (1.0, pressure),
        (-4.0, 3.0),
        xycoords=("axes fraction", "data"),
        textcoords="offset points",
        va="bottom",
        **style,
    )


def moments(axes: Axes, at: Iterable[tuple[str, float]]) -> None:
    """Mark moments of a time axis by a thin line and a name near its lower end.

    A name that would leave the axes stands before its line; one that would stand on
    another goes a line up.
    """
    axes.get_xlim()  # settles limits that matplotlib leaves open
    edge = float(axes.get_window_extent().x1)
    taken: list[Box] = []
    for name, x in sorted(at, key=lambda pair: pair[1]):
        axes.axvline(x, color=SOFT, linewidth=0.9, linestyle=(0, (2, 2)))
        place, wide = axes.transData.transform((x, 0.0))[0], width_of(name, SMALL)
        before = place + wide + 4.0 > edge
        left = place - wide - 4.0 if before else place + 4.0
        row = 0
        while any(overlap((left, row, left + wide, row + 1), b) for b in taken):
            row += 1
        taken.append((left, row, left + wide, row + 1))
        axes.annotate(
            name,
            (x, 0.0),
            (-4.0 if before else 4.0, 14.0 + 12.0 * row),
            xycoords=("data", "axes fraction"),
            textcoords="offset points",
            ha="right" if before else "left",
            fontsize=SMALL,
            color=SOFT,
            bbox=HALO,
        )


# ----------------------------------------------------------------------------
# Words on a picture: how wide they are, where they fit, and beside what.


@cache
def width_of(words: str, size: float = SIZE, *, bold: bool = False) -> float:
    """Return how wide a line of words is. [px]"""
    from matplotlib.font_manager import FontProperties
    from matplotlib.textpath import text_to_path

    font = FontProperties(family="DejaVu Sans", weight="bold" if bold else "normal")
    font.set_size(size)
    wide = text_to_path.get_text_width_height_descent(words, font, ismath=False)
    return float(wide[0])


def wrapped(
    words: str, width: float, size: float = SIZE, *, bold: bool = False
) -> list[str]:
    """Return words as lines that fit a width [px]; a longer word stands alone.

    Lines break at spaces, but not at those that hold two words together.
    """
    lines: list[str] = []
    for word in filter(None, words.split(" ")):
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and width_of(longer, size, bold=bold) <= width:
            lines[-1] = longer
        else:
            lines.append(word)
    return lines or [""]


def shortened(words: str, width: float, size: float = SIZE) -> str:
    """Return words cut to a width, an ellipsis at their end. [px]"""
    if width_of(words, size) <= width:
        return words
    while words and width_of(f"{words}…", size) > width:
        words = words[:-1]
    return f"{words.rstrip()}…"


#: Where a label may stand beside its point, the best place first: offset in units of
#: half the mark and of its own size. [1]
_PLACES = (
    (1, 0), (-1, 0), (1, 1), (-1, 1), (1, -1), (-1, -1), (0, 1), (0, -1),
    (2, 1), (-2, 1), (2, -1), (-2, -1), (1, 2), (-1, 2), (1, -2), (-1, -2),
    (2, 2), (-2, 2), (2, -2), (-2, -2), (3, 0), (-3, 0), (0, 3), (0, -3),
)  # fmt: skip

#: A box on the picture: left, bottom, right, top. [px]
Box = tuple[float, float, float, float]


def overlap(one: Box, other: Box) -> bool:
    """Say whether two boxes share some area."""
    return (
        one[0] < other[2]
        and other[0] < one[2]
        and one[1] < other[3]
        and other[1] < one[3]
    )


#: Width of the longest label of a point. [px]
_LABEL = 130.0


def label_points(
    axes: Axes,
    points: Sequence[tuple[float, float, str]],
    *,
    taken: Sequence[Box] = (),
) -> list[Box]:
    """Name points of the data, each label where it covers no other, nor a point.

    `taken` are boxes that stay free; what finds no place is left out, for the key
    has it. Returns the boxes of the labels that were written. [px]
    """
    axes.get_xlim(), axes.get_ylim()  # settles limits that matplotlib leaves open
    frame = tuple(axes.get_window_extent().extents)
    dot = axes.get_figure().dpi / 72.0  # type: ignore[union-attr]
    at = [axes.transData.transform(point[:2]) for point in points]
    near = 5.0 * dot
    boxes = [*taken, *((x - near, y - near, x + near, y + near) for x, y in at)]
    written: list[Box] = []
    for (x, y), point in zip(at, points, strict=True):
        words = shortened(point[2], _LABEL, SMALL)
        wide, high = width_of(words, SMALL, bold=True) * dot, 1.3 * SMALL * dot
        for across, up in _PLACES:
            before = wide if across < 0 else 0.5 * wide * (not across)
            left = x + across * 9.0 * dot - before
            low = y + up * (0.5 * high + near) - 0.5 * high
            box = (left, low, left + wide, low + high)
            inside = frame[0] <= left and box[2] <= frame[2]
            inside = inside and frame[1] <= low and box[3] <= frame[3]
            if inside and not any(overlap(box, other) for other in boxes):
                break
        else:
            continue
        boxes.append(box)
        written.append(box)
        axes.annotate(
            words,
            point[:2],
            ((left - x) / dot, (low - y) / dot + 0.25 * SMALL),
            textcoords="offset points",
            fontsize=SMALL,
            fontweight="bold",
            color=INK,
            zorder=9.0,
            bbox=HALO,
        )
    return written
