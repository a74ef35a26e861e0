"""One ingredient more or less, the others in ratio: what the best mix would become."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from castsugar.arrays import BoolArray, FloatArray
from castsugar.comparison.directions import DECADES, Directions, Way, directions
from castsugar.errors import unknown_name
from castsugar.optimize.problem import Goal
from castsugar.optimize.search import Outcome
from castsugar.report.search_panel import Curve, Panel, draw_panel, ground_keys
from castsugar.report.search_picture import (
    PLAIN,
    best_words,
    is_stated,
    notes_of,
    state_words,
    stop_words,
)
from castsugar.report.search_words import Asked, label_of, unit_of
from castsugar.report.svg.axes import Scale, padded, padded_decades
from castsugar.report.svg.canvas import SOFT, Stroke, Svg, TextStyle, wrapped
from castsugar.report.svg.colour import symbol_of
from castsugar.report.svg.legend import Key, draw_heading, draw_keys, draw_notes
from castsugar.report.svg.line import Area, colour_of

_WIDTH, _MARGIN, _LEFT = 600.0, 24.0, 84.0
_SIZE, _SMALL = 16.0, 15.0

#: A logarithmic panel shows so many times the largest limit, and of the smallest.
_REACH = 30.0

#: Another shows so many ranges of the values that keep all around them, unless that is
#: less than a part of the whole.
_BEYOND, _LEAST = 2.0, 0.05

#: Reaches below this are none. [percent of the mix]
_NONE = 0.05


def trace_plot(
    outcome: Outcome, columns: Sequence[str] | None = None, *, asked: Asked = PLAIN
) -> str:
    """Draw every ingredient of the best mix along its own direction.

    Parameters
    ----------
    outcome : Outcome
    columns : sequence of str, optional
        Columns of the search, one panel each; by default the objective and those with
        a limit.
    asked : Asked
        Ingredients as typed.

    Returns
    -------
    str
        An SVG document; the same bytes for the same input.

    Raises
    ------
    InputError
        If no ingredient can vary alone.
    UnknownNameError
        For a column that the search did not compute.
    """
    goal = outcome.found.goal
    known = list(outcome.task.problem().columns)
    wanted = columns or [goal.objective, *(limit.column for limit in goal.limits)]
    wanted = list(dict.fromkeys(wanted))
    for name in wanted:
        if name not in known:
            raise unknown_name("column", name, known)
    ran = directions(outcome)
    title = f"{asked.before}Effect of each ingredient"
    svg = Svg(_WIDTH, 0.0, title, _description(ran, wanted))
    best = best_words(outcome)
    lines = [f"Around the {best}: one runs, the others keep their ratio."]
    top = draw_heading(svg, svg.title, [*_said(outcome), *lines], _MARGIN)
    keys = [_key(outcome, asked, k, way) for k, way in enumerate(ran.ways)]
    top = draw_keys(svg, keys, _MARGIN, top, _WIDTH - 2.0 * _MARGIN)
    x = _x_scale(ran)
    height = {1: 300.0, 2: 210.0, 3: 165.0}.get(len(wanted), 130.0)
    for name in wanted:
        top = _draw_head(svg, goal, name, top)
        draw_panel(svg, _panel(ran, goal, name, x, (top + height, top)))
        top += height + 10.0
    top = _draw_x_axis(svg, x, top - 10.0, best)
    svg.height = _draw_below(svg, outcome, tuple(wanted), top)
    return svg.to_text()


def _said(outcome: Outcome) -> list[str]:
    """Return the state of the answer as lines of the heading."""
    words = state_words(outcome)
    return [words] if words else []


def _key(outcome: Outcome, asked: Asked, index: int, way: Way) -> Key:
    """Return the key of a curve: how far the ingredient can go, and what stops it."""
    share = 100.0 * way.share
    words = f"{asked.name(way.ingredient)} {share:.1f} %"
    ends = []
    for reach, stop, less in zip(
        way.reach, way.stops, ("no less", "no more"), strict=True
    ):
        if abs(100.0 * reach) < _NONE:
            far = less
        else:
            far = f"{'down' if reach < 0.0 else 'up'} to {share + 100.0 * reach:.1f} %"
        why = stop_words(outcome, stop, asked)
        ends.append(f"{far} ({why})" if why else far)
    if any(way.stops):
        words += f": {', '.join(ends)}"
    return Key("line", colour_of(index), words, symbol=symbol_of(index))


def _x_scale(ran: Directions) -> Scale:
    """Return the scale of the change. [percent of the mix]"""
    low = min(float(way.change[0]) for way in ran.ways)
    high = max(float(way.change[-1]) for way in ran.ways)
    low, high = padded(100.0 * low, 100.0 * high, 0.03)
    return Scale(low, high, _LEFT, _WIDTH - _MARGIN)


def _panel(
    ran: Directions, goal: Goal, name: str, x: Scale, ends: tuple[float, float]
) -> Panel:
    """Return a panel: its range holds curves, limits and the best mix."""
    limits = tuple(limit for limit in goal.limits if limit.column == name)
    anchors = [limit.value for limit in limits]
    if math.isfinite(ran.best[name]):
        anchors.append(ran.best[name])
    curves = [way.values[:, ran.columns.index(name)] for way in ran.ways]
    kept = np.concatenate([way.kept for way in ran.ways])
    logarithmic = name.startswith(DECADES) and min(anchors, default=1.0) > 0.0
    if logarithmic:
        low, high = _decades(np.concatenate(curves), anchors)
    else:
        low, high = _range(np.concatenate(curves), kept, anchors)
    y = Scale(low, high, *ends, logarithmic)
    made = zip(ran.ways, curves, strict=True)
    return Panel(
        Area(x, y),
        limits,
        tuple(Curve(100.0 * way.change, values, way.kept) for way, values in made),
        ran.best[name],
    )


def _decades(values: FloatArray, anchors: Sequence[float]) -> tuple[float, float]:
    """Return the range of a logarithmic panel: what is near limits and best mix."""
    known = values[np.isfinite(values) & (values > 0.0)]
    if anchors:
        known = np.clip(known, min(anchors) / _REACH, max(anchors) * _REACH)
    known = np.append(known, anchors)
    if not known.size:
        return 1.0, 10.0
    return padded_decades(float(known.min()), float(known.max()))


def _range(
    values: FloatArray, kept: BoolArray, anchors: Sequence[float]
) -> tuple[float, float]:
    """Return the range of a panel.

    All values, but not farther from those where all is kept, the limits and the best
    mix than twice their range: what lies far off would flatten what can be chosen.
    """
    known = values[np.isfinite(values)]
    core = np.append(values[np.isfinite(values) & kept], anchors)
    if known.size and core.size:
        room = _BEYOND * float(np.ptp(core))
        if room > _LEAST * float(np.ptp(known)):
            known = np.clip(known, core.min() - room, core.max() + room)
    known = np.append(known, anchors)
    if not known.size:
        return 0.0, 1.0
    return padded(float(known.min()), float(known.max()))


def _draw_head(svg: Svg, goal: Goal, name: str, top: float) -> float:
    """Write what a panel shows; return the y below it [px]."""
    unit = unit_of(name)
    words = label_of(name) + (f" [{unit}]" if unit else "")
    if name == goal.objective:
        words += ": more is better" if goal.maximise else ": less is better"
    y = top
    for line in wrapped(words, _WIDTH - 2.0 * _MARGIN, _SIZE):
        y += 19.0
        svg.text((_MARGIN, y), line, TextStyle(_SIZE, bold=True))
    return y + 8.0


def _draw_x_axis(svg: Svg, x: Scale, top: float, best: str) -> float:
    """Write ticks and label of the x axis; return the y below them [px]."""
    for value, words in x.ticks(6):
        svg.line((x(value), top), (x(value), top + 5.0), Stroke(SOFT))
        plus = "+" if value > 0.0 else ""
        at = (x(value), top + 20.0)
        svg.text(at, plus + words.replace("-", "\u2212"), TextStyle(_SIZE, "middle"))
    y = top + 24.0
    for line in (f"percent of the mix more (+) or less (\u2212) than in the {best}",):
        y += 19.0
        at = (0.5 * _WIDTH, y)
        svg.text(at, line, TextStyle(_SIZE, "middle", bold=True))
    return y + 16.0


def _draw_below(
    svg: Svg, outcome: Outcome, columns: tuple[str, ...], top: float
) -> float:
    """Draw the keys of lines and ground, and the notes; return the height [px]."""
    width = _WIDTH - 2.0 * _MARGIN
    top = draw_keys(svg, ground_keys(stated=is_stated(outcome)), _MARGIN, top, width)
    return draw_notes(svg, notes_of(outcome, columns), _MARGIN, top) + 8.0


def _description(ran: Directions, columns: Sequence[str]) -> str:
    """Say in words what the picture shows."""
    names = ", ".join(way.ingredient for way in ran.ways)
    labels = ", ".join(label_of(name) for name in columns)
    return (
        f"{labels}, with more or less of {names}; the other ingredients keep their "
        "ratio. Lines are thick where all limits are kept."
    )
