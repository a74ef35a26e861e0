"""One state of the burnt mix: composition, properties and certificate."""

from __future__ import annotations

import math
from dataclasses import field
from typing import TYPE_CHECKING, Any

import numpy as np

from castsugar import plain
from castsugar.arrays import FloatArray
from castsugar.constants import GAS_CONSTANT
from castsugar.errors import ConvergenceError, deprecated
from castsugar.frozen import dataclass
from castsugar.mix.basis import Cited, stamped
from castsugar.thermo import mixture
from castsugar.thermo.certificate import Certificate, certify
from castsugar.thermo.species import SpeciesTable

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class State(Cited):
    """A state of the combustion products, per kilogram of mix.

    Attributes
    ----------
    temperature, pressure : float
        [K], [Pa]
    species : tuple of str
        Gases, then condensed phases.
    gas_count : int
        How many of `species` are gases.
    amounts : ndarray, shape (species,)
        [mol/kg]
    enthalpy, entropy : float
        [J/kg], [J/(kg K)]; inert matter is left out.
    gas_molar_mass : float
        Of the gas alone. [kg/mol]
    effective_molar_mass : float
        Mass of mix per mole of gas; the one in p v = R T / M and with the equilibrium
        exponent. [kg/mol]
    products_molar_mass : float
        Mass of mix per mole of gas and condensed phases. [kg/mol]
    condensed_mass_fraction : float
        Mass that is not gas, inert matter included. [-]
    gas_heat_capacity : float
        Of the gas alone at constant pressure, its composition held. [J/(kg K)]
    isentropic_exponent : float
        Of the equilibrium (finite also on a melting plateau), or of the held
        composition in a frozen flow. [-]
    on_plateau : bool
        Whether two forms of one substance are present.
    certificate : Certificate
        Residuals of the conditions that define the state.
    basis : dict
        What it rests on, as :func:`castsugar.mix.basis.basis`; empty of a state that
        is part of another answer.
    """

    temperature: float
    pressure: float
    species: tuple[str, ...]
    gas_count: int
    amounts: FloatArray
    enthalpy: float
    entropy: float
    gas_molar_mass: float
    effective_molar_mass: float
    products_molar_mass: float
    condensed_mass_fraction: float
    gas_heat_capacity: float
    isentropic_exponent: float
    on_plateau: bool
    certificate: Certificate
    basis: dict[str, Any] = field(default_factory=dict, repr=False)

    @property
    def system_molar_mass(self) -> float:
        """Old name of `products_molar_mass`. [kg/mol]"""
        deprecated("State.system_molar_mass", "products_molar_mass", "0.2.0")
        return self.products_molar_mass

    @property
    def gas_moles(self) -> float:
        """Amount of gas. [mol/kg]"""
        return 1.0 / self.effective_molar_mass

    @property
    def gas_exponent(self) -> float:
        """Isentropic exponent of the gas alone, its composition held. [-]

        Belongs with the molar mass of the gas.
        """
        constant = GAS_CONSTANT / self.gas_molar_mass
        return self.gas_heat_capacity / (self.gas_heat_capacity - constant)

    def amount(self, name: str) -> float:
        """Return the amount of one species; 0 if it is not in the list. [mol/kg]"""
        return (
            float(self.amounts[self.species.index(name)])
            if name in self.species
            else 0.0
        )

    def mole_fraction(self, name: str) -> float:
        """Return the mole fraction of a gas in the gas."""
        return self.amount(name) * self.effective_molar_mass

    def main_species(self, least: float = 1e-3) -> dict[str, float]:
        """Return the species of at least `least` mol/kg, largest first. [mol/kg]"""
        order = np.argsort(-self.amounts, kind="stable")
        return {
            self.species[i]: float(self.amounts[i])
            for i in order
            if self.amounts[i] >= least
        }

    def to_dict(self) -> dict[str, Any]:
        """Return plain values, units in the keys."""
        certificate = self.certificate
        return {
            "temperature_K": self.temperature,
            "pressure_Pa": self.pressure,
            "gas_molar_mass_g_mol": 1e3 * self.gas_molar_mass,
            "effective_molar_mass_g_mol": 1e3 * self.effective_molar_mass,
            "products_molar_mass_g_mol": 1e3 * self.products_molar_mass,
            "gas_moles_mol_kg": self.gas_moles,
            "condensed_mass_fraction": self.condensed_mass_fraction,
            "isentropic_exponent": self.isentropic_exponent,
            "enthalpy_J_kg": self.enthalpy,
            "entropy_J_kg_K": self.entropy,
            "on_plateau": self.on_plateau,
            "species_mol_kg": self.main_species(1e-6),
            "certificate": {
                "passed": certificate.passed,
                "elements": certificate.elements,
                "equilibrium": certificate.equilibrium,
                "affinity": certificate.affinity,
                "energy": certificate.energy,
                "entropy": certificate.entropy,
                "pressure": certificate.pressure,
                "flux": certificate.flux,
                "excluded": list(certificate.excluded),
            },
        }

    def to_frame(self, least: float = 1e-6) -> pd.DataFrame:
        """Return a table of species: amount and mole fraction in the gas."""
        import pandas as pd

        names = list(self.main_species(least))
        gas = set(self.species[: self.gas_count])
        return stamped(
            pd.DataFrame(
                {
                    "species": names,
                    "amount_mol_kg": [self.amount(n) for n in names],
                    "mole_fraction_in_gas": [
                        self.mole_fraction(n) if n in gas else np.nan for n in names
                    ],
                }
            ),
            self.basis,
        )

    def to_json(self) -> str:
        """Return :meth:`to_dict` as JSON."""
        return plain.to_json(self.to_dict())

    def _repr_html_(self) -> str:
        verdict = "checked" if self.certificate.passed else "FAILS ITS CHECK"
        return plain.html_table(
            ("species", "mol/kg"),
            [(n, f"{v:.4f}") for n, v in list(self.main_species().items())[:12]],
            f"{self.temperature:.1f} K, {self.pressure / 1e6:.4g} MPa; {verdict}",
        )


