"""Which cautions a screen shows: at most three lines, by its numbers, and a count."""

from __future__ import annotations

import json
import re
import shlex
from pathlib import Path

import jsonschema
import pytest

from castsugar import load_database
from castsugar.cli.main import main
from castsugar.kitchen.heat import HOTTEST
from castsugar.report import cautions
from castsugar.report.caution_list import RULE_PARTS
from castsugar.report.cautions import chosen
from castsugar.report.document import schema_of
from castsugar.report.shown import Shown

# Exact: the order and the widths are rules of ours; no number is compared.
pytestmark = pytest.mark.exact

CAUTIONS = load_database().cautions
MIX = "KNO3:60 sucrose:32 water:8"
KEYS = {c.key: c for c in CAUTIONS}
WING = ["evaluate", "kitchen", "motor", "firing"]
#: The example's motor: 369 g, 512 N s.
MOTOR = {"propellant_mass": 369.0, "total_impulse": 512.0}


@pytest.mark.parametrize("key", KEYS)
def test_every_rule_fits_one_line_with_its_number(key: str) -> None:
    caution = KEYS[key]
    value = {">": 1.37, "<": 0.0, "=": 1.0}.get(caution.operator, 0.0) * caution.limit
    facts = {caution.quantity: value - 5.5 if caution.operator == "<" else value}
    found = chosen([KEYS["general"], caution], facts, caution.topics, shown=1)
    if caution.level == "general":
        assert found.lines == ()
        return
    assert len(found.lines) == 1
    assert len("! " + found.lines[0]) <= 78
    assert "{" not in found.lines[0]


def test_numbers_come_first_the_graver_before_the_milder() -> None:
    facts = {**MOTOR, "batch_mass": 600.0, "bulk_temperature": 152.0}
    found = chosen(CAUTIONS, facts, [*WING, "weigh"])
    assert found.keys == ("bulk-above-150", "batch-above-500", "propellant-above-125")
    assert found.lines[0].startswith("Bulk at 152 \u00b0C, above 150 \u00b0C: ")
    assert found.lines[1].startswith("600 g in one batch")


def test_one_quantity_has_one_line_the_gravest() -> None:
    found = chosen(CAUTIONS, {"batch_mass": 600.0}, ["kitchen"], shown=99)
    assert "batch-above-500" in found.keys
    assert "batch-above-250" not in found.keys


def test_without_a_number_the_graver_level() -> None:
    found = chosen(CAUTIONS, {}, ["firing"])
    assert found.keys[0] == "pressurised-case"
    assert {KEYS[k].level for k in found.keys[1:]} == {"strong"}


def test_the_own_topic_goes_before_those_of_the_wings() -> None:
    found = chosen(CAUTIONS, {}, ["storage", "motor"], shown=2)
    assert found.keys == ("pressurised-case", "closed-vessel-hot")
    found = chosen(CAUTIONS, {}, ["motor", "storage"], shown=2)
    assert found.keys == ("pressurised-case", "machining")


@pytest.mark.parametrize("topics", [WING, ["weigh"], ["storage"], ["justify", *WING]])
@pytest.mark.parametrize("shown", [0, 1, 3])
def test_lines_and_rest_are_all_that_apply(topics: list[str], shown: int) -> None:
    found = chosen(CAUTIONS, MOTOR, topics, shown)
    applying = [c for c in CAUTIONS if c.applies(topics, MOTOR)]
    assert found.count == len(found.lines) + found.rest == len(applying)
    assert len(found.lines) <= shown


def test_a_screen_writes_the_numbers_in_its_own_units() -> None:
    def ounces(value: float, unit: str) -> str:
        return f"{value / 28.349523125:.1f} oz" if unit == "g" else f"{value} {unit}"

    facts = {"batch_mass": 300.0}
    found = chosen(CAUTIONS, facts, ["weigh"], shown=1, say=ounces)
    assert found.lines == (
        "10.6 oz in one batch is more than 8.8 oz: cook several small ones.",
    )


