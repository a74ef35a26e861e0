"""Is the tool any good? What was foreseen beside what was measured."""

from __future__ import annotations

from castsugar.records.learning.alarms import PEAK
from castsugar.records.learning.checks import ODD, Check, Tally
from castsugar.records.learning.learnt import Learning
from castsugar.report.blocks.model import (
    Block,
    Bullets,
    Cell,
    Figure,
    Paragraph,
    Section,
    Table,
)
from castsugar.report.learn_words import between, chance, count, id_list, three


def checks_section(learning: Learning, figure: Figure | None) -> Section:
    """Return the answer, the table and the picture."""
    blocks: list[Block] = [
        Paragraph(text=verdict(learning.tally, learning.checks), tone="strong")
    ]
    if learning.checks:
        blocks.append(Paragraph(text=_WHAT, tone="soft"))
        blocks += _tables(learning)
    if figure is not None:
        blocks.append(figure)
    remarks = _remarks(learning)
    if remarks is not None:
        blocks.append(remarks)
    return Section(key="checks", title="Is the tool any good?", blocks=tuple(blocks))


_WHAT = (
    "Predicted: viscosity, pressure, burn time and impulse as frozen in the record on "
    "the day the batch was made or fired. The band holds the doubt of the prediction "
    "and that of the reading. Viscosity and pressure have frozen bands; water lost, "
    "burn rate, and the bands of burn time and impulse are found again from the tables "
    "of the bench file that the record froze, by the model of this version. c* was "
    "not frozen: it is the ideal one by which the firing was read on its day, times "
    "the efficiency in that frozen bench file. Of one firing one comparison counts, "
    "the peak or else c*: they hang together."
)


def verdict(found: Tally, checks: tuple[Check, ...]) -> str:
    """Say in a sentence or two whether the bands hold."""
    if not found.count:
        more = " What was measured had no band to be tested against." if checks else ""
        return (
            "Cannot be said yet: nothing that was foreseen was measured later." + more
        )
    return f"{_too_high(checks)}{_answer(found)}{_wide(found)}"


def _too_high(checks: tuple[Check, ...]) -> str:
    """Say first that pressures were higher than foreseen."""
    high = [c.batch for c in checks if c.quantity == PEAK and c.above]
    if not high:
        return ""
    noun = "peak" if len(high) == 1 else "peaks"
    return (
        f"Not where it matters most: {len(high)} measured {noun} above the band "
        f"({id_list(high)}); lean on no pressure foreseen here before you know why. "
    )


def _wide(found: Tally) -> str:
    """Say how many bands are so wide that being inside says little."""
    if not found.wide:
        return ""
    verb = "spans" if found.wide == 1 else "span"
    return (
        f" {found.wide} of the {found.count} bands {verb} more than a factor of 10: "
        "true to say, of little use."
    )


def _answer(found: Tally) -> str:
    """Say what the counts say."""
    text = (
        f"{found.inside} of {found.count} inside their 95 % bands; "
        f"{found.expected:.1f} expected"
    )
    if found.inside < found.count:
        text += f"; chance of so few or fewer {chance(found.so_few)}"
    text += (
        f". The share inside lies between {100.0 * found.share_low:.0f} and "
        f"{100.0 * found.share_high:.0f} % (95 %, exact)"
    )
    if found.so_few < ODD:
        return text + (
            ": too many lie outside; do not lean on these bands. Look at the rows that "
            "are outside, and at what they have in common."
        )
    if found.few:
        return text + (
            f": {count(found.count, 'comparison')} cannot tell a good band from a poor "
            "one yet; close more batches with something measured."
        )
    return text + (
        ": no sign that the bands are too narrow, as far as these batches go; "
        "predictions of one law hang together, so they tell less than as many "
        "independent ones."
    )


def _tables(learning: Learning) -> list[Table]:
    """Return one table a quantity."""
    groups: dict[str, list[Check]] = {}
    for check in learning.checks:
        unit = f", {check.unit}" if check.unit else ""
        groups.setdefault(f"{check.quantity}{unit}", []).append(check)
    return [_table(title, checks) for title, checks in groups.items()]


def _table(title: str, checks: list[Check]) -> Table:
    return Table(
        heads=("", "predicted", "95 % band", "measured", "over predicted", "inside?"),
        rows=tuple(_row(check) for check in checks),
        caption=f"{title[0].upper()}{title[1:]}",
        words=(5,),
    )


def _row(check: Check) -> tuple[Cell, ...]:
    inside = (
        Cell(text="yes", tone="good") if check.inside else Cell(text="no", tone="bad")
    )
    if not check.counts:
        inside = Cell(text=f"{inside.text}, not counted")
    over = check.measured / check.predicted if check.predicted > 0.0 else float("nan")
    return (
        Cell(text=f"{check.batch}, discarded" if check.discarded else check.batch),
        Cell(text=three(check.predicted)),
        Cell(text=between(check.low, check.high)),
        Cell(text=three(check.measured)),
        Cell(text=three(over)),
        inside,
    )


def _remarks(learning: Learning) -> Bullets | None:
    """Return what is to be said of single rows, alike ones together."""
    found: dict[str, list[Check]] = {}
    for check in learning.checks:
        if check.note:
            found.setdefault(check.note, []).append(check)
    items = []
    for note, checks in found.items():
        what = ", ".join(dict.fromkeys(c.quantity for c in checks))
        whose = id_list(list(dict.fromkeys(c.batch for c in checks)))
        items.append(f"{what} of {whose}: {note}")
    skipped: dict[str, list[str]] = {}
    for entry in learning.skipped:
        why = f"{entry.quantity}: not compared: {entry.why}"
        skipped.setdefault(why, []).append(entry.batch)
    items += [f"{text} ({id_list(names)})" for text, names in skipped.items()]
    return Bullets(items=tuple(Cell(text=t) for t in items)) if items else None
