"""The mixes around two mixes, and which of them remain under moving limits."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from castsugar.arrays import BoolArray, FloatArray, IntArray
from castsugar.comparison.limits import (
    C_STAR,
    MARGIN,
    fractions_of,
    neighbourhood_task,
    outcome_of_mix,
    unjudged,
)
from castsugar.errors import InputError
from castsugar.kitchen import pour_table
from castsugar.limits import Limit, Requirement, chance_column
from castsugar.mix.blends import put_together
from castsugar.mix.mix import Mix
from castsugar.optimize.plane import TOLERANCE, Plane, plane
from castsugar.optimize.search import Outcome
from castsugar.optimize.task import Settings, TableProblem, Task

# ----------------------------------------------------------------------------
# The straight line of mixes through two mixes.

#: It runs from here to there, in shares of the change, in so many steps.
_ENDS, _LINE_STEPS = (-0.5, 1.5), 80

#: Mixes so near each other are the same. [mass fraction]
_SAME = 1e-9


def line_through(base: FloatArray, new: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return shares of the change, (81,), and the mixes on the line, (81, k).

    From half a change before the base to half a change beyond the new mix, clipped to
    where no fraction is below 0.

    Raises
    ------
    InputError
        If both are the same.

    Examples
    --------
    >>> change, mixes = line_through(np.array([0.9, 0.1]), np.array([0.7, 0.3]))
    >>> change[[0, -1]].tolist(), mixes[-1].round(9).tolist()
    ([-0.5, 1.5], [0.6, 0.4])
    """
    step = new - base
    if np.abs(step).max() <= _SAME:
        raise InputError(
            "base and new mix are the same: no mixes lie between them; give two mixes "
            "that differ"
        )
    low, high = _ENDS
    for start, slope in zip(base.tolist(), step.tolist(), strict=True):
        if slope < -_SAME:
            high = min(high, start / -slope)
        elif slope > _SAME:
            low = max(low, -start / slope)
    change = np.linspace(low, high, _LINE_STEPS + 1)
    mixes = np.maximum(base + change[:, None] * step, 0.0)
    return change, mixes / mixes.sum(axis=1, keepdims=True)


def same_as(mixes: FloatArray, pair: FloatArray) -> BoolArray:
    """Say which mixes are one of a pair, (n,) of bool."""
    apart = np.abs(mixes[:, None] - pair[None]).max(axis=2)
    return np.asarray((apart <= _SAME).any(axis=1))


# ----------------------------------------------------------------------------
# Which mixes remain under three limits, and which of them is the best.
#
# Arrays in, arrays out: the same rule, written once more in the script of the what-if
# panel, is checked against this one.

#: How a mix stands.
REMAINS, RULED_OUT, UNKNOWN = 0, 1, 2

#: From here on a number stands for infinity: no stable pressure [MPa], jammed [Pa s].
ENDLESS = (1e3, 1e12)


def standing(
    pressure: FloatArray,
    viscosity: FloatArray,
    velocity: FloatArray,
    caps: tuple[float | None, float | None, float | None],
    others: IntArray | None = None,
) -> IntArray:
    """Return how each mix stands: 0 remains, 1 ruled out, 2 not computed.

    A mix is ruled out by what is known of it: beyond a limit, no stable pressure,
    jammed. Else it is not computed if a limit asks for what is not known. A mix without
    c* is not computed.

    Parameters
    ----------
    pressure, viscosity, velocity : ndarray, shape (n,)
        [MPa], [Pa s], [m/s]; NaN where not computed.
    caps : tuple of three floats or None
        Highest pressure and viscosity, lowest velocity; None: any.
    others : ndarray of int, shape (n,), optional
        How the mixes stand under further limits, in the same code.

    Examples
    --------
    >>> three = np.array([5.0, 8.0, np.nan]), np.ones(3), np.full(3, 900.0)
    >>> standing(*three, (7.0, None, None)).tolist()
    [0, 1, 2]
    """
    signs = (1.0, 1.0, -1.0)
    ends = (*ENDLESS, np.inf)
    shape = np.shape(velocity)
    out = np.zeros(shape, dtype=bool)
    dark = np.isnan(np.asarray(velocity, dtype=float))
    columns = (pressure, viscosity, velocity)
    for column, cap, sign, end in zip(columns, caps, signs, ends, strict=True):
        values = np.asarray(column, dtype=float)
        out |= values >= end
        if cap is not None:
            out |= sign * values > sign * cap
            dark = dark | np.isnan(values)
    if others is not None:
        out |= others == RULED_OUT
        dark = dark | (others == UNKNOWN)
    return np.where(out, RULED_OUT, np.where(dark, UNKNOWN, REMAINS)).astype(np.int64)


