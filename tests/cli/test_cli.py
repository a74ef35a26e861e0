"""The command line as it is used: tables, files, help."""

from __future__ import annotations

import csv
import io
import json
import os
import re
import shlex
import subprocess
import sys
from pathlib import Path

import jsonschema
import pytest

import castsugar as cs
from castsugar.cli.main import main
from castsugar.report.document import schema_of
from castsugar.report.field import FIELDS
from castsugar.report.ingredients import PARTS
from castsugar.report.shown import Shown

# Exact: the contract and the acceptance list of the contract; a number on the
# screen is compared with the library's own, rounded to the decimals of its column.
pytestmark = pytest.mark.exact

ACCEPTANCE = (
    "evaluate",
    "KNO3:60 powdered sugar:20 corn syrup:20",
    "KNO3:65 sucrose:35",
    "--pressure",
    "1000 psi",
)
CHAMBER = ("evaluate", "KNO3:65 sucrose:35", "--exit-pressure", "none")
COLD = "KNO3:10 water:90"

#: Columns of a table without --uncertainty.
COLUMNS = [c for c in cs.COLUMNS if c.group != "uncertainty"]


def new_process(*words: str, seed: str = "0") -> subprocess.CompletedProcess[str]:
    """Run the command line in a process of its own, from another folder."""
    return subprocess.run(
        [sys.executable, "-m", "castsugar", *words],
        capture_output=True,
        text=True,
        encoding="utf-8",
        cwd=Path(sys.executable).parent,
        env=os.environ | {"PYTHONHASHSEED": seed},
        check=False,
    )


def test_acceptance_command(capsys: pytest.CaptureFixture[str]) -> None:
    """Two recipes at 1000 psi: water as weighed and as cast, cautions, no losses."""
    assert main([*ACCEPTANCE, "--full"]) == 0
    text, err = capsys.readouterr()
    assert err == ""
    for words in (
        "A 60/20/20, B 65/35",
        "Ideal at 1000 psi to 1 atm, no losses",
        "deliver clearly less",
        "Hot mixes burn people and houses; local law decides.",
    ):
        assert words in " ".join(text.split())
    # Water by hand: 20 % of 0.4 % and 20 % of 23 %: 0.08 + 4.6 = 4.68 %.
    assert re.search(r"water as weighed, % +4\.68 +0\n", text)
    assert re.search(r"water as cast, % +4\.68 +0\n", text)
    # Every numeric column has its line, to two digits or three.
    recipes = [{"KNO3": 60, "powdered sugar": 20, "corn syrup": 20}, {"KNO3": 65}]
    recipes[1]["sucrose"] = 35
    mixes = [cs.Mix.weigh(r) for r in recipes]
    table = cs.evaluate(mixes, pressure=6894757.293168361)
    for column in COLUMNS:
        field = FIELDS[column.key]
        if column.decimals is None or column.group not in ("mix", "chamber", "nozzle"):
            continue
        head = field.headed(Shown()) + " "
        line = [x for x in text.splitlines() if x.startswith(head)][-1]
        shown = [float(x.replace("\u2212", "-")) for x in line.split()[-2:]]
        for value, exact in zip(shown, table[column.key], strict=True):
            assert value == pytest.approx(exact, rel=0.006, abs=0.06)


def test_water_lost_shows_both(capsys: pytest.CaptureFixture[str]) -> None:
    """A fifth of the water gone: as weighed and as cast differ."""
    # By hand: 4.68 % weighed; 0.8 x 4.68 = 3.744 of 99.064 parts = 3.78 % cast.
    words = ["--water-lost", "0.2", "--exit-pressure", "none", "--full"]
    assert main([*ACCEPTANCE, *words]) == 0
    text = capsys.readouterr().out
    assert re.search(r"water as weighed, % +4\.68 +0\n", text)
    assert re.search(r"water as cast, % +3\.78 +0\n", text)
    assert "20 % of the recipe's water leaves" in text


def test_cold_mix(capsys: pytest.CaptureFixture[str]) -> None:
    """A mix that does not burn: its row says so, exit code 0, no temperature."""
    assert main(["evaluate", COLD]) == 0
    out, err = capsys.readouterr()
    assert err == ""
    assert "is cold: it does not burn by this model" in " ".join(out.split())
    assert "flame temperature" not in out
    assert main(["evaluate", COLD, "KNO3:65 sucrose:35", "--full"]) == 0
    out = capsys.readouterr().out
    # Beside a mix that burns, the place of the number holds a dash.
    assert re.search(r"flame temperature, K +\u2013 +17[0-9]{2}\n", out)


