"""The kitchen on the command line: as a user types it, right and wrong."""

from __future__ import annotations

import csv
import io
import json
import math
import subprocess
import sys
import xml.etree.ElementTree as ET
from pathlib import Path

import pytest

from castsugar.cli.main import main
from castsugar.kitchen.parameters import PARAMETERS

pytestmark = pytest.mark.exact

BASE = "KNO3:60 powdered sugar:20 corn syrup:20"
HELD = ["--cook", "119 C", "--minutes", "8"]
JUDGE = ["kitchen", "judge", BASE]
BALL = [
    *("kitchen", "ball-fall", "--ball", "3 mm", "--cup", "40 mm"),
    *("--fall", "50 mm", "--temperature", "25 C"),
]
PAN = [
    *("kitchen", "pan-weight", "--recipe", BASE, "--batch", "200 g"),
    *("--lost", "1.4 g", "--cook", "119 C", "--minutes", "10"),
]

BAD = [
    ([*JUDGE, "--cook", "119", "--minutes", "8"], "has no unit"),
    ([*JUDGE, *HELD, "--syrup-solids", "0.2"], "is 20 %; allowed 50 to 100 %"),
    ([*JUDGE, *HELD, "--syrup-grade", "90"], "24 to 63"),
    ([*JUDGE, "--cook", "119 C", "--minutes", "-3"], "give a time above 0"),
    ([*JUDGE, "--cook", "0 min 25 C, 9 min 119 C, 5 min 119 C"], "times must rise"),
    ([*JUDGE, "--cook", "119 C", "--minutes", "nan"], "give a time above 0"),
    ([*JUDGE, "--cook", "119 C", "--minutes", "inf"], "give numbers"),
    ([*JUDGE, "--cook", "119 C"], "says no time"),
    ([*JUDGE, "--minutes", "8"], "--minutes needs --cook"),
    ([*JUDGE], "no cook was given"),
    ([*JUDGE, "--cook", "60 C", "--minutes", "5"], "from 85 C up"),
    ([*JUDGE, "--cook", "250 C", "--minutes", "5"], "outside 0 to 200 C"),
    ([*JUDGE, "--cook", "0 min 25 C, soon", "--minutes", "5"], "leave the minutes out"),
    ([*JUDGE, "--cook", "0 min 25 C, soon"], "not a time and a temperature"),
    ([*JUDGE, *HELD, "--bench", "none.toml"], "cannot be read"),
    ([*JUDGE, *HELD, "--water-lost", "2"], "above 1"),
    (["kitchen"], "needs to know what"),
    (["kitchen", "jugde", BASE], "did you mean 'judge'"),
    (["kitchen", "judge", "KNO3:65 sucrse:35", *HELD], "sucrse"),
    (
        ["kitchen", "judge", "KNO3:65 sucrose:35", *HELD, "--syrup-grade", "42"],
        "no rec",
    ),
    ([*PAN, "--save"], "--save needs --bench"),
    ([*PAN[:-2], "--minutes", "ten"], "not a number of minutes"),
    ([*PAN, "--scale", "-0.1 g"], "below zero"),
    ([*BALL, "--time", "0.03 s"], "Reynolds"),
    ([*BALL], "required: --time"),
    (["map", "KNO3", "sugar", "corn syrup", "--show", "pour_window"], "needs a cook"),
    (
        ["sweep", BASE, "--vary", "KNO3", "--show", "relative_solids_20C"],
        "needs a cook",
    ),
]


