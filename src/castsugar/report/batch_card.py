"""The launch-day card of a batch: fire, or do not."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import Any

from castsugar.records.batch import Batch
from castsugar.records.launch import FIRE_NOT, KEPT, LOOK, UNKNOWN, Day, Rule
from castsugar.report import numbers
from castsugar.report.batch import Told, state
from castsugar.report.document import Part
from castsugar.report.field import TEXT, Field
from castsugar.report.screen import (
    Annex,
    Blanks,
    Finding,
    Screen,
    Table,
    Ticks,
    notes,
)
from castsugar.report.shown import Shown

#: Rule -> what is judged, kind, unit in files, from SI to that unit.
_RULES: dict[str, tuple[str, str, str, float, float]] = {
    "batch": ("record", "number", "", 1.0, 0.0),
    "mass": ("mass gained", "mass", "g", 1e3, 0.0),
    "storage": ("days stored", "number", "d", 1.0, 0.0),
    "humidity": ("humidity of the store", "fraction", "%", 100.0, 0.0),
    "temperature": ("temperature", "temperature", "C", 1.0, -273.15),
    "pressure": ("peak pressure p95", "pressure", "MPa", 1e-6, 0.0),
}

#: Verdict of a rule -> status word.
_STATUS = {FIRE_NOT: "DO NOT", LOOK: "CAUTION", UNKNOWN: "CANNOT TELL", KEPT: "KEPT"}

#: What is looked at with the eyes. Common practice, no source.
_LOOK = (
    "no crack, void, chip or loose bond",
    "not soft, sticky, swollen or mouldy",
    "grains, nozzle and case are those of the batch page",
    "igniter not connected; key with you",
    "everybody behind the barrier or at the distance of the code",
)

FIELDS = (
    Field(key="rule", label="rule", kind=TEXT, meaning="what is judged"),
    Field(
        key="verdict",
        label="verdict",
        kind=TEXT,
        meaning="do not fire, look, not known, or kept",
    ),
    Field(key="unit", label="unit", kind=TEXT, meaning="of the three numbers"),
    Field(key="value", label="found", kind="number", meaning="on the day"),
    Field(key="low", label="from", kind="number", meaning="lowest allowed"),
    Field(key="high", label="to", kind="number", meaning="highest allowed"),
    Field(key="why", label="why", kind=TEXT, meaning="where numbers do not say it"),
    Field(key="source", label="source", kind=TEXT, meaning="of the limit"),
)

#: The document ``castsugar.batch_card/2``.
PARTS: dict[str, Part] = {
    "id": Part(meaning="of the batch"),
    "date": Part(meaning="of the firing"),
    "mass_g": Part(meaning="grains now"),
    "cast_mass_g": Part(meaning="grains as cast"),
    "uptake_percent": Part(meaning="water that they may have taken up"),
    "rules": Part(meaning="what each says", fields=FIELDS, many=True),
}


def card_screen(
    batch: Batch,
    day: Day,
    rules: Sequence[Rule],
    told: Told,
    show: Shown,
) -> Screen:
    """Return the card; its warnings are those of the batch."""
    rows = tuple(_cells(rule, show) for rule in rules)
    sources = tuple(f"{_RULES[r.name][0]}: {r.source}" for r in rules)
    mass = show.unit("mass")
    return Screen(
        command="batch",
        title=f"Launch-day card {day.date}, batch {batch.id}, {state(batch)}",
        findings=tuple(_findings(rules, day, show)),
        blocks=(
            Table(
                heads=("", "found", "allowed", ""), rows=rows, left=frozenset({0, 3})
            ),
        ),
        cautions=told.cautions.lines,
        cautions_count=len(told.cautions.lines) + told.cautions.rest,
        next=told.next,
        invented=told.invented,
        bench=told.bench,
        sheet=(
            Ticks(_LOOK, "Look, and tick; what cannot be ticked is not fired"),
            Blanks(
                (
                    f"grains weighed today, {mass}",
                    f"grains, {show.unit('temperature')}",
                    "decision: fire / do not",
                    "signature",
                )
            ),
        ),
        annexes=(Annex("Where the limits come from", (notes(sources),)),),
    )


def _findings(rules: Sequence[Rule], day: Day, show: Shown) -> Iterator[Finding]:
    """Say what forbids firing, what asks for a look, what is not known."""
    for rule in rules:
        if rule.verdict in (FIRE_NOT, LOOK):
            forbids = "fire: " if rule.verdict == FIRE_NOT else ""
            text = f"{forbids}{_sentence(rule, day, show)}."
            if not forbids:
                text = text[:1].upper() + text[1:]
            yield Finding(_STATUS[rule.verdict], text, _values(rule))
    unknown = [f"{_RULES[r.name][0]} ({r.why})" for r in rules if r.verdict == UNKNOWN]
    if unknown:
        yield Finding("CANNOT TELL", f"Not judged: {'; '.join(unknown)}.")
    kept = [_RULES[r.name][0] for r in rules if r.verdict == KEPT]
    if kept:
        forbidden = any(r.verdict == FIRE_NOT for r in rules)
        end = "" if forbidden else "; no rule of this card that was judged forbids it"
        yield Finding("KEPT", f"Within its limit: {numbers.listed(kept)}{end}.")


def _sentence(rule: Rule, day: Day, show: Shown) -> str:
    """Say in words what a rule found."""
    _, found, allowed, _ = _cells(rule, show)
    high = allowed.rpartition("to ")[2]
    if rule.name == "mass":
        now, then = (
            show.amount("mass", 1e3 * (m or math.nan), 4)
            for m in (day.mass, day.cast_mass)
        )
        if rule.verdict == LOOK:
            return (
                f"the grains lost mass ({then} as cast, {now} now): a chip or crack "
                "adds burning surface, look for it"
            )
        share = numbers.typed(100.0 * day.uptake)
        return (
            f"the grains gained {found} {show.unit('mass')} ({then} as cast, {now} "
            f"now); scale and {share} % of water allow {high} {show.unit('mass')}"
        )
    if rule.name == "storage":
        return f"stored {found} days, more than {high}: look for damp"
    if rule.name == "humidity":
        return f"the store had {found} % humidity; above {high} % grains draw water"
    if rule.name == "temperature":
        unit = show.unit("temperature")
        return (
            f"grains at {found} {unit}; strands were burned at temperatures that "
            f"cover {allowed} {unit}"
        )
    if rule.name == "pressure":
        unit = show.unit("pressure")
        return f"95 of 100 draws stay below {found} {unit}, allowed is {high} {unit}"
    return rule.why


def _shown(rule: Rule) -> tuple[str, list[float]]:
    """Return kind, and value, low and high in the unit of its key."""
    _, kind, _, factor, offset = _RULES[rule.name]
    return kind, [factor * x + offset for x in (rule.value, rule.low, rule.high)]


def _cells(rule: Rule, show: Shown) -> tuple[str, str, str, str]:
    """Return label, found, allowed, verdict."""
    label = _RULES[rule.name][0]
    kind, numbers_ = _shown(rule)
    value, low, high = (numbers.significant(show.number(kind, x)) for x in numbers_)
    if kind == "number" and math.isfinite(rule.value):
        value, high = numbers.typed(rule.value), numbers.typed(rule.high)
    allowed = f"{low} to {high}"
    if math.isnan(rule.low):
        allowed = numbers.DASH if math.isnan(rule.high) else f"to {high}"
    head = label if kind == "number" else show.headed(label, kind)
    word = f"{_STATUS[rule.verdict]}"
    return head, value, allowed, word


def _values(rule: Rule) -> dict[str, float]:
    unit = _RULES[rule.name][2]
    name = f"{rule.name}_{unit}".replace("%", "percent").rstrip("_")
    _, (value, _, high) = _shown(rule)
    return {name: value, f"{rule.name}_allowed_{unit}".replace("%", "percent"): high}


def card_parts(batch: Batch, day: Day, rules: Sequence[Rule]) -> dict[str, Any]:
    """Return the document of a card, without what all documents have."""
    return {
        "id": batch.id,
        "date": day.date,
        "mass_g": None if day.mass is None else 1e3 * day.mass,
        "cast_mass_g": None if day.cast_mass is None else 1e3 * day.cast_mass,
        "uptake_percent": 100.0 * day.uptake,
        "rules": card_rows(rules),
    }


def card_rows(rules: Sequence[Rule]) -> list[dict[str, Any]]:
    """Return what every rule says, units named."""
    rows = []
    for rule in rules:
        _, (value, low, high) = _shown(rule)
        rows.append(
            {
                "rule": _RULES[rule.name][0],
                "verdict": rule.verdict,
                "unit": _RULES[rule.name][2],
                "value": value,
                "low": low,
                "high": high,
                "why": rule.why,
                "source": rule.source,
            }
        )
    return rows
