"""What ``castsugar firing`` answers: a static test beside its mix and its motor."""

from __future__ import annotations

import math
from collections.abc import Iterator

from castsugar.motor.firing.alarms import NOT_TOLD, Alarm, alarms_of
from castsugar.motor.firing.quantities import AT_LEAST, Measured
from castsugar.motor.hardware import Hardware
from castsugar.report import numbers
from castsugar.report.cautions import Chosen
from castsugar.report.field import Row
from castsugar.report.firing_annexes import (
    FIELD,
    INPUTS,
    MPA,
    budgeted,
    exponent_words,
    firing_annexes,
    law_words,
    line_of,
    mass_words,
    prediction_of,
    throat_words,
)
from castsugar.report.firing_rows import (
    NAMES,
    RESULTS,
    Asked,
    bands,
    chosen_share,
    firing_row,
    ideal_missing,
    letter_of,
    rate_interval,
)
from castsugar.report.mix_words import titled
from castsugar.report.screen import Block, Finding, Paragraph, Screen, Table
from castsugar.report.shown import Shown
from castsugar.static_test import StaticTest

#: Results that stand on the default screen.
_DECIDING = 6


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
            *alarmed(test, show),
            *_delivered(test, row, show),
            *_predicted(test, row, show),
            *agreement_words(test, row, show),
            *look_again(test, show),
        ),
        conditions=_conditions(test, show),
        blocks=_blocks(test, row, show),
        least_sure=_least_sure(test, show),
        cautions=cautions.lines,
        cautions_count=len(cautions.lines) + cautions.rest,
        next=next_,
        invented=invented,
        bench=asked.file if asked.file in invented else "bench.toml",
        annexes=firing_annexes(test, asked, row, show),
    )


# ----------------------------------------------------------------------------
# Findings.


def _case(test: StaticTest, show: Shown) -> Iterator[Finding]:
    """Say so if the pressure went beyond what the case is allowed."""
    peak = test.reduction.results.get("peak_pressure")
    if peak is None or test.hardware is None or math.isnan(test.hardware.allowable):
        return
    rated, allowed = rating_words(test.hardware, show), test.hardware.allowable
    if peak.interval[1] > allowed:
        was = "was" if peak.value > allowed else "may have been"
        best = show.amount("pressure", peak.value / MPA)
        best = f"{peak.bound} {best}" if peak.bound else best
        text = f"fire this case again: its peak, {best}, {was} above {rated}."
        yield Finding("DO NOT", text, {"peak_pressure_MPa": peak.value / MPA})
    elif peak.bound == AT_LEAST:
        if test.reduction.cause:
            why = "what was read is a lower limit"
            if any(a.sensor != "thrust" for a in alarms_of(test.reduction.alarms)):
                why = "the sensor was at its limit, or too slow"
            text = (
                f"fire this case again before you know its peak: {why}; nobody knows "
                f"whether it stayed below {rated}."
            )
            yield Finding("DO NOT", text)
        else:
            text = f"Whether its peak at ignition, too short to read, is below {rated}."
            yield Finding("CANNOT TELL", text)


def rating_words(hardware: Hardware, show: Shown) -> str:
    """Write what the case is allowed."""
    rated = show.limit("pressure", hardware.allowable / MPA)
    return f"{hardware.whose} {rated} {show.unit('pressure')}"


def told(key: str, row: Row, show: Shown) -> str:
    """Write a result with unit and band, or as a lower limit."""
    one = FIELD[key]
    low, high = one.band(row)
    if not math.isnan(low):
        return show.banded(one.kind, row[key], low, high)
    bound = row[f"{NAMES[key][0]}_bound"]
    return (f"{bound} " if bound else "") + show.amount(one.kind, row[key])


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
        kind, ideal = FIELD[key].kind, float(test.row[key])
        text = (
            f"It delivered {_share(of, row, label)}: "
            f"{show.bare(kind, row[key])} of {show.amount(kind, ideal)}"
        )
        yield Finding("RESULT", f"{text}{_beside_it(of, row)}.", {of: row[of]})
        return
    known = [k for k in FIELD if not math.isnan(row[k])]
    key = next(k for k in (*_LEADING, *known) if k in known)
    text = f"Delivered: {FIELD[key].label.removeprefix('delivered ')} "
    text += f"{told(key, row, show)}. No efficiency: {ideal_missing(test)}."
    yield Finding("RESULT", text, {key: row[key]})


def _share(of: str, row: Row, label: str) -> str:
    """Write an efficiency in per cent of the ideal, with its band or as a limit."""
    share, (low, high) = row[of], FIELD[of].band(row)
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
            low, high = FIELD[name].band(row)
            best, *_ = numbers.with_band(100.0 * row[name], 100.0 * low, 100.0 * high)
            others.append(f"{label} {least}{best} %")
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
        if key == "burn_time_s" and reaches(result, expected.bands[name]):
            continue
        one, band = FIELD[key], f"expected_{key}_interval"
        text = f"{one.label.capitalize()} {one.text(row, show)} {show.unit(one.kind)}"
        if key == "total_impulse_N_s":
            text += f" (size {letter_of(test)})"
        text += f"; predicted {one.cells(prediction_of(one, test, row), show)[1]}"
        if key == "peak_pressure_MPa" and math.isfinite(hardware.allowable):
            text += f"; {rating_words(hardware, show)}"
        values = {key: row[key], band: row[band]}
        yield Finding("INSIDE" if inside else "OUTSIDE", f"{text}.", values)


