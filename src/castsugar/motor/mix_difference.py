"""How far the burn rates of two mixes differ: recipes, or the next grains."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from castsugar.arrays import FloatArray
from castsugar.motor import scatter
from castsugar.motor.burn_evidence import Places, alike
from castsugar.motor.burn_model import BurnModel, quantile
from castsugar.motor.scatter import CENTRE


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Difference:
    """ln r of one mix less that of another.

    Attributes
    ----------
    pressure : float
        [Pa]
    mean, low, high : float
        The best estimate, and its 95 % interval.
    chance : float
        That the first burns faster.
    """

    pressure: float
    mean: float
    low: float
    high: float
    chance: float

    @property
    def told(self) -> bool:
        """Whether the interval leaves out that they are alike."""
        return self.low > 0.0 or self.high < 0.0


def difference(  # noqa: PLR0913 - keyword-only options
    model: BurnModel,
    fractions: ArrayLike,
    components: Sequence[str],
    *,
    pressure: float = CENTRE,
    processes: tuple[str, str] = ("", ""),
    degraded: tuple[float, float] = (0.0, 0.0),
    grains: bool = False,
) -> Difference:
    """Return how far the rates of two mixes differ.

    Parameters
    ----------
    model : BurnModel
    fractions : array_like, shape (2, c)
        As weighed.
    components : sequence of str
    pressure : float
        [Pa]
    processes, degraded : of each
    grains : bool
        Of the next grain of each, so with the scatter of batches and firings; else of
        the recipes, as trend and surface have them without the signs held beforehand.
    """
    from scipy.special import ndtr

    x = math.log(pressure / CENTRE)
    names = tuple(dict.fromkeys((*model.rows.components, *map(alike, components))))
    w = _over(names, fractions, components)
    number = [model.process_number(p) for p in processes]
    places = Places(
        fractions=w,
        x=np.full(2, x),
        batch=np.full(2, -1),
        motor=np.zeros(2, dtype=bool),
        process=np.array(number),
        degraded=np.array(degraded, dtype=float),
    )
    means, covariances = model.joint(places, names, trend=grains)
    mean = means[:, 0] - means[:, 1]
    part = covariances[:, 0, 0] + covariances[:, 1, 1] - 2.0 * covariances[:, 0, 1]
    if grains:
        own = model.widths.between**2 + (x * scatter.EXPONENT_BATCH) ** 2
        part = part + 2.0 * (own + model.scatter.firing**2)
    sd = np.sqrt(np.maximum(part, 0.0))
    weights = model.weights
    middle = float(weights @ mean)
    ends = [quantile(weights, mean, sd, share) for share in (0.025, 0.975)]
    with np.errstate(invalid="ignore", divide="ignore"):
        z = np.where(sd > 0.0, mean / sd, np.sign(mean) * np.inf)
    chance = weights @ np.where(np.isnan(z), 0.5, ndtr(z))
    return Difference(
        pressure=pressure, mean=middle, low=ends[0], high=ends[1], chance=float(chance)
    )


def _over(
    names: Sequence[str], fractions: ArrayLike, components: Sequence[str]
) -> FloatArray:
    """Return compositions over these names, what is alike added up."""
    w = np.atleast_2d(np.asarray(fractions, dtype=float))
    found = np.zeros((len(w), len(names)))
    for name, column in zip(components, w.T, strict=True):
        found[:, names.index(alike(name))] += column
    return found


#: Batches of each mix that tell a difference of 6 % four times of five, where batches
#: scatter by 2 and by 4 %. Our own simulation; it goes with the square.
_TELLS: Final = (0.06, (5, 8))


def batches_to_tell(apart: float) -> tuple[int, int]:
    """Return how many batches of each mix would tell a difference of ln r.

    Where batches of one mix scatter by 2 and by 4 %; two of each at least.

    Examples
    --------
    >>> batches_to_tell(0.06), batches_to_tell(-0.03)
    ((5, 8), (20, 32))
    """
    known, counts = _TELLS
    more = (known / max(abs(apart), 1e-6)) ** 2
    first, second = (max(2, math.ceil(count * more - 1e-9)) for count in counts)
    return first, second
