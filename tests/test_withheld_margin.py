"""A motor that does not come up to pressure, or whose law is too steep: no margin."""

from __future__ import annotations

import json
import math
import shlex
from pathlib import Path

import pytest

import castsugar as cs
from castsugar import Requirement, load_database
from castsugar.bench.bench import read_bench
from castsugar.bench.motor import hardware_of
from castsugar.cli.main import main
from castsugar.motor.mass_balance import withheld

AIR = 101325.0

# n = 0.9 and 10 mm/s at 6.9 MPa behind a throat of 8 mm: with one grain of 32/12/55 mm
# the balance stands far below the pressure of the air, and left a margin of 100 %.
BENCH = """\
[kitchen]
cook = "119 C"
minutes = 8
[recipes]
"base" = "KNO3:60 powdered sugar:20 corn syrup:20"
"other" = "KNO3:62 powdered sugar:18 corn syrup:20"
[limits]
peak_pressure_MPa = { at_most = "case", probability = "95 %" }
[search]
maximise = "density_impulse_kg_s_m3"
batch = "200 g"
[search.ingredients]
"KNO3" = "58 % to 62 %"
"powdered sugar" = "18 % to 22 %"
"corn syrup" = "18 % to 22 %"
[motor]
throat = "8 mm"
exit = "18 mm"
[motor.grain]
outer = "32 mm"
core = "12 mm"
length = "55 mm"
segments = 1
[motor.case]
rated_pressure = "1000 psi"
[[motor.burn_law]]
recipe = "KNO3:60 powdered sugar:20 corn syrup:20"
rate = "10 mm/s"
pressure = "6.9 MPa"
exponent = 0.9
rate_spread = "5 %"
exponent_spread = 0.02
"""

#: The same law behind a throat that does hold pressure: 1/(1 - 0.9) = 10 times.
STEEP = BENCH.replace("segments = 1", "segments = 6")

FLAT = "does not come up to pressure"


def words(text: str) -> str:
    return " ".join(text.split())


@pytest.fixture
def bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    path = tmp_path / "bench.toml"
    path.write_text(BENCH, encoding="utf-8")
    return path


# Closed form: d ln p / d ln Kn = 1/(1 - n); where bands meet the steeper one counts.
@pytest.mark.exact
@pytest.mark.parametrize(
    ("exponent", "pressure", "why"),
    [
        (0.3, 2.0 * AIR, ""),
        (0.3, 1.99 * AIR, FLAT),
        (0.749, 5e6, ""),
        (0.751, 5e6, "too steep: with n = 0.75"),
        (0.9, 5e6, "10 times, more than 4 (best estimate 5 MPa)"),
        (0.9, 0.5 * AIR, FLAT),
    ],
)
def test_when_no_pressure_is_told(exponent: float, pressure: float, why: str) -> None:
    (found,) = withheld([exponent], [pressure], AIR).tolist()
    assert why in found
    assert bool(found) is bool(why)


@pytest.mark.exact
@pytest.mark.parametrize(
    ("text", "why"), [(BENCH, FLAT), (STEEP, "the burn law is too steep")]
)
def test_rows_carry_no_margin_but_its_reason(text: str, why: str, bench: Path) -> None:
    bench.write_text(text, encoding="utf-8")
    motor = hardware_of(read_bench(bench), load_database())
    mix = cs.Mix.weigh({"KNO3": 60, "powdered sugar": 20, "corn syrup": 20})
    row = cs.evaluate(mix, motor=motor).iloc[0]
    for key in (
        "peak_pressure_MPa",
        "peak_pressure_p95_MPa",
        "pressure_margin_percent",
    ):
        assert math.isnan(row[key]), key
    assert why in row.burn_law_origin
    assert why in row["flags"]
    # The best estimate of the steep one, 17.5 MPa, is above the 6.9 MPa of the case.
    assert ("do not fire it" in row["flags"]) is (text is STEEP)
    assert row.status == "ok"
    assert row.kn_max > 0.0


SCREENS = [
    "evaluate base --bench bench.toml --no-confirm",
    "sweep base --bench bench.toml --vary KNO3 --from 60% --to 62% --step 1% "
    "--show pressure_margin_percent",
    "map KNO3 'powdered sugar' 'corn syrup' --bench bench.toml --step 10% "
    "--show pressure_margin_percent",
    "compare base other --bench bench.toml --no-confirm --draws 100",
    "weigh base --bench bench.toml --grains 1",
    "batch new base --bench bench.toml --batch '100 g' --date 2026-01-01",
]


