"""Words for the burning-rate law of a firing, beside the one known before."""

from __future__ import annotations

import math
from collections.abc import Iterator

from castsugar.motor.burn_law import BurnLaw
from castsugar.motor.firing.expectation import LEVEL, Agreement
from castsugar.motor.firing.inference import InferredLaw
from castsugar.motor.firing.misfit import MISFIT, UNFIT
from castsugar.report import numbers
from castsugar.report.firing_rows import exponent_interval
from castsugar.report.screen import Block, Paragraph
from castsugar.report.shown import Shown
from castsugar.static_test import StaticTest

_MPA = 1e6

#: Inputs named as those that the uncertainty of the rate mostly comes from.
_MAIN = 3

#: Input -> words for people; others stand as they are.
INPUTS = {
    "calibration": "calibration of the sensor",
    "pressure calibration": "calibration of the pressure sensor",
    "thrust calibration": "calibration of the load cell",
    "throat": "diameter of the throat",
    "throat erosion": "how the throat grew",
    "integration limits": "where burning starts and ends",
    "zero": "zero of the sensor",
    "pressure zero": "zero of the pressure sensor",
    "thrust zero": "zero of the load cell",
    "sampling": "time between samples",
    "dropouts": "samples that are missing",
    "ambient pressure": "pressure of the air",
    "data of the ideal value": "data behind the ideal value",
    "frames": "frames of the start and the end",
    "c* efficiency": "the c* efficiency taken",
    "scatter": "course of the pressure about the law",
    "throat after": "diameter of the throat after firing",
    "free volume": "volume of gas in the case",
    "igniter": "gas of the igniter",
    "outer diameter": "outer diameter of the grain",
    "core diameter": "core diameter of the grain",
    "length of a segment": "length of a grain segment",
    "web": "web of the grain",
}

#: Beside an exponent that no thrust vouches for.
_ALONE = (
    " Saturation of the pressure sensor cannot be excluded without a thrust; it makes "
    "the exponent too low: state the range of the sensor (--pressure-range)."
)


def exponent_words(inferred: InferredLaw, *, alone: bool = False) -> str:
    """Say the exponent, or why it is not resolved; `alone`: no thrust was recorded."""
    low, high = inferred.kn_range
    kn = f"Kn ran from {numbers.significant(low)} to {numbers.significant(high)}"
    if inferred.told:
        ends = exponent_interval(inferred)
        n, below, above = numbers.with_band(inferred.exponent, *ends)
        said = f"Exponent {n} ({below} to {above}); {kn}."
        return said + (_ALONE if alone else "")
    return f"The exponent is not resolved: {inferred.why_not_told}; {kn}."


def law_words(law: BurnLaw) -> str:
    """Return what to call a burning-rate law that was known before the firing."""
    kind, _, of = law.origin.partition(": ")
    if kind.startswith("model"):
        return f"the model of burning rates ({of})"
    words = {
        "measured": "your strands",
        "fired": "your firing",
        "stated": "the law you stated",
        "borrowed": "the published law",
    }
    name = words.get(kind, "what is held beforehand")
    return f"{name} ({of})" if of else name


def law_blocks(test: StaticTest, show: Shown) -> Iterator[Block]:
    """Return the law that the firing shows, beside the one known before."""
    if test.inferred is None:
        yield Paragraph(f"None: {test.no_law}.")
        return
    yield from _own_law(test.inferred, test, show)
    if test.agreement is not None and test.law is not None:
        yield Paragraph(_beside_law(test.agreement, test.law, test.web_ratio, show))
        if test.expected is not None:
            yield Paragraph(_expectation(test))
    elif test.mix is None:
        yield Paragraph("No mix was given, so no law was known to compare with.")


def _own_law(inferred: InferredLaw, test: StaticTest, show: Shown) -> Iterator[Block]:
    """Say what the firing alone shows of its law."""
    seen = inferred.burnt.pressure
    span = _span(float(seen.min()), float(seen.max()), show)
    main = sorted(inferred.parts, key=lambda name: -inferred.parts[name][0])[:_MAIN]
    words = numbers.listed([INPUTS.get(name, name) for name in main])
    said = exponent_words(inferred, alone=test.reduction.thrust is None)
    volume = None if test.hardware is None else test.hardware.free_volume
    stored = "only that in the burnt volume is taken off (state case_volume in [motor])"
    if volume is not None:
        free = show.amount("volume", 1e6 * volume)
        stored = f"that in {free} of free volume and in the burnt one is taken off"
    yield Paragraph(
        f"{said} Pressures {span}. Uncertainty of the rate mostly from: {words}. Kn "
        "follows from the web that had burned at each moment; c* and the density of "
        f"the grain are not needed for it. Of the gas that stays, {stored}."
    )
    fit = numbers.significant(inferred.lack_of_fit)
    yield Paragraph(
        f"Lack of fit {fit} (about 0.2 is usual; above {numbers.typed(UNFIT)} no "
        f"exponent is told, above {numbers.typed(MISFIT)} the pressure does not follow "
        "the drawn grain)."
    )


def _beside_law(found: Agreement, law: BurnLaw, web: float, show: Shown) -> str:
    """Say how the firing stands beside the law known before."""
    told = "agrees" if found.agrees else "disagrees"
    ratio, low, high = numbers.with_band(found.ratio, found.ratio_low, found.ratio_high)
    text = (
        f"It {told} with {law_words(law)}: {ratio} x as fast ({low} to {high}). If "
        f"both burned alike, a difference as large has a probability of "
        f"{numbers.probability(found.probability)}; below {numbers.typed(LEVEL)} it is "
        "called a disagreement."
    )
    if math.isfinite(found.exponent_difference):
        told, _, _ = numbers.signed(found.exponent_difference, math.nan, math.nan)
        text += f" Its n differs by {told}."
    if found.agrees:
        text += " Agreeing is no proof: a smaller difference would hide."
    if math.isfinite(web):
        share = numbers.percent(web)
        text += f" In that time it burns {share} % of the web."
    if found.outside:
        text += (
            f" That pressure lies outside the tested {_span(*law.tested, show)} of the "
            "law; there it is only continued."
        )
    return text


def _span(low: float, high: float, show: Shown) -> str:
    """Write pressures [Pa] with one unit."""
    ends = (show.bare("pressure", end / _MPA) for end in (low, high))
    return f"{' to '.join(ends)} {show.unit('pressure')}"


def _expectation(test: StaticTest) -> str:
    """Say what the prediction takes for granted, and what it cannot see."""
    expected, hardware = test.expected, test.hardware
    assert expected is not None
    assert hardware is not None
    told = hardware.efficiencies.characteristic_velocity
    velocity = f"{numbers.percent(told.median)} % of the ideal c* (assumed)"
    if hardware.efficiency is not None:
        velocity = f"{numbers.percent(hardware.efficiency)} % of the ideal c*"
    text = (
        f"Predicted: with that law, {velocity}, throat and air as at this firing; "
        "quasi-steady, without ignition peak or erosive burning."
    )
    if expected.failed:
        text += f" {expected.failed} of {expected.draws} draws have no stable pressure."
    return text
