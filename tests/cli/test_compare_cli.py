"""``castsugar compare`` as it is used: mixes side by side, its schema, bad input.

The bench and its motor are invented.
"""

from __future__ import annotations

import csv
import json
import math
import os
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from castsugar.cli.main import main
from castsugar.comparison.compare import Cell, compare
from castsugar.comparison.draws import Summary
from castsugar.report.compare import difference
from castsugar.report.field import FIELDS
from castsugar.report.schemas import schema
from castsugar.report.shown import Shown

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
XYLITOL = "KNO3:65 xylitol:35"  # a kitchen has no model of it
FOUR = ["base", "softer", "wetter", SCRIPT, "--bench", "bench.toml"]
QUICK = ["--draws", "200", "--no-confirm"]
CELL = Cell(
    column="pour_viscosity_Pa_s",
    value=5.0,
    interval=(1.0, 9.0),
    difference=Summary(
        mean=0.0, deviation=0.0, median=0.0, interval=(0.0, 0.0), failed=0.0
    ),
    chance_higher=0.5,
    verdict="cannot tell",
    merit="",
    best=0.5,
    failed=0.0,
    one_step=0.0,
    step_item="",
    parts=(),
)
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


def of_mix(document: dict[str, Any], mix: int) -> list[dict[str, Any]]:
    """Return the differences of one mix."""
    name = document["mixes"][mix]["name"]
    return [d for d in document["differences"] if d["mix"] == name]


def columns_of(document: dict[str, Any]) -> list[dict[int, Any]]:
    """Return every column as one mapping: what each mix has there, in order."""
    own = [of_mix(document, mix) for mix in range(len(document["mixes"]))]
    return [dict(enumerate(each)) for each in zip(*own, strict=True)]


@pytest.mark.slow
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
            if cell["key"] == "peak_pressure_MPa" or cell["share_failed"] > 0.05:
                word = "cannot tell"
            assert cell["verdict"] == word
            told.add(word)
            assert bool(cell["merit"]) == (
                cell["key"] in MERIT and word != "cannot tell"
            )
            if mix == 1:  # the baseline itself
                assert (low, high, cell["verdict"]) == (0.0, 0.0, "cannot tell")
    assert told == {"higher", "lower", "cannot tell"}


@pytest.mark.slow
def test_one_of_all_is_the_best(four: dict[str, Any]) -> None:
    """Chances of being best sum to 1; none where no direction is agreed."""
    for column in columns_of(four):
        chances = [cell["probability_best"] for cell in column.values()]
        if column[0]["key"] in MERIT:
            assert math.fsum(chances) == pytest.approx(1.0, abs=1e-9)
        else:
            assert chances == [None] * 4


@pytest.mark.slow
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


