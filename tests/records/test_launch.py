"""Whether grains of a batch may be fired: each rule at both sides of its limit.

Batches and strands here are invented.
"""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import pytest

from castsugar import load_database
from castsugar.bench.bench import read_bench
from castsugar.errors import InputError
from castsugar.files.reading import sha256_of
from castsugar.records.folder import add_events, new_batch, read_batch
from castsugar.records.launch import (
    FIRE_NOT,
    KEPT,
    LONGEST,
    LOOK,
    UNKNOWN,
    Card,
    Day,
    Rule,
    allowed_gain,
    card_of,
    with_strands,
)
from castsugar.records.prediction import cast, foresee, freeze, thaw
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
    return {rule.name: rule for rule in card_of(batch, told, DATABASE).rules}


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


# ----------------------------------------------------------------------------
# Grains as measured.

#: Outer 36, core 14, length 62 mm: 17050 pi mm3 (by hand).
SIZES = {"outer_m": 0.036, "core_m": 0.014, "length_m": 0.062}
VOLUME = 17050e-9 * math.pi
MIX = cast(MADE, None, DATABASE, water_lost=0.0)


def grains(*shares: float, **sizes: float) -> tuple[dict[str, float], ...]:
    """Return grains of so large a share of the density without voids."""
    each = [share * MIX.density * VOLUME for share in shares]
    return tuple(SIZES | {"mass_kg": mass} | sizes for mass in each)


@pytest.mark.parametrize(
    ("share", "doubt", "verdict"),
    [
        (0.945, 1e-4, KEPT),
        (0.935, 1e-4, KEPT),
        (0.925, 1e-4, LOOK),
        (0.905, 1e-4, LOOK),
        (0.895, 1e-4, FIRE_NOT),
        (0.945, 5e-4, LOOK),
    ],
)
def test_voids(share: float, doubt: float, verdict: str, tmp_path: Path) -> None:
    """7 and 10 % (common practice, no source); a band that reaches 10 % is looked at.

    0.5 mm instead of 0.1 mm: 3.6 % of the density, 1.96 times that above 5.5 %.
    """
    rules = judged(tmp_path, grains=grains(share, 0.95), size_u=doubt)
    rule = rules["voids"]
    assert (rule.verdict, rule.why) == (verdict, "grain 1")
    assert rule.value == pytest.approx(1.0 - share)
    assert rule.high == (0.10 if verdict == FIRE_NOT else 0.07)


@pytest.mark.parametrize(
    ("off", "verdict"),
    [(0.019, KEPT), (0.021, LOOK), (0.029, LOOK), (0.031, FIRE_NOT)],
)
def test_lighter_than_its_sisters(off: float, verdict: str, tmp_path: Path) -> None:
    """2 and 3 % of density (common practice, no source)."""
    told = grains(0.98, 0.98 * (1.0 - off), 0.98)
    rule = judged(tmp_path, grains=told)["sisters"]
    assert (rule.verdict, rule.why) == (verdict, "grain 2")
    assert rule.value == pytest.approx(off)


def test_without_sisters_or_motor(tmp_path: Path) -> None:
    rules = judged(tmp_path, grains=grains(0.95))
    assert "sisters" not in rules
    assert rules["fit"].verdict == rules["pressure"].verdict == UNKNOWN
    assert judged(tmp_path)["voids"].verdict == UNKNOWN


def test_denser_than_its_mix(tmp_path: Path) -> None:
    assert judged(tmp_path, grains=grains(1.009))["voids"].verdict == KEPT
    with pytest.raises(InputError, match="grain 2 would be 101"):
        judged(tmp_path, grains=grains(0.95, 1.011))


# ----------------------------------------------------------------------------
# The motor with them in it.

