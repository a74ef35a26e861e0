"""Peak pressure with its band, of one mix or of many, by Monte Carlo."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from castsugar.arrays import FloatArray
from castsugar.checks import one_of
from castsugar.draw_set import DRAWS, SEED, chances, normals
from castsugar.errors import InputError
from castsugar.motor import mass_balance
from castsugar.motor.burn_law import (
    REFERENCE_PRESSURE,
    BurnLaw,
    draw_laws,
    student_factor,
)
from castsugar.motor.mass_balance import BRANCHES, Bands, amplification, withheld
from castsugar.motor.trace import Motor
from castsugar.numerics import smooth_quantile

# ----------------------------------------------------------------------------
# Peak pressure with its band, by Monte-Carlo over the set of points.
#
# Both the lowest and the highest stable pressure rise with Kn: a larger supply lifts
# the balance f everywhere, so that no falling zero of it can move down. The peak over
# the web is therefore the pressure at the largest Kn, for every law, and one root per
# draw is enough.
#
# Drawn are the burn law (shift of ln r and of n), density, throat diameter, burning
# area, characteristic velocity and grain temperature. Relative uncertainties are those
# of the logarithm, so that no draw is negative. A draw without a stable pressure (an
# exponent of 1 or more) is kept as an infinite one: it counts as exceeding.


@dataclass(frozen=True, slots=True, kw_only=True)
class Spread:
    """Standard uncertainties of what a motor is made of, all independent.

    Attributes
    ----------
    density, throat_diameter, area, characteristic_velocity : float
        Relative. [-]
    temperature : float
        Of the grain; acts through the temperature sensitivity. [K]

    Raises
    ------
    InputError
        A negative value.
    """

    density: float = 0.0
    throat_diameter: float = 0.0
    area: float = 0.0
    characteristic_velocity: float = 0.0
    temperature: float = 0.0

    def __post_init__(self) -> None:
        for field in fields(self):
            value = getattr(self, field.name)
            if not 0.0 <= value < np.inf:
                raise InputError(
                    f"standard uncertainty of {field.name.replace('_', ' ')} is "
                    f"{value:g}; it must be 0 or more"
                )

    def log_supply(self, temperature_sensitivity: float) -> dict[str, float]:
        """Return what each adds, as a standard uncertainty of ln S. [-]"""
        return {
            "density": self.density,
            "throat_diameter": 2.0 * self.throat_diameter,
            "area": self.area,
            "characteristic_velocity": self.characteristic_velocity,
            "temperature": temperature_sensitivity * self.temperature,
        }

    def drawn(
        self, temperature_sensitivity: float, draws: int, seed: int
    ) -> dict[str, FloatArray]:
        """Return what each adds to ln S, draw by draw, (draws,) each. [-]"""
        parts = self.log_supply(temperature_sensitivity)
        return {n: u * normals(f"motor|{n}", draws, seed) for n, u in parts.items()}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LawShifts:
    """Draws of a burn law about its best estimate.

    The law of a draw is ``r(p) exp(log_rate) (p / centre)**exponent``.

    Attributes
    ----------
    log_rate, exponent : ndarray, shape (draws,)
    centre : float
        [Pa]
    """

    log_rate: FloatArray
    exponent: FloatArray
    centre: float = REFERENCE_PRESSURE


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Peak:
    """The peak pressure of a motor and its band.

    Attributes
    ----------
    kn_max : float
        [-]
    pressure : float
        With every input at its best estimate; NaN without a stable pressure. [Pa]
    draws : ndarray, shape (draws,)
        Infinite where there is no stable pressure. [Pa]
    p05, p50, p95 : float
        Quantiles of `draws`, rounded outward to a draw. [Pa]
    without_root : float
        Share of draws with no stable pressure.
    outside : float
        Share of draws outside the tested pressures of the law.
    spread_by_input : dict of str to float
        Standard deviation of the ln of the pressure if one input alone is uncertain;
        NaN if that leaves draws without a root. Sorted, largest first. [-]
    seed : int
    """

    kn_max: float
    pressure: float
    draws: FloatArray
    p05: float
    p50: float
    p95: float
    without_root: float
    outside: float
    spread_by_input: dict[str, float]
    seed: int

    def to_dict(self) -> dict[str, object]:
        """Return everything but the draws, with units in the names."""
        return {
            "kn_max": self.kn_max,
            "peak_pressure_MPa": 1e-6 * self.pressure,
            "peak_pressure_p05_MPa": 1e-6 * self.p05,
            "peak_pressure_p50_MPa": 1e-6 * self.p50,
            "peak_pressure_p95_MPa": 1e-6 * self.p95,
            "share_without_stable_pressure": self.without_root,
            "share_outside_tested_pressures": self.outside,
            "log_pressure_spread_by_input": dict(self.spread_by_input),
            "draws": len(self.draws),
            "seed": self.seed,
        }

    def share_above(self, pressure: float) -> float:
        """Return the share of draws above a pressure [Pa]."""
        return float(np.mean(self.draws > pressure))


def quantiles(draws: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return p05, p50, p95 over the last axis, as every quantile of a limit is.

    Infinite draws are taken as they are; NaN gives NaN.
    """
    low, middle, high = (smooth_quantile(draws, level) for level in (0.05, 0.5, 0.95))
    return low, middle, high


