"""How far the burn rates of two mixes differ: recipes, or the next grains."""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np

from castsugar.frozen import dataclass
from castsugar.motor import scatter
from castsugar.motor.burn_evidence import coordinates, places_of
from castsugar.motor.burn_model import BurnModel
from castsugar.motor.scatter import CENTRE
from castsugar.numerics import quantile_of_normals
from castsugar.special import ndtr


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Difference:
    """ln r of one mix less that of another."""

    pressure: float  # [Pa]
    #: The best estimate and its standard uncertainty.
    mean: float
    u: float
    #: The 95 % interval.
    low: float
    high: float
    chance: float  # that the first burns faster

    @property
    def told(self) -> bool:
        """Whether the interval leaves out that they are alike."""
        return self.low > 0.0 or self.high < 0.0


def difference(  # noqa: PLR0913 - keyword-only options
    model: BurnModel,
    mixes: tuple[Mapping[str, float], Mapping[str, float]],
    *,
    pressure: float = CENTRE,
    processes: tuple[str, str] = ("", ""),
    degraded: tuple[float, float] = (0.0, 0.0),
    grains: bool = False,
    added: tuple[float, float] = (0.0, 0.0),
) -> Difference:
    """Return how far the rates of two mixes differ.

    Parameters
    ----------
    mixes : tuple of two mappings
        Catalogue name to mass fraction as weighed.
    pressure : float
        [Pa]
    grains : bool
        Of the next grain of each, so with the scatter of batches and firings; else of
        the recipes, as trend and surface have them without the signs held beforehand.
    added : tuple of float
        What else counts, with its standard uncertainty. With the difference of the ln
        of the pressure per burn rate, the sign is that of the peaks: a motor stands
        below P exactly when ln r(P) + ln S <= ln P.
    """
    x = math.log(pressure / CENTRE)
    names, w = model.rows.over([coordinates(mix) for mix in mixes])
    number = [model.process_number(p) for p in processes]
    pair = places_of(w, x, process=number, degraded=degraded)
    mean, variance = model.apart(pair, names, trend=grains)
    mean = mean + added[0]
    if grains:
        own = model.widths.between**2 + (x * scatter.EXPONENT_BATCH) ** 2
        variance = variance + 2.0 * (own + model.scatter.firing**2)
    weights, sd = model.weights, np.sqrt(variance + added[1] ** 2)
    middle, u = model.mixed(mean, sd**2)
    ends = [quantile_of_normals(weights, mean, sd, share) for share in (0.025, 0.975)]
    with np.errstate(invalid="ignore", divide="ignore"):
        z = np.where(sd > 0.0, mean / sd, np.sign(mean) * np.inf)
    chance = weights @ np.where(np.isnan(z), 0.5, ndtr(z))
    return Difference(
        pressure=pressure,
        mean=middle,
        u=u,
        low=ends[0],
        high=ends[1],
        chance=float(chance),
    )


#: Batches of each mix that tell a difference in 80 of 100 cases, strands a batch, and
#: batches more than the formula says because their scatter is learnt from them, too: of
#: worlds with a known truth, 4 to 5, 8 to 10 and 12 to 14 batches tell 6 % at a scatter
#: of 2, 4 and 5 %.
_STRANDS, _LEARNING = 4, 2.0

#: More batches than anybody cooks to tell two mixes apart.
MOST_BATCHES = 50


def batches_to_tell(apart: float, batch: float, strand: float) -> int:
    """Return how many batches of each mix tell a difference.

    Parameters
    ----------
    apart : float
        Difference of ln r.
    batch, strand : float
        Scatter between batches, and between strands, four of a batch.

    Returns
    -------
    int
        One more than :data:`MOST_BATCHES` for any number above it.

    Notes
    -----
    Of two means of n batches with n known: 2 (1.96 + 0.84)^2 = 16 times the variance of
    one over the square of the difference.

    Examples
    --------
    >>> [batches_to_tell(0.06, scatter, 0.025) for scatter in (0.02, 0.04, 0.05)]
    [5, 10, 14]
    """
    variance = batch**2 + strand**2 / _STRANDS
    wanted = 16.0 * variance / max(apart**2, 1e-12) + _LEARNING
    return min(math.ceil(wanted), MOST_BATCHES + 1)
