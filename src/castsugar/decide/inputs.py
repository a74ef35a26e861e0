"""What is really uncertain about a list of mixes: independent inputs, drawn once.

An input that mixes share (an ingredient's enthalpy, a bag of powder, a syrup, the
product data, the pressure, the kitchen, the motor) is one input for all of them, so
that it cancels in their difference as far as it acts alike. Weighing errors belong to a
recipe: two mixes of the same recipe are the same batch, others are not. The numbers of
an input depend on its name and the seed alone, so that a mix alone and in a crowd is
drawn alike.
"""

from __future__ import annotations

import hashlib
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtri

from castsugar.arrays import FloatArray
from castsugar.data.load import load_database
from castsugar.data.records import Ingredient
from castsugar.mix.mix import Mix
from castsugar.mix.syrups import SOLIDS_UNCERTAINTY

#: Scores of the inputs, by key, (rows,); an input that is left out stays at 0.
Scores = Mapping[str, FloatArray]

#: Stream of the draws; each input has its own below it.
_STREAM = 41

#: Saccharides of a syrup, whose enthalpies share one doubt.
SYRUP_SOLIDS = "syrup solids"

#: Standard deviation of the half-normal |z|: root of 1 - 2/pi.
HALF_NORMAL = math.sqrt(1.0 - 2.0 / math.pi)


@dataclass(frozen=True, slots=True, kw_only=True)
class Input:
    """One independent input.

    Attributes
    ----------
    key : str
        Names its draws.
    kind : str
        weighing, moisture, syrup, enthalpy, product data, pressure, kitchen, motor.
    label : str
        For people.
    uncertainty : float
        Standard uncertainty in `unit`; scale of the half-normal of a moisture.
    unit : str
    half : bool
        Whether it is half-normal.
    origin : str
        Source or reason of the uncertainty.
    conflict : str
        What other sources say; empty where none does.
    """

    key: str
    kind: str
    label: str
    uncertainty: float
    unit: str
    half: bool = False
    origin: str = ""
    conflict: str = ""


def identity(mix: Mix, *, data: bool = True) -> str:
    """Return what makes two mixes one recipe, as a short text.

    Every pure substance with its share and item, and the water that leaves; the name
    of the mix does not count. With `data` the enthalpies count too: without, a recipe
    looked at with other data is the same batch.
    """
    parts = [
        f"{c.origin}|{c.ingredient.name}|{c.mass_fraction:.10g}"
        + (f"|{c.ingredient.enthalpy_of_formation:.9g}" if data else "")
        for c in mix.weighed
    ]
    parts += [f"{s.name}|{s.dry_solids:.10g}|{s.grade:.6g}" for s in mix.syrups]
    text = "\n".join([*sorted(parts), f"{mix.water_lost:.10g}"])
    return hashlib.blake2b(text.encode(), digest_size=6).hexdigest()


def doubt_key(ingredient: Ingredient) -> str:
    """Return the key of the doubt of an enthalpy of formation."""
    solids = ingredient.name.startswith(SYRUP_SOLIDS)
    return f"enthalpy|{SYRUP_SOLIDS if solids else ingredient.name}"


def enthalpy_u(ingredient: Ingredient) -> float:
    """Return the standard uncertainty of an enthalpy of formation. [J/mol]

    An alternative whose source states none takes that of the catalogue's own row; an
    ingredient without any counts as exact.
    """
    value = ingredient.enthalpy_uncertainty
    if math.isnan(value):
        known = load_database().ingredients.get(ingredient.name)
        value = known.enthalpy_uncertainty if known is not None else 0.0
    return 0.0 if math.isnan(value) else value


def enthalpy_input(ingredient: Ingredient) -> Input:
    """Return the doubt of an enthalpy of formation as an input."""
    key = doubt_key(ingredient)
    if key == f"enthalpy|{SYRUP_SOLIDS}":
        return Input(
            key=key,
            kind="enthalpy",
            label="enthalpy of formation of syrup solids",
            uncertainty=1e-3 * SOLIDS_UNCERTAINTY,
            unit="kJ/kg",
            origin=f"{ingredient.status}, {ingredient.source}",
        )
    known = load_database().ingredients.get(ingredient.name, ingredient)
    rivals = {known.source: known.enthalpy_of_formation}
    rivals |= {
        f"{a.name} ({a.source})": a.enthalpy_of_formation for a in known.alternatives
    }
    others = [
        f"{name} {1e-3 * value:.6g} kJ/mol"
        for name, value in rivals.items()
        if value != ingredient.enthalpy_of_formation
    ]
    return Input(
        key=key,
        kind="enthalpy",
        label=f"enthalpy of formation of {ingredient.name}",
        uncertainty=1e-3 * enthalpy_u(ingredient),
        unit="kJ/mol",
        origin=f"{ingredient.status}, {ingredient.source}",
        conflict="; ".join(others),
    )


def unique(inputs: Iterable[Input]) -> tuple[Input, ...]:
    """Return every input once, those without an uncertainty left out."""
    found = {i.key: i for i in inputs if i.uncertainty > 0.0}
    return tuple(found.values())


def drawn(inputs: Sequence[Input], draws: int, seed: int) -> dict[str, FloatArray]:
    """Draw standard normal scores of every input, spread evenly, (draws,) each.

    Parameters
    ----------
    inputs : sequence of Input
    draws, seed : int

    Returns
    -------
    dict
        Key to scores: one normal quantile out of each of `draws` equal slices of
        chance, in an order of the input's own.
    """
    return {i.key: _scores(i.key, draws, seed) for i in inputs}


def _scores(key: str, draws: int, seed: int) -> FloatArray:
    digest = hashlib.blake2b(key.encode(), digest_size=8).digest()
    own = int.from_bytes(digest, "little")
    rng = np.random.default_rng([seed, _STREAM, own])
    chances = (rng.permutation(draws) + rng.random(draws)) / draws
    return ndtri(np.clip(chances, 1e-12, 1.0 - 1e-12))


def shifted(inputs: Sequence[Input]) -> dict[str, FloatArray]:
    """Return scores that move one input at a time, (1 + 2 n,) each.

    Row 0 is the middle; then one up, one down for every input. A half-normal input is
    left in the middle instead of moved down.
    """
    count = 1 + 2 * len(inputs)
    found = {}
    for place, one in enumerate(inputs):
        row = np.zeros(count)
        row[1 + 2 * place] = 1.0
        row[2 + 2 * place] = 0.0 if one.half else -1.0
        found[one.key] = row
    return found


def of_shifts(values: FloatArray, inputs: Sequence[Input]) -> FloatArray:
    """Return changes per standard deviation of every input, (..., n).

    Parameters
    ----------
    values : ndarray, shape (1 + 2 n, ...)
        Of the rows of :func:`shifted`.
    inputs : sequence of Input

    Returns
    -------
    ndarray
        NaN or infinite where a step jams.
    """
    scale = np.array([HALF_NORMAL if i.half else 0.5 for i in inputs])
    with np.errstate(invalid="ignore"):
        change = values[1::2] - values[2::2]
    return np.moveaxis(change, 0, -1) * scale
