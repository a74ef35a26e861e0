"""Values with their 95 % intervals, a row each: differences of mixes, predictions."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from castsugar.comparison.compare import CANNOT_TELL, Cell, Comparison
from castsugar.comparison.drawn_batches import DECADES
from castsugar.errors import InputError
from castsugar.plot.sheet import Drawing, Sheet
from castsugar.plot.style import (
    BLUE,
    INK,
    MARKS,
    ORANGE,
    PAPER,
    RED,
    RULE,
    SMALL,
    SOFT,
    dress,
    logarithmic,
    new_axes,
    shortened,
    width_of,
)
from castsugar.records.learning.checks import Check
from castsugar.report import numbers
from castsugar.report.compare import difference, interval
from castsugar.report.field import FIELDS
from castsugar.report.mix_words import short_names
from castsugar.report.shown import SI, Shown

if TYPE_CHECKING:
    from matplotlib.axes import Axes

#: Height of a line of words [px], and room left and right of a track on a phone.
_LINE, _SIDE = 19.0, 62.0


def _interval(
    axes: Axes,
    ends: Sequence[float],
    y: float,
    reach: tuple[float, float],
    **style: Any,
) -> None:
    """Draw an interval as a bar with its ends; arrows where it leaves what is shown."""
    at = np.clip(ends, *reach)
    axes.plot(
        at, [y, y], clip_on=False, solid_capstyle="butt", label="_interval", **style
    )
    tips: dict[str, Any] = {"color": style["color"], "ms": 9.0, "mew": 1.6}
    for end, x, tip in zip(ends, at, "<>", strict=True):
        axes.plot(x, y, "|" if x == end else tip, clip_on=False, **tips)


# ----------------------------------------------------------------------------
# Differences of mixes.

#: Other mixes that one picture tells apart, and letters that look like their marks.
MOST, _GLYPHS = 6, "●■▲◆▼✚"

#: Ends of scales within a decade, and how much room a scale leaves beyond its data.
_ENDS = (1.0, 1.2, 1.5, 2.0, 2.5, 3.0, 3.5, 4.0, 5.0, 6.0, 7.0, 8.0, 10.0, 12.0)
_ROOM = 1.15

#: How far Axes reach beyond the ends of a scale; a bar without an end does nearly.
_EDGE, _ENDLESS = 1.15, 1.06

#: Good, bad, neither, no verdict.
_INKS = {"better": BLUE, "worse": ORANGE, "": INK, "open": SOFT}
_ARROWS = {"higher": "\N{UPWARDS ARROW} ", "lower": "\N{DOWNWARDS ARROW} ", "": ""}

#: Words beside a line, from the left or right end of the axes.
_BESIDE: dict[str, Any] = {
    "xycoords": ("axes fraction", "data"),
    "textcoords": "offset points",
    "va": "center",
    "fontsize": SMALL,
}

_HOW = (
    "Paired differences, every row on a scale of its own. Mark: the median; bar: 95 % "
    "of the draws; of pressures by formula. Filled: the bar leaves out 0; hollow: "
    "cannot tell. Better or worse where the trade agrees which way is good."
)


class _Told(NamedTuple):
    """A difference in the units shown (of ln for ratios), its words and its verdict.

    NaN where there is none. `tone` is a key of :data:`_INKS`, `turn` of `_ARROWS`.
    """

    low: float
    high: float
    middle: float
    words: str
    verdict: str = CANNOT_TELL
    tone: str = "open"
    turn: str = ""


_Rows = Mapping[str, Sequence[_Told]]


def differences(
    comparison: Comparison,
    mix: int | None = None,
    *,
    columns: Sequence[str] | None = None,
    ax: Axes | None = None,
    units: str = SI,
    above: bool = False,
) -> Axes:
    """Draw how one mix, or every other one, differs from the baseline.

    A row a column, each on a scale of its own about one zero line: x runs from -1 to 1
    of the ends that stand at the row. Filled and coloured where there is a verdict,
    hollow and grey where there is none; bars are 95 % of the paired draws.

    Parameters
    ----------
    comparison : Comparison
        Of :func:`castsugar.compare`; ``change.comparison`` of a justified change.
    mix : int, optional
        Its place; by default all others, a mark each, the first six of more.
    columns : sequence of str, optional
        All that were compared by default.
    ax : matplotlib.axes.Axes, optional
        New ones by default.
    units : str
        "si" or "us".
    above : bool
        With words above the bars, not beside them: for narrow Axes.

    Returns
    -------
    matplotlib.axes.Axes

    Raises
    ------
    InputError
        Without another mix; for a place that is none, or the baseline's.
    UnknownNameError
        For a column that was not compared, and for other units.

    Examples
    --------
    >>> import castsugar as cs
    >>> mixes = ["KNO3:65 sucrose:35", "KNO3:65 sorbitol:35"]
    >>> axes = differences(cs.compare(mixes, draws=100))
    >>> axes.texts[0].get_text()
    'flame temperature'
    """
    show, mixes = Shown(units), _mixes(comparison, mix)[:MOST]
    rows = _rows(comparison, mixes, columns, show)
    axes = ax if ax is not None else new_axes()
    dress(axes, grid="")
    lines = _lines(len(mixes), above=above)
    if ax is None:
        high = 0.4 + lines * len(rows) * _LINE / 72.0
        axes.figure.set_size_inches(7.5, high)  # type: ignore[union-attr]
    axes.set(xlim=(-_EDGE, _EDGE), ylim=(lines * len(rows), 0.0), xticks=[], yticks=[])
    axes.spines[["left", "bottom"]].set_visible(False)
    for k, place in enumerate(mixes):
        name = _names(comparison)[place]
        axes.plot([], [], MARKS[k], color=SOFT, linestyle="", label=name)
    for number, (column, told) in enumerate(rows.items()):
        _row(axes, (column, show), told, number * lines, above=above)
    return axes


def _lines(mixes: int, *, above: bool) -> float:
    """Return how many lines of words high a row is."""
    return (2 if above else 1) * mixes + 1.4


def _mixes(comparison: Comparison, mix: int | None) -> Sequence[int]:
    """Return the places of the mixes that are asked for."""
    places, base = range(len(comparison.names)), comparison.baseline
    others = [place for place in places if place != base]
    mixes = others if mix is None else [mix]
    if not mixes or not set(mixes) <= set(others):
        raise InputError(
            f"mix {'none' if mix is None else mix} is not beside the baseline; give a "
            f"place from 0 to {places[-1]} other than {base}"
        )
    return mixes


def _names(comparison: Comparison) -> Sequence[str]:
    """Return the names of mixes, short where that tells them apart."""
    short = short_names(comparison.draws.outlook.mixes)
    return short if len({*short}) == len(short) else comparison.names


def _rows(
    comparison: Comparison,
    mixes: Sequence[int],
    columns: Sequence[str] | None,
    show: Shown,
) -> _Rows:
    """Return what each column tells of every mix."""
    for name in columns or ():
        comparison.draws.known(name)
    return {
        column: [_told(comparison.cells[place][column], show) for place in mixes]
        for column in comparison.draws.columns
        if column in (columns or comparison.told)
    }


def _told(cell: Cell, show: Shown) -> _Told:
    """Return what one cell tells."""
    found, kind = cell.difference, FIELDS[cell.column].kind
    low, high, middle = (
        x if cell.column in DECADES else show.span(kind, x)
        for x in (*found.interval, found.median)
    )
    if any(map(math.isnan, (low, high, middle))):
        return _Told(math.nan, math.nan, math.nan, "not computed")
    words = _words(cell, show)
    if cell.verdict == CANNOT_TELL:
        return _Told(low, high, middle, words)
    verdict = cell.merit or cell.verdict
    return _Told(low, high, middle, words, verdict, cell.merit, cell.verdict)


def _words(cell: Cell, show: Shown) -> str:
    """Write a difference with its interval, a ratio as a factor."""
    low, high = cell.difference.interval
    if (low, high) == (0.0, 0.0):
        return "no difference"
    if low == high and math.isinf(low):
        endless = FIELDS[cell.column].endless
        return endless if low > 0.0 else f"the baseline: {endless}"
    middle, ends = difference(cell, show)[0], interval(cell, show)
    if cell.column in DECADES:
        jams = math.isinf(cell.difference.median)
        return "no ratio: one of them jams" if jams else f"× {middle} ({ends})"
    return f"{middle} {show.unit(FIELDS[cell.column].kind)}".rstrip() + f" ({ends})"


def _span(told: Sequence[_Told]) -> float:
    """Return the half width of a scale about 0 that holds every finite end."""
    ends = [abs(v) for one in told for v in one[:3] if math.isfinite(v)]
    most = _ROOM * max(ends, default=0.0)
    decade = 10.0 ** math.floor(math.log10(most)) if most else 0.0
    return next((end * decade for end in _ENDS if end * decade >= most), 0.0)


def _scale_ends(column: str, span: float, show: Shown) -> tuple[str, str]:
    """Return what stands at both ends of a scale."""
    if column in DECADES:
        factor = numbers.factor(math.exp(min(span, 60.0)))
        return f"÷ {factor}", f"× {factor}"
    unit, told = show.unit(FIELDS[column].kind), numbers.typed(numbers.tidy(span))
    return f"\u2212{told}", f"+{told} {unit}".rstrip()


def _row(
    axes: Axes, of: tuple[str, Shown], told: Sequence[_Told], top: float, *, above: bool
) -> None:
    """Draw a column in its units, from a line on: its name, then every mix."""
    (column, show), span = of, _span(told)
    first, last = ((-_SIDE, "left"), (_SIDE, "right"))
    if not above:
        first, last = (-10.0, "right"), (12.0, "left")
    before: dict[str, Any] = {"xytext": (first[0], 0.0), "ha": first[1], **_BESIDE}
    after: dict[str, Any] = {"xytext": (last[0], 0.0), "ha": last[1], **_BESIDE}
    name = FIELDS[column].named(show)
    axes.annotate(name, (0.0, top + 0.6), color=INK, fontweight="bold", **before)
    for k, one in enumerate(told):
        y, ink = top + (2 * k if above else k) + 1.5, _INKS[one.tone]
        words = f"{_GLYPHS[k]} {one.words}" if len(told) > 1 else one.words
        axes.annotate(words, (0.0, y), color=INK, **before)
        weight = "bold" if one.turn else "normal"
        verdict = f"{_ARROWS[one.turn]}{one.verdict}"
        axes.annotate(verdict, (1.0, y), color=ink, fontweight=weight, **after)
        y += 1.0 if above else 0.0
        axes.plot([-1.0, 1.0], [y, y], color=RULE, linewidth=0.8, zorder=0.5)
        start = y - 0.5 if above else top
        axes.plot([0.0, 0.0], [start, y + 0.5], color=INK, linewidth=1.2, zorder=1.5)
        _bar(axes, one, span or 1.0, y, MARKS[k])
    if not span:
        return
    low, high = _scale_ends(column, span, show)
    y, x, sides = top + 0.6, 1.0, ("left", "right")
    if above:
        y, x, sides = top + 2.5, _EDGE, ("right", "left")
        high = high if column in DECADES else high.partition(" ")[0]
    style: dict[str, Any] = {"va": "center", "color": SOFT, "fontsize": SMALL}
    axes.text(-x, y, low, ha=sides[0], **style)
    axes.text(x, y, high, ha=sides[1], **style)


def _bar(axes: Axes, one: _Told, span: float, y: float, mark: str) -> None:
    """Draw a bar with its ends and its middle; nothing where there is none."""
    if math.isnan(one.low):
        return
    ink, told = _INKS[one.tone], one.tone != "open"
    endless = one.low == one.high and math.isinf(one.low)
    low, high = sorted((0.0, one.low)) if endless else (one.low, one.high)
    style: dict[str, Any] = {"color": ink, "linewidth": 4.0 if told else 1.6}
    _interval(axes, (low / span, high / span), y, (-_ENDLESS, _ENDLESS), **style)
    if math.isfinite(one.middle):
        fill, rim = (ink, PAPER) if told else (PAPER, ink)
        style = {"ms": 8.0, "mfc": fill, "mec": rim, "zorder": 3.0}
        axes.plot(one.middle / span, y, mark, label="_median", **style)


def differences_drawing(
    comparison: Comparison,
    mix: int | None = None,
    *,
    columns: Sequence[str] | None = None,
    show: Shown,
    invented: bool = False,
) -> Drawing:
    """Return the picture of :func:`differences`; an example's numbers are invented."""
    mixes = _mixes(comparison, mix)
    rows = _rows(comparison, mixes[:MOST], columns, show)
    names = [_names(comparison)[place] for place in mixes[:MOST]]
    base = _names(comparison)[comparison.baseline]
    title = f"{'EXAMPLE: ' if invented else ''}Differences from {base}"
    below = [
        ", ".join(map("\N{NO-BREAK SPACE}".join, zip(_GLYPHS, names, strict=False)))
    ]
    if len(mixes) == 1:
        title, below = title.replace("Differences from", f"{names[0]} against"), []
    below += _remarks(rows, show)
    if len(mixes) > MOST:
        below.append(f"The first {MOST} of {len(mixes)} other mixes are drawn.")

    def draw(width: int) -> Sheet:
        words = _described(names, base, rows, show)
        sheet = Sheet("differences", title, width=width, words=words, below=below)
        above = sheet.is_narrow
        left, right = (_SIDE, _SIDE) if above else (228.0, 96.0)
        high = _LINE * len(rows) * _lines(len(names), above=above)
        panel = sheet.panel(high, left=left, right=right, above=8.0, below=4.0)
        style: dict[str, Any] = {"units": show.system, "above": above}
        differences(comparison, mix, columns=columns, ax=panel, **style)
        sheet.notes([_HOW])
        return sheet

    return draw


