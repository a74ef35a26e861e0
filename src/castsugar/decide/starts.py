"""Which trials to search on from: the best of their neighbourhoods."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from castsugar.arrays import FloatArray
from castsugar.decide.judge import Judge
from castsugar.decide.ledger import Trials
from castsugar.decide.region import Region

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
    trials : Trials
    judge : Judge
    regions : sequence of Region
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
    found: list[int] = []
    looked = rows[:_LOOKED_AT]
    for place, row in enumerate(looked):
        if len(found) + len(chosen) >= most:
            break
        better = np.concatenate([looked[:place], np.array(chosen, dtype=np.int64)])
        if not len(better) or apart(fractions[row], fractions[better]).min() > space:
            found.append(int(row))
    return found
