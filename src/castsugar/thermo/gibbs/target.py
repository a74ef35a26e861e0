"""What is prescribed beside the elements, and what a row remembers on its way."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from castsugar.arrays import BoolArray, FloatArray, IntArray
from castsugar.constants import GAS_CONSTANT
from castsugar.thermo.gibbs.iterate import Iterate
from castsugar.thermo.gibbs.linear import Moments


@dataclass(slots=True, eq=False)
class Target:
    """What is prescribed beside the elements.

    Attributes
    ----------
    kind : str
        ``"temperature"`` (held at the start value), ``"enthalpy"`` or ``"entropy"``.
    value : ndarray, shape (n,)
        H0 [J/kg] or S0 [J/(kg K)]; unused at given temperature.
    closure : str
        What fixes the pressure along an isentrope: ``""`` (it is held),
        ``"pressure"``, ``"sonic"`` or ``"saturation"``.
    closing : ndarray, shape (n,)
        ln(p/p0) to be reached; the chamber enthalpy [J/kg]; or the index of the absent
        phase that is just about to form.
    floor : float
        Temperature below which a row is given up. [K]
    """

    kind: str
    value: FloatArray
    closure: str = ""
    closing: FloatArray | None = None
    floor: float = 0.0

    def take(self, rows: IntArray | BoolArray) -> Target:
        """Return some of the rows."""
        closing = None if self.closing is None else self.closing[rows]
        return Target(self.kind, self.value[rows], self.closure, closing, self.floor)


@dataclass(slots=True, eq=False)
class Progress:
    """What a row remembers from step to step."""

    returns: FloatArray  # (n, phases)
    swapped: BoolArray
    excess: FloatArray  # last u2 - a2
    log_pressure: FloatArray  # where it was

    def take(self, rows: IntArray | BoolArray) -> Progress:
        """Return some of the rows."""
        return Progress(
            self.returns[rows],
            self.swapped[rows],
            self.excess[rows],
            self.log_pressure[rows],
        )


def energy_residual(work: Iterate, m: Moments, target: Target) -> FloatArray:
    """Return r of the energy row: what enthalpy or entropy lacks; 0 where neither.

    In moles per kilogram: (H0 - H)/RT, or (S0 - S)/R + pi.E.
    """
    if target.kind == "enthalpy":
        lack = target.value / (GAS_CONSTANT * work.temperature) - m.enthalpy(work)
    elif target.kind == "entropy":
        lack = target.value / GAS_CONSTANT - m.entropy(work)
        lack = lack + (work.potentials * m.lack).sum(axis=1)
    else:
        lack = np.zeros(work.count)
    return lack
