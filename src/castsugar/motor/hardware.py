"""The user's motor without its propellant, and what the model of it leaves out."""

from __future__ import annotations

import math
from dataclasses import field, replace
from typing import Any, Final

import numpy as np
from numpy.typing import ArrayLike

from castsugar.arrays import FloatArray
from castsugar.checks import instance, numbers, positive, shown, whole
from castsugar.constants import (
    DENSITY_RATIO_U,
    ICE_POINT,
    REFERENCE_TEMPERATURE,
    STANDARD_ATMOSPHERE,
)
from castsugar.draw_set import DRAWS, SEED
from castsugar.errors import InputError
from castsugar.frozen import dataclass
from castsugar.motor import mass_balance
from castsugar.motor.assembly import FREE_SHARE, Motor, Propellant
from castsugar.motor.burn_evidence import PUBLISHED
from castsugar.motor.burn_model import BurnModel
from castsugar.motor.case import Case, allowable_pressure
from castsugar.motor.efficiency import Efficiencies, learn_efficiencies
from castsugar.motor.grain import Grain
from castsugar.motor.nozzle import USUAL_EXPONENT, Nozzle
from castsugar.motor.peak_pressure import Spread

# ----------------------------------------------------------------------------
# The user's motor without its propellant: grain, nozzle, case, and what is unsure.

#: What is taken where the user states nothing: a grain with 4 % voids (poured grains
#: have 3-7 %), +-1 %; throat +-0.5 %, burning area +-2 %, c* +-1 %, grain +-5 K. All
#: common practice, no source.
DENSITY_RATIO = 0.96
SPREAD = Spread(
    density=DENSITY_RATIO_U,
    throat_diameter=0.005,
    area=0.02,
    characteristic_velocity=0.01,
    temperature=5.0,
)

#: Temperature sensitivity of the burn rate where none is stated [1/K]: pi_K is 0.067
#: to 0.278 %/K (Sutton & Biblarz, ch. 11), times 1 - n.
TEMPERATURE_SENSITIVITY = 0.0015

#: Numbers of a motor, and the unit of each.
_UNITS = {
    "exit_diameter": "m",
    "nozzle_efficiency": "",
    "thrust_coefficient": "",
    "density_ratio": "",
    "grain_temperature": "K",
    "strand_temperature": "K",
    "temperature_sensitivity": "1/K",
    "efficiency": "",
    "efficiency_u": "",
    "ambient_pressure": "Pa",
    "installed_mass": "kg",
    "case_volume": "m3",
    "throat_after": "m",
    "cone_half_angle": "rad",
    "igniter_mass": "kg",
    "igniter_time": "s",
    "hottest_grain": "K",
}

#: Density of one grain over that without voids, as expected, and its standard
#: uncertainty; of many, (n,) each.
Casting = tuple[float, float]
Castings = tuple[FloatArray, FloatArray]

#: Between these shares of itself a firing may leave a throat: beyond them the nozzle
#: was blocked, or let go. Ours.
_THROAT_AFTER: Final = (0.8, 1.5)

