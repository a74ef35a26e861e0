"""Columns of how a mix burns."""

from __future__ import annotations

from castsugar.columns.record import Column

_MIX, _CHAMBER, _NOZZLE = "mix", "chamber", "nozzle"

BURNING = (
    Column(
        "oxidizer_fuel_ratio",
        "oxidizer : fuel, water left out",
        "",
        2,
        "mass of nitrate over mass of fuel as cast, all water left out",
        _MIX,
    ),
    Column(
        "oxygen_balance_percent",
        "oxygen balance",
        "%",
        1,
        "oxygen left (+) or missing (-) to CO2, H2O, N2 and K2CO3, % of the mass",
        _MIX,
    ),
    Column(
        "water_as_weighed_percent",
        "water as weighed",
        "%",
        1,
        "mass of water in the recipe (syrup, moisture, added)",
        _MIX,
    ),
    Column(
        "water_as_cast_percent",
        "water as cast",
        "%",
        1,
        "mass of water left in the cast mix; it takes part in the burning",
        _MIX,
    ),
    Column(
        "density_kg_m3",
        "density without voids",
        "kg/m3",
        0,
        "volumes of the ingredients added; a real grain has voids",
        _MIX,
    ),
    Column(
        "flame_temperature_K",
        "flame temperature",
        "K",
        0,
        "adiabatic, at chamber pressure",
        _CHAMBER,
    ),
    Column(
        "gas_molar_mass_g_mol",
        "molar mass of the gas alone",
        "g/mol",
        1,
        "of the gas species in the chamber",
        _CHAMBER,
    ),
    Column(
        "effective_molar_mass_g_mol",
        "mix mass per mole of gas",
        "g/mol",
        1,
        "effective molar mass: the one in p v = R T / M; goes with the equilibrium "
        "isentropic exponent",
        _CHAMBER,
    ),
    Column(
        "system_molar_mass_g_mol",
        "mix mass per mole of everything",
        "g/mol",
        1,
        "gas and condensed phases counted; for comparison with tables only",
        _CHAMBER,
    ),
    Column(
        "gas_moles_mol_kg",
        "gas per kilogram of mix",
        "mol/kg",
        1,
        "amount of gas in the chamber",
        _CHAMBER,
    ),
    Column(
        "condensed_mass_fraction",
        "mass that is not gas",
        "",
        3,
        "liquid and solid products and inert matter, share of the mass",
        _CHAMBER,
    ),
    Column(
        "isentropic_exponent",
        "isentropic exponent",
        "",
        3,
        "of gas and condensed products in equilibrium, chamber",
        _CHAMBER,
    ),
    Column(
        "characteristic_velocity_m_s",
        "characteristic velocity c*",
        "m/s",
        0,
        "chamber pressure times throat area over mass flow",
        _NOZZLE,
    ),
    Column(
        "throat_temperature_K", "throat temperature", "K", 0, "at the throat", _NOZZLE
    ),
    Column(
        "throat_pressure_ratio",
        "throat pressure / chamber pressure",
        "",
        3,
        "where the mass flux is largest",
        _NOZZLE,
    ),
    Column("exit_temperature_K", "exit temperature", "K", 0, "at the exit", _NOZZLE),
    Column(
        "specific_impulse_s",
        "specific impulse",
        "s",
        1,
        "optimum expansion to the exit pressure, no losses",
        _NOZZLE,
    ),
    Column(
        "thrust_coefficient",
        "thrust coefficient",
        "",
        3,
        "optimum expansion to the exit pressure, no losses",
        _NOZZLE,
    ),
    Column(
        "density_impulse_kg_s_m3",
        "density x specific impulse",
        "kg s/m3",
        -3,
        "what counts when the case volume is given",
        _NOZZLE,
    ),
)
