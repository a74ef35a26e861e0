"""The kitchen: what becomes of mixes in the pan, what is believed and measured."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from castsugar.data.records import Facts
from castsugar.kitchen.glass import set_word
from castsugar.kitchen.handling import Handling
from castsugar.kitchen.heat import FACTOR
from castsugar.kitchen.parameters import Kitchen
from castsugar.kitchen.sugars import SETS, SHRINKS
from castsugar.kitchen.suspension import like
from castsugar.report import numbers
from castsugar.report.cautions import do_nots
from castsugar.report.document import Part
from castsugar.report.field import FIELDS, Row, chosen, crowded
from castsugar.report.kitchen_handling import (
    Handled,
    month_gains,
    pour_time,
)
from castsugar.report.limit_words import (
    POUR,
    SOLIDS,
    Judged,
    finding_of,
    findings_of_many,
    limit_cell,
    limit_rows,
)
from castsugar.report.mix_words import composition, own_name
from castsugar.report.mixes import Mixes, flags, quantities
from castsugar.report.numbers import capitalized
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

# ----------------------------------------------------------------------------
# kitchen judge.

#: Columns of the table that a kitchen fills, those of the mix before them.
KEYS = (
    "name",
    "water_as_weighed_percent",
    "water_as_cast_percent",
    "density_kg_m3",
    "liquid_boils_C",
    "undissolved_sugar_percent",
    "relative_solids_pour",
    "pour_viscosity_Pa_s",
    "pour_viscosity_p10_Pa_s",
    "pour_viscosity_p90_Pa_s",
    "flow_class",
    "pours_probability",
    "pour_window_low_C",
    "pour_window_high_C",
    "relative_solids_20C",
    "binder_glass_transition_C",
    "density_ratio",
    "density_ratio_u",
    "sugar_degraded_percent",
    "storage_humidity_max_percent",
    "flags",
)
JUDGED_FIELDS = chosen(KEYS)

#: What stands in front of the reason of a mix without a kitchen model.
_GAP = "kitchen not computed: "

_WINDOW = ("pour_window_low_C", "pour_window_high_C")


def judge_screen(
    found: Mixes, handled: Handled, show: Shown, *, facts: Facts, least: str
) -> Screen:
    """Return what ``kitchen judge`` answers; `facts` are those of the pan."""
    alone = len(found.mixes) == 1
    told = [*do_nots(facts, show), *_gaps(found, show)]
    if not handled.kitchen.too_hot:
        one = findings_of_one(found.rows[0], found.judged[0], handled.each[0], show)
        told += one if alone else _many(found, show)
    computed = any(not _gap(row) for row in found.rows)
    row = found.rows[0]
    table = _in_the_pan(row, show) if alone else _table(found, show)
    return Screen(
        command="kitchen",
        title=f"Kitchen: {_named(found)}",
        findings=tuple(told),
        conditions=found.conditions(show),
        blocks=(table,) if computed else (),
        least_sure=least if computed else "",
        cautions=found.cautions.lines,
        cautions_count=found.cautions.count,
        next=found.next,
        invented=found.invented,
        bench=found.bench,
        annexes=tuple(_annexes(found, handled, show)),
    )


def cook_words(kitchen: Kitchen, show: Shown) -> str:
    """Say how it was cooked, and under what air."""
    cook = capitalized(show.cook(kitchen.cook))
    air = show.amount("air pressure", 1e-3 * kitchen.air_pressure)
    tapped = "; mould tapped" if kitchen.tap else ""
    return f"{cook}; air {air}{tapped}; bands hold 95 of 100 draws"


def _named(found: Mixes) -> str:
    """Return what is in the pan."""
    if len(found.mixes) > 1:
        return ", ".join(found.names)
    name, told = own_name(found.mixes[0]), composition(found.mixes[0])
    return f"{name} ({told})" if name else told


def _gap(row: Row) -> str:
    """Return why a kitchen says nothing of a mix; empty where it does."""
    return _said(row, _GAP)


def _gaps(found: Mixes, show: Shown) -> Iterator[Finding]:
    """Yield the mixes that a kitchen has no model for, one line each."""
    for name, row in zip(found.names, found.rows, strict=True):
        why = _gap(row)
        if why.startswith("no model"):
            whose = f"{name}: " if len(found.mixes) > 1 else ""
            yield Finding("CANNOT TELL", f"{whose}no kitchen {why.removeprefix('no ')}")
        elif why and not why.startswith("no verdict above"):
            yield Finding("CANNOT TELL", f"{name}: {why}")


def findings_of_one(
    row: Row, judged: Sequence[Judged], handled: Handling | None, show: Shown
) -> Iterator[Finding]:
    """Yield what becomes of one mix: limits, window, setting, storing."""
    if handled is None:
        return
    limits = {one.column: one for one in judged}
    yield _pours(row, limits.get(POUR), show)
    for column, one in limits.items():
        if column not in (POUR, SOLIDS):
            yield finding_of(one, row, show)
    yield _window(row, handled, show)
    yield _sets(row, limits.get(SOLIDS), handled, show)
    if mind := _said(row, SHRINKS):
        yield Finding("CAUTION", f"{SHRINKS.capitalize()}{mind}.")


def _pours(row: Row, limit: Judged | None, show: Shown) -> Finding:
    """Say how often it pours, how thick it is, and what that is like."""
    eta = row[POUR]
    told, band = FIELDS[POUR].cells(row, show)
    known = f", about like {like(eta)}" if like(eta) else ""
    median = f"Median {told} Pa s{known} ({band})." if math.isfinite(eta) else ""
    thin = math.isfinite(FIELDS[POUR].band(row)[0])
    median = median or f"Most draws jam{f' ({band})' if thin else ''}."
    if crowded(row):
        median = f"Too crowded for a number: {told}."
    if limit is not None:
        first = finding_of(limit, row, show)
        return Finding(first.status, f"{first.text} {median}", first.values)
    chance = row["pours_probability"]
    text = f"Pours in {numbers.of_100(chance)} of 100 draws (below "
    text += f"{show.typed('viscosity', 10.0)}). {median}"
    return Finding("RESULT", text, {"pours_probability": chance, POUR: eta})


def _window(row: Row, handled: Handling, show: Shown) -> Finding:
    """Say where it pours, and for how long off the heat, else where it boils."""
    low, high = (row[key] for key in _WINDOW)
    boils = row["liquid_boils_C"]
    tail = ""
    if math.isfinite(boils):
        tail = f"; boils at {show.amount('temperature', boils)}"
    values = {key: row[key] for key in (*_WINDOW, "liquid_boils_C")}
    if told := pour_time(handled):
        tail = f"; {told}"
        values["pours_off_the_heat_s"] = handled.pourable
    if not math.isfinite(low):
        text = "Pours nowhere more likely than not while the sugar keeps its limit"
        return Finding("RESULT", f"{text}{tail}.", values)
    text = f"Pours more likely than not from {show.bare('temperature', low)} to "
    return Finding("RESULT", f"{text}{show.amount('temperature', high)}{tail}.", values)


def _said(row: Row, head: str) -> str:
    """Return what a flag says behind its head; empty without it."""
    said = str(row.get("flags") or "").split("; ")
    return next((f.removeprefix(head) for f in said if f.startswith(head)), "")


def _sets(row: Row, limit: Judged | None, handled: Handling, show: Shown) -> Finding:
    """Say how it sets, and how much water it draws."""
    solids = FIELDS[SOLIDS]
    told, band = solids.cells(row, show)
    store = f"Store sealed: {month_gains(handled)}."
    values = {SOLIDS: row[SOLIDS], "uptake": handled.to_dict()["uptake"]}
    if math.isnan(row[SOLIDS]):
        how, asked = _said(row, SETS), "No relative solids for your limit. "
        status = "CANNOT TELL" if how.startswith("cannot") else "RESULT"
        text = f"Setting: {how}. {asked if limit else ''}{store}"
        return Finding(status, text, values)
    text = f"Sets {set_word(row[SOLIDS]).removeprefix('stays ')}: {solids.named(show)} "
    if limit is None:
        return Finding("RESULT", f"{text}{told} ({band}). {store}", values)
    first = finding_of(limit, row, show)
    bound = limit_cell(limit, show)
    return Finding(first.status, f"{text}{told} ({band}), {bound}. {store}", values)


def _many(found: Mixes, show: Shown) -> Iterator[Finding]:
    """Yield what became of the limits; without, which mix pours most often."""
    told = [i for i, row in enumerate(found.rows) if not _gap(row)]
    names = [found.names[i] for i in told]
    rows = [found.rows[i] for i in told]
    if any(found.judged):
        yield from findings_of_many(names, [found.judged[i] for i in told], rows, show)
    elif rows:
        chances = [row["pours_probability"] for row in rows]
        most, least = (chances.index(end(chances)) for end in (max, min))
        text = f"{names[most]} pours most often, in {numbers.of_100(chances[most])} of "
        text += f"100 draws; {names[least]} in {numbers.of_100(chances[least])}."
        yield Finding("RESULT", text)


def _in_the_pan(row: Row, show: Shown) -> Block:
    """Return the rest of what decides, of one mix."""

    def told(key: str) -> str:
        return FIELDS[key].text(row, show)

    factor = numbers.typed(FACTOR)
    return Paragraph(
        f"relative solids at the pour {told('relative_solids_pour')} (jams at 1); "
        f"sugar undissolved {told('undissolved_sugar_percent')} %; water "
        f"{told('water_as_weighed_percent')} to {told('water_as_cast_percent')} %; "
        f"sugar degraded {told('sugar_degraded_percent')} % (factor {factor})"
    )


def _table(found: Mixes, show: Shown) -> Table:
    """Return several mixes, going down."""
    degree = show.unit("temperature")
    viscosity, solids = (FIELDS[key] for key in (POUR, SOLIDS))
    lines = []
    for name, row in zip(found.names, found.rows, strict=True):
        low, high = (row[key] for key in _WINDOW)
        window = numbers.DASH
        if math.isfinite(low):
            ends = (show.bare("temperature", t) for t in (low, high))
            window = " to ".join(ends)
        lines.append(
            (
                name,
                numbers.of_100(row["pours_probability"]),
                *viscosity.cells(row, show),
                window,
                *solids.cells(row, show),
            )
        )
    heads = (
        "",
        "pours\nof 100",
        "viscosity\nPa s",
        "\n95 % band",
        f"pours from\nto, {degree}",
        f"solids\nat {show.typed('temperature', 20.0)}",
        "\n95 % band",
    )
    return Table(
        heads=heads,
        rows=tuple(lines),
        drop=(6, 3),
        spare=max(len(lines) - 4, 0),
        of="mixes",
    )


def _annexes(
    found: Mixes,
    handled: Handled,
    show: Shown,
) -> Iterator[Annex]:
    """Yield all quantities, what was assumed, and what is special about a mix."""
    fields = [f for f in JUDGED_FIELDS if f.key not in ("name", "flags")]
    if table := quantities(found, fields, show):
        note = (
            f"Pours: below {show.typed('viscosity', 10.0)} and not crowded. From a "
            "relative solids of 1 on a grain is firm once the sugar has crystallised, "
            "in hours to days; derived, untested."
        )
        yield Annex("In the pan and after", (table, Paragraph(note)))
    yield from handled.annexes(found.names, found.rows, show)
    yield from flags(found)
    yield Annex("Assumed", (Listing(found.notes),))


CONTRIBUTIONS = Part(
    meaning="share of each parameter in the uncertainty of the pour viscosity of the "
    "first mix with a model"
)

#: What the JSON of ``kitchen judge`` holds.
JUDGED_PARTS = {
    "mixes": Part(meaning="one a mix", fields=JUDGED_FIELDS, many=True),
    "limits": Part(meaning="of the bench on columns of the kitchen, one a mix"),
    "contributions": CONTRIBUTIONS,
    "handling": Part(
        meaning="what to expect of each mix in its pan, mould and store, null without "
        "a model; a gain is null where there is no end or it is not known"
    ),
}


def judge_parts(
    found: Mixes, shares: Mapping[str, float], handled: Handled
) -> dict[str, Any]:
    """Return the numbers of ``kitchen judge``."""
    return {
        "mixes": [dict(row) for row in found.rows],
        "limits": limit_rows([m.name for m in found.mixes], found.judged),
        "contributions": dict(shares),
        "handling": [None if one is None else one.to_dict() for one in handled.each],
    }
