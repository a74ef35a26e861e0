"""From solved flows to the columns of the table; the product sets they rest on."""

from __future__ import annotations

from collections.abc import Sequence
from os import PathLike
from pathlib import Path
from typing import Any

import numpy as np

from castsugar.arrays import BoolArray, FloatArray
from castsugar.columns import COLUMN, COLUMNS
from castsugar.constants import GAS_CONSTANT, STANDARD_GRAVITY
from castsugar.data.load import PRODUCT_SETS, products_file
from castsugar.errors import unknown_name
from castsugar.mix import weighing
from castsugar.mix.blends import Blends
from castsugar.thermo import solver
from castsugar.thermo.gibbs.expansion import Stations
from castsugar.thermo.gibbs.solution import Flow
from castsugar.thermo.species import SpeciesTable, read_species
from castsugar.thermo.species_arrays import known_species

# ----------------------------------------------------------------------------
# From solved flows to the columns of the table.

#: Below this exit temperature condensed water and hydrates, which the species list
#: does not hold, could form [K].
COLDEST_EXIT = 400.0

#: The fits of all gases cover temperatures from here on, those of most from 200 K [K].
COLDEST_DATA = 300.0

#: Below this flame temperature condensed nitrate, which the species list does not hold,
#: may survive: the mix may not burn although the model finds a flame [K].
FAINT_FLAME = 900.0

Columns = dict[str, Any]

#: Column of words of each wing that may be left out.
WINGS = {"kitchen": "flow_class", "motor": "burn_law_origin"}


def mix_columns(blends: Blends) -> Columns:
    """Return what the mixes themselves give."""
    return {
        "name": list(blends.names),
        "oxidizer_fuel_ratio": blends.oxidizer_fuel_ratio,
        "oxygen_balance_percent": blends.oxygen_balance,
        "water_as_weighed_percent": 100.0 * blends.water_as_weighed,
        "water_as_cast_percent": 100.0 * blends.water_as_cast,
        "density_kg_m3": blends.density,
    }


def flow_columns(found: Flow, blends: Blends, flags: Sequence[str]) -> Columns:
    """Return status, thermo columns, and flags added to those of the mixes."""
    status = _status(found)
    for row in np.flatnonzero(~blends.elements.any(axis=1)):
        status[row] = "not computed: inert matter only; nothing can burn"
    for row in np.flatnonzero(~(blends.browned <= weighing.BROWNED_MOST)):
        status[row] = f"not computed: {weighing.withheld(float(blends.browned[row]))}"
    ok = np.array([text == "ok" for text in status], dtype=bool)
    here, throat, leaving = found.chamber, found.throat, found.leaving
    velocity = _velocity(here, leaving)
    c_star = characteristic_velocity(here, throat)
    impulse = velocity / STANDARD_GRAVITY
    values = {
        "flame_temperature_K": here.temperature,
        "gas_molar_mass_g_mol": 1e3 * here.gas_molar_mass,
        "effective_molar_mass_g_mol": 1e3 / here.gas_moles,
        "products_molar_mass_g_mol": 1e3 / (here.gas_moles + here.condensed_moles),
        "gas_moles_mol_kg": here.gas_moles,
        "condensed_mass_fraction": 1.0 - here.gas_moles * here.gas_molar_mass,
        "isentropic_exponent": here.exponent,
        "characteristic_velocity_m_s": c_star,
        "throat_temperature_K": throat.temperature,
        "throat_pressure_ratio": throat.pressure / here.pressure,
        "exit_temperature_K": leaving.temperature,
        "specific_impulse_s": impulse,
        "thrust_coefficient": velocity / c_star,
        "density_impulse_kg_s_m3": impulse * blends.density,
    }
    columns: Columns = {k: np.where(ok, v, np.nan) for k, v in values.items()}
    columns["status"] = status
    columns["flags"] = _flags(found, flags, ok)
    return columns


def records(columns: Columns) -> list[dict[str, Any]]:
    """Return columns as one plain mapping a mix, keys in the order of the table.

    Quantiles that were asked for follow.
    """
    keys = in_order(columns)
    plain = [np.asarray(columns[k], dtype=object).tolist() for k in keys]
    return [dict(zip(keys, row, strict=True)) for row in zip(*plain, strict=True)]


def in_order(columns: Columns) -> list[str]:
    """Return the keys of columns in the order of the table, quantiles after them."""
    known = [c.key for c in COLUMNS if c.key in columns]
    return [*known, *(key for key in columns if key not in COLUMN)]


def not_asked(wing: str, count: int) -> Columns:
    """Return the columns of a wing, kitchen or motor, for rows without it."""
    keys = [c.key for c in COLUMNS if c.group == wing]
    columns: Columns = {key: np.full(count, np.nan) for key in keys}
    columns[WINGS[wing]] = ["not asked"] * count
    return columns


