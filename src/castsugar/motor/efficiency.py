"""Efficiencies of c* and nozzle, learnt from firings as one pair."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

import numpy as np

from castsugar.arrays import BoolArray, FloatArray
from castsugar.errors import InputError
from castsugar.frozen import dataclass
from castsugar.numerics import quantile_of_normals

# ----------------------------------------------------------------------------
# What is held before anything was fired, and what a firing tells.

#: Delivered over ideal c*, delivered over ideal thrust coefficient of that expansion at
#: that pressure: medians, and how far (ln) a workshop lies from them. Assumed: small
#: motors deliver 0.80 to 0.98 of c*; cone, throat edge and lagging droplets take from
#: the thrust.
MEDIANS: Final = (0.92, 0.91)
SPREADS: Final = (0.06, 0.05)

#: Firing to firing of each (ln): median, and the standard deviation of its logarithm.
#: Assumed.
SCATTER, SCATTER_SPREAD = 0.012, 0.7

#: Correlation of the reading errors (ln) of the pair: a throat or a pressure read wrong
#: moves both, in opposite directions. Of 600 simulated sound firings.
READING_CORRELATION: Final = -0.86

#: Part of each reading error (ln) that all firings of a workshop share, so that no
#: number of them averages it out: a sensor holds its calibration to 1 %. Assumed; of a
#: reading that is known better, at most :data:`_MOST_SHARED` of its own.
SHARED: Final = (0.010, 0.012)
_MOST_SHARED = 0.8

#: Values of each scatter, evenly spread over so many standard deviations to each side.
_VALUES, _REACH = 17, 3.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """What one firing tells of the pair; NaN where it tells nothing.

    Both are delivered over ideal, with the standard uncertainty of the logarithm.

    Raises
    ------
    InputError
        A value or its uncertainty that is not above 0; nothing told at all.
    """

    name: str  # how errors call it
    characteristic_velocity: float = math.nan
    characteristic_velocity_u: float = math.nan
    nozzle: float = math.nan
    nozzle_u: float = math.nan

    def __post_init__(self) -> None:
        told = {
            "c* efficiency": (
                self.characteristic_velocity,
                self.characteristic_velocity_u,
            ),
            "nozzle efficiency": (self.nozzle, self.nozzle_u),
        }
        told = {what: pair for what, pair in told.items() if not math.isnan(pair[0])}
        if not told:
            raise InputError(
                f"{self.name}: tells neither a c* nor a nozzle efficiency; give one"
            )
        for what, (value, u) in told.items():
            if not (0.0 < value < math.inf and 0.0 < u < math.inf):
                raise InputError(
                    f"{self.name}: {what} is {value:g}, standard uncertainty of its "
                    f"logarithm {u:g}; both must be finite and above 0"
                )


@dataclass(frozen=True, slots=True, kw_only=True)
class Efficiency:
    """One efficiency: the workshop's own, and that of its next firing."""

    #: Of the workshop's own; `u` is the standard deviation of the logarithm.
    median: float
    u: float
    #: 95 % interval of it.
    low: float
    high: float
    #: The same of the next firing; the reading of it is left out.
    next_u: float
    next_low: float
    next_high: float
    #: Firing to firing (ln): median and 95 % interval.
    scatter: float
    scatter_low: float
    scatter_high: float
    count: int  # firings that tell it


@dataclass(frozen=True, slots=True, kw_only=True)
class Efficiencies:
    """What is known of the pair."""

    #: Of c* and of the thrust coefficient.
    characteristic_velocity: Efficiency
    nozzle: Efficiency
    impulse: Efficiency  # their product, correlation included
    readings: tuple[Reading, ...] = ()  # what it was learnt from

    @property
    def count(self) -> int:
        """Number of firings behind it."""
        return len(self.readings)


# ----------------------------------------------------------------------------
# The pair from its readings, in closed form.


