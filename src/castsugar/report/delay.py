"""What ``castsugar firing --delay`` answers: how long to cut a delay column."""

from __future__ import annotations

import math
from typing import Any

from castsugar.frozen import dataclass
from castsugar.motor.delay import Delay, Estimate
from castsugar.motor.delay_inputs import CLIMB
from castsugar.motor.strands import MixResult
from castsugar.report import numbers
from castsugar.report.cautions import Chosen
from castsugar.report.document import Part
from castsugar.report.field import TEXT, fields, row_in_order
from castsugar.report.screen import Annex, Block, Finding, Paragraph, Screen, Table
from castsugar.report.shown import Shown

#: What the numbers take for granted.
TAKEN = (
    "the column burns from one end only",
    "mix, density, diameter and temperature of the column are those of the strands of "
    "the delay mix; no borrowed law serves",
    "single columns scatter about the law as strands do",
)
_ON_THE_GROUND = (
    "strands burned at ambient pressure: at that of the test place; burned elsewhere, "
    "they need their own pressure in the file"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """What was typed: the strands and their result, and what else.

    `source` says where pressure and burn time come from, "" as stated; `stated` are the
    options that were typed, `bench` the file whose numbers are invented, if some are;
    `doubt` is what a test of the recording found.
    """

    file: str
    source: str
    result: MixResult
    typed: tuple[tuple[str, str], ...]
    stated: frozenset[str] = frozenset()
    bench: str = ""
    doubt: str = ""


_HIGHER = f"{int(CLIMB)}_m_higher"

FIELDS = fields(
    ("mix", "mix", TEXT, "the delay mix"),
    ("wanted", "wanted", TEXT, "what was asked for: delay gives a length, length not"),
    ("status", "status", TEXT, "ok, or through before the thrust ends"),
    ("length_mm", "length of the column", "length", "to cut, or as given"),
    ("delay_s", "delay", "time", "from the end of thrust"),
    ("end_after_ignition_s", "end", "time", "from ignition"),
    ("length_burned_during_thrust_mm", "during thrust", "length", "that burns then"),
    ("length_left_mm", "in open air", "length", "that is left then"),
    ("share_burned_during_thrust", "share during thrust", "number", "of the length"),
    ("mean_rate_during_thrust_mm_s", "rate during thrust", "rate", "mean"),
    ("rate_in_open_air_mm_s", "rate in open air", "rate", ""),
    ("burn_through_probability", "burn-through", "number", "share of draws"),
    ("burn_time_s", "burn time", "time", "of the motor"),
    ("ignition_lag_s", "ignition lag", "time", "of the column, from 0 to twice it"),
    (
        "emptying_s",
        "emptying",
        "time",
        "time constant of the chamber, from 0 to twice it; none where it was recorded",
    ),
    (
        "length_burned_in_the_tail_mm",
        "in the tail",
        "length",
        "as the chamber empties, beyond what air alone burns",
    ),
    ("mean_chamber_pressure_MPa", "mean pressure", "pressure", "during thrust"),
    ("peak_chamber_pressure_MPa", "peak pressure", "pressure", "during thrust"),
    ("ambient_pressure_kPa", "air at the test place", "air pressure", ""),
    ("pressure_where_it_burns_kPa", "air where it burns", "air pressure", ""),
    ("delay_at_test_place_s", "delay at the test place", "time", ""),
    (f"pressure_{_HIGHER}_kPa", "air higher up", "air pressure", "standard atmosphere"),
    (f"delay_{_HIGHER}_s", "delay higher up", "time", "of the same column"),
    ("lowest_tested_pressure_kPa", "tested from", "air pressure", "by strands"),
    ("highest_tested_pressure_MPa", "tested to", "pressure", "by strands"),
    ("scatter_share_of_rate_variance", "scatter", "number", "between columns"),
    ("strands", "strands", "number", "how many"),
    ("seed", "seed", "number", "of the draws"),
)
DOUBTS = fields(
    ("input", "input", TEXT, ""),
    ("delay_half_band_s", "delay, ±", "time", "half the band if it alone is uncertain"),
)

PARTS: dict[str, Part] = {
    "file": Part(meaning="of the strands"),
    "delay": Part(meaning="the row, as of --csv, with its bands", fields=FIELDS),
    "uncertainty": Part(meaning="by input, largest first", fields=DOUBTS, many=True),
    "settings": Part(meaning="standard uncertainties that were assumed, and draws"),
    "look_again": Part(meaning="what to look at again"),
}


def delay_parts(delay: Delay, asked: Asked) -> dict[str, Any]:
    """Return what the JSON holds beside what every document does."""
    return {
        "file": asked.file,
        "delay": delay_row(delay, asked),
        "uncertainty": [
            {"input": name, "delay_half_band_s": half}
            for name, half in delay.half_widths.items()
        ],
        "settings": {
            "chamber_pressure_relative_uncertainty": delay.thrusting.pressure_u,
            "burn_time_relative_uncertainty": delay.thrusting.time_u,
            "ambient_pressure_relative_uncertainty": delay.settings.ambient_u,
            "length_uncertainty_mm": 1e3 * delay.settings.length_u,
            "correlation_of_pressure_and_burn_time": delay.thrusting.correlation,
            "draws": delay.settings.draws,
        },
        "look_again": list(remarks(delay, asked)),
    }


def delay_row(delay: Delay, asked: Asked) -> dict[str, Any]:
    """Return the one row of a delay column, with units in the keys."""
    fired, (low, high) = delay.thrusting, delay.law.tested
    return row_in_order(
        FIELDS,
        asked.result.mix,
        "delay" if delay.wanted else "length",
        "ok" if delay.lasts else "through before the thrust ends",
        _banded(delay.length), _banded(delay.time, 1.0), delay.end,
        _banded(delay.burned), _banded(delay.left), delay.burned_share,
        1e3 * delay.thrust_rate, _banded(delay.ambient_rate), delay.burn_through,
        fired.burn_time, delay.settings.ignition_lag,
        delay.settings.emptying if fired.tail is None else math.nan, 1e3 * delay.tail,
        1e-6 * fired.mean_pressure, 1e-6 * fired.peak_pressure,
        1e-3 * delay.ambient, 1e-3 * delay.burning_at, delay.ground_time,
        1e-3 * delay.climb_pressure, delay.climb_time,
        1e-3 * low, 1e-6 * high, delay.scatter_share,
        len(asked.result.strands), delay.settings.seed,
    )  # fmt: skip


def _banded(found: Estimate, scale: float = 1e3) -> tuple[float, tuple[float, float]]:
    return scale * found.value, (scale * found.low, scale * found.high)


def remarks(delay: Delay, asked: Asked) -> tuple[str, ...]:
    """Return what to look at again: of the delay, then of its strands."""
    count = len(asked.result.outliers)
    strands = "1 strand lies" if count == 1 else f"{count} strands lie"
    odd = (f"{strands} far from the law; castsugar burnrate says which",)
    doubted = (_doubt_words(asked),) if asked.doubt else ()
    told = delay.cautions + asked.result.cautions + (odd if count else ())
    return doubted + told


def _doubt_words(asked: Asked) -> str:
    """Say that the recording has an alarm: the column burns by what it read."""
    return (
        f"the recording is doubted, and the column with it: {asked.doubt} (likely); "
        "castsugar firing says more; if it is not sound, give --chamber-pressure and "
        "--burn-time instead"
    )


def delay_screen(
    delay: Delay,
    asked: Asked,
    cautions: Chosen,
    show: Shown,
    *,
    next_: str = "",
    invented: tuple[str, ...] = (),
) -> Screen:
    """Return what a delay column does: length, delay, both phases."""
    mix = f" of {asked.result.mix}" if asked.result.mix else ""
    source = f", {asked.source}" if asked.source else ""
    goal = f"for {numbers.significant(delay.time.value)} s after thrust"
    if not delay.wanted:
        goal = f"of {_length(delay.length.value, show)}"
    doubts = [
        f"{name}: ± {numbers.significant(half, 2)} s of the delay, 95 %"
        for name, half in delay.half_widths.items()
        if delay.lasts
    ]
    return Screen(
        command="firing",
        title=f"Delay column{mix} {goal}: strands {asked.file}{source}",
        findings=(
            _answer(delay, show),
            *(
                Finding(
                    "MISFIT" if asked.doubt and not place else "CAUTION",
                    f"{text[0].upper()}{text[1:]}.",
                )
                for place, text in enumerate(map(show.said, remarks(delay, asked)))
            ),
        ),
        conditions=_ends(delay, asked),
        blocks=_blocks(delay, show),
        least_sure=next(iter(doubts), ""),
        cautions=cautions.lines,
        cautions_count=len(cautions.lines) + cautions.rest,
        next=next_,
        invented=invented,
        bench=asked.bench,
        annexes=_annexes(delay, asked, show),
    )


def _ends(delay: Delay, asked: Asked) -> str:
    """Say when the column lights and how the chamber empties, and what is assumed."""
    settings = delay.settings
    parts = [
        ("--ignition-lag", "lights", settings.ignition_lag, "after the grain"),
        ("--emptying", "chamber empties in", settings.emptying, "to 1/e"),
    ]
    told = []
    for option, what, value, of in parts:
        if option == "--emptying" and delay.thrusting.tail is not None:
            told.append("chamber empties as recorded")
            continue
        ends = f"0 to {numbers.typed(2.0 * value)}"
        word = "" if option in asked.stated else ", assumed"
        told.append(f"{what} {numbers.typed(value)} s {of} ({ends}{word})")
    return "; ".join(told)


def _length(value: float, show: Shown) -> str:
    return show.amount("length", 1e3 * value)


def _answer(delay: Delay, show: Shown) -> Finding:
    """Say the length to cut, or the delay that a length makes."""
    time, length = delay.time, delay.length
    values = {"length_mm": 1e3 * length.value, "delay_s": time.value}
    if not delay.lasts:
        text = (
            f"use it: at best estimate the column is through before the thrust ends, "
            f"which burns {_length(delay.burned.value, show)}."
        )
        return Finding("DO NOT", text, values)
    told, low, high = numbers.with_band(time.value, time.low, time.high)
    text = f"It lasts {told} s after thrust ({low} to {high})."
    if delay.wanted:
        best, ends = _banded(length)
        cut = show.banded("length", best, *ends)
        text = f"Cut {cut}; columns cut so last {low} to {high} s."
    return Finding("RESULT", text, values)


def _blocks(delay: Delay, show: Shown) -> tuple[Block, ...]:
    """Return both phases side by side, and what altitude does."""
    fired = delay.thrusting
    phases = (
        ("during thrust", delay.burned, fired.burn_time, delay.thrust_rate,
         show.amount("pressure", 1e-6 * fired.mean_pressure)),
        ("in open air", delay.left, delay.time.value, delay.ambient_rate.value,
         show.amount("air pressure", 1e-3 * delay.burning_at)),
    )  # fmt: skip
    rows = []
    for name, length, time, rate, at in phases:
        best, ends = _banded(length)
        told, low, high = show.band("length", best, *ends)
        cells = (numbers.significant(time), show.bare("rate", 1e3 * rate), f"at {at}")
        rows.append((name, told, f"{low} to {high}", *cells))
    table = Table(
        heads=("", show.headed("length", "length"), "95 %", "time, s",
               show.headed("rate", "rate"), ""),
        rows=tuple(rows),
        left=frozenset({0, 5}),
    )  # fmt: skip
    return (table, Paragraph(_altitude(delay, show))) if delay.lasts else (table,)


def _altitude(delay: Delay, show: Shown) -> str:
    """Say what altitude does to the delay."""
    text = (
        f"{show.typed('height', CLIMB)} above the test place the same column lasts "
        f"{numbers.significant(delay.climb_time)} s, at the test place "
        f"{numbers.significant(delay.ground_time)} s."
    )
    if delay.climb_pressure < delay.law.tested[0]:
        text += " Nothing was tested at so low a pressure."
    return text


def _annexes(delay: Delay, asked: Asked, show: Shown) -> tuple[Annex, ...]:
    settings, fired = delay.settings, delay.thrusting
    share = numbers.percent(delay.burned_share)
    halves = delay.half_widths.items()
    doubts = Table(
        heads=("uncertain alone", "delay, ± s"),
        rows=tuple((name, numbers.significant(half)) for name, half in halves),
    )
    scatter = (
        f"Half the band if that alone were uncertain. {share} % of the length burns "
        "during thrust. Scatter from column to column is "
        f"{numbers.percent(delay.scatter_share)} % of the variance of the rate in open "
        "air: more strands do not narrow that part, steadier work does."
    )
    typed = "; ".join(f"{what}: {text}" for what, text in asked.typed)
    tied = ""
    if fired.correlation:
        told, _, _ = numbers.signed(fired.correlation, math.nan, math.nan)
        tied = f" (tied, correlation {told})"
    word = "Foreseen and assumed" if fired.correlation else "Assumed"
    taken = (
        f"{word}, one standard deviation: chamber pressure "
        f"{numbers.percent(fired.pressure_u)} %, burn time "
        f"{numbers.percent(fired.time_u)} %{tied}, pressure of the air "
        f"{numbers.percent(settings.ambient_u)} %, length "
        f"{show.typed('length', 1e3 * settings.length_u)}; law and scatter as "
        f"{len(asked.result.strands)} strands tell; {settings.draws} draws, seed "
        f"{settings.seed}."
    )
    granted = [*TAKEN]
    if any(s.pressure == delay.ambient for s in asked.result.strands):
        granted.insert(0, _ON_THE_GROUND)
    return (
        Annex("Uncertainty of the delay", (doubts, Paragraph(scatter))),
        Annex(
            "Assumptions",
            (
                Paragraph(f"As typed: {typed}."),
                Paragraph(taken),
                *(Paragraph(f"Taken: {text}.") for text in granted),
            ),
        ),
    )