def best(states: IntArray, velocity: FloatArray) -> int | None:
    """Return the place of the remaining mix with the highest c*; the first of equals.

    None if nothing remains.

    Examples
    --------
    >>> best(np.array([1, 0, 0]), np.array([950.0, 900.0, 910.0]))
    2
    """
    kept = np.where(states == REMAINS, velocity, -np.inf)
    return int(np.argmax(kept)) if (states == REMAINS).any() else None


# ----------------------------------------------------------------------------
# What stands around two mixes: neighbours, evaluated once for every picture.
#
# Neighbours share burn law and kitchen model with the two mixes: where a model is
# wrong, it is wrong for all of them. A neighbour that keeps limits is a mix to test.

PRESSURE, VISCOSITY = "peak_pressure_MPa", "pour_viscosity_Pa_s"
IMPULSE, SET_RATIO = "specific_impulse_s", "relative_solids_20C"

#: Share of the draws that keeps a limit where none is asked for.
USUAL = {PRESSURE: 0.95, VISCOSITY: 0.80}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Member:
    """One of the two mixes.

    Attributes
    ----------
    name : str
    fractions : ndarray, shape (k,)
    values : ndarray, shape (c,)
    """

    name: str
    fractions: FloatArray
    values: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Neighbourhood:
    """Mixes around two mixes, and their columns.

    Attributes
    ----------
    kind : str
        "triangle": all mixes of three ingredients near the two; "line": the mixes on
        the straight line through both.
    outcome : Outcome
        The new mix as stated, the base as tried: for the pictures of a search.
    plane : Plane or None
        For a map of the outcome; with a line, too, where three ingredients vary.
    names : tuple of str
        Ingredients: what the columns of fractions stand for.
    fractions : ndarray, shape (n, k)
        Neighbours, without the two mixes.
    change : ndarray, shape (n,)
        Of a line: share of the way from base (0) to new (1). Empty of a triangle.
    columns : tuple of str
    values : ndarray, shape (n, c)
        NaN where not computed.
    base, new : Member
    pressure, viscosity : str
        Columns of peak pressure and pour viscosity, at the probability of their limits;
        empty without motor or kitchen.
    left_out : mapping
        Column of a limit that is not judged to why.
    gaps : mapping
        "kitchen", "motor": why some or all mixes have none. "flow": why the flow is
        another than that of the settings.
    """

    kind: str
    outcome: Outcome
    plane: Plane | None
    names: tuple[str, ...]
    fractions: FloatArray
    change: FloatArray
    columns: tuple[str, ...]
    values: FloatArray
    base: Member
    new: Member
    pressure: str
    viscosity: str
    left_out: Mapping[str, str]
    gaps: Mapping[str, str]

    def column(self, name: str) -> FloatArray:
        """Return a column of all mixes, base and new last, (n + 2,); NaN without it."""
        rows = [self.values, self.base.values[None], self.new.values[None]]
        if name not in self.columns:
            return np.full(sum(len(part) for part in rows), np.nan)
        return np.vstack(rows)[:, self.columns.index(name)]

    def under(self, limits: Sequence[Limit]) -> IntArray:
        """Return how all mixes stand under limits, (n + 2,).

        As :func:`castsugar.comparison.neighbours.standing` says it: 0 keeps all, 1
        breaks one, 2 not computed.
        """
        out = np.zeros(len(self.fractions) + 2, dtype=bool)
        dark = out.copy()
        for limit in limits:
            slack = limit.slack(self.column(limit.column))
            dark |= np.isnan(slack)
            out |= slack < -TOLERANCE * abs(limit.value)
        return np.where(out, RULED_OUT, np.where(dark, UNKNOWN, REMAINS))

    @property
    def all_fractions(self) -> FloatArray:
        """Return all mixes, base and new last, (n + 2, k)."""
        both = [self.base.fractions[None], self.new.fractions[None]]
        return np.vstack([self.fractions, *both])


