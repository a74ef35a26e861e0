"""castsugar: what a nitrate-sugar mix does, before it is cooked.

Weighed recipe in, decision out. The public names are loaded when first used, so that
``import castsugar`` is quick.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from castsugar import (
        bench,
        firing,
        kitchen,
        motor,
        optimize,
        plot,
        records,
        strands,
        weigh,
    )
    from castsugar.ballistic_input.block import Ballistics, ballistics
    from castsugar.columns import COLUMNS
    from castsugar.comparison.change import Change, justify
    from castsugar.comparison.claims import Claim
    from castsugar.comparison.compare import Comparison, compare
    from castsugar.comparison.uncertain_inputs import Conditions, Doubts
    from castsugar.data.load import Database, load_database
    from castsugar.data.records import Ingredient
    from castsugar.errors import (
        CastsugarError,
        ConvergenceError,
        DataError,
        InputError,
        RefusedError,
        UnknownNameError,
        ValidityError,
        WorkerError,
    )
    from castsugar.evaluation import equilibrium, evaluate, performance, sensitivities
    from castsugar.kitchen.heat import Cook
    from castsugar.kitchen.parameters import Kitchen
    from castsugar.kitchen.pour_table import kitchen_table
    from castsugar.limits import Limit, Requirement
    from castsugar.mix.basis import cite
    from castsugar.mix.blends import Blends, blend
    from castsugar.mix.mix import Mix
    from castsugar.mix.text import Recipe, parse_recipe
    from castsugar.mix.weighing import Lot
    from castsugar.motor.hardware import Hardware
    from castsugar.optimize.search import search
    from castsugar.proof import Proof, prove
    from castsugar.rows import species_file, species_set
    from castsugar.sensitivity import Sensitivities
    from castsugar.thermo.flow import FlowSolution
    from castsugar.thermo.second_opinion.hand_over import InCantera, to_cantera
    from castsugar.thermo.species import SpeciesTable
    from castsugar.thermo.states import State

__version__ = "0.2.0"

_PLACES = {
    "Ballistics": "ballistic_input.block",
    "Blends": "mix.blends",
    "COLUMNS": "columns",
    "CastsugarError": "errors",
    "Change": "comparison.change",
    "Claim": "comparison.claims",
    "Comparison": "comparison.compare",
    "Conditions": "comparison.uncertain_inputs",
    "ConvergenceError": "errors",
    "Cook": "kitchen.heat",
    "DataError": "errors",
    "Database": "data",
    "Doubts": "comparison.uncertain_inputs",
    "FlowSolution": "thermo.flow",
    "Hardware": "motor.hardware",
    "InCantera": "thermo.second_opinion.hand_over",
    "Ingredient": "data",
    "InputError": "errors",
    "Kitchen": "kitchen.parameters",
    "Limit": "limits",
    "Lot": "mix.weighing",
    "Mix": "mix.mix",
    "Proof": "proof",
    "Recipe": "mix.text",
    "RefusedError": "errors",
    "Requirement": "limits",
    "Sensitivities": "sensitivity",
    "SpeciesTable": "thermo.species",
    "State": "thermo.states",
    "UnknownNameError": "errors",
    "ValidityError": "errors",
    "WorkerError": "errors",
    "ballistics": "ballistic_input.block",
    "blend": "mix.blends",
    "cite": "mix.basis",
    "compare": "comparison.compare",
    "equilibrium": "evaluation",
    "evaluate": "evaluation",
    "justify": "comparison.change",
    "kitchen_table": "kitchen.pour_table",
    "load_database": "data",
    "parse_recipe": "mix.text",
    "performance": "evaluation",
    "prove": "proof",
    "search": "optimize.search",
    "sensitivities": "evaluation",
    "species_file": "rows",
    "species_set": "rows",
    "to_cantera": "thermo.second_opinion.hand_over",
}

__all__ = [
    "COLUMNS",
    "Ballistics",
    "Blends",
    "CastsugarError",
    "Change",
    "Claim",
    "Comparison",
    "Conditions",
    "ConvergenceError",
    "Cook",
    "DataError",
    "Database",
    "Doubts",
    "FlowSolution",
    "Hardware",
    "InCantera",
    "Ingredient",
    "InputError",
    "Kitchen",
    "Limit",
    "Lot",
    "Mix",
    "Proof",
    "Recipe",
    "RefusedError",
    "Requirement",
    "Sensitivities",
    "SpeciesTable",
    "State",
    "UnknownNameError",
    "ValidityError",
    "WorkerError",
    "__version__",
    "ballistics",
    "bench",
    "blend",
    "cite",
    "compare",
    "equilibrium",
    "evaluate",
    "firing",
    "justify",
    "kitchen",
    "kitchen_table",
    "load_database",
    "motor",
    "optimize",
    "parse_recipe",
    "performance",
    "plot",
    "prove",
    "records",
    "search",
    "sensitivities",
    "species_file",
    "species_set",
    "strands",
    "to_cantera",
    "weigh",
]


#: What each command does, in Python: modules of their own.
_SPACES = (
    "bench",
    "firing",
    "kitchen",
    "motor",
    "optimize",
    "plot",
    "records",
    "strands",
    "weigh",
)


def __getattr__(name: str) -> Any:
    """Load a public name when it is first used."""
    if name in _SPACES:
        return importlib.import_module(f"castsugar.{name}")
    if name in _PLACES:
        return getattr(importlib.import_module(f"castsugar.{_PLACES[name]}"), name)
    raise AttributeError(f"module 'castsugar' has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted(__all__)
