"""A batch on the screen: plan beside actual, foreseen beside seen, history, files."""

from __future__ import annotations

from collections.abc import Sequence

from castsugar.data.records import Caution
from castsugar.records.batch import Batch
from castsugar.report.batch_list import printable
from castsugar.report.batch_rows import Beside, beside, event_lines, state
from castsugar.report.kitchen import caution_lines
from castsugar.report.layout import wrapped

#: Widths of the label and of the foreseen value.
_LABEL, _FORESEEN = 36, 24


def first_lines(texts: Sequence[str]) -> list[str]:
    """Return what must be said first, marked."""
    return [line for t in texts for line in wrapped(printable(t), "     ", "  >> ")]


def batch_page(
    batch: Batch, cautions: Sequence[Caution], warnings: Sequence[str] = ()
) -> str:
    """Return the page of a batch.

    Parameters
    ----------
    batch : Batch
    cautions : sequence of Caution
        Those that apply; what they say about its mass stands on top.
    warnings : sequence of str
        What stands on top, of :func:`castsugar.report.batch_warnings.warnings`.
    """
    made = batch.made
    title = f"Batch {batch.id}"
    name = f" {made.name!r}" if made.name else ""
    lines = [printable(f"{title}{name}: {state(batch)}"), ""]
    big = [c.text for c in cautions if c.quantity == "batch_mass"]
    first = first_lines([*warnings, *big[-1:]])
    lines += [*first, ""] if first else []
    lines += wrapped(printable(made.recipe))
    lines += wrapped(_cook(batch))
    if made.note:
        lines += wrapped(printable(f"note: {made.note}"))
    if not batch.is_sound:
        why = batch.set_aside[1]
        lines += wrapped(printable(f"WRONG, do not rely on it: {why}"), "  ", "! ")
    lines += _masses(batch)
    lines += _lots(batch)
    lines += _beside(batch)
    lines += ["", "History, by date; lines as in the file", _made_line(batch)]
    events = sorted(batch.events, key=lambda e: (e.date, e.line))
    lines += [line.rstrip("\n") for line in event_lines(batch, events)]
    lines += _files(batch)
    return "\n".join(lines) + "\n" + caution_lines(cautions)


def _cook(batch: Batch) -> str:
    made = batch.made
    if not made.cook:
        return "cook: not stated, so the kitchen was not asked"
    held = f", {made.minutes:g} min" if made.minutes is not None else ""
    return printable(f"cook: {made.cook}{held}")


def _made_line(batch: Batch) -> str:
    versions = batch.made.versions
    by = f", foreseen by castsugar {versions['castsugar']}" if versions else ""
    return printable(f"  {1:>3}  {batch.made.date}  made{by}")


def _masses(batch: Batch) -> list[str]:
    """Return the plan beside the scale, and the shares that were made."""
    made = batch.made
    heads = ("planned, g", "actual, g", "off by, g", "planned, %", "made, %")
    lines = ["", f"{'Masses':<26}" + "".join(f"{h:>11}" for h in heads)[1:]]
    total = sum(made.on_scale.values())
    for name, plan in made.planned.items():
        mass = made.actual.get(name)
        told = (
            ("-", "-") if mass is None else (_gram(mass), f"{1e3 * (mass - plan):+.2f}")
        )
        shares = (100 * made.fractions[name], 100 * made.masses[name] / made.mass)
        cells = (_gram(plan), *told, *(f"{s:.2f}" for s in shares))
        lines.append(_row(name, cells))
    off = f"{1e3 * (total - made.batch):+.2f}" if made.actual else "-"
    weighed = _gram(total) if made.actual else "-"
    lines.append(_row("together", (_gram(made.batch), weighed, off, "", "")))
    if made.actual and set(made.actual) != set(made.planned):
        lines.append("  -: not stated, taken as planned")
    for name, cup in made.cups.items():
        lines += wrapped(
            printable(
                f"{1e3 * cup:.3g} g of the {name} stay in its cup: what was made, and "
                "what is foreseen, are without them"
            )
        )
    return lines


def _row(name: str, cells: Sequence[str]) -> str:
    start = printable(name)[:23]
    return (f"  {start:<23}" + "".join(f"{c:>11}" for c in cells)).rstrip()


def _gram(mass: float) -> str:
    return f"{1e3 * mass:.2f}"


def _lots(batch: Batch) -> list[str]:
    """Return what the batch was weighed from."""
    lines = []
    for item, lot in batch.made.lots.items():
        source = f" ({lot['source']})" if lot.get("source") else ""
        text = f"{item} from lot {lot.get('name', '?')!r}{source}"
        lines += wrapped(printable(text), "    ", "  - ")
    return ["", "Weighed from", *lines] if lines else []


def _beside(batch: Batch) -> list[str]:
    """Return foreseen beside seen."""
    lines = ["", f"{'':<{_LABEL}}{'foreseen':<{_FORESEEN}}seen (line)"]
    for entry in beside(batch):
        lines += _pair(entry)
    return lines


def _pair(entry: Beside) -> list[str]:
    seen = [f"{text} ({line})" for text, line in entry.seen] or ["-"]
    first = f"  {entry.label:<{_LABEL - 2}}{entry.foreseen:<{_FORESEEN}}"
    if len(entry.foreseen) >= _FORESEEN:
        return [first.rstrip(), *(f"{'':<{_LABEL + _FORESEEN}}{s}" for s in seen)]
    return [first + seen[0], *(f"{'':<{_LABEL + _FORESEEN}}{s}" for s in seen[1:])]


def _files(batch: Batch) -> list[str]:
    """Say which linked files are not as they were."""
    lines = []
    for line, path, fault in batch.changed_files():
        text = f"{path.as_posix()} (line {line}) {fault}; the record keeps what it gave"
        lines += wrapped(printable(text), "    ", "  ! ")
    return ["", "Files", *lines] if lines else []
