"""What mixes burn to in the chamber, as shares of the mass."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from castsugar.decide.conditions import Conditions
from castsugar.errors import CastsugarError
from castsugar.evaluation import performance
from castsugar.kitchen.pour_table import cook
from castsugar.mix.blends import of_mixes
from castsugar.mix.mix import Mix
from castsugar.rows import shipped_species

#: Share of the mass from which a product counts as a main one.
LEAST = 1e-4


@dataclass(frozen=True, slots=True, kw_only=True)
class Products:
    """What one mix burns to.

    Attributes
    ----------
    name : str
        Of the mix.
    gases, condensed : dict of str to float
        Mass fraction of the mix, largest first, down to 0.01 %.
    reason : str
        Why there are none; empty if there are.
    """

    name: str
    gases: Mapping[str, float]
    condensed: Mapping[str, float]
    reason: str = ""


def chamber_products(
    mixes: Sequence[Mix], conditions: Conditions | None = None
) -> list[Products]:
    """Return the main products of mixes in the chamber.

    Parameters
    ----------
    mixes : sequence of Mix
        With a kitchen among the conditions: with the water that it leaves.
    conditions : Conditions, optional

    Returns
    -------
    list of Products
        One a mix; one that cannot be solved says why.

    Notes
    -----
    Mass fraction of a species: n M, amount per kilogram of mix times molar mass.

    Examples
    --------
    >>> found = chamber_products([Mix.weigh({"KNO3": 65, "sucrose": 35})])[0]
    >>> next(iter(found.gases)), next(iter(found.condensed))
    ('CO2', 'K2CO3(L)')
    """
    asked, listed = conditions or Conditions(), list(mixes)
    if asked.kitchen is not None:
        cooked = cook(listed, of_mixes(listed), asked.kitchen, window=False)
        listed = cooked.mixes or listed
    return [_products(mix, asked) for mix in listed]


def _products(mix: Mix, conditions: Conditions) -> Products:
    """Return the products of one mix."""
    table = conditions.species or shipped_species()
    try:
        state = performance(
            mix,
            pressure=conditions.pressure,
            exit_pressure=None,
            flow=conditions.flow,
            species=table,
        ).states[0]
    except CastsugarError as error:
        return Products(name=mix.name, gases={}, condensed={}, reason=str(error))
    masses = dict(zip(table.names, table.molar_mass.tolist(), strict=True))
    gas = set(state.species[: state.gas_count])
    shares = {n: state.amount(n) * masses[n] for n in state.species}
    main = {n: s for n, s in sorted(shares.items(), key=lambda p: -p[1]) if s >= LEAST}
    return Products(
        name=mix.name,
        gases={n: s for n, s in main.items() if n in gas},
        condensed={n: s for n, s in main.items() if n not in gas},
    )
