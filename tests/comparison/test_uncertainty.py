"""Draws of rows: against the guide's supplement, linear propagation, and themselves."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from linear_propagation import COLUMNS, jacobian
from scipy import stats
from worlds import borrowed

import castsugar as cs
from castsugar import (
    Conditions,
    Cook,
    Doubts,
    Hardware,
    InputError,
    Kitchen,
    Lot,
    UnknownNameError,
)
from castsugar.comparison.draws import UncertainMixes, draw, summarise
from castsugar.comparison.uncertain_inputs import Recipe, drawn, enthalpy_u, identity
from castsugar.kitchen.parameters import unmeasured
from castsugar.motor.grain import HollowCylinder

SUCROSE = {"potassium nitrate": 65, "sucrose": 35}
SORBITOL = {"potassium nitrate": 65, "sorbitol": 35}
MANNITOL = {"potassium nitrate": 65, "mannitol": 35}
SYRUP = {"potassium nitrate": 60, "powdered sugar": 20, "corn syrup": 20}
#: What comparisons take where nothing is stated.
FLOW = "no-solidification"

KITCHEN = Kitchen(cook=Cook.hold(392.15, 480.0))


def motor() -> Hardware:
    """Return an invented motor with a borrowed burn law."""
    return Hardware(
        grain=HollowCylinder(
            outer_diameter=0.032, core_diameter=0.012, segment_length=0.055, segments=3
        ),
        throat_diameter=0.008,
        burning=borrowed(),
    )


@pytest.fixture(scope="module")
def dry() -> UncertainMixes:
    return UncertainMixes.of([SUCROSE, SORBITOL])


# JCGM 101:2008, 9.2.2 and 9.2.3: the sum of four independent inputs of mean 0 and
# standard deviation 1. Normal: u 2.00, 95 % interval -3.92 to 3.92. Rectangular: u
# 2.00, -3.88 to 3.88. Tolerance 0.01 as for the million draws of the document.
@pytest.mark.published
@pytest.mark.parametrize(("shape", "end"), [("normal", 3.92), ("rectangular", 3.88)])
def test_sum_of_four(shape: str, end: float) -> None:
    rng = np.random.default_rng(3)
    size, half = (1_000_000, 4), math.sqrt(3.0)
    parts = (
        rng.standard_normal(size)
        if shape == "normal"
        else rng.uniform(-half, half, size)
    )
    found = summarise(parts.sum(axis=1))
    assert found.mean == pytest.approx(0.0, abs=0.01)
    assert found.deviation == pytest.approx(2.0, abs=0.01)
    assert found.interval == pytest.approx((-end, end), abs=0.015)
    assert found.failed == 0.0


@pytest.mark.exact
def test_summary_counts_what_failed_and_what_is_infinite() -> None:
    """7.7.2: of 100 values q = 95, r = (100 - 95 + 1) / 2 = 3: the 3rd to the 98th."""
    draws = np.arange(1.0, 101.0)
    assert summarise(draws).interval == (3.0, 98.0)
    draws[-3:] = np.inf
    found = summarise(np.r_[draws, np.full(25, np.nan)])
    assert found.interval == (3.0, math.inf)
    assert found.median == 50.5
    assert found.failed == pytest.approx(0.2)
    assert math.isnan(found.mean)
    assert math.isnan(summarise(np.full(5, np.nan)).median)


@pytest.mark.exact
def test_scores_are_even_independent_and_named() -> None:
    """One score in each of n equal slices of chance; other inputs other orders."""
    inputs = UncertainMixes.of([SUCROSE]).inputs
    scores = drawn(inputs, 512, 1)
    for one in scores.values():
        slices = np.floor(512 * stats.norm.cdf(np.sort(one)) + 1e-9)
        assert np.array_equal(slices, np.arange(512.0))
    table = np.corrcoef(np.stack(list(scores.values())))
    assert np.abs(table - np.eye(len(table))).max() < 5.0 / math.sqrt(512)
    again = drawn(inputs[::-1], 512, 1)
    assert all(np.array_equal(again[key], scores[key]) for key in scores)
    key = "product data"
    assert not np.array_equal(drawn(inputs, 512, 2)[key], scores[key])


@pytest.mark.slow
@pytest.mark.exact
def test_monte_carlo_is_linear_propagation(dry: UncertainMixes) -> None:
    """Small uncertainties: both are the same within sampling, 3 / sqrt(2 x 2000)."""
    found, slopes = draw(dry), jacobian(dry)
    uncertainty = np.sqrt((slopes**2).sum(axis=-1))
    for mix in range(2):
        for place, column in enumerate(COLUMNS):
            u = uncertainty[mix, place]
            assert found.summary(column, mix).deviation == pytest.approx(u, rel=0.05)
            # Moved one at a time through the solver: the analytic derivatives.
            effects = found.effects[column][mix]
            np.testing.assert_allclose(effects, slopes[mix, place], atol=0.01 * u)
    difference = np.sqrt(((slopes[1] - slopes[0]) ** 2).sum(axis=-1))
    for place, column in enumerate(COLUMNS):
        paired = found.difference(column, 1, 0).std(ddof=1)
        assert paired == pytest.approx(difference[place], rel=0.05)


@pytest.mark.exact
def test_enthalpy_alone_is_the_column_of_the_table() -> None:
    """evaluate(data_uncertainty) joins the two product sets and the enthalpies."""
    doubts = Doubts(weighing=0.0, moisture=0.0, pressure=0.0)
    slopes = jacobian(UncertainMixes.of([SUCROSE], doubts=doubts))
    row = cs.evaluate(cs.Mix.weigh(SUCROSE), data_uncertainty=True, flow=FLOW).iloc[0]
    wanted = [
        row.flame_temperature_u_K,
        row.characteristic_velocity_u_m_s,
        row.specific_impulse_u_s,
    ]
    uncertainty = np.sqrt((slopes[0, :3] ** 2).sum(axis=-1))
    np.testing.assert_allclose(uncertainty, wanted, rtol=1e-9)


@pytest.mark.exact
def test_without_doubts_nothing_moves() -> None:
    """Every draw is the row of the table."""
    outlook = UncertainMixes.of([SYRUP], doubts=Doubts.none())
    assert {i.kind for i in outlook.inputs} == {"syrup"}
    found = draw(outlook, draws=100, without=["syrup"])
    row = cs.evaluate(cs.Mix.weigh(SYRUP), flow=FLOW).iloc[0]
    for column in found.columns:
        np.testing.assert_allclose(found.values[column], row[column], rtol=1e-12)
        assert found.parts(column, 0) == []


@pytest.mark.exact
def test_middle_is_the_row_of_the_table_with_all_wings() -> None:
    hardware = motor()
    conditions = Conditions(kitchen=KITCHEN, motor=hardware)
    found = draw([SYRUP, MANNITOL], conditions=conditions, draws=100)
    mixes = [cs.Mix.weigh(SYRUP), cs.Mix.weigh(MANNITOL)]
    table = cs.evaluate(mixes, kitchen=KITCHEN, motor=hardware, flow=FLOW)
    for column in found.columns:
        np.testing.assert_allclose(found.best[column], table[column], rtol=1e-9)
    assert np.isnan(found.values["pour_viscosity_Pa_s"][:, 1]).all()


@pytest.mark.slow
@pytest.mark.exact
@pytest.mark.parametrize("flow", ["equilibrium", "frozen"])
def test_middle_of_mixes_of_every_sort(flow: str) -> None:
    """Lots, rivals, two syrups, water that is stated to leave, a measured kitchen."""
    base = {"potassium nitrate": 60, "sucrose": 20}
    both = {"corn syrup": 10, "glucose syrup 42 DE": 10}
    assay = {"potassium nitrate": Lot(assay=0.98, moisture=0.003)}
    mixes = [
        cs.Mix.weigh(base | {"corn syrup": 15, "water": 5}),
        cs.Mix.weigh(base | {"corn syrup": 20}, water_lost=1.0),
        cs.Mix.weigh(base | both),
        cs.Mix.weigh(base | {"high fructose syrup 42": 20}),
        cs.Mix.weigh(base | {"red iron oxide": 1, "glycerol": 4}),
        cs.Mix.weigh({"potassium nitrate": 65, "dextrose monohydrate": 35}, lots=assay),
        cs.Mix.weigh(SUCROSE, alternatives={"sucrose": "glass"}),
        cs.Mix.weigh(
            base | {"corn syrup": 20}, lots={"corn syrup": Lot(dry_solids=1.0)}
        ),
        cs.Mix.weigh({"potassium nitrate": 100}),  # burns nothing: NaN
    ]
    belief = unmeasured({"syrup_solids": (1.3, 0.3), "packing": (0.66, 0.01)})
    kitchen = Kitchen(cook=Cook.hold(392.15, 480.0), belief=belief)
    conditions = Conditions(flow=flow, kitchen=kitchen)
    found = draw(mixes, conditions=conditions, draws=100)
    table = cs.evaluate(mixes, flow=flow, kitchen=kitchen)
    for column in found.columns:
        np.testing.assert_allclose(found.best[column], table[column], rtol=1e-9)


@pytest.mark.exact
def test_only_powders_are_damp() -> None:
    wet = {"potassium nitrate": 60, "glycerol": 4, "corn syrup": 20, "water": 2}
    labels = {i.label for i in UncertainMixes.of([wet]).inputs if i.kind == "moisture"}
    assert labels == {"moisture of potassium nitrate"}


@pytest.mark.exact
def test_bands_of_kitchen_and_motor_are_those_of_the_table() -> None:
    """Same beliefs, other draws: 10, 50, 90 of 100 agree within sampling.

    The rank of a quantile q of n draws is known to sqrt(q (1 - q) / n), 0.011 here.
    """
    hardware = motor()
    conditions = Conditions(kitchen=KITCHEN, motor=hardware)
    found = draw(UncertainMixes.of([SYRUP], conditions, Doubts.none()))
    mix = cs.Mix.weigh(SYRUP)
    row = cs.evaluate(mix, kitchen=KITCHEN, motor=hardware, flow=FLOW).iloc[0]
    eta = found.values["pour_viscosity_Pa_s"][:, 0]
    shown = [row.pour_viscosity_p10_Pa_s, row.pour_viscosity_Pa_s]
    for level, value in zip((0.1, 0.5), shown, strict=True):
        assert (eta < value).mean() == pytest.approx(level, abs=0.045)
    pressure = found.values["peak_pressure_MPa"][:, 0]
    share = (pressure < row.peak_pressure_p95_MPa).mean()
    assert share == pytest.approx(0.95, abs=0.035)


@pytest.mark.exact
def test_syrup_moves_as_its_lot_would() -> None:
    """Solids and grade by items of the mix are those of a lot that states them."""
    lots = {"corn syrup": Lot(dry_solids=0.77)}
    recipe = Recipe.of(cs.Mix.weigh(SYRUP, lots=lots), Doubts(dextrose_equivalent=2.0))
    up = {
        "syrup solids|light corn syrup": np.array([0.0, 2.0, 0.0]),
        "dextrose equivalent|light corn syrup": np.array([0.0, 0.0, 1.0]),
    }
    found = recipe.cast(recipe.weighed({}, 3), up)
    # The lot states solids, so their standard uncertainty is 0.005.
    wet = cs.Mix.weigh(SYRUP, lots={"corn syrup": Lot(dry_solids=0.78)})
    grades = [
        cs.Mix.weigh(
            SYRUP,
            lots={"corn syrup": Lot(dry_solids=0.77, dextrose_equivalent=grade)},
        )
        for grade in (40.0, 44.0)
    ]
    np.testing.assert_allclose(found.elements[1], wet.elements, rtol=1e-9)
    assert found.enthalpy[1] == pytest.approx(wet.enthalpy, rel=1e-9)
    assert found.density[1] == pytest.approx(wet.density, rel=1e-9)
    # 2 DE of the 4 DE between the neighbours.
    change = 0.5 * (np.array(grades[1].elements) - np.array(grades[0].elements))
    np.testing.assert_allclose(found.elements[2] - found.elements[0], change, atol=1e-9)


@pytest.mark.exact
def test_damp_powder_is_a_lot_with_moisture() -> None:
    doubts = Doubts(moisture=0.01, weighing=0.0)
    recipe = Recipe.of(cs.Mix.weigh(SUCROSE), doubts)
    damp = {"moisture|sucrose": np.array([-1.5])}  # half-normal: the size counts
    found = recipe.cast(recipe.weighed(damp, 1), damp)
    wet = cs.Mix.weigh(SUCROSE, lots={"sucrose": Lot(moisture=0.015)})
    np.testing.assert_allclose(found.elements[0], wet.elements, rtol=1e-9)
    assert found.water_as_cast[0] == pytest.approx(0.35 * 0.015)


@pytest.mark.exact
def test_weighing_error_is_one_of_grams() -> None:
    """+0.1 g of sucrose in 200 g: 70.1 of 200.1 g."""
    doubts = Doubts(weighing=1e-4, batch=0.2)
    recipe = Recipe.of(cs.Mix.weigh(SUCROSE), doubts)
    key = next(i.key for i in recipe.inputs() if i.key.endswith("|sucrose"))
    weighed = recipe.weighed({key: np.ones(1)}, 1)
    place = recipe.names.index("sucrose")
    assert weighed[0, place] == pytest.approx(70.1 / 200.1, rel=1e-12)
    assert recipe.one_step(1e-4)[place, place] == pytest.approx(70.1 / 200.1, rel=1e-12)


@pytest.mark.slow
@pytest.mark.exact
def test_alone_or_in_a_crowd() -> None:
    conditions = Conditions(kitchen=KITCHEN, motor=motor())
    crowd = draw([SUCROSE, SYRUP, SORBITOL], conditions=conditions, draws=200)
    for place, mix in enumerate([SUCROSE, SYRUP, SORBITOL]):
        alone = draw([mix], conditions=conditions, draws=200)
        for column in alone.columns:
            one, many = alone.values[column][:, 0], crowd.values[column][:, place]
            if column == "peak_pressure_MPa":  # rates are drawn together: other worlds
                one, many = (
                    f.interval(column, i) for f, i in ((alone, 0), (crowd, place))
                )
            np.testing.assert_array_equal(one, many, err_msg=column)
            np.testing.assert_allclose(
                alone.best[column][0], crowd.best[column][place], rtol=1e-12
            )


@pytest.mark.exact
def test_doubt_of_a_mix_that_jams() -> None:
    """Linear parts are infinite where a step jams; ranks of the draws still tell."""
    stiff = {"potassium nitrate": 60, "sucrose": 20, "glucose syrup 42 DE": 20}
    found = draw([stiff], conditions=Conditions(kitchen=KITCHEN), draws=1000)
    column = "pour_viscosity_Pa_s"
    assert np.isinf(found.values[column]).any()
    # Ranks and linear parts name the same input first where both can be had.
    parts = found.parts("relative_solids_20C", 0)
    assert parts[0].input.key == "kitchen|packing"
    unknown = {name: np.full_like(e, np.inf) for name, e in found.effects.items()}
    ranked = replace(found, effects=unknown)
    assert ranked.parts("relative_solids_20C", 0)[0].input == parts[0].input
    by_rank = ranked.parts(column, 0)
    assert sum(p.share for p in by_rank) == pytest.approx(1.0)
    assert all(p.input.kind in ("kitchen", "syrup") for p in by_rank[:3])
    assert all(math.isnan(p.effect) for p in by_rank)
    assert ranked.parts(column, 0, 0) == []
    # Nothing flows: every draw jams, and no input can be named.
    dry = draw([SUCROSE], conditions=Conditions(kitchen=KITCHEN), draws=200)
    assert np.isinf(dry.values[column]).all()
    assert dry.parts(column, 0) == []


@pytest.mark.exact
def test_same_seed_same_bits() -> None:
    one, two, other = (draw([SYRUP], draws=100, seed=s) for s in (7, 7, 8))
    for column in one.columns:
        assert one.values[column].tobytes() == two.values[column].tobytes()
        assert not np.array_equal(one.values[column], other.values[column])


@pytest.mark.exact
def test_what_is_shared_and_what_is_not() -> None:
    same = dict(reversed(SUCROSE.items()))
    again = {name: 2.0 * part for name, part in same.items()}
    found = UncertainMixes.of([SUCROSE, again, SORBITOL])
    weighed = [i for i in found.inputs if i.kind == "weighing"]
    assert len(weighed) == 4  # one recipe twice is one batch
    labels = [i.label for i in found.inputs if i.kind != "weighing"]
    assert len(labels) == len(set(labels))
    assert labels.count("moisture of potassium nitrate") == 1
    assert identity(cs.Mix.weigh(SUCROSE, name="a")) == identity(cs.Mix.weigh(again))
    less_water = cs.Mix.weigh(SYRUP, water_lost=0.5)
    assert identity(cs.Mix.weigh(SYRUP)) != identity(less_water)


@pytest.mark.exact
def test_uncertainty_of_an_enthalpy() -> None:
    """The rival without a stated uncertainty takes that of the catalogue's row, 3."""
    mix = cs.Mix.weigh(SUCROSE, alternatives={"sucrose": "combustion 1939"})
    sucrose = next(c.ingredient for c in mix.cast if c.ingredient.name == "sucrose")
    assert math.isnan(sucrose.enthalpy_uncertainty)
    assert enthalpy_u(sucrose) == 3000.0