def drawn_pressures(
    bands: Bands, supply: ArrayLike, shifts: LawShifts, branch: str = "highest"
) -> FloatArray:
    """Return the pressure of every draw; infinite where none is stable. [Pa]

    Parameters
    ----------
    bands : Bands
        Leading axes broadcast with those of `supply` and `shifts`.
    supply : array_like, shape (..., draws)
        [Pa s/m]
    shifts : LawShifts
    branch : str
        "highest" or "lowest" stable pressure.
    """
    law = bands.shifted(shifts.log_rate, shifts.exponent, shifts.centre)
    if law.exponent.shape[-1] > 1:
        found = mass_balance.roots(law, supply)
        return found.highest() if branch == "highest" else found.lowest()
    steepness = 1.0 - law.exponent[..., 0]
    with np.errstate(divide="ignore", over="ignore", invalid="ignore"):
        log_s = np.log(np.asarray(supply, dtype=float) / REFERENCE_PRESSURE)
        p = np.exp((law.log_rate[..., 0] + log_s) / steepness) * REFERENCE_PRESSURE
    p = np.where(steepness > 0.0, p, np.inf)
    return np.asarray(np.where(np.isnan(log_s), np.nan, p))


def draw_shifts(law: BurnLaw, draws: int = DRAWS, *, seed: int = SEED) -> LawShifts:
    """Draw a burn law about its best estimate, by its own uncertainty."""
    log_rate, exponent = draw_laws(law, draws, seed)
    return LawShifts(log_rate=log_rate, exponent=exponent, centre=law.centre)


def peak_pressure(
    motor: Motor,
    law: BurnLaw | Bands,
    shifts: LawShifts | None = None,
    *,
    spread: Spread | None = None,
    branch: str = "highest",
    seed: int = SEED,
) -> Peak:
    """Draw the peak pressure of a motor.

    Parameters
    ----------
    motor : Motor
        Its `margin_velocity` is used: ideal, unless the efficiency was measured.
    law : BurnLaw or Bands
    shifts : LawShifts or None
        None: :data:`DRAWS` draws by the uncertainty of a `BurnLaw`.
    spread : Spread
        None: only the burn law is uncertain.
    branch : str
        Where several pressures are stable, "highest" (default, cautious) or "lowest".
    seed : int
        Of all draws.

    Raises
    ------
    InputError
        An exponent of 1 or more at the best estimate, unequal or too few draws,
        plain bands without draws.
    """
    one_of("branch", branch, BRANCHES)
    bands = mass_balance.as_bands(law)
    if shifts is None:
        if isinstance(law, Bands):
            raise InputError("plain bands have no uncertainty; give draws, or a law")
        shifts = draw_shifts(law, seed=seed)
    count = _count(shifts)
    propellant = motor.propellant
    added = (spread or Spread()).drawn(propellant.temperature_sensitivity, count, seed)
    best = mass_balance.supply(
        kn=motor.kn_max,
        density=propellant.grain_density,
        characteristic_velocity=propellant.margin_velocity,
        rate_factor=propellant.rate_factor,
    )
    still = LawShifts(log_rate=np.zeros(1), exponent=np.zeros(1))

    def pressures(log_supply: FloatArray, law: LawShifts) -> FloatArray:
        return drawn_pressures(bands, best * np.exp(log_supply), law, branch)

    draws = pressures(np.sum(list(added.values()), axis=0), shifts)
    alone = {"burn_law": _log_deviation(pressures(np.zeros(1), shifts))}
    for name, change in added.items():
        used = change if change.any() else np.zeros(1)
        alone[name] = _log_deviation(pressures(used, still))
    p05, p50, p95 = (float(q) for q in quantiles(draws))
    return Peak(
        kn_max=motor.kn_max,
        pressure=float(pressures(np.zeros(1), still)[0]),
        draws=draws,
        p05=p05,
        p50=p50,
        p95=p95,
        without_root=float(np.mean(~np.isfinite(draws))),
        outside=float(np.mean(bands.outside(draws))),
        spread_by_input=dict(sorted(alone.items(), key=_largest_first)),
        seed=seed,
    )


