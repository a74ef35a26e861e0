"""A static test as text: results first, then where they come from."""

from __future__ import annotations

import math
from collections.abc import Sequence

from castsugar.data.records import Caution
from castsugar.errors import InputError
from castsugar.motor.firing.quantities import Measured
from castsugar.motor.firing.reduction import Reduction
from castsugar.motor.nozzle import impulse_class
from castsugar.report.firing_law import expected_lines, law_lines
from castsugar.report.firing_read import (
    doubt_lines,
    input_lines,
    limits_lines,
    read_lines,
)
from castsugar.report.firing_words import (
    INTERVAL,
    KINDS,
    LABEL,
    VALUE,
    Asked,
    ideal_missing,
    row,
    shown_units,
    told,
)
from castsugar.report.layout import number, wrapped
from castsugar.static_test import StaticTest

__all__ = ["Asked", "firing_page", "letter_words"]

#: What the numbers are.
ABOUT = (
    "What the recording says, each number with what it leaves open. One firing shows "
    "one grain: the next may differ by more than these intervals, which hold "
    "measuring alone."
)

#: Under the letter of an impulse.
_LETTER = (
    "The letter is a size, not an approval: only certified motors bear one as a class."
)

#: Where the sensor hid the peak.
_UNKNOWN_PEAK = (
    "The sensor was at its limit, so nobody knows whether the case held more than it "
    "may. Do not fire it again before you know."
)


def firing_page(test: StaticTest, asked: Asked, cautions: Sequence[Caution]) -> str:
    """Return the page of ``castsugar firing``.

    Parameters
    ----------
    test : StaticTest
    asked : Asked
    cautions : sequence of Caution
        Those that apply.
    """
    reduction = test.reduction
    lines = [*wrapped(f"Static test: {asked.file}", "  ", "")]
    if asked.mix:
        lines += wrapped(f"Mix: {asked.mix}", "  ", "")
    lines += ["", *wrapped(ABOUT, ""), *_pointer(test), ""]
    blocks = (
        _result_lines(reduction, asked),
        _case_lines(test, asked),
        _efficiency_lines(test),
        doubt_lines(test),
        read_lines(reduction, asked),
        input_lines(reduction, asked),
        limits_lines(reduction, asked),
        law_lines(test, asked),
        expected_lines(test, asked),
        _look_again(reduction),
    )
    for block in blocks:
        lines += [*block, ""] if block else []
    lines.append("Cautions")
    for caution in cautions:
        lines += wrapped(caution.text, "    ", "  ! ")
    return "\n".join(lines) + "\n"


def _pointer(test: StaticTest) -> list[str]:
    """Lead to what is to be looked at before a number is used."""
    count = len(test.cautions) + len(test.reduction.cautions)
    if not count:
        return []
    things = "1 thing" if count == 1 else f"{count} things"
    return wrapped(f"{things} to look at first: see 'Look again' below.", "")


def _result_lines(reduction: Reduction, asked: Asked) -> list[str]:
    """Return the table of results."""
    head = f"{'95 % interval':>{INTERVAL}}"
    lines = [f"{'Result':<{LABEL}}{'value':>{VALUE}}{head}"]
    for name, kind in KINDS.items():
        measured = reduction.results.get(name)
        if measured is None:
            missing = f"-  {_missing(name, reduction)}"
            lines.append(f"  {kind.label:<{LABEL - 2}}{missing}")
            continue
        for words, quantity, unit in shown_units(kind, asked):
            label = f"{kind.label}, {words}" if words else kind.label
            lines.append(row(label, *told(measured, quantity, unit)))
        if name == "total_impulse":
            lines.append(row("  its letter", letter_words(measured)))
    if "total_impulse" in reduction.results:
        lines += wrapped(_LETTER)
    return lines


def _missing(name: str, reduction: Reduction) -> str:
    """Say in one line why a result cannot be had."""
    if name == "thrust_coefficient":
        if reduction.pressure is not None and reduction.thrust is not None:
            return "pressure sensor at its limit"
        return "needs pressure and thrust"
    needs_pressure = name in (
        "characteristic_velocity",
        "mean_pressure",
        "peak_pressure",
    )
    return "no pressure recorded" if needs_pressure else "no thrust recorded"


def letter_words(impulse: Measured) -> str:
    """Return the letter of a total impulse, and its neighbours if they are possible.

    Examples
    --------
    >>> letter_words(Measured(value=39.9, parts={"calibration": 0.4}))
    'E (F possible)'
    >>> letter_words(Measured(value=30.0, parts={"calibration": 0.4}))
    'E'
    """
    letter = _letter(impulse.value)
    if impulse.at_least:
        return f"{letter} or larger"
    others = [x for x in map(_letter, impulse.interval) if x not in (letter, "-")]
    return f"{letter} ({' or '.join(others)} possible)" if others else letter


def _letter(impulse: float) -> str:
    """Return the letter of an impulse; a dash for what has none."""
    try:
        return impulse_class(impulse)
    except InputError:
        return "-"


def _case_lines(test: StaticTest, asked: Asked) -> list[str]:
    """Say so if the pressure went beyond what the case may hold."""
    peak = test.reduction.results.get("peak_pressure")
    allowable = math.nan if test.hardware is None else test.hardware.allowable
    if peak is None or math.isnan(allowable):
        return []
    if peak.interval[1] <= allowable:
        return wrapped(_UNKNOWN_PEAK, "    ", "  ! ") if peak.at_least else []
    was = "was" if peak.value > allowable else "may have been"
    return wrapped(
        f"The peak pressure {was} above what the case may hold, "
        f"{asked.text(allowable, 'pressure')}. Do not fire this case again.",
        "    ",
        "  ! ",
    )


def _efficiency_lines(test: StaticTest) -> list[str]:
    """Return delivered over ideal, with what is unlikely about it."""
    head = f"{'95 % interval':>{INTERVAL}}"
    lines = [f"{'Beside the mix':<{LABEL}}{'value':>{VALUE}}{head}"]
    missing = ideal_missing(test)
    if missing:
        lines = ["Beside the mix", *wrapped(f"No efficiency: {missing}.")]
    for label, measured in (
        ("c* efficiency, %", test.characteristic_velocity_efficiency),
        ("specific impulse efficiency, %", test.specific_impulse_efficiency),
    ):
        if measured is not None:
            lines.append(row(label, *told(_in_percent(measured))))
    if not missing:
        velocity = number(float(test.row["characteristic_velocity_m_s"]), 0)
        impulse = number(float(test.row["specific_impulse_s"]), 1)
        lines.append(row("ideal c* at the mean pressure, m/s", velocity))
        lines.append(row("ideal specific impulse, s", impulse))
    if math.isfinite(test.density_ratio):
        share = number(100.0 * test.density_ratio, 1)
        lines.append(row("propellant over a grain without voids, %", share))
    for text in test.cautions:
        lines += wrapped(f"Look again: {text}.", "    ", "  ! ")
    return lines


def _in_percent(share: Measured) -> Measured:
    """Return a share in percent."""
    parts = {name: 100.0 * u for name, u in share.parts.items()}
    return Measured(value=100.0 * share.value, parts=parts, at_least=share.at_least)


def _look_again(reduction: Reduction) -> list[str]:
    """Return what looks like a fault of measuring."""
    if not reduction.cautions:
        return []
    lines = ["Look again"]
    for text in reduction.cautions:
        lines += wrapped(f"{text}.", "    ", "  - ")
    return lines
