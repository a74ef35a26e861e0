"""Peak pressures of many mixes in one motor, with common random numbers.

Every mix meets the same draws, so that two mixes differ by what they are and not by
luck, and a row does not depend on its neighbours.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import stats

from castsugar.arrays import FloatArray
from castsugar.checks import one_of
from castsugar.errors import InputError
from castsugar.motor import balance, peak
from castsugar.motor.assembly import Motor
from castsugar.motor.balance import Bands
from castsugar.motor.law import REFERENCE_PRESSURE
from castsugar.motor.standing import BRANCHES, amplification, withheld
from castsugar.numerics import smooth_quantile

#: Draws a mix.
DRAWS = 200

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
        :func:`castsugar.motor.standing.withheld`.
    estimate : ndarray, shape (mixes,)
        The best estimate also where no pressure is told: for warnings alone. [Pa]
    amplification : ndarray, shape (mixes,)
        See :func:`castsugar.motor.standing.amplification`. [-]
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
    spread: peak.Spread | None = None,
    draws: int = DRAWS,
    branch: str = "highest",
    seed: int = peak.SEED,
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
        As in :func:`castsugar.motor.peak.peak_pressure`.
    levels : tuple of float
        Further quantiles, 0 to 1, never below those of a table.

    Raises
    ------
    InputError
        Fewer than 20 draws, an unknown branch. A mix that fails keeps its row.
    """
    one_of("branch", branch, BRANCHES)
    if draws < 20:
        raise InputError(f"draws a mix: {draws}; at least 20 for a 95 % quantile")
    rows = _Rows.of(motor, mixes, spread or peak.Spread())
    scores = _scores(seed, draws)
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
    supply_u: FloatArray
    edges: FloatArray
    log_rate: FloatArray
    exponent: FloatArray
    log_rate_u: FloatArray
    exponent_u: FloatArray
    correlation: FloatArray
    freedom: FloatArray
    centre: FloatArray

    @classmethod
    def of(cls, motor: Motor, mixes: MixBurns, spread: peak.Spread) -> _Rows:
        propellant, bands = motor.propellant, mixes.bands
        parts = spread.log_supply(propellant.temperature_sensitivity)
        supply = balance.supply(
            kn=motor.kn_max * propellant.density_ratio,
            density=mixes.density,
            characteristic_velocity=mixes.characteristic_velocity,
            rate_factor=propellant.rate_factor,
        )
        own = np.asarray(mixes.characteristic_velocity_u, dtype=float)
        row = np.broadcast_arrays(
            np.atleast_1d(supply),
            np.sqrt(sum(u**2 for u in parts.values()) + own**2),
            np.asarray(mixes.log_rate_u, dtype=float),
            np.asarray(mixes.exponent_u, dtype=float),
            np.asarray(mixes.correlation, dtype=float),
            np.asarray(mixes.degrees_of_freedom, dtype=float),
            np.asarray(mixes.centre, dtype=float),
        )
        shape = (len(row[0]), bands.exponent.shape[-1])
        return cls(
            supply=row[0],
            supply_u=row[1],
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
        spreads = self.supply_u + self.log_rate_u + self.exponent_u
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
        self, part: slice, scores: FloatArray, branch: str, levels: tuple[float, ...]
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
        # The first column is the best estimate: no shift at all.
        z = np.hstack([np.zeros((4, 1)), scores])
        widening = _widening(self.freedom[part], np.r_[0.5, scores[3]])
        t, other = widening * z[0], widening * z[1]
        # The shift of n turns each law about its own centre.
        n = self.exponent_u[part, None] * (rho * t + rest * other)
        turn = n * np.log(self.centre[part, None] / REFERENCE_PRESSURE)
        shifts = peak.LawShifts(
            log_rate=self.log_rate_u[part, None] * t - turn, exponent=n
        )
        drawn = self.supply[part, None] * np.exp(self.supply_u[part, None] * z[2])
        p = peak.drawn_pressures(bands, drawn, shifts, branch)
        p05, p50, p95 = peak.quantiles(p[:, 1:])
        lost = np.mean(~np.isfinite(p[:, 1:]), axis=-1)
        more = [_reached(p[:, 1:], level) for level in levels]
        return np.stack([p[:, 0], p05, p50, p95, lost, *more])


def _reached(draws: FloatArray, level: float) -> FloatArray:
    """Return what a share of the draws stays below; never less than a table shows.

    The smooth quantile, or the one rounded up to a draw, as `p95` is, if that is more:
    a mix that keeps a limit here keeps it there too.
    """
    rank = int(np.ceil(level * (draws.shape[-1] - 1)))
    rounded = np.partition(draws, rank, axis=-1)[..., rank]
    return np.maximum(smooth_quantile(draws, level), rounded)


def _scores(seed: int, draws: int) -> FloatArray:
    """Return three rows of normal scores and one of chances."""
    rng = np.random.default_rng([seed, peak.MIXES_STREAM])
    return np.vstack([rng.standard_normal((3, draws)), rng.random((1, draws))])


def _widening(freedom: FloatArray, chances: FloatArray) -> FloatArray:
    """Return what turns normal scores into Student-t ones, (rows, draws).

    The root of f / chi-squared(f), of the same chance for every f: the same
    denominator for both parts of a law.
    """
    out = np.ones((len(freedom), len(chances)))
    for value in np.unique(freedom[np.isfinite(freedom) & (freedom > 0)]):
        out[freedom == value] = np.sqrt(value / stats.chi2.ppf(chances, value))
    return out
