"""``castsugar compare`` as it is used: mixes side by side, its schema, bad input.

The bench and its motor are invented.
"""

from __future__ import annotations

import copy
import json
import math
import os
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from castsugar.cli.main import main
from castsugar.report.change.words import plain_label
from castsugar.report.schemas import schema

# Exact: verdicts follow from the intervals beside them, by the rule that is stated; the
# schema is JSON Schema 2020-12.
pytestmark = pytest.mark.exact

SCRIPT = "<script>alert(1)</script>"
BENCH = f"""\
[recipes]
"base" = "KNO3:60 powdered sugar:20 corn syrup:20"
"softer" = "KNO3:62 powdered sugar:14 corn syrup:24"
"wetter" = "KNO3:58 powdered sugar:17 corn syrup:25"
"{SCRIPT}" = "KNO3:63 powdered sugar:17 corn syrup:20"
[kitchen]
cook = "119 C"
minutes = 8
[limits]
relative_solids_20C = {{ at_least = 0.95 }}
[motor]
throat = "8 mm"
[motor.grain]
outer = "32 mm"
core = "12 mm"
length = "55 mm"
segments = 3
[[motor.burn_law]]
borrowed = "sucrose 65/35"
"""
SUCROSE, SORBITOL = "KNO3:65 sucrose:35", "KNO3:65 sorbitol:35"
FOUR = ["base", "softer", "wetter", SCRIPT, "--bench", "bench.toml"]
QUICK = ["--draws", "200", "--no-confirm"]
#: Columns on which people agree what is better: design, "better".
MERIT = {
    "characteristic_velocity_m_s",
    "specific_impulse_s",
    "density_impulse_kg_s_m3",
    "pour_viscosity_Pa_s",
}


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """Work in a folder with the bench file."""
    place, before = tmp_path_factory.mktemp("bench"), Path.cwd()
    (place / "bench.toml").write_text(BENCH, "utf-8")
    os.chdir(place)
    yield place
    os.chdir(before)


def compared(*words: str) -> dict[str, Any]:
    """Run the command and return its JSON."""
    alone = [] if "--bench" in words else ["--no-bench"]
    typed = ["compare", *words, *QUICK, *alone, "--json"]
    assert main([*typed, "-o", "compared.json", "--force"]) == 0
    found: dict[str, Any] = json.loads(Path("compared.json").read_text("utf-8"))
    return found


@pytest.fixture(scope="module")
def four(folder: Path) -> dict[str, Any]:
    """Four mixes with all wings, held against the second: JSON and page."""
    return compared(*FOUR, "--baseline", "softer", "--page", "four.html")


def columns_of(document: dict[str, Any]) -> list[dict[str, Any]]:
    """Return every column as one mapping: what each mix has there, in order."""
    own = [m["columns"] for m in document["mixes"]]
    return [dict(enumerate(each)) for each in zip(*own, strict=True)]


def test_verdicts_follow_from_their_intervals(four: dict[str, Any]) -> None:
    """By the rule: told apart if 0 is outside, except pressures of one burn law."""
    columns = columns_of(four)
    assert len(columns) == 10
    told = set()
    for column in columns:
        for mix, cell in column.items():
            low, high = cell["difference_interval"]
            # null is an end that is not finite: a mix that jams in some draws.
            low = -math.inf if low is None else low
            high = math.inf if high is None else high
            word = "higher" if low > 0.0 else "lower" if high < 0.0 else "cannot tell"
            if cell["column"] == "peak_pressure_MPa" or cell["share_failed"] > 0.05:
                word = "cannot tell"
            assert cell["verdict"] == word
            told.add(word)
            assert bool(cell["merit"]) == (
                cell["column"] in MERIT and word != "cannot tell"
            )
            if mix == 1:  # the baseline itself
                assert (low, high, cell["verdict"]) == (0.0, 0.0, "cannot tell")
    assert told == {"higher", "lower", "cannot tell"}


