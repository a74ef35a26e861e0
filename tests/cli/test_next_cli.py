"""``castsugar next`` as it is typed: a screen, its numbers as JSON, one line if bad."""

from __future__ import annotations

import json
import re
from pathlib import Path

import jsonschema
import pytest

from castsugar.cli.main import main
from castsugar.optimize.next_burns import order_of_work
from castsugar.report.schemas import schema

pytestmark = pytest.mark.exact


@pytest.fixture
def example(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Return the example bench file, in the folder that is worked in."""
    monkeypatch.chdir(tmp_path)
    assert main(["init", "."]) == 0
    return tmp_path / "bench.toml"


def answer(
    words: list[str], capsys: pytest.CaptureFixture[str], code: int = 0
) -> tuple[str, str]:
    capsys.readouterr()
    assert main(["next", *words]) == code
    out, err = capsys.readouterr()
    return out, err


@pytest.mark.slow
def test_the_list_fits_a_screen_and_says_what_to_run(
    example: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """In the example the pour decides: kitchen first, and that is said."""
    out, err = answer([], capsys)
    assert err == ""
    lines = out.splitlines()
    assert len(lines) <= 24
    assert max(map(len, lines[:-1])) <= 80
    flat = " ".join(out.split())
    assert "The pour decides, the burning rate does not: the kitchen first." in flat
    assert "yours go into [costs]" in flat
    assert all(re.search(rf"^{n} +\S", out, re.MULTILINE) for n in (1, 2, 3))
    assert "castsugar kitchen flow-out --how" in flat
    assert main(lines[-1].removeprefix("Next: castsugar ").split()) == 0


@pytest.mark.slow
def test_all_of_it(example: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Every kind has its line, or the reason why not."""
    out, _ = answer(["--full"], capsys)
    flat = " ".join(out.split())
    for kind in ("pan weight", "syrup density", "firing filmed by phone"):
        assert kind in flat
    assert "measured already; a repeat shares its error" in flat
    assert "castsugar weigh" in flat
    assert "How the gains were computed" in flat


@pytest.mark.slow
def test_the_document_keeps_its_schema(
    example: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    found = json.loads(answer(["--json"], capsys)[0])
    jsonschema.validate(found, schema("next-2"))
    rows = found["measurements"]
    assert len(rows) == 12
    rates = [r["gain_points_per_h"] for r in rows if not r["reason"]]
    assert rates == sorted(rates, reverse=True)
    for row in rows:
        assert row["cost_min"] == pytest.approx(row["time_min"] + 0.1 * row["mass_g"])
        assert (row["gain_points"] is None) == bool(row["reason"])
    plan = json.loads(answer(["--plan", "1", "--json"], capsys)[0])
    jsonschema.validate(plan, schema("next_plan-2"))
    assert len(plan["burns"]) == 1


@pytest.mark.slow
def test_costs_of_the_bench_are_taken(
    example: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    own = '\n"flow-out" = { time = "1 min", mass = "0 g" }\n'  # [costs] is the last
    example.write_text(example.read_text() + own + 'gram = { time = "12 s" }\n')
    (first, *rest) = json.loads(answer(["--json"], capsys)[0])["measurements"]
    assert (first["kind"], first["cost_min"], first["cost_stated"]) == (
        "flow-out",
        1.0,
        True,
    )
    batch = next(one for one in rest if one["kind"] == "new batch")
    assert batch["cost_min"] == pytest.approx(120.0 + 100.0 * 0.2)
    assert not batch["cost_stated"]


@pytest.mark.slow
def test_a_plan_of_burns_has_grams(
    example: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Each with the masses of its batch, and the command of its weigh sheet."""
    out, _ = answer(["--plan", "3", "--full", "--page", "plan.html"], capsys)
    page = Path("plan.html").read_text("utf-8")
    assert len(re.findall(r"KNO3 \d+\.\d g", page)) >= 3
    assert len(re.findall(r"^[123] .* g\b", out, re.MULTILINE)) >= 3
    sheets = out.split("Weigh sheets")[1]
    assert sheets.count('castsugar weigh "') >= 3


@pytest.mark.slow
def test_what_fits_into_the_time(
    example: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """45 min: 20 of the pan and 20 of the scale; 30 of the cup do not fit beside."""
    costs = (
        '\n"syrup density" = { time = "44 min" }\n"flow-out" = { time = "30 min" }\n'
    )
    example.write_text(example.read_text() + costs)
    everything = json.loads(answer(["--json"], capsys)[0])
    found = json.loads(answer(["--minutes", "45", "--json"], capsys)[0])
    jsonschema.validate(found, schema("next-2"))
    fits = [row for row in found["measurements"] if not row["reason"]]
    assert sum(row["time_min"] for row in fits) <= 45.0
    assert everything["does_not_fit"] == []
    assert set(found["does_not_fit"]) == {
        row["kind"]
        for row in everything["measurements"]
        if not row["reason"] and row["kind"] not in {one["kind"] for one in fits}
    }
    flat = " ".join(answer(["--minutes", "45"], capsys)[0].split())
    assert re.search(r"In all \d+ of 45 min; does not fit: ", flat)
    # What decides does not hang on what fits.
    assert "the burning rate does not" in flat


PRICES = """
[prices]
KNO3 = "4 EUR/kg"
"powdered sugar" = "4 EUR/kg"
"corn syrup" = "4 EUR/kg"
"""

#: Costs that leave strands alone to be planned.
DEAR = """
firing = { time = "5000 min" }
"filmed firing" = { time = "5000 min" }
"""


@pytest.mark.slow
def test_what_fits_into_the_money(
    example: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Batches of 100 g at 4 EUR/kg cost 0.4 EUR each: two for 0.9 EUR."""
    text = example.read_text().replace("\n[prices]\n", PRICES)
    example.write_text(text + DEAR)
    words = ["--plan", "3", "--money", "0.9 EUR"]
    plan = json.loads(answer([*words, "--json"], capsys)[0])
    assert [burn["kind"] for burn in plan["burns"]] == ["new batch"] * 2
    assert "In all 0.800 of 0.9 EUR." in " ".join(answer(words, capsys)[0].split())
    said = " ".join(answer(["--money", "0.3 EUR"], capsys)[0].split())
    assert "In all 0 of 0.3 EUR; does not fit: " in said
    for money, why in (
        ("0.3 EUR", "the shortest takes 120 min, the cheapest 0.4 EUR of mix"),
        ("5 USD", "write an amount above 0 and the currency of the prices: '5 EUR'"),
        ("-5 EUR", "write an amount above 0"),
    ):
        out, err = answer(["--plan", "3", f"--money={money}"], capsys, code=2)
        assert (out, err.count("\n")) == ("", 1)
        assert why in err


@pytest.mark.slow
def test_pours_are_in_a_random_order_that_the_seed_makes_again(
    example: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Printed with its seed."""
    example.write_text(example.read_text() + DEAR)
    orders = [[n + 1 for n in order_of_work(4, seed)] for seed in range(1, 5)]
    assert all(sorted(order) == [1, 2, 3, 4] for order in orders)
    assert len({*map(tuple, orders)}) > 1
    words = ["--plan", "4", "--seed", "2"]
    plan = json.loads(answer([*words, "--json"], capsys)[0])
    assert plan["order_of_work"] == orders[1]
    flat = " ".join(answer(words, capsys)[0].split())
    said = f"Pour in random order {', '.join(map(str, orders[1]))} (seed 2), lest"
    assert said in flat
    assert "Pour in random" not in answer(["--plan", "1"], capsys)[0]


@pytest.mark.slow
def test_what_is_fired_comes_after_the_strands(
    example: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Whatever is drawn: a firing needs its strands first."""
    for seed in "123":
        words = ["--plan", "3", "--seed", seed, "--json"]
        plan = json.loads(answer(words, capsys)[0])
        kinds = {burn["burn"]: burn["kind"] for burn in plan["burns"]}
        fired = ["firing" in kinds[place] for place in plan["order_of_work"]]
        assert fired == sorted(fired)


@pytest.mark.parametrize(
    ("words", "change", "said"),
    [
        (["--minutes", "0"], "", "--minutes is 0; allowed is a number above 0"),
        (["--minutes", "nan"], "", "--minutes is nan"),
        pytest.param(
            *(["--minutes", "2"], "", "nothing that could be measured fits: the short"),
            marks=pytest.mark.slow,
        ),
        (["--money", "5 EUR"], "", "--money needs a price of every ingredient; none"),
        (["--plan", "0"], "", "0 next burns are asked for; allowed: 1 to 24"),
        (["--plan", "-1"], "", "-1 next burns are asked for; allowed: 1 to 24"),
        ([], '"pan wait" = { time = "1 min" }', "did you mean 'pan weight'?"),
        ([], 'gram = { mass = "1 g" }', "give the time that a gram counts"),
        ([], '"flow-out" = { time = "-1 min" }', "'-1 min' is below zero"),
    ],
)
def test_bad_input_is_one_line(
    example: Path,
    words: list[str],
    change: str,
    said: str,
    capsys: pytest.CaptureFixture[str],
) -> None:
    example.write_text(f"{example.read_text()}\n{change}\n")
    out, err = answer(words, capsys, code=2)
    assert out == ""
    assert said in err
    assert err.count("\n") == 1


def test_without_limits_there_is_nothing_to_decide(
    example: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Neither [limits] nor a case: one line that says what to add."""
    text = example.read_text()
    text = re.sub(r"\[limits\].*?(?=\n# ----)", "", text, flags=re.DOTALL)
    text = re.sub(r"\[motor\.case\].*?(?=\n# Strands)", "", text, flags=re.DOTALL)
    example.write_text(text)
    for words in ([], ["--plan", "2"]):
        out, err = answer(words, capsys, code=2)
        assert out == ""
        assert "bench.toml: no limit is stated" in err
        assert "add one to [limits]" in err
        assert err.count("\n") == 1