def neighbours_of(
    base: Mix,
    new: Mix,
    settings: Settings,
    requirements: Sequence[Requirement] = (),
    *,
    objective: str = C_STAR,
    margin: float = MARGIN,
) -> Neighbourhood:
    """Evaluate the mixes around two mixes, once.

    A triangle where three ingredients vary and both mixes lie on it; else the line
    through both. Where one of the two freezes at the throat in equilibrium flow, all
    are evaluated without solidification; `gaps` says so.

    Parameters
    ----------
    base, new, settings, requirements, objective, margin
        As for :func:`castsugar.comparison.limits.neighbourhood_task`.

    Raises
    ------
    InputError
        If the mixes are the same and no three ingredients vary: nothing lies between.
    """
    chosen = _flowing(base, new, settings)
    task = neighbourhood_task(
        base, new, chosen, requirements, objective=objective, margin=margin
    )
    pair = fractions_of(task, base, new)
    left_out = unjudged(task, pair, requirements)
    outcome = outcome_of_mix(task, pair[1])
    problem, pressure, viscosity = _problem(task)
    columns = tuple(problem.columns)
    own = np.asarray(problem.evaluate(pair), dtype=float)
    made = plane(outcome, problem) if _varying(task) == 3 else None
    if made is not None and made.shares_of(pair[0]) is not None:
        inside = (made.rows >= 0.0).all(axis=1)
        change = np.empty(0)
        mixes, values = made.fractions[inside], made.values[inside]
    else:
        change, mixes = line_through(*pair)
        values = np.asarray(problem.evaluate(mixes), dtype=float)
    fresh = ~same_as(mixes, pair)
    return Neighbourhood(
        kind="line" if len(change) else "triangle",
        outcome=outcome,
        plane=made,
        names=task.space.columns,
        fractions=mixes[fresh],
        change=change[fresh] if len(change) else change,
        columns=columns,
        values=values[fresh],
        base=Member(name=base.name, fractions=pair[0], values=own[0]),
        new=Member(name=new.name, fractions=pair[1], values=own[1]),
        pressure=pressure,
        viscosity=viscosity,
        left_out=left_out,
        gaps=_gaps(task, settings, pair, (base.name, new.name)),
    )


def _flowing(base: Mix, new: Mix, settings: Settings) -> Settings:
    """Return settings under which both mixes have a c*, if there are some.

    In equilibrium flow the c* of a mix that freezes at the throat is an artefact, and
    left out: then nothing solidifies for all of them.
    """
    if settings.flow != "equilibrium":
        return settings
    calm = replace(settings, flow="no-solidification")
    known = []
    for way in (settings, calm):
        task = neighbourhood_task(base, new, way)
        values = task.problem().evaluate(fractions_of(task, base, new))
        known.append(int(np.isfinite(values).all(axis=1).sum()))
        if known[0] == len(values):
            return settings
    return calm if known[1] > known[0] else settings


def _varying(task: Task) -> int:
    """Return how many ingredients vary."""
    return sum(low < high for low, high in task.space.bounds.values())


def _problem(task: Task) -> tuple[TableProblem, str, str]:
    """Return the columns to evaluate, and those of pressure and viscosity."""
    own = task.problem()
    wanted, chances, names = [*own.wanted, C_STAR, IMPULSE], [*own.chances], []
    asked = task.settings
    for column, wing in ((PRESSURE, asked.motor), (VISCOSITY, asked.kitchen)):
        if wing is None:
            names.append("")
            continue
        level = _level(task, column)
        if level is None:
            names.append(column)
            continue
        chances.append((column, level))
        names.append(chance_column(column, level))
    if asked.kitchen is not None:
        wanted.append(SET_RATIO)
    problem = replace(
        own,
        wanted=tuple(dict.fromkeys(wanted)),
        chances=tuple(dict.fromkeys(chances)),
    )
    return problem, names[0], names[1]


def _level(task: Task, column: str) -> float | None:
    """Return the probability of the upper limit on a column, or the usual one.

    The largest of several; None where the only limit is one on the best estimate.
    """
    own = (r for r in task.requirements if r.column == column)
    asked = [r for r in own if r.at_most is not None]
    levels = [r.probability for r in asked if r.probability is not None]
    if asked and not levels:
        return None
    return max(levels, default=USUAL[column])


