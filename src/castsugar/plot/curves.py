"""Curves: one ingredient runs, over a range or around the best mix of a search."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib.axes import Axes

from castsugar.arrays import BoolArray, FloatArray
from castsugar.columns import COLUMN, DOUBTS, Column
from castsugar.errors import InputError, unknown_name
from castsugar.limits import (
    BAND,
    RATING,
    Judgement,
    Limit,
    Requirement,
    chance_column,
    judge,
)
from castsugar.plot import style
from castsugar.plot.sheet import Drawing, Sheet
from castsugar.report import numbers
from castsugar.report.field import CHANCE, Field
from castsugar.report.field import field_of as field_of_column
from castsugar.report.search_words import bound_words, chance_of, field_of, label_of
from castsugar.report.shown import Shown
from castsugar.report.sweep import WINDOW, Many, runs
from castsugar.rows import FAINT_FLAME

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

# ----------------------------------------------------------------------------
# A column on an axis: its name, its values in the units shown, its range, its limits.

#: Columns that run over decades: their axis is logarithmic.
_DECADES = "pour_viscosity"

#: Columns of pressures in the motor: they begin at 0, a limit is the allowed pressure.
_PRESSURES, _MARGIN = "peak_pressure", "pressure_margin_percent"

#: A logarithmic axis reaches so many times beyond limits, or above its lowest value.
_FAR, _ABOVE = 30.0, 1e3

#: Normal quantile of a 95 % band.
_TWO_SIDED = 1.96


def field_on(column: str) -> Field:
    """Return what is known of a column of a table or of a search."""
    return field_of_column(WINDOW) if column == WINDOW.key else field_of(column)


def named(column: str, show: Shown) -> str:
    """Return how a column heads its axis, unit included."""
    one, share = field_on(column), chance_of(column)[1]
    if share is None:
        return one.headed(show)
    return style.headed(
        f"{one.named(show)}, {share:g} of 100 below", show.unit(one.kind)
    )


def scaled(column: str, values: ArrayLike, show: Shown) -> FloatArray:
    """Return values of a column in the units shown; shares of draws of 100."""
    kind = field_on(column).kind
    flat = np.asarray(values, dtype=float)
    if kind == CHANCE:
        return 100.0 * flat
    return np.array([show.number(kind, x) for x in flat.ravel()]).reshape(flat.shape)


def range_of(
    column: str,
    core: FloatArray,
    more: FloatArray,
    anchors: FloatArray,
    room: float = 1.0,
) -> tuple[float, float]:
    """Return the range of an axis: `core` and `anchors` in full, others nearby.

    Of `more` what lies within `room` ranges of them: what is far off would flatten what
    can be chosen. Over decades, what lies within a factor of the anchors.
    """
    core, more = core[np.isfinite(core)], more[np.isfinite(more)]
    if column.startswith(_DECADES):
        known = np.concatenate([core, more])
        known = known[known > 0.0]
        least = known.min(initial=np.inf)
        lowest = anchors.min() / _FAR if len(anchors) else 0.0
        highest = anchors.max() * _FAR if len(anchors) else _ABOVE * least
        known = np.append(np.clip(known, lowest, highest), anchors)
        return (known.min() / 1.2, known.max() * 1.2) if len(known) else (1.0, 10.0)
    core = np.append(core, anchors)
    if not len(core):
        core = more if len(more) else np.array([0.0, 1.0])
    low, high = float(core.min()), float(core.max())
    reach = room * ((high - low) or 0.05 * abs(high) or 1.0)
    near = np.append(np.clip(more, low - reach, high + reach), [low, high])
    low, high = float(near.min()), float(near.max())
    wide = (high - low) or 0.1 * abs(high) or 1.0
    if column.startswith(_PRESSURES):
        return 0.0, high + 0.05 * wide
    return low - 0.05 * wide, high + 0.05 * wide


def set_range(axes: Axes, column: str, ends: tuple[float, float]) -> None:
    """Give the y axis its range, logarithmic where the column runs over decades."""
    if column.startswith(_DECADES):
        style.logarithmic(axes, "y", *ends)
    else:
        axes.set_ylim(*ends)


def held(values: FloatArray, ends: tuple[float, float], column: str) -> FloatArray:
    """Return values no farther off an axis than they must be to leave it."""
    low, high = ends
    if column.startswith(_DECADES):
        return np.clip(values, low / 10.0, high * 10.0)
    return np.clip(values, 2.0 * low - high, 2.0 * high - low)


def limits_on(column: str, limits: Sequence[Limit]) -> list[Limit]:
    """Return the limits that stand on an axis.

    The allowed pressure stands on that of any pressure, and of the margin to it.
    """
    base = chance_of(column)[0]
    found = [one for one in limits if one.key == base]
    for one in limits:
        if one in found or not one.key.startswith(_PRESSURES):
            continue
        if base.startswith(_PRESSURES):
            found.append(one)
        elif base == _MARGIN and one.whose == RATING:
            found.append(Limit(column=base, sense=">=", value=0.0))
    return found


def draw_limit(axes: Axes, limit: Limit, show: Shown, across: bool = False) -> None:
    """Draw a limit of the y axis, or of the x axis, with the side that breaks it.

    The allowed pressure looks as on every other picture.
    """
    at = float(scaled(limit.key, limit.value, show))
    words = bound_words(limit, show)
    if limit.key.startswith(_PRESSURES) and limit.sense == "<=" and not across:
        kind = field_on(limit.key).kind
        if limit.whose == RATING:
            words = show.bound(kind, limit.value)
        style.allowed(axes, at, f"{limit.whose}, {words}")
        return
    low, high = axes.get_xlim() if across else axes.get_ylim()
    first, last = (at, high) if limit.sense == "<=" else (low, at)
    shade, line = (
        (axes.axvspan, axes.axvline) if across else (axes.axhspan, axes.axhline)
    )
    shade(first, last, facecolor=style.INK, alpha=0.1, linewidth=0.0)
    line(at, color=style.INK, linewidth=2.0, solid_capstyle="butt", gid="limit")
    if across:
        axes.set_xlim(low, high)
    else:
        axes.set_ylim(low, high)
    if limit.probability is not None:
        words += f", in {100.0 * limit.probability:g} of 100"
    _name_limit(axes, at, words, above=limit.sense == ">=", across=across)


def _name_limit(
    axes: Axes, at: float, words: str, *, above: bool, across: bool
) -> None:
    """Write what a limit is beside its line: where no curve passes, if there is such.

    On the side that keeps it, if both are free.
    """
    frame = axes.get_window_extent()
    wide, high = style.width_of(words, style.SMALL, bold=True), 1.4 * style.SMALL
    here = axes.transData.transform((at, 1.0) if across else (1.0, at))
    sides = (3.0, -3.0 - (wide if across else high))[:: 1 if above else -1]
    along = (
        np.linspace(frame.y1 - high, frame.y0 + 4.0, 8)
        if across
        else np.linspace(frame.x1 - wide - 4.0, frame.x0 + 4.0, 8)
    )
    spots = [
        (here[0] + side, place) if across else (place, here[1] + side)
        for side in sides
        for place in along
    ]
    inside = [
        (x, y)
        for x, y in spots
        if frame.x0 <= x <= frame.x1 - wide and frame.y0 <= y <= frame.y1 - high
    ]
    dots = _dots(axes)
    met = [
        ((dots > np.subtract(spot, 2.0)) & (dots < np.add(spot, (wide, high))))
        .all(axis=1)
        .sum()
        for spot in inside
    ]
    left, low = inside[int(np.argmin(met))] if inside else spots[0]
    axes.annotate(
        words,
        (0.0, 0.0),
        (left - frame.x0, low - frame.y0 + 0.3 * style.SMALL),
        xycoords="axes fraction",
        textcoords="offset pixels",
        fontsize=style.SMALL,
        fontweight="bold",
        color=style.INK,
        gid="limit",
    )


def _dots(axes: Axes) -> FloatArray:
    """Return points along the curves, and of marks. [px]"""
    found = [np.full((1, 2), np.nan)]
    for line in axes.get_lines():
        if line.get_gid() is None:
            at = axes.transData.transform(np.asarray(line.get_xydata(), dtype=float))
            place = np.linspace(0.0, len(at) - 1.0, 400) if len(at) > 1 else [0.0]
            found.append(
                np.column_stack([np.interp(place, range(len(at)), v) for v in at.T])
            )
    return np.vstack(found)


# ----------------------------------------------------------------------------
# A sweep: a column of a table against what runs.

#: What is hatched: name, the word in status or flags that means it, the hatch.
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
    bounds = [
        limit
        for one in limits
        for limit in (one.limits() if isinstance(one, Requirement) else (one,))
    ]
    return _sweep(
        ax if ax is not None else style.new_axes(),
        (run[order], known),
        column,
        judge(bounds, known),
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
    anchors = [] if column.startswith(_PRESSURES) else [limit.value for limit in on]
    ends = range_of(
        column,
        middle,
        np.concatenate([first, last, *others]),
        scaled(column, anchors, show),
    )
    style.dress(axes, named(column, show))
    set_range(axes, column, ends)
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
    _draw_states(axes, x, _states(table, column, middle, show))
    for limit in on:
        draw_limit(axes, limit, show)
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
    """Return what deserves a remark: name, hatch, and where."""
    blank = [""] * len(values)
    status = np.asarray(table.get("status", blank), dtype=str)
    flags = np.asarray(table.get("flags", blank), dtype=str)
    cold = np.char.startswith(status, "cold")
    faint = show.amount("flame temperature", FAINT_FLAME)
    burning = COLUMN.get(column, WINDOW).group in _BURNING
    gone = np.isnan(values)
    return [
        ("does not burn", "xxx", cold & burning),
        (f"flame below {faint}", "///", (np.char.find(flags, "flame below") >= 0)
         & ~cold & burning),
        ("freezing at the throat", "---", (np.char.find(flags, "freezing") >= 0)
         & burning),
        ("not computed", "\\\\\\", gone & ~(cold & burning)),
    ]  # fmt: skip


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
            transform=axes.get_xaxis_transform(), solid_capstyle="butt", gid="kept",
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
    keys = dict.fromkeys(key for row in found.rows for key in row)
    table = {k: np.array([row.get(k, np.nan) for row in found.rows]) for k in keys}
    x = np.array([float(row[found.varied]) for row in found.rows])
    name = found.names[found.shares.index(found.varied)]
    below, *told = notes
    words = " ".join(_told(found, x, table, column, show) for column in columns)

    def draw(width: int) -> Sheet:
        sheet = Sheet("sweep", title, width=width, words=words, below=[below])
        high = {1: 260.0, 2: 190.0}.get(len(columns), 150.0)
        drawn = []
        for column in columns:
            axes = sheet.panel(high, below=38.0 if column is columns[-1] else 18.0)
            drawn.append(_sweep(axes, (x, table), column.key, found.judged, show))
        drawn[-1].set_xlabel(f"{name}, % (the others keep their ratio)",
                             fontsize=style.SIZE, color=style.INK)  # fmt: skip
        sheet.keys(*drawn)
        sheet.notes([*told, "Independent check not asked. No claim of safety."])
        return sheet

    return draw


def _told(
    found: Many, x: FloatArray, table: Mapping[str, Any], column: Column, show: Shown
) -> str:
    """Say in a sentence how a column runs, and where its limits are kept."""
    one = field_on(column.key)
    ends = [one.text({one.key: float(table[one.key][k])}, show) for k in (0, -1)]
    told = f"{one.headed(show)}: {ends[0]} at {numbers.typed(x[0])} %, {ends[1]} at "
    told += f"{numbers.typed(x[-1])} %"
    for judgement in found.judged:
        if judgement.limit.key == column.key:
            where = found.where(judgement.kept) if judgement.kept.any() else "nowhere"
            told += f"; {bound_words(judgement.limit, show)}: kept {where}"
    return f"{told}."