def learn_efficiencies(readings: Sequence[Reading] = ()) -> Efficiencies:
    r"""Return what readings say of the pair; what is held before them without any.

    .. math::
        \mu \sim N(m_0, P_0), \; \theta_i \sim N(\mu, \mathrm{diag}(\tau^2)), \;
        y_i \sim N(\theta_i + c, R_i), \; c \sim N(0, C)

    in logarithms, R_i and C with :data:`READING_CORRELATION`, c that of
    :data:`SHARED`. With both scatters held, mu + c is normal in closed form, and mu
    follows from it by regression; each pair of scatters has the weight of its prior
    times its marginal likelihood (Gelman et al., *Bayesian Data Analysis*, ch. 5, from
    memory). Medians and deviations are moments of that mixture, ends of intervals its
    quantiles.

    Examples
    --------
    >>> found = learn_efficiencies([Reading(
    ...     name="first", characteristic_velocity=0.80, characteristic_velocity_u=0.02
    ... )])
    >>> round(found.characteristic_velocity.median, 2), found.nozzle.median
    (0.82, 0.91)
    """
    y, known, errors, shared = _logs(readings)
    scatter, prior = _grid()
    both = known[:, :, None] & known[:, None, :]
    apart = np.eye(2) * np.where(known, 0.0, 1.0)[:, None, :]
    spread = np.where(both, errors + scatter[:, None, :, None] ** 2 * np.eye(2), apart)
    weight = np.linalg.inv(spread) * both
    held = np.diag(np.square(SPREADS))
    start = np.linalg.inv(held + shared)
    precision = start + weight.sum(axis=1)
    pull = np.einsum("gnij,nj->gi", weight, y)
    covariance = np.linalg.inv(precision)
    mean = np.einsum("gij,gj->gi", covariance, pull)
    misfit = np.einsum("ni,gnij,nj->g", y, weight, y) - (pull * mean).sum(axis=1)
    size = np.linalg.slogdet(spread)[1].sum(axis=1) + np.linalg.slogdet(precision)[1]
    chance = prior * np.exp(-0.5 * (misfit + size - (misfit + size).min()))
    chance /= chance.sum()
    gain = held @ start
    mean = mean @ gain.T
    covariance = gain @ covariance @ gain.T + held - gain @ held
    sides = ((1.0, 0.0), (0.0, 1.0), (1.0, 1.0))
    counts = (*known.sum(axis=0), known.all(axis=1).sum())
    velocity, nozzle, impulse = (
        _told(
            chance,
            side @ np.log(MEDIANS) + mean @ side,
            covariance @ side @ side,
            np.square(scatter) @ side,
            int(count),
        )
        for side, count in zip(np.array(sides), counts, strict=True)
    )
    return Efficiencies(
        characteristic_velocity=velocity,
        nozzle=nozzle,
        impulse=impulse,
        readings=tuple(readings),
    )


def _logs(
    readings: Sequence[Reading],
) -> tuple[FloatArray, BoolArray, FloatArray, FloatArray]:
    """Return logarithms over the medians (n, 2), which are told, and reading errors.

    Covariances of the errors: of each reading alone (n, 2, 2), of all together (2, 2).
    """
    rows = [
        (r.characteristic_velocity, r.nozzle, r.characteristic_velocity_u, r.nozzle_u)
        for r in readings
    ]
    table = np.array(rows, dtype=float).reshape(-1, 4)
    known = np.isfinite(table[:, :2])
    y = np.where(known, np.log(table[:, :2] / MEDIANS), 0.0)
    u = np.where(known, table[:, 2:], np.inf)
    shared = np.minimum(SHARED, _MOST_SHARED * u.min(axis=0, initial=np.inf))
    own = np.where(known, np.sqrt(np.square(u) - np.square(shared)), 0.0)
    alike = np.array([(1.0, READING_CORRELATION), (READING_CORRELATION, 1.0)])
    alone = own[:, :, None] * own[:, None, :] * alike
    return y, known, alone, np.outer(shared, shared) * alike


def _grid() -> tuple[FloatArray, FloatArray]:
    """Return every pair of scatters (n, 2) and the weight of each before any firing."""
    steps = np.linspace(-_REACH, _REACH, _VALUES)
    pairs = np.stack(np.meshgrid(steps, steps, indexing="ij"), axis=-1).reshape(-1, 2)
    weight = np.exp(-0.5 * np.square(pairs).sum(axis=1))
    return SCATTER * np.exp(SCATTER_SPREAD * pairs), weight / weight.sum()


def _told(
    weights: FloatArray,
    means: FloatArray,
    variances: FloatArray,
    scatters: FloatArray,
    count: int,
) -> Efficiency:
    """Put one efficiency together: a mixture of normals of its logarithm.

    Parameters
    ----------
    scatters : ndarray
        Variances, firing to firing.
    """
    middle = float(weights @ means)
    between = np.square(means - middle)
    ends = (0.025, 0.975)
    own, both = np.sqrt(variances), np.sqrt(variances + scatters)
    low, high = (quantile_of_normals(weights, means, own, p) for p in ends)
    next_low, next_high = (quantile_of_normals(weights, means, both, p) for p in ends)
    widths, which = np.unique(np.sqrt(scatters), return_inverse=True)
    share = np.bincount(which, weights)
    below = np.cumsum(share) - 0.5 * share
    scatter_low, scatter, scatter_high = (
        float(np.exp(np.interp(p, below, np.log(widths)))) for p in (0.025, 0.5, 0.975)
    )
    return Efficiency(
        median=math.exp(middle),
        u=math.sqrt(weights @ (variances + between)),
        low=math.exp(low),
        high=math.exp(high),
        next_u=math.sqrt(weights @ (variances + scatters + between)),
        next_low=math.exp(next_low),
        next_high=math.exp(next_high),
        scatter=scatter,
        scatter_low=scatter_low,
        scatter_high=scatter_high,
        count=count,
    )
