"""Mixes in words: what is in them, and short names for them."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from castsugar.mix.text import parse_recipe
from castsugar.report import numbers

if TYPE_CHECKING:
    from castsugar.mix.mix import Mix


def composition(mix: Mix) -> str:
    """Return a recipe by mass, of 100, as weighed.

    Examples
    --------
    >>> from castsugar.mix.mix import Mix
    >>> composition(Mix.weigh({"KNO3": 65, "sucrose": 35}))
    'KNO3 65, sucrose 35'
    """
    return ", ".join(f"{name} {numbers.typed(100.0 * x)}" for name, x in mix.recipe)


def ratio(mix: Mix) -> str:
    """Return the shares alone, as people say them.

    Examples
    --------
    >>> from castsugar.mix.mix import Mix
    >>> ratio(Mix.weigh({"KNO3": 60, "sucrose": 17, "corn syrup": 23}))
    '60/17/23'
    """
    return "/".join(numbers.typed(100.0 * x) for _, x in mix.recipe)


def recipe_argument(mix: Mix) -> str:
    """Return a recipe as it is typed on a command line, in quotes."""
    parts = (f"{name}:{numbers.typed(100.0 * x)}" for name, x in mix.recipe)
    return f'"{" ".join(parts)}"'


def own_name(mix: Mix) -> str:
    """Return the name of a mix; empty where it is called by its recipe."""
    return "" if ":" in mix.name else mix.name


def titled(mix: Mix) -> str:
    """Return a mix as a title: its name and what is in it."""
    name, told = own_name(mix), composition(mix)
    return f"{name}: {told}" if name else told


def short_names(mixes: Sequence[Mix]) -> list[str]:
    """Return a name for each mix that fits a column: its own, or its shares."""
    return [own_name(mix) or ratio(mix) for mix in mixes]


def by_name(mixes: Sequence[Mix]) -> dict[str, Mix]:
    """Return mixes by short names, by whole ones where two of those are the same."""
    short = short_names(mixes)
    names = short if len(set(short)) == len(short) else [mix.name for mix in mixes]
    return dict(zip(names, mixes, strict=True))


def plain_key(text: str) -> str:
    """Return a text as part of a key: letters, digits, underscores."""
    return re.sub(r"\W+", "_", text).strip("_")


def share_key(ingredient: str) -> str:
    """Return the key of the share of an ingredient in a recipe.

    Examples
    --------
    >>> share_key("light corn syrup")
    'light_corn_syrup_mass_percent'
    """
    return f"{plain_key(ingredient)}_mass_percent"


def grams_row(masses: Mapping[str, float]) -> dict[str, float]:
    """Return masses [kg] in g, by keys that say so."""
    return {f"{plain_key(name)}_g": 1e3 * mass for name, mass in masses.items()}


def shares(recipe: str) -> str:
    """Return a name as it is, and of a recipe as typed its shares alone.

    Examples
    --------
    >>> shares("base"), shares("KNO3:120 powdered sugar:34 corn syrup:46")
    ('base', '60/17/23')
    """
    if ":" not in recipe:
        return recipe
    parts = parse_recipe(recipe).parts
    whole = sum(share for _, share in parts)
    return "/".join(numbers.typed(_tenth(100.0 * x / whole)) for _, x in parts)


def _tenth(value: float) -> float:
    """Return a percentage to a tenth: a name, not a measurement."""
    return float(numbers.at_place(value, -1))
