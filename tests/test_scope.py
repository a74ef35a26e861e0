"""What a nitrate-sugar mix is: by its fuel, at every door."""

from __future__ import annotations

import csv
import re
from pathlib import Path

import numpy as np
import pytest

import castsugar as cs
from castsugar.cli.main import main

# Exact: the limits are those that README states: other combustibles at
# most 3 % of the mass, sugars, polyols and syrup solids at least nine tenths of what
# burns. Shares by hand beside each mix.
pytestmark = pytest.mark.exact

Capture = pytest.CaptureFixture[str]

INSIDE = [
    {"KNO3": 65, "sucrose": 32, "charcoal": 3},  # 3 % of the mass, 3/35 of the fuel
    {"KNO3": 80, "sucrose": 18, "graphite": 2},  # 2 %, 2/20
    {"KNO3": 97, "sorbitol": 2.7, "carbon black": 0.3},  # 0.3 %, 0.3/3
    {"KNO3": 60, "corn syrup": 37, "starch": 3},  # 3 %, 3 to 28.4 of dry solids
    {"KNO3": 65, "powdered sugar": 35},  # its own starch is sugar
    {"KNO3": 65, "powdered sugar": 32, "charcoal": 3},
    {"KNO3": 65, "maltodextrin": 35},  # solids of a syrup
    {"KNO3": 65, "glycerol": 35},  # a polyol
    {"KNO3": 65, "sucrose": 35, "red iron oxide": 5, "inert": 5},  # these do not burn
    # Without a sugar there is nothing to burn: a row, no refusal.
    {"KNO3": 100},
    {"KNO3": 99, "water": 1},
    {"water": 1},
    {"inert": 1},
    # Nor is sugar alone a matter of scope: it stays in the kitchen.
    {"powdered sugar": 100},
    {"sucrose": 100},
    {"corn syrup": 100},
    {"sucrose": 50, "corn syrup": 50},
]
OUTSIDE = [
    ({"KNO3": 65, "charcoal": 35}, "charcoal 35 % of the mass, 100 %"),
    ({"KNO3": 65, "graphite": 35}, "graphite 35 %"),
    ({"KNO3": 65, "starch": 35}, "starch 35 %"),
    (
        {"KNO3": 65, "sucrose": 31.9, "charcoal": 3.1},
        "charcoal 3.1 % of the mass, 8.86",
    ),
    (
        {"KNO3": 80, "sucrose": 17.9, "graphite": 2.1},
        "graphite 2.1 % of the mass, 10.5",
    ),
    ({"KNO3": 97, "sorbitol": 2.6, "carbon black": 0.4}, "carbon black 0.4 %"),
    (
        {"KNO3": 65, "sucrose": 31, "charcoal": 2, "graphite": 2},
        "charcoal 2 %, graphite 2 % of the mass",
    ),
    ({"KNO3": 99, "graphite": 1}, "graphite 1 %"),
    ({"charcoal": 1}, "charcoal 100 %"),
]


def texts(recipe: dict[str, float]) -> str:
    """The recipe as it is typed."""
    return " ".join(f"{name}:{amount:g}" for name, amount in recipe.items())


def blend(recipe: dict[str, float]) -> cs.Blends:
    """The recipe as one of many."""
    shares = np.array([list(recipe.values())], dtype=float)
    return cs.blend(list(recipe), shares / shares.sum())


@pytest.mark.parametrize("recipe", INSIDE, ids=texts)
def test_inside(recipe: dict[str, float]) -> None:
    """Weighed, also as one of many, and with whatever water gone."""
    assert len(blend(recipe)) == 1
    assert cs.Mix.weigh(recipe, water_lost=0.99).name == texts(recipe)


@pytest.mark.parametrize(("recipe", "told"), OUTSIDE, ids=str)
def test_outside(recipe: dict[str, float], told: str) -> None:
    """Refused with what is too much and what is allowed; lots change nothing."""
    for weigh in (cs.Mix.weigh, blend, lambda r: cs.evaluate([cs.Mix.weigh(r)])):
        with pytest.raises(cs.RefusedError) as caught:
            weigh(recipe)
        assert f"it holds {told}" in str(caught.value)
        assert "at most 3 % of the mass and a tenth of all that burns" in str(
            caught.value
        )


def test_the_faulty_row_of_many_is_named() -> None:
    """Not the first, and not all of them."""
    shares = np.array([[0.65, 0.35, 0.0], [0.65, 0.30, 0.05], [0.65, 0.33, 0.02]])
    with pytest.raises(
        cs.RefusedError, match=r"'KNO3:65% sugar:30% charcoal:5%' is re"
    ):
        cs.blend(["KNO3", "sugar", "charcoal"], shares)
    assert len(cs.blend(["KNO3", "sugar", "charcoal"], shares[[0, 2]])) == 2


