"""Peak pressure by formula: the chance that it stays below a pressure, no draws."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, field, fields
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from castsugar.arrays import BoolArray, FloatArray
from castsugar.draw_set import normals
from castsugar.errors import InputError
from castsugar.motor.burn_model import Asked, BurnModel
from castsugar.motor.scatter import CENTRE

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

#: Mixes taken together, most changes of the four nodes, most steps of Newton.
_AT_ONCE, _CHANGES, _STEPS = 128, 8, 30

#: The step of Newton after which ln p is found: the next would be its square.
_ENOUGH: Final = 1e-6

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
    """Peaks of mixes in one motor.

    Attributes
    ----------
    quantiles : ndarray, shape (levels, mixes)
        Pressure that so large a share of the motors stays below; infinite where less
        than that share stays below 100 MPa. [Pa]
    exponent : ndarray, shape (mixes,)
        Of the burn law at the median, or where that is none, at 100 MPa.
    """

    quantiles: FloatArray
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
    model : BurnModel
    fractions : array_like, shape (mixes, c)
        As weighed.
    components : sequence of str
        Catalogue names of them.
    log_supply, supply_u : array_like, shape (mixes,)
        ln S [Pa s/m]; its standard uncertainty. NaN gives NaN.
    levels : sequence of float
        Above 0, below 1.
    filling : array_like, shape (mixes,)
        q of the mass balance. [1/Pa]
    asked : Asked, optional
    degraded : array_like, shape (mixes,)

    Raises
    ------
    InputError
        A level that is none.
    """
    if not all(0.0 < level < 1.0 for level in levels):
        raise InputError(f"levels are {list(levels)}; each must lie between 0 and 1")
    w = np.atleast_2d(np.asarray(fractions, dtype=float))
    supply, u, gone, fills = (
        np.broadcast_to(np.asarray(a, dtype=float), len(w))
        for a in (log_supply, supply_u, degraded, filling)
    )
    quantiles = np.full((len(levels), len(w)), np.nan)
    exponent = np.full(len(w), np.nan)
    usable = np.flatnonzero(np.isfinite(supply) & np.isfinite(u))
    for start in range(0, len(usable), _AT_ONCE):
        own = usable[start : start + _AT_ONCE]
        some = _Some(
            model=model,
            asked=asked or Asked(),
            fractions=w[own],
            components=tuple(components),
            degraded=gone[own],
            threshold=math.log(CENTRE) - supply[own],
            supply_u=u[own],
            fills=CENTRE * fills[own],
        )
        for row, level in enumerate(levels):
            quantiles[row, own] = some.pressure(level)
        exponent[own] = some.slope(some.found(0.5))
    return Peaks(quantiles=quantiles, exponent=exponent)


