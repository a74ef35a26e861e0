"""The delay column as it is used: pages, files, bad input.

All strands, columns and firings here are invented.
"""

from __future__ import annotations

import argparse
import csv
import io
import json
import math
from pathlib import Path

import jsonschema
import numpy as np
import pytest

from castsugar import CastsugarError
from castsugar.bench.world import read
from castsugar.cli.bench_option import as_cooked
from castsugar.cli.delay import add_delay_options, refuse_stray, run_delay
from castsugar.cli.main import main
from castsugar.cli.output import add_output_options
from castsugar.motor.delay_inputs import Thrusting
from castsugar.report.delay import PARTS
from castsugar.report.document import schema_of
from castsugar.static_test import forecast

# Exact: values on the page are compared with straight lines through ln r against ln p,
# computed here by numpy.polyfit, and both phases by hand.
pytestmark = pytest.mark.exact

ATM, PSI = 101325.0, 6894.757293168361  # Pa, NIST SP 811 (2008), appendix B
HEAD = "mix,length_mm,time_s,pressure\n"
SLOW = (
    "slow,40,18.1,ambient\nslow,40,17.4,ambient\nslow,40,18.6,ambient\n"
    "slow,40,17.9,ambient\nslow,40,6.2,2.0 MPa\nslow,40,6.5,2.0 MPa\n"
    "slow,40,6.3,2.0 MPa\nslow,40,6.05,2.2 MPa\n"
)
OPEN_AIR = "air,40,10,ambient\nair,40,10.2,ambient\nair,40,9.9,ambient\n"
#: The column lights with the grain, the pressure falls at once.
AT_ONCE = ("--ignition-lag", "0 s", "--emptying", "0 s")
MOTOR = ("--chamber-pressure", "300 psi", "--burn-time", "1.5 s", *AT_ONCE)
WANTED = ("--delay-time", "6 s", *MOTOR)


def fitted(air: float = ATM, text: str = SLOW) -> tuple[float, float]:
    """Return exponent and ln of the rate at 1 Pa of the slow strands."""
    cells = [line.split(",") for line in text.splitlines()]
    p = [air if c[3] == "ambient" else 1e6 * float(c[3].split()[0]) for c in cells]
    rate = [1e-3 * float(c[1]) / float(c[2]) for c in cells]
    n, log_rate = np.polyfit(np.log(p), np.log(rate), 1)
    return float(n), float(log_rate)


def rate(pressure: float, air: float = ATM) -> float:
    """Return the rate of the slow strands. [m/s]"""
    n, log_rate = fitted(air)
    return math.exp(log_rate) * pressure**n


