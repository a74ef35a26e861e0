"""The stages that every search shares: lattice, local searches, last look."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from castsugar.decide.comb import cloud
from castsugar.decide.filling import fill
from castsugar.decide.judge import Judge
from castsugar.decide.ledger import Ledger
from castsugar.decide.polish import Manner, Polished, polish
from castsugar.decide.poll import poll
from castsugar.decide.problem import Goal
from castsugar.decide.rivals import Board
from castsugar.decide.starts import Start, choose
from castsugar.decide.together import Search, together
from castsugar.errors import ConvergenceError, InputError

#: Mixes of the lattice in one batch.
_BATCH = 1024

#: Gain of the last look, of the objective's size, for which it is searched on.
_WORTH = 1e-9

#: Most last looks, and gain of a cloud of mixes for which it is searched on.
_LOOKS, _GAIN = 3, 1e-5

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


def sow(ledger: Ledger, effort: Effort) -> None:
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


def climb(ledger: Ledger, judge: Judge, effort: Effort) -> list[Polished]:
    """Search from the best distinct trials; return where the searches ended."""
    freedom = max(region.dimension for region in ledger.regions)
    count = effort.starts or 1 + 3 * freedom // 2
    starts = choose(ledger.trials(), judge, ledger.regions, count)
    if not starts:
        raise ConvergenceError(
            f"none of the {len(ledger.trials())} mixes tried could be computed for "
            f"{judge.goal.objective} and its limits; look at the status of their rows"
        )
    ledger.stage = "polish"
    manner = Manner(board=Board())
    return together(ledger, [_from(ledger, judge, s, manner) for s in starts])


def _from(
    ledger: Ledger, judge: Judge, start: Start, manner: Manner
) -> Search[Polished]:
    region = ledger.regions[start.region]
    return polish(region, start.region, judge, start.fractions, manner=manner)


def secure(ledger: Ledger, judge: Judge, effort: Effort) -> list[Polished]:
    """Look around the best mix once more, and search on if that helps."""
    ends: list[Polished] = []
    for turn in range(_LOOKS):
        before = best_start(ledger, judge)
        standing = stand(ledger, judge)
        ledger.stage = "poll"
        region = ledger.regions[before.region]
        if region.dimension == 0:
            break
        look = poll(region, before.region, judge, before.fractions, effort.seed)
        together(ledger, [look])
        if not _better(stand(ledger, judge), standing, _WORTH):
            _comb(ledger, best_start(ledger, judge), effort.seed, turn)
            if not _better(stand(ledger, judge), standing, _GAIN):
                break
        ledger.stage = "polish"
        start = best_start(ledger, judge)
        ends += together(ledger, [_from(ledger, judge, start, Manner(radius=_NEAR))])
    return ends


def _comb(ledger: Ledger, best: Start, seed: int, turn: int) -> None:
    """Evaluate a cloud of mixes around the best one."""
    points = cloud(ledger.regions[best.region], best.fractions, seed, turn)
    if len(points):
        ledger.ask(points, np.full(len(points), best.region))


def stand(ledger: Ledger, judge: Judge) -> tuple[float, float]:
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
