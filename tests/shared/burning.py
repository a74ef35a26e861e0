"""Burn rates that are known to the last digit, or hardly at all."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache

import numpy as np

import castsugar as cs
from castsugar.motor.burn_evidence import Burned, published
from castsugar.motor.burn_law import borrowed_law
from castsugar.motor.burn_model import BurnModel
from castsugar.motor.burn_widths import NAMES, Widths
from castsugar.motor.scatter import Scatter

PARTS = {"potassium nitrate": 0.6, "powdered sugar": 0.2, "light corn syrup": 0.2}

#: Least scatter that may be stated; strands are motors.
CALM = Scatter(strands_to_motor=0.0, strands_to_motor_u=0.005, firing=0.005)


def held(**widths: float) -> Widths:
    """Return one point of widths: next to nothing, but for those given."""
    usual = dict.fromkeys(NAMES, 1e-4) | {"length": 0.06, "slope": 2.2}
    return Widths(**{n: np.array([v]) for n, v in (usual | widths).items()})


def strands(
    rate: float, exponent: float, parts: Mapping[str, float] = PARTS, name: str = "own"
) -> Burned:
    """Return five strands that lie on a power law; `rate` at 1 MPa. [m/s]"""
    pressure = np.array([1e5, 5e5, 1e6, 3e6, 1e7])
    return Burned(
        name=name,
        fractions=parts,
        batch=name,
        pressure=pressure,
        rate=rate * (pressure / 1e6) ** exponent,
    )


@cache
def sure(rate: float, exponent: float, batch: float = 1e-4) -> BurnModel:
    """Return a model in which 60/20/20 burns by a power law, and that is certain."""
    return BurnModel([strands(rate, exponent)], CALM, held(batch=batch))


@cache
def borrowed(name: str = "Sucrose 65/35") -> BurnModel:
    """Return what a published law of dry sucrose tells, and nothing else."""
    law = borrowed_law(cs.load_database(), name)
    return BurnModel([published(law, {"potassium nitrate": 0.65, "sucrose": 0.35})])
