"""What must not be missed of what batches taught, and what goes into the bench file."""

from __future__ import annotations

from collections.abc import Iterator

from castsugar.records.learning.alarms import sentences
from castsugar.records.learning.learnt import Learning
from castsugar.report.blocks.model import Block, Bullets, Cell, Paragraph, Section
from castsugar.report.learn_rows import Told


def shouts(learning: Learning, *, saved: bool) -> list[str]:
    """Return what is said at the top of the page and beside the result.

    Parameters
    ----------
    learning : Learning
    saved : bool
        Whether what was learnt went into the bench file.
    """
    return [
        *sentences(learning.alarms),
        *_measuring(learning),
        *learning.warnings,
        *_stale(learning, saved=saved),
    ]


def _measuring(learning: Learning) -> Iterator[str]:
    """Yield the firings that are faults of measuring, and stale measurements."""
    for fired in learning.firing.firings:
        if fired.why_not.startswith("a fault of measuring"):
            yield f"{fired.name}: left out of the c* efficiency: {fired.why_not}"
    for name in learning.kitchen.stale:
        yield (
            f"the bench file holds {name}, which no closed batch has (any more); it "
            "counts as the bench file's own; delete it there if it was corrected"
        )


def _stale(learning: Learning, *, saved: bool) -> Iterator[str]:
    """Yield what learn wrote earlier and the records do not say any more."""
    if saved:
        return
    for text in learning.planned.removed:
        yield (
            f"{learning.planned.path} still holds {text}. Other commands believe it "
            "until castsugar learn --save takes it out"
        )
    for text in learning.planned.written:
        if "in the place of line" in text:
            yield (
                f"{learning.planned.path} still holds another measured efficiency than "
                "the sound firings give; castsugar learn --save puts it right"
            )


def first_section(learning: Learning, told: Told) -> Section:
    """Return what must not be missed; no blocks if there is nothing."""
    texts = [
        f"Damaged, left out: {d.fault}" for d in learning.material.damaged
    ] + shouts(learning, saved=told.saved)
    blocks = tuple(Paragraph(text=_sentence(t), tone="strong") for t in texts)
    return Section(key="first", title="Before anything else", blocks=blocks)


def _sentence(text: str) -> str:
    """Write a text as a sentence."""
    return text[:1].upper() + text[1:] + ("" if text.endswith(".") else ".")


def bench_section(learning: Learning, told: Told) -> Section:
    """Return what goes into the bench file, and what does not."""
    planned = learning.planned
    blocks: list[Block] = []
    verb = ("Written", "Taken out") if told.saved else ("To write", "To take out")
    for title, texts in (
        (verb[0], planned.written),
        (verb[1], planned.removed),
        ("Not written", planned.refused),
    ):
        if texts:
            blocks.append(Paragraph(text=f"{title}:"))
            blocks.append(Bullets(items=tuple(Cell(text=t) for t in texts)))
    return Section(
        key="bench", title="The bench file, with --save", blocks=tuple(blocks)
    )
