"""The plan of the house: who may import whom, and how big a room may be.

Every rule is a function from source text to complaints, so that it is tried both on
the package and on short bad examples that it must find.
"""

from __future__ import annotations

import ast
import functools
import graphlib
import re
from collections.abc import Iterator, Mapping
from pathlib import Path

import pytest

import castsugar

# Exact: the floors are those of DEVELOPERS.md; no number is compared.
pytestmark = pytest.mark.exact

#: Room -> floor and members. A package is a room by its own name; modules that lie
#: flat in castsugar and belong together are listed. The package's own __init__ and
#: __main__ stand outside: nobody imports them.
FLOORS: dict[str, tuple[int, tuple[str, ...]]] = {
    "ground": (
        0,
        (
            "errors",
            "arrays",
            "checks",
            "columns",
            "conditions",
            "constants",
            "costs",
            "draw_set",
            "frozen",
            "numerics",
            "plain",
            "plausible",
            "special",
            "units",
        ),
    ),
    "data": (1, ()),
    "files": (1, ()),
    "mix": (2, ()),
    "thermo": (3, ()),
    "kitchen": (3, ()),
    "motor": (3, ()),
    "evaluation": (
        4,
        (
            "rows",
            "confirmation",
            "sensitivity",
            "uncertainty",
            "limits",
            "evaluation",
            "static_test",
            "filmed_test",
            "ballistic_input",
            "proof",
        ),
    ),
    "optimize": (5, ()),
    "comparison": (5, ()),
    "readings": (5, ()),
    "bench": (5, ()),
    "weigh": (5, ()),
    "records": (5, ()),
    "faces": (6, ("strands", "firing")),
    "report": (6, ()),
    "answers": (6, ("asked", "assumptions", "evaluated", "smallest_change", "survey")),
    "plot": (6, ()),
    "page": (7, ()),
    "examples": (7, ()),
    "cli": (7, ()),
}
OUTSIDE = ("castsugar", "castsugar.__main__")

#: Rooms of one floor that a room may import.
BESIDE: dict[str, tuple[str, ...]] = {
    "comparison": ("optimize",),
    "bench": ("readings",),
    "weigh": ("readings", "bench"),
    "records": ("readings", "bench", "weigh"),
    "plot": ("report",),
    "answers": ("report",),
    "cli": ("page", "examples"),
}

MOST_LINES, MOST_STATEMENTS = 700, 40

#: Who may import Cantera; who may import pandas below floor 6, inside functions only.
CANTERA = ("castsugar.thermo.species", "castsugar.thermo.second_opinion")
PANDAS = (
    "castsugar.ballistic_input.block",
    "castsugar.comparison.change",
    "castsugar.comparison.compare",
    "castsugar.evaluation",
    "castsugar.kitchen.pour_table",
    "castsugar.mix.mix",
    "castsugar.optimize.outcome",
    "castsugar.sensitivity",
    "castsugar.static_test",
    "castsugar.thermo.states",
    "castsugar.readings.samples",
)

#: Who may touch files, and how that looks in source: the user's in one room
#: only; others read what the package ships, the command line opens the null device.
FILES = ("data", "files")
FILE_READERS = (
    "castsugar.report.page",
    "castsugar.page.serve",
    "castsugar.cli.screen",
    "castsugar.thermo.species",
    "castsugar.thermo.species_arrays",
    "castsugar.bench.example",
    "castsugar.examples",
)
FILE_CALLS = {"open", "read_text", "write_text", "read_bytes", "write_bytes", "fdopen"}

#: A program that also runs without the package, and so imports nothing of it.
PROGRAMS = ("castsugar.thermo.proof.check",)

IMPORTERS = ("import_module", "__import__", "find_spec")

Sources = Mapping[str, str]


@functools.cache
def package_sources() -> Sources:
    """Return every module of the package by its dotted name; stories are scripts."""
    root = Path(castsugar.__file__).parent
    found = {}
    for path in sorted(set(root.rglob("*.py")) - set(root.glob("examples/stories/*"))):
        parts = ["castsugar", *path.relative_to(root).with_suffix("").parts]
        name = ".".join(p for p in parts if p != "__init__")
        found[name] = path.read_text("utf-8")
    return found


@functools.cache
def nodes(source: str) -> tuple[ast.AST, ...]:
    """Return every node of a text; several rules look at each."""
    return tuple(ast.walk(ast.parse(source)))


