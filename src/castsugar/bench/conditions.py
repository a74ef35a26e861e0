"""What a bench file states of pressure, exit and nozzle flow, in either place.

Their place is [conditions]; [search] held them once.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Protocol

from castsugar import conditions, units
from castsugar.bench.schema import Place
from castsugar.conditions import Conditions, Stated
from castsugar.units import Quantity

#: What an evaluation calls them -> their key in [conditions], and in [search].
_KEYS = {
    "pressure": ("pressure", "pressure"),
    "exit_pressure": ("exit", "exit_pressure"),
    "nozzle_flow": ("nozzle_flow", "flow"),
}


class File(Protocol):
    """A bench file, as far as its conditions go."""

    @property
    def path(self) -> Path:
        """Return its name."""

    @property
    def conditions(self) -> Mapping[str, Any] | None:
        """Return the table of the conditions."""

    @property
    def search(self) -> Mapping[str, Any] | None:
        """Return the table of the search."""

    def place(self, table: str) -> Place:
        """Return where a table stands."""


def conditions_of(bench: File | None = None, **typed: Any) -> Conditions:
    """Return the conditions that hold for a bench file, and for what was typed.

    Parameters
    ----------
    **typed
        `pressure`, `exit_pressure`, `nozzle_flow` of
        :func:`castsugar.conditions.resolve`.

    Raises
    ------
    InputError
        [conditions] and [search] differ; an exit pressure that is not below that of
        the chamber.
    """
    return conditions.resolve(None if bench is None else _stated(bench), **typed)


def check_stated(bench: File) -> None:
    """Refuse a bench file whose two places differ, or whose exit is not below.

    Raises
    ------
    InputError
    """
    if {"pressure", "exit_pressure"} <= set(_stated(bench).values):
        conditions_of(bench)


def typed_values(raw: Mapping[str, Any], names: Mapping[str, str]) -> dict[str, Any]:
    """Return the conditions that a checked table states, quantities as typed.

    Parameters
    ----------
    raw : mapping
        The table as TOML gave it.
    names : mapping
        Keys to look for, each with its quantity; empty for a word.
    """
    return {
        name: units.parse(str(raw[name]), quantity) if quantity else raw[name]
        for name, quantity in names.items()
        if name in raw
    }


def _stated(bench: File) -> Stated:
    own, old = _values(bench.conditions), _values(bench.search)
    found, former = {}, {}
    for name, (key, once) in _KEYS.items():
        if key in own and once in old:
            _check_same(bench, name, own[key], old[once])
        if key in own:
            found[name] = own[key]
        elif once in old:
            found[name], former[name] = old[once], once

    def noted(taken: set[str]) -> tuple[str, ...]:
        keys = [once for name, once in former.items() if name in taken]
        one = len(keys) == 1
        note = (
            f"{bench.path.name}: {', '.join(keys)} of [search] "
            f"{'holds' if one else 'hold'} for every command; "
            f"{'its' if one else 'their'} place is now [conditions]"
        )
        return (note,) if keys else ()

    table, place = ("conditions", 0) if "exit" in own else ("search", 1)
    where = bench.place(table)
    return Stated(
        values=found,
        noted=noted,
        fail=lambda said: where.fail(_KEYS["exit_pressure"][place], said),
    )


def _values(table: Mapping[str, Any] | None) -> Mapping[str, Any]:
    return {} if table is None else table["typed"]


def _check_same(bench: File, name: str, own: Any, old: Any) -> None:
    """Refuse a [search] that says otherwise than [conditions]."""
    if isinstance(own, Quantity):
        if math.isclose(own.value, old.value, rel_tol=1e-9):
            return
        own, old = own.echo(), old.echo()
    if own != old:
        key, once = _KEYS[name]
        raise bench.place("search").fail(
            once,
            f"is {old}, and [conditions] {key} is {own}; one holds for every command: "
            f"take {once} out of [search]",
        )
