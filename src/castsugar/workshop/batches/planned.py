"""What is to be weighed, what was weighed, and what was typed about a measurement."""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import Any

from castsugar import plausible
from castsugar.data.load import Database
from castsugar.errors import InputError, nearest_names
from castsugar.mix import weighing
from castsugar.workshop.batches.batch import Batch
from castsugar.workshop.kitchen_keys import MEASUREMENTS


def read_actual(
    typed: Iterable[str], names: Iterable[str], database: Database
) -> dict[str, float]:
    """Read masses as "KNO3=120.1 g", for the items of a recipe. [kg]

    Raises
    ------
    InputError
        Names what was typed.
    """
    known = list(names)
    found: dict[str, float] = {}
    for text in typed:
        item, equals, mass = text.rpartition("=")
        if not (equals and item.strip() and mass.strip()):
            raise InputError(
                f"--actual {text!r} is not of the form NAME=MASS; write for example "
                "'KNO3=120.1 g'"
            )
        name = weighing.item_name(database, item.strip())
        if name not in known:
            raise InputError(
                f"--actual {text!r}: {name!r} is not in the recipe ({', '.join(known)})"
            )
        if name in found:
            raise InputError(f"--actual {text!r}: {name!r} is given twice")
        where = f"--actual {text!r}"
        found[name] = plausible.read(mass, "mass on the scale", where=where).value
    return found


def words(text: str) -> list[tuple[str, str]]:
    """Split "kind=pan weight lost=1.4 g" into keys and values.

    A key is a word right before "=", its value all up to the next key.

    Examples
    --------
    >>> words("kind=pan weight  lost=1.4 g")
    [('kind', 'pan weight'), ('lost', '1.4 g')]
    """
    pieces = re.split(r"(?:^|\s)([A-Za-z][A-Za-z_-]*)\s*=", text)
    pairs = zip(pieces[1::2], pieces[2::2], strict=True)
    head = [("", pieces[0].strip())] if pieces[0].strip() else []
    return head + [(key, value.strip()) for key, value in pairs]


def measurement_of(text: str, batch: Batch, date: str) -> dict[str, Any]:
    """Return a measurement as typed, with what the batch knows filled in.

    Parameters
    ----------
    text : str
        "kind=pan-weight lost=1.4 g"; keys of
        :data:`castsugar.workshop.kitchen_keys.MEASUREMENTS`, "-" or "_" in them.
    batch : Batch
        Gives recipe, cook and mass where they are not typed.
    date : str

    Raises
    ------
    InputError
        For a key that comes twice, or words that belong to no key.
    """
    entry: dict[str, Any] = {}
    for key, value in words(text):
        if not key:
            raise InputError(
                f"--measured {text!r}: {value!r} belongs to no key; write for example "
                "'kind=pan-weight lost=1.4 g'"
            )
        name = key.replace("-", "_")
        if name in entry:
            raise InputError(f"--measured {text!r}: {key!r} comes twice")
        entry[name] = value
    kind = _kind(str(entry.get("kind", "")), text)
    known = MEASUREMENTS[kind]
    own = {"recipe": batch.recipe_as_made(), "batch": f"{1e3 * batch.made.mass:.10g} g"}
    if batch.made.cook and "cook" not in entry:
        own["cook"] = batch.made.cook
        if batch.made.minutes is not None and "minutes" not in entry:
            entry |= {"minutes": batch.made.minutes} if "minutes" in known else {}
    own["date"] = date
    filled = {k: v for k, v in own.items() if k in known and k not in entry}
    return entry | {"kind": kind} | filled


def _kind(typed: str, text: str) -> str:
    """Return the kind of a measurement, "-" and spaces taken alike."""
    wanted = typed.replace("-", " ").casefold()
    for kind in MEASUREMENTS:
        if kind.replace("-", " ") == wanted:
            return kind
    listed = [kind.replace(" ", "-") for kind in MEASUREMENTS]
    near = nearest_names(typed, listed) if typed else []
    hint = f"did you mean {near[0]!r}? " if near else ""
    what = f"kind is {typed!r}" if typed else "no kind is given"
    raise InputError(
        f"--measured {text!r}: {what}; {hint}allowed: kind={', kind='.join(listed)}"
    )
