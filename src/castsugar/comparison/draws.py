"""Draws of rows: their intervals, and where the doubt comes from."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

import numpy as np

from castsugar.arrays import FloatArray
from castsugar.checks import instance, whole
from castsugar.comparison.drawn_batches import (
    DECADES,
    KITCHEN,
    MOTOR,
    THERMO,
    Columns,
    Place,
    common,
    input_values,
    inputs_of,
    less,
    on_scale,
    placed,
    solved,
)
from castsugar.comparison.in_motor import BATCH, FAMILIES, InMotor, in_motor
from castsugar.comparison.uncertain_inputs import (
    Conditions,
    Doubts,
    Input,
    Recipe,
    Scores,
    drawn,
    of_shifts,
    shifted,
    unique,
)
from castsugar.draw_set import DRAWS, SEED, WIDTH, normals
from castsugar.errors import InputError, unknown_name
from castsugar.frozen import dataclass
from castsugar.mix import refusals
from castsugar.mix.mix import Mix, MixLike, as_mixes
from castsugar.numerics import ranks

# ----------------------------------------------------------------------------
# Draws of one quantity in few numbers.

#: Coverage probability of the intervals.
COVERAGE = 0.95


@dataclass(frozen=True, slots=True, kw_only=True)
class Summary:
    """What draws of one quantity say."""

    #: mean, deviation: NaN where a draw is infinite.
    mean: float
    deviation: float
    median: float
    interval: tuple[float, float]  # probabilistically symmetric coverage interval
    failed: float  # share of draws without a number, left out of everything else


def summarise(draws: FloatArray, coverage: float = COVERAGE) -> Summary:
    """Summarise draws of one quantity.

    Parameters
    ----------
    draws : ndarray, shape (n,)
        NaN where one failed; infinite ones count at their end.

    Notes
    -----
    JCGM 101:2008, 7.6 and 7.7.2: of M ordered values the interval runs from the r-th to
    the (r + q)-th, q = p M and r = (M - q) / 2, each rounded to a whole number.

    Examples
    --------
    >>> summarise(np.arange(1.0, 101.0), 0.9).interval
    (5.0, 95.0)
    """
    kept = np.sort(draws[~np.isnan(draws)])
    failed = 1.0 - len(kept) / len(draws) if len(draws) else 1.0
    count = len(kept)
    if not count:
        gone = float("nan")
        return Summary(
            mean=gone, deviation=gone, median=gone, interval=(gone, gone), failed=1.0
        )
    q = int(coverage * count + 0.5)
    r = max((count - q + 1) // 2, 1) if (count - q) % 2 else max((count - q) // 2, 1)
    high = min(r + q, count)
    finite = bool(np.isfinite(kept).all())
    middle = kept[(count - 1) // 2], kept[count // 2]
    return Summary(
        mean=float(kept.mean()) if finite else float("nan"),
        deviation=float(kept.std(ddof=1)) if finite and count > 1 else float("nan"),
        median=float(middle[0] if middle[0] == middle[1] else sum(middle) / 2.0),
        interval=(float(kept[r - 1]), float(kept[high - 1])),
        failed=failed,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """What one input adds to a doubt."""

    input: Input
    #: Change per standard deviation of the input, with its sign; NaN where it is not
    #: known. [unit of the column]
    effect: float
    share: float  # of the variance, all inputs together 1


def parts_of(
    inputs: Sequence[Input], effects: FloatArray, squares: FloatArray
) -> list[Part]:
    """Return parts of a doubt, the largest first; none where nothing matters.

    Parameters
    ----------
    effects, squares : ndarray, shape (inputs,)
        Effects, and what their shares are in proportion to.
    """
    total = float(squares.sum())
    order = np.argsort(-squares, kind="stable").tolist()
    return [
        Part(input=inputs[i], effect=float(effects[i]), share=float(squares[i]) / total)
        for i in order
        if squares[i] > 0.0
    ]


# ----------------------------------------------------------------------------
# Mixes under conditions, and everything that is uncertain about them.
#
# Each recipe is solved in a batch of its own, so that a mix alone and in a crowd has
# the same bits; recipes that occur twice are solved once.


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class UncertainMixes:
    """Mixes under conditions, with everything that is uncertain about them."""

    mixes: tuple[Mix, ...]
    conditions: Conditions
    doubts: Doubts
    inputs: tuple[Input, ...]  # of all mixes, each once
    _places: Mapping[str, Place]
    _keys: tuple[str, ...]

    @classmethod
    def of(
        cls,
        mixes: MixLike | Iterable[MixLike],
        conditions: Conditions | None = None,
        doubts: Doubts | None = None,
    ) -> UncertainMixes:
        """Collect what is uncertain about mixes.

        Raises
        ------
        InputError
            Without a mix; and what weighing refuses.
        RefusedError
            For an ingredient that is none of the catalogue's, and for a dummy.
        """
        instance(conditions, Conditions, "conditions")
        instance(doubts, Doubts, "doubts")
        conditions, doubts = conditions or Conditions(), doubts or Doubts()
        listed = tuple(as_mixes(mixes))
        if not listed:
            raise InputError("no mixes given; give one or more to look at")
        for mix in listed:
            refusals.check_catalogued(mix.name, mix.weighed)
            refusals.check_burns(mix.name, mix.weighed)
        recipes = [Recipe.of(mix, doubts) for mix in listed]
        keys = [recipe.identity for recipe in recipes]
        each = dict(zip(keys, recipes, strict=True))
        places = {
            key: placed(recipe, conditions, doubts) for key, recipe in each.items()
        }
        if conditions.motor is not None:
            cast = [place.cast() for place in places.values()]
            benches = in_motor(cast, conditions.motor, doubts)
            places = {
                key: replace(place, bench=bench)
                for (key, place), bench in zip(places.items(), benches, strict=True)
            }
        found = [i for p in places.values() for i in inputs_of(p)]
        return cls(
            mixes=listed,
            conditions=conditions,
            doubts=doubts,
            inputs=unique([*found, *common(doubts)]),
            _places=places,
            _keys=tuple(keys),
        )

    @property
    def columns(self) -> tuple[str, ...]:
        """Return the names of the columns."""
        kitchen = KITCHEN if self.conditions.kitchen is not None else ()
        motor = MOTOR if self.conditions.motor is not None else ()
        return (*THERMO, *kitchen, *motor)

    def values(self, scores: Scores, count: int) -> Columns:
        """Return every column, (rows, mixes), at scores of the inputs, (rows,) each.

        NaN where a row could not be computed; infinite where a mix jams or a motor
        has no stable pressure.
        """
        found = {
            key: input_values(place, self.conditions, self.doubts, scores, count)
            for key, place in self._places.items()
        }
        return {
            name: np.stack([found[key][name] for key in self._keys], axis=1)
            for name in self.columns
        }

    def medians(self) -> Columns:
        """Return what the table shows as medians, (mixes,) each.

        Of viscosity that of the kitchen's doubts alone, the powders as dry as the
        recipe says; of pressure that of the formula.
        """
        stoves = [self._places[key].stove for key in self._keys]
        found = [stove.median() for stove in stoves if stove is not None]
        medians = {DECADES[0]: np.array(found)} if found else {}
        if self.benches:
            medians[MOTOR[0]] = np.array([bench.median for bench in self.benches])
        return medians

    @property
    def benches(self) -> tuple[InMotor, ...]:
        """Return each mix in the motor; empty without one."""
        benches = [self._places[key].bench for key in self._keys]
        return tuple(bench for bench in benches if bench is not None)

    @property
    def identities(self) -> tuple[str, ...]:
        """Return what makes each mix the recipe that it is."""
        return self._keys

    def stepped(self, step: float) -> list[Mapping[str, Mapping[str, float]]]:
        """Return what one scale step more of one item changes.

        Parameters
        ----------
        step : float
            [kg]

        Returns
        -------
        list, one a mix
            Item to column to change, in the column's unit (of ln for
            :data:`castsugar.comparison.drawn_batches.DECADES`).
        """
        own = {}
        for key, place in self._places.items():
            weighed = np.vstack(
                [place.recipe.weighed({}, 1), place.recipe.one_step(step)]
            )
            found = solved(place, self.conditions, self.doubts, {}, weighed)
            moved = {n: on_scale(n, found[n]) for n in self.columns}
            own[key] = {
                item: {n: float(less(v[1 + i], v[0])) for n, v in moved.items()}
                for i, item in enumerate(place.recipe.names)
            }
        return [own[key] for key in self._keys]


# ----------------------------------------------------------------------------
# Draws of rows, their intervals, and where the doubt comes from.
#
# Monte-Carlo as in JCGM 101:2008 (supplement 1 to the guide): draws of independent
# inputs through the whole model; interval by 7.7.2, probabilistically symmetric.

#: A squared rank correlation below this over the number of draws is chance: 3 sigma.
_CHANCE = 9.0

#: A difference within this share of the values is rounding.
_ROUNDING = 1e-12

#: The fewest draws that a 95 % interval is taken from.
FEWEST = 100


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Draws:
    """Rows drawn together."""

    outlook: UncertainMixes  # mixes, conditions and inputs
    seed: int
    count: int
    #: Standard normal scores of the inputs that were drawn, by key, (count,).
    scores: Mapping[str, FloatArray]
    #: Every input in the middle, powders as dry as the recipe says; of pour viscosity
    #: and pressure the medians of the table, (mixes,).
    best: Mapping[str, FloatArray]
    #: Row i is the same world for all mixes, (count, mixes).
    values: Mapping[str, FloatArray]
    #: Change per standard deviation of each input, one moved at a time through the
    #: whole model (half the difference between one up and one down); of ln for
    #: viscosity. NaN where a step jams, (mixes, inputs).
    effects: Mapping[str, FloatArray]

    @property
    def inputs(self) -> tuple[Input, ...]:
        """Return the inputs, in the order of the last axis of `effects`."""
        return self.outlook.inputs

    @property
    def columns(self) -> tuple[str, ...]:
        """Return the names of the columns."""
        return self.outlook.columns

    def summary(self, column: str, mix: int) -> Summary:
        """Summarise a column of one mix."""
        return summarise(self.values[self.known(column)][:, mix])

    def interval(self, column: str, mix: int) -> tuple[float, float]:
        """Return the 95 % interval of a column of one mix.

        Of the draws; of a pressure by formula, as in the table, whatever is drawn.
        """
        if column in MOTOR:
            return self.outlook.benches[mix].ends
        return self.summary(column, mix).interval

    def difference(self, column: str, mix: int, baseline: int) -> FloatArray:
        """Return paired differences, (count,); of ln for viscosity.

        Exactly 0 for a mix of the same recipe, where both jam, and where only rounding
        is left, so that no verdict hangs on it.
        """
        drawn = on_scale(column, self.values[self.known(column)])
        found = less(drawn[:, mix], drawn[:, baseline])
        scale = np.abs(drawn[:, [mix, baseline]]).max(axis=1)
        equal = np.isfinite(scale) & (np.abs(found) <= _ROUNDING * scale)
        return np.where(equal, 0.0, found)

    def parts(self, column: str, mix: int, baseline: int | None = None) -> list[Part]:
        """Return what each input adds to the doubt, the largest share first.

        Parameters
        ----------
        baseline : int, optional
            Of the difference to this mix, shared inputs cancelling.

        Returns
        -------
        list of Part
            By linear parts: what to measure better stands first. Where a step jams, by
            squared rank correlations of the draws, effects NaN. Empty where no input
            matters.
        """
        effects = self.effects[self.known(column)]
        with np.errstate(invalid="ignore"):
            row = effects[mix] - (0.0 if baseline is None else effects[baseline])
        if not np.isfinite(row).all():
            return self._by_rank(column, mix, baseline)
        inputs = list(self.inputs)
        for family in FAMILIES:
            self._alone(inputs, row, (family, column), (mix, baseline))
        return parts_of(inputs, row, row**2)

    def _alone(
        self,
        inputs: list[Input],
        row: FloatArray,
        of: tuple[str, str],
        pair: tuple[int, int | None],
    ) -> None:
        """Name a family of doubts by one mix or two, whoever else is compared.

        What the family does to the baseline goes by that, what it does to the other
        mix besides by the other one.
        """
        (family, column), (mix, baseline) = of, pair
        places = {i.key: k for k, i in enumerate(self.inputs)}
        all_of = [k for key, k in places.items() if key.startswith(family)]
        effects = self.effects[column][:, all_of]
        row[all_of] = 0.0
        own = effects[mix]
        whole = float(np.linalg.norm(own))
        if baseline is not None:
            first = effects[baseline]
            size = float(np.linalg.norm(first))
            along = float(own @ first) / size if size else 0.0
            key = f"{family}{self.outlook.identities[baseline]}"
            if key in places:
                row[places[key]] = along - size
            own = own - along * first / (size or 1.0)
        key = f"{family}{self.outlook.identities[mix]}"
        if key in places and whole:
            rest = float(np.linalg.norm(own))
            row[places[key]] += rest
            one = inputs[places[key]]
            inputs[places[key]] = replace(
                one, uncertainty=one.uncertainty * rest / whole
            )

    def _by_rank(self, column: str, mix: int, baseline: int | None) -> list[Part]:
        """Return shares where a step jams: squared rank correlations of the draws."""
        found = self.values[column][:, mix]
        if baseline is not None:
            found = self.difference(column, mix, baseline)
        kept = ~np.isnan(found)
        squares = np.zeros(len(self.inputs))
        if kept.sum() >= FEWEST and np.ptp(places := ranks(found[kept])) > 0.0:
            for place, one in enumerate(self.inputs):
                if one.key in self.scores:
                    own = self.scores[one.key][kept]
                    own = np.abs(own) if one.half else own
                    r = np.corrcoef(places, ranks(own))[0, 1]
                    # Chance alone gives 1 / n on average.
                    squares[place] = r**2 if r**2 * kept.sum() > _CHANCE else 0.0
        return parts_of(self.inputs, np.full(len(squares), np.nan), squares)

    def known(self, column: str) -> str:
        """Return the name of a column, once it is known to be drawn."""
        if column not in self.values:
            raise unknown_name("drawn column", column, self.columns)
        return column


def draw(
    mixes: Iterable[MixLike] | UncertainMixes,
    *,
    conditions: Conditions | None = None,
    doubts: Doubts | None = None,
    draws: int = DRAWS,
    seed: int = SEED,
    without: Sequence[str] = (),
) -> Draws:
    """Draw the rows of mixes, the same worlds for all of them.

    Parameters
    ----------
    doubts : Doubts, optional
        For UncertainMixes both are its own.
    draws : int
        At least 100.
    without : sequence of str
        Kinds or keys of inputs that are held in the middle.

    Raises
    ------
    InputError
        For too few draws, a seed below 0, a kind that does not occur.
    """
    if whole(draws, "draws") < FEWEST or whole(seed, "seed") < 0:
        raise InputError(
            f"draws is {draws} and seed {seed}; allowed: {FEWEST} draws or more and a "
            "seed of 0 or more"
        )
    looked = mixes
    if not isinstance(looked, UncertainMixes):
        looked = UncertainMixes.of(looked, conditions, doubts)
    kinds = {i.kind for i in looked.inputs} | {i.key for i in looked.inputs}
    for name in without:
        if name not in kinds:
            raise unknown_name("kind of input", name, sorted(kinds))
    kept = [i for i in looked.inputs if not {i.kind, i.key} & {*without}]
    steps = looked.values(shifted(looked.inputs), 1 + 2 * len(looked.inputs))
    on = np.array([i in kept for i in looked.inputs], dtype=bool)
    scores = drawn(kept, draws, seed)
    if BATCH in scores:
        scores[WIDTH] = normals(WIDTH, draws, seed)
    return Draws(
        outlook=looked,
        scores=scores,
        seed=seed,
        count=draws,
        best={name: values[0] for name, values in steps.items()} | looked.medians(),
        values=looked.values(scores, draws),
        effects={
            name: np.where(on, of_shifts(on_scale(name, values), looked.inputs), 0.0)
            for name, values in steps.items()
        },
    )
