"""How the answers move when the recipe or an enthalpy of formation moves."""

from __future__ import annotations

from dataclasses import field
from typing import TYPE_CHECKING, Any

import numpy as np

from castsugar.arrays import FloatArray
from castsugar.constants import ELEMENTS, STANDARD_GRAVITY
from castsugar.errors import ConvergenceError, InputError
from castsugar.frozen import dataclass
from castsugar.mix.basis import Cited, stamped
from castsugar.mix.mix import Mix
from castsugar.thermo.gibbs import sensitivity, solution
from castsugar.thermo.solver import charge_of, model_of
from castsugar.thermo.species import SpeciesTable

if TYPE_CHECKING:
    import pandas as pd

#: Flows whose derivatives are known in closed form.
FLOWS = ("equilibrium", "no-solidification")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Sensitivities(Cited):
    """Derivatives of one mix, at fixed chamber and exit pressure.

    Attributes
    ----------
    mix : Mix
    by_mass : ndarray, shape (3, constituents)
        Change of flame temperature [K], c* [m/s] and specific impulse [s] per mass
        fraction of a constituent added to the cast mix, which is diluted by it.
    by_enthalpy : ndarray, shape (3, constituents)
        The same per enthalpy of formation of the constituent. [K, m/s, s per J/mol]
    basis : dict
        What they rest on, as :func:`castsugar.mix.basis.basis`.
    """

    mix: Mix
    by_mass: FloatArray
    by_enthalpy: FloatArray
    basis: dict[str, Any] = field(default_factory=dict, repr=False)

    def to_frame(self) -> pd.DataFrame:
        """Return a table, one row a constituent of the cast mix.

        Per percent of the constituent added, and per standard uncertainty of its
        enthalpy of formation.
        """
        import pandas as pd

        cast = self.mix.cast
        doubt = np.array([c.ingredient.enthalpy_uncertainty for c in cast])
        table: dict[str, object] = {
            "constituent": [c.ingredient.name for c in cast],
            "origin": [c.origin for c in cast],
        }
        names = (
            ("flame_temperature", "K"),
            ("characteristic_velocity", "m_s"),
            ("specific_impulse", "s"),
        )
        for row, (name, unit) in enumerate(names):
            table[f"{name}_{unit}_per_percent_added"] = 0.01 * self.by_mass[row]
        table["enthalpy_uncertainty_kJ_mol"] = 1e-3 * doubt
        for row, (name, unit) in enumerate(names):
            table[f"{name}_u_{unit}"] = np.abs(self.by_enthalpy[row]) * doubt
        return stamped(pd.DataFrame(table), self.basis)


def sensitivities(
    mix: Mix,
    table: SpeciesTable,
    pressure: float,
    exit_pressure: float,
    flow: str,
) -> Sensitivities:
    """Differentiate one mix; see :func:`castsugar.evaluation.sensitivities`."""
    if flow not in FLOWS:
        raise InputError(
            f"derivatives of flow {flow!r} are not known in closed form; allowed: "
            f"{', '.join(FLOWS)}"
        )
    own, charge = charge_of(mix, table)
    model = model_of(own)
    found = solution.solve(
        model,
        charge.elements[None, :],
        np.array([charge.enthalpy]),
        np.array([pressure]),
        exit_pressure,
        flow,
    )
    if found.cold[0] or found.lost[0]:
        raise ConvergenceError(
            f"{mix.name!r} has no solved flow to differentiate: it is cold, or a "
            "station was not found"
        )
    d = sensitivity.derivatives(model, found)
    by_charge = np.stack(
        [d.temperature[0], d.characteristic_velocity[0], d.exit_velocity[0]]
    )
    by_charge[2] /= STANDARD_GRAVITY
    elements, enthalpy, moles = _constituents(mix, own)
    added = elements - charge.elements[:, None]
    by_mass = by_charge[:, :-1] @ added
    by_mass += np.outer(by_charge[:, -1], enthalpy - charge.enthalpy)
    return Sensitivities(
        mix=mix, by_mass=by_mass, by_enthalpy=np.outer(by_charge[:, -1], moles)
    )


def _constituents(
    mix: Mix, table: SpeciesTable
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return elements [mol/kg] and enthalpy [J/kg] of each constituent.

    The third array is the amount of each in the cast mix. [mol/kg]
    """
    kept = [e for e in ELEMENTS if e in table.elements]
    elements = np.zeros((len(kept), len(mix.cast)))
    enthalpy, moles = np.zeros(len(mix.cast)), np.zeros(len(mix.cast))
    for column, c in enumerate(mix.cast):
        composition = c.ingredient.composition
        if not composition:
            continue
        mass = c.ingredient.molar_mass
        elements[:, column] = [composition.get(e, 0.0) / mass for e in kept]
        enthalpy[column] = c.ingredient.specific_enthalpy
        moles[column] = c.mass_fraction / mass
    return elements, enthalpy, moles
