"""``castsugar learn`` as it is used. All batches here are invented."""

from __future__ import annotations

import json
import re
import shutil
from functools import partial
from pathlib import Path

import numpy as np
import pytest

from castsugar import static_test
from castsugar.cli.main import main
from castsugar.motor.firing.expectation import expect
from castsugar.records.folder import add_events
from castsugar.records.record import Event

# Exact: the same numbers as other commands give, bytes that stay, exit codes.
pytestmark = [pytest.mark.exact, pytest.mark.slow]

BENCH = """\
# an invented bench
[kitchen]
cook = "119 C"
minutes = 10

[recipes]
base = "KNO3:60 powdered sugar:20 corn syrup:20"

[motor]
throat = "8 mm"
density_ratio = "96 %"
efficiency = 0.93
[motor.grain]
outer = "32 mm"
core = "12 mm"
length = "100 mm"
burning_ends = 1
[motor.case]
rated_pressure = "4 MPa"
[[motor.burn_law]]
recipe = "KNO3:60 powdered sugar:20 corn syrup:20"
rate = "5 mm/s"
pressure = "1 MPa"
exponent = 0.35
rate_spread = "10 %"
exponent_spread = 0.05
"""
ID = "2026-05-02-1"
DATE = ["--date", "2026-05-02"]
STAND = ["--throat", "8 mm", "--throat-after", "8 mm", "--propellant-mass", "160 g"]
TUBE = "kind=flow-out tube_diameter=8 mm tube_length=30 mm head=60 mm volume=50 ml"
LEARN = ["learn", "--bench", "bench.toml"]

#: More propellant burned than the grain holds, by a course that no such grain gives.
WHY = "an invented firing"
ACCEPT = ["--accept", f"{ID}: {WHY}"]


def shot() -> str:
    """Write a trapezoid of pressure, 1.2 MPa over the air for 2 s."""
    rng = np.random.default_rng(3)
    time = np.arange(0.0, 4.5, 4e-3)
    over = 1.2e3 * np.interp(time, [0.5, 0.6, 2.5, 2.6], [0.0, 1.0, 1.0, 0.0])
    over += 2.0 * rng.standard_normal(time.size)
    rows = [f"{t:.3f},{p:.4f}" for t, p in zip(time, over, strict=True)]
    return "\n".join(["time (s),pressure (kPa(g))", *rows]) + "\n"


def strands() -> str:
    rows = [f"40,{40.0 / (4.7 * p**0.38):.4f},{p}" for p in (0.3, 0.7, 1.5, 3.0)]
    return "\n".join(["length (mm),time (s),pressure (MPa)", *rows]) + "\n"


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Make one batch with everything measured, and close it."""
    folder = tmp_path_factory.mktemp("made")
    (folder / "bench.toml").write_text(BENCH, "utf-8")
    (folder / "shot.csv").write_text(shot(), "utf-8")
    (folder / "strands.csv").write_text(strands(), "utf-8")
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(folder)
        patch.setattr(static_test, "expect", partial(expect, draws=20))
        mass = ["--batch", "200 g", *DATE]
        assert main(["batch", "new", "base", "--bench", "bench.toml", *mass]) == 0
        add = ["batch", "add", ID, *DATE]
        pan = ["--measured", "kind=pan-weight lost=1.9 g"]
        tube = ["--measured", f"{TUBE} time=150 s"]
        assert main([*add, *pan, *tube, "--strands", "strands.csv"]) == 0
        assert main([*add, "--firing", "shot.csv", *STAND]) == 0
        assert main(["batch", "close", ID, *DATE, "--outcome", "used"]) == 0
    return folder


@pytest.fixture
def world(made: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Copy what was made into the working folder."""
    shutil.copytree(made, tmp_path / "w")
    monkeypatch.chdir(tmp_path / "w")
    monkeypatch.setattr(static_test, "expect", partial(expect, draws=20))
    return tmp_path / "w"


def answered(words: list[str], capsys: pytest.CaptureFixture[str]) -> str:
    capsys.readouterr()
    assert main([*LEARN, *words]) == 0
    return capsys.readouterr().out


