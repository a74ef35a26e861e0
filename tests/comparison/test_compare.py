"""Verdicts of paired draws: coverage, identical mixes, a case with a known answer."""

from __future__ import annotations

import dataclasses
import json
import math

import numpy as np
import pytest

import castsugar as cs
from castsugar import (
    Conditions,
    Cook,
    Doubts,
    InputError,
    Kitchen,
    compare,
)
from castsugar.comparison.compare import (
    CANNOT_TELL,
    HIGHER,
    LOWER,
    chance_above,
    chance_of_best,
    verdict,
)
from castsugar.comparison.draws import summarise

SUCROSE = {"potassium nitrate": 65, "sucrose": 35}
SORBITOL = {"potassium nitrate": 65, "sorbitol": 35}
SYRUP = {"potassium nitrate": 60, "powdered sugar": 20, "corn syrup": 20}
KITCHEN = Kitchen(cook=Cook.hold(392.15, 480.0))


@pytest.mark.exact
def test_paired_differences_cover() -> None:
    """A linear case: two mixes share one input and each has one of its own.

    y = a shared + b own; what is believed about each input misses the truth by its
    own standard uncertainty. 95 of 100 intervals of the paired difference must hold the
    true difference; 500 seeds tell 95 % to 1 %.
    """
    a, b = np.array([3.0, 2.0]), np.array([0.4, 0.7])
    seeds, held = 500, 0
    for seed in range(seeds):
        rng = np.random.default_rng([seed, 5])
        truth = rng.standard_normal(3)  # off the middle of what is believed
        shared = rng.standard_normal((1000, 1))
        own = rng.standard_normal((1000, 2))
        values = a * shared + b * own
        found = summarise(values[:, 1] - values[:, 0])
        true = (a * truth[0] + b * truth[1:]) @ [-1.0, 1.0]
        low, high = found.interval
        held += low <= true <= high
    assert 0.93 <= held / seeds <= 0.97


@pytest.mark.slow
@pytest.mark.exact
def test_pairing_takes_away_what_is_shared() -> None:
    """The water of damp nitrate hits 65/35 and 64/36 alike."""
    found = compare([SUCROSE, {"potassium nitrate": 64, "sucrose": 36}])
    column = "flame_temperature_K"
    own = [found.draws.summary(column, mix).deviation for mix in (0, 1)]
    paired = found.cells[1][column].difference.deviation
    assert paired < 0.5 * math.hypot(*own)
    assert found.cells[1][column].verdict == LOWER


@pytest.mark.exact
def test_identical_mixes_cannot_be_told_apart() -> None:
    conditions = Conditions(kitchen=KITCHEN)
    renamed = cs.Mix.weigh({k: 0.01 * v for k, v in SYRUP.items()}, name="again")
    found = compare([SYRUP, renamed], conditions=conditions, draws=200)
    for cell in found.cells[1].values():
        assert cell.verdict == CANNOT_TELL
        assert cell.merit == ""
        assert cell.difference.interval == (0.0, 0.0)
        assert cell.difference.mean == 0.0
        assert cell.chance_higher == 0.5
        assert cell.parts == ()
        assert math.isnan(cell.best) or cell.best == 0.5


@pytest.mark.slow
@pytest.mark.exact
def test_sorbitol_against_sucrose() -> None:
    """The flame is colder for certain; which source is right on sorbitol is the doubt.

    Two sources of the enthalpy of sorbitol are 18 kJ/mol apart, 16 K of flame
    (species_data/enthalpy_alternatives.csv); the flames are some 117 K apart.
    """
    found = compare([SUCROSE, SORBITOL], baseline=0)
    cell = found.cells[1]["flame_temperature_K"]
    assert cell.verdict == LOWER
    assert cell.merit == ""  # a colder flame is neither better nor worse
    assert cell.chance_higher == 0.0
    assert cell.parts[0].input.key == "enthalpy|sorbitol"
    assert cell.parts[0].share > 0.9
    assert "polyol cycle" in cell.parts[0].input.conflict
    # One of its standard uncertainties, 18 kJ/mol, is about 17 K.
    rival = cs.Mix.weigh(SORBITOL, alternatives={"sorbitol": "polyol cycle"})
    rows = cs.evaluate([cs.Mix.weigh(SORBITOL), rival]).flame_temperature_K
    wanted = (rows[1] - rows[0]) * 18.0 / 17.7
    assert cell.parts[0].effect == pytest.approx(wanted, rel=0.02)
    # c* of the two is nearer than that doubt: not to be ranked.
    assert found.cells[1]["characteristic_velocity_m_s"].verdict == CANNOT_TELL
    assert found.cells[1]["density_impulse_kg_s_m3"].merit == "worse"


