"""Curves: one ingredient runs, over a range or around the best mix of a search."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib.axes import Axes

from castsugar.arrays import BoolArray, FloatArray
from castsugar.columns import COLUMN, DOUBTS, Column
from castsugar.comparison.directions import Directions, Way, directions
from castsugar.errors import InputError, unknown_name
from castsugar.frozen import dataclass
from castsugar.limits import (
    BAND,
    Judgement,
    Limit,
    Requirement,
    chance_column,
    judge,
    limits_of,
)
from castsugar.optimize.outcome import Outcome
from castsugar.optimize.task import TableProblem
from castsugar.plot import style
from castsugar.plot.column_axis import (
    PRESSURES,
    draw_limit,
    held,
    limits_on,
    name_x,
    named,
    panel,
    range_of,
    scaled,
    set_range,
)
from castsugar.plot.maps import GAPS
from castsugar.plot.sheet import Drawing, Sheet
from castsugar.report import numbers
from castsugar.report.search_words import (
    PLAIN,
    Asked,
    best_words,
    bound_words,
    chance_of,
    field_of,
    is_stated,
    label_of,
    note_of,
    state_lines,
    stop_words,
)
from castsugar.report.shown import Shown
from castsugar.report.sweep import WINDOW, Many, runs
from castsugar.rows import FAINT_FLAME

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

#: Normal quantile of a 95 % band.
_TWO_SIDED = 1.96

# ----------------------------------------------------------------------------
# A sweep: a column of a table against what runs.

#: Groups of columns that only a mix has which burns.
_BURNING = ("chamber", "nozzle", "motor")


def sweep(
    table: Mapping[str, Any],
    x: ArrayLike,
    column: str,
    *,
    limits: Iterable[Requirement | Limit] = (),
    ax: Axes | None = None,
    units: str = "si",
) -> Axes:
    """Draw a column of a table of mixes against what runs from row to row.

    The best estimate with its 95 % band, as far as the table has one: quantiles of
    draws, or twice the uncertainty that the data leave. Limits on the column are heavy
    lines, their broken side shaded, beside a curve of the quantile that they ask for.
    Stretches that do not burn, burn below 900 K, freeze at the throat or were not
    computed are hatched.

    Parameters
    ----------
    table : mapping
        Column to one value a mix: what :func:`castsugar.evaluate` returns.
    x : array_like, shape (n,)
        What runs, such as the share of an ingredient. [%]
    column : str
        Key of a column with numbers.
    limits : iterable of Requirement or Limit
        Those on other columns count for the stretch that keeps all.
    ax : Axes, optional
        Drawn on; else on Axes of a figure of its own.
    units : str
        "si" or "us".

    Returns
    -------
    Axes
        Its artists are labelled: ``ax.legend()`` names them.

    Raises
    ------
    InputError
        If `x` has not one value a row.
    UnknownNameError
        For a column that the table has not, or other units.

    Examples
    --------
    >>> table = {"relative_solids_20C": [1.2, 1.1, 0.9]}
    >>> firm = Requirement(column="relative_solids_20C", at_least=0.95)
    >>> ax = sweep(table, [10, 20, 30], "relative_solids_20C", limits=[firm])
    >>> ax.get_title("left")
    'relative solids at 20 °C'
    """
    known = {key: np.asarray(table[key]) for key in table}
    if column not in known:
        raise unknown_name("column", column, list(known))
    run = np.asarray(x, dtype=float)
    if run.shape != known[column].shape:
        raise InputError(
            f"x has the shape {run.shape}; give one value a row of the table, "
            f"{known[column].shape}"
        )
    order = np.argsort(run, kind="stable")
    known = {key: values[order] for key, values in known.items()}
    return _sweep(
        ax if ax is not None else style.new_axes(),
        (run[order], known),
        column,
        judge(limits_of(limits), known),
        Shown(units),
    )


def _sweep(
    axes: Axes,
    of: tuple[FloatArray, Mapping[str, Any]],
    column: str,
    judged: Sequence[Judgement],
    show: Shown,
) -> Axes:
    """Draw a sweep in the order of x."""
    x, table = of
    value = _values(table, column)
    low, high = _band(table, column, value)
    on = limits_on(column, [one.limit for one in judged])
    quantiles = [one for one in judged if one.limit in on and _differs(one, column)]
    first, last, middle, *others = (
        scaled(column, y, show)
        for y in (low, high, value, *(one.values for one in quantiles))
    )
    anchors = [] if column.startswith(PRESSURES) else [limit.value for limit in on]
    ends = range_of(
        column,
        middle,
        np.concatenate([first, last, *others]),
        scaled(column, anchors, show),
    )
    set_range(axes, column, ends, named(column, show))
    room = 0.5 if x[0] == x[-1] else 0.0
    axes.set_xlim(x[0] - room, x[-1] + room)
    marker = "o" if len(x) == 1 else ""
    axes.plot(
        x, held(middle, ends, column), color=style.BLUE, linewidth=2.0, marker=marker,
        label="best estimate",
    )  # fmt: skip
    if np.isfinite(first).any():
        low, high = (held(y, ends, column) for y in (first, last))
        style.band(axes, x, low, high, style.BLUE)
        axes.collections[-1].set_label("95 % band")
    for k, (one, values) in enumerate(zip(quantiles, others, strict=True), 1):
        axes.plot(
            x, held(values, ends, column), color=style.LINES[k], linewidth=1.6,
            linestyle=style.DASHES[k], marker=marker,
            label=label_of(one.limit.column),
        )  # fmt: skip
    if judged:
        _draw_kept(axes, x, judged)
    _draw_states(axes, x, [
        *_states(table, column, middle, show),
        (field_of(column).endless, "||", np.isinf(middle)),
    ])  # fmt: skip
    for limit in on:
        draw_limit(axes, column, limit, show)
    return axes


def _differs(one: Judgement, column: str) -> bool:
    """Say whether a limit holds against another curve than the column's own."""
    return one.limit.level is not None and one.limit.key == column


