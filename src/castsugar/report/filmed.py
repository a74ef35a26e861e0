"""What ``castsugar firing --frames`` answers: mean values of a filmed firing."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace

from castsugar.bench.editing import with_block
from castsugar.motor.firing.frames import Filmed
from castsugar.report import numbers
from castsugar.report.cautions import Chosen
from castsugar.report.field import Row
from castsugar.report.firing import (
    agreement_words,
    alarmed,
    look_again,
    rating_words,
    reaches,
    told,
)
from castsugar.report.firing_annexes import (
    FIELD,
    INPUTS,
    budget_of,
    law_words,
    line_of,
    mass_words,
    prediction_of,
    throat_words,
)
from castsugar.report.firing_rows import RESULTS, Asked, bands, firing_row
from castsugar.report.mix_words import titled
from castsugar.report.screen import (
    Annex,
    Block,
    Finding,
    Listing,
    Paragraph,
    Screen,
    Table,
)
from castsugar.report.shown import Shown
from castsugar.static_test import StaticTest

#: What may explain a slow firing, and is none here.
_SENSOR = ", a pressure sensor that reads low"

#: What its mean values are.
ABOUT = (
    "Mean pressure: propellant mass x c* over throat area and burn time, c* taken and "
    "not measured. Mean rate: web over burn time. One firing shows one grain: the next "
    "may differ by more than these bands, which hold measuring alone."
)


def filmed_screen(
    test: StaticTest,
    asked: Asked,
    cautions: Chosen,
    show: Shown,
    *,
    next_: str = "",
    invented: tuple[str, ...] = (),
) -> Screen:
    """Return what a video says."""
    filmed = test.filmed
    assert filmed is not None
    row = firing_row(test, asked) | bands(test)
    mix = f": {titled(test.mix)}" if test.mix is not None else ""
    frames = filmed.frames
    return Screen(
        command="firing",
        title=f"Filmed firing, frames {frames.first} to {frames.last}{mix}",
        findings=(
            *_case(test, show),
            _told(test, filmed, row, show),
            *_burn_time(test, row, show),
            *alarmed(test, show),
            *_agreement(test, row, show),
            *look_again(test, show),
        ),
        conditions=_conditions(test, filmed, show),
        blocks=(_table(test, row, show), Paragraph(_not_told(filmed))),
        least_sure=_least_sure(test),
        cautions=cautions.lines,
        cautions_count=len(cautions.lines) + cautions.rest,
        next=next_,
        invented=invented,
        annexes=tuple(_annexes(test, filmed, asked, show)),
    )


# ----------------------------------------------------------------------------
# Findings.


def _case(test: StaticTest, show: Shown) -> Iterator[Finding]:
    """Say so if the mean pressure alone was beyond what the case is allowed."""
    mean, hardware = test.results.get("mean_pressure"), test.hardware
    if mean is None or hardware is None or not mean.value > hardware.allowable:
        return
    best = show.amount("pressure", 1e-6 * mean.value)
    text = (
        f"fire this case again: its mean pressure alone, {best}, was above "
        f"{rating_words(hardware, show)}."
    )
    yield Finding("DO NOT", text, {"mean_pressure_MPa": 1e-6 * mean.value})


def _told(test: StaticTest, filmed: Filmed, row: Row, show: Shown) -> Finding:
    """Say the mean pressure and what c* it takes; else the burn time."""
    if "mean_pressure" not in test.results:
        flow = told("mass_flow_g_s", row, show)
        text = f"It burned {told('burn_time_s', row, show)}: {flow}."
        return Finding("RESULT", text, {"burn_time_s": row["burn_time_s"]})
    share = numbers.percent(filmed.efficiency)
    pressure = told("mean_pressure_MPa", row, show)
    text = f"Mean pressure {pressure}; taken, not measured: {share} % of the ideal c*."
    return Finding("RESULT", text, {"mean_pressure_MPa": row["mean_pressure_MPa"]})


def _burn_time(test: StaticTest, row: Row, show: Shown) -> Iterator[Finding]:
    """Hold the burn time against its predicted band."""
    expected, time = test.expected, test.results["burn_time"]
    if expected is None:
        return
    word, (low, high) = "INSIDE", expected.bands["burn_time"]
    if not low <= time.value <= high:
        may = reaches(time, expected.bands["burn_time"])
        word = "CANNOT TELL" if may else "OUTSIDE"
    one = FIELD["burn_time_s"]
    band = one.cells(prediction_of(one, test, row), show)[1]
    text = f"Burn time {one.text(row, show)} {show.unit('time')}; predicted {band}"
    if word == "CANNOT TELL":
        text += "; read as wide as it is, either may hold"
    yield Finding(word, f"{text}.", {one.key: row[one.key]})


def _agreement(test: StaticTest, row: Row, show: Shown) -> Iterator[Finding]:
    """Hold the rate against the law that was known, agreeing or not."""
    found, law = test.agreement, test.law
    if found is None or law is None or not (found.agrees and found.tells):
        for one in agreement_words(test, row, show):
            yield replace(one, text=one.text.replace(_SENSOR, ""))
        return
    ratio, low, high = numbers.with_band(found.ratio, found.ratio_low, found.ratio_high)
    text = f"It burned {ratio} x as fast as {law_words(law)} ({low} to {high})"
    yield Finding("INSIDE", f"{text}.", {"ratio": found.ratio})


def _not_told(filmed: Filmed) -> str:
    """Say what is not told, and why."""
    reasons: dict[str, list[str]] = {}
    for what, why in filmed.not_told:
        reasons.setdefault(why, []).append(what)
    said = "; ".join(f"{', '.join(what)} ({why})" for why, what in reasons.items())
    return f"Not told: {said}."


# ----------------------------------------------------------------------------
# The numbers.


def _conditions(test: StaticTest, filmed: Filmed, show: Shown) -> str:
    """Say what was fired, and how it was filmed."""
    stand = test.reduction.stand
    parts = [f"{mass_words(stand, show)} of propellant"]
    if stand.throat_diameter is not None:
        parts.append(f"throat {throat_words(stand, show)}")
    parts.append(f"air {show.amount('air pressure', 1e-3 * stand.ambient_pressure)}")
    frames = filmed.frames
    filmed_at = f"{frames.count} frames, {numbers.typed(frames.rate)} a second"
    return f"{', '.join(parts)}; {filmed_at}"


def _table(test: StaticTest, row: Row, show: Shown) -> Table:
    """Return measured beside predicted."""
    rows = [
        line_of(one, row, prediction_of(one, test, row), show)
        for one in RESULTS
        if not math.isnan(row[one.key])
    ]
    wide = 5 if any(line[3] for line in rows) else 3
    return Table(
        heads=("", "from the video", "95 %", "predicted", "95 %")[:wide],
        rows=tuple(line[:wide] for line in rows),
        spare=1,
    )


def _budgeted(test: StaticTest) -> tuple[str, str]:
    """Return the name of the result whose budget is told, and its label."""
    if "mean_pressure" in test.results:
        return "mean_pressure", "pressure"
    return "burn_time", "burn time"


def _least_sure(test: StaticTest) -> str:
    """Name what most of the uncertainty comes from."""
    name, label = _budgeted(test)
    part, share = next(iter(test.results[name].shares().items()))
    words = INPUTS.get(part, part)
    return f"{words} ({numbers.percent(share)} % of the uncertainty of the {label})"


# ----------------------------------------------------------------------------
# What `--full` adds.


def _annexes(
    test: StaticTest, filmed: Filmed, asked: Asked, show: Shown
) -> Iterator[Annex]:
    lines = row_lines(test, filmed, asked.recipe, show)
    if lines:
        about = (
            "One row for the model of burning rates: paste it into your bench file. "
            "Its rate is that at the mean pressure, not the mean rate: for a tenth of "
            "a second gas leaves and no web burns. Its uncertainty holds that rate and "
            "pressure share the burn time; the shared part is alike in all firings "
            "that you film."
        )
        row = (Paragraph(about), Listing(lines))
        yield Annex("Row for the bench file", row)
    name, label = _budgeted(test)
    budget = budget_of(test, name, label)
    yield Annex("Uncertainty budget", budget)
    if test.cautions:
        said = tuple(Paragraph(f"{show.said(text)}.") for text in test.cautions)
        yield Annex("Look again", said)
    yield Annex("How it was found", tuple(_how(test, asked, show)))


def row_lines(
    test: StaticTest, filmed: Filmed, recipe: str, show: Shown
) -> tuple[str, ...]:
    """Return the lines of ``[[motor.firing]]``; none where no rate is known."""
    rate = test.rate
    if rate is None or not recipe:
        return ()
    entry = {
        "recipe": recipe,
        "pressure": show.amount("pressure", 1e-6 * rate.pressure, 4),
        "rate": show.amount("rate", 1e3 * rate.value, 4),
        "rate_u": f"{numbers.percent(rate.u)} %",
        "rate_u_shared": f"{numbers.percent(rate.shared)} %",
        "source": f"frames {filmed.frames}",
    }
    plain = {key: text.replace("\xa0", " ") for key, text in entry.items()}
    return tuple(with_block("", "motor.firing", plain).splitlines())


def _how(test: StaticTest, asked: Asked, show: Shown) -> Iterator[Block]:
    """Say what the results are, and what they rest on."""
    yield Paragraph(ABOUT)
    if math.isfinite(test.density_ratio):
        share = numbers.significant(100.0 * test.density_ratio)
        yield Paragraph(f"The propellant weighs {share} % of a grain without voids.")
    typed = "; ".join(f"{what} {text}" for what, text in asked.typed)
    yield Paragraph(f"As typed: {typed}.")
    for text in asked.assumptions:
        yield Paragraph(f"Assumed: {show.said(text)}.")
