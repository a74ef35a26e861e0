"""A static test as page, document and row. The firing is invented."""

from __future__ import annotations

import csv
import io
import json
import math
import re
from dataclasses import replace

import numpy as np
import pytest

import castsugar as cs
from castsugar import Hardware
from castsugar.motor.burn_evidence import published
from castsugar.motor.burn_law import Band, BurnLaw
from castsugar.motor.burn_model import BurnModel
from castsugar.motor.case import Case
from castsugar.motor.firing.faults import found
from castsugar.motor.firing.quantities import Measured, Stand
from castsugar.motor.firing.reduction import Recorded, Reduction, reduce_recording
from castsugar.motor.grain import HollowCylinder
from castsugar.plain import to_json
from castsugar.report.cautions import chosen
from castsugar.report.document import to_csv
from castsugar.report.firing import firing_screen
from castsugar.report.firing_annexes import exponent_words, law_words
from castsugar.report.firing_rows import (
    FIELDS,
    Asked,
    firing_parts,
    firing_row,
    letter_words,
)
from castsugar.report.screen import STATUSES
from castsugar.report.shown import Shown
from castsugar.report.terminal import to_text
from castsugar.static_test import StaticTest, review

pytestmark = pytest.mark.exact

ASKED = Asked(
    file="invented.csv",
    mix="KNO3:65 sucrose:35",
    typed=(("--throat", "8 mm"),),
    assumptions=("pressure of the air 1 atm",),
)


def recorded() -> Recorded:
    """2 s of rising pressure and thrust between quiet seconds, 500 samples a second."""
    time = np.arange(0.0, 5.0, 0.002)
    inside = (time >= 1.0) & (time <= 3.0)
    pressure = np.where(inside, 5e5 + 4.5e5 * (time - 1.0), 0.0)
    noise = 2e3 * np.random.default_rng(1).standard_normal(time.shape)
    return Recorded(time=time, pressure=pressure + noise, thrust=3e-5 * 2.0 * pressure)


def reduced(recording: Recorded | None = None, **stand: float) -> Reduction:
    known = {"propellant_mass": 0.125, "throat_diameter": 8e-3} | stand
    return reduce_recording(recording or recorded(), Stand(**known))


SHARES = {"potassium nitrate": 0.65, "sucrose": 0.35}


def hardware(rating: float = 3e6) -> Hardware:
    band = Band(low=1e5, high=1e7, rate=5e-3, exponent=0.35)
    law = BurnLaw(name="made up", bands=(band,), log_rate_u=math.log(1.1))
    grain = HollowCylinder(
        outer_diameter=32e-3,
        core_diameter=12e-3,
        segment_length=100e-3,
        segments=1,
        burning_ends=1,
    )
    return Hardware(
        grain=grain,
        throat_diameter=8e-3,
        burning=BurnModel([published(law, SHARES)]),
        case=Case(rated_pressure=rating),
    )


@pytest.fixture(scope="module")
def full() -> StaticTest:
    """With pressure, thrust, mix and motor."""
    mix = cs.Mix.weigh({"KNO3": 65, "sucrose": 35})
    return review(reduced(), mix=mix, hardware=hardware())


@pytest.fixture(scope="module")
def bare() -> StaticTest:
    """Pressure alone, sensor at its limit, nothing known."""
    recording = replace(recorded(), thrust=None, pressure_ceiling=1.2e6)
    top = np.minimum(recording.pressure, 1.2e6)
    return review(reduced(replace(recording, pressure=top)))


def with_results(test: StaticTest, **results: Measured) -> StaticTest:
    """Return a test with results of known size."""
    every = test.reduction.results | results
    return replace(test, reduction=replace(test.reduction, results=every))


def shown(test: StaticTest, system: str = "si", *, full: bool = False) -> str:
    """Return the screen; 24 lines of 80 columns unless it is the full one."""
    cautions = chosen(cs.load_database().cautions, {}, ["firing"])
    screen = firing_screen(test, ASKED, cautions, Shown(system), next_="castsugar")
    text = to_text(screen, full=full)
    lines = text.splitlines()
    assert max(map(len, lines)) <= 80
    assert full or len(lines) <= 24
    assert lines[1].split("  ")[0] in STATUSES
    return " ".join(text.split())


@pytest.mark.parametrize("system", ["si", "us"])
def test_screens_show_one_system(full, bare, system) -> None:
    """No quantity of the other system, but what was typed; first a status word."""
    other = {"us": "MPa|kPa|mm|mm/s|g|N s|N|m/s", "si": "psi|lbf|in/s|oz|ft/s"}[system]
    for test in (full, bare):
        shown(test, system)
        page = shown(test, system, full=True).replace("As typed: --throat 8 mm.", "")
        assert not re.search(rf"\d ({other})(?![\w/])", page)


