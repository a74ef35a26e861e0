"""A found mix and what binds it: shadow prices, and which limit must give way."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

import numpy as np

from castsugar.arrays import FloatArray
from castsugar.errors import InputError
from castsugar.frozen import dataclass
from castsugar.limits import Limit
from castsugar.numerics import nonnegative_least_squares
from castsugar.optimize import multistart
from castsugar.optimize.multistart import (
    Effort,
    LocalOptimum,
    LocalOptions,
    choose,
    local_search,
)
from castsugar.optimize.problem import (
    MOVED,
    Ask,
    Goal,
    Judge,
    Ledger,
    Search,
    Trials,
    side_by_side,
)
from castsugar.optimize.region import Region
from castsugar.optimize.space import Space
from castsugar.optimize.trust_region import Stencils, TrustRegion

# ----------------------------------------------------------------------------
# The answer of a search: the mix, what holds it back, what would buy more.

#: Why a search is incomplete: Ctrl-C in it, or after it.
INTERRUPTED = "interrupted"
INTERRUPTED_AFTER = (
    "interrupted after the search, before all of it was looked at and confirmed"
)

#: A slope holds over a move if searching again differs by less than this share.
AGREEMENT = 0.1

#: How far a limit is loosened to say what that buys: share of its number; of a row of
#: the space, mass fraction.
LOOSER, POINT = 0.1, 0.01


@dataclass(frozen=True, slots=True, kw_only=True)
class Price:
    """What loosening a limit does to the best objective.

    In units of the objective per unit of the limit: for a limit on a column, as its
    number rises; for a row of the space, as it is relaxed.
    """

    #: The derivative, from the conditions of Karush, Kuhn and Tucker at the optimum.
    multiplier: float
    step: float  # how far the limit is loosened to say what that buys, in its unit
    #: By searching again with the limit loosened by `step`; NaN if not done.
    relaxed: float = math.nan
    #: Limits and rows that hold the mix back there, and did not before.
    then: tuple[str, ...] = ()
    #: The best there; empty if not searched. [mass fractions]
    mix: tuple[float, ...] = ()

    @property
    def rough(self) -> bool:
        """Say whether only the slope is known, not what the whole step buys."""
        return math.isnan(self.relaxed)

    @property
    def gain(self) -> float:
        """Return what the step changes, of the objective, as the number rises."""
        return self.step * (self.multiplier if self.rough else self.relaxed)

    @property
    def holds(self) -> bool:
        """Say whether the derivative holds over the whole step."""
        size = max(abs(self.multiplier), abs(self.relaxed))
        return abs(self.relaxed - self.multiplier) <= AGREEMENT * size


@dataclass(frozen=True, slots=True, kw_only=True)
class LimitState:
    """A limit at the best mix: value and slack in its unit; the price if it binds."""

    limit: Limit
    value: float
    slack: float
    binding: bool
    price: Price | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class RowState:
    """A row of the space that binds: a bound, ratio or purchase. [mass fraction]"""

    name: str
    slack: float
    price: Price | None = None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Runner:
    """A mix that is really different and nearly as good."""

    fractions: FloatArray  # (k,)
    choice: Mapping[str, str]
    objective: float
    slacks: Mapping[str, float]  # name of each limit to its slack
    distance: float  # share of the mix to exchange to get the best one
    #: Whether a local search ended here; else it is a trial of the lattice.
    polished: bool


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Relaxation:
    """A single limit that, moved to `value`, leaves a mix: this one."""

    limit: Limit
    value: float
    fractions: FloatArray
    choice: Mapping[str, str]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Found:
    """What a search found."""

    #: "optimal"; "infeasible" (the mix is the one that violates least); "incomplete"
    #: (stopped early, the best so far).
    status: str
    reason: str  # why it is incomplete
    goal: Goal
    ingredients: tuple[str, ...]
    choice: Mapping[str, str]  # slot to the alternative chosen
    fractions: FloatArray  # (k,)
    values: Mapping[str, float]  # column to value at the mix
    limits: tuple[LimitState, ...]
    rows: tuple[RowState, ...]  # those that bind
    #: What the prices leave of the objective's slope, as a share; NaN if not known.
    stationarity: float
    #: Largest violation of a limit, as a share of it (of its logarithm: difference).
    violation: float
    runners_up: tuple[Runner, ...]
    #: Infeasible only: limits of which each alone would do.
    relaxations: tuple[Relaxation, ...]
    trials: Trials  # everything that was evaluated
    batches: int  # calls of the problem
    seed: int
    kink: bool = False  # whether a jump of the objective's slope holds the mix
    #: Columns of the goal that are not computed just beyond the mix, where that holds
    #: it.
    edge: tuple[str, ...] = ()

    @property
    def objective(self) -> float:
        """Return the objective of the mix, in its unit."""
        return self.values[self.goal.objective]

    @property
    def recipe(self) -> dict[str, float]:
        """Return ingredient to mass fraction, without those that are 0."""
        pairs = zip(self.ingredients, self.fractions.tolist(), strict=True)
        return {name: share for name, share in pairs if share > 0.0}


# ----------------------------------------------------------------------------
# Shadow prices: what a unit of each limit buys, from slopes and by trying.

#: Scaled slack, and mass fraction, within which a limit or row binds; and within which
#: one with a price does: where the last hair gains nothing, a search ends before it.
BINDS, _HOLDS = 1e-6, 1e-4

#: Share of a branch, and of the slope by which branches differ, that make a kink.
_SHARE = 0.1

#: Reach of the wide look and radius of the one for slopes; first reach of the searches
#: with a moved limit, and the gain of the objective's size at which they end.
_WIDE, _LOOK, _RADIUS, _ENOUGH = 0.05, 3e-3, 0.2, 1e-5


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Multipliers:
    """Multipliers of scaled outputs at a mix."""

    limits: FloatArray  # (m,)
    #: Of the objective to minimise, per mass fraction, (rows of the region,).
    rows: FloatArray
    residual: float  # what is left of the slope, as a share of it
    #: Whether it takes more than one branch of the objective to balance it.
    kink: bool = False


def multipliers(
    region: Region, number: int, judge: Judge, fractions: FloatArray
) -> Search[Multipliers]:
    r"""Return the multipliers that balance the slopes best, none below 0.

    .. math:: \nabla F = \sum_j \lambda_j \nabla G_j - \sum_i \nu_i n_i

    over slacks G and rows n at hand. At a kink the slope of each branch has a share of
    its own; those of the objective sum to 1.
    """
    state = TrustRegion(
        region=region, judge=judge, z=region.coordinates(fractions), radius=_LOOK
    )
    none = np.zeros(len(judge.goal.limits)), np.zeros(len(region.limits))
    # The wide look tells how large slopes are, the narrow one whether there is a kink.
    wide, narrow = Stencils.plain(state.z, _WIDE), Stencils.sampling(state.z, _LOOK)
    slopes = (0, *range(len(wide), len(wide) + len(narrow.places)))
    points = region.mixes(np.vstack([wide.points, narrow.points]))
    answer = yield Ask(fractions=points, region=number, slopes=slopes)
    if not all(
        state.arrive(look, part)
        for look, part in zip((wide, narrow), answer.split(len(wide), 1), strict=True)
    ):
        return Multipliers(limits=none[0], rows=none[1], residual=np.nan)
    pieces = state.pieces if state.kinky else state.pieces[:1]
    seen = np.stack([piece.around(state.z, 1.0)[1] for piece in pieces])
    binding = np.flatnonzero(state.outputs[1:] <= _HOLDS)
    rows = state.rows
    close = np.flatnonzero(rows.limits - rows.normals @ state.z <= _HOLDS)
    columns = [seen[:, 0], -seen[:, 1 + binding].reshape(-1, region.dimension)]
    design = np.vstack([*columns, rows.normals[close]]).T
    size = max(float(np.abs(seen[:, 0]).max(initial=0.0)), 1e-12)
    shares = np.zeros(design.shape[1])
    shares[: len(pieces)] = 1e3 * size
    target = np.append(np.zeros(region.dimension), 1e3 * size)
    solved = nonnegative_least_squares(np.vstack([design, shares]), target)
    rest = float(np.abs(design @ solved).max(initial=0.0)) / size
    parts = np.split(solved, np.cumsum([len(pieces), len(pieces) * len(binding)]))
    of_limits, of_rows = none
    of_limits[binding] = parts[1].reshape(len(pieces), -1).sum(axis=0)
    of_rows[rows.places[close]] = parts[2] / rows.sizes[close]
    kink = len(pieces) > 1 and _one_is_not_enough(seen[:, 0], parts[0], size)
    return Multipliers(limits=of_limits, rows=of_rows, residual=rest, kink=kink)


def _one_is_not_enough(slopes: FloatArray, shares: FloatArray, size: float) -> bool:
    """Say whether branches of the objective that differ hold each other."""
    used = slopes[shares > _SHARE]
    return bool(np.ptp(used, axis=0).max(initial=0.0) > _SHARE * size)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Binding:
    """A limit (`is_row` False) or row that binds, and how its price is counted.

    A move of `step` units, each `unit` in the unit of the limit, loosens it.
    """

    is_row: bool
    index: int
    multiplier: float
    unit: float
    sign: float
    step: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Trier:
    """Prices of what binds: multipliers, and a search with each limit loosened."""

    #: Of the search that found the best mix.
    ledger: Ledger
    judge: Judge
    space: Space
    region: Region  # where it lies
    number: int  # of the region
    #: Of the best mix: columns, and the objective scaled, to be minimised.
    fractions: FloatArray
    values: FloatArray
    objective: float
    again: bool = True  # whether to search again; else prices are multipliers alone

    def prices(self, found: Multipliers) -> tuple[dict[int, Price], dict[int, Price]]:
        """Return prices by number of the limit, and by number of the region's row."""
        binding = [*self._limits(found), *self._rows(found)]
        prices = {
            one: Price(
                multiplier=-self._per_objective(one.sign * one.multiplier / one.unit),
                step=one.step * one.unit,
            )
            for one in binding
        }
        if self.again:
            prices |= self._tried(binding, prices)
        limits = {one.index: p for one, p in prices.items() if not one.is_row}
        rows = {one.index: p for one, p in prices.items() if one.is_row}
        return limits, rows

    def _limits(self, found: Multipliers) -> Iterable[_Binding]:
        slack = self.judge.outputs(self.values)[1:]
        binds = (slack <= BINDS) | (found.limits > 0.0)
        for index in np.flatnonzero(binds).tolist():
            limit = self.judge.goal.limits[index]
            size = float(self.judge.scales[index])
            unit = limit.value if limit.logarithmic else size
            yield _Binding(
                is_row=False,
                index=index,
                multiplier=float(found.limits[index]),
                unit=unit,
                sign=limit.sign,
                step=LOOSER * (abs(limit.value) or size) / unit,
            )

    def _rows(self, found: Multipliers) -> Iterable[_Binding]:
        scope = {row.name for row in self.space.scope}
        for index in np.flatnonzero(found.rows > 0.0).tolist():
            if self.region.row_names[index] in scope:
                continue
            yield _Binding(
                is_row=True,
                index=index,
                multiplier=float(found.rows[index]),
                unit=1.0,
                sign=1.0,
                step=POINT,
            )

    def _tried(
        self, binding: Sequence[_Binding], prices: Mapping[_Binding, Price]
    ) -> dict[_Binding, Price]:
        """Search again with each limit loosened by its step."""
        moved = {one: self._moved(one) for one in binding}
        known = {one: made for one, made in moved.items() if made is not None}
        searches = [self._search(*made) for made in known.values()]
        ends = side_by_side(self.ledger, searches)
        found = {}
        for (one, (region, _, judge)), end in zip(known.items(), ends, strict=True):
            if not end.violation <= BINDS:
                continue
            # The mix that is best now keeps a limit that is looser, too.
            gained = min(end.objective - self.objective, 0.0)
            found[one] = replace(
                prices[one],
                relaxed=self._per_objective(gained / (one.sign * one.step * one.unit)),
                then=self._holding(region, judge, end.fractions, end.values),
                mix=tuple(end.fractions.tolist()),
            )
        return found

    def _holding(
        self, region: Region, judge: Judge, fractions: FloatArray, values: FloatArray
    ) -> tuple[str, ...]:
        """Return what holds a mix back that does not hold the best one."""
        before = self.judge.outputs(self.values)[1:] <= _HOLDS
        after = judge.outputs(values)[1:] <= _HOLDS
        new = np.flatnonzero(after & ~before).tolist()
        close = set(self._close(self.region, self.fractions))
        return (
            *(judge.goal.limits[index].name for index in new),
            *(n for n in self._close(region, fractions) if n not in close),
        )

    @staticmethod
    def _close(region: Region, fractions: FloatArray) -> list[str]:
        """Return the rows of a region that a mix lies at."""
        places = np.flatnonzero(region.slack(fractions) <= _HOLDS)
        return [region.row_names[place] for place in places]

    def _moved(self, one: _Binding) -> tuple[Region, int, Judge] | None:
        """Return region, its number and judge with a limit loosened."""
        if not one.is_row:
            return self.region, self.number, self._moved_judge(one)
        region = self._moved_region(one)
        return None if region is None else (region, MOVED, self.judge)

    def _search(
        self, region: Region, number: int, judge: Judge
    ) -> Search[LocalOptimum]:
        """Return a search from the best mix known under the loosened limit."""
        start = self.fractions
        if number != MOVED:
            trials, order = self.ledger.ranked(judge)
            own = order[trials.region[order] == number]
            start = trials.fractions[own[0]]
        options = LocalOptions(radius=_RADIUS, gain=_ENOUGH, confirm=False)
        return local_search(region, number, judge, start, options=options)

    def _moved_judge(self, one: _Binding) -> Judge:
        goal = self.judge.goal
        limits = list(goal.limits)
        value = limits[one.index].value + one.sign * one.step * one.unit
        limits[one.index] = replace(limits[one.index], value=value)
        return replace(self.judge, goal=replace(goal, limits=tuple(limits)))

    def _moved_region(self, one: _Binding) -> Region | None:
        name = self.region.row_names[one.index]
        if name not in {row.name for row in self.space.movable_rows()}:
            return None
        try:
            regions = self.space.moved(name, one.step).regions()
        except InputError:
            return None
        same = [r for r in regions if r.choice == self.region.choice]
        return same[0] if same else None

    def _per_objective(self, scaled: float) -> float:
        """Turn a change of what is minimised into one of the objective."""
        sign = -1.0 if self.judge.goal.maximise else 1.0
        return float(sign * scaled * self.judge.size)


