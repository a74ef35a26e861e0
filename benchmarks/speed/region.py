"""The mixes of the speed benchmark: nitrate, sucrose and water, as plain arrays."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from castsugar import Mix
from castsugar.arrays import FloatArray, IntArray
from castsugar.constants import STANDARD_ATMOSPHERE
from castsugar.thermo import fits, solver
from castsugar.thermo.gibbs import solution
from castsugar.thermo.gibbs.solution import Flow
from castsugar.thermo.species import SpeciesTable, restrict

#: Mass fractions of the region: nitrate, water; sucrose is the rest.
NITRATE, WATER = (0.40, 0.85), (0.0, 0.10)
#: Points of the even grid along nitrate and water: 5,151 mixes.
GRID = (101, 51)
PRESSURE, EXIT_PRESSURE = 6.894757e6, STANDARD_ATMOSPHERE  # [Pa]
FAMILY = frozenset("CHONK")


@dataclass(frozen=True, eq=False)
class Mixes:
    """Mixes of one kilogram each."""

    nitrate: FloatArray  # mass fraction
    water: FloatArray  # mass fraction
    elements: FloatArray  # (n, elements) [mol/kg]
    enthalpy: FloatArray  # [J/kg]

    @property
    def count(self) -> int:
        """Number of mixes."""
        return len(self.enthalpy)

    def take(self, rows: IntArray) -> Mixes:
        """Return some of the mixes."""
        return Mixes(
            self.nitrate[rows],
            self.water[rows],
            self.elements[rows],
            self.enthalpy[rows],
        )

    def weighed(self, row: int) -> Mix:
        """Return one of the mixes as the user would weigh it."""
        nitrate, water = float(self.nitrate[row]), float(self.water[row])
        return Mix.weigh(
            {"KNO3": nitrate, "sucrose": 1.0 - nitrate - water, "water": water}
        )


def grid() -> Mixes:
    """Return the mixes spread evenly over the region."""
    axes = (
        np.linspace(*ends, n) for ends, n in zip((NITRATE, WATER), GRID, strict=True)
    )
    nitrate, water = np.meshgrid(*axes, indexing="ij")
    return _mixes(nitrate.ravel(), water.ravel())


def random(count: int, seed: int) -> Mixes:
    """Return mixes drawn evenly from the region."""
    generator = np.random.default_rng(seed)
    return _mixes(
        generator.uniform(*NITRATE, size=count), generator.uniform(*WATER, size=count)
    )


def solve(table: SpeciesTable, mixes: Mixes) -> Flow:
    """Solve chamber, throat and exit of all mixes, certificate included."""
    return solver.solve(
        solver.Job(
            table=table,
            elements=mixes.elements,
            enthalpy=mixes.enthalpy,
            pressure=np.full(mixes.count, PRESSURE),
            exit_pressure=EXIT_PRESSURE,
            flow="equilibrium",
        )
    )


def by_abundance(table: SpeciesTable, mixes: Mixes) -> tuple[str, ...]:
    """Return the gases of the family, the most abundant first.

    Abundance is the largest mole fraction at any chamber, throat or exit of the mixes.
    """
    own = restrict(table, FAMILY)
    model = solver.model_of(own)
    columns = [table.elements.index(e) for e in own.elements]
    found = solution.solve(
        model,
        mixes.elements[:, columns],
        mixes.enthalpy,
        np.full(mixes.count, PRESSURE),
        EXIT_PRESSURE,
        "equilibrium",
    ).solved
    if found is None:
        raise RuntimeError("no mix of the region was solved")
    largest = np.full(len(own.gas.names), -np.inf)
    for state in (found.chamber, found.throat, found.leaving):
        basis = fits.basis(state.temperature)
        log_activity = model.exponents(basis, state.temperature, state.potentials)
        log_fraction = log_activity - state.log_pressure[:, None]
        largest = np.fmax(largest, np.nanmax(log_fraction, axis=0))
    return tuple(own.gas.names[i] for i in np.argsort(-largest, kind="stable"))


def with_gases(table: SpeciesTable, names: tuple[str, ...]) -> SpeciesTable:
    """Return a table with only these gases, and all condensed phases."""
    gas = table.gas
    kept = [i for i, name in enumerate(gas.names) if name in names]
    return replace(
        table,
        gas=replace(
            gas,
            names=tuple(gas.names[i] for i in kept),
            atoms=gas.atoms[kept],
            molar_mass=gas.molar_mass[kept],
            fit=gas.fit[:, :, kept],
            sources=tuple(gas.sources[i] for i in kept),
        ),
    )


def _mixes(nitrate: FloatArray, water: FloatArray) -> Mixes:
    """Mix the constituents: elements and enthalpy are linear in mass."""
    shares = np.column_stack([nitrate, 1.0 - nitrate - water, water])
    pure = [Mix.weigh({name: 1.0}) for name in ("KNO3", "sucrose", "water")]
    return Mixes(
        nitrate,
        water,
        shares @ np.array([m.elements for m in pure]),
        shares @ np.array([m.enthalpy for m in pure]),
    )
