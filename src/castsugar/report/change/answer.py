"""The first screen of a change record: what is asked, and what the answer is."""

from __future__ import annotations

from castsugar.comparison.change import BASE, NEW, Change
from castsugar.comparison.claims import SUPPORTED, Judged
from castsugar.comparison.compare import CANNOT_TELL
from castsugar.limits import BROKEN
from castsugar.report.blocks.model import (
    Block,
    Bullets,
    Cell,
    Paragraph,
    Section,
    Table,
)
from castsugar.report.change.limits import test_for
from castsugar.report.change.words import (
    Asked,
    chance_text,
    composition,
    is_same,
    limit_text,
    plain_label,
    standing_box,
    why_open,
)
from castsugar.report.layout import number

#: What a limit may be on -> how the names of such columns begin.
_LIMITED = {
    "pressure": ("peak_pressure", "pressure_margin_percent"),
    "pouring": ("pour", "flow_class"),
    "setting": ("relative_solids_20C",),
}

#: Columns that the answer names one by one, if nothing was claimed.
_TOLD = (
    "peak_pressure_MPa",
    "pour_viscosity_Pa_s",
    "characteristic_velocity_m_s",
    "flame_temperature_K",
)


def question_section(change: Change, asked: Asked) -> Section:
    """Return what is asked: the two mixes, the reason, the claims."""
    base, new = change.mixes
    blocks: list[Block] = [
        Paragraph(text=f"Now: {base.name} ({composition(base)})"),
        Paragraph(text=f"New: {new.name} ({composition(new)})"),
    ]
    if asked.reason:
        blocks.append(Paragraph(text=f"Reason given: {asked.reason}"))
    if change.claims:
        told = f"The change is said to give: {_claimed(change)}."
        blocks.append(Paragraph(text=told))
    else:
        blocks.append(
            Paragraph(
                text="Nothing was claimed for the change (--claim 'lower pressure' "
                "holds it against the numbers).",
                tone="soft",
            )
        )
    return Section(key="question", title="The question", blocks=tuple(blocks))


def answer_section(change: Change, asked: Asked) -> Section:
    """Return the answer: does the record support the change, and why."""
    blocks: list[Block] = [Paragraph(text=_verdict(change), tone=_tone(change))]
    same = is_same(change.comparison, NEW)
    if same:
        blocks.append(Paragraph(text="Both are the same recipe.", tone="strong"))
    points = [
        *_unsound(change),
        *(_claim(change, c) for c in change.claims),
        *_limits(change, asked.pressure),
    ]
    if not change.claims and not same:
        points += _plain(change)
    if points:
        blocks.append(Bullets(items=tuple(points)))
    free = _unlimited(change)
    if free:
        blocks.append(Paragraph(text=free, tone="soft"))
    blocks.append(
        Paragraph(
            text="This is arithmetic about a model. It does not say that either mix is "
            "safe; a test of both decides, under the rules that hold where you are.",
        )
    )
    return Section(key="answer", title="The answer", blocks=tuple(blocks))


def _verdict(change: Change) -> str:
    """Return the answer in one sentence."""
    if change.justified and change.claims:
        told = _claimed(change)
        kept = f" Every limit is kept{_openly(change)}." if change.limits else ""
        return f"The numbers support what is claimed: {told}.{kept}"
    if change.justified and change.limits:
        kept = f"The new mix keeps every limit{_openly(change)}."
        return f"{kept} Nothing was claimed for it."
    if change.justified:
        return (
            "Neither claims nor limits were given, so there is nothing to hold the "
            "change against: below is what it does."
        )
    if change.rows[NEW]["status"] != "ok":
        return "The numbers do not support the change: the new mix is not sound."
    if any(h.standings[NEW].verdict == BROKEN for h in change.limits):
        return "The numbers do not support the change: a limit is not kept."
    if change.broken:
        return (
            "The numbers do not support the change yet: whether it keeps every limit "
            "could not be computed."
        )
    open_only = all(c.verdict in (SUPPORTED, CANNOT_TELL) for c in change.claims)
    if open_only:
        return (
            "The numbers do not support the change yet: what is claimed for it cannot "
            "be told from what is known."
        )
    return "The numbers contradict what is claimed for the change."


def _claimed(change: Change) -> str:
    """Return what is claimed."""
    return ", ".join(
        f"{c.claim.direction} {plain_label(c.claim.column)}" for c in change.claims
    )


