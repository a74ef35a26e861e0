"""A delay column as text, as a document and as one row."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from castsugar import units
from castsugar.data.records import Caution
from castsugar.motor.delay import Delay, Estimate
from castsugar.motor.delay_inputs import CLIMB
from castsugar.motor.strands import MixResult
from castsugar.report.layout import wrapped
from castsugar.report.strand_units import percent, short, significant

Row = dict[str, Any]

ABOUT = (
    "The column burns with the grain at chamber pressure, then alone in open air until "
    "it is through. Both rates come from your strands of the delay mix; delays count "
    "from the end of thrust."
)

#: What the numbers take for granted.
TAKEN = (
    "the column lights with the grain and burns from one end only; the pressure falls "
    "to that of the air at once at the end of thrust",
    "mix, density, diameter and temperature of the column are those of the strands",
    "single columns scatter about the law as strands do",
)

#: Common practice, no source.
CAUTIONS = (
    "A delay is only as good as its strands: same mix, same cooking, casting and "
    "temperature as the column, and several of them.",
    "Test delays on the ground: fire several columns in this motor, behind a barrier, "
    "and time every one before a rocket depends on it.",
    "An ejection too early or too late wrecks a rocket, and what comes down hurts "
    "people. Both ends of the band must do, not its middle.",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """What was typed.

    Attributes
    ----------
    file : str
        Of the strands.
    result : MixResult
        Of the delay mix.
    typed : tuple of (what, text)
    length, pressure : str
        Units to show beside mm and kPa or MPa.
    """

    file: str
    result: MixResult
    typed: tuple[tuple[str, str], ...]
    length: str = "mm"
    pressure: str = "kPa"

    @property
    def mix(self) -> str:
        """The name of the mix; the file may name none."""
        return self.result.mix or "(no mix named)"

    def pressure_text(self, pressure: float) -> str:
        """Return a pressure [Pa] in kPa or MPa, and in the user's unit."""
        first = "kPa" if pressure < 1e6 else "MPa"
        own = () if self.pressure in ("Pa", "kPa", "MPa") else (self.pressure,)
        told = [
            f"{short(units.convert(pressure, 'pressure', unit), 3)} {unit}"
            for unit in (first, *own)
        ]
        return told[0] + "".join(f" ({text})" for text in told[1:])


def delay_page(delay: Delay, asked: Asked, cautions: Sequence[Caution]) -> str:
    """Return the page about a delay column."""
    goal = "length for a delay" if delay.wanted else "delay of a column"
    lines = wrapped(f"Delay column, {goal}: {asked.mix}, {asked.file}", "")
    lines += ["", *wrapped(ABOUT, "")]
    lines += ["", "Assumptions"]
    for text in assumptions(delay, asked):
        lines += wrapped(text, "    ", "  - ")
    lines += ["", *_number_lines(delay, asked)]
    lines += ["", *_phase_lines(delay, asked)]
    if delay.lasts:
        lines += ["", "With altitude", *wrapped(_altitude(delay, asked))]
        lines += ["", *_doubt_lines(delay)]
    lines += ["", "Look again"] if _remarks(delay, asked) else []
    for text in _remarks(delay, asked):
        lines += wrapped(f"{text}.", "    ", "  - ")
    lines += ["", "Cautions"]
    for text in (*CAUTIONS, *(c.text for c in cautions)):
        lines += wrapped(text, "    ", "  ! ")
    return "\n".join(lines) + "\n"


def assumptions(delay: Delay, asked: Asked) -> list[str]:
    """Return what was typed and what was assumed, one line each."""
    fired, set_ = delay.thrusting, delay.settings
    low, high = delay.law.tested
    count = len(asked.result.strands)
    lines = [f"{what}: {text}" for what, text in asked.typed]
    lines += [
        f"burn law: {count} strands, tested at {asked.pressure_text(low)} to "
        f"{asked.pressure_text(high)}, measured; never borrowed",
        "uncertain (one standard deviation): burn law and scatter of columns as the "
        f"strands tell; chamber pressure {percent(fired.pressure_u)} %, burn time "
        f"{percent(fired.time_u)} %, pressure of the air {percent(set_.ambient_u)} % "
        f"(assumed), length {short(units.convert(set_.length_u, 'length', 'mm'), 2)} "
        f"mm; {set_.draws} draws, seed {set_.seed}",
    ]
    if any(s.pressure == delay.ambient for s in asked.result.strands):
        lines.append(
            "strands burned at ambient pressure: that of the test place, "
            f"{asked.pressure_text(delay.ambient)}; burned elsewhere, they need their "
            "own pressure in the file"
        )
    return [*lines, *TAKEN]


