"""What a result rests on travels with it, and is cited."""

from __future__ import annotations

import io
import json
import pickle
from typing import Any

import numpy as np
import pandas as pd
import pytest

import castsugar as cs
from castsugar.kitchen.parameters import EQUATIONS
from castsugar.mix.basis import references

# Exact: what was asked is what is told; keys are those of sources.csv.
pytestmark = pytest.mark.exact

SUCROSE = "KNO3:65 sucrose:35"
SYRUP = "KNO3:60 powdered sugar:20 corn syrup:20"


@pytest.fixture(scope="module")
def kitchen() -> cs.Kitchen:
    """A cook of 8 min, with draws and a seed of its own."""
    return cs.Kitchen(cook=cs.Cook.hold(392.15, 480.0), draws=256, seed=3)


@pytest.fixture(scope="module")
def table(kitchen: cs.Kitchen) -> pd.DataFrame:
    """Two mixes; the numbers that are asked with are numpy's."""
    return cs.evaluate(
        [SUCROSE, SYRUP],
        pressure=np.float64(5e6),  # type: ignore[arg-type]
        exit_pressure=np.float64(9e4),
        kitchen=kitchen,
        windows=False,
    )


def plain_types(value: Any) -> set[type]:
    """Return the types of a value and of all that it holds."""
    found = {type(value)}
    inner = value.values() if isinstance(value, dict) else value
    if isinstance(value, dict | list):
        found = found.union(*map(plain_types, inner)) if inner else found
    return found


def test_attrs_are_what_was_asked(table: pd.DataFrame) -> None:
    """Conditions, cook, draws and versions, as plain values."""
    told = table.attrs
    assert plain_types(told) <= {dict, list, str, int, float, type(None)}
    assert json.loads(json.dumps(told)) == told
    assert told["castsugar"] == cs.__version__
    assert told["species_data"] == cs.load_database().version
    asked = {
        "pressure_Pa": 5e6,
        "exit_pressure_Pa": 9e4,
        "nozzle_flow": "no-solidification",
        "product_set": "nasa-1993",
        "cook_times_s": [0.0, 480.0],
        "cook_temperatures_K": [392.15, 392.15],
        "draws": 256,
        "seed": 3,
    }
    assert {key: told[key] for key in asked} == asked


def test_attrs_last(table: pd.DataFrame) -> None:
    """What pandas does: kept by choosing, pickle, Parquet and concat of equals."""
    assert pickle.loads(pickle.dumps(table)).attrs == table.attrs
    buffer = io.BytesIO()
    table.to_parquet(buffer)
    assert pd.read_parquet(buffer).attrs == table.attrs
    assert table[table["status"] == "ok"].attrs == table.attrs
    assert pd.concat([table, table]).attrs == table.attrs


def test_attrs_of_unlike_tables_are_dropped(table: pd.DataFrame) -> None:
    """Tables of other conditions leave none together, and then nothing is cited."""
    both = pd.concat([table, cs.evaluate(SUCROSE, pressure=4e6)])
    assert both.attrs == {}
    with pytest.raises(cs.InputError, match="concat drops them"):
        cs.cite(both)


def test_a_pressure_a_mix() -> None:
    """Several pressures are a list, equal ones are one."""
    one = cs.evaluate([SUCROSE, SYRUP], pressure=[4e6, 4e6], exit_pressure=None)
    assert one.attrs["pressure_Pa"] == 4e6
    assert one.attrs["exit_pressure_Pa"] is None
    two = cs.evaluate([SUCROSE, SYRUP], pressure=[4e6, 5e6], exit_pressure=None)
    assert two.attrs["pressure_Pa"] == [4e6, 5e6]


def test_only_what_was_used_is_cited(table: pd.DataFrame, kitchen: cs.Kitchen) -> None:
    """Sources follow the mix, the product set and whether it was cooked."""
    # Read in ingredients.csv, syrups.csv and premixes.csv: sucrose and nitrate are of
    # the handbook, powdered sugar and the retail syrup of their own sources.
    dry = cs.evaluate(SUCROSE, pressure=5e6).attrs["sources"]
    assert dry == ["crc-handbook", "nasa-tm-4513", "cantera-3.2"]
    own = {"powdered-sugar-specification", "usda-fdc-19350", "codata"}
    assert own <= set(table.attrs["sources"])
    assert set(EQUATIONS) <= set(table.attrs["sources"])
    assert not own & set(dry)
    newer = cs.evaluate(SUCROSE, species=cs.species_set("nasa-2002"))
    assert "nasa-tp-2002-211556" in newer.attrs["sources"]
    assert newer.attrs["product_set"] == "nasa-2002"
    cooked = cs.kitchen_table(SUCROSE, kitchen).attrs
    assert "nasa-tm-4513" not in cooked["sources"]
    assert "pressure_Pa" not in cooked
    assert cooked["seed"] == 3