@pytest.mark.parametrize(("words", "said"), BAD)
def test_bad_input(
    words: list[str], said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """Exit code 2, one line on the error stream, nothing else."""
    try:
        code = main(words)
    except SystemExit as leave:  # argparse
        code = int(leave.code or 0)
    out, err = capsys.readouterr()
    assert code == 2
    assert out == ""
    assert err.count("\n") == 1
    assert said in err
    assert "Traceback" not in err


def test_evaluate_burns_what_the_kitchen_leaves(
    capsys: pytest.CaptureFixture[str],
) -> None:
    """The same water in both tables; JSON and CSV parse."""
    assert main([*JUDGE, *HELD, "--json"]) == 0
    judged = json.loads(capsys.readouterr().out)
    assert judged["schema"] == "castsugar.kitchen/2"
    assert main(["evaluate", BASE, *HELD, "--json", "--no-confirm"]) == 0
    burnt = json.loads(capsys.readouterr().out)["mixes"][0]
    for key, value in judged["mixes"][0].items():
        if key not in ("flags", "name") and not key.endswith("_interval"):
            assert burnt[key] == value, key
    assert burnt["water_as_cast_percent"] < burnt["water_as_weighed_percent"]
    dry = "KNO3:65 sucrose:35"
    assert main(["kitchen", "judge", dry, *HELD, "--csv"]) == 0
    (row,) = csv.DictReader(io.StringIO(capsys.readouterr().out))
    assert (row["flow_class"], row["pour_viscosity_Pa_s"]) == ("no flow", "")
    assert "no liquid" in row["flags"]


def test_stated_loss_overrules_the_kitchen(capsys: pytest.CaptureFixture[str]) -> None:
    """What the user knows is taken as it is, zero included."""
    assert main(["evaluate", BASE, *HELD, "--water-lost", "0", "--csv"]) == 0
    (row,) = csv.DictReader(io.StringIO(capsys.readouterr().out))
    assert row["water_as_cast_percent"] == row["water_as_weighed_percent"]


@pytest.mark.slow
def test_measure_save_and_learn(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A saved measurement changes what is believed; one that contradicts is not."""
    bench = str(tmp_path / "bench.toml")
    kept = ["--bench", bench, "--save"]
    assert main([*PAN, *kept]) == 0
    assert main([*BALL, "--time", "9.5 s", *kept]) == 0
    capsys.readouterr()
    before = Path(bench).read_bytes()
    assert main([*BALL, "--time", "190 s", *kept]) == 1
    out, err = capsys.readouterr()
    assert "REFUSED" in out
    assert "not saved" in out
    assert err == ""
    assert Path(bench).read_bytes() == before
    assert main(["kitchen", "parameters", "--bench", bench, "--json"]) == 0
    document = json.loads(capsys.readouterr().out)
    assert document["schema"] == "castsugar.kitchen_parameters/2"
    known = {p["name"]: p["origin"] for p in document["parameters"]}
    assert known["drying_time"] == "measured: pan weight"
    assert known["syrup_grade"] == "measured: ball fall"
    assert not known["packing"].startswith("measured")
    assert main(["evaluate", BASE, *HELD, "--bench", bench, "--csv"]) == 0
    (row,) = csv.DictReader(io.StringIO(capsys.readouterr().out))
    assert float(row["water_as_weighed_percent"]) != pytest.approx(4.68, abs=0.01)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("shown", "legend"),
    [("pour_viscosity", "no flow: thicker"), ("pour_window", "no pour window")],
)
def test_maps(
    shown: str, legend: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Pictures of the kitchen are well-formed and say what is hatched."""
    path = tmp_path / "map.svg"
    words = ["map", "KNO3", "powdered sugar", "corn syrup", "--step", "10%", *HELD]
    assert main([*words, "--show", shown, "-o", str(path)]) == 0
    capsys.readouterr()
    text = " ".join(ET.parse(path).getroot().itertext())
    assert legend in text
    assert "119 \u00b0C 8 min" in text


@pytest.mark.slow
def test_same_bytes_and_no_cantera() -> None:
    """Two processes print the same; the kitchen needs no Cantera."""
    code = (
        "import sys; sys.modules['cantera'] = None; "
        "from castsugar.cli.main import main; "
        f"sys.exit(main({[*JUDGE, *HELD, '--json']!r}))"
    )
    runs = [
        subprocess.run([sys.executable, "-c", code], capture_output=True, check=True)
        for _ in range(2)
    ]
    assert runs[0].stdout == runs[1].stdout
    assert json.loads(runs[0].stdout)["mixes"][0]["flow_class"] == "thick"


def run(words: list[str], capsys: pytest.CaptureFixture[str]) -> tuple[int, str, str]:
    """Return exit code, output and errors of one command."""
    capsys.readouterr()
    try:
        code = main(words)
    except SystemExit as leave:  # argparse
        code = int(leave.code or 0)
    return (code, *capsys.readouterr())


BULK = ["kitchen", "bulk-density", "--mass", "63 g", "--volume", "50 ml"]
FLOW = [
    *("kitchen", "flow-out", "--tube-diameter", "8 mm", "--tube-length", "30 mm"),
    *("--head", "60 mm", "--volume", "50 ml", "--time", "72 s"),
]
TRIANGLE = ["map", "KNO3", "powdered sugar", "corn syrup"]

MORE_BAD = [
    ([*JUDGE, "--cook", "119 m", "--minutes", "8"], "not a temperature unit"),
    ([*JUDGE, "--cook", "119 K", "--minutes", "8"], "outside 0 to 200 C"),
    ([*JUDGE, "--cook", "-5 C", "--minutes", "8"], "outside 0 to 200 C"),
    ([*JUDGE, "--cook", "201 C", "--minutes", "8"], "outside 0 to 200 C"),
    ([*JUDGE, "--cook", "84 C", "--minutes", "8"], "from 85 C up"),
    ([*JUDGE, "--cook", "", "--minutes", "8"], "has no number"),
    ([*JUDGE, "--cook", "119 C", "--minutes", "0"], "give a time above 0"),
    ([*JUDGE, "--cook", "119 C", "--minutes", ""], "has no number"),
    ([*JUDGE, "--cook", "119 C", "--minutes", "8,5"], "decimal comma: write 8.5"),
    ([*JUDGE, "--cook", "119 C", "--minutes", "1441"], "allowed up to 24 h"),
    ([*JUDGE, "--cook", "119 C", "--minutes", "8 m"], "is not a time unit"),
    ([*JUDGE, "--cook", "0 min 25 C, 0 min 119 C, 5 min 119 C"], "times must rise"),
    ([*JUDGE, "--cook", "0 min 25 C; 5 min 119"], "not a time and a temperature"),
    ([*JUDGE, "--cook", "0 min 119 C, 9 min 60 C"], "from 85 C up"),
    ([*JUDGE, *HELD, "--syrup-grade", "nan"], "allowed 1 to 120"),
    ([*JUDGE, *HELD, "--syrup-grade", "high"], "as a number"),
    ([*JUDGE, *HELD, "--syrup-grade", "-42"], "allowed 1 to 120"),
    ([*JUDGE, *HELD, "--syrup-solids", "79"], "above 1"),
    ([*JUDGE, *HELD, "--syrup-solids", "-10 %"], "below zero"),
    ([*JUDGE, *HELD, "--syrup-solids", "nan"], "not a finite number"),
    ([*JUDGE, *HELD, "--water-lost", "-0.1"], "below zero"),
    ([*JUDGE, *HELD, "--json", "--csv"], "not allowed with"),
    ([*JUDGE, *HELD, "--cok", "119 C"], "unrecognized arguments: --cok"),
    (["kitchen", "judge", "", *HELD], "the recipe is empty"),
    (["kitchen", "judge", *HELD], "required: RECIPE"),
    (["kitchn", "judge", BASE], "did you mean 'kitchen'"),
    (["kitchen", "pan-wieght"], "did you mean 'pan-weight'"),
    (["kitchen", "parameters", "--bench", "none.toml"], "cannot be read"),
    (["kitchen", "parameters", "--bench", "."], "cannot be read: it is a folder"),
    (["kitchen", "pan-weight"], "--recipe, --cook, --batch, --lost"),
    ([*PAN, "--lost", "200 g"], "between 0 and the batch"),
    ([*PAN, "--batch", "0 g"], "--batch is 0 g; allowed"),
    ([*PAN, "--scale", "0 g"], "above 0"),
    ([*PAN, "--batch", "200"], "has no unit"),
    ([*PAN, "--batch", "0,2 kg"], "decimal comma"),
    ([*PAN, "--minutes", "-10"], "--minutes is -10 min; allowed"),
    ([*PAN, "--minutes", "inf"], "--minutes"),
    ([*PAN, "--recipe", ""], "the recipe is empty"),
    ([*PAN, "--recipe", "KNO3:65 xylitol:35"], "no model for xylitol"),
    ([*PAN, "--cook", "84 C"], "from 85 C up"),
    ([*BULK, "--mass", "630 g"], "0.35 to 0.8"),
    ([*BULK, "--mass", "0 g"], "--mass is 0 g; allowed"),
    ([*BULK, "--mass", "63 ml"], "not a mass unit"),
    ([*BULK, "--salt", "table salt"], "allowed: potassium nitrate"),
    ([*BALL, "--time", "9 s", "--ball", "15 mm"], "allowed up to 0.33"),
    ([*BALL, "--time", "9 s", "--ball-density", "1 g/cm3"], "not denser"),
    ([*BALL, "--time", "9 s", "--temperature", "25"], "has no unit"),
    ([*BALL, "--time", "9 s", "--temperature", "60 C"], "0 to 50 C"),
    ([*BALL, "--time", "9 s", "--syrup", "sucrose"], "is no syrup"),
    ([*BALL, "--time", "9 s", "--syrup", "corn sirup"], "did you mean 'corn syrup'"),
    ([*FLOW, "--recipe", BASE, "--cook", "20 C", "--minutes", "5"], "from 85 C up"),
    ([*FLOW, "--recipe", BASE, "--cook", "119 C"], "says no time"),
    (["evaluate", BASE, "--minutes", "8"], "--minutes needs --cook"),
    (["evaluate", BASE, "--cook", "119"], "has no unit"),
    (["evaluate", BASE, *HELD, "--bench", "none.toml"], "cannot be read"),
    ([*TRIANGLE, "--show", "pour_viscosity"], "needs a cook"),
    ([*TRIANGLE, "--show", "pour_window", "--cook", "119 C"], "says no time"),
    ([*TRIANGLE, "--show", "pour_windw", *HELD], "'pour_window'"),
    ([*JUDGE, "--cook", "119,5 C", "--minutes", "8"], "decimal comma"),
    ([*PAN, "--bench", "none/bench.toml", "--save"], "cannot be written"),
    ([*BULK, "--note", "a\udcff", "--bench", "bench.toml", "--save"], "not text"),
    ([*BULK, "--mass", "63"], "--mass"),
    ([*PAN, "--minutes", "nan"], "--minutes"),
    ([*JUDGE, *HELD, "--bench", ""], "--bench"),
]


@pytest.mark.parametrize(("words", "said"), MORE_BAD)
def test_more_bad_input(
    words: list[str],
    said: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Exit code 2, one line that names the fault, nothing printed, nothing written."""
    monkeypatch.chdir(tmp_path)
    where = "--picture" if words[0] == "map" else "-o"
    code, out, err = run(
        [*words, where, "out.svg"] if len(words) > 3 else words, capsys
    )
    assert list(tmp_path.iterdir()) == []
    assert code == 2
    assert out == ""
    assert err.count("\n") == 1
    assert said in err
    assert err.startswith("castsugar: ")


def test_fault_of_an_option_is_not_one_of_the_file(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """What was typed is wrong, not the file."""
    path = tmp_path / "bench.toml"
    path.write_text("[kitchen]\nminutes = 8\n")
    code, _, err = run([*BULK, "--mass", "63", "--bench", str(path)], capsys)
    assert code == 2
    assert "bench.toml, line" not in err


def test_a_page_as_proof_of_nothing(capsys: pytest.CaptureFixture[str]) -> None:
    """151 C in any point of a profile: no verdict, no number, the caution to stop."""
    profile = "0 min 25 C, 5 min 151 C, 9 min 119 C"
    code, out, err = run([*JUDGE, "--cook", profile], capsys)
    assert (code, err) == (0, "")
    assert "DO NOT  cook at 151 °C" in out
    assert "Pours" not in out
    assert "switch the heat off" in " ".join(out.split())
    code, out, _ = run([*JUDGE, "--cook", profile, "--json"], capsys)
    document = json.loads(out)
    (mix,) = document["mixes"]
    assert mix["pour_viscosity_Pa_s"] is mix["relative_solids_20C"] is None
    assert mix["pours_probability"] is mix["pour_window_low_C"] is None
    assert mix["flow_class"] == "not computed"
    assert any("150 C" in text for text in document["cautions"])


def test_evaluate_xylitol_with_a_cook(capsys: pytest.CaptureFixture[str]) -> None:
    """The thermochemistry as ever, the kitchen says why it has nothing to say."""
    words = ["evaluate", "KNO3:65 xylitol:35", "--no-confirm"]
    code, out, _ = run([*words, *HELD], capsys)
    assert code == 0
    assert "kitchen not computed: no model for xylitol" in " ".join(out.split())
    assert max(map(len, out.splitlines())) <= 80
    one = next(csv.DictReader(io.StringIO(run([*words, *HELD, "--csv"], capsys)[1])))
    two = next(csv.DictReader(io.StringIO(run([*words, "--csv"], capsys)[1])))
    for key in ("flame_temperature_K", "characteristic_velocity_m_s"):
        assert one[key] == two[key]
    assert one["pour_viscosity_Pa_s"] == one["pour_window_low_C"] == ""


@pytest.mark.parametrize(
    ("recipe", "held"),
    [
        ("KNO3:65 dextrose:35", HELD),
        ("KNO3:65 xylitol:30 corn syrup:5", HELD),
        (BASE, ["--cook", "151 C", "--minutes", "8"]),
    ],
)
def test_not_computed_has_no_number(
    recipe: str, held: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    """Where the page shows '-', the data is null: the sugar degraded as well."""
    _, out, _ = run(["kitchen", "judge", recipe, *held, "--json"], capsys)
    (mix,) = json.loads(out)["mixes"]
    assert mix["flow_class"] == "not computed"
    assert mix["sugar_degraded_percent"] is None


def test_no_exponents_in_sentences(capsys: pytest.CaptureFixture[str]) -> None:
    """Numbers as a person writes them."""
    big = [*PAN, "--batch", "20 kg", "--lost", "1.5 kg", "--minutes", "60"]
    assert "e+0" not in run(big, capsys)[1]


def test_jammed_is_null(capsys: pytest.CaptureFixture[str]) -> None:
    """JSON has no infinity; a jam is null there and empty in CSV."""
    dry = ["kitchen", "judge", "KNO3:70 sucrose:28 corn syrup:2", *HELD]
    _, out, _ = run([*dry, "--json"], capsys)
    assert "Infinity" not in out
    assert "NaN" not in out
    (mix,) = json.loads(out)["mixes"]
    assert mix["pour_viscosity_Pa_s"] is None
    assert mix["pours_probability"] == 0.0
    (row,) = csv.DictReader(io.StringIO(run([*dry, "--csv"], capsys)[1]))
    assert row["pour_viscosity_Pa_s"] == ""
    assert "jams" in run(dry, capsys)[1]


@pytest.mark.parametrize("words", [PAN, BULK, [*BALL, "--time", "9.5 s"]])
def test_measurement_as_json(
    words: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    """Schema, versions, the reading, the bands and the parameters before and after."""
    code, out, err = run([*words, "--json"], capsys)
    assert (code, err) == (0, "")
    document = json.loads(out)
    assert document["schema"] == "castsugar.kitchen_measurement/2"
    assert "castsugar" in document["versions"]
    assert document["measurement"]["contradicts"] is False
    assert document["saved"] is False
    before, after = (document[f"parameters_{w}"] for w in ("before", "after"))
    assert [p["name"] for p in before] == [p["name"] for p in after]
    assert len(before) == len(PARAMETERS)
    for old, new in zip(before, after, strict=True):
        (low, high), (a, b) = new["value_interval"], old["value_interval"]
        assert high - low <= (b - a) * (1 + 1e-6) or (
            math.log(high / low) <= math.log(b / a)
        )
    for band in document["pour_viscosity_Pa_s_interval"].values():
        known = [v for v in band if v is not None]
        assert known == sorted(known)
    assert run([*words, "--json"], capsys)[1] == out


def test_contradiction_writes_nothing(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Exit code 1 with and without a file, in JSON as well; no file is made."""
    path = tmp_path / "bench.toml"
    wrong = [*BULK, "--mass", "37 g", "--bench", str(path), "--save"]
    code, out, err = run(wrong, capsys)
    assert code == 1
    assert "REFUSED" in out
    assert err == ""
    assert list(tmp_path.iterdir()) == []
    code, out, _ = run([*wrong, "--json"], capsys)
    document = json.loads(out)
    assert code == 1
    assert document["measurement"]["contradicts"] is True
    assert document["parameters_before"] == document["parameters_after"]
    band = document["pour_viscosity_Pa_s_interval"]
    assert band["before"] == band["after"]
    assert list(tmp_path.iterdir()) == []


def test_contradiction_in_the_file(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Written there by hand: told on every use, and not used."""
    entry = '[[kitchen.measured]]\nkind = "bulk density"\nvolume = "50 ml"\n'
    good, both = tmp_path / "good.toml", tmp_path / "both.toml"
    good.write_text(entry + 'mass = "63 g"\n')
    both.write_text(entry + 'mass = "63 g"\n' + entry + 'mass = "80 g"\n')
    _, one, _ = run([*JUDGE, *HELD, "--json", "--bench", str(good)], capsys)
    code, two, err = run([*JUDGE, *HELD, "--json", "--bench", str(both)], capsys)
    assert code == 0
    assert "bulk density no. 2" in err
    assert "contradicts" in err
    assert json.loads(one)["mixes"] == json.loads(two)["mixes"]
    code, out, _ = run(["kitchen", "parameters", "--bench", str(both)], capsys)
    assert code == 1
    assert "set aside" in " ".join(out.split())


def test_measuring_above_150_is_refused_with_the_caution(
    capsys: pytest.CaptureFixture[str],
) -> None:
    """A pan at 155 C is the case that the caution is for."""
    code, out, err = run([*PAN, "--cook", "155 C", "--minutes", "4"], capsys)
    assert code != 0
    assert "150 C" in out + err


def test_sweep_above_150_says_why(capsys: pytest.CaptureFixture[str]) -> None:
    """No numbers: then at least the reason."""
    words = ["sweep", BASE, "--vary", "KNO3", "--show", "pour_viscosity"]
    _, out, err = run([*words, "--cook", "160 C", "--minutes", "5"], capsys)
    assert "150 C" in out + err


@pytest.mark.parametrize(
    ("bench", "typed"),
    [("", ["--syrup", "42 DE syrup", "--time", "400 s"]), ("42 DE syrup", [])],
)
def test_ball_in_another_syrup(
    bench: str, typed: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Refused, or nothing learnt about the syrup of the kitchen."""
    words = [*BALL, "--time", "9.5 s", *typed, "--json"]
    if bench:  # the kitchen has this syrup; the ball fell in the default, corn syrup
        path = tmp_path / "bench.toml"
        path.write_text(f'[kitchen]\nsyrup = "{bench}"\n')
        words += ["--bench", str(path)]
    code, out, _ = run(words, capsys)
    if code == 0:
        document = json.loads(out)
        assert document["parameters_before"][:2] == document["parameters_after"][:2]


def test_two_pages_agree_on_one_band(capsys: pytest.CaptureFixture[str]) -> None:
    """The judge and the measurement tell the same band of the same mix and cook."""
    held = ["--cook", "119 C", "--minutes", "10", "--json"]
    (mix,) = json.loads(run([*JUDGE, *held], capsys)[1])["mixes"]
    key = "pour_viscosity_Pa_s_interval"
    assert mix[key] == json.loads(run([*PAN, "--json"], capsys)[1])[key]["before"]


def test_output_is_not_the_bench(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """What was measured is not lost to a slip of the pen."""
    path = tmp_path / "bench.toml"
    assert run([*BULK, "--bench", str(path), "--save"], capsys)[0] == 0
    before = path.read_bytes()
    run([*BULK, "--bench", str(path), "-o", str(path), "--force"], capsys)
    assert path.read_bytes() == before


def fresh(code: str) -> subprocess.CompletedProcess[str]:
    """Run a program in a new interpreter."""
    return subprocess.run(
        [sys.executable, "-c", code],
        capture_output=True,
        text=True,
        check=False,
        timeout=60,
    )


def test_parser_loads_nothing_heavy() -> None:
    """Help comes at once: neither numbers nor thermochemistry are loaded for it."""
    done = fresh(
        "import sys\n"
        "from castsugar.cli.main import build_parser\n"
        "build_parser()\n"
        "heavy = {'numpy', 'scipy', 'pandas', 'cantera'} & set(sys.modules)\n"
        "sys.exit(' '.join(sorted(heavy)) or 0)"
    )
    assert (done.returncode, done.stderr) == (0, "")


@pytest.mark.slow
def test_as_a_program(tmp_path: Path) -> None:
    """The module as the user starts it: bad input, no traceback."""
    done = subprocess.run(
        [
            *(sys.executable, "-m", "castsugar", *JUDGE),
            *("--cook", "119", "--minutes", "8", "-o", "page.txt"),
        ],
        capture_output=True,
        text=True,
        check=False,
        cwd=tmp_path,
        timeout=60,
    )
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr.count("\n") == 1
    assert "has no unit" in done.stderr
    assert list(tmp_path.iterdir()) == []


@pytest.mark.slow
def test_map_is_the_same_twice(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Seeded draws: the same picture byte by byte; a cook of the bench file counts."""
    bench = tmp_path / "bench.toml"
    bench.write_text('[kitchen]\ncook = "119 C"\nminutes = 8\n')
    words = [*TRIANGLE, "--step", "20%", "--show", "pour_viscosity"]
    names = [tmp_path / name for name in ("one.svg", "two.svg", "three.svg")]
    for name, more in zip(names, (HELD, HELD, ["--bench", str(bench)]), strict=True):
        assert run([*words, *more, "-o", str(name)], capsys)[0] == 0
    assert names[0].read_bytes() == names[1].read_bytes()
    assert "119 \u00b0C 8 min" in " ".join(ET.parse(names[2]).getroot().itertext())


def test_a_mix_that_should_not_flow_is_told(
    capsys: pytest.CaptureFixture[str],
) -> None:
    """It ran out, and by the model it jams: reported, exit code 1, nothing learnt."""
    words = [*FLOW, "--recipe", "KNO3:65 sucrose:35", "--cook", "119 C"]
    code, out, err = run([*words, "--minutes", "8"], capsys)
    assert code == 1
    assert "jams, and it flowed; not saved" in " ".join(out.split())
    assert err == ""


BED = ["kitchen", "brine", "--mass", "60 g", "--temperature", "20 C"]
CLEAR = ["kitchen", "clear-point", "--mass", "20 g", "--portion", "0.1 g"]
WARM = [*CLEAR, "--temperature", "85 C"]


@pytest.mark.parametrize(
    ("words", "fault"),
    [
        ([*BED, "--loose", "46 ml", "--tapped", "52 ml"], "exchanged?"),
        ([*BED[:-1], "40 C", "--loose", "52 ml", "--tapped", "46 ml"], "5 to 35 C"),
        ([*BED, "--loose", "52 ml", "--tapped", "30 ml"], "0.3 to 0.76"),
        ([*BED, "--loose", "52 ml", "--tapped", "46 ml", "--runs", "0"], "1 to 20"),
        ([*BED, "--loose", "52 ml", "--tapped", "46 ml", "--runs", "2.5"], "whole"),
        ([*BED, "--loose", "52 ml"], "--how says how to measure"),
        ([*CLEAR, "--liquid", "A", "--added", "5 g"], "required: --temperature"),
        (
            [*CLEAR, "--liquid", "A", "--added", "5 g", "--temperature", "95 C"],
            "never heated further for a test",
        ),
        (
            [*CLEAR, "--liquid", "C", "--added", "5 g", "--temperature", "85 C"],
            "allowed are A (plain syrup), B",
        ),
        (
            [*WARM, "--liquid", "sugar:3 water:2", "--added", "5 g"],
            "holds no syrup",
        ),
        (
            [*CLEAR, "--liquid", "A", "--added", "15 g", "--temperature", "85 C"],
            "allowed is up to 1.4",
        ),
        (
            [*WARM, "--liquid", "63 DE syrup:1", "--added", "5 g"],
            "say which",
        ),
    ],
)
def test_a_wrong_bed_or_clear_point(
    words: list[str], fault: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """One line, exit code 2."""
    code, out, err = run(words, capsys)
    assert (code, out) == (2, "")
    assert fault in err
    assert err.count("\n") == 1


def test_bed_and_clear_points_are_kept(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Saved as typed, read again, told by kitchen parameters."""
    path = tmp_path / "bench.toml"
    keep = ["--bench", str(path), "--save"]
    bed = [*BED, "--loose", "52 ml", "--tapped", "46 ml", "--runs", "2"]
    assert run([*bed, *keep], capsys)[0] == 0
    for liquid, added in (("A", "5.1 g"), ("B", "3.7 g")):
        words = [*CLEAR, "--liquid", liquid, "--added", added]
        assert run([*words, "--temperature", "85 C", *keep], capsys)[0] == 0
    assert "runs = 2" in path.read_text()
    shown = ["kitchen", "parameters", "--bench", str(path), "--json", *HELD]
    found = json.loads(run(shown[:-4], capsys)[1])
    origins = {p["name"]: p["origin"] for p in found["parameters"]}
    assert origins["packing"] == "measured: brine"
    assert origins["nitrate_dissolved"] == "measured: clear point"
    assert [m["kind"] for m in found["measurements"]] == [
        "brine",
        "clear point",
        "clear point",
    ]


def test_a_limit_on_the_pour_asks_for_a_cook(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Without a kitchen it is said what is missing; what comes next is not a sheet."""
    bench = tmp_path / "bench.toml"
    bench.write_text("[limits]\npour_viscosity_Pa_s = { at_most = 50 }\n", "utf-8")
    for more, wanted in (
        ([], f"Next: castsugar check --bench {bench}"),
        (HELD, "Next: castsugar weigh"),
    ):
        assert main(["evaluate", BASE, "--bench", str(bench), *more]) == 0
        text = " ".join(capsys.readouterr().out.split())
        assert wanted in text
        missing = "Pour viscosity: no kitchen was given ([kitchen] cook)."
        assert (missing in text) == (not more)
