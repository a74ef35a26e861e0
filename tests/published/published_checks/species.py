"""Functions of single species, constants of reactions, heats of formation."""

from __future__ import annotations

import functools
import math
import re
from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq

import castsugar as cs
from castsugar.constants import GAS_CONSTANT, REFERENCE_TEMPERATURE
from castsugar.rows import shipped_species
from castsugar.thermo.mixture import functions
from published_checks.rows import Given

#: One side of a reaction: "2 CO", "1.5 O2", "K2CO3(L)".
_TERM = re.compile(r"(?:([\d.]+) )?(\S+)")


@dataclass(frozen=True, slots=True)
class Functions:
    """Functions of one species at one temperature. [kJ/mol], [J/(mol K)]"""

    h: float
    s: float


@functools.cache
def at(species: str, temperature: float) -> Functions:
    """Return enthalpy (formation included) and entropy at 1 bar."""
    table = shipped_species()
    values = functions(table, np.array(temperature))
    index = table.names.index(species)
    return Functions(
        h=float(values.h[index]) * GAS_CONSTANT * temperature / 1e3,
        s=float(values.s[index]) * GAS_CONSTANT,
    )


def enthalpy(given: Given) -> float:
    """Enthalpy of formation at 298.15 K plus increment. [kJ/mol]"""
    return at(given.text("species"), given.number("temperature_K")).h


def formation_enthalpy(given: Given) -> float:
    """Enthalpy of formation of a product at 298.15 K. [kJ/mol]"""
    return at(given.text("species"), REFERENCE_TEMPERATURE).h


def entropy(given: Given) -> float:
    """Entropy at 1 bar. [J/(mol K)]"""
    return at(given.text("species"), given.number("temperature_K")).s


def enthalpy_increment(given: Given) -> float:
    """H - H(298.15 K); the crystal's H(298.15 K) for a liquid. [kJ/mol]"""
    return enthalpy(given) - at(given.text("from"), REFERENCE_TEMPERATURE).h


def gibbs_function(given: Given) -> float:
    """-[G - H(298.15 K)]/T. [J/(mol K)]"""
    increment = 1e3 * enthalpy_increment(given)
    return entropy(given) - increment / given.number("temperature_K")


def log_constant(reaction: str, temperature: float) -> float:
    """Return log10 of the equilibrium constant, standard pressure 1 bar."""
    total = 0.0
    for side, sign in zip(reaction.split(" = "), (1.0, -1.0), strict=True):
        for term in side.split(" + "):
            match = _TERM.fullmatch(term)
            assert match is not None, term
            own = at(match[2], temperature)
            g = 1e3 * own.h / temperature - own.s
            total += sign * float(match[1] or 1) * g / GAS_CONSTANT
    return total / math.log(10.0)


def log10_equilibrium_constant(given: Given) -> float:
    """log10 K of a reaction."""
    return log_constant(given.text("reaction"), given.number("temperature_K"))


def equilibrium_constant(given: Given) -> float:
    """K of a reaction."""
    return math.pow(10.0, log10_equilibrium_constant(given))


def temperature_of_unit_constant(given: Given) -> float:
    """Temperature at which K of a reaction is 1. [K]"""
    reaction = given.text("reaction")
    return float(brentq(lambda t: log_constant(reaction, t), 500.0, 2000.0))


def melting_temperature(given: Given) -> float:
    """Temperature at which solid and liquid have equal g. [K]"""
    table = shipped_species()
    names = given.text("solid"), given.text("liquid")
    found = [
        limit
        for cold, hot, limit in table.transitions
        if (table.phase.names[cold], table.phase.names[hot]) == names
    ]
    assert len(found) == 1, names
    return found[0]


def ingredient_formation_enthalpy(given: Given) -> float:
    """Enthalpy of formation of an ingredient, as shipped. [kJ/mol]"""
    database = cs.load_database()
    ingredient = database.ingredients[given.text("ingredient")]
    return ingredient.enthalpy_of_formation / 1e3


def combustion_enthalpy(given: Given) -> float:
    """Heat of combustion of an ingredient to CO2 and liquid water. [kJ/mol]"""
    database = cs.load_database()
    fuel = database.ingredients[given.text("ingredient")]
    water = database.ingredients["water"]
    carbon_dioxide = at("CO2", REFERENCE_TEMPERATURE).h
    atoms = fuel.composition
    return (
        atoms["C"] * carbon_dioxide
        + atoms["H"] / 2.0 * water.enthalpy_of_formation / 1e3
        - fuel.enthalpy_of_formation / 1e3
    )
