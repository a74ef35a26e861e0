"""What can be measured in a kitchen, and what the model expects of it.

Give measurements, in the order in which they were made, to
:func:`castsugar.kitchen.calibration.calibrate`.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from castsugar.arrays import FloatArray
from castsugar.checks import number
from castsugar.constants import ICE_POINT, STANDARD_ATMOSPHERE
from castsugar.errors import InputError, RefusedError
from castsugar.frozen import dataclass
from castsugar.kitchen import solubility, suspension
from castsugar.kitchen.boiling import takes
from castsugar.kitchen.heat import Cook
from castsugar.kitchen.packing import packing_of_bed
from castsugar.kitchen.parameters import Kitchen, Values, unmeasured
from castsugar.kitchen.pot import (
    Pot,
    pot_of,
    water_at_start,
    water_left,
)
from castsugar.kitchen.water import boiling_temperature
from castsugar.mix.mix import MixLike, as_mix

#: Crystal densities of what may stand in for the oxidizer. [kg/m3]
SALTS = {
    "potassium nitrate": suspension.NITRATE,
    "potassium chloride": suspension.CHLORIDE,
}

#: Standard uncertainties beside the reading. Loss of water: share of it that spills or
#: sticks to the spoon. Packing: cup, tapping and striking off. Common practice, no
#: source.
LOSS_SHARE, PACKING = 0.05, 0.015

#: Times the expected water that a pan can lose: a syrup may be wetter than stated.
MOST_LOST = 1.5


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Measurement:
    """One measurement, on a scale on which its error is normal.

    Attributes
    ----------
    kind : str
        ``"pan weight"``, ``"bulk density"``, ``"brine"``, ``"clear point"``,
        ``"ball fall"``, ``"flow-out"``, ...
    quantity, unit : str
        What was found, and its SI unit.
    observed : float
        On the scale. [-]
    spread : float
        Standard uncertainty on the scale, reading and model. [-]
    inverse : callable
        From the scale to the quantity. [unit of the quantity]
    predict : callable
        Of parameter values, single or of shape (draws,): the expectation on the scale.
        [-]
    label : str
        How the user calls it; shown in reports.
    invented : bool
        Whether its entry says that nobody measured it.
    tapped : float or None
        Packing of tapped over sheared grains, where it tells that. [-]
    """

    kind: str
    quantity: str
    unit: str
    observed: float
    spread: float
    inverse: Callable[[float], float]
    predict: Callable[[Values], FloatArray]
    label: str = ""
    invented: bool = False
    tapped: float | None = None

    def __str__(self) -> str:
        found = self.physical(self.observed)
        return f"{self.kind}: {self.quantity} {found:.3g} {self.unit}".rstrip()

    def physical(self, value: float) -> float:
        """Return a value of the scale in SI. [unit of the quantity]"""
        return self.inverse(value)


def pan_weight(  # noqa: PLR0913 - keyword-only options
    mix: MixLike,
    cook: Cook,
    *,
    batch: float,
    lost: float,
    scale: float = 1e-4,
    air_pressure: float = STANDARD_ATMOSPHERE,
    label: str = "",
) -> Measurement:
    """Weigh the pan with the mix before and after the cook.

    The difference is the water that left: batch x water as weighed x share lost. It
    tells the drying time, and a little of the syrup's solids. The error of a loss L is
    the root of a^2 + (b L)^2, weighings and spills; on the scale asinh(b L / a) / b it
    is 1 everywhere.

    Parameters
    ----------
    mix : Mix, recipe or recipe text
        Its loss not stated.
    cook : Cook
    batch, lost : float
        Mass of the mix, and the mass that left. [kg]
    scale : float
        Standard uncertainty of one weighing. [kg]
    air_pressure : float
        [Pa]
    label : str

    Returns
    -------
    Measurement
        For :func:`castsugar.kitchen.calibrate`.

    Raises
    ------
    InputError
        If mass was gained, or more left than there was water.

    Notes
    -----
    Valid for a loss of water alone. Source: mass balance.

    Examples
    --------
    >>> from castsugar.kitchen import Cook
    >>> found = pan_weight(
    ...     "KNO3:60 sucrose:20 corn syrup:20",
    ...     Cook.hold(392.15, 480.0),
    ...     batch=0.200,
    ...     lost=0.0018,
    ... )
    >>> found.kind
    'pan weight'
    """
    pot = known_pot(mix, Kitchen(cook=cook, air_pressure=air_pressure))
    positive(batch, "batch mass", "kg")
    positive(scale, "uncertainty of the scale", "kg")
    if not 0.0 <= lost < batch:
        raise InputError(
            f"the pan lost {1e3 * lost:g} g of a batch of {1e3 * batch:g} g; the loss "
            "must lie between 0 and the batch"
        )

    error = math.sqrt(2.0) * scale
    held = batch * float(water_at_start(pot, unmeasured().central())[0])
    if lost > MOST_LOST * held + 3.0 * error:
        raise InputError(
            f"the pan lost {1e3 * lost:.3g} g, the mix holds about {1e3 * held:.2g} g "
            "of water: something else left, or was weighed"
        )

    def predict(values: Values) -> FloatArray:
        start = water_at_start(pot, values)
        gone = batch * (start - water_left(pot, values, cook, air_pressure))[0]
        return np.arcsinh(LOSS_SHARE * gone / error) / LOSS_SHARE

    def inverse(value: float) -> float:
        # Beyond the batch the scale says nothing more.
        reach = math.asinh(LOSS_SHARE * batch / error)
        return error / LOSS_SHARE * math.sinh(min(LOSS_SHARE * value, reach))

    return Measurement(
        kind="pan weight",
        quantity="water lost",
        unit="kg",
        observed=math.asinh(LOSS_SHARE * lost / error) / LOSS_SHARE,
        spread=1.0,
        inverse=inverse,
        predict=predict,
        label=label,
    )


def bulk_density(
    *,
    mass: float,
    volume: float,
    salt: str = "potassium nitrate",
    label: str = "",
) -> Measurement:
    """Weigh a measured volume of tapped powder.

    Bulk density over crystal density is the packing of the dry powder: less than that
    of the wet grains, the finer the less (`dry_packing` of the parameters). Fill, tap
    about 200 times, strike off, weigh. :func:`brine` tells more.

    Parameters
    ----------
    mass, volume : float
        [kg], [m3]
    salt : str
        A key of :data:`SALTS`.
    label : str

    Returns
    -------
    Measurement
        For :func:`castsugar.kitchen.calibrate`.

    Raises
    ------
    InputError
        A value that is not above 0, an unknown salt.
    ValidityError
        A packing outside 0.35 to 0.8.

    Notes
    -----
    Valid for dry powder. Source: common practice of tapping, crystal densities of
    the catalogue.

    Examples
    --------
    >>> bulk_density(mass=0.120, volume=1e-4).kind
    'bulk density'
    """
    crystal_density = salt_density(salt)
    positive(mass, "mass of the powder", "kg")
    positive(volume, "volume of the cup", "m3")
    observed = suspension.packing_of_powder(mass / volume, crystal_density)
    return Measurement(
        kind="bulk density",
        quantity="packing of the tapped powder",
        unit="",
        observed=observed,
        spread=PACKING,
        inverse=float,
        predict=lambda values: values.packing * values.dry_packing,
        label=label,
    )


# ----------------------------------------------------------------------------
# In the cold and on a water bath: how grains settle, and what a syrup dissolves.

#: Warmest brine: it must stay as cold as the room, or crystals grow while it settles.
WARMEST_BRINE = 35.0 + ICE_POINT

#: Coldest and hottest water bath of a clear point; above it water leaves too fast, and
#: nobody heats a sugar with nitrate for a test.
BATH = (60.0 + ICE_POINT, 90.0 + ICE_POINT)

#: Liquids of the protocol of a clear point, in parts.
LIQUIDS = {"A": (1.0, 0.0), "B": (10.0, 4.0)}

#: Sugars per water to which the share of nitrate that dissolves is carried: a pour.
POUR_SUGARS = 9.0

#: Largest share that is believed.
MOST_DISSOLVED = 1.4

#: Packing of a settled bed, loose to tapped.
_BED = (0.3, 0.76)

#: Runs of a brine that are counted.
_MOST_RUNS = 20

#: Standard uncertainty of ln of the share beside the solids of the syrup and the last
#: portion: masses to 0.1 g, 1 K, the judgement of the eye (simulated).
CLEAR = 0.045


def brine(  # noqa: PLR0913 - keyword-only options
    *,
    mass: float,
    loose: float,
    tapped: float,
    temperature: float,
    runs: int = 1,
    salt: str = "potassium nitrate",
    label: str = "",
) -> Measurement:
    """Let the ground salt settle in its own saturated brine, then tap it.

    No sugar, cold. Packing is mass over crystal density and volume of the bed, the mean
    of loose and tapped; see :func:`castsugar.kitchen.packing.packing_of_bed`.

    Parameters
    ----------
    mass : float
        Of the dry salt. [kg]
    loose, tapped : float
        Volumes of the bed, of several runs their means. [m3]
    temperature : float
        Of brine and room, 5 to 35 C. [K]
    runs : int
        How often it was done.
    salt : str
        A key of :data:`SALTS`.
    label : str

    Returns
    -------
    Measurement
        For :func:`castsugar.kitchen.calibrate`.

    Raises
    ------
    InputError
        A mass that is not above 0, a bed that tapping makes larger, a packing that no
        grains have, a temperature outside 5 to 35 C, an unknown salt.

    Notes
    -----
    Valid from 5 to 35 C. Source: mass balance; crystal densities of the catalogue.

    Examples
    --------
    >>> bed = brine(mass=0.060, loose=52e-6, tapped=46e-6, temperature=293.15)
    >>> bed.kind
    'brine'
    """
    density = salt_density(salt)
    positive(mass, "mass of the salt", "kg")
    positive(loose, "volume of the loose bed", "m3")
    positive(tapped, "volume of the tapped bed", "m3")
    shown = temperature - ICE_POINT
    if not 5.0 <= shown <= WARMEST_BRINE - ICE_POINT:
        raise InputError(
            f"the brine has {shown:g} C; allowed are 5 to "
            f"{WARMEST_BRINE - ICE_POINT:g} C: let it stand 12 h in the room where "
            "you measure, or salt dissolves or grows while it settles"
        )
    if tapped > loose:
        raise InputError(
            f"the tapped bed has {1e6 * tapped:g} ml, the loose one {1e6 * loose:g} "
            "ml; tapping cannot loosen it: are the two exchanged?"
        )
    if not 1 <= runs <= _MOST_RUNS:
        raise InputError(f"runs is {runs:g}; allowed are 1 to {_MOST_RUNS}")
    low, high = (mass / (density * volume) for volume in (loose, tapped))
    if not _BED[0] <= low <= high <= _BED[1]:
        raise InputError(
            f"{1e3 * mass:g} g in {1e6 * tapped:g} to {1e6 * loose:g} ml are a packing "
            f"of {high:.2f} to {low:.2f}; allowed are {_BED[0]:g} to {_BED[1]:g}: "
            "check mass and volumes, no air, no grains left in the rinse"
        )
    found, spread = packing_of_bed(low, high, runs)
    return Measurement(
        kind="brine",
        quantity="packing of the wet grains",
        unit="",
        observed=found,
        spread=spread,
        inverse=float,
        predict=lambda values: values.packing,
        label=label,
        tapped=high / found,
    )


def clear_point(  # noqa: PLR0913 - keyword-only options
    liquid_: MixLike,
    *,
    mass: float,
    added: float,
    portion: float,
    temperature: float,
    lost: float = 0.0,
    label: str = "",
) -> Measurement:
    """Stir fine nitrate into a syrup on a water bath until it stays.

    What dissolved per water, over what pure water takes, is the share of nitrate that
    dissolves there. From the sugars per water of that liquid to those of a pour
    (:data:`POUR_SUGARS`) its logarithm goes by `nitrate_trend` of the parameters, which
    two liquids tell, and is then off by `nitrate_carried`, which nothing tells.

    Parameters
    ----------
    liquid_ : Mix, recipe or recipe text
        Syrup, sugar and water; all of the sugar dissolves.
    mass, added, portion : float
        Of the liquid, of the nitrate and of its last portion, half of which counts.
        [kg]
    temperature : float
        Of the liquid, 60 to 90 C. [K]
    lost : float
        Water that left until the end. [kg]
    label : str

    Returns
    -------
    Measurement
        For :func:`castsugar.kitchen.calibrate`.

    Raises
    ------
    InputError
        A mass that is not above 0, a bath outside 60 to 90 C, a portion larger than the
        whole, a liquid that is not syrup, sugar and water, masses that no water could
        dissolve.
    RefusedError
        For a liquid that is out of scope.

    Notes
    -----
    Valid from 60 to 90 C, in sucrose and syrup. Source: mass balance.

    Examples
    --------
    >>> found = clear_point(
    ...     "sucrose:40 corn syrup:40 water:20",
    ...     mass=0.100,
    ...     added=0.030,
    ...     portion=0.002,
    ...     temperature=348.15,
    ... )
    >>> found.kind
    'clear point'
    """
    _check_bath(temperature)
    for value, what in ((mass, "mass of the liquid"), (added, "nitrate added")):
        positive(value, what, "kg")
    if not 0.0 < portion <= added:
        raise InputError(
            f"the last portion is {1e3 * portion:g} g of {1e3 * added:g} g of nitrate; "
            "it must lie above 0 and not above the whole"
        )
    pot = _clear_liquid(liquid_, temperature)
    middle = unmeasured().central()
    held = mass * float(water_at_start(pot, middle)[0])
    if not 0.0 <= lost < 0.5 * held:
        raise InputError(
            f"{1e3 * lost:g} g of {1e3 * held:.3g} g of water are lost; allowed is "
            "less than half: keep the lid on, and weigh again"
        )
    full = (held - lost) * float(solubility.salt_solubility(temperature))
    share = (added - 0.5 * portion) / full
    if share > MOST_DISSOLVED:
        raise InputError(
            f"{1e3 * added:g} g of nitrate are {share:.2g} of what the water of this "
            f"liquid takes; allowed is up to {MOST_DISSOLVED:g}: check the masses, and "
            "the water of the syrup"
        )

    def predict(values: Values) -> FloatArray:
        water = mass * water_at_start(pot, values)[0] - lost
        sugars = (mass - lost - water) / water
        carried = values.nitrate_carried
        carried = carried + values.nitrate_trend * (sugars - POUR_SUGARS)
        return np.log(values.nitrate_dissolved * water / (held - lost)) + carried

    return Measurement(
        kind="clear point",
        quantity="nitrate dissolved, share of what pure water takes",
        unit="",
        observed=math.log(share),
        spread=math.hypot(CLEAR, portion / (math.sqrt(12.0) * added)),
        inverse=math.exp,
        predict=predict,
        label=label,
    )


def _check_bath(temperature: float) -> None:
    """Refuse a bath that is too hot for sugar with nitrate, or too cold to tell."""
    low, high = (limit - ICE_POINT for limit in BATH)
    shown = temperature - ICE_POINT
    if shown > high:
        raise RefusedError(
            f"the liquid has {shown:g} C; a clear point is taken up to {high:g} C on a "
            "water bath: above it the water boils away, and sugar with nitrate is "
            "never heated further for a test"
        )
    if shown < low:
        raise InputError(
            f"the liquid has {shown:g} C; allowed are {low:g} to {high:g} C: colder it "
            "is too thick to clear"
        )


def _clear_liquid(given: MixLike, temperature: float) -> Pot:
    """Return the liquid of a clear point in a pot: all of its sugar dissolves."""
    mix = as_mix(given)
    pot = known_pot(mix, Kitchen(cook=Cook.hold(392.15, 60.0)))
    if pot.nitrate[0] > 0.0 or pot.grains[0] > 0.0 or not pot.plain:
        raise InputError(
            f"{mix.name!r} is no liquid of a clear point: allowed are syrup, sugar and "
            "water; the nitrate is what you add"
        )
    if not pot.syrup[0] > 0.0:
        raise RefusedError(
            f"{mix.name!r} holds no syrup: without it the liquid may dry to sugar and "
            "nitrate that nobody should heat; take plain syrup (A), or 10 syrup to 4 "
            "sugar (B)"
        )
    values = unmeasured().central()
    start = water_at_start(pot, values)
    limit = solubility.sucrose_solubility(temperature)
    solids = 1.0 - start - pot.sucrose
    if takes(start, solids, limit, values.solubility_loss)[0] < pot.sucrose[0]:
        raise InputError(
            f"{mix.name!r}: its sugar does not dissolve at "
            f"{temperature - ICE_POINT:g} C; take more syrup or water"
        )
    return pot


def known_pot(given: MixLike, kitchen: Kitchen) -> Pot:
    """Return the pot of a mix that has a model."""
    mix = as_mix(given)
    pot = pot_of(mix, kitchen)
    if pot.gap[0]:
        raise InputError(f"{mix.name!r}: {pot.gap[0]}; nothing can be learnt from it")
    return pot


def salt_density(name: str) -> float:
    """Return the crystal density of a salt by name."""
    if name not in SALTS:
        raise InputError(f"salt is {name!r}; allowed: {', '.join(SALTS)}")
    return SALTS[name]


def positive(value: float, what: str, unit: str) -> None:
    """Refuse what must be above 0."""
    if not (math.isfinite(value) and value > 0.0):
        raise InputError(f"{what} is {value:g} {unit}; it must be above 0")


#: Standard uncertainty of a thermometer that was read in boiling water, carried to the
#: heat of a pour and from water to a mix [K]; common practice, no source. It boils
#: within so much of its reading, or it is no thermometer of the bulk [K].
IN_BOILING_WATER, MOST_OFF = 1.2, 10.0


def boiling_water(
    *, reading: float, air_pressure: float = STANDARD_ATMOSPHERE, label: str = ""
) -> Measurement:
    """Read the thermometer, or the dial of the plate, in boiling water.

    Plain water boils where its vapour pressure is that of the air: what is missing to
    that is what the thermometer, or the dial, is off.

    Parameters
    ----------
    reading : float
        [K]
    air_pressure : float
        [Pa]
    label : str

    Returns
    -------
    Measurement
        For :func:`castsugar.kitchen.calibrate`.

    Raises
    ------
    InputError
        More than 10 K off.

    Notes
    -----
    Valid within 10 K of the true boiling point. Source: Antoine's equation of
    water, standard tables, from memory.

    Examples
    --------
    >>> boiling_water(reading=372.65, air_pressure=100e3).kind
    'boiling water'
    """
    boils = float(boiling_temperature(0.0, air_pressure))
    off = boils - number(reading, "reading", "K")
    if abs(off) > MOST_OFF:
        raise InputError(
            f"the reading is {reading - ICE_POINT:g} C, water boils at "
            f"{boils - ICE_POINT:.4g} C under {air_pressure / 1e3:.4g} kPa; allowed "
            f"are {MOST_OFF:g} K off: does it boil, is the altitude in [kitchen] right?"
        )
    return Measurement(
        kind="boiling water",
        quantity="thermometer off",
        unit="K",
        observed=off,
        spread=IN_BOILING_WATER,
        inverse=float,
        predict=lambda values: values.thermometer,
        label=label,
    )
