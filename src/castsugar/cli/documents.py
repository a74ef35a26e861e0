"""From what was asked to what a document says beside its numbers; how it is printed."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from castsugar.cli.comparing import Comparing
    from castsugar.database import Caution
    from castsugar.report.blocks import Document
    from castsugar.report.change.asked import Asked


def asked_of(
    comparing: Comparing,
    *,
    topics: Sequence[str],
    reason: str = "",
    facts: Mapping[str, float] | None = None,
) -> Asked:
    """Return what a document says beside the numbers."""
    from castsugar.cli.output import command_text
    from castsugar.report import data
    from castsugar.report.change.asked import Asked

    read, doubts = comparing.read, comparing.doubts
    lines = read.assumptions()
    lines.append(
        f"batch {1e3 * doubts.batch:g} g, every mass weighed to "
        f"\u00b1{1e3 * doubts.weighing:.2g} g; powders up to some "
        f"{100 * doubts.moisture:g} % damper than stated; chamber pressure \u00b1"
        f"{100 * doubts.pressure:g} % (one standard uncertainty each; common practice, "
        "no source, where the bench file states nothing)"
    )
    return Asked(
        command=command_text(comparing.options.words),
        versions=data.versions(comparing.database.version),
        sources=comparing.database.sources,
        cautions=tuple(_cautions(comparing, topics, facts or {})),
        assumptions=tuple(lines),
        reason=reason,
        pressure=read.pressure.unit,
        bench=comparing.options.bench or "",
    )


def _cautions(
    comparing: Comparing, topics: Sequence[str], known: Mapping[str, float]
) -> list[Caution]:
    """Return the cautions that apply."""
    from castsugar.units import to_celsius

    read = comparing.read
    found = list(topics)
    facts = {"batch_mass": 1e3 * comparing.doubts.batch, **known}
    if read.kitchen is not None:
        found.append("kitchen")
        facts["bulk_temperature"] = to_celsius(read.kitchen.cook.hottest)
    if read.motor is not None:
        found.append("motor")
        facts["grain_temperature"] = to_celsius(read.motor.grain_temperature)
        case = read.motor.case
        facts["casing_plastic"] = float(case is not None and case.is_plastic)
    return list(comparing.database.cautions_for(found, facts))


def deliver_document(
    options: argparse.Namespace, document: Document, rows: dict[str, Any]
) -> None:
    """Print a document as asked for, and write its page."""
    from castsugar.cli.output import deliver
    from castsugar.report import data
    from castsugar.report.blocks.html import to_html
    from castsugar.report.blocks.markdown import to_markdown
    from castsugar.report.blocks.text import to_text

    if options.json:
        text = data.to_json(rows)
    else:
        text = to_markdown(document) if options.markdown else to_text(document)
    page = to_html(document) if options.page else ""
    deliver(options, text)
    if options.page:
        import sys

        from castsugar.workshop.files import write_text

        write_text(Path(options.page), page, force=options.force)
        sys.stderr.write(f"wrote {options.page}\n")
