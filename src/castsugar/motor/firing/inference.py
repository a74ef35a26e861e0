"""What a firing is fitted with, and the same with one input off by its doubt."""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass, replace

import numpy as np

from castsugar.arrays import FloatArray
from castsugar.errors import InputError
from castsugar.motor.burn_law import EXPONENT_DOUBT, Band, BurnLaw
from castsugar.motor.firing.channel import THRESHOLD, Channel, cut
from castsugar.motor.firing.quantities import Stand
from castsugar.motor.firing.reduction import Reduction
from castsugar.motor.grain import AreaTable, Grain, HollowCylinder
from castsugar.numerics import carried

# ----------------------------------------------------------------------------
# What a firing is fitted with, and the same with one input off by its doubt.

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


# ----------------------------------------------------------------------------
# A burn law from one firing: Kn from the burnt web, and the pressure it made.
#
# What has left by time t is the share w of the whole ``integral of A_t p dt``; the
# grain has burnt as deep as its volume says, and so
#
# .. math::
#     V(x) = (1 - w) V_0, \quad K_n = A_b(x) / A_t, \quad
#     r = \frac{V_0}{A_b(x)} \frac{A_t p}{\int A_t p \, dt}
#
# c* and the density of the grain cancel; a calibration of the sensor only stretches the
# pressure axis. With r = a p^n the mass balance is :math:`\ln p = s \ln K_n + k, \; s =
# 1 / (1 - n)`. It is fitted this way round, because the noise of p stands in r as well
# and would pull n towards 1 the other way (common practice, no source). Means of bins
# of burnt share are fitted; what is left of the straight line is taken as it comes,
# neighbours alike.

_BINS = 120

#: Depths at which volume and area of a grain are tabulated.
_DEPTHS = 4001

#: A 95 % half-width of n above which a firing does not tell n. Our rule.
VAGUE = 0.25

#: A ln Kn that scatters less than this does not change: n is then that of usual laws,
#: 0.2 to 0.6 (Sutton & Biblarz, ch. 11), with :data:`EXPONENT_DOUBT`.
_STEADY, _USUAL = 1e-6, 0.4

#: No slope below this: n = 1 - 1 / s would fall under -4.
_LEAST_SLOPE = 0.2


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Burnt:
    """The firing against the burnt web.

    Attributes
    ----------
    share, web, kn, pressure, rate : ndarray, shape (bins,)
        [-], [m], [-], [Pa absolute], [m/s]
    """

    share: FloatArray
    web: FloatArray
    kn: FloatArray
    pressure: FloatArray
    rate: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class InferredLaw:
    """A burn law that one firing shows.

    Attributes
    ----------
    burnt : Burnt
    centre : float
        Pressure at which rate and exponent are nearly independent. [Pa]
    rate : float
        At the centre. [m/s]
    exponent : float
        Meaningless where the firing does not tell it.
    covariance : ndarray, shape (2, 2)
        Of ln of the rate at the centre, and the exponent.
    parts : dict of str to tuple of float
        Input -> standard uncertainty that it adds to both.
    kn_range : tuple of float
    told : bool
        Whether the firing tells the exponent: to +-0.25 or better.
    """

    burnt: Burnt
    centre: float
    rate: float
    exponent: float
    covariance: FloatArray
    parts: dict[str, tuple[float, float]]
    kn_range: tuple[float, float]
    told: bool

    @property
    def log_rate_u(self) -> float:
        """Return the standard uncertainty of ln of the rate at the centre."""
        return math.sqrt(self.covariance[0, 0])

    @property
    def exponent_u(self) -> float:
        """Return the standard uncertainty of the exponent."""
        return math.sqrt(self.covariance[1, 1])

    def law(self, name: str) -> BurnLaw:
        """Return it as a burn law of this one grain.

        Raises
        ------
        InputError
            If the firing does not tell the exponent.
        """
        if not self.told:
            raise InputError(f"{name}: the firing does not tell the exponent n")
        pressure, n = self.burnt.pressure, self.exponent
        band = Band(
            low=float(pressure.min()),
            high=float(pressure.max()),
            rate=self.rate * (1e6 / self.centre) ** n,
            exponent=n,
        )
        (at, cross), (_, slope) = self.covariance.tolist()
        return BurnLaw(
            name=name,
            bands=(band,),
            log_rate_u=self.log_rate_u,
            covariance=((at, cross), (cross, slope)),
            centre=self.centre,
            origin="inferred from one firing",
        )


