"""Flames of textbook fuels and dissociation of their products."""

from __future__ import annotations

import functools
from dataclasses import replace

import numpy as np

import castsugar as cs
from castsugar.constants import REFERENCE_TEMPERATURE
from castsugar.rows import shipped_species
from castsugar.thermo.species import SpeciesTable, select_phases
from published_checks.rows import Given
from published_checks.species import at

#: Oxygen with the nitrogen that comes with a mole of it (air as O2 + 3.76 N2).
OXIDIZERS = {
    "air": cs.Ingredient(
        name="air",
        formula={"O": 2.0, "N": 7.52},
        enthalpy_of_formation=0.0,  # elements in their reference state
        role="oxidizer",
    ),
    "oxygen": cs.Ingredient(
        name="oxygen", formula="O2", enthalpy_of_formation=0.0, role="oxidizer"
    ),
}

#: Raises the enthalpy of a gas so far that none of it is left [K, as h/R].
_NEVER = 2.0e5


@functools.cache
def fuel(species: str) -> cs.Ingredient:
    """Return a gas of the product file as an ingredient, at 298.15 K."""
    gas = shipped_species().gas
    counts = gas.atoms[gas.names.index(species)]
    elements = shipped_species().elements
    return cs.Ingredient(
        name=species,
        formula={e: float(n) for e, n in zip(elements, counts, strict=True) if n},
        enthalpy_of_formation=1e3 * at(species, REFERENCE_TEMPERATURE).h,
    )


def flame_temperature(given: Given) -> float:
    """Temperature of a stoichiometric flame, constant pressure, 298.15 K. [K]"""
    burnt = fuel(given.text("fuel"))
    oxidizer = OXIDIZERS[given.text("oxidizer")]
    atoms = burnt.composition
    oxygen = atoms.get("C", 0.0) + atoms.get("H", 0.0) / 4.0 - atoms.get("O", 0.0) / 2.0
    mix = cs.Mix.weigh(
        {burnt: burnt.molar_mass, oxidizer: oxygen * oxidizer.molar_mass}
    )
    return cs.equilibrium(mix, pressure=given.pressure()).temperature


def mole_fraction_at_temperature(given: Given) -> float:
    """Mole fraction of a gas where few species may form and T is prescribed."""
    allowed = tuple(given.text("species").split())
    state = cs.equilibrium(
        cs.Mix.weigh({fuel(given.text("of")): 1.0}),
        pressure=given.pressure(),
        temperature=given.number("temperature_K"),
        species=only(allowed),
    )
    return state.mole_fraction(given.text("gas"))


@functools.cache
def only(names: tuple[str, ...]) -> SpeciesTable:
    """Return the shipped species with only the gases `names`, as the source has it.

    The solver starts from atoms, so those stay in the list; their enthalpy is raised
    until none is left.
    """
    table = shipped_species()
    gas = table.gas
    atoms = [e for e in table.elements if e in gas.names and e not in names]
    keep = [gas.names.index(n) for n in (*names, *atoms)]
    fit = gas.fit[:, :, keep].copy()
    fit[:, 7, len(names) :] += _NEVER
    return replace(
        table,
        gas=replace(
            gas,
            names=(*names, *atoms),
            atoms=gas.atoms[keep],
            molar_mass=gas.molar_mass[keep],
            fit=fit,
            sources=tuple(gas.sources[i] for i in keep),
        ),
        phase=select_phases(table.phase, np.array([], dtype=int)),
        transitions=(),
    )
