"""Every public name says what it takes, in which unit and shape, and what comes back.

The sections are those of numpydoc (https://numpydoc.readthedocs.io/en/latest/format.html).
"""

from __future__ import annotations

import ast
import inspect
import re
import textwrap
from collections.abc import Callable, Iterator
from typing import Any, NamedTuple

import pytest

import castsugar as cs
from castsugar import errors

# Made by a function of castsugar that has the example, not called by people.
GIVEN_BACK = {
    "Ballistics": "ballistics",
    "Blends": "blend",
    "Change": "justify",
    "Comparison": "compare",
    "Database": "load_database",
    "FlowSolution": "performance",
    "InCantera": "to_cantera",
    "Recipe": "parse_recipe",
    "Sensitivities": "sensitivities",
    "SpeciesTable": "species_set",
    "State": "equilibrium",
    "bench.BenchCheck": "bench.check",
    "bench.World": "bench.read",
    "firing.Delay": "firing.delay_time",
    "firing.Recording": "firing.read_trace",
    "firing.Reduction": "firing.reduce_recording",
    "firing.StaticTest": "firing.review",
    "kitchen.Belief": "kitchen.unmeasured",
    "kitchen.Drying": "kitchen.drying_time",
    "kitchen.Learnt": "kitchen.calibrate",
    "kitchen.Measurement": "kitchen.brine",
    "kitchen.PourHeat": "kitchen.pour_heat",
    "motor.Allowable": "motor.allowable_pressure",
    "motor.Firing": "motor.firings",
    "optimize.Outcome": "search",
    "records.Batch": "records.new_batch",
    "records.Damaged": "records.read_batches",
    "records.FrozenBench": "records.freeze",
    "records.Summary": "records.list_batches",
    "records.Learning": "records.learn_all",
    "records.Link": "records.add_events",
    "strands.MixResult": "strands.analyse_mix",
    "strands.StrandResults": "strands.analyse",
    "weigh.Addition": "weigh.corrected",
    "weigh.Castings": "weigh.castings",
    "weigh.Charge": "weigh.read_charge",
    "weigh.Correction": "weigh.corrected",
    "weigh.Judged": "weigh.judge",
    "weigh.Line": "weigh.plan",
    "weigh.Sheet": "weigh.plan",
    "weigh.Tolerance": "weigh.tolerances",
    "weigh.Weighing": "weigh.weighing",
}
SECTION = re.compile(r"^(\w[\w ]*)\n-{3,}$", re.MULTILINE)
NUMBER = re.compile(r"\b(float|FloatArray|ArrayLike)\b")
ARRAY = re.compile(r"\b(FloatArray|ArrayLike|NDArray)\b")
# A unit in brackets, or a kind of number that has none.
UNIT = re.compile(
    r"\[(-|%|[\w/ .,()^-]*[A-Za-z%][\w/ .,()^-]*)\]|"
    r"\b([Ss]hares?|[Ff]ractions?|[Rr]elative|[Pp]robability|[Uu]nit of the)\b"
)
SHAPE = re.compile(r"\bshape \(\w[\w, ]*\)|\((\w+,|\w+(, \w+)+)\)")


class Entry(NamedTuple):
    """One entry of a section: names, kind, and what is said of them."""

    names: tuple[str, ...]
    kind: str
    text: str


class Subject(NamedTuple):
    """A public function or class, and the name that people type."""

    name: str
    thing: Any

    @property
    def makes(self) -> Callable[..., Any]:
        """What runs when it is called."""
        if not inspect.isclass(self.thing):
            return self.thing
        own = vars(self.thing)
        return own.get("__post_init__") or own.get("__init__") or (lambda: None)

    def section(self, *titles: str) -> list[Entry]:
        """Return the entries of some of its sections."""
        found = sections(self.thing.__doc__ or "")
        return [e for title in titles for e in entries(found.get(title, ""))]


def sections(docstring: str) -> dict[str, str]:
    """Return the sections of a docstring by title; what stands before them by ""."""
    parts = SECTION.split(inspect.cleandoc(docstring))
    return {"": parts[0], **dict(zip(parts[1::2], parts[2::2], strict=True))}


