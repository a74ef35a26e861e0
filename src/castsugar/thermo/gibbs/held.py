"""Throat and exit of a batch whose composition is held as in the chamber."""

from __future__ import annotations

import numpy as np

from castsugar.thermo import certificate as limits
from castsugar.thermo import frozen, mixture
from castsugar.thermo.gibbs import linear
from castsugar.thermo.gibbs.iterate import Batch, Iterate
from castsugar.thermo.gibbs.model import TableModel
from castsugar.thermo.gibbs.stations import Stations
from castsugar.thermo.tables import FloatArray


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
    return throat, _station(model, n, here, t_exit, p_exit)


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
