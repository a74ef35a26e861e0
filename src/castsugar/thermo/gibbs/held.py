"""Throat and exit of a batch whose composition is held as in the chamber."""

from __future__ import annotations

import numpy as np

from castsugar.arrays import FloatArray
from castsugar.thermo import certificate as limits
from castsugar.thermo import frozen, mixture
from castsugar.thermo.gibbs import linear
from castsugar.thermo.gibbs.iterate import Batch, Iterate
from castsugar.thermo.gibbs.model import TableModel
from castsugar.thermo.gibbs.stations import Stations


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
    model : TableModel
    batch : Batch
    chamber : Iterate
        Solved chambers.
    here : Stations
        Their stations.
    exit_pressure : float
        [Pa]
    """
    table = model.table
    n = amounts(model, batch, chamber)
    t_throat = frozen.throat_temperature(table, n, here.temperature)
    p_throat = frozen.pressure_at_temperature(table, n, here.entropy, t_throat)
    p_exit = np.full_like(t_throat, exit_pressure)
    t_exit = frozen.temperature_at_pressure(table, n, here.entropy, p_exit, t_throat)
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
    throat : Stations
    """
    table = model.table
    n = amounts(model, batch, chamber)

    most = np.full_like(throat.pressure, np.nan)
    at = _flux(here, throat.temperature, throat.pressure, throat.enthalpy)
    for step in (limits.FLUX_STEP, -limits.FLUX_STEP):
        p = (1.0 + step) * throat.pressure
        t = frozen.temperature_at_pressure(
            table, n, here.entropy, p, throat.temperature
        )
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
