"""What ``castsugar firing --full`` adds, and the words that its screen shares."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from castsugar.motor.burn_law import BurnLaw
from castsugar.motor.firing.alarms import NOT_TOLD, Alarm, alarms_of
from castsugar.motor.firing.channel import Channel
from castsugar.motor.firing.expectation import LEVEL, Agreement
from castsugar.motor.firing.inference import MISFIT, UNFIT, InferredLaw
from castsugar.motor.firing.quantities import Stand
from castsugar.report import numbers
from castsugar.report.field import Field, Row, listed, row_in_order
from castsugar.report.firing_rows import (
    NAMES,
    RESULTS,
    THRESHOLDS,
    Asked,
    channels,
    chosen_share,
    exponent_interval,
    ideal_missing,
    limit_rule,
    scale_of,
    thresholds,
)
from castsugar.report.screen import Annex, Block, Paragraph, Table
from castsugar.report.shown import Shown
from castsugar.static_test import StaticTest

MPA = 1e6

#: Shares of the variance below this are told together.
_SMALL = 0.005

#: Inputs named as those that the uncertainty of the rate mostly comes from.
_MAIN = 3

ABOUT = (
    "One firing shows one grain: the next may differ by more than these intervals, "
    "which hold measuring alone. The letter of an impulse is a size, not an approval: "
    "only certified motors bear one as a class."
)

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

#: Input -> what makes it better known. Common practice, no source.
CURES = {
    "calibration": "calibrate the sensor against a dead weight or a gauge you trust",
    "throat": "measure the throat in several directions, with a pin or a plug gauge",
    "throat erosion": "fire a nozzle that does not wear",
    "propellant mass": "weigh the grains, without liner, before they go in, and what "
    "is left in the case after",
    "integration limits": "say what you count as burning; a sharper ignition helps",
    "zero": "let the sensors warm up, and record longer before and after",
    "dropouts": "look for a loose plug or a slow card",
    "ambient pressure": "read a barometer at the stand",
    "what counts as burning": "record the pressure, or the thrust",
    "c* efficiency": "record the pressure of one firing",
    "frames": "film with more frames a second",
}

FIELD = {one.key: one for one in RESULTS}


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
        "imported": "other benches, imported",
    }
    name = words.get(kind, "what is held beforehand")
    return f"{name} ({of})" if of else name


def mass_words(stand: Stand, show: Shown) -> str:
    """Write the propellant that burned."""
    if stand.propellant_mass is None:
        return "an unknown mass"
    return show.typed("mass", 1e3 * stand.propellant_mass)


def throat_words(stand: Stand, show: Shown) -> str:
    """Write the throat before and after."""
    before, after = stand.throat_diameter, stand.throat_after
    if before is None:
        return "not measured"
    if after is None or after == before:
        return show.typed("length", 1e3 * before)
    first = show.typed("length", 1e3 * before).split()[0]
    return f"{first} -> {show.typed('length', 1e3 * after)}"


def line_of(
    one: Field, row: Row, wanted: Row, show: Shown
) -> tuple[str, str, str, str, str]:
    """Return a result beside what was predicted."""
    value, band = one.cells(row, show)
    if bound := row[f"{NAMES[one.key][0]}_bound"]:
        value = f"{bound} {value}"
    told = one.cells(wanted, show) if wanted else ("", "")
    return one.headed(show), value, band, *told


def prediction_of(one: Field, test: StaticTest, row: Row) -> Row:
    """Return what was predicted of a result, under its own key; empty for nothing."""
    name, unit = NAMES[one.key]
    if test.expected is not None and name in test.expected.bands:
        best = scale_of(unit) * getattr(test.expected.best, name)
        return row_in_order([one], (best, row[f"expected_{one.key}_interval"]))
    ideal, hardware = test.row.get(one.key, math.nan), test.hardware
    if name != "characteristic_velocity" or hardware is None or ideal_missing(test):
        return {}
    told = hardware.efficiencies.characteristic_velocity
    middle, low, high = (
        ideal * share for share in (told.median, told.next_low, told.next_high)
    )
    return row_in_order([one], (middle, (low, high)))


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


def budgeted(test: StaticTest) -> tuple[str, str]:
    """Return the name of the result whose budget is told, and its label."""
    for name, label in (
        ("characteristic_velocity", "c*"),
        ("specific_impulse", "Isp"),
        ("total_impulse", "the impulse"),
    ):
        if name in test.reduction.results:
            return name, label
    return "mean_pressure", "the mean pressure"


def firing_annexes(
    test: StaticTest, asked: Asked, row: Row, show: Shown
) -> tuple[Annex, ...]:
    """Return what the default screen leaves out."""
    every = tuple(
        line_of(one, row, {}, show)[:3]
        for one in RESULTS
        if not math.isnan(row[one.key])
    )
    results = Table(heads=("", "measured", "95 %"), rows=every)
    remarks = tuple(_remarks(test, show))
    return (
        Annex("All results", (results, Paragraph(_beside(test, row)))),
        *([Annex("Look again", remarks)] if remarks else []),
        Annex("Uncertainty budget", budget_of(test, *budgeted(test))),
        Annex("What was read", tuple(_read(test, show))),
        Annex("Measured beside it", tuple(_inputs(test, asked, show))),
        Annex("Other thresholds", (listed(THRESHOLDS, thresholds(test), show),)),
        Annex("Burning-rate law of this firing", tuple(_law(test, show))),
    )


def _remarks(test: StaticTest, show: Shown) -> Iterator[Block]:
    """Yield what the tests of the recording found, and what was done about it."""
    said = [alarm.text for alarm in alarms_of(test.alarms)]
    for text in test.cautions:
        kind = "Alarm" if text in said else "Unusual"
        yield Paragraph(f"{kind}: {show.said(text)}.")
    for text in test.reduction.done:
        yield Paragraph(f"Corrected: {text}.")
    for text in dict.fromkeys(_silent(a) for a in test.alarms if a.level == NOT_TOLD):
        yield Paragraph(f"Not told: {show.said(text)}.")


def _silent(alarm: Alarm) -> str:
    """Write a test that lacks what it needs."""
    return f"{alarm.test}: {alarm.text}"


def _beside(test: StaticTest, row: Row) -> str:
    """Say size, density and what the results are."""
    text = f"Size {row['impulse_letter']}. " if row["impulse_letter"] else ""
    if math.isfinite(test.density_ratio):
        share = numbers.significant(100.0 * test.density_ratio)
        text += f"The propellant weighs {share} % of a grain without voids. "
    return text + ABOUT


def budget_of(test: StaticTest, name: str, label: str) -> tuple[Block, ...]:
    """Return where the uncertainty of a result comes from."""
    shares = test.reduction.results[name].shares()
    large = [(p, s) for p, s in shares.items() if s >= _SMALL]
    if not large:
        return (Paragraph("No uncertainty was stated."),)
    table = Table(
        heads=(f"uncertainty of {label} from", "% of the variance"),
        rows=tuple((INPUTS.get(p, p), numbers.percent(s)) for p, s in large),
    )
    text = f"The others add less than {chosen_share(_SMALL)} % each."
    if large[0][0] in CURES:
        text += f" To know it better: {CURES[large[0][0]]}."
    return table, Paragraph(text)


def _read(test: StaticTest, show: Shown) -> Iterator[Block]:
    """Say what was read of each sensor, and what was done to it."""
    for channel in channels(test):
        kind, scale = {"pressure": ("pressure", 1e-6)}.get(channel.name, ("force", 1.0))
        time, zero, b = channel.time, channel.zero, channel.burning
        noise, before, after, level = (
            show.amount(kind, scale * value)
            for value in (channel.noise, zero.before, zero.after, b.level)
        )
        rate = numbers.significant(1.0 / float(np.median(np.diff(time))))
        first, last, start, end = (
            numbers.at_place(float(t), -3) for t in (time[0], time[-1], b.start, b.end)
        )
        text = (
            f"{channel.name}: {len(time)} samples from {first} to {last} s, {rate} a "
            f"second; noise {noise}, "
            f"{numbers.percent(channel.noise / channel.peak)} % of the peak. Zero: "
            f"{zero_words(channel)}"
        )
        if zero.rule != "as read":
            text += f", {before} at rest before"
            text += "" if math.isnan(zero.after) else f", {after} after"
        rule = limit_rule(channel, test.reduction.stand.share)
        text += f". Burning {start} to {end} s: {rule}, {level}."
        yield Paragraph(text + _gaps(channel))


def _gaps(channel: Channel) -> str:
    """Say what of a recording is missing or doubtful."""
    lost = numbers.percent(channel.bridged_share)
    counts = (
        (int(channel.gap.sum()), "gaps in the times, bridged by straight lines"),
        (
            int(channel.bridged.sum()),
            f"samples missing or stray, bridged; {lost} % of the burn time is not "
            "recorded",
        ),
        (int(channel.at_limit.sum()), "samples at the limit of the sensor"),
        (channel.burning.dips, "dips below the threshold while burning"),
    )
    return "".join(f" {count} {what}." for count, what in counts if count)


def zero_words(channel: Channel) -> str:
    """Say in few words which zero was taken away."""
    return {
        "as read": "as read",
        "before only": "reading at rest before",
        "line": "line from the reading at rest before to that after",
    }[channel.zero.rule]


def _inputs(test: StaticTest, asked: Asked, show: Shown) -> Iterator[Block]:
    """Say what the results rest on: each with its standard uncertainty."""
    stand = test.reduction.stand
    mass, pressure, thrust = (
        f"{chosen_share(u)} %"
        for u in (
            stand.mass_u,
            stand.pressure_calibration_u,
            stand.thrust_calibration_u,
        )
    )
    rows = []
    if stand.propellant_mass is not None:
        rows.append(("propellant that burned", mass_words(stand, show), mass))
    if test.reduction.pressure is not None:
        throat_u = show.amount("length", 1e3 * stand.throat_u, 2)
        air = show.amount("air pressure", 1e-3 * stand.ambient_pressure, 4)
        air_u = show.amount("air pressure", 1e-3 * stand.ambient_u, 2)
        rows += [
            ("throat, before -> after", throat_words(stand, show), throat_u),
            ("pressure of the air", air, air_u),
            ("calibration of the pressure sensor", "", pressure),
        ]
    if test.reduction.thrust is not None:
        rows.append(("calibration of the load cell", "", thrust))
    yield Table(heads=("", "value", "± standard"), rows=tuple(rows))
    if asked.typed:
        typed = "; ".join(f"{what} {text}" for what, text in asked.typed)
        yield Paragraph(f"As typed: {typed}.")
    for text in asked.assumptions:
        yield Paragraph(f"Assumed: {show.said(text)}.")


def _law(test: StaticTest, show: Shown) -> Iterator[Block]:
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
    span = span_words(float(seen.min()), float(seen.max()), show)
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
            f" That pressure lies outside the tested {span_words(*law.tested, show)} "
            "of the law; there it is only continued."
        )
    return text


def span_words(low: float, high: float, show: Shown) -> str:
    """Write pressures [Pa] with one unit."""
    ends = (show.bare("pressure", end / MPA) for end in (low, high))
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
        "lit all at once, without erosive burning."
    )
    if expected.failed:
        text += f" {expected.failed} of {expected.draws} draws have no stable pressure."
    return text
