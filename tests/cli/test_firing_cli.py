"""``castsugar firing`` as it is used: pages, files, pictures, bad input.

All recordings here are invented.
"""

from __future__ import annotations

import csv
import io
import json
import math
import re
import shlex
import xml.etree.ElementTree as ET
from pathlib import Path

import jsonschema
import numpy as np
import pytest

from castsugar.cli.main import main
from castsugar.report.document import schema_of
from castsugar.report.firing_rows import PARTS

# Exact: a trapezoid of pressure and thrust has an area that is known by hand.
pytestmark = pytest.mark.exact

MIX = "KNO3:65 sucrose:35"
STAND = ["--throat", "8 mm", "--throat-after", "8 mm", "--propellant-mass", "100 g"]
#: Quiet to 0.5 s, up in 0.1 s, level for 1 s, down in 0.1 s, quiet to 3.5 s.
LEVEL = 2.0e6  # Pa over ambient
PUSH = 100.0  # N

BENCH = """\
[motor]
throat = "8 mm"
[motor.grain]
outer = "32 mm"
core = "12 mm"
length = "80 mm"
[[motor.burn_law]]
borrowed = "sucrose 65/35"
"""


def course(t: np.ndarray) -> np.ndarray:
    """Return the trapezoid, from 0 to 1."""
    return np.interp(t, [0.5, 0.6, 1.6, 1.7], [0.0, 1.0, 1.0, 0.0])


def trapezoid(
    head: str = "time (s),pressure (kPa(g)),thrust (N)",
    scale: tuple[float, float] = (1.0, 1.0),
) -> str:
    """Write the trapezoid with 1000 samples a second."""
    t = np.arange(0.0, 3.5, 1e-3)
    y = course(t)
    lines = [head]
    for time, value in zip(t, y, strict=True):
        p, f = scale[0] * 1e-3 * LEVEL * value, scale[1] * PUSH * value
        lines.append(f"{time:.3f},{p:.10g},{f:.10g}")
    return "\n".join(lines) + "\n"