#: Widest half angle of a cone in which the flow fills the nozzle, in degrees; 12 to 20
#: are usual. Common practice, no source.
_WIDEST_CONE = 45.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Hardware:
    """Grain, nozzle and case, and how firmly their numbers are known.

    Attributes
    ----------
    grain : HollowCylinder or AreaTable
    throat_diameter : float
        [m]
    exit_diameter : float or None
        None: the exit is the throat. [m]
    nozzle_efficiency : float
        Thrust over ideal thrust, as stated; 1: nothing stated. [-]
    thrust_coefficient : float or None
        Takes the place of the ideal formula. [-]
    burning : BurnModel
        What is known of burn rates.
    case : Case or None
        Without one there is no margin.
    density_ratio : float or None
        Density of the real grain over that without voids, stated or measured; None:
        what a kitchen expects of it, else a usual one. [-]
    grain_temperature, strand_temperature : float
        Of the grain; of the strands that the burn law comes from. [K]
    temperature_sensitivity : float
        Of the burn rate at constant pressure. [1/K]
    efficiency : float or None
        Delivered over ideal c*, for performance; None: nothing stated.
        [-]
    efficiency_measured : bool
        A measured one counts for the margin too.
    efficiency_u : float
        Standard uncertainty of the ln of a measured one, for the next firing.
        [-]
    firings : int
        Sound firings behind it.
    efficiencies : Efficiencies
        What is known of c* and nozzle together; held beforehand where nothing was
        fired.
    spread : Spread
    ambient_pressure : float
        [Pa]
    installed_mass : float or None
        Of the rocket with the motor in it, which law goes by. [kg]
    case_volume : float or None
        Inside of the case without the grain. [m3]
    throat_after : float or None
        Usual throat diameter after a firing. [m]
    cone_half_angle : float or None
        Of the cone behind the throat. [rad]
    igniter_mass : float
        Charge of the igniter; 0: not stated. [kg]
    igniter_time : float
        How long it burns; 30 ms is assumed. [s]
    hottest_grain : float or None
        Grain temperature on the hottest day of firing. [K]
    invented : tuple of str
        Entries that these numbers rest on and that say that nobody measured them.
    draws, seed : int
        Of what is drawn: firings against time, delays.

    Raises
    ------
    InputError
        A throat wider than the core, a grain wider than the case or that fills it, and
        what its parts refuse.

    See Also
    --------
    castsugar.motor.firings : fires mixes in it.

    Examples
    --------
    >>> from castsugar.motor.grain import HollowCylinder
    >>> grain = HollowCylinder(
    ...     outer_diameter=0.030, core_diameter=0.010, segment_length=0.050
    ... )
    >>> motor = Hardware(grain=grain, throat_diameter=8e-3, burning=BurnModel())
    >>> round(motor.kn_max, 1)
    65.6
    """

    grain: Grain
    throat_diameter: float
    burning: BurnModel
    exit_diameter: float | None = None
    nozzle_efficiency: float = 1.0
    thrust_coefficient: float | None = None
    case: Case | None = None
    density_ratio: float | None = None
    grain_temperature: float = REFERENCE_TEMPERATURE
    strand_temperature: float = REFERENCE_TEMPERATURE
    temperature_sensitivity: float = TEMPERATURE_SENSITIVITY
    efficiency: float | None = None
    efficiency_measured: bool = False
    efficiency_u: float = 0.0
    firings: int = 0
    efficiencies: Efficiencies = field(default_factory=learn_efficiencies)
    spread: Spread = field(default=SPREAD)
    ambient_pressure: float = STANDARD_ATMOSPHERE
    installed_mass: float | None = None
    case_volume: float | None = None
    throat_after: float | None = None
    cone_half_angle: float | None = None
    igniter_mass: float = 0.0
    igniter_time: float = 0.03
    hottest_grain: float | None = None
    draws: int = DRAWS
    seed: int = SEED
    invented: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        """Check that a motor can be built of it."""
        instance(self.burning, BurnModel, "burning", optional=False)
        instance(self.case, Case, "case")
        instance(self.spread, Spread, "spread", optional=False)
        if not hasattr(self.grain, "port_area"):
            raise InputError(
                f"grain is {shown(self.grain)}; give a HollowCylinder or an AreaTable"
            )
        numbers(self, _UNITS)
        whole(self.draws, "draws")
        positive("throat diameter", self.throat_diameter, "m")
        if self.draws < 20:
            raise InputError(f"draws is {self.draws}; at least 20 for a 95 % quantile")
        self.motor(density=1800.0, characteristic_velocity=900.0)
        bore = self.case.inner_diameter if self.case else None
        outer = getattr(self.grain, "outer_diameter", 0.0)
        if bore is not None and outer > bore * (1.0 + 1e-12):
            raise InputError(
                f"the grain is {1e3 * outer:g} mm wide, the case {1e3 * bore:g} mm "
                "inside; the grain must fit"
            )
        self._check_course()
        if self.free_volume is not None and not self.free_volume > 0.0:
            raise InputError(
                f"the case holds {1e6 * (self.case_volume or 0.0):.4g} ml, the grain "
                f"alone takes {1e6 * self.grain.volume:.4g} ml; give the inside of the "
                "empty case"
            )

    def _check_course(self) -> None:
        """Check what a firing does to the motor, and what lights it."""
        after, before = self.throat_after, self.throat_diameter
        low, high = _THROAT_AFTER
        if after is not None and not low * before <= after <= high * before:
            raise InputError(
                f"throat diameter after a firing is {1e3 * after:g} mm, before it "
                f"{1e3 * before:g} mm; allowed: {100 * low:g} to {100 * high:g} % of "
                "it (beyond that the nozzle was blocked, or let go)"
            )
        angle = self.cone_half_angle
        if angle is not None and not 0.0 <= angle <= math.radians(_WIDEST_CONE):
            raise InputError(
                f"cone half angle is {math.degrees(angle):g} degrees; allowed: 0 to "
                f"{_WIDEST_CONE:g}"
            )
        if not 0.0 <= self.igniter_mass < math.inf:
            raise InputError(
                f"igniter mass is {1e3 * self.igniter_mass:g} g; it must be 0 or more"
            )
        positive("igniter time", self.igniter_time, "s")
        if self.hottest_grain is not None and not (
            self.grain_temperature <= self.hottest_grain < math.inf
        ):
            hottest, usual = self.hottest_grain, self.grain_temperature
            raise InputError(
                f"hottest grain temperature is {hottest - ICE_POINT:g} C, the grain "
                f"temperature {usual - ICE_POINT:g} C; the hottest must not be the "
                "colder one"
            )

    def motor(
        self,
        *,
        density: float,
        characteristic_velocity: float,
        exponent: float = USUAL_EXPONENT,
    ) -> Motor:
        """Return the motor filled with a mix.

        Parameters
        ----------
        density : float
            Without voids. [kg/m3]
        characteristic_velocity : float
            Ideal. [m/s]
        exponent : float
            Isentropic exponent of the exhaust.
        """
        coefficient = self.thrust_coefficient
        nozzle = Nozzle(
            throat_diameter=self.throat_diameter,
            exit_diameter=self.exit_diameter,
            efficiency=self.known_nozzle_efficiency,
            exponent=None if coefficient is not None else exponent,
            coefficient=coefficient,
        )
        propellant = Propellant(
            density=density,
            density_ratio=self.known_density_ratio,
            characteristic_velocity=characteristic_velocity,
            efficiency=1.0 if self.efficiency is None else self.efficiency,
            temperature=self.grain_temperature,
            reference_temperature=self.strand_temperature,
            temperature_sensitivity=self.temperature_sensitivity,
        )
        return Motor(
            grain=self.grain,
            nozzle=nozzle,
            propellant=propellant,
            ambient_pressure=self.ambient_pressure,
            free_volume=self.free_volume,
            throat_after=self.throat_after,
        )

    @property
    def gas_volume(self) -> tuple[float, bool]:
        """Return the volume of gas before ignition [m3], and whether it was stated."""
        if self.free_volume is not None:
            return self.free_volume, True
        return FREE_SHARE * self.grain.volume, False

    @property
    def free_volume(self) -> float | None:
        """Return the volume of gas before ignition; None if not known. [m3]"""
        if self.case_volume is None:
            return None
        return self.case_volume - self.grain.volume

    @property
    def known_nozzle_efficiency(self) -> float:
        """Return thrust over ideal thrust, stated, else as firings told; else 1. [-]"""
        told = self.efficiencies.nozzle
        if self.nozzle_stated or not told.count:
            return self.nozzle_efficiency
        return min(told.median, 1.0)

    @property
    def nozzle_stated(self) -> bool:
        """Whether its efficiency is stated, or a measured thrust coefficient."""
        return self.nozzle_efficiency < 1.0 or self.thrust_coefficient is not None

    @property
    def margin_factor(self) -> float:
        """Return what the ideal c* is multiplied with for the margin. [-]"""
        if self.efficiency is None or not self.efficiency_measured:
            return 1.0
        return self.efficiency

    @property
    def kn_max(self) -> float:
        """Return the largest burning area over the throat area. [-]"""
        return self.motor(density=1800.0, characteristic_velocity=900.0).kn_max

    @property
    def known_density_ratio(self) -> float:
        """Return density of the grain over that without voids: stated, or usual. [-]"""
        return DENSITY_RATIO if self.density_ratio is None else self.density_ratio

    def filled(self, casting: Casting) -> Hardware:
        """Return it with one casting in it, as dense as a kitchen expects.

        Itself where a density ratio is stated or measured, or nothing is expected.
        """
        ratio, u = casting
        if self.density_ratio is not None or not math.isfinite(ratio):
            return self
        doubt = replace(self.spread, density=u / ratio)
        return replace(self, density_ratio=ratio, spread=doubt)

    def ratios(
        self, count: int, castings: Castings | None
    ) -> tuple[FloatArray, FloatArray]:
        """Return density ratios of so many castings, and the u of their ln.

        As stated or measured, else as a kitchen expects, else usual.
        """
        usual, own = self.known_density_ratio, self.spread.density
        ratio, u = np.full(count, usual), np.full(count, own)
        if castings is not None and self.density_ratio is None:
            told = np.isfinite(castings[0])
            u = np.where(told, castings[1] / castings[0], own)
            ratio = np.where(told, castings[0], usual)
        return ratio, u

    def supply(
        self,
        density: ArrayLike,
        characteristic_velocity: ArrayLike,
        castings: Castings | None = None,
        *,
        guarded: bool = False,
    ) -> mass_balance.Supply:
        """Return what the motor makes of a burn rate at the largest Kn, for the margin.

        Parameters
        ----------
        density : array_like, shape (n,)
            Without voids. [kg/m3]
        characteristic_velocity : array_like, shape (n,)
            Ideal. [m/s]
        castings : Castings, optional
            How dense a kitchen expects the grains; NaN where it does not know. What is
            stated or measured stands before it.
        guarded : bool
            For what a limit is held against: pores burn, too, and voids that nobody
            measured lower nothing below the usual density.
        """
        motor = self.motor(density=1800.0, characteristic_velocity=900.0)
        velocity = self.margin_factor * np.atleast_1d(
            np.asarray(characteristic_velocity, dtype=float)
        )
        real = np.atleast_1d(np.asarray(density, dtype=float))
        ratio, u = self.ratios(len(real), castings)
        ratio = np.maximum(ratio, self.known_density_ratio) if guarded else ratio
        real = ratio * real
        return mass_balance.Supply(
            per_rate=mass_balance.supply(
                kn=motor.kn_max,
                density=real,
                characteristic_velocity=velocity,
                rate_factor=motor.propellant.rate_factor,
            ),
            filling=mass_balance.filling(real, velocity),
            u=np.sqrt(self.supply_u**2 - self.spread.density**2 + u**2),
        )

    @property
    def all_invented(self) -> tuple[str, ...]:
        """Return what is invented behind a pressure: of the motor, of what burned."""
        return tuple(dict.fromkeys((*self.invented, *self.burning.invented)))

    def basis(self) -> dict[str, Any]:
        """Return plain values of throat, case and what burned, with its sources."""
        burned = self.burning.evidence
        return {
            "throat_diameter_m": float(self.throat_diameter),
            "case_pressure_Pa": self.allowable if self.case else None,
            "burned": [one.name for one in burned],
            "invented": [*self.all_invented],
            "sources": [one.source for one in burned if one.kind == PUBLISHED],
        }

    @property
    def warmer(self) -> float:
        """Return the grain temperature less that of the strands. [K]"""
        return self.grain_temperature - self.strand_temperature

    @property
    def supply_u(self) -> float:
        """Return the standard uncertainty of ln S, the burn rate left out. [-]"""
        own = self.spread.supply_u(self.temperature_sensitivity, self.warmer)
        return math.hypot(own, self.efficiency_u if self.efficiency_measured else 0.0)

    def unfired(self) -> Hardware:
        """Return it as it would be had no firing told an efficiency."""
        return replace(
            self, efficiency=None, efficiency_measured=False, efficiency_u=0.0
        )

    @property
    def allowable(self) -> float:
        """Return the pressure that the case may hold, absolute; NaN without. [Pa]"""
        return allowable_pressure(self.case).pressure if self.case else math.nan

    @property
    def whose(self) -> str:
        """Return what that pressure is called, after the rule that sets it."""
        return allowable_pressure(self.case).whose if self.case else ""


# ----------------------------------------------------------------------------
# What the quasi-steady model leaves out, in words.

#: What is not modelled.
NOT_MODELLED: Final = (
    "The grain lights all at once and burns evenly at right angles to its faces; an "
    "off-centre core is not modelled.",
    "Tables and limits take the throat as it is before the firing; only curves against "
    "time and the impulse follow throat_after.",
)
