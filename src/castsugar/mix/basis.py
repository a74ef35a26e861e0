"""What an answer on mixes rests on: versions, conditions and sources, plain values.

It is the ``attrs`` of every table and the ``basis`` of every object that is an answer;
:func:`cite` puts it in words.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Any, Protocol, TypeVar, cast

import numpy as np

from castsugar.checks import shown
from castsugar.data.load import PRODUCT_SETS, data_version, load_database
from castsugar.data.records import Source
from castsugar.errors import InputError
from castsugar.mix.blends import Blends

if TYPE_CHECKING:
    from castsugar.mix.mix import Mix
    from castsugar.mix.weighing import Constituent

_Table = TypeVar("_Table")

#: Where the numbers of a product set are from, and who carries them.
_PRODUCT_SOURCES = {
    "nasa-1993": ("nasa-tm-4513", "cantera-3.2"),
    "nasa-2002": ("nasa-tp-2002-211556", "nasa-tm-4513", "cantera-3.2"),
}

#: What stands for numbers that the caller brought.
OWN = "user"


class Stated(Protocol):
    """A kitchen or a motor, which says what it brings to an answer."""

    def basis(self) -> dict[str, Any]:
        """Return plain values, units in the keys; `sources` among them."""


class _Products(Protocol):
    @property
    def data_set(self) -> str:
        """Its name."""


def basis(  # noqa: PLR0913 - keyword-only options
    mixes: Iterable[Mix] | Blends,
    *,
    pressure: float | Sequence[float] | None = None,
    exit_pressure: float | None = None,
    flow: str = "",
    species: _Products | None = None,
    data_uncertainty: bool = False,
    kitchen: Stated | None = None,
    motor: Stated | None = None,
) -> dict[str, Any]:
    """Return what an answer on mixes rests on.

    Parameters
    ----------
    mixes : iterable of Mix, or Blends
        As cast.
    pressure : float or sequence of float, optional
        None: nothing was burnt, and of what follows only the kitchen counts. [Pa]
    exit_pressure : float or None
        [Pa]
    species : SpeciesTable, optional
        The shipped products by default.
    data_uncertainty : bool
        Whether another product set was held beside it.

    Returns
    -------
    dict
        Texts, numbers, lists and mappings of these alone, as JSON knows them: versions
        under `castsugar`, `species_data` and `cantera`, keys of ``sources.csv`` under
        `sources`; among them, for what the caller brought, :data:`OWN` or the words in
        which the caller names the source.
    """
    from importlib import metadata

    found: dict[str, Any] = {
        "castsugar": metadata.version("castsugar"),
        "species_data": data_version(),
        "cantera": metadata.version("cantera"),
    }
    sources = _of_mixes(mixes, burnt=pressure is not None)
    if pressure is not None:
        products = _product_set(species)
        found |= {
            "pressure_Pa": _pressures(pressure),
            "exit_pressure_Pa": None if exit_pressure is None else float(exit_pressure),
            "nozzle_flow": flow,
            "product_set": products,
        }
        sources += _PRODUCT_SOURCES.get(products, (OWN,))
        if data_uncertainty:
            other = next(name for name in _PRODUCT_SOURCES if name != products)
            found["second_product_set"] = other
            sources += _PRODUCT_SOURCES[other]
    invented: list[str] = []
    for one in (kitchen, motor):
        if one is not None:
            told = one.basis()
            sources += told.pop("sources")
            invented += told.pop("invented")
            found |= told
    found["invented"] = [*dict.fromkeys(invented)]
    found["sources"] = [*dict.fromkeys(sources)]
    return found


def stamped(table: _Table, known: Mapping[str, Any]) -> _Table:
    """Return a table, with what it rests on as its ``attrs``."""
    cast(Any, table).attrs = dict(known)
    return table


def _pressures(pressure: float | Sequence[float]) -> float | list[float]:
    """Return one pressure, or one a mix where they differ."""
    every = np.atleast_1d(np.asarray(pressure, dtype=float)).tolist()
    return every[0] if len({*every}) == 1 else every


def _product_set(species: _Products | None) -> str:
    """Return the name of a product set; of none that is shipped, what it says."""
    if species is None:
        return next(iter(PRODUCT_SETS))
    years = {name.rpartition("-")[2]: name for name in PRODUCT_SETS}
    known = (name for year, name in years.items() if year in species.data_set)
    return next(known, species.data_set)


def _of_mixes(mixes: Iterable[Mix] | Blends, *, burnt: bool) -> list[str]:
    """Return the sources of ingredients, premixes and syrups, in order of use."""
    database = load_database()
    found: dict[str, None] = {}
    for origin, one in dict.fromkeys((c.origin, c.ingredient) for c in _parts(mixes)):
        bought = database.premixes.get(origin) or database.syrups.get(origin)
        known = [bought.source] if bought is not None else []
        if burnt and one.composition:
            known.append(one.source)
        if not math.isnan(one.density):
            known.append(one.density_source)
        found |= dict.fromkeys(known)
    return [*found]


def _parts(mixes: Iterable[Mix] | Blends) -> Iterator[Constituent]:
    """Yield the pure substances that mixes hold."""
    if isinstance(mixes, Blends) and mixes.items:
        most = mixes.shares.max(axis=0, initial=0.0)
        for item, share in zip(mixes.items, most, strict=True):
            yield from item.constituents if share > 0.0 else ()
        return
    for mix in mixes.mixes if isinstance(mixes, Blends) else mixes:
        yield from mix.cast


# ----------------------------------------------------------------------------
# How it is cited.


class Cited:
    """An answer that says what it rests on under `basis`."""

    __slots__ = ()

    def cite(self) -> str:
        """Return versions, conditions and references; see :func:`castsugar.cite`."""
        return cite(self)


def cite(result: Any) -> str:
    """Return versions, conditions and references of a result, as text.

    Parameters
    ----------
    result : DataFrame, State, Comparison, Change, Outcome, StaticTest, Sensitivities
        A table by its ``attrs``, which pandas keeps through selection, pickle and
        Parquet, and through :func:`pandas.concat` where all parts have the same.

    Returns
    -------
    str
        Versions on the first line, then conditions (SI, units in the names), then one
        reference a line: only those of numbers that this result used.

    Raises
    ------
    InputError
        For what does not say what it rests on.

    Examples
    --------
    >>> import castsugar as cs
    >>> text = cs.cite(cs.evaluate("KNO3:65 sucrose:35", pressure=6.9e6))
    >>> [line for line in text.splitlines() if "TM-4513" in line]
    ['[nasa-tm-4513] McBride, Gordon and Reno, NASA TM-4513, 1993']
    """
    known = getattr(result, "basis", None) or getattr(result, "attrs", None)
    if not isinstance(known, Mapping) or "sources" not in known:
        raise InputError(
            f"{shown(result)} does not say what it rests on; cite a result of "
            "castsugar, or a table with its attrs: concat drops them where those of "
            "its parts differ"
        )
    return "\n".join(cited_lines(known))


def references(known: Mapping[str, Any]) -> list[dict[str, str]]:
    """Return the references of a basis: key, citation, DOI or URL, note.

    What is no key of ``sources.csv`` is cited under :data:`OWN`, as it stands.
    """
    shipped = load_database().sources
    found = []
    for key in known["sources"]:
        words = "numbers stated by whoever asked" if key == OWN else key
        one = shipped.get(key) or Source(OWN, "own", words)
        found.append({name: getattr(one, name) for name in _REFERENCE})
    return found


def cited_lines(known: Mapping[str, Any]) -> list[str]:
    """Return a basis as lines: versions, conditions, references."""
    names = (("castsugar", "castsugar"), ("species data", "species_data"))
    each = [f"{name} {known[key]}" for name, key in (*names, ("Cantera", "cantera"))]
    told = {k: v for k, v in known.items() if k not in _NO_CONDITION and v not in _NONE}
    lines = [", ".join(each)]
    lines += [f"{key}: {_words(value)}" for key, value in told.items()]
    lines += [
        f"[{one['key']}] {one['citation']}"
        + (f", {one['doi_or_url']}" if one["doi_or_url"] else "")
        for one in references(known)
    ]
    return lines


_REFERENCE = ("key", "citation", "doi_or_url", "note")
_NO_CONDITION = ("castsugar", "species_data", "cantera", "sources")
_NONE: tuple[Any, ...] = (None, "", [])


def _words(value: Any) -> str:
    """Write a plain value."""
    if isinstance(value, list):
        return " ".join(map(_words, value))
    return f"{value:.10g}" if isinstance(value, float) else str(value)
