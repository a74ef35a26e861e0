"""``castsugar batch`` as it is used: records, events, lists, bad input.

Batches, strands and recordings here are invented.
"""

from __future__ import annotations

import contextlib
import csv
import io
import json
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from castsugar import load_database
from castsugar.cli import batch as command
from castsugar.cli.main import main
from castsugar.mix.mix import PROCESSES
from castsugar.records import record
from castsugar.records.folder import read_batch, read_batches
from castsugar.records.prediction import cast, foresee, thaw

# Exact: what is typed must come back; masses are sums known by hand.
pytestmark = pytest.mark.exact

BENCH = """\
[recipes]
house = "KNO3:60 powdered sugar:20 corn syrup:20"
[kitchen]
cook = "119 C"
minutes = 10
[motor]
throat = "8 mm"
[motor.grain]
outer = "32 mm"
core = "12 mm"
length = "80 mm"
[[motor.burn_law]]
borrowed = "sucrose 65/35"
"""
ID = "2026-05-02-1"
PLAIN = ["new", "KNO3:65 sucrose:35", "--batch", "200 g", "--date", "2026-05-02"]
PLAIN += ["--no-bench"]
SYRUP = ["new", "house", "--bench", "bench.toml", "--batch", "200 g"]


@pytest.fixture(autouse=True)
def _here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    Path("bench.toml").write_text(BENCH, "utf-8")


def answered(words: list[str], capsys: pytest.CaptureFixture[str]) -> str:
    capsys.readouterr()
    assert main(["batch", *words]) == 0
    return capsys.readouterr().out


def complaint(words: list[str], capsys: pytest.CaptureFixture[str]) -> str:
    capsys.readouterr()
    assert main(["batch", *words]) == 2
    printed = capsys.readouterr()
    assert printed.out == ""
    assert printed.err.count("\n") == 1
    return printed.err


def write_shot() -> None:
    t = np.arange(0.0, 3.5, 1e-3)
    y = np.interp(t, [0.5, 0.6, 1.6, 1.7], [0.0, 1.0, 1.0, 0.0])
    rows = [f"{a:.3f},{2000.0 * b:.10g}" for a, b in zip(t, y, strict=True)]
    Path("shot.csv").write_text(
        "time (s),pressure (kPa(g))\n" + "\n".join(rows), "utf-8"
    )


def write_strands() -> None:
    rows = [f"25 mm,{t} s,{p} psig,{m}" for t, p, m in ((6, 500, "a"), (5, 900, "b"))]
    Path("strands.csv").write_text(
        "length,time,pressure,mix\n" + "\n".join(rows) + "\n", "utf-8"
    )


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Make a batch, and add all there is to add."""
    folder, printed = tmp_path_factory.mktemp("made"), io.StringIO()
    with contextlib.chdir(folder), contextlib.redirect_stdout(printed):
        Path("bench.toml").write_text(BENCH, "utf-8")
        write_shot()
        write_strands()
        words = ["new", "house", "--bench", "bench.toml", "--batch", "200 g"]
        words += ["--actual", "KNO3=120.1 g", "--date", "2026-05-02"]
        assert main(["batch", *words]) == 0
        assert f"Batch {ID}, open: house, KNO3 60" in printed.getvalue()
        # 1.5 g of syrup stay in the cup: 60 % of 198.5 g are planned, 120.1 g weighed
        assert "119.1 120.1 +1.0" in flat(printed.getvalue())
        path = Path("batches") / f"{ID}.jsonl"
        before = path.read_bytes()
        words = ["add", ID, "--observe", "smooth", "--temperature", "118 C"]
        words += ["--pour-class", "pours", "--date", "2026-05-03"]
        words += ["--measured", "kind=pan-weight lost=1.4 g"]
        words += ["--strands", "strands.csv", "--strand-mix", "a"]
        words += ["--firing", "shot.csv", "--throat-after", "8 mm"]
        assert main(["batch", *words, "--propellant-mass", "100 g"]) == 0
        assert "smooth, 118 °C, pours" in printed.getvalue()
        assert path.read_bytes().startswith(before)
    return folder


@pytest.fixture
def path(made: Path, tmp_path: Path) -> Path:
    """Copy that batch into the working folder."""
    shutil.copytree(made, tmp_path, dirs_exist_ok=True)
    return Path("batches") / f"{ID}.jsonl"


@pytest.mark.slow
@pytest.mark.parametrize(
    ("typed", "change", "kept"),
    [
        ("bench.toml", ("", ""), {}),
        ("../{}/bench.toml", ("minutes = 10", "minutes = 12"), {}),
        ("bench.toml", ("8 mm", "7.9 mm"), {"motor": "../bench.toml"}),
    ],
)
def test_the_bench_file_of_the_batch_is_no_other(
    typed: str,
    change: tuple[str, str],
    kept: dict[str, str],
    path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Named by --motor, it is the motor that the record keeps, until that changes.

    A firing in another motor is held against nothing that was foreseen.
    """
    Path("bench.toml").write_text(BENCH.replace(*change), "utf-8")
    typed = typed.format(Path.cwd().name)
    words = ["add", ID, "--firing", "shot.csv", "--throat-after", "8 mm"]
    words += ["--propellant-mass", "100 g", "--motor", typed]
    answered(words, capsys)
    options = read_batch(path).firings()[-1].options
    assert {k: v for k, v in options.items() if k == "motor"} == kept


