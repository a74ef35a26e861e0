"""What a firing is fitted with, and the same with one input off by its doubt."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from castsugar.arrays import FloatArray
from castsugar.motor.firing.burning import THRESHOLD, cut
from castsugar.motor.firing.channel import Channel
from castsugar.motor.firing.stand import Stand
from castsugar.motor.grain import Grain

#: Shares of the mass between which the law is fitted: ignition and burnout are left
#: out. Our rule; what a narrower window would give is part of the doubt.
WINDOW = (0.05, 0.90)
_NARROW = (0.12, 0.83)

#: Shares of the burn time at which a zero may have jumped.
_JUMPS = (0.1, 0.3, 0.5, 0.7, 0.9)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Case:
    """What one fit is made of."""

    time: FloatArray
    pressure: FloatArray
    areas: tuple[float, float]
    grain: Grain
    window: tuple[float, float] = WINDOW


def shifted_cases(
    case: Case, over: FloatArray, pressure: Channel, stand: Stand
) -> dict[str, Case]:
    """Return the fit with one input of the recording off by its uncertainty."""
    ambient = stand.ambient_pressure
    zero = math.sqrt(
        max(pressure.zero.uncertainty**2 - pressure.zero.sudden**2 / 12.0, 0.0)
    )
    narrow = pressure.limits(2.0 * min(stand.share, THRESHOLD))
    time, short = cut(pressure.time, pressure.value, narrow.start, narrow.end)
    return {
        "zero": replace(case, pressure=over + zero + ambient),
        "ambient pressure": replace(case, pressure=over + ambient + stand.ambient_u),
        "integration limits": replace(case, time=time, pressure=short + ambient),
        "part of the burning": replace(case, window=_NARROW),
        "throat erosion": replace(case, areas=_grown(stand)),
    }


def _grown(stand: Stand) -> tuple[float, float]:
    """Return throat areas that grow by one standard uncertainty more.

    Two measurements, each with its own doubt; a throat that was not measured after the
    firing is known no better.
    """
    before, after = stand.throat_areas()
    more = math.sqrt(0.5) * stand.log_area_u
    return before * (1.0 - more), after * (1.0 + more)


def jumping_zeros(case: Case, pressure: Channel) -> list[Case]:
    """Return the fit with a zero that jumps at some time, not a straight one."""
    zero, t = pressure.zero, case.time
    if zero.sudden == 0.0:
        return []
    line = (t - zero.time_before) / (zero.time_after - zero.time_before)
    when = t[0] + np.array(_JUMPS) * (t[-1] - t[0])
    return [
        replace(case, pressure=case.pressure + zero.sudden * (line - (t > jump)))
        for jump in when
    ]