def _number_lines(delay: Delay, asked: Asked) -> list[str]:
    """Return the numbers with their bands."""
    share = percent(delay.settings.probability)
    lines = [f"{'Result':<44}{'value':>10}{share + ' % band':>22}"]

    def add(label: str, value: Estimate, quantity: str, unit: str) -> None:
        best, low, high = (
            _told(units.convert(x, quantity, unit))
            for x in (value.value, value.low, value.high)
        )
        lines.append(f"  {label + ', ' + unit:<42}{best:>10}{low + ' to ' + high:>22}")

    name = "length to cut" if delay.wanted else "length of the column"
    for unit in dict.fromkeys(("mm", asked.length)):
        add(name, delay.length, "length", unit)
    add("delay from the end of thrust", delay.time, "time", "s")
    if delay.wanted:
        lines += wrapped(
            "Band of the length: what single columns would need for just this delay. "
            "Band of the delay: columns all cut to the length shown."
        )
    if delay.lasts:
        lines += wrapped(f"From ignition to the end: {_told(delay.end)} s.")
    else:
        lines += wrapped(
            "NO DELAY: at best estimate the column is through before the thrust ends, "
            "which burns more than there is; see below.",
            "    ",
            "  ! ",
        )
    return lines


def _phase_lines(delay: Delay, asked: Asked) -> list[str]:
    """Return both phases side by side."""
    fired = delay.thrusting
    head = f"{'length, mm':>13}{'90 % band':>17}{'time, s':>10}{'rate, mm/s':>12}"
    head = head.replace("90 %", f"{percent(delay.settings.probability)} %")
    lines = [f"{'Phases':<26}{head}"]
    rows = (
        ("during thrust", delay.burned, fired.burn_time, delay.thrust_rate),
        ("in open air", delay.left, delay.time.value, delay.ambient_rate.value),
    )
    for name, length, time, rate in rows:
        best, low, high = (
            _told(units.convert(x, "length", "mm"))
            for x in (length.value, length.low, length.high)
        )
        speed = _told(units.convert(rate, "burn_rate", "mm/s"))
        lines.append(
            f"  {name:<24}{best:>13}{low + ' to ' + high:>17}{_told(time):>10}"
            f"{speed:>12}"
        )
    lines += wrapped(
        f"{percent(delay.burned_share)} % of the length burns during thrust, at "
        f"{asked.pressure_text(fired.mean_pressure)} on average, "
        f"{asked.pressure_text(fired.peak_pressure)} at most; the rest burns at "
        f"{asked.pressure_text(delay.burning_at)}."
    )
    return lines


def _altitude(delay: Delay, asked: Asked) -> str:
    """Say what altitude does to the delay."""
    more = "longer" if delay.climb_change >= 0.0 else "shorter"
    text = (
        f"At the test place ({asked.pressure_text(delay.ambient)}) the same column "
        f"lasts {_told(delay.ground_time)} s after thrust. "
        f"{CLIMB:.0f} m above the test place (standard atmosphere, "
        f"{asked.pressure_text(delay.climb_pressure)}) the delay is "
        f"{_told(delay.climb_time)} s: "
        f"{percent(abs(delay.climb_change))} % {more}, by the exponent of the law at "
        "ambient pressure."
    )
    if delay.climb_pressure < delay.law.tested[0]:
        text += " Nothing was tested at so low a pressure; nobody can test up there."
    return text


