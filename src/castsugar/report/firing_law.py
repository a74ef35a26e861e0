"""The burn law of a firing, held against what was known, and expected against got."""

from __future__ import annotations

import math

from castsugar import units
from castsugar.motor.firing.expectation import LEVEL, Agreement, Expected
from castsugar.motor.firing.inference import VAGUE, InferredLaw
from castsugar.motor.firing.quantities import COVERAGE, Measured
from castsugar.report.firing_words import (
    INPUTS,
    KINDS,
    Asked,
    ideal_missing,
    in_unit,
    law_words,
    shown_units,
    told,
)
from castsugar.report.layout import number, wrapped
from castsugar.report.strand_units import percent, short, significant
from castsugar.static_test import StaticTest

#: Kn that ends at less than this many times where it starts varied little.
_NARROW = 1.5

#: Inputs named as those that the doubt of the rate mostly comes from.
_MAIN = 3

# What a disagreement may mean. Common practice, no source.
_FASTER = (
    "The grain burned faster than the law says. Look for: bubbles or cracks, a loose "
    "liner or inhibitor (more surface than drawn), gas rushing along a narrow core, a "
    "grain warmer or a nitrate finer than in the strands, a throat or a mass that is "
    "not what was typed."
)
_SLOWER = (
    "The grain burned slower than the law says. Look for: damp or less cooked "
    "propellant, a colder grain, coarser nitrate, surfaces that did not light, a grain "
    "larger than drawn, a pressure sensor that reads low."
)
_OTHER_SLOPE = (
    "The rates are close, but the rate follows the pressure differently. Look for: a "
    "throat that grew or clogged, a core that lit late or burned along its length, "
    "sizes of the grain, strands in too narrow a range of pressure."
)


def rate_interval(inferred: InferredLaw) -> tuple[float, float]:
    """Return the 95 % interval of the rate at the centre. [m/s]"""
    factor = math.exp(COVERAGE * inferred.log_rate_u)
    return inferred.rate / factor, inferred.rate * factor


def exponent_interval(inferred: InferredLaw) -> tuple[float, float]:
    """Return the 95 % interval of the exponent."""
    half = COVERAGE * inferred.exponent_u
    return inferred.exponent - half, inferred.exponent + half


def law_lines(test: StaticTest, asked: Asked) -> list[str]:
    """Return the burn law that the firing shows, beside the one known before."""
    lines = ["Burn law that this firing shows"]
    if test.inferred is None:
        return [*lines, *wrapped(f"None: {test.no_law}.")]
    lines += _rate_lines(test.inferred, asked)
    if test.agreement is not None and test.law is not None:
        return [*lines, "", *agreement_lines(test, test.agreement, asked)]
    if test.mix is None:
        text = "No mix was given, so nothing was known of its burn rate to compare."
        lines += wrapped(text)
    return lines


def _rate_lines(inferred: InferredLaw, asked: Asked) -> list[str]:
    """Return rate and exponent with their bands."""
    told = []
    for unit in asked.units_of("burn_rate"):
        rates = (inferred.rate, *rate_interval(inferred))
        best, low, high = (
            significant(units.convert(r, "burn_rate", unit), 3) for r in rates
        )
        told.append(f"{best} {unit}, 95 % interval {low} to {high}")
    at = asked.text(inferred.centre, "pressure")
    lines = wrapped(f"Rate at {at}: {'; '.join(told)}.")
    pressure = inferred.burnt.pressure
    span = (
        f"{asked.text(float(pressure.min()), 'pressure')} to "
        f"{asked.text(float(pressure.max()), 'pressure')}"
    )
    lines += wrapped(f"Exponent n: {exponent_words(inferred)}; pressures {span}.")
    main = sorted(inferred.parts, key=lambda name: -inferred.parts[name][0])[:_MAIN]
    words = ", ".join(INPUTS.get(name, name) for name in main)
    return lines + wrapped(
        f"Doubt of the rate mostly from: {words}. Kn follows from the web that had "
        "burnt at each moment; c* and the density of the grain are not needed for it."
    )


def exponent_words(inferred: InferredLaw) -> str:
    """Say the exponent with its band, or that the firing does not tell it."""
    low, high = inferred.kn_range
    kn = f"from {short(low, 3)} to {short(high, 3)}"
    if inferred.told:
        ends = " to ".join(number(x, 3) for x in exponent_interval(inferred))
        return f"{number(inferred.exponent, 3)}, 95 % interval {ends}, Kn {kn}"
    if high < _NARROW * low:
        return f"this firing does not tell n: Kn varied only {kn}"
    return f"this firing does not tell n to ±{VAGUE:g} or better (Kn {kn})"


