"""What columns, limits and mixes of a search are called, on screens and pictures."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import field

from castsugar.arrays import FloatArray
from castsugar.columns import (
    CHANGE,
    COLUMN,
    COST,
    DELIVERED,
    IMPULSE,
    SYRUP,
    WEIGHTED,
)
from castsugar.comparison.neighbours import STATED_MIX
from castsugar.frozen import dataclass
from castsugar.limits import Limit
from castsugar.motor.delivered import efficiencies_in_use
from castsugar.optimize.outcome import Outcome
from castsugar.optimize.plane import FAILED, broken, unknown
from castsugar.optimize.problem import Goal
from castsugar.report import fired, numbers
from castsugar.report.field import FIELDS, Field
from castsugar.report.field import field_of as field_of_column
from castsugar.report.mix_words import plain_key
from castsugar.report.shown import SI, Shown
from castsugar.report.sweep import WINDOW

SI_UNITS = Shown()

_CHANCE = re.compile(r"(.+), ([\d.]+) of 100")

#: From here on a column stands for infinity: jams, no stable pressure (as
#: optimize.task has it).
_ENDLESS = {"pour_viscosity": 1e12, "peak_pressure": 1e3}

#: Columns of limits on what pours, and on what the case holds.
_POURS, _PRESSES = "pour_viscosity", ("peak_pressure", "pressure_margin_percent")

#: What a search or a sweep knows beside the columns of the table.
_OWN = {
    WINDOW.key: field_of_column(WINDOW),
    DELIVERED: Field(
        key=DELIVERED,
        label="delivered Isp",
        kind="specific impulse",
        meaning="through the nozzle of [motor], with the efficiencies in use",
    ),
    IMPULSE: fired.IMPULSE,
    COST: Field(
        key=COST,
        label="cost per 1000 N s",
        short="cost/1000 N s",
        kind="number",
        meaning="of the propellant in the currency of the prices, over its impulse",
    ),
    SYRUP: Field(
        key=SYRUP, label="syrup", kind="fraction", meaning="of the mass as weighed"
    ),
    CHANGE: Field(
        key=CHANGE,
        label="change from your recipe",
        kind="fraction",
        meaning="distance of the recipes: root of the sum of squares over the shares",
        short="change",
    ),
    WEIGHTED: Field(
        key="weighted_sum",
        label=WEIGHTED,
        kind="number",
        meaning="of columns in the units of their keys, with the weights of [search]",
    ),
}

#: Their units, as keys carry them.
_OWN_UNITS = {DELIVERED: "s", IMPULSE: "N s", SYRUP: "%", CHANGE: "%"}

_IDEAL = "ideal, no losses"

_NOTES: dict[str | tuple[str, ...], str] = {
    _POURS: "Pour viscosity is good to a factor of 4 before it is calibrated.",
    _PRESSES: "A pressure limit rests on an estimate about an unproved case.",
    "": f"A model; impulses are {_IDEAL}. No claim of safety.",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """What was typed: the bench file, ingredient as typed to its catalogue name.

    `before` is what the titles of pictures begin with, such as "EXAMPLE: ".
    """

    file: str
    typed: Mapping[str, str] = field(default_factory=dict)
    assumptions: tuple[str, ...] = ()
    before: str = ""

    def name(self, catalogue: str) -> str:
        """Return an ingredient as it was typed first.

        Examples
        --------
        >>> Asked(file="a.toml", typed={"KNO3": "potassium nitrate"}).name("sucrose")
        'sucrose'
        """
        found = (typed for typed, name in self.typed.items() if name == catalogue)
        return next(found, catalogue)

    def renamed(self, text: str) -> str:
        """Return a text with catalogue names as they were typed."""
        names = sorted(set(self.typed.values()), key=lambda n: (-len(n), n))
        if not names:
            return text
        pattern = "|".join(re.escape(name) for name in names)
        return re.sub(rf"(?<!\w)({pattern})(?!\w)", lambda m: self.name(m[1]), text)

    def mix(self, names: Sequence[str], fractions: FloatArray | Sequence[float]) -> str:
        """Return a mix in one line: "KNO3 62.2, corn syrup 37.8"."""
        return ", ".join(
            f"{self.name(name)} {numbers.at_place(100.0 * share, -1)}"
            for name, share in zip(names, map(float, fractions), strict=True)
            if share > 0.0
        )


#: Where nothing was typed: catalogue names.
PLAIN = Asked(file="")


# ----------------------------------------------------------------------------
# Columns of a search: those of the table, and quantiles of those that are drawn.


def chance_of(column: str) -> tuple[str, float | None]:
    """Return the column behind a chance column, and its share of 100.

    Examples
    --------
    >>> chance_of("relative_solids_20C"), chance_of("pour_viscosity_Pa_s, 80 of 100")
    (('relative_solids_20C', None), ('pour_viscosity_Pa_s', 80.0))
    """
    found = _CHANCE.fullmatch(column)
    return (found[1], float(found[2])) if found else (column, None)


def field_of(column: str) -> Field:
    """Return what is known of the column behind a column of a search."""
    base = chance_of(column)[0]
    return _OWN.get(base) or FIELDS[base]


def unit_of(column: str) -> str:
    """Return the unit of a column of a search; empty for none."""
    base = chance_of(column)[0]
    if base in COLUMN:
        return COLUMN[base].unit
    return _OWN_UNITS.get(base, "")


def label_of(column: str) -> str:
    """Return what to call a column of a search.

    Examples
    --------
    >>> label_of("pour_viscosity_Pa_s, 80 of 100")
    'pour viscosity, 80 of 100 below'
    """
    base, share = chance_of(column)
    label = COLUMN[base].label if base in COLUMN else field_of(base).label
    return label if share is None else f"{label}, {share:g} of 100 below"


def stem(column: str, show: Shown = SI_UNITS) -> str:
    """Return what a column measures, in few words.

    Examples
    --------
    >>> stem("pour_viscosity_Pa_s, 80 of 100")
    'pour viscosity'
    """
    one = field_of(column)
    us = one.us_label if show.system != SI else ""
    return us or label_of(chance_of(column)[0])


def file_key(column: str) -> str:
    """Return the key of a column in files, its unit at the end.

    Examples
    --------
    >>> file_key("pour_viscosity_Pa_s, 80 of 100"), file_key("weighted sum")
    ('pour_viscosity_p80_Pa_s', 'weighted_sum')
    """
    base, share = chance_of(column)
    if share is None:
        return plain_key(base)
    unit = unit_key(base)
    level = plain_key(f"p{share:02g}")
    return "_".join(filter(None, (base.removesuffix(f"_{unit}"), level, unit)))


def unit_key(column: str) -> str:
    """Return the unit of a column as keys carry it; empty for none."""
    return plain_key(unit_of(column).replace("%", "percent"))


# ----------------------------------------------------------------------------
# What is looked for.


def goal_words(outcome: Outcome) -> str:
    """Say in plain words what is looked for."""
    goal, task = outcome.found.goal, outcome.task
    word = "most" if goal.maximise else "least"
    if goal.objective == IMPULSE:
        return f"{word} {fired.impulse_label(task.settings.motor)}"
    if goal.objective == COST and task.prices is not None:
        return f"{word} {task.prices.currency} per N s"
    if goal.objective == SYRUP:
        return f"{word} syrup that pours"
    if goal.objective == CHANGE:
        return f"{word} change from {task.near}"
    one = field_of(goal.objective)
    return f"{word} {one.short or one.label}"


#: Columns of which the screen says whether losses are taken off.
_DELIVERED = (IMPULSE, COST)


def losses_taken(outcome: Outcome) -> str:
    """Say what is taken off an ideal impulse that is looked for; empty: nothing."""
    if outcome.found.goal.objective not in _DELIVERED:
        return ""
    motor = outcome.task.settings.motor
    if motor is None:
        return ""
    used = efficiencies_in_use(motor)
    known = [
        f"{what} {numbers.percent(one.value)} % ({one.origin})"
        for what, one in (("c*", used.characteristic_velocity), ("nozzle", used.nozzle))
        if one.known
    ]
    if not known:
        return ""
    return f"Impulse is delivered: of the ideal {', '.join(known)}."


def is_ideal(outcome: Outcome) -> bool:
    """Say whether an impulse is looked for of which nothing is taken off."""
    wanted = outcome.found.goal.objective in _DELIVERED
    return wanted and not losses_taken(outcome)


# ----------------------------------------------------------------------------
# Values.


def endless(column: str, value: float) -> float:
    """Return a value, infinite where it stands for that."""
    for name, most in _ENDLESS.items():
        if column.startswith(name) and value >= most:
            return math.inf
    return value


def bare_text(column: str, value: float, show: Shown) -> str:
    """Write a value near its limit, without its unit: two digits of a viscosity."""
    one, value = field_of(column), endless(column, value)
    if math.isinf(value):
        return one.endless
    return show.bare(one.kind, value, 2 if one.factor_of else 4)


def value_text(column: str, value: float, show: Shown) -> str:
    """Write a value near its limit, with its unit.

    Examples
    --------
    >>> value_text("peak_pressure_MPa", 2.60041, Shown())
    '2.600 MPa'
    >>> value_text("pour_viscosity_Pa_s, 85 of 100", 1e12, Shown())
    'jams'
    """
    unit = show.unit(field_of(column).kind)
    told = bare_text(column, value, show)
    return told if math.isinf(endless(column, value)) else f"{told} {unit}".rstrip()


def decimals_of(column: str, show: Shown = SI_UNITS) -> int:
    """Return the decimals that a column deserves on a picture, in units shown."""
    known = COLUMN.get(chance_of(column)[0])
    if known is None:
        return 3 if column == COST else 1
    finer = -math.log10(abs(show.span(field_of(column).kind, 1.0)))
    return max((known.decimals or 0) + math.ceil(finer - 1e-9), 0)


def value_words(column: str, value: float, show: Shown = SI_UNITS) -> str:
    """Return a value for a picture, which comes in units shown, with its unit.

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


