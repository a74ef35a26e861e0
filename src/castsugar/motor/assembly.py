"""A propellant in a grain behind a nozzle: what a firing needs, checked once."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike

from castsugar.arrays import FloatArray
from castsugar.checks import positive
from castsugar.constants import REFERENCE_TEMPERATURE, STANDARD_ATMOSPHERE
from castsugar.errors import InputError
from castsugar.frozen import dataclass
from castsugar.motor import mass_balance
from castsugar.motor.grain import Grain
from castsugar.motor.nozzle import Nozzle

#: Volume of gas before ignition over that of the grain, where nobody states it: of
#: closely packed small motors 0.3 to 1.2. Assumed.
FREE_SHARE = 0.4

#: Burning ends where the pressure over the air has fallen to this share of its peak.
#: Common practice, no source.
BURNT_OUT = 0.05


@dataclass(frozen=True, slots=True, kw_only=True)
class Propellant:
    r"""A cast mix as a motor sees it.

    The burn rate of the law is multiplied by
    :math:`\exp(\sigma_p (T - T_{ref}))`, at constant pressure.

    Raises
    ------
    InputError
        A value that is not positive, an efficiency or density ratio above 1, a
        negative temperature sensitivity.
    """

    density: float  # ideal density, no voids [kg/m3]
    characteristic_velocity: float  # ideal [m/s]
    density_ratio: float = 1.0  # density of the real grain over the ideal one [-]
    efficiency: float = 1.0  # delivered over ideal characteristic velocity, up to 1 [-]
    #: Of the grain; of the grain that the burn law was measured on. [K]
    temperature: float = REFERENCE_TEMPERATURE
    reference_temperature: float = REFERENCE_TEMPERATURE
    temperature_sensitivity: float = 0.0  # sigma_p of the burn rate [1/K]

    def __post_init__(self) -> None:
        positive("propellant density", self.density, "kg/m3")
        positive("characteristic velocity", self.characteristic_velocity, "m/s")
        for name in ("density_ratio", "efficiency"):
            value = getattr(self, name)
            if not 0.0 < value <= 1.0:
                raise InputError(
                    f"{name.replace('_', ' ')} is {value:g}; allowed: above 0, up to 1"
                )
        positive("grain temperature", self.temperature, "K")
        positive("reference temperature", self.reference_temperature, "K")
        if not 0.0 <= self.temperature_sensitivity < math.inf:
            raise InputError(
                "temperature sensitivity of the burn rate is "
                f"{self.temperature_sensitivity:g} 1/K; it must be 0 or more"
            )

    @property
    def grain_density(self) -> float:
        """Return ideal density times density ratio. [kg/m3]"""
        return self.density * self.density_ratio

    @property
    def rate_factor(self) -> float:
        """Return the burn rate at the grain temperature over that of the law. [-]"""
        rise = self.temperature - self.reference_temperature
        return math.exp(self.temperature_sensitivity * rise)

    @property
    def filling(self) -> float:
        """Return q: the share q p of the gas fills the burnt volume. [1/Pa]"""
        found = mass_balance.filling(self.grain_density, self.delivered_velocity)
        return float(found)

    @property
    def delivered_velocity(self) -> float:
        """Return the characteristic velocity for performance. [m/s]"""
        return self.characteristic_velocity * self.efficiency


@dataclass(frozen=True, slots=True, kw_only=True)
class Motor:
    """Grain, nozzle and propellant together.

    Raises
    ------
    InputError
        A throat wider than the gas passage of the grain.
    """

    grain: Grain
    nozzle: Nozzle
    propellant: Propellant
    ambient_pressure: float = STANDARD_ATMOSPHERE  # [Pa]
    #: Of gas before ignition; None: FREE_SHARE of the grain. [m3]
    free_volume: float | None = None
    #: Throat diameter when the grain is burnt, straight over the burnt mass; None: as
    #: before. [m]
    throat_after: float | None = None

    def __post_init__(self) -> None:
        positive("ambient pressure", self.ambient_pressure, "Pa")
        if self.nozzle.throat_area > self.grain.port_area * (1.0 + 1e-12):
            passage = math.sqrt(4.0 * self.grain.port_area / math.pi)
            raise InputError(
                f"throat diameter {1e3 * self.nozzle.throat_diameter:g} mm is larger "
                f"than the core diameter {1e3 * passage:g} mm of the grain; "
                "make the throat smaller or the core wider"
            )

    def kn(self, web: ArrayLike) -> FloatArray:
        """Return burning area over throat area at a web burnt. [-]"""
        return self.grain.area(web) / self.throat_area(web)

    def throat_area(self, web: ArrayLike) -> FloatArray:
        """Return the throat area at a web burnt. [m2]"""
        share = 1.0 - self.grain.volume_left(web) / self.grain.volume
        wider = 1.0 + self.growth * share
        return np.asarray(self.nozzle.throat_area * wider**2)

    @property
    def growth(self) -> float:
        """Return by how much of itself the throat diameter grows in a firing. [-]"""
        if self.throat_after is None:
            return 0.0
        return self.throat_after / self.nozzle.throat_diameter - 1.0

    @property
    def gas_volume(self) -> float:
        """Return the volume of gas before ignition. [m3]"""
        if self.free_volume is not None:
            return self.free_volume
        return FREE_SHARE * self.grain.volume

    @property
    def kn_max(self) -> float:
        """Return the largest Kn over the web, the throat as it was. [-]"""
        return self.grain.largest_area / self.nozzle.throat_area

    @property
    def port_to_throat(self) -> float:
        """Return port over throat area before ignition; NaN where unknown. [-]"""
        return self.grain.port_area / self.nozzle.throat_area

    @property
    def propellant_mass(self) -> float:
        """Return grain volume times grain density. [kg]"""
        return self.grain.volume * self.propellant.grain_density