def _doubt_lines(delay: Delay) -> list[str]:
    """Say what dominates the doubt about the delay."""
    lines = [f"{'What the doubt comes from':<44}{'delay, ± s':>10}"]
    for name, half in delay.half_widths.items():
        lines.append(f"  {name:<42}{_told(half):>10}")
    lines += wrapped(
        "Half the band if that alone were uncertain. Scatter from column to column is "
        f"{percent(delay.scatter_share)} % of the variance of the rate in open air: "
        "more strands do not narrow that part, steadier work does."
    )
    return lines


def _remarks(delay: Delay, asked: Asked) -> tuple[str, ...]:
    """Return what to look at again: of the delay, then of its strands."""
    count = len(asked.result.outliers)
    strands = "1 strand lies" if count == 1 else f"{count} strands lie"
    odd = (f"{strands} far from the law; castsugar burnrate says which",)
    return delay.cautions + asked.result.cautions + (odd if count else ())


def _told(value: float) -> str:
    """Write a length, time or rate: three digits."""
    return "0" if value == 0.0 else significant(value, 3)


def delay_document(delay: Delay, asked: Asked, cautions: Sequence[Caution]) -> Row:
    """Return everything but schema and versions, for JSON."""
    (row,) = delay_rows(delay, asked)
    return {
        "file": asked.file,
        "assumptions": {
            "chamber_pressure_relative_uncertainty": delay.thrusting.pressure_u,
            "burn_time_relative_uncertainty": delay.thrusting.time_u,
            "ambient_pressure_relative_uncertainty": delay.settings.ambient_u,
            "length_uncertainty_mm": 1e3 * delay.settings.length_u,
            "draws": delay.settings.draws,
            "seed": delay.settings.seed,
            "notes": [ABOUT, *assumptions(delay, asked)],
        },
        "delay": row,
        "delay_half_band_by_input_s": dict(delay.half_widths),
        "look_again": list(_remarks(delay, asked)),
        "cautions": [*CAUTIONS, *(c.text for c in cautions)],
    }


def delay_rows(delay: Delay, asked: Asked) -> list[Row]:
    """Return the one row of a delay column, with units in the keys."""
    low, high = delay.law.tested
    return [
        {
            "mix": asked.result.mix,
            "wanted": "delay" if delay.wanted else "length",
            "status": "ok" if delay.lasts else "through before the thrust ends",
            "band_probability": delay.settings.probability,
            **_band("length", "mm", delay.length, 1e3),
            **_band("delay", "s", delay.time, 1.0),
            "end_after_ignition_s": delay.end,
            **_band("length_burned_during_thrust", "mm", delay.burned, 1e3),
            **_band("length_left", "mm", delay.left, 1e3),
            "share_burned_during_thrust": delay.burned_share,
            "mean_rate_during_thrust_mm_s": 1e3 * delay.thrust_rate,
            **_band("rate_in_open_air", "mm_s", delay.ambient_rate, 1e3),
            "burn_through_probability": delay.burn_through,
            "burn_time_s": delay.thrusting.burn_time,
            "mean_chamber_pressure_MPa": 1e-6 * delay.thrusting.mean_pressure,
            "peak_chamber_pressure_MPa": 1e-6 * delay.thrusting.peak_pressure,
            "ambient_pressure_kPa": 1e-3 * delay.ambient,
            "pressure_where_it_burns_kPa": 1e-3 * delay.burning_at,
            "delay_at_test_place_s": delay.ground_time,
            f"pressure_{CLIMB:.0f}_m_higher_kPa": 1e-3 * delay.climb_pressure,
            f"delay_{CLIMB:.0f}_m_higher_s": delay.climb_time,
            "lowest_tested_pressure_kPa": 1e-3 * low,
            "highest_tested_pressure_MPa": 1e-6 * high,
            "scatter_share_of_rate_variance": delay.scatter_share,
            "strands": len(asked.result.strands),
            "seed": delay.settings.seed,
        }
    ]


def _band(name: str, unit: str, value: Estimate, factor: float) -> Row:
    ends = {"": value.value, "_low": value.low, "_high": value.high}
    return {f"{name}{end}_{unit}": factor * x for end, x in ends.items()}
