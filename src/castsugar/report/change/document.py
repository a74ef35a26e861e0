"""The pictures and the panel that a change record holds beside its tables."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from castsugar.comparison.change import Change
from castsugar.report.blocks.model import (
    Blanks,
    Block,
    Bullets,
    Cell,
    Document,
    Figure,
    Panel,
    Paragraph,
    Section,
)
from castsugar.report.change.answer import (
    amounts_section,
    answer_section,
    question_section,
)
from castsugar.report.change.doubt import doubt_section, overturn_section
from castsugar.report.change.effects import effects_section
from castsugar.report.change.evidence import cited, evidence_section, numbers_section
from castsugar.report.change.limits import limits_section
from castsugar.report.change.words import Asked
from castsugar.report.layout import solver_differences

# ----------------------------------------------------------------------------
# The pictures and the panel that a change record holds beside its tables.


@dataclass(frozen=True, slots=True, kw_only=True)
class Pictures:
    """Finished pictures, each where it was asked for and could be drawn.

    Attributes
    ----------
    map, traces, species, firing : Figure or None
    what_if : Panel or None
    missing : tuple of str
        Why one is not there.
    """

    map: Figure | None = None
    traces: Figure | None = None
    species: Figure | None = None
    firing: Figure | None = None
    what_if: Panel | None = None
    missing: tuple[str, ...] = ()


# ----------------------------------------------------------------------------
# The record of a change, from the question to the blanks for signatures.

_SECOND = "Second opinion"

#: So many cautions stand before the answer.
_GENERAL = 2

#: What a row says where the second solver did not solve it.
_NOT_ASKED = "not asked"

#: What is filled in by hand.
BLANKS = ("date", "batch", "prepared by", "read by (safety officer)", "remarks")


def change_document(
    change: Change, asked: Asked, pictures: Pictures | None = None
) -> Document:
    """Return the record of a change.

    Parameters
    ----------
    change : Change
    asked : Asked
    pictures : Pictures, optional
    """
    drawn = pictures or Pictures()
    base, new = change.mixes
    limits: list[Block] = [b for b in (drawn.map, drawn.what_if) if b is not None]
    sections = [
        question_section(change, asked),
        *first_section(asked),
        answer_section(change, asked),
        amounts_section(change),
        effects_section(change, asked),
        limits_section(change, asked.pressure, limits),
        *_pictured("firing", "Pressure against time", drawn.firing),
        *_pictured("directions", "One ingredient more or less", drawn.traces),
        evidence_section(change),
        doubt_section(change),
        overturn_section(change),
        second_section(change.rows),
        *_pictured("species", "What the chamber holds", drawn.species),
        cautions_section(asked),
        assumptions_section(asked, drawn.missing),
        reproduce_section(
            asked,
            seed=change.comparison.draws.seed,
            draws=change.comparison.draws.count,
        ),
        numbers_section(change, asked.sources),
        Section(key="signed", title="Read", blocks=(Blanks(labels=BLANKS),)),
    ]
    return Document(
        title="Record of a change of mix",
        subtitle=f"{base.name} \u2192 {new.name}",
        sections=tuple(sections),
        sources=cited(change, asked.sources),
        foot=foot(asked),
    )


def _pictured(key: str, title: str, block: Block | None) -> list[Section]:
    """Return a section of one picture; none without it."""
    if block is None:
        return []
    return [Section(key=key, title=title, blocks=(block,))]


def second_section(
    rows: tuple[Mapping[str, Any], ...], names: tuple[str, ...] = ("now", "new")
) -> Section:
    """Return what the second solver made of the mixes."""
    if all(str(row["confirmation"]) == _NOT_ASKED for row in rows):
        said = Paragraph(text="The second solver was not asked (--no-confirm).")
        return Section(key="second", title=_SECOND, blocks=(said,))
    items = []
    for name, row in zip(names, rows, strict=True):
        verdict = str(row["confirmation"])
        parts = (f"{name}: {verdict}", solver_differences(row))
        text = "; ".join(part for part in parts if part)
        tone = "good" if verdict == "confirmed" else "open"
        items.append(Cell(text=text, tone="bad" if verdict == "disputed" else tone))
    return Section(
        key="second",
        title=_SECOND,
        blocks=(
            Paragraph(
                text="Cantera solved the same mixes by a route of its own (its "
                "equilibrium solver, our bracketed search for states). It guards "
                "against errors of the solver, not of the data, which are the same."
            ),
            Bullets(items=tuple(items)),
        ),
    )


def first_section(asked: Asked) -> list[Section]:
    """Return the first cautions, which are the general ones, before any number."""
    if not asked.cautions:
        return []
    told = " ".join(caution.text for caution in asked.cautions[:_GENERAL])
    said = Paragraph(text=told, tone="strong")
    return [Section(key="first", title="Before anything else", blocks=(said,))]


def cautions_section(asked: Asked) -> Section:
    """Return the cautions that apply."""
    items = tuple(Cell(text=caution.text) for caution in asked.cautions)
    return Section(
        key="cautions", title="Cautions", blocks=(Bullets(items=items, warning=True),)
    )


def assumptions_section(asked: Asked, missing: tuple[str, ...] = ()) -> Section:
    """Return what was assumed, and what is not there."""
    items = tuple(Cell(text=text) for text in (*asked.assumptions, *missing))
    return Section(key="assumed", title="Assumed", blocks=(Bullets(items=items),))


def reproduce_section(asked: Asked, *, seed: int, draws: int) -> Section:
    """Return what gives the same document again, byte for byte."""
    lines = [
        f"command: {asked.command}",
        f"draws {draws}, seed {seed}",
        *(f"{name} {version}" for name, version in asked.versions.items()),
    ]
    told = [f"{name}: SHA-256 begins {digest}" for name, digest in asked.files.items()]
    lines[1:1] = told
    return Section(
        key="reproduce",
        title="To get the same record again",
        blocks=(
            Paragraph(
                text="The same command, files and versions give the same bytes; the "
                "record holds no date of its own."
            ),
            Bullets(items=tuple(Cell(text=line) for line in lines)),
        ),
    )


def foot(asked: Asked) -> tuple[str, ...]:
    """Return the last line of a document."""
    first = asked.versions.get("castsugar", "")
    data = asked.versions.get("species_data", "")
    return (f"castsugar {first}, species data {data}. A model; no claim of safety.",)
