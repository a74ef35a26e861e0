"""Limits of a change, and what would settle what is open."""

from __future__ import annotations

import math
from collections.abc import Sequence

from castsugar.comparison.change import Change
from castsugar.comparison.limits import JudgedLimit
from castsugar.comparison.uncertain_inputs import Input
from castsugar.limits import LimitVerdict
from castsugar.report.blocks.model import Block, Cell, Paragraph, Section, Table
from castsugar.report.change.words import (
    beside,
    chance_text,
    limit_text,
    standing_box,
    three_digits,
    value_text,
)
from castsugar.report.layout import number

# ----------------------------------------------------------------------------
# The limits, with margins and shares of the draws that keep them.

_NONE = (
    "No limits were given. In a bench file, [limits] holds them: pressure of the case, "
    "pour viscosity, setting."
)

#: Decimals that a value beside a limit has at most.
_MOST = 4

_NOTES = (
    "A limit with a chance is held against the value that so many of 100 draws of "
    "kitchen or motor keep, as in a search; one without against the best estimate, and "
    "the last column says how many draws of everything uncertain keep it.",
    "A pressure limit rests on an estimate about an unproved case.",
)


def limits_section(change: Change, pressure: str, more: Sequence[Block]) -> Section:
    """Return the section on limits, pictures of them at its end."""
    if not change.limits:
        blocks: tuple[Block, ...] = (Paragraph(text=_NONE, tone="soft"), *more)
        return Section(key="limits", title="Limits and margins", blocks=blocks)
    rows = tuple(
        (
            Cell(text=f"{word}: {limit_text(held, pressure)}"),
            standing_box(held, standing),
            Cell(text=_value(held, standing, pressure)),
            Cell(text=_margin(standing)),
            Cell(text=chance_text(standing.share)),
        )
        for held in change.limits
        for word, standing in zip(("now", "new"), held.standings, strict=True)
    )
    table = Table(
        heads=("limit", "", "held against it", "margin", "draws that keep it"),
        rows=rows,
        words=(1,),
    )
    notes = [Paragraph(text=text, tone="soft") for text in _NOTES]
    return Section(
        key="limits", title="Limits and margins", blocks=(table, *notes, *more)
    )


def _value(held: JudgedLimit, standing: LimitVerdict, pressure: str) -> str:
    """Return what is held against a limit."""
    text = value_text(held.column, standing.value)
    if math.isfinite(standing.value):
        text = three_digits(standing.value, _MOST)
    if held.column.startswith("peak_pressure"):
        text += beside(standing.value, pressure)
    return text


def _margin(standing: LimitVerdict) -> str:
    """Return the margin in percent of the limit."""
    if not math.isfinite(standing.margin):
        return "-" if math.isnan(standing.margin) else "beyond"
    return f"{number(100.0 * standing.margin, 0)} %".replace("-", "\u2212")


# ----------------------------------------------------------------------------
# Which test would settle a doubt: one sentence for every kind of input.

#: Kind of input -> what to do about it.
_KINDS = {
    "weighing": "weigh on a finer scale, or a larger batch in portions",
    "moisture": "weigh a sample of the powder, dry it (2 h at 105 C: common "
    "practice, no source), weigh it again, and state the loss",
    "enthalpy": "no kitchen test: two sources differ, or one is uncertain; only a "
    "better source settles it. Firings of both mixes tell what they deliver",
    "product data": "no test of yours: the two published data sets differ by this much",
    "pressure": "measure the chamber pressure in a firing (castsugar firing)",
}

#: Parameter of the kitchen -> the measurement that informs it most.
_KITCHEN = {
    "syrup_solids": "time a ball in the cold syrup (castsugar kitchen ball-fall), or "
    "state what the label or a refractometer says",
    "syrup_grade": "time a ball in the cold syrup (castsugar kitchen ball-fall)",
    "packing": "weigh a cup of tapped powder (castsugar kitchen bulk-density)",
    "nitrate_dissolved": "weigh the pan before and after (castsugar kitchen "
    "pan-weight) and time what runs out of a cup (castsugar kitchen flow-out, inert "
    "salt first)",
    "solubility_loss": "time what runs out of a cup, inert salt first (castsugar "
    "kitchen flow-out)",
    "drying_time": "weigh the pan before and after (castsugar kitchen pan-weight)",
    "liquid_factor": "time what runs out of a cup, inert salt first (castsugar kitchen "
    "flow-out)",
    "thermometer": "check the thermometer in boiling water (common practice, no "
    "source)",
}

#: Part of the key of an input of the motor -> what to measure.
_MOTOR = {
    "throat_diameter": "measure the throat with a pin or bore gauge, before and after",
    "density": "weigh and measure a cast grain",
    "area": "measure the grain: core, outside, length",
    "characteristic_velocity": "measure c* in a firing (castsugar firing)",
    "temperature": "let the grain reach a known temperature",
}

_STRANDS = (
    "burn strands of both mixes at several pressures (castsugar burnrate; castsugar "
    "search BENCH --next-strands proposes which)"
)

_GRADE = "ask the maker for the dextrose equivalent, or take a syrup that states it"


def test_for(one: Input) -> str:
    """Return what would tell an input better.

    Parameters
    ----------
    one : Input

    Examples
    --------
    >>> one = Input(key="motor|area", kind="motor", label="", uncertainty=1.0, unit="")
    >>> test_for(one)
    'measure the grain: core, outside, length'
    """
    if one.key.startswith("burn law|"):
        return _STRANDS
    if one.key.startswith("motor|"):
        return _MOTOR.get(one.key.split("|")[1], "measure it")
    if one.key.startswith("kitchen|"):
        return _KITCHEN.get(one.key.split("|")[1], "measure it")
    if one.kind == "syrup":
        return _GRADE if one.key.startswith("dextrose") else _KITCHEN["syrup_solids"]
    return _KINDS.get(one.kind, "measure it")