def place(module: str) -> tuple[str, int] | None:
    """Return room and floor of a module."""
    parts = module.split(".")
    if parts[0] != "castsugar" or len(parts) < 2:
        return None
    for room, (floor, members) in FLOORS.items():
        if parts[1] in (members or (room,)):
            return room, floor
    return None


Import = tuple[str, ast.stmt | ast.expr]


def imports(source: str, known: Sources) -> tuple[Import, ...]:
    """Return what a module imports anywhere in its text, submodules resolved."""
    return _imports(source, frozenset(known))


@functools.cache
def _imports(source: str, known: frozenset[str]) -> tuple[Import, ...]:
    return tuple(_importing(source, known))


def _importing(source: str, known: frozenset[str]) -> Iterator[Import]:
    for node in nodes(source):
        if isinstance(node, ast.Import):
            yield from ((alias.name, node) for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            base = "." * node.level + (node.module or "")
            for alias in node.names:
                inner = f"{base}.{alias.name}"
                yield (inner if inner in known else base), node
        elif isinstance(node, ast.Call) and node.args:
            first = node.args[0]
            if called(node) in IMPORTERS and isinstance(first, ast.Constant):
                yield str(first.value), node


def called(node: ast.Call) -> str:
    """Return the last part of what is called: ``write_text`` of ``p.write_text()``."""
    func = node.func
    if isinstance(func, ast.Attribute):
        return func.attr
    return func.id if isinstance(func, ast.Name) else ""


def upward_imports(sources: Sources) -> Iterator[str]:
    """A module imports lower floors, or siblings of its own room."""
    for name, source in sources.items():
        if name in OUTSIDE:
            continue
        own = place(name)
        if own is None:
            yield f"{name}: has no floor; give it one in this test"
            continue
        for target, _ in imports(source, sources):
            if _is_free(target):
                continue
            other = place(target)
            if other is None:
                yield f"{name}: imports {target}, which is on no floor"
            elif not _is_below(other, own):
                yield f"{name} (floor {own[1]}): imports {target} (floor {other[1]})"


def _is_below(other: tuple[str, int], own: tuple[str, int]) -> bool:
    """Whether one room may be imported by another."""
    near = other[0] in (own[0], *BESIDE.get(own[0], ()))
    return near or other[1] < own[1]


def _is_free(target: str) -> bool:
    """Whether a target is no room: another package."""
    return target.split(".")[0] not in ("", "castsugar")


def cycles(sources: Sources) -> Iterator[str]:
    """Modules do not import each other in a circle, not even inside functions."""
    graph = {
        name: {t for t, _ in imports(source, sources) if t in sources}
        for name, source in sources.items()
        if name not in OUTSIDE
    }
    try:
        graphlib.TopologicalSorter(graph).prepare()
    except graphlib.CycleError as error:
        yield "circle: " + " -> ".join(error.args[1])


def heavy_imports(sources: Sources) -> Iterator[str]:
    """Cantera has two doors; pandas stays above floor 6 or inside functions."""
    for name, source in sources.items():
        own = place(name)
        inner = _inside_functions(source)
        for target, node in imports(source, sources):
            root = target.split(".")[0]
            if root == "cantera" and not _belongs(name, CANTERA):
                yield f"{name} line {node.lineno}: imports cantera"
            if root == "pandas" and (own is None or own[1] < 6):
                if not _belongs(name, PANDAS):
                    yield f"{name} line {node.lineno}: imports pandas"
                elif node.lineno not in inner:
                    yield f"{name} line {node.lineno}: imports pandas at module level"


def _belongs(name: str, allowed: tuple[str, ...]) -> bool:
    return any(name == a or name.startswith(a + ".") for a in allowed)


@functools.cache
def _inside_functions(source: str) -> set[int]:
    """Return the lines inside functions and under ``if TYPE_CHECKING``."""
    lines: set[int] = set()
    for node in nodes(source):
        guarded = isinstance(node, ast.If) and "TYPE_CHECKING" in ast.unparse(node.test)
        if guarded or isinstance(node, ast.FunctionDef):
            lines |= set(range(node.lineno, (node.end_lineno or node.lineno) + 1))
    return lines


def bad_habits(sources: Sources) -> Iterator[str]:
    """No star import, no bare except."""
    for name, source in sources.items():
        for node in nodes(source):
            if isinstance(node, ast.ImportFrom) and node.names[0].name == "*":
                yield f"{name} line {node.lineno}: import *"
            if isinstance(node, ast.ExceptHandler) and node.type is None:
                yield f"{name} line {node.lineno}: bare except"


def talking(sources: Sources) -> Iterator[str]:
    """Nobody prints; only the command line knows the screen."""
    for name, source in sources.items():
        if name in PROGRAMS:
            continue
        room, _ = place(name) or ("", 0)
        for node in nodes(source):
            if isinstance(node, ast.Call) and called(node) == "print":
                yield f"{name} line {node.lineno}: print"
            if isinstance(node, ast.Attribute) and room != "cli":
                stream = node.attr in ("stdout", "stderr")
                if stream and ast.unparse(node.value) == "sys":
                    yield f"{name} line {node.lineno}: sys.{node.attr}"


def standing_alone(sources: Sources) -> Iterator[str]:
    """A program that runs alone imports nothing of the package."""
    for name in PROGRAMS:
        for target, node in imports(sources.get(name, ""), sources):
            if not _is_free(target):
                yield f"{name} line {node.lineno}: imports {target}"


def touching_files(sources: Sources) -> Iterator[str]:
    """Files are touched in the rooms named for it."""
    for name, source in sources.items():
        room, _ = place(name) or ("", 0)
        if room in FILES or name in (*FILE_READERS, *PROGRAMS):
            continue
        for node in nodes(source):
            if isinstance(node, ast.Call) and _touches(node):
                yield f"{name} line {node.lineno}: touches a file ({called(node)})"


def _touches(node: ast.Call) -> bool:
    """Whether a call goes to a file: the builtin, or a method; not our own readers."""
    builtin = isinstance(node.func, ast.Name)
    return called(node) == "open" if builtin else called(node) in FILE_CALLS


def too_big(sources: Sources) -> Iterator[str]:
    """Modules of 700 lines, functions of 40 statements, nested ones included."""
    for name, source in sources.items():
        lines = len(source.splitlines())
        if lines > MOST_LINES:
            yield f"{name}: {lines} lines"
        for node in nodes(source):
            if not isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
                continue
            inner = [n for n in ast.walk(node) if isinstance(n, ast.stmt)]
            count = len(inner) - 1 - (ast.get_docstring(node) is not None)
            if count > MOST_STATEMENTS:
                yield f"{name}: {node.name} has {count} statements"


RULES = (
    upward_imports,
    cycles,
    heavy_imports,
    bad_habits,
    talking,
    standing_alone,
    touching_files,
    too_big,
)


@pytest.mark.parametrize("rule", RULES)
def test_package_keeps_the_rule(rule) -> None:
    """The package as it lies on disk breaks no rule."""
    sources = package_sources()
    # A search that finds nothing would pass every rule.
    assert {"castsugar", "castsugar.mix.mix", "castsugar.thermo.species"} <= set(
        sources
    )
    assert list(rule(sources)) == []


_GUARDED = "from typing import TYPE_CHECKING\nif TYPE_CHECKING:\n    "
_GOOD = {
    "castsugar.cli.main": "",
    "castsugar.errors": "",
    "castsugar.mix": "from castsugar.errors import x",
}

# Exact: one bad source for each thing that a rule must see.
BAD = [
    (upward_imports, "castsugar.units", "import castsugar.mix", "castsugar.mix (floor"),
    (upward_imports, "castsugar.mix", "def f():\n    from castsugar.cli import main",
     "(floor 2): imports castsugar.cli.main (floor 7)"),
    (upward_imports, "castsugar.mix", _GUARDED + "from castsugar.report.text import x",
     "imports castsugar.report.text (floor 6)"),
    (upward_imports, "castsugar.kitchen.heat", "from castsugar.thermo.fits import x",
     "(floor 3): imports castsugar.thermo.fits (floor 3)"),
    (upward_imports, "castsugar.thermo.fits", "from castsugar.motor import x",
     "imports castsugar.motor (floor 3)"),
    (upward_imports, "castsugar.mix", "from castsugar import evaluate", "on no floor"),
    (upward_imports, "castsugar.mix", "import importlib\n"
     "importlib.import_module('castsugar.evaluation')",
     "imports castsugar.evaluation (floor 4)"),
    (upward_imports, "castsugar.thermo.fits", "from ..cli import main", "on no floor"),
    (upward_imports, "castsugar.newcomer", "", "has no floor"),
    (cycles, "castsugar.errors", "def f():\n    from castsugar.mix import y", "circle"),
    (heavy_imports, "castsugar.mix", "def f():\n    import cantera as ct", "cantera"),
    (heavy_imports, "castsugar.thermo.fits", "from cantera import Species",
     "line 1: imports cantera"),
    (heavy_imports, "castsugar.thermo.second_opinions", "import cantera", "cantera"),
    (heavy_imports, "castsugar.units", "def f():\n    import pandas as pd", "pandas"),
    (heavy_imports, "castsugar.evaluation", "import pandas.api", "pandas at module"),
    (bad_habits, "castsugar.mix", "from math import *", "import *"),
    (bad_habits, "castsugar.mix", "try:\n    x = 1\nexcept:\n    x = 2", "bare except"),
    (talking, "castsugar.mix", "def f():\n    print(1)", "line 2: print"),
    (talking, "castsugar.report.text", "import sys\nsys.stdout.write('')", "sys."),
    (standing_alone, PROGRAMS[0], "import castsugar", "line 1"),
    (touching_files, "castsugar.mix", "open('x')", "touches a file (open)"),
    (touching_files, "castsugar.mix", "def f(p):\n    p.read_text()", "read_text"),
    (too_big, "castsugar.mix", "\n" * 701, "701 lines"),
    (too_big, "castsugar.mix", "def f():\n" + "    x = 1\n" * 41, "41 statements"),
]  # fmt: skip


@pytest.mark.parametrize(("rule", "name", "source", "complaint"), BAD)
def test_rule_sees_a_bad_source(rule, name: str, source: str, complaint: str) -> None:
    """Each rule finds the fault it is there for, and only in that module."""
    found = list(rule(_GOOD | {name: source}))
    assert len(found) == 1
    assert complaint in found[0]


def test_rules_accept_what_is_allowed() -> None:
    """Lower floors, siblings, lazy pandas and both doors of Cantera pass."""
    good = {
        "castsugar": "from castsugar.evaluation import evaluate",
        "castsugar.errors": "",
        "castsugar.mix": "from castsugar.errors import x",
        "castsugar.thermo.species": "import cantera\nfrom castsugar.mix import Mix",
        "castsugar.thermo.second_opinion": "def f():\n    import cantera",
        "castsugar.thermo.second_opinion.flow": "import cantera",
        "castsugar.evaluation": "from castsugar.thermo import species\n"
        "def f():\n    import pandas",
        "castsugar.report.text": "import pandas\nfrom castsugar.thermo import species",
        "castsugar.cli.main": "import sys\nsys.stdout.write(read_text('x'))",
        "castsugar.kitchen": "def f():\n    pass" + "\n    x = 1" * 39 + "\n" * 250,
    }
    assert [text for rule in RULES for text in rule(good)] == []


def test_table_of_the_house_is_this_one() -> None:
    """DEVELOPERS.md has a room on the floor that it has here, and no other."""
    text = (Path(__file__).parents[1] / "DEVELOPERS.md").read_text("utf-8")
    told = [
        (int(floor), name.removesuffix("/"))
        for floor, names in re.findall(r"^\| (\d) \| ([^|]*) \|", text, re.MULTILINE)
        for name in re.findall(r"`([^`]*)`", names)
    ]
    here = [
        (floor, name)
        for room, (floor, members) in FLOORS.items()
        for name in members or (room,)
    ]
    assert sorted(told) == sorted(here)


def test_exceptions_are_modules() -> None:
    """An exception to a rule goes with the module that it was made for."""
    named = {*CANTERA, *PANDAS, *FILE_READERS, *PROGRAMS}
    assert named <= set(package_sources())


def test_the_live_page_stays_small() -> None:
    """At most 1,800 lines of code: no blank ones, comments and docstrings counted."""
    folder = Path(castsugar.__file__).parent / "page"
    python = sum(code_lines(one.read_text("utf-8")) for one in folder.glob("*.py"))
    rows = [
        row.strip()
        for one in (folder / "static").iterdir()
        for row in one.read_text("utf-8").splitlines()
    ]
    static = sum(not re.fullmatch(r"((//|/\*|\*).*)?", row) for row in rows)
    assert min(python, static) > 500
    assert python + static <= 1800


def code_lines(text: str) -> int:
    """Return the lines of a module that are code."""
    holds = (ast.Module, ast.ClassDef, ast.FunctionDef, ast.AsyncFunctionDef)
    left = {i for i, row in enumerate(text.splitlines(), 1) if row.strip()}
    left -= {i for i, row in enumerate(text.splitlines(), 1) if row.strip()[:1] == "#"}
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, holds) and ast.get_docstring(node):
            words = node.body[0]
            left -= set(range(words.lineno, (words.end_lineno or 0) + 1))
    return len(left)