@pytest.mark.exact
def test_rule() -> None:
    up = np.linspace(0.1, 1.0, 200)
    assert verdict(summarise(up)) == HIGHER
    assert verdict(summarise(-up)) == LOWER
    assert verdict(summarise(up - 0.5)) == CANNOT_TELL
    assert verdict(summarise(np.zeros(200))) == CANNOT_TELL
    up[:11] = np.nan  # more than 5 % failed
    assert verdict(summarise(up)) == CANNOT_TELL
    assert verdict(summarise(np.full(200, np.nan))) == CANNOT_TELL


@pytest.mark.exact
def test_chances() -> None:
    values = np.array([[1.0, 2.0, np.nan], [3.0, 3.0, 1.0], [5.0, 4.0, 4.0]])
    assert chance_of_best(values, "higher") == pytest.approx([0.5, 0.5, 0.0])
    assert chance_of_best(values, "lower") == pytest.approx([1 / 3, 1 / 6, 1 / 2])
    assert np.isnan(chance_of_best(values, "")).all()
    assert np.isnan(chance_of_best(np.full((2, 2), np.nan), "lower")).all()
    assert chance_above(np.array([np.nan, 0.0, 1.0])) == 0.75


@pytest.mark.exact
def test_notes_say_what_is_not_known() -> None:
    rival = cs.Mix.weigh(SUCROSE, alternatives={"sucrose": "combustion 1939"})
    flameless = {"potassium nitrate": 100}
    found = compare([SUCROSE, rival, flameless], draws=100)
    assert "no uncertainty is stated for the enthalpy of sucrose" in found.notes[0]
    assert "no verdict is given on: flame temperature" in found.notes[1]
    cell = found.cells[2]["flame_temperature_K"]
    assert (cell.verdict, cell.failed) == (CANNOT_TELL, 1.0)
    # One batch with two values of one substance, 4.9 kJ/mol apart: the doubts are the
    # same and cancel, the step of about 2.2 K (enthalpy_alternatives.csv) is certain.
    step = found.cells[1]["flame_temperature_K"]
    assert step.verdict == HIGHER
    assert step.difference.median == pytest.approx(2.2, abs=0.05)
    assert step.difference.deviation < 0.05  # second order only


@pytest.mark.exact
def test_one_scale_step() -> None:
    """0.1 g too much of the fuel in 200 g, weighed and burnt again."""
    found = compare([SUCROSE], scale_step=1e-4, doubts=Doubts(batch=0.2), draws=100)
    cell = found.cells[0]["flame_temperature_K"]
    rows = cs.evaluate(
        [
            cs.Mix.weigh({"potassium nitrate": 130.0, "sucrose": 70.0 + extra})
            for extra in (0.0, 0.1)
        ]
    ).flame_temperature_K
    assert cell.step_item == "sucrose"
    assert cell.one_step == pytest.approx(rows[1] - rows[0], rel=1e-6)


@pytest.mark.exact
def test_plain_values() -> None:
    found = compare([SUCROSE, SORBITOL], baseline=1, draws=100)
    told = json.loads(json.dumps(found.to_dict()))
    assert told["baseline"] == "potassium nitrate:65 sorbitol:35"
    assert told["mixes"][0]["columns"][0]["verdict"] == HIGHER
    assert json.dumps(found.to_dict()) == json.dumps(
        compare([SUCROSE, SORBITOL], baseline=1, draws=100).to_dict()
    )


@pytest.mark.exact
@pytest.mark.parametrize("baseline", [2, -1, "nobody"])
def test_unknown_baseline(baseline: int | str) -> None:
    with pytest.raises(InputError, match="the baseline is"):
        compare([SUCROSE, SORBITOL], baseline=baseline, draws=100)


@pytest.mark.exact
def test_scale_step_above_nothing() -> None:
    with pytest.raises(InputError, match="scale step"):
        compare([SUCROSE], scale_step=0.0)


@pytest.mark.exact
def test_a_humidity_that_ranks_nothing_is_not_told() -> None:
    """Within 3 points both say the same; further apart it is told. JSON keeps it."""
    store = "storage_humidity_max_percent"
    conditions = Conditions(kitchen=KITCHEN)
    more = SYRUP | {"powdered sugar": 18, "corn syrup": 22}
    near = compare([SYRUP, more], conditions=conditions, draws=100)
    values = [own[store].value for own in near.cells]
    assert abs(values[0] - values[1]) < 3.0
    assert store not in near.told
    assert store in near.cells[0]
    assert "humidity" not in repr(near)
    wet = dict(near.cells[1])
    wet[store] = dataclasses.replace(wet[store], value=values[0] - 3.5)
    far = dataclasses.replace(near, cells=(near.cells[0], wet))
    assert store in far.told
