"""A quantity over all mixes of three ingredients: a triangle, or a strip of one.

Shares of the three sum to 1. Values between mixes are interpolated on the triangles
that join neighbours, so a lattice of any step, and part of one, will do.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import Any

import mpltern  # noqa: F401  (makes the projection "ternary" known)
import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import PathPatch
from matplotlib.path import Path
from matplotlib.tri import Triangulation

from castsugar.arrays import FloatArray
from castsugar.numerics import triangle
from castsugar.plot.sheet import Drawing, Sheet
from castsugar.plot.spread import (
    Area,
    Border,
    Mark,
    Ranges,
    Shares,
    Spread,
    borders_of,
    broken_area,
)
from castsugar.plot.style import (
    BLUE,
    GREEN,
    HALO,
    INK,
    ORANGE,
    PAPER,
    SIZE,
    SMALL,
    SOFT,
    Box,
    dress,
    new_axes,
    overlap,
    shortened,
    tints,
    width_of,
)
from castsugar.report import numbers
from castsugar.report.search_words import spaced

#: Inks of the three scales.
_SCALES = (BLUE, ORANGE, GREEN)

#: Mark, face and size [px] of a mix by its kind.
LOOKS: dict[str, tuple[str, str, float]] = {
    "best": ("*", ORANGE, 15.0),
    "robust": ("D", PAPER, 7.0),
    "rounded": ("s", PAPER, 6.5),
    "tried": ("o", INK, 6.5),
    "measured": ("o", "none", 11.0),
}

# ----------------------------------------------------------------------------
# The public drawing.


def ternary(  # noqa: PLR0913 - keyword-only options
    shares: FloatArray,
    values: FloatArray,
    *,
    corners: tuple[str, str, str],
    label: str = "",
    contours: Sequence[float] = (),
    logarithmic: bool = False,
    limits: Mapping[str, FloatArray] | None = None,
    areas: Mapping[str, FloatArray] | None = None,
    marks: Mapping[str, Shares] | None = None,
    measured: FloatArray | None = None,
    zoom: Ranges | None = None,
    ax: Axes | None = None,
) -> Axes:
    """Draw a quantity over mixes of three ingredients.

    Parameters
    ----------
    shares : ndarray, shape (n, 3)
        Shares of the three in each mix, sum 1: those of a lattice, or any others.
    values : ndarray, shape (n,)
        NaN where nothing was computed: hatched, and named in the legend.
        [unit of the label]
    corners : tuple of three str
        The ingredients: top, left and right.
    label : str
        What is shown, with its unit.
    contours : sequence of float
        Lines of equal value; by default round ones. [unit of the values]
    logarithmic : bool
        For a quantity above 0 that runs over decades.
    limits : mapping of str to ndarray, shape (n,)
        Name to distance to a limit, below 0 where it is broken: a heavy named line at
        0, the broken side hatched. [-]
    areas : mapping of str to ndarray of bool, shape (n,)
        Name to mixes that are covered by a hatch. [-]
    marks : mapping of str to three floats
        Name to the shares of a mix.
    measured : ndarray, shape (m, 3), optional
        Shares of mixes to ring.
    zoom : three pairs of float, optional
        Lowest and highest share of each.
    ax : Axes, optional
        Of the projection "ternary"; or plain ones: a rectangle, the third ingredient
        to the right and the first upward, the second is the rest. New ones by default,
        plain where `zoom` is a strip.

    Returns
    -------
    Axes
        Its artists are labelled: ``axes.legend()`` says what they mean.

    Raises
    ------
    InputError
        Shares that do not sum to 1, shapes that do not fit, an empty zoom.

    Examples
    --------
    >>> from castsugar.numerics import triangle
    >>> shares = triangle(0.1)
    >>> nitrate = 100.0 * shares[:, 0]
    >>> axes = ternary(shares, nitrate, corners=("KNO3", "sugar", "syrup"),
    ...                limits={"at most 65 %": 65.0 - nitrate})
    >>> "at most 65 %" in axes.get_legend_handles_labels()[1]
    True
    """
    spread = Spread(
        corners=corners,
        shares=np.asarray(shares, dtype=float),
        values=np.asarray(values, dtype=float),
        levels=tuple(sorted(contours)),
        logarithmic=logarithmic,
        borders=borders_of(
            (name, name, slack) for name, slack in (limits or {}).items()
        ),
        areas=[
            Area(name=name, beyond=np.where(inside, -1.0, 1.0))
            for name, inside in (areas or {}).items()
        ],
        marks=[Mark(name=name, shares=at) for name, at in (marks or {}).items()],
        measured=np.empty((0, 3)) if measured is None else np.asarray(measured),
        zoom=zoom,
    )
    hatched = [broken_area(spread.borders, "a limit is broken")] if limits else []
    spread = replace(spread, areas=[*hatched, *spread.areas])
    kind = {} if spread.is_strip else {"projection": "ternary", "ternary_sum": 100.0}
    axes = new_axes(**kind) if ax is None else ax
    return draw(axes, spread, label)


# ----------------------------------------------------------------------------
# How it is drawn: ground, areas, lines, marks, then what is written on them.


def draw(axes: Axes, spread: Spread, label: str = "") -> Axes:
    """Draw a spread on Axes of either kind; see :func:`ternary`."""
    spread = spread.near
    _scales(axes, spread, label)
    axes.apply_aspect()
    points = _places(axes, spread, spread.shares)
    net = Triangulation(*points.T)
    lines = _ground(axes, net, spread)
    covers = [path for area in _areas(axes, spread) for path in _cover(axes, net, area)]
    limits = [_border(axes, net, border) for border in spread.borders]
    for words, joined in spread.trails:
        x, y = _places(axes, spread, joined).T
        closed = bool(np.allclose(joined[0], joined[-1]))
        axes.plot(
            x, y, color=SOFT if closed else INK, linewidth=1.2, label=words,
            marker="" if closed else ".", transform=axes.transData, zorder=4.0,
        )  # fmt: skip
    answers = [_inside(axes, net, one) for one in spread.borders if one.slack.ndim == 2]
    free = _Free(axes, covers, [*itertools.chain(*answers)])
    _marks(axes, spread, free)
    pairs = zip(spread.borders, limits, strict=True)
    _name_borders(free, [(one, path) for one, path in pairs if path is not None])
    for level, path in lines:
        free.write(level_text(level), path, INK)
    return axes


def _name_borders(free: _Free, drawn: Sequence[tuple[Border, Path]]) -> None:
    """Write the names of limits on their lines, and that of the answer beside it."""
    answers = [(border, path) for border, path in drawn if border.slack.ndim == 2]
    for _, path in answers:
        free.keep_line(path)
    for border, path in drawn:
        if border.slack.ndim == 2:
            continue
        if not free.write(border.name, path, border.ink, bold=True):
            free.beside(border.name, path.vertices, border.ink)
    for border, path in answers:
        free.beside(border.name, path.vertices, border.ink)


def level_text(level: float) -> str:
    """Return what stands on a line of equal value."""
    return spaced(numbers.typed(numbers.tidy(level)))


def _is_triangle(axes: Axes) -> bool:
    return hasattr(axes, "set_ternary_lim")


def _places(axes: Any, spread: Spread, shares: Any) -> FloatArray:
    """Return where shares, (n, 3), lie in the data of the axes, (n, 2)."""
    shares = np.atleast_2d(np.asarray(shares, dtype=float))
    if _is_triangle(axes):
        scaled = axes.ternary_sum * shares
        return np.asarray(axes.transProjection.transform(scaled))
    return np.asarray(100.0 * spread.total * shares[:, [2, 0]])


def _scales(axes: Any, spread: Spread, label: str) -> None:
    """Dress the axes: scales of the three, each in its ink, and the part shown."""
    names, ranges = spread.corners, spread.ranges
    if not _is_triangle(axes):
        dress(axes, label, x=f"{names[2]}, %; {names[1]}: the rest", grid="")
        axes.annotate(
            f"{names[0]}, %", (0.0, 1.0), (-36.0, 10.0), xycoords="axes fraction",
            textcoords="offset points", fontsize=SIZE, fontweight="bold", color=BLUE,
        )  # fmt: skip
        axes.set_xlim(*(100.0 * end for end in ranges[2]))
        axes.set_ylim(*(100.0 * end for end in ranges[0]))
        axes.xaxis.label.set(color=GREEN, fontweight="bold")
        axes.set_axisbelow(False)
        axes.grid(color=PAPER, linewidth=0.6)
        return
    if label:
        axes.set_title(label, loc="left", fontsize=SIZE, fontweight="bold", color=INK)
    if spread.zoom is not None:
        scale = axes.ternary_sum / spread.total
        axes.set_ternary_lim(*(scale * end for side in ranges for end in side))
    for name, words, ink in zip("tlr", names, _SCALES, strict=True):
        axis = getattr(axes, f"{name}axis")
        axis.set_label_position("tick1")
        axis.set_label_text(f"{words}, %", color=ink, fontsize=SIZE, fontweight="bold")
        axes.tick_params(axis=name, colors=ink, labelsize=SMALL, length=4.0)
    axes.set(facecolor="none", xticks=[], yticks=[])
    for spine in axes.spines.values():
        spine.set_edgecolor(SOFT)
    axes.set_axisbelow(False)
    axes.grid(color=PAPER, linewidth=0.6)


def _ground(axes: Any, net: Triangulation, spread: Spread) -> list[tuple[float, Path]]:
    """Draw shades and lines of equal value; return the lines."""
    if not spread.seen.size:
        return []
    bend: Callable[[Any], Any] = np.log10 if spread.logarithmic else np.asarray
    with np.errstate(divide="ignore", invalid="ignore"):
        known = _filled(net, bend(spread.values))
    levels = [float(bend(level)) for level in spread.lines]
    ends = [
        min([known.min(), *levels]) - 1.0,
        *levels,
        max([known.max(), *levels]) + 1.0,
    ]
    ground = axes.tricontourf(
        net, known, ends, colors=tints(len(levels) + 1), transform=axes.transData
    )
    ground.set(edgecolor="face", linewidth=0.5)
    ground.set_paths([_slimmer(axes, path) for path in ground.get_paths()])
    inside = [k for k, at in enumerate(levels) if known.min() < at < known.max()]
    if not inside:
        return []
    drawn = axes.tricontour(
        net, known, [levels[k] for k in inside], colors=INK, linewidths=0.8,
        linestyles="-", transform=axes.transData,
    )  # fmt: skip
    return [
        (spread.lines[k], p) for k, p in zip(inside, drawn.get_paths(), strict=True)
    ]


def _filled(net: Triangulation, values: FloatArray) -> FloatArray:
    """Return values without gaps: the nearest known one; infinite ones at the end.

    Whatever is filled lies below an area that says what is missing.
    """
    finite = values[np.isfinite(values)]
    values = np.clip(values, finite.min(), finite.max())
    gaps, known = np.flatnonzero(np.isnan(values)), np.flatnonzero(~np.isnan(values))
    x, y = net.x, net.y
    for gap in gaps:
        away = (x[known] - x[gap]) ** 2 + (y[known] - y[gap]) ** 2
        values[gap] = values[known[np.argmin(away)]]
    return np.asarray(values)


def _areas(axes: Axes, spread: Spread) -> list[Area]:
    """Return what is covered: also what is beside the space, and not computed."""
    known = [area.inside for area in spread.areas if area.ground is not None]
    covered = np.any([np.isnan(spread.values) & False, *known], axis=0)
    missing = np.isnan(spread.values) & ~covered
    areas = [*spread.areas]
    if missing.any():
        beyond = np.where(missing, -1.0, 1.0)
        areas.append(Area(name="not computed", beyond=beyond, hatch="--"))
    return areas


def _cover(axes: Any, net: Triangulation, area: Area) -> list[Path]:
    """Hatch an area; return what it hides."""
    paths = _regions(axes, net, area.beyond)
    for k, path in enumerate(paths):
        ground = area.ground or "none"
        patch = PathPatch(
            path, label="" if k else area.name, hatch=area.hatch, facecolor=ground,
            edgecolor=SOFT if area.hatch else ground, transform=axes.transData,
            zorder=3.0 if area.ground else 2.0,
            linewidth=(0.8 if area.hatch else 2.0) if area.ground else 0.0,
        )  # fmt: skip
        axes.add_patch(patch)
    return paths if area.ground else []


#: A point of an outline may be left out if its neighbours' line is so near. [px]
_NEAR = 0.06


def _slimmer(axes: Any, path: Path) -> Path:
    """Return an outline without points on straight parts: a lattice gives many."""
    if path.codes is None:
        return path
    vertices, codes = np.asarray(path.vertices), np.asarray(path.codes)
    for start in (1, 2, 1, 2, 1):
        if len(codes) < 8:
            break
        at = axes.transData.transform(vertices)
        before, after = at[:-2] - at[1:-1], at[2:] - at[1:-1]
        area = np.abs(before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0])
        away = area / np.maximum(np.hypot(*(after - before).T), 1e-9)
        plain = (codes[:-2] <= Path.LINETO) & (codes[1:-1] == Path.LINETO)
        plain &= (codes[2:] == Path.LINETO) & (away < _NEAR)
        keep = np.ones(len(codes), dtype=bool)
        keep[start:-1:2] = ~plain[start - 1 :: 2]
        vertices, codes = vertices[keep], codes[keep]
    return Path(vertices, codes)


def _inside(axes: Any, net: Triangulation, border: Border) -> list[Path]:
    """Return where all limits of a border are kept at the corners of triangles."""
    return _regions(axes, net, -np.min(np.nan_to_num(border.slack, nan=-1.0), axis=1))


def _regions(axes: Any, net: Triangulation, beyond: FloatArray) -> list[Path]:
    """Return where fields, (n,) or (n, m), are below 0, one path a field."""
    found = []
    for one in np.clip(beyond.reshape(len(beyond), -1).T, -1e3, 1e3):
        if (one < 0.0).any():
            drawn = axes.tricontourf(net, one, [-1e4, 0.0], transform=axes.transData)
            found += [_slimmer(axes, path) for path in drawn.get_paths()]
            drawn.remove()
    return found


def _border(axes: Any, net: Triangulation, border: Border) -> Path | None:
    """Draw the line of a limit; return it."""
    slack, words = border.slack, border.words
    if slack.ndim == 2:
        net, slack = _finer(net, np.nan_to_num(slack, nan=-1.0))
    known = slack[np.isfinite(slack)]
    style = {"color": border.ink, "linewidth": border.wide, "linestyle": border.dashes}
    lines = None
    if known.size and known.min() < 0.0 <= known.max():
        found = axes.tricontour(
            net, _filled(net, slack), [0.0], colors=border.ink,
            linewidths=border.wide, linestyles=[border.dashes],
            transform=axes.transData,
            zorder=2.4 if border.slack.ndim == 2 else 2.5,
        )  # fmt: skip
        lines = _slimmer(axes, found.get_paths()[0])
        found.set_paths([lines])
    elif known.size:
        kept = known.min() >= 0.0
        words += ": kept everywhere" if kept else ": broken everywhere"
    axes.plot([], [], label=words, transform=axes.transData, **style)
    return lines


#: A side of a triangle in which several limits end is cut into so many parts at most;
#: all cuts of a full lattice together are about the second number.
_PARTS, _CUTS = 8, 400.0


def _finer(net: Triangulation, slack: FloatArray) -> tuple[Triangulation, FloatArray]:
    """Return the least slack of several limits, followed inside the triangles.

    The least of the corners would lie: a limit far off at one hides one that is near.
    Only triangles that the border crosses are left: some limit is broken in a part of
    each, and none in all of it.
    """
    of = slack[net.triangles]
    crossed = ~(of < 0.0).all(axis=1).any(axis=1) & ~(of >= 0.0).all(axis=(1, 2))
    if not crossed.any():
        return net, slack.min(axis=1)
    cuts = min(_PARTS, max(2, int(_CUTS / len(net.triangles) ** 0.5)))
    parts = triangle(1.0 / cuts)
    inner = Triangulation(parts[:, 2] + 0.5 * parts[:, 0], parts[:, 0]).triangles
    corners = np.stack([net.x, net.y], axis=1)[net.triangles[crossed]]
    points = np.einsum("pk,tkd->tpd", parts, corners).reshape(-1, 2)
    least = np.einsum("pk,tkm->tpm", parts, of[crossed]).min(axis=2).ravel()
    shifts = len(parts) * np.arange(crossed.sum())[:, None, None]
    _, first, place = np.unique(
        points.round(9), axis=0, return_index=True, return_inverse=True
    )
    joined = place.ravel()[(inner[None] + shifts).reshape(-1, 3)]
    x, y = points[first].T
    return Triangulation(x, y, joined), least[first]


def _marks(axes: Any, spread: Spread, free: _Free) -> None:
    """Draw mixes that lie on the picture, and their names."""
    style: dict[str, Any] = {"linestyle": "", "markeredgecolor": INK, "zorder": 8.0}
    style |= {"transform": axes.transData, "clip_on": False}
    held = spread.measured[spread.holds(spread.measured)]
    if len(held):
        mark, face, size = LOOKS["measured"]
        x, y = _places(axes, spread, held).T
        axes.plot(
            x, y, marker=mark, markersize=size, markerfacecolor=face,
            markeredgewidth=1.3, label="measured: strands or a firing", **style,
        )  # fmt: skip
        for at in axes.transData.transform(np.column_stack([x, y])):
            free.keep(at, 7.0)
    shown = [one for one in spread.marks if spread.holds(one.shares)[0]]
    for k, one in enumerate(spread.marks):
        mark, face, size = LOOKS[one.kind]
        at, words = _places(axes, spread, one.shares)[0], one.words or one.name
        if one not in shown:
            at, words = np.full(2, np.nan), f"{words} (not on the picture)"
        axes.plot(
            [at[0]], [at[1]], marker=mark, markersize=size, markerfacecolor=face,
            label=words, **style | {"zorder": 9.0 - 0.01 * k},
        )  # fmt: skip
    places = [_places(axes, spread, one.shares)[0] for one in shown]
    for at in places:
        free.keep(axes.transData.transform(at), 8.0)
    for one, at in zip(shown, places, strict=True):
        free.beside(one.name, at[None], INK)


#: Where a name may stand beside a point: distance [px], and directions.
_AWAY = (11.0, 20.0, 32.0, 48.0, 66.0, 90.0)
_WAYS = ((1, 0), (-1, 0), (0, -1), (0, 1), (1, 1), (-1, 1), (1, -1), (-1, -1))

#: Room for a name on a picture [px]; the key has it in full.
_ROOM = 150.0


class _Free:
    """Where words may still stand: inside the frame, on no other words, on no cover.

    And, as long as there is room elsewhere, not on the answer.
    """

    def __init__(
        self, axes: Any, hidden: Sequence[Path], answers: Sequence[Path]
    ) -> None:
        self.axes, self.taken = axes, list[Box]()
        data, patch = axes.transData, axes.patch
        self.hidden = [data.transform_path(path) for path in hidden]
        self.answers = [data.transform_path(path) for path in answers]
        self.frame = patch.get_transform().transform_path(patch.get_path())
        self.px = axes.figure.dpi / 72.0

    def _size(self, words: str, *, bold: bool) -> tuple[float, float]:
        """Return width and height that words need. [dots]"""
        wide = width_of(words, SMALL, bold=bold) + 4.0
        return self.px * wide, self.px * 1.25 * SMALL

    def keep(self, at: Any, half: float) -> None:
        """Keep a point of the screen free, `half` in px."""
        half *= self.px
        self.taken.append((at[0] - half, at[1] - half, at[0] + half, at[1] + half))

    def keep_line(self, path: Path) -> None:
        """Keep a line free."""
        line = self.axes.transData.transform(path.vertices)
        for at in line[:: max(1, len(line) // 200)]:
            self.keep(at, 2.0)

    def beside(self, words: str, points: Any, ink: str) -> None:
        """Write words beside one of some points of the data, led to it if far off."""
        words = shortened(words, _ROOM, SMALL)
        wide, high = self._size(words, bold=True)
        at = np.asarray(self.axes.transData.transform(points))
        held = self.frame.contains_points(at, radius=2.0)
        at, tries = at[held] if held.any() else at, []
        for away, (across, up) in itertools.product(_AWAY, _WAYS):
            far = at @ (across, up)
            outer = at[np.flatnonzero(far > far.max() - 1.0)]
            x, y = outer[len(outer) // 2]
            reach = self.px * away / (1.0 if across * up == 0 else 1.414)
            place = (
                x + across * (reach + 0.5 * wide),
                y + up * (reach + 0.5 * high),
            )
            edge = (place[0] - across * 0.5 * wide, place[1])
            tries.append((place, edge if away > _AWAY[1] else None, (x, y)))
        k = self._first([place for place, _, _ in tries], wide, high)
        if k is not None:
            place, lead, end = tries[k]
            self._put(words, place, ink, bold=True)
            if lead is not None:
                x, y = self.axes.transData.inverted().transform([lead, end]).T
                self.axes.plot(
                    x, y, color=ink, linewidth=1.0, zorder=6.5,
                    transform=self.axes.transData,
                )  # fmt: skip

    def write(self, words: str, path: Path, ink: str, *, bold: bool = False) -> bool:
        """Write words on a line, bold ones beside it too; say if there was room."""
        wide, high = self._size(words, bold=bold)
        room = 5.0 * self.px
        ways = ((0, 0), (-1, 0), (1, 0), (0, 1), (0, -1)) if bold else ((0, 0),)
        tries = [
            (x + across * (0.5 * wide + room), y + up * (0.5 * high + room))
            for x, y in self._spots(path)
            for across, up in ways
        ]
        k = self._first(tries, wide, high, anywhere=bold)
        if k is not None:
            self._put(words, tries[k], ink, bold=bold)
        return k is not None

    def _first(
        self,
        middles: Sequence[tuple[float, float]],
        wide: float,
        high: float,
        *,
        anywhere: bool = True,
    ) -> int | None:
        """Return the first place of a box that is free, and keep it. [px]"""
        for covers in [[*self.hidden, *self.answers], self.hidden][: 1 + anywhere]:
            for k, (x, y) in enumerate(middles):
                box = (x - 0.5 * wide, y - 0.5 * high, x + 0.5 * wide, y + 0.5 * high)
                if self._is_free(box, covers):
                    self.taken.append(box)
                    return k
        return None

    def _put(
        self, words: str, at: tuple[float, float], ink: str, *, bold: bool
    ) -> None:
        """Write words around a point. [px]"""
        self.axes.annotate(
            words, self.axes.transData.inverted().transform(at), ha="center",
            va="center", fontsize=SMALL, color=ink, bbox=HALO, zorder=7.0,
            fontweight="bold" if bold else "normal",
        )  # fmt: skip

    def _spots(self, path: Path) -> list[tuple[float, float]]:
        """Return points of a line, the middle of its longest part first. [px]"""
        found = []
        for part in self.axes.transData.transform_path(path).to_polygons(
            closed_only=False
        ):
            steps = np.hypot(*np.diff(part, axis=0).T)
            along = np.concatenate([[0.0], np.cumsum(steps)])
            at = np.arange(0.0, along[-1], 6.0)
            x, y = (np.interp(at, along, part[:, k]) for k in (0, 1))
            off = np.abs(at - 0.5 * along[-1]) - along[-1]
            found += list(zip(off, x, y, strict=True))
        return [(x, y) for _, x, y in sorted(found)]

    def _is_free(self, box: Box, covers: Sequence[Path]) -> bool:
        """Say whether a box lies inside the frame, on no words and on no cover."""
        if any(overlap(box, one) for one in self.taken):
            return False
        across = np.linspace(box[0], box[2], 5)
        spots = [(x, y) for x in across for y in box[1::2]]
        return bool(self.frame.contains_points(spots).all()) and not any(
            path.contains_points(spots).any() for path in covers
        )


# ----------------------------------------------------------------------------
# The whole picture of a command.


def spread_drawing(  # noqa: PLR0913 - keyword-only options
    spread: Spread,
    *,
    name: str,
    title: str,
    label: str,
    words: str,
    below: Sequence[str] = (),
    notes: Sequence[str] = (),
    ends: Sequence[str] = (),
) -> Drawing:
    """Return the picture of a spread, with its shades, keys and notes.

    `ends` are the lowest and the highest value in words.
    """

    def drawing(width: int) -> Sheet:
        sheet = Sheet(name, title, width=width, words=words, below=below)
        if spread.is_strip:
            high = 190.0 if sheet.is_narrow else 240.0
            axes = sheet.panel(high, above=40.0, below=40.0)
        else:
            room = sheet.inner - (60.0 if sheet.is_narrow else 120.0)
            axes = sheet.panel(
                min(400.0, room / spread.slimness), left=10.0, above=44.0, below=46.0,
                projection="ternary", ternary_sum=100.0 * spread.total,
            )  # fmt: skip
        draw(axes, spread)
        _bar(sheet, spread, label, ends)
        sheet.keys(axes, columns=1 if sheet.is_narrow else 0)
        sheet.notes(notes)
        return sheet

    return drawing


def _bar(sheet: Sheet, spread: Spread, label: str, ends: Sequence[str]) -> None:
    """Draw the shades with the levels between them."""
    levels = spread.lines
    if not spread.seen.size:
        return
    axes = sheet.panel(10.0, left=0.0, right=0.0, above=22.0, below=30.0)
    dress(axes, label, grid="")
    axes.set(xlim=(0.0, len(levels) + 1.0), ylim=(0.0, 1.0), yticks=[])
    for k, tint in enumerate(tints(len(levels) + 1)):
        axes.axvspan(k, k + 1.0, facecolor=tint, edgecolor=SOFT, linewidth=0.4)
    told = [level_text(level) for level in levels]
    room = sheet.inner / (len(levels) + 1.0)
    every = 1 + int(
        max([width_of(one, SMALL) + 6.0 for one in told], default=0) // room
    )
    axes.set_xticks(
        [k + 1.0 for k in range(0, len(levels), every)], told[::every], fontsize=SMALL
    )
    axes.annotate(
        ", ".join(ends), (0.0, 0.0), (0.0, -27.0), xycoords="axes fraction",
        textcoords="offset points", fontsize=SMALL, color=SOFT,
    )  # fmt: skip