def test_too_much_or_no_nitrate_is_a_row() -> None:
    """By name, with its status."""
    table = cs.evaluate(
        [cs.Mix.weigh({"KNO3": 97, "sucrose": 3}), cs.Mix.weigh({"sucrose": 1})]
    )
    assert list(table["name"]) == ["KNO3:97 sucrose:3", "sucrose:1"]


def test_sugar_without_nitrate_stays_in_the_kitchen() -> None:
    """Sugar and syrup alone are judged; nothing is refused."""
    kitchen = cs.Kitchen(cook=cs.Cook.hold(392.15, 480.0), draws=100)
    mixes = [cs.Mix.weigh(r) for r in INSIDE[-4:]]
    table = cs.kitchen_table(mixes, kitchen)
    assert not table["flags"].str.contains("not computed").any()


BENCH = """\
[recipes]
coal = "KNO3:65 charcoal:35"

[search]
maximise = "characteristic_velocity_m_s"
[search.ingredients]
KNO3 = "50 % to 70 %"
sucrose = "27 % to 50 %"
"""
COAL = "KNO3:65 charcoal:35"
GOOD = "KNO3:65 sucrose:35"
COOK = ["--cook", "119 C", "--minutes", "8"]
DOORS = [
    ["evaluate", COAL],
    ["evaluate", "coal", "--bench", "bench.toml"],
    ["evaluate", GOOD, COAL],
    ["ballistics", COAL],
    ["sweep", COAL, "--vary", "KNO3"],
    ["sweep", "KNO3:65 sucrose:33 charcoal:2", "--vary", "charcoal", "--from", "0%",
     "--to", "5%"],
    ["map", "KNO3", "sucrose", "charcoal"],
    ["map", "KNO3", "sucrose", "water", "--with", "charcoal:4%"],
    ["kitchen", "judge", COAL, *COOK],
    ["kitchen", "pan-weight", "--recipe", COAL, "--batch", "200 g", "--lost", "2 g",
     *COOK],
    ["compare", GOOD, COAL],
    ["justify", GOOD, COAL],
    ["weigh", COAL, "--batch", "200 g"],
    ["weigh", "coal", "--bench", "bench.toml", "--batch", "200 g"],
    ["plan", "pieces", COAL, "--batch", "200 g"],
    ["plan", "correct", COAL, "--batch", "200 g", "--extra", "KNO3:1 g"],
    ["plan", "pans", "coal", "--bench", "bench.toml", "--batch", "200 g"],
    ["plan", "water", COAL, "--left", "1 %", *COOK],
    ["plan", "heat", COAL, *COOK],
    ["batch", "new", COAL, "--batch", "200 g", "--date", "2026-05-01"],
    ["search", "bench.toml"],  # a mix that was tried
]  # fmt: skip


@pytest.mark.parametrize("words", DOORS, ids=lambda w: " ".join(w)[:40])
def test_every_command_refuses_charcoal_as_the_fuel(
    capsys: Capture, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, words: list[str]
) -> None:
    """One line, exit code 2, nothing written."""
    monkeypatch.chdir(tmp_path)
    Path("bench.toml").write_text(BENCH, "utf-8")
    assert main(words) == 2
    out, err = capsys.readouterr()
    assert (out, err.count("\n")) == ("", 1)
    assert "refused: " in err
    assert "sugars, polyols and syrups are the fuel here" in err
    assert [p.name for p in tmp_path.iterdir()] == ["bench.toml"]


SPACES = [
    'charcoal = "0 % to 5 %"',
    'charcoal = "4 %"',
    'black = "0 % to 10 %"\n[search.choices]\nblack = ["red iron oxide", "graphite"]',
]


@pytest.mark.parametrize("line", SPACES)
def test_a_bench_space_that_holds_too_much(
    capsys: Capture, tmp_path: Path, line: str
) -> None:
    """The bound is refused, with its line and what it may be."""
    bench = tmp_path / "bench.toml"
    bench.write_text(BENCH.replace('coal = "KNO3:65 charcoal:35"', "") + line, "utf-8")
    assert main(["search", str(bench)]) == 2
    err = capsys.readouterr().err
    assert re.search(r"line (9|11): \[search.(ingredients|choices)\] (char|black)", err)
    assert "let it be at most 3 %" in err


def test_a_python_space_that_holds_too_much() -> None:
    """Bounds, fixed parts and alternatives of a choice."""
    base = {"KNO3": (0.5, 0.7), "sucrose": (0.2, 0.5)}
    slots = {"black": ["red iron oxide", "graphite"]}
    for more, choices in (
        ({"charcoal": (0.0, 0.05)}, None),
        ({"charcoal": 0.04}, None),
        ({"black": (0.0, 0.1)}, slots),
    ):
        with pytest.raises(cs.RefusedError, match="let it be at most 3 %"):
            cs.search(base | more, choices=choices)
    with pytest.raises(cs.RefusedError, match="charcoal 35 % of the mass"):
        cs.search(base, tried={"coal": {"KNO3": 65, "charcoal": 35}})