def test_of_several_values_the_worst_that_raises_the_rule_is_told() -> None:
    strands = {"grain_temperature": [20.0, 45.0, 51.0, -3.0]}
    found = chosen(CAUTIONS, strands, ["motor"], shown=1)
    assert found.lines[0].startswith("A grain at 51 \u00b0C burns faster")
    cold = chosen(CAUTIONS, {"grain_temperature": [20.0, -3.0]}, ["motor"], shown=1)
    assert cold.lines[0].startswith("A grain at \u22123 \u00b0C turns brittle")


def asked(words: list[str], capsys: pytest.CaptureFixture[str]) -> str:
    assert main(["cautions", *words]) == 0
    return capsys.readouterr().out


def test_the_command_prints_every_rule_once_with_level_and_source(
    capsys: pytest.CaptureFixture[str],
) -> None:
    flat = " ".join(asked(["--full"], capsys).replace("!", "").split())
    assert flat.startswith(f"Cautions: {len(CAUTIONS)} of {len(CAUTIONS)} ")
    for caution in CAUTIONS:
        assert flat.count(" ".join(caution.text.replace("!", "").split())) == 1
    assert flat.count("[stop; common practice, no source]") == 3
    assert "[stop; " in flat.split("beyond hobby work.")[1][:60]
    assert max(map(len, asked(["--full"], capsys).splitlines())) <= 80


@pytest.mark.parametrize("units", ["si", "us"])
@pytest.mark.parametrize("words", [[], ["kitchen"], ["firing"], ["--mix", MIX]])
def test_a_screen_of_the_command(
    words: list[str], units: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """24 lines of 80 columns, what stops everything first, what is left counted."""
    lines = asked([*words, "--units", units], capsys).splitlines()
    assert len(lines) <= 24
    assert max(map(len, lines)) <= 80
    marks = [line.split()[0] for line in lines if line.startswith("!")]
    assert marks == sorted(marks, reverse=True)
    told = re.search(r"^(\d+) more, and", "\n".join(lines), re.M)
    raised = sum(line.startswith("CAUTION") for line in lines)
    rest = int(told[1]) if told else 0
    assert lines[0].endswith(f": {len(marks) + raised + rest} of {len(CAUTIONS)}")
    assert main(shlex.split(lines[-1].removeprefix("Next: castsugar "))) == 0
    capsys.readouterr()
    found = json.loads(asked([*words, "--json"], capsys))
    jsonschema.validate(found, schema_of("cautions", RULE_PARTS))


def test_the_command_takes_a_topic(capsys: pytest.CaptureFixture[str]) -> None:
    rows = json.loads(asked(["storage", "--json"], capsys))["rules"]
    assert {row["key"] for row in rows} >= {"general", "label-and-store", "damp-grain"}
    assert all(set(row["topics"].split(", ")) & {"storage", "all"} for row in rows)
    assert main(["cautions", "storrage"]) == 2
    assert "did you mean 'storage'" in capsys.readouterr().err


@pytest.mark.slow
def test_a_mix_shows_what_it_raises(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def keys(*words: str) -> set[str]:
        rows = json.loads(asked([*words, "--json"], capsys))["rules"]
        return {row["key"] for row in rows}

    monkeypatch.chdir(tmp_path)
    dry, damp = "KNO3:65 sucrose:35", "KNO3:60 sucrose:32 water:8"
    assert "water-as-cast" not in keys("--mix", dry)
    assert "water-as-cast" in keys("--mix", damp)
    assert main(["init"]) == 0
    capsys.readouterr()
    motor = {"propellant-above-125", "impulse-above-320"}
    assert motor <= keys("--mix", "base")
    assert not motor & keys("--mix", damp, "--no-bench")


@pytest.mark.exact
def test_nothing_is_cooked_where_the_kitchen_has_no_verdict() -> None:
    """The limit of the screens is the kitchen's own: 150 °C in the bulk."""
    assert cautions._HOTTEST == HOTTEST
    (one,) = cautions.do_nots({"bulk_temperature": 155.0}, Shown())
    assert (one.status, one.text[:15]) == ("DO NOT", "cook at 155 °C:")
    assert list(cautions.do_nots({"bulk_temperature": 150.0}, Shown())) == []
