r"""Analytic derivatives of temperature, c* and exit velocity.

With respect to the element amounts b_i and the enthalpy H of a kilogram of mix, at
fixed chamber and exit pressure; all from the matrices of the solved states with more
right-hand sides (implicit function theorem).

Chamber: the residuals change by e_i per b_i, and by 1/RT per H. Downstream the entropy
is that of the chamber,

.. math:: dS = (dH - R T_c \pi_c \cdot db) / T_c, \qquad
          dh = T dS + R T \pi \cdot db \quad (p\ \mathrm{fixed}),

so that the exit velocity needs no matrix: u du = dH - dh. At the throat the mass flux
G is stationary in the pressure, so that

.. math:: d \ln c^* = -d \ln G
        = (d \ln N + d \ln T)_p - (dH - dh_t) / u_t^2 .

At a throat pinned on the onset of a phase the flux is not stationary; the change of
its pressure, from the saturation of that phase, is added.
"""

from __future__ import annotations

import numpy as np

from castsugar.arrays import BoolArray, FloatArray, IntArray
from castsugar.constants import GAS_CONSTANT
from castsugar.frozen import dataclass
from castsugar.thermo.gibbs import linear
from castsugar.thermo.gibbs.linear import Moments, System
from castsugar.thermo.gibbs.model import Batch, Iterate, TableModel
from castsugar.thermo.gibbs.solution import Flow, Solved

#: A phase with an affinity below this (in RT) is the one a throat is pinned on.
_SATURATED = 1e-7


@dataclass(slots=True, eq=False)
class Derivatives:
    """Derivatives of solved rows, (n, elements + 1): b_i [mol/kg], then H [J/kg]."""

    rows: IntArray  # rows of the batch they belong to
    temperature: FloatArray  # of the chamber [K per mol/kg, K per J/kg]
    #: [m/s per mol/kg, m/s per J/kg]; NaN where only the chamber was solved, and where
    #: a flow without solidification starts on a melting plateau (its solid share would
    #: have to be differentiated too).
    characteristic_velocity: FloatArray
    exit_velocity: FloatArray


def derivatives(model: TableModel, flow: Flow) -> Derivatives:
    """Differentiate a flow that was just solved.

    Parameters
    ----------
    flow : Flow
        With its iterates (of one batch), equilibrium or without solidification.
    """
    solved = flow.solved
    if solved is None:
        none = np.zeros((0, model.gas_atoms.shape[1] + 1))
        return Derivatives(np.zeros(0, np.intp), none, none, none)
    chamber = _Station(model, solved.batch, solved.chamber)
    d_log_t = chamber.respond(*_chamber_sides(chamber))[1]
    temperature = chamber.temperature[:, None] * d_log_t
    nothing = np.full_like(temperature, np.nan)
    result = Derivatives(solved.rows, temperature, nothing, nothing.copy())
    if np.isnan(flow.throat.temperature[solved.rows]).all():
        return result
    d_enthalpy = np.zeros_like(temperature)
    d_enthalpy[:, -1] = 1.0
    d_entropy = (d_enthalpy - chamber.work_of_elements()) / chamber.temperature[:, None]
    _throat(model, flow, solved, result, d_enthalpy, d_entropy)
    _exit(model, flow, solved, result, d_enthalpy, d_entropy)
    held = ~np.isnan(solved.downstream.solid_share).all(axis=1)
    result.characteristic_velocity[held] = np.nan
    result.exit_velocity[held] = np.nan
    return result


