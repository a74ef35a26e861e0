"""What the minimiser knows: species, unknowns, and where a batch stands."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import fields
from typing import Protocol

import numpy as np

from castsugar.arrays import BoolArray, FloatArray, IntArray
from castsugar.frozen import dataclass
from castsugar.numerics import distinct
from castsugar.thermo import fits
from castsugar.thermo.species import PhaseTable, SpeciesTable

# ----------------------------------------------------------------------------
# What the solver must know of the species: atoms and functions of temperature.
#
# The solver sees species only through :class:`Model`. One model comes from the species
# table; a textbook problem with given numbers is another (``tests/thermo``).


@dataclass(slots=True, eq=False)
class Functions:
    """g/RT, h/RT and cp/R of species, shape (mixes, species)."""

    g: FloatArray
    h: FloatArray
    cp: FloatArray


class Model(Protocol):
    """Species as the solver sees them."""

    gas_atoms: FloatArray  # (gases, elements)
    phase_atoms: FloatArray  # (phases, elements)
    pairs: FloatArray  # (gases, elements squared): products of atoms
    transitions: tuple[tuple[int, int, float], ...]

    def side(self, temperature: FloatArray) -> IntArray:
        """Return which gas fit holds at a temperature: 0 below the join, else 1."""
        ...

    def exponents(
        self, basis: FloatArray, temperature: FloatArray, potentials: FloatArray
    ) -> FloatArray:
        """Return a.pi - g/RT of all gases."""
        ...

    def enthalpies(
        self, basis: FloatArray, temperature: FloatArray, kept: IntArray
    ) -> FloatArray:
        """Return h/RT of the gases `kept`."""
        ...

    def heat_capacity(
        self,
        basis: FloatArray,
        temperature: FloatArray,
        kept: IntArray,
        fractions: FloatArray,
    ) -> FloatArray:
        """Return the mean cp/R of the gases `kept` in each row."""
        ...

    def phases(self, basis: FloatArray, temperature: FloatArray) -> Functions:
        """Return the functions of the condensed phases."""
        ...


def atom_pairs(atoms: FloatArray) -> FloatArray:
    """Return a_i a_k of every species, shape (species, elements squared)."""
    return (atoms[:, :, None] * atoms[:, None, :]).reshape(len(atoms), -1)


class TableModel:
    """The model of a species table: a few matrix products a call.

    Parameters
    ----------
    table : SpeciesTable
        Species of the elements that are present.
    """

    def __init__(self, table: SpeciesTable) -> None:
        self.table = table
        self.gas_atoms = table.gas.atoms
        self.phase_atoms = table.phase.atoms
        self.pairs = atom_pairs(table.gas.atoms)
        self.transitions = table.transitions
        self.join = table.gas.join
        minus_g = [-fits.gibbs_terms(fit) for fit in table.gas.fit]
        self._exponents = [np.vstack([g, table.gas.atoms.T]) for g in minus_g]
        self._h = [fits.enthalpy_terms(fit) for fit in table.gas.fit]
        self._cp = [fits.heat_capacity_terms(fit) for fit in table.gas.fit]
        self._phase_edges, self._phase_terms = _intervals(table.phase)

    def side(self, temperature: FloatArray) -> IntArray:
        """Return which gas fit holds at a temperature: 0 below the join, else 1."""
        return (temperature >= self.join).astype(np.intp)

    def exponents(
        self, basis: FloatArray, temperature: FloatArray, potentials: FloatArray
    ) -> FloatArray:
        """Return a.pi - g/RT of all gases."""
        return _by_group(
            np.hstack([basis, potentials]),
            self.side(temperature),
            self._exponents.__getitem__,
        )

    def enthalpies(
        self, basis: FloatArray, temperature: FloatArray, kept: IntArray
    ) -> FloatArray:
        """Return h/RT of the gases `kept`."""
        return _by_group(
            basis, self.side(temperature), lambda group: self._h[group][:, kept]
        )

    def heat_capacity(
        self,
        basis: FloatArray,
        temperature: FloatArray,
        kept: IntArray,
        fractions: FloatArray,
    ) -> FloatArray:
        """Return the mean cp/R of the gases `kept` in each row."""
        mean = _by_group(
            fractions, self.side(temperature), lambda group: self._cp[group][:, kept].T
        )
        return (mean * basis).sum(axis=1)

    def phases(self, basis: FloatArray, temperature: FloatArray) -> Functions:
        """Return the functions of the condensed phases."""
        interval = np.searchsorted(self._phase_edges, temperature, side="right")
        values = _by_group(basis, interval, self._phase_terms.__getitem__)
        n = len(self.phase_atoms)
        return Functions(values[:, :n], values[:, n : 2 * n], values[:, 2 * n :])


def _by_group(
    left: FloatArray, group: IntArray, terms: Callable[[int], FloatArray]
) -> FloatArray:
    """Multiply each row with the terms of its group."""
    first = int(group[0]) if len(group) else 0
    if (group == first).all():
        return left @ terms(first)
    values: FloatArray | None = None
    for index in distinct(group):
        rows = group == index
        part = left[rows] @ terms(int(index))
        if values is None:
            values = np.empty((len(left), part.shape[1]))
        values[rows] = part
    return values if values is not None else left[:, :0]


def _intervals(phase: PhaseTable) -> tuple[FloatArray, list[FloatArray]]:
    """Cut the temperatures at every join of any phase; return edges and terms.

    Within one interval every phase has one fit, so that the terms of all phases are
    one matrix, shape (9, 3 phases): g, h, cp.
    """
    edges = distinct(phase.joins[np.isfinite(phase.joins)])
    columns = np.arange(len(phase.names))
    terms = []
    for low in [-np.inf, *edges]:
        region = (phase.joins <= low).sum(axis=0)
        terms.append(_stacked(phase.fit[region, :, columns].T))
    return edges, terms


def _stacked(fit: FloatArray) -> FloatArray:
    """Return the terms of g, h and cp side by side, shape (9, 3 species)."""
    return np.hstack(
        [
            fits.gibbs_terms(fit),
            fits.enthalpy_terms(fit),
            fits.heat_capacity_terms(fit),
        ]
    )


# ----------------------------------------------------------------------------
# The unknowns of a batch of states, and what is prescribed for each.


@dataclass(slots=True, eq=False)
class Batch:
    """What is prescribed, one row a mix."""

    elements: FloatArray  # (n, elements) [mol/kg]
    allowed: BoolArray  # (n, phases): may form
    held: BoolArray  # (n, phases): stays present whatever its amount
    solid_share: FloatArray  # (n, transitions): held share of the cold form, or NaN

    def take(self, rows: IntArray | BoolArray) -> Batch:
        """Return some of the rows."""
        return Batch(*(getattr(self, f.name)[rows] for f in fields(self)))


@dataclass(slots=True, eq=False)
class Iterate:
    """The unknowns, one row a mix; changed in place by the iteration."""

    potentials: FloatArray  # (n, elements): element potentials / RT
    log_moles: FloatArray  # (n,): ln of the amount of gas [mol/kg]
    temperature: FloatArray  # (n,): [K]
    log_pressure: FloatArray  # (n,): ln(p / reference pressure)
    amounts: FloatArray  # (n, phases): condensed amounts [mol/kg]
    active: BoolArray  # (n, phases): present

    def take(self, rows: IntArray | BoolArray) -> Iterate:
        """Return copies of some of the rows."""
        return Iterate(*(getattr(self, f.name)[rows].copy() for f in fields(self)))

    def put(self, rows: IntArray | BoolArray, other: Iterate) -> None:
        """Overwrite some of the rows."""
        for f in fields(self):
            getattr(self, f.name)[rows] = getattr(other, f.name)

    @property
    def count(self) -> int:
        """Number of rows."""
        return len(self.log_moles)

    @property
    def moles(self) -> FloatArray:
        """Amount of gas. [mol/kg]"""
        return np.exp(self.log_moles)
