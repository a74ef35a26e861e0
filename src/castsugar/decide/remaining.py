"""Which mixes remain under three limits, and which of them is the best.

Arrays in, arrays out: the same rule, written once more in the script of the what-if
panel, is checked against this one.
"""

from __future__ import annotations

import numpy as np

from castsugar.arrays import FloatArray, IntArray

#: How a mix stands.
REMAINS, RULED_OUT, UNKNOWN = 0, 1, 2

#: From here on a number stands for infinity: no stable pressure [MPa], jammed [Pa s].
ENDLESS = (1e3, 1e12)


def standing(
    pressure: FloatArray,
    viscosity: FloatArray,
    velocity: FloatArray,
    caps: tuple[float | None, float | None, float | None],
    others: IntArray | None = None,
) -> IntArray:
    """Return how each mix stands: 0 remains, 1 ruled out, 2 not computed.

    A mix is ruled out by what is known of it: beyond a limit, no stable pressure,
    jammed. Else it is not computed if a limit asks for what is not known. A mix without
    c* is not computed.

    Parameters
    ----------
    pressure, viscosity, velocity : ndarray, shape (n,)
        [MPa], [Pa s], [m/s]; NaN where not computed.
    caps : tuple of three floats or None
        Highest pressure and viscosity, lowest velocity; None: any.
    others : ndarray of int, shape (n,), optional
        How the mixes stand under further limits, in the same code.

    Examples
    --------
    >>> three = np.array([5.0, 8.0, np.nan]), np.ones(3), np.full(3, 900.0)
    >>> standing(*three, (7.0, None, None)).tolist()
    [0, 1, 2]
    """
    signs = (1.0, 1.0, -1.0)
    ends = (*ENDLESS, np.inf)
    shape = np.shape(velocity)
    out = np.zeros(shape, dtype=bool)
    dark = np.isnan(np.asarray(velocity, dtype=float))
    columns = (pressure, viscosity, velocity)
    for column, cap, sign, end in zip(columns, caps, signs, ends, strict=True):
        values = np.asarray(column, dtype=float)
        out |= values >= end
        if cap is not None:
            out |= sign * values > sign * cap
            dark = dark | np.isnan(values)
    if others is not None:
        out |= others == RULED_OUT
        dark = dark | (others == UNKNOWN)
    return np.where(out, RULED_OUT, np.where(dark, UNKNOWN, REMAINS)).astype(np.int64)


def best(states: IntArray, velocity: FloatArray) -> int | None:
    """Return the place of the remaining mix with the highest c*; the first of equals.

    None if nothing remains.

    Examples
    --------
    >>> best(np.array([1, 0, 0]), np.array([950.0, 900.0, 910.0]))
    2
    """
    kept = np.where(states == REMAINS, velocity, -np.inf)
    return int(np.argmax(kept)) if (states == REMAINS).any() else None