@pytest.fixture
def shot(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Write the trapezoid and a bench file into the working folder."""
    monkeypatch.chdir(tmp_path)
    path = tmp_path / "shot.csv"
    path.write_text(trapezoid(), "utf-8")
    (tmp_path / "bench.toml").write_text(BENCH, "utf-8")
    return path


def answered(words: list[str], capsys: pytest.CaptureFixture[str]) -> str:
    """Run a command that must end well and return what it prints."""
    assert main(["firing", *words]) == 0
    return capsys.readouterr().out


def flat(page: str) -> str:
    """Return a page on one line."""
    return " ".join(page.split())


def complaint(words: list[str], capsys: pytest.CaptureFixture[str]) -> str:
    """Run a command that must be refused and return its one line."""
    assert main(["firing", *words]) == 2
    printed = capsys.readouterr()
    assert printed.out == ""
    last = printed.err.strip().splitlines()[-1]
    assert last.startswith("castsugar: ")
    return last


def test_json_holds_the_area_by_hand(
    shot: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The limits cut 5 % off each flank: area 1.1 - 2 (0.05 * 0.005 / 2), by hand."""
    document = json.loads(answered(["shot.csv", *STAND, "--json"], capsys))
    assert document["schema"] == "castsugar.firing/2"
    area = 1.1 - 2.0 * 0.5 * 0.05 * 0.005
    lasting = 1.2 - 2.0 * 0.005
    push = LEVEL * area + 101325.0 * lasting
    velocity = 0.25 * math.pi * 0.008**2 * push / 0.1
    jsonschema.validate(document, schema_of("firing", PARTS))
    row = document["firing"]
    assert row["characteristic_velocity_m_s"] == pytest.approx(velocity, rel=1e-6)
    assert row["total_impulse_N_s"] == pytest.approx(PUSH * area, rel=1e-6)
    assert row["burn_time_s"] == pytest.approx(lasting, rel=1e-6)


def test_page_and_row_say_the_same(
    shot: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Text, CSV and JSON of one firing carry the same c* and the same letter."""
    words = ["shot.csv", *STAND]
    page = answered(words, capsys)
    (row,) = csv.DictReader(io.StringIO(answered([*words, "--csv"], capsys)))
    document = json.loads(answered([*words, "--json"], capsys))
    value = document["firing"]["characteristic_velocity_m_s"]
    assert float(row["characteristic_velocity_m_s"]) == pytest.approx(value, rel=1e-9)
    assert f"{value:.0f}" in page
    # 110 N s lies between 80 and 160: G.
    assert row["impulse_letter"] == "G"
    assert len(page.splitlines()) <= 24
    assert any("Ignite electrically" in text for text in document["cautions"])


@pytest.mark.slow
def test_mix_and_motor_give_efficiency_and_law(
    shot: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """With a mix and a motor the page judges; the picture is a drawing."""
    words = ["shot.csv", *STAND, "--mix", MIX, "--bench", "bench.toml"]
    page = answered([*words, "--picture", "shot.svg"], capsys)
    assert "A c* of 1170 m/s is not possible" in " ".join(page.split())
    assert "RESULT" not in page
    assert "predicted" in page
    full = answered([*words, "--full"], capsys)
    assert "Burning-rate law of this firing" in full
    assert all(len(line) <= 80 for line in full.splitlines()[:-1])
    drawing = ET.parse("shot.svg").getroot()
    assert drawing.tag.endswith("svg")
    assert "predicted" in Path("shot.svg").read_text("utf-8")
    assert main(["firing", *words, "--picture", "shot.svg"]) == 2  # never overwritten


@pytest.mark.slow
def test_a_picture_beside_invented_numbers_says_so(
    shot: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """As the screen does; and what is next may be run as it stands."""
    bench = BENCH.replace("[motor]\n", "[motor]\ninvented = true\n", 1)
    Path("bench.toml").write_text(bench, "utf-8")
    words = ["shot.csv", *STAND, "--mix", MIX, "--bench", "bench.toml"]
    page = answered([*words, "--picture", "shot.svg", "--page", "shot.html"], capsys)
    assert page.splitlines()[1].startswith("EXAMPLE")
    for file in ("shot.svg", "shot.html"):
        assert "EXAMPLE, invented: Static test" in Path(file).read_text("utf-8")
    last = page.splitlines()[-1]
    assert last.startswith("Next: castsugar firing shot.csv")  # it teaches nothing
    assert main(shlex.split(last.removeprefix("Next: castsugar "))) == 0


def test_a_range_that_was_stated_is_not_asked_for(
    shot: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Pressure alone: saturation cannot be excluded, with the range and without."""
    rows = Path("shot.csv").read_text("utf-8").splitlines()
    alone = "\n".join(row.rsplit(",", 1)[0] for row in rows)
    Path("alone.csv").write_text(alone, "utf-8")
    said = flat(answered(["alone.csv", *STAND], capsys))
    assert "what is the range of the pressure sensor (--pressure-range)?" in said
    known = ["--pressure-range", "10 MPa"]
    said = flat(answered(["alone.csv", *STAND, *known], capsys))
    assert "CANNOT TELL Saturation cannot be excluded without a thrust" in said
    assert "what is the range" not in said


@pytest.mark.slow
def test_the_same_recording_gives_the_same_bytes(
    shot: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Page and picture, without mix and motor."""
    for name in ("one.svg", "two.svg"):
        answered(["shot.csv", *STAND, "--picture", name], capsys)
    assert Path("one.svg").read_bytes() == Path("two.svg").read_bytes()


@pytest.mark.slow
def test_unlikely_efficiency_is_explained(
    shot: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """c* of 1178 m/s and of 590 m/s are faults of measuring, not motors."""
    words = ["shot.csv", "--throat", "8 mm", "--mix", MIX]
    high = answered([*words, "--propellant-mass", "100 g", "--full"], capsys)
    assert "no motor delivers more than its" in " ".join(high.split())
    low = answered([*words, "--propellant-mass", "200 g"], capsys)
    assert "MISFIT An efficiency of 0.63" in " ".join(low.split())
    assert "is very low" in " ".join(low.split())


def test_volts_with_calibration_are_a_pressure(
    shot: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The same firing in volts, 1 V for 500 kPa and for 20 N, gives the same c*."""
    volts = trapezoid("time (s),pressure (V),thrust (V)", (1 / 500.0, 1 / 20.0))
    Path("volts.csv").write_text(volts, "utf-8")
    words = ["--pressure-per-volt", "500 kPa", "--thrust-per-volt", "20 N"]
    found = [
        json.loads(answered([*w, *STAND, "--json"], capsys))["firing"]
        for w in (["shot.csv"], ["volts.csv", *words])
    ]
    for name in ("characteristic_velocity_m_s", "total_impulse_N_s"):
        first, second = (f[name] for f in found)
        assert first == pytest.approx(second, rel=1e-8)


def test_sensor_at_its_limit_gives_lower_limits(
    shot: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A level at the highest reading of the sensor is no peak."""
    page = answered(["shot.csv", *STAND, "--pressure-range", "2 MPa(g)"], capsys)
    assert "at least" in page


def test_thrust_alone_needs_no_throat(
    shot: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Impulse and specific impulse come from thrust and mass alone."""
    cells = [row.split(",") for row in trapezoid().splitlines()[1:]]
    lines = [f"{time},{thrust}" for time, _, thrust in cells]
    Path("thrust.csv").write_text("time (s),thrust (N)\n" + "\n".join(lines), "utf-8")
    page = answered(["thrust.csv", "--propellant-mass", "100 g"], capsys)
    assert "total impulse, N s" in page
    assert "delivered Isp" in page


def test_delay_from_a_recording(shot: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The column burns by the recorded pressure: 5 mm/s (p / 1 MPa)^0.3, by hand."""
    rows = ["length_mm,time_s,pressure_MPa"]
    pressures = (0.1, 0.1, 0.1, 2.0, 2.0, 2.0)
    rows += [f"50,{50.0 / (5.0 * p**0.3):.9f},{p}" for p in pressures]
    Path("delay.csv").write_text("\n".join(rows) + "\n", "utf-8")
    words = ["shot.csv", "--delay", "--strands", "delay.csv", "--delay-time", "6 s"]
    words += ["--ignition-lag", "0 s"]
    document = json.loads(answered([*words, "--json"], capsys))
    t = np.linspace(0.505, 1.695, 20001)
    under = np.trapezoid(5.0 * (1e-6 * (LEVEL * course(t) + 101325.0)) ** 0.3, t)
    after = 5.0 * 0.101325**0.3 * 6.0
    length = document["delay"]["length_mm"]
    assert length == pytest.approx(under + after, rel=1e-3)


def swapped(lines: list[str], i: int) -> list[str]:
    """Return lines with two neighbours exchanged."""
    return [*lines[:i], lines[i + 1], lines[i], *lines[i + 2 :]]


BAD = {
    "time going backwards": (lambda r: swapped(r, 900), STAND, "time goes back"),
    "duplicate sample": (lambda r: [*r[:900], r[899], *r[900:]], STAND, "same time"),
    "no burn": (lambda r: [*r[:480], *r[1800:]], STAND, "no burning found"),
    "starts late": (lambda r: [r[0], *r[1000:]], STAND, "starts during the burning"),
    "mass missing": (
        lambda r: r,
        [*STAND[:4], "--mass-uncertainty", "1 g"],
        "add --propellant-mass",
    ),
    "gauge or absolute": (
        lambda r: ["time (s),pressure (kPa),thrust (N)", *r[1:]],
        STAND,
        "--pressure-is gauge",
    ),
    "volts": (
        lambda r: ["time (s),pressure (V),thrust (N)", *r[1:]],
        STAND,
        "--pressure-per-volt",
    ),
    "upside down": (
        lambda r: [
            r[0],
            *(",".join([*x.split(",")[:2], "-" + x.split(",")[2]]) for x in r[1:]),
        ],
        STAND,
        "--invert-thrust",
    ),
}


@pytest.mark.parametrize("case", BAD)
def test_bad_input_is_one_line_and_the_plot_is_offered(
    case: str, shot: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Refused with one line and exit code 2; what was read can be drawn."""
    change, words, meaning = BAD[case]
    rows = change(trapezoid().strip().splitlines())
    Path("bad.csv").write_text("\n".join(rows) + "\n", "utf-8")
    line = complaint(["bad.csv", *words], capsys)
    assert meaning in line
    assert "--picture FILE draws what was read" in line
    if case not in ("time going backwards", "no burn", "volts"):
        return  # what is drawn does not hang on what is wrong
    line = complaint(["bad.csv", *words, "--picture", "read.svg"], capsys)
    assert meaning in line
    assert "read.svg shows what was read" in line
    assert ET.parse("read.svg").getroot().tag.endswith("svg")


def test_options_that_do_not_belong(
    shot: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """No file, no mix for its water, delay words without --delay."""
    assert "FILE" in complaint([*STAND], capsys)
    line = complaint(["shot.csv", *STAND, "--water-lost", "0.2"], capsys)
    assert "--mix" in line
    line = complaint(["shot.csv", *STAND, "--delay-time", "6 s"], capsys)
    assert "--delay" in line
    line = complaint(["shot.csv", "--delay", "--mix", MIX], capsys)
    assert "--mix is about the forecast of the bench file" in line
    line = complaint(["nowhere.csv", *STAND], capsys)
    assert "nowhere.csv" in line


@pytest.mark.parametrize(
    ("words", "fault"),
    [
        (["--throat", "8 mm", "--propellant-mass", "10 kg"], "c\\* of 11.7"),
        (["--throat", "7 in", "--propellant-mass", "100 g"], "c\\* of"),
    ],
)
def test_what_no_motor_can_do_is_said_without_a_mix(
    words: list[str],
    fault: str,
    shot: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Kilograms for grams, inches for millimetres: 11.7 m/s and 580,000 m/s by hand."""
    page = " ".join(
        answered(
            ["shot.csv", *words, "--bench", "bench.toml", "--full"], capsys
        ).split()
    )
    assert re.search(fault, page)
    assert "is not possible" in page
    assert "the recording is not understood" in page


def two_ports(right: np.ndarray) -> str:
    """Write the trapezoid of the left port beside what stands at the right one."""
    head = "Logger 7\nTime;Pressure left;Pressure right;Thrust\ns;kPa(g);kPa(g);N\n"
    t = np.arange(0.0, 3.5, 1e-3)
    rows = zip(t, course(t), right, strict=True)
    return head + "".join(
        f"{a:.3f};{1e-3 * LEVEL * p:.10g};{1e-3 * LEVEL * q:.10g};{PUSH * p:.10g}\n"
        for a, p, q in rows
    )


@pytest.mark.slow
def test_two_pressure_sensors_that_agree_are_averaged(
    shot: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """3 % apart is allowed: ln 1.03 = 0.0296 < 2.33 * 0.01 * sqrt(2) = 0.0330, by hand.

    Twice 1 % is 1 % / sqrt(2) of the mean; integrals add.
    """
    t = np.arange(0.0, 3.5, 1e-3)
    Path("two.csv").write_text(two_ports(1.03 * course(t)), "utf-8")
    one = json.loads(answered(["shot.csv", *STAND, "--json"], capsys))["firing"]
    document = json.loads(answered(["two.csv", *STAND, "--json"], capsys))
    two = document["firing"]
    assert two["peak_pressure_MPa"] == pytest.approx(2.0 * 1.015 + 0.101325, rel=1e-9)
    assert two["pressure_calibration_relative_uncertainty"] == pytest.approx(
        0.01 / math.sqrt(2.0), rel=1e-9
    )
    assert two["total_impulse_N_s"] == one["total_impulse_N_s"]
    told = " ".join(document["assumptions"])
    assert "mean of Pressure left (kPa(g)) and Pressure right (kPa(g))" in told
    assert "1 line above the header left out, the first 'Logger 7'" in told
    words = ["--pressure-calibration", "0.5%"]
    line = complaint(["two.csv", *STAND, *words], capsys)
    assert "by more than the allowed 1.6 %" in line


@pytest.mark.slow
def test_two_pressure_sensors_that_disagree_give_nothing(
    shot: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Each way to differ, by hand: 4 % less; a first-order lag of 0.1 s; heat; none.

    A first-order lag: lag * dq/dt = p - q, integrated by steps of 1 ms.
    """
    t = np.arange(0.0, 3.5, 1e-3)
    p, burning = course(t), np.clip((t - 0.5) / 1.2, 0.0, 1.0)
    slow = np.zeros_like(p)
    for i in range(1, len(t)):
        slow[i] = p[i] + (slow[i - 1] - p[i]) * math.exp(-1e-3 / 0.1)
    warm = np.where(t < 1.7, np.sqrt(burning), np.exp(-(t - 1.7) / 0.3))
    right = "; 'Pressure right (kPa(g))'"
    for other, meaning in (
        (
            0.96 * p,
            f"the allowed 3.3 %{right} reads 4 % less throughout (a calibration",
        ),
        (slow, f"{right} follows 0.1 s late (a slow sensor"),
        (p + 0.2 * warm, f"{right} reads more and more (a sensor that warms"),
        (0.0 * p, f"{right} reads 100 % less throughout (a calibration or a blocked"),
        (
            p * (1.0 - 0.5 * np.sin(20.0 * t)),
            "differ by more than 10 % of the peak for ",
        ),
    ):
        Path("two.csv").write_text(two_ports(other), "utf-8")
        line = complaint(["two.csv", *STAND], capsys)
        assert meaning in line
        first = "'Pressure left (kPa(g))' (peak 2 MPa, integral 2.2 MPa s)"
        assert f"two.csv: {first}" in line
        assert "neither is taken alone" in line
    complaint(["two.csv", *STAND, "--picture", "read.svg"], capsys)
    assert "second pressure as read" in Path("read.svg").read_text("utf-8")


def ideal_coefficient(ratio: float, over: float, k: float = 1.13) -> float:
    """Return the thrust coefficient of an ideal nozzle that flows full.

    Sutton & Biblarz, Rocket Propulsion Elements, ch. 3, from memory: eps(p_e/p_0) and
    C_F. `over` is chamber over air pressure.
    """
    e = np.geomspace(1e-3, 0.5, 200_001)
    away = np.sqrt((k + 1) / (k - 1) * (1 - e ** ((k - 1) / k)))
    eps = 1 / (((k + 1) / 2) ** (1 / (k - 1)) * e ** (1 / k) * away)
    e = float(np.interp(-ratio, -eps, e))
    first = 2 * k**2 / (k - 1) * (2 / (k + 1)) ** ((k + 1) / (k - 1))
    return math.sqrt(first * (1 - e ** ((k - 1) / k))) + (e - 1 / over) * ratio


def test_the_thrust_names_the_likelier_of_two_sensors(
    shot: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A throat at which 100 N are 0.92 of what the left port lets an ideal nozzle make.

    By the right one, 20 % more, less than 0.8; without the exit nothing is named.
    """
    t = np.arange(0.0, 3.5, 1e-3)
    Path("two.csv").write_text(two_ports(1.2 * course(t)), "utf-8")
    pressure = LEVEL + 101325.0
    made = 0.92 * ideal_coefficient(5.0, pressure / 101325.0) * pressure
    throat = 1e3 * math.sqrt(4.0 * PUSH / (math.pi * made))
    sizes = ["--throat", f"{throat:.5f} mm", "--throat-after", f"{throat:.5f} mm"]
    words = ["two.csv", *sizes, "--propellant-mass", "100 g"]
    assert "likelier" not in complaint(words, capsys)
    line = complaint([*words, "--exit", f"{math.sqrt(5.0) * throat:.5f} mm"], capsys)
    assert (
        "by the thrust 'Pressure left (kPa(g))' is the likelier: nozzle efficiency "
        "0.92, by the other 0.7" in line
    )


@pytest.mark.slow
def test_what_the_file_does_not_say_is_an_option(
    shot: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """No times and a thrust in kilograms: the same impulse, 9.80665 N a kilogram."""
    text = trapezoid("kPa(g),kg", (1.0, 1.0 / 9.80665))
    rows = [line.split(",")[1:] for line in text.splitlines()[1:]]
    head = "Druck (kPa(g));Schub (kg)\n"
    Path("kg.csv").write_text(head + "\n".join(map(";".join, rows)), "utf-8")
    assert "--kilograms-are-force" in complaint(["kg.csv", *STAND], capsys)
    words = ["kg.csv", *STAND, "--kilograms-are-force"]
    assert "--sampling-rate" in complaint(words, capsys)
    words += ["--sampling-rate", "1000 /s"]
    assert "--time-unit and" in complaint([*words, "--time-unit", "ms"], capsys)
    document = json.loads(answered([*words, "--json"], capsys))
    one = json.loads(answered(["shot.csv", *STAND, "--json"], capsys))["firing"]
    two = document["firing"]
    for name in ("total_impulse_N_s", "burn_time_s", "peak_pressure_MPa"):
        assert two[name] == pytest.approx(one[name], rel=1e-8)
    told = " ".join(document["assumptions"])
    assert "rows timed by count at 1000 /s" in told
    assert "'Schub (kg)' taken as kgf" in told


def test_two_clocks(shot: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A thrust 0.3 s late is seen; the rule is 5 % of 1.2 s."""
    t = np.arange(0.0, 3.5, 1e-3)
    rows = zip(t, course(t), course(t - 0.3), strict=True)
    lines = [f"{a:.3f},{1e-3 * LEVEL * p:.6g},{PUSH * f:.6g}" for a, p, f in rows]
    text = "time (s),pressure (kPa(g)),thrust (N)\n" + "\n".join(lines) + "\n"
    Path("late.csv").write_text(text, "utf-8")
    page = " ".join(answered(["late.csv", *STAND, "--full"], capsys).split())
    assert "the pressure starts 0.3 s before its thrust" in page


def test_igniter_and_lag_are_taken_into_account(
    shot: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """An igniter of 10 g counts as 9 g of propellant: c* falls to 100 / 109.

    A lag of 20 ms makes the ramps earlier by as much, and says so.
    """
    plain = json.loads(answered([str(shot), *STAND, "--json"], capsys))["firing"]
    more = ["--igniter-mass", "10 g", "--pressure-lag", "20 ms"]
    document = json.loads(answered([str(shot), *STAND, *more, "--json"], capsys))
    row = document["firing"]
    assert row["igniter_mass_g"] == pytest.approx(10.0)
    assert row["pressure_lag_s"] == pytest.approx(0.02)
    ratio = row["characteristic_velocity_m_s"] / plain["characteristic_velocity_m_s"]
    assert ratio == pytest.approx(100.0 / 109.0, rel=2e-3)
    assert row["specific_impulse_s"] < plain["specific_impulse_s"]
    early = plain["burning_end_s"] - row["burning_end_s"]
    assert early == pytest.approx(0.02, abs=3e-3)
    assert any("lag of the sensor, 20 ms" in text for text in document["assumptions"])
    page = answered([str(shot), *STAND, *more], capsys)
    assert "igniter 10 g, lag of the pressure sensor 20 ms taken off" in flat(page)
    said = complaint([str(shot), *STAND, "--igniter-mass", "2 kg"], capsys)
    assert "igniter" in said


def test_volume_of_the_case(shot: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Case 100 ml, grain pi/4 (3.2^2 - 1.2^2) 8 = 55.3 ml: 44.7 ml of gas.

    A case smaller than the grain is refused, a wrong name gets the right one.
    """
    bench = shot.parent / "bench.toml"
    time = np.arange(0.0, 3.5, 1e-3)
    hump = np.interp(time, [0.5, 0.6, 1.1, 1.6, 1.7], [0.0, 0.8, 1.0, 0.85, 0.0])
    rows = [f"{t:.3f},{2e3 * y:.6g}" for t, y in zip(time, hump, strict=True)]
    shot.write_text("\n".join(["time (s),pressure (kPa(g))", *rows]), "utf-8")
    stand = [*STAND[:-1], "140 g"]
    words = [str(shot), *stand, "--bench", str(bench), "--full"]
    assert "state case_volume in [motor]" in flat(answered(words, capsys))
    for typed, says in (
        ('case_volume = "100 ml"', "in 44.7 ml of free volume"),
        ('case_volume = "50 ml"', "the case holds 50 ml, the grain alone takes 55.29"),
        ('case_volum = "100 ml"', "did you mean 'case_volume'?"),
        ('case_volume = "100 mm"', "volume"),
    ):
        head = f"[motor]\n{typed}\n"
        bench.write_text(BENCH.replace("[motor]\n", head, 1), "utf-8")
        if "free volume" in says:
            assert says in flat(answered(words, capsys))
        else:
            assert says in complaint(words, capsys)
