"""What a delay must not be computed from, and what must be said beside it."""

from __future__ import annotations

from typing import Final

import numpy as np

from castsugar.checks import positive
from castsugar.errors import InputError
from castsugar.motor.delay.inputs import Thrusting
from castsugar.motor.law import BurnLaw

#: A law is continued beyond the tested pressures by this share, no further.
TOLERANCE: Final = 0.10

#: A peak beyond that may last this share of the burn time (an ignition spike).
SPIKE_SHARE: Final = 0.05

#: Height above the test place for which the effect is always given. [m]
CLIMB: Final = 300.0

#: The air where the delay burns may be denser than that of the test place by this share
#: (the weather) before it looks as if a height above ground was given.
_WEATHER: Final = 0.03


def check(
    law: BurnLaw, thrusting: Thrusting, ambient: float, burning_at: float
) -> None:
    """Refuse a law or pressures that the strands do not cover.

    Parameters
    ----------
    law : BurnLaw
    thrusting : Thrusting
    ambient, burning_at : float
        Pressure of the air at the test place, and where the delay burns. Only the
        latter may lie below the tested pressures: nobody can test up there. [Pa]

    Raises
    ------
    InputError
    """
    positive("ambient pressure", ambient, "Pa")
    positive("pressure where the delay burns", burning_at, "Pa")
    if law.origin != "measured":
        raise InputError(
            f"burn law {law.name!r} is {law.origin!r}, not measured; a delay comes "
            "from strands of its own mix only: burn some in open air and at chamber "
            "pressure"
        )
    low, high = law.tested
    if not low / (1.0 + TOLERANCE) <= ambient <= high * (1.0 + TOLERANCE):
        raise InputError(
            f"ambient pressure {_told(ambient)} lies outside the tested {_span(law)} "
            "of the delay mix by more than 10 %; burn strands in open air"
        )
    if burning_at > high * (1.0 + TOLERANCE):
        raise InputError(
            f"pressure where the delay burns, {_told(burning_at)}, lies above the "
            f"tested {_span(law)} of the delay mix by more than 10 %; give that of "
            "open air"
        )
    lowest = float(thrusting.pressure.min())
    if lowest < ambient / (1.0 + TOLERANCE):
        raise InputError(
            f"chamber pressure falls to {_told(lowest)}, below the ambient "
            f"{_told(ambient)}; give absolute pressures, not gauge"
        )
    share = _share_above(thrusting, high * (1.0 + TOLERANCE))
    if share > SPIKE_SHARE:
        raise InputError(
            f"chamber pressure up to {_told(thrusting.peak_pressure)} lies outside the "
            f"tested {_span(law)} of the delay mix by more than 10 % in "
            f"{100.0 * share:.0f} % of the burn time; burn strands at chamber pressure"
        )


def cautions_of(
    law: BurnLaw, thrusting: Thrusting, ambient: float, burning_at: float
) -> tuple[str, ...]:
    """Return what must be said about pressures that passed the check."""
    low, high = law.tested
    found = []
    if thrusting.peak_pressure > high * (1.0 + 1e-9):
        share = _share_above(thrusting, high)
        found.append(
            f"chamber pressure up to {_told(thrusting.peak_pressure)} is above the "
            f"highest tested, {_told(high)}, in {100.0 * share:.0f} % of the burn "
            "time: the law is continued there"
        )
    if burning_at < low and burning_at < ambient:
        found.append(
            f"the delay burns at {_told(burning_at)}, below the lowest tested, "
            f"{_told(low)}: the law is continued with its exponent "
            f"{law.bands[0].exponent:.2f}, which nobody has tested there; the band "
            "does not cover a bend of the law, or a column that goes out"
        )
    if burning_at > ambient * (1.0 + _WEATHER):
        found.append(
            f"the delay burns at {_told(burning_at)}, more than the ambient "
            f"{_told(ambient)} of the test place: an altitude counts from sea level, "
            "not from the ground"
        )
    return tuple(found)


def _share_above(thrusting: Thrusting, pressure: float) -> float:
    """Return the share of the burn time above a pressure [Pa]."""
    u, weight = thrusting.nodes([pressure])
    return float(weight[u > np.log(pressure)].sum() / weight.sum())


def _span(law: BurnLaw) -> str:
    low, high = law.tested
    return f"{_told(low)} to {_told(high)}"


def _told(pressure: float) -> str:
    """Write a pressure [Pa] for a message."""
    if pressure < 1e6:
        return f"{1e-3 * pressure:.4g} kPa"
    return f"{1e-6 * pressure:.4g} MPa"
