"""COLUMNS: the single list of what a row of the table holds."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from castsugar.frozen import dataclass

# ----------------------------------------------------------------------------
# What one column of the table is.


@dataclass(frozen=True, slots=True)
class Column:
    """One column: key, label, unit on the screen, decimals, meaning.

    `key` carries the unit of the stored value. `decimals` are the digits that the
    uncertainty of data and model allows on a screen; None for text.
    """

    key: str
    label: str
    unit: str
    decimals: int | None
    meaning: str
    group: str


# ----------------------------------------------------------------------------
# Columns of the row itself: what it is, how sure, what is special.

_ROW, _DOUBT = "row", "uncertainty"

IDENTITY = (
    Column("name", "name", "", None, "name of the mix", _ROW),
    Column(
        "status",
        "status",
        "",
        None,
        "ok; cold (does not burn by this model); not computed: why; no convergence: "
        "why; disputed: why",
        _ROW,
    ),
)

DOUBT = (
    Column(
        "flame_temperature_u_K",
        "uncertainty of the flame temperature",
        "K",
        0,
        "standard uncertainty that the data leave; only where asked for",
        _DOUBT,
    ),
    Column(
        "characteristic_velocity_u_m_s",
        "uncertainty of c*",
        "m/s",
        0,
        "standard uncertainty that the data leave; only where asked for",
        _DOUBT,
    ),
    Column(
        "specific_impulse_u_s",
        "uncertainty of the specific impulse",
        "s",
        1,
        "standard uncertainty that the data leave; only where asked for",
        _DOUBT,
    ),
)

VERDICT = (
    Column(
        "confirmation",
        "independent check",
        "",
        None,
        "confirmed, disputed, unavailable: why, or not asked",
        _ROW,
    ),
    Column(
        "difference_temperature_K",
        "difference in flame temperature",
        "K",
        6,
        "first solver minus second",
        _ROW,
    ),
    Column(
        "difference_characteristic_velocity_ppm",
        "difference in c*",
        "ppm",
        3,
        "first solver minus second, millionths",
        _ROW,
    ),
    Column(
        "difference_specific_impulse_ppm",
        "difference in specific impulse",
        "ppm",
        3,
        "first solver minus second, millionths",
        _ROW,
    ),
    Column("flags", "flags", "", None, "what is special about the row", _ROW),
)


# ----------------------------------------------------------------------------
# Columns of how a mix burns.

_MIX, _CHAMBER, _NOZZLE = "mix", "chamber", "nozzle"

BURNING = (
    Column(
        "oxidizer_fuel_ratio",
        "oxidizer to fuel, water left out",
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
        "theoretical density",
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
        "gas molar mass",
        "g/mol",
        1,
        "of the gas species in the chamber",
        _CHAMBER,
    ),
    Column(
        "effective_molar_mass_g_mol",
        "effective molar mass",
        "g/mol",
        1,
        "mix mass per mole of gas: the one in p v = R T / M; goes with the equilibrium "
        "isentropic exponent",
        _CHAMBER,
    ),
    Column(
        "products_molar_mass_g_mol",
        "mean molar mass of all products",
        "g/mol",
        1,
        "gas and condensed phases counted; for comparison with tables only",
        _CHAMBER,
    ),
    Column(
        "gas_moles_mol_kg",
        "gas",
        "mol/kg",
        1,
        "amount of gas in the chamber",
        _CHAMBER,
    ),
    Column(
        "condensed_mass_fraction",
        "condensed mass fraction",
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
        "density specific impulse",
        "kg s/m3",
        -3,
        "what counts when the case volume is given",
        _NOZZLE,
    ),
)


# ----------------------------------------------------------------------------
# Columns of how a mix cooks, pours, sets and keeps.

_KITCHEN = "kitchen"

COOKING = (
    Column(
        "liquid_boils_C",
        "liquid starts to boil at",
        "C",
        0,
        "water as weighed, at the pressure of the air",
        _KITCHEN,
    ),
    Column(
        "undissolved_sugar_percent",
        "sugar not dissolved at the pour",
        "%",
        0,
        "sucrose crystals left, share of the mass in the pot",
        _KITCHEN,
    ),
    Column(
        "relative_solids_pour",
        "relative solids at the pour",
        "",
        2,
        "volume fraction of grains over the most that can be packed; jams at 1",
        _KITCHEN,
    ),
    Column(
        "pour_viscosity_Pa_s",
        "pour viscosity",
        "Pa s",
        0,
        "median over what is uncertain; infinite where the mix jams",
        _KITCHEN,
    ),
    Column(
        "pour_viscosity_p10_Pa_s",
        "pour viscosity, 10th percentile",
        "Pa s",
        0,
        "one draw in ten is thinner",
        _KITCHEN,
    ),
    Column(
        "pour_viscosity_p90_Pa_s",
        "pour viscosity, 90th percentile",
        "Pa s",
        0,
        "one draw in ten is thicker",
        _KITCHEN,
    ),
    Column(
        "flow_class",
        "flow class",
        "",
        None,
        "runny, pours, thick, tamp or no flow: the class in the middle of the draws",
        _KITCHEN,
    ),
    Column(
        "pours_probability",
        "pours, of 100 draws",
        "",
        2,
        "runny or pours: below 10 Pa s and not crowded",
        _KITCHEN,
    ),
    Column(
        "pour_window_low_C",
        "pours from",
        "C",
        0,
        "lowest bulk temperature at which it more likely pours than not",
        _KITCHEN,
    ),
    Column(
        "pour_window_high_C",
        "pours up to",
        "C",
        0,
        "where it stops to pour, or the sugar reaches its limit in the time given",
        _KITCHEN,
    ),
    Column(
        "relative_solids_20C",
        "relative solids at 20 \u00b0C",
        "",
        2,
        "from 1 on firm once the sugar has crystallised, from 0.9 pliable, below soft",
        _KITCHEN,
    ),
    Column(
        "binder_glass_transition_C",
        "glass transition of the binder",
        "C",
        0,
        "sugars and water as cast, before anything crystallises",
        _KITCHEN,
    ),
    Column(
        "density_ratio",
        "density of the casting, of the theoretical",
        "",
        2,
        "expected of how it flows, or stated for the motor; measure the grain",
        _KITCHEN,
    ),
    Column(
        "density_ratio_u",
        "its standard uncertainty",
        "",
        3,
        "of the density of the casting over the theoretical",
        _KITCHEN,
    ),
    Column(
        "sugar_degraded_percent",
        "sugar degraded",
        "%",
        1,
        "index of browning over the cook; uncertain by a factor of 5",
        _KITCHEN,
    ),
    Column(
        "storage_humidity_max_percent",
        "draws water above this humidity",
        "%",
        0,
        "relative humidity of the air; store sealed with desiccant",
        _KITCHEN,
    ),
)


# ----------------------------------------------------------------------------
# Columns of what a mix does in the user's motor.

_MOTOR = "motor"

DRIVING = (
    Column(
        "kn_max",
        "largest Kn",
        "",
        0,
        "largest burning area over throat area",
        _MOTOR,
    ),
    Column(
        "peak_pressure_MPa",
        "peak pressure",
        "MPa",
        2,
        "at the largest Kn, best estimate, absolute",
        _MOTOR,
    ),
    Column(
        "peak_pressure_p95_MPa",
        "peak pressure, 95 of 100 next batches below",
        "MPa",
        1,
        "of the next batch: 95 of 100 motors stay below, with all that is not known of "
        "burning rate, batch, strands against motors, throat, area, density, c* and "
        "temperature; infinite where no upper limit can be given",
        _MOTOR,
    ),
    Column(
        "peak_pressure_p95_this_batch_MPa",
        "peak pressure, 95 of 100 of this batch below",
        "MPa",
        1,
        "pressure that 95 of 100 motors with grains of the batch whose strands burned "
        "stay below; empty for a mix without strands",
        _MOTOR,
    ),
    Column(
        "pressure_margin_percent",
        "pressure margin",
        "%",
        0,
        "(allowed pressure - 95 % pressure) / allowed; an estimate about an unproved "
        "case",
        _MOTOR,
    ),
    Column(
        "burn_law_origin",
        "burning-rate law",
        "",
        None,
        "measured on this mix, of the model of all that was burned, stated, borrowed "
        "or assumed; never from thermochemistry",
        _MOTOR,
    ),
)


# ----------------------------------------------------------------------------
# COLUMNS: the single list of what a row of the table holds.

#: In the order in which a row holds them.
COLUMNS: tuple[Column, ...] = (
    *IDENTITY,
    *BURNING,
    *COOKING,
    *DRIVING,
    *DOUBT,
    *VERDICT,
)

COLUMN = {c.key: c for c in COLUMNS}

#: Columns that only a search has: a sum of others, and what people look for: what the
#: motor delivers, what that costs, syrup as weighed, the distance from a recipe.
WEIGHTED, DELIVERED = "weighted sum", "delivered_specific_impulse_s"
IMPULSE, COST = "total_impulse_N_s", "cost_per_1000_N_s"
SYRUP, CHANGE = "syrup_percent", "change_from_recipe_percent"

#: Column of a value -> column of its standard uncertainty.
DOUBTS = {
    "flame_temperature_K": "flame_temperature_u_K",
    "characteristic_velocity_m_s": "characteristic_velocity_u_m_s",
    "specific_impulse_s": "specific_impulse_u_s",
}


def doubts_of(bands: Mapping[str, Any]) -> dict[str, float]:
    """Return standard uncertainties, by their columns, of 95 % intervals of values."""
    known = ((doubt, bands[one]) for one, doubt in DOUBTS.items() if one in bands)
    return {doubt: (high - low) / 3.92 for doubt, (low, high) in known}


@dataclass(frozen=True, slots=True)
class Renamed:
    """What a column of version 1 is called now; `factor` times its value is today's."""

    key: str
    factor: float = 1.0


