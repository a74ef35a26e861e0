"""Kitchen measurements in terms of mixes and syrups, one call each.

Each returns a :class:`castsugar.kitchen.measurements.Measurement`; give them, in the
order in which they were made, to :func:`calibrate`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from castsugar.constants import STANDARD_ATMOSPHERE
from castsugar.errors import InputError
from castsugar.kitchen import measurements, slurry, viscometry
from castsugar.kitchen.calibration import Calibration
from castsugar.kitchen.calibration import calibrate as _calibrate
from castsugar.kitchen.cook import Cook
from castsugar.kitchen.measurements import Measurement
from castsugar.kitchen.pot import Pot, poured
from castsugar.kitchen.settings import Kitchen
from castsugar.kitchen.viscometry import STEEL
from castsugar.mix.mix import Mix, MixLike, as_mix
from castsugar.potting import pot_of

#: Crystal densities of what may stand in for the oxidizer. [kg/m3]
SALTS = {
    "potassium nitrate": slurry.NITRATE,
    "potassium chloride": slurry.CHLORIDE,
}

#: Quantiles of the viscosity that a band shows.
BAND = (0.05, 0.1, 0.5, 0.9, 0.95)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Learnt:
    """What measurements changed.

    Attributes
    ----------
    kitchen : Kitchen
        With the new belief.
    calibration : Calibration
        What each measurement said; those that contradict were set aside.
    """

    kitchen: Kitchen
    calibration: Calibration


def calibrate(kitchen: Kitchen, measured: Sequence[Measurement]) -> Learnt:
    """Return the kitchen with what measurements teach about its parameters.

    Parameters
    ----------
    kitchen : Kitchen
        With what was believed before.
    measured : sequence of Measurement
        In the order in which they were made.

    Raises
    ------
    InputError
        If the model expects a mix to jam that was seen to flow.
    ConvergenceError

    Examples
    --------
    >>> kitchen = Kitchen(cook=Cook.hold(392.15, 480.0))
    >>> powder = bulk_density(mass=0.063, volume=50e-6)
    >>> after = calibrate(kitchen, [powder]).kitchen
    >>> round(float(after.belief.central().packing), 3)
    0.606
    """
    found = _calibrate(kitchen.belief, measured)
    return Learnt(kitchen=kitchen.changed(belief=found.after), calibration=found)


def viscosity_band(kitchen: Kitchen, mix: MixLike) -> tuple[float, ...]:
    """Return the quantiles :data:`BAND` of the pour viscosity of one mix. [Pa s]

    Raises
    ------
    InputError
        For a mix without a kitchen model.
    """
    pot = _known(mix, kitchen)
    belief = kitchen.belief
    if not pot.measured_syrup[0]:
        belief = belief.of_another_syrup()
    values = belief.draw(kitchen.draws, kitchen.seed)
    eta = np.sort(poured(pot, values, kitchen.cook, kitchen.air_pressure)[0][0])
    return tuple(float(eta[round(q * (eta.size - 1))]) for q in BAND)


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
    """Weigh the pan with the mix before and after the cook; tells the drying time.

    Parameters
    ----------
    mix : Mix, recipe or recipe text
    cook : Cook
    batch, lost : float
        Mass of the mix, and the mass that left. [kg]
    scale : float
        Standard uncertainty of one weighing. [kg]
    air_pressure : float
        [Pa]
    label : str

    Raises
    ------
    InputError
    """
    pot = _known(mix, Kitchen(cook=cook, air_pressure=air_pressure))
    return measurements.pan_weight(
        pot,
        cook,
        batch=batch,
        lost=lost,
        air_pressure=air_pressure,
        scale=scale,
        label=label,
    )


def bulk_density(
    *,
    mass: float,
    volume: float,
    salt: str = "potassium nitrate",
    label: str = "",
) -> Measurement:
    """Weigh a measured volume of tapped powder; tells the maximum packing.

    Parameters
    ----------
    mass, volume : float
        [kg], [m3]
    salt : str
        A key of :data:`SALTS`.
    label : str

    Raises
    ------
    InputError, ValidityError
    """
    return measurements.bulk_density(
        mass=mass, volume=volume, crystal_density=_salt(salt), label=label
    )


def ball_fall(  # noqa: PLR0913 - keyword-only options
    syrup: str = "corn syrup",
    *,
    ball: float,
    cup: float,
    fall: float,
    time: float,
    temperature: float,
    ball_density: float = STEEL,
    label: str = "",
) -> Measurement:
    """Time a ball in the plain, cold syrup; tells its solids and grade together.

    Parameters
    ----------
    syrup : str
        Name of the catalogue.
    ball, cup : float
        Diameters. [m]
    fall, time : float
        [m], [s]
    temperature : float
        Of the syrup. [K]
    ball_density : float
        [kg/m3]
    label : str

    Raises
    ------
    InputError, ValidityError, UnknownNameError
    """
    mix = Mix.weigh({syrup: 1.0})
    if not mix.syrups:
        raise InputError(f"{syrup!r} is no syrup; see castsugar ingredients")
    return viscometry.ball_fall(
        pot_of(mix),
        ball=ball,
        cup=cup,
        fall=fall,
        time=time,
        temperature=temperature,
        ball_density=ball_density,
        label=label,
    )


def flow_out(  # noqa: PLR0913 - keyword-only options
    mix: MixLike,
    cook: Cook,
    *,
    tube_diameter: float,
    tube_length: float,
    head: float,
    volume: float,
    time: float,
    salt: str = "potassium nitrate",
    air_pressure: float = STANDARD_ATMOSPHERE,
    label: str = "",
) -> Measurement:
    """Time hot mix that runs out of a cup; tells the mix's viscosity itself.

    Do it first without oxidizer: weigh the same volume of ground potassium chloride
    (0.943 of the mass) in place of the nitrate, and say so by `salt`, or name it in the
    mix.

    Parameters
    ----------
    mix : Mix, recipe or recipe text
        With nitrate, also if chloride stood in for it.
    cook : Cook
        It runs out at the last temperature.
    tube_diameter, tube_length, head : float
        The head is the mean height of the mix above the outlet. [m]
    volume, time : float
        What ran out [m3], and how long it took [s].
    salt : str
        A key of :data:`SALTS`.
    air_pressure : float
        [Pa]
    label : str

    Raises
    ------
    InputError
    """
    mix = as_mix(mix)
    pot = _known(mix, Kitchen(cook=cook, air_pressure=air_pressure))
    return viscometry.flow_out(
        pot.as_dummy() if _salt(salt) == slurry.CHLORIDE else pot,
        cook,
        radius=0.5 * tube_diameter,
        length=tube_length,
        head=head,
        volume=volume,
        time=time,
        density=mix.density,
        air_pressure=air_pressure,
        label=label,
    )


def _salt(name: str) -> float:
    """Return the crystal density of a salt by name."""
    if name not in SALTS:
        raise InputError(f"salt is {name!r}; allowed: {', '.join(SALTS)}")
    return SALTS[name]


def _known(given: MixLike, kitchen: Kitchen) -> Pot:
    """Return the pot of a mix that has a model."""
    mix = as_mix(given)
    pot = pot_of(mix, kitchen)
    if pot.gap[0]:
        raise InputError(f"{mix.name!r}: {pot.gap[0]}; nothing can be learnt from it")
    return pot
