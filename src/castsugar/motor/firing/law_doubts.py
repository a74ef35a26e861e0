"""What every doubtful input of a firing moves in its parts, all of them together."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from castsugar.arrays import FloatArray
from castsugar.errors import InputError
from castsugar.motor.firing.burnt_web import BINS, Burnt, Course, burnt_web
from castsugar.motor.firing.channel import THRESHOLD, Channel, cut
from castsugar.motor.firing.quantities import TYPICAL_GROWTH, Stand
from castsugar.motor.grain import AreaTable, Grain, HollowCylinder

# ----------------------------------------------------------------------------
# Every input off by its standard uncertainty, and the firing reckoned anew.

#: Slope at which the covariance is taken: n = 0.3, also used where n is not told (usual
#: laws have 0.2 to 0.6, Sutton & Biblarz, ch. 11).
USUAL = 0.3
SLOPE = 1.0 / (1.0 - USUAL)

#: What ln p of a part is known to beside the noise. Our rule.
_FLOOR = 0.0015

#: Zero of the sensor over its peak, where the record shows less. Our rule.
_ZERO = 0.004

#: How a throat grows: so much of the way from straight with the mass that has left to
#: its power of 2.5. Our rule, for powers from 0.4 to 2.5.
_PATH, _LATE_GROWTH = 0.7, 2.5

#: Relative standard uncertainty of a stated case volume; that of the free volume over
#: that of the grain where none is stated, rectangle from 0 to 2. Our rules.
_VOLUME_DOUBT, _UNSTATED_VOLUME = 0.15, 2.0 / math.sqrt(3.0)

#: Lag of a sensor whose lag is not stated [s]; doubt of a stated one.
_LAG, _LAG_DOUBT = 3e-3, 0.2

#: Rise of ln p by an igniter or by gas along the core, and how soon it is gone; the
#: same at the end, by an uneven burnout. Our rules.
_EARLY, _LATE, _FADES = 0.01, 0.005, 0.12

#: Changes of ln p, of ln(Kn phi) and of ln of the rate, one input off by its doubt.
Change = tuple[FloatArray, FloatArray, FloatArray]


def changes_of(
    course: Course,
    burnt: Burnt,
    pressure: Channel,
    stand: Stand,
    rivals: dict[str, Grain],
) -> dict[str, Change]:
    """Return what every input, off by its standard uncertainty, moves."""
    more, over = stand.log_area_u, course.pressure
    narrow = pressure.limits(2.0 * min(stand.share, THRESHOLD))
    time, short = cut(course.time, course.pressure, narrow.start, narrow.end)
    zero = max(pressure.zero.uncertainty, _ZERO * pressure.peak)
    volume, doubt = course.free_volume, _VOLUME_DOUBT
    if volume is None:
        volume, doubt = course.grain.volume, _UNSTATED_VOLUME - 1.0
    before, after = course.areas
    wide = before * (1.0 + more), after
    grown = before, after * (1.0 + more)
    worn = course
    if stand.throat_after is None:
        wide = before * (1.0 + more), after * (1.0 + more)
        grown = before, after * (1.0 + TYPICAL_GROWTH / math.sqrt(3.0))
        worn = replace(course, areas=grown)
    others = {
        "zero": replace(course, pressure=over + zero),
        "ambient pressure": replace(course, pressure=over + stand.ambient_u),
        "free volume": replace(course, free_volume=volume * (1.0 + doubt)),
        "throat": replace(course, areas=wide),
        "throat after": replace(course, areas=grown),
    } | {name: replace(course, grain=rival) for name, rival in rivals.items()}
    found = {name: _change(burnt, burnt_web(other)) for name, other in others.items()}
    limited = replace(course, time=time, pressure=short)
    late = burnt_web(replace(worn, growth=_LATE_GROWTH))
    found |= {
        "integration limits": _change(burnt, burnt_web(limited), 1.0 / math.sqrt(3.0)),
        "throat erosion": _change(burnt_web(worn), late, _PATH),
    }
    lag = math.hypot(_LAG, _LAG_DOUBT * stand.pressure_lag)
    rises = {
        "lag of the sensor": lag * burnt.swing / burnt.lasting,
        "start of the burning": _EARLY * np.exp(-burnt.share / _FADES),
        "end of the burning": _LATE * np.exp((burnt.share - 1.0) / _FADES),
    }
    # A pressure that is off shows a rate that is off as much.
    still = np.zeros(BINS)
    return found | {name: (up, still, up) for name, up in rises.items()}


def _change(burnt: Burnt, other: Burnt, part: float = 1.0) -> Change:
    return (
        part * np.log(other.pressure / burnt.pressure),
        part * (other.supply - burnt.supply),
        part * np.log(other.rate / burnt.rate),
    )


def covariances(
    burnt: Burnt, noise: float, changes: dict[str, Change]
) -> tuple[FloatArray, FloatArray]:
    """Return the covariance of the parts: of the noise alone, and of everything."""
    relative = noise / burnt.pressure / np.sqrt(burnt.samples)
    # The pressures between the parts are read from lines, and enter two parts each.
    ends = noise / math.sqrt(float(burnt.samples.mean()))
    steps = SLOPE * (burnt.gain / burnt.outflow)[:, None] * ends
    steps = steps * (np.eye(BINS, BINS + 1, 1) - np.eye(BINS, BINS + 1))
    own = np.diag(relative**2 + _FLOOR**2) + steps @ steps.T
    moved = np.array([up - SLOPE * supply for up, supply, _ in changes.values()])
    return own, own + moved.T @ moved


# ----------------------------------------------------------------------------
# A grain with one size off: what the doubt of a ruler does to a firing.

#: Standard uncertainty of a size of a grain where none is stated; assumed. [m]
SIZE_DOUBT = 1e-4


def rivals_of(grain: Grain, size_u: float = SIZE_DOUBT) -> dict[str, Grain]:
    """Return grains that differ from `grain` by one standard uncertainty each.

    Parameters
    ----------
    size_u : float
        Standard uncertainty of every size: diameters and length of a hollow cylinder,
        the web of an area table, and by the same part the slope of its areas. [m]

    Raises
    ------
    InputError
        A negative uncertainty, or one as large as the web.
    """
    if not 0.0 <= size_u < grain.web:
        raise InputError(
            f"uncertainty of the sizes of the grain is {1e3 * size_u:g} mm; give 0 or "
            f"more, below the web of {1e3 * grain.web:.3g} mm"
        )
    if size_u == 0.0:
        return {}
    if isinstance(grain, HollowCylinder):
        length = grain.segment_length + size_u
        return {
            "outer diameter": replace(
                grain, outer_diameter=grain.outer_diameter + size_u
            ),
            "core diameter": replace(grain, core_diameter=grain.core_diameter + size_u),
            "length of a segment": replace(grain, segment_length=length),
        }
    if isinstance(grain, AreaTable):
        part = size_u / grain.web
        tilt = [1.0 + part * (2.0 * x / grain.web - 1.0) for x in grain.webs]
        areas = tuple(a * t for a, t in zip(grain.areas, tilt, strict=True))
        return {
            "web": replace(grain, webs=tuple((1.0 + part) * x for x in grain.webs)),
            "shape of the area": replace(grain, areas=areas),
        }
    return {}