@pytest.mark.slow
def test_what_was_added_is_answered_as_plain_values(path: Path) -> None:
    batch = read_batch(path)
    assert batch.made.actual == {"potassium nitrate": 0.1201}
    assert [e.kind for e in batch.events] == ["observed", "measured", "burned", "fired"]
    (weighed,) = batch.measurements()
    assert weighed["lost"] == pytest.approx(1.4e-3)
    # in the pan: 120.1 + 39.7 + 41.2 g less 1.5 g in the cup
    assert weighed["batch"] == pytest.approx(0.1995)
    assert (weighed["cook"], weighed["minutes"]) == ("119 C", 10)
    (link,) = batch.strand_files()
    assert link.path.resolve() == Path("strands.csv").resolve()
    assert link.mix == "a"
    (shot,) = batch.firings()
    assert shot.options == {"throat_after": "8 mm", "propellant_mass": "100 g"}
    # 2 MPa over ambient for 1 s and two ramps of 0.1 s: 2.2 MPa s over 100 g, times
    # the throat area pi (8 mm)^2 / 4; the air's own share adds 0.12 MPa s at most.
    by_hand = 2.2e6 * np.pi * 0.004**2 / 0.1
    found = shot.results["characteristic_velocity_m_s"]
    assert 0.97 * by_hand < found < 1.06 * by_hand
    assert shot.results["characteristic_velocity_efficiency"] > 0.0


@pytest.mark.slow
def test_the_record_alone_foresees_the_same(path: Path) -> None:
    batch = read_batch(path)
    bench = thaw(batch.made.bench, path.parent)
    row, lost = foresee(batch.made, bench, load_database())
    assert lost == pytest.approx(batch.made.water_lost, rel=1e-9)
    assert row["flow_class"] == batch.predictions["flow_class"]
    for key in ("peak_pressure_MPa", "characteristic_velocity_m_s"):
        assert row[key] == pytest.approx(batch.predictions[key], rel=1e-9)


