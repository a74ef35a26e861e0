"""A static test as page, document and row. The firing is invented."""

from __future__ import annotations

import csv
import io
import json
import math
from dataclasses import replace

import numpy as np
import pytest

import castsugar as cs
from castsugar import Hardware
from castsugar.motor.burn_law import published_law
from castsugar.motor.burn_model import blend_law
from castsugar.motor.case import Case
from castsugar.motor.firing.quantities import Measured, Stand
from castsugar.motor.firing.reduction import Recorded, Reduction, reduce_recording
from castsugar.motor.grain import HollowCylinder
from castsugar.motor.hardware import BurnKnowledge
from castsugar.plain import to_json
from castsugar.report.data import to_csv
from castsugar.report.firing import firing_page, letter_words
from castsugar.report.firing_law import exponent_words
from castsugar.report.firing_rows import firing_document, firing_row
from castsugar.report.firing_words import Asked, change, decimals_for, told
from castsugar.static_test import StaticTest, review

pytestmark = pytest.mark.exact

ASKED = Asked(
    file="invented.csv",
    mix="KNO3:65 sucrose:35",
    typed=(("--throat", "8 mm"),),
    assumptions=("pressure of the air 1 atm",),
    pressure="psi",
    force="lbf",
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


def hardware(rating: float = 3e6) -> Hardware:
    band = (1e5, 1e7, 5e-3, 0.35)
    law = published_law(
        "made up", [band], relative_uncertainty=0.1, status="assumed", source="invented"
    )
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
        burning=BurnKnowledge(law=blend_law((), borrowed=law)),
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


def lines_of(page: str, start: str) -> list[str]:
    return [
        line.strip() for line in page.splitlines() if line.strip().startswith(start)
    ]


def joined(page: str) -> str:
    return " ".join(page.split())


# --- numbers -----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("value", "u", "text", "ends"),
    [
        # Two digits of u; 1.959964 u on both sides.
        (856.2, 10.0, "856", "837 to 876"),
        (0.5, 0.01, "0.500", "0.480 to 0.520"),
        # At most five digits of the value.
        (1.97978, 1e-7, "1.9798", "1.9798 to 1.9798"),
        (2.0, 0.0, "2.000", "no doubt stated"),
    ],
)
def test_digits_follow_the_doubt(value, u, text, ends) -> None:
    assert told(Measured(value=value, parts={"a": u})) == (text, ends)


def test_small_helpers() -> None:
    assert decimals_for(0.0, 0.1) == 2
    assert [change(v, 200.0) for v in (206.0, 200.0, 197.0)] == ["+3.0", "0", "-1.5"]


@pytest.mark.parametrize(
    ("impulse", "u", "words"),
    [
        # Edges of the classes 20, 40, 80 N s (NFPA 1125; 40.00 is E, 40.01 F).
        (30.0, 1.0, "E"),
        (40.0, 0.0, "E"),
        (40.01, 0.0, "F"),
        (39.5, 0.5, "E (F possible)"),
        (20.5, 0.5, "E (D possible)"),
        (30.0, 10.0, "E (D or F possible)"),
        (-1.0, 0.1, "-"),
    ],
)
def test_letter_and_its_neighbours(impulse, u, words) -> None:
    assert letter_words(Measured(value=impulse, parts={"a": u})) == words


def test_letter_of_a_lower_limit() -> None:
    found = Measured(value=30.0, parts={"a": 9.0}, at_least=True)
    assert letter_words(found) == "E or larger"


# --- page --------------------------------------------------------------------------