def test_json(capsys: pytest.CaptureFixture[str]) -> None:
    """JSON: schema, versions, assumptions, cautions; what is missing is null."""

    def refuse(word: str) -> float:
        raise AssertionError(f"{word} is no JSON")

    assert main([*CHAMBER, "--json"]) == 0
    out, err = capsys.readouterr()
    assert err == ""
    document = json.loads(out, parse_constant=refuse)
    assert document["schema"] == "castsugar.evaluate/2"
    assert set(document["versions"]) >= {"castsugar", "species_data", "cantera"}
    held = document["conditions"]
    assert held["pressure_Pa"] == pytest.approx(6894757.293)
    assert held["exit_pressure_Pa"] is None
    assert document["cautions"][0].startswith("Hot nitrate-sugar mixes burn people")
    (row,) = document["mixes"]
    assert list(row) == [c.key for c in COLUMNS if "_u_" not in c.key]
    assert row["status"] == "ok"
    for column in COLUMNS:
        if column.key in ("flow_class", "burn_law_origin"):
            assert row[column.key] == "not asked"
        elif column.group in ("nozzle", "kitchen", "motor"):
            assert row[column.key] is None
        elif column.group not in ("row", "uncertainty"):
            assert isinstance(row[column.key], float)
    assert main(["evaluate", COLD, "water:1", "--json"]) == 0
    for row in json.loads(capsys.readouterr().out, parse_constant=refuse)["mixes"]:
        assert (row["status"], row["flame_temperature_K"]) == ("cold", None)


def test_csv(capsys: pytest.CaptureFixture[str]) -> None:
    """CSV: header of the contract; names with commas survive; missing is empty."""
    words = [
        "evaluate",
        "KNO3:65, sucrose:35",
        COLD,
        "--exit-pressure",
        "none",
        "--csv",
    ]
    assert main(words) == 0
    out, err = capsys.readouterr()
    assert err == ""
    assert "\r" not in out
    lines = list(csv.reader(io.StringIO(out)))
    assert lines[0] == [c.key for c in COLUMNS]
    assert lines[1][0] == "KNO3:65, sucrose:35"
    rows = list(csv.DictReader(io.StringIO(out)))
    assert [r["status"] for r in rows] == ["ok", "cold"]
    empty = {("nozzle", "ok"), ("nozzle", "cold"), ("chamber", "cold")}
    for row, column in ((r, c) for r in rows for c in COLUMNS):
        cell = row[column.key]
        wing = column.group in ("kitchen", "motor")
        if column.key in ("flow_class", "burn_law_origin"):
            assert cell == "not asked"
        elif (column.group, row["status"]) in empty or wing:
            assert cell == ""
        elif column.group != "row" and column.key != "oxidizer_fuel_ratio":
            float(cell)
    # Nitrate without fuel has no ratio; "inf" is not a number in a spreadsheet.
    assert rows[1]["oxidizer_fuel_ratio"] == ""


