"""Along the isentrope of a chamber: pressures, sound speed, saturation."""

from __future__ import annotations

from dataclasses import fields, replace

import numpy as np

from castsugar.arrays import BoolArray, FloatArray, IntArray
from castsugar.constants import ATOMIC_MASSES, GAS_CONSTANT
from castsugar.frozen import dataclass
from castsugar.thermo import certificate as limits
from castsugar.thermo import flow, mixture
from castsugar.thermo.gibbs import linear, newton
from castsugar.thermo.gibbs.linear import Moments
from castsugar.thermo.gibbs.model import Batch, Iterate, Model, TableModel
from castsugar.thermo.gibbs.newton import Outcome, Target, energy_residual, sonic_excess
from castsugar.thermo.species import PhaseTable

# ----------------------------------------------------------------------------
# One station of every mix: the numbers of a state, and its certificate.


@dataclass(slots=True, eq=False)
class Stations:
    """One station of every mix: the numbers of a state, and its worst residuals.

    All of shape (n,); NaN where there is no state. `residual` is the largest residual
    of the certificate, each over its limit, so that a state passes below 1. The
    isentropic exponent is that of chambers only.
    """

    temperature: FloatArray
    pressure: FloatArray
    enthalpy: FloatArray
    entropy: FloatArray
    gas_moles: FloatArray
    gas_molar_mass: FloatArray
    condensed_moles: FloatArray
    exponent: FloatArray
    residual: FloatArray

    @classmethod
    def empty(cls, count: int) -> Stations:
        """Return stations of NaN."""
        return cls(*(np.full(count, np.nan) for _ in fields(cls)))

    def put(self, rows: IntArray | BoolArray | slice, other: Stations) -> None:
        """Overwrite some rows."""
        for f in fields(self):
            getattr(self, f.name)[rows] = getattr(other, f.name)

    def take(self, rows: IntArray | BoolArray) -> Stations:
        """Return some of the rows."""
        return Stations(*(getattr(self, f.name)[rows] for f in fields(self)))

    def test_pressure(self, asked: FloatArray | float) -> None:
        """Hold the pressures against those asked for. [Pa]"""
        off = np.abs(self.pressure / asked - 1.0) / limits.PRESSURE_LIMIT
        self.residual = np.maximum(self.residual, off)


def station(
    model: TableModel,
    batch: Batch,
    iterate: Iterate,
    *,
    enthalpy: FloatArray | None = None,
    entropy: FloatArray | None = None,
    pressure: FloatArray | float | None = None,
) -> Stations:
    """Evaluate a state of every row, and test it.

    Parameters
    ----------
    iterate : Iterate
        Solved.
    enthalpy, entropy, pressure : ndarray, optional
        What was prescribed. [J/kg], [J/(kg K)], [Pa]
    """
    m = linear.moments(model, batch, iterate)
    t = iterate.temperature.copy()
    none = np.full_like(t, np.nan)
    masses = np.array([ATOMIC_MASSES[e] for e in model.table.elements])
    found = Stations(
        temperature=t,
        pressure=model.table.reference_pressure * np.exp(iterate.log_pressure),
        enthalpy=GAS_CONSTANT * t * m.enthalpy(iterate),
        entropy=GAS_CONSTANT * m.entropy(iterate),
        gas_moles=m.moles,
        gas_molar_mass=m.atoms @ masses,
        condensed_moles=iterate.amounts.sum(axis=1),
        exponent=_exponent(model, iterate, m) if enthalpy is not None else none,
        residual=np.zeros_like(t),
    )
    found.residual = residual(batch, iterate, m, found, enthalpy, entropy)
    if pressure is not None:
        found.test_pressure(pressure)
    return found


def _exponent(model: TableModel, iterate: Iterate, m: Moments) -> FloatArray:
    """Return the isentropic exponent of the equilibrium."""
    s = linear.system(model, iterate, m, free_temperature=True)
    response = linear.solve(s, linear.pressure_response(m, s)[:, :, None])[:, :, 0]
    return linear.exponent(response, m.atoms.shape[1])


def residual(
    batch: Batch,
    iterate: Iterate,
    m: Moments,
    found: Stations,
    enthalpy: FloatArray | None,
    entropy: FloatArray | None,
) -> FloatArray:
    """Return the largest residual of the certificate over its limit."""
    parts = [
        np.abs(m.lack).max(axis=1) / batch.elements.max(axis=1) / limits.ELEMENT_LIMIT,
        np.abs(m.excess) / limits.EQUILIBRIUM_LIMIT,
    ]
    if iterate.active.shape[1]:
        present = np.where(iterate.active, np.abs(m.affinity), 0.0)
        absent = np.where(batch.allowed & ~iterate.active, m.affinity, np.inf)
        parts.append(present.max(axis=1) / limits.EQUILIBRIUM_LIMIT)
        parts.append(np.maximum(absent.min(axis=1) / limits.AFFINITY_LIMIT, 0.0))
        parts.append(np.where((iterate.amounts < 0.0).any(axis=1), np.inf, 0.0))
    if enthalpy is not None:
        gas = found.gas_moles * GAS_CONSTANT * found.temperature
        error = np.abs(found.enthalpy - enthalpy)
        parts.append(error / np.maximum(np.abs(enthalpy), gas) / limits.ENERGY_LIMIT)
    if entropy is not None:
        error = np.abs(found.entropy - entropy) / np.abs(entropy)
        parts.append(error / limits.ENTROPY_LIMIT)
    return np.maximum.reduce(parts)


