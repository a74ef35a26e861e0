"""Mixes in words: what is in them, and short names for them."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
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
    """Return a name for each mix that fits a column: its own, or its shares.

    To shares that are the same goes what differs in what they are of.

    Examples
    --------
    >>> from castsugar.mix.mix import Mix
    >>> short_names([Mix.weigh({"KNO3": 65, n: 35}) for n in ("sucrose", "sorbitol")])
    ['65/35 sucrose', '65/35 sorbitol']
    """
    short = [own_name(mix) or ratio(mix) for mix in mixes]
    items = [[name for name, _ in mix.recipe] for mix in mixes]
    pairs = [*zip(short, items, strict=True)]
    return [_told_apart(*pair, pairs) for pair in pairs]


def _told_apart(
    short: str, items: Sequence[str], every: Iterable[tuple[str, Sequence[str]]]
) -> str:
    """Return a short name, with the items where others of that name have others."""
    alike = [own for name, own in every if name == short]
    differ = (len({*place}) > 1 for place in zip(*alike, strict=False))
    told = [one for one, other in zip(items, differ, strict=False) if other]
    return f"{short} {'/'.join(told)}".rstrip()


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


def shares(recipe: str, among: Iterable[str] = ()) -> str:
    """Return a name as it is, and of a recipe as typed its shares alone.

    To shares that are those of another mix, `among` others, goes what differs.

    Examples
    --------
    >>> shares("base"), shares("KNO3:120 powdered sugar:34 corn syrup:46")
    ('base', '60/17/23')
    >>> shares("KNO3:65 sucrose:35", ["base", "KNO3:130 sorbitol:70"])
    '65/35 sucrose'
    """
    if ":" not in recipe:
        return recipe
    own = _shares(recipe)
    return _told_apart(*own, [own, *(_shares(one) for one in among if ":" in one)])


def _shares(recipe: str) -> tuple[str, list[str]]:
    """Return the shares of a recipe as typed, and what they are of."""
    parts = parse_recipe(recipe).parts
    whole = sum(share for _, share in parts)
    short = "/".join(numbers.typed(_tenth(100.0 * x / whole)) for _, x in parts)
    return short, [name for name, _ in parts]


def _tenth(value: float) -> float:
    """Return a percentage to a tenth: a name, not a measurement."""
    return float(numbers.at_place(value, -1))
