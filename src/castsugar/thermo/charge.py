"""From a mix to what the solvers take: elements, enthalpy and the species for them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from castsugar import scope, weighing
from castsugar.arrays import FloatArray
from castsugar.constants import ELEMENTS
from castsugar.errors import InputError, ValidityError
from castsugar.mix import Mix
from castsugar.thermo.species import restrict
from castsugar.thermo.tables import SpeciesTable


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Charge:
    """What is burnt: the elements and the enthalpy of one kilogram of mix."""

    elements: FloatArray  # (elements,), all above zero [mol/kg]
    enthalpy: float  # [J/kg]


def charge_of(mix: Mix, table: SpeciesTable) -> tuple[SpeciesTable, Charge]:
    """Return the species of the elements that a mix has, and its charge.

    Raises
    ------
    InputError
        For inert matter only.
    RefusedError
        For an inert dummy: it does not burn.
    ValidityError
        For a mix whose sugar was degraded too far in the cook.
    """
    scope.check_burns(mix.name, mix.cast)
    why = weighing.withheld(mix.browned)
    if why:
        raise ValidityError(f"mix {mix.name!r} is not computed: {why}")
    present = frozenset(
        e for e, n in zip(ELEMENTS, mix.elements, strict=True) if n > 0.0
    )
    if not present:
        raise InputError(f"mix {mix.name!r} holds inert matter only; nothing can burn")
    amounts = [n for n in mix.elements if n > 0.0]
    return restrict(table, present), Charge(
        elements=np.array(amounts), enthalpy=mix.enthalpy
    )
