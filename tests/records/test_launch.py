"""Whether grains of a batch may be fired: each rule at both sides of its limit.

Batches and strands here are invented.
"""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from castsugar import load_database
from castsugar.errors import InputError
from castsugar.records.folder import add_events, new_batch
from castsugar.records.launch import (
    FIRE_NOT,
    KEPT,
    LONGEST,
    LOOK,
    UNKNOWN,
    Day,
    Rule,
    allowed_gain,
    rules_of,
)
from castsugar.records.record import Event, Made

# Exact: limits are sums known by hand.
pytestmark = pytest.mark.exact

DATABASE = load_database()
MADE = Made(
    date="2026-05-01",
    recipe="KNO3:65 sucrose:35",
    name="",
    fractions={"potassium nitrate": 0.65, "sucrose": 0.35},
    batch=0.2,
    planned={"potassium nitrate": 0.13, "sucrose": 0.07},
    pressure=1e6,
    predictions={"storage_humidity_max_percent": 60.0},
)


def judged(folder: Path, *events: Event, **day: object) -> dict[str, Rule]:
    batch = new_batch(folder, MADE)
    if events:
        batch = add_events(batch.path, events)
    told = Day(**{"date": "2026-05-08", **day})  # type: ignore[arg-type]
    return {rule.name: rule for rule in rules_of(batch, told, DATABASE)}


def test_the_gain_that_scale_and_water_allow() -> None:
    """By hand: 1.959964 x sqrt 2 x 0.1 g = 0.27718 g, and 0.2 % of 300 g = 0.6 g."""
    day = Day(date="2026-05-08", cast_mass=0.3, accuracy=1e-4)
    assert allowed_gain(day) == pytest.approx(0.87718e-3, rel=1e-5)


@pytest.mark.parametrize(
    ("gain", "verdict"),
    [(0.87, KEPT), (0.89, FIRE_NOT), (-0.87, KEPT), (-0.89, LOOK)],
)
def test_mass(gain: float, verdict: str, tmp_path: Path) -> None:
    day = {"cast_mass": 0.3, "mass": 0.3 + 1e-3 * gain, "accuracy": 1e-4}
    rule = judged(tmp_path, **day)["mass"]
    assert rule.verdict == verdict
    assert 1e3 * rule.value == pytest.approx(gain)


def test_the_mass_as_cast_stands_in_the_record(tmp_path: Path) -> None:
    cast = Event(kind="cast", date="2026-05-01", values={"mass_kg": 0.1802})
    batch = add_events(new_batch(tmp_path, MADE).path, [cast])
    assert batch.cast_mass == 0.1802
    wrong = Event(kind="corrected", date="2026-05-02", note="x", values={"line": 2})
    assert add_events(batch.path, [wrong]).cast_mass is None


def test_other_grains_are_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="not the same grains"):
        judged(tmp_path, cast_mass=0.18, mass=0.28)
    assert judged(tmp_path, mass=0.28)["mass"].verdict == UNKNOWN


@pytest.mark.parametrize(
    ("date", "days", "verdict"),
    [("2026-07-30", LONGEST, KEPT), ("2026-07-31", LONGEST + 1, LOOK)],
)
def test_days_stored(date: str, days: int, verdict: str, tmp_path: Path) -> None:
    rule = judged(tmp_path, date=date)["storage"]
    assert (rule.value, rule.verdict) == (days, verdict)


def test_a_day_before_the_batch_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="was made on 2026-05-01"):
        judged(tmp_path, date="2026-04-30")


@pytest.mark.parametrize(
    ("humidity", "verdict"), [(0.59, KEPT), (0.61, LOOK), (None, UNKNOWN)]
)
def test_humidity(humidity: float | None, verdict: str, tmp_path: Path) -> None:
    assert judged(tmp_path, humidity=humidity)["humidity"].verdict == verdict


@pytest.mark.parametrize(
    ("celsius", "verdict"),
    [(4.0, FIRE_NOT), (6.0, KEPT), (34.0, KEPT), (36.0, FIRE_NOT), (None, UNKNOWN)],
)
def test_temperature(celsius: float | None, verdict: str, tmp_path: Path) -> None:
    """Strands at 15 and 25 °C, and 10 K around them: 5 to 35 °C."""
    path = tmp_path / "s.csv"
    rows = ["25 mm,6 s,3 MPa,15 C", "25 mm,5 s,5 MPa,25 C"]
    path.write_text("\n".join(["length,time,pressure,temperature", *rows]), "utf-8")
    linked = {"file": "s.csv", "sha256": "0" * 64, "mix": "", "strands": 2}
    burned = Event(kind="burned", date="2026-05-02", values=linked)
    kelvin = None if celsius is None else celsius + 273.15
    rule = judged(tmp_path, burned, temperature=kelvin)["temperature"]
    assert rule.verdict == verdict
    if celsius is not None:
        assert (rule.low, rule.high) == pytest.approx((278.15, 308.15))


def test_strands_without_a_temperature_cover_none(tmp_path: Path) -> None:
    rule = judged(tmp_path, temperature=290.0)["temperature"]
    assert (rule.verdict, math.isnan(rule.low)) == (UNKNOWN, True)


@pytest.mark.parametrize(
    "event",
    [
        Event(kind="closed", date="2026-05-02", values={"outcome": "discarded"}),
        Event(kind="corrected", date="2026-05-02", note="syrup", values={"line": 1}),
    ],
)
def test_a_batch_that_is_none(event: Event, tmp_path: Path) -> None:
    assert judged(tmp_path)["batch"].verdict == KEPT
    assert judged(tmp_path, event)["batch"].verdict == FIRE_NOT