class _Station:
    """A solved station with its moments and matrix."""

    def __init__(self, model: TableModel, batch: Batch, iterate: Iterate) -> None:
        self.model = model
        self.iterate = iterate
        self.m: Moments = linear.moments(model, batch, iterate)
        self.system: System = linear.system(
            model, iterate, self.m, free_temperature=True
        )
        self.temperature = iterate.temperature
        self.elements = model.gas_atoms.shape[1]

    def work_of_elements(self) -> FloatArray:
        """Return R T pi_i per b_i, and 0 per H. [J/mol]"""
        out = np.zeros((self.iterate.count, self.elements + 1))
        scale = GAS_CONSTANT * self.temperature
        out[:, :-1] = scale[:, None] * self.iterate.potentials
        return out

    def respond(
        self, elements: FloatArray, energy: FloatArray
    ) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Return d ln N, d ln T and d pi for changes of elements and of the energy row.

        `elements` has shape (n, elements, sides), `energy` (n, sides).
        """
        right = np.zeros((*self.system.matrix.shape[:2], energy.shape[1]))
        right[:, : self.elements] = elements
        right[:, self.elements + 1] = energy
        solution = linear.solve(self.system, right)
        return (
            solution[:, self.elements],
            solution[:, self.elements + 1],
            solution[:, : self.elements],
        )


def _unit_elements(station: _Station) -> FloatArray:
    """Return changes of one element each, and none for the enthalpy."""
    n = station.elements
    out = np.zeros((station.iterate.count, n, n + 1))
    out[:, np.arange(n), np.arange(n)] = 1.0
    return out


def _chamber_sides(station: _Station) -> tuple[FloatArray, FloatArray]:
    """Return the right-hand sides at given enthalpy."""
    energy = np.zeros((station.iterate.count, station.elements + 1))
    energy[:, -1] = 1.0 / (GAS_CONSTANT * station.temperature)
    return _unit_elements(station), energy


def _isentropic_sides(
    station: _Station, d_entropy: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return the right-hand sides at given entropy: pi_i per b_i, and dS/R."""
    energy = d_entropy / GAS_CONSTANT
    energy[:, :-1] += station.iterate.potentials
    return _unit_elements(station), energy


def _enthalpy_change(station: _Station, d_entropy: FloatArray) -> FloatArray:
    """Return dh at fixed pressure."""
    change: FloatArray = station.temperature[:, None] * d_entropy
    return change + station.work_of_elements()


def _throat(
    model: TableModel,
    flow: Flow,
    solved: Solved,
    result: Derivatives,
    d_enthalpy: FloatArray,
    d_entropy: FloatArray,
) -> None:
    """Differentiate c* at the throat."""
    rows = solved.rows
    station = _Station(model, solved.downstream, solved.throat)
    gain = 2.0 * (flow.chamber.enthalpy[rows] - flow.throat.enthalpy[rows])
    d_n, d_t, d_pi = station.respond(*_isentropic_sides(station, d_entropy))
    d_log_flux = -(d_n + d_t)
    d_log_flux += (d_enthalpy - _enthalpy_change(station, d_entropy)) / gain[:, None]
    pinned = flow.pinned[rows]
    if pinned.any():
        moved = _pinned(station, solved, pinned, gain, (d_t, d_pi))
        d_log_flux[pinned] += moved
    volume = station.m.moles * GAS_CONSTANT * station.temperature
    pressure = flow.throat.pressure[rows]
    c_star = flow.chamber.pressure[rows] * volume / pressure / np.sqrt(gain)
    result.characteristic_velocity[:] = -c_star[:, None] * d_log_flux


def _pinned(
    station: _Station,
    solved: Solved,
    pinned: BoolArray,
    gain: FloatArray,
    response: tuple[FloatArray, FloatArray],
) -> FloatArray:
    """Return d ln G from the change of pressure of the throats that are pinned."""
    d_t, d_pi = response
    rows = np.arange(station.iterate.count)
    absent = ~station.iterate.active & solved.downstream.allowed
    affinity = np.where(absent, np.abs(station.m.affinity), np.inf)
    phase = affinity.argmin(axis=1)
    atoms = station.model.phase_atoms[phase]
    h = station.m.phase.h[rows, phase]
    side = linear.pressure_response(station.m, station.system)[:, :, None]
    by_p = linear.solve(station.system, side)[:, :, 0]
    n = station.elements
    gamma = linear.exponent(by_p, n)
    energy = linear.gas_energy(station.iterate, station.m)
    slope = energy * (1.0 / (gamma * energy) - 1.0 / gain)
    per_p = (atoms * by_p[:, :n]).sum(axis=1) + h * by_p[:, n + 1]
    per_side = np.einsum("ne,nes->ns", atoms, d_pi) + h[:, None] * d_t
    usable = affinity[rows, phase] < _SATURATED
    factor = np.where(usable, -slope / per_p, np.nan)
    moved: FloatArray = factor[:, None] * per_side
    return moved[pinned]


def _exit(
    model: TableModel,
    flow: Flow,
    solved: Solved,
    result: Derivatives,
    d_enthalpy: FloatArray,
    d_entropy: FloatArray,
) -> None:
    """Differentiate the exit velocity."""
    rows = solved.rows
    station = _Station(model, solved.downstream, solved.leaving)
    change = d_enthalpy - _enthalpy_change(station, d_entropy)
    gain = 2.0 * (flow.chamber.enthalpy[rows] - flow.leaving.enthalpy[rows])
    result.exit_velocity[:] = change / np.sqrt(gain)[:, None]
