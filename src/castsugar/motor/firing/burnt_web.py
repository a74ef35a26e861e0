"""A firing against the burnt web: Kn, pressure and rate of equal parts of the grain."""

from __future__ import annotations

import functools

import numpy as np

from castsugar.arrays import FloatArray
from castsugar.errors import InputError
from castsugar.frozen import dataclass
from castsugar.motor.grain import Grain
from castsugar.motor.nozzle import FLOW_FACTOR
from castsugar.numerics import running_integral

# ----------------------------------------------------------------------------
# The mass balance of a burning motor, gas that is stored included:
#
# .. math::
#     A_b r \left(\rho_s - \frac{p}{RT}\right)
#         = \frac{p A_t}{c^*} + \frac{V}{RT} \frac{dp}{dt},
#     \quad RT = (G c^*)^2, \quad V = V_f + V_0 B
#
# The burnt share B of the mass m is what has left and what fills the case. With
#
# .. math::
#     \varphi = \frac{p A_t}{c^* \rho_s A_b r}, \quad
#     r = \frac{V_0}{A_b} \frac{p A_t}{c^* m \varphi}
#
# c* and the density of the grain cancel, but for the small stored part. Without a free
# volume V_f only the burnt volume is known to fill, phi = 1 - p / (RT rho_s).

#: Shares of the mass between which a law is fitted: ignition and burnout are left out.
#: Our rule.
WINDOW = (0.05, 0.90)

#: Equal parts of the burnt share. More of them show noise, fewer hide steps: ours.
BINS = 30

#: Depths at which volume and area of a grain are tabulated.
_DEPTHS = 4001

#: Delivered c* where no mass was weighed, for the stored gas alone: 92 % of the 900 m/s
#: of a 60/20/20 mix (computed by this library). [m/s]
USUAL_VELOCITY = 830.0

#: Fewest samples of the straight line that a pressure between two parts is read from.
_LINE = 5

#: A part that sends less than this share of its gas out is no burning. Our rule.
_LEAST_OUT = 0.05


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Course:
    """The burning of a firing, and what it is held against."""

    time: FloatArray  # (n,) [s]
    pressure: FloatArray  # (n,) [Pa absolute]
    ambient: float  # [Pa]
    areas: tuple[float, float]  # of the throat, before and after [m2]
    grain: Grain
    mass: float | None = None  # of the propellant; None: not weighed [kg]
    #: Mass of propellant that makes as much gas as the igniter. [kg]
    igniter: float = 0.0
    free_volume: float | None = None  # of gas before ignition; None: not known [m3]
    #: The throat area grows with this power of the mass that has left.
    growth: float = 1.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Burnt:
    """The firing against the burnt web."""

    share: FloatArray  # (bins,) [-]
    web: FloatArray  # (bins,) [m]
    kn: FloatArray  # (bins,) [-]
    pressure: FloatArray  # (bins,) [Pa absolute]
    rate: FloatArray  # (bins,) [m/s]
    #: Part of the gas made that leaves through the throat, (bins,). [-]
    outflow: FloatArray
    #: Time [s], and readings in it, (bins,).
    lasting: FloatArray
    samples: FloatArray
    swing: FloatArray  # by how much ln p rises within each, (bins,) [-]
    #: By how much the outflow falls as the pressure rises within, (bins,). [1/Pa]
    gain: FloatArray

    @property
    def supply(self) -> FloatArray:
        """Return ln of Kn times the part of the gas that leaves."""
        return np.asarray(np.log(self.kn * self.outflow))