def test_results_stand_in_both_units(full) -> None:
    """1 MPa = 145.04 psi, 44.482216 N s = 10 lbf s."""
    test = with_results(
        full,
        peak_pressure=Measured(value=1e6, parts={"a": 1e4}),
        total_impulse=Measured(value=44.482216, parts={"a": 0.45}),
        characteristic_velocity=Measured(value=900.0, parts={"throat": 10.0}),
    )
    page = firing_page(test, ASKED, [])
    assert page.startswith("Static test: invented.csv\nMix: KNO3:65 sucrose:35\n")
    rows = [line.split() for line in page.splitlines()]
    for wanted in (
        "delivered c*, m/s 900 880 to 920",
        "peak pressure, absolute, MPa 1.000 0.980 to 1.020",
        "peak pressure, absolute, psi 145.0 142.2 to 147.9",
        "total impulse, N s 44.48 43.60 to 45.36",
        "total impulse, lbf s 10.00 9.80 to 10.20",
        "its letter F",
    ):
        assert wanted.split() in rows
    assert "not an approval" in page
    assert "diameter of the throat 100" in joined(page)
    assert "pin or a plug gauge" in joined(page)


def test_page_has_every_part_and_fits_the_screen(full, bare) -> None:
    cautions = cs.load_database().cautions_for(["firing"], {})
    for test in (full, bare):
        page = firing_page(test, ASKED, cautions)
        titles = [t for t in page.splitlines() if t and not t.startswith(" ")]
        starts = ("Result", "Beside the mix", "Where the doubt of c*", "What was read",
                  "Measured beside it", "Start and end", "Burn law that",
                  "Expected and got", "Look again", "Cautions")  # fmt: skip
        places = [
            next(k for k, t in enumerate(titles) if t.startswith(s)) for s in starts
        ]
        assert places == sorted(places)
        assert max(map(len, page.splitlines())) <= 80
        assert cautions[0].text.split()[0] in page
        assert page == firing_page(test, ASKED, cautions)


def test_missing_results_say_why(full, bare) -> None:
    page = firing_page(bare, ASKED, [])
    for name in ("delivered specific impulse", "total impulse", "mean thrust"):
        assert lines_of(page, name)[0].split("  ")[-1] == "no thrust recorded"
    assert lines_of(page, "thrust coefficient")[0].endswith("needs pressure and thrust")
    thrust = reduced(replace(recorded(), pressure=None), throat_diameter=None)
    other = firing_page(review(thrust), ASKED, [])
    assert lines_of(other, "delivered c*")[0].endswith("no pressure recorded")
    assert "Where the doubt of specific impulse" in other
    assert "No efficiency: no mix was given" in other
    cold = replace(full, row={"status": "cold"})
    assert "none for this mix: cold" in joined(firing_page(cold, ASKED, []))


def test_lower_limits_have_no_interval(bare) -> None:
    page = firing_page(bare, ASKED, [])
    for line in lines_of(page, "delivered c*") + lines_of(page, "peak pressure"):
        assert "at least" in line
        assert " to " not in line
    assert "2 things to look at first" in page
    assert "samples at the limit of the sensor" in joined(page)
    assert "None: the grain is not known" in page


def test_case_is_spoken_of_when_the_peak_was_near(full) -> None:
    """The peak is 1.5 MPa: above 1.4, perhaps above 1.52, surely below 3."""
    for rating, words in ((1.4e6, "was above what"), (1.52e6, "may have been above")):
        page = firing_page(replace(full, hardware=hardware(rating)), ASKED, [])
        assert words in joined(page)
        assert "Do not fire this case again" in joined(page)
    assert "this case again" not in firing_page(full, ASKED, [])
    peak = replace(full.reduction.results["peak_pressure"], at_least=True)
    page = firing_page(with_results(full, peak_pressure=peak), ASKED, [])
    assert "nobody knows whether the case" in joined(page)


def test_unlikely_efficiency_is_explained(full) -> None:
    words = "an efficiency of 1.2 is above 1: look for a fault"
    test = replace(
        full,
        cautions=(words,),
        characteristic_velocity_efficiency=Measured(value=1.2, parts={"a": 0.02}),
    )
    page = firing_page(test, ASKED, [])
    assert lines_of(page, "c* efficiency")[0].split()[-4:] == [
        "120.0",
        "116.1",
        "to",
        "123.9",
    ]
    assert f"! Look again: {words}." in joined(page)


