"""Voids of a casting: as they flow, into density and pressure; stated ones stand."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from worlds import wings

import castsugar as cs
from castsugar.cli.main import main
from castsugar.kitchen import casting
from castsugar.motor.grain import HollowCylinder
from castsugar.motor.hardware import DENSITY_RATIO
from castsugar.motor.real_grain import RealGrain

MIX = "KNO3:60 powdered sugar:20 corn syrup:20"
PEAK, P95 = "peak_pressure_MPa", "peak_pressure_p95_MPa"


def row(**changes: Any) -> Any:
    """Return the row of the mix in an invented motor and kitchen."""
    world = wings()
    assert world.motor is not None
    motor = replace(world.motor, **changes)
    return cs.evaluate(MIX, kitchen=world.kitchen, motor=motor, windows=False).iloc[0]


@pytest.mark.published
def test_each_class_has_its_ratio() -> None:
    """0.96 +- 0.02, 0.93 +- 0.03, 0.90 +- 0.04, 0.80 +- 0.06; common practice.

    Of runny and pouring, spooned, tamped, and pressed castings, no source.
    """
    ratio, u = casting.density_ratio(np.eye(5))
    assert ratio.tolist() == pytest.approx([0.96, 0.96, 0.93, 0.90, 0.80])
    assert u.tolist() == pytest.approx([0.02, 0.02, 0.03, 0.04, 0.06])


@pytest.mark.exact
def test_the_mixture_has_mean_and_spread_of_its_parts() -> None:
    """sum p r; sqrt(sum p (s^2 + (r - mean)^2)); NaN where nothing is known."""
    p = np.array([[0.1, 0.3, 0.3, 0.2, 0.1], [0.0] * 5])
    r = np.array([0.96, 0.96, 0.93, 0.90, 0.80])
    s = np.array([0.02, 0.02, 0.03, 0.04, 0.06])
    mean = float(p[0] @ r)
    ratio, u = casting.density_ratio(p)
    assert ratio[0] == pytest.approx(mean)
    assert u[0] == pytest.approx(np.sqrt(p[0] @ (s**2 + (r - mean) ** 2)))
    assert np.isnan([ratio[1], u[1]]).all()
    tapped, same = casting.density_ratio(p, tap=True)
    assert tapped[0] - ratio[0] == pytest.approx(0.01)
    assert same[0] == pytest.approx(u[0])


@pytest.mark.exact
def test_a_stated_ratio_stands_and_an_unstated_one_flows() -> None:
    """Where it is stated the kitchen changes nothing; else the peak goes with it."""
    flows, stated = row(), row(density_ratio=DENSITY_RATIO)
    assert stated.density_ratio == DENSITY_RATIO
    assert flows.density_ratio < DENSITY_RATIO
    same = row(density_ratio=float(flows.density_ratio))
    assert flows[PEAK] == pytest.approx(same[PEAK], rel=0.01) != stated[PEAK]
    assert flows[PEAK] < stated[PEAK]


@pytest.mark.exact
def test_voids_that_nobody_measured_lower_no_bound() -> None:
    """Pores burn, too: what a limit is held against is that of the usual density."""
    flows = row()
    u = float(flows.density_ratio_u / flows.density_ratio)
    spread = replace(wings().motor.spread, density=u)  # type: ignore[union-attr]
    usual = row(density_ratio=DENSITY_RATIO, spread=spread)
    assert flows[P95] == pytest.approx(usual[P95], rel=1e-9)
    assert flows[P95] > row(density_ratio=float(flows.density_ratio))[P95]


@pytest.mark.exact
def test_the_motor_alone_has_the_usual_ratio() -> None:
    """Without a kitchen nothing is known of the flow."""
    motor = wings().motor
    plain = cs.evaluate(MIX, motor=motor).iloc[0]
    assert motor is not None
    known = replace(motor, density_ratio=DENSITY_RATIO)
    assert plain[PEAK] == cs.evaluate(MIX, motor=known).iloc[0][PEAK]
    assert np.isnan(plain.density_ratio)


@pytest.mark.slow
@pytest.mark.exact
def test_every_command_fills_the_motor_as_evaluate_does(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The example without its density_ratio: one value for one quantity."""
    cs.bench.write_example(tmp_path)
    monkeypatch.chdir(tmp_path)
    bench = tmp_path / "bench.toml"
    text = bench.read_text(encoding="utf-8").splitlines()
    kept = [line for line in text if not line.startswith("density_ratio")]
    bench.write_text("\n".join(kept), encoding="utf-8")

    def ask(*words: str) -> Any:
        assert main([*words, "--json", "-o", "answer.json", "--force"]) in (0, 1)
        return json.loads(Path("answer.json").read_text(encoding="utf-8"))

    flow = ("--flow", "no-solidification")
    base = ask("evaluate", "base", "red", "--no-confirm", *flow)["mixes"][0]
    others = [
        ask("compare", "base", "red", "--no-confirm", *flow)["mixes"][0],
        ask("justify", "red", "base", "--no-confirm", *flow)["mixes"][1],
    ]
    keys = ("density_ratio", "density_ratio_u", PEAK, P95)
    for other in others:
        assert [other[k] for k in keys] == pytest.approx([base[k] for k in keys])
    judged = ask("kitchen", "judge", "base")["mixes"][0]
    weighed = ask("weigh", "base", "--grains", "4")
    block = ask("ballistics", "base")["density"]["density_ratio"]
    for found in (judged, weighed):
        assert found["density_ratio"] == pytest.approx(base["density_ratio"])
    assert block["value"] == pytest.approx(base["density_ratio"])
    assert (block["status"], block["source"]) == (
        "assumed",
        "as it flows in the kitchen",
    )


@pytest.mark.published
def test_calipers_and_scale() -> None:
    """48 g of 25/8/60 mm are 1.816 g/cm3: V = pi/4 (D^2 - d^2) L, worked elsewhere."""
    shape = HollowCylinder(
        outer_diameter=0.025, core_diameter=0.008, segment_length=0.06
    )
    assert RealGrain(shape=shape, mass=0.048).density == pytest.approx(1816.0, abs=0.5)
