"""What was asked of a comparison, as far as its document repeats it."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

from castsugar import units
from castsugar.columns import COLUMN
from castsugar.comparison.compare import CANNOT_TELL, MOST_FAILED, Cell, Comparison
from castsugar.comparison.drawn_batches import DECADES
from castsugar.comparison.limits import JudgedLimit
from castsugar.data.records import Caution, Source
from castsugar.limits import BROKEN, KEPT, NOT_COMPUTED, LimitVerdict
from castsugar.mix.mix import Mix
from castsugar.motor.pressure_table import Firing
from castsugar.report.blocks.model import Cell as Box
from castsugar.report.kitchen import one_digit
from castsugar.report.layout import number

# ----------------------------------------------------------------------------
# What was asked of a comparison, as far as its document repeats it.


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """What was asked, and what a document needs beside the numbers.

    Attributes
    ----------
    command : str
        What gives the same document again.
    versions : mapping of str to str
        Of program, data and libraries.
    sources : mapping of str to Source
        All that the database knows.
    cautions : tuple of Caution
        Those that apply.
    assumptions : tuple of str
    reason : str
        Why the change is wanted, in the words of the user; may be empty.
    pressure : str
        Unit of pressure to show beside MPa.
    bench : str
        Name of the bench file; empty for none.
    notes : tuple of str
        What a reader has to know about what was asked.
    files : mapping of str to str
        Name of every file that was read to the first hexadecimal digits of its SHA-256.
    fired : tuple of Firing or None
        Every mix in the motor at the best estimates; empty without a motor.
    """

    command: str
    versions: Mapping[str, str]
    sources: Mapping[str, Source]
    cautions: tuple[Caution, ...] = ()
    assumptions: tuple[str, ...] = ()
    reason: str = ""
    pressure: str = "MPa"
    bench: str = ""
    notes: tuple[str, ...] = ()
    files: Mapping[str, str] = field(default_factory=dict)
    fired: tuple[Firing | None, ...] = ()


# ----------------------------------------------------------------------------
# Values, intervals, chances and verdicts in words.

#: What a chance beyond what the draws can tell is called.
_SURE = 0.999

#: Share of the draws that must keep a limit without a probability.
_FIRM = 0.9


def label(column: str) -> str:
    """Return what a column is called, with its unit.

    Examples
    --------
    >>> label("flame_temperature_K")
    'flame temperature, K'
    """
    known = COLUMN[column]
    text = known.label.removesuffix(", middle")
    return f"{text}, {known.unit}" if known.unit else text


def plain_label(column: str) -> str:
    """Return what a column is called, without its unit."""
    return COLUMN[column].label.removesuffix(", middle")


def value_text(column: str, value: float) -> str:
    """Write a value with the digits that its column deserves; words for none.

    Examples
    --------
    >>> value_text("flame_temperature_K", 1521.84)
    '1522'
    >>> value_text("relative_solids_20C", math.inf)
    'no limit'
    """
    if math.isnan(value):
        return "not computed"
    if column.startswith("pour_viscosity"):
        return one_digit(value)
    if math.isinf(value):
        return "no limit"
    if column.startswith("peak_pressure"):
        return three_digits(value, COLUMN[column].decimals or 0)
    return number(value, COLUMN[column].decimals)


def three_digits(value: float, most: int = 2) -> str:
    """Write a number with at most three significant digits, and a real minus sign.

    Examples
    --------
    >>> [three_digits(v) for v in (2.4, 0.08, 93.21, 1234.0)], three_digits(-1.5, 1)
    (['2.40', '0.08', '93.2', '1230'], '−1.5')
    """
    if not math.isfinite(value):
        return "-"
    digits = 2 - math.floor(math.log10(abs(value))) if value else most
    return number(value, min(digits, most)).replace("-", "−")


def with_interval(cell: Cell) -> str:
    """Write a value with its 95 % interval.

    Examples
    --------
    >>> from castsugar.comparison.draws import Summary
    >>> gone = Summary(mean=0, deviation=0, median=0, interval=(0, 0), failed=0)
    >>> cell = Cell(
    ...     column="relative_solids_20C", value=0.97, interval=(0.87, 1.1),
    ...     difference=gone, chance_higher=0.5, verdict="", merit="", best=0.5,
    ...     failed=0, one_step=0, step_item="", parts=())
    >>> with_interval(cell)
    '0.97 (0.87 to 1.10)'
    """
    if math.isnan(cell.value):
        return "not computed"
    low, high = (value_text(cell.column, end) for end in cell.interval)
    value = value_text(cell.column, cell.value)
    if math.isinf(cell.value) and low == high == value:
        return value
    return f"{value} ({low} to {high})"


def verdict_box(cell: Cell) -> Box:
    """Return the verdict on a difference, with its merit where it has one."""
    if cell.verdict == CANNOT_TELL and cell.difference.failed > MOST_FAILED:
        why = f"more than {100.0 * MOST_FAILED:g} % of the draws gave no number"
        return Box(text=f"{CANNOT_TELL}: {why}", tone="open")
    if cell.verdict == CANNOT_TELL:
        return Box(text=CANNOT_TELL, tone="open")
    if not cell.merit:
        return Box(text=cell.verdict, tone="strong")
    tone = "good" if cell.merit == "better" else "bad"
    return Box(text=f"{cell.verdict}: {cell.merit}", tone=tone)


def chance_text(chance: float) -> str:
    """Write a probability as percent, never as certainty.

    Examples
    --------
    >>> [chance_text(c) for c in (0.873, 1.0, 0.0004, math.nan)]
    ['87 %', '> 99.9 %', '< 0.1 %', '-']
    """
    if math.isnan(chance):
        return "-"
    if chance > _SURE:
        return "> 99.9 %"
    if chance < 1.0 - _SURE:
        return "< 0.1 %"
    decimals = 0 if 0.01 <= chance <= 0.99 else 1
    return f"{number(100.0 * chance, decimals)} %"


def limit_text(held: JudgedLimit, pressure: str = "MPa") -> str:
    """Return a limit in words.

    Examples
    --------
    >>> limit_text(JudgedLimit(column="peak_pressure_MPa", sense="<=",
    ...     value=6.894757, probability=0.95, standings=()), "psi")
    'peak pressure at most 6.89 MPa (1000 psi) with 95 %'
    """
    word = "at most" if held.sense == "<=" else "at least"
    unit = COLUMN[held.column].unit
    value = f"{held.value:.3g} {unit}".rstrip()
    if held.column.startswith("peak_pressure"):
        value += beside(held.value, pressure)
    chance = "" if held.probability is None else f" with {100 * held.probability:g} %"
    return f"{plain_label(held.column)} {word} {value}{chance}"


def beside(megapascal: float, unit: str) -> str:
    """Return a pressure in another unit, in brackets; empty for MPa."""
    if unit == "MPa" or not math.isfinite(megapascal):
        return ""
    shown = units.convert(1e6 * megapascal, "pressure", unit)
    return f" ({float(f'{shown:.3g}'):g} {unit})"


def why_open(held: JudgedLimit, standing: LimitVerdict) -> str:
    """Return why a limit that is kept is not kept firmly; empty if it is.

    Examples
    --------
    >>> held = JudgedLimit(column="relative_solids_20C", sense=">=", value=0.95,
    ...                    probability=None, standings=())
    >>> one = LimitVerdict(value=0.99, verdict="kept", share=0.8, margin=0.04)
    >>> why_open(held, one)
    ' (80 % of the draws)'
    """
    why = ""
    if held.probability is None and standing.share < _FIRM:
        why = f" ({chance_text(standing.share)} of the draws)"
    if standing.ground:
        why += f", but on a {standing.ground}: no evidence of this mix"
    return why


def standing_box(held: JudgedLimit, standing: LimitVerdict) -> Box:
    """Return how a mix stands to a limit."""
    if standing.verdict == KEPT:
        why = why_open(held, standing)
        return Box(text=f"{KEPT}{why}", tone="open" if why else "good")
    if standing.verdict == BROKEN:
        return Box(text="BROKEN", tone="bad")
    why = standing.reason or plain_label(held.column)
    return Box(text=f"{NOT_COMPUTED}: {why}", tone="open")


def composition(mix: Mix) -> str:
    """Return a recipe in percent, as weighed.

    Examples
    --------
    >>> composition(Mix.weigh({"KNO3": 65, "sucrose": 35}))
    'KNO3 65 %, sucrose 35 %'
    """
    parts = [f"{name} {100.0 * share:.4g} %" for name, share in mix.recipe]
    return ", ".join(parts)


def is_ratio(column: str) -> bool:
    """Say whether differences of a column are ratios."""
    return column in DECADES


def is_equal(cell: Cell) -> bool:
    """Say whether a mix does the same as the baseline in every draw."""
    return cell.difference.interval == (0.0, 0.0) and cell.difference.median == 0.0


def is_same(comparison: Comparison, mix: int) -> bool:
    """Say whether a mix is the baseline over again: nothing differs in any draw."""
    return all(is_equal(cell) for cell in comparison.cells[mix].values())
