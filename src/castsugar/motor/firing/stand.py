"""The test stand: what was weighed and measured beside the recording."""

from __future__ import annotations

import math
from dataclasses import dataclass

from castsugar.checks import positive
from castsugar.constants import STANDARD_ATMOSPHERE
from castsugar.errors import InputError
from castsugar.motor.firing.burning import THRESHOLD

#: Standard uncertainties where the user states none; assumed. A calliper in a throat
#: reads to 0.05 mm, a grain is weighed with its liner to 0.5 %, a sensor holds its
#: calibration to 1 %, the air pressure of a place is not far from what is stated.
THROAT_DOUBT = 5e-5
MASS_DOUBT = 0.005
CALIBRATION_DOUBT = 0.01
AMBIENT_DOUBT = 3e3


@dataclass(frozen=True, slots=True, kw_only=True)
class Stand:
    """Throat, propellant mass, air pressure, and how sure each is.

    Attributes
    ----------
    propellant_mass : float
        Burned. [kg]
    throat_diameter : float or None
        Before firing; None if only thrust was measured. [m]
    throat_after : float or None
        After firing; None: taken as before. [m]
    throat_u : float
        Standard uncertainty of a measured throat. [m]
    mass_u, pressure_calibration_u, thrust_calibration_u : float
        Standard, relative. [-]
    ambient_pressure, ambient_u : float
        [Pa]
    share : float
        Of the peak, where burning starts and ends.

    Raises
    ------
    InputError
        A value that is not positive, a share outside 1 to 50 %, a throat that shrank by
        more than a tenth.
    """

    propellant_mass: float
    throat_diameter: float | None = None
    throat_after: float | None = None
    throat_u: float = THROAT_DOUBT
    mass_u: float = MASS_DOUBT
    pressure_calibration_u: float = CALIBRATION_DOUBT
    thrust_calibration_u: float = CALIBRATION_DOUBT
    ambient_pressure: float = STANDARD_ATMOSPHERE
    ambient_u: float = AMBIENT_DOUBT
    share: float = THRESHOLD

    def __post_init__(self) -> None:
        positive("propellant mass", self.propellant_mass, "kg")
        positive("ambient pressure", self.ambient_pressure, "Pa")
        for name in ("throat_diameter", "throat_after"):
            value = getattr(self, name)
            if value is not None:
                positive(name.replace("_", " "), value, "m")
        self._check_doubts()
        if not 0.01 <= self.share <= 0.5:
            raise InputError(
                f"burning starts and ends at {100 * self.share:g} % of the peak; "
                "allowed: 1 % to 50 %"
            )
        before, after = self.throat_diameter, self.throat_after
        if before and after and after < 0.9 * before:
            raise InputError(
                f"throat {1e3 * after:g} mm after firing, {1e3 * before:g} mm before: "
                "clean the deposit out of it and measure again"
            )

    def _check_doubts(self) -> None:
        for name in (
            "throat_u",
            "mass_u",
            "pressure_calibration_u",
            "thrust_calibration_u",
            "ambient_u",
        ):
            value = getattr(self, name)
            if not 0.0 <= value < math.inf:
                what = name.removesuffix("_u").replace("_", " ")
                raise InputError(f"uncertainty of {what} is {value:g}; give 0 or more")

    def throat_areas(self) -> tuple[float, float]:
        """Return the throat area before and after firing. [m2]

        Raises
        ------
        InputError
            If no throat is known.
        """
        before = self.throat_diameter
        if before is None:
            raise InputError(
                "throat diameter is missing: a pressure says nothing of c* without it; "
                "measure the throat and give it"
            )
        after = self.throat_after if self.throat_after is not None else before
        return 0.25 * math.pi * before**2, 0.25 * math.pi * after**2

    @property
    def log_area_u(self) -> float:
        """Return the standard uncertainty of ln of a measured throat area. [-]"""
        if self.throat_diameter is None:
            return math.nan
        return 2.0 * self.throat_u / self.throat_diameter
