"""What all pictures of a search say: limits in words, state, notes."""

from __future__ import annotations

import math
from collections.abc import Mapping

from castsugar.columns import COLUMN
from castsugar.comparison.limits import STATED_MIX
from castsugar.limits import Limit
from castsugar.optimize.plane import FAILED, broken, unknown
from castsugar.optimize.problem import Goal
from castsugar.optimize.search import Outcome
from castsugar.report.search_words import (
    Asked,
    bound_words,
    chance_of,
    field_of,
    label_of,
)
from castsugar.report.shown import SI, Shown

#: Where nothing was typed: catalogue names.
PLAIN = Asked(file="")

SI_UNITS = Shown()

_IDEAL = "A model; impulses are ideal, no losses. No claim of safety."
_PRESSURE = "A pressure limit rests on an estimate about an unproved case."
_VISCOSITY = "Pour viscosity is good to a factor of 4 before it is calibrated."


def stem(column: str, show: Shown = SI_UNITS) -> str:
    """Return what a column measures, in few words.

    Examples
    --------
    >>> stem("pour_viscosity_Pa_s, 80 of 100")
    'pour viscosity'
    """
    one = field_of(column)
    return one.us_label if one.us_label and show.system != SI else label_of(one.key)


def fault_words(goal: Goal, values: Mapping[str, float]) -> str:
    """Say which limits a mix breaks, and which were not computed of it."""
    limits = {limit.name: stem(limit.column) for limit in goal.limits}
    found = []
    for word, names in (
        ("breaks", broken(goal, values)),
        ("not computed:", unknown(goal, values)),
    ):
        told = dict.fromkeys(limits[name] for name in names)
        found += [f"{word} {', '.join(told)}"] if told else []
    return "; ".join(found)


def short_limit(limit: Limit, show: Shown = SI_UNITS) -> str:
    """Return a limit in few words, with sense and value.

    Examples
    --------
    >>> short_limit(Limit(column="pour_viscosity_Pa_s", sense="<=", value=10.0))
    'pour viscosity at most 10 Pa s'
    """
    return f"{stem(limit.column, show)} {bound_words(limit, show)}"


def limit_words(limit: Limit, show: Shown = SI_UNITS) -> str:
    """Return a limit with the share of the draws that must keep it.

    Examples
    --------
    >>> name = "peak_pressure_MPa, 95 of 100"
    >>> limit_words(Limit(column=name, sense="<=", value=6.9))
    'peak pressure at most 6.9 MPa, in 95 of 100'
    """
    share = chance_of(limit.column)[1]
    if share is None:
        return short_limit(limit, show)
    most = share if limit.sense == "<=" else 100.0 - share
    return f"{short_limit(limit, show)}, in {most:g} of 100"


def decimals_of(column: str, show: Shown = SI_UNITS) -> int:
    """Return the decimals that a column deserves on a picture, in units shown."""
    known = COLUMN.get(chance_of(column)[0])
    if known is None:
        return 1
    finer = -math.log10(abs(show.span(field_of(column).kind, 1.0)))
    return max((known.decimals or 0) + math.ceil(finer - 1e-9), 0)


def value_words(column: str, value: float, show: Shown = SI_UNITS) -> str:
    """Return a value, which comes in units shown, with its unit.

    Examples
    --------
    >>> value_words("specific_impulse_s", 152.97)
    '153.0 s'
    """
    told = "-"
    if math.isfinite(value):
        told = spaced(f"{value:z.{decimals_of(column, show)}f}")
    return f"{told} {show.unit(field_of(column).kind)}".rstrip()


def spaced(text: str) -> str:
    """Return a number as text, from 10,000 on with thin spaces.

    Examples
    --------
    >>> spaced("9000.5"), spaced("-277900").encode("ascii", "replace")
    ('9000.5', b'-277?900')
    """
    whole, point, rest = text.partition(".")
    if len(whole.lstrip("-")) > 4 and whole.lstrip("-").isdigit():
        whole = f"{int(whole):,}".replace(",", "\u2009")
    return whole + point + rest


def is_stated(outcome: Outcome) -> bool:
    """Say whether the mix was given: nothing was searched."""
    return outcome.found.status == STATED_MIX


def range_words(outcome: Outcome) -> str:
    """Return what the space of the mixes is called."""
    return "the range shown" if is_stated(outcome) else "the bounds of the search"


def stop_words(outcome: Outcome, name: str, asked: Asked) -> str:
    """Return what a limit or a row of the space is called where it stops a mix.

    Around a mix that was given no row is anybody's bound: the picture ends there.
    """
    for limit in outcome.found.goal.limits:
        if limit.name == name:
            return stem(limit.column)
    if is_stated(outcome) and name and name != FAILED:
        return "end of the range shown"
    return asked.renamed(name)


def state_words(outcome: Outcome) -> str:
    """Return what is not as it should be with the answer; empty for an optimum."""
    found = outcome.found
    if found.status == "infeasible":
        return "No mix keeps all limits: this one breaks them least."
    if is_stated(outcome):
        return ""
    if outcome.refused:
        return f"Not to be trusted: {outcome.refused}."
    if found.status == "incomplete":
        return f"Stopped early ({found.reason}): the best so far, not an optimum."
    return ""


def best_words(outcome: Outcome) -> str:
    """Return what the mix of an answer is called."""
    words = {
        "infeasible": "least bad mix",
        "incomplete": "best so far",
        STATED_MIX: "new mix",
    }
    return words.get(outcome.found.status, "best mix")


def notes_of(outcome: Outcome, columns: tuple[str, ...]) -> tuple[str, ...]:
    """Return the notes that belong under a picture of some columns."""
    notes = []
    if any(name.startswith("pour_viscosity") for name in columns):
        notes.append(_VISCOSITY)
    if any(name.startswith(("peak_pressure", "pressure_margin")) for name in columns):
        notes.append(_PRESSURE)
    text = " ".join([*notes, _IDEAL])
    return (text,)