# ----------------------------------------------------------------------------
# Limits.


def bound_words(limit: Limit, show: Shown = SI_UNITS) -> str:
    """Return sense and value of a limit with its unit.

    Examples
    --------
    >>> bound_words(Limit(column="peak_pressure_MPa", sense="<=", value=6.9))
    'at most 6.9 MPa'
    """
    word = "at most" if limit.sense == "<=" else "at least"
    return f"{word} {show.bound(field_of(limit.column).kind, limit.value)}"


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


def limit_noun(limit: Limit, show: Shown) -> str:
    """Return what a limit is called without its number.

    Examples
    --------
    >>> limit_noun(Limit(column="pour_viscosity_Pa_s", sense="<=", value=9.0), Shown())
    'pour limit'
    """
    if limit.column.startswith(_POURS):
        return "pour limit"
    if guards_case(limit):
        return "pressure limit"
    return f"limit on {field_of(limit.column).named(show)}"


def limit_name(limit: Limit, show: Shown) -> str:
    """Return what a limit is called in a sentence: with its number, if it needs one.

    Examples
    --------
    >>> limit_name(Limit(column="relative_solids_20C", sense=">=", value=0.9), Shown())
    'relative solids at 20 °C at least 0.9'
    """
    if limit.column.startswith(_POURS) or guards_case(limit):
        return limit_noun(limit, show)
    return f"{field_of(limit.column).named(show)} {bound_words(limit, show)}"