def _values(table: Mapping[str, Any], column: str) -> FloatArray:
    """Return a column; NaN where a mix that does not burn has no such value."""
    values = np.asarray(table[column], dtype=float)
    known = COLUMN.get(column, WINDOW)
    if known.group in _BURNING and "status" in table:
        return np.where(np.asarray(table["status"]) == "ok", values, np.nan)
    return values


def _band(
    table: Mapping[str, Any], column: str, value: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return the ends of the 95 % band of a column; NaN without one."""
    drawn = [chance_column(*one) for one in BAND if one[0] == column]
    if drawn and drawn[0] in table:
        low, high = (np.asarray(table[name], dtype=float) for name in drawn)
        gone = np.isnan(value)
        return np.where(gone, np.nan, low), np.where(gone, np.nan, high)
    doubt = np.asarray(table.get(DOUBTS.get(column, ""), np.nan), dtype=float)
    return value - _TWO_SIDED * doubt, value + _TWO_SIDED * doubt


def _states(
    table: Mapping[str, Any], column: str, values: FloatArray, show: Shown
) -> list[tuple[str, str, BoolArray]]:
    """Return what deserves a remark: name, hatch (as on maps), and where."""
    gone = np.isnan(values)

    def has(key: str, word: str) -> BoolArray:
        texts = np.asarray(table.get(key, [""] * len(values)), dtype=str)
        return np.char.find(texts, word) >= 0

    group = COLUMN.get(column, WINDOW).group
    if group == "kitchen":
        known = ~has("flow_class", "not ")
        gap = next((told for key, told in GAPS.items() if column.startswith(key)), "")
        known &= bool(gap)
        return [(gap, "\\\\\\", gone & known), ("not computed", "---", gone & ~known)]
    burns = group in _BURNING
    cold = has("status", "cold") & burns
    faint = f"flame below {show.amount('flame temperature', FAINT_FLAME)}"
    return [
        ("does not burn", "xxx", cold),
        (faint, "\\\\\\", has("flags", "flame below") & ~cold & burns),
        ("freezing at the throat", "///", has("flags", "freezing") & burns),
        ("not computed", "---", gone & ~cold),
    ]


def _stretches(x: FloatArray, mask: BoolArray) -> list[tuple[float, float]]:
    """Return where a stretch of places begins and ends, half a step beyond them."""
    edges = np.concatenate([x[:1], 0.5 * (x[1:] + x[:-1]), x[-1:]])
    return [(float(edges[a]), float(edges[b + 1])) for a, b in runs(mask)]


def _draw_states(
    axes: Axes, x: FloatArray, states: Iterable[tuple[str, str, BoolArray]]
) -> None:
    """Hatch stretches, each kind with its own hatch."""
    for name, hatch, mask in states:
        for low, high in _stretches(x, mask):
            axes.axvspan(
                low, high, facecolor="none", edgecolor=style.SOFT, linewidth=0.0,
                hatch=hatch, label=name,
            )  # fmt: skip


def _draw_kept(axes: Axes, x: FloatArray, judged: Sequence[Judgement]) -> None:
    """Draw a bar at the foot of the axes along what keeps all limits."""
    kept = np.logical_and.reduce([one.kept for one in judged])
    for low, high in _stretches(x, kept):
        axes.plot(
            [low, high], [0.0, 0.0], color=style.GREEN, linewidth=5.0, clip_on=False,
            transform=axes.get_xaxis_transform(), solid_capstyle="butt",
            label=f"keeps all {numbers.count(len(judged), 'limit')}",
        )  # fmt: skip


def sweep_drawing(
    found: Many,
    columns: Sequence[Column],
    title: str,
    notes: Sequence[str],
    show: Shown,
) -> Drawing:
    """Return the picture of a sweep, one panel a column."""
    table = {key: np.asarray(values) for key, values in found.table.items()}
    x = found.values(found.varied)
    name = found.names[found.shares.index(found.varied)]
    label = f"{name}, % (the others keep their ratio)"
    conditions, *told = notes
    words = " ".join(_told(found, x, table, column, show) for column in columns)

    def draw(width: int) -> Sheet:
        sheet = Sheet("sweep", title, width=width, words=words, below=[conditions])
        high = {1: 260.0, 2: 190.0}.get(len(columns), 150.0)
        drawn = []
        for column in columns:
            below = label if column is columns[-1] else ""
            axes = panel(sheet, named(column.key, show), high, below)
            drawn.append(_sweep(axes, (x, table), column.key, found.judged, show))
        name_x(drawn[-1], label)
        sheet.keys(*drawn)
        ending = "Independent check not asked. No claim of safety."
        sheet.notes([*filter(None, (*told, found.draws)), ending])
        return sheet

    return draw


def _told(
    found: Many, x: FloatArray, table: Mapping[str, Any], column: Column, show: Shown
) -> str:
    """Say in a sentence how a column runs, and where its limits are kept."""
    one = field_of(column.key)
    ends = [one.text({one.key: float(table[one.key][k])}, show) for k in (0, -1)]
    told = f"{one.headed(show)}: {ends[0]} at {numbers.typed(x[0])} %, {ends[1]} at "
    told += f"{numbers.typed(x[-1])} %"
    for judgement in found.judged:
        if judgement.limit.key == column.key:
            where = found.where(judgement.kept) if judgement.kept.any() else "nowhere"
            told += f"; {bound_words(judgement.limit, show)}: kept {where}"
    return f"{told}."


# ----------------------------------------------------------------------------
# Around the best mix: one ingredient more or less, the others in ratio.

#: Shown so many ranges of what keeps all limits.
_BEYOND = 2.0

#: What runs.
_CHANGE = "percent of the mix, more (+) or less (\u2212)"

#: Reaches below this are none. [percent of the mix]
_NONE = 0.05


def responses(
    outcome: Outcome, column: str = "", *, ax: Axes | None = None, units: str = "si"
) -> Axes:
    """Draw what more or less of each ingredient of the best mix does to a column.

    One ingredient runs from its lowest to its highest share, the others keep their
    ratio. Lines are thick where all limits and bounds are kept; a bar at the best mix
    is its 95 % band, where the column is drawn.

    Parameters
    ----------
    outcome : Outcome
        Of :func:`castsugar.search`.
    column : str, optional
        A column of the search; by default what it looks for.
    ax : Axes, optional
        Drawn on; else on Axes of a figure of its own.
    units : str
        "si" or "us".

    Returns
    -------
    Axes
        Its artists are labelled: ``ax.legend()`` names them, and says how far each
        ingredient can go and what stops it.

    Raises
    ------
    InputError
        If no ingredient can vary alone.
    UnknownNameError
        For a column that the search did not compute, or other units.

    Examples
    --------
    >>> import castsugar as cs
    >>> found = cs.search({"KNO3": "balance", "sucrose": (0.3, 0.4)}, confirm=False)
    >>> len(responses(found).lines) > 0
    True
    """
    columns = (column,) if column else ()
    of = _around(outcome, columns, PLAIN, Shown(units))
    axes = ax if ax is not None else style.new_axes()
    _respond(axes, of, of.columns[0])
    name_x(axes, _CHANGE)
    return axes


@dataclass(frozen=True, slots=True, kw_only=True)
class _Around:
    """What surrounds a mix: its ingredients along their ways, its 95 % bands."""

    outcome: Outcome
    columns: tuple[str, ...]
    ran: Directions
    bands: Mapping[str, tuple[float, float]]
    asked: Asked
    show: Shown


def _around(
    outcome: Outcome, columns: Sequence[str], asked: Asked, show: Shown
) -> _Around:
    """Compute what surrounds a mix; by default objective and columns with a limit."""
    problem, goal = outcome.task.problem(), outcome.found.goal
    known = list(problem.columns)
    wanted = columns or [goal.objective, *(limit.column for limit in goal.limits)]
    for name in wanted:
        if name not in known:
            raise unknown_name("column", name, known)
    bases = {chance_of(name)[0] for name in wanted}
    ends = tuple(one for one in BAND if one[0] in bases)
    bands = {}
    if ends and isinstance(problem, TableProblem):
        made = replace(problem, wanted=(), chances=ends, weights={})
        values = made.evaluate(np.asarray(outcome.found.fractions)[None])[0].tolist()
        names = [name for name, _ in ends[::2]]
        bands = dict(
            zip(names, zip(values[::2], values[1::2], strict=True), strict=True)
        )
    return _Around(
        outcome=outcome,
        columns=tuple(dict.fromkeys(wanted)),
        ran=directions(outcome),
        bands=bands,
        asked=asked,
        show=show,
    )


def _headed(of: _Around, column: str) -> str:
    """Return how a column heads its panel, with what is better."""
    goal = of.outcome.found.goal
    label = named(column, of.show)
    if column != goal.objective:
        return label
    return f"{label}: {'more' if goal.maximise else 'less'} is better"


def _respond(axes: Axes, of: _Around, column: str) -> None:
    """Draw the ways of all ingredients in one column."""
    ran, show = of.ran, of.show
    place = ran.columns.index(column)
    ways = [scaled(column, way.values[:, place], show) for way in ran.ways]
    kept = [values[way.kept] for way, values in zip(ran.ways, ways, strict=True)]
    best = scaled(column, [ran.best[column]], show)
    on = limits_on(column, of.outcome.found.goal.limits)
    anchors = scaled(column, [limit.value for limit in on], show)
    core, every = np.concatenate([*kept, best]), np.concatenate(ways)
    ends = range_of(column, core, every, anchors, _BEYOND)
    set_range(axes, column, ends, _headed(of, column))
    first = min(float(way.change[0]) for way in ran.ways)
    last = max(float(way.change[-1]) for way in ran.ways)
    room = 0.03 * (last - first)
    axes.set_xlim(100.0 * (first - room), 100.0 * (last + room))
    for k, (way, values) in enumerate(zip(ran.ways, ways, strict=True)):
        _draw_way(axes, k, way, held(values, ends, column), _reach(of, way))
    axes.xaxis.set_major_formatter(
        lambda x, _: f"{x:+g}".replace("-", "\u2212") if x else "0"
    )
    axes.axvline(0.0, color=style.SOFT, linewidth=0.9, linestyle=":")
    if chance_of(column)[0] in of.bands:
        bar = scaled(column, of.bands[chance_of(column)[0]], show)
        axes.plot(
            [0.0, 0.0], held(bar, ends, column), color=style.INK, linewidth=1.2,
            marker="_", markersize=9.0,
            label=f"95 % band of the {best_words(of.outcome)}",
        )  # fmt: skip
    axes.plot([0.0], best, "o", markerfacecolor=style.PAPER, markersize=7.0,
              markeredgecolor=style.INK, zorder=4.0)  # fmt: skip
    for limit in on:
        draw_limit(axes, column, limit, show)


def _draw_way(axes: Axes, k: int, way: Way, values: FloatArray, label: str) -> None:
    """Draw one ingredient: thick where all is kept, dashed where not, marks at ends."""
    colour, mark = style.LINES[k % len(style.LINES)], style.MARKS[k % len(style.MARKS)]
    x = 100.0 * way.change
    axes.plot(x, values, color=colour, linewidth=1.2, linestyle=(0, (4, 2.5)))
    thick = np.where(way.kept, values, np.nan)
    axes.plot(x, thick, color=colour, linewidth=3.6)
    low, high = axes.get_ylim()
    seen = np.flatnonzero((values >= low) & (values <= high) & (np.abs(x) > 0.1))
    at = seen[[0, -1]] if len(seen) else seen
    style_of: dict[str, Any] = {"color": colour, "marker": mark, "markersize": 6.0,
                                "markeredgecolor": style.INK}  # fmt: skip
    axes.plot(x[at], values[at], linestyle="none", **style_of)
    axes.plot([], [], linewidth=2.0, label=label, **style_of)


def _reach(of: _Around, way: Way) -> str:
    """Say of an ingredient how far it can go, and what stops it."""
    share = 100.0 * way.share
    told = f"{of.asked.name(way.ingredient)} {share:.1f} %"
    ends = []
    for reach, stop, none in zip(
        way.reach, way.stops, ("no less", "no more"), strict=True
    ):
        far = none
        if abs(100.0 * reach) >= _NONE:
            far = f"{'down' if reach < 0.0 else 'up'} to {share + 100.0 * reach:.1f} %"
        why = stop_words(of.outcome, stop, of.asked, of.show)
        ends.append(f"{far} ({why})" if why else far)
    return f"{told}: {', '.join(ends)}" if any(way.stops) else told


def responses_drawing(
    outcome: Outcome,
    *,
    asked: Asked = PLAIN,
    show: Shown,
) -> Drawing:
    """Return the picture of what surrounds the best mix, one panel a column."""
    of = _around(outcome, (), asked, show)
    title = f"{asked.before}Effect of each ingredient"
    best = best_words(outcome)
    around = f"Around the {best}: one runs, the others keep their ratio."
    reaches = "; ".join(_reach(of, way) for way in of.ran.ways)
    heads = ", ".join(named(column, show) for column in of.columns)
    words = f"{heads} around the {best}. {reaches}."
    grounds = ("all limits and bounds kept", "some limit or bound broken")
    if is_stated(outcome):
        grounds = ("all limits kept", "some limit broken, or outside the range shown")

    def draw(width: int) -> Sheet:
        told = [*state_lines(outcome), around]
        sheet = Sheet("traces", title, width=width, words=words, below=told)
        high = {1: 260.0, 2: 190.0}.get(len(of.columns), 140.0)
        drawn = []
        for column in of.columns:
            below = _CHANGE if column is of.columns[-1] else ""
            axes = panel(sheet, _headed(of, column), high, below)
            _respond(axes, of, column)
            drawn.append(axes)
        for ground, weight, dashes in zip(
            grounds, (3.6, 1.2), ("-", (0, (4, 2.5))), strict=True
        ):
            drawn[0].plot(
                [], [], color=style.INK, linewidth=weight, linestyle=dashes,
                label=ground,
            )  # fmt: skip
        name_x(drawn[-1], _CHANGE)
        sheet.keys(*drawn, columns=1)
        sheet.notes([note_of(of.columns)])
        return sheet

    return draw
