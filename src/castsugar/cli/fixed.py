"""Read steps, fixed parts and marks of a map."""

from __future__ import annotations

from castsugar import plausible
from castsugar.data.load import Database
from castsugar.errors import InputError
from castsugar.mix import refusals
from castsugar.mix.text import parse_recipe


def read_step(text: str) -> float:
    """Read a step as a fraction; it must divide 1."""
    step = plausible.read(text, "step of a map", where="--step").value
    if abs(1.0 / step - round(1.0 / step)) > 1e-6:
        raise InputError(
            f"--step {text!r} does not divide 100 %; write for example 1% or 2%"
        )
    return step


def read_fixed(
    database: Database, words: list[str], corners: list[str]
) -> dict[str, float]:
    """Read ``NAME:PERCENT`` options as mass fractions of the whole."""
    for corner in corners:
        refusals.check_bound(database, corner, 1.0)
    names = [database.find(corner).name for corner in corners]
    if len(set(names)) < len(names):
        raise InputError(
            f"{', '.join(corners)} are not three different ingredients; name each once"
        )
    fixed: dict[str, float] = {}
    for word in words:
        name, colon, amount = word.rpartition(":")
        if not (colon and name.strip()):
            raise InputError(
                f"--with {word!r} is not of the form NAME:PERCENT; write for example "
                "'red iron oxide:1%'"
            )
        known = database.find(name.strip()).name
        if known in names:
            raise InputError(f"--with {name.strip()!r} is among the three already")
        names.append(known)
        share = plausible.read(amount, "share of the mix", where="--with").value
        refusals.check_bound(database, known, share)
        fixed[name.strip()] = share
    taken = sum(fixed.values())
    if taken >= 1.0:
        raise InputError(f"--with takes {taken:.0%}; nothing is left for the three")
    return fixed


def read_mark(
    database: Database,
    text: str,
    corners: list[str],
    fixed: dict[str, float],
    total: float,
) -> tuple[str, tuple[float, float, float]]:
    """Read a recipe to mark, as shares of the triangle.

    It must consist of the three ingredients and the fixed parts, these within 0.5
    percent of the whole.
    """
    recipe = parse_recipe(text, where="--mark")
    whole = sum(amount for _, amount in recipe.parts)
    shares = {database.find(n).name: a / whole for n, a in recipe.parts}
    names = [database.find(c).name for c in corners]
    wanted = {database.find(n).name: share for n, share in fixed.items()}
    strange = [n for n in shares if n not in names and n not in wanted]
    off = [n for n, share in wanted.items() if abs(shares.get(n, 0.0) - share) > 0.005]
    if strange or off:
        raise InputError(
            f"--mark {text!r} does not lie on this map: {', '.join(strange + off)} "
            "differ from its three ingredients and fixed parts"
        )
    a, b, c = (shares.get(n, 0.0) / total for n in names)
    return recipe.name or recipe.text, (a, b, c)