def test_other_limits_in_percent(full) -> None:
    """1.03 and 0.99 times what is used."""
    used = full.reduction.results
    names = ("burn_time", "characteristic_velocity", "total_impulse")
    effects = {
        share: {n: factor * used[n].value for n in names}
        for share, factor in ((0.025, 1.03), (0.05, 1.0), (0.1, 0.99))
    }
    test = replace(full, reduction=replace(full.reduction, effects=effects))
    page = firing_page(test, ASKED, [])
    for start, wanted in (("2.5 ", "+3.0"), ("5* ", "0"), ("10 ", "-1.0")):
        (line,) = lines_of(page, start)
        assert line.split()[2::2] == [wanted] * 3
    assert "first and last time at 5 % of the peak" in joined(page)


# --- burn law ----------------------------------------------------------------------


def test_exponent_is_told_or_not(full) -> None:
    """Covariance 0.0001: 0.3 ± 1.959964 x 0.01."""
    inferred = replace(
        full.inferred,
        exponent=0.3,
        covariance=np.diag([1e-4, 1e-4]),
        kn_range=(100.0, 140.0),
        told=True,
    )
    assert (
        exponent_words(inferred)
        == "0.300, 95 % interval 0.280 to 0.320, Kn from 100 to 140"
    )
    vague = replace(inferred, told=False)
    assert (
        exponent_words(vague)
        == "this firing does not tell n: Kn varied only from 100 to 140"
    )
    wide = replace(vague, kn_range=(100.0, 200.0))
    assert "to ±0.25 or better" in exponent_words(wide)
    page = firing_page(replace(full, inferred=vague), ASKED, [])
    assert "this firing does not tell n" in joined(page)


@pytest.mark.parametrize(
    ("origin", "words"),
    [
        ("measured", "with your strands."),
        ("measured: one pressure, exponent borrowed from x", "with your strands (one"),
        ("borrowed: somewhere", "with the published law 'made up'."),
        (
            "mixture model of 3 measured mixes",
            "with the law between your measured mixes.",
        ),
        ("nearest measured mix: other", "with the law known before (nearest"),
    ],
)
def test_law_is_named_by_its_origin(full, origin, words) -> None:
    page = firing_page(replace(full, law=replace(full.law, origin=origin)), ASKED, [])
    assert words in joined(page)


@pytest.mark.parametrize(
    ("ratio", "words"),
    [
        ((1.2, 1.1, 1.3), "burned faster than the law"),
        ((0.8, 0.7, 0.9), "burned slower than the law"),
        ((1.0, 0.9, 1.1), "the rate follows the pressure differently"),
    ],
)
def test_disagreement_says_what_to_look_for(full, ratio, words) -> None:
    """0.02 of all comparisons: 2 of 100; the level is 5 of 100."""
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
    page = joined(firing_page(replace(full, agreement=found), ASKED, []))
    assert "The firing DISAGREES with" in page
    assert "2 of 100 firings would differ as much or more" in page
    assert "Below 5 of 100 it is called a disagreement" in page
    assert "Its n differs by +0.12" in page
    assert words in page
    assert "the law is only continued" in page


def test_agreement_is_no_proof(full) -> None:
    found = replace(full.agreement, agrees=True, probability=0.5, outside=False)
    own = replace(full.law, origin="measured")
    page = joined(firing_page(replace(full, agreement=found, law=own), ASKED, []))
    assert "The firing agrees with your strands." in page
    assert "Agreeing is no proof" in page
    assert "DISAGREES" not in page
    page = joined(firing_page(replace(full, agreement=found), ASKED, []))
    assert "doubt of a published law is wide" in page