def _remarks(rows: _Rows, show: Shown) -> list[str]:
    """Say why a bar that leaves out 0 has no verdict."""
    return [
        f"{FIELDS[column].named(show)}: no verdict, too many draws gave no number."
        for column, told in rows.items()
        if any(not one.turn and (one.low > 0.0 or one.high < 0.0) for one in told)
    ]


def _described(names: Sequence[str], base: str, rows: _Rows, show: Shown) -> str:
    """Say in words what the picture shows, for those who cannot see it."""
    parts = [
        f"{FIELDS[column].named(show)}, {name}: {one.words}, {one.verdict}"
        for column, told in rows.items()
        for name, one in zip(names, told, strict=True)
    ]
    return f"{', '.join(names)} less {base}, 95 % intervals. {'; '.join(parts)}."


# ----------------------------------------------------------------------------
# Predictions beside what was measured.

#: How far an axis reaches from 1, least and most (as a factor), and beyond its data.
_LEAST, _FARTHEST, _BEYOND = 1.05, 1e3, 1.08

#: How a measurement looks inside its band and outside; not counted ones are hollow.
_SPOTS = {True: ("o", INK, "inside"), False: ("D", RED, "outside")}


def checks(found: Sequence[Check], *, ax: Axes | None = None) -> Axes:
    """Draw measurements over predictions, each in its 95 % band.

    A row a check on one logarithmic axis: a mark on 1 is as predicted, the bar is the
    band of prediction and reading, an arrow says that it goes on. Round: inside;
    diamond: outside; hollow: not counted.

    Parameters
    ----------
    found : sequence of Check
        ``learning.checks`` of :func:`castsugar.records.learn_all`, or those of one
        quantity; what was predicted as 0, or not measured, is left out.
    ax : matplotlib.axes.Axes, optional
        New ones by default.

    Returns
    -------
    matplotlib.axes.Axes

    Raises
    ------
    InputError
        Where nothing was both predicted and measured.

    Examples
    --------
    >>> from castsugar.records.learning.checks import Check
    >>> water = {"batch": "2026-05-02-1", "quantity": "water lost", "unit": "g"}
    >>> check = Check(**water, predicted=2.0, low=1.0, high=3.0, measured=2.2)
    >>> axes = checks([check])
    >>> axes.get_yticklabels()[0].get_text()
    '2026-05-02-1'
    """
    shown = comparable(found)
    if not shown:
        raise InputError("nothing was both predicted and measured")
    axes = ax if ax is not None else new_axes()
    dress(axes, x="measured over predicted", grid="x")
    ratios = [_ratios(check) for check in shown]
    ends = [v for row in ratios for v in row if v > 0.0 and math.isfinite(v)]
    reach = max(math.log(_LEAST), *(abs(math.log(v)) for v in ends))
    factor = min(math.exp(_BEYOND * reach), _FARTHEST)
    limits = (1.0 / factor, factor)
    several = len({check.quantity for check in shown}) > 1
    names = [f"{c.batch}, {c.quantity}" if several else c.batch for c in shown]
    logarithmic(axes, "x", *limits)
    axes.set_ylim(len(shown) - 0.4, -0.6)
    axes.set_yticks(range(len(shown)), [shortened(name, 150.0) for name in names])
    axes.tick_params(axis="y", length=0.0)
    axes.axvline(1.0, color=INK, linewidth=1.2, zorder=1.5)
    for y, (check, (low, middle, high)) in enumerate(zip(shown, ratios, strict=True)):
        _interval(axes, (low, high), y, limits, color=BLUE, linewidth=2.0)
        mark, ink, where = _SPOTS[check.inside]
        style: dict[str, Any] = {"color": ink, "ms": 7.0, "zorder": 3.0}
        style["mfc"] = ink if check.counts else PAPER
        axes.plot(np.clip(middle, *limits), y, mark, label=f"_{where}", **style)
    for mark, ink, where in dict.fromkeys(_SPOTS[check.inside] for check in shown):
        axes.plot([], [], mark, color=ink, ms=7.0, label=f"{where} its band")
    if not all(check.counts for check in shown):
        axes.plot([], [], "o", color=INK, mfc=PAPER, ms=7.0, label="not counted")
    return axes


