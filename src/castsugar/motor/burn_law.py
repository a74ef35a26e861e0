"""The burn law: rate against pressure, in any units; laws to borrow."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike

from castsugar.arrays import BoolArray, FloatArray
from castsugar.data.load import BurnLawRecord, Database
from castsugar.draw_set import SEED, chances, normals
from castsugar.errors import InputError, unknown_name
from castsugar.frozen import dataclass
from castsugar.numerics import variance
from castsugar.special import gammaincinv
from castsugar.units import UNITS

# ----------------------------------------------------------------------------
# The burn law: burning rate against pressure, in one or more pressure bands.
#
# .. math:: r = r_k (p / p_{ref})^{n_k} \quad \text{in band } k, \; p_{ref} = 1\,MPa
#
# (Saint Robert, also Vieille; Sutton & Biblarz, *Rocket Propulsion Elements*, ch. 11).
# A law carries the doubt about a new grain, so that a pressure found with it can too.

Covariance = tuple[tuple[float, float], tuple[float, float]]

#: Pressure at which the rate of a band is stated. [Pa]
REFERENCE_PRESSURE = 1.0e6

#: Standard uncertainty of ln r of a published law: that of either of the two laws of
#: one mix (sorbitol 65/35) that were found, which differ by 1.7 times at 1 MPa.
BORROWED_DOUBT = math.log(1.7) / math.sqrt(2.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Band:
    """One pressure band of a burn law, ``r = rate * (p / 1 MPa)**exponent``.

    Attributes
    ----------
    low, high : float
        Tested pressures of the band; 0 and infinity are allowed. [Pa]
    rate : float
        Rate that the band has, or would have, at 1 MPa. [m/s]
    exponent : float
        Below 1. [-]

    Raises
    ------
    InputError
        For an empty band, a rate of 0 or less, an exponent of 1 or more.

    Examples
    --------
    >>> Band(low=1e5, high=7e6, rate=8e-3, exponent=0.25).rate
    0.008
    """

    low: float
    high: float
    rate: float
    exponent: float

    def __post_init__(self) -> None:
        if not 0.0 <= self.low < self.high:
            raise InputError(
                f"pressure band {self.low:g} to {self.high:g} Pa is empty or below "
                "zero; give 0 <= low < high"
            )
        if not (math.isfinite(self.rate) and self.rate > 0.0):
            raise InputError(
                f"burn rate at 1 MPa is {self.rate:g} m/s; it must be finite, above 0"
            )
        if not -math.inf < self.exponent < 1.0:
            raise InputError(
                f"burn-rate exponent is {self.exponent:g}; it must be below 1: no "
                "pressure is stable otherwise; measure strands at more pressures"
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class BurnLaw:
    """Burning rate against pressure, with its doubt and where it comes from.

    Attributes
    ----------
    name : str
    bands : tuple of Band
        Rising and touching: the high of one is the low of the next.
    log_rate_u : float
        Standard uncertainty of ln r of a new grain (prediction): at `centre` if there
        is a `covariance`, else at every pressure. [-]
    covariance : tuple of tuple or None
        Of ln r at `centre` and the exponent, of the law itself (without `scatter`).
    centre : float
        [Pa]
    degrees_of_freedom : float
        Of the uncertainties. [-]
    scatter : float
        Standard deviation of ln r of single strands about the law; part of
        `log_rate_u`. [-]
    origin : str
        "measured: ...", "stated: ...", "borrowed: ...", "model of ...", "assumed: ...".
    status, source : str
        As in the species data.
    kind : str
        What it burns with potassium nitrate ("sucrose"), empty if not stated.
    temperature : float or None
        Temperature of the strands, None if not stated. [K]
    invented : tuple of str
        Entries and files that it rests on and that say of themselves that nobody
        measured them.

    Raises
    ------
    InputError
        No band, bands that do not touch, a negative or impossible uncertainty.

    See Also
    --------
    castsugar.motor.burn_rate : the rate at a pressure.
    castsugar.motor.Burned : states rates of a law to the model that a motor burns by.

    Examples
    --------
    >>> band = Band(low=1e5, high=1e7, rate=8e-3, exponent=0.5)
    >>> BurnLaw(name="invented", bands=(band,), log_rate_u=0.1).tested
    (100000.0, 10000000.0)
    """

    name: str
    bands: tuple[Band, ...]
    log_rate_u: float
    covariance: Covariance | None = None
    centre: float = REFERENCE_PRESSURE
    degrees_of_freedom: float = math.inf
    scatter: float = 0.0
    origin: str = "measured"
    status: str = "measured"
    source: str = ""
    kind: str = ""
    temperature: float | None = None
    invented: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        if not self.bands:
            raise InputError(f"burn law {self.name!r} has no pressure band; give one")
        for below, above in zip(self.bands[:-1], self.bands[1:], strict=True):
            if below.high != above.low:
                raise InputError(
                    f"burn law {self.name!r}: a band ends at {below.high:g} Pa and the "
                    f"next starts at {above.low:g} Pa; bands must rise and touch"
                )
        if not (self.log_rate_u >= 0.0 and self.scatter >= 0.0 < self.centre):
            raise InputError(
                f"burn law {self.name!r}: uncertainty {self.log_rate_u:g} and scatter "
                f"{self.scatter:g} must be 0 or more, centre {self.centre:g} Pa above 0"
            )
        if self.degrees_of_freedom <= 0.0 or self._impossible():
            raise InputError(
                f"burn law {self.name!r}: the covariance is not one, or there are no "
                "degrees of freedom"
            )

    def _impossible(self) -> bool:
        if self.covariance is None:
            return False
        (_, cross), (other, variance) = self.covariance
        most = self.log_rate_u**2 * variance * (1.0 + 1e-9)
        return not (cross == other and variance >= 0.0 and cross**2 <= most)

    @property
    def tested(self) -> tuple[float, float]:
        """Return the lowest and the highest tested pressure. [Pa]"""
        return self.bands[0].low, self.bands[-1].high

    def band_at(self, pressure: float) -> Band:
        """Return the band that holds a pressure [Pa], else the last."""
        held = (one for one in self.bands if pressure <= one.high)
        return next(held, self.bands[-1])


def burn_rate(law: BurnLaw, pressure: ArrayLike) -> FloatArray:
    """Return the burning rate. [m/s]

    Parameters
    ----------
    law : BurnLaw
    pressure : array_like, shape (n,)
        Absolute, above 0; NaN passes through. A pressure where two bands meet belongs
        to the lower one; outside all bands the nearest is continued (see
        :func:`outside`). [Pa]

    Returns
    -------
    ndarray, shape (n,)
        Or a number, or of more dimensions, as `pressure` is. [m/s]

    Raises
    ------
    InputError
        A pressure of 0 or less.

    Notes
    -----
    Valid at the pressures of the law's bands; beyond, the nearest band goes on.
    Source: Saint Robert's law (Sutton & Biblarz, *Rocket Propulsion Elements*, ch.
    11).

    Examples
    --------
    >>> band = Band(low=1e5, high=1e7, rate=8e-3, exponent=0.5)
    >>> law = BurnLaw(name="invented", bands=(band,), log_rate_u=0.1)
    >>> float(burn_rate(law, 4e6))
    0.016
    """
    p = _pressures(pressure)
    edges = np.array([band.low for band in law.bands[1:]])
    k = np.searchsorted(edges, p, side="left")
    rate = np.array([band.rate for band in law.bands])[k]
    exponent = np.array([band.exponent for band in law.bands])[k]
    return np.asarray(rate * (p / REFERENCE_PRESSURE) ** exponent)


def outside(law: BurnLaw, pressure: ArrayLike) -> BoolArray:
    """Return where a pressure [Pa] lies beyond the tested ones."""
    p = np.asarray(pressure, dtype=float)
    low, high = law.tested
    return np.asarray((p < low) | (p > high))


def covariance_at(law: BurnLaw, pressure: float) -> Covariance:
    """Return the covariance of ln r at a pressure [Pa] and the exponent.

    Of a new grain. At 1 MPa ln r is ln a. A law without a covariance has no doubt of
    its exponent.

    Examples
    --------
    >>> band = Band(low=1e5, high=1e7, rate=8e-3, exponent=0.5)
    >>> cov = ((0.01, 0.0), (0.0, 0.0025))
    >>> law = BurnLaw(
    ...     name="invented", bands=(band,), log_rate_u=0.1, covariance=cov, centre=2e6
    ... )
    >>> [round(x, 6) for x in covariance_at(law, 2e6 * math.e)[0]]
    [0.0125, 0.0025]
    """
    x = math.log(pressure / law.centre)
    cross, slope = (0.0, 0.0) if law.covariance is None else law.covariance[1]
    level = law.log_rate_u**2 + 2.0 * x * cross + x * x * slope
    return (level, cross + x * slope), (cross + x * slope, slope)


def independent_pressure(law: BurnLaw) -> float:
    """Return the pressure at which ln r and the exponent do not depend. [Pa]

    NaN for a law without a doubt of its exponent.
    """
    cross, slope = (0.0, 0.0) if law.covariance is None else law.covariance[1]
    return law.centre * math.exp(-cross / slope) if slope > 0.0 else math.nan


def log_rate_uncertainty(law: BurnLaw, pressure: ArrayLike) -> FloatArray:
    """Return the standard uncertainty of ln r of a new grain at a pressure [Pa]."""
    x = np.log(_pressures(pressure) / law.centre)
    if law.covariance is None:
        return np.full(x.shape, law.log_rate_u)
    (_, cross), (_, square) = law.covariance
    covariance = np.array([[law.log_rate_u**2, cross], [cross, square]])
    return np.asarray(
        np.sqrt(variance(np.stack([np.ones_like(x), x], axis=-1), covariance))
    )


def student_factor(freedom: float, chances: FloatArray) -> FloatArray:
    """Return what turns normal scores into those of Student's t.

    The root of f / chi-squared(f), of the same chance for every f: the same
    denominator for both parts of a law.

    Parameters
    ----------
    freedom : float
        Degrees of freedom; infinite leaves the scores normal.
    chances : ndarray
        0 to 1.

    Examples
    --------
    >>> float(student_factor(math.inf, np.array([0.3]))[0])
    1.0
    """
    if not math.isfinite(freedom):
        return np.ones(np.shape(chances))
    return np.asarray(np.sqrt(0.5 * freedom / gammaincinv(0.5 * freedom, chances)))


def draw_laws(
    law: BurnLaw, draws: int, seed: int = SEED
) -> tuple[FloatArray, FloatArray]:
    """Draw new grains: how far their laws lie from the stated one.

    Student t with the law's degrees of freedom (normal if infinite), the same
    denominator for both parts.

    Parameters
    ----------
    draws, seed : int
        Of :mod:`castsugar.draw_set`.

    Returns
    -------
    log_rate_shift, exponent_shift : ndarray, shape (draws,)
        The rate of a drawn grain is that of the law times
        ``exp(log_rate_shift) * (p / law.centre)**exponent_shift``.
    """
    cross = variance = 0.0
    if law.covariance is not None:
        cross, variance = law.covariance[1]
    along = cross / law.log_rate_u if law.log_rate_u > 0.0 else 0.0
    across = math.sqrt(max(variance - along**2, 0.0))
    widening = student_factor(
        law.degrees_of_freedom, chances("burn law|freedom", draws, seed)
    )
    rate = widening * normals("burn law|rate", draws, seed)
    other = widening * normals("burn law|exponent", draws, seed)
    return law.log_rate_u * rate, along * rate + across * other


def _pressures(pressure: ArrayLike) -> FloatArray:
    p = np.asarray(pressure, dtype=float)
    if np.any(p <= 0.0):
        raise InputError(f"pressure is {p.min():g} Pa; it must be absolute, above 0")
    return p


# ----------------------------------------------------------------------------
# The coefficient of ``r = a p**n`` in other units, which depend on the exponent.


def convert_coefficient(
    a: float,
    exponent: float,
    units: tuple[str, str],
    to_units: tuple[str, str],
) -> float:
    """Return the coefficient of ``r = a p**n`` in other units.

    Parameters
    ----------
    units, to_units : tuple of str
        Of rate and of absolute pressure, as in :data:`castsugar.units.UNITS`:
        ("in/s", "psi").

    Examples
    --------
    >>> convert_coefficient(2.0, 0.5, ("mm/s", "Pa"), ("mm/s", "MPa"))
    2000.0
    """
    rate, pressure = (
        UNITS[quantity][old].scale / UNITS[quantity][new].scale
        for quantity, old, new in zip(
            ("burn_rate", "pressure"), units, to_units, strict=True
        )
    )
    return float(a * rate) * float(1 / pressure) ** exponent


# ----------------------------------------------------------------------------
# Published burn laws to borrow, for whoever has measured none.


def borrowed_laws(database: Database) -> tuple[BurnLaw, ...]:
    """Return every published burn law, in the order of the file.

    The doubt of each is :data:`castsugar.motor.burn_law.BORROWED_DOUBT`; its origin
    names the source.

    Parameters
    ----------
    database : Database
        See :func:`castsugar.load_database`.

    Returns
    -------
    tuple of BurnLaw

    Notes
    -----
    Valid as the rows of ``burn_laws.csv`` say, for their mixes and pressures.
    Source: `source` of each law.

    Examples
    --------
    >>> from castsugar.data import load_database
    >>> {law.origin.split(":")[0] for law in borrowed_laws(load_database())}
    {'borrowed'}
    """
    return tuple(_law(record) for record in database.burn_laws.values())


def borrowed_law(database: Database, name: str) -> BurnLaw:
    """Return the published burn law of that name; case does not matter.

    Parameters
    ----------
    database : Database
        See :func:`castsugar.load_database`.
    name : str

    Returns
    -------
    BurnLaw

    Raises
    ------
    UnknownNameError
        With the nearest known names.

    Notes
    -----
    Valid as the row of ``burn_laws.csv`` says, for its mix and its pressures.
    Source: `source` of the law.

    Examples
    --------
    >>> from castsugar.data import load_database
    >>> borrowed_law(load_database(), "Sucrose 65/35").origin
    'borrowed: hobby-strand-value'
    """
    wanted = " ".join(name.split()).lower()
    for record in database.burn_laws.values():
        if record.name.lower() == wanted:
            return _law(record)
    raise unknown_name("published burn law", name, database.burn_laws)


def _law(record: BurnLawRecord) -> BurnLaw:
    """Make a law of a record."""
    return BurnLaw(
        name=record.name,
        bands=tuple(
            Band(low=low, high=high, rate=rate, exponent=n)
            for low, high, rate, n in record.bands
        ),
        log_rate_u=BORROWED_DOUBT,
        origin=f"borrowed: {record.source}",
        status=record.status,
        source=record.source,
        kind=record.fuel,
    )