def _gaps(
    task: Task, asked: Settings, pair: FloatArray, names: tuple[str, str]
) -> dict[str, str]:
    """Return why kitchen or motor say nothing, for all mixes or one of the pair."""
    settings, found = task.settings, {}
    if settings.flow != asked.flow:
        found["flow"] = (
            f"in {asked.flow} flow potassium carbonate freezes at the throat for one "
            "of the mixes, and its c* there is an artefact"
        )
    if settings.motor is None:
        found["motor"] = "no motor was given"
    if asked.kitchen is None:
        found["kitchen"] = "no kitchen was given"
    else:
        blends = put_together(
            settings.items,
            pair,
            water_lost=settings.water_lost,
            lots=settings.lots,
            alternatives=settings.alternatives,
        )
        said = pour_table.cook(blends, asked.kitchen, window=False).verdict
        told = zip(names, said.gap, strict=True)
        why = list(dict.fromkeys(gap for _, gap in told if gap))
        if all(said.gap) and len(why) == 1:
            found["kitchen"] = why[0]
        elif why:
            told = zip(names, said.gap, strict=True)
            found["kitchen"] = "; ".join(f"{n}: {gap}" for n, gap in told if gap)
    return found


# ----------------------------------------------------------------------------
# Limits that can be moved over mixes evaluated before: positions and values.
#
# Values are rounded to what is shown, against the mix, so that the rule gives the same
# answer before and after at every position.

#: Digits of pressure, viscosity and c*: of a viscosity, good to a factor, two.
DIGITS = (4, 2, 4)

#: Steps of a linear scale, from which the first that needs few enough is taken.
_STEPS = {
    "<=": (0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0),
    ">=": (0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0),
}

#: Most stops of a linear scale, one for each step.
_STOPS = 58.0

#: A scale reaches so many times the least value; beyond, only "any" allows a mix.
_REACH = (10.0, 1e4)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MovingLimit:
    """A limit that can be moved.

    Attributes
    ----------
    column : str
        Empty without the wing that computes it.
    sense : str
    values : ndarray, shape (n + 2,)
        Of all mixes, base and new last; rounded.
    stops : tuple of float or None
        From one end to the other; None, at the loosest end, allows any.
    start : int
        Place of the limit given, or of None.
    given : float or None
        The limit given.
    """

    column: str
    sense: str
    values: FloatArray
    stops: tuple[float | None, ...]
    start: int
    given: float | None

    @property
    def works(self) -> bool:
        """Say whether there is more than one position."""
        return len(self.stops) > 1


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MovingLimits:
    """Three limits that can be moved, and how mixes stand under all others.

    Attributes
    ----------
    pressure, viscosity, velocity : MovingLimit
    fixed : tuple of Limit
        The limits that stay.
    others : ndarray of int, shape (n + 2,)
        Under those, as :func:`castsugar.comparison.neighbours.standing` says it.
    """

    pressure: MovingLimit
    viscosity: MovingLimit
    velocity: MovingLimit
    fixed: tuple[Limit, ...]
    others: IntArray

    @property
    def each(self) -> tuple[MovingLimit, MovingLimit, MovingLimit]:
        """Return the three."""
        return self.pressure, self.viscosity, self.velocity

    def states(self, places: Sequence[int] | None = None) -> IntArray:
        """Return how all mixes stand at some positions; at the start by default."""
        at = [d.start for d in self.each] if places is None else list(places)
        first, second, third = (d.stops[k] for d, k in zip(self.each, at, strict=True))
        one, two, three = (d.values for d in self.each)
        return standing(one, two, three, (first, second, third), self.others)


def moving_limits(around: Neighbourhood, limits: Sequence[Limit]) -> MovingLimits:
    """Return the limits that can be moved over the mixes around two.

    Parameters
    ----------
    around : Around
    limits : sequence of Limit
        Given; those on columns that can be moved are where these start.
    """
    columns = (around.pressure, around.viscosity, C_STAR)
    senses = ("<=", "<=", ">=")
    given: list[Limit | None] = []
    for column, sense in zip(columns, senses, strict=True):
        mine = [x for x in limits if x.column == column and x.sense == sense]
        given.append(min(mine, key=lambda x: x.sign * x.value) if mine else None)
    fixed = tuple(x for x in limits if not any(x is g for g in given))
    made = [
        _moving_limit(around, place, columns[place], senses[place], limit)
        for place, limit in enumerate(given)
    ]
    return MovingLimits(
        pressure=made[0],
        viscosity=made[1],
        velocity=made[2],
        fixed=fixed,
        others=around.under(fixed),
    )


