"""One station of every mix: the numbers of a state, and its certificate."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np

from castsugar.arrays import BoolArray, FloatArray, IntArray
from castsugar.constants import ATOMIC_MASSES, GAS_CONSTANT
from castsugar.thermo import certificate as limits
from castsugar.thermo.gibbs import linear
from castsugar.thermo.gibbs.iterate import Batch, Iterate
from castsugar.thermo.gibbs.linear import Moments
from castsugar.thermo.gibbs.model import TableModel


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
    model : TableModel
    batch : Batch
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
