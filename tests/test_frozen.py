"""The house's dataclasses do what those of Python do."""

from __future__ import annotations

import copy
import dataclasses
import inspect
import pickle
from dataclasses import field, fields, replace
from typing import Any

import pytest

from castsugar.frozen import dataclass

#: Exact: the same class made by both, one beside the other.
KINDS = (
    {"frozen": True, "slots": True, "kw_only": True},
    {"frozen": True, "slots": True, "kw_only": True, "eq": False},
    {"frozen": True},
    {"slots": True},
)


def pair(**how: Any) -> tuple[Any, Any]:
    """Return one class as Python makes it and as the house does."""

    def made(by: Any) -> Any:
        @by(**how)
        class Some:
            """A pot."""

            name: str
            mass: float = 1.0
            parts: list[float] = field(default_factory=list, repr=False)
            note: str = field(default="", compare=False)
            double: float = field(init=False)

            def __post_init__(self) -> None:
                object.__setattr__(self, "double", 2.0 * self.mass)

        return Some

    return made(dataclasses.dataclass), made(dataclass)


@pytest.mark.exact
@pytest.mark.parametrize("how", KINDS)
def test_it_is_made_shown_and_compared_alike(how: dict[str, Any]) -> None:
    theirs, ours = pair(**how)
    assert str(inspect.signature(ours)) == str(inspect.signature(theirs))
    one, other = ours(name="a", mass=2.0), ours(name="a", mass=2.0, note="b")
    assert repr(one) == repr(theirs(name="a", mass=2.0))
    assert (one == other) == how.get("eq", True)
    assert one != "a"
    assert (one.double, one.parts) == (4.0, [])
    assert ours(name="c").parts is not one.parts
    assert replace(one, mass=3.0).double == 6.0
    assert [f.name for f in fields(one)] == [f.name for f in fields(theirs)]
    assert dataclasses.asdict(one) == dataclasses.asdict(theirs(name="a", mass=2.0))
    for wrong in ({}, {"name": "a", "mas": 1.0}, {"name": "a", "double": 1.0}):
        with pytest.raises(TypeError):
            ours(**wrong)


@pytest.mark.exact
def test_what_is_frozen_stays_and_travels() -> None:
    frozen = Kept(name="a", shares=(0.6, 0.4))
    with pytest.raises(dataclasses.FrozenInstanceError):
        frozen.name = "b"  # type: ignore[misc]
    with pytest.raises(dataclasses.FrozenInstanceError):
        del frozen.name
    assert pickle.loads(pickle.dumps(frozen)) == frozen == copy.deepcopy(frozen)
    assert len({frozen, copy.copy(frozen)}) == 1
    _, loose = pair(slots=True)
    one = loose("a")
    one.name = "b"
    assert one.name == "b"
    with pytest.raises(TypeError):
        hash(one)


@dataclass(frozen=True, slots=True, kw_only=True)
class Kept:
    """What is pickled: by its name in this file."""

    name: str
    shares: tuple[float, ...] = ()