def entries(section: str) -> list[Entry]:
    """Return the entries of a section: a line at the margin starts one."""
    found = []
    for block in re.split(r"\n(?=\S)", section.strip("\n")):
        head, _, text = block.partition("\n")
        names, _, kind = head.partition(" : ")
        if head:
            listed = tuple(n.strip().lstrip("*") for n in names.split(","))
            found.append(Entry(listed, kind, textwrap.dedent(text)))
    return found


def subjects() -> list[Subject]:
    """Return all public functions and classes, those of the spaces last."""
    names = [n for n in cs.__all__ if not inspect.ismodule(getattr(cs, n))]
    spaces = [n for n in cs.__all__ if inspect.ismodule(getattr(cs, n))]
    found = {n: getattr(cs, n) for n in names}
    for space in spaces:
        module = getattr(cs, space)
        found |= {f"{space}.{n}": getattr(module, n) for n in module.__all__}
    return [Subject(n, thing) for n, thing in found.items() if callable(thing)]


def is_error(thing: object) -> bool:
    """Whether it is an exception: its summary says all."""
    return inspect.isclass(thing) and issubclass(thing, Exception)


ALL = subjects()
CALLED = [s for s in ALL if not is_error(s.thing)]


def arguments(subject: Subject) -> Iterator[inspect.Parameter]:
    """Yield the parameters of a call."""
    for parameter in inspect.signature(subject.thing).parameters.values():
        if not parameter.name.startswith("_"):
            yield parameter


def summary(subject: Subject) -> None:
    """The first paragraph is one line that ends as a sentence, or with its unit."""
    summary = sections(subject.thing.__doc__ or "")[""].split("\n\n")[0]
    assert re.fullmatch(r"[A-Z].*(\.|\])|castsugar.*\.", summary.strip())


def parameters(subject: Subject) -> None:
    """Every parameter has its entry, with its kind; no entry is of something else."""
    told = subject.section("Parameters", "Attributes")
    names = [n for entry in told for n in entry.names]
    missing = [p.name for p in arguments(subject) if p.name not in names]
    assert not missing
    bare = [e.names for e in told if not e.kind and not e.text.startswith("As for ")]
    assert not bare
    known = {p.name for p in arguments(subject)}
    stray = [
        n for e in subject.section("Parameters") for n in e.names if n not in known
    ]
    assert not stray
    assert len(names) == len(set(names))


def units_and_shapes(subject: Subject) -> None:
    """A number has its unit in brackets, or its kind; an array has its shape."""
    told = {n: e for e in subject.section("Parameters", "Attributes") for n in e.names}
    faults = []
    for parameter in arguments(subject):
        entry = told.get(parameter.name)
        if entry is None or entry.text.startswith("As for "):
            continue
        said = f"{entry.kind}\n{entry.text}"
        if NUMBER.search(str(parameter.annotation)) and not UNIT.search(said):
            faults.append(f"{parameter.name}: unit")
        if ARRAY.search(str(parameter.annotation)) and not SHAPE.search(said):
            faults.append(f"{parameter.name}: shape")
    assert not faults


def returns(subject: Subject) -> None:
    """What a function gives back is said, in its unit, and has its own place."""
    if inspect.isclass(subject.thing):
        return
    back = inspect.signature(subject.thing).return_annotation
    told = sections(subject.thing.__doc__ or "")
    assert ("Returns" in told) == (back != "None")
    if NUMBER.search(back):
        assert UNIT.search(told["Returns"])
    if ARRAY.search(back):
        assert SHAPE.search(told["Returns"])
    assert not internal(str(back))


def internal(annotation: str) -> set[str]:
    """Return what an annotation names of castsugar that is not public."""
    public = {s.name.rpartition(".")[2] for s in ALL}
    words = set(re.findall(r"[A-Z]\w+", annotation))
    return words - public - OUTSIDE


#: Types of Python and of libraries, and our names for arrays and for what is accepted.
OUTSIDE = {"Any", "Axes", "DataFrame", "FloatArray", "Iterator", "Mapping", "Path"}
OUTSIDE |= {"None", "Sequence"}


def raised(function: Callable[..., Any]) -> set[str]:
    """Return the names of castsugar's errors that a body raises itself."""
    try:
        tree = ast.parse(textwrap.dedent(inspect.getsource(function)))
    except (OSError, SyntaxError, TypeError):
        return set()
    found = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Raise) and isinstance(node.exc, ast.Call):
            called = node.exc.func
            name = getattr(called, "id", getattr(called, "attr", ""))
            found.add("UnknownNameError" if name == "unknown_name" else name)
    return {n for n in found if is_error(getattr(errors, n, None))}


