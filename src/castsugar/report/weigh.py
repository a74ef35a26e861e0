"""The weigh sheet as a document: for the screen, and for paper with empty boxes."""

from __future__ import annotations

from collections.abc import Sequence

from castsugar.bench.lots import LotRecord
from castsugar.data.records import Caution
from castsugar.mix.weighing import DRY_BASIS
from castsugar.report.blocks.model import (
    Blanks,
    Block,
    Bullets,
    Cell,
    Document,
    Paragraph,
    Section,
)
from castsugar.report.weigh_cells import (
    balance_table,
    boxes_table,
    correction_table,
    effects_table,
    grams,
    lines_table,
    mixes_table,
)
from castsugar.report.weigh_work import unbroken, work_blocks
from castsugar.weigh.correction import Correction
from castsugar.weigh.result import Weighing, coarse_notes, scale_holds
from castsugar.weigh.sheet import Sheet

#: What is written by hand on the printed sheet.
_BLANKS = (
    "Batch and date",
    "Weighed by, checked by",
    "Start of heating, end, highest bulk temperature",
    "Seen: how it flowed, colour, bubbles",
)


#: What stands on top of the sheet of a dummy.
_DUMMY = (
    "DUMMY: potassium chloride stands in for the nitrate, in its volume (0.943 of its "
    "mass), ground as fine. It teaches how the mix pours and sets; it is no "
    "propellant. It scalds like one; keep it apart and labelled."
)


def weigh_document(
    found: Weighing,
    assumed: Sequence[str],
    cautions: Sequence[Caution],
    *,
    paper: bool = False,
    foot: Sequence[str] = (),
) -> Document:
    """Return the sheet as a document.

    Parameters
    ----------
    found : Weighing
    assumed : sequence of str
    cautions : sequence of Caution
        Those that apply; what they say about the mass of the batch stands on top.
    paper : bool
        Whether it gets boxes for actual mass, lot and initials.
    foot : sequence of str
        Last lines: versions.
    """
    sections = [
        Section(
            key="scale",
            title="On the scale, in this order",
            blocks=_top(found, cautions, paper=paper),
        ),
    ]
    if found.correction is not None:
        big = any(caution.quantity == "batch_mass" for caution in cautions)
        sections.append(_correction(found, big=big))
    sections += [
        Section(
            key="balance",
            title="Where it goes",
            blocks=(balance_table(found.sheet),),
        ),
        Section(
            key="work",
            title="How to go about it",
            blocks=work_blocks(found.sheet, cautions, paper=paper),
        ),
        Section(key="effects", title="How exact it must be", blocks=_effects(found)),
        Section(
            key="mix", title="What this mix does, by a model", blocks=_mixes(found)
        ),
    ]
    coarse = coarse_notes(found.sheet)  # beside the table
    left = [text for text in found.notes if text not in coarse]
    if left:
        sections.append(_bullets("notes", "Mind", left))
    if paper:
        blanks = Blanks(labels=_BLANKS)
        sections.append(Section(key="record", title="Record", blocks=(blanks,)))
    told = [unbroken(text, paper=paper) for text in assumed]
    sections.append(_bullets("assumed", "Assumed", told))
    texts = [caution.text for caution in cautions]
    sections.append(_bullets("cautions", "Cautions", texts, warning=True))
    charge = found.sheet.charge
    recipe = " ".join(
        f"{charge.typed[item]}:{100.0 * share:.4g}%"
        for item, share in charge.shares.items()
    )
    head = "DUMMY, weigh sheet of an inert trial" if charge.dummy else "Weigh sheet"
    return Document(
        title=f"{head}: {charge.name}",
        subtitle=f"{recipe}, by mass as weighed",
        sections=tuple(sections),
        foot=tuple(foot),
    )


def _bullets(
    key: str, title: str, texts: Sequence[str], *, warning: bool = False
) -> Section:
    items = tuple(Cell(text=text) for text in texts)
    return Section(
        key=key, title=title, blocks=(Bullets(items=items, warning=warning),)
    )


def _top(
    found: Weighing, cautions: Sequence[Caution], *, paper: bool
) -> tuple[Block, ...]:
    """Return what is weighed, below what must be said about so much."""
    big = [c.text for c in cautions if c.quantity == "batch_mass"]
    blocks: list[Block] = [Paragraph(text=text, tone="strong") for text in big[-1:]]
    sheet = found.sheet
    if sheet.charge.dummy:
        blocks.append(Paragraph(text=_DUMMY, tone="strong"))
    if found.too_much:
        text = f"The sheet asks for {grams(sheet.total, sheet)} g, more than you allow."
        blocks.append(Paragraph(text=text, tone="strong"))
    for row in found.judged:
        stop = [f for f in row.flags.split("; ") if f.endswith("do not fire it")]
        said = [f"By the model, {row.name}: {flag}." for flag in stop]
        blocks += [Paragraph(text=text, tone="strong") for text in said]
    blocks.append(lines_table(found))
    for text in coarse_notes(sheet):
        blocks.append(Paragraph(text=f"{text}.", tone="strong"))
    blocks += [boxes_table(found)] if paper else []
    several = [line for line in sheet.lines if len(line.portions) > 1]
    step = sheet.equipment.step
    for line in several:
        parts = " + ".join(grams(count * step, sheet) for count in line.portions)
        blocks.append(
            Paragraph(
                text=f"{line.typed}, in portions: {parts} g. The {scale_holds(sheet)}."
            )
        )
    lots = [(line.typed, line.lot) for line in sheet.lines if line.lot is not None]
    blocks += [Paragraph(text=_lot(typed, lot)) for typed, lot in lots]
    return tuple(blocks)