def guards_case(limit: Limit) -> bool:
    """Say whether a limit keeps the case from bursting."""
    return limit.column.startswith(_PRESSES)


def fault_words(goal: Goal, values: Mapping[str, float], show: Shown = SI_UNITS) -> str:
    """Say which limits a mix breaks, and which were not computed of it."""
    limits = {limit.name: stem(limit.column, show) for limit in goal.limits}
    told = {"breaks": broken(goal, values), "not computed:": unknown(goal, values)}
    return "; ".join(
        f"{word} {', '.join(dict.fromkeys(limits[name] for name in names))}"
        for word, names in told.items()
        if names
    )


# ----------------------------------------------------------------------------
# What pictures say of the mix, the space and themselves.


def is_stated(outcome: Outcome) -> bool:
    """Say whether the mix was given: nothing was searched."""
    return outcome.found.status == STATED_MIX


def stop_words(
    outcome: Outcome, name: str, asked: Asked, show: Shown = SI_UNITS
) -> str:
    """Return what a limit or a row of the space is called where it stops a mix.

    Around a mix that was given no row is anybody's bound: the picture ends there.
    """
    for limit in outcome.found.goal.limits:
        if limit.name == name:
            return stem(limit.column, show)
    if is_stated(outcome) and name and name != FAILED:
        return "end of the range shown"
    return asked.renamed(name)


def state_lines(outcome: Outcome) -> list[str]:
    """Return what is not as it should be with the answer; none for an optimum."""
    found = outcome.found
    if found.status == "infeasible":
        return ["No mix keeps all limits: this one breaks them least."]
    if is_stated(outcome):
        return []
    if outcome.refused:
        return [f"Not to be trusted: {outcome.refused}."]
    if found.status == "incomplete":
        return [f"Stopped early ({found.reason}): the best so far, not an optimum."]
    return []


def best_words(outcome: Outcome) -> str:
    """Return what the mix of an answer is called."""
    words = {
        "infeasible": "least bad mix",
        "incomplete": "best so far",
        STATED_MIX: "new mix",
    }
    return words.get(outcome.found.status, "best mix")


def note_of(columns: Sequence[str]) -> str:
    """Return the note that belongs under a picture of some columns."""
    told = " ".join(
        note
        for begin, note in _NOTES.items()
        if any(column.startswith(begin) for column in columns)
    )
    if {DELIVERED, *_DELIVERED} & set(columns):
        told = told.replace(_IDEAL, "ideal but for the efficiencies of [motor]")
    return told
