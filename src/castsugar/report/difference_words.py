"""Words, scales and verdicts of a picture of differences."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from castsugar.columns import COLUMN
from castsugar.comparison.compare import CANNOT_TELL, MOST_FAILED, Cell, Comparison
from castsugar.comparison.drawn_batches import DECADES, KITCHEN, MOTOR
from castsugar.report.svg.axes import nice_step

#: Dark enough for text on the page: good, bad, neither, no verdict.
INKS = {"better": "#00558a", "worse": "#9c3f00", "": "#1c1c1c", "open": "#565656"}

#: What stands in place of an interval.
NOT_COMPUTED = "not computed"

#: What stands in place of a ratio that is 0 or without limit.
NO_RATIO = "no ratio: one of them jams"

#: Digits of a factor; so many more, and decimals, where an end would read as no
#: difference though it is one.
_DIGITS, _MORE = 2, 3

#: Significant digits of a pressure, at most.
_PRESSURE = 3

_MINUS = "\u2212"

#: Letters of a unit that still fits beside an interval.
_LONG = 5

#: Columns whose label is too long for a row.
_SHORT = {
    "characteristic_velocity_m_s": "c*, ideal",
    "density_impulse_kg_s_m3": "density impulse",
    "condensed_mass_fraction": "mass that is not gas",
    "pour_viscosity_Pa_s": "pour viscosity",
    "relative_solids_20C": "setting: solids over packing",
    "peak_pressure_MPa": "peak pressure",
    "density_kg_m3": "density without voids",
    "storage_humidity_max_percent": "storage: humidity limit",
}


@dataclass(frozen=True, slots=True)
class Line:
    """One interval: ends and middle (of ln for ratios), its words and its verdict.

    `words` leave out a long unit, `full` do not. `tone` is a key of :data:`INKS`;
    `turn` is "higher", "lower" or empty.
    """

    low: float
    high: float
    middle: float
    words: str
    full: str
    verdict: str
    tone: str
    turn: str

    @property
    def known(self) -> bool:
        """Return whether there is an interval."""
        return not (math.isnan(self.low) or math.isnan(self.high))


Rows = Mapping[str, Sequence[Line]]


def label_of(column: str) -> str:
    """Return the name of a row."""
    return _SHORT.get(column, COLUMN[column].label)


def groups_of(columns: Sequence[str]) -> list[tuple[str, list[str]]]:
    """Return the groups of rows that hold any, with their columns."""
    found: dict[str, list[str]] = {
        "Performance, ideal": [],
        "Pressure in your motor": [],
        "Pouring and setting": [],
    }
    performance, pressure, pouring = found.values()
    for name in columns:
        own = pressure if name in MOTOR else performance
        (pouring if name in KITCHEN else own).append(name)
    return [(group, held) for group, held in found.items() if held]


def lines_of(comparison: Comparison, column: str, mixes: Sequence[int]) -> list[Line]:
    """Return the intervals of one column, one a mix."""
    return [_line(comparison.cells[mix][column]) for mix in mixes]


def _line(cell: Cell) -> Line:
    """Return the interval of one cell."""
    difference = cell.difference
    low, high = difference.interval
    missing = math.isnan(low) or math.isnan(high) or math.isnan(difference.median)
    if missing:
        gone = math.nan
        words = NOT_COMPUTED
        return Line(gone, gone, gone, words, words, CANNOT_TELL, "open", "")
    words, full = _value_words(cell.column, low, difference.median, high)
    told = cell.verdict != CANNOT_TELL
    return Line(
        low=low,
        high=high,
        middle=difference.median,
        words=words,
        full=full,
        verdict=cell.merit or cell.verdict,
        tone=cell.merit if told else "open",
        turn=cell.verdict if told else "",
    )


def _value_words(
    column: str, low: float, middle: float, high: float
) -> tuple[str, str]:
    """Write a difference with its interval, a ratio as a factor; then in full."""
    if low == high and (low == 0.0 or math.isinf(low)):
        text = "no difference" if low == 0.0 else _without_end(column, low)
        return text, text
    if column in DECADES:
        if math.isinf(middle):
            return NO_RATIO, NO_RATIO
        digits = _significant(low, high)
        value, *ends = (_factor(v, digits) for v in (middle, low, high))
        text = f"× {value} ({' to '.join(ends)})"
        return text, text
    digits = _decimals(column, low, high)
    most = _PRESSURE if column in MOTOR else math.inf
    value, *ends = (_signed(v, digits, most) for v in (middle, low, high))
    unit, inner = COLUMN[column].unit, " to ".join(ends)
    full = " ".join(filter(None, (value, unit, f"({inner})")))
    return (full if len(unit) <= _LONG else f"{value} ({inner})"), full


def _without_end(column: str, end: float) -> str:
    """Say what a difference without any finite end means."""
    if column in MOTOR:
        who = "no stable pressure" if end > 0.0 else "the baseline has no stable one"
    elif column in DECADES:
        who = "jams" if end > 0.0 else "flows; the baseline jams"
    else:
        who = "without limit"
    return who


def _decimals(column: str, low: float, high: float) -> int:
    """Return decimals that leave two digits of the width of an interval."""
    width = high - low
    if not 0.0 < width < math.inf:
        ends = [abs(v) for v in (low, high) if math.isfinite(v) and v]
        if not ends:
            return COLUMN[column].decimals or 0
        width = min(ends)
    return _apart(low, high, min(1 - math.floor(math.log10(width)), 6))


def _apart(low: float, high: float, digits: int) -> int:
    """Return so many decimals that an end beside 0 is not printed as 0."""
    if low <= 0.0 <= high:
        return digits
    near = min(abs(low), abs(high))
    more = (d for d in range(digits, digits + _MORE) if round(near, d) != 0.0)
    return next(more, digits + _MORE)


def _significant(low: float, high: float) -> int:
    """Return so many digits of factors that one beside 1 is not printed as 1."""
    if low <= 0.0 <= high:
        return _DIGITS
    near = min((low, high), key=abs)
    every = range(_DIGITS, _DIGITS + _MORE)
    more = (d for d in every if _factor(near, d) != "1")
    return next(more, _DIGITS + _MORE)


def _signed(value: float, decimals: int, most: float = math.inf) -> str:
    """Write a signed number with so many digits at most; zero has no sign."""
    if math.isinf(value):
        return "no limit"
    if value and math.isfinite(most):
        decimals = min(decimals, int(most) - 1 - math.floor(math.log10(abs(value))))
    text = f"{abs(round(value, decimals)):.{max(decimals, 0)}f}"
    if not text.strip("0."):
        return text
    return f"{'+' if value > 0.0 else _MINUS}{text}"


def _factor(log: float, digits: int = _DIGITS) -> str:
    """Write exp of a logarithm with two digits, or more."""
    if math.isinf(log):
        return "no limit" if log > 0.0 else "0"
    value = math.exp(min(max(log, -60.0), 60.0))
    if not 1e-3 <= value < 1e4:
        return f"{value:.0e}".replace("e-0", "e-").replace("e+0", "e")
    return f"{float(f'{value:.{digits}g}'):g}"


def span_of(lines: Sequence[Line]) -> float:
    """Return the half width of a scale about 0 that holds every finite end."""
    ends = [abs(v) for s in lines for v in (s.low, s.high, s.middle)]
    most = max((v for v in ends if math.isfinite(v)), default=0.0)
    if most == 0.0:
        return 0.0
    step = nice_step(most, 8)
    return step.times(math.ceil(most / step.size + 0.35))


def span_words(column: str, span: float) -> tuple[str, str]:
    """Return what stands at both ends of a scale."""
    if column in DECADES:
        return f"÷ {_factor(span)}", f"× {_factor(span)}"
    unit = COLUMN[column].unit
    return f"{_MINUS}{span:g}", f"+{span:g} {unit}".rstrip()


def key_words() -> list[str]:
    """Return how to read the picture."""
    return [
        "Dot: the middle of the paired draws; bar: 95 % of them. Filled: the bar "
        "leaves out 0, higher or lower; hollow: cannot tell. Better or worse where the "
        "trade agrees which way is good."
    ]


def remarks(comparison: Comparison, rows: Rows) -> list[str]:
    """Say why a bar that leaves out 0 has no verdict."""
    found = []
    for column, lines in rows.items():
        clear = [s for s in lines if s.known and not s.turn and not _holds_zero(s)]
        if not clear:
            continue
        label = label_of(column)
        if column in MOTOR and not _failed(comparison, column):
            found.append(
                f"{label}: no verdict between mixes that are put under one burn law; "
                "how their burn rates differ is not known"
            )
        else:
            found.append(
                f"{label}: no verdict where more than {100.0 * MOST_FAILED:g} % of the "
                "draws could not be computed"
            )
    return found


def _holds_zero(line: Line) -> bool:
    return line.low <= 0.0 <= line.high


def _failed(comparison: Comparison, column: str) -> bool:
    """Return whether too many draws of a column failed."""
    cells = (own[column] for own in comparison.cells)
    return any(c.difference.failed > MOST_FAILED for c in cells)


def describe(names: Sequence[str], base: str, rows: Rows) -> str:
    """Say in words what the picture shows, for those who cannot see it."""
    parts = []
    for column, lines in rows.items():
        for name, line in zip(names, lines, strict=True):
            whose = f", {name}" if len(names) > 1 else ""
            told = line.full
            if line.known:
                turn = (
                    f"{line.turn}, " if line.turn and line.verdict != line.turn else ""
                )
                told = f"{line.full}: {turn}{line.verdict}"
            parts.append(f"{label_of(column)}{whose} {told}")
    return f"{', '.join(names)} less {base}, 95 % intervals. {'; '.join(parts)}."