def infer_law(
    reduction: Reduction, grain: Grain, *, rivals: dict[str, Grain] | None = None
) -> InferredLaw:
    """Infer the burn law of the grain that was fired.

    Parameters
    ----------
    reduction : Reduction
        With pressure.
    grain : Grain
        As it was before firing.
    rivals : dict of str to Grain, optional
        The grain with one size off by its standard uncertainty; the name says which.

    Raises
    ------
    InputError
        No pressure, the sensor at its limit, an absolute pressure of 0 or below.
    """
    pressure = reduction.pressure
    if pressure is None:
        raise InputError("the recording has no pressure, so no burn law follows")
    if reduction.no_law:
        raise InputError(f"no burn law follows ({reduction.no_law})")
    if pressure.at_limit.any():
        raise InputError("the pressure sensor was at its limit, so no burn law follows")
    if pressure.burning.dips > 1:
        raise InputError("the motor chuffs, so no burn law of steady burning follows")
    ambient = reduction.stand.ambient_pressure
    # Limits high up would cut off a part of the grain that burnt.
    burning = pressure.limits(min(reduction.stand.share, THRESHOLD))
    time, over = cut(pressure.time, pressure.value, burning.start, burning.end)
    areas = reduction.stand.throat_areas()
    case = Case(time=time, pressure=over + ambient, areas=areas, grain=grain)
    burnt = _burnt(case)
    centre = float(np.exp(np.log(burnt.pressure).mean()))
    best, noise = _fit(burnt, centre)
    shifted = shifted_cases(case, over, pressure, reduction.stand)
    for name, rival in (rivals or {}).items():
        shifted[name] = replace(case, grain=rival)
    parts = {
        name: _fit(_burnt(other), centre)[0] - best for name, other in shifted.items()
    }
    shrink = 1.0 / math.sqrt(3.0)
    for name in ("integration limits", "part of the burning"):
        parts[name] = parts[name] * shrink
    jumps = [
        _fit(_burnt(other), centre)[0] - best for other in jumping_zeros(case, pressure)
    ]
    # A stretched pressure axis: the same rates stand at other pressures.
    calibration = reduction.stand.pressure_calibration_u
    parts["calibration"] = np.array([-best[1] * calibration, 0.0])
    jacobian = np.column_stack([*parts.values(), *_shared(jumps)])
    covariance = noise + carried(jacobian, np.eye(jacobian.shape[1]))
    if jumps:
        parts["zero"] = np.sqrt(parts["zero"] ** 2 + np.square(jumps).mean(axis=0))
    told = best[1] < 1.0 and 1.96 * math.sqrt(covariance[1, 1]) < VAGUE
    return InferredLaw(
        burnt=burnt,
        centre=centre,
        rate=math.exp(best[0]),
        exponent=float(best[1]),
        covariance=covariance,
        parts={"scatter": (math.sqrt(noise[0, 0]), math.sqrt(noise[1, 1]))}
        | {name: (abs(float(d[0])), abs(float(d[1]))) for name, d in parts.items()},
        kn_range=(float(burnt.kn.min()), float(burnt.kn.max())),
        told=bool(told),
    )


def _shared(jumps: list[FloatArray]) -> list[FloatArray]:
    """Return equally likely shifts so that their squares add to the mean square."""
    return [jump / math.sqrt(len(jumps)) for jump in jumps]