def comparable(found: Sequence[Check]) -> list[Check]:
    """Return the checks that have a measurement over a prediction."""
    return [check for check in found if math.isfinite(_ratios(check)[1])]


def _ratios(check: Check) -> tuple[float, float, float]:
    """Return band and measurement over the prediction; NaN where there is none."""
    base = check.predicted
    if not (base > 0.0 and math.isfinite(base)):
        return math.nan, math.nan, math.nan
    return check.low / base, check.measured / base, check.high / base


def checks_drawing(
    found: Sequence[Check], *, invented: bool = False, name: str = "checks"
) -> Drawing:
    """Return the picture of :func:`checks`, a panel a quantity; `name`: of its ids."""
    shown = comparable(found)
    groups = {c.quantity: [o for o in shown if o.quantity == c.quantity] for c in shown}
    inside = sum(check.inside for check in shown)
    told = "; ".join(
        f"{check.batch} {check.quantity} {numbers.factor(_ratios(check)[1])}, "
        f"{_SPOTS[check.inside][2]}"
        for check in shown
    )
    words = f"{len(shown)} measurements, {inside} inside their 95 % bands. {told}."
    title = f"{'EXAMPLE: ' if invented else ''}Measured over predicted"
    notes = [
        "Bar: 95 % band of prediction and reading; a mark on 1 is as predicted. An "
        "arrow: the band goes on. Every quantity has its own axis."
    ]

    def draw(width: int) -> Sheet:
        sheet = Sheet(name, title, width=width, words=words)
        left = 16.0 + max(width_of(shortened(c.batch, 150.0), SMALL) for c in shown)
        panels = []
        for quantity, group in groups.items():
            panels.append(sheet.panel(22.0 * len(group), left=left))
            checks(group, ax=panels[-1])
            dress(panels[-1], quantity, grid="")
            panels[-1].set_xlabel("")
        sheet.keys(*panels)
        sheet.notes(notes)
        return sheet

    return draw