def _lot(typed: str, lot: LotRecord) -> str:
    """Say which lot a line comes from."""
    numbers = [
        f"{key.replace('_', ' ')} {value:g}"
        if key == "dextrose_equivalent"
        else f"{key} {100.0 * value:.4g} %{' (dry basis)' if key in DRY_BASIS else ''}"
        for key, value in lot.stated.items()
    ]
    told = [*numbers, *([lot.source] if lot.source else [])]
    told += [lot.date] if lot.date else []
    return f"{typed} from lot {lot.name}: {', '.join(told) or 'nothing measured'}."


def _correction(found: Weighing, *, big: bool) -> Section:
    """Return what to do about what was weighed; of a big batch first to take off."""
    correction, sheet = found.correction, found.sheet
    if correction is None:
        raise ValueError("nothing was weighed")
    blocks: list[Block] = []
    if not correction.possible:
        blocks.append(
            Paragraph(text=f"Cannot be corrected: {correction.reason}.", tone="strong")
        )
    off = _take_off(correction, sheet, first=big)
    if off and big:
        blocks += off
    if found.within and not correction.nothing_to_do:
        blocks.append(
            Paragraph(
                text="Every weighed line is within what it may be off: you may leave "
                "it as it is."
            )
        )
    blocks.append(Paragraph(text=_what_to_do(correction)))
    blocks.append(correction_table(found))
    if correction.possible:
        blocks.append(
            Paragraph(
                text=f"Then {grams(correction.total, sheet)} g are on the scale, "
                f"{100.0 * correction.factor:.4g} % of the sheet in the pan; no line "
                f"is further than {grams(correction.worst, sheet, more=1)} g from the "
                "ratio."
            )
        )
    blocks += [] if big else off
    return Section(key="correction", title="As weighed", blocks=tuple(blocks))


def _take_off(correction: Correction, sheet: Sheet, *, first: bool) -> list[Paragraph]:
    """Say what may be taken off instead, as long as it lies by itself."""
    if correction.take_off is None:
        return []
    name, more = correction.take_off
    start, end, tone = "Or, as", "", ""
    if first:
        start, tone = "Rather than make so much: as", "strong"
        end = " Then ask again. Only if it was joined already:"
    return [
        Paragraph(
            text=f"{start} long as the {sheet.line(name).typed} lies by itself and "
            f"nothing has touched it: take {grams(more, sheet)} g off it again. "
            f"Out of a mix nothing is ever taken.{end}",
            tone=tone,
        )
    ]


def _what_to_do(correction: Correction) -> str:
    """Say in words what the table of a correction asks for."""
    if not correction.possible:
        return "It would take:"
    if not correction.nothing_to_do:
        return "To meet the ratio:"
    if correction.complete:
        return "Nothing is to be added."
    if correction.factor > 1.0 + 1e-9:
        return "Too much is weighed; the lines not yet weighed follow, a larger batch:"
    return "Nothing is to be added to what is weighed; go on:"


def _effects(found: Weighing) -> tuple[Block, ...]:
    """Return how far a line may be off, and why."""
    blocks: list[Block] = []
    if len(found.sheet.lines) > 1:
        blocks.append(effects_table(found))
    blocks.append(
        Paragraph(
            text="A line may be off until c* moves by 1 %, the peak pressure by 5 %, "
            "the pour viscosity by 20 %, or its share of the mix by 0.5 points (a "
            "tenth of itself below 5 %), whichever comes first; each line alone, the "
            "others exact. Columns that were not computed do not limit."
        )
    )
    return tuple(blocks)


def _mixes(found: Weighing) -> tuple[Block, ...]:
    """Return what the model says, and what it remarks."""
    blocks: list[Block] = [mixes_table(found)]
    blocks.append(
        Paragraph(
            text="'sheet' is the recipe exactly, not its masses as rounded to the "
            "scale; so are the tolerances."
        )
    )
    if len(found.judged) > 1 and found.conditions.motor is not None:
        blocks.append(
            Paragraph(
                text="The 95 % pressure is shown for the sheet alone: beside a mix "
                "whose strands were burned it jumps, and that is knowledge, not the "
                "mix."
            )
        )
    for row in found.judged:
        told = [] if row.status == "ok" else [row.status]
        told += [row.flags] if row.flags else []
        blocks += [Paragraph(text=f"{row.name}: {text}.") for text in told]
    return tuple(blocks)