def agreement_lines(test: StaticTest, found: Agreement, asked: Asked) -> list[str]:
    """Say in plain words whether firing and law agree, and by which test."""
    assert test.law is not None
    name = law_words(test.law)
    verdict = "agrees" if found.agrees else "DISAGREES"
    if not found.tells:
        verdict = "cannot tell whether it agrees"
    ends = f"{significant(found.ratio_low, 3)} to {significant(found.ratio_high, 3)}"
    before = asked.text(found.rate_law, "burn_rate")
    lines = wrapped(f"The firing {verdict} with {name}.", "  ", "")
    text = (
        f"At {asked.text(found.pressure, 'pressure')} the law has {before} at the "
        f"temperature of the grain; the firing burned {significant(found.ratio, 3)} "
        f"times as fast, 95 % interval {ends}."
    )
    compared = "the rate there"
    if math.isfinite(found.exponent_difference):
        text += f" Its n differs by {found.exponent_difference:+.2f}."
        compared = "the rate there and n together"
    lines += wrapped(text)
    lines += wrapped(
        f"Test of {compared}, doubts of both included: if both burned alike, "
        f"{_in_100(found.probability)} of 100 firings would differ as much or more. "
        f"Below {short(100.0 * LEVEL)} of 100 it is called a disagreement."
    )
    if found.agrees:
        lines += wrapped(_agreeing(test))
    else:
        lines += wrapped(_meaning(found))
    if found.outside:
        low, high = (asked.text(p, "pressure") for p in test.law.tested)
        lines += wrapped(
            f"That pressure lies outside the tested {low} to {high} of the law; there "
            "the law is only continued.",
            "    ",
            "  ! ",
        )
    return lines


def _in_100(probability: float) -> str:
    """Write a probability as so many of 100."""
    share = 100.0 * probability
    return "fewer than 0.01" if share < 0.01 else short(share, 2)


def _agreeing(test: StaticTest) -> str:
    """Say what an agreement is worth."""
    assert test.law is not None
    if test.law.origin.startswith("borrowed"):
        return (
            "The doubt of a published law is wide, so this says little; the rate of "
            "your firing is the better number for your grain. Burn strands of it."
        )
    return "Agreeing is no proof: a difference smaller than the interval would hide."


def _meaning(found: Agreement) -> str:
    if found.ratio_low > 1.0:
        return _FASTER
    return _SLOWER if found.ratio_high < 1.0 else _OTHER_SLOPE


def expected_lines(test: StaticTest, asked: Asked) -> list[str]:
    """Return what the motor was expected to do beside what it did."""
    title = "Expected and got"
    expected = test.expected
    if expected is None:
        return [title, *wrapped(f"No expectation: {_no_expectation(test)}.")]
    best, results = expected.best, test.reduction.results
    lines = [f"{title:<36}{'expected':>9}{'90 of 100':>17}{'got':>9}"]
    for name, value in (
        ("peak_pressure", best.peak_pressure),
        ("mean_pressure", best.mean_pressure),
        ("burn_time", best.burn_time),
        ("total_impulse", best.total_impulse),
    ):
        if name not in results:
            continue
        kind = KINDS[name]
        for words, quantity, unit in shown_units(kind, asked):
            got, _ = told(results[name], quantity, unit)
            wanted, low, high = (
                significant(in_unit(v, quantity, unit), 3)
                for v in (value, *expected.bands[name])
            )
            verdict = _inside(expected, name, results[name])
            label = f"{kind.label}, {words}"
            band = f"{low} to {high}"
            lines.append(f"  {label:<34}{wanted:>9} {band:>16} {got:>8}{verdict:>9}")
    return [*lines, *_expected_notes(test)]


def _inside(expected: Expected, name: str, result: Measured) -> str:
    """Say whether a result was within what was expected."""
    if result.at_least:
        return ""
    return "inside" if expected.holds(name, result.value) else "outside"


def _expected_notes(test: StaticTest) -> list[str]:
    """Say what the expectation takes for granted, and what it cannot see."""
    expected, hardware, law = test.expected, test.hardware, test.law
    assert expected is not None
    assert hardware is not None
    assert law is not None
    velocity = "the ideal c* (no efficiency was stated)"
    if hardware.efficiency is not None:
        velocity = f"{percent(hardware.efficiency)} % of the ideal c*"
    lines = wrapped(
        f"Expected: best estimate with {law_words(law)}, {velocity}, throat and air as "
        "at this firing; quasi-steady, without ignition peak or erosive burning. 90 of "
        "100 draws over burn law and motor lie in the band, which the picture shows."
    )
    if expected.failed:
        lines += wrapped(
            f"{expected.failed} of {expected.draws} draws have no stable pressure at "
            "all."
        )
    return lines


def _no_expectation(test: StaticTest) -> str:
    """Say why the motor was not predicted."""
    if test.hardware is None:
        return "the motor is not known; give --bench FILE with its sizes in [motor]"
    if test.mix is None or test.row.get("status", "ok") != "ok":
        return ideal_missing(test)
    return "no throat diameter was given"