def certified(  # noqa: PLR0913 - what was prescribed, each by name
    table: SpeciesTable,
    amounts: FloatArray,
    temperature: float,
    pressure: float,
    elements: FloatArray,
    *,
    enthalpy: float | None = None,
    entropy: float | None = None,
    solved_pressure: float | None = None,
    flux: float = math.nan,
    composition_held: bool = False,
    excluded: tuple[str, ...] = (),
) -> State:
    """Test a composition from its amounts alone, and complete it to a state.

    Parameters
    ----------
    table : SpeciesTable
        Species that were allowed.
    amounts : ndarray, shape (species,)
        [mol/kg]
    temperature, pressure : float
        [K], [Pa]
    elements : ndarray, shape (elements,)
        What the mix brought. [mol/kg]
    enthalpy, entropy : float, optional
        What was prescribed. [J/kg], [J/(kg K)]
    solved_pressure : float, optional
        Where the solver ended when asked for `pressure`. [Pa]
    flux : float
        Of a throat: see :class:`~castsugar.thermo.certificate.Certificate`.
    composition_held : bool
        Frozen flow: equilibrium is not tested, the exponent is the frozen one.
    excluded : tuple of str
        Phases that the flow does not allow.

    Raises
    ------
    ConvergenceError
        If a residual is outside its limit: such a state is never returned.
    """
    result = certify(
        table,
        temperature=temperature,
        pressure=pressure,
        amounts=amounts,
        elements=elements,
        target_enthalpy=enthalpy,
        target_entropy=entropy,
        solved_pressure=solved_pressure,
        flux=flux,
        composition_held=composition_held,
        excluded=excluded,
    )
    if not result.passed:
        raise ConvergenceError(
            f"a state at {temperature:.2f} K and {pressure:.0f} Pa fails its check: "
            f"{'; '.join(result.failures())}"
        )
    count = mixture.gas_count(table)
    gas = amounts[:count]
    n_gas, gas_mass = float(gas.sum()), float(gas @ table.gas.molar_mass)
    of_gas = np.concatenate([gas, np.zeros(len(amounts) - count)])
    heat = mixture.frozen_heat_capacity(table, np.array(temperature), of_gas)
    held = amounts.copy()
    held.flags.writeable = False
    t = np.array([temperature])
    present = {table.phase.names[i] for i in np.flatnonzero(amounts[count:] > 0.0)}
    pairs = (
        (table.phase.names[c], table.phase.names[h]) for c, h, _ in table.transitions
    )
    if composition_held:
        exponent = mixture.frozen_exponent(table, t, amounts[None, :])
    else:
        exponent = mixture.isentropic_exponent(table, t, amounts[None, :])
    return State(
        temperature=temperature,
        pressure=pressure,
        species=table.names,
        gas_count=count,
        amounts=held,
        enthalpy=float(mixture.enthalpy(table, t[0], amounts)),
        entropy=float(mixture.entropy(table, t[0], np.array(pressure), amounts)),
        gas_molar_mass=gas_mass / n_gas,
        effective_molar_mass=1.0 / n_gas,
        products_molar_mass=1.0 / float(amounts.sum()),
        condensed_mass_fraction=1.0 - gas_mass,
        gas_heat_capacity=float(heat) / gas_mass,
        isentropic_exponent=float(exponent[0]),
        on_plateau=any(cold in present and hot in present for cold, hot in pairs),
        certificate=result,
    )
