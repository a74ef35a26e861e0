"""What a notebook shows: frames, JSON and short HTML of mixes, states and answers."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

import castsugar as cs
from castsugar import Requirement, compare, plain
from castsugar.comparison.compare import Comparison
from castsugar.motor.firing.faults import found
from castsugar.motor.firing.quantities import Measured
from castsugar.optimize.outcome import Outcome
from castsugar.static_test import StaticTest

# Exact: what is shown is what the objects hold; names are text.
pytestmark = pytest.mark.exact

SCRIPT = "<script>alert(1)</script>"


@pytest.fixture(scope="module")
def comparison() -> Comparison:
    """Compare sucrose with sorbitol."""
    mixes = [
        cs.Mix.weigh({"KNO3": 65, sugar: 35}, name=name)
        for sugar, name in (("sucrose", SCRIPT), ("sorbitol", "sorbitol"))
    ]
    return compare(mixes, draws=100)


@pytest.fixture(scope="module")
def outcome() -> Outcome:
    """Search the strongest mix that is not too hot."""
    found = cs.search(
        {"potassium nitrate": (0.5, 0.7), "sucrose": (0.3, 0.5)},
        objective="specific_impulse_s",
        limits=[Requirement(column="flame_temperature_K", at_most=1600.0)],
        confirm=False,
    )
    assert isinstance(found, Outcome)
    return found


@pytest.fixture(scope="module")
def firing() -> StaticTest:
    """Return a firing of few numbers."""
    return StaticTest(
        reduction=SimpleNamespace(  # type: ignore[arg-type]
            stand=SimpleNamespace(ambient_pressure=101_325.0),
            results={
                "peak_pressure": Measured(value=2e6, parts={"zero": 1e4}),
                "burn_time": Measured(value=1.5, parts={}, bound="at least"),
            },
            alarms=(found("record", "motor", SCRIPT),),
        ),
        mix=cs.Mix.weigh({"KNO3": 65, "sucrose": 35}, name=SCRIPT),
        row={},
        hardware=None,
        characteristic_velocity_efficiency=Measured(value=0.9, parts={"a": 0.01}),
        specific_impulse_efficiency=None,
        density_ratio=math.nan,
        inferred=None,
        no_law="",
        law=None,
        agreement=None,
        expected=None,
    )


def read(thing: Any) -> dict[str, Any]:
    """Read JSON back; NaN and infinity are no JSON."""

    def refuse(word: str) -> None:
        raise AssertionError(f"{word} in JSON")

    found: dict[str, Any] = json.loads(thing.to_json(), parse_constant=refuse)
    return found


def test_comparison(comparison: Comparison) -> None:
    """One row a mix and column; the frame holds what the cells hold."""
    table = comparison.to_frame()
    assert len(table) == 2 * len(comparison.draws.columns)
    row = table[(table.name == "sorbitol") & (table.column == "flame_temperature_K")]
    cell = comparison.cells[1]["flame_temperature_K"]
    assert row.value.item() == cell.value
    assert row.difference_interval_low.item() == cell.difference.interval[0]
    assert row.verdict.item() == "lower"
    assert row.most_uncertain_input.item() == cell.parts[0].input.label
    document = read(comparison)
    assert document["mixes"][1]["name"] == "sorbitol"
    # Flame, density and solids have no better end: NaN there is null.
    assert document["mixes"][1]["columns"][0]["probability_best"] is None
    assert "lower" in comparison._repr_html_()


def test_mix() -> None:
    """The recipe as weighed, and the document of the mix."""
    mix = cs.Mix.weigh({"KNO3": 65, "sucrose": 35}, name=SCRIPT)
    assert read(mix)["recipe_mass_fraction"] == {"KNO3": 0.65, "sucrose": 0.35}
    assert "<td>KNO3</td><td>65</td>" in mix._repr_html_()
    assert len(mix.to_frame()) == 2


def test_state() -> None:
    """Main species and temperature."""
    state = cs.equilibrium(cs.Mix.weigh({"KNO3": 65, "sucrose": 35}))
    assert read(state)["temperature_K"] == pytest.approx(state.temperature, rel=1e-9)
    assert f"<td>CO2</td><td>{state.amount('CO2'):.4f}</td>" in state._repr_html_()
    assert state.to_frame().species[0] == next(iter(state.main_species()))


@pytest.mark.slow
def test_outcome(outcome: Outcome) -> None:
    """The best mix, its limit, and full rows."""
    document = read(outcome)
    assert document["status"] == "optimal"
    assert sum(document["recipe_mass_fraction"].values()) == pytest.approx(1.0)
    assert document["limits"][0]["binding"]
    table = outcome.to_frame()
    assert table.mix[0] == "best"
    best = table.set_index("mix").loc["best"]
    assert best.flame_temperature_K == pytest.approx(1600.0, abs=0.1)
    assert "optimal" in outcome._repr_html_()


def test_static_test(firing: StaticTest) -> None:
    """Units in the names; a lower limit has no interval."""
    table = firing.to_frame().set_index("result")
    assert table.value["peak_pressure_MPa"] == pytest.approx(2.0)
    assert table.standard_uncertainty["peak_pressure_MPa"] == pytest.approx(0.01)
    assert table.value["burn_time_s"] == 1.5
    assert math.isnan(table.high_95["burn_time_s"])
    assert table.value["characteristic_velocity_efficiency"] == 0.9
    document = read(firing)
    assert document["density_ratio"] is None
    assert document["results"][1]["high_95"] is None


def test_names_are_inert(
    comparison: Comparison, outcome: Outcome, firing: StaticTest
) -> None:
    """A name, a note and a caution with tags are text."""
    named = replace(outcome, refused=SCRIPT)
    mix = cs.Mix.weigh({"KNO3": 65, "sucrose": 35}, name=SCRIPT)
    for thing in (comparison, named, firing, mix):
        shown = thing._repr_html_()
        assert "<script" not in shown
        assert "&lt;script&gt;" in shown
        assert shown.count("<table>") == 1


def test_plain_values() -> None:
    """Ten digits; arrays and their numbers become plain; no number is null."""
    held = {"a": np.array([1.0 / 3.0, np.nan]), "b": np.int64(3), "c": (math.inf, True)}
    wanted = {"a": [0.3333333333, None], "b": 3, "c": [None, True]}
    assert plain.plain(held) == wanted
    assert json.loads(plain.to_json(held)) == wanted
    assert plain.to_json({"name": SCRIPT}) == plain.to_json({"name": SCRIPT})