def not_confirmed(count: int) -> Columns:
    """Return the confirmation columns of rows that were not solved again."""
    return {
        "confirmation": ["not asked"] * count,
        "difference_temperature_K": np.full(count, np.nan),
        "difference_characteristic_velocity_ppm": np.full(count, np.nan),
        "difference_specific_impulse_ppm": np.full(count, np.nan),
    }


def characteristic_velocity(here: Stations, throat: Stations) -> FloatArray:
    """Return c* = pc v / u at the throat. [m/s]"""
    volume = throat.gas_moles * GAS_CONSTANT * throat.temperature / throat.pressure
    return here.pressure * volume / _velocity(here, throat)


def _velocity(here: Stations, station: Stations) -> FloatArray:
    """Return the velocity gained from the chamber to a station, NaN for none. [m/s]"""
    gained = here.enthalpy - station.enthalpy
    return np.sqrt(2.0 * np.where(gained > 0.0, gained, np.nan))


def _status(found: Flow) -> list[str]:
    """Return the status of every row."""
    stations = (found.chamber, found.throat, found.leaving)
    texts = []
    for row, cold in enumerate(found.cold):
        text = "cold" if cold else "ok"
        if found.lost[row]:
            name = solver.STATIONS[found.lost[row] - 1]
            text = f"no convergence: the {name} was not found"
            if stations[found.lost[row] - 1].temperature[row] < COLDEST_DATA:
                text += f", it is below {COLDEST_DATA:g} K, where the species data end"
        elif not cold:
            for name, station in zip(solver.STATIONS, stations, strict=True):
                asked = not np.isnan(station.temperature[row]) or name == "chamber"
                if asked and not station.residual[row] < 1.0:
                    text = f"no convergence: the {name} fails its check"
        texts.append(text)
    return texts


def _flags(found: Flow, flags: Sequence[str], ok: BoolArray) -> list[str]:
    """Return the flags of mix and flow of every row."""
    cold_exit = ok & (found.leaving.temperature < COLDEST_EXIT)
    texts = solver.flags(found)
    for row in np.flatnonzero(ok & (found.chamber.temperature < FAINT_FLAME)):
        texts[row].append(
            f"flame below {FAINT_FLAME:g} K: may not burn at all, the species list "
            "holds no unburnt nitrate"
        )
    for row in np.flatnonzero(cold_exit):
        texts[row].append(
            f"exit below {COLDEST_EXIT:g} K: condensed water is not in the species list"
        )
    for row in np.flatnonzero(ok & (found.leaving.temperature < COLDEST_DATA)):
        texts[row].append(
            f"exit below {COLDEST_DATA:g} K: colder than the species data, extrapolated"
        )
    return [
        "; ".join([*([own] if own else []), *(text if fine else [])])
        for own, text, fine in zip(flags, texts, ok, strict=True)
    ]


# ----------------------------------------------------------------------------
# The shipped sets of combustion products, by name.


def shipped_species() -> SpeciesTable:
    """Return the combustion products that castsugar uses by default."""
    return species_set(next(iter(PRODUCT_SETS)))


def species_set(name: str) -> SpeciesTable:
    """Return one of the shipped sets of combustion products.

    Parameters
    ----------
    name : str
        ``"nasa-1993"`` (the default set) or ``"nasa-2002"`` (newer evaluations of
        the potassium, sodium and iron species).

    Returns
    -------
    SpeciesTable
        For the parameter `species` of :func:`castsugar.evaluate` and its like.

    Raises
    ------
    UnknownNameError
        With the known names.

    Examples
    --------
    >>> import castsugar as cs
    >>> newer = cs.species_set("nasa-2002")
    >>> round(cs.equilibrium("KNO3:65 sucrose:35", species=newer).temperature)
    1717
    """
    if name not in PRODUCT_SETS:
        raise unknown_name("product set", name, PRODUCT_SETS)
    return known_species(products_file(name))


def species_file(path: str | PathLike[str]) -> SpeciesTable:
    """Return the combustion products of a file of one's own.

    Parameters
    ----------
    path : str or path
        In the form of ``products.yaml`` in the folder of :func:`load_database`; read
        anew each time.

    Returns
    -------
    SpeciesTable
        For `species` of :func:`castsugar.evaluate` and others.

    Raises
    ------
    DataError
        For an unreadable file, fits that do not join, a density below 100 kg/m3, an
        element outside the family, or a reference pressure other than 1 bar.

    See Also
    --------
    species_set : one of the shipped sets.

    Examples
    --------
    >>> from castsugar import load_database
    >>> table = species_file(load_database().folder / "products.yaml")
    >>> type(table).__name__
    'SpeciesTable'
    """
    return read_species.__wrapped__(Path(path))


def other_set(table: SpeciesTable) -> SpeciesTable:
    """Return the shipped set that a table is not."""
    sets = [species_set(name) for name in PRODUCT_SETS]
    return next(s for s in sets if s.data_set != table.data_set)