# ----------------------------------------------------------------------------
# Nothing is feasible: which single limit must move, and how far.

#: Local searches for each limit.
_STARTS = 3


def relaxations(ledger: Ledger, judge: Judge, effort: Effort) -> tuple[Relaxation, ...]:
    """Return the limits of which each alone, moved enough, leaves a mix.

    For each: its column becomes the objective and the other limits stay. A limit that
    is kept already, or whose removal does not suffice, has none. The least change
    first, as a share of the limit.
    """
    judges = [_judge(ledger, judge.goal, index) for index in range(len(judge.scales))]
    least = multistart.best_start(ledger, judge)
    searches = []
    for each in judges:
        starts = choose(ledger.trials(), each, ledger.regions, effort.starts or _STARTS)
        for start in [least, *starts]:
            region = ledger.regions[start.region]
            searches.append(local_search(region, start.region, each, start.fractions))
    side_by_side(ledger, searches)
    found = [
        _relaxation(ledger, judge, each, index) for index, each in enumerate(judges)
    ]
    ranked = sorted((f for f in found if f is not None), key=lambda pair: pair[0])
    return tuple(relaxation for _, relaxation in ranked)


def _judge(ledger: Ledger, goal: Goal, index: int) -> Judge:
    """Return the judge of the goal to move one limit least."""
    limit = goal.limits[index]
    others = tuple(one for one in goal.limits if one is not limit)
    wish = Goal(objective=limit.column, maximise=limit.sense == ">=", limits=others)
    return multistart.judge_of(ledger, wish)


def _relaxation(
    ledger: Ledger, judge: Judge, own: Judge, index: int
) -> tuple[float, Relaxation] | None:
    """Return scaled change and relaxation of one limit, or None if it does not do."""
    trials, order = ledger.ranked(own)
    violation = own.standing(trials.values[order[0]])[1]
    if float(violation) > 0.0:
        return None
    row = order[0]
    limit = judge.goal.limits[index]
    change = -float(judge.outputs(trials.values[row])[1 + index])
    value = float(trials.values[row][own.places[0]])
    return change, Relaxation(
        limit=limit,
        value=value,
        fractions=trials.fractions[row],
        choice=ledger.regions[trials.region[row]].choice,
    )
