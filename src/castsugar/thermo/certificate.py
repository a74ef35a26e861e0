"""The certificate: does a state satisfy the conditions that define it?

A state is an equilibrium because it satisfies the conditions of equilibrium, not
because it resembles an earlier output. The certificate tests, over the species that
were allowed in the flow, that the elements are kept, that present species lie on the
element plane, that absent phases would not form, and that the energy, the entropy and
the pressure are those asked for. That a state lies on the isentrope does not make it a
throat: a throat's mass flux is held against those just beside it, solved again, so that
the test does not lean on the isentropic exponent by which the throat was found.
"""

from __future__ import annotations

import math

import numpy as np

from castsugar.arrays import BoolArray, FloatArray
from castsugar.constants import GAS_CONSTANT
from castsugar.frozen import dataclass
from castsugar.thermo import mixture
from castsugar.thermo.species import SpeciesTable

ELEMENT_LIMIT = 1e-10
EQUILIBRIUM_LIMIT = 1e-6
AFFINITY_LIMIT = -1e-7
ENERGY_LIMIT = 1e-8
ENTROPY_LIMIT = 1e-8
PRESSURE_LIMIT = 1e-8

#: Beside a throat, at p (1 +- step), the mass flux exceeds its own by less than the
#: limit, both relative. There it is lower by about 8e-7 of itself; a throat that is off
#: by more than half a step is found out.
FLUX_STEP, FLUX_LIMIT = 1e-3, 1e-9

#: Gases below this mole fraction are not tested for equilibrium.
TRACE = 1e-12


@dataclass(frozen=True, slots=True, kw_only=True)
class Certificate:
    """Residuals of one state, each beside its limit."""

    elements: float  # largest error of an element, relative to the most abundant one
    #: Largest distance of a present species from the element plane, in RT. NaN where
    #: the composition was held.
    equilibrium: float = math.nan
    #: Smallest affinity of an allowed absent phase, in RT; +inf if there is none.
    affinity: float = math.inf
    #: Relative errors; NaN where not prescribed (a throat's pressure is its own).
    energy: float = math.nan
    entropy: float = math.nan
    pressure: float = math.nan
    #: By how much the mass flux just beside a throat exceeds its own, relative; NaN
    #: where not tested.
    flux: float = math.nan
    #: Phases that the flow does not allow; listed, not tested.
    excluded: tuple[str, ...] = ()

    @property
    def passed(self) -> bool:
        """Whether every residual that applies is inside its limit."""
        return not self.failures()

    def failures(self) -> list[str]:
        """Return one text for each residual that is outside its limit."""
        upper = (
            ("elements", self.elements, ELEMENT_LIMIT),
            ("equilibrium", self.equilibrium, EQUILIBRIUM_LIMIT),
            ("energy", self.energy, ENERGY_LIMIT),
            ("entropy", self.entropy, ENTROPY_LIMIT),
            ("pressure", self.pressure, PRESSURE_LIMIT),
            ("flux", self.flux, FLUX_LIMIT),
        )
        found = [
            f"{name} {value:.1e} above {limit:g}"
            for name, value, limit in upper
            if not math.isnan(value) and not value < limit
        ]
        if not self.affinity > AFFINITY_LIMIT:
            found.append(f"affinity {self.affinity:.1e} below {AFFINITY_LIMIT:g}")
        return found


def _measured(residual: float) -> float:
    """Return a residual that was measured; one that is not a number fails."""
    return math.inf if math.isnan(residual) else residual


def element_error(
    table: SpeciesTable, amounts: FloatArray, elements: FloatArray
) -> float:
    """Return the largest element error, relative to the most abundant element."""
    return float(np.abs(amounts @ table.atoms - elements).max() / elements.max())


def plane_errors(
    table: SpeciesTable,
    temperature: float,
    pressure: float,
    amounts: FloatArray,
) -> tuple[float, FloatArray]:
    """Return the largest distance from the element plane, and all affinities.

    The plane is fitted to the present species (least squares, weighted by amount).
    Affinities are mu - a.pi in RT of every species of the table.
    """
    count = mixture.gas_count(table)
    mu = mixture.chemical_potentials(
        table, np.array(temperature), np.array(pressure), amounts
    )
    fraction = amounts / amounts[:count].sum()
    present = fraction > 0.0
    present[:count] = fraction[:count] > TRACE
    weight = np.sqrt(amounts[present])
    atoms = table.atoms
    plane, *_ = np.linalg.lstsq(
        atoms[present] * weight[:, None], mu[present] * weight, rcond=None
    )
    distance = mu - atoms @ plane
    return float(np.abs(distance[present]).max()), distance


def certify(  # noqa: PLR0913 - a state is six numbers
    table: SpeciesTable,
    *,
    temperature: float,
    pressure: float,
    amounts: FloatArray,
    elements: FloatArray,
    target_enthalpy: float | None = None,
    target_entropy: float | None = None,
    solved_pressure: float | None = None,
    flux: float = math.nan,
    allowed: BoolArray | None = None,
    composition_held: bool = False,
    excluded: tuple[str, ...] = (),
) -> Certificate:
    """Test one state.

    Parameters
    ----------
    table : SpeciesTable
        Species of the elements present.
    temperature, pressure : float
        [K], [Pa]
    amounts : ndarray, shape (species,)
        [mol/kg]
    elements : ndarray, shape (elements,)
        What the mix brought. [mol/kg]
    target_enthalpy, target_entropy : float, optional
        What was prescribed. [J/kg], [J/(kg K)]
    solved_pressure : float, optional
        Where the solver ended when asked for `pressure`. [Pa]
    flux : float
        Of a throat: see :class:`Certificate`.
    allowed : ndarray of bool, shape (phases,), optional
        Condensed phases that the flow allows; all by default.
    composition_held : bool
        True for frozen flow: equilibrium is not tested.
    excluded : tuple of str
        Phases that are not even in the table; listed in the result.
    """
    count = mixture.gas_count(table)
    t, p = np.array(temperature), np.array(pressure)
    energy = entropy = off = math.nan
    if target_enthalpy is not None:
        error = float(mixture.enthalpy(table, t, amounts)) - target_enthalpy
        gas = amounts[:count].sum() * GAS_CONSTANT * temperature
        energy = _measured(abs(error) / max(abs(target_enthalpy), gas))
    if target_entropy is not None:
        error = float(mixture.entropy(table, t, p, amounts)) - target_entropy
        entropy = _measured(abs(error) / abs(target_entropy))
    if solved_pressure is not None:
        off = _measured(abs(solved_pressure / pressure - 1.0))
    equilibrium, affinity = math.nan, math.inf
    open_phases = allowed
    if open_phases is None:
        open_phases = np.ones(len(table.phase.names), dtype=bool)
    if not composition_held:
        worst, distance = plane_errors(table, temperature, pressure, amounts)
        equilibrium = _measured(worst)
        absent = open_phases & (amounts[count:] <= 0.0)
        affinity = float(np.min(distance[count:], where=absent, initial=math.inf))
    return Certificate(
        elements=_measured(element_error(table, amounts, elements)),
        equilibrium=equilibrium,
        affinity=affinity,
        energy=energy,
        entropy=entropy,
        pressure=off,
        flux=flux,
        excluded=excluded
        + tuple(
            n for n, ok in zip(table.phase.names, open_phases, strict=True) if not ok
        ),
    )
