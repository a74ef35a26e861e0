"""Viscosity of the liquid: sucrose and syrup solids in water, from thin to dry."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from castsugar.arrays import FloatArray, celsius, inside
from castsugar.constants import ICE_POINT

#: Gordon-Taylor constants that belong to the glass-scaled viscosity, and to nothing
#: else: glass transitions of dry sucrose and of water [K], and k.
_DRY, _WATER, _RATIO = 335.0, 136.0, 4.7

#: Between these solids the two equations are blended in the logarithm. The published
#: one is meant for thinner, the glass-scaled one for thicker liquids.
BLEND = (0.73, 0.77)

#: Between these temperatures [K] the published equation hands over to the other.
HAND_OVER = (95.0 + ICE_POINT, 105.0 + ICE_POINT)


def log_published(solids: FloatArray, temperature: FloatArray) -> FloatArray:
    """Return ln of the viscosity of a sucrose solution, as published. [ln(Pa s)]

    log10(eta / mPa s) = 22.46 N - 0.114 + F (1.1 + 43.1 N^1.25), N = w / (1900 - 18 w),
    F = (30 - t) / (91 + t), with w in percent and t in C. Genotelle (ICUMSA), as
    printed in Mathlouthi & Genotelle, Sucrose: Properties and Applications (1995),
    eq. 6.29; coefficients read in open code that cites it. Holds up to 80 % and from 0
    to 105 C.

    Examples
    --------
    >>> round(1e3 * float(np.exp(log_published(0.70, 293.15))), 1)
    485.2
    """
    w = 100.0 * solids
    t = temperature - ICE_POINT
    n = w / (1900.0 - 18.0 * w)
    f = (30.0 - t) / (91.0 + t)
    log10 = 22.46 * n - 0.114 + f * (1.1 + 43.1 * n * np.sqrt(np.sqrt(n))) - 3.0
    return np.log(10.0) * log10


def _glass(water: FloatArray, dry: float = _DRY, ratio: float = _RATIO) -> FloatArray:
    """Return the glass transition that belongs to the fit. [K]"""
    sugar = 1.0 - water
    mixed = sugar * dry + (ratio * _WATER) * water
    return mixed / (sugar + ratio * water)


def log_glass_scaled(
    solids: FloatArray,
    temperature: FloatArray,
    dry: float = _DRY,
    ratio: float = _RATIO,
) -> FloatArray:
    """Return ln of the viscosity of concentrated sugar, by its glass. [ln(Pa s)]

    log10 eta = A + (12 - A) (Tg - T0) / (T - T0): Vogel's law that gives 1e12 Pa s at
    the glass transition Tg(x), with T0 = r Tg, r = 0.8510 - 0.1084 x + 0.2317 x^2,
    A = -4.701, x the mass fraction of water. Fitted to the handbook's 60-74 % (0-100
    C; 3 %), to the published equation at 65-80 % (5 %), and loosely to the usual line
    of dry glasses. Holds from 60 % solids on, 20 K and more above the glass.

    At 85-92 % and 100-120 C three candidate extrapolations differ by 2.7 in all:
    take a factor of 1.7 as one standard uncertainty.

    Examples
    --------
    >>> round(1e3 * float(np.exp(log_glass_scaled(0.70, 293.15))))
    484
    """
    x = 1.0 - solids
    glass = _glass(x, dry, ratio)
    base = (0.8510 + x * (0.2317 * x - 0.1084)) * glass
    low, high = -4.701 * np.log(10.0), 12.0 * np.log(10.0)
    return low + (high - low) * (glass - base) / (temperature - base)


#: Saccharides of the acid-converted glucose syrups: dextrose equivalent, then mass
#: fractions of one, two, three, and four or more units; those of the catalogue's
#: syrups, and glucose.
ACID_SERIES = (
    (24.0, 0.069652, 0.069652, 0.099502, 0.761194),
    (36.0, 0.14, 0.12, 0.10, 0.64),
    (42.0, 0.19, 0.14, 0.11, 0.56),
    (55.0, 0.30, 0.18, 0.13, 0.39),
    (63.0, 0.382, 0.297, 0.126455, 0.194545),
    (100.0, 1.0, 0.0, 0.0, 0.0),
)

#: How much thicker than sucrose a saccharide of so many units is, ln of the ratio over
#: the cube of the solids: glucose at 60 % and maltose at 50 % (CRC handbook, 20 C:
#: 37.4 of 58.5 and 17.8 of 15.4 mPa s), three units on their line in the logarithm of
#: the units, four and more so that 42 DE of 80.3 % is 14.5 times as thick (the trade's
#: chart, from memory; the same ratio from 27 to 60 C).
CHAINS = (-2.065, 1.143, 3.019, 9.05)

#: Solids up to which the ratio grows: thicker ones were not measured.
_DENSEST = 0.803

_GRADES = tuple(grade for grade, *_ in ACID_SERIES)
_GRADE_LOGS = tuple(
    sum(k * share for k, share in zip(CHAINS, shares, strict=True))
    for _, *shares in ACID_SERIES
)


def grade_logs(grade: FloatArray) -> FloatArray:
    """Return ln of the viscosity of syrup solids over that of sucrose, as of 80.3 %.

    The mean of :data:`CHAINS` over the mass of the chains of that grade, linear between
    the grades of :data:`ACID_SERIES`: what thickens is four units and more. Less thick
    it goes by the cube of the share of sugars, as glucose does at 40 to 60 % (CRC
    handbook, from memory): no chain does in thin solutions. +-0.2 decade; below 24 DE
    as 24 DE.
    """
    return np.interp(grade, _GRADES, _GRADE_LOGS)


def _growth(solids: FloatArray) -> FloatArray:
    """Return how much of it shows."""
    w = np.minimum(solids, _DENSEST)
    return w * w * w


def log_viscosity(
    solids: ArrayLike,
    temperature: ArrayLike,
    syrup_share: ArrayLike = 0.0,
    dextrose_equivalent: ArrayLike = 62.0,
) -> FloatArray:
    """Return ln of the viscosity of sugars and water. [ln(Pa s)]

    The published equation below 75 % solids and 100 C, the glass-scaled one above,
    blended in the logarithm (73-77 %, 95-105 C), times the grade factor of these solids
    to the power of the syrup's share of them.

    Parameters
    ----------
    solids : array_like
        Mass fraction of all dissolved sugars; below 0.60 up to 105 C only.
    temperature : array_like
        0 to 200 C, from 75 % solids on 20 K above the glass transition. [K]
    syrup_share : array_like
        Share of the solids that comes from syrup.

    Raises
    ------
    ValidityError

    Examples
    --------
    >>> liquid = log_viscosity(0.77, 298.15, 1.0, 62.0)
    >>> round(float(np.exp(liquid)), 1)
    6.7
    """
    w = inside(solids, 0.0, 1.0, "mass fraction of sugars in the liquid")
    t = inside(temperature, 273.15, 473.15, "temperature", "C", zero=ICE_POINT)
    thin = np.where(w < 0.60, t, ICE_POINT)
    celsius(thin, 0.0, 105.0, "temperature below 60 % solids")
    above = np.where(w >= 0.75, t - _glass(1.0 - w), 20.0)
    inside(above, 20.0, np.inf, "temperature above the glass transition", "K")
    grade = inside(dextrose_equivalent, 20.0, 110.0, "dextrose equivalent")
    return mixed_log_viscosity(w, t, np.asarray(syrup_share), grade_logs(grade))


def mixed_log_viscosity(
    w: FloatArray,
    t: FloatArray,
    syrup_share: FloatArray,
    thickening: FloatArray,
) -> FloatArray:
    """Return :func:`log_viscosity` without looking at the ranges, for draws.

    `thickening` is that of the syrup's :func:`grade_logs`.
    """
    thick = _ramp(w, *BLEND)
    if np.ndim(t) == 0 and float(t) >= HAND_OVER[1]:
        thick = np.where(w >= 0.60, 1.0, thick)
    elif (t > HAND_OVER[0]).any():
        thick = np.where(w >= 0.60, np.maximum(thick, _ramp(t, *HAND_OVER)), thick)
    all_thick = bool((thick == 1.0).all())
    result = log_glass_scaled(w, t)
    if not all_thick:
        thin = log_published(np.minimum(w, 0.80), t)
        result = np.where(thick > 0.0, thick * result, 0.0) + (1.0 - thick) * thin
    return result + (syrup_share * thickening) * _growth(w)


# ----------------------------------------------------------------------------
# Sorbitol and erythritol.

#: Glass transition of dry sorbitol that belongs to its viscosity [K], and k, both
#: fitted: with A and r(x) of :func:`log_glass_scaled` 60, 70, 80 % have at 25 C 26.2,
#: 109, 806 mPa s where the pharmaceutical handbook has 26, 110, 900 (from memory); the
#: 80 % stand as far above their glass as the dry melt at 110 C. sd of ln 0.7.
SORBITOL = (270.0, 3.3)

#: Solids from which on the equation of sorbitol holds.
_SORBITOL_FROM = 0.60


def log_erythritol(temperature: FloatArray) -> FloatArray:
    """Return ln of the viscosity of molten erythritol. [ln(Pa s)]

    Vogel's law, log10 eta = -5.773 + 938.8 / (T - 176.1 K): through 184 Pa s at room
    temperature (Chu et al., Atmos. Meas. Tech. 11 (2018) 4809, abstract), and 0.029 and
    0.016 Pa s at 120 and 140 C (from memory), glass at 228 K. sd of ln 0.35 at 120 to
    140 C. Holds from 20 to 150 C.

    Examples
    --------
    >>> round(float(np.exp(log_erythritol(403.15))), 3)
    0.023
    """
    return np.log(10.0) * (-5.773 + 938.8 / (temperature - 176.1))


def others_in(
    w: FloatArray,
    t: FloatArray,
    *,
    dextrose: FloatArray,
    sorbitol: FloatArray,
    erythritol: FloatArray,
) -> FloatArray:
    """Return what other sugars add to :func:`mixed_log_viscosity`, by their shares.

    Dextrose flows as a syrup of 100 DE. Each share of sorbitol and erythritol counts
    with ln of the viscosity of its own sugar at these solids, in place of sucrose;
    below 60 % solids the difference of sorbitol vanishes as the cube of the solids,
    erythritol and water mix in the logarithm (estimated).

    Parameters
    ----------
    w, t : ndarray
        Mass fraction of all sugars in the liquid, and temperature. [K]
    dextrose, sorbitol, erythritol : ndarray
        Shares of the solids.
    """
    added = dextrose * CHAINS[0] * _growth(w)
    none = np.zeros(())
    if np.any(sorbitol):
        thick = np.maximum(w, _SORBITOL_FROM)
        plain = mixed_log_viscosity(thick, t, none, none)
        gap = log_glass_scaled(thick, t, *SORBITOL) - plain
        added = added + sorbitol * (w / thick) ** 3 * gap
    if np.any(erythritol):
        mixed = w * log_erythritol(t) + (1.0 - w) * log_published(none, t)
        added = added + erythritol * (mixed - mixed_log_viscosity(w, t, none, none))
    return added


def _ramp(values: FloatArray, low: float, high: float) -> FloatArray:
    """Return 0 below a range, 1 above it, linear between."""
    return np.clip((values - low) / (high - low), 0.0, 1.0)
