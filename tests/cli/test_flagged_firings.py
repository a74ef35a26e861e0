"""A firing whose sensor failed teaches nothing, and ``castsugar learn`` says why.

The example's recording, invented, with faults of the kinds that sensors have.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from castsugar.cli.main import main

pytestmark = [pytest.mark.exact, pytest.mark.slow]

MIX = "KNO3:60 powdered sugar:17 corn syrup:23"
STAND = ["--throat", "8 mm", "--throat-after", "8.2 mm", "--propellant-mass", "368 g"]

Course = np.ndarray
RNG = np.random.default_rng(2)


def clip(time: Course, p: Course) -> Course:
    noise = 2e-3 * p.max() * RNG.standard_normal(p.size)
    return np.minimum(p, 0.85 * p.max()) + noise


def soft(time: Course, p: Course) -> Course:
    return 0.8 * p.max() * np.tanh(p / (0.8 * p.max()))


def heated(time: Course, p: Course) -> Course:
    start, end = time[p > 0.2 * p.max()][[0, -1]]
    grown = np.sqrt(np.clip((time - start) / (end - start), 0.0, 1.0))
    return p + 0.1 * p.max() * grown * np.exp(-np.maximum(time - end, 0.0) / 0.4)


def burst(time: Course, p: Course) -> Course:
    middle = time[np.argmax(p)]
    return p + 0.5 * p.max() * ((time > middle) & (time < middle + 0.009))


def hum(time: Course, p: Course) -> Course:
    return p + 0.03 * p.max() * np.sin(2.0 * np.pi * 50.0 * time)


FAULTS: dict[str, Callable[[Course, Course], Course]] = {
    "clip": clip,
    "soft": soft,
    "heated": heated,
    "burst": burst,
    "hum": hum,
}


def pressures(capsys: pytest.CaptureFixture[str]) -> list[float]:
    """Return the p95 of the next batch of two recipes."""
    capsys.readouterr()
    assert main(["evaluate", "base", MIX, "--json"]) == 0
    rows = json.loads(capsys.readouterr().out)["mixes"]
    return [row["peak_pressure_p95_MPa"] for row in rows]


@pytest.mark.simulation
def test_a_flagged_firing_moves_no_pressure(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """After each fault: p95 as before, left out with its reason, alarms counted."""
    monkeypatch.chdir(tmp_path)
    assert main(["init"]) == 0
    head, *rows = [
        x for x in Path("shot.csv").read_text("utf-8").splitlines() if x[0] != "#"
    ]
    time, pressure, thrust = np.array(
        [[float(c) for c in r.split(",")] for r in rows]
    ).T
    before = pressures(capsys)
    for day, (name, fault) in enumerate(FAULTS.items(), 1):
        lines = zip(time, fault(time, pressure), thrust, strict=True)
        text = "\n".join([head, *(f"{t:.4f},{p:.5f},{f:.3f}" for t, p, f in lines)])
        Path(f"{name}.csv").write_text(text + "\n", "utf-8")
        date = ["--date", f"2026-06-{day:02d}"]
        assert main(["batch", "new", MIX, "--batch", "434 g", *date]) == 0
        firing = ["--outcome", "used", "--firing", f"{name}.csv", *STAND]
        assert main(["batch", "close", f"2026-06-{day:02d}-1", *date, *firing]) == 0
    capsys.readouterr()
    assert main(["learn", "--json"]) == 0
    told = json.loads(capsys.readouterr().out)["firings"]
    assert [bool(one["left_out"]) for one in told] == [True] * len(FAULTS)
    assert [bool(one["alarms"]) for one in told] == [True] * len(FAULTS)
    assert told[0]["efficiency_bound"] == "at least"
    assert told[0]["efficiency_interval"] == [None, None]
    assert main(["learn", "--full"]) == 0
    page = " ".join(capsys.readouterr().out.split())
    assert "at least 0." in page
    assert f"Alarms: {len(FAULTS)} of {len(FAULTS)} firings" in page
    assert main(["learn", "--save"]) == 0
    assert pressures(capsys) == pytest.approx(before, rel=1e-12)
