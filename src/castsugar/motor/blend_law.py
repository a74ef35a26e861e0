"""A burn law for any composition, from mixes that were measured.

Never out of thermochemistry. With 3 measured mixes or more: a mixture model of ln r at
a reference pressure and one of the exponent (:mod:`castsugar.motor.scheffe`). With one
or two: the nearest measured mix. With none: a borrowed law. The origin says which, and
the band is the wider, the less is known.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from castsugar.arrays import BoolArray, FloatArray
from castsugar.errors import InputError
from castsugar.motor.law import (
    BORROWED_DOUBT,
    EXPONENT_DOUBT,
    REFERENCE_PRESSURE,
    Band,
    BurnLaw,
    log_rate_uncertainty,
)
from castsugar.motor.measured import MeasuredMix, columns
from castsugar.motor.scheffe import (
    ROUNDING,
    ScheffeModel,
    outside_measured,
    scheffe_model,
)

#: Fewest measured mixes for a mixture model.
MIXES_FOR_MODEL = 3

#: What a mixture model of ln r, of the exponent, is expected to leave between mixes
#: (assumed: half the doubt of what was not measured at all).
_PRIOR_RATE, _PRIOR_EXPONENT = 0.5 * BORROWED_DOUBT, 0.5 * EXPONENT_DOUBT

#: Share of the mass that differs, over which the doubt of the nearest measured mix
#: grows by as much as that of a borrowed law (assumed).
_NEAR = 0.1


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BlendRates:
    """Burn laws of many compositions, as columns.

    Attributes
    ----------
    log_rate, log_rate_u : ndarray, shape (...)
        ln of the rate in m/s at the reference pressure; standard uncertainty for a new
        grain.
    exponent, exponent_u : ndarray, shape (...)
    outside : ndarray of bool, shape (...)
        The composition lies outside what was measured.
    distance : ndarray, shape (...)
        Share of the mass that differs from the nearest measured mix; NaN for none.
    nearest : ndarray of int, shape (...)
        Which one that is; -1 for none.
    """

    log_rate: FloatArray
    log_rate_u: FloatArray
    exponent: FloatArray
    exponent_u: FloatArray
    outside: BoolArray
    distance: FloatArray
    nearest: NDArray[np.intp]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BlendLaw:
    """What is known of the burn law across mixes; see :func:`blend_law`.

    Attributes
    ----------
    mixes : tuple of MeasuredMix
    reference_pressure : float
        [Pa]
    rate_model, exponent_model : ScheffeModel or None
        None with fewer than 3 mixes.
    borrowed : BurnLaw or None
        Used if nothing was measured.
    """

    mixes: tuple[MeasuredMix, ...]
    reference_pressure: float
    rate_model: ScheffeModel | None
    exponent_model: ScheffeModel | None
    borrowed: BurnLaw | None

    def rates(self, fractions: ArrayLike) -> BlendRates:
        """Return the burn laws of compositions, mass fractions of shape (..., k).

        Raises
        ------
        InputError
            Fractions that do not sum to 1, or not of the measured components.
        """
        w = _checked(fractions)
        if not self.mixes:
            return _borrowed_rates(self._law(), w, self.reference_pressure)
        measured = np.array([m.fractions for m in self.mixes])
        if w.shape[-1] != measured.shape[1]:
            raise InputError(
                f"compositions have {w.shape[-1]} components; the measured mixes have "
                f"{measured.shape[1]}"
            )
        away = 0.5 * np.abs(w[..., None, :] - measured).sum(axis=-1)
        nearest = np.argmin(away, axis=-1)
        distance = away.min(axis=-1)
        scatter = np.array([m.law.scatter for m in self.mixes])
        if self.rate_model is None or self.exponent_model is None:
            y, u, n, n_u = columns(self.mixes, self.reference_pressure)[:, nearest]
            u = np.sqrt(u**2 + BORROWED_DOUBT**2 * (1.0 + (distance / _NEAR) ** 2))
            n_u, far = np.hypot(n_u, EXPONENT_DOUBT), distance > ROUNDING
            spread = scatter[nearest]
        else:
            (y, u), (n, n_u) = (
                self.rate_model.predict(w),
                self.exponent_model.predict(w),
            )
            far = outside_measured(measured, w)
            u = np.hypot(u, np.where(far, BORROWED_DOUBT, 0.0))
            n_u = np.hypot(n_u, np.where(far, EXPONENT_DOUBT, 0.0))
            spread = np.full(y.shape, math.sqrt(float((scatter**2).mean())))
        return BlendRates(
            log_rate=y,
            log_rate_u=np.hypot(u, spread),
            exponent=n,
            exponent_u=n_u,
            outside=far,
            distance=distance,
            nearest=nearest,
        )

    def law(self, fractions: ArrayLike, name: str) -> BurnLaw:
        """Return the burn law of one composition.

        Raises
        ------
        InputError
            As for :meth:`rates`, or a predicted exponent of 1 or more.
        """
        found = self.rates(fractions)
        if found.log_rate.ndim:
            raise InputError("give one composition; rates takes many")
        if not self.mixes:
            law = self._law()
            return replace(law, origin=self.origin(found))
        p, n = self.reference_pressure, float(found.exponent)
        low, high = self._tested(int(found.nearest))
        rate = math.exp(float(found.log_rate)) * (REFERENCE_PRESSURE / p) ** n
        u = float(found.log_rate_u)
        return BurnLaw(
            name=name,
            bands=(Band(low=low, high=high, rate=rate, exponent=n),),
            log_rate_u=u,
            covariance=((u**2, 0.0), (0.0, float(found.exponent_u) ** 2)),
            centre=p,
            degrees_of_freedom=self._freedom(),
            scatter=max(m.law.scatter for m in self.mixes),
            origin=self.origin(found),
            status="estimated",
        )

    def origin(self, found: BlendRates) -> str:
        """Return where the law of one composition comes from."""
        if not self.mixes:
            law = self._law()
            return f"borrowed: {law.name}" + (f" ({law.source})" if law.source else "")
        where = ", outside the measured mixes" if bool(found.outside) else ""
        if self.rate_model is None or self.exponent_model is None:
            near = self.mixes[int(found.nearest)].name
            share = 100.0 * float(found.distance)
            return f"nearest measured mix: {near}, {share:.3g} % of the mass differs"
        words = {1: "linear", 2: "quadratic"}
        return (
            f"mixture model of {len(self.mixes)} measured mixes "
            f"(ln r {words[self.rate_model.order]}, "
            f"n {words[self.exponent_model.order]}){where}"
        )

    def _law(self) -> BurnLaw:
        if self.borrowed is None:
            raise InputError("no mix was measured and no law borrowed; give either")
        return self.borrowed

    def _freedom(self) -> float:
        models = (self.rate_model, self.exponent_model)
        known = [float(m.degrees_of_freedom) for m in models if m is not None]
        return min(known, default=math.inf)

    def _tested(self, nearest: int) -> tuple[float, float]:
        if self.rate_model is None:
            return self.mixes[nearest].law.tested
        lows, highs = zip(*(m.law.tested for m in self.mixes), strict=True)
        if max(lows) < min(highs):
            return max(lows), min(highs)
        return min(lows), max(highs)


def blend_law(
    mixes: Sequence[MeasuredMix],
    *,
    reference_pressure: float = REFERENCE_PRESSURE,
    borrowed: BurnLaw | None = None,
) -> BlendLaw:
    """Gather what is known of the burn law across mixes.

    Parameters
    ----------
    mixes : sequence of MeasuredMix
        All of the same components. 3 or more of at least two different compositions
        give a mixture model.
    reference_pressure : float
        Best in the middle of the tests, where rate and exponent of each mix hardly
        depend on each other; the model takes them as independent. [Pa]
    borrowed : BurnLaw, optional
        Used if `mixes` is empty.

    Raises
    ------
    InputError
        Nothing measured and nothing borrowed; compositions of different components.
    """
    if not mixes and borrowed is None:
        raise InputError("no mix was measured and no law borrowed; give either")
    if len({len(m.fractions) for m in mixes}) > 1:
        raise InputError("measured mixes must list the same components, 0 where absent")
    rate_model = exponent_model = None
    measured = _checked([m.fractions for m in mixes]) if mixes else np.empty((0, 1))
    if len(mixes) >= MIXES_FOR_MODEL and float(np.ptp(measured, axis=0).max()) > 0.0:
        y, u, n, n_u = columns(mixes, reference_pressure)
        rate_model = scheffe_model(measured, y, u, _PRIOR_RATE)
        exponent_model = scheffe_model(measured, n, n_u, _PRIOR_EXPONENT)
    return BlendLaw(
        mixes=tuple(mixes),
        reference_pressure=reference_pressure,
        rate_model=rate_model,
        exponent_model=exponent_model,
        borrowed=borrowed,
    )


def _borrowed_rates(law: BurnLaw, w: FloatArray, pressure: float) -> BlendRates:
    shape = w.shape[:-1]
    y, _, n, n_u = columns([MeasuredMix(name="", fractions=(), law=law)], pressure)
    return BlendRates(
        log_rate=np.full(shape, y[0]),
        log_rate_u=np.full(shape, float(log_rate_uncertainty(law, pressure))),
        exponent=np.full(shape, n[0]),
        exponent_u=np.full(shape, n_u[0]),
        outside=np.ones(shape, dtype=bool),
        distance=np.full(shape, np.nan),
        nearest=np.full(shape, -1),
    )


def _checked(fractions: ArrayLike) -> FloatArray:
    w = np.asarray(fractions, dtype=float)
    if not w.ndim or np.any(~(w >= 0.0)) or np.any(np.abs(w.sum(axis=-1) - 1.0) > 1e-4):
        raise InputError("mass fractions must be 0 or more and sum to 1 in every mix")
    return w
