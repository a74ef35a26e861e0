"""What can be measured in a kitchen, and what the model expects of it."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from castsugar.arrays import FloatArray
from castsugar.errors import InputError
from castsugar.kitchen import slurry
from castsugar.kitchen.belief import unmeasured
from castsugar.kitchen.cook import Cook
from castsugar.kitchen.parameters import Values
from castsugar.kitchen.pot import Pot, water_at_start, water_left

#: Standard uncertainties beside the reading. Loss of water: share of it that spills or
#: sticks to the spoon. Packing: tapped powder against grains in syrup. Common practice,
#: no source.
LOSS_SHARE, PACKING = 0.05, 0.015

#: Times the expected water that a pan can lose: a syrup may be wetter than stated.
MOST_LOST = 1.5


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Measurement:
    """One measurement, on a scale on which its error is normal.

    Attributes
    ----------
    kind : str
        ``"pan weight"``, ``"bulk density"``, ``"ball fall"`` or ``"flow-out"``.
    quantity, unit : str
        What was found, and its SI unit.
    observed : float
        On the scale.
    spread : float
        Standard uncertainty on the scale, reading and model.
    inverse : callable
        From the scale to the quantity.
    predict : callable
        Of parameter values, single or arrays: the expectation on the scale.
    label : str
        How the user calls it; shown in reports.
    """

    kind: str
    quantity: str
    unit: str
    observed: float
    spread: float
    inverse: Callable[[float], float]
    predict: Callable[[Values], FloatArray]
    label: str = ""

    def physical(self, value: float) -> float:
        """Return a value of the scale in SI."""
        return self.inverse(value)


def pan_weight(  # noqa: PLR0913 - keyword-only options
    pot: Pot,
    cook: Cook,
    *,
    batch: float,
    lost: float,
    air_pressure: float,
    scale: float = 1e-4,
    label: str = "",
) -> Measurement:
    """Weigh the pan with the mix before and after the cook.

    The difference is the water that left: batch x water as weighed x share lost. It
    tells the drying time, and a little of the syrup's solids. The error of a loss L is
    the root of a^2 + (b L)^2, weighings and spills; on the scale asinh(b L / a) / b it
    is 1 everywhere.

    Parameters
    ----------
    pot : Pot
        One row: the recipe, its loss not stated.
    cook : Cook
    batch, lost : float
        Mass of the mix, and the mass that left. [kg]
    air_pressure : float
        [Pa]
    scale : float
        Standard uncertainty of one weighing. [kg]
    label : str

    Raises
    ------
    InputError
        If mass was gained, or more left than there was water.
    """
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
    crystal_density: float = slurry.NITRATE,
    label: str = "",
) -> Measurement:
    """Weigh a measured volume of tapped powder.

    Bulk density over crystal density is close to the maximum packing of the grains.
    Fill, tap about 200 times, strike off, weigh.

    Parameters
    ----------
    mass, volume : float
        [kg], [m3]
    crystal_density : float
        Of the powder's crystals. [kg/m3]
    label : str

    Raises
    ------
    InputError, ValidityError
    """
    positive(mass, "mass of the powder", "kg")
    positive(volume, "volume of the cup", "m3")
    observed = slurry.packing_of_powder(mass / volume, crystal_density)
    return Measurement(
        kind="bulk density",
        quantity="packing of the tapped powder",
        unit="",
        observed=observed,
        spread=PACKING,
        inverse=float,
        predict=lambda values: values.packing,
        label=label,
    )


def positive(value: float, what: str, unit: str) -> None:
    """Refuse what must be above 0."""
    if not (math.isfinite(value) and value > 0.0):
        raise InputError(f"{what} is {value:g} {unit}; it must be above 0")