@pytest.mark.slow
def test_a_page_and_the_end_of_a_batch(
    path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert path.exists()
    assert "c* efficiency" in answered(["show", ID], capsys)
    Path("shot.csv").write_text("gone", "utf-8")
    Path("strands.csv").unlink()
    page = " ".join(answered(["show", ID, "--full"], capsys).split())
    assert "shot.csv (line 5) has changed since" in page
    assert "strands.csv (line 4) is not there any more" in page
    assert "closed: used" in answered(["close", ID, "--outcome", "used"], capsys)
    assert "is closed (used)" in complaint(["close", ID, "--outcome", "used"], capsys)
    assert "only corrections" in complaint(["add", ID, "--observe", "x"], capsys)
    answered(["add", ID, "--correct", "2", "--note", "other pan"], capsys)
    assert "WRONG (other pan)" in answered(["show", ID, "--full"], capsys)
    document = json.loads(answered(["show", ID, "--json"], capsys))
    assert document["events"][1]["measurement"]["lost"] == "1.4 g"


@pytest.mark.slow
def test_the_list_in_its_three_forms(capsys: pytest.CaptureFixture[str]) -> None:
    assert "No batches: none yet" in answered(["list"], capsys)
    note = 'a, "b"\n\x1b[31m<script>'
    shown = answered([*PLAIN, "--note", note], capsys)
    assert "\x1b" not in shown
    answered([*PLAIN], capsys)
    text = answered(["list"], capsys)
    assert ID in text
    assert "open" in text
    assert max(map(len, text.splitlines())) <= 80
    rows = list(csv.DictReader(io.StringIO(answered(["list", "--csv"], capsys))))
    assert [r["id"] for r in rows] == [ID, "2026-05-02-2"]
    assert rows[0]["note"] == note.replace("\x1b", "\\u001b")
    assert float(rows[0]["mass_g"]) == pytest.approx(200.0)
    (Path("batches") / f"{ID}.jsonl").write_text("{", "utf-8")
    assert main(["batch", "list", "--json"]) == 1
    printed = capsys.readouterr()
    document = json.loads(printed.out)
    assert [b["id"] for b in document["batches"]] == ["2026-05-02-2"]
    assert document["damaged"][0]["file"] == f"{ID}.jsonl"
    (bad, _) = document["findings"]
    assert (bad["status"], bad["text"][:17]) == ("MISFIT", "Damaged, left out")
    assert "line 1" in complaint(["show", ID], capsys)


def test_measured_grains_are_kept_for_the_card(
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Twice 90 g are 180 g as cast; what is denser than its mix is not kept."""
    answered(PLAIN, capsys)
    typed = ["--grain", "36 mm x 14 mm x 62 mm 90 g"]
    add = ["add", ID, "--no-bench", "--date", "2026-05-03"]
    complaint([*add, "--grain", "36 mm x 14 mm x 62 mm 110 g"], capsys)
    both = complaint([*add, *typed, "--grain-mass", "90 g"], capsys)
    assert "--grain and --grain-mass both weigh" in both
    heavy = complaint([*add, *typed, *typed, *typed], capsys)
    assert "--grain is 270 g, and 2026-05-02-1 had only 200 g in the pan" in heavy
    answered([*add, "--grain-mass", "170 g"], capsys)
    text = answered([*add, *typed, *typed], capsys)
    assert "2 grains measured, together 180.0 g" in text
    kept = read_batch(Path(f"batches/{ID}.jsonl"))
    assert kept.cast_mass == 0.18
    size = {"outer_m": 0.036, "core_m": 0.014, "length_m": 0.062, "mass_kg": 0.09}
    assert kept.grains == (size, size)
    day = ["card", ID, "--no-bench", "--date", "2026-05-09", "--json"]
    document = json.loads(answered([*day, "--mass", "180.1 g"], capsys))
    assert document["cast_mass_g"] == 180.0
    assert [one["mass_g"] for one in document["grains"]] == [90.0, 90.0]
    answered([*add, "--correct", "3", "--note", "other grains"], capsys)
    kept = read_batch(Path(f"batches/{ID}.jsonl"))
    assert (kept.cast_mass, kept.grains) == (0.17, ())


def test_a_grain_in_other_units() -> None:
    """By hand: 1 3/8 in is 34.925 mm, 2 1/2 in 63.5 mm; 0 lb 3 oz 85.0486 g."""
    from castsugar.cli.batch_entries import read_grains

    (one,) = read_grains(["1 3/8 in x 0.5in x 2 1/2 in 0 lb 3 oz"])
    wanted = {"outer_m": 34.925, "core_m": 12.7, "length_m": 63.5, "mass_kg": 85.0486}
    assert one == pytest.approx({k: 1e-3 * v for k, v in wanted.items()}, rel=1e-6)


@pytest.mark.parametrize(
    "wrong", [{"core_m": 0.04}, {"mass_kg": 0.0}, {"more": 1.0}, {"outer_m": "36 mm"}]
)
def test_a_record_of_grains_that_cannot_be(
    wrong: dict[str, object], capsys: pytest.CaptureFixture[str]
) -> None:
    answered(PLAIN, capsys)
    size = {"outer_m": 0.036, "core_m": 0.014, "length_m": 0.062, "mass_kg": 0.09}
    line = {"event": "grains", "date": "2026-05-03", "note": ""}
    path = Path(f"batches/{ID}.jsonl")
    with path.open("a", encoding="utf-8") as file:
        file.write(json.dumps(line | {"grains": [size | wrong]}) + "\n")
    assert "line 2: 'grains' is" in complaint(["show", ID, "--no-bench"], capsys)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["new", "KNO3:65 sucrose:35"], "no mass is given"),
        (["new", "home", "--bench", "bench.toml", "--batch", "1 g"], "'house'"),
        (["new", "KNO3:65 sucrose:35", "--batch", "0 g"], "allowed 0.1 to 10000 g"),
        (["new", "KNO3:65 sucrose:35", "--batch", "200"], "has no unit"),
        (["new", "huose", "--bench", "bench.toml"], "did you mean 'house'"),
        ([*PLAIN, "--actual", "KNO3"], "NAME=MASS"),
        ([*PLAIN, "--actual", "KNO3=0 g"], "is 0 g; allowed 0.0001 to"),
        ([*SYRUP, "--actual", "corn syrup=1.4 g"], "1.5 g stay in its cup"),
        ([*PLAIN, "--actual", "dextrose=1 g"], "not in the recipe"),
        ([*PLAIN, "--actual", "KNO3=1 g", "--actual", "KNO3=2 g"], "given twice"),
        ([*PLAIN, "--minutes", "3"], "needs --cook"),
        ([*PLAIN, "--date", "2.5.2026"], "is no day"),
        ([*PLAIN, "--dir", ""], "--dir is empty"),
        ([*PLAIN[:-1], "--bench", "none.toml"], "cannot be read"),
        (["show", "2026-05-03-1"], "has no batch"),
        (["show", "../x"], "not what a batch is called"),
        (["list", "--dir", "nowhere"], "no such folder"),
    ],
)
def test_what_cannot_be_kept_is_refused(
    words: list[str], said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert said in complaint(words, capsys)
    assert not Path("batches").exists()


@pytest.mark.slow
def test_what_cannot_be_added_is_refused(capsys: pytest.CaptureFixture[str]) -> None:
    write_strands()
    write_shot()
    answered(PLAIN, capsys)
    before = (Path("batches") / f"{ID}.jsonl").read_bytes()
    for words, said in (
        ([], "nothing to add"),
        (["--note", "only"], "nothing to add"),
        (["--temperature", "118"], "has no unit"),
        (["--measured", "lost=1 g"], "no kind is given"),
        (["--measured", "kind=pan-wait lost=1 g"], "did you mean 'pan-weight'"),
        (["--measured", "kind=pan-weight cook=119 C"], "lost is missing"),
        (["--measured", "kind=pan-weight lost=1 g"], "cook is missing"),
        (["--measured", "kind=pan-weight lost=1 g lots=2"], "lots is not known"),
        (["--measured", "so kind=pan-weight"], "belongs to no key"),
        (["--measured", "kind=pan-weight kind=ball-fall"], "comes twice"),
        (["--strands", "none.csv"], "none.csv"),
        (["--strands", "strands.csv"], "--strand-mix"),
        (["--strands", "strands.csv", "--strand-mix", "c"], "has no mix 'c'"),
        (["--strand-mix", "c"], "needs --strands"),
        (["--throat", "8 mm"], "--throat needs --firing"),
        (["--firing", "none.csv", "--propellant-mass", "1 g"], "none.csv"),
        (["--firing", "shot.csv", "--propellant-mass", "2 kg"], "only 200 g in the"),
        (["--frames", "first=9 last=3 rate=30"], "first < last"),
        (["--frames", "x", "--firing", "shot.csv"], "give the recording or the frames"),
        (["--peak-scale", "2 kgf"], "needs --frames"),
        (["--correct", "1"], "needs --note"),
        (["--correct", "8", "--note", "x"], "no line 8"),
        (["--observe", "x", "--date", "2026-05-01"], "before that"),
    ):
        assert said in complaint(["add", ID, *words], capsys), words
    assert (Path("batches") / f"{ID}.jsonl").read_bytes() == before


def test_words_of_the_command_are_those_of_the_record() -> None:
    assert command.OUTCOMES == record.OUTCOMES
    assert command.FLOWS == record.FLOWS
    assert command.PROCESSES == PROCESSES


def test_a_list_loads_nothing_heavy() -> None:
    code = (
        "import sys; from castsugar.cli.main import main; main(['batch', 'list']); "
        "print([m for m in ('numpy', 'pandas', 'cantera') if m in sys.modules])"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True
    )
    assert done.stdout.splitlines()[-1] == "[]"


def flat(text: str) -> str:
    return " ".join(text.split())


@pytest.mark.slow
def test_the_batch_is_planned_as_the_weigh_sheet_plans_it(
    capsys: pytest.CaptureFixture[str],
) -> None:
    answered([*SYRUP, "--date", "2026-05-02"], capsys)
    made = read_batch(Path("batches") / f"{ID}.jsonl").made
    assert main(["weigh", *SYRUP[1:], "--csv"]) == 0
    rows = list(csv.DictReader(io.StringIO(capsys.readouterr().out)))
    sheet = {row["ingredient"]: float(row["mass_to_weigh_g"]) for row in rows}
    assert {n: 1e3 * m for n, m in made.planned.items()} == pytest.approx(sheet)
    assert made.cups == {"light corn syrup": 0.0015}
    # 200 g less the cup: 60 / 20 / 20 % of 198.5 g
    assert made.masses == pytest.approx(
        {
            "potassium nitrate": 0.1191,
            "powdered sugar": 0.0397,
            "light corn syrup": 0.0397,
        }
    )
    page = answered(["show", ID, "--full"], capsys)
    assert "1.5 g of the light corn syrup stay in its cup" in flat(page)


@pytest.mark.slow
def test_a_record_without_cups_is_read(capsys: pytest.CaptureFixture[str]) -> None:
    answered([*SYRUP, "--date", "2026-05-02"], capsys)
    path = Path("batches") / f"{ID}.jsonl"
    raw = json.loads(path.read_text("utf-8"))
    del raw["cup_kg"]
    path.write_text(json.dumps(raw) + "\n", "utf-8")
    assert read_batch(path).made.mass == pytest.approx(0.2)
    raw["cup_kg"] = {"light corn syrup": 1.0}
    path.write_text(json.dumps(raw) + "\n", "utf-8")
    assert "below its mass" in complaint(["show", ID], capsys)


@pytest.mark.slow
def test_a_batch_keeps_how_it_was_made(capsys: pytest.CaptureFixture[str]) -> None:
    """As typed, else as the recipe says, else the kitchen, else the first of all."""
    dry = '{ mix = "KNO3:65 sucrose:35", process = "melted dry" }'
    text = BENCH.replace("[recipes]\n", f"[recipes]\ndry = {dry}\n", 1)
    text = text.replace("[kitchen]\n", '[kitchen]\nprocess = "boiled down"\n', 1)
    Path("bench.toml").write_text(text, "utf-8")
    new = ["--batch", "200 g", "--date", "2026-05-02"]
    for words, process in (
        (["dry", "--process", "pressed"], "pressed"),
        (["dry"], "melted dry"),
        (["house"], "boiled down"),
        (["KNO3:65 sucrose:35", "--no-bench"], "cooked syrup"),
    ):
        answered(["new", *words, *new], capsys)
        made = read_batches(Path("batches"))[0][-1].made
        assert made.process == process
        assert cast(made, None, load_database(), water_lost=0.0).process == process
    assert "Process: pressed." in answered(["show", ID, "--full"], capsys)
    assert "Process" not in answered(["show", ID], capsys)
    with pytest.raises(SystemExit) as left:
        main(["batch", "new", "dry", "--process", "presed", *new])
    assert left.value.code == 2
    told = "'presed' is not known here; did you mean 'pressed'? allowed: cooked syrup"
    assert capsys.readouterr().err.startswith(f"castsugar: {told}")


@pytest.mark.slow
def test_a_record_without_a_process_is_read(capsys: pytest.CaptureFixture[str]) -> None:
    """Nor with a scatter in what it kept of the bench file."""
    answered([*SYRUP, "--date", "2026-05-02"], capsys)
    path = Path("batches") / f"{ID}.jsonl"
    raw = json.loads(path.read_text("utf-8"))
    assert raw["process"] == "cooked syrup"
    del raw["process"], raw["bench"]["scatter"]
    path.write_text(json.dumps(raw) + "\n", "utf-8")
    made = read_batch(path).made
    assert made.bench is not None
    assert (made.process, made.bench.scatter) == ("", "")
    assert "Process" not in answered(["show", ID, "--full"], capsys)
    raw["process"] = "molten"
    path.write_text(json.dumps(raw) + "\n", "utf-8")
    assert "'process' is 'molten'; it must be '' or of" in complaint(
        ["show", ID], capsys
    )


@pytest.mark.slow
def test_a_slip_of_the_pen_stands_on_top(capsys: pytest.CaptureFixture[str]) -> None:
    """By hand: 65 % of 200 g are 130 g; 1300 g are 1170 g more; a week is not."""
    page = answered([*PLAIN, "--actual", "KNO3=1300 g"], capsys)
    top = flat(page)
    assert "130 g planned, off by +1170 g: ten times too much?" in top
    assert "DO NOT cook 1370 g in one pan: more than 500 g" in top
    page = answered([*PLAIN, "--actual", "sucrose=7 g"], capsys)
    assert "off by −63.0 g: a tenth of it?" in flat(page)
    # 41 g more are 20.5 % of 200 g, and 1.32 times the plan; 39 g more are neither
    page = answered([*PLAIN, "--actual", "KNO3=171 g"], capsys)
    assert "1.3 times the plan, is that so?" in flat(page)
    for usual in ("169 g", "91 g"):
        page = answered([*PLAIN, "--actual", f"KNO3={usual}"], capsys)
        assert "off by" not in page


def test_odd_temperatures_and_days_are_said(
    capsys: pytest.CaptureFixture[str],
) -> None:
    answered(PLAIN, capsys)
    assert main(["batch", "add", ID, "--temperature", "185 C"]) == 0
    told = "DO NOT heat like that again: line 2, bulk at 185 °C; beyond 150 °C"
    assert told in flat(capsys.readouterr().out)
    page = answered(["add", ID, "--temperature", "-4 C"], capsys)
    assert "Line 3: the bulk temperature is -4 C; usual is 0 to" in flat(page)
    for quiet in ("0 C", "150 C"):
        found = answered(["add", ID, "--temperature", quiet, "--json"], capsys)
        said = [f["status"] for f in json.loads(found)["findings"]]
        assert said == ["DO NOT", "CAUTION", "SAVED"]
    assert main(["batch", "add", ID, "--observe", "x", "--date", "2099-01-01"]) == 0
    assert "2099-01-01 is yet to come" in capsys.readouterr().err


@pytest.mark.slow
def test_what_bursts_a_case_stands_on_top(capsys: pytest.CaptureFixture[str]) -> None:
    """The shot peaks 2 MPa over the atmosphere, 2.1 MPa absolute; the case: 1 MPa."""
    write_shot()
    case = '[motor.case]\nrated_pressure = "1 MPa"\n'
    Path("bench.toml").write_text(BENCH + case, "utf-8")
    page = answered([*SYRUP, "--date", "2026-05-02"], capsys)
    assert "DO NOT fire it in this case: the " in flat(page)
    assert "allowed is 1.00 MPa" in flat(page)
    words = ["--firing", "shot.csv", "--throat-after", "8 mm"]
    words += ["--propellant-mass", "100 g"]
    told = "the peak pressure 2.10 MPa was above the allowed pressure 1.00 MPa."
    page = answered(["close", ID, "--outcome", "used", *words], capsys)
    assert told in flat(page)
    page = answered(["show", ID], capsys)
    assert f"DO NOT fire this case again: line 2, {told}" in flat(page)
    answered(["add", ID, "--correct", "2", "--note", "another motor"], capsys)
    assert told not in flat(answered(["show", ID], capsys))


@pytest.mark.slow
def test_an_efficiency_that_cannot_be_is_kept_and_said(
    path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """c* by hand: 2.2 MPa s x 50 mm2 over 100 g = 1106 m/s, over 900 ideal: above 1.

    Of 160 g it is 690 m/s, 0.76: usual.
    """
    words = ["add", ID, "--firing", "shot.csv", "--throat-after", "8 mm"]
    told = "MISFIT Line 5, suspect reading: an efficiency of"
    assert told in flat(answered(["show", ID], capsys))
    page = answered([*words, "--propellant-mass", "160 g"], capsys)
    assert "Line 6, suspect reading" not in flat(page)
    page = answered([*words, "--propellant-mass", "199 g"], capsys)
    assert "is very low" in flat(page)
    assert len(read_batch(path).firings()) == 3


def test_strands_are_added_once(path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """By content: a copy of the file is refused; corrected, they may come again."""
    text = "length,time,pressure,mix\n25 mm,6 s,500 psig,pot\n"
    for name in ("other.csv", "copy.csv"):
        Path(name).write_text(text, "utf-8")
    add = ["batch", "add", ID, "--strands"]
    assert main([*add, "other.csv"]) == 0
    (link,) = (x for x in read_batch(path).strand_files() if x.mix == "pot")
    capsys.readouterr()
    assert main([*add, "copy.csv"]) == 2
    told = f"copy.csv: these strands stand in line {link.line} of batch {ID} already"
    assert told in capsys.readouterr().err
    again = ["--correct", str(link.line), "--note", "moved"]
    assert main([*add, "copy.csv", *again]) == 0


def test_strands_that_are_named_as_another_recipe(
    path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """They are taken, and the name is told beside the recipe of the batch."""
    for name, said in (("55/20/25", True), ("60/20/20", False)):
        text = f"length,time,pressure,mix\n25 mm,6 s,500 psig,{name}\n"
        Path("other.csv").write_text(text, "utf-8")
        assert main(["batch", "add", ID, "--strands", "other.csv"]) == 0
        printed = " ".join(capsys.readouterr().out.split())
        assert (f"strands called '{name}' are taken for" in printed) == said
