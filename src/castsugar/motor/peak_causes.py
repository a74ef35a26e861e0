r"""What can raise the peak of a motor above the one that is given, cause by cause.

Each cause multiplies the peak by a factor, found from the roots of the mass balance, so
that laws in bands and laws without a stable pressure are followed; for one power law it
is :math:`x^{1/(1-n)}` of a burning area or rate x times as large. The factors are
those of single causes: no combination is invented, though causes that meet multiply.

A cause has a low, a middle and a high factor. Low and high of a stated area are the
95 % band of the exponent, turned about the peak; those of the others stand with them.
None is ever below 1: nothing here lowers a peak.

**What forbids a firing.** A cause whose size was stated or follows from what was stated
(igniter, grain and throat, a hottest day, a deposit) forbids it where its *high* end
takes the best estimate above what the case may hold. A cause of which nobody stated a
size, taken here at a usual one, forbids it only where its *middle* does so: an assumed
crack must not cry wolf. Its high end is then a caution.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import field, replace
from functools import cached_property
from typing import Any, Final

import numpy as np
from numpy.typing import ArrayLike

from castsugar.arrays import FloatArray
from castsugar.checks import within
from castsugar.errors import ConvergenceError
from castsugar.frozen import dataclass
from castsugar.mix.blends import of_mixes
from castsugar.mix.mix import Mix
from castsugar.motor import erosive_burning, mass_balance
from castsugar.motor.assembly import Motor
from castsugar.motor.burn_law import BurnLaw
from castsugar.motor.erosive_burning import BEYOND, MEAN_ALONG, CoreGas
from castsugar.motor.grain import HollowCylinder
from castsugar.motor.hardware import Hardware
from castsugar.motor.mass_balance import Bands
from castsugar.motor.nozzle import USUAL_EXPONENT
from castsugar.motor.peak_pressure import SENSITIVITY_DOUBT
from castsugar.motor.pressure_table import burn_law_of, casting_of
from castsugar.motor.transient import IGNITER_GAS, course
from castsugar.numerics import distinct

#: The causes, in the order of a firing.
START, EROSION, CRACK, DEBOND, HOT_DAY, DEPOSIT = CAUSES = (
    "start and igniter",
    "erosive burning",
    "crack",
    "debond",
    "hot day",
    "throat deposit",
)

#: Where the size of a cause comes from. COMPUTED: out of what was stated.
STATED, COMPUTED, ASSUMED, UNTOLD = "stated", "computed", "assumed", "not told"

#: How a peak with a cause stands against the case.
BELOW, NEXT_ABOVE, ABOVE = "below", "next batches above", "above"
BEYOND_LAWS = "cannot tell"
NO_CASE = "no case"

#: Sizes where nobody states one, all assumed: burning area that a crack adds; share of
#: the outer face that comes loose; how much hotter a hot day is [K]; share of its
#: diameter that a deposit takes from the throat.
USUAL_CRACK, USUAL_DEBOND, USUAL_HEAT, USUAL_DEPOSIT = 0.1, 0.1, 20.0, 0.02

#: Grain temperature that a hot day reaches at least, where none is stated. Assumed. [K]
HOT_DAY_AT_LEAST = 313.15

#: Where laws of erosive burning end: they were made for cores of slow gas. Mach number
#: (ours), and port over throat area from which on practice worries (common practice, no
#: source).
FASTEST_CORE, NARROWEST_PORT = 0.5, 2.0

#: Why nothing is told of a start.
NOTHING_BURNS = "nothing burns at first"

#: Gas of the igniter over that of the grain at the start from which on it is strong.
#: Ours.
STRONG_IGNITER: Final = 0.3

#: One standard uncertainty of a stated free volume, and the least share of the grain's
#: volume that an assumed one may be. Ours.
FREE_VOLUME_U, LEAST_FREE_SHARE = 0.15, 0.15

#: Normal deviates of a 95 % band.
_WIDE = 1.96

_STEPS = 65


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Cause:
    """One cause that can raise the peak."""

    name: str  # one of CAUSES
    origin: str  # of its size: one of STATED, COMPUTED, ASSUMED, UNTOLD
    #: Factors on the peak, 1 or more; infinite without a stable pressure, NaN where
    #: none is told.
    low: float = math.nan
    middle: float = math.nan
    high: float = math.nan
    #: Peak without the cause, the best estimate and that of 95 of 100 next batches;
    #: what the case may hold, NaN without one. [Pa]
    best: float
    p95: float
    allowable: float
    whose: str = "your rating"  # what the last of them is called
    #: How large it is: name to number in SI.
    sizes: Mapping[str, float] = field(default_factory=dict)
    why: str = ""  # why no factor is told; empty if one is

    @property
    def pressure(self) -> tuple[float, float]:
        """Return the best estimate of the peak with it: middle and high. [Pa]"""
        return self.best * self.middle, self.best * self.high

    @property
    def pressure_p95(self) -> tuple[float, float]:
        """Return what 95 of 100 next batches stay below with it. [Pa]"""
        return self.p95 * self.middle, self.p95 * self.high

    @property
    def verdict(self) -> str:
        """Return how the peak with it stands against the case."""
        if math.isnan(self.middle):
            return UNTOLD
        if math.isnan(self.allowable):
            return NO_CASE
        if self.pressure[1] > self.allowable:
            return ABOVE
        if self.pressure_p95[0] > self.allowable:
            return NEXT_ABOVE
        return BEYOND_LAWS if self.is_beyond else BELOW

    @property
    def is_beyond(self) -> bool:
        """Return whether the laws of erosive burning were not made for such a core."""
        flux, mach = (self.sizes.get(name, 0.0) for name in ("flux", "mach"))
        return flux > BEYOND or mach > FASTEST_CORE

    @property
    def warns(self) -> bool:
        """Return whether it is to be said first, though it forbids nothing.

        A peak of the next batches that it takes above the case, where it follows from
        what was stated; a port too narrow for what is known of erosive burning.
        """
        narrow = self.sizes.get("port_to_throat", math.inf) < NARROWEST_PORT
        above = self.verdict in (NEXT_ABOVE, ABOVE) and self.p95 <= self.allowable
        sure = self.origin in (STATED, COMPUTED)
        return not self.forbids and (self.is_beyond or narrow or (above and sure))

    @property
    def forbids(self) -> bool:
        """Return whether it takes a peak that the case holds above it.

        By the high end, but by the middle where the size was assumed.
        """
        last = self.pressure[0 if self.origin == ASSUMED else 1]
        return self.best <= self.allowable < last

    @property
    def above(self) -> float:
        """Return by which share of what the case holds the peak lies above it. [-]"""
        last = self.pressure[0 if self.origin == ASSUMED else 1]
        return last / self.allowable - 1.0


def worst(causes: tuple[Cause, ...]) -> Cause | None:
    """Return the cause that forbids a firing by most; None if none does."""
    forbidding = (one for one in causes if one.forbids)
    return max(forbidding, key=lambda one: one.above, default=None)


# ----------------------------------------------------------------------------
# One mix in the motor, as every cause sees it.


@dataclass(frozen=True, kw_only=True, eq=False)
class _Case:
    """A mix in a motor."""

    hardware: Hardware
    motor: Motor
    bands: Bands  # the law as arrays
    exponent_u: float  # standard uncertainty of the exponent
    #: At the largest Kn, as for the margin.
    supply: float  # [Pa s/m]
    filling: float  # [1/Pa]
    velocity: float  # c* of the margin [m/s]
    gas: CoreGas

    @cached_property
    def peak(self) -> float:
        """Return where the law stands at the largest Kn. [Pa]"""
        return self.highest(self.supply)

    def supply_at(self, web: ArrayLike) -> FloatArray:
        """Return the pressure per burn rate at a web burnt. [Pa s/m]"""
        grain = self.hardware.grain
        return np.asarray(self.supply * grain.area(web) / grain.largest_area)

    def factor(self, more: ArrayLike) -> tuple[float, float, float]:
        """Return the factor of more supply at the peak, with the band of the exponent.

        `more` is relative, along any number of webs; the largest counts.
        """
        middle, supply = self.over_peak(more), self.supply * np.asarray(more)
        turned = (
            self.bands.shifted(0.0, side * self.exponent_u, centre=self.peak)
            for side in (-_WIDE, _WIDE)
        )
        ends = sorted(self.highest(supply, law) / self.peak for law in turned)
        return max(min(ends[0], middle), 1.0), middle, max(ends[1], middle)

    def over_peak(self, more: ArrayLike) -> float:
        """Return the highest pressure of more supply over the peak, 1 or more. [-]"""
        return max(self.highest(self.supply * np.asarray(more)) / self.peak, 1.0)

    def highest(self, supply: ArrayLike, law: Bands | None = None) -> float:
        """Return the highest stable pressure of supplies, by the law or another."""
        return float(self.stands(supply, law).max())

    def stands(self, supply: ArrayLike, law: Bands | None = None) -> FloatArray:
        """Return the highest stable pressure of each supply; 0 of none. [Pa]"""
        found = mass_balance.roots(law or self.bands, supply, self.filling).highest()
        return np.where(np.asarray(supply) > 0.0, found, 0.0)

    def missing(self, pressure: float) -> float:
        """Return what the start lacks of a pressure, to come from an igniter. [Pa]"""
        rate = float(np.exp(mass_balance.log_burn_rate(self.bands, pressure)))
        own = float(self.supply_at(0.0)) * rate * (1.0 - self.filling * pressure)
        return max(pressure - own, 0.0)

    def lit(self, mass: float, time: float, volume: float) -> float:
        """Return the peak with an igniter over that without, 1 or more. [-]"""
        # The peak that this factor is for knows the throat as it was.
        motor = replace(self.motor, free_volume=volume, throat_after=None)
        igniter = {"igniter_mass": mass, "igniter_time": time}
        with_it, bare = (course(motor, self.bands, **one) for one in (igniter, {}))
        return max(with_it.peak_pressure / bare.peak_pressure, 1.0)


def peak_causes(
    hardware: Hardware,
    law: BurnLaw,
    row: Mapping[str, Any],
    *,
    crack: float | None = None,
    debond: float | None = None,
) -> tuple[Cause, ...]:
    """Return what can raise the peak of a mix in a motor, in the order of a firing.

    Parameters
    ----------
    hardware : Hardware
        Its igniter, hottest grain and throat after a firing are stated sizes.
    law : BurnLaw
        Of the mix, see :func:`castsugar.motor.pressure_table.burn_law_of`.
    row : mapping
        Its row of the table: density, c*, isentropic exponent, flame temperature and
        both peak pressures.
    crack : float, optional
        Burning area that a crack adds over that of the peak. [-]
    debond : float, optional
        Share of the inhibited outer face of the grain that comes loose. [-]

    Returns
    -------
    tuple of Cause
        Empty for a row without a pressure.

    Raises
    ------
    InputError
        A crack or a debond outside 0 to 1.
    """
    for name, share in ((CRACK, crack), (DEBOND, debond)):
        if share is not None:
            within(f"share of the {name}", share, 0.0, 1.0)
    best = 1e6 * float(row["peak_pressure_MPa"])
    if not math.isfinite(best):
        return ()
    case = _case_of(hardware, law, row)
    found = {
        START: _start(case),
        EROSION: _erosion(case),
        CRACK: _crack(case, crack),
        DEBOND: _debond(case, debond),
        HOT_DAY: _hot_day(case),
        DEPOSIT: _deposit(case),
    }
    p95 = 1e6 * float(row["peak_pressure_p95_MPa"])
    known: dict[str, Any] = {"best": best, "p95": p95, "allowable": hardware.allowable}
    known["whose"] = hardware.whose
    return tuple(Cause(name=name, **known, **own) for name, own in found.items())


def causes_of(
    hardware: Hardware | None,
    mixes: Sequence[Mix],
    rows: Sequence[Mapping[str, Any]],
) -> tuple[tuple[Cause, ...], ...]:
    """Return what can raise the peak of each mix; nothing without a motor.

    Parameters
    ----------
    mixes : sequence of Mix
        As cast.
    rows : sequence of mapping
        Their rows of the table.
    """
    if hardware is None:
        return ()
    found = []
    for mix, row in zip(mixes, rows, strict=True):
        told = math.isfinite(row["peak_pressure_MPa"])
        law = burn_law_of(of_mixes([mix]), hardware) if told else None
        found.append(peak_causes(hardware, law, row) if law else ())
    return tuple(found)


def _case_of(hardware: Hardware, law: BurnLaw, row: Mapping[str, Any]) -> _Case:
    hardware = hardware.filled(casting_of(row))
    ideal, density = row["characteristic_velocity_m_s"], row["density_kg_m3"]
    supply = hardware.supply(density, ideal)
    covariance = law.covariance
    motor = hardware.motor(
        density=density,
        characteristic_velocity=ideal,
        exponent=row["isentropic_exponent"],
    )
    factor = hardware.margin_factor
    return _Case(
        hardware=hardware,
        motor=replace(motor, propellant=replace(motor.propellant, efficiency=factor)),
        bands=mass_balance.as_bands(law),
        exponent_u=math.sqrt(covariance[1][1]) if covariance is not None else 0.0,
        supply=float(supply.per_rate[0]),
        filling=float(supply.filling[0]),
        velocity=factor * ideal,
        gas=CoreGas(temperature=float(row["flame_temperature_K"])),
    )


def _told(
    origin: str, factors: tuple[float, float, float], **sizes: float
) -> dict[str, Any]:
    low, middle, high = factors
    given = {"low": low, "middle": middle, "high": high}
    return {"origin": origin, "sizes": sizes, **given}


# ----------------------------------------------------------------------------
# Start and igniter.


def _start(case: _Case) -> dict[str, Any]:
    """Follow the start with the igniter's gas, the grain lit all at once.

    At the low end the grain lights too late to meet it; at the high end the chamber is
    small: of the volume that is known to 15 % (one sigma) less, of an assumed one the
    least.
    """
    hardware, motor = case.hardware, case.motor
    mass, time = hardware.igniter_mass, hardware.igniter_time
    start = case.highest(case.supply_at(0.0))
    if not start:
        return {"origin": UNTOLD, "why": NOTHING_BURNS}
    throat = motor.nozzle.throat_area / case.velocity
    if not mass:
        doubling = case.missing(2.0 * start) * throat * time / IGNITER_GAS
        sizes = {"time": time, "doubling": doubling}
        return {"origin": UNTOLD, "sizes": sizes, "why": "igniter not stated"}
    volume, stated = hardware.gas_volume
    least = (1.0 - _WIDE * FREE_VOLUME_U) * volume
    if not stated:
        least = LEAST_FREE_SHARE * hardware.grain.volume
    sizes = {
        "mass": mass,
        "time": time,
        "flow_share": mass / time / (start * throat),
        "free": volume,
        "free_least": least,
    }
    try:
        middle, high = (case.lit(mass, time, free) for free in (volume, least))
    except ConvergenceError as error:
        return {"origin": UNTOLD, "sizes": sizes, "why": str(error)}
    return _told(COMPUTED, (1.0, middle, max(middle, high)), **sizes)


# ----------------------------------------------------------------------------
# Erosive burning.


def _erosion(case: _Case) -> dict[str, Any]:
    """Follow the core while it widens: where its gas is fast the rate is higher.

    Gas of all segments passes the nozzle end of the last one, that of its own nozzle
    face, where both ends burn, does not. How the passage of a stated table of areas
    widens is not known; it is looked at before ignition alone.
    """
    grain = case.hardware.grain
    if math.isnan(grain.port_area):
        return {"origin": UNTOLD, "why": "port not stated"}
    web, port = np.zeros(1), np.array([grain.port_area])
    length, past = 0.0, np.zeros(1)
    if isinstance(grain, HollowCylinder):
        web = np.linspace(0.0, grain.web, _STEPS)
        port = 0.25 * math.pi * (grain.core_diameter + 2.0 * web) ** 2
        length = grain.segments * grain.segment_length
        if grain.burning_ends == 2:
            past = 0.25 * math.pi * grain.outer_diameter**2 - port
    burns = grain.area(web) > 0.0
    if not burns[0]:
        return {"origin": UNTOLD, "why": NOTHING_BURNS}
    web, port = web[burns], port[burns]
    past = np.broadcast_to(past, burns.shape)[burns]
    supply, burning = case.supply_at(web), grain.area(web)
    wide = np.sqrt(4.0 * port / math.pi)
    length = length or float(burning[0] / (math.pi * wide[0]))
    stands = case.stands(supply)
    rate = stands / supply / (1.0 - case.filling * stands)
    density = case.motor.propellant.grain_density
    leaves = stands * case.motor.nozzle.throat_area / case.velocity
    flux = leaves * (1.0 - past / burning) / port
    g = erosive_burning.reduced_flux(
        flux, rate=rate, density=density, diameter=wide, viscosity=case.gas.viscosity
    )
    most = erosive_burning.lenoir_robillard(
        flux,
        rate=rate,
        density=density,
        length=length,
        grain_temperature=case.motor.propellant.temperature,
        gas=case.gas,
    )
    middle = MEAN_ALONG * (erosive_burning.mukunda_paul(g) - 1.0)
    ends = (middle, np.maximum(MEAN_ALONG * (most - 1.0), middle))
    more = [case.over_peak(supply * (1.0 + e) / case.supply) for e in ends]
    ratio = grain.port_area / case.motor.nozzle.throat_area
    exponent = case.motor.nozzle.exponent or USUAL_EXPONENT
    passing = float(1.0 - past[0] / burning[0])
    mach = float(erosive_burning.core_mach(max(ratio / passing, 1.0), exponent))
    return _told(
        COMPUTED,
        (1.0, more[0], more[1]),
        flux=float(flux[0]),
        port_to_throat=ratio,
        mach=mach,
        drop=exponent * mach**2,
        rise_middle=float(ends[0][0]),
        rise_high=float(ends[1][0]),
    )


# ----------------------------------------------------------------------------
# More burning area.


def _sized(stated: float | None, usual: float) -> tuple[float, str]:
    """Return the size of a cause and where it comes from."""
    return (usual, ASSUMED) if stated is None else (stated, STATED)


def _crack(case: _Case, share: float | None) -> dict[str, Any]:
    size, origin = _sized(share, USUAL_CRACK)
    return _told(origin, case.factor(1.0 + size), share=size)


def debonded_area(grain: HollowCylinder, share: float, web: ArrayLike) -> FloatArray:
    """Return the burning area of a grain, part of whose outer face came loose. [m2]

    That part burns from outside as well; where both fronts have met it is gone.

    Parameters
    ----------
    share : float
        Of the outer face of all segments. [-]
    web : array_like
        Burnt. [m]

    Examples
    --------
    >>> grain = HollowCylinder(outer_diameter=0.03, core_diameter=0.01,
    ...                        segment_length=0.05, burning_ends=0)
    >>> whole = debonded_area(grain, 1.0, [0.0, 0.004, 0.006])
    >>> [round(float(a) * 1e6, 1) for a in whole]  # pi (D + d) L, then nothing
    [6283.2, 6283.2, 0.0]
    """
    x = np.asarray(web, dtype=float)
    rim = np.maximum(grain.outer_diameter - 2.0 * x, 0.0)
    left = np.maximum(grain.segment_length - grain.burning_ends * x, 0.0)
    lost = 0.25 * math.pi * (grain.outer_diameter**2 - rim**2)
    more = math.pi * rim * left - grain.burning_ends * lost
    alone = grain.area(x)
    met = x > 0.25 * (grain.outer_diameter - grain.core_diameter)
    return np.asarray(
        np.where(met, alone * (1.0 - share), alone + share * grain.segments * more)
    )


def _debond(case: _Case, share: float | None) -> dict[str, Any]:
    grain = case.hardware.grain
    if not isinstance(grain, HollowCylinder):
        return {"origin": UNTOLD, "why": "outer face not stated"}
    size, origin = _sized(share, USUAL_DEBOND)
    meet = 0.25 * (grain.outer_diameter - grain.core_diameter)
    corners = [x for x in (*grain.breakpoints, meet) if x <= grain.web]
    web = distinct(np.r_[np.linspace(0.0, grain.web, _STEPS), corners])
    more = float(debonded_area(grain, size, web).max()) / grain.largest_area
    return _told(origin, case.factor(more), share=size, area=more - 1.0)


# ----------------------------------------------------------------------------
# A hot day, and a narrower throat.


def _hot_day(case: _Case) -> dict[str, Any]:
    """Warm the grain; its sensitivity is known to a factor, the exponent as it is."""
    hardware = case.hardware
    hottest = hardware.hottest_grain
    grain = hardware.grain_temperature
    usual = max(USUAL_HEAT, HOT_DAY_AT_LEAST - grain)
    warmer = usual if hottest is None else hottest - grain
    band = int(np.searchsorted(case.bands.edges, case.peak))
    steep = mass_balance.amplification(float(case.bands.exponent[band]))
    doubt = math.hypot(math.log(SENSITIVITY_DOUBT), steep * case.exponent_u)

    def warmed(side: float) -> float:
        rise = warmer * hardware.temperature_sensitivity
        return case.over_peak(math.exp(rise * math.exp(side * _WIDE * doubt)))

    return _told(
        ASSUMED if hottest is None else STATED,
        (warmed(-1.0), warmed(0.0), warmed(1.0)),
        warmer=warmer,
        temperature=grain + warmer,
        sensitivity=float(steep) * hardware.temperature_sensitivity,
    )


def _deposit(case: _Case) -> dict[str, Any]:
    """Narrow the throat; at the low end as the web burns, else before the peak."""
    hardware = case.hardware
    before = hardware.throat_diameter
    after, origin = _sized(hardware.throat_after, (1.0 - USUAL_DEPOSIT) * before)
    if after >= before:
        return _told(origin, (1.0, 1.0, 1.0), diameter=after, share=0.0)
    grain = hardware.grain
    web = distinct(np.r_[np.linspace(0.0, grain.web, _STEPS), grain.breakpoints])
    throat = replace(case.motor, throat_after=after).throat_area(web)
    open_area = case.motor.nozzle.throat_area
    low = case.over_peak(case.supply_at(web) / case.supply * open_area / throat)
    _, middle, high = case.factor((before / after) ** 2)
    return _told(
        origin, (low, middle, high), diameter=after, share=1.0 - after / before
    )
