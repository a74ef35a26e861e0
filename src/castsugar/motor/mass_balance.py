"""Mass balance of a burning motor: the pressures at which it can stand."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from castsugar.arrays import BoolArray, FloatArray
from castsugar.checks import positive
from castsugar.errors import InputError
from castsugar.frozen import dataclass
from castsugar.motor.burn_law import REFERENCE_PRESSURE, BurnLaw
from castsugar.motor.nozzle import FLOW_FACTOR

# ----------------------------------------------------------------------------
# Mass balance of a burning motor: every pressure at which it can stand.
#
# Gas made, less what fills the volume that burns away, equals gas that leaves a choked
# throat, ``r(p) A_b (rho - p / RT) = p A_t / c*``, RT = (G c*)^2 (Sutton & Biblarz,
# *Rocket Propulsion Elements*, ch. 12, from memory). With the area ratio Kn = A_b / A_t
# and a burn law in pressure bands,
#
# .. math::
#     f(p) = \ln r(p) + \ln S + \ln(1 - q p) - \ln p = 0,
#     \quad S = \rho \, K_n \, c^*, \quad q = \frac{1}{\rho (G c^*)^2},
#     \quad r = r_k (p / p_{ref})^{n_k} \text{ in band } k
#
# But for q p, 0.6 % at 3 MPa, f is straight in ln p inside a band, with the slope
# n - 1, and it may jump where two bands meet. More gas is made than leaves where f > 0.
# A pressure is **stable** where f falls through zero (in a band: n < 1), unstable where
# it rises. At a jump through zero the rate at the meeting pressure takes any value
# between its two bands, and the pressure stands there: a stable one if f falls, an
# unstable one if it rises. So the signs of f at both ends of every band give all roots,
# each once, stable and unstable in turn. A law that does not jump and has n < 1 in
# every band has exactly one root.
#
# Kernels take plain arrays; `supply` S is in [Pa s/m], `filling` q in [1/Pa].

_LOG_REFERENCE = float(np.log(REFERENCE_PRESSURE))

#: Steps of Newton for a root.
_NEWTON = 5


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Bands:
    """A burn law as plain arrays; K bands, leading axes broadcast."""

    edges: FloatArray  # pressures where bands meet, rising, (K - 1,) [Pa]
    #: ln of the rate in m/s that each band has, or would have, at 1 MPa, (..., K).
    log_rate: FloatArray
    exponent: FloatArray  # (..., K)
    #: Lowest and highest tested pressure. [Pa]
    tested: tuple[float, float] = (0.0, np.inf)

    def shifted(
        self, log_rate: ArrayLike, exponent: ArrayLike = 0.0, centre: float = 1.0e6
    ) -> Bands:
        """Return the law times ``exp(log_rate) (p / centre)**exponent``.

        The shifts get an axis for the bands behind their own.
        """
        n = np.asarray(exponent, dtype=float)[..., None]
        s = np.asarray(log_rate, dtype=float)[..., None]
        s = s - n * np.log(centre / REFERENCE_PRESSURE)
        return Bands(
            edges=self.edges,
            log_rate=self.log_rate + s,
            exponent=self.exponent + n,
            tested=self.tested,
        )

    def outside(self, pressure: ArrayLike) -> BoolArray:
        """Return where a pressure lies outside the tested ones."""
        p = np.asarray(pressure, dtype=float)
        return np.asarray((p < self.tested[0]) | (p > self.tested[1]))


def as_bands(law: BurnLaw | Bands) -> Bands:
    """Return a burn law as plain arrays.

    Raises
    ------
    InputError
        An exponent of 1 or more.
    """
    if isinstance(law, Bands):
        check_exponents(law.exponent)
        return law
    return Bands(
        edges=np.array([band.low for band in law.bands[1:]]),
        log_rate=np.log([band.rate for band in law.bands]),
        exponent=np.array([band.exponent for band in law.bands]),
        tested=law.tested,
    )


def check_exponents(exponent: ArrayLike) -> None:
    """Refuse a law with an exponent of 1 or more: it has no stable pressure."""
    n = np.asarray(exponent, dtype=float)
    if not np.all(n < 1.0):
        raise InputError(
            f"burn-rate exponent is {n[~(n < 1.0)].flat[0]:g}; it must be below 1: "
            "no pressure is stable otherwise; measure strands at more pressures"
        )


def log_burn_rate(bands: Bands, pressure: ArrayLike) -> FloatArray:
    """Return ln of the rate in m/s; the outer bands are continued.

    Parameters
    ----------
    pressure : array_like
        Broadcasts with the leading axes; an edge belongs to the band below it. [Pa]
    """
    p = np.asarray(pressure, dtype=float)
    k = np.searchsorted(bands.edges, p, side="left")
    log_p = np.log(p / REFERENCE_PRESSURE)
    if bands.log_rate.ndim == 1:
        return np.asarray(bands.log_rate[k] + bands.exponent[k] * log_p)
    shape = (*p.shape, bands.log_rate.shape[-1])
    log_rate, exponent = (
        np.take_along_axis(np.broadcast_to(a, shape), k[..., None], axis=-1)[..., 0]
        for a in (bands.log_rate, bands.exponent)
    )
    return np.asarray(log_rate + exponent * log_p)


def supply(
    *,
    kn: ArrayLike,
    density: ArrayLike,
    characteristic_velocity: ArrayLike,
    rate_factor: ArrayLike = 1.0,
) -> FloatArray:
    """Return S = density Kn c* (rate factor), the pressure per burn rate. [Pa s/m]"""
    product = np.asarray(kn, dtype=float) * np.asarray(density, dtype=float)
    product = product * np.asarray(characteristic_velocity, dtype=float)
    return np.asarray(product * np.asarray(rate_factor, dtype=float))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Supply:
    """What a motor makes of a burn rate, one a mix."""

    per_rate: FloatArray  # S, the pressure per burn rate, (n,) [Pa s/m]
    filling: FloatArray  # q, (n,) [1/Pa]
    u: FloatArray  # standard uncertainty of ln S, the burn rate left out, (n,) [-]

    def take(self, rows: ArrayLike) -> Supply:
        """Return that of some mixes."""
        own = np.asarray(rows)
        return Supply(
            per_rate=self.per_rate[own], filling=self.filling[own], u=self.u[own]
        )

    def beside(self, other: Supply) -> Supply:
        """Return this and another, two rows of each column, (2, n)."""
        return Supply(
            per_rate=np.stack([self.per_rate, other.per_rate]),
            filling=np.stack([self.filling, other.filling]),
            u=np.stack([self.u, other.u]),
        )

    def log_left(self, pressure: float) -> FloatArray:
        """Return ln(S (1 - q p)) at a pressure [Pa]; -infinite where S is none."""
        with np.errstate(divide="ignore", invalid="ignore"):
            return np.asarray(
                np.log(self.per_rate) + np.log1p(-self.filling * pressure)
            )


def filling(density: ArrayLike, characteristic_velocity: ArrayLike) -> FloatArray:
    """Return q: q p of the gas made fills the volume that burns away. [1/Pa]

    Parameters
    ----------
    density : array_like
        Of the grain. [kg/m3]
    characteristic_velocity : array_like
        Delivered. [m/s]

    Examples
    --------
    >>> round(3e6 * float(filling(1750.0, 830.0)), 5)
    0.00618
    """
    per_volume = (FLOW_FACTOR * np.asarray(characteristic_velocity, dtype=float)) ** 2
    return np.asarray(1.0 / (np.asarray(density, dtype=float) * per_volume))


def kn_for_pressure(
    law: BurnLaw | Bands,
    pressure: ArrayLike,
    *,
    density: float,
    characteristic_velocity: float,
    rate_factor: float = 1.0,
    filling: float = 0.0,
) -> FloatArray:
    """Return the Kn that holds a pressure, ``p / (density c* r(p) (1 - q p))``. [-]

    Raises
    ------
    InputError
        Density or characteristic velocity not positive.
    """
    per_kn = positive("density", density, "kg/m3") * positive(
        "characteristic velocity", characteristic_velocity, "m/s"
    )
    p = np.asarray(pressure, dtype=float)
    rate = rate_factor * np.exp(log_burn_rate(as_bands(law), p))
    return np.asarray(p / (per_kn * rate * (1.0 - filling * p)))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Roots:
    """Every pressure at which a motor can stand."""

    #: Band, edge, band, ...: rising, NaN where there is no root, (..., 2 K - 1). [Pa]
    pressure: FloatArray
    stable: BoolArray  # (..., 2 K - 1)
    #: More gas is made than leaves at any pressure above the roots (n >= 1), (...).
    unbounded: BoolArray

    @property
    def several(self) -> BoolArray:
        """Return where more than one pressure is stable."""
        return np.asarray(self.stable.sum(axis=-1) > 1)

    def highest(self) -> FloatArray:
        """Return the highest stable pressure [Pa]; infinite where there is no bound."""
        top = np.where(self.stable, self.pressure, -np.inf).max(axis=-1)
        return np.asarray(np.where(self.unbounded | (top < 0), np.inf, top))

    def settled(self, start: ArrayLike) -> FloatArray:
        """Return where the pressure goes from `start`. [Pa]

        Up to the next stable root where gas is in excess, else down to the next;
        infinite or 0 where there is none.
        """
        s = np.asarray(start, dtype=float)[..., None]
        above = np.where(self.pressure > s, self.pressure, np.inf)
        goal = above.min(axis=-1)
        first = np.argmin(above, axis=-1)[..., None]
        upward = np.take_along_axis(self.stable, first, axis=-1)[..., 0]
        upward = np.where(np.isfinite(goal), upward, self.unbounded)
        below = np.where(self.pressure <= s, self.pressure, 0.0).max(axis=-1)
        return np.asarray(np.where(upward, goal, below))


def roots(bands: Bands, supply: ArrayLike, filling: ArrayLike = 0.0) -> Roots:
    """Find all roots of the mass balance.

    Parameters
    ----------
    bands : Bands
        Exponents of 1 and more are taken, so that their roots can be seen.
    supply : array_like, shape (...)
        Broadcasts with the leading axes of `bands`. [Pa s/m]
    filling : array_like, shape (...)
        q; 0: gas fills nothing. [1/Pa]

    Returns
    -------
    Roots
        Nothing but NaN where the supply is 0 or NaN.
    """
    log_edges = np.log(bands.edges / REFERENCE_PRESSURE)
    low, high = np.r_[-np.inf, log_edges], np.r_[log_edges, np.inf]
    with np.errstate(divide="ignore"):
        log_supply = np.log(np.asarray(supply, dtype=float))
    fills = np.asarray(filling, dtype=float)[..., None]
    base = bands.log_rate + (log_supply - _LOG_REFERENCE)[..., None]
    slope = np.broadcast_to(bands.exponent - 1.0, base.shape)
    with np.errstate(invalid="ignore", divide="ignore", over="ignore"):
        ends = np.stack(
            [
                base + slope * low + _left(fills, np.r_[0.0, bands.edges]),
                base + slope * high + _left(fills, np.r_[bands.edges, 0.0]),
            ],
            axis=-1,
        )
        position = _filled(base, slope, fills)
    ends = np.where((slope == 0.0)[..., None], base[..., None], ends)
    excess = ends.reshape(*ends.shape[:-2], -1) > 0.0
    falls = excess[..., :-1] & ~excess[..., 1:]
    found = excess[..., :-1] != excess[..., 1:]
    found &= np.isfinite(log_supply)[..., None]
    pressure = np.empty(falls.shape)
    # Between its edges, to the last bit: an edge must not slip into the next band.
    limits = np.r_[0.0, bands.edges, np.inf]
    pressure[..., ::2] = np.clip(position, limits[:-1], limits[1:])
    pressure[..., 1::2] = bands.edges
    pressure = np.where(found, pressure, np.nan)
    return Roots(
        pressure=pressure,
        stable=falls & found,
        unbounded=excess[..., -1] & np.isfinite(log_supply),
    )


def _left(fills: FloatArray, pressure: FloatArray) -> FloatArray:
    """Return ln(1 - q p), what is left of the gas."""
    return np.log(np.maximum(1.0 - fills * pressure, 0.0))


def _filled(base: FloatArray, slope: FloatArray, fills: FloatArray) -> FloatArray:
    """Return the root of base + slope ln(p / 1 MPa) + ln(1 - q p). [Pa]

    By Newton from the root without q, or from where half of the gas is left: q p is
    small, and five steps reach the last bit.
    """
    position = np.exp(-base / slope) * REFERENCE_PRESSURE
    if not np.any(fills):
        return np.asarray(position)
    x = np.log(np.fmin(position, 0.5 / fills) / REFERENCE_PRESSURE)
    for _ in range(_NEWTON):
        full = fills * REFERENCE_PRESSURE * np.exp(x)
        x = x - (base + slope * x + np.log1p(-full)) / (slope - full / (1.0 - full))
    return np.asarray(np.exp(x) * REFERENCE_PRESSURE)


# ----------------------------------------------------------------------------
# Where no pressure is told.

NO_ROOT = "no stable pressure: burn-rate exponent of 1 or more"

#: Times the ambient pressure below which a motor does not come up to pressure. The
#: balance takes a choked throat, and one chokes from some 1.8 times on: the critical
#: ratio ((k + 1) / 2)**(k / (k - 1)) is 1.73 for k = 1.13, 1.89 for 1.4. Ours.
CHOKES_AT = 2.0

#: Largest 1 / (1 - n) for which a pressure is told: above, 1 % more burning area lifts
#: it by 4 % and more. An exponent of 0.2 to 0.6 is usual (Sutton & Biblarz, ch. 11),
#: which gives 1.25 to 2.5. Ours.
MOST_AMPLIFICATION = 4.0


def amplification(exponent: ArrayLike) -> FloatArray:
    r"""Return how often the pressure repeats an error of the area: 1/(1 - n). [-]

    :math:`d \ln p / d \ln K_n = 1/(1 - n)`; infinite for an exponent of 1 or more.

    Examples
    --------
    >>> amplification([0.5, 1.2]).tolist()
    [2.0, inf]
    """
    n = np.asarray(exponent, dtype=float)
    with np.errstate(divide="ignore"):
        return np.where(n >= 1.0, np.inf, 1.0 / (1.0 - n))


def withheld(
    exponent: ArrayLike, pressure: ArrayLike, ambient: float
) -> NDArray[np.str_]:
    """Return why no pressure is told at which a motor would stand; empty if one is.

    Parameters
    ----------
    exponent : array_like, shape (n,)
        Of the burn law where it stands.
    pressure : array_like, shape (n,)
        Best estimates. [Pa]
    ambient : float
        [Pa]

    Returns
    -------
    ndarray of str
        An exponent of 1 or more, a peak below :data:`CHOKES_AT` times the ambient
        pressure, or an amplification above :data:`MOST_AMPLIFICATION`.
    """
    n, p = np.asarray(exponent, dtype=float), np.asarray(pressure, dtype=float)
    times = amplification(n)
    found = np.where(n < 1.0, "", NO_ROOT).astype(object)
    doubtful = (p < CHOKES_AT * ambient) | (times > MOST_AMPLIFICATION)
    for i in np.flatnonzero(doubtful & (found == "")):
        if p[i] < CHOKES_AT * ambient:
            found[i] = (
                f"the motor does not come up to pressure: {1e-6 * p[i]:.2g} MPa at "
                f"the best estimate is below {CHOKES_AT:g} times the ambient "
                f"{1e-6 * ambient:.4g} MPa"
            )
        else:
            found[i] = (
                f"the burn law is too steep: with n = {1.0 - 1.0 / times[i]:.2g} the "
                f"pressure repeats every error of the burning area {times[i]:.2g} "
                f"times, more than {MOST_AMPLIFICATION:g} (best estimate "
                f"{1e-6 * p[i]:.3g} MPa)"
            )
    return np.asarray(found, dtype=str)


def follow(found: Roots, start: float) -> FloatArray:
    """Return the pressures of motors that go through their states one by one. [Pa]

    Parameters
    ----------
    found : Roots, of shape (..., states)
    start : float
        Pressure before the first state, and the lowest one allowed: the chamber is
        open to it. [Pa]
    """
    pressure = np.maximum(found.settled(start), start)
    bent = np.any((found.stable.sum(axis=-1) > 1) | found.unbounded, axis=-1)
    for place in np.argwhere(bent):
        at, last = tuple(place), start
        for i in range(pressure.shape[-1]):
            here = (*at, i)
            one = Roots(
                pressure=found.pressure[here],
                stable=found.stable[here],
                unbounded=found.unbounded[here],
            )
            last = max(float(one.settled(last)), start)
            pressure[here] = last
    return np.asarray(pressure)