def burnt_web(course: Course) -> Burnt:
    """Return equal parts of the burning against the burnt web.

    Raises
    ------
    InputError
        An absolute pressure of 0 or below.
    """
    t, p, grain = course.time, course.pressure, course.grain
    if not p.min() > 0.0:
        raise InputError(
            "the absolute pressure falls to zero or below within the burning, so no "
            "burn law follows: a loose connection, or the wrong zero"
        )
    plain = running_integral(t, p)
    before, after = course.areas
    area = before + (after - before) * (plain / plain[-1]) ** course.growth
    out = running_integral(t, area * p)  # c* times the mass that has left
    velocity = USUAL_VELOCITY
    if course.mass is not None:
        velocity = out[-1] / (course.mass + course.igniter)
    share, whole = _burnt_share(course, out, velocity)
    edges = np.linspace(*WINDOW, BINS + 1)
    # Means over equal burnt shares: time, p and A_t of each by its own integrals.
    at = np.interp(edges, np.maximum.accumulate(share), t)
    lasting = np.maximum(np.diff(at), 1e-9 * (t[-1] - t[0]))
    flow = np.maximum(np.diff(np.interp(at, t, out)), 1e-300) / lasting
    mean_area = np.interp(0.5 * (at[1:] + at[:-1]), t, area)
    pressure = flow / mean_area
    web, part = _webs(grain, edges), np.diff(edges)
    deep = np.diff(web)
    ends, samples = _on_lines(t, p, at)
    middle = 0.5 * (edges[1:] + edges[:-1])
    # Gas that stays, over the gas made: in the burnt volume, and as pressure rises.
    held = 1.0 / (FLOW_FACTOR**2 * velocity * whole)
    gain = np.zeros(BINS)
    if course.free_volume is not None:
        gain = held * (course.free_volume + grain.volume * middle) / part
    outflow = 1.0 - held * grain.volume * pressure - gain * np.diff(ends)
    outflow = np.maximum(outflow, _LEAST_OUT)
    return Burnt(
        share=middle,
        web=0.5 * (web[1:] + web[:-1]),
        kn=grain.volume * part / deep / mean_area,
        pressure=pressure,
        rate=deep / part * flow / (whole * outflow),
        outflow=outflow,
        lasting=lasting,
        samples=samples,
        swing=np.diff(ends) / pressure,
        gain=gain,
    )


def _burnt_share(
    course: Course, out: FloatArray, velocity: float
) -> tuple[FloatArray, float]:
    """Return the burnt share at every time, and c* times the mass of the grain."""
    from scipy.ndimage import uniform_filter1d

    igniter = velocity * course.igniter
    near = max(len(out) // (2 * BINS), 1)  # samples of half a part
    over = uniform_filter1d(course.pressure, near, mode="nearest") - course.ambient
    share = made = out / out[-1]
    for _ in range(2):
        kept = np.zeros(len(out))
        if course.free_volume is not None:
            filled = course.free_volume + course.grain.volume * share
            kept = over * filled / (FLOW_FACTOR**2 * velocity)
        made = np.maximum(out + kept - igniter, 0.0)
        if not made[-1] > 0.0:
            raise InputError("the igniter made more gas than left, so no law follows")
        share = made / made[-1]
    return share, float(made[-1])


def _on_lines(
    time: FloatArray, values: FloatArray, at: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return values at some times, and the samples in the part before each.

    Each from a straight line through the samples within half a part on both sides:
    differences of means of neighbours would be alike, and bend the balance.
    """
    lasting = np.diff(at)
    half = 0.5 * np.minimum(np.r_[lasting, lasting[-1]], np.r_[lasting[0], lasting])
    first = np.searchsorted(time, at - half)
    stop = np.searchsorted(time, at + half, side="right")
    lacking = np.maximum(_LINE - (stop - first), 0)
    first = np.clip(first - (lacking + 1) // 2, 0, max(len(time) - _LINE, 0))
    stop = np.minimum(np.maximum(stop + lacking // 2, first + _LINE), len(time))
    x, count = time - time[0], stop - first

    def mean(values: FloatArray) -> FloatArray:
        whole = np.r_[0.0, np.cumsum(values)]
        return np.asarray((whole[stop] - whole[first]) / count)

    mean_x, mean_y = mean(x), mean(values)
    wide = np.maximum(mean(x * x) - mean_x**2, 1e-300)
    slope = (mean(x * values) - mean_x * mean_y) / wide
    found = mean_y + slope * (at - time[0] - mean_x)
    rate = len(time) / max(float(x[-1]), 1e-300)
    return np.asarray(found), np.maximum(rate * lasting, 1.0)


def _webs(grain: Grain, share: FloatArray) -> FloatArray:
    """Return the web burnt where a share of the volume has burnt. [m]"""
    depths, gone = _burnt_volume(grain)
    return np.asarray(np.interp(share * gone[-1], gone, depths))


@functools.lru_cache(maxsize=32)
def _burnt_volume(grain: Grain) -> tuple[FloatArray, FloatArray]:
    """Return depths, and the share of the volume that is gone there."""
    depths = np.unique(np.r_[np.linspace(0.0, grain.web, _DEPTHS), grain.breakpoints])
    return depths, 1.0 - grain.volume_left(depths) / grain.volume
