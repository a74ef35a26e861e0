"""The thermometer, or the dial of a plate, against boiling water."""

from __future__ import annotations

from castsugar.checks import number
from castsugar.constants import STANDARD_ATMOSPHERE
from castsugar.errors import InputError
from castsugar.kitchen.measurements import Measurement
from castsugar.kitchen.validity import ICE_POINT
from castsugar.kitchen.water import boiling_temperature

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
