"""How much water a cast grain takes up from the air, open or in a bag."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike

from castsugar.arrays import FloatArray, inside
from castsugar.frozen import dataclass
from castsugar.kitchen.glass import crystal_limit
from castsugar.kitchen.water import DAMPING, NORRISH, SUCROSE, WATER, water_activity

#: Days after which a gain is told.
DAYS = (1.0, 7.0, 30.0)

#: Humidities that are told where the user states none [%].
HUMIDITIES = (45.0, 60.0, 75.0)

#: A gain is uncertain by this factor either way: the diffusion by 3, inside the root;
#: sugar that has crystallised and dissolved salt are left out (common practice, no
#: source).
FACTOR = 2.0

#: Densities of binder and nitrate [kg/m3]; they cancel but for the share of volume.
_BINDER, _NITRATE = 1450.0, 2109.0

#: Temperature of the store [K].
ROOM = 298.15

_DAY = 86400.0

#: Points of the integrals over the water of the skin.
_POINTS = 200

#: Water of a binder that is looked at, mass fractions.
_WATERS = np.linspace(1e-4, 0.6, 1201)


def diffusion_zobrist(activity: ArrayLike) -> FloatArray:
    """Return the diffusion of water in amorphous sucrose, at room temperature. [m2/s]

    log10 D = -(A + B / (T - T0)), y = 1 - a: A = 7 + 0.175 (1 - 46.46 y), B = 262.867
    (1 + 10.53 y - 0.3 y^2), T0 = 127.9 (1 + 0.4514 y - 0.51 y^1.7): Zobrist et al.
    (2011), coefficients read in open codes, one of which prints 0.5 for 0.51.

    Raises
    ------
    ValidityError

    Examples
    --------
    >>> float(f"{float(diffusion_zobrist(0.7)):.2g}")
    3.4e-12
    """
    y = 1.0 - inside(activity, 0.0, 1.0, "activity of water")
    a = 7.0 + 0.175 * (1.0 - 46.46 * y)
    b = 262.867 * (1.0 + 10.53 * y - 0.3 * y * y)
    pole = 127.9 * (1.0 + 0.4514 * y - 0.51 * np.power(y, 1.7))
    return np.power(10.0, -(a + b / (ROOM - pole)))


def diffusion_price(activity: ArrayLike) -> FloatArray:
    """Return the same of a second laboratory. [m2/s]

    log10 D = -15.613 + 1.262 a - 3.476 a^2 + 46.468 a^3 - 60.030 a^4 + 22.691 a^5:
    Price et al. (2014), coefficients read in open code.

    Raises
    ------
    ValidityError

    Examples
    --------
    >>> ratio = diffusion_price(0.5) / diffusion_zobrist(0.5)
    >>> round(float(ratio), 1)
    1.3
    """
    a = inside(activity, 0.0, 1.0, "activity of water")
    terms = (-15.613, 1.262, -3.476, 46.468, -60.030, 22.691)
    return np.power(10.0, np.polynomial.polynomial.polyval(a, terms))


def middle_diffusion(activity: ArrayLike) -> FloatArray:
    """Return the middle of the two laboratories: their geometric mean. [m2/s]"""
    return np.sqrt(diffusion_zobrist(activity) * diffusion_price(activity))


@dataclass(frozen=True, slots=True, kw_only=True)
class Binder:
    """What of a grain takes up water: its sugars, as cast, not crystallised."""

    share: float  # sugars and water over the mass of the grain
    water: float  # mass fraction of water in the binder
    moles: float = 1.0 / SUCROSE  # of sugars, per mass of dry sugar [mol/kg]
    #: Of the activity of its water.
    norrish: float = NORRISH["sucrose"]
    damping: float = DAMPING
    #: Humidity above which its crystals and the nitrate draw water. [%]
    limit: float = float(crystal_limit())
    #: Whether its sugars are of the kind whose diffusion was measured.
    known: bool = True

    @property
    def activity(self) -> float:
        """Return the activity of its water."""
        return float(self._activities(np.array([self.water]))[0])

    @property
    def volume_share(self) -> float:
        """Return its share of the volume, the rest being nitrate."""
        own = self.share / _BINDER
        return own / (own + (1.0 - self.share) / _NITRATE)

    def _activities(self, waters: FloatArray) -> FloatArray:
        sugars = (1.0 - waters) * self.moles
        share = sugars / (sugars + waters / WATER)
        return water_activity(share, self.norrish, self.damping)

    def water_at(self, humidity: float) -> float:
        """Return the mass fraction of water that a humidity [%] holds in the binder."""
        held = np.interp(0.01 * humidity, self._activities(_WATERS), _WATERS)
        return float(held)

    def skin(self, humidity: float) -> tuple[FloatArray, FloatArray]:
        """Return shares of the way to the outermost water, and the activities there."""
        way = (np.arange(_POINTS) + 0.5) / _POINTS
        step = self.water_at(humidity) - self.water
        return way, self._activities(self.water + step * way)


def gain_rate(
    binder: Binder, humidity: float, *, diffusion: FloatArray | None = None
) -> float:
    """Return K of gain = K sqrt(days) (4 mm / D): shares of the mass.

    Uptake into a half-space whose diffusion rises with its water, the surface in
    equilibrium with the air: 2 c sqrt(D t / pi) with the mean D = 5/3 integral of
    x^(2/3) D dx over the way x to the outermost water (Crank, The Mathematics of
    Diffusion, from memory), D over 1 + (1 - v) / 2 between the grains of nitrate, v the
    share of the binder in the volume (Maxwell).

    Parameters
    ----------
    humidity : float
        Of the air at the grain, 0 to 100. [%]
    diffusion : ndarray, optional
        At the activities of :meth:`Binder.skin`; of :func:`middle_diffusion` without.
        [m2/s]

    Returns
    -------
    float
        0 where the air is drier than the binder: it seals itself as it dries.
    """
    step = binder.water_at(humidity) - binder.water
    if step <= 0.0:
        return 0.0
    way, activity = binder.skin(humidity)
    known = middle_diffusion(activity) if diffusion is None else diffusion
    mean = 5.0 / 3.0 * float(np.mean(way ** (2.0 / 3.0) * known))
    mean /= 1.0 + 0.5 * (1.0 - binder.volume_share)
    per_area = binder.share * step * 2.0 * math.sqrt(mean * _DAY / math.pi)
    return 1e3 * per_area  # times 4 / D with D in mm


def gain(binder: Binder, humidity: float, days: float, diameter: float) -> float:
    """Return the water that a grain takes up, as a share of its mass.

    Good to a factor of :data:`FACTOR`, up to 60 % of what it takes in the end; never
    more than that end.

    Parameters
    ----------
    humidity : float
        At the grain. [%]
    diameter : float
        Four times volume over the surface that the air reaches. [m]

    Returns
    -------
    float
        Infinite above the limit of the crystals: there is no end. NaN below it for
        sugars whose diffusion nobody measured.

    Raises
    ------
    ValidityError

    Examples
    --------
    >>> grain = Binder(share=0.4, water=0.11)
    >>> round(100.0 * gain(grain, 70.0, 30.0, 0.025), 1)
    1.3
    """
    inside(humidity, 0.0, 100.0, "humidity", "%")
    inside(days, 0.0, 36500.0, "time in the store", "days")
    inside(diameter, 1e-3, 0.5, "diameter of the grain", "m")
    if humidity > binder.limit:
        return math.inf
    if not binder.known:
        return math.nan
    share = gain_rate(binder, humidity) * math.sqrt(days) * 4e-3 / diameter
    most = binder.share * max(binder.water_at(humidity) - binder.water, 0.0)
    return min(share, most)


# ----------------------------------------------------------------------------
# In a bag.

#: Water through a zip bag, per area, time and unit of humidity outside over inside:
#: 0.3 to 1 g/m2 a day at room temperature (guess) [kg/m2/s].
BAG = (0.3e-3 / _DAY, 1.0e-3 / _DAY)

#: Water that silica gel takes at 40 %, of its mass (from memory), and that humidity.
GEL, GEL_HUMIDITY = 0.2, 40.0


def bag_days(
    allowed: float, area: float, outside: float, inside_: float, *, gel: float = 0.0
) -> tuple[float, float]:
    """Return after how many days a bag has let in what is allowed: fewest, most.

    Parameters
    ----------
    allowed : float
        Water that the grain may gain. [kg]
    area : float
        Of the bag, both sides. [m2]
    outside, inside_ : float
        Humidities. [%]
    gel : float
        Dry silica gel in the bag. [kg]

    Returns
    -------
    tuple of float
        Infinite where the air outside is no wetter.

    Raises
    ------
    ValidityError

    Examples
    --------
    >>> [round(days) for days in bag_days(0.3e-3, 0.03, 75.0, 25.0)]
    [20, 67]
    """
    inside(allowed, 0.0, 10.0, "water that the grain may gain", "kg")
    inside(area, 1e-4, 10.0, "area of the bag", "m2")
    for humidity in (outside, inside_):
        inside(humidity, 0.0, 100.0, "humidity", "%")
    drive = 0.01 * (outside - inside_)
    if drive <= 0.0:
        return math.inf, math.inf
    held = allowed + GEL * gel
    slow, fast = (held / (rate * area * drive) / _DAY for rate in BAG)
    return fast, slow
