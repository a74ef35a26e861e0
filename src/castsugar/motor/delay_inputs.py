"""What a delay column goes through, and what it must not be computed from."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from castsugar.arrays import FloatArray
from castsugar.checks import positive
from castsugar.constants import STANDARD_ATMOSPHERE, STANDARD_GRAVITY
from castsugar.draw_set import DRAWS, SEED
from castsugar.errors import InputError, ValidityError
from castsugar.frozen import dataclass
from castsugar.motor.burn_law import BurnLaw
from castsugar.motor.strands import MixResult

# ----------------------------------------------------------------------------
# What a delay column goes through: chamber pressure during thrust, then air.
#
# The air is the troposphere of the standard atmosphere (ISO 2533:1975; U.S. Standard
# Atmosphere, 1976; constants from memory, values checked in the tests):
#
# .. math:: p = p_0 (1 - \beta H / T_0)^{g / (\beta R)}
#
# with T_0 = 288.15 K, beta = 6.5 K/km, R = 287.05287 J/(kg K), H the geopotential
# altitude; a height in metres differs from it by 0.2 % at 11 km.

# ISO 2533:1975, sea level and troposphere; from memory.
_SEA_LEVEL_TEMPERATURE: Final = 288.15  # K
_LAPSE: Final = 6.5e-3  # K/m
_AIR_CONSTANT: Final = 287.05287  # J/(kg K)
_POWER: Final = STANDARD_GRAVITY / (_LAPSE * _AIR_CONSTANT)
_LOWEST, _HIGHEST = -500.0, 11_000.0  # m

#: Relative standard uncertainty of a stated chamber pressure, or of that of a trace as
#: a forecast of the next motor, and of the burn time. Assumed.
THRUSTING_DOUBT: Final = 0.05

#: From the start of burning until the column burns, and time constant of the emptying
#: chamber where no recording shows its tail; each known as a rectangle from 0 to twice
#: it. Assumed: chambers of small motors empty in 10 to 30 ms. [s]
IGNITION_LAG: Final = 0.05
EMPTYING: Final = 0.02

_NODES = 8


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Thrusting:
    """What the column sees from its ignition to the end of thrust.

    Between points the pressure runs straight. Afterwards it is that of the air.

    Attributes
    ----------
    time : ndarray, shape (n,)
        From the ignition of the column, 0, to the end of thrust; two points may share
        a time where the pressure jumps. [s]
    pressure : ndarray, shape (n,)
        Absolute. [Pa]
    pressure_u, time_u : float
        Relative standard uncertainty of all pressures alike, and of the burn time.
    correlation : float
        Of the two: a motor that stands higher burns out earlier. [-]
    tail : tuple of ndarray, or None
        Time from the end of thrust [s] and pressure [Pa] of a recorded tail, each (m,).

    Raises
    ------
    InputError
        Fewer than 2 points, unequal lengths, times that fall, values that are not
        finite, a pressure of 0 or less, a negative uncertainty.

    Examples
    --------
    >>> import numpy as np
    >>> fired = Thrusting(
    ...     time=np.array([0.0, 1.0, 1.5]), pressure=np.array([2e6, 3e6, 3e6])
    ... )
    >>> fired.burn_time, round(fired.mean_pressure)
    (1.5, 2666667)
    """

    time: FloatArray
    pressure: FloatArray
    pressure_u: float = THRUSTING_DOUBT
    time_u: float = THRUSTING_DOUBT
    correlation: float = 0.0
    tail: tuple[FloatArray, FloatArray] | None = None

    def __post_init__(self) -> None:
        t, p = self.time, self.pressure
        if t.ndim != 1 or t.shape != p.shape or len(t) < 2:
            raise InputError(
                f"times have shape {t.shape} and pressures {p.shape}; give one "
                "pressure for each time, at least 2"
            )
        if not np.all(np.isfinite(t) & np.isfinite(p)):
            raise InputError(
                "a time or a pressure of the thrust phase is no finite number; leave "
                "such points out"
            )
        if np.any(np.diff(t) < 0.0) or t[0] != 0.0 or t[-1] <= 0.0:
            raise InputError(
                f"times run from {t[0]:g} to {t[-1]:g} s; they must start at 0 and "
                "never fall"
            )
        positive("lowest pressure of the thrust phase", float(p.min()), "Pa")
        for what in ("pressure_u", "time_u"):
            _not_negative(what, getattr(self, what))
        if not -1.0 <= self.correlation <= 1.0:
            raise InputError(
                f"correlation of pressure and burn time is {self.correlation:g}; "
                "allowed: -1 to 1"
            )

    @classmethod
    def constant(
        cls,
        pressure: float,
        burn_time: float,
        *,
        pressure_u: float = THRUSTING_DOUBT,
        time_u: float = THRUSTING_DOUBT,
    ) -> Thrusting:
        """Return one chamber pressure [Pa] for a burn time [s].

        Examples
        --------
        >>> Thrusting.constant(2e6, 1.5).mean_pressure
        2000000.0
        """
        return cls(
            time=np.array([0.0, positive("burn time", burn_time, "s")]),
            pressure=np.full(2, positive("chamber pressure", pressure, "Pa")),
            pressure_u=pressure_u,
            time_u=time_u,
        )

    @classmethod
    def from_trace(
        cls,
        time: ArrayLike,
        pressure: ArrayLike,
        *,
        pressure_u: float = THRUSTING_DOUBT,
        time_u: float = THRUSTING_DOUBT,
    ) -> Thrusting:
        """Return a trace, (n,) [s] and (n,) absolute [Pa].

        Its first point is taken as the ignition of the column, its last as the end
        of thrust: cut it there.
        """
        t = np.asarray(time, dtype=float)
        return cls(
            time=t - t[:1] if t.ndim == 1 else t,
            pressure=np.asarray(pressure, dtype=float),
            pressure_u=pressure_u,
            time_u=time_u,
        )

    @property
    def burn_time(self) -> float:
        """Return the time from ignition to the end of thrust. [s]"""
        return float(self.time[-1])

    @property
    def mean_pressure(self) -> float:
        """Return the mean over time. [Pa]"""
        return float(np.trapezoid(self.pressure, self.time) / self.time[-1])

    @property
    def peak_pressure(self) -> float:
        """Return the highest pressure. [Pa]"""
        return float(self.pressure.max())

    def nodes(self, edges: ArrayLike = ()) -> tuple[FloatArray, FloatArray]:
        """Return ln p [ln Pa] and weights [s] of an integral over the thrust phase.

        Gauss-Legendre in ln p between points, where a power of p is smooth however
        steep the rise; pressures in `edges`, where the integrand bends, are ends.

        Examples
        --------
        >>> u, w = Thrusting.from_trace([0.0, 1.0], [1e5, 4e6]).nodes()
        >>> round(float((w * np.exp(u)).sum()))  # the mean pressure
        2050000
        """
        t, p = self.time, self.pressure
        for edge in np.asarray(edges, dtype=float):
            k = np.flatnonzero((p[:-1] - edge) * (p[1:] - edge) < 0.0)
            crossed = t[k] + (edge - p[k]) / (p[k + 1] - p[k]) * (t[k + 1] - t[k])
            t, p = np.insert(t, k + 1, crossed), np.insert(p, k + 1, edge)
        step, low = np.diff(t)[:, None], np.log(p[:-1])[:, None]
        width = np.diff(np.log(p))[:, None]
        x, w = np.polynomial.legendre.leggauss(_NODES)
        along = width * 0.5 * (x + 1.0)
        # dt / step = p du / (p2 - p1); with p from p1, so that a flat stretch is 0 / 0.
        flat = width == 0.0
        slope = np.where(flat, 1.0, np.expm1(width) / np.where(flat, 1.0, width))
        weights = step * 0.5 * w * np.exp(along) / slope
        kept = weights.ravel() > 0.0
        return (low + along).ravel()[kept], weights.ravel()[kept]


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """Doubts beside those of the law and of the thrust phase, and how to draw.

    Raises
    ------
    InputError
        A negative uncertainty, a probability not between 0 and 1, too few draws.
    """

    #: Standard uncertainty of the column; 0.2 mm, assumed: a ruler, and ends that are
    #: not flat. [m]
    length_u: float = 0.2e-3
    #: Relative standard uncertainty of the pressure of the air; 1 %, assumed: the
    #: weather.
    ambient_u: float = 0.01
    #: IGNITION_LAG and EMPTYING unless stated; a recorded tail takes the place of the
    #: latter. [s]
    ignition_lag: float = IGNITION_LAG
    emptying: float = EMPTYING
    probability: float = 0.95  # of bands
    draws: int = DRAWS
    seed: int = SEED

    def __post_init__(self) -> None:
        _not_negative("length_u", self.length_u)
        _not_negative("ambient_u", self.ambient_u)
        for what in ("ignition_lag", "emptying"):
            value = getattr(self, what)
            if not 0.0 <= value < np.inf:
                words = what.replace("_", " ")
                raise InputError(f"{words} is {value:g} s; give 0 s or more")
        if not 0.0 < self.probability < 1.0:
            raise InputError(
                f"probability of the band is {self.probability:g}; it must lie between "
                "0 and 1"
            )
        if 0.5 * (1.0 - self.probability) * self.draws < 1.0:
            raise InputError(
                f"{self.draws} draws are too few for a band of "
                f"{100.0 * self.probability:g} %; draw at least one beyond each end"
            )


def _not_negative(name: str, value: float) -> None:
    if not 0.0 <= value < np.inf:
        words = name.removesuffix("_u")
        raise InputError(
            f"standard uncertainty of {words} is {value:g}; it must be 0 or more"
        )


def ambient_pressure_at(altitude: ArrayLike) -> FloatArray:
    """Return the pressure of the standard atmosphere. [Pa]

    Parameters
    ----------
    altitude : array_like
        Above sea level, geopotential, -500 to 11,000. [m]

    Raises
    ------
    ValidityError
        Outside that range.

    Examples
    --------
    >>> round(float(ambient_pressure_at(1000.0)), 1)
    89874.6
    """
    h = np.asarray(altitude, dtype=float)
    wrong = h[~((h >= _LOWEST) & (h <= _HIGHEST))]
    if wrong.size:
        raise ValidityError(
            f"altitude is {wrong.flat[0]:g} m; the standard troposphere covers -500 to "
            "11000 m; give metres above sea level"
        )
    cooled = 1.0 - _LAPSE * h / _SEA_LEVEL_TEMPERATURE
    return np.asarray(STANDARD_ATMOSPHERE * cooled**_POWER)


def pressure_above(pressure: float, height: float) -> float:
    """Return the pressure [Pa] at a height [m] above a place with `pressure` [Pa].

    Examples
    --------
    >>> round(pressure_above(101325.0, 1000.0), 1)
    89874.6
    """
    share = (pressure / STANDARD_ATMOSPHERE) ** (1.0 / _POWER)
    here = _SEA_LEVEL_TEMPERATURE * share
    return float(pressure * (1.0 - _LAPSE * height / here) ** _POWER)


def delay_law(result: MixResult) -> BurnLaw:
    """Return the law that the strands of the delay mix gave.

    Parameters
    ----------
    result : MixResult
        Of :func:`castsugar.strands.analyse_mix`: strands of the delay mix.

    Returns
    -------
    BurnLaw
        For :func:`delay_time` and :func:`delay_length`.

    Raises
    ------
    InputError
        There is none; the message says why.

    Notes
    -----
    Valid at the tested pressures. Source: the strands themselves.

    Examples
    --------
    >>> from castsugar.strands import Strand, analyse_mix
    >>> times = {1e5: 22.0, 5e5: 13.0, 1e6: 10.2, 2e6: 8.1}
    >>> burned = [Strand(length=0.05, time=t, pressure=p) for p, t in times.items()]
    >>> round(delay_law(analyse_mix("delay", burned)).bands[0].exponent, 2)
    0.33
    """
    if result.law is None:
        mix = f" of {result.mix!r}" if result.mix else ""
        raise InputError(
            f"no burn law from the strands{mix}: {result.reason}; a delay needs "
            "strands of its own mix, burned in open air and at chamber pressure"
        )
    return result.law


# ----------------------------------------------------------------------------
# What a delay must not be computed from, and what must be said beside it.

#: A law is continued beyond the tested pressures by this share, no further.
TOLERANCE: Final = 0.10

#: A peak beyond that may last this share of the burn time (an ignition spike).
SPIKE_SHARE: Final = 0.05

#: Height above the test place for which the effect is always given. [m]
CLIMB: Final = 300.0

#: The air where the delay burns may be denser than that of the test place by this share
#: (the weather) before it looks as if a height above ground was given.
_WEATHER: Final = 0.03


def check(
    law: BurnLaw, thrusting: Thrusting, ambient: float, burning_at: float
) -> None:
    """Refuse a law or pressures that the strands do not cover.

    Parameters
    ----------
    ambient, burning_at : float
        Pressure of the air at the test place, and where the delay burns. Only the
        latter may lie below the tested pressures: nobody can test up there. [Pa]

    Raises
    ------
    InputError
    """
    positive("ambient pressure", ambient, "Pa")
    positive("pressure where the delay burns", burning_at, "Pa")
    if law.origin != "measured":
        raise InputError(
            f"burn law {law.name!r} is {law.origin!r}, not measured; a delay comes "
            "from strands of its own mix only: burn some in open air and at chamber "
            "pressure"
        )
    low, high = law.tested
    if not low / (1.0 + TOLERANCE) <= ambient <= high * (1.0 + TOLERANCE):
        raise InputError(
            f"ambient pressure {_told(ambient)} lies outside the tested {_span(law)} "
            "of the delay mix by more than 10 %; burn strands in open air"
        )
    if burning_at > high * (1.0 + TOLERANCE):
        raise InputError(
            f"pressure where the delay burns, {_told(burning_at)}, lies above the "
            f"tested {_span(law)} of the delay mix by more than 10 %; give that of "
            "open air"
        )
    lowest = float(thrusting.pressure.min())
    if lowest < ambient / (1.0 + TOLERANCE):
        raise InputError(
            f"chamber pressure falls to {_told(lowest)}, below the ambient "
            f"{_told(ambient)}; give absolute pressures, not gauge"
        )
    share = _share_above(thrusting, high * (1.0 + TOLERANCE))
    if share > SPIKE_SHARE:
        raise InputError(
            f"chamber pressure up to {_told(thrusting.peak_pressure)} lies outside the "
            f"tested {_span(law)} of the delay mix by more than 10 % in "
            f"{100.0 * share:.0f} % of the burn time; burn strands at chamber pressure"
        )


def cautions_of(
    law: BurnLaw, thrusting: Thrusting, ambient: float, burning_at: float
) -> tuple[str, ...]:
    """Return what must be said about pressures that passed the check."""
    low, high = law.tested
    found = []
    if thrusting.peak_pressure > high * (1.0 + 1e-9):
        share = _share_above(thrusting, high)
        found.append(
            f"chamber pressure up to {_told(thrusting.peak_pressure)} is above the "
            f"highest tested, {_told(high)}, in {100.0 * share:.0f} % of the burn "
            "time: the law is continued there"
        )
    if burning_at < low and burning_at < ambient:
        found.append(
            f"the delay burns at {_told(burning_at)}, below the lowest tested, "
            f"{_told(low)}: the law is continued with its exponent "
            f"{law.bands[0].exponent:.2f}, which nobody has tested there; the band "
            "does not cover a bend of the law, or a column that goes out"
        )
    if burning_at > ambient * (1.0 + _WEATHER):
        found.append(
            f"the delay burns at {_told(burning_at)}, more than the ambient "
            f"{_told(ambient)} of the test place: an altitude counts from sea level, "
            "not from the ground"
        )
    return tuple(found)


def _share_above(thrusting: Thrusting, pressure: float) -> float:
    """Return the share of the burn time above a pressure [Pa]."""
    u, weight = thrusting.nodes([pressure])
    return float(weight[u > np.log(pressure)].sum() / weight.sum())


def _span(law: BurnLaw) -> str:
    low, high = law.tested
    return f"{_told(low)} to {_told(high)}"


def _told(pressure: float) -> str:
    """Write a pressure [Pa] for a message."""
    if pressure < 1e6:
        return f"{1e-3 * pressure:.4g} kPa"
    return f"{1e-6 * pressure:.4g} MPa"