@pytest.mark.slow
@pytest.mark.exact
def test_switching_off_what_matters_most(dry: UncertainMixes) -> None:
    """Without a share s of the variance the deviation is sqrt(1 - s) of before."""
    whole = draw(dry, draws=1000)
    parts = whole.parts("flame_temperature_K", 1)
    assert sum(p.share for p in parts) == pytest.approx(1.0)
    assert parts[0].input.key == "enthalpy|sorbitol"
    rest = draw(dry, draws=1000, without=["enthalpy|sorbitol"])
    was = whole.summary("flame_temperature_K", 1).deviation
    now = rest.summary("flame_temperature_K", 1).deviation
    assert now / was == pytest.approx(math.sqrt(1.0 - parts[0].share), rel=0.1)


@pytest.mark.exact
@pytest.mark.parametrize(
    ("wrong", "says"),
    [
        ({"draws": 10}, "draws is 10"),
        ({"seed": -1}, "seed -1"),
        ({"mixes": []}, "no mixes given"),
    ],
)
def test_refused(wrong: dict[str, object], says: str) -> None:
    given: dict[str, object] = {"mixes": [SUCROSE], **wrong}
    with pytest.raises(InputError, match=says):
        draw(given.pop("mixes"), **given)  # type: ignore[arg-type]


@pytest.mark.exact
def test_refused_settings() -> None:
    with pytest.raises(InputError, match="moisture is -1"):
        Doubts(moisture=-1.0)
    with pytest.raises(InputError, match="batch is 0"):
        Doubts(batch=0.0)
    with pytest.raises(InputError, match="exit pressure"):
        Conditions(exit_pressure=1e8)
    with pytest.raises(InputError, match="flow is 'slow'"):
        Conditions(flow="slow")
    with pytest.raises(UnknownNameError, match="kind of input"):
        draw([SUCROSE], draws=100, without=["wind"])
    with pytest.raises(UnknownNameError, match="drawn column"):
        draw([SUCROSE], draws=100).summary("exit_temperature_K", 0)