def test_files(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """-o writes what would have been printed, once; --force replaces it."""
    path = tmp_path / "out.csv"
    assert main([*CHAMBER, "--csv"]) == 0
    printed = capsys.readouterr().out
    assert main([*CHAMBER, "--csv", "-o", str(path)]) == 0
    out, err = capsys.readouterr()
    assert (out, path.read_bytes().decode()) == ("", printed)
    assert str(path) in err
    path.write_text("mine")
    assert main([*CHAMBER, "--csv", "-o", str(path)]) == 2
    out, err = capsys.readouterr()
    assert (out, path.read_text()) == ("", "mine")
    assert "--force" in err
    assert main([*CHAMBER, "--csv", "-o", str(path), "--force"]) == 0
    assert path.read_text() == printed
    assert [p.name for p in tmp_path.iterdir()] == ["out.csv"]


def test_file_can_be_read_by_others(tmp_path: Path) -> None:
    """A result gets the permissions of any new file, not those of a secret."""
    path, plain = tmp_path / "out.txt", tmp_path / "plain.txt"
    plain.touch()
    assert main(["ingredients", "-o", str(path)]) == 0
    assert path.stat().st_mode == plain.stat().st_mode


def test_file_is_whole_or_not_there(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A disk that fails while writing leaves the old file and no rubbish."""
    path = tmp_path / "out.txt"
    path.write_text("mine")

    def fail(*_: object, **__: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", fail)
    assert main(["ingredients", "-o", str(path), "--force"]) == 2
    assert "No space left" in capsys.readouterr().err
    monkeypatch.undo()
    assert [(p.name, p.read_text()) for p in tmp_path.iterdir()] == [
        ("out.txt", "mine")
    ]


def wide(text: str) -> list[str]:
    """Lines that do not fit 80 columns."""
    return [line for line in text.splitlines() if len(line) > 80]


def test_screen_fits_80_columns(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Tables, lists, facts and help stay inside 80 columns."""
    monkeypatch.setenv("COLUMNS", "80")
    long = "a rather long label for a recipe of the third batch of the second week"
    typed = "KNO3:60,sucrose:20,sorbitol:9,erythritol:5,mannitol:3,water:2,graphite:1"
    recipes = [f"{long}=KNO3:{n} sucrose:35 ash:5" for n in range(60, 64)]
    assert main(["evaluate", *recipes, COLD, typed, "--exit-pressure", "none"]) == 0
    assert wide(capsys.readouterr().out.rpartition("Next: ")[0]) == []
    assert main(["ingredients"]) == 0
    database = cs.load_database()
    names = [*database.ingredients, *database.syrups, *database.premixes]
    for name in names:
        assert main(["ingredients", name]) == 0
    for words in ([], ["evaluate"], ["ingredients"]):
        with pytest.raises(SystemExit) as stop:
            main([*words, "--help"])
        assert stop.value.code == 0
    assert main([]) == 0
    out = capsys.readouterr().out
    assert len(out.splitlines()) > 300
    assert [line for line in wide(out) if not line.startswith("Next: ")] == []


def test_ingredients(capsys: pytest.CaptureFixture[str]) -> None:
    """The catalogue holds every name; one item shows doubt, rival and source."""
    database = cs.load_database()
    assert main(["ingredients"]) == 0
    out = " ".join(capsys.readouterr().out.split())
    for name in (*database.ingredients, *database.syrups, *database.premixes):
        assert re.search(rf"\b{re.escape(name)}\b", out)
    assert main(["ingredients", "glucitol", "--full"]) == 0
    out = " ".join(capsys.readouterr().out.split())
    for words in ("\u22121354 ± 18 kJ/mol", "polyol cycle: \u22121336 ± 12", "WebBook"):
        assert words in out
    schema = schema_of("ingredients", PARTS)
    for words, count in (["corn syrup"], 1), ([], len(database.ingredients) + 10):
        assert main(["ingredients", *words, "--json"]) == 0
        found = json.loads(capsys.readouterr().out)
        jsonschema.validate(found, schema)
        assert len(found["items"]) == count
    (syrup,) = [x for x in found["items"] if x["name"] == "light corn syrup"]
    assert syrup["dry_solids_mass_fraction"] == 0.77


@pytest.mark.parametrize("units", ["si", "us"])
def test_ingredients_fit(units: str, capsys: pytest.CaptureFixture[str]) -> None:
    """24 lines of 80 columns for the list and for every item; what comes next runs."""
    database = cs.load_database()
    names = [*database.ingredients, *database.syrups, *database.premixes]
    for words in ([], *([name] for name in names)):
        assert main(["ingredients", *words, "--units", units]) == 0
        lines = capsys.readouterr().out.splitlines()
        assert len(lines) <= 24
        assert max(map(len, lines[:-1])) <= 80
        following = shlex.split(lines[-1].removeprefix("Next: castsugar "))
        if units == "si" and following[0] == "evaluate":
            assert main([*following, "--no-confirm", "--csv"]) == 0
            capsys.readouterr()


def test_version_is_one_line(capsys: pytest.CaptureFixture[str]) -> None:
    """--version: castsugar, its data and Cantera on one line."""
    assert main(["--version"]) == 0
    out, err = capsys.readouterr()
    assert (out.count("\n"), err) == (1, "")
    version = cs.load_database().version
    assert out.startswith(
        f"castsugar {cs.__version__}, species data {version}, Cantera"
    )


@pytest.mark.slow
@pytest.mark.parametrize("form", ["--json", "--csv"])
def test_same_input_same_bytes(form: str) -> None:
    """Two processes with different hash seeds print the same bytes."""
    first = new_process(*ACCEPTANCE, form, seed="1")
    second = new_process(*ACCEPTANCE, form, seed="2")
    assert (first.returncode, first.stderr) == (0, "")
    assert first.stdout == second.stdout
