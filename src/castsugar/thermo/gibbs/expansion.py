"""Along the isentrope of a chamber: a given pressure, sound speed, saturation."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from castsugar.arrays import BoolArray, FloatArray, IntArray
from castsugar.thermo.gibbs import linear, newton
from castsugar.thermo.gibbs.closure import sonic_excess
from castsugar.thermo.gibbs.iterate import Batch, Iterate
from castsugar.thermo.gibbs.model import Model
from castsugar.thermo.gibbs.newton import Outcome
from castsugar.thermo.gibbs.target import Target, energy_residual


@dataclass(slots=True, eq=False)
class Isentrope:
    """What is constant along the expansion of every mix, and what may form."""

    model: Model
    batch: Batch
    entropy: FloatArray  # [J/(kg K)]
    enthalpy: FloatArray  # of the chamber [J/kg]

    def take(self, rows: IntArray | BoolArray) -> Isentrope:
        """Return some of the rows."""
        return Isentrope(
            self.model, self.batch.take(rows), self.entropy[rows], self.enthalpy[rows]
        )

    def without(self, phase: int) -> Isentrope:
        """Return the same with one phase forbidden."""
        allowed = self.batch.allowed.copy()
        allowed[:, phase] = False
        return replace(self, batch=replace(self.batch, allowed=allowed))

    def holding(self, *phases: int) -> Isentrope:
        """Return the same with some phases present whatever their amounts."""
        held = self.batch.held.copy()
        held[:, list(phases)] = True
        return replace(self, batch=replace(self.batch, held=held))


def exits(
    isentrope: Isentrope, start: Iterate, log_pressure: FloatArray
) -> tuple[Iterate, Outcome]:
    """Follow the isentrope from `start` to ln(p/p0) of the exit."""
    iterate = start.take(np.arange(start.count))
    target = Target("entropy", isentrope.entropy, "pressure", log_pressure)
    outcome = newton.run(isentrope.model, isentrope.batch, iterate, target, limit=150)
    return iterate, outcome


def to_sound(isentrope: Isentrope, start: Iterate) -> tuple[Iterate, Outcome]:
    """Look for the point where the velocity is the sound speed."""
    iterate = start.take(np.arange(start.count))
    target = Target("entropy", isentrope.entropy, "sonic", isentrope.enthalpy)
    outcome = newton.run(isentrope.model, isentrope.batch, iterate, target)
    return iterate, outcome


def to_saturation(
    isentrope: Isentrope, start: Iterate, phase: int
) -> tuple[Iterate, BoolArray]:
    """Find the point at which an absent phase is just saturated."""
    iterate = start.take(np.arange(start.count))
    iterate.active[:, phase] = False
    iterate.amounts[:, phase] = 0.0
    closing = np.full(iterate.count, float(phase))
    target = Target("entropy", isentrope.entropy, "saturation", closing)
    outcome = newton.run(isentrope.model, isentrope.batch, iterate, target)
    return iterate, outcome.solved


def excess(isentrope: Isentrope, iterate: Iterate, *present: int) -> FloatArray:
    """Return u2 - a2 with the given phases taken as present."""
    here = iterate.take(np.arange(iterate.count))
    here.active[:, list(present)] = True
    m = linear.moments(isentrope.model, isentrope.batch, here)
    s = linear.system(isentrope.model, here, m, free_temperature=True)
    response = linear.solve(s, linear.pressure_response(m, s)[:, :, None])[:, :, 0]
    gamma = linear.exponent(response, m.atoms.shape[1])
    energy = energy_residual(here, m, Target("entropy", isentrope.entropy))
    return sonic_excess(here, m, energy, isentrope.enthalpy, gamma)