# ----------------------------------------------------------------------------
# Along the isentrope of a chamber: a given pressure, sound speed, saturation.


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


# ----------------------------------------------------------------------------
# What may form downstream of a chamber when nothing solidifies on the way.


def without_solidification(
    phase: PhaseTable,
    transitions: tuple[tuple[int, int, float], ...],
    batch: Batch,
    chamber: Iterate,
) -> tuple[Batch, Iterate]:
    """Return the batch and the start of a flow in which no new solid forms.

    Each substance keeps the form it has in the chamber, on a plateau even its solid
    share (the cold form then stands for the blend); substances that are absent may
    still condense as liquids.

    Parameters
    ----------
    phase : PhaseTable
        The condensed phases of the columns.
    transitions : tuple
        Pairs of forms and their temperatures.
    """
    start = chamber.take(np.arange(chamber.count))
    allowed = batch.allowed.copy()
    share = batch.solid_share.copy()
    for substance in dict.fromkeys(phase.substances):
        forms = [i for i, s in enumerate(phase.substances) if s == substance]
        present = chamber.active[:, forms]
        liquid = np.array([phase.liquid[i] for i in forms])
        some = present.any(axis=1, keepdims=True)
        allowed[:, forms] &= np.where(some, present, liquid)
    for index, (cold, hot, _) in enumerate(transitions):
        both = chamber.active[:, cold] & chamber.active[:, hot]
        total = chamber.amounts[:, cold] + chamber.amounts[:, hot]
        share[both, index] = chamber.amounts[both, cold] / total[both]
        start.amounts[both, cold] = total[both]
        start.amounts[both, hot] = 0.0
        start.active[both, hot] = False
        allowed[both, hot] = False
    return Batch(batch.elements, allowed, batch.held, share), start


# ----------------------------------------------------------------------------
# Throat and exit of a batch whose composition is held as in the chamber.


def amounts(model: TableModel, batch: Batch, iterate: Iterate) -> FloatArray:
    """Return the amounts of all species, gases first, shape (n, species). [mol/kg]"""
    m = linear.moments(model, batch, iterate, every=True)
    return np.hstack([m.moles[:, None] * m.fractions, iterate.amounts])


def stations(
    model: TableModel,
    batch: Batch,
    chamber: Iterate,
    here: Stations,
    exit_pressure: float,
) -> tuple[Stations, Stations]:
    """Return throat and exit of every row.

    Parameters
    ----------
    chamber : Iterate
        Solved chambers.
    here : Stations
        Their stations.
    exit_pressure : float
        [Pa]
    """
    table = model.table
    n = amounts(model, batch, chamber)
    t_throat = flow.throat_temperature(table, n, here.temperature)
    p_throat = flow.pressure_at_temperature(table, n, here.entropy, t_throat)
    p_exit = np.full_like(t_throat, exit_pressure)
    t_exit = flow.temperature_at_pressure(table, n, here.entropy, p_exit, t_throat)
    throat = _station(model, n, here, t_throat, p_throat)
    leaving = _station(model, n, here, t_exit, p_exit)
    leaving.test_pressure(exit_pressure)
    return throat, leaving


def flux_excess(
    model: TableModel, batch: Batch, chamber: Iterate, here: Stations, throat: Stations
) -> FloatArray:
    """Return by how much the mass flux beside each throat exceeds its own, relative.

    A side on which the gases have their other fit is not looked at.

    Parameters
    ----------
    model, batch, chamber, here
        As for :func:`stations`.
    """
    table = model.table
    n = amounts(model, batch, chamber)

    most = np.full_like(throat.pressure, np.nan)
    at = _flux(here, throat.temperature, throat.pressure, throat.enthalpy)
    for step in (limits.FLUX_STEP, -limits.FLUX_STEP):
        p = (1.0 + step) * throat.pressure
        t = flow.temperature_at_pressure(table, n, here.entropy, p, throat.temperature)
        alike = model.side(t) == model.side(throat.temperature)
        beside = _flux(here, t, p, mixture.enthalpy(table, t, n))
        most = np.fmax(most, np.where(alike, beside / at - 1.0, np.nan))
    return most


def _flux(
    here: Stations, temperature: FloatArray, pressure: FloatArray, enthalpy: FloatArray
) -> FloatArray:
    """Return the mass flux, over the gas constant and the amount of gas."""
    velocity = np.sqrt(2.0 * np.maximum(here.enthalpy - enthalpy, 0.0))
    return velocity * pressure / temperature


def _station(
    model: TableModel,
    n: FloatArray,
    here: Stations,
    temperature: FloatArray,
    pressure: FloatArray,
) -> Stations:
    """Evaluate a station of held composition; its entropy is what can be tested."""
    entropy = mixture.entropy(model.table, temperature, pressure, n)
    error = np.abs(entropy - here.entropy) / np.abs(here.entropy)
    return Stations(
        temperature=temperature,
        pressure=pressure,
        enthalpy=mixture.enthalpy(model.table, temperature, n),
        entropy=entropy,
        gas_moles=here.gas_moles,
        gas_molar_mass=here.gas_molar_mass,
        condensed_moles=here.condensed_moles,
        exponent=mixture.frozen_exponent(model.table, temperature, n),
        residual=error / limits.ENTROPY_LIMIT,
    )