def stem(column: Column) -> str:
    """Return the key of a column without its unit.

    Examples
    --------
    >>> stem(COLUMN["density_kg_m3"]), stem(COLUMN["pressure_margin_percent"])
    ('density', 'pressure_margin')
    """
    unit = "percent" if column.unit == "%" else column.unit
    return column.key.removesuffix("_" + unit.replace("/", "_").replace(" ", "_"))


#: Columns of the documents ``castsugar.<what>/1``: old key -> what became of it.
RENAMED = {
    "system_molar_mass_g_mol": Renamed("products_molar_mass_g_mol"),
    "solids_over_packing": Renamed("relative_solids_pour"),
    "set_ratio": Renamed("relative_solids_20C"),
    "pour_window_width_C": Renamed("pour_window_width_K"),
    "chamber_pressure_MPa": Renamed("peak_pressure_MPa"),
    "chamber_pressure_p95_MPa": Renamed("peak_pressure_p95_MPa"),
    "pressure_margin": Renamed("pressure_margin_percent", 100.0),
}


def renamed(row: Mapping[str, Any]) -> dict[str, Any]:
    """Return a row that may be of version 1 under today's keys.

    Examples
    --------
    >>> renamed({"pressure_margin": 0.25, "kn_max": 300.0})
    {'pressure_margin_percent': 25.0, 'kn_max': 300.0}
    """
    found = {}
    for key, value in row.items():
        now = RENAMED.get(key, Renamed(key))
        found[now.key] = value if now.factor == 1.0 else now.factor * value
    return found


#: Columns of which no search looks for the highest, and for the lowest; and why.
_NOT_MOST = (
    "peak_pressure_MPa",
    "peak_pressure_p95_MPa",
    "peak_pressure_p95_this_batch_MPa",
)
_NOT_LEAST = ("pressure_margin_percent",)
NEVER = (
    "pressure and burning rate burst cases and add no impulse; limit the pressure, and "
    "look for impulse"
)


def no_aim(column: str, *, more: bool) -> str:
    """Return why more, or less, of a column is no aim; empty if it may be one.

    Examples
    --------
    >>> no_aim("pressure_margin_percent", more=False).partition(":")[0]
    'least pressure_margin_percent is no goal'
    """
    if column not in (_NOT_MOST if more else _NOT_LEAST):
        return ""
    return f"{'most' if more else 'least'} {column} is no goal: {NEVER}"
