"""``castsugar firing --frames`` as it is used. The firing is invented."""

from __future__ import annotations

import csv
import io
import json
import math
import re
import shlex
import tomllib
from pathlib import Path

import jsonschema
import pytest

from castsugar.bench.bench import read_bench
from castsugar.bench.motor import hardware_of
from castsugar.cli.main import main
from castsugar.data.load import load_database
from castsugar.motor.burn_evidence import FIRING
from castsugar.report.document import schema_of
from castsugar.report.firing_rows import FIELDS, PARTS

# Exact: what is typed is worked out by hand; text against text.
pytestmark = pytest.mark.exact

MIX = "KNO3:65 sucrose:35"
FRAMES = ["firing", "--frames", "first=12 last=72 rate=30"]
STAND = ["--throat", "8 mm", "--throat-after", "8 mm", "--propellant-mass", "100 g"]
BENCH = """\
[motor]
throat = "8 mm"
[motor.grain]
invented = true
outer = "32 mm"
core = "12 mm"
length = "80 mm"
[motor.case]
rated_pressure = "1000 psi"
[[motor.burn_law]]
borrowed = "sucrose 65/35"
"""


@pytest.fixture(autouse=True)
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    Path("motor.toml").write_text(BENCH, "utf-8")
    return tmp_path


def printed(words: list[str], capsys: pytest.CaptureFixture[str], code: int = 0) -> str:
    assert main(words) == code
    found = capsys.readouterr()
    return found.out if code == 0 else found.err


