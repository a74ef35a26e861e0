"""What a command prints can be had from Python, by public names alone."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

import castsugar as cs
from castsugar.cli.main import main

# Exact: the command against the functions that it stands for.
pytestmark = pytest.mark.exact


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The example bench, in the folder where one works."""
    monkeypatch.chdir(tmp_path)
    cs.bench.write_example(tmp_path)
    return tmp_path


def said(capsys: pytest.CaptureFixture[str], *words: str) -> Any:
    """Return the JSON document of a command that ends well."""
    capsys.readouterr()
    assert main([*words, "--json"]) == 0
    return json.loads(capsys.readouterr().out)


def same(row: dict[str, Any], printed: dict[str, Any]) -> None:
    """Compare a row with what was printed: numbers to the digits of JSON."""
    assert set(printed) <= set(row)
    for key, value in printed.items():
        if key.startswith("difference"):  # rounding of two solvers
            assert row[key] == pytest.approx(value, abs=1e-6)
        elif isinstance(value, float):
            assert row[key] == pytest.approx(value, rel=1e-8), key
        elif value is not None:
            assert row[key] == value, key


@pytest.mark.slow
def test_evaluate_in_one_s_own_world(folder: Path, capsys: Any) -> None:
    """Lots, cook, motor and burn laws of one reading of the file."""
    del folder
    world = cs.bench.read("bench.toml")
    table = cs.evaluate(
        [world.mix("base")],
        **world.conditions,
        kitchen=world.kitchen,
        motor=world.motor,
        confirm=True,
    )
    printed = said(capsys, "evaluate", "base", "--bench", "bench.toml")
    (row,) = printed["mixes"]
    own = {key: row[key] for key in row if key in table}
    same(table.to_dict("records")[0], own)


def test_kitchen(folder: Path, capsys: Any) -> None:
    """The kitchen with what its measurements taught."""
    del folder
    world = cs.bench.read("bench.toml")
    assert world.kitchen is not None
    red = world.mix("red")
    (row,) = cs.kitchen.kitchen_table(red, world.kitchen).to_dict("records")
    (bands,) = cs.kitchen.kitchen_intervals(red, world.kitchen)
    row |= {f"{key}_interval": list(ends) for key, ends in bands.items()}
    (printed,) = said(capsys, "kitchen", "judge", "red")["mixes"]
    eta = printed.pop("pour_viscosity_Pa_s_interval")
    assert eta == [pytest.approx(bands["pour_viscosity_Pa_s"][0], rel=1e-8), None]
    for key in bands.keys() - {"pour_viscosity_Pa_s"}:
        ends = printed.pop(f"{key}_interval")
        assert ends == pytest.approx(row[f"{key}_interval"], rel=1e-8)
    # How dense the motor says that its grains are stands before how they flow.
    assert printed.pop("density_ratio") == 0.95
    assert printed.pop("density_ratio_u") == pytest.approx(0.0095)
    same({k: v for k, v in row.items() if not k.startswith("density_ratio")}, printed)


@pytest.mark.slow
def test_strands(folder: Path, capsys: Any) -> None:
    """The law of each mix in the file of strands."""
    del folder
    strands = cs.strands.read_strand_files(["strands.csv"])
    found = cs.strands.analyse(strands)
    assert len(str(found).splitlines()) == len(found.mixes)
    printed = said(capsys, "burnrate", "strands.csv")
    assert [m.mix for m in found.mixes] == [m["mix"] for m in printed["mixes"]]
    for mix in found.mixes:
        assert mix.law is not None
        for strand in (s for s in printed["strands"] if s["mix"] == mix.mix):
            pressure = 1e6 * strand["pressure_MPa"]
            rate = float(cs.motor.burn_rate(mix.law, pressure))
            assert 1e3 * rate == pytest.approx(strand["fitted_rate_mm_s"], rel=1e-8)


@pytest.mark.slow
def test_firing(folder: Path, capsys: Any) -> None:
    """A recording, reduced, beside mix and motor."""
    del folder
    world = cs.bench.read("bench.toml")
    recording = cs.firing.read_trace("shot.csv")
    reduction = cs.firing.reduce_recording(
        cs.firing.Recorded(
            time=recording.time,
            pressure=recording.pressure,
            thrust=recording.thrust,
            pressure_is_gauge=recording.pressure_kind == "gauge",
        ),
        cs.firing.Stand(propellant_mass=0.368, throat_diameter=0.008),
    )
    test = cs.firing.review(reduction, hardware=world.motor)
    words = ("--throat", "8 mm", "--propellant-mass", "368 g", "--bench", "bench.toml")
    printed = said(capsys, "firing", "shot.csv", *words)["firing"]
    velocity = test.reduction.results["characteristic_velocity"]
    told = printed["characteristic_velocity_m_s"]
    assert velocity.value == pytest.approx(told, rel=1e-8)
    impulse = test.reduction.results["specific_impulse"]
    assert impulse.value == pytest.approx(printed["specific_impulse_s"])
    assert len(str(test)) < 1000


@pytest.mark.slow
def test_weigh(folder: Path, capsys: Any) -> None:
    """The sheet of a batch: every line in grams."""
    del folder
    world = cs.bench.read("bench.toml")
    charge = cs.weigh.read_charge("base", world.bench, world.database)
    sheet = cs.weigh.plan(
        charge, cs.weigh.equipment_of(world.bench), mix=charge.mix(), batch=0.2
    )
    words = ("weigh", "base", "--bench", "bench.toml", "--batch", "200 g")
    printed = said(capsys, *words)["lines"]
    assert [n.name for n in sheet.lines] == [told["ingredient"] for told in printed]
    for line, told in zip(sheet.lines, printed, strict=True):
        assert 1e3 * line.mass == pytest.approx(told["mass_to_weigh_g"], rel=1e-8)


@pytest.mark.slow
def test_records(folder: Path, capsys: Any) -> None:
    """What is kept of a batch is read again."""
    new = ("batch", "new", "base", "--bench", "bench.toml", "--batch", "200 g")
    assert main([*new, "--date", "2026-05-02"]) == 0
    batches, damaged = cs.records.read_batches(folder / "batches")
    assert not damaged
    printed = said(capsys, "batch", "show", batches[0].id, "--bench", "bench.toml")
    assert batches[0].made.date == "2026-05-02"
    assert batches[0].id == printed["id"]
