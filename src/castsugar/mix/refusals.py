"""Which mixes are nitrate-sugar mixes: sugars, polyols and syrup solids are the fuel.

What is weighed counts, water that leaves or not. The starch that powdered sugar brings
belongs to that sugar. Too much nitrate, or none, is no matter of scope. Substances that
are refused whatever their share: :mod:`castsugar.data.refused`.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, TypeVar

from castsugar.data.load import Database
from castsugar.errors import RefusedError
from castsugar.mix.weighing import Constituent, expand

if TYPE_CHECKING:
    from castsugar.arrays import FloatArray


#: Other combustibles: most of the mass of a mix, and of all that burns in it.
OF_THE_MASS, OF_THE_FUEL = 0.03, 0.1

#: Shares that are beyond by less are so by rounding.
ROUNDING = 1e-9

#: A number, or an array of numbers.
Number = TypeVar("Number", float, "FloatArray")

ALLOWED = (
    "sugars, polyols and syrups are the fuel here, other combustibles are at most "
    f"{100.0 * OF_THE_MASS:g} % of the mass and a tenth of all that burns"
)


def is_other(constituent: Constituent) -> bool:
    """Say whether something burns and is no sugar, polyol or syrup.

    An own substance of the caller is none: its mix serves checks only.
    """
    ingredient = constituent.ingredient
    return ingredient.fuel_kind == "other" and constituent.origin == ingredient.name


def fuel_shares(constituents: Iterable[Constituent]) -> tuple[float, float]:
    """Return the mass fractions of other combustibles, and of all that burns."""
    fuels = [c for c in constituents if c.ingredient.fuel_kind]
    others = math.fsum(c.mass_fraction for c in fuels if is_other(c))
    return others, math.fsum(c.mass_fraction for c in fuels)


def excesses(others: Number, fuel: Number) -> tuple[Number, Number]:
    """Return how far beyond each limit a mix is, numbers or arrays; above 0 is out.

    Parameters
    ----------
    others, fuel
        Of :func:`fuel_shares`.
    """
    return others - OF_THE_MASS, others - OF_THE_FUEL * fuel


def check_mix(name: str, weighed: Sequence[Constituent]) -> None:
    """Refuse a mix whose fuel is something else.

    Parameters
    ----------
    name : str
        Of the mix.
    weighed : sequence of Constituent
        Its pure substances as weighed.

    Raises
    ------
    RefusedError
        With what is too much, and what is allowed.
    """
    others, fuel = fuel_shares(weighed)
    if max(excesses(others, fuel)) > ROUNDING:
        found = {c.ingredient.name: c.mass_fraction for c in weighed if is_other(c)}
        raise RefusedError(_text(name, found, others / fuel))


def is_dummy(constituents: Iterable[Constituent]) -> bool:
    """Say whether a mix is an inert dummy: a salt stands in for its oxidizer."""
    return any(c.ingredient.role == "dummy" for c in constituents)


def check_burns(name: str, constituents: Iterable[Constituent]) -> None:
    """Refuse a dummy where something is to burn.

    Raises
    ------
    RefusedError
    """
    if is_dummy(constituents):
        raise RefusedError(
            f"{name!r} is refused: potassium chloride makes it an inert dummy, which "
            "does not burn and is no propellant; castsugar kitchen judge says how it "
            "pours, castsugar weigh what to weigh"
        )


def check_bound(database: Database, item: str, highest: float) -> None:
    """Refuse a space in which too much of an item may burn that is no sugar.

    Parameters
    ----------
    item : str
        Of the catalogue.
    highest : float
        Largest mass fraction that it may have.

    Raises
    ------
    RefusedError
    """
    others, _ = fuel_shares(expand(database, item, highest, None, {}))
    if others > OF_THE_MASS + ROUNDING:
        raise RefusedError(
            f"{item!r} at up to {100.0 * highest:.4g} % is refused: {ALLOWED}; let it "
            f"be at most {100.0 * OF_THE_MASS:g} %"
        )


def catalogue_name(database: Database, typed: str) -> str:
    """Return the catalogue's own name of an ingredient of a mix that is to burn.

    Raises
    ------
    InputError, UnknownNameError, RefusedError
    """
    name = database.find(typed).name
    parts = expand(database, typed, 1.0, None, {})
    check_catalogued(typed, parts)
    check_burns(typed, parts)
    return name


def check_catalogued(name: str, constituents: Iterable[Constituent]) -> None:
    """Refuse a mix that holds a substance of the caller's own.

    Raises
    ------
    RefusedError
        With its name.
    """
    for c in constituents:
        if not c.ingredient.catalogued:
            raise RefusedError(
                f"{name!r} holds {c.ingredient.name!r}, which is none of the "
                "catalogue's: such mixes serve checks only, by evaluate, performance "
                "and equilibrium; give catalogue ingredients (castsugar ingredients)"
            )


def _text(name: str, found: dict[str, float], of_fuel: float) -> str:
    listed = ", ".join(f"{n} {100.0 * share:.3g} %" for n, share in found.items())
    return (
        f"{name!r} is refused: it holds {listed} of the mass, {100.0 * of_fuel:.3g} % "
        f"of all that burns; {ALLOWED}; castsugar covers nitrate-sugar mixes only"
    )
