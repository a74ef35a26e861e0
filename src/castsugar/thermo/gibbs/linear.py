r"""Residuals of the equilibrium conditions and the bordered matrix of a Newton step.

With y_j = softmax(phi_j), phi_j = a_j.pi - g_j - ln(p/p0), gas amounts n_j = N y_j and
condensed amounts n_c, the conditions are

    elements   E_i = b_i - N<a_i> - sum_c a_ic n_c                  = 0
    gas        f   = ln sum_j exp(phi_j)                            = 0
    phases     s_c = g_c - a_c.pi          (each present phase)     = 0
    energy     (H0 - H)/RT = 0   or   entropy   (S0 - S)/R = 0

Their linearisation, with the gas row used to eliminate the change of the mean, is one
symmetric matrix for given enthalpy and given entropy (dH = T dS + sum mu db):

    [ N<aa'>   N<a>    N<ah>                             A_c ] [d pi  ]   [E - N<a> f ]
    [ N<a>'     0      N<h>                               0  ] [d ln N] = [-N f       ]
    [ N<ah>'  N<h>   N<h2> + N<cp> + sum n_c cp_c        h_c'] [d ln T]   [r - N<h> f ]
    [ A_c'      0      h_c                                0  ] [d n_c ]   [s_c        ]

with r = (H0 - H)/RT, or r = (S0 - S)/R + pi.E. At given temperature its row and column
are those of the unit matrix. A change of ln p at constant entropy has the right-hand
side (N<a>, N, N<h> + N, 0): with it come the isentropic exponent and the throat.
"""

from __future__ import annotations

import numpy as np

from castsugar.arrays import FloatArray, IntArray
from castsugar.constants import GAS_CONSTANT
from castsugar.frozen import dataclass
from castsugar.thermo import fits
from castsugar.thermo.gibbs.model import Batch, Functions, Iterate, Model


@dataclass(slots=True, eq=False)
class Moments:
    """Sums over species at an iterate, all that a step and a state need."""

    fractions: FloatArray  # (n, gases): y
    excess: FloatArray  # (n,): f
    moles: FloatArray  # (n,): N
    atoms: FloatArray  # (n, elements): <a>
    pairs: FloatArray  # (n, elements squared): <a_i a_k>
    h: FloatArray  # (n,): <h>
    atoms_h: FloatArray  # (n, elements): <a h>
    heat: FloatArray  # (n,): <h2> + <cp>
    phase: Functions  # (n, phases)
    lack: FloatArray  # (n, elements): E
    affinity: FloatArray  # (n, phases): g_c - a_c.pi

    def enthalpy(self, iterate: Iterate) -> FloatArray:
        """Return H/RT of the iterate. [mol/kg]"""
        condensed = (iterate.amounts * self.phase.h).sum(axis=1)
        return self.moles * self.h + condensed

    def entropy(self, iterate: Iterate) -> FloatArray:
        """Return S/R of the iterate. [mol/kg]"""
        gas = self.moles * (self.h + self.excess)
        mean = self.moles * (iterate.potentials * self.atoms).sum(axis=1)
        condensed = (iterate.amounts * (self.phase.h - self.phase.g)).sum(axis=1)
        return gas - mean + condensed


#: Species below exp(-KEPT) of the largest are left out of the sums: they could not
#: change a double.
KEPT = 40.0


def moments(
    model: Model, batch: Batch, iterate: Iterate, *, every: bool = False
) -> Moments:
    """Evaluate all sums at an iterate.

    Species too rare to change a sum are left out of `fractions` unless `every` is set.
    """
    t = iterate.temperature
    basis = fits.basis(t)
    phi = model.exponents(basis, t, iterate.potentials)
    top = phi.max(axis=1)
    phi -= top[:, None]
    if every:
        kept = np.arange(phi.shape[1])
    else:
        # Not "> -KEPT": a row that is lost (NaN) must not take species from the others.
        kept = np.flatnonzero(~(phi.max(axis=0) <= -KEPT))
        phi = phi.take(kept, axis=1)
        np.maximum(phi, -2.0 * KEPT, out=phi)  # subnormal numbers are slow
    y = np.exp(phi, out=phi)
    total = y.sum(axis=1)
    y /= total[:, None]
    with np.errstate(divide="ignore"):
        log_total = np.log(total)
    h = model.enthalpies(basis, t, kept)
    y_h = y * h
    moles = iterate.moles
    gas_atoms = model.gas_atoms[kept]
    mean = y @ gas_atoms
    phase = blended(model, batch, model.phases(basis, t))
    condensed = iterate.amounts @ model.phase_atoms
    return Moments(
        fractions=y,
        excess=top + log_total - iterate.log_pressure,
        moles=moles,
        atoms=mean,
        pairs=y @ model.pairs[kept],
        h=y_h.sum(axis=1),
        atoms_h=y_h @ gas_atoms,
        heat=np.einsum("ij,ij->i", y_h, h) + model.heat_capacity(basis, t, kept, y),
        phase=phase,
        lack=batch.elements - moles[:, None] * mean - condensed,
        affinity=phase.g - iterate.potentials @ model.phase_atoms.T,
    )


