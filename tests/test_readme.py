"""README: what it prints is what the commands print, and its example runs."""

from __future__ import annotations

import re
import shlex
from pathlib import Path

import numpy as np
import pytest
from scipy.signal import lfilter

from castsugar.cli.main import main
from castsugar.motor.assembly import Motor, Propellant
from castsugar.motor.grain import HollowCylinder
from castsugar.motor.law import Band, BurnLaw
from castsugar.motor.nozzle import Nozzle
from castsugar.motor.trace import fire

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text("utf-8")
BLOCKS = re.findall(r"```(\w+)\n(.*?)```", README, re.DOTALL)
TEXT = [text for kind, text in BLOCKS if kind == "text"]
SHELL = [text for kind, text in BLOCKS if kind == "bash"]

#: What a block of another language is the content of.
FILES = {"toml": "bench.toml", "csv": "strands.csv"}

pytestmark = pytest.mark.exact  # text against text


def invented_shot() -> str:
    """Return the recording of a firing that never was: 1 kHz, noise, drift, 12 bits.

    The motor of README's bench file with a c* of 835 m/s, 0.93 of the ideal one, and
    the burn law that the invented strands were made with.
    """
    band = Band(low=1e5, high=1e7, rate=4.7e-3, exponent=0.30)
    motor = Motor(
        grain=HollowCylinder(
            outer_diameter=0.032, core_diameter=0.012, segment_length=0.055, segments=3
        ),
        nozzle=Nozzle(
            throat_diameter=0.0081, exit_diameter=0.018, exponent=1.13, efficiency=0.9
        ),
        propellant=Propellant(density=1740.0, characteristic_velocity=835.0),
    )
    trace = fire(motor, BurnLaw(name="invented", bands=(band,), log_rate_u=0.0))
    t = np.arange(0.0, trace.burn_time + 2.5, 1e-3)
    rng = np.random.default_rng(3)
    lines = ["time (s),pressure (barg),thrust (N)"]
    columns = []
    for course, rest, step in (
        (1e-5 * trace.pressure, 1.01325, 0.02),
        (trace.thrust, 0.0, 0.1),
    ):
        over = np.interp(t - 0.6, trace.time, course - rest, left=0.0, right=0.0)
        lagged = lfilter([0.1], [1.0, -0.9], over)
        noisy = lagged + over.max() * (0.004 * rng.standard_normal(t.shape) + 0.003 * t)
        columns.append(step * np.round(noisy / step))
    lines += [f"{a:.3f},{b:.2f},{c:.1f}" for a, b, c in zip(t, *columns, strict=True)]
    return "\n".join(lines) + "\n"


def test_two_commands_on_one_line_each() -> None:
    """The first two blocks are the two commands for a fresh machine."""
    for block in SHELL[:2]:
        assert block.count("\n") == 1
        assert block.startswith("python3 -m venv .venv && .venv/bin/pip install")
    assert SHELL[1].strip().endswith("pytest -q")


def test_gate_calls_the_readmes_test_command() -> None:
    """The gate runs what README says, not something like it."""
    assert SHELL[1].strip() in (ROOT / ".ci" / "run").read_text("utf-8")


def test_main_job_prints_the_table(capsys: pytest.CaptureFixture[str]) -> None:
    """The table in README is the one that the first command prints."""
    words = shlex.split(SHELL[0].split("&&")[-1])
    assert main(words[1:]) == 0
    printed = capsys.readouterr().out
    assert TEXT[0].strip() in printed


def test_other_commands_run(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Every further command of README ends well, in its order and in one folder."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "shot.csv").write_text(invented_shot(), "utf-8")
    printed = {}
    for kind, text in BLOCKS[BLOCKS.index(("bash", SHELL[1])) + 1 :]:
        if kind in FILES:  # shown as the content of a file, or to be added to it
            with (tmp_path / FILES[kind]).open("a", encoding="utf-8") as stream:
                stream.write("\n" + text if stream.tell() else text)
        for line in text.strip().splitlines() if kind == "bash" else []:
            assert main(shlex.split(line)[1:]) == 0, line
            printed[line] = capsys.readouterr().out
            assert printed[line]
    # The other texts shown are what one of the commands prints.
    for text in TEXT[1:]:
        assert any(text.strip() in out for out in printed.values())


def test_python_example(capsys: pytest.CaptureFixture[str]) -> None:
    """The example runs and prints a table, species, the certificate and a number."""
    (code,) = (text for kind, text in BLOCKS if kind == "python")
    exec(compile(code, "README.md", "exec"), {})
    printed = capsys.readouterr().out
    assert "flame_temperature_K" in printed
    assert "\nTrue\n" in printed
    # 1 % of water costs 24 to 32 K at 60 to 80 % nitrate (independent sensitivity).
    assert -32.0 < float(printed.split()[-1]) < -24.0