class Narrowed(NamedTuple):
    """A parameter before and after a measurement.

    `centre` and `width` are of the belief after, in standard deviations of that before;
    `before` and `after` its 95 % bands in words.
    """

    name: str
    before: str
    after: str
    centre: float
    width: float


#: Half a 95 % band in standard deviations; height of a row [px].
_HALF, _ROW = 1.96, 40.0


def narrowed(found: Sequence[Narrowed], axes: Axes) -> Axes:
    """Draw the bands of parameters before and after a measurement, a row each.

    On one scale: standard deviations of what was believed before.
    """
    ends = [abs(one.centre) + _HALF * one.width for one in found]
    reach = 1.05 * max(_HALF, *ends)
    dress(axes, grid="x")
    axes.set_xlim(-reach, reach)
    axes.set_ylim(len(found) - 0.5, -0.6)
    axes.set_yticks([])
    for y, one in enumerate(found):
        text = f"{one.name}: {one.before}, now {one.after}"
        axes.text(
            0.0,
            y - 0.3,
            shortened(text, 300.0, SMALL),
            fontsize=SMALL,
            color=INK,
            transform=axes.get_yaxis_transform(),
        )
        for lift, centre, width, ink in (
            (0.02, 0.0, 1.0, ORANGE),
            (0.22, one.centre, one.width, BLUE),
        ):
            both = (centre - _HALF * width, centre + _HALF * width)
            _interval(axes, both, y + lift, (-reach, reach), color=ink, linewidth=2.0)
            axes.plot(centre, y + lift, "o", color=ink, ms=5.0, label="_middle")
    for ink, label in ((ORANGE, "before"), (BLUE, "after")):
        axes.plot([], [], "o-", color=ink, ms=5.0, label=label)
    return axes


def narrowed_drawing(
    found: Sequence[Narrowed], what: str, *, invented: bool = False
) -> Drawing:
    """Return the picture of :func:`narrowed`; `what` was measured."""
    title = f"{'EXAMPLE: ' if invented else ''}What the {what} tells"
    words = "; ".join(f"{one.name} {one.before}, now {one.after}" for one in found)
    note = (
        "Bars: 95 % bands, a dot the median, in standard deviations of what was "
        "believed before. Parameters that hardly move are left out."
    )

    def draw(width: int) -> Sheet:
        sheet = Sheet("belief", title, width=width, words=f"{words}.")
        panel = sheet.panel(_ROW * len(found), left=24.0)
        sheet.keys(narrowed(found, panel))
        sheet.notes([note])
        return sheet

    return draw
