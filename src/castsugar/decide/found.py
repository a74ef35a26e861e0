"""The answer of a search: the mix, what holds it back, what would buy more."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from castsugar.arrays import FloatArray
from castsugar.decide.ledger import Trials
from castsugar.decide.problem import Goal, Limit

#: Why a search is incomplete: Ctrl-C in it, or after it.
INTERRUPTED = "interrupted"
INTERRUPTED_AFTER = (
    "interrupted after the search, before all of it was looked at and confirmed"
)

#: A shadow price is confirmed when re-optimising differs by less than this share.
AGREEMENT = 0.05


@dataclass(frozen=True, slots=True, kw_only=True)
class Price:
    """What moving a limit does to the best objective: a derivative.

    In units of the objective per unit of the limit: for a limit on a column, as its
    number rises; for a row of the space, as it is relaxed.

    Attributes
    ----------
    multiplier : float
        From the conditions of Karush, Kuhn and Tucker at the optimum.
    relaxed, tightened : float
        By searching again with the limit moved by `step` either way; NaN if not done.
        They differ where something else begins or ceases to bind at the optimum.
    step : float
        In the unit of the limit.
    """

    multiplier: float
    relaxed: float = math.nan
    tightened: float = math.nan
    step: float = math.nan

    @property
    def searched(self) -> float:
        """Return the mean of the sides that were searched again."""
        sides = [v for v in (self.relaxed, self.tightened) if not math.isnan(v)]
        return sum(sides) / len(sides) if sides else math.nan

    @property
    def confirmed(self) -> bool:
        """Say whether searching again agrees with the multiplier within 5 %."""
        size = max(abs(self.multiplier), abs(self.searched))
        return abs(self.searched - self.multiplier) <= AGREEMENT * size


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
    """A mix that is really different and nearly as good.

    Attributes
    ----------
    fractions : ndarray, shape (k,)
    choice : mapping
    objective : float
    slacks : mapping
        Name of each limit to its slack.
    distance : float
        Share of the mix to exchange to get the best one.
    polished : bool
        Whether a local search ended here; else it is a trial of the lattice.
    """

    fractions: FloatArray
    choice: Mapping[str, str]
    objective: float
    slacks: Mapping[str, float]
    distance: float
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
    """What a search found.

    Attributes
    ----------
    status : str
        "optimal"; "infeasible" (the mix is the one that violates least); "incomplete"
        (stopped early, the best so far).
    reason : str
        Why it is incomplete.
    goal : Goal
    ingredients : tuple of str
    choice : mapping
        Slot to the alternative chosen.
    fractions : ndarray, shape (k,)
    values : mapping
        Column to value at the mix.
    limits : tuple of LimitState
    rows : tuple of RowState
        Those that bind.
    stationarity : float
        What the prices leave of the objective's slope, as a share; NaN if not known.
    violation : float
        Largest violation of a limit, as a share of it (of its logarithm: difference).
    runners_up : tuple of Runner
    relaxations : tuple of Relaxation
        Infeasible only: limits of which each alone would do.
    trials : Trials
        Everything that was evaluated.
    batches : int
        Calls of the problem.
    seed : int
    """

    status: str
    reason: str
    goal: Goal
    ingredients: tuple[str, ...]
    choice: Mapping[str, str]
    fractions: FloatArray
    values: Mapping[str, float]
    limits: tuple[LimitState, ...]
    rows: tuple[RowState, ...]
    stationarity: float
    violation: float
    runners_up: tuple[Runner, ...]
    relaxations: tuple[Relaxation, ...]
    trials: Trials
    batches: int
    seed: int

    @property
    def objective(self) -> float:
        """Return the objective of the mix, in its unit."""
        return self.values[self.goal.objective]

    @property
    def recipe(self) -> dict[str, float]:
        """Return ingredient to mass fraction, without those that are 0."""
        pairs = zip(self.ingredients, self.fractions.tolist(), strict=True)
        return {name: share for name, share in pairs if share > 0.0}
