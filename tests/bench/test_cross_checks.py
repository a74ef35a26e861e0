"""Entries that contradict one another, and what each does to the margin."""

from __future__ import annotations

import copy
import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from castsugar.bench.cross_checks import contradictions, levers
from castsugar.cli.main import main
from castsugar.motor.burn_evidence import FIRING, STRANDS, Burned
from castsugar.motor.burn_model import BurnModel
from castsugar.motor.burn_widths import NAMES, Widths, mean, of_data
from castsugar.motor.scatter import Scatter
from shared.mistaken_benches import Bench, sound, write

#: Density without voids and c*, as if computed. [kg/m3], [m/s]
DENSITY, VELOCITY = 1812.0, 902.0

SIZES = {"throat": 10.0, "outer": 40.0, "core": 20.0, "length": 60.0, "segments": 3}


def said(bench: Bench, folder: Path) -> tuple[str, ...]:
    world = write(bench, folder)
    return contradictions(world, density=DENSITY, characteristic_velocity=VELOCITY)


@pytest.fixture
def fired() -> Bench:
    """A bench whose firing keeps p = rho c* r Kn, web for web, to the last digit."""
    bench = sound(2) | SIZES | {"density_ratio": 95.0, "strands": [], "proof": 0.0}
    grains = 3 * 60.0 * math.pi * (40.0**2 - 20.0**2) / 4.0
    kn = grains / 10.0 / (math.pi * 10.0**2 / 4.0)
    pressure = 0.95 * DENSITY * 0.9 * VELOCITY * kn * 9e-3
    one = {"pressure": 1e-6 * pressure, "rate": 9.0, "c_star": 90.0, "nozzle": 92.0}
    return bench | {"firings": [one | {"batch": "pot 2"}], "borrowed": "sucrose 65/35"}


@pytest.mark.exact
@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({}, ""),
        ({"throat": 10.3}, ""),  # Kn less 6 %
        ({"throat": 10.6}, "Kn"),  # less 11 %
        ({"throat": 9.4}, "Kn"),
        ({"segments": 2}, "Kn"),
        ({"length": 66.0}, "Kn"),
        ({"density_ratio": 86.0}, "Kn"),
    ],
)
def test_throat_grains_and_density_against_firings(
    changes: dict[str, Any], words: str, fired: Bench, tmp_path: Path
) -> None:
    """p / (rho c* r) of a firing is its Kn, and grain volume / web / throat another."""
    found = said(fired | changes, tmp_path)
    assert [words in one for one in found] == ([True] if words else [])


@pytest.mark.exact
def test_who_vouches_for_a_firing_is_believed(fired: Bench, tmp_path: Path) -> None:
    """``accepted`` takes it out of what throat and grain are held against."""
    world = write(fired | {"throat": 12.0}, tmp_path)
    path = tmp_path / "bench.toml"
    text = path.read_text("utf-8")
    assert "[[motor.firing]]" in text
    path.write_text(
        text.replace("[[motor.firing]]", '[[motor.firing]]\naccepted = "old nozzle"'),
        "utf-8",
    )
    from castsugar import bench

    at = {"density": DENSITY, "characteristic_velocity": VELOCITY}
    assert contradictions(world, **at)
    assert not contradictions(bench.read(path), **at)


@pytest.mark.exact
def test_a_pressure_read_low_parts_the_efficiencies(
    fired: Bench, tmp_path: Path
) -> None:
    """c* falls with the pressure, the thrust coefficient rises: 0.9, and 1 / 0.9."""
    (one,) = fired["firings"]
    low = {"pressure": 0.9 * one["pressure"], "c_star": 81.0, "nozzle": 99.0}
    (found,) = said(fired | {"firings": [one | low]}, tmp_path)
    assert "read too low" in found
    assert "81 % of the ideal c*" in found
    high = {"pressure": one["pressure"] / 0.9, "c_star": 100.0, "nozzle": 82.8}
    (found,) = said(fired | {"firings": [one | high]}, tmp_path)
    assert "read too high" in found


@pytest.mark.exact
@pytest.mark.parametrize(("share", "count"), [(1.0, 0), (1.04, 0), (0.94, 1), (1.4, 1)])
def test_grains_are_weighed(
    share: float, count: int, fired: Bench, tmp_path: Path
) -> None:
    """Number, sizes and density make a mass."""
    grains = 3 * 60.0 * math.pi * (40.0**2 - 20.0**2) / 4.0
    mass = share * 1e-6 * grains * 0.95 * DENSITY
    found = said(fired | {"grain_mass": mass}, tmp_path)
    assert len(found) == count
    assert all("grains weigh" in one for one in found)


@pytest.mark.exact
def test_strands_of_other_lots_and_of_the_example(tmp_path: Path) -> None:
    bench = sound(1)
    assert said(bench, tmp_path) == ()
    old = copy.deepcopy(bench)
    for row in old["strands"]:
        row[4] = "2025-08-01"
    (found,) = said(old, tmp_path)
    assert "burned on 2025-08-01" in found
    lent = [[50.0, t, p, "a", "2026-05-02"] for t, p in ((21.4, 0.1013), (11.3, 1.0))]
    (found,) = said(bench | {"strands": lent}, tmp_path)
    assert "those of the example" in found


