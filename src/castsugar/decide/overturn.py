"""What would overturn a verdict, and what knowing better would settle."""

from __future__ import annotations

import math
from dataclasses import dataclass

from castsugar.decide.inputs import Input
from castsugar.decide.verdicts import CANNOT_TELL, Cell

#: Half-width of a 95 % interval over the standard deviation, of a normal.
_WIDE = 1.959964

#: Nothing that an input may do in so many standard uncertainties is worth telling.
FAR = 10.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Overturn:
    """What stands against the verdict on one column.

    Attributes
    ----------
    column : str
    verdict : str
    input : Input or None
        The one that does most; None where nothing is uncertain.
    share : float
        Of the variance of the difference.
    steps : float
        By how many standard uncertainties that input would have to be off, to bring the
        difference to 0; NaN where effects are not known or the verdict is open.
    alone : bool
        For an open verdict: whether knowing that input exactly would settle it.
    """

    column: str
    verdict: str
    input: Input | None
    share: float
    steps: float
    alone: bool


def overturn_of(cell: Cell) -> Overturn:
    """Return what stands against the verdict of a cell.

    First order: the median difference over the effect of one standard uncertainty. For
    an open verdict the interval without the input, half-width 1.96 s sqrt(1 - share).

    Parameters
    ----------
    cell : Cell
        Of the new mix, beside its baseline.
    """
    if not cell.parts:
        return Overturn(
            column=cell.column,
            verdict=cell.verdict,
            input=None,
            share=math.nan,
            steps=math.nan,
            alone=False,
        )
    first = cell.parts[0]
    middle, spread = cell.difference.median, cell.difference.deviation
    steps, alone = math.nan, False
    if cell.verdict == CANNOT_TELL:
        rest = spread * math.sqrt(max(1.0 - first.share, 0.0))
        alone = abs(middle) > _WIDE * rest
    elif math.isfinite(first.effect) and first.effect != 0.0:
        steps = -middle / first.effect
    return Overturn(
        column=cell.column,
        verdict=cell.verdict,
        input=first.input,
        share=first.share,
        steps=math.inf if abs(steps) > FAR else steps,
        alone=alone,
    )
