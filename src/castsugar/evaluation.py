"""Mixes in, one row each out: the one place where the wings meet. Floor 4."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Any

from castsugar.columns import COLUMNS
from castsugar.constants import (
    DEFAULT_PRESSURE,
    STANDARD_ATMOSPHERE,
    STANDARD_GRAVITY,
)
from castsugar.database.locate import products_file
from castsugar.errors import CastsugarError, ConvergenceError, InputError
from castsugar.mix import Mix
from castsugar.thermo.charge import charge_of
from castsugar.thermo.flow import FLOWS, ColdMixError, FlowSolution
from castsugar.thermo.second_opinion import route
from castsugar.thermo.species import read_species
from castsugar.thermo.states import State
from castsugar.thermo.tables import SpeciesTable

if TYPE_CHECKING:
    import pandas as pd

#: Chamber pressures that are accepted [Pa].
PRESSURE_RANGE = (1.0e3, 1.0e8)

#: Below this exit temperature condensed water and hydrates, which the species list
#: does not hold, could form [K].
COLDEST_EXIT = 400.0


def equilibrium(
    mix: Mix,
    *,
    pressure: float = DEFAULT_PRESSURE,
    temperature: float | None = None,
    species: SpeciesTable | None = None,
) -> State:
    """Return the equilibrium state of a burnt mix.

    Parameters
    ----------
    mix : Mix
    pressure : float
        Absolute. [Pa]
    temperature : float, optional
        [K]; without it the state is adiabatic (constant enthalpy).
    species : SpeciesTable, optional
        The shipped products by default.

    Returns
    -------
    State
        Composition, properties and certificate.

    Raises
    ------
    InputError
        For a pressure or temperature outside the accepted range.
    ConvergenceError
        If no certified state is found, or the mix does not burn by this model.

    Examples
    --------
    >>> state = equilibrium(Mix.weigh({"KNO3": 65, "sucrose": 35}))
    >>> round(state.temperature)
    1717
    """
    _check_pressure(pressure, "pressure")
    if temperature is not None and not 300.0 <= temperature <= 5000.0:
        raise InputError(
            f"temperature is {temperature:g} K; the species data cover 300 to 5000 K"
        )
    table, charge = charge_of(mix, species or shipped_species())
    return route.equilibrium(table, charge, pressure, temperature)


def performance(
    mix: Mix,
    *,
    pressure: float = DEFAULT_PRESSURE,
    exit_pressure: float | None = STANDARD_ATMOSPHERE,
    flow: str = "equilibrium",
    species: SpeciesTable | None = None,
) -> FlowSolution:
    """Return chamber, throat and exit of one mix, with all states.

    Parameters and errors as for :func:`evaluate`, for one mix; raises
    ConvergenceError instead of writing a status.
    """
    _check_options(pressure, exit_pressure, flow)
    table, charge = charge_of(mix, species or shipped_species())
    return route.solve(table, charge, pressure, exit_pressure, flow)


def evaluate(
    mixes: Mix | Iterable[Mix],
    *,
    pressure: float | Sequence[float] = DEFAULT_PRESSURE,
    exit_pressure: float | None = STANDARD_ATMOSPHERE,
    flow: str = "equilibrium",
    species: SpeciesTable | None = None,
) -> pd.DataFrame:
    """Return the performance table: one row a mix, columns of :data:`COLUMNS`.

    Parameters
    ----------
    mixes : Mix or iterable of Mix
    pressure : float or sequence of float
        Chamber pressure, absolute; one value or one a mix. [Pa]
    exit_pressure : float or None
        [Pa]; None leaves the nozzle columns empty (NaN).
    flow : str
        ``"equilibrium"``, ``"frozen"`` or ``"no-solidification"``.
    species : SpeciesTable, optional
        The shipped products by default.

    Returns
    -------
    pandas.DataFrame
        A row that could not be computed keeps its place, with NaN and the reason in
        `status`.

    Raises
    ------
    InputError
        For options that no row could use.
    """
    import pandas as pd

    listed = [mixes] if isinstance(mixes, Mix) else list(mixes)
    pressures = _pressures(pressure, len(listed))
    for value in pressures:
        _check_options(value, exit_pressure, flow)
    table = species or shipped_species()
    rows = [
        _row(mix, value, exit_pressure, flow, table)
        for mix, value in zip(listed, pressures, strict=True)
    ]
    return pd.DataFrame(rows, columns=[c.key for c in COLUMNS])


def shipped_species() -> SpeciesTable:
    """Return the combustion products that castsugar ships."""
    return read_species(products_file())


def _row(
    mix: Mix,
    pressure: float,
    exit_pressure: float | None,
    flow: str,
    table: SpeciesTable,
) -> dict[str, Any]:
    """Compute one row; a failure becomes its status."""
    row: dict[str, Any] = {c.key: math.nan for c in COLUMNS}
    row |= _mix_columns(mix)
    try:
        own, charge = charge_of(mix, table)
        solution = route.solve(own, charge, pressure, exit_pressure, flow)
    except ColdMixError:
        row["status"] = "cold"
    except ConvergenceError as error:
        row["status"] = f"no convergence: {error}"
    except CastsugarError as error:
        row["status"] = f"not computed: {error}"
    else:
        row |= _thermo_columns(solution, mix)
        row["status"] = "ok"
        row["flags"] = "; ".join((*mix.flags, *_flags(solution)))
    return row


def _mix_columns(mix: Mix) -> dict[str, Any]:
    """Return what the mix itself gives."""
    return {
        "name": mix.name,
        "oxidizer_fuel_ratio": mix.oxidizer_fuel_ratio,
        "oxygen_balance_percent": mix.oxygen_balance,
        "water_as_weighed_percent": 100.0 * mix.water_as_weighed,
        "water_as_cast_percent": 100.0 * mix.water_as_cast,
        "density_kg_m3": mix.density,
        "flags": "; ".join(mix.flags),
    }


def _thermo_columns(solution: FlowSolution, mix: Mix) -> dict[str, float]:
    """Return what chamber, throat and exit give."""
    chamber = solution.chamber
    columns = {
        "flame_temperature_K": chamber.temperature,
        "gas_molar_mass_g_mol": 1e3 * chamber.gas_molar_mass,
        "effective_molar_mass_g_mol": 1e3 * chamber.effective_molar_mass,
        "system_molar_mass_g_mol": 1e3 * chamber.system_molar_mass,
        "gas_moles_mol_kg": chamber.gas_moles,
        "condensed_mass_fraction": chamber.condensed_mass_fraction,
        "isentropic_exponent": chamber.isentropic_exponent,
    }
    if solution.throat is not None and solution.exit is not None:
        impulse = solution.exit_velocity / STANDARD_GRAVITY
        columns |= {
            "characteristic_velocity_m_s": solution.characteristic_velocity,
            "throat_temperature_K": solution.throat.temperature,
            "throat_pressure_ratio": solution.throat.pressure / chamber.pressure,
            "exit_temperature_K": solution.exit.temperature,
            "specific_impulse_s": impulse,
            "thrust_coefficient": solution.thrust_coefficient,
            "density_impulse_kg_s_m3": impulse * mix.density,
        }
    return columns


def _flags(solution: FlowSolution) -> list[str]:
    """Return what is special about the flow."""
    found = list(solution.flags)
    if solution.chamber.on_plateau:
        found.append("chamber on a melting plateau")
    if solution.exit is not None and solution.exit.temperature < COLDEST_EXIT:
        found.append(
            f"exit below {COLDEST_EXIT:g} K: condensed water is not in the species list"
        )
    return found


def _pressures(pressure: float | Sequence[float], count: int) -> list[float]:
    """Return one pressure a mix."""
    try:
        values = [float(p) for p in pressure]  # type: ignore[union-attr]
    except TypeError:
        return [float(pressure)] * count  # type: ignore[arg-type]
    if len(values) != count:
        raise InputError(
            f"{len(values)} pressures for {count} mixes; give one value or one a mix"
        )
    return values


def _check_pressure(pressure: float, name: str) -> None:
    low, high = PRESSURE_RANGE
    if not low <= pressure <= high:
        raise InputError(
            f"{name} is {pressure:g} Pa ({pressure / 1e6:g} MPa); allowed "
            f"{low / 1e6:g} to {high / 1e6:g} MPa absolute"
        )


def _check_options(pressure: float, exit_pressure: float | None, flow: str) -> None:
    """Refuse options that make no flow."""
    _check_pressure(pressure, "chamber pressure")
    if flow not in FLOWS:
        raise InputError(f"flow is {flow!r}; allowed: {', '.join(FLOWS)}")
    if exit_pressure is None:
        return
    if not 0.0 < exit_pressure < pressure:
        raise InputError(
            f"exit pressure {exit_pressure / 1e6:g} MPa is not below the chamber "
            f"pressure {pressure / 1e6:g} MPa; give a lower exit pressure, above 0"
        )
