"""What to measure next, in kitchen and motor: one list, by gain in the decision."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence, Set
from dataclasses import field, replace

import numpy as np
from numpy.typing import NDArray

from castsugar import costs as names
from castsugar.arrays import BoolArray, FloatArray
from castsugar.costs import Costs
from castsugar.errors import InputError
from castsugar.frozen import dataclass
from castsugar.kitchen import foresight, measurements
from castsugar.kitchen.measurements import Measurement
from castsugar.kitchen.parameters import Kitchen
from castsugar.kitchen.pot import pots_of
from castsugar.limits import PEAK, Limit
from castsugar.mix.blends import put_together
from castsugar.mix.mix import Mix
from castsugar.optimize import next_burns
from castsugar.optimize.next_burns import Candidates, Option, Recipe, StrandPlan
from castsugar.optimize.task import Task
from castsugar.optimize.value_of_burning import Stakes

#: Standard uncertainty of a weighing where no scale is stated [kg], and how many times
#: finer a finer scale is.
_SCALE, _FINER = 1e-4, 10.0

#: What the best estimate counts as: half of the draws.
_MIDDLE = 0.5

#: What a limit takes off where it is broken as often as it allows, in points of mass:
#: with 95 of 100, 40 points for a mix that breaks it for certain. Ours.
PRICE = 2.0

#: A change of what a choice is worth that is none, in points of mass.
_NO_CHANGE = 1e-9

#: Mass of the batch whose pan is weighed where none is stated [kg].
_BATCH = 0.2

#: Measurements whose error a repeat shares: it lies in the method, not in the reading.
_ONCE = (
    names.BULK_DENSITY,
    names.BRINE,
    names.CLEAR_POINT,
    names.BALL_FALL,
    names.FLOW_OUT,
)

#: Why a gain is not computed, or is none.
DONE = "measured already; a repeat shares its error"
NO_KITCHEN = "no cook is stated: add [kitchen] cook"
NO_MOTOR = "no motor: describe yours in [motor]"
NO_SYRUP = "the mix holds no syrup"
NO_POUR = "no limit hangs on the pour: add pour_viscosity_Pa_s to [limits]"
NOT_KEPT = "no mix is known to keep the limits: not to be fired"
NO_BATCH = "no batch has a name: add batch to [[motor.burn_law]]"
NO_PEAK = "no limit on pressure: add [motor.case]"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Offer:
    """Something to measure, and what it is expected to change."""

    kind: str  # as costs names it
    #: What is cooked, burned or fired; empty where it is no mix.
    recipe: Recipe = field(default_factory=dict)
    batch: str = ""  # the kept one that further strands are of
    #: What it is expected to add to what the chosen recipe is worth, in points of mass;
    #: NaN where it is not computed.
    gain: float = math.nan
    better: float = math.nan  # how likely it changes the choice for the better
    #: Of the doubt at the present best that it removes: of the variance of ln r, or of
    #: the ranks of the pour viscosity.
    share: float = math.nan
    minutes: float  # what it costs, its grams counted as time
    reason: str = ""  # why the gain is not computed

    @property
    def per_hour(self) -> float:
        """Gain an hour, what the list is sorted by; 0 where it is not computed."""
        return 0.0 if math.isnan(self.gain) else 60.0 * self.gain / self.minutes

    def __str__(self) -> str:
        told = self.reason or f"gain {self.gain:.3g} points, {self.minutes:.3g} min"
        return f"{self.kind}: {told}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Held:
    """How surely the present best keeps a limit, and how surely it has to."""

    column: str
    chance: float
    asked: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Agenda:
    """What could be measured, what tells most for its cost first."""

    offers: tuple[Offer, ...]
    best: Recipe  # the best mix within all limits now, or the one nearest to them
    keeps: bool  # whether it keeps them
    #: Whether any mix keeps the limits of kitchen and pressure.
    pours: bool
    presses: bool
    held: tuple[Held, ...]  # the limits that a measurement could decide
    kept: bool  # whether any mix keeps the limits that no measurement decides
    looked_at: int
    points: float  # what a point of mass is worth, in the unit of the objective
    plan: StrandPlan  # at which pressures strands burn

    def __str__(self) -> str:
        return "\n".join(map(str, self.offers))


def what_next(
    task: Task,
    *,
    costs: Costs | None = None,
    measured: Set[str] = frozenset(),
    scale: float | None = None,
) -> Agenda:
    """Return what to measure next, in one list.

    Parameters
    ----------
    costs : Costs, optional
        Those assumed by default.
    measured : set of str
        Kinds of kitchen measurements that were made.
    scale : float, optional
        Standard uncertainty of a weighing. [kg]

    Raises
    ------
    InputError
        No limit; an empty space.

    Notes
    -----
    What a mix is worth is its objective less :data:`PRICE` for every limit, times the
    chance that it is broken over the chance that the limit allows: so a limit near its
    edge is no cliff. A measurement is worth what the choice after it is worth more than
    the choice of today, in the mean over what may be read (preposterior analysis: H.
    Raiffa & R. Schlaifer, *Applied Statistical Decision Theory*, 1961, from memory). A
    burn changes what is known of the pressure, a kitchen measurement of pouring and
    setting; each is looked at alone. What a kitchen measurement tells of water, and so
    of the pressure, is not counted, nor what a firing tells of efficiencies.
    """
    if not task.requirements:
        raise InputError(
            "no limit is stated, so no measurement could change the choice; add one "
            "to [limits], or a [motor.case]"
        )
    known = costs or Costs()
    mixes = _mixes(task, known)
    cooked = _cooked(mixes, costs=known, measured=measured, scale=scale or _SCALE)
    offers = [*mixes.burns(known), *cooked]
    choice, at = mixes.choice, mixes.choice.best
    return Agenda(
        offers=tuple(sorted(offers, key=_place)),
        best=mixes.pool.recipes[at],
        keeps=bool(choice.pours[at] and choice.presses[at]),
        pours=bool(choice.pours.any()),
        presses=bool(choice.presses.any()),
        held=tuple(mixes.held()),
        kept=mixes.pool.kept,
        looked_at=mixes.pool.looked_at,
        points=_points(task, mixes.pool, choice.objective),
        plan=mixes.plan,
    )


def _place(offer: Offer) -> tuple[bool, float, float]:
    """Return by what offers are sorted; where none gains, by the doubt removed."""
    doubt = 0.0 if math.isnan(offer.share) else offer.share / offer.minutes
    return bool(offer.reason), -offer.per_hour, -doubt


def _points(task: Task, pool: Candidates, objective: FloatArray) -> float:
    """Return what a point of mass buys of the objective, in its unit."""
    if not np.ptp(objective) > 0.0:
        return 0.0
    values = pool.values[task.objective]
    return float((np.nanmax(values) - np.nanmin(values)) / np.ptp(objective))


# ----------------------------------------------------------------------------
# The choice, and what it is worth.


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Choice:
    """Mixes to choose from, and what is known of them now; arrays over mixes.

    `objective` is in points of mass, more is better; `pours` and `presses` say which
    keep the limits of kitchen and pressure; `spills` and `bursts` are the chances to
    break them, over those allowed.
    """

    objective: FloatArray
    pours: BoolArray
    presses: BoolArray
    spills: FloatArray
    bursts: FloatArray

    @property
    def best(self) -> int:
        """What is chosen now: the best within the limits, or what comes nearest."""
        kept = self.pours & self.presses
        if kept.any():
            return int(np.argmax(np.where(kept, self.objective, -np.inf)))
        return int(np.argmin(self.spills + self.bursts))

    def moot(self, other: BoolArray) -> bool:
        """Say whether nothing can be chosen as no mix keeps the `other` limits alone.

        Where no mix pours, a burning rate changes no choice, and the other way round.
        """
        both = self.pours.any() or self.presses.any()
        return bool(both and not other.any())

    def changes(self, breaks: FloatArray, kept: BoolArray) -> FloatArray:
        """Return what the choice after outcomes is worth more, (..., n) to (...).

        `breaks` are the chances to break limits after each, over those allowed; `kept`
        says which mixes keep the limits that are not measured.
        """
        now = int(np.argmax(self.objective - PRICE * (self.spills + self.bursts)))
        if self.moot(kept):
            return np.zeros(breaks.shape[:-1])
        worth = self.objective - PRICE * breaks
        return np.asarray(worth.max(axis=-1) - worth[..., now])


def _breaks(chance: FloatArray, asked: float) -> FloatArray:
    """Return the chance to break a limit over that allowed."""
    return np.asarray((1.0 - chance) / (1.0 - asked))


def _gain(changes: FloatArray, share: FloatArray) -> tuple[float, float]:
    """Return the mean of changes, and how likely there is one."""
    return float(changes @ share), float((changes > _NO_CHANGE) @ share)


# ----------------------------------------------------------------------------
# The mixes, and what burns tell of them.


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Mixes:
    """Mixes that only a measurement may refuse or let in, and what is known of them."""

    task: Task
    pool: Candidates
    plan: StrandPlan
    options: Sequence[Option]
    stakes: Stakes
    drawn: _Draws | None
    choice: _Choice

    @property
    def limited(self) -> bool:
        """Whether a motor has to stay below a pressure."""
        return self.task.settings.motor is not None and math.isfinite(self.plan.limit)

    def held(self) -> Iterator[Held]:
        """Yield how surely the best keeps each limit that may be decided."""
        at, known = self.choice.best, self.stakes
        if self.limited:
            chance = float(known.chance(known.mean, known.variance)[at])
            yield Held(column=PEAK, chance=chance, asked=self.plan.chance)
        if self.drawn is not None and at in self.drawn.rows:
            yield from self.drawn.held(at)

    def burns(self, costs: Costs) -> Iterator[Offer]:
        """Yield the best of every kind of burn."""
        # Of a kind, what tells most of the mixes that pour.
        room = np.where(self.choice.pours, self.stakes.room, -np.inf)
        poured = replace(self.stakes, room=room, objective=self.choice.objective)
        worth, removed = poured.worth(), poured.removed(self.choice.best)
        changes = self._changes()
        share = self.stakes.foreseen()[2]
        for kind in (names.NEW_BATCH, names.FURTHER, names.FILMED, names.FIRED):
            minutes = costs.minutes(kind)
            mine = [i for i, one in enumerate(self.options) if one.kind == kind]
            if not (self.limited and mine):
                yield Offer(kind=kind, minutes=minutes, reason=self._no_burn(kind))
                continue
            at = max(mine, key=lambda i: float(worth[i]))
            gain, better = _gain(changes[at], share)
            yield Offer(
                kind=kind,
                recipe=self.options[at].recipe,
                batch=self.options[at].batch,
                gain=gain,
                better=better,
                share=float(removed[at]),
                minutes=minutes,
            )

    def _changes(self) -> FloatArray:
        """Return what outcomes of burns add to what the choice is worth, (m, z)."""
        mean, left, _ = self.stakes.foreseen()
        bursts = _breaks(self.stakes.chance(mean, left), self.plan.chance)
        return self.choice.changes(bursts + self.choice.spills, self.choice.pours)

    def _no_burn(self, kind: str) -> str:
        """Say why a kind of burn is not offered."""
        if self.task.settings.motor is None:
            return NO_MOTOR
        if not self.limited:
            return NO_PEAK
        return NO_BATCH if kind == names.FURTHER else NOT_KEPT


def _mixes(task: Task, costs: Costs) -> _Mixes:
    """Return the mixes of a task, and what is known of them."""
    found, pool = next_burns.mixes_at_stake(task)
    plan, motor = next_burns.plan_of(task, found), task.settings.motor
    options: list[Option] = []
    if motor is not None:
        options = next_burns.options_of(found, plan, motor.burning)
    stakes = next_burns.stakes_of(task, pool, plan, options, costs)
    pours, drawn = np.ones(len(pool.recipes), dtype=bool), _drawn(task, pool)
    for limit in next_burns.of_the_kitchen(task):
        pours &= limit.slack(pool.values[limit.column]) >= 0.0
    objective = stakes.objective
    if task.objective in pool.values:
        objective = next_burns.in_points(task, pool)
    choice = _Choice(
        objective=objective,
        pours=pours,
        presses=stakes.slack(stakes.mean, stakes.variance) >= 0.0,
        spills=np.zeros(len(pours)) if drawn is None else drawn.spills(pours),
        bursts=_breaks(stakes.chance(stakes.mean, stakes.variance), plan.chance),
    )
    return _Mixes(
        task=task,
        pool=pool,
        plan=plan,
        options=options,
        stakes=stakes,
        drawn=drawn,
        choice=choice,
    )


# ----------------------------------------------------------------------------
# The kitchen: which mixes a reading lets in.


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Draws:
    """What the draws of the kitchen say of the mixes `rows` of a pool.

    `kept` of every limit: which draws keep it, (n, d).
    """

    rows: NDArray[np.intp]
    draws: foresight.Draws
    limits: tuple[Limit, ...]
    kept: tuple[BoolArray, ...]

    def held(self, mix: int) -> Iterator[Held]:
        """Yield how surely a mix keeps each limit."""
        at = int(np.flatnonzero(self.rows == mix)[0])
        for limit, kept in zip(self.limits, self.kept, strict=True):
            chance = float(kept[at].mean())
            yield Held(column=limit.key, chance=chance, asked=_level(limit))

    def spills(
        self, pours: BoolArray, weighted: FloatArray | None = None
    ) -> FloatArray:
        """Return the chances to break the limits over those allowed, (n,) or (r, n).

        Of a mix that the draws say nothing of: none if it pours, else for certain.
        """
        draws = self.kept[0].shape[1]
        even = np.full((1, draws), 1.0 / draws)
        each = even if weighted is None else weighted
        found = np.zeros((len(each), len(pours)))
        for limit, kept in zip(self.limits, self.kept, strict=True):
            chance = np.tile(pours.astype(float), (len(each), 1))
            chance[:, self.rows] = foresight.chances(kept, each)
            found += _breaks(chance, _level(limit))
        return found[0] if weighted is None else found


def _level(limit: Limit) -> float:
    """Return how surely a limit has to be kept; one on a best estimate in half."""
    return limit.probability or _MIDDLE


def _drawn(task: Task, pool: Candidates) -> _Draws | None:
    """Return what the draws say; None where nothing hangs on them."""
    s, limits = task.settings, next_burns.of_the_kitchen(task)
    if s.kitchen is None or not limits:
        return None
    blends = put_together(
        s.items,
        pool.fractions,
        water_lost=s.water_lost,
        lots=s.lots,
        alternatives=s.alternatives,
    )
    pot = pots_of(blends, s.kitchen)
    modelled = np.array([not why for why in pot.gap])
    # Mixes with another syrup stay as they are known today.
    mine = pot.measured_syrup if pot.measured_syrup[modelled].any() else True
    rows = np.flatnonzero(modelled & mine)
    if not rows.size:
        return None
    draws = foresight.draws_of(
        pot.take(rows), s.kitchen, measured=bool(pot.measured_syrup[rows[0]])
    )
    kept = tuple(limit.slack(draws.columns[limit.key]) >= 0.0 for limit in limits)
    return _Draws(rows=rows, draws=draws, limits=limits, kept=kept)


def _readings(
    mixes: _Mixes, kitchen: Kitchen, scale: float
) -> Iterator[tuple[str, Measurement | None]]:
    """Yield what can be measured of the best mix; None: its syrup, and it has none."""
    task, recipe = mixes.task, mixes.pool.recipes[mixes.choice.best]
    lots = {n: lot for n, lot in task.settings.lots.items() if n in recipe}
    mix, air = Mix.weigh(recipe, lots=lots), kitchen.air_pressure
    batch = task.space.batch or _BATCH
    for kind, step in ((names.PAN_WEIGHT, 1.0), (names.FINER_SCALE, 1.0 / _FINER)):
        yield (
            kind,
            measurements.pan_weight(
                mix,
                kitchen.cook,
                batch=batch,
                lost=0.0,
                scale=step * scale,
                air_pressure=air,
            ),
        )
    yield names.BULK_DENSITY, measurements.bulk_density(mass=0.0675, volume=5e-5)
    yield names.BRINE, foresight.any_brine()
    syrup = next((one.name for one in mix.syrups), "")
    if not syrup:
        yield names.BALL_FALL, None
        yield names.SYRUP_DENSITY, None
        yield names.CLEAR_POINT, None
    else:
        yield names.CLEAR_POINT, foresight.any_clear_point(syrup)
        yield names.BALL_FALL, foresight.any_ball_fall(syrup)
        yield names.SYRUP_DENSITY, foresight.syrup_density(mix)
    yield (
        names.FLOW_OUT,
        foresight.any_flow_out(mix, kitchen.cook, air_pressure=air),
    )


#: Kinds of kitchen measurements, in the order of the list where none tells anything.
_KITCHEN = (
    names.PAN_WEIGHT,
    names.SYRUP_DENSITY,
    names.BALL_FALL,
    names.BRINE,
    names.FLOW_OUT,
    names.CLEAR_POINT,
    names.BULK_DENSITY,
    names.FINER_SCALE,
)


def _cooked(
    mixes: _Mixes, *, costs: Costs, measured: Set[str], scale: float
) -> Iterator[Offer]:
    """Yield every kitchen measurement, of the mix that is chosen now."""
    kitchen, drawn, best = mixes.task.settings.kitchen, mixes.drawn, mixes.choice.best
    if kitchen is None or drawn is None or best not in drawn.rows:
        why = NO_KITCHEN if kitchen is None else NO_POUR
        for kind in _KITCHEN:
            yield Offer(kind=kind, minutes=costs.minutes(kind), reason=why)
        return
    at = int(np.flatnonzero(drawn.rows == best)[0])
    known: dict[str, Offer] = {}
    for kind, one in _readings(mixes, kitchen, scale):
        offer = Offer(
            kind=kind, recipe=mixes.pool.recipes[best], minutes=costs.minutes(kind)
        )
        if one is None or (kind in measured and kind in _ONCE):
            yield replace(offer, reason=NO_SYRUP if one is None else DONE)
            continue
        weighted = foresight.weights(one, drawn.draws.values)
        spills = drawn.spills(mixes.choice.pours, weighted)
        breaks = spills + mixes.choice.bursts
        changes = mixes.choice.changes(breaks, mixes.choice.presses)
        gain, better = _gain(changes, np.full(len(changes), 1.0 / len(changes)))
        share = foresight.removed(drawn.draws.order[at], weighted)
        offer = known[kind] = replace(offer, gain=gain, better=better, share=share)
        if kind == names.FINER_SCALE:
            offer = _beyond(offer, known[names.PAN_WEIGHT])
        yield offer


def _beyond(offer: Offer, other: Offer) -> Offer:
    """Return what a measurement tells beyond another."""
    return replace(
        offer,
        gain=max(offer.gain - other.gain, 0.0),
        better=max(offer.better - other.better, 0.0),
        share=max(offer.share - other.share, 0.0),
    )