def test_blends_cite_the_items_that_they_hold() -> None:
    """An item of which no row holds anything is not cited."""
    items = ["KNO3", "sucrose", "corn syrup"]
    without = cs.blend(items, np.array([[0.65, 0.35, 0.0]]))
    known = cs.evaluate(without).attrs["sources"]
    assert known == cs.evaluate(SUCROSE).attrs["sources"]
    some = cs.blend(items, np.array([[0.65, 0.25, 0.10]]))
    assert "usda-fdc-19350" in cs.evaluate(some).attrs["sources"]


def test_every_reference_is_known(table: pd.DataFrame) -> None:
    """Every key of a basis is a row of sources.csv, and its citation is printed."""
    known = cs.load_database().sources
    assert set(table.attrs["sources"]) <= set(known)
    assert set(EQUATIONS) <= set(known)
    text = cs.cite(table)
    for one in references(table.attrs):
        assert f"[{one['key']}] {known[one['key']].citation}" in text
    assert text.startswith(f"castsugar {cs.__version__}, species data ")
    assert "\nseed: 3\n" in text


def test_objects_cite_themselves() -> None:
    """State, comparison and sensitivities say what their frames say."""
    state = cs.equilibrium(SUCROSE, pressure=5e6)
    assert state.to_frame().attrs == state.basis
    assert cs.cite(state) == state.cite()
    assert state.basis["pressure_Pa"] == 5e6
    moves = cs.sensitivities(SUCROSE)
    assert moves.to_frame().attrs["sources"] == state.basis["sources"]
    both = cs.compare([SUCROSE, "KNO3:65 sorbitol:35"], draws=100, seed=5)
    assert both.to_frame().attrs == both.basis
    assert (both.basis["draws"], both.basis["seed"]) == (100, 5)
    assert "[nist-webbook]" in both.cite()  # the enthalpy of sorbitol


@pytest.mark.parametrize(
    ("source", "said"),
    [
        ({}, "[user] numbers stated by whoever asked"),
        ({"source": "Bogdanov 2010, table 3"}, "[user] Bogdanov 2010, table 3"),
        ({"source": "codata"}, "[codata] CODATA key values for thermodynamics"),
    ],
)
def test_own_numbers_are_said(source: dict[str, str], said: str) -> None:
    """What the caller names is cited in the caller's words, or by the key they are."""
    own = cs.Ingredient(
        name="mine", formula="C6H14O6", enthalpy_of_formation=-1.35e6, **source
    )
    table = cs.evaluate(cs.Mix.put_together({"KNO3": 65, own: 35}))
    assert said in cs.cite(table).splitlines()


def test_both_product_sets_are_cited_where_both_are_used() -> None:
    """The difference of the two is part of every standard uncertainty of the data."""
    for name, other in (("nasa-1993", "nasa-2002"), ("nasa-2002", "nasa-1993")):
        species = cs.species_set(name)
        one = cs.evaluate(SUCROSE, species=species).attrs
        two = cs.evaluate(SUCROSE, species=species, data_uncertainty=True).attrs
        assert "second_product_set" not in one
        assert two["second_product_set"] == other
        assert "nasa-tp-2002-211556" in two["sources"]
    options = {"draws": 100, "baseline": 0}
    both = cs.compare([SUCROSE, "KNO3:65 sorbitol:35"], **options)
    assert both.basis["second_product_set"] == "nasa-2002"


@pytest.mark.parametrize("thing", [3, "text", None, pd.DataFrame()])
def test_what_rests_on_nothing_known_is_refused(thing: Any) -> None:
    """One line says what can be cited."""
    with pytest.raises(cs.InputError, match="does not say what it rests on"):
        cs.cite(thing)