@dataclass(slots=True, kw_only=True, eq=False)
class _Some:
    """Some mixes in a motor; (mixes,) unless it says otherwise."""

    model: BurnModel
    asked: Asked
    fractions: FloatArray
    components: tuple[str, ...]
    degraded: FloatArray
    threshold: FloatArray  # x + threshold - ln r - ln(1 - fills e^x): the room
    supply_u: FloatArray
    fills: FloatArray  # q times the pressure at the centre
    nodes: dict[int, tuple[FloatArray, FloatArray]] = field(default_factory=dict)
    places: dict[float, FloatArray] = field(default_factory=dict)

    def pressure(self, level: float) -> FloatArray:
        """Return the pressure that so large a share stays below. [Pa]"""
        x = self.found(level)
        return np.asarray(np.where(np.isnan(x), np.inf, CENTRE * np.exp(x)))

    def found(self, level: float) -> FloatArray:
        """Return ln(p / centre) of a level; NaN where it lies above the top."""
        if level not in self.places:
            self.places[level] = self._solved(level)
        return self.places[level]

    def slope(self, x: FloatArray) -> FloatArray:
        """Return the exponent at x, that at the top for NaN."""
        x = np.where(np.isnan(x), _TOP, x)
        nodes = _nodes(x)
        means = self._stencil(nodes)[0]
        share = _shares(x, nodes)[1]
        each = np.einsum("if,ihf->hf", share, means)
        return np.asarray(self.model.weights @ each)

    def _solved(self, level: float) -> FloatArray:
        """Solve for a level, the nodes following the solution."""
        x = self._guess(level)
        nodes = _nodes(x)
        for _ in range(_CHANGES):
            x = self._newton(x, nodes, level)
            new = _nodes(np.clip(x, _LATTICE[0], _TOP))
            if np.array_equal(new, nodes):
                break
            nodes = new
        top = np.full(len(x), _TOP)
        if (x > _TOP).any():
            held = self._near(top)
            x = np.where((x > _TOP) & (held < level), np.nan, np.minimum(x, _TOP))
        doubted = np.flatnonzero(self._doubted(x, level))
        if doubted.size:
            x[doubted] = self._part(doubted).highest(level)
        return x

    def _near(self, x: FloatArray) -> FloatArray:
        """Return the chance to stay below x."""
        nodes = _nodes(x)
        return self._chance(x, self._stencil(nodes), nodes)[0]

    def _doubted(self, x: FloatArray, level: float) -> BoolArray:
        """Return where x may not be the highest pressure of a level."""
        told = ~np.isnan(x)
        exponent, least = _STEEP
        if self.model.share_as_steep(exponent, _LATTICE, self.asked) > least:
            return told
        chance = self._near(np.where(told, x, _TOP))
        lowest = (x <= _LATTICE[0]) & (chance >= level)
        return np.asarray(told & ~lowest & (np.abs(chance - level) > _OFF))

    def _part(self, own: Whole) -> _Some:
        """Return some of the mixes."""
        return _Some(
            model=self.model,
            asked=self.asked,
            fractions=self.fractions[own],
            components=self.components,
            degraded=self.degraded[own],
            threshold=self.threshold[own],
            supply_u=self.supply_u[own],
            fills=self.fills[own],
        )

    def highest(self, level: float) -> FloatArray:
        """Return the x above which a level is kept up to the top, by halving."""
        size = len(self.fractions)
        low, high = np.full(size, _LATTICE[0]), np.full(size, _LATTICE[0])
        for x, above in itertools.pairwise(np.linspace(_LATTICE[0], _TOP, _SCAN)):
            below = self._near(np.full(size, x)) < level
            low, high = np.where(below, x, low), np.where(below, above, high)
        for _ in range(_HALVINGS):
            middle = 0.5 * (low + high)
            below = self._near(middle) < level
            low, high = np.where(below, middle, low), np.where(below, high, middle)
        return np.asarray(high)

    def _guess(self, level: float) -> FloatArray:
        """Return where a level would lie if ln r were one straight normal."""
        from scipy.special import ndtri

        nodes = np.full(len(self.fractions), _BEGIN)
        means, variances = self._stencil(nodes)
        weights = self.model.weights
        at, later = weights @ means[1], weights @ means[2]
        off = means[1] - at
        sd = np.sqrt(weights @ (variances[1] + off * off) + self.supply_u**2)
        steep = np.maximum(1.0 - (later - at) / _STEP, 0.1)
        x = (at - self.threshold + float(ndtri(level)) * sd) / steep
        return np.asarray(np.clip(x, _LATTICE[0], _TOP))

    def _newton(self, x: FloatArray, nodes: Whole, level: float) -> FloatArray:
        """Return the root on the cubic of its nodes, by Newton on the normal score."""
        from scipy.special import ndtri

        goal, near = float(ndtri(level)), self._stencil(nodes)
        for _ in range(_STEPS):
            chance, density = self._chance(x, near, nodes)
            held = np.clip(chance, 1e-15, 1.0 - 1e-15)
            score = ndtri(held)
            bell = np.exp(-0.5 * score**2) / math.sqrt(2.0 * math.pi)
            rise = np.maximum(density / bell, 0.05)
            step = np.clip((goal - score) / rise, -1.0, 1.0)
            x = np.clip(x + step, _LATTICE[0], _LATTICE[-1])
            if np.abs(step).max(initial=0.0) < _ENOUGH:
                break
        return x

    def _chance(
        self, x: FloatArray, near: tuple[FloatArray, FloatArray], nodes: Whole
    ) -> tuple[FloatArray, FloatArray]:
        """Return the chance to stay below x, and how it rises with x."""
        from scipy.special import ndtr

        share, rise = _shares(x, nodes)
        mean, slope = (np.einsum("if,ihf->hf", s, near[0]) for s in (share, rise))
        variance, more = (np.einsum("if,ihf->hf", s, near[1]) for s in (share, rise))
        variance = np.maximum(variance, 0.0) + self.supply_u**2
        sd = np.sqrt(variance)
        full = np.minimum(self.fills * np.exp(x), _FULLEST)
        z = (x - np.log1p(-full) + self.threshold - mean) / sd
        steep = 1.0 + full / (1.0 - full)
        weights = self.model.weights
        bell = np.exp(-0.5 * z * z) * ((steep - slope) / sd - 0.5 * z * more / variance)
        return weights @ ndtr(z), weights @ bell / math.sqrt(2.0 * math.pi)

    def _stencil(self, nodes: Whole) -> tuple[FloatArray, FloatArray]:
        """Return means and variances at the four nodes of each, (4, points, mixes)."""
        shape = (4, len(self.model.weights), len(nodes))
        means, variances = np.empty(shape), np.empty(shape)
        for first in np.unique(nodes):
            own = np.flatnonzero(nodes == first)
            for i in range(4):
                mean, variance = self._node(int(first) - 1 + i, own)
                means[i][:, own], variances[i][:, own] = mean[:, own], variance[:, own]
        return means, variances

    def _node(self, number: int, own: Whole) -> tuple[FloatArray, FloatArray]:
        """Return means and variances at a node, filled for the mixes asked for."""
        shape = (len(self.model.weights), len(self.fractions))
        if number not in self.nodes:
            self.nodes[number] = np.full(shape, np.nan), np.full(shape, np.nan)
        mean, variance = self.nodes[number]
        missing = own[np.isnan(mean[0, own])]
        if missing.size:
            found = self.model.rates(
                self.fractions[missing],
                self.components,
                CENTRE * math.exp(_LATTICE[number]),
                self.asked,
                self.degraded[missing],
            )
            mean[:, missing], variance[:, missing] = found.means, found.variances
        return mean, variance


def _nodes(x: FloatArray) -> Whole:
    """Return the second of the four nodes around each x."""
    below = np.floor((x - _LATTICE[0]) / _STEP).astype(int)
    return np.asarray(np.clip(below, 1, len(_LATTICE) - 3))


def _shares(x: FloatArray, nodes: Whole) -> tuple[FloatArray, FloatArray]:
    """Return the shares of four nodes in a value at x, and in its slope, (4, mixes)."""
    t = (x - _LATTICE[nodes]) / _STEP
    a, b, c, d = t + 1.0, t, t - 1.0, t - 2.0
    share = [-b * c * d / 6.0, a * c * d / 2.0, -a * b * d / 2.0, a * b * c / 6.0]
    rise = [
        -(c * d + b * d + b * c) / 6.0,
        (c * d + a * d + a * c) / 2.0,
        -(b * d + a * d + a * b) / 2.0,
        (b * c + a * c + a * b) / 6.0,
    ]
    return np.array(share), np.array(rise) / _STEP
