"""Equilibrium composition at given temperature and pressure, by Cantera."""

from __future__ import annotations

import contextlib
import functools
import io
from typing import Any

import numpy as np

from castsugar.arrays import FloatArray, IntArray
from castsugar.errors import ConvergenceError
from castsugar.thermo import certificate, mixture
from castsugar.thermo.species import SpeciesTable

#: Density given to Cantera's condensed phases [kg/m3]: so large that their volume,
#: and with it the pressure term of g, is nil. The true density is a fact elsewhere.
NO_VOLUME_DENSITY = 1.0e9

#: Temperatures between which Cantera's copies of the fits are declared [K].
WIDEST_RANGE = (100.0, 10000.0)

_TOLERANCE = 1e-10
_STEPS = {"vcs": 600, "gibbs": 5000}

#: Cantera's solvers in turn, each with where it starts: from its last composition, from
#: atomic gas, or from the pure species of least g. The second solver takes over where
#: the first gives up (graphite), and can, because the continued fits leave no phase
#: outside its range; from atomic gas it gives up there too.
_LADDER = (("vcs", "last"), ("vcs", "atoms"), ("gibbs", "vertex"))


class Composer:
    """Cantera's phases for one species table, reused from call to call.

    Parameters
    ----------
    table : SpeciesTable
        Species of the elements that are present.
    """

    def __init__(self, table: SpeciesTable) -> None:
        import cantera as ct

        self.table = table
        self.solves = 0
        self._error = ct.CanteraError
        self._mixture_class = ct.Mixture
        self._gas = gas_phase(table)
        self._phases = [
            condensed_phase(table, i) for i in range(len(table.phase.names))
        ]
        self._mixtures: dict[tuple[int, ...], Any] = {}
        self._warm: set[tuple[int, ...]] = set()
        self._ladder = _LADDER
        self._atomic = [table.gas.names.index(e) for e in table.elements]

    def forget(self) -> None:
        """Start the next solves from the elements, not from the last compositions.

        So that a result depends on what was asked only, to the last bit.
        """
        self._warm.clear()
        self._ladder = _LADDER

    def solve(
        self,
        temperature: float,
        pressure: float,
        elements: FloatArray,
        offered: IntArray,
    ) -> FloatArray:
        """Return the equilibrium amounts of all species of the table. [mol/kg]

        Parameters
        ----------
        temperature, pressure : float
            [K], [Pa]
        elements : ndarray, shape (elements,)
            [mol/kg]
        offered : ndarray of int
            Condensed phases that may form.

        Raises
        ------
        ConvergenceError
            If no start leads to a composition that passes the certificate.
        """
        problem = ""
        for attempt in self._ladder:
            try:
                amounts = self._attempt(
                    attempt,
                    temperature,
                    pressure,
                    elements,
                    tuple(int(i) for i in offered),
                )
            except self._error as error:
                problem = " ".join(str(error).replace("*", " ").split())[:160]
                continue
            problem = self._complaint(temperature, pressure, amounts, elements, offered)
            if not problem:
                if attempt == _LADDER[-1]:  # its neighbours will need it too
                    self._ladder = _LADDER[::-1]
                return amounts
        raise ConvergenceError(
            f"Cantera found no equilibrium at {temperature:.2f} K and "
            f"{pressure:.0f} Pa: {problem}"
        )

    def _attempt(
        self,
        attempt: tuple[str, str],
        temperature: float,
        pressure: float,
        elements: FloatArray,
        offered: tuple[int, ...],
    ) -> FloatArray:
        """Equilibrate once from one start."""
        solver, start = attempt
        warm = start == "last" and offered in self._warm
        self._warm.add(offered)
        mixed = self._mixture(offered)
        count = mixture.gas_count(self.table)
        if start == "vertex":
            mixed.species_moles = self._vertex(temperature, pressure, elements, offered)
        elif not warm or not self._same_elements(mixed, elements):
            atoms = np.zeros(count + len(offered))
            atoms[self._atomic] = elements
            mixed.species_moles = atoms
        mixed.P = pressure
        mixed.T = temperature
        self._equilibrate(mixed, solver)
        found = np.asarray(mixed.species_moles, dtype=float)
        amounts = np.zeros(count + len(self.table.phase.names))
        amounts[:count] = found[:count]
        amounts[count + np.array(offered, dtype=int)] = found[count:]
        return amounts

    def _vertex(
        self,
        temperature: float,
        pressure: float,
        elements: FloatArray,
        offered: tuple[int, ...],
    ) -> FloatArray:
        """Return the amounts of least g if nothing mixed: a linear program."""
        from scipy.optimize import linprog

        count = mixture.gas_count(self.table)
        limits = mixture.functions(self.table, np.array(temperature)).g
        limits[:count] += np.log(pressure / self.table.reference_pressure)
        kept = np.array([*range(count), *(count + i for i in offered)])
        atoms = self.table.atoms[kept].T
        found = linprog(limits[kept], A_eq=atoms, b_eq=elements, bounds=(0, None))
        if found.status != 0:
            raise self._error("no start was found")
        return np.asarray(found.x, dtype=float)

    def _equilibrate(self, mixed: Any, solver: str) -> None:
        """Let Cantera equilibrate, without its messages on the screen."""
        self.solves += 1
        with contextlib.redirect_stdout(io.StringIO()):
            steps = _STEPS[solver]
            mixed.equilibrate("TP", solver=solver, rtol=_TOLERANCE, max_steps=steps)

    def _mixture(self, offered: tuple[int, ...]) -> Any:
        """Return the Cantera mixture of the gas and the offered phases."""
        if offered not in self._mixtures:
            phases = [(self._gas, 1.0), *((self._phases[i], 0.0) for i in offered)]
            self._mixtures[offered] = self._mixture_class(phases)
        return self._mixtures[offered]

    def _same_elements(self, mixed: Any, elements: FloatArray) -> bool:
        """Whether a mixture holds exactly these elements from the last call."""
        held = [mixed.element_moles(e) for e in self.table.elements]
        return bool(np.abs(held - elements).max() <= 1e-13 * elements.max())

    def _complaint(
        self,
        temperature: float,
        pressure: float,
        amounts: FloatArray,
        elements: FloatArray,
        offered: IntArray,
    ) -> str:
        """Say what is wrong with a composition; empty if nothing is."""
        if not amounts[: mixture.gas_count(self.table)].sum() > 0.0:
            return "no gas is left"
        allowed = np.zeros(len(self.table.phase.names), dtype=bool)
        allowed[offered] = True
        result = certificate.certify(
            self.table,
            temperature=temperature,
            pressure=pressure,
            amounts=amounts,
            elements=elements,
            allowed=allowed,
        )
        return "; ".join(result.failures())


