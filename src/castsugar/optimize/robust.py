"""A recipe whose batches keep the limits as often as asked."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from castsugar.arrays import FloatArray
from castsugar.data.load import load_database
from castsugar.draw_set import block, normals
from castsugar.frozen import dataclass
from castsugar.kitchen.heat import LONGEST, Cook
from castsugar.kitchen.parameters import POUR_RANGE
from castsugar.limits import Limit
from castsugar.mix.weighing import Lot, syrup_use
from castsugar.numerics import bisected
from castsugar.optimize.multistart import Effort
from castsugar.optimize.optimum import optimise
from castsugar.optimize.problem import Goal
from castsugar.optimize.rounding import Rounded, rounded
from castsugar.optimize.shadow_prices import Found
from castsugar.optimize.space import Space
from castsugar.optimize.task import Sloppiness, TableProblem
from castsugar.special import ndtr, ndtri

# ----------------------------------------------------------------------------
# Batches as people make them: parts that miss, syrup and powders that differ, a cook
# that is warmer or longer.
#
# A damp powder is a drier one and water; a thin syrup is the thickest of all that are
# drawn and water. So all batches are rows of the same items. Burn rates go by what is
# written: strands were made of damp powders, too.

#: Batches that are drawn, cooks among them, and batches that a chance is averaged over.
COUNT, _COOKS, _CHANCES = 512, 32, 128

#: A limit counts as kept down to this part of it.
_ROUNDING = 1e-9

#: Dry solids stay between these; a lot's moisture is taken this far below what it says.
_SOLIDS, _FAR = (0.5, 0.98), 4.0

#: Share of the batches that keep a limit on a best estimate. Ours.
USUAL_SHARE = 0.95

#: Half a standard error of so few batches: limits are tightened for so much more than
#: is needed, and what lies so near has nothing to gain.
_SAFE = 0.005

#: Scores of the quantiles, around the one asked for, that a chance is read between:
#: near jamming those of viscosity lie decades apart.
_AROUND = (-2.5, -1.5, -1.0, -0.7, -0.4, -0.2, 0.0, 0.15, 0.3, 0.45, 0.6, 0.8, 1.1, 1.5)
_FARTHEST = 2.6

_POUR, _WATER = "pour_viscosity_Pa_s", "water"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Kept:
    """What drawn batches of a mix do to the limits, one entry a limit."""

    #: Share of the batches that is to keep it: that of its probability, else
    #: USUAL_SHARE, (m,).
    asked: FloatArray
    needed: FloatArray  # what the drawn share must reach for that, (m,)
    #: That keeps it; over what is believed of kitchen and burn rates, too, where the
    #: limit has a probability, (m,).
    share: FloatArray
    #: By how much a limit on the mix itself is to be tighter for the share asked: of
    #: the logarithm where the limit is logarithmic, (m,). [unit of the column, or -]
    margins: FloatArray

    @property
    def enough(self) -> bool:
        """Say whether every limit is kept as often as asked."""
        return bool((self.share >= self.needed - _ROUNDING).all())

    @property
    def short(self) -> float:
        """Return the share that the limit is short of which is kept least often."""
        return float((self.needed - self.share).max(initial=-1.0))

    @property
    def shortest(self) -> int:
        """Return the limit that is kept least often, against what is asked."""
        return int(np.argmin(self.share - self.needed))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Batches:
    """How batches of a mix scatter."""

    sloppiness: Sloppiness
    batch: float  # mass of what is weighed [kg]
    seed: int
    count: int = COUNT

    def kept(self, problem: TableProblem, fractions: FloatArray, goal: Goal) -> Kept:
        """Draw batches of a mix, and hold them against the limits, (k,)."""
        counted = self._counted(problem, fractions, goal)
        told = [
            counted[limit.name]
            if limit.probability is None
            else self._chance(problem, fractions, limit)
            for limit in goal.limits
        ]
        share, margins = np.array(told).reshape(-1, 2).T
        asked = [limit.probability or USUAL_SHARE for limit in goal.limits]
        safe = [_SAFE if limit.probability else 0.0 for limit in goal.limits]
        return Kept(
            asked=np.array(asked),
            needed=np.array(asked) - np.array(safe),
            share=share,
            margins=margins,
        )

    def _counted(
        self, problem: TableProblem, fractions: FloatArray, goal: Goal
    ) -> dict[str, tuple[float, float]]:
        """Return share and margin of limits without a probability, by name."""
        sure = [limit for limit in goal.limits if limit.probability is None]
        if not sure:
            return {}
        wanted = tuple(dict.fromkeys(limit.column for limit in sure))
        drawn = replace(problem, wanted=wanted, chances=(), weights={})
        table = self._table(drawn, fractions, self.count, thin=True).T
        alone = drawn.evaluate(fractions[None])[0]
        places = {limit.name: wanted.index(limit.column) for limit in sure}
        return {
            limit.name: _counted(
                limit, table[places[limit.name]], float(alone[places[limit.name]])
            )
            for limit in sure
        }

    def _chance(
        self, problem: TableProblem, fractions: FloatArray, limit: Limit
    ) -> tuple[float, float]:
        """Return share and margin of a limit with a probability.

        Its doubt is averaged over the batches. Pouring draws the solids of the syrup
        already.
        """
        level = limit.level or 0.0
        scores = np.clip(ndtri(level) + np.array(_AROUND), -_FARTHEST, _FARTHEST)
        levels = tuple(ndtr(scores).tolist())
        key, thin = limit.key, limit.key != _POUR
        asked = tuple((key, one) for one in levels)
        drawn = replace(problem, wanted=(), chances=asked, weights={})
        if not thin:
            drawn = replace(drawn, settings=replace(drawn.settings, motor=None))
        count = min(self.count, _CHANCES)
        table = np.log(self._table(drawn, fractions, count, thin=thin))
        alone = replace(drawn, chances=((key, level),)).evaluate(fractions[None])

        def below(value: float) -> float:
            return float(np.mean(ndtr(_between(table, scores, value))))

        share = below(math.log(limit.value))
        low, high = float(table.min()) - 1.0, float(table.max()) + 1.0
        if not math.isfinite(low + high):
            return 0.0, math.nan
        high = float(bisected(lambda x: below(float(x)) < level, low, high, 40)[1])
        kept = share if limit.sense == "<=" else 1.0 - share
        margin = limit.sign * (high - math.log(float(alone[0, 0])))
        return kept, margin

    def _table(
        self, problem: TableProblem, fractions: FloatArray, count: int, *, thin: bool
    ) -> FloatArray:
        """Return the columns of drawn batches; with syrups as thin as they come."""
        settings = problem.settings
        items = settings.items
        weighed = self._weighed(items, fractions, settings.lots, count)
        lots, made = dict(settings.lots), weighed.copy()
        for place, name in enumerate(items):
            share, lot = self._dry(name, lots.get(name), count, thin=thin)
            made[:, place] *= share
            if lot is not None:
                lots[name] = lot
        water = weighed.sum(axis=1) - made.sum(axis=1)
        if _WATER in items:
            made[:, items.index(_WATER)] += water
        else:
            items = (*items, _WATER)
            made = np.column_stack([made, water])
            weighed = np.column_stack([weighed, np.zeros(count)])
        cooks = self._cooks(problem)
        moved = replace(settings, items=items, lots=lots)
        table = replace(problem, settings=moved, cooks=cooks)
        return table.evaluate_batches(
            made / made.sum(axis=1, keepdims=True),
            weighed / weighed.sum(axis=1, keepdims=True),
        )

    def _weighed(
        self,
        items: tuple[str, ...],
        fractions: FloatArray,
        lots: Mapping[str, Lot],
        count: int,
    ) -> FloatArray:
        """Return what is put on the scale; of a lot less pure there is less of it."""
        used = fractions > 0.0
        scores = [self._scores(f"weighing|{i}", count) for i in items]
        weighed = fractions + np.stack(scores, axis=1) * used * (
            self.sloppiness.weighing / self.batch
        )
        for place, name in enumerate(items):
            doubt = lots.get(name, Lot()).assay_uncertainty or 0.0
            weighed[:, place] *= 1.0 + doubt * self._scores(f"assay|{name}", count)
        return np.asarray(np.maximum(weighed, 0.0))

    def _dry(
        self, name: str, lot: Lot | None, count: int, *, thin: bool
    ) -> tuple[FloatArray, Lot | None]:
        """Return how much of each part is the driest of it, and the lot of that."""
        own = lot or Lot()
        use = syrup_use(load_database(), name, 1.0, lot)
        if name == _WATER or (use is not None and use.dry_solids >= 1.0):
            return np.ones(count), None
        if use is not None:
            doubt = self.sloppiness.syrup_solids
            doubt = use.dry_solids_uncertainty if doubt is None else doubt
            scores = self._scores(f"solids|{name}", count) if thin else np.zeros(count)
            solids = np.clip(use.dry_solids + doubt * scores, *_SOLIDS)
            top = float(solids.max())
            stated = replace(
                own, dry_solids=top, dry_solids_uncertainty=use.dry_solids_uncertainty
            )
            return solids / top, stated
        scores, stated_u = self._scores(f"damp|{name}", count), own.moisture_uncertainty
        if stated_u is None:
            damp = own.moisture + self.sloppiness.moisture * np.abs(scores)
            return (1.0 - damp) / (1.0 - own.moisture), None
        low = max(own.moisture - _FAR * stated_u, 0.0)
        damp = np.maximum(own.moisture + stated_u * scores, low)
        return (1.0 - damp) / (1.0 - low), replace(own, moisture=low)

    def _cooks(self, problem: TableProblem) -> tuple[Cook, ...]:
        """Return cooks that are warmer or colder, longer or shorter."""
        kitchen, sloppy = problem.settings.kitchen, self.sloppiness
        if kitchen is None or sloppy.cook_temperature == sloppy.cook_time == 0.0:
            return ()
        scores = ndtri(block(2, 0, _COOKS, self.seed))
        cook, found = kitchen.cook, []
        for warm, long in scores.tolist():
            part = 1.0 + sloppy.cook_time * long / cook.duration
            part = min(max(part, 0.1), (1.0 - 1e-9) * LONGEST / cook.duration)
            times = tuple(
                cook.times[0] + part * (t - cook.times[0]) for t in cook.times
            )
            end = cook.pour_temperature + sloppy.cook_temperature * warm
            moved = cook.ending_at(max(end, POUR_RANGE[0]))
            found.append(replace(moved, times=times))
        return tuple(found)

    def _scores(self, name: str, count: int) -> FloatArray:
        return normals(f"a batch|{name}", count, self.seed)


def _counted(limit: Limit, values: FloatArray, alone: float) -> tuple[float, float]:
    """Return share and margin of a limit that batches keep or not."""
    slack = limit.slack(values)
    kept = float((slack >= -_ROUNDING * abs(limit.value)).mean())
    level = USUAL_SHARE + _SAFE
    level = level if limit.sense == "<=" else 1.0 - level
    known = values[np.isfinite(values)]
    worst = float(np.quantile(known, level)) if len(known) else math.nan
    if limit.logarithmic:
        return kept, limit.sign * math.log(worst / alone)
    return kept, limit.sign * (worst - alone)


def _between(table: FloatArray, scores: FloatArray, value: float) -> FloatArray:
    """Return the score of a value between the quantiles of each row, (n, l) to (n,)."""
    place = np.clip((table < value).sum(axis=1), 1, table.shape[1] - 1)
    rows = np.arange(len(table))
    low, high = table[rows, place - 1], table[rows, place]
    with np.errstate(divide="ignore", invalid="ignore"):
        part = (value - low) / (high - low)
    part = np.clip(np.nan_to_num(part, nan=0.5), 0.0, 1.0)
    found = scores[place - 1] + part * (scores[place] - scores[place - 1])
    found = np.where(value < table[:, 0], -np.inf, found)
    return np.asarray(found)


# ----------------------------------------------------------------------------
# A recipe whose batches keep the limits, and whether it is worth its price.
#
# The recipe of the search is held against its own batches first: where they keep every
# limit as often as asked, nothing is to be gained. Else each limit is tightened by what
# the batches ask for, and searched again, until the batches of the new recipe do:
# sequential optimisation and reliability assessment (X. Du & W. Chen, J. Mech. Des. 126
# (2004) 225, from memory).

#: Most searches; part of the room that is asked for where no mix has all of it.
_ROUNDS, _LESS = 4, 0.7

#: A recipe whose batches are short of what is asked, too, is the answer if they are so
#: by less than this part of what those of the nominal one are. Ours.
_MUCH = 0.5


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Robust:
    """A robust recipe beside the nominal one, each as it is weighed."""

    #: Of the tightened limits; of the search itself where nothing is to be gained.
    found: Found
    made: Rounded  # its recipes for the scale
    #: Name of each limit to how far it was tightened; see Kept. Empty where nothing was
    #: searched.
    margins: Mapping[str, float]
    #: Objective of the nominal recipe less that of the robust one, the better way up.
    price: float
    #: nominal, kept: of the batches of the nominal and of the robust recipe.
    nominal: Kept
    kept: Kept
    batches: int
    weighed: bool = True  # whether it is rounded as far as the nominal one is
    refused: str = ""  # why its own row of the table forbids it; empty if it does not

    @property
    def pays(self) -> bool:
        """Whether its batches keep what those of the nominal recipe do not.

        Where no recipe's batches keep every limit as often as asked: whether they are
        short of it by half as much. Only a recipe that the scale can weigh.
        """
        if self.nominal.enough or self.refused or not self.weighed:
            return False
        return self.kept.enough or self.kept.short < _MUCH * self.nominal.short

    @property
    def fractions(self) -> FloatArray:
        """The recipe, as it is written, (k,)."""
        return self.made.of(self.found).fractions


def robust_optimum(
    problem: TableProblem,
    goal: Goal,
    space: Space,
    nominal: tuple[Found, Rounded],
    batches: Batches,
    *,
    effort: Effort,
) -> Robust:
    """Search again with limits tightened by what batches do to the recipe.

    Parameters
    ----------
    problem, goal, space, effort
        Of the search.
    nominal : Found and Rounded
        What it found, and its recipes for the scale.
    """
    found, made = nominal
    recipe = made.of(found).fractions
    own = batches.kept(problem, recipe, goal)
    answer = Robust(
        found=found,
        made=made,
        margins={},
        price=0.0,
        nominal=own,
        kept=own,
        batches=batches.count,
    )
    # Never looser: the recipe itself keeps every limit, too.
    margins, work = np.maximum(own.margins, 0.0), replace(effort, prices=False)
    whole = True
    for _ in range(_ROUNDS):
        if answer.kept.enough or not np.isfinite(margins).all():
            break
        pairs = zip(goal.limits, margins.tolist(), strict=True)
        tight = replace(goal, limits=tuple(_tightened(x, m) for x, m in pairs))
        found = optimise(problem, tight, space, effort=work)
        if found.violation > 0.0:  # as far as it goes
            margins, whole = _LESS * margins, False
            continue
        made = rounded(problem, space, found)
        if made.of(found) is found:  # no step of the scale in so narrow a room
            found = replace(found, goal=goal)
            made = rounded(problem, space, found)
        kept = batches.kept(problem, made.of(found).fractions, goal)
        names = (limit.name for limit in goal.limits)
        answer = replace(
            answer,
            found=found,
            made=made,
            margins=dict(zip(names, margins.tolist(), strict=True)),
            price=_objective(nominal) - _objective((found, made)),
            kept=kept,
            weighed=made.of(found) is not found
            or nominal[1].of(nominal[0]) is nominal[0],
        )
        if not whole:
            break
        margins = np.maximum(margins, kept.margins)
    return answer


def _objective(one: tuple[Found, Rounded]) -> float:
    """Return the objective of the recipe that is weighed, the better the higher."""
    found, made = one
    value = made.of(found).values[found.goal.objective]
    return value if found.goal.maximise else -value


def _tightened(limit: Limit, margin: float) -> Limit:
    """Return a limit moved inward; by a factor if it is logarithmic."""
    if limit.logarithmic:
        value = limit.value * float(np.exp(-limit.sign * margin))
    else:
        value = limit.value - limit.sign * margin
    return replace(limit, value=value)