@pytest.mark.exact
@pytest.mark.parametrize("command", SCREENS, ids=lambda c: c.split()[0])
@pytest.mark.slow
def test_every_screen_gives_the_reason_in_place_of_a_margin(
    command: str, bench: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """No number beside "margin", and why."""
    assert main(shlex.split(command)) == 0
    text = capsys.readouterr().out
    assert FLAT in words(text)
    margins = [x for x in text.splitlines() if "margin at 95" in x or "margin of" in x]
    assert not any(part.isdigit() for x in margins for part in x[45:].split())


@pytest.mark.slow
@pytest.mark.exact
def test_json_has_null_and_the_reason(
    bench: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    for command in (SCREENS[0], SCREENS[3]):
        assert main([*shlex.split(command), "--json"]) == 0
        text = capsys.readouterr().out
        assert FLAT in text
        found = json.loads(text)
        for row in found.get("rows") or found["mixes"]:
            assert row["pressure_margin_percent"] is None
            assert row["peak_pressure_p95_MPa"] is None


@pytest.mark.slow
@pytest.mark.exact
@pytest.mark.parametrize(
    "limit",
    [
        'peak_pressure_MPa = { at_most = "case", probability = "95 %" }',
        'peak_pressure_MPa = { at_most = "case" }',
        'peak_pressure_p95_MPa = { at_most = "case" }',
        "pressure_margin_percent = { at_least = 20 }",
    ],
)
def test_justify_neither_keeps_nor_breaks_such_a_limit(
    limit: str, bench: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    old = 'peak_pressure_MPa = { at_most = "case", probability = "95 %" }'
    bench.write_text(BENCH.replace(old, limit), encoding="utf-8")
    command = ["justify", "base", "other", "--bench", "bench.toml", "--draws", "100"]
    assert main([*command, "--no-confirm"]) == 1
    text = words(capsys.readouterr().out)
    assert "CANNOT TELL" in text
    assert FLAT in text
    assert "BROKEN" not in text
    assert main([*command, "--no-confirm", "--json"]) == 1
    held = json.loads(capsys.readouterr().out)["limits"]
    assert held
    for one in (mix for limit in held for mix in limit["mixes"]):
        assert (one["verdict"], one["judged"]) == ("not computed", None)
        assert FLAT in one["reason"]


@pytest.mark.exact
@pytest.mark.slow
def test_search_takes_no_such_mix(
    bench: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Refused where no mix has a pressure, with a limit typed and without."""
    command = ["search", "bench.toml", "--no-confirm"]
    assert main(command) == 2
    error = capsys.readouterr().err
    assert FLAT in error
    assert error.count("\n") == 1
    free = [x for x in BENCH.splitlines(keepends=True) if "peak_pressure" not in x]
    bench.write_text("".join(free), encoding="utf-8")
    assert main(command) == 2  # the rating of the case is a limit of every bench
    assert FLAT in capsys.readouterr().err


@pytest.mark.slow
@pytest.mark.exact
def test_a_limit_is_never_judged_on_such_a_motor(bench: Path) -> None:
    """Also where a search in Python is asked, by the table of its columns."""
    motor = hardware_of(read_bench(bench), load_database())
    need = Requirement(column="peak_pressure_MPa", at_most=6.9, probability=0.95)
    space = {"KNO3": (0.58, 0.62), "sucrose": (0.38, 0.42)}
    with pytest.raises(cs.InputError, match=FLAT):
        cs.search(space, limits=[need], motor=motor, confirm=False)


@pytest.mark.slow
@pytest.mark.exact
def test_learn_says_why(bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
    day = ["--date", "2026-01-02"]
    assert main(shlex.split(SCREENS[-1])) == 0
    weighed = "kind=pan-weight lost=0.8 g"
    assert main(["batch", "add", "2026-01-01-1", *day, "--measured", weighed]) == 0
    assert main(["batch", "close", "2026-01-01-1", *day, "--outcome", "used"]) == 0
    capsys.readouterr()
    assert main(["learn", "--bench", "bench.toml"]) == 0
    assert f"base: no pressure is told, so no margin: the motor {FLAT}" in words(
        capsys.readouterr().out
    )
