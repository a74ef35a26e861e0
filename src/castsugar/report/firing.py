"""What ``castsugar firing`` answers: a static test beside its mix and its motor."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from castsugar.motor.burn_law import BurnLaw
from castsugar.motor.firing.alarms import NOT_TOLD, Alarm, alarms_of
from castsugar.motor.firing.channel import Channel
from castsugar.motor.firing.expectation import LEVEL, Agreement
from castsugar.motor.firing.inference import InferredLaw
from castsugar.motor.firing.misfit import MISFIT, UNFIT
from castsugar.motor.firing.quantities import AT_LEAST, Stand
from castsugar.motor.hardware import Hardware
from castsugar.report import numbers
from castsugar.report.cautions import Chosen
from castsugar.report.field import Field, Row, listed, row_in_order
from castsugar.report.firing_rows import (
    NAMES,
    RESULTS,
    THRESHOLDS,
    Asked,
    bands,
    channels,
    chosen_share,
    exponent_interval,
    firing_row,
    ideal_missing,
    letter_of,
    limit_rule,
    rate_interval,
    scale_of,
    thresholds,
)
from castsugar.report.mix_words import titled
from castsugar.report.screen import Annex, Block, Finding, Paragraph, Screen, Table
from castsugar.report.shown import Shown
from castsugar.static_test import StaticTest

_MPA = 1e6

#: Results that stand on the default screen.
_DECIDING = 6

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

# What a disagreement may mean. Common practice, no source.
_FASTER = (
    "bubbles or cracks, a loose liner or inhibitor (more surface than drawn), gas "
    "rushing along a narrow core, a grain warmer or a nitrate finer than in the "
    "strands, a throat or a mass that is not what was typed"
)
_SLOWER = (
    "damp or less cooked propellant, a colder grain, coarser nitrate, surfaces that "
    "did not light, a grain larger than drawn, a pressure sensor that reads low"
)
_OTHER_SLOPE = (
    "a throat that grew or clogged, a core that lit late or burned along its length, "
    "sizes of the grain, strands in too narrow a range of pressure"
)


def firing_screen(
    test: StaticTest,
    asked: Asked,
    cautions: Chosen,
    show: Shown,
    *,
    next_: str = "",
    invented: tuple[str, ...] = (),
) -> Screen:
    """Return what a recording says; `invented` are entries with invented numbers."""
    row = firing_row(test, asked) | bands(test)
    mix = f": {titled(test.mix)}" if test.mix is not None else ""
    return Screen(
        command="firing",
        title=f"Static test {asked.file}{mix}",
        findings=(
            *_case(test, show),
            *_alarmed(test, show),
            *_delivered(test, row, show),
            *_predicted(test, row, show),
            *_agreement(test, row, show),
            *_look_again(test, show),
        ),
        conditions=_conditions(test, show),
        blocks=_blocks(test, row, show),
        least_sure=_least_sure(test, show),
        cautions=cautions.lines,
        cautions_count=len(cautions.lines) + cautions.rest,
        next=next_,
        invented=invented,
        bench=asked.file if asked.file in invented else "bench.toml",
        annexes=_annexes(test, asked, row, show),
    )


# ----------------------------------------------------------------------------
# Findings.


def _case(test: StaticTest, show: Shown) -> Iterator[Finding]:
    """Say so if the pressure went beyond what the case is allowed."""
    peak = test.reduction.results.get("peak_pressure")
    if peak is None or test.hardware is None or math.isnan(test.hardware.allowable):
        return
    rated, allowed = _rating(test.hardware, show), test.hardware.allowable
    if peak.interval[1] > allowed:
        was = "was" if peak.value > allowed else "may have been"
        best = show.amount("pressure", peak.value / _MPA)
        text = f"fire this case again: its peak, {best}, {was} above {rated}."
        yield Finding("DO NOT", text, {"peak_pressure_MPa": peak.value / _MPA})
    elif peak.bound == AT_LEAST:
        text = (
            "fire this case again before you know its peak: the sensor was at its "
            f"limit, or too slow; nobody knows whether it stayed below {rated}."
        )
        yield Finding("DO NOT", text)


def _rating(hardware: Hardware, show: Shown) -> str:
    rated = show.limit("pressure", hardware.allowable / _MPA)
    return f"your rating {rated} {show.unit('pressure')}"


def told(key: str, row: Row, show: Shown) -> str:
    """Write a result with unit and band, or as a lower limit."""
    one = _FIELD[key]
    low, high = one.band(row)
    if not math.isnan(low):
        return show.banded(one.kind, row[key], low, high)
    bound = row[f"{NAMES[key][0]}_bound"]
    return (f"{bound} " if bound else "") + show.amount(one.kind, row[key])


_FIELD = {one.key: one for one in RESULTS}


def _delivered(test: StaticTest, row: Row, show: Shown) -> Iterator[Finding]:
    """Say what was delivered of the ideal, or why not; nothing of what cannot be."""
    if alarms_of(test.alarms, "possible"):
        return
    for key, label in (
        ("characteristic_velocity_m_s", "c*"),
        ("specific_impulse_s", "Isp"),
    ):
        of = f"{NAMES[key][0]}_efficiency"
        if math.isnan(row[of]):
            continue
        kind, ideal = _FIELD[key].kind, float(test.row[key])
        text = (
            f"It delivered {_share(of, row, label)}: "
            f"{show.bare(kind, row[key])} of {show.amount(kind, ideal)}"
        )
        yield Finding("RESULT", f"{text}{_beside_it(of, row)}.", {of: row[of]})
        return
    known = [k for k in _FIELD if not math.isnan(row[k])]
    key = next(k for k in (*_LEADING, *known) if k in known)
    text = f"Delivered: {_FIELD[key].label.removeprefix('delivered ')} "
    text += f"{told(key, row, show)}. No efficiency: {ideal_missing(test)}."
    yield Finding("RESULT", text, {key: row[key]})


def _share(of: str, row: Row, label: str) -> str:
    """Write an efficiency in per cent of the ideal, with its band or as a limit."""
    share, (low, high) = row[of], _FIELD[of].band(row)
    best, first, last = numbers.with_band(100.0 * share, 100.0 * low, 100.0 * high)
    if bound := row[f"{of}_bound"]:
        return f"{bound} {best} % of the ideal {label}"
    band = "" if math.isnan(low) else f" ({first} to {last})"
    return f"{best} % of the ideal {label}{band}"


#: Efficiencies told beside the first one, as a pattern: short names.
_PATTERN = {
    "nozzle_efficiency": "nozzle",
    "specific_impulse_efficiency": "Isp",
}


def _beside_it(of: str, row: Row) -> str:
    """Write the other efficiencies, so that the three stand side by side."""
    others = []
    for name, label in _PATTERN.items():
        if name != of and not math.isnan(row[name]):
            bound = row[f"{name}_bound"]
            least = f"{bound} " if bound else ""
            others.append(f"{label} {least}{numbers.percent(row[name])} %")
    return f"; {', '.join(others)}" if others else ""


#: What is told where there is no efficiency, the first one known.
_LEADING = ("characteristic_velocity_m_s", "total_impulse_N_s")


def _predicted(test: StaticTest, row: Row, show: Shown) -> Iterator[Finding]:
    """Hold each result that was predicted against its band."""
    expected, hardware = test.expected, test.hardware
    if expected is None or hardware is None:
        return
    for key in ("total_impulse_N_s", "peak_pressure_MPa", "burn_time_s"):
        name, _ = NAMES[key]
        result = test.reduction.results.get(name)
        if result is None or result.bound:
            continue
        inside = expected.holds(name, result.value)
        if inside and key == "burn_time_s":
            continue
        one, band = _FIELD[key], f"expected_{key}_interval"
        text = f"{one.label.capitalize()} {show.amount(one.kind, row[key])}"
        if key == "total_impulse_N_s":
            text += f" (size {letter_of(test)})"
        text += f"; predicted {one.cells(_prediction(one, test, row), show)[1]}"
        if key == "peak_pressure_MPa" and math.isfinite(hardware.allowable):
            text += f"; {_rating(hardware, show)}"
        values = {key: row[key], band: row[band]}
        yield Finding("INSIDE" if inside else "OUTSIDE", f"{text}.", values)


def _agreement(test: StaticTest, row: Row, show: Shown) -> Iterator[Finding]:
    """Say where the firing contradicts the law that was known, or cannot tell."""
    found, law = test.agreement, test.law
    if found is None or law is None:
        return
    ratio, low, high = numbers.with_band(found.ratio, found.ratio_low, found.ratio_high)
    at = show.amount("pressure", found.pressure / _MPA)
    text = f"At {at} it burned {ratio} x as fast as {law_words(law)} ({low} to {high})"
    if not found.agrees:
        why = _OTHER_SLOPE
        if found.ratio_low > 1.0 or found.ratio_high < 1.0:
            why = _FASTER if found.ratio_low > 1.0 else _SLOWER
        yield Finding("OUTSIDE", f"{text}. Look for: {why}.", {"ratio": found.ratio})
    elif not found.tells:
        text = f"{text}: too wide to tell whether they agree."
        yield Finding("CANNOT TELL", text, {"ratio": found.ratio})


def _alarmed(test: StaticTest, show: Shown) -> Iterator[Finding]:
    """Say what looks like a fault of measuring, the likely cause first: one finding."""
    found = [a for a in alarms_of(test.alarms) if a.test not in _OF_RESULTS]
    wrong = alarms_of(test.alarms, "possible") or alarms_of(test.alarms, *_OF_RESULTS)
    for alarm in wrong:
        yield Finding("MISFIT", f"{_capital(show.said(alarm.text))}.")
    if not found:
        return
    text = f"{_capital(show.said(found[0].text))}."
    if test.reduction.cause:
        text = f"{_capital(test.reduction.cause)} (likely): {show.said(found[0].text)}."
    more = f" {len(found) - 1} more: --full." if found[1:] else ""
    values = {"alarms": [a.test for a in found]}
    text += f"{more} Nothing is learnt from it unless you say why it is sound."
    yield Finding("MISFIT", text, values)


#: Alarms of results, not of a recording: each has a finding of its own.
_OF_RESULTS = ("possible", "efficiency", "mass")


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _look_again(test: StaticTest, show: Shown) -> Iterator[Finding]:
    """Yield what is unusual, and what no test can clear: all of it in one finding."""
    alone = [a.text for a in test.alarms if a.test == "mean" and a.level == NOT_TOLD]
    if alone and test.reduction.thrust is None:
        yield Finding("CANNOT TELL", f"{_capital(show.said(alone[0]))}.")
    said = [alarm.text for alarm in alarms_of(test.alarms)]
    rest = [text for text in test.cautions if text not in said]
    if test.suspects:
        rest.insert(0, f"the three efficiencies together point to {test.suspects}")
    if rest:
        more = f" {len(rest) - 1} more: --full." if rest[1:] else ""
        text = f"{_capital(rest[0])}.{more}"
        yield Finding("CAUTION", show.said(text), {"look_again": rest})


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


# ----------------------------------------------------------------------------
# The numbers that decide.


def _conditions(test: StaticTest, show: Shown) -> str:
    """Say what was fired."""
    stand = test.reduction.stand
    parts = [f"{_mass(stand, show)} of propellant"]
    if stand.igniter_mass:
        parts.append(f"igniter {show.typed('mass', 1e3 * stand.igniter_mass)}")
    if stand.pressure_lag:
        lag = numbers.typed(1e3 * stand.pressure_lag)
        parts.append(f"lag of the pressure sensor {lag} ms taken off")
    if stand.throat_diameter is not None:
        parts.append(f"throat {_throat(stand, show)}")
    parts.append(f"air {show.amount('air pressure', 1e-3 * stand.ambient_pressure)}")
    share = chosen_share(stand.share)
    return f"{', '.join(parts)}; burning starts and ends at {share} % of the peak"


def _mass(stand: Stand, show: Shown) -> str:
    """Write the propellant that burned."""
    if stand.propellant_mass is None:
        return "an unknown mass"
    return show.typed("mass", 1e3 * stand.propellant_mass)


def _throat(stand: Stand, show: Shown) -> str:
    """Write the throat before and after."""
    before, after = stand.throat_diameter, stand.throat_after
    if before is None:
        return "not measured"
    if after is None or after == before:
        return show.typed("length", 1e3 * before)
    first = show.typed("length", 1e3 * before).split()[0]
    return f"{first} -> {show.typed('length', 1e3 * after)}"


def _blocks(test: StaticTest, row: Row, show: Shown) -> tuple[Block, ...]:
    """Return measured beside predicted, and what is said of the exponent."""
    rows: list[tuple[str, ...]] = [
        _line(one, row, _prediction(one, test, row), show)
        for one in RESULTS[:_DECIDING]
        if not math.isnan(row[one.key])
    ]
    found, inferred = test.agreement, test.inferred
    if inferred is not None:
        at = show.amount("pressure", 1e-6 * inferred.centre)
        low, high = (1e3 * end for end in rate_interval(inferred))
        best, first, last = show.band("rate", 1e3 * inferred.rate, low, high)
        before = ("", "")
        if found is not None:
            agrees = "agrees" if found.agrees else "disagrees"
            agrees = agrees if found.tells else "cannot tell"
            before = (show.bare("rate", 1e3 * found.rate_law), agrees)
        head = show.headed(f"rate at {at}", "rate")
        rows.append((head, best, f"{first} to {last}", *before))
    known = any(line[3] for line in rows)
    wide = 5 if known else 3
    table = Table(
        heads=("", "measured", "95 %", "predicted", "95 %")[:wide],
        rows=tuple(line[:wide] for line in rows),
    )
    said = f"No burning-rate law: {test.no_law}."
    if inferred is not None:
        said = exponent_words(inferred, alone=test.reduction.thrust is None)
    missing = _not_told(test)
    if missing:
        return table, Paragraph(missing), Paragraph(said, spare=True)
    return table, Paragraph(said, spare=True)


def _not_told(test: StaticTest) -> str:
    """Say which results lack an input, by input; empty for none."""
    why: dict[str, list[str]] = {}
    for name, reason in test.reduction.not_told.items():
        if reason in ("no pressure", "no thrust"):
            continue
        label = next(f.label for k, f in _FIELD.items() if NAMES[k][0] == name)
        why.setdefault(reason, []).append(label.removeprefix("delivered "))
    told = (f"{', '.join(names)} ({reason})" for reason, names in why.items())
    return f"Not told: {'; '.join(told)}." if why else ""


def _line(
    one: Field, row: Row, wanted: Row, show: Shown
) -> tuple[str, str, str, str, str]:
    """Return a result beside what was predicted."""
    value, band = one.cells(row, show)
    if bound := row[f"{NAMES[one.key][0]}_bound"]:
        value = f"{bound} {value}"
    told = one.cells(wanted, show) if wanted else ("", "")
    return one.headed(show), value, band, *told


def _prediction(one: Field, test: StaticTest, row: Row) -> Row:
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


def _least_sure(test: StaticTest, show: Shown) -> str:
    """Name what most of the uncertainty of c*, or else of Isp, comes from."""
    name, label = _budgeted(test)
    shares = test.reduction.results[name].shares()
    if not shares:
        return ""
    part, share = next(iter(shares.items()))
    words = INPUTS.get(part, part)
    if part == "throat erosion":
        words += f" {_throat(test.reduction.stand, show)}"
    return f"{words} ({numbers.percent(share)} % of the uncertainty of {label})"


def _budgeted(test: StaticTest) -> tuple[str, str]:
    """Return the name of the result whose budget is told, and its label."""
    for name, label in (
        ("characteristic_velocity", "c*"),
        ("specific_impulse", "Isp"),
        ("total_impulse", "the impulse"),
    ):
        if name in test.reduction.results:
            return name, label
    return "mean_pressure", "the mean pressure"


# ----------------------------------------------------------------------------
# What `--full` adds.


def _annexes(
    test: StaticTest, asked: Asked, row: Row, show: Shown
) -> tuple[Annex, ...]:
    every = tuple(
        _line(one, row, {}, show)[:3] for one in RESULTS if not math.isnan(row[one.key])
    )
    results = Table(heads=("", "measured", "95 %"), rows=every)
    remarks = tuple(_remarks(test, show))
    return (
        Annex("All results", (results, Paragraph(_beside(test, row)))),
        *([Annex("Look again", remarks)] if remarks else []),
        Annex("Uncertainty budget", budget_of(test, *_budgeted(test))),
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
        rows.append(("propellant that burned", _mass(stand, show), mass))
    if test.reduction.pressure is not None:
        throat_u = show.amount("length", 1e3 * stand.throat_u, 2)
        air = show.amount("air pressure", 1e-3 * stand.ambient_pressure, 4)
        air_u = show.amount("air pressure", 1e-3 * stand.ambient_u, 2)
        rows += [
            ("throat, before -> after", _throat(stand, show), throat_u),
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
