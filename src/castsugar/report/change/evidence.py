"""What the evidence is, and where every number is from."""

from __future__ import annotations

import math
import re
from collections import Counter
from collections.abc import Mapping, Sequence

from castsugar.comparison.change import Change
from castsugar.comparison.evidence import STANDINGS, Evidence
from castsugar.data.records import Source
from castsugar.report.blocks.model import Bullets, Cell, Paragraph, Section, Table

#: A source in the words of a note: its key in brackets.
_KEY = re.compile(r"\(([a-z0-9-]+)\)")

#: What a standing means.
_MEANING = {
    "measured": "measured by you",
    "stated": "stated by you, not checked",
    "published": "from a source that can be read",
    "derived": "calculated from published numbers",
    "from memory": "recalled from a source, no document at hand",
    "borrowed": "measured on something else than this mix",
    "assumed": "assumed: common practice or a guess, no source",
    "invented": "invented, not yours: an entry or a file says so",
}


def evidence_section(change: Change) -> Section:
    """Return how many numbers are measured, published, borrowed, assumed."""
    counts = Counter(one.standing for one in change.evidence)
    rows = tuple(
        (Cell(text=word), Cell(text=str(counts[word])), Cell(text=_MEANING[word]))
        for word in STANDINGS
        if counts[word]
    )
    return Section(
        key="evidence",
        title="What the evidence is",
        blocks=(
            Table(
                heads=("standing", "numbers", "what that means"), rows=rows, words=(2,)
            ),
            Paragraph(
                text="A burn rate is measured or borrowed; it never comes from "
                "thermochemistry.",
            ),
        ),
    )


def numbers_section(change: Change, sources: Mapping[str, Source]) -> Section:
    """Return every number with its source."""
    table = Table(
        heads=("number", "value", "standing", "source"),
        rows=tuple(_row(one, sources) for one in _ordered(change.evidence)),
        words=(2, 3),
    )
    own = {one.source for one in change.evidence}
    rivals = tuple(
        Cell(text=f"rival values that name {key}", source=key)
        for key in source_keys(change, sources)
        if key not in own
    )
    return Section(
        key="numbers",
        title="Every number and its source",
        blocks=(table, Bullets(items=rivals)) if rivals else (table,),
        folded=True,
    )


def _ordered(evidence: Sequence[Evidence]) -> list[Evidence]:
    """Return the evidence by standing, the firmest first."""
    return sorted(evidence, key=lambda one: STANDINGS.index(one.standing))


def _row(one: Evidence, sources: Mapping[str, Source]) -> tuple[Cell, ...]:
    """Return one number with its source."""
    known = one.source in sources
    where = Cell(
        text=one.note or "-"
        if known
        else "; ".join(t for t in (one.source, one.note) if t),
        source=one.source if known else "",
    )
    return (
        Cell(text=one.subject),
        Cell(text=value_words(one)),
        Cell(text=one.standing),
        where,
    )


def value_words(one: Evidence) -> str:
    """Return a value with its standard uncertainty and unit.

    Examples
    --------
    >>> value_words(Evidence(subject="", value=-494.6, uncertainty=0.6, unit="kJ/mol",
    ...     standing="published", source=""))
    '-494.6 ± 0.6 kJ/mol'
    """
    parts = []
    if not math.isnan(one.value):
        parts.append(f"{one.value:.5g}")
    if not math.isnan(one.uncertainty):
        parts.append(f"± {one.uncertainty:.2g}")
    if parts and one.unit:
        parts.append(one.unit)
    return " ".join(parts) or "-"


def cited(change: Change, sources: Mapping[str, Source]) -> dict[str, str]:
    """Return the citations of the sources that the evidence points at."""
    return {key: citation(sources[key]) for key in source_keys(change, sources)}


def source_keys(change: Change, sources: Mapping[str, Source]) -> list[str]:
    """Return the keys of the sources of the evidence, rivals in notes too."""
    told = {one.source for one in change.evidence}
    told.update(key for one in change.evidence for key in _KEY.findall(one.note))
    return sorted(told & set(sources))


def citation(source: Source) -> str:
    """Return a source in words: kind, citation, where to find it."""
    where = f" {source.doi_or_url}" if source.doi_or_url else ""
    return f"{source.citation}.{where} ({source.kind})"
