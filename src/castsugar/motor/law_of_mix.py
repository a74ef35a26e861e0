"""The burn law of one mix in a motor, out of the model of all that was burned."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from castsugar.arrays import FloatArray
from castsugar.motor.burn_law import REFERENCE_PRESSURE, Band, BurnLaw
from castsugar.motor.burn_model import MIX, Asked, BurnModel
from castsugar.motor.burn_widths import matern
from castsugar.motor.mass_balance import Bands
from castsugar.motor.scatter import BEND_LENGTH, CENTRE, EXPONENT_BATCH

#: ln(p / 2.5 MPa) at which bands of the law may meet. Between them it is a power law,
#: so that a bend that the strands show is followed.
_MEETS: Final = np.arange(-2.5, 2.1, 0.5)

#: Ends of a law where nothing was burned, or at one pressure alone. [Pa]
_LEAST, _MOST = 0.2e6, 10.0e6

#: Pressures on both sides of the centre, in ln p, that give the exponent there.
_ASIDE: Final = 0.5


def law_of_mix(
    model: BurnModel,
    fractions: FloatArray,
    components: Sequence[str],
    *,
    degraded: float = 0.0,
    asked: Asked | None = None,
    origin: str = "",
) -> BurnLaw:
    """Return the burn law of one mix.

    Parameters
    ----------
    fractions : ndarray, shape (c,)
        As weighed.
    degraded : float
        Degraded share of the sugar.
    asked : Asked, optional
        By default grains of the next batch in a motor.

    Returns
    -------
    BurnLaw
        At 2.5 MPa the uncertainties of ln r and of n, everything in them.

    Raises
    ------
    InputError
        For an exponent of 1 or more in a band.
    """
    asked = asked or Asked()
    edges, at = _meeting(model)
    means, slopes = _lines(model, np.atleast_2d(fractions), components, asked, degraded)
    bands = []
    for (below, above), p, y, n in zip(
        itertools.pairwise(edges), at, means[0], slopes[0].tolist(), strict=False
    ):
        rate = math.exp(y) * (REFERENCE_PRESSURE / float(p)) ** n
        bands.append(Band(low=below, high=above, rate=rate, exponent=n))
    u = float(model.rates(fractions, components, CENTRE, asked, degraded).u[0])
    slope_u = exponent_of(model, fractions, components, asked, degraded)[1]
    return BurnLaw(
        name="the model of burn rates",
        bands=tuple(bands),
        log_rate_u=u,
        covariance=((u**2, 0.0), (0.0, slope_u**2)),
        centre=CENTRE,
        origin=origin,
        status="estimated",
        invented=model.invented,
    )


def _meeting(model: BurnModel) -> tuple[list[float], FloatArray]:
    """Return the ends of the bands, and pressures at which lines meet the model."""
    low, high = tested(model)
    if high < 1.01 * low:
        low, high = 0.0, math.inf
    ends = (low or _LEAST, min(high, _MOST) if math.isinf(high) else high)
    inside = CENTRE * np.exp(_MEETS)
    inside = inside[(inside > 1.01 * ends[0]) & (inside < 0.99 * ends[1])]
    return [low, *inside.tolist(), high], np.array([ends[0], *inside, ends[1]])


def _lines(
    model: BurnModel,
    fractions: FloatArray,
    components: Sequence[str],
    asked: Asked,
    degraded: ArrayLike,
) -> tuple[FloatArray, FloatArray]:
    """Return ln r of mixes (n, c) where the lines meet, (n, p), and their slopes."""
    at = _meeting(model)[1]
    told = [model.rates(fractions, components, float(p), asked, degraded) for p in at]
    means = np.stack([one.mean for one in told], axis=1)
    return means, np.diff(means, axis=1) / np.diff(np.log(at))


def bands_of_mixes(
    model: BurnModel,
    fractions: FloatArray,
    components: Sequence[str],
    *,
    degraded: ArrayLike,
    asked: Asked,
) -> Bands:
    """Return the laws of many mixes, (n, c), as :func:`law_of_mix` does that of one."""
    edges, at = _meeting(model)
    means, slopes = _lines(model, fractions, components, asked, degraded)
    return Bands(
        edges=np.array(edges[1:-1]),
        log_rate=means[:, :-1] + slopes * np.log(REFERENCE_PRESSURE / at[:-1]),
        exponent=slopes,
        tested=(edges[0], edges[-1]),
    )


def tested(model: BurnModel) -> tuple[float, float]:
    """Return the pressures between which anything burned; 0 and infinity: none. [Pa]"""
    known = [one.pressure for one in model.evidence]
    if not known:
        return 0.0, math.inf
    every = np.concatenate(known)
    return float(every.min()), float(every.max())


def exponent_of(
    model: BurnModel,
    fractions: FloatArray,
    components: Sequence[str],
    asked: Asked,
    degraded: float = 0.0,
) -> tuple[float, float]:
    """Return the exponent of a mix at 2.5 MPa, and its standard uncertainty.

    The latter by what the mix itself adds on both sides of there: the sum of both
    variances holds the level twice, the slope twice. A bend is as wide everywhere, so
    that this sum does not see it; the slope that it may have is added as held
    beforehand.
    """
    recipe = replace(asked, of=MIX, motor=False)
    low, middle, high = (
        model.rates(fractions, components, CENTRE * math.exp(x), recipe, degraded)
        for x in (-_ASIDE, 0.0, _ASIDE)
    )
    n = float(high.mean[0] - low.mean[0]) / (2.0 * _ASIDE)
    slope = 0.5 * float(low.u[0] ** 2 + high.u[0] ** 2) - float(middle.u[0]) ** 2
    own = EXPONENT_BATCH**2 if asked.of != MIX else 0.0
    return n, math.sqrt(max(slope / _ASIDE**2, 0.0) + own + _slope_of_a_bend(model))


def _slope_of_a_bend(model: BurnModel) -> float:
    """Return the variance of the exponent between both sides that a bend makes."""
    apart = 2.0 * _ASIDE
    alike = float(matern(np.array(math.sqrt(5.0) * apart / BEND_LENGTH)))
    size = float(model.weights @ model.widths.bend**2)
    return 2.0 * size * (1.0 - alike) / apart**2
