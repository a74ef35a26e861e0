"""castsugar plan as a user types it, right and wrong; held against forward commands.

Exact: words, exit codes, and numbers of one command against those of another.
"""

from __future__ import annotations

import json
import re
import shlex
from pathlib import Path

import jsonschema
import pytest

from castsugar.cli.main import main
from castsugar.report.schemas import schema

pytestmark = pytest.mark.exact

BASE = "KNO3:60 powdered sugar:20 corn syrup:20"
THIN = "KNO3:55 sucrose:15 corn syrup:30"

#: An invented club's workshop: no real motor, bag or pan.
BENCH = f"""\
[recipes]
"base" = "{BASE}"
[scale]
step = "0.1 g"
[pan]
residue_cup = "1.5 g"
residue_pan = "4 g"
[lots."bottle"]
ingredient = "corn syrup"
solids = "78 %"
[kitchen]
cook = "119 C 8 min"
[limits]
pour_viscosity_Pa_s = {{ at_most = 10, probability = "60 %" }}
[motor]
throat = "8 mm"
density_ratio = "96 %"
[motor.grain]
outer = "36 mm"
core = "14 mm"
length = "62 mm"
segments = 4
[[motor.burn_law]]
recipe = "{BASE}"
rate = "3.6 mm/s"
pressure = "2 MPa"
exponent = 0.3
rate_spread = "5 %"
exponent_spread = 0.05
"""


