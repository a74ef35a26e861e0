"""Documents of compare and justify: what they say, the files they rest on."""

from __future__ import annotations

import argparse
import re
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from castsugar.plain import to_json

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from castsugar.cli.comparing import Comparing
    from castsugar.data.records import Caution
    from castsugar.motor.pressure_table import Firing
    from castsugar.report.blocks.model import Document
    from castsugar.report.change.words import Asked


# ----------------------------------------------------------------------------
# Which files a document rests on, each by its SHA-256.

#: So many hexadecimal digits are shown.
_SHOWN = 16


def files_read(options: argparse.Namespace) -> dict[str, str]:
    """Return the bench file of a command and the files that it names.

    Parameters
    ----------
    options : argparse.Namespace
        With `bench`.

    Returns
    -------
    dict of str to str
        Name as typed to the first digits of its SHA-256.

    Raises
    ------
    InputError
        If a file cannot be read.
    """
    from castsugar.cli.bench_option import world_of
    from castsugar.files.reading import sha256_of

    world = world_of(options)
    if world is None:
        return {}
    bench = world.bench
    found = {options.bench: sha256_of(bench.path)[:_SHOWN]}
    for law in (bench.motor or {}).get("burn_law", []):
        if strands := law.get("strands"):
            found[strands] = sha256_of(bench.path.parent / strands)[:_SHOWN]
    return found


# ----------------------------------------------------------------------------
# From what was asked to what a document says beside its numbers; how it is printed.

#: How evaluate tells its draws, which are not those of these commands.
_DRAWS = re.compile(r"; (bands of )?\d+ draws, seed \d+$")


def asked_of(
    comparing: Comparing,
    *,
    topics: Sequence[str],
    reason: str = "",
    rows: Sequence[Mapping[str, Any]] = (),
    notes: Sequence[str] = (),
) -> Asked:
    """Return what a document says beside the numbers."""
    from castsugar.cli.output import command_text
    from castsugar.report import data
    from castsugar.report.change.words import Asked

    read, doubts = comparing.read, comparing.doubts
    lines = _assumptions(comparing)
    fired = _fired(comparing, rows)
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
        cautions=tuple(_cautions(comparing, topics, rows, fired)),
        assumptions=tuple(lines),
        reason=reason,
        pressure=read.pressure.unit,
        bench=comparing.options.bench or "",
        notes=tuple(notes),
        files=files_read(comparing.options),
        fired=fired,
    )


def _assumptions(comparing: Comparing) -> list[str]:
    """Return what was assumed, with the draws of this command, not evaluate's."""
    read = comparing.read
    lines = [_DRAWS.sub("", line) for line in read.assumptions()]
    text = f"{comparing.draws} draws, seed {comparing.seed} of everything uncertain"
    return [*lines, text]


def _fired(
    comparing: Comparing, rows: Sequence[Mapping[str, Any]]
) -> tuple[Firing | None, ...]:
    """Fire every mix at the best estimates; empty without a motor."""
    from castsugar.motor.pressure_table import firings

    motor = comparing.read.motor
    if motor is None or not rows:
        return ()
    return tuple(firings(motor, list(comparing.mixes), [dict(row) for row in rows]))


def _cautions(
    comparing: Comparing,
    topics: Sequence[str],
    rows: Sequence[Mapping[str, Any]],
    fired: Sequence[Firing | None],
) -> list[Caution]:
    """Return the cautions that apply."""
    from castsugar.report.cautions import facts_of, pan_facts, topics_of

    read = comparing.read
    batch = comparing.doubts.batch
    pan = pan_facts(batch=batch, kitchen=read.kitchen, bench=comparing.bench)
    facts = facts_of(pan, comparing.mixes, rows, read.motor, fired)
    known = topics_of(topics, read.kitchen, read.motor)
    return comparing.database.cautions_for(known, facts)


def with_remarks(options: argparse.Namespace, document: Document) -> Document:
    """Return a document that begins with the remarks on unusual values."""
    from dataclasses import replace

    from castsugar.report.blocks.model import Paragraph, Section

    if not getattr(options, "remarks", None):
        return document
    blocks = tuple(Paragraph(text=one.text, tone="strong") for one in options.remarks)
    first = Section(key="unusual", title="Unusual values", blocks=blocks)
    return replace(document, sections=(first, *document.sections))


def deliver_document(
    options: argparse.Namespace, document: Document, rows: dict[str, Any]
) -> None:
    """Print a document as asked for, and write its page."""
    from castsugar.cli.output import put, remarked, write_file
    from castsugar.report.blocks.html import to_html
    from castsugar.report.blocks.markdown import to_markdown
    from castsugar.report.blocks.text import to_text

    document = with_remarks(options, document)
    marks = [note for note in rows.get("notes", []) if note.startswith("INCOMPLETE")]
    if marks:
        document = replace(document, subtitle="; ".join([*marks, document.subtitle]))
    if options.json:
        text = remarked(options, to_json(rows))
    else:
        text = to_markdown(document) if options.markdown else to_text(document)
    page = to_html(document) if options.page else ""
    put(options, text)
    if options.page:
        write_file(options, options.page, page)
