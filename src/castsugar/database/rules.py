"""Load the sources and the cautions."""

from __future__ import annotations

from pathlib import Path

from castsugar.database import headers, validate
from castsugar.database.records import Caution, Source
from castsugar.database.table import Row, read_rows

CAUTION_STATUSES = ("published", "common practice")
LEVELS = ("general", "caution", "strong", "stop")
TOPICS = (
    "all",
    "evaluate",
    "kitchen",
    "weigh",
    "firing",
    "justify",
    "motor",
    "storage",
)


def load_sources(folder: Path) -> dict[str, Source]:
    """Read the sources."""
    sources: dict[str, Source] = {}
    for row in read_rows(folder / "sources.csv", headers.SOURCES):
        key = row.required("key")
        validate.unique(sources, key, key, row)
        sources[key] = Source(
            key=key,
            kind=row.required("kind"),
            citation=row.required("citation"),
            doi_or_url=row.text("doi_or_url"),
            note=row.text("note"),
        )
    return sources


def load_cautions(folder: Path, sources: dict[str, Source]) -> tuple[Caution, ...]:
    """Read the cautions."""
    rows = read_rows(folder / "cautions.csv", headers.CAUTIONS)
    return tuple(_caution(row, sources) for row in rows)


def _caution(row: Row, sources: dict[str, Source]) -> Caution:
    """Make one caution of a row of ``cautions.csv``."""
    topics = row.names("topic")
    if not topics or not set(topics) <= set(TOPICS):
        raise row.fail("topic", f"must list some of {', '.join(TOPICS)}")
    quantity = row.text("quantity")
    if quantity:
        row.required("operator")
        row.number("limit")
    return Caution(
        key=row.required("key"),
        topics=topics,
        quantity=quantity,
        operator=row.text("operator", ("", ">", ">=", "<", "=")),
        limit=row.optional("limit"),
        unit=row.text("unit"),
        level=row.text("level", LEVELS),
        text=row.required("text"),
        source=validate.source(row, "source", sources),
        status=row.text("status", CAUTION_STATUSES),
    )
