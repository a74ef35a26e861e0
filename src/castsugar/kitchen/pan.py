"""The pan: how thick a layer it dries, how hot its wall is, what its heater can do."""

from __future__ import annotations

import math

from castsugar.arrays import inside
from castsugar.checks import numbers
from castsugar.constants import ICE_POINT
from castsugar.errors import InputError
from castsugar.frozen import dataclass
from castsugar.plausible import RANGES

#: Heat capacity of a mix [J/kg/K]: the mean of 60/20/20 from 25 to 119 C, of nitrate
#: (6.42 + 0.053 T) 4.184 / 101.10 J/g/K (open data), sucrose 1.21 + 0.0041 (t - 20)
#: (Mohos 2010) and 2.45 of a 77 % syrup (guess).
MIX_HEAT = 1390.0

#: Heat of evaporation at the boil of a syrup [J/kg].
EVAPORATION = 2.23e6

#: Of a crowded mix: conductivity [W/m/K], 0.6 +- 0.15 from that of syrup and of nitrate
#: (from memory) by Maxwell's rule, and density [kg/m3].
CONDUCTIVITY, DENSITY = 0.6, 1750.0

#: Heat to the air of the room from a hot face [W/m2/K]; common practice, no source.
AIR = 12.0

#: Heat capacity of a pan [J/kg/K] by its material; handbook values, from memory.
MATERIALS = {"aluminium": 900.0, "steel": 500.0, "glass": 800.0}

#: The drying time of a kitchen is that of this layer [kg/m2], turned over so often [s].
LAYER, INTERVAL = 4.0, 60.0

#: Room temperature where none is stated [K].
ROOM = 22.0 + ICE_POINT


@dataclass(frozen=True, slots=True, kw_only=True)
class Pan:
    """A pan, what is in it, and what heats it.

    Raises
    ------
    InputError, ValidityError

    Examples
    --------
    >>> wide, narrow = (Pan(batch=0.2, diameter=d) for d in (0.25, 0.12))
    >>> round(narrow.layer / wide.layer, 2)
    4.34
    """

    batch: float  # mass of the mix [kg]
    diameter: float  # of the bottom, inside [m]
    interval: float = INTERVAL  # how often the bottom is stirred free [s]
    mass: float | None = None  # of the empty pan [kg]
    material: str = "steel"  # one of MATERIALS
    #: What arrives in pan and mix; the label of a plate says more. [W]
    watts: float | None = None
    #: How fast the bulk warms, where the cook does not say it. [K/s]
    rate: float | None = None
    room: float = ROOM  # [K]

    def __post_init__(self) -> None:
        """Check the numbers."""
        units = {"batch": "kg", "diameter": "m", "interval": "s", "mass": "kg"}
        numbers(self, units | {"watts": "W", "rate": "K/s", "room": "K"})
        for name, what, unit in _RANGES:
            value = getattr(self, name)
            if value is not None:
                inside(value, *RANGES[what].hard, what, unit)
        if self.material not in MATERIALS:
            raise InputError(
                f"material of the pan is {self.material!r}; allowed: "
                f"{', '.join(MATERIALS)}"
            )

    @property
    def area(self) -> float:
        """Return the area of the bottom. [m2]"""
        return 0.25 * math.pi * self.diameter**2

    @property
    def load(self) -> float:
        """Return the mass of the mix over the bottom. [kg/m2]"""
        return self.batch / self.area

    @property
    def layer(self) -> float:
        """Return its drying time over that of a usual layer, turned over as usual.

        tau goes with mass over area and with the root of the time between two turns:
        the layer limits, not the air.
        """
        return self.load / LAYER * math.sqrt(self.interval / INTERVAL)

    @property
    def heat_capacity(self) -> float:
        """Return that of mix and pan, a pan of unknown mass left out. [J/K]"""
        return self.batch * MIX_HEAT + (self.mass or 0.0) * MATERIALS[self.material]

    @property
    def to_the_bottom(self) -> float:
        """Return the heat transfer from wall to bulk, 2 sqrt(k rho c / (pi t)).

        A mix that the spoon renews every t at the bottom takes up heat by conduction
        in between (penetration theory). [W/m2/K]
        """
        stored = CONDUCTIVITY * DENSITY * MIX_HEAT
        return 2.0 * math.sqrt(stored / (math.pi * self.interval))

    def wall_above(
        self, temperature: float, rate: float, evaporation: float = 0.0
    ) -> float:
        """Return how much hotter than the bulk the wall is, at least. [K]

        What warms the mix, what its top loses and what evaporates must pass the bottom.
        Unstirred spots, the pattern of a coil and the swing of a thermostat are worse.

        Parameters
        ----------
        temperature : float
            Of the bulk. [K]
        rate : float
            How fast it warms. [K/s]
        evaporation : float
            [kg/s]
        """
        warming = self.batch * MIX_HEAT * max(rate, 0.0)
        top = AIR * self.area * (temperature - self.room)
        passed = warming + top + EVAPORATION * evaporation
        return passed / (self.to_the_bottom * self.area)

    @property
    def cooling_time(self) -> float:
        """Return the time constant of pan and mix off the heat; NaN without its mass.

        Bottom, top and the wetted edge lose heat to the air. [s]
        """
        if self.mass is None:
            return math.nan
        edge = math.pi * self.diameter * self.load / DENSITY
        return self.heat_capacity / (AIR * (2.0 * self.area + edge))

    def time_to_cool(self, start: float, end: float) -> float:
        """Return how long off the heat the bulk takes from one heat to another. [s]

        tau ln((T0 - Ta) / (T1 - Ta)); NaN without the mass of the pan.
        """
        if not self.room < end <= start:
            return 0.0 if end > start else math.inf
        return self.cooling_time * math.log((start - self.room) / (end - self.room))

    def dose(self, mass: float, temperature: float) -> tuple[float, float]:
        """Return what a dose of cold dry mix does: kelvin lost, and seconds to regain.

        The seconds are NaN without the watts, infinite where they do not do.

        Parameters
        ----------
        mass : float
            As cold as the room. [kg]
        temperature : float
            Of the pan and what is in it. [K]

        Examples
        --------
        >>> pan = Pan(batch=0.2, diameter=0.16, mass=0.5, watts=200.0)
        >>> kelvin, seconds = pan.dose(0.05, 392.15)
        >>> round(kelvin), round(seconds)
        (11, 44)
        """
        inside(mass, 0.0, 10.0, "mass of a dose", "kg")
        cold = mass * MIX_HEAT
        above = temperature - self.room
        drop = cold * above / (self.heat_capacity + cold)
        if self.watts is None:
            return drop, math.nan
        net = self.watts - 2.0 * AIR * self.area * above
        return drop, cold * above / net if net > 0.0 else math.inf

    def most_evaporated(self, duration: float, warmed: float) -> float:
        """Return the water that the heater can evaporate, per mass of mix.

        Infinite without the watts.

        Parameters
        ----------
        duration : float
            Of the cook. [s]
        warmed : float
            By how much pan and mix warm in it. [K]
        """
        if self.watts is None:
            return math.inf
        joules = self.watts * duration - self.heat_capacity * max(warmed, 0.0)
        return max(joules, 0.0) / (EVAPORATION * self.batch)


#: Attribute of a pan, the range of its values, and the unit of that.
_RANGES = (
    ("batch", "batch", "kg"),
    ("diameter", "pan diameter", "m"),
    ("interval", "stirring interval", "s"),
    ("mass", "pan mass", "kg"),
    ("watts", "heater", "W"),
    ("room", "room temperature", "K"),
)