def test_case_is_spoken_of_when_the_peak_was_near(full, bare) -> None:
    """DO NOT above the rating, by the upper end of the interval, or not known."""
    peak = full.reduction.results["peak_pressure"]
    for rating, words in (
        (0.9 * peak.value, "was above your rating"),
        (1.001 * peak.value, "may have been above your rating"),
    ):
        page = shown(replace(full, hardware=hardware(rating)))
        assert "DO NOT fire this case again" in page
        assert words in page
    assert "DO NOT" not in shown(full)
    page = shown(replace(bare, hardware=hardware()))
    assert "before you know its peak" in page


@pytest.mark.parametrize(
    ("impulse", "u", "words"),
    [
        # Letters end at 2.5 N s times a power of 2 (the table of the trade, exact).
        (30.0, 0.4, "E"),
        (39.9, 0.4, "E (F possible)"),
        (40.1, 0.4, "F (E possible)"),
    ],
)
def test_letter_and_its_neighbours(impulse, u, words) -> None:
    assert letter_words(Measured(value=impulse, parts={"a": u})) == words
    least = Measured(value=30.0, parts={"a": 1.0}, bound="at least")
    assert letter_words(least) == "E or larger"


def test_efficiency_first_or_the_reason_for_none(full, bare) -> None:
    share = Measured(value=0.92, parts={"a": 0.01})
    page = shown(replace(full, characteristic_velocity_efficiency=share))
    assert "RESULT It delivered 92.0 % of the ideal c* (90.0 to 94.0)" in page
    page = shown(bare)
    assert "No efficiency: no mix was given; give --mix" in page
    assert "at least" in page


def test_predicted_beside_measured(full) -> None:
    """2 s where 1.5 to 1.9 s were predicted: outside; 1.8 s needs no finding."""
    best = replace(full.expected.best, burn_time=1.6)
    span = {**full.expected.bands, "burn_time": (1.5, 1.9)}
    test = replace(full, expected=replace(full.expected, best=best, bands=span))
    long = with_results(test, burn_time=Measured(value=2.0, parts={"a": 0.01}))
    page = shown(long)
    assert "OUTSIDE Burn time 2.000 s; predicted 1.50 to 1.90" in page
    assert "burn time, s 2.000 1.980 to 2.020 1.60 1.50 to 1.90" in page
    short = with_results(test, burn_time=Measured(value=1.8, parts={"a": 0.01}))
    assert "Burn time 1.8" not in shown(short)
    near = with_results(test, burn_time=Measured(value=1.904, parts={"a": 0.01}))
    assert "Burn time 1.9" not in shown(near)  # 1.884 to 1.924: it may lie inside


def test_exponent_is_resolved_or_not(full) -> None:
    """Covariance 0.0001: 0.3 ± 1.959964 x 0.01."""
    inferred = replace(
        full.inferred,
        exponent=0.3,
        covariance=np.diag([1e-4, 1e-4]),
        kn_range=(100.0, 140.0),
        why_not_told="",
    )
    told = exponent_words(inferred)
    assert told == "Exponent 0.300 (0.280 to 0.320); Kn ran from 100 to 140."
    alone = exponent_words(inferred, alone=True)
    assert alone.startswith(told)
    assert "Saturation of the pressure sensor cannot be excluded" in alone
    vague = replace(inferred, why_not_told="Kn varied too little")
    told = "The exponent is not resolved: Kn varied too little; Kn ran from 100 to 140."
    assert exponent_words(vague, alone=True) == told
    text = shown(replace(full, inferred=vague), full=True)
    assert "The exponent is not resolved" in text


@pytest.mark.parametrize(
    ("origin", "words"),
    [
        ("measured: 60/20/20", "your strands (60/20/20)"),
        ("stated: a", "the law you stated (a)"),
        ("borrowed: b, 3 % of the mass", "the published law (b, 3 %"),
        ("model of 3 mixes: 3 % of the mass", "the model of burning rates (3 %"),
        ("assumed: nothing was burned", "what is held beforehand (nothing was burned)"),
    ],
)
def test_law_is_named_by_its_origin(full, origin, words) -> None:
    assert law_words(replace(full.law, origin=origin)).startswith(words)


@pytest.mark.parametrize(
    ("ratio", "words"),
    [
        ((1.2, 1.1, 1.3), "bubbles or cracks"),
        ((0.8, 0.7, 0.9), "damp or less cooked"),
        ((1.0, 0.9, 1.1), "a throat that grew or clogged"),
    ],
)
def test_disagreement_says_what_to_look_for(full, ratio, words) -> None:
    best, low, high = ratio
    found = replace(
        full.agreement,
        ratio=best,
        ratio_low=low,
        ratio_high=high,
        exponent_difference=0.12,
        probability=0.02,
        agrees=False,
        outside=True,
    )
    page = shown(replace(full, agreement=found))
    assert f"Look for: {words}" in page
    assert "OUTSIDE At " in page
    page = shown(replace(full, agreement=found), full=True)
    assert "a probability of 0.020; below 0.05 it is called a disagreement" in page
    assert "Its n differs by +0.12" in page
    assert "there it is only continued" in page