BENCH = """\
[motor]
throat = "8 mm"
density_ratio = "95 %"
hottest_grain = "35 C"
[motor.grain]
outer = "36 mm"
core = "14 mm"
length = "62 mm"
segments = 2
[motor.case]
rated_pressure = "1000 psi"
inner_diameter = "40 mm"
wall = "3 mm"
material = "aluminium tube"
yield_strength = "240 MPa"
safety_factor = 2
[[motor.burn_law]]
recipe = "KNO3:60 sucrose:40"
rate = "3 mm/s"
pressure = "1 MPa"
exponent = 0.3
rate_spread = "5 %"
exponent_spread = 0.03
"""


def carded(folder: Path, *events: Event, text: str = BENCH, **day: object) -> Card:
    """Return the card of a batch with a motor, its strands in s.csv."""
    (folder / "bench.toml").write_text(text, "utf-8")
    frozen = freeze(read_bench(folder / "bench.toml"), folder)
    batch = new_batch(folder, replace(MADE, bench=frozen))
    if events:
        batch = add_events(batch.path, events)
    told = Day(**{"date": "2026-05-08", **day})  # type: ignore[arg-type]
    return card_of(batch, told, DATABASE)


def by_name(card: Card) -> dict[str, Rule]:
    return {rule.name: rule for rule in card.rules}


@pytest.mark.slow
def test_grains_as_drawn_have_the_peak_of_the_table(tmp_path: Path) -> None:
    """Same sizes, the assumed 95 %: the same Kn and peak; only the doubt is theirs.

    The median leans on it a little.
    """
    drawn, real = carded(tmp_path), carded(tmp_path, grains=grains(0.95, 0.95))
    before, after = by_name(drawn), by_name(real)
    assert real.kn_max == pytest.approx(real.kn_drawn, rel=1e-12)
    assert after["fit"].verdict == after["peak"].verdict == KEPT
    assert after["peak"].value == pytest.approx(before["peak"].value, rel=1e-3)
    assert after["pressure"].value < before["pressure"].value
    assert after["pressure"].why == "the next batch"
    assert after["pressure"].high == pytest.approx(1000 * 6894.757, rel=1e-6)


@pytest.mark.slow
def test_denser_grains_and_wider_cores_raise_the_peak(tmp_path: Path) -> None:
    """Gas goes with Kn x density: ln p moves by its ln over 1 - n, n near 0.3."""
    usual = by_name(carded(tmp_path, grains=grains(0.95, 0.95)))["peak"].value
    dense = by_name(carded(tmp_path, grains=grains(0.97, 0.97)))["peak"].value
    rise = math.log(dense / usual)
    assert rise == pytest.approx(math.log(0.97 / 0.95) / 0.7, rel=0.05)


@pytest.mark.slow
def test_a_case_that_is_too_weak(tmp_path: Path) -> None:
    """Rated between the expected peak and its 95 % value, then below both."""
    told = by_name(carded(tmp_path, grains=grains(0.95, 0.95)))
    peak, high = told["peak"].value / 1e6, told["pressure"].value / 1e6
    for rated, verdicts in (
        (0.5 * (peak + high), (KEPT, FIRE_NOT)),
        (0.9 * peak, (FIRE_NOT, FIRE_NOT)),
    ):
        text = BENCH.replace("1000 psi", f"{rated} MPa")
        rules = by_name(carded(tmp_path, text=text, grains=grains(0.95, 0.95)))
        assert (rules["peak"].verdict, rules["pressure"].verdict) == verdicts


@pytest.mark.slow
@pytest.mark.parametrize(
    ("igniter", "verdict"), [("", KEPT), ("2 g", LOOK), ("20 g", FIRE_NOT)]
)
def test_what_raises_the_peak_is_judged(
    igniter: str, verdict: str, tmp_path: Path
) -> None:
    """An igniter that takes the next batches, or the expected peak, above the case."""
    stated = f'igniter_mass = "{igniter}"\n' if igniter else ""
    text = BENCH.replace("[motor.grain]", f"{stated}[motor.grain]")
    rated = by_name(carded(tmp_path, grains=grains(0.95, 0.95)))["pressure"].value
    text = text.replace("1000 psi", f"{1.35e-6 * rated} MPa")
    rule = by_name(carded(tmp_path, text=text, grains=grains(0.95, 0.95)))["causes"]
    assert rule.verdict == verdict
    assert (rule.why == "start and igniter") == bool(igniter)
    assert (rule.value > rule.high) == (verdict == FIRE_NOT)