@pytest.mark.slow
def test_words_say_what_json_says(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Every verdict, in the Markdown and in the full text."""
    document = compared(SUCROSE, SORBITOL)
    typed = ["compare", SUCROSE, SORBITOL, *QUICK, "--no-bench"]
    assert main([*typed, "--markdown"]) == 0
    lines = capsys.readouterr().out.replace("\\", "").split("\n")
    cells = [[c.strip() for c in line.strip("|").split("|")] for line in lines]
    told = {row[0]: row[4] for row in cells if len(row) == 5}
    assert main([*typed, "--full"]) == 0
    text = capsys.readouterr().out
    for one in of_mix(document, 1):
        word = one["verdict"] + (f": {one['merit']}" if one["merit"] else "")
        assert told[FIELDS[one["key"]].headed(Shown())] == word
        assert word in text
    assert "enthalpy of formation of sorbitol" in text


@pytest.mark.slow
def test_a_mix_alone_and_in_a_crowd(four: dict[str, Any]) -> None:
    """The other mixes do not move a number of the two."""
    pair = compared("softer", "base", "--bench", "bench.toml")
    for one, other in zip(of_mix(pair, 1), of_mix(four, 0), strict=True):
        for key in ("difference", "difference_interval", "verdict"):
            assert one[key] == other[key]
    for key, value in pair["mixes"][1].items():
        assert four["mixes"][0][key] == value


def screen(capsys: pytest.CaptureFixture[str], *words: str) -> list[str]:
    """Run the command and return the lines of its screen."""
    assert main(["compare", *words, *QUICK]) == 0
    return capsys.readouterr().out.splitlines()


def test_mixes_of_the_same_shares_are_told_apart(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """By what differs; differences stand beside letters where names are too long."""
    del folder
    mixes = [f"KNO3:60 {n}:20 corn syrup:20" for n in ("sucrose", "sorbitol")]
    lines = screen(capsys, *mixes, "--bench", "bench.toml")
    for name in ("A 60/20/20 sucrose ", "B 60/20/20 sorbitol "):
        assert any(line.startswith(name) for line in lines)
    assert any(line.startswith("against A 60/20/20 sucrose ") for line in lines)
    lines = screen(capsys, *mixes, "KNO3:60 sugar:20 corn syrup:20", "--no-bench")
    (head,) = [line.split() for line in lines if line.startswith("against")]
    assert head == ["against", "A", "B", "C"]
    assert max(map(len, lines[:-1])) <= 80


@pytest.mark.parametrize("mixes", [2, pytest.param(12, marks=pytest.mark.slow)])
def test_the_first_screen_answers(
    folder: Path, capsys: pytest.CaptureFixture[str], mixes: int
) -> None:
    """24 lines of 80 characters, gravest finding first, a command to go on with."""
    del folder
    recipes = ["base", "softer", "wetter"]
    recipes += [f"KNO3:{50 + k} powdered sugar:20 corn syrup:20" for k in range(9)]
    lines = screen(capsys, *recipes[:mixes], "--units", "us")
    assert len(lines) <= 24
    assert max(map(len, lines[:-1])) <= 80
    first = [line[:11] for line in lines[1:4]]
    assert "CANNOT TELL" in first  # none was burned
    assert [line for line in lines if line.startswith("KEPT")]
    assert lines[-1].startswith("Next: castsugar justify base softer")
    assert not any("\u2026" in line for line in lines)
    (head,) = [line for line in lines if line.lstrip().startswith("of 100")]
    assert "psi" in head


@pytest.mark.slow
def test_limits_of_the_bench_are_judged(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A case that one mix bursts says so first; what breaks a limit is named."""
    case = BENCH + '[motor.case]\nrated_pressure = "5 MPa"\n'
    Path("case.toml").write_text(case.replace("0.95", "1.02"), "utf-8")
    lines = screen(capsys, "base", "softer", "--bench", "case.toml")
    assert lines[1].startswith(
        "DO NOT       fire A base and B softer: more than 5 of 100"
    )
    broken = [line for line in lines if line.startswith("BROKEN")]
    assert broken == [
        "BROKEN       Relative solids at 20 °C of B softer: 1.00, at least 1.02."
    ]
    found = compared("base", "softer", "--bench", "case.toml")
    verdicts = [(one["mix"], one["key"], one["verdict"]) for one in found["limits"]]
    assert ("softer", "relative_solids_20C", "broken") in verdicts
    assert ("base", "relative_solids_20C", "kept") in verdicts


@pytest.mark.slow
def test_what_is_kept_says_what_it_rests_on(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A borrowed law and invented numbers stand in the sentence that says KEPT."""
    case = BENCH.replace("[motor]", "[motor]\ninvented = true")
    case += '[motor.case]\nrated_pressure = "50 MPa"\n'
    (folder / "rated.toml").write_text(case.replace("0.95", "1.02"), "utf-8")
    lines = screen(capsys, "base", "softer", "--bench", "rated.toml")
    text = " ".join(" ".join(lines).split())
    assert "EXAMPLE: invented numbers in rated.toml" in text
    kept = "A base keeps both limits, its pressure without own strands, by invented"
    assert kept in text


@pytest.mark.slow
def test_csv_holds_a_row_a_mix(folder: Path) -> None:
    """With bands, the verdict on every limit, and every difference."""
    typed = ["compare", *FOUR, *QUICK, "--csv", "-o", "four.csv", "--force"]
    assert main(typed) == 0
    with Path("four.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert [row["name"] for row in rows] == ["base", "softer", "wetter", SCRIPT]
    assert {row["limit_on_relative_solids_20C"] for row in rows} == {"kept"}
    for row in rows:
        c_star = float(row["characteristic_velocity_m_s"])
        low, high = (
            float(row[f"characteristic_velocity_m_s_{end}"]) for end in ("low", "high")
        )
        assert low < c_star < high
    assert rows[1]["difference_of_characteristic_velocity_m_s_verdict"] == "higher"


def test_ratios_beside_one_keep_their_digits() -> None:
    """exp(0.001) = 1.0010 is told apart from 1, so it is not printed as 1."""
    told = Summary(
        mean=0.02, deviation=0.01, median=0.02, interval=(0.001, 0.03), failed=0.0
    )
    cell = replace(CELL, difference=told, verdict="higher")
    assert difference(cell, Shown()) == ("1.020", "1.001", "1.030")
    assert difference(replace(cell, verdict="cannot tell"), Shown())[1] == "1.0"


def test_result_objects_print_in_a_few_lines() -> None:
    """No dump; JSON and a table are there."""
    found = compare([SUCROSE, SORBITOL], draws=100)
    assert len(str(found)) < 1000
    assert len(str(found).splitlines()) == 2
    assert "lower: flame temperature" in str(found)
    assert json.loads(found.to_json())["mixes"][1]["name"] == SORBITOL
    assert len(found.to_frame()) == 12


@pytest.mark.slow
def test_tags_are_text(four: dict[str, Any]) -> None:
    page = Path("four.html").read_text("utf-8")
    assert four["mixes"][3]["name"] == SCRIPT
    assert "<script" not in page
    assert SCRIPT.replace("<", "&lt;").replace(">", "&gt;") in page
    assert len(page.encode()) < 400_000


@pytest.mark.slow
def test_documents_are_as_the_schema_says(four: dict[str, Any], folder: Path) -> None:
    checked = schema("compare-2")
    jsonschema.Draft202012Validator.check_schema(checked)
    cook = ["--cook", "119 C", "--minutes", "8"]
    blind = compared(SUCROSE, XYLITOL, "KNO3:65 sucrose:30 corn syrup:5", *cook)
    assert blind["mixes"][1]["pour_viscosity_Pa_s"] is None
    for document in (four, blind):
        jsonschema.validate(document, checked)
    for key in ("mixes", "differences", "findings"):
        assert not jsonschema.Draft202012Validator(checked).is_valid(four | {key: 1})
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(four, schema("justify-2"))


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
