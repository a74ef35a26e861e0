"""Dataclasses whose methods are not compiled anew for every class.

``dataclasses`` writes and compiles six methods a class, 0.3 to 0.5 ms: an eighth of an
answer about a bench, which loads 210 (0.80 s of CPU, 0.69 by this module). Here only
``__init__`` is compiled; the others are written once, and a test holds them to those of
Python. A type checker sees ``dataclasses.dataclass``.
"""

from __future__ import annotations

import dataclasses
import operator
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from dataclasses import dataclass as dataclass
else:

    def dataclass(
        cls: type | None = None, /, *, frozen: bool = False, eq: bool = True, **how: Any
    ) -> Any:
        """Do what :func:`dataclasses.dataclass` does; `how` goes to it."""

        def made(of: type) -> type:
            own = set(vars(of))
            of.__doc__ = of.__doc__ or of.__name__  # or it is looked up at length
            kept = dataclasses.dataclass(init=False, repr=False, eq=False, **how)(of)
            methods = {"__init__": _init(kept, frozen), "__repr__": _repr}
            if eq:
                methods |= _compared(kept, frozen)
            if frozen:
                methods |= {"__setattr__": _refuse, "__delattr__": _refuse}
            if frozen and how.get("slots"):
                methods |= {"__getstate__": _state, "__setstate__": _restore}
            for name, method in methods.items():
                if name not in own:
                    setattr(kept, name, method)
            return kept

        return made if cls is None else made(cls)


class _Made:
    """Stands in a signature for what a factory makes."""

    def __repr__(self) -> str:
        return "<factory>"


_MADE = _Made()


def _init(cls: type, frozen: bool) -> Callable[..., None]:
    """Compile the method that takes the values."""
    known: dict[str, Any] = {"_set": object.__setattr__, "_none": _MADE}
    heads: dict[bool, list[str]] = {False: [], True: []}
    body, kinds = [], {}
    for one in dataclasses.fields(cls):
        name, value = one.name, one.name
        factory = one.default_factory is not dataclasses.MISSING
        given = one.default is not dataclasses.MISSING
        known[f"_{name}"] = one.default_factory if factory else one.default
        if one.init:
            kinds[name] = one.type
            head = f"{name}=_none" if factory else f"{name}=_{name}"
            heads[bool(one.kw_only)].append(head if factory or given else name)
            if factory:
                value = f"_{name}() if {name} is _none else {name}"
        elif factory or given:
            value = f"_{name}()" if factory else f"_{name}"
        else:
            continue
        body.append(
            f"_set(self, {name!r}, {value})" if frozen else f"self.{name} = {value}"
        )
    if hasattr(cls, "__post_init__"):
        body.append("self.__post_init__()")
    star = ["*", *heads[True]] if heads[True] else []
    words = ", ".join(["self", *heads[False], *star])
    exec(f"def __init__({words}):\n " + "\n ".join(body or ["pass"]), known)
    method: Callable[..., None] = known["__init__"]
    method.__annotations__ = {**kinds, "return": None}
    method.__qualname__ = f"{cls.__qualname__}.__init__"
    method.__module__ = cls.__module__
    return method


def _compared(cls: type, frozen: bool) -> dict[str, Any]:
    """Return the methods that compare values; what can change has no hash."""
    names = [one.name for one in dataclasses.fields(cls) if one.compare]
    values = operator.attrgetter(*names) if names else lambda _: ()

    def __eq__(self: Any, other: Any) -> Any:
        same = other.__class__ is self.__class__
        return values(self) == values(other) if same else NotImplemented

    def __hash__(self: Any) -> int:
        return hash(values(self))

    return {"__eq__": __eq__, "__hash__": __hash__ if frozen else None}


def _repr(self: Any) -> str:
    named = [one.name for one in dataclasses.fields(self) if one.repr]
    told = ", ".join(f"{name}={getattr(self, name)!r}" for name in named)
    return f"{self.__class__.__qualname__}({told})"


def _refuse(self: Any, name: str, *value: object) -> None:
    verb = "assign to" if value else "delete"
    raise dataclasses.FrozenInstanceError(f"cannot {verb} field {name!r}")


def _state(self: Any) -> list[Any]:
    return [getattr(self, one.name) for one in dataclasses.fields(self)]


def _restore(self: Any, state: list[Any]) -> None:
    for one, value in zip(dataclasses.fields(self), state, strict=True):
        object.__setattr__(self, one.name, value)