def _moving_limit(
    around: Neighbourhood, place: int, column: str, sense: str, limit: Limit | None
) -> MovingLimit:
    """Return one limit that can be moved."""
    given = limit.value if limit else None
    values = coarse(around.column(column), DIGITS[place], sense, given)
    known = values[np.isfinite(values) & (values > 0.0)]
    stops: list[float | None] = []
    if sense == ">=" and known.size:
        stops = [None, *linear_stops(known, sense, given, _STEPS[sense])]
    elif known.size and known.min() < ENDLESS[place]:
        most = max(_REACH[place] * float(known.min()), given or 0.0)
        near = known[known <= most]
        found = (
            linear_stops(near, sense, given, _STEPS[sense])
            if place == 0
            else decade_stops(near, given)
        )
        stops = [*found, None]
    return MovingLimit(
        column=column,
        sense=sense,
        values=values,
        stops=tuple(stops or [None]),
        start=stops.index(given) if given in stops else 0,
        given=given,
    )


def coarse(
    values: FloatArray, digits: int, sense: str, limit: float | None = None
) -> FloatArray:
    """Round against the mix, so that no rounded value keeps what the value breaks.

    Up where less is better ("<="), down where more is (">="). A value that keeps
    `limit` is not rounded beyond it: whether a mix keeps it is the same before and
    after, and likewise for every number of so many digits.

    Parameters
    ----------
    values : ndarray
        NaN and infinite ones stay.
    digits : int
        That count.
    sense : str
    limit : float, optional

    Examples
    --------
    >>> coarse(np.array([10.04, 6.8946, 9.9]), 2, "<=", 6.894757).tolist()
    [11.0, 6.894757, 9.9]
    """
    up = sense == "<="
    found = [_rounded(value, digits, up=up) for value in np.ravel(values).tolist()]
    if limit is not None:
        sign = 1.0 if up else -1.0
        room = TOLERANCE * abs(limit)
        pairs = zip(np.ravel(values).tolist(), found, strict=True)
        found = [
            limit if sign * (v - limit) <= room and sign * (r - limit) > 0.0 else r
            for v, r in pairs
        ]
    return np.array(found, dtype=float).reshape(np.shape(values))


def _rounded(value: float, digits: int, *, up: bool) -> float:
    """Round a number up or down to so many digits."""
    if not math.isfinite(value) or value == 0.0:
        return value
    step = 10.0 ** (math.floor(math.log10(abs(value))) - digits + 1)
    parts = value / step
    whole = math.ceil(parts - 1e-7) if up else math.floor(parts + 1e-7)
    return float(f"{whole * step:.{digits}g}")


def linear_stops(
    values: FloatArray, sense: str, limit: float | None, steps: Sequence[float]
) -> list[float]:
    """Return the positions of a limit on a linear scale, rising; the given one too.

    From where nothing is left to where nearly everything is.

    Parameters
    ----------
    values : ndarray
        Those known.
    sense : str
    limit : float, optional
        Is among the stops.
    steps : sequence of float
        Steps to choose from, rising: the first that needs 60 stops or fewer.

    Examples
    --------
    >>> linear_stops(np.array([2.0, 3.9]), "<=", 3.3, (0.1, 1.0))[-3:]
    [3.7, 3.8, 3.9]
    >>> linear_stops(np.array([2.0, 3.9]), "<=", 3.25, (1.0,))
    [1.0, 2.0, 3.0, 3.25]
    """
    both = values if limit is None else np.append(values, limit)
    low, high = float(both.min()), float(both.max())
    step = next((s for s in steps if (high - low) / s <= _STOPS), steps[-1])
    first, last = math.floor(low / step), math.floor(high / step)
    if sense == "<=":
        first -= first * step == low
    else:
        first, last = math.ceil(low / step), math.ceil(high / step)
        last += last * step == high
    found = {float(f"{k * step:.9g}") for k in range(first, last + 1)}
    return sorted(found if limit is None else {*found, limit})


def decade_stops(values: FloatArray, limit: float | None) -> list[float]:
    """Return the positions of an upper limit on a logarithmic scale, rising.

    Examples
    --------
    >>> decade_stops(np.array([4.5, 11.0]), 9.5)
    [4.0, 5.0, 6.0, 8.0, 9.5, 10.0]
    """
    both = values if limit is None else np.append(values, limit)
    low, high = float(both.min()), float(both.max())
    first, last = math.floor(math.log10(low)) - 1, math.ceil(math.log10(high))
    series = [
        float(f"{lead * 10.0**power:.3g}")
        for power in range(first, last + 1)
        for lead in (1.0, 1.2, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 8.0)
    ]
    below = [s for s in series if s < low]
    found = {below[-1], *(s for s in series if low <= s <= high)}
    return sorted(found if limit is None else {*found, limit})
