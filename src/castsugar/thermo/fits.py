r"""Thermodynamic functions of species from piecewise polynomial fits.

One form serves every species: the nine-term NASA form, of which the seven-term form
is a special case,

.. math::

    c_p/R = a_0 T^{-2} + a_1 T^{-1} + a_2 + a_3 T + a_4 T^2 + a_5 T^3 + a_6 T^4

    h/RT = -a_0 T^{-2} + a_1 \ln T / T + a_2 + a_3 T/2 + ... + a_7 / T

    s/R = -a_0 T^{-2}/2 - a_1 T^{-1} + a_2 \ln T + a_3 T + ... + a_8

(McBride, Gordon & Reno, NASA TM-4513, 1993, and NASA/TP-2002-211556.) Each function
is linear in nine functions of temperature, so that all species at many temperatures
are one matrix product.

Outside its range a condensed fit is continued so that g(T) stays smooth and concave;
the raw polynomials there can run away and make a phase falsely stable.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from castsugar.arrays import FloatArray

#: Number of functions of temperature, and of coefficients of a fit.
TERMS: Final = 9


def basis(temperature: FloatArray) -> FloatArray:
    """Return the nine functions of temperature, shape (..., 9).

    They are T^-2, T^-1, ln T / T, ln T, 1, T, T^2, T^3, T^4.
    """
    t = np.asarray(temperature, dtype=float)
    out = np.empty((*t.shape, TERMS))
    log = np.log(t)
    inverse = 1.0 / t
    out[..., 0] = inverse * inverse
    out[..., 1] = inverse
    out[..., 2] = log * inverse
    out[..., 3] = log
    out[..., 4] = 1.0
    out[..., 5] = t
    out[..., 6] = t * t
    out[..., 7] = out[..., 6] * t
    out[..., 8] = out[..., 7] * t
    return out


def heat_capacity_terms(fit: FloatArray) -> FloatArray:
    """Coefficients of cp/R in the basis; `fit` has its nine terms on axis 0."""
    out = np.zeros_like(fit)
    out[0], out[1], out[4:9] = fit[0], fit[1], fit[2:7]
    return out


def enthalpy_terms(fit: FloatArray) -> FloatArray:
    """Coefficients of h/RT in the basis; `fit` has its nine terms on axis 0."""
    out = np.zeros_like(fit)
    out[0], out[1], out[2], out[4] = -fit[0], fit[7], fit[1], fit[2]
    for power in range(1, 5):
        out[4 + power] = fit[2 + power] / (power + 1)
    return out


def entropy_terms(fit: FloatArray) -> FloatArray:
    """Coefficients of s/R (at the reference pressure) in the basis."""
    out = np.zeros_like(fit)
    out[0], out[1], out[3], out[4] = -fit[0] / 2.0, -fit[1], fit[2], fit[8]
    for power in range(1, 5):
        out[4 + power] = fit[2 + power] / power
    return out


def gibbs_terms(fit: FloatArray) -> FloatArray:
    """Coefficients of g/RT (at the reference pressure) in the basis."""
    return enthalpy_terms(fit) - entropy_terms(fit)


def from_seven(row: list[float]) -> FloatArray:
    """Return the nine-term fit that equals a seven-term one."""
    return np.array([0.0, 0.0, *row])


def constant_heat_capacity(fit: FloatArray, temperature: float) -> FloatArray:
    """Return the fit that continues `fit` beyond `temperature` with constant cp.

    Enthalpy and entropy are continuous there.
    """
    phi = basis(np.array(temperature))
    out = np.zeros(TERMS)
    out[2] = phi @ heat_capacity_terms(fit)
    out[7] = temperature * (phi @ enthalpy_terms(fit) - out[2])
    out[8] = phi @ entropy_terms(fit) - out[2] * np.log(temperature)
    return out


def shifted(fit: FloatArray, before: FloatArray, temperature: float) -> FloatArray:
    """Return `fit` moved so that h and s join those of `before` at `temperature`."""
    phi = basis(np.array(temperature))
    out = fit.copy()
    out[7] += temperature * (phi @ (enthalpy_terms(before) - enthalpy_terms(fit)))
    out[8] += phi @ (entropy_terms(before) - entropy_terms(fit))
    return out
