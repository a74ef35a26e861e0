"""What somebody needs to go on with a mix in Cantera."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import numpy as np

from castsugar.checks import instance, number
from castsugar.data.load import products_file
from castsugar.errors import InputError
from castsugar.frozen import dataclass
from castsugar.mix.mix import MixLike, as_mix
from castsugar.thermo.flow import stable_forms
from castsugar.thermo.second_opinion.composition import (
    WIDEST_RANGE,
    condensed_phase,
    gas_phase,
)
from castsugar.thermo.solver import charge_of
from castsugar.thermo.species import SpeciesTable
from castsugar.thermo.species_arrays import known_species

if TYPE_CHECKING:
    import cantera as ct


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class InCantera:
    """One kilogram of a mix, and Cantera's phases of what it may burn to.

    Attributes
    ----------
    gas : cantera.Solution
        Ideal, reference pressure 1 bar.
    condensed : dict
        Name to a ``cantera.Solution`` of one pure solid or liquid without volume.
    elements : dict
        Name to amount in one kilogram. [kmol]
    enthalpy : float
        Of one kilogram, of formation at 298.15 K. [J]
    species : SpeciesTable
    """

    gas: ct.Solution
    condensed: Mapping[str, Any]
    elements: Mapping[str, float]
    enthalpy: float
    species: SpeciesTable

    def mixture(self, temperature: float, pressure: float) -> ct.Mixture:
        """Return a ``cantera.Mixture`` of one kilogram, not in equilibrium yet.

        It starts from atomic gas and holds the solids and liquids that are stable forms
        at that temperature: make a new one for another.

        Parameters
        ----------
        temperature : float
            100 to 10,000 K; the species data cover 300 to 5000 K. [K]
        pressure : float
            Absolute. [Pa]

        Raises
        ------
        InputError
            For a temperature outside that range, a pressure that is not above 0.
        """
        import cantera as ct

        low, high = WIDEST_RANGE
        if not low <= number(temperature, "temperature", "K") <= high:
            raise InputError(
                f"temperature is {temperature:g} K; allowed: {low:g} to {high:g} K"
            )
        if not 0.0 < number(pressure, "pressure", "Pa") < np.inf:
            raise InputError(f"pressure is {pressure:g} Pa; give one above 0")
        names = self.species.phase.names
        offered = [names[i] for i in stable_forms(self.species, temperature)]
        phases = [(self.gas, 1.0), *((self.condensed[name], 0.0) for name in offered)]
        mixed = ct.Mixture(phases)
        atoms = np.zeros(mixed.n_species)
        for element, amount in self.elements.items():
            atoms[self.gas.species_index(element)] = amount
        mixed.species_moles = atoms
        mixed.T, mixed.P = temperature, pressure
        return mixed


def to_cantera(mix: MixLike, *, species: SpeciesTable | None = None) -> InCantera:
    """Return a mix and its products as Cantera's objects, to go on there.

    Parameters
    ----------
    mix : Mix, recipe or recipe text
        As cast; inert matter is left out, as everywhere.
    species : SpeciesTable, optional
        The shipped products by default; see :func:`castsugar.species_set`.

    Returns
    -------
    InCantera
        Gas and condensed phases with the elements of the mix; amounts in Cantera's
        kmol, enthalpy in J, both of one kilogram of mix. The objects are new ones.

    Raises
    ------
    InputError
        For what is no mix, and for inert matter alone.
    RefusedError
        For a dummy: it does not burn.
    ValidityError
        For sugar that was degraded too far in the cook.

    Notes
    -----
    Valid where Cantera's are not by themselves: condensed phases have no volume (a
    density of 1e9 kg/m3; Cantera takes 0.001 where none is declared, and potassium
    carbonate vanishes at pressure), fits are continued beyond their ranges so that no
    phase becomes falsely stable, the reference pressure is 1 bar.

    Let the temperature be sought as below. Cantera's own solver of given enthalpy
    (``equilibrate("HP")``) returns wrong states on a melting plateau, such as that of
    potassium carbonate at 1174 K, and no error; on a plateau the enthalpy below jumps,
    and the search ends at the jump.

    Examples
    --------
    >>> import castsugar as cs
    >>> from scipy.optimize import brentq
    >>> made = cs.to_cantera("KNO3:65 sucrose:35")
    >>> def excess(temperature):
    ...     mixed = made.mixture(temperature, 6.894757e6)
    ...     mixed.equilibrate("TP", solver="vcs", rtol=1e-10)
    ...     phases = range(mixed.n_phases)
    ...     heat = [mixed.phase_moles(i) * mixed.phase(i).enthalpy_mole for i in phases]
    ...     return sum(heat) - made.enthalpy
    >>> temperature = brentq(excess, 1500.0, 1900.0, xtol=1e-4)
    >>> ours = cs.equilibrium("KNO3:65 sucrose:35", pressure=6.894757e6).temperature
    >>> abs(temperature - ours) < 0.01
    True
    """
    instance(species, SpeciesTable, "species")
    table, charge = charge_of(as_mix(mix), species or known_species(products_file()))
    names = table.phase.names
    amounts = zip(table.elements, (1e-3 * charge.elements).tolist(), strict=True)
    return InCantera(
        gas=gas_phase(table),
        condensed={name: condensed_phase(table, i) for i, name in enumerate(names)},
        elements=dict(amounts),
        enthalpy=charge.enthalpy,
        species=table,
    )
