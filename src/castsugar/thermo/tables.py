"""Arrays of species data: what the reader returns and the solvers take."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from castsugar.arrays import FloatArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class GasTable:
    """Gas species: names, atoms and fits below and above one common join."""

    names: tuple[str, ...]
    atoms: FloatArray  # (species, elements)
    molar_mass: FloatArray  # (species,) [kg/mol]
    join: float  # temperature where the two fits meet [K]
    fit: FloatArray  # (2, 9, species): below, above the join
    sources: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PhaseTable:
    """Condensed phases: each pure, with fits continued outside their ranges."""

    names: tuple[str, ...]
    substances: tuple[str, ...]
    atoms: FloatArray  # (phases, elements)
    molar_mass: FloatArray  # (phases,) [kg/mol]
    joins: FloatArray  # (regions - 1, phases), +inf where a phase has fewer
    fit: FloatArray  # (regions, 9, phases)
    low: FloatArray  # (phases,) range of the published fit [K]
    high: FloatArray
    density: FloatArray  # (phases,) a fact, not part of the equilibrium [kg/m3]
    liquid: tuple[bool, ...]
    sources: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SpeciesTable:
    """All species that a set of elements can form.

    Attributes
    ----------
    gas, phase : GasTable, PhaseTable
        Gas species and pure condensed phases.
    transitions : tuple of (int, int, float)
        Index of the colder and the hotter form of one substance and the temperature
        [K] at which their g are equal (computed, not a range limit).
    reference_pressure : float
        Pressure of the standard state. [Pa]
    elements : tuple of str
        The elements of the columns of `atoms`.
    data_set : str
        Name of the data.
    """

    gas: GasTable
    phase: PhaseTable
    transitions: tuple[tuple[int, int, float], ...]
    reference_pressure: float
    elements: tuple[str, ...]
    data_set: str

    @property
    def names(self) -> tuple[str, ...]:
        """Gas names, then condensed phases."""
        return self.gas.names + self.phase.names

    @property
    def atoms(self) -> FloatArray:
        """Atoms of gases, then phases, shape (species, elements)."""
        return np.vstack([self.gas.atoms, self.phase.atoms])

    @property
    def molar_mass(self) -> FloatArray:
        """Molar masses of gases, then phases. [kg/mol]"""
        return np.concatenate([self.gas.molar_mass, self.phase.molar_mass])

    def at_reference_pressure(self, pressure: float) -> SpeciesTable:
        """Return the same fits read as data of another standard pressure.

        For comparison with work that took 1 bar data as 1 atm data.
        """
        return replace(self, reference_pressure=pressure)
