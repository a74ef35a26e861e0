"""The launch-day card of a batch: fire, or do not."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from functools import partial
from typing import Any

from castsugar.constants import COVERAGE
from castsugar.motor.real_grain import RealGrains
from castsugar.records.batch import Batch
from castsugar.records.launch import (
    FIRE_NOT,
    KEPT,
    LOOK,
    UNKNOWN,
    VOIDS,
    Card,
    Day,
    Rule,
)
from castsugar.report import numbers
from castsugar.report.batch import Told, state
from castsugar.report.document import Part, part, read_parts
from castsugar.report.field import TEXT, Banded, fields, listed, row_in_order, row_of
from castsugar.report.screen import (
    Annex,
    Blanks,
    Finding,
    Paragraph,
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
    "fit": ("fit", "number", "", 1.0, 0.0),
    "voids": ("most voids", "fraction", "%", 100.0, 0.0),
    "sisters": ("lighter than its sisters", "fraction", "%", 100.0, 0.0),
    "peak": ("peak pressure expected", "pressure", "MPa", 1e-6, 0.0),
    "pressure": ("peak pressure p95", "pressure", "MPa", 1e-6, 0.0),
    "causes": ("peak pressure raised", "pressure", "MPa", 1e-6, 0.0),
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

FIELDS = fields(
    ("rule", "rule", TEXT, "what is judged"),
    ("verdict", "verdict", TEXT, "do not fire, look, not known, or kept"),
    ("unit", "unit", TEXT, "of the three numbers"),
    ("value", "found", "number", "on the day"),
    ("low", "from", "number", "lowest allowed"),
    ("high", "to", "number", "highest allowed"),
    ("why", "why", TEXT, "where numbers do not say it"),
    ("source", "source", TEXT, "of the limit"),
)

GRAINS = fields(
    ("grain", "grain", "number", "as typed, from 1"),
    ("outer_mm", "outer", "length", "diameter"),
    ("core_mm", "core", "length", "diameter"),
    ("length_mm", "length", "length", "of the grain"),
    ("mass_g", "mass", "mass", "by the scale"),
    ("density_kg_m3", "density", "density", "mass over volume"),
    ("density_ratio_percent", "of theoretical", "fraction", "density over that of the "
     "mix without voids"),
    ("voids_percent", "voids", "fraction", "what is missing to it"),
)  # fmt: skip

#: The document ``castsugar.batch_card/2``: of a batch and its card.
PARTS: dict[str, Part] = {
    "id": part("of the batch", "id"),
    "date": part("of the firing", lambda _, card: card.day.date),
    "mass_g": part("grains now", lambda _, card: _grams(card.day.mass)),
    "cast_mass_g": part("grains as cast", lambda _, card: _grams(card.day.cast_mass)),
    "uptake_percent": part(
        "water that they may have taken up", lambda _, card: 100.0 * card.day.uptake
    ),
    "rules": part("what each says", lambda _, card: card_rows(card.rules), FIELDS),
    "density_ratio_percent": part(
        "of all grains as measured, and its 95 % band",
        lambda _, card: list(_share(card.grains)) if card.grains else None,
    ),
    "kn_max": part("of the grains as measured", lambda _, card: card.kn_max),
    "kn_max_drawn": part("of the grain as drawn", lambda _, card: card.kn_drawn),
    "grains": part("as measured", lambda _, card: grain_rows(card.grains), GRAINS),
}

card_parts = partial(read_parts, PARTS)


def _grams(mass: float | None) -> float | None:
    return None if mass is None else 1e3 * mass


def card_rows(rules: Sequence[Rule]) -> list[dict[str, Any]]:
    """Return what every rule says, units named."""
    found = []
    for rule in rules:
        told = dict(zip(("value", "low", "high"), _shown(rule)[1], strict=True))
        label, _, unit, _, _ = _RULES[rule.name]
        found.append(row_of(FIELDS, rule, rule=label, unit=unit, **told))
    return found


def grain_rows(grains: RealGrains | None) -> list[dict[str, Any]]:
    """Return every grain as measured, with 95 % bands, units named."""
    if grains is None:
        return []
    found = []
    shares, us = 100.0 * grains.shares, 100.0 * grains.shares_u
    for number, one in enumerate(grains.grains, 1):
        share, step = float(shares[number - 1]), COVERAGE * float(us[number - 1])
        shape, band = one.shape, (share - step, share + step)
        sizes = shape.outer_diameter, shape.core_diameter, shape.segment_length
        told = (number, *(1e3 * x for x in (*sizes, one.mass)), one.density)
        found.append(row_in_order(GRAINS, *told, (share, band), 100.0 - share))
    return found


def _as_measured(card: Card) -> str:
    """Return in a line what the grains are together."""
    if card.grains is None:
        return ""
    share, low, high = numbers.with_band(*_share(card.grains))
    many = numbers.count(len(card.grains.grains), "grain")
    text = f"{many}: {share} % of theoretical density ({low} to {high})"
    if math.isnan(card.kn_max):
        return text
    ends = [numbers.significant(kn) for kn in (card.kn_max, card.kn_drawn)]
    return f"{text}, Kn max {ends[0]}, drawn {ends[1]}"


def _share(grains: RealGrains) -> Banded:
    """Return the share of the theoretical density of all, with its 95 % band. [%]"""
    value, step = 100.0 * grains.share, 100.0 * COVERAGE * grains.share_u
    return Banded(value, value - step, value + step)


def _measured(grains: RealGrains | None, show: Shown) -> Iterator[Annex]:
    if grains is not None:
        solid = show.amount("density", grains.solid, 4)
        size = show.amount("length", 1e3 * grains.size_u, 2)
        mass = show.amount("mass", 1e3 * grains.mass_u, 2)
        text = (
            f"Theoretical density {solid}: the mix as cast, without voids. Standard "
            f"uncertainties: sizes {size} each, masses {mass}. A core off its centre, "
            "chips and a taper are not in the pressure."
        )
        table = listed(GRAINS, grain_rows(grains), show)
        yield Annex("The grains as measured", (table, Paragraph(text)))


def card_screen(batch: Batch, card: Card, told: Told, show: Shown) -> Screen:
    """Return the card; its warnings are those of the batch."""
    day, rules = card.day, card.rules
    rows = tuple(_cells(r, show) for r in rules if _tells(r))
    sources = tuple(f"{_RULES[r.name][0]}: {r.source}" for r in rules)
    heads = ("", "found", "allowed", "")
    blanks = (
        f"grains weighed today, {show.unit('mass')}",
        f"grains, {show.unit('temperature')}",
        "decision: fire / do not",
        "signature",
    )
    return Screen(
        command="batch",
        title=f"Launch-day card {day.date}, batch {batch.id}, {state(batch)}",
        findings=tuple(_findings(batch, rules, day, show)),
        conditions=_as_measured(card),
        blocks=(Table(heads=heads, rows=rows, left=frozenset({0, 3})),),
        sheet=(
            Ticks(_LOOK, "Look, and tick; what cannot be ticked is not fired"),
            Blanks(blanks),
        ),
        annexes=(
            *_measured(card.grains, show),
            Annex("Where the limits come from", (notes(sources),)),
        ),
        **told.ending(),
    )


def _findings(
    batch: Batch, rules: Sequence[Rule], day: Day, show: Shown
) -> Iterator[Finding]:
    if batch.outcome:
        text = f"This batch was closed as {batch.outcome}: which grains are these?"
        yield Finding("CAUTION", text)
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
    kept = [_kept(r) for r in rules if r.verdict == KEPT]
    if kept:
        forbidden = any(r.verdict == FIRE_NOT for r in rules)
        end = "" if forbidden else "; no rule of this card that was judged forbids it"
        yield Finding("KEPT", f"Within its limit: {numbers.listed(kept)}{end}.")


def _kept(rule: Rule) -> str:
    """Return what is kept; of a pressure, of which batch."""
    label = _RULES[rule.name][0]
    return f"{label} of {rule.why}" if rule.name == "pressure" else label


#: Rule -> what it found, in words.
_SENTENCES = {
    "storage": "stored {found} days, more than {high}: look for damp",
    "humidity": "the store had {found} % humidity; above {high} % grains draw water",
    "temperature": "grains at {found} {unit}; strands were burned at temperatures that "
    "cover {allowed} {unit}",
    "voids": "{why} has {found} % voids, {high} % are allowed: above "
    f"{numbers.typed(100.0 * VOIDS[1])} % pores join and burn inside",
    "sisters": "{why} is {found} % less dense than its sisters, more than {high} %: "
    "look for voids and a wrong size",
    "peak": "a peak of {found} {unit} is expected of {why}, allowed is {high} {unit}",
    "pressure": "95 of 100 firings of {why} stay below {found} {unit}, allowed is "
    "{high} {unit}",
    "causes": "{why} takes the expected peak to {found} {unit}, allowed is {high} "
    "{unit}",
}
_LOST = (
    "the grains lost mass ({then} as cast, {now} now): a chip or crack adds burning "
    "surface, look for it"
)
_GAINED = (
    "the grains gained {found} {unit} ({then} as cast, {now} now); scale and {share} % "
    "of water allow {high} {unit}"
)


def _sentence(rule: Rule, day: Day, show: Shown) -> str:
    _, found, allowed, _ = _cells(rule, show)
    told = {
        "why": rule.why,
        "found": found,
        "allowed": allowed,
        "high": allowed.rpartition("to ")[2],
    }
    told["unit"] = show.unit(_RULES[rule.name][1])
    if rule.name == "mass":
        for name, mass in (("now", day.mass), ("then", day.cast_mass)):
            told[name] = show.amount("mass", 1e3 * (mass or math.nan), 4)
        told["share"] = numbers.typed(100.0 * day.uptake)
        return (_LOST if rule.verdict == LOOK else _GAINED).format(**told)
    sentence = _SENTENCES.get(rule.name)
    return sentence.format(**told) if sentence else show.said(rule.why)


def _tells(rule: Rule) -> bool:
    """Return whether a rule has a number to show, or one that is missing."""
    return not (math.isnan(rule.value) and math.isnan(rule.high))


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
    return head, value, allowed, _STATUS[rule.verdict]


def _values(rule: Rule) -> dict[str, float]:
    unit = _RULES[rule.name][2].replace("%", "percent")
    _, (value, _, high) = _shown(rule)
    name = f"{rule.name}_{unit}".rstrip("_")
    return {name: value, f"{rule.name}_allowed_{unit}": high}