@pytest.mark.exact
def test_the_level_of_some_rows_is_what_the_others_leave() -> None:
    """The same by conditioning: y_g - K_gr K_rr^-1 y_r, and its Schur complement."""
    known = Scatter()
    at = Widths(**{name: np.array([getattr(known, name)]) for name in NAMES})
    shares = {"potassium nitrate": 0.6, "sucrose": 0.2, "light corn syrup": 0.2}
    burned = [
        Burned(
            name="base",
            fractions=shares,
            batch=batch,
            kind=FIRING if fire else STRANDS,
            pressure=np.array(pressures),
            rate=np.array(rates),
        )
        for batch, fire, pressures, rates in (
            ("a", False, [1e6, 2e6, 4e6], [6e-3, 8e-3, 10e-3]),
            ("b", False, [1e6, 4e6], [5e-3, 9e-3]),
            ("c", True, [3e6], [12e-3]),
        )
    ]
    model = BurnModel(burned, known, at)
    rows = model.rows
    own = np.asarray(rows.places.motor, dtype=bool)
    assert own.sum() == 1
    for group in (own, rows.places.batch == rows.batches.index("b")):
        k = of_data(rows, known, at)[0]
        y = rows.log_rate - mean(rows.components, rows.places, known)
        gain = k[np.ix_(group, ~group)] @ np.linalg.inv(k[np.ix_(~group, ~group)])
        off = y[group] - gain @ y[~group]
        left = np.linalg.inv(k[np.ix_(group, group)] - gain @ k[np.ix_(~group, group)])
        level, u = model.level_of(group)
        assert level == pytest.approx((left @ off).sum() / left.sum(), rel=1e-9)
        assert u == pytest.approx(1.0 / math.sqrt(left.sum()), rel=1e-9)


@pytest.mark.slow
@pytest.mark.exact
def test_a_slow_batch_and_slow_strands_are_seen(tmp_path: Path) -> None:
    """A third slower: beside two other batches, and beside firings."""
    for number, pots, words in ((3, ["pot 1"], "'pot 1'"), (2, None, "firings burn")):
        bench = sound(number)
        assert said(bench, tmp_path) == ()
        for row in bench["strands"]:
            row[1] /= 0.66 if pots is None or row[3] in pots else 1.0
        found = said(bench, tmp_path)
        assert any(words in one for one in found)


@pytest.mark.slow
@pytest.mark.exact
def test_first_screen_and_check_say_it(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """MISFIT within 24 lines; the answer of a check is then a no."""
    bench = sound(4)
    bench["segments"] -= 1
    write(bench, tmp_path)
    file = ["--bench", str(tmp_path / "bench.toml")]
    assert main(["evaluate", "base", "--no-confirm", *file]) == 0
    screen = capsys.readouterr().out
    assert "MISFIT  The grains weigh" in screen
    assert screen.count("\n") <= 24
    assert main(["check", *file]) == 1
    told = capsys.readouterr().out
    assert "the grains weigh" in " ".join(told.split())
    assert "a slip in" in told


@pytest.mark.slow
@pytest.mark.exact
def test_a_lever_is_what_the_margin_moves_by(tmp_path: Path) -> None:
    """Against the margin of a bench with the slip typed into it; first order."""
    from castsugar.evaluation import evaluate_columns

    def margin(bench: Bench) -> float:
        world = write(bench, tmp_path)
        mixes = [world.mix("base")]
        given = world.conditions | {"motor": world.motor, "confirm": False}
        return float(evaluate_columns(mixes, **given)["pressure_margin_percent"][0])

    bench = sound(1)
    found = {one.entry: one for one in levers(write(bench, tmp_path))}
    before = margin(bench)
    for entry, changes in (
        ("motor.throat", {"throat": bench["throat"] + 0.1}),
        ("motor.grain.length", {"length": bench["length"] + 0.5}),
        ("motor.case.rated_pressure", {"rated": 1.1 * bench["rated"], "proof": 0.0}),
        ("motor.density_ratio", {"density_ratio": bench["density_ratio"] * 1.02}),
    ):
        moved = abs(margin(bench | changes) - before)
        assert found[entry].points == pytest.approx(moved, rel=0.05), entry
        assert found[entry].told_by == "nothing else"
    told = {one.entry: one.told_by for one in levers(write(sound(2), tmp_path))}
    assert told["motor.throat"] == "firings"
    assert told["motor.burn_law"] == "strands and firings"
    assert told["motor.case.rated_pressure"] == "nothing else"


@pytest.mark.simulation
@pytest.mark.frozen
def test_no_mistake_that_something_contradicts_is_silent() -> None:
    """Five benches of the register; the whole of it is in benchmarks/validation."""
    import importlib.util
    import sys

    path = Path(__file__).parents[2] / "benchmarks" / "validation" / "register.py"
    spec = importlib.util.spec_from_file_location("register_of_mistakes", path)
    assert spec is not None
    assert spec.loader is not None
    register = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = register
    spec.loader.exec_module(register)
    worlds = [register.judged(number) for number in range(5)]
    every = [one for world in worlds for one in world.outcomes]
    assert len(every) == 125
    silent = [one for one in every if one.silent]
    assert {one.is_class for one in silent} == {"invisible"}
    assert all(one.shown for one in silent if len(one.names) == 1)
    assert sum(bool(world.alarms) for world in worlds) <= 1
