"""Our value beside each published one.

`EVALUATORS` maps the quantity of a row to the function that computes it from the
row's conditions, and its unit; :func:`ours` evaluates one row and :func:`summary`
all of them. Importable by tests and benchmarks with ``tests/published`` on the path.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from published_checks import erosion, flames, motor, nitrate_sugar, nozzle, species
from published_checks.comparing import compared, value_of
from published_checks.disputed import DISPUTED
from published_checks.rows import KINDS, Given, Row, read_rows

__all__ = [
    "DISPUTED",
    "EVALUATORS",
    "KINDS",
    "Row",
    "ours",
    "read_rows",
    "summary",
]

_FUNCTIONS: dict[str, tuple[Callable[[Given], float], ...]] = {
    "K": (
        flames.flame_temperature,
        species.temperature_of_unit_constant,
        species.melting_temperature,
        nozzle.handbook_temperature,
        nitrate_sugar.mix_temperature,
    ),
    "1": (
        flames.mole_fraction_at_temperature,
        species.log10_equilibrium_constant,
        species.equilibrium_constant,
        nozzle.pressure_ratio,
        nozzle.temperature_ratio,
        nozzle.area_ratio,
        nozzle.vandenkerckhove_function,
        motor.critical_pressure_ratio,
        motor.vacuum_thrust_coefficient,
        motor.optimum_expansion_ratio,
        motor.optimum_thrust_coefficient,
        motor.cone_efficiency,
        motor.area_sensitivity,
        motor.gas_filling,
        motor.emptying_times_to_a_twentieth,
        motor.droplet_velocity_lag,
        motor.two_phase_exponent,
        erosion.mukunda_paul_ratio,
        erosion.lenoir_robillard_ratio,
        erosion.erosive_pressure_ratio,
        nitrate_sugar.mix_carbonate_mass_fraction,
        nitrate_sugar.mix_mole_fraction,
    ),
    "kJ/mol": (
        species.enthalpy,
        species.formation_enthalpy,
        species.enthalpy_increment,
        species.ingredient_formation_enthalpy,
        species.combustion_enthalpy,
    ),
    "J/(mol K)": (species.entropy, species.gibbs_function),
    "g/mol": (
        nozzle.handbook_gas_molar_mass,
        nitrate_sugar.mix_gas_molar_mass,
        nitrate_sugar.mix_effective_molar_mass,
    ),
    "mol/kg": (nitrate_sugar.mix_gas_moles,),
    "m/s": (
        nozzle.perfect_gas_exit_velocity,
        nozzle.handbook_characteristic_velocity,
        motor.measured_characteristic_velocity,
        motor.paired_characteristic_velocity,
        nitrate_sugar.mix_characteristic_velocity,
    ),
    "s": (
        nozzle.perfect_gas_specific_impulse,
        nozzle.handbook_specific_impulse,
        nitrate_sugar.mix_specific_impulse,
    ),
    "N": (nozzle.perfect_gas_thrust,),
    "MPa": (nozzle.chamber_pressure_for_mach, motor.steady_pressure),
    "ms": (motor.emptying_time,),
    "%": (motor.temperature_effect,),
    "kW/(m2 K)": (motor.throat_heat_transfer,),
}

#: Quantity -> (unit, function of the conditions).
EVALUATORS = {
    function.__name__: (unit, function)
    for unit, functions in _FUNCTIONS.items()
    for function in functions
}


def ours(row: Row) -> float:
    """Return our value for a row; see :func:`published_checks.comparing.value_of`."""
    return value_of(row, EVALUATORS)


def summary() -> list[dict[str, Any]]:
    """Return our value beside every published one, one dictionary a row."""
    return [compared(row, EVALUATORS, DISPUTED) for row in read_rows()]
