"""Proofs as people ask for them: in Python, on the command line, of a printed value."""

from __future__ import annotations

import csv
import json
import math
from pathlib import Path

import pytest

pytest.importorskip(
    "flint",
    reason="PROOFS ARE NOT TESTED: python-flint (extra 'proof') is not installed",
)

import castsugar as cs
from castsugar import proof
from castsugar.cli.main import main
from castsugar.proof import prove

BASE = "KNO3:65 sucrose:35"
Capture = pytest.CaptureFixture[str]


def printed(case: str) -> tuple[float, float]:
    """Return a flame temperature of a table in a book, and its tolerance [K]."""
    path = Path(__file__).parent / "published" / "turns.csv"
    rows = csv.DictReader(path.read_text("utf-8").splitlines())
    row = next(one for one in rows if one["case"] == case)
    return float(row["value"]), float(row["tolerance"])


@pytest.mark.published
def test_a_printed_flame_temperature_is_proved_within_its_tolerance() -> None:
    """Methane and air at 1 atm; the source stands in published/turns.csv."""
    value, tolerance = printed("CH4 / air")
    methane = cs.Ingredient(
        name="methane", formula="CH4", enthalpy_of_formation=-74600.0
    )
    air = cs.Ingredient(
        name="air",
        formula={"O": 2.0, "N": 7.52},
        enthalpy_of_formation=0.0,
        role="oxidizer",
    )
    mix = {methane: methane.molar_mass, air: 2.0 * air.molar_mass}
    found = prove(mix, pressure=101325.0, temperature=value, within=tolerance)
    assert found.status == "proved"
    far = prove(mix, pressure=101325.0, temperature=value + 30.0, within=tolerance)
    assert far.status.startswith("open: a state at")


@pytest.mark.exact
def test_the_claim_is_what_the_solver_finds() -> None:
    """Without a temperature that of `equilibrium` is claimed, and plain values told."""
    found = prove(BASE, pressure=3e6)
    expected = cs.equilibrium(BASE, pressure=3e6).temperature
    assert found.temperature == pytest.approx(expected, abs=1e-8)
    assert found.to_dict() == {
        "flame_temperature_K": found.temperature,
        "within_K": 1e-6,
        "pressure_Pa": 3e6,
        "proof": "proved",
        "proves": "it proves arithmetic, not data",
    }
    assert json.loads(found.to_json())["proof"] == "proved"
    assert "proved" in found._repr_html_()
    assert "TM-4513" in found.cite()


@pytest.mark.exact
def test_a_mix_that_does_not_burn_stays_open() -> None:
    """Nothing is claimed, and the status says why."""
    found = prove("KNO3:90 water:10")
    assert found.status == "open: it does not burn by this model"
    assert math.isnan(found.temperature)
    assert found.certificate == {}


@pytest.mark.exact
@pytest.mark.parametrize(
    ("options", "said"),
    [
        ({"within": 0.0}, "within is 0 K; a proof takes 1e-09 to 10 K"),
        ({"within": math.nan}, "within is nan K"),
        ({"temperature": 200.0}, "temperature is 200 K; a proof takes 320 to 4980 K"),
        ({"temperature": "hot"}, "give a plain number in K"),
        ({"pressure": -1.0}, "pressure"),
        ({"closely": True}, "prove has no option 'closely'"),
    ],
)
def test_bad_input_is_refused(options: dict[str, object], said: str) -> None:
    """One line: what, what was got, what is allowed."""
    with pytest.raises(cs.InputError, match=said):
        prove(BASE, **options)  # type: ignore[arg-type]


@pytest.mark.exact
def test_without_python_flint_one_line_says_how_to_get_it(
    monkeypatch: pytest.MonkeyPatch, capsys: Capture
) -> None:
    """Exit code 2, before any work; in Python the same words."""
    monkeypatch.setattr(proof, "find_spec", lambda name: None)
    assert main(["evaluate", BASE, "--prove"]) == 2
    told = capsys.readouterr()
    assert told.out == ""
    assert told.err.count("\n") == 1
    assert "pip install 'castsugar[proof]'" in told.err
    with pytest.raises(cs.InputError, match="needs python-flint"):
        prove(BASE)


