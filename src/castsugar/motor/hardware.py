"""The user's motor without its propellant: grain, nozzle, case, and what is unsure."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from castsugar.checks import positive
from castsugar.constants import REFERENCE_TEMPERATURE, STANDARD_ATMOSPHERE
from castsugar.errors import InputError
from castsugar.motor.assembly import Motor, Propellant
from castsugar.motor.blend_law import BlendLaw
from castsugar.motor.case import Case, allowable_pressure
from castsugar.motor.grain import Grain
from castsugar.motor.nozzle import Nozzle
from castsugar.motor.peak import Spread

#: What is taken where the user states nothing: a grain with 4 % voids (poured grains
#: have 3-7 %), +-1 %; throat +-0.5 %, burning area +-2 %, c* +-1 %, grain +-5 K. All
#: common practice, no source.
DENSITY_RATIO = 0.96
SPREAD = Spread(
    density=0.01,
    throat_diameter=0.005,
    area=0.02,
    characteristic_velocity=0.01,
    temperature=5.0,
)

#: Temperature sensitivity of the burn rate where none is stated [1/K]: pi_K is 0.067
#: to 0.278 %/K (Sutton & Biblarz, ch. 11), times 1 - n.
TEMPERATURE_SENSITIVITY = 0.0015

#: Isentropic exponent of the exhaust where no mix gives one.
_EXPONENT = 1.13


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BurnKnowledge:
    """Where the burn law of a mix comes from.

    Attributes
    ----------
    law : BlendLaw
        Of measured mixes, or one borrowed law for all.
    components : tuple of str
        Catalogue names of what the measured mixes were weighed of, in the order of
        their fractions; empty for a borrowed law.
    """

    law: BlendLaw
    components: tuple[str, ...] = ()


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
        Thrust over ideal thrust.
    thrust_coefficient : float or None
        Takes the place of the ideal formula.
    burning : BurnKnowledge
    case : Case or None
        Without one there is no margin.
    density_ratio : float
        Density of the real grain over that without voids.
    grain_temperature, strand_temperature : float
        Of the grain; of the strands that the burn law comes from. [K]
    temperature_sensitivity : float
        Of the burn rate at constant pressure. [1/K]
    efficiency : float or None
        Delivered over ideal c*, for performance; None: nothing stated.
    efficiency_measured : bool
        A measured one counts for the margin too.
    spread : Spread
    ambient_pressure : float
        [Pa]
    installed_mass : float or None
        Of the rocket with the motor in it, which law goes by. [kg]
    draws, seed : int

    Raises
    ------
    InputError
        A throat wider than the core, a grain wider than the case, and what its
        parts refuse.
    """

    grain: Grain
    throat_diameter: float
    burning: BurnKnowledge
    exit_diameter: float | None = None
    nozzle_efficiency: float = 1.0
    thrust_coefficient: float | None = None
    case: Case | None = None
    density_ratio: float = DENSITY_RATIO
    grain_temperature: float = REFERENCE_TEMPERATURE
    strand_temperature: float = REFERENCE_TEMPERATURE
    temperature_sensitivity: float = TEMPERATURE_SENSITIVITY
    efficiency: float | None = None
    efficiency_measured: bool = False
    spread: Spread = field(default=SPREAD)
    ambient_pressure: float = STANDARD_ATMOSPHERE
    installed_mass: float | None = None
    draws: int = 400
    seed: int = 1

    def __post_init__(self) -> None:
        """Check that a motor can be built of it."""
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

    def motor(
        self,
        *,
        density: float,
        characteristic_velocity: float,
        exponent: float = _EXPONENT,
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
            efficiency=self.nozzle_efficiency,
            exponent=None if coefficient is not None else exponent,
            coefficient=coefficient,
        )
        propellant = Propellant(
            density=density,
            density_ratio=self.density_ratio,
            characteristic_velocity=characteristic_velocity,
            efficiency=1.0 if self.efficiency is None else self.efficiency,
            efficiency_measured=self.efficiency_measured,
            temperature=self.grain_temperature,
            reference_temperature=self.strand_temperature,
            temperature_sensitivity=self.temperature_sensitivity,
        )
        return Motor(
            grain=self.grain,
            nozzle=nozzle,
            propellant=propellant,
            ambient_pressure=self.ambient_pressure,
        )

    @property
    def margin_factor(self) -> float:
        """Return what the ideal c* is multiplied with for the margin."""
        if self.efficiency is None or not self.efficiency_measured:
            return 1.0
        return self.efficiency

    @property
    def allowable(self) -> float:
        """Return the pressure that the case may hold, absolute; NaN without. [Pa]"""
        return allowable_pressure(self.case).pressure if self.case else math.nan