def _largest_first(item: tuple[str, float]) -> float:
    return -np.inf if np.isnan(item[1]) else -item[1]


def _count(shifts: LawShifts) -> int:
    """Check the draws of the burn law and count them."""
    shapes = np.shape(shifts.log_rate), np.shape(shifts.exponent)
    if shapes[0] != shapes[1] or len(shapes[0]) != 1 or shapes[0][0] < 20:
        raise InputError(
            f"draws of the burn law have shapes {shapes[0]} and {shapes[1]}; "
            "give equally many of both, at least 20 for a 95 % quantile"
        )
    return int(shapes[0][0])


def _log_deviation(pressure: FloatArray) -> float:
    if not np.all(np.isfinite(pressure)):
        return float("nan")
    return float(np.std(np.log(pressure)))


# ----------------------------------------------------------------------------
# Peak pressures of many mixes in one motor, with common random numbers.
#
# Every mix meets the same draws, so that two mixes differ by what they are and not by
# luck, and a row does not depend on its neighbours.

_ELEMENTS_AT_ONCE = 500_000


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MixBurns:
    """Many mixes as a motor sees them; every array broadcasts to (mixes,).

    Attributes
    ----------
    density : ndarray
        Ideal. [kg/m3]
    characteristic_velocity : ndarray
        For the margin. [m/s]
    bands : Bands
        Log rate and exponent of shape (mixes, K) or (K,).
    log_rate_u, exponent_u, correlation : array_like
        Standard uncertainty of ln r at `centre`, of n, and their correlation. [-]
    degrees_of_freedom : array_like
        Of the burn law; Student-t draws where finite.
    centre : array_like
        [Pa]
    characteristic_velocity_u : array_like
        Relative. [-]
    """

    density: FloatArray
    characteristic_velocity: FloatArray
    bands: Bands
    log_rate_u: ArrayLike
    exponent_u: ArrayLike = 0.0
    correlation: ArrayLike = 0.0
    degrees_of_freedom: ArrayLike = np.inf
    centre: ArrayLike = REFERENCE_PRESSURE
    characteristic_velocity_u: ArrayLike = 0.0