@pytest.fixture
def run(tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    """Return a function that writes strands, runs the delay and returns its output."""

    def called(
        text: str,
        *words: str,
        thrusting: Thrusting | None = None,
        units: str | None = None,
    ) -> str:
        path = tmp_path / "delay.csv"
        path.write_text(HEAD + text, "utf-8")
        parser = argparse.ArgumentParser(allow_abbrev=False)
        parser.add_argument("--ambient", default="1 atm")
        parser.add_argument("--seed", type=int, default=1)
        add_delay_options(parser)
        add_output_options(parser, without=("cite", "units"))
        options = parser.parse_args(["--delay", "--strands", str(path), *words])
        options.units = units
        assert run_delay(options, thrusting) == 0
        out = capsys.readouterr().out
        if "--json" in words or "--csv" in words:
            return out
        assert all(len(line) <= 80 for line in out.splitlines()[:-1])
        assert "--full" in words or len(out.splitlines()) <= 24
        return " ".join(out.split())

    return called


def test_screen_of_a_wanted_delay(run) -> None:
    """Length, both phases, altitude, doubt and cautions; numbers by hand."""
    page = run(SLOW, *WANTED, "--full")
    thrust, air = rate(300 * PSI), rate(ATM)
    burned, left = 1e3 * thrust * 1.5, 1e3 * air * 6.0
    assert "Delay column of slow for 6.00 s after thrust: strands delay.csv" in page
    assert f"RESULT Cut {burned + left:.1f} mm" in page
    assert f"1.50 {1e3 * thrust:.2f} at 2.07 MPa" in page
    assert f"6.00 {1e3 * air:.2f} at 101 kPa" in page
    # ISO 2533: 97 772.6 Pa at 300 m, by its formula.
    longer = 6.0 * (ATM / 97772.57) ** fitted()[0]
    assert f"300 m above the test place the same column lasts {longer:.2f} s" in page
    for text in (
        "delay wanted: 6 s",
        "chamber pressure: 300 psi absolute",
        "burn time: 1.5 s",
        "air at the test place: 1 atm absolute",
        "8 strands tell; 2048 draws, seed 1",
        "A delay is as good as its strands",
        "local law decides",
        "Least sure: burn law",
    ):
        assert text in page
    half = page.split("Least sure: burn law: ± ")[1].split(" s of the delay")[0]
    assert len(half.replace(".", "").lstrip("0")) <= 2  # digits of an uncertainty
    assert "CAUTION" not in page


def test_screen_of_a_given_length_in_inches(run) -> None:
    """The delay of an inch; the altitude slows it and is flagged; US units."""
    words = ("--delay-length", "1 in", *MOTOR, "--altitude", "1000 m")
    left = 25.4e-3 - rate(300 * PSI) * 1.5
    delay = left / rate(89874.6)  # ISO 2533, 1000 m
    found = json.loads(run(SLOW, *words, "--json"))["delay"]
    assert found["length_mm"] == pytest.approx(25.4)
    assert found["delay_s"] == pytest.approx(delay, rel=1e-4)
    page = run(SLOW, *words, units="us")
    assert "Delay column of slow of 1.00 in" in page
    assert "The delay burns at 13.0 psi, below the lowest tested, 14.7 psi" in page


def test_trace_instead_of_one_pressure(run) -> None:
    """A trace of two steps; its own doubts; a stated doubt replaces them."""
    trace = Thrusting.from_trace(
        [0.0, 1.0, 1.0, 1.5], [2e6, 2e6, 1e6, 1e6], pressure_u=0.02, time_u=0.01
    )
    words = ("--delay-length", "20 mm", "--json", *AT_ONCE)
    found = json.loads(run(SLOW, *words, thrusting=trace))
    burned = rate(2e6) * 1.0 + rate(1e6) * 0.5
    assert found["delay"]["length_burned_during_thrust_mm"] == pytest.approx(
        1e3 * burned, rel=1e-6
    )
    assert found["settings"]["chamber_pressure_relative_uncertainty"] == 0.02
    assert found["settings"]["burn_time_relative_uncertainty"] == 0.01
    more = (*words, "--thrust-uncertainty", "10%", "--length-uncertainty", "0.5 mm")
    wide = json.loads(run(SLOW, *more, thrusting=trace))
    assert wide["settings"]["chamber_pressure_relative_uncertainty"] == 0.1
    assert wide["settings"]["burn_time_relative_uncertainty"] == 0.1
    assert wide["settings"]["length_uncertainty_mm"] == 0.5
    assert wide["delay"]["delay_s_interval"][0] < found["delay"]["delay_s_interval"][0]


def test_json_and_csv_hold_the_same(run) -> None:
    """One schema, one row; the same seed gives the same bytes."""
    text = run(SLOW, *WANTED, "--json")
    found = json.loads(text)
    assert found["schema"] == "castsugar.delay/2"
    jsonschema.validate(found, schema_of("delay", PARTS))
    assert found["file"] == "delay.csv"
    burned, left = rate(300 * PSI) * 1.5, rate(ATM) * 6.0
    delay = found["delay"]
    assert delay["length_mm"] == pytest.approx(1e3 * (burned + left), rel=1e-8)
    for key in ("length_mm", "delay_s"):
        low, high = delay[f"{key}_interval"]
        assert low < delay[key] < high
    assert delay["ambient_pressure_kPa"] == pytest.approx(101.325)
    assert delay["strands"] == 8
    assert delay["status"] == "ok"
    (row,) = csv.DictReader(io.StringIO(run(SLOW, *WANTED, "--csv")))
    assert float(row["delay_s_high"]) == pytest.approx(delay["delay_s_interval"][1])
    assert run(SLOW, *WANTED, "--json") == text
    assert run(SLOW, *WANTED, "--json", "--seed", "2") != text


def test_word_ambient_is_the_test_place(run) -> None:
    """Strands in open air burned at the stated pressure; the page says so."""
    words = ("--delay-length", "25 mm", *MOTOR, "--ambient", "900 mbar")
    left = 25e-3 - rate(300 * PSI, 9e4) * 1.5
    delay = left / rate(9e4, 9e4)
    found = json.loads(run(SLOW, *words, "--json"))["delay"]
    assert found["delay_s"] == pytest.approx(delay)
    page = run(SLOW, *words, "--full")
    assert "strands burned at ambient pressure: at that of the test place" in page


def test_mix_is_chosen_by_name(run) -> None:
    """Only the strands of that mix count."""
    words = ("--strand-mix", "slow", *WANTED, "--csv")
    assert run(SLOW + OPEN_AIR, *words) == run(SLOW, *WANTED, "--csv")


def test_odd_strand_is_told(run) -> None:
    """A strand of twice the rate is an outlier; burnrate shows which."""
    odd = SLOW.replace("slow,40,17.4", "slow,40,8.7")
    assert "1 strand lies far from the law" in run(odd, *WANTED)


def test_through_before_the_end_of_thrust(run) -> None:
    """DO NOT, exit code 0, no false altitude, and how much the thrust phase burns."""
    words = ("--delay-length", "8 mm", *MOTOR)
    page = run(SLOW, *words)
    burned = 1e3 * rate(300 * PSI) * 1.5
    assert "DO NOT use it: at best estimate the column is through" in page
    assert f"which burns {burned:.3g} mm" in page
    assert "above the test place" not in page
    assert "hatever it lights goes off while the motor still pushes" in page
    (row,) = csv.DictReader(io.StringIO(run(SLOW, *words, "--csv")))
    assert row["status"] == "through before the thrust ends"
    assert row["end_after_ignition_s"] == ""


def test_result_goes_to_a_file(run, tmp_path: Path) -> None:
    """Not over another one."""
    out = tmp_path / "delay.txt"
    assert run(SLOW, *WANTED, "-o", str(out)) == ""
    assert "RESULT  Cut" in out.read_text("utf-8")
    with pytest.raises(CastsugarError, match="exists already"):
        run(SLOW, *WANTED, "-o", str(out))


BENCH = """\
[recipes]
"base" = "KNO3:60 powdered sugar:20 corn syrup:20"
[motor]
invented = true
throat = "10.5 mm"
[motor.grain]
outer = "36 mm"
core = "14 mm"
length = "62 mm"
segments = 4
[[motor.burn_law]]
recipe = "base"
strands = "strands.csv"
"""
STRANDS = "length_mm,time_s,pressure_MPa\n50,10,1\n50,8.2,2\n50,9.9,1\n50,8,2\n"
COLUMN = ["firing", "--delay", "--strands", "delay.csv", "--delay-time", "6 s"]


@pytest.fixture
def bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Write a bench file with one recipe and its strands, those of the delay beside."""
    monkeypatch.chdir(tmp_path)
    Path("bench.toml").write_text(BENCH, "utf-8")
    Path("strands.csv").write_text(STRANDS, "utf-8")
    Path("delay.csv").write_text(HEAD + SLOW.replace("2.2 MPa", "3 MPa"), "utf-8")
    return tmp_path


@pytest.mark.slow
@pytest.mark.parametrize("units", ["si", "us"])
def test_the_bench_foresees_pressure_and_burn_time(
    bench: Path, units: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """Those of castsugar's own forecast, with its bands, tied to each other."""
    assert bench.is_dir()
    assert main([*COLUMN, "--units", units]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert len(lines) <= 24
    assert max(map(len, lines[:-1])) <= 80
    page = " ".join(lines)
    assert "strands delay.csv, forecast of base (bench.toml)" in page
    assert "EXAMPLE: invented numbers in bench.toml" in page
    assert "lights 0.05 s after the grain (0 to 0.1, assumed)" in page
    assert "chamber empties in 0.02 s to 1/e (0 to 0.04, assumed)" in page
    assert sum(line.startswith("! ") for line in lines) == 3
    assert main([*COLUMN, "--mix", "base", "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    jsonschema.validate(found, schema_of("delay", PARTS))
    world = read("bench.toml")
    mix = as_cooked(world.mix("base"), world)
    pressure = world.conditions["pressure"]
    told = forecast(mix, world.motor, pressure=pressure, seed=1)  # type: ignore[arg-type]
    delay, settings = found["delay"], found["settings"]
    # Until the web is burnt: the column knows how the chamber empties by itself.
    lasting, course = told.best.time, told.best.pressure
    assert delay["burn_time_s"] == pytest.approx(lasting[-1], rel=1e-6)
    mean = np.trapezoid(course, lasting) / lasting[-1]
    assert delay["mean_chamber_pressure_MPa"] == pytest.approx(1e-6 * mean, rel=1e-3)
    low, high = told.bands["burn_time"]
    assert settings["burn_time_relative_uncertainty"] == pytest.approx(
        math.log(high / low) / 3.92, rel=1e-3
    )
    assert settings["correlation_of_pressure_and_burn_time"] < -0.8
    # The doubt of the forecast is in the band: as if it were sure, it is narrower.
    sure = [*COLUMN, "--thrust-uncertainty", "0 %", "--json"]
    assert main(sure) == 0
    narrow = json.loads(capsys.readouterr().out)["delay"]["delay_s_interval"]
    wide = delay["delay_s_interval"]
    assert wide[0] < narrow[0] < narrow[1] < wide[1]


def test_a_recording_shows_its_own_tail(
    bench: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """2 MPa for 1.5 s, then exp(-t / 0.1 s) from 1000 samples a second."""
    t = np.arange(0.0, 5.0, 1e-3)
    fall = np.exp(-np.clip(t - 2.5, 0.0, None) / 0.1)
    p = np.where((t > 1.0) & (t < 2.5), 1.0, np.where(t >= 2.5, fall, 0.0))
    rows = [f"{a:.3f},{2000.0 * b:.6g}" for a, b in zip(t, p, strict=True)]
    Path("shot.csv").write_text(
        "\n".join(["time (s),pressure (kPa(g))", *rows]), "utf-8"
    )
    words = [*COLUMN[:2], "shot.csv", *COLUMN[2:]]
    assert main([*words, "--json"]) == 0
    delay = json.loads(capsys.readouterr().out)["delay"]
    # From 5 % of the peak, 0.2 MPa with the air, to 1 %: as read, and beyond it little.
    n, log_rate = fitted(text=SLOW.replace("2.2 MPa", "3 MPa"))
    s = np.linspace(0.0, math.log(5.0), 2001)
    p = ATM + 1e5 * np.exp(-s)
    beyond = math.exp(log_rate) * np.trapezoid(p**n - ATM**n, 0.1 * s)
    assert delay["length_burned_in_the_tail_mm"] == pytest.approx(
        1e3 * beyond, rel=0.05
    )
    assert delay["emptying_s"] is None
    assert main([*words, "--emptying", "20 ms"]) == 2
    assert "the trace shows how the chamber empties" in capsys.readouterr().err


def test_a_doubted_recording_is_said_to_be(
    bench: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A sensor that is at its limit of 2 MPa: the column would burn faster."""
    t = np.arange(0.0, 5.0, 1e-3)
    p = np.where((t > 1.0) & (t < 3.0), 1600.0 + 800.0 * np.sin(3.0 * (t - 1.0)), 0.0)
    rows = [f"{a:.3f},{min(b, 2000.0):.6g}" for a, b in zip(t, p, strict=True)]
    Path("shot.csv").write_text(
        "\n".join(["time (s),pressure (kPa(g))", *rows]), "utf-8"
    )
    words = [*COLUMN[:2], "shot.csv", *COLUMN[2:], "--pressure-range", "2 MPa"]
    assert main(words) == 0
    out = " ".join(capsys.readouterr().out.split())
    assert "MISFIT The recording is doubted, and the column with it: the" in out
    assert main([*words, "--json"]) == 0
    first = json.loads(capsys.readouterr().out)["look_again"][0]
    assert first.startswith("the recording is doubted")


@pytest.mark.parametrize(
    ("more", "said"),
    [
        (["--no-bench"], "or --bench FILE with its [motor], which foresees them"),
        (["--mix", "bsae"], "did you mean 'base'"),
        (["--mix", "base", "--burn-time", "2 s"], "--mix is about the forecast"),
        (["--water-lost", "5 %", "--burn-time", "2 s"], "--water-lost is about the"),
        (["--burn-time", "2 s"], "--chamber-pressure is missing; give both"),
        (["--ignition-lag", "-1 s"], "--ignition-lag"),
        (["--throat", "8 mm"], "--throat says nothing of a delay column"),
    ],
)
def test_what_cannot_be_foreseen_is_one_line(
    bench: Path, more: list[str], said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main([*COLUMN, *more]) == 2
    told = capsys.readouterr().err
    assert said in told
    assert told.count("\n") == 1


def test_several_recipes_need_a_name(
    bench: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    text = BENCH.replace("[motor]", '"red" = "KNO3:60 sucrose:40"\n[motor]', 1)
    (bench / "bench.toml").write_text(text, "utf-8")
    assert main(COLUMN) == 2
    assert "add --mix: one of 'base', 'red'" in capsys.readouterr().err


STEADY = Thrusting.constant(2e6, 1.5)
WRONG = {
    "neither": ((*MOTOR,), None, "to find the delay; got neither"),
    "both": ((*WANTED, "--delay-length", "9 mm"), None, "got both"),
    "no motor": (("--delay-time", "6 s"), None, "needs a trace, or both"),
    "half a motor": (
        ("--delay-time", "6 s", "--burn-time", "1 s"),
        None,
        "both --chamber-pressure and --burn-time",
    ),
    "trace and motor": (WANTED, STEADY, "come from the trace; leave out"),
    "two mixes": (WANTED, None, "holds 2 mixes; name the delay mix with --strand-mix"),
    "wrong mix": (
        ("--strand-mix", "slwo", *WANTED),
        None,
        "'slwo'; did you mean 'slow'?",
    ),
    "no law": (
        ("--strand-mix", "air", *WANTED),
        None,
        "no burn law from the strands of 'air': 3 strands at one pressure",
    ),
    "unit": (
        ("--delay-time", "6", "--strand-mix", "slow", *MOTOR),
        None,
        "--delay-time: time '6' has no unit",
    ),
    "zero": (
        ("--delay-time", "0 s", "--strand-mix", "slow", *MOTOR),
        None,
        "--delay-time is 0 s; allowed 0.05 to 120 s",
    ),
    "chamber": (
        ("--strand-mix", "slow", "--delay-time", "6 s"),
        Thrusting.constant(5e6, 1.5),
        "chamber pressure up to 5 MPa lies outside the tested 101.3 kPa to 2.2 MPa",
    ),
    "altitude": (
        ("--strand-mix", "slow", *WANTED, "--altitude", "40000 ft"),
        None,
        "--altitude is 12192 m; allowed -500 to 9000 m",
    ),
}


@pytest.mark.parametrize("case", WRONG)
def test_bad_input(run, case: str) -> None:
    """One line: what, got, allowed or to do."""
    words, thrusting, message = WRONG[case]
    with pytest.raises(CastsugarError) as caught:
        run(SLOW + OPEN_AIR, *words, thrusting=thrusting)
    assert message in str(caught.value)
    assert "\n" not in str(caught.value)


def test_ambient_untested(run) -> None:
    """Strands in numbers do not move with --ambient."""
    text = SLOW.replace("ambient", "0.101 MPa")
    with pytest.raises(CastsugarError, match="burn strands in open air"):
        run(text, *WANTED, "--ambient", "850 mbar")


def test_options_need_each_other() -> None:
    """--delay needs strands; the others need --delay."""
    parser = argparse.ArgumentParser(allow_abbrev=False)
    parser.add_argument("--ambient", default="1 atm")
    parser.add_argument("--seed", type=int, default=1)
    add_delay_options(parser)
    add_output_options(parser, without=("cite", "units"))
    refuse_stray(parser.parse_args([]))
    refuse_stray(parser.parse_args(["--delay", "--altitude", "300 m"]))
    with pytest.raises(CastsugarError, match="--altitude is about the delay column"):
        refuse_stray(parser.parse_args(["--altitude", "300 m"]))
    with pytest.raises(CastsugarError, match="--delay needs --strands FILE"):
        run_delay(parser.parse_args(["--delay", *WANTED]), None)
    assert "delay column" in parser.format_help()


def test_a_place_below_the_sea_can_be_typed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """With and without a blank or a sign of equality; in a bench file, too."""
    monkeypatch.chdir(tmp_path)
    Path("slow.csv").write_text(HEAD + SLOW, "utf-8")
    delay = ["firing", "--no-bench", "--delay", "--strands", "slow.csv", *WANTED]
    told = set()
    for typed in ("--altitude|-400m", "--altitude|-400 m", "--altitude=-400m"):
        assert main([*delay, *typed.split("|")]) == 0
        told.add(capsys.readouterr().out.rpartition("Next: ")[0])
    assert len(told) == 1
    assert main([*delay, "--altitude", "-501m"]) == 2
    assert "allowed -500 to 9000 m" in capsys.readouterr().err
    text = '[kitchen]\naltitude = "-400 m"\ncook = "119 C 8 min"\n'
    Path("bench.toml").write_text(text, "utf-8")
    kitchen = read("bench.toml").kitchen
    assert kitchen is not None
    # ISO 2533, 288.15 K and 6.5 K/km at the sea: 101325 Pa x (1 + 2.6 / 288.15)^5.2559.
    assert kitchen.air_pressure == pytest.approx(106223.0, rel=1e-4)