def test_expected_beside_got(full) -> None:
    """Got 2 s where 1.6 s, 1.5 to 1.9 s, were expected: outside; 1.8 s is inside."""
    best = replace(full.expected.best, burn_time=1.6)
    bands = {**full.expected.bands, "burn_time": (1.5, 1.9)}
    wanted = replace(full.expected, best=best, failed=3, bands=bands)
    test = replace(full, expected=wanted)
    for got, verdict in ((2.0, "outside"), (1.8, "inside")):
        test = with_results(test, burn_time=Measured(value=got, parts={"a": 0.01}))
        page = firing_page(test, ASKED, [])
        words = lines_of(page, "burn time, s")[-1].split()[3:]
        assert words == ["1.60", "1.50", "to", "1.90", f"{got:.3f}", verdict]
    assert "3 of 256 draws have no stable pressure" in joined(page)
    assert "the ideal c* (no efficiency was stated)" in joined(page)


# --- document and row --------------------------------------------------------------


def test_document_is_plain_and_complete(full) -> None:
    document = json.loads(to_json(firing_document(full, ASKED, [])))
    assert document["schema"] == "castsugar.firing/1"
    velocity = document["results"]["characteristic_velocity"]
    measured = full.reduction.results["characteristic_velocity"]
    assert velocity["value_m_s"] == pytest.approx(measured.value, rel=1e-9)
    half = 1.959964 * velocity["standard_uncertainty_m_s"]
    assert velocity["high_95_m_s"] - velocity["value_m_s"] == pytest.approx(half)
    assert sum(velocity["shares_of_variance"].values()) == pytest.approx(1.0)
    assert velocity["at_least"] is False
    peak = document["results"]["peak_pressure"]["value_MPa"]
    assert peak == pytest.approx(1e-6 * full.reduction.results["peak_pressure"].value)
    assert "value" in document["results"]["thrust_coefficient"]
    assert document["stand"]["propellant_mass_g"] == 125.0
    assert document["stand"]["throat_after_mm"] is None
    assert len(document["inferred_law"]["covariance_of_ln_rate_and_exponent"]) == 2
    assert document["agreement"]["agrees"] in (True, False)
    assert document["expected"]["draws"] == 256
    low = full.expected.bands["burn_time"][0]
    assert document["expected"]["burn_time_p05_s"] == pytest.approx(low, rel=1e-9)
    assert [s["sensor"] for s in document["sensors"]] == ["pressure", "thrust"]
    assert document["as_typed"] == {"--throat": "8 mm"}
    assert document["look_again"] == [*full.reduction.cautions, *full.cautions]
    used = document["other_limits"][1]
    assert used["limits_percent_of_peak"] == 5.0
    assert used["burn_time_s"] == pytest.approx(
        full.reduction.results["burn_time"].value
    )


def test_document_of_a_lower_limit(bare) -> None:
    document = json.loads(to_json(firing_document(bare, ASKED, [])))
    velocity = document["results"]["characteristic_velocity"]
    assert velocity["at_least"] is True
    assert velocity["value_m_s"] > 0.0
    assert velocity["high_95_m_s"] is None
    assert velocity["standard_uncertainty_m_s"] is None
    assert "total_impulse" not in document["results"]
    assert document["inferred_law"] is document["agreement"] is None
    assert document["reason_for_no_law"]
    assert document["efficiency"]["reason_for_none"]


def test_rows_share_their_columns(full, bare) -> None:
    rows = [firing_row(test, ASKED) for test in (full, bare)]
    assert list(rows[0]) == list(rows[1])
    whole, poor = csv.DictReader(io.StringIO(to_csv(rows, list(rows[0]))))
    velocity = full.reduction.results["characteristic_velocity"]
    assert float(whole["characteristic_velocity_m_s"]) == pytest.approx(velocity.value)
    told_u = float(whole["characteristic_velocity_uncertainty_m_s"])
    assert told_u == pytest.approx(velocity.u)
    assert whole["impulse_letter"]
    assert whole["characteristic_velocity_at_least"] == "0"
    assert poor["characteristic_velocity_at_least"] == "1"
    for key in (
        "characteristic_velocity_uncertainty_m_s",
        "total_impulse_N_s",
        "agrees",
    ):
        assert poor[key] == ""
    assert not math.isnan(rows[1]["burning_start_s"])
