"""Local searches from many starts, side by side: the stages of every search."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import field

import numpy as np
from numpy.typing import NDArray

from castsugar.arrays import FloatArray
from castsugar.errors import ConvergenceError, InputError
from castsugar.frozen import dataclass
from castsugar.optimize.problem import (
    Answer,
    Ask,
    Goal,
    Judge,
    Ledger,
    Search,
    Trials,
    merit,
    side_by_side,
)
from castsugar.optimize.region import Region, fill
from castsugar.optimize.trust_region import (
    Stencils,
    Surroundings,
    TrustRegion,
    best_step,
)

# ----------------------------------------------------------------------------
# Which trials to search on from: the best of their neighbourhoods.

#: Trials of a region that are looked at, from the best down.
_LOOKED_AT = 400

#: Weight of a violation for starts that are good but just beyond a limit.
_LENIENT = 3.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Start:
    """A mix to search on from, and the number of its region."""

    fractions: FloatArray
    region: int


def apart(one: FloatArray, others: FloatArray) -> FloatArray:
    """Return how different mixes are: the share of the mix that must be exchanged.

    Half the sum of the absolute differences of fractions, 0 to 1.

    Examples
    --------
    >>> apart(np.array([0.6, 0.4, 0.0]), np.array([[0.6, 0.2, 0.2]])).round(6).tolist()
    [0.2]
    """
    return 0.5 * np.abs(others - one).sum(axis=-1)


def choose(
    trials: Trials, judge: Judge, regions: Sequence[Region], count: int
) -> list[Start]:
    """Return starts: in each region the local bests, first by limits, then leniently.

    Parameters
    ----------
    count : int
        In all; but at least one for each of the regions that hold the best trials.
    """
    objective, violation = judge.standing(trials.values)
    strict = np.lexsort((objective, violation))
    with np.errstate(invalid="ignore"):
        merit = objective + _LENIENT * violation
    known = np.isfinite(merit)
    lenient = np.argsort(np.where(known, merit, np.inf), kind="stable")
    each = max(1, -(-count // len(regions)))
    found: list[Start] = []
    for number in _promising(trials, strict, len(regions), count):
        own = (trials.region == number) & known
        space = _spacing(regions[number], int(own.sum()))
        chosen: list[int] = []
        for order, most in ((strict, each - each // 3), (lenient, each)):
            rows = order[own[order]]
            chosen += _local_bests(trials.fractions, rows, space, most, chosen)
        found += [Start(fractions=trials.fractions[i], region=number) for i in chosen]
    return found


def _promising(
    trials: Trials, strict: NDArray[np.int64], regions: int, count: int
) -> list[int]:
    """Return regions by their best trial, not many more than starts."""
    ordered = list(dict.fromkeys(trials.region[strict].tolist()))
    return [r for r in ordered if 0 <= r < regions][: max(count, 8)]


def _spacing(region: Region, count: int) -> float:
    """Return a distance of a few trials, if they fill the region evenly."""
    if region.dimension == 0 or count == 0:
        return 1.0
    wide = float(apart(region.centre, region.corners).max(initial=0.0))
    return float(1.5 * wide * count ** (-1.0 / region.dimension))


def _local_bests(
    fractions: FloatArray,
    rows: NDArray[np.int64],
    space: float,
    most: int,
    chosen: Sequence[int],
) -> list[int]:
    """Return rows, best first, that no better row is near to, up to `most` in all."""
    looked = rows[:_LOOKED_AT]
    own = fractions[looked]
    near = np.tril(apart(own[:, None], own) <= space, -1).any(axis=1)
    near |= (apart(own[:, None], fractions[list(chosen)]) <= space).any(axis=1)
    return looked[~near][: max(most - len(chosen), 0)].tolist()


# ----------------------------------------------------------------------------
# Searches of the same goal that know of each other: who need not go on.

#: Two searches this close are in the same basin. [share of the mix]
_CLOSE = 0.01

#: Steps after which a search may be behind, and how many times the expected gain of its
#: next step it may still hope for.
_PATIENCE, _HOPE = 8, 100.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Incumbent:
    """Where a search stands."""

    region: int
    fractions: FloatArray  # (k,)
    #: Scaled, to be minimised.
    violation: float
    objective: float
    steps: int  # made so far
    gain: float  # expected of the next


@dataclass(slots=True, kw_only=True)
class Incumbents:
    """Where each search stands, and the best that has come to its end."""

    stands: dict[int, Incumbent] = field(default_factory=dict)
    best: float = np.inf

    def enter(self) -> int:
        """Return the number of a new search."""
        return len(self.stands)

    def needless(self, number: int, stand: Incumbent) -> bool:
        """Write down where a search stands; say whether it need not go on.

        It need not where a better one is in the same basin, or where an ended one is so
        far ahead that the next steps cannot reach it.
        """
        self.stands[number] = stand
        own = (stand.violation, stand.objective, number)
        for other, rival in self.stands.items():
            ahead = (rival.violation, rival.objective, other) < own
            if not ahead or rival.region != stand.region or other == number:
                continue
            if float(apart(stand.fractions, rival.fractions)) < _CLOSE:
                return True
        hoped = stand.objective - _HOPE * max(stand.gain, 0.0)
        return stand.steps > _PATIENCE and hoped > self.best

    def end(self, violation: float, objective: float) -> None:
        """Write down where a search ended."""
        if violation <= 0.0:
            self.best = min(self.best, objective)


# ----------------------------------------------------------------------------
# From a good mix to the best one nearby: models of columns, steps within reach.
#
# A trust-region method on quadratic models (A. R. Conn, K. Scheinberg & L. N. Vicente,
# *Introduction to Derivative-Free Optimization*, SIAM 2009, from memory). The points
# for the next model are asked for around the expected step, in the batch that tries it.
# Where columns have kinks, models from several places nearby count together, so that a
# ridge between two branches is seen from both sides.

#: Reach of a plain look: widest and least. [coordinates]
_WIDEST, _LEAST = 0.05, 1e-3

#: Reach of the look that confirms an end.
_CONFIRM = 1e-2

#: A step or reach below this ends the search. [coordinates]
_DONE = 1e-8

#: An expected gain below this, of the objective's size, ends it too.
_LEAST_GAIN = 1e-11

#: Most steps.
_STEPS = 40


@dataclass(frozen=True, slots=True, kw_only=True)
class LocalOptions:
    """How a search goes on."""

    radius: float = 0.1  # reach of the first step [coordinates of the region]
    #: Expected gain, of the objective's size, below which it ends.
    gain: float = _LEAST_GAIN
    confirm: bool = True  # whether an end is confirmed by a look from several places
    #: Where searches of the same goal write what they reached: one that is needless
    #: gives up.
    incumbents: Incumbents | None = None


#: The options of a search on its own.
ALONE = LocalOptions()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LocalOptimum:
    """Where a search ended."""

    fractions: FloatArray  # (k,)
    values: FloatArray  # (c,)
    region: int
    #: objective, violation: as the judge sees them.
    objective: float
    violation: float
    steps: int
    converged: bool


def local_search(
    region: Region,
    number: int,
    judge: Judge,
    start: FloatArray,
    *,
    options: LocalOptions = ALONE,
) -> Search[LocalOptimum]:
    """Search the best mix near a start; a generator for :func:`side_by_side`.

    Parameters
    ----------
    number : int
        Of the region in the ledger.
    start : ndarray, shape (k,)
    """
    z = region.coordinates(region.mixes(region.coordinates(start)))
    state = TrustRegion(region=region, judge=judge, z=z, radius=options.radius)
    look = Stencils.plain(z, min(options.radius, _WIDEST))
    done = not (yield from _look(state, number, look)) or region.dimension == 0
    while not done and state.steps < _STEPS:
        state.steps += 1
        done = yield from _step(state, number, options)
    objective, violation = merit(state.outputs)
    if options.incumbents is not None and not state.gave_up:
        options.incumbents.end(float(violation), float(objective))
    return LocalOptimum(
        fractions=region.mixes(state.z),
        values=state.values,
        region=number,
        objective=float(objective),
        violation=float(violation),
        steps=state.steps,
        converged=done and bool(state.pieces) and not state.gave_up,
    )


def _ask(state: TrustRegion, number: int, points: FloatArray, slopes: range) -> Ask:
    return Ask(
        fractions=state.region.mixes(points), region=number, slopes=tuple(slopes)
    )


def _look(state: TrustRegion, number: int, look: Stencils) -> Search[bool]:
    """Stand at the centre of a look."""
    answer = yield _ask(state, number, look.points, range(len(look.places)))
    return state.arrive(look, answer)


def _step(state: TrustRegion, number: int, options: LocalOptions) -> Search[bool]:
    """Try the best steps of two reaches; return whether the search is at its end."""
    near = state.surroundings(state.radius)
    full = best_step(near)
    length = float(np.abs(full).max(initial=0.0)) * state.radius
    gain = _expected_gain(state, near, full)
    if _gives_up(state, number, options, gain):
        return True
    # What is beyond a limit by a hair still wants a step to restore it, however short.
    kept = merit(state.outputs)[1] <= 0.0
    short, least = (_DONE, options.gain) if kept else (1e-3 * _DONE, _LEAST_GAIN)
    if length < short or gain < least:
        return (not options.confirm) or (yield from _confirm(state, number))
    look = _next_look(state, state.z + state.radius * full, length)
    tries = np.vstack([_other_steps(state, near, full), look.points])
    start = len(tries) - len(look)
    slopes = range(start, start + len(look.places))
    answer = yield _ask(state, number, tries, slopes)
    merits = state.merit(state.judge.outputs(answer.values))
    before = float(state.merit(state.outputs))
    best = int(np.argmin(merits))
    if not merits[best] < before - 1e-14 * max(abs(before), 1.0):
        return (yield from _disappointed(state, number, length))
    there = Answer(values=answer.values[start:], slopes=answer.slopes)
    ratio = (before - merits[start]) / max(gain, 1e-300)
    # A lucky point of the look is worth a detour only where the step itself failed.
    good = best == start or ratio > 0.3 or (ratio > 0.0 and best > start)
    if good and state.arrive(look, there):
        _stretch(state, length, ratio)
        return False
    if best < start:
        state.radius *= (0.25, 0.5)[best]
    yield from _look(state, number, _next_look(state, tries[best], state.radius))
    return False


def _gives_up(
    state: TrustRegion, number: int, options: LocalOptions, gain: float
) -> bool:
    """Say whether another search of the same goal makes this one needless."""
    if options.incumbents is None:
        return False
    objective, violation = merit(state.outputs)
    stand = Incumbent(
        region=number,
        fractions=state.region.mixes(state.z),
        violation=float(violation),
        objective=float(objective),
        steps=state.steps,
        gain=gain,
    )
    if state.entry is None:
        state.entry = options.incumbents.enter()
    state.gave_up = options.incumbents.needless(state.entry, stand)
    return state.gave_up


def _other_steps(
    state: TrustRegion, near: Surroundings, full: FloatArray
) -> FloatArray:
    """Return a step of a quarter of the reach, and one by one model or half as far."""
    inner = 0.25 * best_step(state.surroundings(0.25 * state.radius))
    other = best_step(near.first()) if len(state.pieces) > 1 else 0.5 * full
    return state.z + state.radius * np.stack([inner, other])


def _next_look(state: TrustRegion, z: FloatArray, length: float) -> Stencils:
    """Return how to look around the next place."""
    if state.kinky:
        return Stencils.sampling(z, float(np.clip(length, 1e-6, _CONFIRM)))
    return Stencils.plain(z, float(np.clip(0.2 * length, _LEAST, _WIDEST)))


def _expected_gain(state: TrustRegion, near: Surroundings, w: FloatArray) -> float:
    """Return what a step gains by the models; raise the weight if it must pay."""
    objective, violation = near.standing(np.zeros_like(w))
    after, left = near.standing(w)
    restored = violation - left
    if restored > 1e-12 and after > objective:
        paying = 2.0 * (after - objective) / restored
        state.weight = min(max(state.weight, paying), 1e8)
    return (objective - after) + state.weight * restored


def _confirm(state: TrustRegion, number: int) -> Search[bool]:
    """Where the models call the mix best: look from several places nearby.

    A kink makes a smooth model believe in an optimum that is none.
    """
    least = state.reach <= 0.1 * _CONFIRM
    if len(state.pieces) > 1 and (least or not state.kinky):
        return True
    smaller = 0.1 * state.reach / 0.03 if len(state.pieces) > 1 else _CONFIRM
    yield from _look(state, number, Stencils.sampling(state.z, min(smaller, _CONFIRM)))
    if not state.kinky:
        near = state.surroundings(_CONFIRM)
        if _expected_gain(state, near, best_step(near)) < 10.0 * _LEAST_GAIN:
            return True
    state.radius = _CONFIRM
    return False


def _disappointed(state: TrustRegion, number: int, length: float) -> Search[bool]:
    """Nothing better was found: step less far, and look from several places."""
    state.radius = 0.25 * min(state.radius, length)
    if state.radius < _DONE:
        return True
    yield from _look(state, number, Stencils.sampling(state.z, state.radius))
    return False


def _stretch(state: TrustRegion, length: float, ratio: float) -> None:
    """Choose the next reach after a success."""
    if ratio < 0.3:
        state.radius = 0.5 * length
    elif length > 0.9 * state.radius:
        state.radius = min(2.0 * state.radius, 1.0)
    state.radius = max(state.radius, 4.0 * _DONE)


# ----------------------------------------------------------------------------
# The stages that every search shares: lattice, local searches, last look.

#: Mixes of the lattice in one batch.
_BATCH = 1024

#: Gain of the last look, of the objective's size, for which it is searched on.
_WORTH = 1e-9

#: Most last looks.
_LOOKS = 3

#: First reach of a search that goes on from a last look.
_NEAR = 0.01


@dataclass(frozen=True, slots=True, kw_only=True)
class Effort:
    """How hard to search.

    Attributes
    ----------
    seed : int
    budget : int
        Most evaluations.
    points : int, optional
        Lattice points, in all regions together.
    step : float, optional
        Of the lattice, instead. [mass fraction]
    starts : int, optional
        Local searches.
    prices : bool
        Whether shadow prices are tried by searching again.
    apart : float
        Share of the mix that runners-up differ by, at least.
    runners_up : int
        Most of them.
    also : tuple of tuples of float
        Further mixes to begin with, such as those that were made; what lies outside
        the space is left out. [mass fractions]

    Raises
    ------
    InputError
        For no evaluation, point or start, a step or a share outside 0 to 1.

    Examples
    --------
    >>> Effort(seed=7, budget=2_000).runners_up
    3
    """

    seed: int = 0
    budget: int = 50_000
    points: int | None = None
    step: float | None = None
    starts: int | None = None
    prices: bool = True
    apart: float = 0.05
    runners_up: int = 3
    also: tuple[tuple[float, ...], ...] = ()

    def __post_init__(self) -> None:
        """Check the numbers."""
        for name in ("budget", "points", "starts"):
            value = getattr(self, name)
            if value is not None and value < 1:
                raise InputError(f"{name} is {value}; it must be 1 or more")
        if self.step is not None and not 0.0 < self.step <= 1.0:
            raise InputError(f"lattice step is {self.step:g}; allowed: above 0 to 1")
        if not 0.0 < self.apart < 1.0:
            raise InputError(f"apart is {self.apart:g}; allowed: between 0 and 1")


def first_samples(ledger: Ledger, effort: Effort) -> None:
    """Evaluate the lattice of every region; its order is random after the corners."""
    regions = ledger.regions
    freedom = max(region.dimension for region in regions)
    total = effort.points or max(200 * freedom, 100 * freedom**2)
    each = max(total // len(regions), 50)
    points, numbers = [], []
    for number, region in enumerate(regions):
        filled = fill(region, each, effort.seed, step=effort.step)
        if effort.also:
            known = np.array(effort.also)
            filled = np.vstack([filled, known[region.contains(known)]])
        points.append(filled)
        numbers.append(np.full(len(filled), number))
    fractions, owner = np.vstack(points), np.concatenate(numbers)
    # A search that is stopped early has then seen all of the space.
    order = np.random.default_rng([effort.seed, 12]).permutation(len(owner))
    for start in range(0, len(order), _BATCH):
        part = order[start : start + _BATCH]
        ledger.ask(fractions[part], owner[part])


def judge_of(ledger: Ledger, goal: Goal) -> Judge:
    """Return the judge of a goal, with sizes from the lattice."""
    trials = ledger.trials()
    seen = trials.values[[stage == "lattice" for stage in trials.stage]]
    return Judge.of(goal, ledger.problem.columns, seen)


def uncomputed(ledger: Ledger, goal: Goal) -> ConvergenceError:
    """Return the error of a search in which no mix could be computed."""
    trials, names = ledger.trials(), list(ledger.problem.columns)
    needed = (goal.objective, *(limit.column for limit in goal.limits))
    never = [
        name
        for name in dict.fromkeys(needed)
        if name in names and np.isnan(trials.values[:, names.index(name)]).all()
    ]
    told = f" Never computed: {', '.join(never)}." if never else ""
    return ConvergenceError(
        f"none of the {len(trials)} mixes tried could be computed for "
        f"{goal.objective} and its limits.{told} castsugar evaluate says why of one "
        "of them; leave out that limit, or what has no model"
    )


def local_searches(ledger: Ledger, judge: Judge, effort: Effort) -> list[LocalOptimum]:
    """Search from the best distinct trials; return where the searches ended."""
    freedom = max(region.dimension for region in ledger.regions)
    count = effort.starts or 1 + 3 * freedom // 2
    starts = choose(ledger.trials(), judge, ledger.regions, count)
    if not starts:
        raise uncomputed(ledger, judge.goal)
    ledger.stage = "polish"
    options = LocalOptions(incumbents=Incumbents())
    return side_by_side(ledger, [_from(ledger, judge, s, options) for s in starts])


def _from(
    ledger: Ledger, judge: Judge, start: Start, options: LocalOptions
) -> Search[LocalOptimum]:
    region = ledger.regions[start.region]
    return local_search(region, start.region, judge, start.fractions, options=options)


def confirm_optimum(ledger: Ledger, judge: Judge, effort: Effort) -> list[LocalOptimum]:
    """Look around the best mix once more, and search on if that helps."""
    ends: list[LocalOptimum] = []
    for _ in range(_LOOKS):
        before = best_start(ledger, judge)
        standing = best_merit(ledger, judge)
        ledger.stage = "poll"
        region = ledger.regions[before.region]
        if region.dimension == 0:
            break
        look = poll(region, before.region, judge, before.fractions, effort.seed)
        side_by_side(ledger, [look])
        if not _better(best_merit(ledger, judge), standing, _WORTH):
            break
        ledger.stage = "polish"
        start = best_start(ledger, judge)
        ends += side_by_side(
            ledger, [_from(ledger, judge, start, LocalOptions(radius=_NEAR))]
        )
    return ends


def best_merit(ledger: Ledger, judge: Judge) -> tuple[float, float]:
    """Return violation and scaled objective of the best trial inside the space."""
    trials, order = ledger.ranked(judge)
    objective, violation = judge.standing(trials.values[order[:1]])
    return float(violation[0]), float(objective[0])


def best_start(ledger: Ledger, judge: Judge) -> Start:
    """Return the best trial inside the space."""
    trials, order = ledger.ranked(judge)
    row = order[0]
    return Start(fractions=trials.fractions[row], region=int(trials.region[row]))


def _better(new: tuple[float, float], old: tuple[float, float], worth: float) -> bool:
    """Say whether the gain is worth a search."""
    if old[0] > 0.0:
        return new[0] < old[0] * (1.0 - 1e-6)
    return new[1] < old[1] - worth


# ----------------------------------------------------------------------------
# A last look around: does any step in any direction, large or small, help?
#
# A pattern search (V. Torczon, SIAM J. Optim. 7 (1997) 1, from memory) whose directions
# lead to the corners of the region, which span every feasible direction, and to random
# mixes. All sizes of step are asked for in one batch.

#: Steps, as shares of the way to a corner.
_SHARES = (0.3, 0.1, 0.03, 0.01, 1e-3, 1e-4, 1e-5)

#: Most corners and random mixes to step towards; most rounds.
_CORNERS, _RANDOM, _ROUNDS = 24, 12, 8


def poll(
    region: Region, number: int, judge: Judge, start: FloatArray, seed: int
) -> Search[FloatArray]:
    """Step in all directions as long as that helps; return the mix where it ends.

    A generator for :func:`castsugar.optimize.problem.side_by_side`.
    """
    rng = np.random.default_rng([seed, 13])
    best = start
    standing: tuple[float, float] | None = None
    for _ in range(_ROUNDS):
        points = np.vstack([best, _around(region, best, rng)])
        answer = yield Ask(fractions=points, region=number)
        objective, violation = judge.standing(answer.values)
        if standing is None:
            standing = float(violation[0]), float(objective[0])
        row = int(np.lexsort((objective, violation))[0])
        reached = float(violation[row]), float(objective[row])
        if not reached < standing or reached[1] > standing[1] - 1e-10 > reached[0]:
            return best
        best, standing = points[row], reached
    return best


def _around(region: Region, best: FloatArray, rng: np.random.Generator) -> FloatArray:
    """Return mixes in all directions, at all sizes of step."""
    targets = region.corners
    if len(targets) > _CORNERS:
        targets = targets[rng.choice(len(targets), _CORNERS, replace=False)]
    shares = rng.dirichlet(np.ones(len(region.corners)), _RANDOM)
    targets = np.vstack([targets, shares @ region.corners])
    ways = targets - best
    return np.vstack([best + share * ways for share in _SHARES])