def blended(model: Model, batch: Batch, phase: Functions) -> Functions:
    """Give the cold form of a held plateau the functions of the held blend."""
    for index in np.flatnonzero(~np.isnan(batch.solid_share).all(axis=0)):
        cold, hot, _ = model.transitions[index]
        share = batch.solid_share[:, index]
        rows = np.flatnonzero(~np.isnan(share))
        if rows.size:
            x = share[rows]
            for values in (phase.g, phase.h, phase.cp):
                mixed = x * values[rows, cold] + (1.0 - x) * values[rows, hot]
                values[rows, cold] = mixed
    return phase


@dataclass(slots=True, eq=False)
class System:
    """The bordered matrix of every row, with its present phases in slots."""

    matrix: FloatArray  # (n, size, size)
    slots: IntArray  # (n, slots): phase in each slot
    filled: FloatArray  # (n, slots): 1 where a slot holds a phase, else 0
    free_temperature: bool


def system(
    model: Model, iterate: Iterate, m: Moments, *, free_temperature: bool
) -> System:
    """Assemble the bordered matrix."""
    elements = model.gas_atoms.shape[1]
    slots, filled = _slots(iterate)
    rows = np.arange(iterate.count)[:, None]
    size = elements + 2 + slots.shape[1]
    matrix = np.zeros((iterate.count, size, size))
    scaled = m.moles[:, None] * m.pairs
    matrix[:, :elements, :elements] = scaled.reshape(-1, elements, elements)
    gas, heat = elements, elements + 1
    mean = m.moles[:, None] * m.atoms
    matrix[:, :elements, gas] = mean
    matrix[:, gas, :elements] = mean
    columns = model.phase_atoms[slots] * filled[:, :, None]
    matrix[:, elements + 2 :, :elements] = columns
    matrix[:, :elements, elements + 2 :] = columns.transpose(0, 2, 1)
    diagonal = np.arange(elements + 2, size)
    matrix[:, diagonal, diagonal] = 1.0 - filled
    if not free_temperature:
        matrix[:, heat, heat] = 1.0
        return System(matrix, slots, filled, free_temperature)
    mean_h = m.moles[:, None] * m.atoms_h
    matrix[:, :elements, heat] = mean_h
    matrix[:, heat, :elements] = mean_h
    matrix[:, gas, heat] = matrix[:, heat, gas] = m.moles * m.h
    condensed = (iterate.amounts * m.phase.cp).sum(axis=1)
    matrix[:, heat, heat] = m.moles * m.heat + condensed
    present_h = m.phase.h[rows, slots] * filled
    matrix[:, heat, elements + 2 :] = present_h
    matrix[:, elements + 2 :, heat] = present_h
    return System(matrix, slots, filled, free_temperature)


def _slots(iterate: Iterate) -> tuple[IntArray, FloatArray]:
    """Return the present phases of every row, left-aligned in slots."""
    count = iterate.active.sum(axis=1)
    width = int(count.max(initial=0))
    filled = np.arange(width) < count[:, None]
    slots = np.zeros(filled.shape, dtype=np.intp)
    slots[filled] = np.nonzero(iterate.active)[1]
    return slots, filled.astype(float)


def residual(iterate: Iterate, m: Moments, s: System, energy: FloatArray) -> FloatArray:
    """Return the right-hand side of a Newton step, shape (n, size)."""
    elements = m.atoms.shape[1]
    right = np.zeros(s.matrix.shape[:2])
    total_f = m.moles * m.excess
    right[:, :elements] = m.lack - total_f[:, None] * m.atoms
    right[:, elements] = -total_f
    if s.free_temperature:
        right[:, elements + 1] = energy - total_f * m.h
    rows = np.arange(iterate.count)[:, None]
    right[:, elements + 2 :] = m.affinity[rows, s.slots] * s.filled
    return right


def pressure_response(m: Moments, s: System) -> FloatArray:
    """Return the right-hand side of a unit change of ln p at constant entropy."""
    elements = m.atoms.shape[1]
    right = np.zeros(s.matrix.shape[:2])
    right[:, :elements] = m.moles[:, None] * m.atoms
    right[:, elements] = m.moles
    right[:, elements + 1] = m.moles * m.h + m.moles
    return right


def solve(s: System, right: FloatArray) -> FloatArray:
    """Solve for one or more right-hand sides, shape (n, size, sides).

    A row whose matrix is singular gives NaN, which the iteration treats as a failure
    of that row alone.
    """
    try:
        return np.asarray(np.linalg.solve(s.matrix, right), dtype=float)
    except np.linalg.LinAlgError:
        out = np.full_like(right, np.nan)
        for i in range(len(right)):
            try:
                out[i] = np.linalg.solve(s.matrix[i], right[i])
            except np.linalg.LinAlgError:
                continue
        return out


def exponent(response: FloatArray, elements: int) -> FloatArray:
    """Return the isentropic exponent from the response to ln p at constant entropy.

    gamma = -1 / (d ln v / d ln p), ln v = ln N + ln T - ln p.
    """
    return -1.0 / (response[:, elements] + response[:, elements + 1] - 1)


def gas_energy(iterate: Iterate, m: Moments) -> FloatArray:
    """Return p v = N R T. [J/kg]"""
    return m.moles * GAS_CONSTANT * iterate.temperature