@pytest.mark.parametrize(
    ("told", "why"),
    [
        (grains(0.95, 0.95, core_m=0.0079), "throat diameter 8 mm is larger"),
        (grains(0.75, 0.75, outer_m=0.0401), "the grain must fit"),
        (grains(0.95), "1 grain measured, and the motor has 2 segments"),
        (grains(0.95, 0.95, 0.95), "3 grains measured, and the motor has 2"),
    ],
)
def test_grains_that_are_not_those_of_the_motor(
    told: tuple[dict[str, float], ...], why: str, tmp_path: Path
) -> None:
    rules = by_name(carded(tmp_path, grains=told))
    assert rules["fit"].verdict == FIRE_NOT
    assert why in rules["fit"].why


@pytest.mark.slow
def test_a_motor_that_tells_less(tmp_path: Path) -> None:
    """Without a bore nobody can say; a table of areas is no cylinder; no case."""
    told = grains(0.95, 0.95)
    bare = BENCH[: BENCH.index("inner_diameter")] + BENCH[BENCH.index("[[") :]
    fit = by_name(carded(tmp_path, text=bare, grains=told))["fit"]
    assert (fit.verdict, fit.why) == (UNKNOWN, "the bore of the case is not stated")
    start, end = BENCH.index("outer"), BENCH.index("[motor.case]")
    table = "web_mm = [0, 11]\narea_mm2 = [9000, 9000]\n"
    text = BENCH[:start] + table + BENCH[end:]
    card = carded(tmp_path, text=text, grains=told)
    assert "table of areas" in by_name(card)["fit"].why
    assert by_name(card)["voids"].verdict == KEPT
    assert math.isnan(card.kn_max)
    alone = BENCH[:end] + BENCH[BENCH.index("[[") :]
    rule = by_name(carded(tmp_path, text=alone))["pressure"]
    assert (rule.verdict, rule.why) == (
        UNKNOWN,
        "no allowed pressure of the case is stated",
    )


@pytest.mark.slow
def test_a_day_hotter_than_the_hottest_is_judged(tmp_path: Path) -> None:
    """The bench says 35 C; grains at 36 C have a pressure, a higher one."""
    usual = by_name(carded(tmp_path))["pressure"]
    hot = by_name(carded(tmp_path, temperature=309.15))["pressure"]
    assert (usual.verdict, hot.verdict) == (KEPT, KEPT)
    assert hot.value > usual.value


def burned(folder: Path, seconds: float) -> Event:
    rows = [f"50 mm,{seconds * f} s,{p} MPa" for p, f in ((1, 1.6), (3, 1.15), (5, 1))]
    path = folder / "s.csv"
    path.write_text("\n".join(["length,time,pressure", *rows]), "utf-8")
    linked = {"file": "s.csv", "sha256": sha256_of(path), "mix": "", "strands": 3}
    return Event(kind="burned", date="2026-05-02", values=linked)


@pytest.mark.slow
def test_strands_of_this_batch_count(tmp_path: Path) -> None:
    """Its p95 is that of the table for the batch that burned; changed ones do not."""
    event = burned(tmp_path, 9.0)
    card = carded(tmp_path, event, event)  # linked twice, they count once
    rule = by_name(card)["pressure"]
    assert rule.why == "this batch"
    (path,) = tmp_path.glob("2026*.jsonl")
    batch = read_batch(path)
    bench = thaw(batch.made.bench, tmp_path)
    assert bench is not None
    row, _ = foresee(batch.made, with_strands(bench, batch), DATABASE, water_lost=0.0)
    assert rule.value == pytest.approx(
        1e6 * row["peak_pressure_p95_this_batch_MPa"], rel=1e-9
    )
    burned(tmp_path, 8.0)  # as another program would
    rules = by_name(card_of(batch, Day(date="2026-05-08"), DATABASE))
    assert rules["pressure"].why == "the next batch"