def _openly(change: Change) -> str:
    """Return a remark where some limit is kept, but not firmly."""
    some = any(why_open(held, held.standings[NEW]) for held in change.limits)
    return ", not all of them firmly" if some else ""


def _unlimited(change: Change) -> str:
    """Say on what no limit was given; empty if there is one on everything."""
    columns = [held.column for held in change.limits]
    free = [
        name
        for name, starts in _LIMITED.items()
        if not any(column.startswith(starts) for column in columns)
    ]
    if not free or not (change.limits or change.claims):
        return ""
    *first, last = free
    told = f"{', '.join(first)} or {last}" if first else last
    return f"No limit on {told} was given."


def _tone(change: Change) -> str:
    if not change.justified:
        broken = any(h.standings[NEW].verdict == BROKEN for h in change.broken)
        sound = change.rows[NEW]["status"] == "ok" and not broken
        waiting = all(c.verdict in (SUPPORTED, CANNOT_TELL) for c in change.claims)
        return "open" if sound and waiting else "bad"
    if _openly(change):
        return "open"
    return "good" if change.claims or change.limits else "strong"


def _unsound(change: Change) -> list[Cell]:
    """Return what is not as it should be with either mix."""
    found = []
    for word, row in zip(("now", "new"), change.rows, strict=True):
        texts = [] if row["status"] == "ok" else [str(row["status"])]
        texts += [t for t in str(row["flags"]).split("; ") if t]
        found += [Cell(text=f"{word}: {text}", tone="strong") for text in texts]
    return found


def _claim(change: Change, one: Judged) -> Cell:
    """Return what became of a claim; where it is open, what would settle it."""
    what = f"{one.claim.direction} {plain_label(one.claim.column)}"
    chance = chance_text(one.chance)
    text = f"{what}: {one.verdict} (chance {chance})"
    if one.why:
        text += f"; {one.why}"
    parts = change.cells[one.claim.column].parts
    if one.verdict == CANNOT_TELL and parts and not one.why:
        first = parts[0]
        share = number(100.0 * first.share, 0)
        text += (
            f"; {share} % of the doubt is {first.input.label}: {test_for(first.input)}"
        )
    tones = {SUPPORTED: "good", CANNOT_TELL: "open"}
    return Cell(text=text, tone=tones.get(one.verdict, "bad"))


def _limits(change: Change, pressure: str) -> list[Cell]:
    """Return how the new mix stands to every limit, and how the old one did."""
    found = []
    for held in change.limits:
        now, new = held.standings[BASE], held.standings[NEW]
        box = standing_box(held, new)
        text = f"{limit_text(held, pressure)}: {box.text}"
        if now.verdict != new.verdict:
            text += f" (now {now.verdict})"
        found.append(Cell(text=text, tone=box.tone))
    return found


def _plain(change: Change) -> list[Cell]:
    """Return the verdicts on the columns that matter most."""
    found = []
    for column in _TOLD:
        cell = change.cells.get(column)
        if cell is not None:
            found.append(Cell(text=f"{plain_label(column)}: {cell.verdict}"))
    return found


def amounts_section(change: Change) -> Section:
    """Return what changes on the scale."""
    step = 1e3 * change.comparison.scale_step
    places = max(0, -_exponent(step))
    rows = tuple(
        (
            Cell(text=one.item),
            Cell(text=f"{1e3 * one.base:.{places}f}"),
            Cell(text=f"{1e3 * one.new:.{places}f}"),
            Cell(text=_signed(1e3 * one.change, places)),
        )
        for one in change.amounts
    )
    total = 1e3 * sum(one.new for one in change.amounts)
    table = Table(
        heads=("to weigh, g", "now", "new", "change"),
        rows=(
            *rows,
            (
                Cell(text="batch", tone="strong"),
                Cell(text=f"{1e3 * sum(a.base for a in change.amounts):.{places}f}"),
                Cell(text=f"{total:.{places}f}"),
                Cell(text=""),
            ),
        ),
        caption=f"In steps of the scale, {step:g} g.",
    )
    return Section(key="amounts", title="What changes on the scale", blocks=(table,))


def _exponent(step: float) -> int:
    """Return the power of ten of the last digit of a step."""
    text = f"{step:.10f}".rstrip("0")
    return -len(text.split(".")[1]) if "." in text else 0


def _signed(value: float, places: int) -> str:
    """Write a signed number; zero has no sign."""
    text = f"{abs(value):.{places}f}"
    if not text.strip("0."):
        return text
    return ("+" if value > 0.0 else "\u2212") + text
