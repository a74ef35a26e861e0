"""A row stands for itself: neighbours, order and the way in change nothing."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
import pytest
from kitchen_checks.pots import kitchen, weigh

import castsugar as cs
from castsugar import COLUMNS
from castsugar.kitchen.parameters import unmeasured

pytestmark = pytest.mark.exact

KITCHEN = [c.key for c in COLUMNS if c.group == "kitchen"]
NUMBERS = [k for k in KITCHEN if k != "flow_class"]

#: Slow drying and a long time: the sugar's limit leaves a short, quick pour window.
BELIEF = unmeasured({"syrup_solids": (0.7, 0.3), "drying_time": (1e5, 0.3)})
RULES = kitchen(106.0, 60.0, draws=20, belief=BELIEF)


def _same(one: pd.DataFrame, two: pd.DataFrame, columns: list[str]) -> None:
    for key in columns:
        np.testing.assert_allclose(
            one[key].to_numpy(dtype=float),
            two[key].to_numpy(dtype=float),
            rtol=1e-12,
            atol=1e-12,
            err_msg=key,
        )
    for key in ("flow_class", "flags"):
        assert list(one[key]) == list(two[key]), key


def _mixes() -> list[cs.Mix]:
    plain = [weigh(60, 40 - s, s) for s in range(0, 41, 5)]
    return [
        *plain,
        cs.Mix.weigh({"KNO3": 65, "sorbitol": 35}),
        cs.Mix.weigh({"KNO3": 60, "sorbitol": 20, "sucrose": 10, "corn syrup": 10}),
        cs.Mix.weigh({"KNO3": 60, "erythritol": 25, "sorbitol": 15}),
        cs.Mix.weigh({"KNO3": 60, "dextrose": 20, "corn syrup": 20}),
        cs.Mix.weigh({"KNO3": 65, "mannitol": 35}),
        cs.Mix.weigh({"KNO3": 60, "powdered sugar": 20, "42 DE syrup": 20}),
        cs.Mix.weigh({"KNO3": 55, "sucrose": 20, "corn syrup": 10, "HFCS-55": 15}),
        cs.Mix.weigh({"KNO3": 60, "sucrose": 25, "water": 15}),
        cs.Mix.weigh({"corn syrup": 1}),
        weigh(60, 20, 20, water_lost=0.3),
    ]


@pytest.mark.slow
def test_neighbours_do_not_matter() -> None:
    """Exact: alone, in a pair, shuffled, and behind a full block of others."""
    mixes = _mixes()
    table = cs.kitchen_table(mixes, RULES)
    columns = [*NUMBERS, "water_as_cast_percent", "density_kg_m3"]
    alone = [cs.kitchen_table(mix, RULES) for mix in mixes]
    _same(table, pd.concat(alone, ignore_index=True), columns)
    pair = cs.kitchen_table([mixes[9], mixes[3]], RULES)
    _same(pair, table.iloc[[9, 3]].reset_index(drop=True), columns)
    order = np.random.default_rng(5).permutation(len(mixes))
    shuffled = cs.kitchen_table([mixes[i] for i in order], RULES)
    _same(shuffled, table.iloc[order].reset_index(drop=True), columns)


def test_blocks_do_not_matter() -> None:
    """Exact: more rows than a block of 64 holds, beside a mix of its own."""
    shares = np.linspace(0.05, 0.35, 150)
    rows = np.column_stack([np.full(150, 0.6), 0.4 - shares, shares])
    many = cs.kitchen_table(cs.blend(["KNO3", "sucrose", "corn syrup"], rows), RULES)
    for place in (0, 63, 64, 149):
        one = cs.blend(["KNO3", "sucrose", "corn syrup"], rows[place : place + 1])
        few = cs.kitchen_table(one, RULES)
        _same(many.iloc[[place]].reset_index(drop=True), few, NUMBERS)


ITEMS = ["KNO3", "sucrose", "corn syrup", "water", "starch", "red iron oxide"]
SHARES = np.array(
    [
        [0.60, 0.20, 0.20, 0.0, 0.0, 0.0],
        [0.60, 0.20, 0.10, 0.05, 0.03, 0.02],
        [0.65, 0.35, 0.0, 0.0, 0.0, 0.0],
        [0.60, 0.0, 0.39, 0.0, 0.0, 0.01],
    ]
)


@pytest.mark.parametrize(
    "lots",
    [
        {},
        {"corn syrup": cs.Lot(dry_solids=0.8)},
        {"corn syrup": cs.Lot(dry_solids=0.8, dextrose_equivalent=42.0)},
        {"corn syrup": cs.Lot(dextrose_equivalent=60.0, inert=0.01)},
        {"KNO3": cs.Lot(moisture=0.01, assay=0.98)},
        {"sucrose": cs.Lot(moisture=0.02)},
    ],
    ids=lambda lots: str(*lots.values()) if lots else "none",
)
def test_blend_is_weighing(lots: dict[str, cs.Lot]) -> None:
    """Exact: many at once are the same mixes as one by one, with their lots."""
    _blend_is_weighing(lots, 0.0)


def test_blend_with_lost_water_is_weighing() -> None:
    """Exact: a stated loss stays stated on both ways."""
    _blend_is_weighing({"corn syrup": cs.Lot(dry_solids=0.8)}, 0.2)


def _blend_is_weighing(lots: dict[str, cs.Lot], lost: float) -> None:
    many = cs.kitchen_table(cs.blend(ITEMS, SHARES, water_lost=lost, lots=lots), RULES)
    found = []
    for row in SHARES:
        recipe: dict[Any, float] = dict(zip(ITEMS, row, strict=True))
        held = {i for i, s in recipe.items() if s > 0.0}
        own = {k: v for k, v in lots.items() if k in held}
        found.append(cs.Mix.weigh(recipe, basis="fraction", lots=own, water_lost=lost))
    columns = [*NUMBERS, "water_as_weighed_percent", "water_as_cast_percent"]
    _same(many, cs.kitchen_table(found, RULES), [*columns, "density_kg_m3"])


def test_blend_without_nitrate_is_weighing() -> None:
    """Exact: plain syrup and sugar, for trials, as well."""
    shares = np.array([[0.5, 0.5, 0.0], [0.0, 0.8, 0.2]])
    many = cs.kitchen_table(cs.blend(["sucrose", "corn syrup", "water"], shares), RULES)
    each = [
        cs.Mix.weigh({"sucrose": a, "corn syrup": b, "water": c}) for a, b, c in shares
    ]
    _same(many, cs.kitchen_table(each, RULES), [*NUMBERS, "water_as_cast_percent"])


def test_blend_with_a_gap_and_two_syrups() -> None:
    """Exact: gaps and mixed syrups are found row by row."""
    items = ["KNO3", "sucrose", "xylitol", "corn syrup", "42 DE syrup"]
    shares = np.array(
        [[0.6, 0.2, 0.0, 0.1, 0.1], [0.6, 0.2, 0.1, 0.1, 0.0], [0.6, 0.2, 0, 0, 0.2]]
    )
    many = cs.kitchen_table(cs.blend(items, shares), RULES)
    each = [cs.Mix.weigh(dict(zip(items, row, strict=True))) for row in shares]
    _same(many, cs.kitchen_table(each, RULES), [*NUMBERS, "water_as_cast_percent"])
    assert many.flow_class[1] == "not computed"
    assert many.flow_class[0] != "not computed" != many.flow_class[2]


def test_evaluate_shows_the_same_kitchen() -> None:
    """Exact: the columns of evaluate are those of kitchen_table, both ways in."""
    blends = cs.blend(ITEMS, SHARES[:3])
    mixes = [
        cs.Mix.weigh(dict(zip(ITEMS, row, strict=True)), basis="fraction")
        for row in SHARES[:3]
    ]
    wanted = cs.kitchen_table(mixes, RULES)
    for given in (blends, mixes):
        table = cs.evaluate(given, kitchen=RULES)
        _same(table, wanted, NUMBERS)
        np.testing.assert_allclose(
            table.water_as_cast_percent, wanted.water_as_cast_percent, rtol=1e-12
        )
    assert list(table.columns[: len(KITCHEN)]) != KITCHEN
    assert set(KITCHEN) <= set(table.columns)


def test_columns_are_those_of_the_contract() -> None:
    """Every kitchen column is there, in the order of COLUMNS; no others sneak in."""
    table = cs.kitchen_table(weigh(60, 20, 20), RULES)
    assert [c for c in table.columns if c in KITCHEN] == KITCHEN
    assert table.name[0] == "KNO3:60 sucrose:20 corn syrup:20"
    empty = cs.kitchen_table([], RULES)
    assert list(empty.columns) == list(table.columns)
    assert len(empty) == 0


def test_a_mix_of_nothing_but_water_keeps_its_row() -> None:
    """A table never raises for one row: the others are still told."""
    mixes = [weigh(60, 20, 20), cs.Mix.weigh({"water": 1})]
    table = cs.kitchen_table(mixes, RULES)
    assert len(table) == 2
    alone = cs.kitchen_table(mixes[0], RULES)
    _same(table.iloc[[0]], alone, NUMBERS)


def test_grains_of_unknown_density_keep_their_row() -> None:
    """No density, no volume: said in the flags, not raised."""
    pigment = cs.Ingredient(
        name="my pigment",
        formula="Fe2O3",
        enthalpy_of_formation=-8.2e5,
        role="catalyst",
    )
    mix = cs.Mix.weigh({"KNO3": 60, "sucrose": 20, "corn syrup": 19, pigment: 1})
    row = cs.kitchen_table(mix, RULES).iloc[0]
    assert row.flow_class == "not computed"
    assert "my pigment" in row["flags"]


def test_without_windows_all_else_is_the_same() -> None:
    """The window is left out, nothing else; without a kitchen there is none anyway."""
    mixes = _mixes()
    whole = cs.evaluate(mixes, kitchen=RULES)
    short = cs.evaluate(mixes, kitchen=RULES, windows=False)
    window = [key for key in KITCHEN if key.startswith("pour_window")]
    assert whole[window].notna().any(axis=None)
    assert short[window].isna().all(axis=None)
    pd.testing.assert_frame_equal(
        whole.drop(columns=window), short.drop(columns=window)
    )
