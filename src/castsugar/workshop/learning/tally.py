"""How many predictions came true, and what that says."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

#: Probability of the bands.
LEVEL = 0.95

#: Below so many a good band and one that holds only four of five are not told apart:
#: even if all of n lie inside, the exact lower 95 % limit of the share,
#: 0.025**(1/n), is below 0.8 up to n = 16.
FEW = 17

#: A band whose ends lie further apart than this factor holds nearly anything.
WIDE = 10.0

#: Chance below which too few inside is called more than bad luck.
ODD = 0.05


@dataclass(frozen=True, slots=True, kw_only=True)
class Check:
    """One thing that was foreseen of a batch and measured later.

    Attributes
    ----------
    batch, quantity, unit : str
    predicted, low, high : float
        As foreseen, and the 95 % band in which the measurement was to lie: the doubt of
        the prediction and that of the reading.
    measured : float
    counts : bool
        Whether it is a test of the band.
    note : str
        Why not, or a remark.
    discarded : bool
        Whether the batch was discarded after it was measured.
    """

    batch: str
    quantity: str
    unit: str
    predicted: float
    low: float
    high: float
    measured: float
    counts: bool = True
    note: str = ""
    discarded: bool = False

    @property
    def above(self) -> bool:
        """Whether the measurement lies above the band."""
        return self.measured > self.high

    @property
    def inside(self) -> bool:
        """Whether the measurement lies within the band."""
        return self.low <= self.measured <= self.high


@dataclass(frozen=True, slots=True, kw_only=True)
class Skipped:
    """A measurement that no prediction of that day answers."""

    batch: str
    quantity: str
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Tally:
    """How many lie inside.

    Attributes
    ----------
    count, inside : int
    expected : float
        Of `count` bands of 95 %.
    so_few : float
        Chance that as few or fewer lie inside if the bands are what they say and the
        predictions independent (binomial); NaN without any.
    share_low, share_high : float
        Exact 95 % interval of the share inside (C. J. Clopper, E. S. Pearson,
        Biometrika 26 (1934) 404, from memory); NaN without any.
    wide : int
        Bands whose ends lie more than a factor :data:`WIDE` apart.
    """

    count: int
    inside: int
    wide: int
    expected: float
    so_few: float
    share_low: float
    share_high: float

    @property
    def few(self) -> bool:
        """Whether there are too few to tell a good band from a poor one."""
        return self.count < FEW


def tally(checks: Sequence[Check]) -> Tally:
    """Count those that are tests of their bands.

    Examples
    --------
    >>> tally([]).count
    0
    """
    from scipy.stats import binom, binomtest

    counted = [c for c in checks if c.counts]
    n, k = len(counted), sum(c.inside for c in counted)
    if not n:
        gone = math.nan
        return Tally(
            count=0,
            inside=0,
            wide=0,
            expected=0.0,
            so_few=gone,
            share_low=gone,
            share_high=gone,
        )
    share = binomtest(k, n).proportion_ci(LEVEL, "exact")
    return Tally(
        count=n,
        inside=k,
        wide=sum(c.high > WIDE * c.low for c in counted),
        expected=LEVEL * n,
        so_few=float(binom.cdf(k, n, LEVEL)),
        share_low=float(share.low),
        share_high=float(share.high),
    )
