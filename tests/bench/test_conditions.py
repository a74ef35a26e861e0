"""The conditions of a bench: who goes first, what is refused, one set everywhere."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

import castsugar as cs
from castsugar import units
from castsugar.bench.bench import Bench, check_bench
from castsugar.bench.conditions import conditions_of
from castsugar.cli.main import main
from castsugar.constants import NO_EXIT
from castsugar.errors import InputError

pytestmark = pytest.mark.exact  # words and units against their meaning

#: Pascals of a pound-force per square inch: 4.4482216152605 N / (0.0254 m)^2.
PSI = 4.4482216152605 / 0.0254**2

SEARCHED = '[search]\n{}\n[search.ingredients]\n"KNO3" = "60 %"\n"sucrose" = "40 %"\n'
OWN = "[conditions]\n{}\n"


def bench(text: str) -> Bench:
    return check_bench(Path("bench.toml"), text)


def held(text: str) -> tuple[float, float | None, str]:
    found = conditions_of(bench(text)).options()
    return found["pressure"], found["exit_pressure"], found["flow"]


def test_the_order_of_places() -> None:
    """Typed, [conditions], [search], then 1000 psi, 1 atm, no-solidification."""
    usual = (pytest.approx(1000 * PSI), 101325.0, "no-solidification")
    assert held("") == usual
    assert conditions_of().options() == conditions_of(bench("")).options()
    old = SEARCHED.format('pressure = "400 psi"')
    assert held(old) == (pytest.approx(400 * PSI), *usual[1:])
    both = OWN.format('exit = "90 kPa"') + old
    assert held(both) == (pytest.approx(400 * PSI), 90e3, usual[2])
    own = OWN.format('pressure = "500 psi"\nnozzle_flow = "frozen"')
    assert held(own) == (pytest.approx(500 * PSI), 101325.0, "frozen")
    typed = conditions_of(
        bench(own),
        pressure=units.parse("3 MPa", "pressure"),
        exit_pressure=NO_EXIT,
        nozzle_flow="equilibrium",
    )
    assert typed.options() == {
        "pressure": 3e6,
        "exit_pressure": None,
        "flow": "equilibrium",
    }


def test_the_old_place_has_one_note() -> None:
    """Whatever is taken from [search] is said once; what is not is not."""
    old = SEARCHED.format('pressure = "400 psi"\nflow = "frozen"')
    (note,) = conditions_of(bench(old)).notes
    assert note == (
        "bench.toml: pressure, flow of [search] hold for every command; their place "
        "is now [conditions]"
    )
    typed = conditions_of(bench(old), pressure=units.parse("3 MPa", "pressure"))
    assert "flow of [search] holds" in typed.notes[0]
    assert not conditions_of(bench(OWN.format('pressure = "400 psi"'))).notes
    same = OWN.format('pressure = "400 psi"') + SEARCHED.format('pressure = "400 psi"')
    assert not conditions_of(bench(same)).notes


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (
            OWN.format('pressure = "500 psi"')
            + SEARCHED.format('pressure = "400 psi"'),
            ["[search] pressure is 400 psi absolute, and [conditions] pressure is 500"],
        ),
        (
            OWN.format('nozzle_flow = "frozen"')
            + SEARCHED.format('flow = "equilibrium"'),
            ["[search] flow is equilibrium, and [conditions] nozzle_flow is frozen"],
        ),
        (
            OWN.format('pressure = "2 bar"\nexit = "3 bar"'),
            ["line 3: [conditions] exit 3 bar absolute is not below", "2 bar absolute"],
        ),
        (
            OWN.format('nozzle_flow = "shifting"'),
            ["nozzle_flow", "equilibrium, frozen"],
        ),
        (OWN.format('presure = "2 bar"'), ["did you mean 'pressure'?"]),
        (OWN.format("pressure = 500"), ["[conditions] pressure", "unit"]),
    ],
)
def test_bad_conditions(text: str, words: list[str]) -> None:
    """Refused when the file is read, at the line, with both numbers."""
    with pytest.raises(InputError) as caught:
        bench(text)
    for word in words:
        assert word in str(caught.value)


def test_exit_above_a_typed_pressure() -> None:
    """The exit of the bench, the pressure of the command: both are named."""
    known = bench(OWN.format('exit = "2 bar"'))
    with pytest.raises(InputError) as caught:
        conditions_of(known, pressure=units.parse("1 bar", "pressure"))
    assert "[conditions] exit 2 bar absolute is not below" in str(caught.value)
    assert "1 bar absolute" in str(caught.value)
    with pytest.raises(InputError, match="exit pressure 2 bar absolute is not"):
        conditions_of(
            pressure=units.parse("1 bar", "pressure"),
            exit_pressure=units.parse("2 bar", "pressure"),
        )


@pytest.mark.slow
def test_every_command_takes_the_same(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """c* and impulse of a recipe are one number, whoever prints it."""
    monkeypatch.chdir(tmp_path)
    stated = '"3 MPa"\nexit = "80 kPa"\nnozzle_flow = "frozen"'
    recipes = '[recipes]\nbase = "KNO3:65 sucrose:35"\nrich = "KNO3:62 sucrose:38"\n'
    Path("bench.toml").write_text(f"[conditions]\npressure = {stated}\n{recipes}")

    def printed(*words: str) -> dict:
        capsys.readouterr()
        assert main([*words, "--bench", "bench.toml", "--json"]) == 0
        return json.loads(capsys.readouterr().out)

    one = printed("evaluate", "base", "--no-confirm")
    wanted = {"pressure_Pa": 3e6, "exit_pressure_Pa": 80e3, "nozzle_flow": "frozen"}
    assert one["conditions"] == wanted
    sheet = printed("weigh", "base", "--batch", "200 g")
    assert sheet["conditions"] == wanted
    world = cs.bench.read("bench.toml")
    row = cs.evaluate(world.mix("base"), **world.conditions).iloc[0]
    beside = printed("compare", "base", "rich", "--no-confirm", "--draws", "200")
    for key in ("characteristic_velocity_m_s", "specific_impulse_s"):
        assert one["mixes"][0][key] == pytest.approx(row[key], rel=1e-9)
        assert beside["mixes"][0][key] == pytest.approx(row[key], rel=1e-9)


def test_former_spelling_of_the_flow(capsys: pytest.CaptureFixture[str]) -> None:
    """--flow is taken as --nozzle-flow, with one note beside the result."""
    asked = ["evaluate", "KNO3:65 sucrose:35", "--no-confirm"]
    assert main([*asked, "--flow", "frozen"]) == 0
    old = capsys.readouterr()
    assert main([*asked, "--nozzle-flow", "frozen"]) == 0
    new = capsys.readouterr()
    assert old.out == new.out
    assert old.err == (
        "castsugar: --flow is called --nozzle-flow now; taken as that\n" + new.err
    )


def test_the_rating_of_the_case_is_a_limit_of_the_bench(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Also where [limits] does not name it: 6.89 MPa at most, in 95 of 100 draws."""
    monkeypatch.chdir(tmp_path)
    assert main(["init"]) == 0
    text = Path("bench.toml").read_text("utf-8")
    named = cs.bench.read("bench.toml").limits
    kept = [line for line in text.splitlines() if not line.startswith("peak_pressure")]
    assert len(kept) == len(text.splitlines()) - 1
    Path("bench.toml").write_text("\n".join(kept), "utf-8")
    unnamed = cs.bench.read("bench.toml").limits
    assert sorted(map(repr, named)) == sorted(map(repr, unnamed))
    (peak,) = (need for need in unnamed if need.column == "peak_pressure_MPa")
    assert peak.at_most == pytest.approx(1000 * PSI / 1e6)
    assert (peak.probability, peak.whose) == (0.95, "your rating")


@pytest.mark.parametrize(
    ("line", "whose", "bound"),
    [
        ('proof_pressure = "1500 psi"', "the limit of your proof test", "4.2 MPa"),
        ('wall = "0.3 mm"', "the limit of the wall", "1.53 MPa"),
    ],
)
def test_a_limit_of_the_case_is_called_after_the_rule_that_sets_it(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    line: str,
    whose: str,
    bound: str,
) -> None:
    """By hand: (1500 psi - 1 atm) x 0.8 / 2 + 1 atm; 240 MPa x 0.8 / 2 x 0.6 / 40.3."""
    monkeypatch.chdir(tmp_path)
    assert main(["init"]) == 0
    text, key = Path("bench.toml").read_text("utf-8"), line.split(" = ")[0]
    lines = [line if x.startswith(key) else x for x in text.splitlines()]
    Path("bench.toml").write_text("\n".join(lines), "utf-8")
    for words in (["base"], ["base", "red"]):
        capsys.readouterr()
        assert main(["evaluate", *words]) == 0
        told = " ".join(capsys.readouterr().out.split())
        assert re.search(f"{whose},? {bound}", told)
        assert "your rating" not in told
