"""What one column costs in another: the trade-off front of a search."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes

from castsugar.arrays import FloatArray
from castsugar.comparison.directions import DECADES, cloud
from castsugar.frozen import dataclass
from castsugar.limits import Limit
from castsugar.optimize.outcome import Outcome
from castsugar.plot import style
from castsugar.plot.column_axis import (
    PRESSURES,
    draw_limit,
    limits_on,
    name_x,
    named,
    panel,
    scaled,
)
from castsugar.plot.sheet import Drawing, Sheet
from castsugar.report import numbers
from castsugar.report.search_words import (
    PLAIN,
    Asked,
    best_words,
    fault_words,
    limit_words,
    note_of,
    state_lines,
    stem,
    value_text,
    value_words,
)
from castsugar.report.shown import Shown

#: A mix or a limit is on the picture if the range grows no more than so much.
_GROWTH = 3.0

#: How far up the allowed pressure may lie; farther it is told at the edge. [axes]
_UP = 1.8

#: A column that runs over decades has a logarithmic axis from this ratio on.
_WIDE = 3.0

#: Trials nearer to each other than this are one dot. [px]
_NEAR = 3.0


@dataclass(frozen=True, slots=True, kw_only=True)
class _Mix:
    """A mix to name: mark, ink, ground of the mark, words, both columns as shown."""

    name: str
    mark: str
    ink: str
    ground: str
    words: str
    at: tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Found:
    """A front in the units shown: columns of x and y, whether more is better."""

    columns: tuple[str, str]
    more: tuple[bool, bool]
    line: FloatArray  # (n, 2)
    trials: FloatArray  # (m, 2)
    mixes: tuple[_Mix, ...]
    limits: tuple[tuple[Limit, ...], tuple[Limit, ...]]
    quantile: bool
    show: Shown

    def label(self, axis: int) -> str:
        """Return how a column heads its axis, with what is better."""
        word = "more" if self.more[axis] else "less"
        return f"{named(self.columns[axis], self.show)}: {word} is better"


def front(outcome: Outcome, *, ax: Axes | None = None, units: str = "si") -> Axes:
    """Draw the trade-off front of a search, a pressure always upwards.

    A column whose limit asks for a quantile of the draws is drawn at that quantile, for
    there the limit is held against it; the side that breaks a limit is shaded. A column
    over decades has a logarithmic axis where it runs over more than a factor of 3.

    Parameters
    ----------
    outcome : Outcome
        Of :func:`castsugar.search`, with a front asked for.
    ax : Axes, optional
        Drawn on; else on Axes of a figure of its own.
    units : str
        "si" or "us".

    Returns
    -------
    Axes
        Its artists are labelled: ``ax.legend()`` names them, mixes with their values.

    Raises
    ------
    InputError
        Without a front.
    UnknownNameError
        For other units.

    Examples
    --------
    >>> import castsugar as cs
    >>> found = cs.search(
    ...     {"KNO3": "balance", "sucrose": (0.3, 0.4)},
    ...     front=(("specific_impulse_s", True), ("flame_temperature_K", False)),
    ...     confirm=False,
    ... )
    >>> len(front(found).lines) > 0
    True
    """
    axes = ax if ax is not None else style.new_axes()
    _draw(axes, _read(outcome, Shown(units)))
    return axes


def _read(outcome: Outcome, show: Shown) -> _Found:
    """Read a front: columns at the quantiles that limits ask for, and all mixes."""
    cloud(outcome)  # or it is refused
    wanted, made, goal = outcome.task.front, outcome.front, outcome.found.goal
    assert wanted is not None
    assert made is not None
    if wanted[0][0].startswith(PRESSURES):
        wanted = (wanted[1], wanted[0])
    asked = {limit.key: limit.column for limit in goal.limits}
    names = (
        asked.get(wanted[0][0], wanted[0][0]), asked.get(wanted[1][0], wanted[1][0])
    )  # fmt: skip
    problem = outcome.task.problem()
    places = [list(problem.columns).index(name) for name in names]
    line = np.asarray(problem.evaluate(made.fractions), dtype=float)[:, places]

    def shown(pairs: FloatArray) -> FloatArray:
        both = zip(names, np.reshape(pairs, (-1, 2)).T, strict=True)
        return np.column_stack([scaled(name, values, show) for name, values in both])

    def mix(name: str, values: object, mark: str, ink: str) -> _Mix:
        known = dict(values)  # type: ignore[call-overload]
        both = np.array([known.get(column, np.nan) for column in names])
        wrong, at = fault_words(goal, known, show), shown(both)[0]
        told = ", ".join(map(value_text, names, both.tolist(), (show, show)))
        words = f"{name}: {told}" + (f"; {wrong}" if wrong else "")
        ground = style.PAPER if wrong else ink
        return _Mix(name=name, mark=mark, ink=ink, ground=ground, words=words,
                    at=(float(at[0]), float(at[1])))  # fmt: skip

    mixes = [mix(best_words(outcome), outcome.found.values, "*", style.ORANGE)]
    if outcome.robust and outcome.robust.pays:
        values = outcome.robust.found.values
        mixes.append(mix("robust mix", values, "D", style.GREEN))
    for name, values in outcome.tried_values.items():
        mixes.append(mix(name, values, "o", style.INK))
    return _Found(
        columns=names,
        more=(wanted[0][1], wanted[1][1]),
        line=shown(line),
        trials=shown(cloud(outcome, names)),
        mixes=tuple(mixes),
        limits=(
            tuple(limits_on(names[0], goal.limits)),
            tuple(limits_on(names[1], goal.limits)),
        ),
        quantile=names != (wanted[0][0], wanted[1][0]),
        show=show,
    )


def _core(of: _Found, axis: int) -> tuple[float, float]:
    """Return the ends of front and trials on an axis."""
    known = np.concatenate([of.line[:, axis], of.trials[:, axis]])
    return float(np.nanmin(known)), float(np.nanmax(known))


def _is_near(of: _Found, axis: int, value: float) -> bool:
    """Say whether a value would not make an axis too long."""
    low, high = _core(of, axis)
    first, last = min(low, value), max(high, value)
    if of.columns[axis].startswith(DECADES) and low > 0.0:
        return first > 0.0 and last / first <= (high / low) ** _GROWTH
    return last - first <= _GROWTH * (high - low)


def _range(of: _Found, axis: int) -> tuple[float, float]:
    """Return the range of an axis: front and trials, limits and mixes nearby."""
    column = of.columns[axis]
    limits = [one for one in of.limits[axis] if not one.key.startswith(PRESSURES)]
    values = [float(scaled(one.key, one.value, of.show)) for one in limits]
    near = [value for value in values if _is_near(of, axis, value)]
    near += [
        mix.at[axis]
        for mix in of.mixes
        if all(_is_near(of, k, x) for k, x in enumerate(mix.at))
    ]
    known = [*_core(of, axis), *near]
    low, high = min(known), max(known)
    if _is_wide(column, low, high):
        spare = (high / low) ** 0.06
        return low / spare, high * spare
    spare = 0.06 * (high - low) or 0.05 * abs(high) or 1.0
    told = 2.0 * spare if column.startswith(PRESSURES) else 0.0
    return low - spare, high + spare + told


def _is_wide(column: str, low: float, high: float) -> bool:
    """Say whether a column asks for a logarithmic axis."""
    return column.startswith(DECADES) and low > 0.0 and high > _WIDE * low


def _draw(axes: Axes, of: _Found) -> None:
    """Draw a front: trials, front, limits, mixes with their names."""
    room = axes.get_window_extent().width
    lines = style.wrapped(of.label(1), room, bold=True)
    style.dress(axes, "\n".join(lines), grid="both")
    name_x(axes, of.label(0))
    for k, name in enumerate("xy"):
        low, high = _range(of, k)
        if _is_wide(of.columns[k], low, high):
            style.logarithmic(axes, name, low, high)
        else:
            getattr(axes, f"set_{name}lim")(low, high)
            axes.ticklabel_format(axis=name, useOffset=False, style="plain")  # type: ignore[arg-type]
    pixels = np.round(axes.transData.transform(of.trials) / _NEAR)
    dots = of.trials[np.sort(np.unique(pixels, axis=0, return_index=True)[1])]
    told = "front: none is better in both"
    told += ", by best estimates" if of.quantile else ""
    axes.plot(*of.line.T, color=style.BLUE, linewidth=2.0, marker="o", markersize=4.5,
              label=told)  # fmt: skip
    axes.plot(*dots.T, color=style.SOFT, linestyle="none", marker="o", markersize=2.2,
              markeredgewidth=0.0,
              zorder=1.5, label="tried by the search, keeps all limits")  # fmt: skip
    for mix in of.mixes:
        inside = _holds(axes, mix.at)
        axes.plot(
            *[[x] for x in (mix.at if inside else (np.nan, np.nan))], mix.mark,
            linestyle="none", color=mix.ink, markerfacecolor=mix.ground, zorder=5.0,
            markersize=12.0 if mix.mark == "*" else 6.5,
            label=mix.words + ("" if inside else " (outside the picture)"),
        )  # fmt: skip
    for k, name in enumerate("yx"):
        for limit in of.limits[1 - k]:
            at = float(scaled(limit.key, limit.value, of.show))
            low, high = getattr(axes, f"get_{name}lim")()
            if low <= at <= high or (not k and limit.key.startswith(PRESSURES)):
                draw_limit(axes, of.columns[1 - k], limit, of.show,
                           across=name == "x", reach=_UP)  # fmt: skip
    points = [(*mix.at, mix.name) for mix in of.mixes if _holds(axes, mix.at)]
    style.label_points(axes, points, taken=_taken(axes, of.line))


def _taken(axes: Axes, line: FloatArray) -> list[style.Box]:
    """Return what a name may not cover: the front, and what is written. [px]"""
    x, y = axes.transData.transform(line).T
    place = np.linspace(0.0, len(line) - 1.0, 120)
    along = zip(
        np.interp(place, range(len(line)), x).tolist(),
        np.interp(place, range(len(line)), y).tolist(),
        strict=True,
    )
    boxes = [(a - 3.0, b - 3.0, a + 3.0, b + 3.0) for a, b in along]
    written = [tuple(text.get_window_extent().extents) for text in axes.texts]
    return [*boxes, *((a, b, c, d) for a, b, c, d in written)]


def _holds(axes: Axes, at: tuple[float, float]) -> bool:
    """Say whether a mix lies on the picture."""
    ends = (axes.get_xlim(), axes.get_ylim())
    return all(low <= x <= high for x, (low, high) in zip(at, ends, strict=True))


def front_drawing(outcome: Outcome, *, asked: Asked = PLAIN, show: Shown) -> Drawing:
    """Return the picture of a trade-off front; InputError without one."""
    of = _read(outcome, show)
    title = f"{asked.before}Trade-off"
    stems = [stem(column, show) for column in of.columns]
    below = [f"{stems[0]} against {stems[1]}, all limits kept", *state_lines(outcome)]
    ends = [
        " and ".join(
            value_words(column, x, show)
            for column, x in zip(of.columns, of.line[k].tolist(), strict=True)
        )
        for k in (0, -1)
    ]
    words = f"Front from {ends[0]} to {ends[1]}. Across: {of.label(0)}; up: "
    words += f"{of.label(1)}. {'. '.join(mix.words for mix in of.mixes)}."
    limits = dict.fromkeys(limit_words(one, show) for one in outcome.found.goal.limits)
    notes = [f"Limits: {numbers.listed([*limits])}."] if limits else []

    def draw(width: int) -> Sheet:
        sheet = Sheet("front", title, width=width, words=words, below=below)
        high = 240.0 if sheet.is_narrow else 340.0
        axes = panel(sheet, of.label(1), high, of.label(0))
        _draw(axes, of)
        sheet.keys(axes, columns=1)
        sheet.notes([*notes, note_of(of.columns)])
        return sheet

    return draw
