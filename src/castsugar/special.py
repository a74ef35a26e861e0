"""Chances and scores of a few distributions, the Lambert function.

scipy.special has all of them; loading it takes 0.13 s of CPU, a sixth of a command with
a bench file. Tests hold these against it.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike

from castsugar.arrays import FloatArray

# ----------------------------------------------------------------------------
# The normal distribution.

#: J. F. Hart et al., *Computer Approximations* (1968), no. 5666, in the form of
#: G. West, Wilmott Magazine (May 2005) 70, from memory: numerator and denominator of
#: the chance beyond z over exp(-z^2/2), highest power first.
_BEYOND = (
    (3.52624965998911e-02, 0.700383064443688, 6.37396220353165, 33.912866078383,
     112.079291497871, 221.213596169931, 220.206867912376),
    (8.83883476483184e-02, 1.75566716318264, 16.064177579207, 86.7807322029461,
     296.564248779674, 637.333633378831, 793.826512519948, 440.413735824752),
)  # fmt: skip

#: M. J. Wichura, Applied Statistics 37 (1988) 477, algorithm AS 241 (read in Python's
#: ``statistics``): numerators and denominators near the middle, beyond, far beyond.
_MIDDLE = (
    (2.509080928730122672e3, 3.343057558358812810e4, 6.726577092700870085e4,
     4.592195393154987145e4, 1.373169376550946112e4, 1.971590950306551442e3,
     1.331416678917843774e2, 3.387132872796366608),
    (5.226495278852854561e3, 2.872908573572194267e4, 3.930789580009271061e4,
     2.121379430158659586e4, 5.394196021424751107e3, 6.871870074920579083e2,
     4.231333070160091125e1, 1.0),
)  # fmt: skip
_OUT = (
    (7.7454501427834140764e-4, 2.27238449892691845833e-2, 2.4178072517745061177e-1,
     1.27045825245236838258, 3.64784832476320460504, 5.7694972214606914055,
     4.6303378461565452959, 1.42343711074968357734),
    (1.05075007164441684324e-9, 5.475938084995344946e-4, 1.51986665636164571966e-2,
     1.4810397642748007459e-1, 6.8976733498510000455e-1, 1.6763848301838038494,
     2.05319162663775882187, 1.0),
)  # fmt: skip
_FAR_OUT = (
    (2.01033439929228813265e-7, 2.71155556874348757815e-5, 1.2426609473880784386e-3,
     2.6532189526576123093e-2, 2.9656057182850489123e-1, 1.7848265399172913358,
     5.4637849111641143699, 6.6579046435011037772),
    (2.04426310338993978564e-15, 1.4215117583164458887e-7, 1.8463183175100546818e-5,
     7.868691311456132591e-4, 1.4875361290850614852e-2, 1.3692988092273580531e-1,
     5.9983220655588793769e-1, 1.0),
)  # fmt: skip

_Ratio = tuple[tuple[float, ...], tuple[float, ...]]


def _ratio(of: _Ratio, x: FloatArray) -> FloatArray:
    """Return a quotient of two polynomials."""
    top, bottom = np.full_like(x, of[0][0]), np.full_like(x, of[1][0])
    for found, parts in ((top, of[0]), (bottom, of[1])):
        for part in parts[1:]:
            found *= x
            found += part
    return np.asarray(top / bottom)


def ndtr(score: ArrayLike) -> FloatArray:
    """Return the chance of a standard normal to lie below; 2e-16 off at most.

    Examples
    --------
    >>> round(float(ndtr(1.96)), 6)
    0.975002
    """
    z = np.asarray(score, dtype=float)
    far = np.minimum(np.abs(z), 40.0)
    beyond = np.exp(-0.5 * far * far) * _ratio(_BEYOND, far)
    return np.asarray(np.where(z > 0.0, 1.0 - beyond, beyond))


def ndtri(chance: ArrayLike) -> FloatArray:
    """Return the score that a standard normal lies below with a chance.

    Examples
    --------
    >>> round(float(ndtri(0.975)), 6)
    1.959964
    """
    p = np.atleast_1d(np.asarray(chance, dtype=float))
    with np.errstate(divide="ignore", invalid="ignore"):
        out = np.sqrt(-np.log(np.minimum(p, 1.0 - p)))
    off = p - 0.5
    near = np.clip(off, -0.425, 0.425)
    found = _ratio(_MIDDLE, 0.180625 - near * near) * near
    for beyond, of, less in (
        ((np.abs(off) > 0.425) & (out <= 5.0), _OUT, 1.6),
        ((out > 5.0) & np.isfinite(out), _FAR_OUT, 5.0),
    ):
        if beyond.any():
            found[beyond] = np.copysign(_ratio(of, out[beyond] - less), off[beyond])
    found = np.where(np.isinf(out), np.copysign(np.inf, off), found)
    found = np.where(np.isnan(out), np.nan, found)
    return np.asarray(found.reshape(np.shape(chance)))


def logit(share: ArrayLike) -> FloatArray:
    """Return ln(x / (1 - x))."""
    x = np.asarray(share, dtype=float)
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(np.log(x / (1.0 - x)))


def expit(x: ArrayLike) -> FloatArray:
    """Return the share whose :func:`logit` is x."""
    with np.errstate(over="ignore"):
        return np.asarray(1.0 / (1.0 + np.exp(-np.asarray(x, dtype=float))))


# ----------------------------------------------------------------------------
# Gamma, Student, F.


def gammaincinv(a: float, chance: ArrayLike) -> FloatArray:
    """Return the value that a gamma variable of shape a lies below with a chance.

    By Newton on the series of the incomplete gamma function, from the cube of a normal
    (E. B. Wilson and M. M. Hilferty, 1931); chances within 1e-6 of neither end.
    """
    p = np.asarray(chance, dtype=float)
    ninth = 1.0 / (9.0 * a)
    x = a * np.maximum(1.0 - ninth + ndtri(p) * math.sqrt(ninth), 0.05) ** 3
    for _ in range(60):
        density = np.exp((a - 1.0) * np.log(x) - x - math.lgamma(a))
        term = density * x / a
        below, k = term.copy(), a
        while (term > 1e-17 * below).any():
            k += 1.0
            term *= x / k
            below += term
        step = np.clip((p - below) / density, -0.7 * x, 2.0 * x)
        x = x + step
        if (np.abs(step) <= 1e-8 * x).all():  # quadratic: what is left is its square
            break
    return np.asarray(x)


def betainc(a: float, b: float, x: float, rest: float) -> float:
    """Return the share of a beta variable below x, which leaves `rest` to 1.

    By a continued fraction: M. Abramowitz and I. A. Stegun, 26.5.8, from memory.
    """
    if not (a > 0.0 and b > 0.0):
        return math.nan
    if not (x > 0.0 and rest > 0.0):
        return math.nan if math.isnan(x) else float(x > 0.0)
    if x > (a + 1.0) / (a + b + 2.0):
        return 1.0 - betainc(b, a, rest, x)
    found = 0.0
    for m in range(200, 0, -1):
        even = m * (b - m) * x / ((a + 2 * m - 1.0) * (a + 2 * m))
        odd = -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1.0))
        found = even / (1.0 + odd / (1.0 + found))
    first = -(a + b) * x / (a + 1.0)
    size = a * math.log(x) + b * math.log(rest) - math.log(a)
    size += math.lgamma(a + b) - math.lgamma(a) - math.lgamma(b)
    return math.exp(size) / (1.0 + first / (1.0 + found))


def fdtrc(numerator: float, denominator: float, statistic: ArrayLike) -> FloatArray:
    """Return the chance of an F at least as large."""
    f = np.asarray(statistic, dtype=float)
    spread = np.ravel(numerator * f).tolist()
    halves = 0.5 * denominator, 0.5 * numerator
    own = [
        betainc(*halves, denominator / (denominator + s), s / (denominator + s))
        if denominator + s > 0.0
        else math.nan
        for s in spread
    ]
    return np.array(own).reshape(np.shape(f))


def student_beyond(t: ArrayLike, freedom: float) -> FloatArray:
    """Return the chance of a Student t at least as far from 0."""
    return fdtrc(1.0, freedom, np.square(np.asarray(t, dtype=float)))


def student_within(share: float, freedom: float) -> float:
    """Return how far from 0 a share of a Student t reaches, above 0 and below 1."""
    if not freedom > 0.0:
        return math.nan
    t = float(ndtri(0.5 + 0.5 * share))
    log_density = math.lgamma(0.5 * freedom + 0.5) - math.lgamma(0.5 * freedom)
    log_density -= 0.5 * math.log(freedom * math.pi)
    for _ in range(60):  # Newton on logarithms: far out a power of t
        beyond = float(student_beyond(t, freedom))
        bend = -0.5 * (freedom + 1.0) * math.log1p(t * t / freedom)
        rise = 2.0 * t * math.exp(log_density + bend) / beyond
        step = math.log(beyond / (1.0 - share)) / rise
        t *= math.exp(step)
        if abs(step) < 1e-14:
            break
    return t


# ----------------------------------------------------------------------------


def lambertw(x: ArrayLike) -> FloatArray:
    """Return the w above 0 of which w exp(w) is x, above 0 too; by Newton."""
    x = np.asarray(x, dtype=float)
    w = np.log1p(x)
    for _ in range(30):
        rest = w - x * np.exp(-w)
        step = rest / (1.0 + w)
        w = w - step
        if (np.abs(step) <= 1e-15 * w).all():
            break
    return np.asarray(w)
