"""What ``castsugar cautions`` answers: those that a number raises, then the others."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from castsugar.data.records import Caution, Facts, Source
from castsugar.frozen import dataclass
from castsugar.report.cautions import LEVELS, line_of
from castsugar.report.document import Part
from castsugar.report.field import TEXT, keyed
from castsugar.report.screen import (
    Annex,
    Block,
    Finding,
    Listing,
    Paragraph,
    Screen,
    Table,
)
from castsugar.report.shown import OF_RULE, Shown


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """Cautions that were asked for.

    `known`: so many there are in all; `facts`: what raises some of them, empty without
    a mix; `about`: what they are about, for the title.
    """

    cautions: tuple[Caution, ...]
    known: int
    facts: Facts
    about: str
    sources: Mapping[str, Source]
    next: str
    invented: tuple[str, ...] = ()
    bench: str = ""


def cautions_screen(found: Asked, show: Shown) -> Screen:
    """Return the cautions: those that a number raises first, then by their level."""
    say = show.rule
    levels = (*LEVELS, "general")
    ordered = sorted(found.cautions, key=lambda c: levels.index(c.level))
    raised = [c for c in ordered if c.raised_by(found.facts) is not None]
    plain = [c for c in ordered if c not in raised]
    room = max(_LINES - 2 * len(raised), 0)
    rows = tuple((_MARKS.get(c.level, "!"), _short(c, show)) for c in plain[:room])
    blocks: list[Block] = []
    if rows:
        blocks = [Table(heads=("", ""), rows=rows, left=frozenset({0, 1}))]
    if more := len(plain) - len(rows):
        blocks.append(Paragraph(f"{more} more, and the whole texts: --full"))
    return Screen(
        command="cautions",
        title=f"Cautions{found.about}: {len(found.cautions)} of {found.known}",
        findings=tuple(
            Finding("CAUTION", line_of(c, found.facts, say)) for c in raised
        ),
        blocks=tuple(blocks),
        next=found.next,
        invented=found.invented,
        bench=found.bench,
        annexes=tuple(_in_full(found)),
    )


#: What raises a rule, as its line begins where no number is known.
_ABOUT = {
    "bulk_temperature": "Bulk",
    "wall_temperature": "Pan wall",
    "batch_mass": "One batch",
    "water_as_cast": "Water as cast",
    "inert_fraction": "Inert matter",
    "propellant_mass": "Propellant",
    "installed_mass": "Rocket with its motor",
    "total_impulse": "Impulse",
    "grain_temperature": "Grain",
    "pressure_amplification": "Per cent of pressure for a per cent of area",
}

#: Cautions that a screen has room for.
_LINES = 17

#: How a line of the list begins: what stops everything stands out.
_MARKS = {"stop": "!!"}


def _short(caution: Caution, show: Shown) -> str:
    """Return the short text of a rule that no number raises."""
    if "{" not in caution.short:
        return caution.short
    kind = OF_RULE.get(caution.unit, "number")
    limit = show.typed(kind, caution.limit)
    sense = "below" if caution.operator == "<" else "above"
    rest = caution.short.format(value=limit, limit=limit).partition(": ")[2]
    return f"{_ABOUT[caution.quantity]} {sense} {limit}: {rest}"


def _in_full(found: Asked) -> Iterator[Annex]:
    """Yield the whole texts by topic, each with its level and its source."""
    for topic in dict.fromkeys(c.topics[0] for c in found.cautions):
        yield Annex(
            topic.capitalize(),
            (
                Listing(
                    tuple(
                        f"! {c.text} [{c.level}; {_ground(c, found.sources)}]"
                        for c in found.cautions
                        if c.topics[0] == topic
                    )
                ),
            ),
        )


def _ground(caution: Caution, sources: Mapping[str, Source]) -> str:
    """Say on what a caution rests."""
    if caution.status == "common practice":
        return "common practice, no source"
    return f"{sources[caution.source].citation.rstrip('.')}, {caution.status}"


#: What JSON and CSV say of a rule.
RULE_FIELDS = keyed(
    ("key", TEXT, "of the rule"),
    ("topics", TEXT, "of the commands that show it"),
    ("level", TEXT, "stop, strong, caution or general"),
    ("quantity", TEXT, "what raises it; none: it always applies"),
    ("operator", TEXT, "how the quantity is held against the limit"),
    ("limit", "number", "in the unit of the rule"),
    ("unit", TEXT, "of the limit"),
    ("short", TEXT, "one line of a screen"),
    ("text", TEXT, "in full"),
    ("source", TEXT, "key of the source"),
    ("status", TEXT, "published and read, published and not read, or common practice"),
)
RULE_PARTS = {"rules": Part(meaning="one a caution", fields=RULE_FIELDS, many=True)}


def caution_rows(cautions: Sequence[Caution]) -> list[dict[str, Any]]:
    """Return cautions as JSON has them, the limit in its unit."""
    rows = []
    for caution in cautions:
        row = {one.key: getattr(caution, one.key) for one in RULE_FIELDS}
        row["topics"] = ", ".join(caution.topics)
        row["limit"] = caution.limit if caution.quantity else None
        rows.append(row | {k: row[k] or None for k in ("quantity", "operator", "unit")})
    return rows
