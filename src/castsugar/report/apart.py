"""Recipes told apart by burning rate, in words: how far, of what, and why not."""

from __future__ import annotations

import math
from collections.abc import Mapping

from castsugar.comparison.compare import Cell
from castsugar.comparison.in_motor import Apart
from castsugar.motor.mix_difference import (
    MOST_BATCHES,
    Difference,
    batches_to_tell,
)
from castsugar.report import numbers
from castsugar.report.shown import Shown


def decided_at(cell: Cell, show: Shown) -> str:
    """Name what a pressure or burning rate was told of, and at which pressure."""
    if cell.recipes is None:
        return ""
    told = show.amount("pressure", 1e-6 * cell.recipes.rate.pressure)
    return f"recipes at {told}"


def percents(one: Difference) -> tuple[str, str, str]:
    """Write a difference of ln and its 95 % interval in per cent."""
    ends = (100.0 * math.expm1(y) for y in (one.mean, one.low, one.high))
    return numbers.signed(*ends)


def why_open(cell: Cell, names: tuple[str, str], higher: float) -> str:
    """Say why the recipes of a cell are not told apart, with the chance of the sign.

    Parameters
    ----------
    cell : Cell
        Of a pressure.
    names : tuple of str
        Of the mix, and of the baseline.
    higher : float
        Chance that the mix is higher.
    """
    found = cell.recipes
    if found is None:
        return ""
    word = "lower" if higher < 0.5 else "higher"
    share = numbers.percent(max(higher, 1.0 - higher))
    chance = f"chance that it is {word} {share} %"
    text = not_burned(dict(zip(names, found.away, strict=True)))
    if not text and math.isnan(found.seen):
        text = "the interval holds 0"
    elif not text:
        text = _why_burned(found)
        chance += ", one batch each" if found.batches == (1, 1) else ""
    unlike = f"made unlike ({', '.join(found.unlike)}); " if found.unlike else ""
    return f"{unlike}{text}; {chance}"


def not_burned(away: Mapping[str, tuple[float, str]]) -> str:
    """Say which mixes were not burned, and how far they lie; empty for none."""
    bare = {name: own for name, own in away.items() if own[0] != 0.0}
    if not bare:
        return ""
    if any(math.isnan(share) for share, _ in bare.values()):
        return "nothing was burned"
    text = f"{numbers.listed([*bare])} {'was' if len(bare) == 1 else 'were'} not burned"
    from_one = len({near for _, near in bare.values()}) == 1
    shares = [numbers.percent(share) for share, _ in bare.values()]
    if from_one:
        near = next(iter(bare.values()))[1]
        return f"{text}: {numbers.listed(shares)} % of the mass from {near}"
    far = [
        f"{s} % of the mass from {n}"
        for s, (_, n) in zip(shares, bare.values(), strict=True)
    ]
    return f"{text}: {numbers.listed(far)}"


def _why_burned(found: Apart) -> str:
    """Say how far batches that were burned differ, and how many would tell."""
    seen = abs(found.seen)
    apart = f"{numbers.percent(math.expm1(seen))} %"
    if found.batches != (1, 1):
        count = batches_to_tell(seen, found.scatter, found.strand)
        return (
            f"{found.batches[0]} and {found.batches[1]} batches, the last ones "
            f"{apart} apart in rate; {_batches(count)} of each would tell if yours "
            f"scatter by {numbers.percent(found.scatter)} %"
        )
    few, more = (batches_to_tell(seen, s, found.strand) for s in (0.02, 0.04))
    text = f"the two batches differ by {apart} in rate, batches of one mix may differ "
    text += f"as much. About {_batches(few)} of each would tell"
    if few == more:
        return text
    more_said = _batches(more).removesuffix(" batches")
    return f"{text} if your scatter is 2 %, {more_said} at 4 %"


def _batches(count: int) -> str:
    return f"{count} batches" if count <= MOST_BATCHES else f"more than {MOST_BATCHES}"