def one_band_each(log_rate: ArrayLike, exponent: ArrayLike, pressure: float) -> Bands:
    """Return laws of one band each, (mixes, 1), from ln r in m/s at a pressure [Pa]."""
    n = np.asarray(exponent, dtype=float)
    at_one = np.asarray(log_rate, dtype=float)
    at_one = at_one - n * np.log(pressure / REFERENCE_PRESSURE)
    return Bands(edges=np.empty(0), log_rate=at_one[:, None], exponent=n[:, None])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ManyPeaks:
    """Peaks of many mixes in one motor.

    Attributes
    ----------
    kn_max, pressure, p05, p50, p95 : ndarray, shape (mixes,)
        NaN in a row that failed; an infinite quantile means that so many draws have
        no stable pressure. [-], [Pa]
    without_root : ndarray, shape (mixes,)
        Share of draws with no stable pressure.
    status : ndarray of str, shape (mixes,)
        "ok" or "not computed: reason", see
        :func:`castsugar.motor.mass_balance.withheld`.
    estimate : ndarray, shape (mixes,)
        The best estimate also where no pressure is told: for warnings alone. [Pa]
    amplification : ndarray, shape (mixes,)
        See :func:`castsugar.motor.mass_balance.amplification`. [-]
    further : ndarray, shape (levels, mixes)
        Pressure that so many of the draws stay below, for the levels asked for. [Pa]
    """

    kn_max: FloatArray
    pressure: FloatArray
    p05: FloatArray
    p50: FloatArray
    p95: FloatArray
    without_root: FloatArray
    status: NDArray[np.str_]
    estimate: FloatArray
    amplification: FloatArray
    further: FloatArray


