"""One mix in answers to five questions: pours, sets, case, better, burns."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import numpy as np

from castsugar.arrays import BoolArray, FloatArray
from castsugar.comparison.compare import Cell, Comparison
from castsugar.frozen import dataclass
from castsugar.kitchen import suspension
from castsugar.kitchen.glass import set_word
from castsugar.limits import (
    BROKEN,
    KEPT,
    NOT_COMPUTED,
    PEAK,
    POUR,
    SOLIDS,
    Judgement,
)
from castsugar.report import numbers
from castsugar.report.compare import interval, verdict
from castsugar.report.field import FIELDS, INTERVAL, crowded
from castsugar.report.limit_words import P95, Judged, limit_cell, pouring, rests_on
from castsugar.report.mixes import Mixes
from castsugar.report.next_step import limit_on
from castsugar.report.screen import STATUSES, Screen, Table
from castsugar.report.shown import Shown

#: What a card or a line may be: colour of a status word -> kind.
KINDS = {"red": "broken", "green": "kept", "yellow": "unknown", "plain": "plain"}

_HEADS = ("value", "95 % band", "limit", "margin")

_FLAME, _C_STAR = "flame_temperature_K", "characteristic_velocity_m_s"

#: Differences that are shown at most, and those that follow the limited columns.
_ROWS = 8
_DECIDING = (_C_STAR, "specific_impulse_s", _FLAME, "density_kg_m3")

Texts = dict[str, str]


@dataclass(frozen=True, slots=True, kw_only=True)
class Point:
    """One mix with everything that is said of it."""

    found: Mixes
    show: Shown
    screen: Screen  # what evaluate answers
    allowed: float  # pressure that case or limits allow, NaN if none [MPa]
    #: Whether the bench has them.
    kitchen: bool
    motor: bool

    @property
    def row(self) -> Mapping[str, Any]:
        """Its row of the table."""
        return self.found.rows[0]

    @property
    def judged(self) -> tuple[Judged, ...]:
        """Its limits."""
        return self.found.judged[0] if self.found.judged else ()

    def text(self, key: str) -> str:
        """Write a value of the row, without its unit."""
        return FIELDS[key].text(self.row, self.show)


def head_of(one: Point) -> Texts:
    """Return what is said first: broken before unknown before kept."""
    findings, judged = one.screen.findings, one.judged
    grave = [f"DO NOT {x.text}" for x in findings if x.status == "DO NOT"]
    grave += [x.text for x in findings if x.status == "BROKEN"]
    doubts = [x.text for x in findings if x.status == "CANNOT TELL"]
    broken = sum(x.verdict == BROKEN for x in judged)
    unknown = sum(x.verdict == NOT_COMPUTED for x in judged)
    if broken:
        head = f"BREAKS {numbers.count(broken, 'LIMIT', 'LIMITS')}"
        return {"kind": "broken", "text": f"{head}: {grave[0]}"}
    if grave:
        return {"kind": "broken", "text": grave[0]}
    if unknown:
        head = f"CANNOT TELL {numbers.count(unknown, 'LIMIT', 'LIMITS')}"
        return {"kind": "unknown", "text": f"{head}: {doubts[0]}"}
    if doubts or not judged:
        why = doubts[0] if doubts else "the bench states no limits."
        return {"kind": "unknown", "text": f"CANNOT TELL: {why}"}
    several = f"ALL {len(judged)} LIMITS" if len(judged) > 1 else "ITS LIMIT"
    by = ", by invented numbers" if one.found.invented else ""
    return {"kind": "kept", "text": f"KEEPS {several}{by}"}


def findings_of(one: Point) -> list[Texts]:
    """Return the findings of the screen, each with its kind, the gravest first."""
    order = [*STATUSES]
    return [
        {"status": x.status, "kind": KINDS[STATUSES[x.status]], "text": x.text}
        for x in sorted(one.screen.findings, key=lambda x: order.index(x.status))
    ]


def rows_of(one: Point) -> list[list[str]]:
    """Return label, value, band, limit and margin of the quantities that decide."""
    table = next(x for x in one.screen.blocks if isinstance(x, Table))
    known = {head: place for place, head in enumerate(table.heads)}
    found = [
        [row[0], *(row[known[head]] if head in known else "" for head in _HEADS)]
        for row in table.rows
    ]
    for row in found:  # " x" says too little beside per cent
        row[-1] = re.sub(" x$", " x limit", row[-1])
    return found


# ----------------------------------------------------------------------------
# The cards.


def cards_of(one: Point, better: Texts) -> list[Texts]:
    """Return five answers; that about the base is made elsewhere."""
    asked = {_pours: one.kitchen, _sets: one.kitchen, _case: one.motor}
    first = [
        make(one)
        if there
        else _card(*_TITLES[make], "not asked", f"add {_NEEDS[make]}")
        for make, there in asked.items()
    ]
    return [*first, better, _burns(one)]


def _card(
    key: str, title: str, text: str, detail: str, held: Judged | None = None
) -> Texts:
    """Return a card; of a limit that is not computed it says why."""
    kind = "plain"
    if held is not None:
        kind = {KEPT: "kept", BROKEN: "broken"}.get(held.verdict, "unknown")
    if held is not None and kind == "unknown":
        text, detail = "not computed", held.reason or "not computed"
    return {"key": key, "title": title, "kind": kind, "text": text, "detail": detail}


def _unknown(key: str, title: str, why: str) -> Texts:
    return _card(key, title, "not computed", why) | {"kind": "unknown"}


def _pours(one: Point) -> Texts:
    """Say whether it pours, and between which temperatures where that is known."""
    row, show, held = one.row, one.show, limit_on(one.judged, POUR)
    share = row["pours_probability"]
    if held is None and share != share:
        return _unknown(*_TITLES[_pours], str(row["flags"] or row["status"]))
    told = numbers.of_100(share) if held is None else pouring(held, row)
    told = f"{told} of 100"
    if held is not None and held.limit != suspension.POURS_BELOW:
        # The share is that below 10 Pa s: a limit elsewhere is told by its quantile.
        share, kind = numbers.percent(held.probability or 0.5), "viscosity"
        told = f"{share} of 100 below {show.bare(kind, held.value)} {show.unit(kind)}"
    low, high = (one.text(f"pour_viscosity_{end}_Pa_s") for end in ("p10", "p90"))
    detail = f"{low} to {high} {show.unit('viscosity')}, 80 of 100"
    if crowded(row):
        none = "does not flow"
        detail = none if low == "no flow" else f"{low}: too crowded for a number"
    low, high = row["pour_window_low_C"], row["pour_window_high_C"]
    if low == low and high == high:
        low, high = (show.bare("temperature", x) for x in (low, high))
        detail += f"; between {low} and {high} {show.unit('temperature')}"
    return _card(*_TITLES[_pours], told, detail, held)


def _sets(one: Point) -> Texts:
    """Say whether it sets."""
    solids, held = one.row[SOLIDS], limit_on(one.judged, SOLIDS)
    if held is None and solids != solids:
        return _unknown(*_TITLES[_sets], str(one.row["flags"] or one.row["status"]))
    word = set_word(solids) if solids == solids else "not computed"
    bound = "" if held is None else f", {limit_cell(held, one.show)}"
    detail = f"relative solids {one.text(SOLIDS)}{bound}"
    return _card(*_TITLES[_sets], word, detail, held)


def _case(one: Point) -> Texts:
    """Say whether the case holds: the 95 % line against it, and what is expected."""
    row, show, held = one.row, one.show, limit_on(one.judged, PEAK, P95)
    if held is None and math.isnan(row[PEAK]):
        return _unknown(*_TITLES[_case], str(row["flags"] or row["status"]))
    bound = ""
    if one.allowed == one.allowed:
        bound = f" of {show.limit('pressure', one.allowed)}"
    origin = rests_on(str(row["burn_law_origin"] or ""))
    if one.found.invented:
        origin = origin.replace("your strands", "invented strands")
    detail = f"95 of 100 below {one.text(P95)}; expected {one.text(PEAK)}; {origin}"
    told = f"{one.text(P95)}{bound} {show.unit('pressure')}"
    found = _card(*_TITLES[_case], told, detail, held)
    fire = any(x.text.startswith("fire") for x in one.screen.findings)
    return found | ({"kind": "broken"} if fire else {})


def _burns(one: Point) -> Texts:
    """Say how hot it burns, and how fast the ideal gas is."""
    title = ("burns", "Flame, c*")
    if one.row["status"] != "ok":
        return _unknown(*title, str(one.row["status"]))
    flame, fast = (
        f"{one.text(key)} {one.show.unit(FIELDS[key].kind)}"
        for key in (_FLAME, _C_STAR)
    )
    return _card(*title, flame, f"c* {fast}, ideal")


_TITLES = {
    _pours: ("pours", "Pours?"),
    _sets: ("sets", "Sets?"),
    _case: ("case", "Case holds?"),
}
_NEEDS = {_pours: "[kitchen]", _sets: "[kitchen]", _case: "[motor]"}


# ----------------------------------------------------------------------------
# Against a base, by paired draws.


def better_of(base: str, found: Comparison | None, goal: str, show: Shown) -> Texts:
    """Say whether the first of two mixes is better than the second, by a column.

    `base` is empty where the bench has none; `found` None until it is compared.
    """
    title = ("better", f"Better than {base or 'base'}?")
    if not base:
        return _card(*title, "no base", "add a recipe to [recipes]")
    if found is None:
        return _card(*title, "\u2026", "")
    if _alike(found):
        return _card(*title, f"this is {base}", "")
    cell = found.cells[0][goal]
    told = f"{FIELDS[goal].named(show)}: {interval(cell, show)}"
    return _card(*title, cell.merit or cell.verdict, told)


def _alike(found: Comparison) -> bool:
    """Whether the first of two mixes is the second."""
    ends = [x for cell in found.cells[0].values() for x in cell.difference.interval]
    return not any(x < 0.0 or x > 0.0 for x in ends) and 0.0 in ends


def against(
    found: Comparison, held: tuple[Judged, ...], goal: str, show: Shown
) -> dict[str, Any]:
    """Return the differences that decide, of the first of two mixes and the second."""
    if _alike(found):
        words = f"This is {found.names[1]} itself: move the point to compare."
        return {"heads": [], "rows": [], "words": words}
    new, base = found.cells
    own = [PEAK if x.column == P95 else x.column for x in held]
    columns = [c for c in dict.fromkeys((*own, goal, *_DECIDING)) if c in new]
    return {
        "heads": ["", "new", found.names[1], "difference, 95 %", "verdict"],
        "rows": [
            [
                FIELDS[column].headed(show),
                *(_level(cells[column], show) for cells in (new, base)),
                _moved(new[column], show),
                verdict(new[column]),
            ]
            for column in columns[:_ROWS]
        ],
        "words": f"New less {found.names[1]}, a viscosity as so many times that of "
        f"{found.names[1]}. What both share, such as the pan, cancels.",
    }


def _moved(cell: Cell, show: Shown) -> str:
    """Write the interval of a difference; of what is known to a factor, a ratio."""
    ratio = FIELDS[cell.column].factor_of and cell.difference.interval != (0.0, 0.0)
    return interval(cell, show) + (" x" if ratio else "")


def _level(cell: Cell, show: Shown) -> str:
    row = {cell.column: cell.value, cell.column + INTERVAL: cell.interval}
    return FIELDS[cell.column].text(row, show)


# ----------------------------------------------------------------------------
# The plane around it.


def region_words(
    judged: Sequence[Judgement], kept: BoolArray, pressed: Sequence[FloatArray]
) -> str:
    """Say in a sentence what the areas of mixes hold.

    `pressed` is above 0 where the expected peak is above the case, and where only its
    95 % line is; empty without a motor.
    """
    return "; ".join(_areas(judged, kept, pressed)) + "."


def _areas(
    judged: Sequence[Judgement], kept: BoolArray, pressed: Sequence[FloatArray]
) -> Iterator[str]:
    shown = f"{numbers.count(len(kept), 'mix', 'mixes')} shown"
    if not judged:
        yield f"{shown}; the bench states no limits"
        return
    yield f"{shown}: {int(kept.sum()) or 'none'} keep all limits"
    if pressed:
        above, unknown = (int((x > 0.0).sum()) or "none" for x in pressed)
        yield f"the expected peak of {above} is above the case"
        yield f"of {unknown} it is not known well enough: burn strands there"
    for one in judged:
        if np.isnan(one.values).all():
            yield f"{FIELDS[one.limit.key].label} is not computed: {one.reasons[0]}"