def test_one_of_all_is_the_best(four: dict[str, Any]) -> None:
    """Chances of being best sum to 1; none where no direction is agreed."""
    for column in columns_of(four):
        chances = [cell["probability_best"] for cell in column.values()]
        if column[0]["column"] in MERIT:
            assert math.fsum(chances) == pytest.approx(1.0, abs=1e-9)
        else:
            assert chances == [None] * 4


def test_baseline_by_name_number_and_letter(four: dict[str, Any], folder: Path) -> None:
    """All name the second mix; a recipe as typed does, too."""
    del four
    said = []
    for word in ("softer", "2", "B", "b"):
        typed = ["compare", "base", "softer", "--bench", "bench.toml", *QUICK]
        assert main([*typed, "--baseline", word, "--json", "-o", "x", "--force"]) == 0
        document = json.loads(Path("x").read_text("utf-8"))
        document.pop("command")
        said.append(document)
    assert said[0]["baseline"] == "softer"
    assert said[1:] == said[:1] * 3
    typed = compared(SUCROSE, SORBITOL, "--baseline", SORBITOL)
    assert typed["baseline"] == SORBITOL


def test_words_say_what_json_says(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Every verdict, in the table of the Markdown and in the text."""
    document = compared(SUCROSE, SORBITOL)
    typed = ["compare", SUCROSE, SORBITOL, *QUICK, "--no-bench"]
    assert main([*typed, "--markdown"]) == 0
    lines = capsys.readouterr().out.replace("\\", "").replace("**", "").split("\n")
    cells = [[c.strip() for c in line.strip("|").split("|")] for line in lines]
    told = {row[0].split(", ")[0]: row[1] for row in cells if len(row) == 4}
    assert main(typed) == 0
    text = capsys.readouterr().out
    for one in document["mixes"][1]["columns"]:
        word = one["verdict"] + (f": {one['merit']}" if one["merit"] else "")
        assert told[plain_label(one["column"])] == word
        assert word in text
    assert "enthalpy of formation of sorbitol" in text


def test_the_same_mix_is_never_told_apart(folder: Path) -> None:
    document = compared(SUCROSE, SORBITOL, SUCROSE)
    cells = document["mixes"][2]["columns"]
    assert {c["verdict"] for c in cells} == {"cannot tell"}
    assert {tuple(c["difference_interval"]) for c in cells} == {(0.0, 0.0)}
    jsonschema.validate(document, schema("compare-1"))


def test_a_mix_alone_and_in_a_crowd(four: dict[str, Any]) -> None:
    """The other mixes do not move a number of the two."""
    pair = compared("softer", "base", "--bench", "bench.toml")
    cells = zip(pair["mixes"][1]["columns"], four["mixes"][0]["columns"], strict=True)
    for one, other in cells:
        for key in ("value", "interval", "difference_interval", "verdict"):
            assert one[key] == other[key]


def test_tags_are_text(four: dict[str, Any]) -> None:
    page = Path("four.html").read_text("utf-8")
    assert four["mixes"][3]["name"] == SCRIPT
    assert "<script" not in page
    assert SCRIPT.replace("<", "&lt;").replace(">", "&gt;") in page
    assert len(page.encode()) < 400_000


def test_documents_are_as_the_schema_says(four: dict[str, Any], folder: Path) -> None:
    checked = schema("compare-1")
    jsonschema.Draft202012Validator.check_schema(checked)
    cook = ["--cook", "119 C", "--minutes", "8"]
    blind = compared(SUCROSE, SORBITOL, "KNO3:65 sucrose:30 corn syrup:5", *cook)
    assert None in [c["value"] for c in blind["mixes"][1]["columns"]]
    for document in (four, blind):
        jsonschema.validate(document, checked)
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(four, schema("justify-1"))


WRONG: list[tuple[tuple[Any, ...], Any]] = [
    (("schema",), "castsugar.compare/2"),
    (("mixes", 0, "columns", 0, "verdict"), "better"),
    (("mixes", 0, "columns", 0, "column"), "flame_temperature_C"),
    (("mixes", 0, "columns", 0, "difference_interval"), [0.0, 0.0, 0.0]),
    (("mixes", 0, "columns", 0, "probability_higher"), -0.1),
    (("mixes", 0, "columns", 0, "doubt", 0, "share"), 1.5),
    (("mixes", 0, "columns", 0, "more"), 1),
    (("mixes",), []),
    (("inputs", 0, "kind"), "luck"),
    (("inputs", 0, "standard_uncertainty"), None),
    (("firings", 0, "more"), 1),
    (("recipes_as_weighed", 0, "density_kg_m3"), 0.0),
    (("more",), 1),
]


@pytest.mark.parametrize(("path", "value"), WRONG, ids=[str(w[0]) for w in WRONG])
def test_a_wrong_value_breaks_it(
    four: dict[str, Any], path: tuple[Any, ...], value: Any
) -> None:
    changed = copy.deepcopy(four)
    target = changed
    for key in path[:-1]:
        target = target[key]
    target[path[-1]] = value
    assert not jsonschema.Draft202012Validator(schema("compare-1")).is_valid(changed)


def test_a_missing_key_breaks_it(four: dict[str, Any]) -> None:
    checker = jsonschema.Draft202012Validator(schema("compare-1"))
    places: list[tuple[Any, ...]] = [
        (),
        ("mixes", 0),
        ("mixes", 0, "columns", 0),
        ("mixes", 0, "columns", 0, "doubt", 0),
        ("inputs", 0),
        ("firings", 0),
        ("recipes_as_weighed", 0),
        ("recipes_as_weighed", 0, "constituents", 0),
    ]
    for place in places:
        found: Any = four
        for key in place:
            found = found[key]
        for key in list(found):
            kept = found.pop(key)
            assert not checker.is_valid(four), (place, key)
            found[key] = kept
    assert checker.is_valid(four)


REFUSED = [
    ([SUCROSE], "one recipe cannot be compared"),
    ([SUCROSE, SORBITOL, "--baseline", "zzz"], "the baseline is 'zzz'"),
    ([SUCROSE, SORBITOL, "--baseline", "3"], "1 to 2"),
    ([SUCROSE, SORBITOL, "--baseline", "0"], "1 to 2"),
    ([SUCROSE, "zzz", "--no-bench"], "recipe 2: 'zzz'"),
    ([SUCROSE, "KNO3:65 sulfur:35"], "'sulfur' is refused"),
    ([SUCROSE, SORBITOL, "--exit-pressure", "none"], "--exit-pressure is none"),
    ([SUCROSE, SORBITOL, "--draws", "10"], "--draws is 10; allowed 100 to"),
    ([SUCROSE, SORBITOL, "--scale-step", "0 g"], "--scale-step is 0 g; allowed"),
    ([SUCROSE, SORBITOL, "--bench", "none.toml"], "none.toml cannot be read"),
    ([SUCROSE, SORBITOL, "--page", "bench.toml"], "--force"),
]


@pytest.mark.parametrize(("words", "message"), REFUSED, ids=[r[1] for r in REFUSED])
def test_bad_input(
    folder: Path, capsys: pytest.CaptureFixture[str], words: list[str], message: str
) -> None:
    before = {p.name: p.read_bytes() for p in folder.iterdir()}
    typed = [*words, "-o", "refused.txt"]
    if "--page" not in words:
        typed += ["--page", "refused.html"]
    assert main(["compare", *typed]) == 2
    printed = capsys.readouterr()
    assert printed.out == ""
    assert message in printed.err
    assert printed.err.startswith("castsugar: ")
    assert printed.err.count("\n") == 1
    assert {p.name: p.read_bytes() for p in folder.iterdir()} == before
