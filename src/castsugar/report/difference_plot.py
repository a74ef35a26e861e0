"""Paired differences with their intervals: what a change of mix does, at a glance.

A row a column, each on a scale of its own, all about one zero line. Filled and coloured
where there is a verdict, hollow and grey where there is none; the word stands beside.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from castsugar.comparison.compare import CANNOT_TELL, Cell, Comparison
from castsugar.comparison.drawn_batches import DECADES, KITCHEN, MOTOR
from castsugar.errors import InputError
from castsugar.report import numbers
from castsugar.report.compare import difference, interval
from castsugar.report.field import FIELDS
from castsugar.report.mix_words import short_names
from castsugar.report.shown import Shown
from castsugar.report.svg.axes import Scale, nice_step
from castsugar.report.svg.canvas import (
    FAINT,
    INK,
    SOFT,
    Stroke,
    Svg,
    TextStyle,
    moves,
    shortened,
)
from castsugar.report.svg.colour import draw_symbol, symbol_of
from castsugar.report.svg.legend import Key, draw_heading, draw_keys, draw_notes

_WIDTH, _MARGIN = 640.0, 24.0
_BIG, _SIZE, _SMALL = 17.0, 16.0, 14.0
#: Ends of the tracks, and where verdicts start [px].
_LEFT, _RIGHT, _WORDS = 266.0, 488.0, 506.0
_ZERO = 0.5 * (_LEFT + _RIGHT)
_LABEL, _TRACK, _GAP = 22.0, 25.0, 7.0

#: Other mixes that one picture tells apart.
MOST = 6


#: Units where nobody says others.
_SI = Shown()


@dataclass(frozen=True, slots=True, kw_only=True)
class _Asked:
    """What is drawn: the comparison, places of mixes, columns."""

    comparison: Comparison
    mixes: Sequence[int]
    columns: Sequence[str]
    show: Shown
    invented: bool


#: Dark enough for text on the page: good, bad, neither, no verdict.
INKS = {"better": "#00558a", "worse": "#9c3f00", "": "#1c1c1c", "open": "#565656"}

_HOW = (
    "Dot: the median of the paired draws; bar: 95 % of them; of pressures by formula. "
    "Filled: the bar leaves out 0, higher or lower; hollow: cannot tell. Better or "
    "worse where the trade agrees which way is good."
)


@dataclass(frozen=True, slots=True)
class Line:
    """One interval in the units shown (of ln for ratios), its words and its verdict.

    `tone` is a key of :data:`INKS`; `turn` is "higher", "lower" or empty.
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


Rows = Mapping[str, Sequence[Line]]


def _line(cell: Cell, show: Shown) -> Line:
    """Return the interval of one cell."""
    found, kind = cell.difference, FIELDS[cell.column].kind
    three = (*found.interval, found.median)
    if any(math.isnan(x) for x in three):
        gone = math.nan
        return Line(gone, gone, gone, "not computed", CANNOT_TELL, "open", "")
    low, high, middle = (
        x if cell.column in DECADES else show.span(kind, x) for x in three
    )
    told = cell.verdict != CANNOT_TELL
    return Line(
        low=low,
        high=high,
        middle=middle,
        words=_words(cell, show),
        verdict=cell.merit or cell.verdict,
        tone=cell.merit if told else "open",
        turn=cell.verdict if told else "",
    )


def _words(cell: Cell, show: Shown) -> str:
    """Write a difference with its interval, a ratio as a factor."""
    if cell.difference.interval == (0.0, 0.0):
        return "no difference"
    low, high = cell.difference.interval
    if low == high and math.isinf(low):
        endless = FIELDS[cell.column].endless
        return endless if low > 0.0 else f"the baseline: {endless}"
    ends = interval(cell, show)
    if cell.column in DECADES:
        if math.isinf(cell.difference.median):
            return "no ratio: one of them jams"
        return f"× {difference(cell, show)[0]} ({ends})"
    unit = show.unit(FIELDS[cell.column].kind)
    first = " ".join(filter(None, (difference(cell, show)[0], unit)))
    return f"{first} ({ends})"


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


def _span(lines: Sequence[Line]) -> float:
    """Return the half width of a scale about 0 that holds every finite end."""
    ends = [abs(v) for s in lines for v in (s.low, s.high, s.middle)]
    most = max((v for v in ends if math.isfinite(v)), default=0.0)
    if most == 0.0:
        return 0.0
    step = nice_step(most, 8)
    return step.times(math.ceil(most / step.size + 0.35))