@pytest.mark.slow
@pytest.mark.parametrize(
    "more", [[], ["--mix", MIX], ["--mix", MIX, "--bench", "motor.toml",
                                  "--peak-scale", "2.1 kgf"]]
)  # fmt: skip
def test_the_screen_fits(more: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    out = printed([*FRAMES, *STAND, *more], capsys)
    lines = out.splitlines()
    assert len(lines) <= 24
    assert max(map(len, lines[:-1])) <= 80
    assert "Not told: " in out
    never = "peak pressure, delivered c*, impulse, exponent (a video has no sensor)."
    assert never in re.sub(r"\s+", " ", out)
    assert "! " in out  # its cautions
    assert lines[-1].startswith("Next: castsugar firing --frames")
    assert main(shlex.split(lines[-1].removeprefix("Next: castsugar "))) == 0
    if "--bench" in more:
        assert "a pressure sensor" not in re.sub(r"\s+", " ", out)
        assert out.splitlines()[1].startswith("EXAMPLE")
        assert "at least" in out  # of the scale


def test_a_grain_that_nobody_measured_is_said_without_a_mix(
    capsys: pytest.CaptureFixture[str],
) -> None:
    out = printed([*FRAMES, *STAND, "--bench", "motor.toml"], capsys)
    assert "mean burning rate" in out
    assert out.splitlines()[1].startswith("EXAMPLE")


@pytest.mark.slow
def test_json_and_csv_have_the_columns_of_a_recording(
    capsys: pytest.CaptureFixture[str],
) -> None:
    words = [*FRAMES, *STAND, "--mix", MIX, "--bench", "motor.toml"]
    document = json.loads(printed([*words, "--json"], capsys))
    jsonschema.validate(document, schema_of("firing", PARTS))
    row = document["firing"]
    assert row["timed_by"] == "frames first=12 last=72 rate=30"
    assert (row["burn_time_s"], row["mass_flow_g_s"]) == (2.0, pytest.approx(50.0))
    assert row["mean_rate_mm_s"] == pytest.approx(5.0)  # web of 10 mm in 2 s
    assert row["law_centre_pressure_MPa"] == row["mean_pressure_MPa"]
    for name in ("peak_pressure_MPa", "law_exponent", "characteristic_velocity_m_s"):
        assert row[name] is None
    low, high = row["mean_pressure_MPa_interval"]
    assert low < row["mean_pressure_MPa"] < high
    assert set(document["not_told"]) == {
        "peak pressure", "delivered c*", "impulse", "exponent",
    }  # fmt: skip
    (table,) = csv.DictReader(io.StringIO(printed([*words, "--csv"], capsys)))
    assert list(table)[: len(FIELDS)] == [one.key for one in FIELDS][: len(table)]
    assert table["total_impulse_N_s"] in ("", "NaN", "nan")


@pytest.mark.slow
def test_its_row_can_be_pasted(capsys: pytest.CaptureFixture[str]) -> None:
    """The lines of --full, in either system of units, are a firing of the bench."""
    words = [*FRAMES, *STAND, "--mix", MIX, "--bench", "motor.toml", "--full"]
    learnt = []
    for units in ("si", "us"):
        out = printed([*words, "--units", units], capsys)
        lines = re.search(r"^\[\[motor\.firing\]\]\n(.+\n)+?$", out, re.MULTILINE)
        assert lines is not None
        Path("own.toml").write_text(f"{BENCH}{lines[0]}", "utf-8")
        (entry,) = tomllib.loads(Path("own.toml").read_text("utf-8"))["motor"]["firing"]
        assert entry["source"] == "frames first=12 last=72 rate=30"
        hardware = hardware_of(read_bench(Path("own.toml")), load_database())
        (one,) = (e for e in hardware.burning.evidence if e.kind == FIRING)
        learnt.append(one)
        assert 0.03 < one.shared_u <= one.log_rate_u < 0.08
    first, other = learnt
    assert math.log(first.rate[0] / other.rate[0]) == pytest.approx(0.0, abs=1e-3)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ([*FRAMES[:2], "first=72 last=12 rate=30", *STAND], "first < last"),
        ([*FRAMES[:2], "first=12 last=72", *STAND], "rate missing"),
        ([*FRAMES[:2], "first=12 last=72 rte=30", *STAND], "did you mean 'rate'"),
        ([*FRAMES[:2], "first=12 last=15 rate=30", *STAND], "record its pressure"),
        ([*FRAMES, *STAND[:4]], "propellant mass is missing"),
        ([*FRAMES, *STAND[4:], "--mix", MIX], "throat diameter is missing"),
        ([*FRAMES, *STAND, "shot.csv"], "the recording or the frames, not both"),
        ([*FRAMES, *STAND, "--threshold", "10%"], "--threshold is about a recording"),
        ([*FRAMES, *STAND, "--zero", "as-read"], "--zero is about a recording"),
        ([*FRAMES, *STAND, "--pressure-is", "gauge"], "--pressure-is is about a"),
        ([*FRAMES, *STAND, "--invert-thrust"], "--invert-thrust is about a recording"),
        ([*FRAMES, *STAND, "--picture", "x.svg"], "--picture is about a recording"),
        ([*FRAMES, *STAND, "--peak-scale", "2.1 kg"], "did you mean 'kgf'"),
        (["firing", *STAND, "--peak-scale", "2 kgf"], "--peak-scale needs --frames"),
        ([*FRAMES, "--delay"], "--frames says nothing of a delay column"),
        (["firing", *STAND], "name its FILE (CSV), or --frames of a video"),
    ],
)
def test_what_is_wrong_is_one_line(
    words: list[str], said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    told = printed(words, capsys, 2)
    assert said in told
    assert told.count("\n") == 1


@pytest.mark.slow
def test_a_batch_keeps_it_and_learns_its_rate(
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Kept without a file, told in the list, learnt once, the shared part with it."""
    Path("bench.toml").write_text(BENCH, "utf-8")
    identity = "2026-05-02-1"
    day = ["--date", "2026-05-02"]
    assert main(["batch", "new", MIX, "--batch", "200 g", *day]) == 0
    film = [*FRAMES[1:], *STAND]
    assert main(["batch", "add", identity, *film, *day]) == 0
    assert main(["batch", "close", identity, "--outcome", "used", *day]) == 0
    capsys.readouterr()
    shown = printed(["batch", "show", identity], capsys)
    assert "fired frames first=12 last=72 rate=30" in re.sub(r"\s+", " ", shown)
    assert "changed" not in shown
    for _ in range(2):
        assert main(["learn", "--save"]) == 0
    text = Path("bench.toml").read_text("utf-8")
    (entry,) = tomllib.loads(text)["motor"]["firing"]
    assert entry["source"] == "frames first=12 last=72 rate=30"
    assert (entry["batch"], entry["date"]) == (identity, "2026-05-02")
    assert "c_star_efficiency" not in entry
    assert float(entry["rate_u_shared"].split()[0]) > 3.0


@pytest.mark.slow
def test_a_burn_time_as_wide_as_it_is_may_still_agree(
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Outside what was predicted, but not with its own band: nobody can tell."""
    words = [*STAND, "--mix", MIX, "--bench", "motor.toml", "--json"]

    def verdict(last: float) -> tuple[str, list[float], list[float]]:
        film = ["firing", "--frames", f"first=0 last={last:.0f} rate=30"]
        found = json.loads(printed([*film, *words], capsys))
        findings = (one for one in found["findings"] if "burn_time_s" in one["values"])
        row, bands = found["firing"], ("burn_time_s", "expected_burn_time_s")
        own, wanted = (row[f"{name}_interval"] for name in bands)
        return next(findings)["status"], own, wanted

    _, _, (least, most) = verdict(45)
    assert verdict(30 * math.sqrt(least * most))[0] == "INSIDE"
    status, own, wanted = verdict(30 * most + 2)
    assert own[0] < wanted[1] < own[1]
    assert status == "CANNOT TELL"
    status, own, wanted = verdict(60 * most)
    assert own[0] > wanted[1]
    assert status == "OUTSIDE"


@pytest.mark.slow
def test_a_mass_that_the_grain_cannot_have_is_a_misfit(
    capsys: pytest.CaptureFixture[str],
) -> None:
    """10 g in a grain of 55 cm3, about 100 g: a slip of the keys."""
    more = ["--throat", "3 mm", "--propellant-mass", "10 g", "--mix", MIX]
    out = printed([*FRAMES, *more, "--bench", "motor.toml"], capsys)
    assert "MISFIT The propellant mass is 9." in " ".join(out.split())
    assert len(out.splitlines()) <= 24
