"""What happens around the best mix: one ingredient more or less, the others in ratio.

J. A. Cornell, *Experiments with Mixtures* (from memory), calls the line on which one
ingredient runs and the others keep their ratio Cox's direction.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

import numpy as np

from castsugar.arrays import BoolArray, FloatArray
from castsugar.errors import InputError
from castsugar.frozen import dataclass
from castsugar.optimize.outcome import Outcome
from castsugar.optimize.plane import ROW_TOLERANCE, TOLERANCE, Measure, keeping, varying
from castsugar.optimize.problem import MOVED

#: Steps from the lowest to the highest share of an ingredient.
STEPS = 48

#: Slacks that vanish so near each other vanish together. [steps]
_TOGETHER = 1e-3

#: Columns that run over decades: between two mixes their logarithm is straight.
DECADES = ("pour_viscosity", "peak_pressure")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Way:
    """An ingredient of the best mix, more or less of it."""

    ingredient: str
    share: float  # in the best mix [mass fraction]
    #: From its lowest to its highest share; 0 is the best mix. The places at which
    #: something begins to break are among them, (n,). [mass fraction]
    change: FloatArray
    #: NaN where a mix failed; straight between neighbours at the places added, (n, c).
    values: FloatArray
    kept: BoolArray  # whether all limits and all rows of the space are kept, (n,)
    #: How far down and up all are kept, from the best mix. [mass fraction]
    reach: tuple[float, float]
    #: Name of the limit or row that stops it there. Empty where the best mix itself
    #: breaks something.
    stops: tuple[str, str]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Directions:
    """All ingredients of the best mix along their own directions."""

    columns: tuple[str, ...]
    best: Mapping[str, float]  # columns at the best mix
    ways: tuple[Way, ...]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Line:
    """The mixes of one direction: share of the ingredient; fractions (n, k)."""

    ingredient: str
    place: int
    mixes: FloatArray


def directions(outcome: Outcome) -> Directions:
    """Run every ingredient of the best mix from its lowest to its highest share.

    Fixed parts stay; the others share the rest in the ratio of the best mix. All mixes
    go through the problem in one batch.

    Raises
    ------
    InputError
        If no ingredient can vary alone.
    """
    lines = _lines(outcome)
    if not lines:
        raise InputError(
            "no ingredient of the best mix can vary with the others in ratio; give at "
            "least two ingredients of it bounds with room"
        )
    problem = outcome.task.problem()
    joined = np.vstack([line.mixes for line in lines])
    values = np.asarray(problem.evaluate(joined), dtype=float)
    cuts = np.cumsum([len(line.mixes) for line in lines])[:-1]
    measure = Measure.of(outcome)
    base = outcome.found.fractions
    return Directions(
        columns=tuple(problem.columns),
        best=dict(outcome.found.values),
        ways=tuple(
            _way(measure, line, float(base[line.place]), part)
            for line, part in zip(lines, np.split(values, cuts), strict=True)
        ),
    )


def _lines(outcome: Outcome) -> list[_Line]:
    """Return the mixes of every direction in which the best mix can go."""
    space, choice = outcome.task.space, outcome.found.choice
    base = np.asarray(outcome.found.fractions, dtype=float)
    free = varying(space, choice)
    total = float(base[list(free.values())].sum())
    found = []
    for slot, place in free.items():
        others = [k for k in free.values() if k != place]
        rest = float(base[others].sum())
        if rest <= TOLERANCE:
            continue
        low, high = space.bounds[slot]
        share = np.linspace(low, max(min(high, total), low), STEPS + 1)
        share = share[np.abs(share - base[place]) > TOLERANCE]
        share = np.sort(np.append(share, base[place]))
        mixes = np.repeat(base[None], len(share), axis=0)
        mixes[:, place] = share
        mixes[:, others] *= ((total - share) / rest)[:, None]
        found.append(_Line(ingredient=space.columns[place], place=place, mixes=mixes))
    return found


def _way(measure: Measure, line: _Line, share: float, values: FloatArray) -> Way:
    """Return a direction with the places at which something begins to break."""
    slack = measure.slack(line.mixes, values)
    good = np.asarray((slack >= 0.0).all(axis=1))
    steps = line.mixes[:, line.place] - share
    start = int(np.argmin(np.abs(steps)))
    down = _stop(steps, slack, range(start, -1, -1))
    up = _stop(steps, slack, range(start, len(steps)))
    borders = np.flatnonzero(good[1:] != good[:-1]).tolist()
    pairs = [(k, k + 1) if good[k] else (k + 1, k) for k in borders]
    cuts = [(a, b, _crossing(slack[a], slack[b])[0]) for a, b in pairs]
    where = [steps[a] + p * (steps[b] - steps[a]) for a, b, p in cuts]
    running = _straight(measure.columns, values)
    more = [running[a] + p * (running[b] - running[a]) for a, b, p in cuts]
    between = [_straight(measure.columns, row, -1) for row in more]
    change = np.concatenate([steps, where])
    kept = np.concatenate([good, np.ones(len(where), dtype=bool)])
    order = np.argsort(change, kind="stable")
    name = ("", *measure.names)
    return Way(
        ingredient=line.ingredient,
        share=share,
        change=change[order],
        values=np.vstack([values, *between])[order],
        kept=kept[order],
        reach=(down[0], up[0]),
        stops=(name[1 + down[1]], name[1 + up[1]]),
    )


def _crossing(kept: FloatArray, broken: FloatArray) -> tuple[float, int]:
    """Return where between two mixes the first slack vanishes, and which one.

    Of those that vanish together the first: a limit before a row of the space.
    """
    places = np.flatnonzero(broken < 0.0)
    parts = kept[places] / (kept[places] - broken[places])
    first = float(parts.min())
    together = np.flatnonzero(parts <= first + _TOGETHER)
    return first, int(places[together[0]])


def _stop(
    change: FloatArray, slack: FloatArray, way: Iterable[int]
) -> tuple[float, int]:
    """Return how far all is kept along a way from the best mix, and what stops it.

    The number of the slack; -1 if nothing does.
    """
    places = list(way)
    broken = np.asarray((slack[places] < 0.0).any(axis=1))
    if broken[0]:
        return 0.0, -1
    if broken.any():
        after = int(np.argmax(broken))
        a, b = places[after - 1], places[after]
        part, which = _crossing(slack[a], slack[b])
        return float(change[a] + part * (change[b] - change[a])), which
    end = places[-1]
    inner = end - 1 if end else 1
    met = (slack[end] <= 2.0 * ROW_TOLERANCE) & (slack[inner] > 2.0 * ROW_TOLERANCE)
    return float(change[end]), int(np.argmax(met)) if met.any() else -1


def _straight(columns: Sequence[str], values: FloatArray, way: int = 1) -> FloatArray:
    """Return values with columns that run over decades as logarithms, or back."""
    decades = [k for k, name in enumerate(columns) if name.startswith(DECADES)]
    result = np.array(values, dtype=float)
    with np.errstate(divide="ignore", invalid="ignore"):
        changed = np.log if way > 0 else np.exp
        result[..., decades] = changed(result[..., decades])
    return result


def cloud(outcome: Outcome, shown: Sequence[str] = ()) -> FloatArray:
    """Return two columns at every trial that keeps all, (n, 2).

    `shown` are columns of the search; by default those of the front.

    Raises
    ------
    InputError
        If no front was asked for, or found.
    """
    front, wanted = outcome.front, outcome.task.front
    if front is None or wanted is None or not len(front.first):
        why = "none was asked for" if wanted is None else "no mix keeps all limits"
        raise InputError(f"there is no trade-off front to draw: {why}")
    columns = tuple(outcome.task.problem().columns)
    places = [columns.index(name) for name in shown or [name for name, _ in wanted]]
    found = []
    for trials in (outcome.found.trials, front.trials):
        good = keeping(outcome.found.goal, columns, trials.values)
        good &= trials.region != MOVED
        found.append(trials.values[good][:, places])
    pairs = np.vstack(found)
    return np.unique(pairs[np.isfinite(pairs).all(axis=1)], axis=0)
