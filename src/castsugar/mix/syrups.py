"""What a glucose syrup is made of: saccharides by chain length, and their enthalpy."""

from __future__ import annotations

import functools
import math
from dataclasses import replace

from castsugar.data.load import Database
from castsugar.data.records import Ingredient, Syrup
from castsugar.errors import ValidityError
from castsugar.frozen import dataclass

#: Enthalpies of formation of dissolved saccharides [J/mol]: glucose at infinite
#: dilution, water, and the heat of hydrolysis of a glycosidic bond. Goldberg & Tewari,
#: J. Phys. Chem. Ref. Data 18 (1989) 809 (glucose, from memory); CODATA (water);
#: hydrolysis of maltose -4.5 +- 0.5 kJ/mol, from memory.
GLUCOSE_IN_WATER = -1262.2e3
WATER = -285.83e3
HYDROLYSIS = -4.5e3

#: Isomerisation of dissolved glucose to fructose [J/mol], from memory.
ISOMERISATION = 2.8e3

#: Standard uncertainty of the enthalpy of syrup solids [J/kg]: a concentrated syrup
#: is not infinitely dilute (0 to 20 J/g).
SOLIDS_UNCERTAINTY = 2.0e4

#: Standard uncertainty of dry solids that a lot states: a refractometer or label.
STATED_SOLIDS_UNCERTAINTY = 0.005

_STATUS, _SOURCE = "estimated", "derived-solution-cycle"


@dataclass(frozen=True, slots=True, kw_only=True)
class SyrupUse:
    """A syrup in a recipe, for those who ask how it flows."""

    name: str  # of the catalogue
    mass_fraction: float  # of the mix as weighed
    #: Mass fractions of the syrup.
    dry_solids: float
    dry_solids_uncertainty: float
    #: Dextrose equivalents: of the composition, and as the viscosity shows it.
    grade: float
    viscosity_grade: float
    #: The entry of its lot, if that says of itself that nobody measured it.
    invented: tuple[str, ...] = ()


def grade(database: Database, syrup: Syrup, dextrose_equivalent: float) -> Syrup:
    """Return a syrup with the saccharides of another dextrose equivalent.

    Interpolates between the grades of the acid-conversion series.

    Raises
    ------
    ValidityError
        Outside the grades of the series.
    """
    series = sorted(
        (s for s in database.syrups.values() if s.acid_series),
        key=lambda s: s.dextrose_equivalent,
    )
    low, high = series[0].dextrose_equivalent, series[-1].dextrose_equivalent
    if not low <= dextrose_equivalent <= high:
        raise ValidityError(
            f"dextrose equivalent {dextrose_equivalent:g} of {syrup.name!r} is outside "
            f"the grades known, {low:g} to {high:g}"
        )
    after = next(s for s in series if s.dextrose_equivalent >= dextrose_equivalent)
    before = series[max(series.index(after) - 1, 0)]
    span = after.dextrose_equivalent - before.dextrose_equivalent
    part = (dextrose_equivalent - before.dextrose_equivalent) / span if span else 0.0

    def between(name: str) -> float:
        a, b = float(getattr(before, name)), float(getattr(after, name))
        return a + part * (b - a)

    return replace(
        syrup,
        dextrose_equivalent=dextrose_equivalent,
        fructose_fraction=0.0,
        dp1_fraction=between("dp1_fraction"),
        dp2_fraction=between("dp2_fraction"),
        dp3_fraction=between("dp3_fraction"),
        dp4plus_fraction=between("dp4plus_fraction"),
        dp4plus_chain_length=between("dp4plus_chain_length"),
    )


def saccharides(syrup: Syrup) -> list[tuple[Ingredient, float]]:
    """Return the sugars of a syrup with their mass fractions of the dry solids."""
    volume = syrup.solids_specific_volume
    chains = (
        (1.0, syrup.dp1_fraction),
        (2.0, syrup.dp2_fraction),
        (3.0, syrup.dp3_fraction),
        (syrup.dp4plus_chain_length, syrup.dp4plus_fraction),
    )
    found = [(saccharide(n, volume), share) for n, share in chains if share > 0.0]
    if syrup.fructose_fraction > 0.0:
        fructose = saccharide(1.0, volume, fructose=True)
        found.append((fructose, syrup.fructose_fraction))
    return found


@functools.lru_cache(maxsize=64)
def saccharide(
    chain_length: float, specific_volume: float, *, fructose: bool = False
) -> Ingredient:
    """Return a dissolved saccharide of n glucose units, C6n H10n+2 O5n+1.

    The enthalpy is n times that of dissolved glucose, less the water and the heat of
    hydrolysis of the n - 1 bonds.
    """
    n = chain_length
    bonds = n - 1.0
    enthalpy = n * GLUCOSE_IN_WATER - bonds * (WATER + HYDROLYSIS)
    if fructose:
        enthalpy += ISOMERISATION
    kind = "fructose" if fructose else f"DP{n:g}"
    substance = Ingredient(
        name=f"syrup solids {kind}",
        formula={"C": 6 * n, "H": 10 * n + 2, "O": 5 * n + 1},
        fuel_kind="syrup solids",
        enthalpy_of_formation=enthalpy,
        enthalpy_uncertainty=math.nan,
        density=1.0 / specific_volume,
        density_status=_STATUS,
        density_source=_SOURCE,
        status=_STATUS,
        source=_SOURCE,
        catalogued=True,
    )
    return replace(
        substance, enthalpy_uncertainty=SOLIDS_UNCERTAINTY * substance.molar_mass
    )
