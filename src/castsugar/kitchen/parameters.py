"""The eight uncertain numbers of a kitchen: what is believed, and how firmly."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import expit, logit

from castsugar.arrays import FloatArray
from castsugar.errors import unknown_name


@dataclass(frozen=True, slots=True)
class Parameter:
    """One uncertain number.

    Attributes
    ----------
    name, label, unit : str
    scale : str
        On which it is normally distributed: ``"plain"``, ``"log"`` or ``"logit"``.
    middle : float
        Median before any measurement. [SI]
    spread : float
        Standard deviation on the scale: of ln x for ``"log"``.
    low, high : float
        Draws are held inside. [SI]
    origin : str
        Where middle and spread come from.
    """

    name: str
    label: str
    unit: str
    scale: str
    middle: float
    spread: float
    low: float
    high: float
    origin: str

    def inward(self, value: ArrayLike) -> FloatArray:
        """Return a value on the scale of the normal distribution."""
        x: FloatArray = np.asarray(value, dtype=float)
        if self.scale != "plain":
            x = np.asarray(np.log(x) if self.scale == "log" else logit(x), dtype=float)
        return x

    def outward(self, value: ArrayLike) -> FloatArray:
        """Return the physical value, held inside its limits."""
        x = np.asarray(value, dtype=float)
        if self.scale != "plain":
            x = np.exp(x) if self.scale == "log" else expit(x)
        return np.clip(x, self.low, self.high)


#: In the order of :class:`Values`. Middles and ranges from the processability study of
#: the project; "guess" is common practice, no source.
PARAMETERS: tuple[Parameter, ...] = (
    Parameter(
        "syrup_solids",
        "dry solids of the syrup, off the stated value",
        "standard uncertainties of the syrup",
        "plain",
        0.0,
        1.0,
        -5.0,
        5.0,
        "uncertainty of the syrup's row; 0.02 for a retail syrup",
    ),
    Parameter(
        "syrup_grade",
        "viscosity grade of the syrup, off the stated value",
        "DE",
        "plain",
        0.0,
        7.5,
        -35.0,
        35.0,
        "range 50-75 of retail syrups; +-0.2 decade of the grade factor",
    ),
    Parameter(
        "packing",
        "maximum packing of the grains",
        "",
        "plain",
        0.64,
        0.03,
        0.45,
        0.76,
        "ground crystals of mixed size, 0.60-0.70 (from memory)",
    ),
    Parameter(
        "nitrate_dissolved",
        "nitrate dissolved, share of what pure water takes",
        "",
        "logit",
        0.3,
        1.0,
        0.01,
        0.99,
        "guess, 0-0.8: the water is held by sugar",
    ),
    Parameter(
        "solubility_loss",
        "how much syrup hinders sucrose from dissolving",
        "",
        "log",
        0.2,
        0.4,
        1e-3,
        2.0,
        "guess, 0.1-0.35, from confectionery practice at 25 C (from memory)",
    ),
    Parameter(
        "drying_time",
        "drying time of the pan at 119 C",
        "s",
        "log",
        3000.0,
        0.55,
        100.0,
        1e6,
        "common practice, no source: little water leaves; range 1000-6000 s",
    ),
    Parameter(
        "liquid_factor",
        "viscosity over that of the model",
        "",
        "log",
        1.0,
        0.53,
        0.02,
        50.0,
        "factor 1.7: spread of three extrapolations at 89 % and 119 C",
    ),
    Parameter(
        "thermometer",
        "true bulk temperature less the reading",
        "K",
        "plain",
        0.0,
        2.0,
        -10.0,
        10.0,
        "common practice, no source",
    ),
)
NAMES = tuple(p.name for p in PARAMETERS)
PLACE = {name: i for i, name in enumerate(NAMES)}

#: Those that belong to one syrup; a mix with another syrup takes them unmeasured.
OF_SYRUP = ("syrup_solids", "syrup_grade")


@dataclass(frozen=True, slots=True, kw_only=True)
class Values:
    """One physical value, or an array of draws, of every parameter; see PARAMETERS."""

    syrup_solids: FloatArray
    syrup_grade: FloatArray
    packing: FloatArray
    nitrate_dissolved: FloatArray
    solubility_loss: FloatArray
    drying_time: FloatArray
    liquid_factor: FloatArray
    thermometer: FloatArray

    def changed(self, **values: Any) -> Values:
        """Return the same with some values replaced."""
        return replace(self, **values)


def values_of(inner: FloatArray) -> Values:
    """Return physical values of points on the scales of the normals.

    Parameters
    ----------
    inner : ndarray, shape (8,) or (draws, 8)
    """
    found = {p.name: p.outward(inner[..., i]) for i, p in enumerate(PARAMETERS)}
    return Values(**found)


def find(name: str) -> Parameter:
    """Return a parameter by name.

    Raises
    ------
    UnknownNameError
    """
    if name not in PLACE:
        raise unknown_name("kitchen parameter", name, NAMES)
    return PARAMETERS[PLACE[name]]
