"""Measured mixes: composition and burn law, as columns."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from castsugar.arrays import FloatArray
from castsugar.motor.law import EXPONENT_DOUBT, BurnLaw, burn_rate, log_rate_uncertainty


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasuredMix:
    """A mix with a burn law of its own.

    Attributes
    ----------
    name : str
    fractions : tuple of float
        Mass fractions of the components, sum 1.
    law : BurnLaw
    cautions : tuple of str
        What is to be looked at again in its strands.
    """

    name: str
    fractions: tuple[float, ...]
    law: BurnLaw
    cautions: tuple[str, ...] = ()


def columns(mixes: Sequence[MeasuredMix], pressure: float) -> FloatArray:
    """Return ln r, its u (of the law, without scatter), n and its u, shape (4, m)."""
    rows = []
    for mix in mixes:
        law = mix.law
        total = float(log_rate_uncertainty(law, pressure))
        own = math.sqrt(max(total**2 - law.scatter**2, 0.0))
        step = np.array([0.999, 1.001]) * pressure
        n = float(np.diff(np.log(burn_rate(law, step)))[0]) / math.log(1.001 / 0.999)
        n_u = EXPONENT_DOUBT
        if law.covariance is not None:
            n_u = math.sqrt(law.covariance[1][1])
        rows.append((math.log(float(burn_rate(law, pressure))), own, n, n_u))
    return np.array(rows).T