def test_agreement_is_no_proof(full) -> None:
    found = replace(full.agreement, agrees=True, probability=0.5, outside=False)
    own = replace(full.law, origin="measured")
    page = shown(replace(full, agreement=found, law=own), full=True)
    assert "It agrees with your strands" in page
    assert "Agreeing is no proof" in page


# --- document and row --------------------------------------------------------------


def test_document_is_plain_and_complete(full) -> None:
    made = json.loads(to_json(firing_parts(full, ASKED)))
    row, measured = made["firing"], full.reduction.results["characteristic_velocity"]
    value = row["characteristic_velocity_m_s"]
    assert value == pytest.approx(measured.value, rel=1e-9)
    half = 1.959964 * row["characteristic_velocity_uncertainty_m_s"]
    assert row["characteristic_velocity_m_s_interval"][1] - value == pytest.approx(half)
    budget = [b for b in made["uncertainty_budget"] if b["result"] == "burn_time"]
    assert sum(b["share_percent"] for b in budget) == pytest.approx(100.0)
    peak = full.reduction.results["peak_pressure"].value
    assert row["peak_pressure_MPa"] == pytest.approx(1e-6 * peak)
    assert row["propellant_mass_g"] == 125.0
    assert row["throat_after_mm"] is None
    assert len(made["inferred_law"]["covariance_of_ln_rate_and_exponent"]) == 2
    low = full.expected.bands["burn_time"][0]
    assert row["expected_burn_time_s_interval"][0] == pytest.approx(low, rel=1e-9)
    assert made["expected"]["burn_time_p02_5_s"] == pytest.approx(low, rel=1e-9)
    assert [s["sensor"] for s in made["sensors"]] == ["pressure", "thrust"]
    assert made["as_typed"] == {"--throat": "8 mm"}
    assert made["look_again"] == [*full.cautions]
    assert made["other_thresholds"][1]["limits_percent_of_peak"] == 5.0


def test_document_of_a_lower_limit(bare) -> None:
    made = json.loads(to_json(firing_parts(bare, ASKED)))
    row = made["firing"]
    assert row["characteristic_velocity_bound"] == "at least"
    assert row["characteristic_velocity_m_s"] > 0.0
    assert row["characteristic_velocity_uncertainty_m_s"] is None
    assert "characteristic_velocity_m_s_interval" not in row
    assert row["total_impulse_N_s"] is None
    assert made["inferred_law"] is made["agreement"] is None
    assert made["reason_for_no_law"]
    assert made["reason_for_no_efficiency"]


def test_rows_share_their_columns(full, bare) -> None:
    rows = [firing_row(test, ASKED) for test in (full, bare)]
    assert [*rows[0]] == [*rows[1]] == [field.key for field in FIELDS]
    whole, poor = csv.DictReader(io.StringIO(to_csv(rows, FIELDS)))
    velocity = full.reduction.results["characteristic_velocity"]
    assert float(whole["characteristic_velocity_m_s"]) == pytest.approx(velocity.value)
    told_u = float(whole["characteristic_velocity_uncertainty_m_s"])
    assert told_u == pytest.approx(velocity.u)
    assert whole["impulse_letter"]
    for key in ("characteristic_velocity_uncertainty_m_s", "agrees"):
        assert poor[key] == ""
    assert not math.isnan(rows[1]["burning_start_s"])


def test_the_cause_stands_before_results_that_follow_from_it(full) -> None:
    """A moved zero of the load cell, beside a mass that cannot be."""
    warm = found("recovery", "thrust", "thrust: comes back from 9 % of the peak")
    mass = found("mass", "motor", "the propellant mass is 200 %")
    cause = "heat moved the zero of the load cell"
    reduction = replace(
        full.reduction, alarms=(mass, warm), cause=cause, evidence=warm.text
    )
    text = shown(replace(full, reduction=reduction, own_alarms=()), full=True)
    named = "Heat moved the zero of the load cell (likely): comes back from 9 %"
    assert -1 < text.index(f"MISFIT {named}") < text.index("MISFIT The propellant mass")


def test_a_lower_limit_of_the_peak_is_told_as_one(full) -> None:
    """An alarm of the thrust alone never says that the pressure sensor failed."""
    peak = full.reduction.results["peak_pressure"]
    least = with_results(full, peak_pressure=replace(peak, bound="at least"))
    warm = found("recovery", "thrust", "thrust: comes back")
    reduction = replace(least.reduction, alarms=(warm,), cause="heat")
    below = replace(least, reduction=reduction, hardware=hardware(1.5 * peak.value))
    assert "its peak: what was read is a lower limit; nobody" in shown(below)
    over = replace(least, hardware=hardware(0.9 * peak.value))
    assert "its peak, at least 1.5" in shown(over)
    assert "MPa, was above your rating" in shown(over)