def test_a_search_never_leaves_the_scope() -> None:
    """It goes to the edge where it would gain beyond it, rounded recipes too."""
    # Every percent of graphite for sucrose heats a lean mix: beyond a tenth of what
    # burns it would still gain. At 78 % of nitrate that is 2.2 %, less than the 3 %.
    found = cs.search(
        {"KNO3": (0.78, 0.82), "sucrose": (0.1, 0.25), "graphite": (0.0, 0.03)},
        objective="flame_temperature_K",
        batch=0.2,
        scale_step=1e-4,
        confirm=False,
        tried={"mine": {"KNO3": 80, "sucrose": 19, "graphite": 1}},
    )
    best = found.found.recipe
    assert best["graphite"] == pytest.approx(0.022, abs=1e-6)
    # The edge is named and has no price.
    (edge,) = (row for row in found.found.rows if row.name.endswith("(scope)"))
    assert edge.price is None
    mixes = np.vstack([found.found.trials.fractions, found.weighable.fractions])
    assert (mixes[:, 2] <= 0.1 * (mixes[:, 1] + mixes[:, 2]) + 1e-9).all()


def test_a_map_leaves_out_what_lies_outside(capsys: Capture, tmp_path: Path) -> None:
    """1 % graphite: rows with less than 9 % of sucrose say why they are empty."""
    table = tmp_path / "map.csv"
    words = ["map", "KNO3", "sucrose", "water", "--with", "graphite:1%", "--step", "5%"]
    assert main([*words, "--csv", str(table)]) == 0
    capsys.readouterr()
    with table.open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    outside = [r for r in rows if "nine tenths" in r["status"]]
    assert outside
    assert {float(r["recipe.sucrose_mass_percent"]) < 9.0 for r in outside} == {True}
    assert all(r["flame_temperature_K"] == "" for r in outside)
    inside = [r for r in rows if float(r["recipe.sucrose_mass_percent"]) >= 9.0]
    assert len(inside) + len(outside) == len(rows)


def test_an_error_of_the_scale_is_no_refusal(capsys: Capture) -> None:
    """The sheet of a mix at the limit is judged, and too much on it is corrected."""
    words = ["weigh", "KNO3:65 sucrose:32 charcoal:3", "--batch", "200 g"]
    assert main(words) == 0
    assert main([*words, "--actual", "charcoal=7 g"]) in (0, 1)
    assert "charcoal" in capsys.readouterr().out


def test_a_change_at_the_limit_keeps_its_pictures() -> None:
    """What stands around two mixes is clipped to the scope."""
    from castsugar.comparison.neighbours import neighbours_of
    from castsugar.optimize.settings import Settings

    base = cs.Mix.weigh({"KNO3": 65, "sucrose": 35})
    new = cs.Mix.weigh({"KNO3": 65, "sucrose": 32.5, "charcoal": 2.5})
    around = neighbours_of(base, new, Settings(items=()))
    assert around.plane is not None
    inside = (around.plane.rows >= 0.0).all(axis=1)
    names = around.outcome.found.ingredients
    coal = around.plane.fractions[inside][:, names.index("charcoal")]
    assert 0.0 < coal.max() <= 0.03 + 1e-9


HYDROGEN = cs.Ingredient(name="hydrogen", formula="H2", enthalpy_of_formation=0.0)
REFERENCE = {"KNO3": 65.0, "sucrose": 34.0, HYDROGEN: 1.0}


def test_reference_fuels_serve_checks_only() -> None:
    """Evaluated with their flag; nothing is decided by them."""
    mix = cs.Mix.weigh(REFERENCE)
    assert "reference only" in cs.evaluate([mix])["flags"][0]
    assert cs.performance(mix).states[0].temperature > 1000.0
    assert cs.equilibrium(mix).temperature > 1000.0
    base = cs.Mix.weigh({"KNO3": 65, "sucrose": 35})
    for call in (
        lambda: cs.compare([base, mix], draws=100),
        lambda: cs.justify(base, mix, draws=100),
        lambda: cs.sensitivities(mix),
        lambda: cs.blend(["KNO3", HYDROGEN], np.array([[0.9, 0.1]])),
    ):
        with pytest.raises(
            cs.RefusedError, match="'hydrogen', which is none of the cat"
        ):
            call()


def test_reference_fuels_do_not_hide_others() -> None:
    """Charcoal of the catalogue beside them is counted all the same."""
    with pytest.raises(cs.RefusedError, match="charcoal 10 % of the mass, 100 %"):
        cs.Mix.weigh({"KNO3": 65, "charcoal": 10, HYDROGEN: 25})
