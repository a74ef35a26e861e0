"""What to burn next: strands of a new batch, strands of a kept one, or a firing."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from castsugar.arrays import BoolArray, FloatArray
from castsugar.costs import FILMED, FIRED, FURTHER, NEW_BATCH, Costs
from castsugar.errors import InputError
from castsugar.frozen import dataclass
from castsugar.kitchen import foresight
from castsugar.limits import Limit
from castsugar.motor import scatter
from castsugar.motor.burn_evidence import (
    FIRING,
    STRANDS,
    Burned,
    Places,
    coordinates,
    places_of,
)
from castsugar.motor.burn_model import NEXT, SAME, Asked, BurnModel
from castsugar.motor.burn_widths import Widths
from castsugar.motor.pressure_doubt import BatchScatter, batch_scatter
from castsugar.motor.pressure_table import differs, own_of
from castsugar.optimize.multistart import apart
from castsugar.optimize.rounding import whole_percents
from castsugar.optimize.task import TableProblem, Task
from castsugar.optimize.value_of_burning import Stakes, most_telling
from castsugar.special import ndtri

# ----------------------------------------------------------------------------
# Mixes of a space that can be weighed and keep what the burn law does not decide.

_PEAK, _P95 = "peak_pressure_MPa", "peak_pressure_p95_MPa"
_MARGIN = "pressure_margin_percent"
_SUPPLY = ("density_kg_m3", "characteristic_velocity_m_s")
_CASTING = ("density_ratio", "density_ratio_u")

#: Columns that the burn law decides.
_OF_THE_BURN_LAW = (_PEAK, _P95, _MARGIN)

#: Mixes of all regions together, about, and at most so many times as many.
_COUNT, _MOST = 120, 2

#: Fewer than this share of them that keep the limits: look at so many times more.
_FEW, _FINER = 0.2, 6

#: From here on a pressure counts as none [MPa] (as in the motor columns).
_BEYOND = 1e3

Recipe = Mapping[str, float]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Candidates:
    """Mixes to burn, and to be certain about."""

    #: Ingredient to mass fraction as weighed, in whole percents where they fit.
    recipes: tuple[Recipe, ...]
    fractions: FloatArray  # the same in the columns of the space, (n, k)
    #: Whether they keep the limits that the burn law does not decide; False: no mix
    #: looked at does, and these are all of them.
    kept: bool
    looked_at: int
    #: Their columns; with a motor those of objective, supply and pressure, (n,).
    values: Mapping[str, FloatArray]

    def pressures(self, column: str) -> FloatArray:
        """Return a column of pressures, (n,); NaN where there is none. [Pa]"""
        known = self.values.get(column, np.full(len(self.fractions), np.nan))
        return np.asarray(
            np.where((known > 0.0) & (known < _BEYOND), 1e6 * known, np.nan)
        )


def feasible_mixes(task: Task) -> Candidates:
    """Return mixes that fill the space of a task and keep its limits.

    Corners, edge midpoints, centre and a lattice, each as the nearest recipe in whole
    percents. Limits on pressure and margin are left out.

    Raises
    ------
    InputError
        If no mix is in the space.
    """
    return mixes_at_stake(task)[0]


def mixes_at_stake(task: Task) -> tuple[Candidates, Candidates]:
    """Return :func:`feasible_mixes`, and all that only the kitchen's draws may refuse.

    The second hold the first; `kept` of them: whether any keeps the other limits.
    """
    for count in (_COUNT, _FINER * _COUNT):
        mixes = whole_percents(task.space, count, task.effort.seed)
        kept, besides, values = _judged(task, mixes)
        if kept.sum() >= _FEW * len(mixes):
            break
    chosen, more = _some(kept), _some(besides)
    both = np.union1d(chosen, more) if kept.any() else more
    names = task.space.columns

    def of(rows: NDArray[np.intp], any_kept: bool) -> Candidates:
        return Candidates(
            recipes=tuple(
                {n: x for n, x in zip(names, mix, strict=True) if x > 0.0}
                for mix in mixes[rows].tolist()
            ),
            fractions=mixes[rows],
            kept=any_kept,
            looked_at=len(mixes),
            values={name: column[rows] for name, column in values.items()},
        )

    return of(chosen, bool(kept.any())), of(both, bool(besides.any()))


def _some(kept: BoolArray) -> NDArray[np.intp]:
    """Return rows that are kept, not too many; of all if none is."""
    rows = np.flatnonzero(kept if kept.any() else np.ones_like(kept))
    return rows[:: math.ceil(len(rows) / (_MOST * _COUNT))]


def of_the_kitchen(task: Task) -> tuple[Limit, ...]:
    """Return the limits of a task that the draws of its kitchen decide."""
    if task.settings.kitchen is None:
        return ()
    limits = (limit for r in task.requirements for limit in r.limits())
    return tuple(limit for limit in limits if limit.key in foresight.DRAWN)


def _judged(
    task: Task, mixes: FloatArray
) -> tuple[BoolArray, BoolArray, dict[str, FloatArray]]:
    """Return which mixes keep the limits, which all but the kitchen's; their columns.

    Limits that the burn law decides are left out.
    """
    asked = [r for r in task.requirements if r.column not in _OF_THE_BURN_LAW]
    wanted, weights = [r.column for r in asked], {}
    if task.settings.motor is not None or task.settings.kitchen is not None:
        weights = dict(task.weights)
        wanted += weights or [task.objective]
    if task.settings.motor is not None:
        wanted += [*_SUPPLY, *_CASTING, _PEAK, _P95]
    kept = np.ones(len(mixes), dtype=bool)
    besides = kept.copy()
    if not wanted:
        return kept, besides, {}
    problem = TableProblem(
        settings=task.settings,
        wanted=tuple(dict.fromkeys(wanted)),
        chances=tuple(dict.fromkeys(c for r in asked for c in r.chances())),
        weights=weights,
        wishes=task.wishes,
    )
    found = dict(zip(problem.columns, problem.evaluate(mixes).T, strict=True))
    drawn = of_the_kitchen(task)
    for limit in (limit for r in asked for limit in r.limits()):
        keeps = limit.slack(found[limit.column]) >= 0.0
        kept &= keeps
        besides &= keeps | (limit in drawn)
    return kept, besides, found


def order_of_work(count: int, seed: int) -> tuple[int, ...]:
    """Return a random order of so many pours, from 0; a seed makes it again.

    So that what drifts over a day is not mistaken for the mix (R. A. Fisher, *The
    Design of Experiments*, 1935, from memory).

    Examples
    --------
    >>> sorted(order_of_work(4, 1)), order_of_work(4, 1) == order_of_work(4, 1)
    ([0, 1, 2, 3], True)
    """
    return tuple(np.random.default_rng([seed, 31]).permutation(count).tolist())


# ----------------------------------------------------------------------------
# At which two pressures strands burn, and what the motor must stay below.

#: Strands at each of two pressures: 2 to 4 of a batch are enough, as batches differ by
#: more than strands do.
STRANDS_EACH = 2

#: One pressure is so many times the other. Ours: it shows an exponent, near the motor.
_RATIO = 2.0

#: The chance to stay below a limit where none is stated.
_CHANCE = 0.95


@dataclass(frozen=True, slots=True, kw_only=True)
class StrandPlan:
    """Strands to burn of a batch: :data:`STRANDS_EACH` at each of two pressures."""

    #: Absolute. [Pa]
    low: float
    high: float
    #: What a peak in the motor must stay below [Pa], and how surely; infinite without
    #: case and limit.
    limit: float
    chance: float
    #: Whether the pressures are around those of the motor; False: that of the search.
    from_motor: bool

    @property
    def expected(self) -> float:
        """Return the pressure in the middle. [Pa]"""
        return math.sqrt(self.low * self.high)

    @property
    def aimed(self) -> float:
        """Return the pressure at which rates are to be known: of the limit. [Pa]"""
        return self.limit if math.isfinite(self.limit) else self.expected


def plan_of(task: Task, found: Candidates) -> StrandPlan:
    """Return two pressures around those to expect of mixes in the motor.

    The middle is that of half the mixes; none is above what the limits allow.
    """
    pressures = found.pressures(_PEAK)
    motor, least = task.settings.motor, 0.0
    limits = [
        (1e6 * r.at_most, r.probability or _CHANCE)
        for r in task.requirements
        if r.at_most is not None and r.column in (_PEAK, _P95)
    ]
    if motor is not None:
        least, left = motor.ambient_pressure, 100.0
        for r in (r for r in task.requirements if r.column == _MARGIN):
            left = min(left, 100.0 - (r.at_least or 0.0))
        if motor.allowable > 0.0:
            limits.append((motor.allowable * left / 100.0, _CHANCE))
    top, chance = min(limits, default=(math.inf, _CHANCE))
    known = pressures[np.isfinite(pressures)]
    middle = float(np.median(known)) if len(known) else task.settings.pressure
    high = min(max(middle, least) * math.sqrt(_RATIO), top)
    return StrandPlan(
        low=max(high / _RATIO, least),
        high=high,
        limit=top,
        chance=chance,
        from_motor=bool(len(known)),
    )


# ----------------------------------------------------------------------------
# What could be burned, and what hangs on it.

#: Standard uncertainty of ln r from the record of a firing: pressure, throat, c*; and
#: from a video, whose mean pressure is that of a c* taken for granted. Assumed.
_RECORD = {FIRED: 0.015, FILMED: 0.04}

#: Points of the widths that the ranking takes.
_POINTS = 32


@dataclass(frozen=True, slots=True)
class Option:
    """Something that could be burned, and the pressure at which its outcome is told.

    `kind` is one of the burns of :mod:`castsugar.costs`, `recipe` ingredient to mass
    fraction as weighed, `pressure` in Pa, `batch` the kept one that further strands
    are of.
    """

    kind: str
    recipe: Recipe
    pressure: float
    batch: str = ""

    @property
    def fired(self) -> bool:
        """Whether a motor is fired."""
        return self.kind in _RECORD


def options_of(found: Candidates, plan: StrandPlan, model: BurnModel) -> list[Option]:
    """Return what could be burned; fired only what is known to keep a limit."""
    mixes = list(found.recipes)
    columns = {name for mix in mixes for name in mix}
    for one in model.evidence:
        new = all(differs(one.fractions, mix) >= SAME for mix in mixes)
        if one.measured and new and set(one.fractions) <= columns:
            mixes.append(dict(one.fractions))
    options = [Option(NEW_BATCH, mix, plan.expected) for mix in mixes]
    named = {
        one.batch: Option(FURTHER, one.fractions, plan.expected, one.batch)
        for one in model.evidence
        if one.kind == STRANDS and not one.batch.startswith(one.source or one.batch)
    }
    peak, high = found.pressures(_PEAK), found.pressures(_P95)
    kept = found.kept and math.isfinite(plan.limit)
    sound = np.flatnonzero(np.isfinite(peak) & (high <= plan.limit) & kept)
    fired = [
        Option(kind, mixes[row], float(peak[row])) for kind in _RECORD for row in sound
    ]
    return [*options, *named.values(), *fired]


def stakes_of(
    task: Task,
    found: Candidates,
    plan: StrandPlan,
    options: Sequence[Option],
    costs: Costs | None = None,
) -> Stakes:
    """Return what hangs on the rates of the mixes."""
    motor, n = task.settings.motor, len(found.recipes)
    model = BurnModel() if motor is None else motor.burning
    targets = [Option(FIRED, mix, plan.aimed) for mix in found.recipes]
    names, places = _places(model, [*targets, *options])
    widths = model.even_widths(_POINTS)
    mean, covariance = model.as_one_normal(places, names, widths)
    alone = _alone(model, widths, places)
    alone[n:] += [_RECORD.get(option.kind, 0.0) ** 2 for option in options]
    room, room_u, objective = np.full(n, math.inf), 0.0, np.zeros(n)
    if motor is not None and math.isfinite(plan.limit):
        density, velocity = (found.values[name] for name in _SUPPLY)
        ratio, u = (found.values[name] for name in _CASTING)
        supply = motor.supply(density, velocity, (ratio, u), guarded=True)
        left = supply.log_left(plan.limit)
        room = math.log(plan.limit) - np.where(np.isfinite(left), left, np.inf)
        room_u, objective = float(supply.u.max()), in_points(task, found)
    known = Stakes(
        mean=mean[:n],
        covariance=covariance,
        own=alone[:n],
        noise=alone[n:],
        cost=np.array([(costs or Costs()).minutes(o.kind) for o in options]),
        objective=objective,
        room=room,
        room_u=room_u,
        score=float(ndtri(plan.chance)),
    )
    if plan.chance != _CHANCE or math.isinf(plan.limit):
        return known
    # Which mixes keep the limit now, the table says, with all points of the widths.
    slack, high = known.slack(known.mean, known.variance), found.pressures(_P95)
    told = np.where(high <= plan.limit, np.fmax(slack, 1e-12), np.fmin(slack, -1e-12))
    return replace(known, room=np.where(np.isfinite(room), room + told - slack, room))


def in_points(task: Task, found: Candidates) -> FloatArray:
    """Return the objective of mixes, more is better, in points of mass.

    What a point buys on the way from the worst of them to the best; what is not known
    counts as the worst.
    """
    values = found.values[task.objective] * (1.0 if task.maximise else -1.0)
    known = np.flatnonzero(np.isfinite(values))
    if not known.size:
        return np.zeros(len(values))
    low, high = known[values[known].argmin()], known[values[known].argmax()]
    points = 100.0 * float(apart(found.fractions[low], found.fractions[high]))
    spread = max(float(values[high] - values[low]), 1e-300)
    return np.nan_to_num(points * (values - values[low]) / spread)


def _places(
    model: BurnModel, options: Sequence[Option]
) -> tuple[tuple[str, ...], Places]:
    """Return names of components, and where outcomes are told; new batches left out."""
    names, w = model.rows.over([coordinates(option.recipe) for option in options])
    batches = model.rows.batches
    return names, places_of(
        w,
        np.log([option.pressure / scatter.CENTRE for option in options]),
        batch=[batches.index(o.batch) if o.batch else -1 for o in options],
        motor=[option.fired for option in options],
    )


def _alone(model: BurnModel, widths: Widths, places: Places) -> FloatArray:
    """Return the variance that outcomes have by themselves: batch, firing, strands."""
    between, session, strand = (
        float((each**2).mean())
        for each in (widths.between, widths.session, widths.strand)
    )
    batch = between + (places.x * scatter.EXPONENT_BATCH) ** 2
    strands = session / 2.0 + strand / (2.0 * STRANDS_EACH)  # at two pressures
    found = np.where(places.batch < 0, batch, 0.0)
    return found + np.where(places.motor, model.scatter.firing**2, strands)


def _burned(model: BurnModel, option: Option, plan: StrandPlan) -> BurnModel:
    """Return the model after a burn that comes out as expected, its widths held."""
    fired = option.fired
    at = [option.pressure] if fired else [plan.low, plan.high]
    asked = Asked(of=option.batch or NEXT, motor=fired)
    shares, names = list(option.recipe.values()), tuple(option.recipe)
    rates = [math.exp(model.rates(shares, names, p, asked).mean[0]) for p in at]
    each = 1 if fired else STRANDS_EACH
    burned = Burned(
        name="expected",
        fractions=option.recipe,
        pressure=np.repeat(at, each),
        rate=np.repeat(rates, each),
        kind=FIRING if fired else STRANDS,
        batch=option.batch or f"expected {len(model.evidence)}",
        log_rate_u=_RECORD.get(option.kind, 0.0),
    )
    found = BurnModel([*model.evidence, burned], model.scatter, model.widths)
    found.weights = model.weights
    return found


# ----------------------------------------------------------------------------
# Proposals.

#: Most burns at once.
MOST = 24


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Known:
    """How well rates are known, now or after burns.

    `rate_u` is the standard uncertainty of ln r of a grain to come, of the best mix;
    without a limit the mean over all mixes. `p95` is the pressure that 95 of 100 next
    batches of the best mix stay below [Pa]: infinite where none can be given, NaN
    without a limit.
    """

    rate_u: float
    p95: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class NextBurn:
    """Something to burn, the name of its mix if that was burned before, what is known.

    `again` is "burn 2" if it is the mix of another of the list. `gain` is what it is
    expected to add to the best objective within the limit, in points of mass, `share`
    that of the doubt that it removes; `after` holds after it and those before it, if
    they come out as expected.
    """

    option: Option
    again: str
    gain: float
    share: float
    after: Known


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Proposal:
    """What to burn next, the most telling first."""

    burns: tuple[NextBurn, ...]  # fewer than asked for where more would tell nothing
    #: Recipe of the mix that is the best within the limit now, or nearest to it if none
    #: is within; empty without a limit.
    best: Recipe
    best_keeps: bool  # whether it keeps the limit now
    before: Known
    plan: StrandPlan
    scatter: BatchScatter
    burned: tuple[str, ...]  # names of the mixes that were burned
    candidates: Candidates

    @property
    def after(self) -> Known:
        """Return what is known after all burns."""
        return self.burns[-1].after if self.burns else self.before

    def __str__(self) -> str:
        """Return the burns, one a line."""
        return "\n".join(
            f"{burn.option.kind}: "
            + " ".join(f"{n}:{100.0 * x:g}%" for n, x in burn.option.recipe.items())
            for burn in self.burns
        )


def propose(task: Task, k: int, costs: Costs | None = None) -> Proposal:
    """Propose what to burn next.

    Parameters
    ----------
    task : Task
        Space, objective, limits, motor with what was burned.
    k : int
        How many burns, 1 to 24.
    costs : Costs, optional
        Those assumed by default.

    Raises
    ------
    InputError
        A number that is not allowed; an empty space.

    Notes
    -----
    Burns are ranked by what they add to the best objective within the pressure limit,
    and by the doubt that they remove at the present optimum, for their cost; without a
    limit by the mean doubt over the mixes. What they teach of the scatter between
    batches, or of efficiencies, is not counted.
    """
    if k != int(k) or not 1 <= k <= MOST:
        raise InputError(f"{k} next burns are asked for; allowed: 1 to {MOST}")
    found = feasible_mixes(task)
    plan = plan_of(task, found)
    motor = task.settings.motor
    model = first = BurnModel() if motor is None else motor.burning
    options = options_of(found, plan, model)
    stakes = stakes_of(task, found, plan, options, costs)
    at, slack = stakes.best, stakes.slack(stakes.mean, stakes.variance)
    best = {} if at is None else found.recipes[at]
    before, burns = _known(task, found, plan, at, model), list[NextBurn]()
    for choice in most_telling(stakes, k):
        option, old = options[choice], own_of(first, options[choice].recipe)
        model = _burned(model, option, plan)
        listed = [n for n, b in enumerate(burns, 1) if b.option.recipe == option.recipe]
        name = old[0].name if old else ""
        burns.append(
            NextBurn(
                option=option,
                again=f"burn {listed[0]}" if listed else name,
                gain=float(stakes.gains()[choice]),
                share=float(stakes.shares()[choice]),
                after=_known(task, found, plan, at, model),
            )
        )
        stakes = stakes.after(choice)
    return Proposal(
        burns=tuple(burns),
        best=best,
        best_keeps=at is not None and bool(slack[at] >= 0.0),
        before=before,
        plan=plan,
        scatter=batch_scatter(first),
        burned=tuple(dict.fromkeys(o.name for o in first.evidence if o.measured)),
        candidates=found,
    )


def _known(
    task: Task, found: Candidates, plan: StrandPlan, at: int | None, model: BurnModel
) -> Known:
    """Return how well rates are known by a model, at the best mix or over all."""
    motor = task.settings.motor
    u = model.rates(found.fractions, task.space.columns, plan.aimed).u
    if at is None or motor is None:
        return Known(rate_u=float(u.mean()), p95=math.nan)
    settings = replace(task.settings, motor=replace(motor, burning=model))
    table = TableProblem(settings=settings, wanted=(_P95,))
    high = float(table.evaluate(found.fractions[[at]])[0, 0])
    told = 1e6 * high if high < _BEYOND else math.inf
    return Known(rate_u=float(u[at]), p95=told)