def reaches(result: Measured, band: tuple[float, float]) -> bool:
    """Return whether a result may lie in a predicted band, as wide as it is known."""
    (first, last), (low, high) = result.interval, band
    return first <= high and low <= last


def agreement_words(test: StaticTest, row: Row, show: Shown) -> Iterator[Finding]:
    """Say where the firing contradicts the law that was known, or cannot tell."""
    found, law = test.agreement, test.law
    if found is None or law is None:
        return
    ratio, low, high = numbers.with_band(found.ratio, found.ratio_low, found.ratio_high)
    at = show.amount("pressure", found.pressure / MPA)
    text = f"At {at} it burned {ratio} x as fast as {law_words(law)} ({low} to {high})"
    if not found.agrees:
        why = _OTHER_SLOPE
        if found.ratio_low > 1.0 or found.ratio_high < 1.0:
            why = _FASTER if found.ratio_low > 1.0 else _SLOWER
        yield Finding("OUTSIDE", f"{text}. Look for: {why}.", {"ratio": found.ratio})
    elif not found.tells:
        text = f"{text}: too wide to tell whether they agree."
        yield Finding("CANNOT TELL", text, {"ratio": found.ratio})


def alarmed(test: StaticTest, show: Shown) -> list[Finding]:
    """Say what looks like a fault of measuring: a known cause, results, the rest."""
    found = [a for a in alarms_of(test.alarms) if a.test not in _OF_RESULTS]
    wrong = alarms_of(test.alarms, "possible") or alarms_of(test.alarms, *_OF_RESULTS)
    of_results = [
        Finding("MISFIT", f"{_capital(show.said(alarm.text))}.") for alarm in wrong
    ]
    if not found:
        return of_results
    more = f" {len(found) - 1} more: --full." if found[1:] else ""
    values = {"alarms": [a.test for a in found]}
    text = f"{_alarm_words(test, found[0], show)}.{more}"
    text += " Nothing is learnt from it unless you say why it is sound."
    one = Finding("MISFIT", text, values)
    return [one, *of_results] if test.reduction.cause else [*of_results, one]


def _alarm_words(test: StaticTest, first: Alarm, show: Shown) -> str:
    """Say the likely cause and what points to it, or else the first alarm."""
    cause = test.reduction.cause
    if not cause:
        return _capital(show.said(first.text))
    evidence = test.reduction.evidence
    for sensor in ("pressure", "thrust"):  # which one, the cause has said
        evidence = evidence.removeprefix(f"{sensor}: ")
    return f"{_capital(cause)} (likely): {show.said(evidence)}"


#: Alarms of results, not of a recording: each has a finding of its own.
_OF_RESULTS = ("possible", "efficiency", "mass")


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def look_again(test: StaticTest, show: Shown) -> Iterator[Finding]:
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


# ----------------------------------------------------------------------------
# The numbers that decide.


def _conditions(test: StaticTest, show: Shown) -> str:
    """Say what was fired."""
    stand = test.reduction.stand
    parts = [f"{mass_words(stand, show)} of propellant"]
    if stand.igniter_mass:
        parts.append(f"igniter {show.typed('mass', 1e3 * stand.igniter_mass)}")
    if stand.pressure_lag:
        lag = numbers.typed(1e3 * stand.pressure_lag)
        parts.append(f"lag of the pressure sensor {lag} ms taken off")
    if stand.throat_diameter is not None:
        parts.append(f"throat {throat_words(stand, show)}")
    parts.append(f"air {show.amount('air pressure', 1e-3 * stand.ambient_pressure)}")
    share = chosen_share(stand.share)
    return f"{', '.join(parts)}; burning starts and ends at {share} % of the peak"


def _blocks(test: StaticTest, row: Row, show: Shown) -> tuple[Block, ...]:
    """Return measured beside predicted, and what is said of the exponent."""
    rows: list[tuple[str, ...]] = [
        line_of(one, row, prediction_of(one, test, row), show)
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
        label = next(f.label for k, f in FIELD.items() if NAMES[k][0] == name)
        why.setdefault(reason, []).append(label.removeprefix("delivered "))
    told = (f"{', '.join(names)} ({reason})" for reason, names in why.items())
    return f"Not told: {'; '.join(told)}." if why else ""


def _least_sure(test: StaticTest, show: Shown) -> str:
    """Name what most of the uncertainty of c*, or else of Isp, comes from."""
    name, label = budgeted(test)
    shares = test.reduction.results[name].shares()
    if not shares:
        return ""
    part, share = next(iter(shares.items()))
    words = INPUTS.get(part, part)
    if part == "throat erosion":
        words += f" {throat_words(test.reduction.stand, show)}"
    return f"{words} ({numbers.percent(share)} % of the uncertainty of {label})"


# ----------------------------------------------------------------------------
# What `--full` adds.