def test_json_says_what_other_commands_say(
    world: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The efficiency is that of castsugar firing, the law that of the strands."""
    document = json.loads(answered([*ACCEPT, "--json"], capsys))
    assert document["schema"] == "castsugar.learn/2"
    assert document["batches"] == [ID]
    record = (world / "batches" / f"{ID}.jsonl").read_text("utf-8").splitlines()
    frozen = json.loads(record[4])["results"]
    name = "characteristic_velocity_efficiency"
    (firing,) = document["firings"]
    assert firing["efficiency"] == pytest.approx(frozen[name], rel=1e-8)
    assert firing["rate_mm_s"] == pytest.approx(frozen["burn_rate_mm_s"], rel=1e-8)
    assert (firing["left_out"], firing["accepted"]) == ("", WHY)
    mean, *_ = document["efficiencies"]
    # A normal update of ln 0.92 +- 6 %, 1.2 % from firing to firing.
    own = (frozen[f"{name}_uncertainty"] / frozen[name]) ** 2 + 0.012**2
    weight = 0.06**2 / (0.06**2 + own)
    by_hand = 0.92 ** (1.0 - weight) * firing["efficiency"] ** weight
    assert mean["saved_efficiency"] == pytest.approx(by_hand, rel=1e-3)
    assert (mean["now_efficiency"], mean["saved_firings"]) == (0.92, 1)
    (forecast,) = document["forecasts"]
    between = sorted(forecast[f"{k}_MPa"] for k in ("predicted", "measured"))
    assert between[0] < forecast["by_rate_MPa"] < between[1]
    (law,) = document["burning_rate_laws"]
    assert law["strands"] == 4
    # r = 4.7 p^0.38 without scatter.
    assert law["all_strands_n"] == pytest.approx(0.38, abs=1e-4)
    at = law["pressure_MPa"]
    assert law["all_strands_rate_mm_s"] == pytest.approx(4.7 * at**0.38, rel=1e-3)
    # What the user states stays, and the strands narrow it.
    now, saved = (law[f"{side}_rate_mm_s_interval"] for side in ("now", "saved"))
    assert now[0] < saved[0] < saved[1] < now[1]
    quantities = [c["quantity"] for c in document["checks"]]
    assert quantities == [
        "water lost",
        "pour viscosity",
        "strand rate",
        "delivered c*",
        "peak pressure",
        "burn time",
    ]
    # One firing is one comparison: its peak.
    shown = [c["quantity"] for c in document["checks"] if c["counted"] == "no"]
    assert shown == ["delivered c*", "burn time"]
    inside = sum(
        c["verdict"] == "inside" for c in document["checks"] if c["counted"] == "yes"
    )
    assert document["tally"]["inside"] == inside


def test_page_and_text(world: Path, capsys: pytest.CaptureFixture[str]) -> None:
    text = answered(["--page", "p.html"], capsys)
    assert "1 closed batch: 2 kitchen measurements, 4 strands, 1 firing" in text
    words = " ".join(text.split())
    assert re.search(r"\d of \d counted predictions inside their 95 % bands", words)
    assert "too few to say whether the bands are honest" in words
    page = (world / "p.html").read_text("utf-8")
    assert "<svg" in page
    assert "Measured over predicted" in page
    ids = re.findall(r'\bid="([^"]+)"', page)
    assert len(ids) == len(set(ids))
    # What counts, and all; each at two widths: the burn time does not count.
    assert page.count("<svg") == 4
    pictures = page.split("<svg")[1:]
    told = ["burn time" in one.partition("</svg>")[0] for one in pictures]
    assert told == [False, False, True, True]
    assert answered(["--page", "q.html"], capsys) == text
    assert (world / "q.html").read_bytes() == (world / "p.html").read_bytes()
    assert main([*LEARN, "--page", "p.html"]) == 2  # never overwritten


def test_strands_of_another_mix_are_named_by_their_own_line(
    made: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Not by a line of the bench file that is still to be written."""
    rows = strands().splitlines()
    named = [f"{rows[0]},mix", *(f"{row},60/17/23" for row in rows[1:])]
    (tmp_path / "named.csv").write_text("\n".join(named), "utf-8")
    shutil.copy(made / "bench.toml", tmp_path)
    monkeypatch.chdir(tmp_path)
    mass = ["--batch", "200 g", *DATE]
    assert main(["batch", "new", "base", "--bench", "bench.toml", *mass]) == 0
    assert main(["batch", "add", ID, *DATE, "--strands", "named.csv"]) == 0
    assert main(["batch", "close", ID, *DATE, "--outcome", "used"]) == 0
    text = " ".join(answered([], capsys).split())
    assert "named.csv line 2: strands called '60/17/23' are taken for the" in text
    assert "bench.toml line" not in text


def test_save_twice_changes_nothing(
    world: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = world / "bench.toml"
    own = BENCH.replace("efficiency = 0.93\n", "")
    path.write_text(own, "utf-8")
    assert main([*LEARN, *ACCEPT, "--save", "--json"]) == 0
    said = capsys.readouterr().err
    assert said.count("wrote into bench.toml") == 4
    kept = path.read_bytes()
    assert main([*LEARN, "--save", "--json"]) == 0
    assert "nothing new for bench.toml" in capsys.readouterr().err
    assert path.read_bytes() == kept
    assert main(["evaluate", "base", "--bench", "bench.toml", "--json"]) == 0


def test_a_doubted_firing_is_said_and_accepted(
    world: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Why, and what to type; then the reason stands in the bench file and is shown."""
    said = " ".join(answered([], capsys).split())
    assert f"Nothing learnt from {ID} shot.csv: the propellant mass is 127 %" in said
    assert f"(and 1 more: --full). If it is sound: --accept '{ID}: why'" in said
    assert main([*LEARN, *ACCEPT, "--save"]) == 0
    capsys.readouterr()
    text = (world / "bench.toml").read_text("utf-8")
    assert f'accepted = "{WHY}"' in text
    assert "efficiency = 0.93\n" in text
    said = " ".join(answered([], capsys).split())
    assert f"CAUTION {ID} shot.csv is doubted, and counts: '{WHY}'" in said
    assert "Nothing learnt from" not in said


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        (ID, "needs a batch and a reason"),
        (f"{ID}: ", "needs a batch and a reason"),
        ("2026-05-02-7: fine", "--accept 2026-05-02-7: it has no firing"),
    ],
)
def test_a_wrong_acceptance(
    world: Path, typed: str, words: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main([*LEARN, "--accept", typed, "--save"]) == 2
    assert words in capsys.readouterr().err
    assert (world / "bench.toml").read_text("utf-8") == BENCH


#: Without an efficiency, and with a burn law of another mix alone.
OPEN = BENCH.replace("efficiency = 0.93\n", "").replace(
    'recipe = "KNO3:60 powdered sugar:20', 'recipe = "KNO3:62 powdered sugar:18'
)


def withdraw(world: Path, *numbers: int) -> None:
    """Set lines of the record aside."""
    path = world / "batches" / f"{ID}.jsonl"
    wrong = [
        Event(kind="corrected", date="2026-05-09", note="wrong", values={"line": n})
        for n in numbers
    ]
    add_events(path, wrong)


def test_after_is_what_evaluate_says_once_it_is_saved(
    world: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """With a firing that counts, and without."""
    evaluate = ["evaluate", "base", "--bench", "bench.toml", "--json"]
    for words in ([], ACCEPT):
        (world / "bench.toml").write_text(OPEN, "utf-8")
        document = json.loads(answered([*words, "--json"], capsys))
        (now,), (saved,) = (document[f"predictions_{s}"] for s in ("now", "saved"))
        assert main([*LEARN, *words, "--save", "--json"]) == 0
        capsys.readouterr()
        assert main(evaluate) == 0
        (row,) = json.loads(capsys.readouterr().out)["mixes"]
        for key in ("peak_pressure_MPa", "peak_pressure_p95_MPa"):
            assert saved[key] == pytest.approx(row[key], rel=1e-9)
        assert saved[key] < now[key]


def test_what_was_withdrawn_leaves_the_bench_file(
    world: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Shouted about at once, not believed before, and taken out by --save."""
    path = world / "bench.toml"
    path.write_text(OPEN, "utf-8")
    assert main([*LEARN, *ACCEPT, "--save", "--json"]) == 0
    assert path.read_text("utf-8").count("written by castsugar learn") == 2
    first = json.loads(answered(["--json"], capsys))
    withdraw(world, 4, 5)  # strands and firing
    assert main(LEARN) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "still holds [[motor.burn_law]] from strands.csv" in said
    assert f"still holds [[motor.firing]] of {ID} shot.csv" in said
    assert main([*LEARN, "--save", "--json"]) == 0
    printed = capsys.readouterr()
    assert printed.err.count("took out of bench.toml") == 2
    moved = json.loads(printed.out)
    assert moved["predictions_now"] == first["predictions_now"]
    # The water that left moves it a little, law and efficiency would more.
    (now,), (saved,), (once,) = (
        [row["peak_pressure_p95_MPa"] for row in rows]
        for rows in (
            moved["predictions_now"],
            moved["predictions_saved"],
            first["predictions_saved"],
        )
    )
    assert saved == pytest.approx(now, rel=0.01)
    assert once < 0.95 * saved
    text = path.read_text("utf-8")
    assert "written by castsugar learn" not in text
    assert text.startswith(OPEN)  # the kitchen's entries follow
    assert main([*LEARN, "--save", "--json"]) == 0
    assert "nothing new" in capsys.readouterr().err


def test_withdrawn_altogether(world: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The record opened again, there is nothing to learn, but something to take out."""
    path = world / "bench.toml"
    path.write_text(OPEN, "utf-8")
    assert main([*LEARN, *ACCEPT, "--save", "--json"]) == 0
    withdraw(world, 6)
    assert main([*LEARN, "--save", "--json"]) == 1
    assert "nothing to learn from yet" in capsys.readouterr().err
    assert "written by castsugar learn" not in path.read_text("utf-8")


def test_what_no_record_tells_of_stays_and_is_said(
    world: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Another folder of records is no reason to take anything out."""
    path = world / "bench.toml"
    path.write_text(OPEN, "utf-8")
    assert main([*LEARN, *ACCEPT, "--save", "--json"]) == 0
    kept = path.read_bytes()
    (world / "none").mkdir()
    assert main([*LEARN, "--save", "--json", "--dir", "none"]) == 1
    said = " ".join(capsys.readouterr().out.split())
    assert "no record in this folder links it" in said
    assert "no record in this folder has that firing" in said
    assert path.read_bytes() == kept


def test_a_law_that_castsugar_did_not_mark_is_left_and_named(
    world: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = world / "bench.toml"
    path.write_text(OPEN, "utf-8")
    assert main([*LEARN, *ACCEPT, "--save", "--json"]) == 0
    text = path.read_text("utf-8")
    mine = text.replace(
        "[[motor.burn_law]]  # written by castsugar learn", "[[motor.burn_law]]"
    )
    path.write_text(mine, "utf-8")
    withdraw(world, 4)
    assert main([*LEARN, "--save", "--json"]) == 0
    said = capsys.readouterr().out
    assert "were withdrawn (batch 2026-05-02-1 line 4)" in said
    assert 'strands = "strands.csv"' in path.read_text("utf-8")


def test_a_peak_that_was_too_high_is_said_first(
    world: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Above the band and above the 4 MPa of the case; an open batch is told, too."""
    path = world / "batches" / f"{ID}.jsonl"
    lines = path.read_text("utf-8").splitlines()
    shot = json.loads(lines[4])
    shot["results"]["peak_pressure_MPa"] = 6.0
    lines[4] = json.dumps(shot)
    path.write_text("\n".join(lines) + "\n", "utf-8")
    assert main([*LEARN, "--page", "p.html"]) == 0
    lines = capsys.readouterr().out.splitlines()
    words = "fire this case again before you know why"
    assert lines[1].startswith(f"DO NOT       {words}")
    said = " ".join(" ".join(lines).split())
    assert "shot.csv: peak 6.00 MPa, above its 95 % band (to " in said
    assert "above the allowed pressure (4.00 MPa)" in said
    assert "OUTSIDE 1 measured peak above the band" in said
    assert words in (world / "p.html").read_text("utf-8")
    document = json.loads(answered(["--json"], capsys))
    (alarm,) = document["alarms"]
    # The record keeps p95 and margin, of which 4 MPa follow.
    assert alarm["above_allowed_MPa"] == pytest.approx(4.0, rel=1e-6)
    first = document["checks"][0]
    assert (first["quantity"], first["verdict"], first["counted"]) == (
        "peak pressure",
        "outside",
        "yes",
    )


def test_a_margin_below_nothing_is_told_in_words(
    world: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    weak = BENCH.replace('"4 MPa"', '"1.5 MPa"')
    (world / "bench.toml").write_text(weak, "utf-8")
    text = " ".join(answered([], capsys).split())
    (after,) = json.loads(answered(["--json"], capsys))["predictions_saved"]
    over = 100.0 * (after["peak_pressure_p95_MPa"] / 1.5 - 1.0)
    assert after["pressure_margin_percent"] == pytest.approx(-over)
    assert "DO NOT fire base in this case, after what was learnt: 95 of 100" in text
    assert "allowed is 1.50 MPa" in text


def test_an_impossible_firing_is_never_saved(
    world: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A propellant mass of 100 g in place of 160 g: c* 1.6 times too high."""
    (world / "bench.toml").write_text(OPEN, "utf-8")
    path = world / "batches" / f"{ID}.jsonl"
    text = path.read_text("utf-8")
    assert text.count('"160 g"') == 1
    path.write_text(text.replace('"160 g"', '"100 g"'), "utf-8")
    assert main([*LEARN, "--save"]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert f"Nothing learnt from {ID} shot.csv: a fault of measuring" in said
    assert "--accept" not in said
    assert "motor.firing" not in (world / "bench.toml").read_text("utf-8")
    assert main([*LEARN, *ACCEPT]) == 2
    assert "teaches nothing, whatever the reason" in capsys.readouterr().err


def test_discarded_is_compared_but_not_learnt(
    world: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    before = json.loads(answered(["--json"], capsys))
    path = world / "batches" / f"{ID}.jsonl"
    lines = path.read_text("utf-8").splitlines()
    end = json.loads(lines[5])
    lines[5] = json.dumps(end | {"outcome": "discarded"})
    path.write_text("\n".join(lines) + "\n", "utf-8")
    after = json.loads(answered(["--json"], capsys))
    assert after["tally"] == before["tally"]
    assert {c["outcome"] for c in after["checks"]} == {"discarded"}
    assert (after["batches"], after["firings"]) == ([], [])
    assert after["burning_rate_laws"][1:] == []
    text = " ".join(answered(["--full"], capsys).split())
    assert "discarded (compared, not learnt from): 2026-05-02-1" in text


def test_changed_missing_and_damaged(
    world: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """They are named, the rest is used, and the exit code is that of a run."""
    with (world / "strands.csv").open("a", encoding="utf-8") as stream:
        stream.write("40,8.6,1\n")
    (world / "shot.csv").unlink()
    (world / "batches" / "2026-05-03-1.jsonl").write_text("{", "utf-8")
    assert main(LEARN) == 0
    printed = capsys.readouterr()
    text = " ".join(printed.out.split())
    assert "MISFIT Damaged, left out: batches/2026-05-03-1.jsonl" in text
    assert "strands.csv has changed since; left out" in text
    assert "shot.csv is missing; the results of that day stand" in text
    used = json.loads(answered(["--json", "--changed"], capsys))
    assert used["burning_rate_laws"][0]["strands"] == 5


def test_nothing_to_learn_from(world: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Exit 1 and one line that says what to record; 2 for bad input."""
    shutil.rmtree(world / "batches")
    assert main(LEARN) == 1
    line = capsys.readouterr().err
    assert line.count("\n") == 1
    assert "no closed batch in batches" in line
    assert "castsugar batch close ID" in line
    for words in (
        ["learn", "--bench", "none.toml"],
        [*LEARN, "--dir", "none"],
        [*LEARN, "--page", "bench.toml", "--force"],
        [*LEARN, "-o", "a.txt", "--page", "a.txt"],
        ["learn", "--bench", ""],
    ):
        assert main(words) == 2
        assert capsys.readouterr().err.count("\n") == 1


def test_a_closed_batch_without_anything_measured(
    world: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = world / "batches" / f"{ID}.jsonl"
    lines = path.read_text("utf-8").splitlines()
    path.write_text(f"{lines[0]}\n{lines[-1]}\n", "utf-8")
    assert main(LEARN) == 1
    assert "nothing measured in them" in capsys.readouterr().err