@functools.lru_cache(maxsize=16)
def composer(table: SpeciesTable) -> Composer:
    """Return the composer of a species table, made once."""
    return Composer(table)


def gas_phase(table: SpeciesTable) -> Any:
    """Make Cantera's copy of the gas."""
    import cantera as ct

    gas = table.gas
    low, high = WIDEST_RANGE
    species = [
        _species(
            table,
            name,
            gas.atoms[i],
            [low, gas.join, high],
            [gas.fit[0, :, i], gas.fit[1, :, i]],
        )
        for i, name in enumerate(gas.names)
    ]
    return ct.Solution(thermo="ideal-gas", species=species)


def condensed_phase(table: SpeciesTable, index: int) -> Any:
    """Make Cantera's copy of one condensed phase: pure and without volume.

    The only place where castsugar gives Cantera a condensed phase. The fits are the
    continued ones, so that a phase cannot misbehave outside its range.
    """
    import cantera as ct

    phase = table.phase
    joins = [t for t in phase.joins[:, index] if np.isfinite(t)]
    species = _species(
        table,
        phase.names[index],
        phase.atoms[index],
        [WIDEST_RANGE[0], *joins, WIDEST_RANGE[1]],
        [phase.fit[r, :, index] for r in range(len(joins) + 1)],
        {"model": "constant-volume", "density": NO_VOLUME_DENSITY},
    )
    return ct.Solution(thermo="fixed-stoichiometry", species=[species])


def _species(
    table: SpeciesTable,
    name: str,
    atoms: FloatArray,
    ranges: list[float],
    rows: list[FloatArray],
    equation_of_state: dict[str, Any] | None = None,
) -> Any:
    """Make one Cantera species from a nine-term fit."""
    import cantera as ct

    counts = zip(table.elements, atoms, strict=True)
    entry: dict[str, Any] = {
        "name": name,
        "composition": {e: float(n) for e, n in counts if n},
        "thermo": {
            "model": "NASA9",
            "reference-pressure": table.reference_pressure,
            "temperature-ranges": [float(t) for t in ranges],
            "data": [row.tolist() for row in rows],
        },
    }
    if equation_of_state:
        entry["equation-of-state"] = equation_of_state
    return ct.Species.from_dict(entry)  # type: ignore[arg-type]
