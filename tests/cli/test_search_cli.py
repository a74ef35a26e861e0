"""``castsugar search`` as it is used: answers, pictures, "no", bad input, Ctrl-C.

All readings and the motor are invented.
"""

from __future__ import annotations

import json
import xml.etree.ElementTree as ET
from pathlib import Path

import jsonschema
import numpy as np
import pytest

from castsugar.cli.main import main
from castsugar.optimize.task import TableProblem
from castsugar.report.document import schema_of
from castsugar.report.search_rows import PARTS

# Exact: answers are held against limits that were typed, and against each other.
pytestmark = pytest.mark.exact

HOT = """\
[recipes]
"mine" = "KNO3:60 powdered sugar:20 corn syrup:20"
"cool" = "KNO3:55 powdered sugar:25 corn syrup:20"
[scale]
step = "0.5 g"
[limits]
flame_temperature_K = { at_most = 1500 }
[search]
maximise = "characteristic_velocity_m_s"
water_lost = "20 %"
batch = "100 g"
[search.ingredients]
"KNO3" = "50 % to 70 %"
"powdered sugar" = "5 % to 40 %"
"corn syrup" = "10 % to 30 %"
"""


@pytest.fixture
def bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Write a bench file into the working folder."""
    monkeypatch.chdir(tmp_path)
    path = tmp_path / "bench.toml"
    path.write_text(HOT, "utf-8")
    return path


def searched(
    words: list[str], capsys: pytest.CaptureFixture[str], code: int = 0
) -> tuple[str, str]:
    """Run a search and return what it prints on both streams."""
    assert main(["search", "bench.toml", *words]) == code
    printed = capsys.readouterr()
    return printed.out, printed.err


@pytest.mark.slow
def test_the_answer_in_text_and_json(
    bench: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The same mix in both; the limit binds and has a price."""
    page, note = searched(["--explain", "--no-confirm"], capsys)
    assert note == "castsugar: --explain is now --full\n"
    document = json.loads(searched(["--json"], capsys)[0])
    jsonschema.validate(document, schema_of("search", PARTS))
    assert document["status"] == "optimal"
    assert "Limits, bounds and their shadow prices" in page
    assert "Held back by: flame temperature at most 1500 K (10 % looser buys" in page
    assert "mine" in page
    text = json.dumps(document)
    assert "confirmed" in text
    assert "multiplier" in text or "price" in text


PRICED = """
[prices]
KNO3 = "4 EUR/kg"
"powdered sugar" = "1 EUR/kg"
"corn syrup" = "3 EUR/kg"
"""