def _span_words(column: str, span: float, show: Shown) -> tuple[str, str]:
    """Return what stands at both ends of a scale."""
    if column in DECADES:
        low, high = (numbers.factor(math.exp(min(x, 60.0))) for x in (span, span))
        return f"÷ {low}", f"× {high}"
    unit, told = show.unit(FIELDS[column].kind), numbers.typed(numbers.tidy(span))
    return f"\u2212{told}", f"+{told} {unit}".rstrip()


def _remarks(rows: Rows, show: Shown) -> list[str]:
    """Say why a bar that leaves out 0 has no verdict."""
    found = []
    for column, lines in rows.items():
        if not any(
            s.known and not s.turn and not s.low <= 0.0 <= s.high for s in lines
        ):
            continue
        label = FIELDS[column].named(show)
        found.append(f"{label}: no verdict, too many draws could not be computed.")
    return found


def _describe(names: Sequence[str], base: str, rows: Rows, show: Shown) -> str:
    """Say in words what the picture shows, for those who cannot see it."""
    parts = [
        f"{FIELDS[column].named(show)}, {name}: {line.words}, {line.verdict}"
        for column, lines in rows.items()
        for name, line in zip(names, lines, strict=True)
    ]
    return f"{', '.join(names)} less {base}, 95 % intervals. {'; '.join(parts)}."


def difference_plot(
    comparison: Comparison,
    mix: int | None = None,
    *,
    columns: Sequence[str] | None = None,
    show: Shown = _SI,
    invented: bool = False,
    brief: bool = False,
) -> str:
    """Draw how one mix, or every other one, differs from the baseline.

    Parameters
    ----------
    comparison : Comparison
    mix : int, optional
        Its place; by default all others, a symbol each: of more than :data:`MOST` the
        first are drawn, and that is said.
    columns : sequence of str, optional
        All that were compared by default.
    show : Shown
        Units.
    invented : bool
        Whether some number is an example's: the title says so.
    brief : bool
        Without words above and below; who shows it says them.

    Returns
    -------
    str
        An SVG document; the same bytes for the same input.

    Raises
    ------
    InputError
        Without another mix; for a place that is none, or the baseline's; for a column
        that was not compared.
    """
    places, base = range(len(comparison.names)), comparison.baseline
    others = [place for place in places if place != base]
    mixes = others if mix is None else [mix]
    if not mixes or not set(mixes) <= set(others):
        raise InputError(
            f"mix {'none' if mix is None else mix} is not beside the baseline; give a "
            f"place from 0 to {places[-1]} other than {base}"
        )
    for name in columns or ():
        comparison.draws.known(name)
    known = comparison.draws.columns
    asked = _Asked(
        comparison=comparison,
        mixes=mixes,
        columns=[c for c in known if columns is None or c in columns],
        show=show,
        invented=invented,
    )
    return _picture(asked, brief)


def _picture(asked: _Asked, brief: bool) -> str:
    """Draw the picture."""
    found, shown = asked.comparison, asked.mixes[:MOST]
    names, base = [_name(found, mix) for mix in shown], _name(found, found.baseline)
    title = f"Differences from {base}"
    if len(asked.mixes) == 1:
        title = f"{names[0]} against {base}"
    title += " (EXAMPLE: invented numbers)" if asked.invented else ""
    rows = {
        c: [_line(found.cells[mix][c], asked.show) for mix in shown]
        for c in asked.columns
    }
    svg = Svg(_WIDTH, 0.0, title, _describe(names, base, rows, asked.show))
    below = "paired differences, 95 % intervals; every row has a scale of its own"
    top = draw_heading(svg, title, [] if brief else [below], _MARGIN)
    if len(shown) > 1:
        keys = [
            Key("symbol", SOFT, name, symbol=symbol_of(k))
            for k, name in enumerate(names)
        ]
        top = draw_keys(svg, keys, _MARGIN, top, _WIDTH - 2.0 * _MARGIN)
    for group, columns in _groups(asked.columns):
        top = _draw_group(svg, group, top)
        for column in columns:
            top = _draw_row(svg, (column, asked.show), rows[column], top)
    notes = [*([] if brief else [_HOW]), *_remarks(rows, asked.show)]
    if len(asked.mixes) > len(shown):
        notes.append(f"The first {MOST} of {len(asked.mixes)} other mixes are drawn.")
    svg.height = draw_notes(svg, notes, _MARGIN, top + 4.0) + 8.0
    return svg.to_text()


def _name(found: Comparison, mix: int) -> str:
    """Return the name of a mix; the shares alone of one that has none."""
    name = found.names[mix]
    return short_names([found.draws.outlook.mixes[mix]])[0] if ":" in name else name


