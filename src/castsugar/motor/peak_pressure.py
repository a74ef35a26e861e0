"""Peak pressure by formula: the chance that it stays below a pressure, no draws."""

from __future__ import annotations

import functools
import itertools
import math
from collections.abc import Sequence
from dataclasses import field, fields
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from castsugar.arrays import BoolArray, FloatArray
from castsugar.draw_set import normals
from castsugar.errors import InputError
from castsugar.frozen import dataclass
from castsugar.motor.burn_model import Asked, BurnModel, MixRates
from castsugar.motor.scatter import CENTRE
from castsugar.numerics import bisected, distinct
from castsugar.special import ndtr, ndtri

# ----------------------------------------------------------------------------
# What a motor is made of, and how firmly it is known.

#: One standard uncertainty of the temperature sensitivity of the burn rate, as a
#: factor: the sources spread 0.07 to 0.28 % a kelvin times 1 - n (Sutton & Biblarz, ch.
#: 11, from memory).
SENSITIVITY_DOUBT: Final = 1.5


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

    Examples
    --------
    >>> round(Spread(density=0.03, area=0.04).supply_u(0.0), 3)
    0.05
    """

    density: float = 0.0
    throat_diameter: float = 0.0
    area: float = 0.0
    characteristic_velocity: float = 0.0
    temperature: float = 0.0

    def __post_init__(self) -> None:
        for one in fields(self):
            value = getattr(self, one.name)
            if not 0.0 <= value < np.inf:
                raise InputError(
                    f"standard uncertainty of {one.name.replace('_', ' ')} is "
                    f"{value:g}; it must be 0 or more"
                )

    def log_supply(
        self, temperature_sensitivity: float, warmer: float = 0.0
    ) -> dict[str, float]:
        """Return what each adds, as a standard uncertainty of ln S. [-]

        Where the grain is so much warmer than the strands [K], the temperature
        sensitivity [1/K] itself is doubted, by a factor of :data:`SENSITIVITY_DOUBT`.
        """
        by_step = math.log(SENSITIVITY_DOUBT) * abs(warmer)
        return {
            "density": self.density,
            "throat_diameter": 2.0 * self.throat_diameter,
            "area": self.area,
            "characteristic_velocity": self.characteristic_velocity,
            "temperature": temperature_sensitivity
            * math.hypot(self.temperature, by_step),
        }

    def drawn(
        self,
        temperature_sensitivity: float,
        draws: int,
        seed: int,
        warmer: float = 0.0,
    ) -> dict[str, FloatArray]:
        """Return what each adds to ln S, draw by draw, (draws,) each. [-]"""
        parts = self.log_supply(temperature_sensitivity, warmer)
        return {n: u * normals(f"motor|{n}", draws, seed) for n, u in parts.items()}

    def supply_u(self, temperature_sensitivity: float, warmer: float = 0.0) -> float:
        """Return the standard uncertainty of ln S, all together. [-]"""
        return math.hypot(*self.log_supply(temperature_sensitivity, warmer).values())


# ----------------------------------------------------------------------------
# The chance that a peak stays below a pressure.
#
# With S the pressure per burn rate (:mod:`castsugar.motor.mass_balance`) a motor stands
# below P exactly when ln r(P) + ln S + ln(1 - q P) <= ln P, as long as r rises slower
# than P: one root. ln r is a sum of normals (:mod:`castsugar.motor.burn_model`), so
#
# .. math:: P(p \le P) = \sum_h w_h \, \Phi\!\left(\frac{\ln P - \ln(1 - q P) - \ln S
#     - m_h(P)}{\sqrt{V_h(P) + u_S^2}}\right)
#
# has neither draws nor seed and is smooth in the recipe. m_h and V_h are computed at
# pressures of a fixed lattice and read between them by the cubic through the four
# around, so that a mix has the same number alone and in a crowd.

#: Lattice of ln(p / 2.5 MPa): 75 kPa to 136 MPa.
_STEP: Final = 0.25
_LATTICE: Final = np.asarray(_STEP * np.arange(-14, 17), dtype=float)

#: Above this no upper limit is told. [Pa]
NO_LIMIT: Final = 1.0e8
_TOP: Final = math.log(NO_LIMIT / CENTRE)

#: Where the search for a pressure begins: the node at 2.5 MPa.
_BEGIN: Final = 14

#: Mixes taken together; the same where few points tell where to begin; most steps of
#: Newton.
_AT_ONCE, _ROUGH_AT_ONCE, _STEPS = 64, 2048, 30

#: Least rise of the normal score with ln p that a step of Newton goes by.
_LEAST_RISE: Final = 0.05

#: The step of Newton after which ln p is found: the next would be its square.
_ENOUGH: Final = 1e-6

#: The same where it is only sought where to begin; few points are as far off.
_ROUGHLY: Final = 0.05

#: Chance off that of a level, and exponent with its chance among the laws that burned,
#: from which on all roots are looked for: where a law rises as fast as pressure there
#: may be several, and the highest counts. Places that are tried; halvings between two.
_OFF: Final = 1e-9
_STEEP: Final = 0.9, 1e-3
_SCAN, _HALVINGS = 41, 30

#: Most of the gas that may fill the burnt volume; 100 MPa fill a fifth.
_FULLEST: Final = 0.9

Whole = NDArray[np.intp]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Peaks:
    """Peaks of mixes in one motor."""

    #: Pressure that so large a share of the motors stays below; infinite where less
    #: than that share stays below 100 MPa, (levels, mixes). [Pa]
    quantiles: FloatArray
    #: Of the burn law at the median, or where that is none, at 100 MPa, (mixes,).
    exponent: FloatArray


def peaks(  # noqa: PLR0913 - keyword-only options
    model: BurnModel,
    fractions: ArrayLike,
    components: Sequence[str],
    *,
    log_supply: ArrayLike,
    supply_u: ArrayLike,
    levels: Sequence[float],
    filling: ArrayLike = 0.0,
    asked: Asked | None = None,
    degraded: ArrayLike = 0.0,
) -> Peaks:
    """Return quantiles of the peak pressure of mixes in a motor.

    Parameters
    ----------
    fractions : array_like, shape (mixes, c)
        As weighed.
    components : sequence of str
        Catalogue names of them.
    log_supply, supply_u : array_like, shape (mixes,) or (2, mixes)
        ln S [Pa s/m]; its standard uncertainty. NaN gives NaN. Of two rows the second
        is for levels above a half.
    levels : sequence of float
        Above 0, below 1.
    filling : array_like, shape (mixes,) or (2, mixes)
        q of the mass balance. [1/Pa]
    degraded : array_like, shape (mixes,)

    Raises
    ------
    InputError
        A level that is none.
    """
    if not all(0.0 < level < 1.0 for level in levels):
        raise InputError(f"levels are {list(levels)}; each must lie between 0 and 1")
    w = np.atleast_2d(np.asarray(fractions, dtype=float))
    supply, u, fills = (
        np.broadcast_to(np.asarray(a, dtype=float), (2, len(w)))
        for a in (log_supply, supply_u, filling)
    )
    gone = np.broadcast_to(np.asarray(degraded, dtype=float), len(w))
    alike = all(np.array_equal(a[0], a[1], equal_nan=True) for a in (supply, u, fills))

    def low_and_high(of: BurnModel, own: Whole) -> tuple[_Some, _Some]:
        low = _Some(
            rates=of.of_mixes(w[own], components, asked, gone[own]),
            threshold=math.log(CENTRE) - supply[0, own],
            supply_u=u[0, own],
            fills=CENTRE * fills[0, own],
        )
        high = low if alike else low.under(supply[1, own], u[1, own], fills[1, own])
        return low, high

    quantiles = np.full((len(levels), len(w)), np.nan)
    exponent = np.full(len(w), np.nan)
    usable = np.flatnonzero((np.isfinite(supply) & np.isfinite(u)).all(axis=0))
    for start in range(0, len(usable), _ROUGH_AT_ONCE):
        own = usable[start : start + _ROUGH_AT_ONCE]
        low, high = low_and_high(model.thin, own)
        middle = low.rough(0.5, np.full(own.size, _LATTICE[_BEGIN]))
        of = {level: high if level > 0.5 else low for level in (0.5, *levels)}
        begin = {level: some.rough(level, middle) for level, some in of.items()}
        order = np.argsort(middle, kind="stable")  # alike mixes share their nodes
        for at in range(0, own.size, _AT_ONCE):
            part = order[at : at + _AT_ONCE]
            low, high = low_and_high(model, own[part])
            found = {
                level: (high if level > 0.5 else low).found(level, x[part])
                for level, x in begin.items()
            }
            exponent[own[part]] = low.slope(found[0.5])
            for row, level in enumerate(levels):
                p = CENTRE * np.exp(found[level])
                quantiles[row, own[part]] = np.where(np.isnan(p), np.inf, p)
    return Peaks(quantiles=quantiles, exponent=exponent)


@dataclass(slots=True, kw_only=True, eq=False)
class _Some:
    """Some mixes in a motor; (mixes,) unless it says otherwise."""

    rates: MixRates
    threshold: FloatArray  # x + threshold - ln r - ln(1 - fills e^x): the room
    supply_u: FloatArray
    fills: FloatArray  # q times the pressure at the centre
    moments: FloatArray = field(init=False)  # (mixes, nodes, 2 points)
    known: BoolArray = field(init=False)  # (mixes, nodes)

    def __post_init__(self) -> None:
        """Make room for means and variances at the nodes."""
        mixes, nodes = len(self.threshold), len(_LATTICE)
        self.moments = np.empty((mixes, nodes, 2 * len(self.weights)))
        self.known = np.zeros((mixes, nodes), dtype=bool)

    def under(self, log_supply: FloatArray, u: FloatArray, fills: FloatArray) -> _Some:
        """Return the same mixes with another supply; what is known of rates stays."""
        other = _Some(
            rates=self.rates,
            threshold=math.log(CENTRE) - log_supply,
            supply_u=u,
            fills=CENTRE * fills,
        )
        other.moments, other.known = self.moments, self.known
        return other

    @property
    def weights(self) -> FloatArray:
        """Return the weights of the points, (points,)."""
        return self.rates.weights

    def slope(self, x: FloatArray) -> FloatArray:
        """Return the exponent at x, that at the top for NaN."""
        x = np.where(np.isnan(x), _TOP, x)
        all_of = np.arange(len(x))
        each = self._read(x, all_of)[2]
        return np.asarray(each @ self.weights)

    def rough(self, level: float, x: FloatArray) -> FloatArray:
        """Return about where a level lies; x is where to begin."""
        return self._newton(self._guess(level, x), level, _ROUGHLY)[0]

    def found(self, level: float, x: FloatArray) -> FloatArray:
        """Return ln(p / centre) of a level, sought from x; NaN above the top."""
        x, loose = self._newton(x, level)
        top = np.flatnonzero(x > _TOP)
        if top.size:
            held = self._near(np.full(top.size, _TOP), top)
            x[top] = np.where(held < level, np.nan, _TOP)
        doubted = self._doubted(x, level, loose)
        if doubted.size:
            x[doubted] = self._highest(level, doubted)
        return x

    def _near(self, x: FloatArray, own: Whole) -> FloatArray:
        """Return the chance to stay below x."""
        return self._chance(x, own)[0]

    def _doubted(self, x: FloatArray, level: float, loose: Whole) -> Whole:
        """Return where x may not be the highest pressure of a level.

        Of those that Newton left without a root; all, where a law is steep.
        """
        exponent, least = _STEEP
        if self.rates.share_as_steep(exponent, _LATTICE) > least:
            return np.flatnonzero(~np.isnan(x))
        loose = loose[~np.isnan(x[loose])]
        at = x[loose]
        chance = self._near(at, loose)
        lowest = (at <= _LATTICE[0]) & (chance >= level)
        return loose[~lowest & (np.abs(chance - level) > _OFF)]

    def _highest(self, level: float, own: Whole) -> FloatArray:
        """Return the x above which a level is kept up to the top, by halving."""
        low, high = np.full(own.size, _LATTICE[0]), np.full(own.size, _LATTICE[0])
        for x, above in itertools.pairwise(np.linspace(_LATTICE[0], _TOP, _SCAN)):
            below = self._near(np.full(own.size, x), own) < level
            low, high = np.where(below, x, low), np.where(below, above, high)
        return bisected(lambda x: self._near(x, own) < level, low, high, _HALVINGS)[1]

    def _guess(self, level: float, x: FloatArray) -> FloatArray:
        """Return where a level would lie if ln r were one straight normal about x."""
        own = np.arange(len(x))
        mean, variance, slope, _ = self._read(x, own)
        at, steep = mean @ self.weights, 1.0 - slope @ self.weights
        off = mean - at[:, None]
        sd = np.sqrt((variance + off * off) @ self.weights + self.supply_u**2)
        room = x + self.threshold - at
        x = x + (_score(level) * sd - room) / np.maximum(steep, 0.1)
        return np.asarray(np.clip(x, _LATTICE[0], _TOP))

    def _newton(
        self, x: FloatArray, level: float, enough: float = _ENOUGH
    ) -> tuple[FloatArray, Whole]:
        """Return the root by Newton on the normal score, the nodes following it.

        And where there is none: the last step was held, or the law is too steep.
        """
        goal, own, loose = _score(level), np.arange(len(x)), []
        x = x.copy()
        for _ in range(_STEPS):
            at = x[own]
            chance, density = self._chance(at, own)
            score = ndtri(np.clip(chance, 1e-15, 1.0 - 1e-15))
            bell = np.exp(-0.5 * score**2) / math.sqrt(2.0 * math.pi)
            rise = density / bell
            held = np.maximum(rise, _LEAST_RISE)
            step = np.clip((goal - score) / held, -1.0, 1.0)
            x[own] = np.clip(at + step, _LATTICE[0], _LATTICE[-1])
            moved = np.abs(x[own] - at) >= enough
            sound = (rise >= _LEAST_RISE) & (x[own] == at + step) & (x[own] <= _TOP)
            loose.append(own[~moved & ~sound])
            own = own[moved]
            if not own.size:
                break
        return x, np.sort(np.concatenate([*loose, own]))

    def _chance(self, x: FloatArray, own: Whole) -> tuple[FloatArray, FloatArray]:
        """Return the chance to stay below x, and how it rises with x."""
        mean, variance, slope, more = self._read(x, own)
        u, fills = self.supply_u[own], self.fills[own]
        variance = np.maximum(variance, 0.0) + (u * u)[:, None]
        sd = np.sqrt(variance)
        full = np.minimum(fills * np.exp(x), _FULLEST)
        z = ((x - np.log1p(-full) + self.threshold[own])[:, None] - mean) / sd
        steep = 1.0 + full / (1.0 - full)
        rise = (steep[:, None] - slope) / sd - 0.5 * z * more / variance
        bell = np.exp(-0.5 * z * z) * rise
        return ndtr(z) @ self.weights, bell @ self.weights / math.sqrt(2.0 * math.pi)

    def _read(self, x: FloatArray, own: Whole) -> tuple[FloatArray, ...]:
        """Return mean, variance and the slopes of both at x, (mixes, points) each.

        By the cubic through the four nodes around.
        """
        below = np.floor((np.minimum(x, _TOP) - _LATTICE[0]) / _STEP).astype(int)
        second = np.clip(below, 1, len(_LATTICE) - 3)
        four = second[:, None] + np.arange(-1, 3)
        self._fill(own, four)
        near = self.moments[own[:, None], four]
        found = _shares(x, second) @ near
        points = len(self.weights)
        of_means, of_variances = found[..., :points], found[..., points:]
        return of_means[:, 0], of_variances[:, 0], of_means[:, 1], of_variances[:, 1]

    def _fill(self, own: Whole, four: Whole) -> None:
        """Compute means and variances at nodes that are asked for the first time."""
        missing = ~self.known[own[:, None], four]
        if not missing.any():
            return
        mixes = np.broadcast_to(own[:, None], four.shape)[missing]
        nodes, points = four[missing], len(self.weights)
        for node in distinct(nodes):
            some = mixes[nodes == node]
            means, variances = self.rates.at(float(_LATTICE[node]), some)
            self.moments[some, node, :points] = np.ascontiguousarray(means.T)
            self.moments[some, node, points:] = np.ascontiguousarray(variances.T)
            self.known[some, node] = True


@functools.cache
def _score(level: float) -> float:
    """Return the normal score of a level."""
    return float(ndtri(level))


def _shares(x: FloatArray, nodes: Whole) -> FloatArray:
    """Return the shares of four nodes in a value at x, and in its slope.

    Returns
    -------
    ndarray, shape (mixes, 2, 4)
    """
    t = (x - _LATTICE[nodes]) / _STEP
    a, b, c, d = t + 1.0, t, t - 1.0, t - 2.0
    share = [-b * c * d / 6.0, a * c * d / 2.0, -a * b * d / 2.0, a * b * c / 6.0]
    rise = [
        -(c * d + b * d + b * c) / 6.0,
        (c * d + a * d + a * c) / 2.0,
        -(b * d + a * d + a * b) / 2.0,
        (b * c + a * c + a * b) / 6.0,
    ]
    both = np.array([share, np.array(rise) / _STEP])
    return both.transpose(2, 0, 1)
