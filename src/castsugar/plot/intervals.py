"""Values with their 95 % intervals, a row each: differences of mixes, predictions."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from castsugar.comparison.compare import CANNOT_TELL, Cell, Comparison
from castsugar.comparison.drawn_batches import DECADES, KITCHEN, MOTOR
from castsugar.errors import InputError
from castsugar.plot.sheet import Drawing, Sheet
from castsugar.plot.style import (
    BLUE,
    INK,
    MARKS,
    ORANGE,
    PAPER,
    RULE,
    SIZE,
    SMALL,
    SOFT,
    dress,
    new_axes,
)
from castsugar.report import numbers
from castsugar.report.compare import difference, interval
from castsugar.report.field import FIELDS
from castsugar.report.mix_words import short_names
from castsugar.report.shown import SI, Shown

if TYPE_CHECKING:
    from matplotlib.axes import Axes

#: Other mixes that one picture tells apart.
MOST = 6

#: Height of a line of words [px], and room left and right of a track on a phone.
_LINE, _SIDE = 19.0, 62.0

#: Ends of scales within a decade, and how much room a scale leaves beyond its data.
_ENDS = (1.0, 1.2, 1.5, 2.0, 2.5, 3.0, 3.5, 4.0, 5.0, 6.0, 7.0, 8.0, 10.0, 12.0)
_ROOM = 1.15

#: How far Axes reach beyond the ends of a scale; a bar without an end does nearly.
_EDGE, _ENDLESS = 1.15, 1.06

#: Dark enough for words: good, bad, neither, no verdict.
_INKS = {"better": BLUE, "worse": ORANGE, "": INK, "open": SOFT}

#: Letters that look like the marks.
_GLYPHS = "●■▲◆▼✚"

_ARROWS = {"higher": "\N{UPWARDS ARROW} ", "lower": "\N{DOWNWARDS ARROW} ", "": ""}

_BELOW = "paired differences, 95 % intervals; every row has a scale of its own"
_HOW = (
    "Mark: the median of the paired draws; bar: 95 % of them; of pressures by formula. "
    "Filled: the bar leaves out 0; hollow: cannot tell. Better or worse where the "
    "trade agrees which way is good.",
)


# ----------------------------------------------------------------------------
# Differences of mixes.


@dataclass(frozen=True, slots=True)
class _Told:
    """A difference in the units shown (of ln for ratios), its words and its verdict.

    `tone` is a key of :data:`_INKS`; `turn` is "higher", "lower" or empty.
    """

    low: float
    high: float
    middle: float
    words: str
    verdict: str
    tone: str
    turn: str

    @property
    def known(self) -> bool:
        """Return whether there is an interval."""
        return not (math.isnan(self.low) or math.isnan(self.high))


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
    show = Shown(units)
    mixes = _mixes(comparison, mix)[:MOST]
    rows = _rows(comparison, mixes, columns, show)
    axes = ax if ax is not None else new_axes()
    dress(axes, grid="")
    lines = _lines(len(mixes), above=above)
    if ax is None:
        high = 0.4 + lines * len(rows) * _LINE / 72.0
        axes.figure.set_size_inches(7.5, high)  # type: ignore[union-attr]
    axes.set(xlim=(-_EDGE, _EDGE), ylim=(lines * len(rows), 0.0), xticks=[], yticks=[])
    for side in ("left", "bottom"):
        axes.spines[side].set_visible(False)
    names = _names(comparison)
    for k, place in enumerate(mixes):
        axes.plot([], [], MARKS[k], color=SOFT, linestyle="", label=names[place])
    for number, (column, told) in enumerate(rows.items()):
        _row(axes, (column, show), told, number * lines, above=above)
    return axes


def _lines(mixes: int, *, above: bool) -> float:
    """Return how many lines of words high a row is."""
    return (2 if above else 1) * mixes + 1.4


def _mixes(comparison: Comparison, mix: int | None) -> Sequence[int]:
    """Return the places of the mixes that are drawn."""
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
) -> Mapping[str, Sequence[_Told]]:
    """Return what each column tells of every mix."""
    for name in columns or ():
        comparison.draws.known(name)
    return {
        column: [_told(comparison.cells[place][column], show) for place in mixes]
        for column in comparison.draws.columns
        if columns is None or column in columns
    }


def _told(cell: Cell, show: Shown) -> _Told:
    """Return what one cell tells."""
    found, kind = cell.difference, FIELDS[cell.column].kind
    three = (*found.interval, found.median)
    if any(math.isnan(x) for x in three):
        gone = math.nan
        return _Told(gone, gone, gone, "not computed", CANNOT_TELL, "open", "")
    told = cell.verdict != CANNOT_TELL
    low, high, middle = (
        x if cell.column in DECADES else show.span(kind, x) for x in three
    )
    return _Told(
        low,
        high,
        middle,
        words=_words(cell, show),
        verdict=cell.merit or cell.verdict,
        tone=cell.merit if told else "open",
        turn=cell.verdict if told else "",
    )


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
        if math.isinf(cell.difference.median):
            return "no ratio: one of them jams"
        return f"× {middle} ({ends})"
    unit = show.unit(FIELDS[cell.column].kind)
    return f"{' '.join(filter(None, (middle, unit)))} ({ends})"


def _span(told: Sequence[_Told]) -> float:
    """Return the half width of a scale about 0 that holds every finite end."""
    ends = [abs(v) for one in told for v in (one.low, one.high, one.middle)]
    most = _ROOM * max((v for v in ends if math.isfinite(v)), default=0.0)
    if most == 0.0:
        return 0.0
    decade = 10.0 ** math.floor(math.log10(most))
    return next(end * decade for end in _ENDS if end * decade >= most)


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
    before, after = ((-_SIDE, "left"), (_SIDE, "right"))
    if not above:
        before, after = (-10.0, "right"), (12.0, "left")
    _write(axes, FIELDS[column].named(show), (0.0, top + 0.6), before, bold=True)
    for k, one in enumerate(told):
        line, ink = top + (2 * k if above else k) + 1.5, _INKS[one.tone]
        mark = f"{_GLYPHS[k]} " if len(told) > 1 else ""
        _write(axes, mark + one.words, (0.0, line), before)
        verdict = f"{_ARROWS[one.turn]}{one.verdict}"
        _write(axes, verdict, (1.0, line), after, bold=bool(one.turn), ink=ink)
        line += 1.0 if above else 0.0
        axes.plot([-1.0, 1.0], [line, line], color=RULE, linewidth=0.8, zorder=0.5)
        start, end = (line - 0.5, line + 0.5) if above else (top, line + 0.5)
        axes.plot([0.0, 0.0], [start, end], color=INK, linewidth=1.2, zorder=1.5)
        if one.known:
            _bar(axes, one, span or 1.0, line, MARKS[k])
    if not span:
        return
    low, high = _scale_ends(column, span, show)
    line, sides = top + 0.6, ("left", "right")
    if above:
        line, sides = top + 2.5, ("right", "left")
        high = high if column in DECADES else high.partition(" ")[0]
    for x, words, side in zip((-1.0, 1.0), (low, high), sides, strict=True):
        x *= _EDGE if above else 1.0
        axes.text(x, line, words, ha=side, va="center", color=SOFT, fontsize=SMALL)


def _write(
    axes: Axes,
    words: str,
    at: tuple[float, float],
    place: tuple[float, str],
    *,
    bold: bool = False,
    ink: str = INK,
) -> None:
    """Write words beside a line, from the left or right end of the axes."""
    axes.annotate(
        words,
        at,
        (place[0], 0.0),
        xycoords=("axes fraction", "data"),
        textcoords="offset points",
        ha=place[1],
        va="center",
        fontsize=SMALL,
        fontweight="bold" if bold else "normal",
        color=ink,
    )


def _bar(axes: Axes, one: _Told, span: float, y: float, mark: str) -> None:
    """Draw a bar with its ends, arrows where it has none, and its middle."""
    ink, told = _INKS[one.tone], one.tone != "open"
    low, high = one.low, one.high
    if low == high and math.isinf(low):
        low, high = sorted((0.0, low))
    ends = [
        v / span if math.isfinite(v) else math.copysign(_ENDLESS, v)
        for v in (low, high)
    ]
    axes.plot(
        ends,
        [y, y],
        color=ink,
        linewidth=4.0 if told else 1.6,
        clip_on=False,
        solid_capstyle="butt",
        label="_interval",
    )
    for value, x, tip in zip((low, high), ends, "<>", strict=True):
        end = "|" if math.isfinite(value) else tip
        axes.plot(
            x, y, end, color=ink, markersize=9.0, markeredgewidth=1.6, clip_on=False
        )
    if math.isfinite(one.middle):
        axes.plot(
            one.middle / span,
            y,
            mark,
            markersize=7.0,
            markerfacecolor=ink if told else PAPER,
            markeredgecolor=ink,
            label="_median",
        )


# What commands and pages show.


def differences_drawing(
    comparison: Comparison,
    mix: int | None = None,
    *,
    columns: Sequence[str] | None = None,
    show: Shown,
    invented: bool = False,
    brief: bool = False,
) -> Drawing:
    """Return the picture of :func:`differences`, a panel a group of columns.

    `invented`: some number is an example's; `brief`: who shows it says how to read it,
    and the few columns need no groups.
    """
    mixes = _mixes(comparison, mix)
    rows = _rows(comparison, mixes[:MOST], columns, show)
    names = [_names(comparison)[place] for place in mixes[:MOST]]
    base = _names(comparison)[comparison.baseline]
    head = f"{names[0]} against" if len(mixes) == 1 else "Differences from"
    notes = [*_remarks(rows, show), *(() if brief else _HOW)]
    if len(mixes) > MOST:
        notes.append(f"The first {MOST} of {len(mixes)} other mixes are drawn.")
    below = [] if brief else [_BELOW]
    groups = [("", [*rows])] if brief else _groups([*rows])
    if len(names) > 1:
        below.append(", ".join(map(" ".join, zip(_GLYPHS, names, strict=False))))

    def draw(width: int) -> Sheet:
        sheet = Sheet(
            "differences",
            f"{'EXAMPLE: ' if invented else ''}{head} {base}",
            width=width,
            words=_described(names, base, rows, show),
            below=below,
        )
        above = sheet.is_narrow
        left, right = (_SIDE, _SIDE) if above else (228.0, 96.0)
        for group, held in groups:
            high = _LINE * len(held) * _lines(len(names), above=above)
            room = {"left": left, "right": right, "above": 24.0 if group else 8.0}
            panel = sheet.panel(high, **room, below=4.0)
            options: dict[str, Any] = {"units": show.system, "above": above}
            differences(comparison, mix, columns=held, ax=panel, **options)
            style: dict[str, Any] = {"fontsize": SIZE, "fontweight": "bold"}
            x = -left / (sheet.inner - left - right)
            panel.set_title(group, loc="left", x=x, color=INK, pad=6.0, **style)
        sheet.notes(notes)
        return sheet

    return draw


def _groups(columns: Sequence[str]) -> list[tuple[str, list[str]]]:
    """Return the groups of rows that hold any, with their columns."""
    found: dict[str, list[str]] = {
        "Performance, ideal": [],
        "Pressure in your motor": [],
        "Pouring and setting": [],
    }
    performance, pressure, pouring = found.values()
    for name in columns:
        own = pressure if name in MOTOR else performance
        (pouring if name in KITCHEN else own).append(name)
    return [(group, held) for group, held in found.items() if held]


def _remarks(rows: Mapping[str, Sequence[_Told]], show: Shown) -> list[str]:
    """Say why a bar that leaves out 0 has no verdict."""
    return [
        f"{FIELDS[column].named(show)}: no verdict, too many draws gave no number."
        for column, told in rows.items()
        if any(s.known and not s.turn and not s.low <= 0.0 <= s.high for s in told)
    ]


def _described(
    names: Sequence[str], base: str, rows: Mapping[str, Sequence[_Told]], show: Shown
) -> str:
    """Say in words what the picture shows, for those who cannot see it."""
    parts = [
        f"{FIELDS[column].named(show)}, {name}: {one.words}, {one.verdict}"
        for column, told in rows.items()
        for name, one in zip(names, told, strict=True)
    ]
    return f"{', '.join(names)} less {base}, 95 % intervals. {'; '.join(parts)}."
