"""What ballistics answers on a screen, in full and in its documents."""

from __future__ import annotations

import csv
import io
import json
import re
from pathlib import Path

import jsonschema
import pytest

import castsugar as cs
from castsugar.ballistic_input.entry import Entry
from castsugar.cli.main import main
from castsugar.report.ballistics import PARTS, cells
from castsugar.report.document import schema_of
from castsugar.report.screen import STATUSES
from castsugar.report.shown import Shown

# Exact: words and layout against their rules, numbers against the Python object.
pytestmark = pytest.mark.exact

ALONE = ["KNO3:65 sucrose:35", "--no-bench", "--pressure", "3 MPa"]
CHAMBER = [*ALONE, "--exit-pressure", "none"]


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the folder of the example bench."""
    made = tmp_path_factory.mktemp("bench")
    cs.bench.write_example(made)
    return made


@pytest.fixture(scope="module")
def known() -> dict[tuple[str, ...], tuple[int, str, str]]:
    """Return what was asked already: the bench of the example stays as it is."""
    return {}


@pytest.fixture
def ask(
    folder: Path,
    known: dict[tuple[str, ...], tuple[int, str, str]],
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
):
    """Ask `ballistics`: exit code, what it printed, what it complained of."""
    monkeypatch.chdir(folder)

    def asked(*words: str) -> tuple[int, str, str]:
        if words not in known or "--bench" in words:
            capsys.readouterr()
            code = main(["ballistics", *words])
            known[words] = (code, *capsys.readouterr())
        return known[words]

    return asked


@pytest.mark.slow
@pytest.mark.parametrize(
    "words", [["base"], ALONE, [*ALONE, "--exit-pressure", "none"]]
)
def test_one_screen(ask, words: list[str]) -> None:
    code, out, err = ask(*words)
    lines = out.splitlines()
    assert (code, err) == (0, "")
    assert len(lines) <= 24
    assert max(map(len, lines)) <= 80
    assert lines[0].startswith("Ballistics of ")
    assert lines[-1].startswith("Next: castsugar ballistics ")
    order = [*STATUSES]
    told = [w for line in lines for w in order if re.match(rf"{w}(  |:)", line)]
    assert told == sorted(told, key=order.index)
    assert "Pairs (g/mol): exponent" in out
    shown = ["flame temperature", "density of the grain", "condensed mass fraction"]
    assert all(any(line.startswith(x) for line in lines) for x in shown)
    assert ("No burn law: no motor and no strands" in out) == (words[0] != "base")


@pytest.mark.slow
def test_the_screen_has_the_numbers_of_the_block(ask) -> None:
    """A value, its band and its status stand in one row, in the place they allow."""
    found = cs.ballistics(ALONE[0], pressure=3e6)
    key = "characteristic_velocity_no_solidification_m_s"
    one = found.evaluated[key]
    _, out, _ = ask(*ALONE)
    ideal = rf"c\*, ideal, m/s +{one.value:.1f} +{one.low:.1f} to {one.high:.1f}$"
    assert re.search(ideal, out, re.MULTILINE)
    assert re.search(r"c\*, delivered, m/s .* assumed$", out, re.MULTILINE)
    k, gas = (found.evaluated[x].value for x in ("isentropic_exponent", "gas_exponent"))
    assert f"exponent {k:.2f} with" in out
    assert f", {gas:.2f} with" in out


MOTOR = """
[motor]
throat = "8 mm"
[motor.grain]
outer = "36 mm"
core = "14 mm"
length = "62 mm"
"""


@pytest.mark.slow
def test_what_the_burn_rate_is_worth_stands_first(ask, tmp_path: Path) -> None:
    """Beyond what was burned it is OUTSIDE, without strands assumed: exit code 0."""
    code, out, _ = ask("base", "--pressure", "9 MPa")
    assert (code, out.count("OUTSIDE  Burn rate measured: 60/20/20;")) == (0, 1)
    bench = tmp_path / "own.toml"
    bench.write_text(MOTOR, encoding="utf-8")
    code, out, _ = ask("KNO3:65 sucrose:35", "--bench", str(bench))
    assert (code, out.count("CAUTION")) == (0, 1)
    assert "Burn rate assumed: nothing was burned; no strands of this mix" in out
    assert "any pressure" in out
    borrowed = '[[motor.burn_law]]\nborrowed = "sucrose 65/35"\n'
    bench.write_text(MOTOR + borrowed, encoding="utf-8")
    assert "BORROWED  Burn rate borrowed: " in ask(*ALONE[:1], "--bench", str(bench))[1]


@pytest.mark.slow
def test_full_has_every_block(ask) -> None:
    _, out, _ = ask("base", "--full")
    lines = out.splitlines()
    for title in (
        "What it is",
        "Chamber, throat and exit, ideal",
        "Delivered",
        "Burn law",
        "Temperature of the grain",
        "Density",
        "Gas without smoke",
        "The motor",
        "Joint draws",
        "What can raise the peak",
    ):
        assert lines[lines.index(title) + 1] == "-" * len(title)
    assert "nozzle exponent equilibrium" in out
    assert len(re.findall(r"^[\d.]+ to [\d.]+ +[\d.]+ +0\.2\d\d ", out, re.M)) >= 5


@pytest.mark.slow
def test_json_keeps_its_schema(ask) -> None:
    for words in (["base"], ALONE):
        document = json.loads(ask(*words, "--json")[1])
        jsonschema.validate(document, schema_of("ballistics", PARTS))
        assert document["schema"] == "castsugar.ballistics/2"
        assert [*document["thermochemistry"][0]["flame_temperature_K"]] == [
            *("value", "u", "low", "high", "status", "source")
        ]
    whole = document["density"]["density_ratio"]
    for entry in ({"value": 1.0}, whole | {"value": []}):
        broken = document | {"density": {"density_ratio": entry}}
        with pytest.raises(jsonschema.ValidationError):
            jsonschema.validate(broken, schema_of("ballistics", PARTS))


@pytest.mark.slow
def test_csv_is_one_row_a_quantity(ask) -> None:
    rows = list(csv.DictReader(io.StringIO(ask("base", "--csv")[1])))
    document = json.loads(ask("base", "--json")[1])
    heads = ["block", "place", "quantity", "value", "u", "low", "high"]
    assert [*rows[0]] == [*heads, "status", "source"]
    one = next(row for row in rows if row["quantity"] == "grain_density_kg_m3")
    wanted = document["density"]["grain_density_kg_m3"]
    assert [float(one[x]) for x in ("value", "low")] == [wanted["value"], wanted["low"]]
    drawn = [row for row in rows if row["block"] == "draws"]
    assert len(drawn) == 200 * len(document["draws"])
    at = {row["place"] for row in rows if row["block"] == "thermochemistry"}
    assert at >= {"pressure_Pa=1000000", "pressure_Pa=3000000", "pressure_Pa=7000000"}


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["KNO3:1 sucrose:9 water:90", "--no-bench"], "does not burn by this model"),
        (["base", "--crack", "10 %", "--no-bench"], "is for a motor"),
        (["KNO3:65 sucrose:35", "--exit-pressure", "9 MPa"], "is not below"),
    ],
)
def test_what_cannot_be_answered_is_one_line(ask, words: list[str], said: str) -> None:
    code, out, err = ask(*words)
    assert (code, out, len(err.splitlines())) == (2, "", 1)
    assert said in err


@pytest.mark.slow
def test_evaluate_names_the_command_and_keeps_no_block(
    folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(folder)
    assert main(["evaluate", "base", "red", "--full", "--no-confirm"]) == 0
    out = capsys.readouterr().out
    assert "castsugar ballistics base\ncastsugar ballistics red\n" in out
    assert "Input of a ballistics calculation" not in out


@pytest.mark.parametrize(
    ("key", "value", "shown"),
    [
        ("viscosity_Pa_s", 5.33e-5, ("viscosity, mPa s", "0.05330", "")),
        ("throat_diameter_m", 0.008, ("throat diameter, mm", "8.000", "")),
        (
            "cone_half_angle_rad",
            0.2617993878,
            ("cone half angle, degrees", "15.00", ""),
        ),
        ("extrapolated", True, ("extrapolated", "yes", "")),
        ("sound_firings", 3, ("sound firings", "3", "")),
        ("origin", "measured: a", ("origin", "measured: a", "")),
    ],
)
def test_a_key_says_how_its_entry_looks(
    key: str, value: float | str, shown: tuple[str, str, str]
) -> None:
    assert cells(key, Entry(value=value), Shown()) == shown
