"""Properties of a mixture of given amounts: enthalpy, entropy, response.

Arrays in, arrays out. Mixes are on the first axis, species (gases, then condensed
phases) on the last. Amounts are moles per kilogram of mix; the gas is ideal and the
volume of condensed phases is zero.
"""

from __future__ import annotations

import numpy as np

from castsugar.arrays import FloatArray
from castsugar.constants import GAS_CONSTANT
from castsugar.frozen import dataclass
from castsugar.thermo.species import SpeciesTable, gas_properties, phase_properties


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Functions:
    """cp/R, h/RT and s/R of every species at given temperatures.

    The entropy is that of the standard state. Shapes (..., species).
    """

    cp: FloatArray
    h: FloatArray
    s: FloatArray

    @property
    def g(self) -> FloatArray:
        """Gibbs function g/RT in the standard state."""
        return self.h - self.s


def functions(table: SpeciesTable, temperature: FloatArray) -> Functions:
    """Evaluate all species of `table` at `temperature` [K], shape (...)."""
    gas = gas_properties(table.gas, temperature)
    phase = phase_properties(table.phase, temperature)
    cp, h, s = (np.concatenate(pair, axis=-1) for pair in zip(gas, phase, strict=True))
    return Functions(cp=cp, h=h, s=s)


def gas_count(table: SpeciesTable) -> int:
    """Return the number of gas species, which come first."""
    return len(table.gas.names)


def chemical_potentials(
    table: SpeciesTable,
    temperature: FloatArray,
    pressure: FloatArray,
    amounts: FloatArray,
) -> FloatArray:
    """Return mu/RT of all species; -inf for a gas of amount zero."""
    out = functions(table, temperature).g
    count = gas_count(table)
    gas = amounts[..., :count]
    with np.errstate(divide="ignore"):
        fraction = np.log(gas / gas.sum(axis=-1, keepdims=True))
    relative = np.log(np.asarray(pressure) / table.reference_pressure)[..., None]
    out[..., :count] += fraction + relative
    return out


def enthalpy(
    table: SpeciesTable, temperature: FloatArray, amounts: FloatArray
) -> FloatArray:
    """Return the enthalpy of the mixture. [J/kg]"""
    t = np.asarray(temperature, dtype=float)
    return GAS_CONSTANT * t * (amounts * functions(table, t).h).sum(-1)


def entropy(
    table: SpeciesTable,
    temperature: FloatArray,
    pressure: FloatArray,
    amounts: FloatArray,
) -> FloatArray:
    """Return the entropy of the mixture, mixing of the gas included. [J/(kg K)]"""
    return enthalpy_and_entropy(table, temperature, pressure, amounts)[1]


def enthalpy_and_entropy(
    table: SpeciesTable,
    temperature: FloatArray,
    pressure: FloatArray,
    amounts: FloatArray,
) -> tuple[FloatArray, FloatArray]:
    """Return both at once. [J/kg], [J/(kg K)]"""
    t = np.asarray(temperature, dtype=float)
    f = functions(table, t)
    standard: FloatArray = (amounts * f.s).sum(axis=-1)
    heat: FloatArray = GAS_CONSTANT * t * (amounts * f.h).sum(axis=-1)
    return heat, GAS_CONSTANT * (standard - _mixing(table, pressure, amounts))


def _mixing(
    table: SpeciesTable, pressure: FloatArray, amounts: FloatArray
) -> FloatArray:
    """Return sum n ln(y p/p0) of the gas, per kg of mix. [mol/kg]"""
    gas = amounts[..., : gas_count(table)]
    total = gas.sum(axis=-1)
    with np.errstate(divide="ignore", invalid="ignore"):
        logs = np.where(gas > 0.0, np.log(gas / total[..., None]), 0.0)
    relative = np.log(np.asarray(pressure) / table.reference_pressure)
    return (gas * logs).sum(axis=-1) + total * relative


def frozen_heat_capacity(
    table: SpeciesTable, temperature: FloatArray, amounts: FloatArray
) -> FloatArray:
    """Return the heat capacity at constant pressure and composition. [J/(kg K)]"""
    t = np.asarray(temperature, dtype=float)
    return GAS_CONSTANT * (amounts * functions(table, t).cp).sum(-1)


def frozen_exponent(
    table: SpeciesTable, temperature: FloatArray, amounts: FloatArray
) -> FloatArray:
    """Return the isentropic exponent at fixed composition."""
    cp = frozen_heat_capacity(table, temperature, amounts)
    gas = GAS_CONSTANT * amounts[..., : gas_count(table)].sum(axis=-1)
    return cp / (cp - gas)


def isentropic_exponent(
    table: SpeciesTable, temperature: FloatArray, amounts: FloatArray
) -> FloatArray:
    r"""Return the equilibrium isentropic exponent of each mix.

    .. math:: \gamma_s = (\partial \ln p / \partial \ln \rho)_s

    with the composition (and, on a melting plateau, the solid share) following the
    equilibrium. From the linear response of element potentials, gas amount,
    temperature and present condensed phases to a change of ln p at constant entropy;
    it stays finite on a plateau, where the heat capacity does not.

    Parameters
    ----------
    table : SpeciesTable
        Species of elements that are all present.
    temperature : ndarray, shape (mixes,)
        [K]
    amounts : ndarray, shape (mixes, species)
        An equilibrium composition. [mol/kg]

    Returns
    -------
    ndarray, shape (mixes,)
    """
    f = functions(table, temperature)
    return np.array(
        [_exponent(table, amounts[i], f.cp[i], f.h[i]) for i in range(amounts.shape[0])]
    )


def _exponent(
    table: SpeciesTable, amounts: FloatArray, cp: FloatArray, h: FloatArray
) -> float:
    """Solve the bordered system of one mix."""
    count = gas_count(table)
    atoms = table.atoms
    n, a = amounts[:count], atoms[:count]
    present = count + np.flatnonzero(amounts[count:] > 0.0)
    elements = a.shape[1]
    size = elements + 2 + len(present)
    matrix = np.zeros((size, size))
    total = n.sum()
    matrix[:elements, :elements] = a.T @ (n[:, None] * a)
    matrix[:elements, elements] = n @ a
    matrix[:elements, elements + 1] = (n * h[:count]) @ a
    matrix[elements, elements + 1] = n @ h[:count]
    heat = n @ h[:count] ** 2 + n @ cp[:count]
    matrix[elements + 1, elements + 1] = heat + amounts[present] @ cp[present]
    matrix[:elements, elements + 2 :] = atoms[present].T
    matrix[elements + 1, elements + 2 :] = h[present]
    matrix = np.triu(matrix) + np.triu(matrix, 1).T
    right = np.zeros(size)
    right[:elements] = n @ a
    right[elements] = total
    right[elements + 1] = n @ h[:count] + total
    scale = 1.0 / np.sqrt(np.maximum(np.abs(np.diag(matrix)), 1e-12))
    scale[elements] = 1.0
    solution = (
        scale
        * np.linalg.lstsq(matrix * np.outer(scale, scale), right * scale, rcond=1e-14)[
            0
        ]
    )
    return float(-1.0 / (solution[elements] + solution[elements + 1] - 1.0))