def raises(subject: Subject) -> None:
    """What a body raises is told, and when; what is told is an error of castsugar."""
    told = subject.section("Raises")
    names = {n for entry in told for n in entry.names}
    assert raised(subject.makes) <= names
    assert all(n.endswith("Error") for n in names)
    assert not [e.names for e in told if not e.text.strip()]


def example(subject: Subject) -> None:
    """What people call has an example that the doctests run."""
    example = sections(subject.thing.__doc__ or "").get("Examples", "")
    if subject.name in GIVEN_BACK:
        assert GIVEN_BACK[subject.name] in {s.name for s in CALLED}
        assert not example, "no exception any more"
    else:
        assert ">>> " in example


#: Rooms and modules whose public functions return physical quantities.
PHYSICAL = ("ballistic_input", "evaluation", "filmed_test", "kitchen", "motor")
PHYSICAL += ("sensitivity", "static_test", "thermo")

#: Of these: they read words, add up what they were given, or repeat another's numbers.
NOT_PHYSICAL = {"kitchen.parse_cook", "kitchen.kitchen_intervals", "kitchen.unmeasured"}
NOT_PHYSICAL |= {"firing.mean_of_two", "to_cantera"}


def physical() -> list[Subject]:
    """Return the public functions that return physical quantities."""
    found = [s for s in CALLED if not inspect.isclass(s.thing)]
    rooms = [s.thing.__module__.split(".")[1] for s in found]
    known = zip(found, rooms, strict=True)
    return [s for s, room in known if room in PHYSICAL and s.name not in NOT_PHYSICAL]


def validity_and_source(subject: Subject) -> None:
    """Its notes say where its numbers are good, and whose equations they are."""
    notes = sections(subject.thing.__doc__ or "").get("Notes", "")
    assert re.search(r"\bValid (for|as|at|between|from|while|within)\s\S", notes)
    assert re.search(r"\bSource:\s", notes)


@pytest.mark.exact
def test_what_is_physical() -> None:
    """The list of the others names what there is, and most are asked."""
    names = {s.name for s in CALLED}
    assert names >= NOT_PHYSICAL
    assert len(physical()) > 25


def members(subject: Subject) -> Iterator[tuple[str, Callable[..., Any], bool]]:
    """Yield the public methods of a class, and whether each reads as an attribute."""
    for name, member in vars(subject.thing).items():
        read = isinstance(member, property) or hasattr(member, "attrname")
        for part in ("__func__", "fget", "func"):
            member = getattr(member, part, member)
        if not name.startswith("_") and inspect.isfunction(member):
            yield name, member, read


def methods(subject: Subject) -> None:
    """Each has its summary; numbers have their unit; what is raised is told."""
    faults = []
    for name, method, read in members(subject):
        told = sections(method.__doc__ or "")
        back = str(inspect.signature(method).return_annotation)
        if not told[""].strip():
            faults.append(f"{name}: summary")
        number = re.fullmatch(r"(float|FloatArray)( \| None)?", back)
        if number and not UNIT.search(method.__doc__ or ""):
            faults.append(f"{name}: unit")
        if not read and raised(method) - {
            n for e in entries(told.get("Raises", "")) for n in e.names
        }:
            faults.append(f"{name}: raises")
    assert not faults


#: What is asked of whatever is called.
CHECKS = (summary, parameters, units_and_shapes, returns, raises, example)


@pytest.mark.exact
@pytest.mark.parametrize("subject", ALL, ids=[s.name for s in ALL])
def test_a_docstring_is_whole(subject: Subject) -> None:
    """Every check that the subject falls under; the line that fails says which."""
    if is_error(subject.thing):
        summary(subject)
        return
    for check in CHECKS:
        check(subject)
    if subject in physical():
        validity_and_source(subject)
    if inspect.isclass(subject.thing):
        methods(subject)


@pytest.mark.exact
def test_faults_are_seen() -> None:
    """The tests above find what is missing."""

    def bad(mass: float, grid: object, other: int = 0) -> float:
        """Weigh it.

        Parameters
        ----------
        mass : float
            Of the batch.
        gird : ndarray
        """
        raise errors.InputError("mass")

    subject = Subject("bad", bad)
    for check in CHECKS[1:]:
        with pytest.raises(AssertionError):
            check(subject)
