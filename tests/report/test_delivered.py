"""What is lost and what is delivered, on screens and in documents."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import jsonschema
import pytest

import castsugar as cs
from castsugar.cli.main import main
from castsugar.columns import doubts_of
from castsugar.motor.burn_model import BurnModel
from castsugar.motor.delivered import delivered_of
from castsugar.motor.efficiency import Reading, learn_efficiencies
from castsugar.motor.grain import HollowCylinder
from castsugar.motor.hardware import Hardware
from castsugar.motor.losses import Losses
from castsugar.report.delivered import (
    delivered_annex,
    delivered_row,
)
from castsugar.report.document import schema_of
from castsugar.report.field import intervals
from castsugar.report.fired import impulse_of
from castsugar.report.mixes import PARTS
from castsugar.report.screen import Table
from castsugar.report.shown import Shown

# Exact: words and cells against the numbers that they are made of.
pytestmark = pytest.mark.exact

GRAIN = HollowCylinder(outer_diameter=0.036, core_diameter=0.014, segment_length=0.2)
ROW = {
    "characteristic_velocity_m_s": 900.0,
    "specific_impulse_s": 140.0,
    "thrust_coefficient": 1.5255,
    "isentropic_exponent": 1.13,
}
FIRED = [
    Reading(
        name="first",
        characteristic_velocity=0.9,
        characteristic_velocity_u=0.02,
        nozzle=0.92,
        nozzle_u=0.02,
    )
]


def motor(**given: Any) -> Hardware:
    """Return a motor with what a test states."""
    usual = {"throat_diameter": 0.008, "exit_diameter": 0.018}
    return Hardware(grain=GRAIN, burning=BurnModel([]), **(usual | given))


def fired() -> Hardware:
    """Return a motor with one firing behind it."""
    told = learn_efficiencies(FIRED)
    own = told.characteristic_velocity
    return motor(
        efficiencies=told,
        efficiency=own.median,
        efficiency_measured=True,
        efficiency_u=own.next_u,
        firings=1,
    )


@pytest.mark.parametrize(
    ("given", "label"),
    [
        ({}, "total impulse, ideal"),
        ({"efficiency": 0.9}, "total impulse, ideal nozzle"),
        ({"nozzle_efficiency": 0.95}, "total impulse, ideal c*"),
        ({"efficiency": 0.9, "thrust_coefficient": 1.4}, "total impulse, delivered"),
    ],
)
def test_the_label_of_the_impulse_is_true(given: dict[str, float], label: str) -> None:
    """It names the losses that the trace holds: c* and nozzle, stated or not."""
    hardware = motor(**given)
    assert impulse_of([delivered_of(hardware, ROW)]).label == label
    made = hardware.motor(density=1800.0, characteristic_velocity=900.0)
    assert made.propellant.efficiency == given.get("efficiency", 1.0)
    assert made.nozzle.efficiency == given.get("nozzle_efficiency", 1.0)


def test_the_label_knows_a_measured_nozzle() -> None:
    label = impulse_of([delivered_of(fired(), ROW)]).label
    assert label == "total impulse, delivered"


def test_ideal_beside_delivered() -> None:
    """Cells by hand: 0.9 stated of c*, 0.96 of the nozzle; bounds as given."""
    hardware = motor(efficiency=0.9, nozzle_efficiency=0.96)
    found = delivered_of(hardware, ROW)
    losses = Losses(
        lag=(0.012, 0.084),
        lags=(0.94, 0.61),
        divergence=(0.017, 0.017),
        half_angles=(math.radians(15.0),) * 2,
        cone="stated",
        heat=(0.005, 0.025),
        heat_flow=math.nan,
    )
    row = ROW | delivered_row(found)
    (annex,) = delivered_annex(["mine"], [row], [found], [losses], Shown())
    tables = [block for block in annex.blocks if isinstance(block, Table)]
    assert [line[:2] for line in tables[0].rows] == [
        ("c*", "0.90"),
        ("thrust coefficient", "0.96"),
        ("Isp, both together", "0.86"),
    ]
    assert [line[1:3] for line in tables[1].rows] == [
        ("900", "810"),
        ("1.53", "1.46"),
        ("140", "121"),
    ]
    assert tables[2].rows == (
        ("droplets that lag", "1.2 to 8.4", "c* and Isp", "bound, size assumed"),
        ("cone", "1.7", "thrust", "stated half angle"),
        ("heat into walls", "0.50 to 2.5", "c*", "assumed, of small motors"),
    )
    told = " ".join(str(block) for block in annex.blocks)
    assert "Both efficiencies: stated." in told
    assert "15° half angle" in told
    assert "MW/m²" not in told


def test_nothing_known_is_called_assumed() -> None:
    found = delivered_of(motor(), ROW)
    row = ROW | delivered_row(found)
    (annex,) = delivered_annex(["mine"], [row], [found], [], Shown())
    told = " ".join(str(block) for block in annex.blocks)
    assert "expected, no firing of yours yet (assumed)" in told
    assert row["efficiency_origin"] == "expected, no firing of yours yet"
    assert not list(delivered_annex(["mine"], [ROW], [], [], Shown()))


def test_the_doubt_of_the_ideal_is_that_of_its_band() -> None:
    band = {"characteristic_velocity_m_s_interval": (898.04, 901.96)}
    found = doubts_of(intervals(ROW | band))
    assert found == {"characteristic_velocity_u_m_s": pytest.approx(1.0)}


@pytest.mark.slow
def test_evaluate_says_it_in_every_form(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Without an efficiency the screen is as it was; with one it shows what that does.

    The rows take the place of others: 24 lines stay 24 lines.
    """
    monkeypatch.chdir(tmp_path)
    cs.bench.write_example(tmp_path)

    def said(*more: str) -> str:
        main(["evaluate", "base", "--no-confirm", *more])
        return capsys.readouterr().out

    before = said()
    assert "delivered" not in before
    found = json.loads(said("--json"))
    jsonschema.validate(found, schema_of("evaluate", PARTS))
    assert {one["assumed"] for one in found["efficiencies"]} == {"yes"}
    (row,) = found["mixes"]
    ideal = row["characteristic_velocity_m_s"]
    assert row["delivered_characteristic_velocity_m_s"] == pytest.approx(0.92 * ideal)
    assert [one["cause"] for one in found["expected_losses"]] == [
        "droplets that lag",
        "cone",
        "heat into walls",
    ]
    path = tmp_path / "bench.toml"
    text = path.read_text("utf-8").replace(
        '# measured_efficiency = "90 %"', 'measured_efficiency = "90 %"'
    )
    path.write_text(text, "utf-8")
    after = said()
    lines = after.splitlines()
    assert len(lines) <= 24
    assert max(map(len, lines)) <= 80
    assert any(line.startswith("delivered c*, m/s ") for line in lines)
    assert any(line.startswith("delivered Isp, s ") for line in lines)
    assert "Isp, ideal" not in after
    full = said("--full")
    assert "What is lost, and what is delivered" in full
    assert "total impulse, ideal nozzle, N s" in full
    assert "Efficiency of c*: stated." in full
    main(["evaluate", "base", "--no-bench", "--full"])
    assert "What is lost" not in capsys.readouterr().out