def _draw_group(svg: Svg, group: str, top: float) -> float:
    """Write the head of a group; return the y below it [px]."""
    y = top + 22.0
    svg.text((_MARGIN, y), group, TextStyle(_BIG, bold=True))
    style = TextStyle(_SMALL, colour=SOFT)
    svg.text((_ZERO - 8.0, y), "← lower", TextStyle(_SMALL, "end", SOFT))
    svg.text((_ZERO + 8.0, y), "higher →", style)
    y += 8.0
    svg.line((_MARGIN, y), (_WIDTH - _MARGIN, y), Stroke(SOFT, 0.8))
    return y


def _draw_row(
    svg: Svg, of: tuple[str, Shown], lines: Sequence[Line], top: float
) -> float:
    """Draw one row: a column in its units; return the y below it [px]."""
    column, show = of
    span = _span(lines)
    scale = Scale(-(span or 1.0), span or 1.0, _LEFT, _RIGHT)
    y = top + 19.0
    label = shortened(FIELDS[column].named(show), _LEFT - _MARGIN - 12.0, _SIZE)
    svg.text((_MARGIN, y), label, TextStyle(_SIZE, bold=True))
    bottom = top + _LABEL + _TRACK * len(lines) + _GAP
    svg.line((_ZERO, top), (_ZERO, bottom), Stroke(INK, 1.2))
    if span:
        low, high = _span_words(column, span, show)
        svg.text((_LEFT, y), low, TextStyle(_SMALL, colour=SOFT))
        svg.text((_RIGHT, y), high, TextStyle(_SMALL, "end", SOFT))
    for index, line in enumerate(lines):
        middle = top + _LABEL + _TRACK * (index + 0.5)
        svg.line((_LEFT, middle), (_RIGHT, middle), Stroke(FAINT, 0.8))
        left = _MARGIN
        if len(lines) > 1:
            draw_symbol(svg, (left + 8.0, middle), symbol_of(index), SOFT, size=5.0)
            left += 22.0
        words = shortened(line.words, _LEFT - left - 8.0, _SMALL)
        svg.text((left, middle + 5.0), words, TextStyle(_SMALL))
        if line.known:
            _draw_interval(svg, line, scale, middle, symbol_of(index))
        _draw_verdict(svg, line, middle)
    svg.line((_MARGIN, bottom), (_WIDTH - _MARGIN, bottom), Stroke(FAINT, 0.8))
    return bottom


def _draw_interval(svg: Svg, line: Line, scale: Scale, y: float, symbol: str) -> None:
    """Draw a bar with its ends, arrows where it has none, and its middle."""
    ink = INKS[line.tone]
    told = line.tone != "open"
    ends = [(v, _held(v, scale)) for v in (line.low, line.high)]
    if line.low == line.high and math.isinf(line.low):
        ends = [(0.0, scale(0.0)), ends[0]]
    svg.line((ends[0][1], y), (ends[1][1], y), Stroke(ink, 4.5 if told else 1.8))
    for value, x in ends:
        if math.isfinite(value):
            svg.line((x, y - 6.0), (x, y + 6.0), Stroke(ink, 1.8))
            continue
        back = math.copysign(9.0, value)
        tip = [(x - back, y - 6.0), (x, y), (x - back, y + 6.0)]
        svg.path(moves(tip), Stroke(ink, 2.2).attributes())
    if math.isfinite(line.middle):
        fill = ink if told else "#ffffff"
        draw_symbol(svg, (scale(line.middle), y), symbol, fill, size=5.2, rim=0.8)


def _held(value: float, scale: Scale) -> float:
    """Return the place of a value; an infinite one stands at the end [px]."""
    if math.isfinite(value):
        return scale(value)
    return scale.end + 6.0 if value > 0.0 else scale.start - 6.0


def _draw_verdict(svg: Svg, line: Line, y: float) -> None:
    """Write the verdict, led by a triangle that says which way."""
    ink = INKS[line.tone]
    if line.turn:
        symbol = "triangle" if line.turn == "higher" else "wedge"
        draw_symbol(svg, (_WORDS + 6.0, y), symbol, ink, size=5.0, rim=0.0)
    else:
        draw_symbol(svg, (_WORDS + 6.0, y), "circle", "#ffffff", size=4.2, rim=0.0)
    style = TextStyle(_SIZE, colour=ink, bold=bool(line.turn))
    svg.text((_WORDS + 20.0, y + 5.5), line.verdict, style)
