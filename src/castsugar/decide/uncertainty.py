"""Draws of rows, their intervals, and where the doubt comes from.

Monte-Carlo as in JCGM 101:2008 (supplement 1 to the guide): draws of independent inputs
through the whole model; interval by 7.7.2, probabilistically symmetric. Beside it the
guide's linear propagation with analytic derivatives, as a check.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.stats import rankdata

from castsugar.arrays import FloatArray
from castsugar.checks import whole
from castsugar.decide.conditions import Conditions, Doubts
from castsugar.decide.inputs import Input, drawn, of_shifts, shifted
from castsugar.decide.outlook import Outlook
from castsugar.decide.summary import Part, Summary, parts_of, summarise
from castsugar.decide.through import THERMO, less, on_scale
from castsugar.errors import InputError, unknown_name
from castsugar.mix.mix import MixLike
from castsugar.numerics import carried, variance

#: A squared rank correlation below this over the number of draws is chance: 3 sigma.
_CHANCE = 9.0

#: A difference within this share of the values is rounding.
_ROUNDING = 1e-12

#: Draws and seed by default; the fewest draws that a 95 % interval is taken from.
DRAWS, SEED, FEWEST = 2000, 1, 100


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Draws:
    """Rows drawn together.

    Attributes
    ----------
    outlook : Outlook
        Mixes, conditions and inputs.
    seed, count : int
    scores : dict of str to ndarray, shape (count,)
        Standard normal scores of the inputs that were drawn, by key.
    best : dict of str to ndarray, shape (mixes,)
        Every input in the middle, powders as dry as the recipe says.
    values : dict of str to ndarray, shape (count, mixes)
        Row i is the same world for all mixes.
    effects : dict of str to ndarray, shape (mixes, inputs)
        Change per standard deviation of each input, one moved at a time through the
        whole model (half the difference between one up and one down); of ln for
        viscosity. NaN where a step jams.
    """

    outlook: Outlook
    seed: int
    count: int
    scores: Mapping[str, FloatArray]
    best: Mapping[str, FloatArray]
    values: Mapping[str, FloatArray]
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
        column : str
        mix : int
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
        return parts_of(self.inputs, row, row**2)

    def _by_rank(self, column: str, mix: int, baseline: int | None) -> list[Part]:
        """Return shares where a step jams: squared rank correlations of the draws."""
        found = self.values[column][:, mix]
        if baseline is not None:
            found = self.difference(column, mix, baseline)
        kept = ~np.isnan(found)
        squares = np.zeros(len(self.inputs))
        if kept.sum() >= FEWEST and np.ptp(ranks := rankdata(found[kept])) > 0.0:
            for place, one in enumerate(self.inputs):
                if one.key in self.scores:
                    own = self.scores[one.key][kept]
                    own = np.abs(own) if one.half else own
                    r = np.corrcoef(ranks, rankdata(own))[0, 1]
                    # Chance alone gives 1 / n on average.
                    squares[place] = r**2 if r**2 * kept.sum() > _CHANCE else 0.0
        return parts_of(self.inputs, np.full(len(squares), np.nan), squares)

    def known(self, column: str) -> str:
        """Return the name of a column, once it is known to be drawn."""
        if column not in self.values:
            raise unknown_name("drawn column", column, self.columns)
        return column


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Linear:
    """The guide's linear propagation with analytic derivatives.

    Attributes
    ----------
    columns : tuple of str
    uncertainty : ndarray, shape (mixes, columns)
        Standard uncertainty of every column.
    jacobian : ndarray, shape (mixes, columns, inputs)
        Per standard deviation of each input.
    """

    columns: tuple[str, ...]
    uncertainty: FloatArray
    jacobian: FloatArray

    def covariance(self, mix: int) -> FloatArray:
        """Return the covariance of the columns of one mix."""
        size = self.jacobian.shape[-1]
        return carried(self.jacobian[mix], np.eye(size))

    def of_difference(self, mix: int, baseline: int) -> FloatArray:
        """Return the standard uncertainty of the columns' differences, (columns,)."""
        row = self.jacobian[mix] - self.jacobian[baseline]
        return np.sqrt(variance(row, np.eye(row.shape[-1])))


def draw(
    mixes: Iterable[MixLike] | Outlook,
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
    mixes : iterable of Mix, recipes or recipe texts, or an Outlook of them
    conditions : Conditions, optional
    doubts : Doubts, optional
        For an Outlook both are its own.
    draws : int
        At least 100.
    seed : int
    without : sequence of str
        Kinds or keys of inputs that are held in the middle.

    Returns
    -------
    Draws

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
    if not isinstance(looked, Outlook):
        looked = Outlook.of(looked, conditions, doubts)
    kinds = {i.kind for i in looked.inputs} | {i.key for i in looked.inputs}
    for name in without:
        if name not in kinds:
            raise unknown_name("kind of input", name, sorted(kinds))
    kept = [i for i in looked.inputs if not {i.kind, i.key} & {*without}]
    steps = looked.values(shifted(looked.inputs), 1 + 2 * len(looked.inputs))
    on = np.array([i in kept for i in looked.inputs], dtype=bool)
    scores = drawn(kept, draws, seed)
    return Draws(
        outlook=looked,
        scores=scores,
        seed=seed,
        count=draws,
        best={name: values[0] for name, values in steps.items()},
        values=looked.values(scores, draws),
        effects={
            name: np.where(on, of_shifts(on_scale(name, values), looked.inputs), 0.0)
            for name, values in steps.items()
        },
    )


def linear(outlook: Outlook) -> Linear:
    """Propagate linearly: thermo columns, analytic derivatives.

    Parameters
    ----------
    outlook : Outlook

    Raises
    ------
    InputError
        For frozen flow.
    """
    jacobian = outlook.jacobian()
    size = jacobian.shape[-1]
    return Linear(
        columns=THERMO[:5],
        uncertainty=np.sqrt(variance(jacobian, np.eye(size))),
        jacobian=jacobian,
    )