def peaks_of_mixes(  # noqa: PLR0913 - keyword-only options
    motor: Motor,
    mixes: MixBurns,
    *,
    spread: Spread | None = None,
    draws: int = DRAWS,
    branch: str = "highest",
    seed: int = SEED,
    levels: tuple[float, ...] = (),
) -> ManyPeaks:
    """Return the peak of every mix in the grain and behind the nozzle of `motor`.

    Parameters
    ----------
    motor : Motor
        Of its propellant only density ratio, temperatures and sensitivity count.
    mixes : MixBurns
    spread : Spread
        Its characteristic velocity adds to that of each mix.
    draws : int
        At least 20.
    branch, seed
        As in :func:`castsugar.motor.peak_pressure.peak_pressure`.
    levels : tuple of float
        Further quantiles, 0 to 1, as those of a table.

    Raises
    ------
    InputError
        Fewer than 20 draws, an unknown branch. A mix that fails keeps its row.
    """
    one_of("branch", branch, BRANCHES)
    if draws < 20:
        raise InputError(f"draws a mix: {draws}; at least 20 for a 95 % quantile")
    rows = _Rows.of(motor, mixes)
    scores = _Scores.of(motor, spread or Spread(), draws, seed)
    count = len(rows.supply)
    band_count = mixes.bands.exponent.shape[-1]
    chunk = max(1, _ELEMENTS_AT_ONCE // (draws * band_count))
    found = np.empty((5 + len(levels), count))
    for start in range(0, count, chunk):
        part = slice(start, start + chunk)
        found[:, part] = rows.peaks(part, scores, branch, levels)
    bad = ~(rows.usable & np.isfinite(rows.exponent).all(axis=-1))
    why = withheld(rows.bands(slice(None)), found[0], motor.ambient_pressure)
    why = np.where(bad, "an input is not a positive number", why)
    status = np.where(why == "", "ok", np.char.add("not computed: ", why))
    estimate = np.where(bad, np.nan, found[0])
    found[:, why != ""] = np.nan
    return ManyPeaks(
        kn_max=np.full(count, motor.kn_max),
        pressure=found[0],
        p05=found[1],
        p50=found[2],
        p95=found[3],
        without_root=found[4],
        status=status,
        estimate=estimate,
        amplification=amplification(rows.bands(slice(None)), estimate),
        further=found[5:],
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Rows:
    """Everything as (mixes,) or (mixes, K) arrays."""

    supply: FloatArray
    velocity_u: FloatArray
    edges: FloatArray
    log_rate: FloatArray
    exponent: FloatArray
    log_rate_u: FloatArray
    exponent_u: FloatArray
    correlation: FloatArray
    freedom: FloatArray
    centre: FloatArray

    @classmethod
    def of(cls, motor: Motor, mixes: MixBurns) -> _Rows:
        propellant, bands = motor.propellant, mixes.bands
        supply = mass_balance.supply(
            kn=motor.kn_max * propellant.density_ratio,
            density=mixes.density,
            characteristic_velocity=mixes.characteristic_velocity,
            rate_factor=propellant.rate_factor,
        )
        row = np.broadcast_arrays(
            np.atleast_1d(supply),
            np.asarray(mixes.characteristic_velocity_u, dtype=float),
            np.asarray(mixes.log_rate_u, dtype=float),
            np.asarray(mixes.exponent_u, dtype=float),
            np.asarray(mixes.correlation, dtype=float),
            np.asarray(mixes.degrees_of_freedom, dtype=float),
            np.asarray(mixes.centre, dtype=float),
        )
        shape = (len(row[0]), bands.exponent.shape[-1])
        return cls(
            supply=row[0],
            velocity_u=row[1],
            edges=bands.edges,
            log_rate=np.broadcast_to(bands.log_rate, shape),
            exponent=np.broadcast_to(bands.exponent, shape),
            log_rate_u=row[2],
            exponent_u=row[3],
            correlation=row[4],
            freedom=row[5],
            centre=row[6],
        )

    @property
    def usable(self) -> NDArray[np.bool_]:
        """Return the rows whose numbers can be used."""
        spreads = self.velocity_u + self.log_rate_u + self.exponent_u
        good = np.isfinite(self.supply) & (self.supply > 0) & np.isfinite(spreads)
        good &= np.isfinite(self.log_rate).all(axis=-1)
        return np.asarray(good & (np.abs(self.correlation) <= 1) & (self.freedom > 0))

    def bands(self, part: slice) -> Bands:
        """Return the burn laws of some rows, (rows, K)."""
        return Bands(
            edges=self.edges,
            log_rate=self.log_rate[part],
            exponent=self.exponent[part],
        )

    def peaks(
        self, part: slice, scores: _Scores, branch: str, levels: tuple[float, ...]
    ) -> FloatArray:
        """Return best, p05, p50, p95, share without root, further quantiles."""
        laws = self.bands(part)
        bands = replace(
            laws,
            log_rate=laws.log_rate[:, None, :],
            exponent=laws.exponent[:, None, :],
        )
        rho = self.correlation[part, None]
        rest = np.sqrt(np.clip(1.0 - rho**2, 0.0, 1.0))
        widening = _widening(self.freedom[part], scores.freedom)
        t, other = widening * scores.rate, widening * scores.exponent
        # The shift of n turns each law about its own centre.
        n = self.exponent_u[part, None] * (rho * t + rest * other)
        turn = n * np.log(self.centre[part, None] / REFERENCE_PRESSURE)
        shifts = LawShifts(log_rate=self.log_rate_u[part, None] * t - turn, exponent=n)
        added = scores.supply + self.velocity_u[part, None] * scores.velocity
        drawn = self.supply[part, None] * np.exp(added)
        p = drawn_pressures(bands, drawn, shifts, branch)
        p05, p50, p95 = quantiles(p[:, 1:])
        lost = np.mean(~np.isfinite(p[:, 1:]), axis=-1)
        more = [smooth_quantile(p[:, 1:], level) for level in levels]
        return np.stack([p[:, 0], p05, p50, p95, lost, *more])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Scores:
    """What all mixes share, (1 + draws,); the first is the best estimate: no shift.

    Normal scores, but for the chances of `freedom` and `supply`, which is of ln S.
    """

    rate: FloatArray
    exponent: FloatArray
    freedom: FloatArray
    supply: FloatArray
    velocity: FloatArray

    @classmethod
    def of(cls, motor: Motor, spread: Spread, draws: int, seed: int) -> _Scores:
        parts = spread.drawn(motor.propellant.temperature_sensitivity, draws, seed)
        return cls(
            rate=np.r_[0.0, normals("burn law|rate", draws, seed)],
            exponent=np.r_[0.0, normals("burn law|exponent", draws, seed)],
            freedom=np.r_[0.5, chances("burn law|freedom", draws, seed)],
            supply=np.r_[0.0, np.sum(list(parts.values()), axis=0)],
            velocity=np.r_[0.0, normals("mix|characteristic_velocity", draws, seed)],
        )


def _widening(freedom: FloatArray, drawn: FloatArray) -> FloatArray:
    """Return Student's factors of many laws, (rows, draws)."""
    out = np.ones((len(freedom), len(drawn)))
    for value in np.unique(freedom[np.isfinite(freedom) & (freedom > 0)]):
        out[freedom == value] = student_factor(float(value), drawn)
    return out