@pytest.fixture(autouse=True)
def _bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Go to a folder with a bench file."""
    (tmp_path / "bench.toml").write_text(BENCH, encoding="utf-8")
    monkeypatch.chdir(tmp_path)


@pytest.fixture
def ask(capsys):
    """Ask one command: what it printed, or its document."""

    def asked(line: str, *more: str, code: int = 0, as_json: bool = False):
        words = [*shlex.split(line), *more, *(["--json"] if as_json else [])]
        capsys.readouterr()
        assert main(words) == code, words
        text = capsys.readouterr().out
        if not as_json:
            return text
        document = json.loads(text)
        kind = document["schema"].removeprefix("castsugar.").partition("/")[0]
        jsonschema.validate(document, schema(f"{kind}-2"))
        return document

    return asked


def flat(text: str) -> str:
    return " ".join(text.split())


def follow(ask, text: str, code: int = 0):
    """Run the command that an answer says to go on with; return its document."""
    last = text.splitlines()[-1]
    assert last.startswith("Next: castsugar ")
    return ask(last.removeprefix("Next: castsugar "), as_json=True, code=code)


@pytest.mark.slow
def test_pieces_give_back_the_batch(ask) -> None:
    """The weigh sheet of the pieces is within the batch; one grain more is not."""
    question = "plan pieces base --batch '500 g'"
    found = ask(question, as_json=True)
    grain, strand, delay = found["pieces"]
    assert (grain["count"], strand["count"], delay["count"]) == (4, 3, 0)
    assert found["takes_the_rest"] == "grain"
    assert found["forward_g"] == pytest.approx(500.0, abs=1e-6)
    sheet = follow(ask, ask(question))
    assert [piece["count"] for piece in sheet["pieces"]] == [4, 3]
    assert sheet["mass_on_scale_g"] == pytest.approx(found["needed_g"])
    assert sheet["mass_on_scale_g"] <= 500.0
    more = ask("weigh base --grains 5 --strands 3", as_json=True)
    assert more["mass_on_scale_g"] > 500.0
    # Where the batch is just what the sheet asks for, the sheet comes back.
    asked = f"plan pieces base --batch '{sheet['mass_on_scale_g']} g'"
    assert [x["count"] for x in ask(asked, as_json=True)["pieces"]] == [4, 3, 0]
    text = flat(ask(question))
    assert "That is 1 motor of 4." in text
    assert "gives back 500.0 g on the scale" in text


@pytest.mark.slow
def test_pieces_that_are_stated_are_kept_or_refused(ask) -> None:
    text = flat(ask("plan pieces base --batch '500 g' --grains 3 --delays 2"))
    assert re.search(r"3 grains, \d+ strands and 2 delay columns", text)
    assert "A motor takes 4." in text
    few = "plan pieces base --batch '100 g' --grains 2 --strands 0 --delays 0"
    found = ask(few, as_json=True, code=1)
    assert not found["enough"]
    assert found["findings"][0]["status"] == "REFUSED"
    sheet = follow(ask, ask(few, code=1))
    assert sheet["mass_on_scale_g"] == pytest.approx(found["needed_g"])
    text = flat(ask(f"plan pieces '{BASE}' --no-bench --batch '200 g'"))
    assert "grain" not in text.partition("Cast at")[0]
    assert "size of a strand: common practice" in flat(
        ask(f"plan pieces '{BASE}' --no-bench --batch '200 g'", "--full")
    )


@pytest.mark.slow
def test_water_gives_back_what_is_left(ask) -> None:
    """The kitchen, cooked so long, says just so much water; a tenth less, more."""
    question = "plan water base --left '3 %'"
    found = ask(question, as_json=True)
    assert found["forward_water_percent"] == pytest.approx(3.0, abs=0.01)
    judged = follow(ask, ask(question))
    water = judged["mixes"][0]["water_as_cast_percent"]
    assert water == pytest.approx(found["forward_water_percent"])
    assert water <= 3.0
    minutes = found["cooks"][0]["minutes"]
    assert minutes - 0.1 < found["minutes"] <= minutes
    sooner = f"kitchen judge base --cook '119 C {minutes - 0.1:g} min'"
    mix = ask(sooner, as_json=True)["mixes"][0]
    assert mix["water_as_cast_percent"] > 3.0
    low, high = found["minutes_interval"]
    assert low < found["minutes"] < high
    # Every cook beside it leaves as much.
    for row in found["cooks"]:
        line = f"kitchen judge base --cook '{row['bulk_C']} C {row['minutes']} min'"
        (mix,) = ask(line, as_json=True)["mixes"]
        assert mix["water_as_cast_percent"] == pytest.approx(3.0, abs=0.03)
        assert mix["sugar_degraded_percent"] == pytest.approx(
            row["sugar_degraded_percent"]
        )
    assert "% of the sugar is degraded" in flat(ask(question))


@pytest.mark.slow
def test_water_that_boils_away_is_refused_with_a_colder_cook(ask) -> None:
    question = "plan water base --left '4.4 %' --cook '135 C 5 min'"
    text = flat(ask(question, code=1))
    assert "REFUSED No time leaves 4.4 % water at 135 °C: it boils down to" in text
    (mix,) = follow(ask, ask(question, code=1))["mixes"]
    assert mix["water_as_cast_percent"] == pytest.approx(4.4, abs=0.05)


def test_water_that_never_leaves_is_refused(ask) -> None:
    """A deep pan dries in 10 h at 119 C, and at 85 C a day does not do."""
    deep = BENCH.replace(
        '"119 C 8 min"',
        '"119 C 8 min"\ndrying_time = { value = 36000, spread = 0.3 }',
    )
    Path("bench.toml").write_text(deep, encoding="utf-8")
    question = "plan water base --left '0.1 %' --cook '85 C 5 min'"
    text = flat(ask(question, code=1))
    assert re.search(r"No time leaves 0.1 % water at 85 °C: 24 h leave [\d.]+ %", text)
    found = ask(question, as_json=True, code=1)
    assert found["minutes"] is None
    assert found["minutes_interval"][1] is None


@pytest.mark.slow
def test_water_of_a_profile_ends_it_sooner_or_holds_on(ask) -> None:
    profile = "--cook '0 min 90 C, 6 min 105 C, 14 min 119 C'"
    text = flat(ask(f"plan water base --left '4.4 %' {profile}"))
    assert "of your cook leave 4.4 % water" in text
    assert "--cook '0 min 90 C, " in text
    text = flat(ask(f"plan water base --left '2 %' {profile}"))
    assert "of your cook, held on at 119 °C, leave 2 % water" in text
    assert "0 min 90 C, 6 min 105 C, 14 min 119 C, " in text


@pytest.mark.slow
def test_heat_gives_back_the_share_of_draws(ask) -> None:
    """The kitchen, cooked so hot, pours so often; a degree colder less often."""
    question = f"plan heat '{THIN}' --probability '85 %'"
    found = ask(question, as_json=True)
    (mix,) = follow(ask, ask(question))["mixes"]
    assert mix["pours_probability"] == pytest.approx(found["forward_probability"])
    assert mix["pours_probability"] >= 0.85
    first = found["cooks"][0]["bulk_C"]
    assert first - 1.0 < found["pour_from_C"] <= first < found["pour_to_C"]
    for heat, kept in ((first - 1.0, False), (int(found["pour_to_C"]), True)):
        line = f"kitchen judge '{THIN}' --cook '{heat} C 8 min'"
        (mix,) = ask(line, as_json=True)["mixes"]
        assert (mix["pours_probability"] >= 0.85) is kept
    assert "may cool by" in flat(ask(question))


@pytest.mark.slow
def test_heat_is_that_of_the_limit_and_says_where_most(ask) -> None:
    found = ask("plan heat base", as_json=True, code=1)
    assert found["probability"] == 0.6
    assert found["pour_from_C"] is None
    line = f"kitchen judge base --cook '{found['best_C']} C 8 min'"
    (mix,) = ask(line, as_json=True)["mixes"]
    assert mix["pours_probability"] == pytest.approx(found["best_probability"])
    assert found["best_probability"] < 0.6
    text = ask("plan heat base", code=1)
    assert "REFUSED Nowhere from 85 °C to" in flat(text)
    assert text.splitlines()[-1].endswith("--how")
    text = flat(ask("plan heat 'KNO3:65 sucrose:35'", code=1))
    assert "does it pour in 60 of 100 draws (below 10 Pa s): in none. Change" in text
    assert "jams to jams" not in text
    assert ask(f"plan heat '{THIN}' --no-bench --cook '119 C 8 min'", as_json=True)[
        "probability"
    ] == pytest.approx(0.5)


@pytest.mark.slow
def test_correct_gives_back_the_slip(ask) -> None:
    """By hand: 41.2 + 6 g of syrup are 45.7 g in the pan: five times that, 228.5 g."""
    question = "plan correct base --batch '200 g' --extra 'corn syrup: 6 g'"
    found = ask(question, as_json=True)
    totals = [line["in_the_end_g"] for line in found["lines"]]
    assert totals == pytest.approx([47.2, 45.7, 137.1])
    assert [line["to_add_g"] for line in found["lines"]] == pytest.approx([0, 6, 18])
    assert found["forward_off_g"] == pytest.approx(0.0, abs=1e-6)
    sheet = follow(ask, ask(question))
    masses = [line["mass_to_weigh_g"] for line in sheet["lines"]]
    assert masses == pytest.approx(totals)
    text = flat(ask(question))
    assert "Add 6.0 g of powdered sugar and 18.0 g of KNO3. Then 230 g are" in text
    assert "gives back every line" in text
    full = ask(question, "--full")
    assert "c* ideal" in full
    assert "as weighed  corrected" in full
    kept = ask(f"{question} --at-most '220 g'", code=1)
    assert "REFUSED Cannot be corrected" in flat(kept)
    again = ask(question.replace("syrup: 6", "syrup=6"), as_json=True)
    assert again | {"command": found["command"]} == found
    small = "plan correct base --batch '200 g' --extra 'corn syrup: 0.5 g'"
    assert "you may leave it" in flat(ask(small))


@pytest.mark.slow
def test_pans_give_back_the_batch(ask) -> None:
    """Two pans of just 250 g: each as the weigh sheet has it."""
    question = "plan pans base --batch '500 g'"
    found = ask(question, as_json=True)
    assert (found["pans"], found["fewest"]) == (2, 2)
    one, two = found["choices"]
    assert two["mass_together_g"] == pytest.approx(500.0)
    assert two["stays_behind_g"] == pytest.approx(2 * one["stays_behind_g"])
    assert two["rate_scatter_percent"] == pytest.approx(
        one["rate_scatter_percent"] / 2**0.5
    )
    sheet = follow(ask, ask(question))
    assert sheet["pans"] == 2
    assert sheet["mass_on_scale_g"] == pytest.approx(two["mass_on_scale_g"])
    assert 2 * sheet["mass_castable_g"] == pytest.approx(two["castable_g"])
    text = flat(ask(question))
    assert "2 pans are 2 batches: cast strands of each" in text
    assert "Least sure: scatter between batches taken as" in text
    typed = ask("plan pans base --batch '700 g' --pans 2")
    assert "CAUTION 350.0 g in one pan is more than 250 g" in flat(typed)
    assert "3 would leave no more than 250 g in one" in flat(typed)
    single = ask("plan pans base --batch '200 g'")
    assert "1 pan of 200.0 g: no more than 250 g, so one does" in flat(single)


QUESTIONS = (
    "plan pieces base --batch '500 g'",
    "plan water base --left '3 %'",
    f"plan heat '{THIN}'",
    "plan correct base --batch '500 g' --extra 'corn syrup: 6 g'",
    "plan pans base --batch '500 g'",
)


@pytest.mark.slow
@pytest.mark.parametrize("question", QUESTIONS)
def test_every_form(ask, question, tmp_path) -> None:
    """CSV with rows, Markdown, a page; the same bytes twice."""
    text = ask(question, "--units", "us")
    assert text == ask(question, "--units", "us")
    assert "Forward: " in text
    rows = ask(question, "--csv").splitlines()
    assert len(rows) > 1
    assert ask(question, "--markdown").startswith("# Plan: ")
    page = tmp_path / "plan.html"
    ask(question, "--page", str(page))
    assert "Hot mixes burn people and houses" in page.read_text("utf-8")


BAD = [
    ("plan", "plan needs a question: pieces, water, heat, correct or pans"),
    ("plan pieces base --batch '0 g'", "--batch is 0 g; allowed"),
    ("plan pans base --batch '0'", "--batch"),
    ("plan correct base --batch '0 g' --extra 'KNO3: 1 g'", "--batch is 0 g; allowed"),
    ("plan pieces base --batch '500 g' --grains -1", "--grains is -1"),
    (
        "plan pieces base --batch '500 g' --grains 0 --strands 0 --delays 0",
        "nothing is to be cast",
    ),
    (
        "plan water base --left '4.3 %' --cook '0 min 25 C, 60 min 80 C, 70 min 119 C'",
        "the pour is modelled from 85 C up",
    ),
    (f"plan pieces '{BASE}' --no-bench --batch '500 g' --grains 4", "size of a grain"),
    ("plan pieces base --batch '5 g'", "nothing is left to cast"),
    ("plan pieces bse --batch '500 g'", "did you mean 'base'"),
    ("plan pans base --batch '500 g' --pans 0", "--pans is 0"),
    ("plan pans base --batch '10 g' --pans 2", "nothing is left to cast"),
    ("plan water base --left '9 %'", "no cook leaves 9 % water: the mix holds"),
    ("plan water base --left '0 %'", "--left is 0 %; allowed"),
    ("plan water base --left 3", "--left"),
    ("plan water 'KNO3:65 sucrose:35' --left '1 %'", "the mix holds 0 %"),
    ("plan water 'KNO3:65 xylitol:35' --left '1 %'", "no model for xylitol"),
    ("plan heat 'KNO3:65 isomalt:35'", "no model for isomalt"),
    (
        "plan heat base --cook '160 C 8 min'",
        "the cook reaches 160 C: there is no model",
    ),
    ("plan heat base --probability '100 %'", "--probability is 100 %; allowed"),
    (f"plan heat '{BASE}' --no-bench", "--cook"),
    (
        "plan correct base --batch '200 g' --extra 'sorbitol: 6 g'",
        "--extra: 'sorbitol' is not in the recipe",
    ),
    ("plan correct base --batch '200 g' --extra 'syrup 6 g'", "form NAME:MASS"),
    ("plan correct base --batch '200 g' --extra 'KNO3: 6'", "has no unit"),
    ("plan correct base --batch '200 g' --extra 'KNO3: 0 g'", "is 0 g; allowed"),
    (
        "plan correct base --batch '200 g' --extra 'KNO3:1 g' --extra 'KNO3:2 g'",
        "names 'KNO3' twice",
    ),
    ("plan pieces base --batch '500 g' --lot bag", "has no lot 'bag'"),
]


@pytest.mark.parametrize(("line", "says"), BAD)
def test_bad_input_is_one_line(capsys, line, says) -> None:
    assert main(shlex.split(line)) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert err.count("\n") == 1
    assert says in err


@pytest.mark.parametrize(
    ("line", "says"),
    [
        ("plan pieces base", "--batch"),
        ("plan water base", "--left"),
        ("plan correct base --batch '200 g'", "--extra"),
        ("plan pieces", "RECIPE"),
        ("plan peices base", "did you mean 'pieces'"),
    ],
)
def test_what_is_missing_is_one_line(capsys, line, says) -> None:
    with pytest.raises(SystemExit) as left:
        main(shlex.split(line))
    assert left.value.code == 2
    err = capsys.readouterr().err
    assert err.count("\n") == 1
    assert says in err
