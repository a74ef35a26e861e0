"""The kitchen on the command line: as a user types it, right and wrong."""

from __future__ import annotations

import csv
import io
import json
import subprocess
import sys
import xml.etree.ElementTree as ET
from pathlib import Path

import pytest

from castsugar.cli.main import main

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
    ([*JUDGE, *HELD, "--syrup-solids", "0.2"], "allowed 0.5 to 1"),
    ([*JUDGE, *HELD, "--syrup-grade", "150"], "24 to 63"),
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
    ([*JUDGE, *HELD, "--kitchen", "none.toml"], "cannot be read"),
    ([*JUDGE, *HELD, "--water-lost", "2"], "above 1"),
    (["kitchen"], "needs to know what"),
    (["kitchen", "jugde", BASE], "did you mean 'judge'"),
    (["kitchen", "judge", "KNO3:65 sucrse:35", *HELD], "sucrse"),
    (
        ["kitchen", "judge", "KNO3:65 sucrose:35", *HELD, "--syrup-grade", "42"],
        "no rec",
    ),
    ([*PAN, "--save"], "--save needs --kitchen"),
    ([*PAN[:-2], "--minutes", "ten"], "not a number of minutes"),
    ([*PAN, "--scale", "-0.1 g"], "below zero"),
    ([*BALL, "--time", "0.01 s"], "Reynolds"),
    ([*BALL], "required: --time"),
    (["map", "KNO3", "sugar", "corn syrup", "--show", "pour_window"], "needs a cook"),
    (["sweep", BASE, "--vary", "KNO3", "--show", "set_ratio"], "needs a cook"),
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


def test_page(capsys: pytest.CaptureFixture[str]) -> None:
    """Class and band, never three digits of a viscosity; 80 columns."""
    assert main([*JUDGE, "KNO3:65 sorbitol:35", *HELD]) == 0
    text = capsys.readouterr().out
    assert max(map(len, text.splitlines())) <= 80
    assert "kitchen not computed: no model for sorbitol" in text
    assert "nothing measured yet" in text
    assert "sealed with desiccant" in text
    (line,) = (x for x in text.splitlines() if "10-90 % band" in x)
    low, high = line.split()[-2].split("-")
    assert all(len(v.strip("0").replace(".", "")) <= 1 for v in (low, high))


@pytest.mark.parametrize(
    ("celsius", "warned", "stopped"),
    [(129, False, False), (131, True, False), (150, True, False), (151, True, True)],
)
def test_cautions_follow_the_temperature(
    celsius: int, *, warned: bool, stopped: bool, capsys: pytest.CaptureFixture[str]
) -> None:
    """Above 130 C a caution, above 150 C stop and no verdict."""
    assert main([*JUDGE, "--cook", f"{celsius} C", "--minutes", "2"]) == 0
    text = " ".join(capsys.readouterr().out.split())
    assert ("Above 130 C bulk temperature" in text) == warned
    assert ("No recipe verdict is given above 150 C" in text) == stopped
    assert ("no verdict above 150 C bulk temperature" in text) == stopped


def test_evaluate_burns_what_the_kitchen_leaves(
    capsys: pytest.CaptureFixture[str],
) -> None:
    """The same water in both tables; JSON and CSV parse."""
    assert main([*JUDGE, *HELD, "--json"]) == 0
    judged = json.loads(capsys.readouterr().out)
    assert judged["schema"] == "castsugar.kitchen/1"
    assert main(["evaluate", BASE, *HELD, "--json", "--no-confirm"]) == 0
    burnt = json.loads(capsys.readouterr().out)["mixes"][0]
    for key, value in judged["mixes"][0].items():
        if key not in ("flags", "name"):
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


def test_measure_save_and_learn(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A saved measurement changes what is believed; one that contradicts is not."""
    bench = str(tmp_path / "bench.toml")
    kept = ["--kitchen", bench, "--save"]
    assert main([*PAN, *kept]) == 0
    assert main([*BALL, "--time", "9.5 s", *kept]) == 0
    capsys.readouterr()
    before = Path(bench).read_bytes()
    assert main([*BALL, "--time", "190 s", *kept]) == 1
    out, err = capsys.readouterr()
    assert "contradicts" in out
    assert "not saved" in err
    assert Path(bench).read_bytes() == before
    assert main(["kitchen", "parameters", "--kitchen", bench, "--json"]) == 0
    document = json.loads(capsys.readouterr().out)
    assert document["schema"] == "castsugar.kitchen_parameters/1"
    known = {p["name"]: p["origin"] for p in document["parameters"]}
    assert known["drying_time"] == "measured: pan weight"
    assert known["syrup_grade"] == "measured: ball fall"
    assert not known["packing"].startswith("measured")
    assert main(["evaluate", BASE, *HELD, "--kitchen", bench, "--csv"]) == 0
    (row,) = csv.DictReader(io.StringIO(capsys.readouterr().out))
    assert float(row["water_as_weighed_percent"]) != pytest.approx(4.68, abs=0.01)


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
    assert "cook: 8 min at 119 C" in text


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
