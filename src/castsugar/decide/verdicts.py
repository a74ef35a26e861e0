"""One column of one mix beside the baseline, and the rule of the verdict."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from castsugar.arrays import FloatArray
from castsugar.decide.summary import Part, Summary
from castsugar.decide.through import DECADES

#: Which way is better, where the trade agrees: more impulse from the same mass or
#: volume, a mix that pours more easily. Flame, pressure, density, condensed share and
#: setting are good or bad by what is wanted: they are only higher or lower.
BETTER: Mapping[str, str] = {
    "characteristic_velocity_m_s": "higher",
    "specific_impulse_s": "higher",
    "density_impulse_kg_s_m3": "higher",
    "pour_viscosity_Pa_s": "lower",
}

HIGHER, LOWER, CANNOT_TELL = "higher", "lower", "cannot tell"

#: The rule in words, for reports.
RULE = (
    "higher or lower if the 95 % interval of the paired difference excludes 0, "
    "otherwise cannot tell; better or worse only for columns with an agreed direction"
)

#: Share of paired draws that may have failed before nothing is told.
MOST_FAILED = 0.05


@dataclass(frozen=True, slots=True, kw_only=True)
class Cell:
    """One column of one mix, beside the baseline.

    Attributes
    ----------
    column : str
    value : float
        With every input at its middle; of viscosity the median of the draws.
    interval : tuple of float
        95 %. Moisture acts one way only: the value may stand near an end.
    difference : Summary
        Of the paired draws, mix less baseline; of ln for viscosity.
    chance_higher : float
        Probability that the difference is above 0, ties shared.
    verdict : str
        "higher", "lower" or "cannot tell".
    merit : str
        "better" or "worse" where the column has an agreed direction and the verdict is
        not "cannot tell"; otherwise empty.
    best : float
        Probability of being the best of all mixes, ties shared; NaN for a column
        without an agreed direction.
    failed : float
        Share of draws without a number.
    one_step : float
        Largest change that one scale step too much of one item makes.
    step_item : str
        Which item; empty where none matters.
    parts : tuple of Part
        Of the doubt of the difference, largest share first; for the baseline itself, of
        its value.
    """

    column: str
    value: float
    interval: tuple[float, float]
    difference: Summary
    chance_higher: float
    verdict: str
    merit: str
    best: float
    failed: float
    one_step: float
    step_item: str
    parts: tuple[Part, ...]

    def to_dict(self) -> dict[str, Any]:
        """Return plain values; units are those in the name of the column."""
        ratio = self.column in DECADES
        return {
            "column": self.column,
            "value": self.value,
            "interval": list(self.interval),
            "difference": self.difference.median,
            "difference_interval": list(self.difference.interval),
            "difference_is": "ln of the ratio" if ratio else "mix less baseline",
            "probability_higher": self.chance_higher,
            "verdict": self.verdict,
            "merit": self.merit,
            "probability_best": self.best,
            "share_failed": self.failed,
            "one_scale_step": self.one_step,
            "one_scale_step_of": self.step_item,
            "doubt": [
                {"input": p.input.label, "effect": p.effect, "share": p.share}
                for p in self.parts
            ],
        }


def verdict(difference: Summary) -> str:
    """Return "higher", "lower" or "cannot tell" of a paired difference.

    By the rule of :data:`RULE`; "cannot tell" too where more than 5 % of the draws
    failed.
    """
    low, high = difference.interval
    if difference.failed > MOST_FAILED or math.isnan(low):
        return CANNOT_TELL
    if low > 0.0:
        return HIGHER
    return LOWER if high < 0.0 else CANNOT_TELL


def chance_above(difference: FloatArray) -> float:
    """Return the probability that a paired difference is above 0, ties shared.

    Examples
    --------
    >>> chance_above(np.array([1.0, 2.0, -1.0, 0.0]))
    0.625
    """
    kept = difference[~np.isnan(difference)]
    if not kept.size:
        return math.nan
    return float(np.mean((kept > 0.0) + 0.5 * (kept == 0.0)))


def chance_of_best(values: FloatArray, better: str) -> FloatArray:
    """Return the probability of each mix of being the best one, (mixes,).

    Parameters
    ----------
    values : ndarray, shape (draws, mixes)
        Paired; a draw in which a mix failed does not let it win.
    better : str
        "higher", "lower", or empty: NaN.

    Examples
    --------
    >>> chance_of_best(np.array([[1.0, 2.0], [3.0, 3.0]]), "higher").tolist()
    [0.25, 0.75]
    """
    if not better:
        return np.full(values.shape[1], np.nan)
    merit = values if better == HIGHER else -values
    known = np.where(np.isnan(merit), -np.inf, merit)
    wins = (known == known.max(axis=1, keepdims=True)) & ~np.isnan(merit)
    each = wins.sum(axis=1, keepdims=True)
    counted = each[:, 0] > 0
    if not counted.any():
        return np.full(values.shape[1], np.nan)
    return (wins[counted] / each[counted]).mean(axis=0)