@pytest.mark.slow
@pytest.mark.exact
def test_evaluate_says_what_is_proved_and_writes_certificates(
    tmp_path: Path, capsys: Capture
) -> None:
    """One line on the screen; a file a mix, and the program that checks them."""
    words = ["evaluate", BASE, "KNO3:60 sucrose:40", "KNO3:90 water:10", "--no-bench"]
    words += ["--no-confirm", "--prove", "--certificates", str(tmp_path)]
    assert main(words) == 0
    told = " ".join(capsys.readouterr().out.split())
    assert (
        "RESULT Flame and exit temperature of A 65/35, B 60/40 proved within 1e-6 K, "
        "Isp within 1e-9 s, c* not, by bounds that trust no solver; it proves "
        "arithmetic, not data." in told
    )
    files = sorted(path.name for path in tmp_path.iterdir())
    flames = ["flame-1.json", "flame-2.json"]
    assert files == ["check_certificate.py", "exit-1.json", "exit-2.json", *flames]
    second = json.loads((tmp_path / "flame-2.json").read_text("utf-8"))
    assert second["name"] == "KNO3:60 sucrose:40"
    assert main(words) == 2
    assert "exists already" in capsys.readouterr().err


@pytest.mark.exact
@pytest.mark.slow
def test_what_is_not_proved_is_said(capsys: Capture) -> None:
    """A frozen flow is not covered; without an exit only the flame is spoken of."""
    words = ["evaluate", BASE, "--no-bench", "--no-confirm", "--prove"]
    assert main([*words, "--nozzle-flow", "frozen"]) == 0
    told = " ".join(capsys.readouterr().out.split())
    assert "RESULT Flame temperature proved within 1e-6 K by bounds" in told
    assert "CANNOT TELL Exit temperature not proved; open: a frozen flow" in told
    assert main([*words, "--exit-pressure", "none"]) == 0
    told = " ".join(capsys.readouterr().out.split())
    assert "RESULT Flame temperature proved within 1e-6 K by bounds" in told
    assert "Exit temperature" not in told


@pytest.mark.slow
@pytest.mark.exact
def test_json_keeps_every_digit_of_a_claim(capsys: Capture) -> None:
    """The claim is a text: what is proved within 1e-6 K must not be rounded."""
    words = ["evaluate", BASE, "--no-bench", "--no-confirm", "--prove", "--json"]
    assert main([*words, "--pressure", "3 MPa"]) == 0
    findings = json.loads(capsys.readouterr().out)["findings"]
    (one,) = [f for f in findings if "trust no solver" in f["text"]]
    table = cs.evaluate(BASE, pressure=3e6, exit_pressure=None)
    claimed = one["values"]["65/35"]["flame_temperature_K"]
    assert isinstance(claimed, str)
    assert float(claimed) == pytest.approx(table["flame_temperature_K"][0], abs=1e-8)


@pytest.mark.exact
@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--certificates", "."], "--certificates writes what --prove proves"),
        (["--prove", "--certificates", "nowhere"], "nowhere' does not exist"),
    ],
)
def test_certificates_are_refused_before_any_work(
    words: list[str], said: str, capsys: Capture, monkeypatch, tmp_path: Path
) -> None:
    """One line, exit code 2."""
    monkeypatch.chdir(tmp_path)
    assert main(["evaluate", BASE, "--no-bench", *words]) == 2
    told = capsys.readouterr()
    assert said in told.err
    assert told.err.count("\n") == 1


@pytest.mark.exact
def test_what_is_proved_is_what_was_cooked() -> None:
    """The water that a cook leaves is burnt: the flame of the row, and no other."""
    kitchen = cs.Kitchen(cook=cs.Cook.hold(392.15, 480.0))
    mix = "KNO3:60 powdered sugar:20 corn syrup:20"
    (row,) = cs.evaluate([mix], kitchen=kitchen)["flame_temperature_K"]
    assert cs.prove(mix, temperature=row, kitchen=kitchen).proved
    assert not cs.prove(mix, temperature=row).proved