@pytest.mark.slow
@pytest.mark.parametrize(
    ("goal", "words", "sentence"),
    [
        ("least change from mine", "least change from mine", "Held back by: flame"),
        ("least change from cool", "least change from cool", "nothing: cool keeps all"),
        ("cheapest per N s", "least EUR per N s", "Least sure: what a small motor"),
    ],
)
def test_a_goal_in_plain_words(
    goal: str,
    words: str,
    sentence: str,
    bench: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """In the title, in JSON, and in every form; ideal impulse is said to be ideal."""
    text = HOT.replace('maximise = "characteristic_velocity_m_s"', f'goal = "{goal}"')
    bench.write_text(text.replace("[search]", f"{PRICED}[search]", 1), "utf-8")
    page = searched(["--no-confirm"], capsys)[0]
    assert page.startswith(f"search: {words} within the limit of bench.toml")
    assert sentence in page
    assert len(page.splitlines()) <= 24
    document = json.loads(searched(["--no-confirm", "--json"], capsys)[0])
    jsonschema.validate(document, schema_of("search", PARTS))
    assert document["objective"]["wanted"] == words
    assert document["objective"]["sense"] == "minimise"
    if goal == "cheapest per N s":
        for form in ("--full", "--csv", "--markdown"):
            assert searched(["--no-confirm", form], capsys)[0]


@pytest.mark.parametrize(
    ("goal", "words"),
    [
        ("most total impulse", "needs a motor"),
        ("least syrup that pours", "needs a kitchen"),
        ("cheapest per N s", "none is stated of KNO3, powdered sugar, corn syrup"),
        ("highest pressure", "burst cases"),
    ],
)
def test_a_goal_that_cannot_be(
    goal: str, words: str, bench: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """One line, code 2."""
    text = HOT.replace('maximise = "characteristic_velocity_m_s"', f'goal = "{goal}"')
    bench.write_text(text, "utf-8")
    out, err = searched([], capsys, 2)
    assert out == ""
    assert words in err
    assert err.count("\n") == 1


@pytest.mark.slow
def test_robust_pays_or_the_nominal_is_kept(
    bench: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """At the flame's limit a batch that misses breaks it; far below, none does."""
    robust = HOT.replace("[search]", "[search]\nrobust = true").replace(
        'step = "0.5 g"', 'step = "0.5 g"\naccuracy = "0.5 g"'
    )
    dry = 'moisture_spread = "0 %"\nsyrup_solids_spread = "0 %"\n'
    for text, words in (
        (robust.replace("batch", dry + "batch"), "RESULT Robust: "),
        (robust.replace("1500", "2500"), "RESULT No gain from a robust mix, keep"),
    ):
        bench.write_text(text, "utf-8")
        said = " ".join(searched(["--no-confirm"], capsys)[0].split())
        assert words in said
        assert ("nominal 6" in said) == ("It costs" in said)
    whole = searched(["--no-confirm", "--full"], capsys)[0]
    assert "If batches miss the recipe" in whole


@pytest.mark.slow
def test_pictures_and_trials(bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Drawings that parse; the same bytes twice; every trial in the table."""
    words = ["--no-confirm", "--picture", "map.svg", "--picture", "traces=traces.svg"]
    searched([*words, "--trials", "trials.csv"], capsys)
    for name in ("map.svg", "traces.svg"):
        assert ET.parse(name).getroot().tag.endswith("svg")
    first = Path("map.svg").read_text("utf-8")
    searched([*words, "--force"], capsys)
    assert Path("map.svg").read_text("utf-8") == first
    rows = Path("trials.csv").read_text("utf-8").splitlines()
    assert len(rows) > 100
    assert "stage" in rows[0]
    assert main(["search", "bench.toml", *words]) == 2  # never overwritten


@pytest.mark.slow
def test_no_mix_keeps_the_limits(
    bench: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """1300 K cannot be had with 60 % nitrate and little syrup: exit code 1, and what
    to relax."""
    text = HOT.replace("1500", "1300").replace("50 % to 70 %", "64 % to 70 %")
    bench.write_text(text, "utf-8")
    page, _ = searched(["--no-confirm"], capsys, code=1)
    assert "no mix" in page.casefold()
    document = json.loads(searched(["--no-confirm", "--json"], capsys, code=1)[0])
    assert document["status"] == "infeasible"


@pytest.mark.parametrize(
    ("change", "meaning"),
    [
        (("flame_temperature_K", "flame_temprature_K"), "flame_temperature_K"),
        (('"characteristic_velocity_m_s"', '"c_star"'), "c_star"),
        (("50 % to 70 %", "70 % to 50 %"), "contradict"),
        (("50 % to 70 %", "10 % to 20 %"), "no mix"),
        (('"KNO3"', '"KNO4"'), "unknown ingredient 'KNO4'"),
        (('"KNO3" =', '"KClO4" ='), "KClO4"),
        (("at_most = 1500", "at_mst = 1500"), "at_most"),
        (("[search]", "[serch]"), "search"),
        (("{ at_most = 1500 }", '{ at_most = 1500, probability = "80 %" }'), "draws"),
        (
            (
                "flame_temperature_K = { at_most = 1500 }",
                "relative_solids_20C = { at_least = 1 }",
            ),
            "kitchen",
        ),
    ],
)
def test_bad_input_is_one_line(
    change: tuple[str, str],
    meaning: str,
    bench: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """With the file, exit code 2, nothing on the standard output."""
    bench.write_text(HOT.replace(*change), "utf-8")
    out, err = searched(["--no-confirm"], capsys, code=2)
    assert out == ""
    (line,) = err.strip().splitlines()
    assert meaning in line
    assert "bench.toml" in line


def test_options_that_ask_too_much(
    bench: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A front without columns."""
    _, err = searched(["--picture", "front=front.svg"], capsys, code=2)
    assert "front" in err


def test_interrupted_returns_the_best_so_far(
    bench: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Ctrl-C in the third batch: marked incomplete, exit code 130."""
    own, calls = TableProblem.evaluate, []

    def evaluate(problem: TableProblem, fractions: np.ndarray) -> np.ndarray:
        calls.append(len(fractions))
        if len(calls) == 3:
            raise KeyboardInterrupt
        return own(problem, fractions)

    monkeypatch.setattr(TableProblem, "evaluate", evaluate)
    out, err = searched(["--no-confirm", "--json"], capsys, code=130)
    assert json.loads(out)["status"] == "incomplete"
    assert "best so far" in err


@pytest.mark.slow
def test_the_same_seed_gives_the_same_bytes(
    bench: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Twice the same answer, in every digit."""
    words = ["--no-confirm", "--json", "--seed", "5"]
    assert searched(words, capsys) == searched(words, capsys)
