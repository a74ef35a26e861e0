"""The stories as they are told: their list, their words, how they are given out."""

from __future__ import annotations

import ast
import json
from importlib.util import find_spec
from pathlib import Path

import pytest

import castsugar as cs
from castsugar import examples
from castsugar.cli.main import main

# Exact: text against text.
pytestmark = pytest.mark.exact

FOLDER = Path(examples.__file__).parent / "stories"

#: Those in which nothing is cooked or fired.
ON_PAPER = {"first_table", "which_is_better", "many_mixes", "hottest_flame"}
ON_PAPER |= {"own_parts", "own_products"}

CAUTION = "Hot mixes burn people and houses; local law decides."


def test_every_story_is_listed() -> None:
    """No file without a line in the list, and the other way round."""
    assert {p.stem for p in FOLDER.glob("*.py")} == set(examples.STORIES)


@pytest.mark.parametrize("name", examples.STORIES)
def test_a_story_is_short_and_told_in_cells(name: str) -> None:
    """A title, prose before code, at most 80 lines."""
    text = examples.script(name)
    lines = text.splitlines()
    assert 30 <= len(lines) <= 80
    assert lines[0] == "# %% [markdown]"
    assert lines[1].startswith("# # ")
    assert "mypy" not in text
    prose = [line for line in lines if line.startswith("# ")]
    assert len(prose) >= len(lines) / 5
    one = " ".join(" ".join(prose).replace("# ", "").split())
    assert (CAUTION in one) == (name not in ON_PAPER)
    if "invented-club" in text:
        assert "invented" in one


def public(tree: ast.AST) -> set[str]:
    """Return what a script takes from castsugar: ``cs.a`` as a, ``cs.a.b`` as a.b."""
    found = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Attribute):
            words = ast.unparse(node).split(".")
            named = all(word.isidentifier() for word in words)
            if words[0] == "cs" and len(words) <= 3 and named:
                found.add(".".join(words[1:]))
    return found


@pytest.mark.parametrize("name", examples.STORIES)
def test_stories_use_public_names_only(name: str) -> None:
    """castsugar is imported as cs and nothing else; what is taken is in `__all__`."""
    tree = ast.parse(examples.script(name))
    for node in ast.walk(tree):
        if isinstance(node, ast.ImportFrom):
            assert not str(node.module).startswith("castsugar")
        if isinstance(node, ast.Import):
            for alias in node.names:
                if alias.name.startswith("castsugar"):
                    assert (alias.name, alias.asname) == ("castsugar", "cs")
    used = public(tree)
    assert used
    for words in used:
        space, _, inner = words.partition(".")
        assert space in cs.__all__, words
        if inner and inspect_space(space):
            assert inner in getattr(cs, space).__all__, words


def inspect_space(name: str) -> bool:
    """Say whether a public name is a module of its own."""
    return hasattr(getattr(cs, name), "__all__")


def test_names_that_are_not_public_would_be_seen() -> None:
    tree = ast.parse("cs.motor.burn_law.Band(1)\nx = cs.numerics.root")
    assert public(tree) == {"motor", "motor.burn_law", "numerics", "numerics.root"}
    assert "burn_law" not in cs.motor.__all__
    assert "numerics" not in cs.__all__


# ----------------------------------------------------------------------------
# The command.


def test_list(capsys: pytest.CaptureFixture[str]) -> None:
    """One screen: every story in one line, and what to do next."""
    assert main(["examples"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert len(lines) <= 24
    assert max(map(len, lines)) <= 80
    for name, idea in examples.STORIES.items():
        assert [line for line in lines if name in line.split() and idea in line]
    assert lines[-1] == "Next: castsugar examples first_table -o ."


def test_print_one(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["examples", "static_test"]) == 0
    assert capsys.readouterr().out == examples.script("static_test")


def test_write_one_or_all(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A folder is made, nothing is written over without a word."""
    made = tmp_path / "mine"
    assert main(["examples", "first_table", "-o", str(made)]) == 0
    assert "wrote" in capsys.readouterr().err
    (path,) = made.iterdir()
    assert path.read_text("utf-8") == examples.script("first_table")
    path.write_text("changed", "utf-8")
    assert main(["examples", "-o", str(made)]) == 2
    line = capsys.readouterr().err
    assert "first_table.py exists already" in line
    assert line.count("\n") == 1
    assert [p.read_text("utf-8") for p in made.iterdir()] == ["changed"]
    assert main(["examples", "-o", str(made), "--force"]) == 0
    assert {p.stem for p in made.iterdir()} == set(examples.STORIES)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["first_tabel"], "did you mean 'first_table'?"),
        (["first_tabel", "-o", "new"], "did you mean 'first_table'?"),
        (["--notebook"], "Give its NAME, or -o DIR"),
        (["first_table", "-o", ""], "-o is empty"),
    ],
)
def test_bad_input_is_one_line(
    words: list[str],
    said: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.chdir(tmp_path)
    assert main(["examples", *words]) == 2
    told = capsys.readouterr()
    assert said in told.err
    assert told.err.count("\n") == 1
    assert not told.out
    assert not list(tmp_path.iterdir())


def test_notebook_says_what_it_needs(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Without jupytext: one line that says how to get it."""
    monkeypatch.setattr(examples, "find_spec", lambda name: None)
    assert main(["examples", "first_table", "--notebook"]) == 2
    assert "pip install 'castsugar[docs]'" in capsys.readouterr().err


@pytest.mark.skipif(
    find_spec("jupytext") is None,
    reason="NOTEBOOKS ARE NOT TESTED: jupytext (extra 'docs') is not installed",
)
@pytest.mark.filterwarnings("default")
def test_notebooks_are_valid(tmp_path: Path) -> None:
    """nbformat accepts each; the cells hold the script, and the bytes are the same."""
    import nbformat

    assert main(["examples", "--notebook", "-o", str(tmp_path)]) == 0
    for name in examples.STORIES:
        text = (tmp_path / f"{name}.ipynb").read_text("utf-8")
        assert text == examples.notebook(name)
        nbformat.validate(json.loads(text))
        cells = nbformat.reads(text, as_version=4).cells
        assert cells[0].cell_type == "markdown"
        assert cells[0].source.startswith("# ")
        code = "\n".join(c.source for c in cells if c.cell_type == "code")
        assert ast.dump(ast.parse(code)) == ast.dump(ast.parse(examples.script(name)))
        assert not [c for c in cells if c.get("outputs")]


# ----------------------------------------------------------------------------
# A product file of one's own.


def test_a_product_file_is_read_anew(tmp_path: Path) -> None:
    """The shipped file read by name is the shipped set; a change in it is seen."""
    shipped = cs.load_database().folder / "products.yaml"
    own = tmp_path / "own.yaml"
    text = shipped.read_text("utf-8")
    own.write_text(text, "utf-8")
    assert cs.species_file(str(own)).names == cs.species_set("nasa-1993").names
    assert 'name: "O3"' in text
    own.write_text(text.replace('name: "O3"', 'name: "ozone"'), "utf-8")
    assert "ozone" in cs.species_file(own).names


def test_a_bad_product_file_is_one_line(tmp_path: Path) -> None:
    with pytest.raises(cs.DataError) as caught:
        cs.species_file(tmp_path / "none.yaml")
    assert "none.yaml" in str(caught.value)
    assert "\n" not in str(caught.value)
