"""The shipped sets of combustion products, by name."""

from __future__ import annotations

from castsugar.data.load import PRODUCT_SETS, products_file
from castsugar.errors import unknown_name
from castsugar.thermo.species import SpeciesTable, read_species


def shipped_species() -> SpeciesTable:
    """Return the combustion products that castsugar uses by default."""
    return species_set(next(iter(PRODUCT_SETS)))


def species_set(name: str) -> SpeciesTable:
    """Return one of the shipped sets of combustion products.

    Parameters
    ----------
    name : str
        ``"nasa-1993"`` (the default set) or ``"nasa-2002"`` (newer evaluations of
        the potassium, sodium and iron species).

    Raises
    ------
    UnknownNameError
    """
    if name not in PRODUCT_SETS:
        raise unknown_name("product set", name, PRODUCT_SETS)
    return read_species(products_file(name))


def other_set(table: SpeciesTable) -> SpeciesTable:
    """Return the shipped set that a table is not."""
    sets = [species_set(name) for name in PRODUCT_SETS]
    return next(s for s in sets if s.data_set != table.data_set)