def _burnt(case: Case) -> Burnt:
    """Return bins of the burning against the burnt web."""
    t, p = case.time, case.pressure
    if not p.min() > 0.0:
        raise InputError(
            "the absolute pressure falls to zero or below within the burning, so no "
            "burn law follows: a loose connection, or the wrong zero"
        )
    plain = _running(t, p)
    before, after = case.areas
    area = before + (after - before) * plain / plain[-1]
    flow = area * p
    made = _running(t, flow)
    share = made / made[-1]
    low, high = case.window
    edges = np.linspace(low, high, _BINS + 1)
    # Means over equal burnt shares: time, p and A_t of each bin by its own integrals.
    at = np.interp(edges, share, t)
    lasting = np.diff(at)
    mean_flow = np.diff(edges) * made[-1] / lasting
    mean_area = np.interp(0.5 * (edges[1:] + edges[:-1]), share, area)
    middle = np.interp(0.5 * (at[1:] + at[:-1]), t, share)
    web = _webs(case.grain, middle)
    burning_area = case.grain.area(web)
    return Burnt(
        share=middle,
        web=web,
        kn=burning_area / mean_area,
        pressure=mean_flow / mean_area,
        rate=case.grain.volume / burning_area * mean_flow / made[-1],
    )


def _running(time: FloatArray, values: FloatArray) -> FloatArray:
    """Return the integral from the start to every time."""
    found = np.zeros(len(time))
    np.cumsum(0.5 * (values[1:] + values[:-1]) * np.diff(time), out=found[1:])
    return found


def _webs(grain: Grain, share: FloatArray) -> FloatArray:
    """Return the web burnt where a share of the volume has burnt. [m]"""
    depths, gone = _burnt_volume(grain)
    return np.asarray(np.interp(share * gone[-1], gone, depths))


@functools.lru_cache(maxsize=32)
def _burnt_volume(grain: Grain) -> tuple[FloatArray, FloatArray]:
    """Return depths, and the share of the volume that is gone there."""
    depths = np.unique(np.r_[np.linspace(0.0, grain.web, _DEPTHS), grain.breakpoints])
    return depths, 1.0 - grain.volume_left(depths) / grain.volume


def _fit(burnt: Burnt, centre: float) -> tuple[FloatArray, FloatArray]:
    """Return ln of the rate at the centre and n, and their covariance from scatter."""
    y, x = np.log(burnt.pressure / centre), np.log(burnt.kn)
    middle = x.mean()
    square = float(((x - middle) ** 2).sum())
    if square < len(x) * _STEADY**2:
        variance = float(((y - y.mean()) ** 2).sum()) / (len(x) - 1)
        rate = float(np.log(burnt.rate).mean() - _USUAL * y.mean())
        usual = np.array([rate, _USUAL])
        return usual, np.diag([variance / len(x), EXPONENT_DOUBT**2])
    slope = float(((x - middle) * (y - y.mean())).sum()) / square
    left = y - y.mean() - slope * (x - middle)
    alike = _alike(left)
    variance = float((left**2).sum()) / (len(x) - 2) * alike
    used = max(slope, _LEAST_SLOPE)
    n = 1.0 - 1.0 / used
    # r = (V0 / I) p / Kn along the burning: its level is where the line meets p_c.
    level = float(np.mean(np.log(burnt.rate) - np.log(burnt.pressure) + x))
    kn_at_centre = middle - y.mean() / used
    rate = level + math.log(centre) - kn_at_centre
    gain = np.array([-y.mean() / used**2, 1.0 / used**2])
    covariance = variance / square * np.outer(gain, gain)
    covariance[0, 0] += variance / len(x) / used**2
    return np.array([rate, n]), covariance


def _alike(left: FloatArray) -> float:
    """Return by how much the variance of a mean grows as neighbours are alike."""
    whole = float((left**2).sum())
    if whole == 0.0:
        return 1.0
    rho = float((left[1:] * left[:-1]).sum()) / whole
    rho = min(max(rho, 0.0), 0.95)
    return (1.0 + rho) / (1.0 - rho)


# ----------------------------------------------------------------------------
# A grain with one size off: what the doubt of a ruler does to a firing.

#: Standard uncertainty of a size of a grain where none is stated; assumed. [m]
SIZE_DOUBT = 1e-4


def rivals_of(grain: Grain, size_u: float = SIZE_DOUBT) -> dict[str, Grain]:
    """Return grains that differ from `grain` by one standard uncertainty each.

    Parameters
    ----------
    grain : Grain
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
