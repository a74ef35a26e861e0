"""What fixes the pressure along an isentrope: a value, the throat, a saturation."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from castsugar.arrays import FloatArray, IntArray
from castsugar.constants import GAS_CONSTANT
from castsugar.thermo.gibbs import linear
from castsugar.thermo.gibbs.iterate import Iterate
from castsugar.thermo.gibbs.linear import Moments
from castsugar.thermo.gibbs.model import Model
from castsugar.thermo.gibbs.target import Progress, Target

#: Largest change of ln p in one step towards a given pressure.
MOST_LOG_P = 4.0

#: Largest change of ln p in one step towards a throat or a saturation.
MOST_SONIC = 0.6


@dataclass(slots=True, eq=False)
class Move:
    """A Newton step at an iterate, and the response to ln p at constant entropy."""

    work: Iterate
    m: Moments
    energy: FloatArray  # residual of the energy row
    step: FloatArray  # (n, size)
    response: FloatArray  # (n, size)

    @property
    def elements(self) -> int:
        """Number of elements, the first entries of a step."""
        return int(self.m.atoms.shape[1])


def along_isentrope(
    model: Model, target: Target, progress: Progress, move: Move
) -> tuple[FloatArray, FloatArray]:
    """Return the whole step, change of pressure included, and the change of ln p."""
    if target.closing is None:
        raise ValueError("a closure needs a value to reach")
    if target.closure == "pressure":
        wanted = target.closing - move.work.log_pressure
        log_p = np.clip(wanted, -MOST_LOG_P, MOST_LOG_P)
    elif target.closure == "saturation":
        log_p = _to_saturation(model, target.closing.astype(np.intp), move)
    else:
        log_p = _to_throat(target.closing, progress, move)
    return move.step + log_p[:, None] * _bent(move, log_p), log_p


def sonic_excess(
    work: Iterate,
    m: Moments,
    energy: FloatArray,
    chamber: FloatArray,
    gamma: FloatArray,
) -> FloatArray:
    """Return u2 - a2, with the enthalpy corrected for the unconverged entropy.

    With the raw enthalpy of an unconverged state the formation enthalpies would swamp
    u2; H + RT r is what it will be when the entropy is met. [J/kg]
    """
    scale = GAS_CONSTANT * work.temperature
    enthalpy = scale * (m.enthalpy(work) + energy)
    return 2.0 * (chamber - enthalpy) - gamma * linear.gas_energy(work, m)


def _to_throat(chamber: FloatArray, progress: Progress, move: Move) -> FloatArray:
    """Return the change of ln p that makes the velocity the sound speed.

    The slope of u2 - a2 is that of a constant exponent at first, then the secant.
    """
    work, m = move.work, move.m
    gamma = linear.exponent(move.response, move.elements)
    excess = sonic_excess(work, m, move.energy, chamber, gamma)
    slope = -(gamma + 1.0) * linear.gas_energy(work, m)
    with np.errstate(invalid="ignore", divide="ignore"):
        moved = work.log_pressure - progress.log_pressure
        secant = (excess - progress.excess) / moved
        ratio = secant / slope
        size = np.abs(move.step[:, : move.elements + 2]).max(axis=1)
        close = (size < 1e-3) & (moved != 0.0)
    use = close & (ratio > 0.4) & (ratio < 2.5)
    slope = np.where(use, secant, slope)
    progress.excess[:] = np.where(close | np.isnan(progress.excess), excess, np.nan)
    progress.log_pressure[:] = work.log_pressure
    return np.clip(-excess / slope, -MOST_SONIC, MOST_SONIC)


def _to_saturation(model: Model, phase: IntArray, move: Move) -> FloatArray:
    """Return the change of ln p at which an absent phase is just saturated."""
    rows = np.arange(len(phase))
    atoms, h = model.phase_atoms[phase], move.m.phase.h[rows, phase]

    def change(side: FloatArray) -> FloatArray:
        total: FloatArray = (atoms * side[:, : move.elements]).sum(axis=1)
        return total + h * side[:, move.elements + 1]

    left = move.m.affinity[rows, phase] - change(move.step)
    with np.errstate(divide="ignore", invalid="ignore"):  # a row that is lost
        wanted = left / change(move.response)
    return np.clip(wanted, -MOST_SONIC, MOST_SONIC)


def _bent(move: Move, log_p: FloatArray) -> FloatArray:
    """Return the response to ln p with the potentials bent for a long step.

    Potentials over RT go with 1/T rather than with ln T; following 1/T makes a long
    step down an isentrope land closer.
    """
    x = -log_p * move.response[:, move.elements + 1]
    small = np.abs(x) < 1e-4
    safe = np.where(small, 1.0, x)
    factor = np.where(small, 1.0 + 0.5 * x, np.expm1(safe) / safe)
    bent = move.response.copy()
    bent[:, : move.elements] *= np.clip(factor, 0.5, 2.0)[:, None]
    return bent
