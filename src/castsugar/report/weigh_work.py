"""How to go about a weigh sheet: the order of work, and the list before heat."""

from __future__ import annotations

from collections.abc import Sequence

from castsugar.data.records import Caution
from castsugar.report.blocks.model import Block, Cell, Paragraph, Table
from castsugar.weigh.sheet import Sheet

#: What is ticked with a pen.
BOX = "[  ]"

#: Cautions that are ticked off before heat comes, by key, in this order.
BEFORE_HEAT = (
    "no-open-flame",
    "thermostat",
    "water-at-hand",
    "protection",
    "children",
)

#: What no caution says. Common practice, no source.
_OWN = (
    "You know the way out and can walk it at once; nobody else is in the room, and "
    "somebody outside it knows what you do.",
)


def unbroken(text: str, *, paper: bool) -> str:
    """Return a text in which paper breaks no option after its hyphens.

    Examples
    --------
    >>> unbroken("--actual", paper=True) == 2 * chr(0x2011) + "actual"
    True
    """
    return text.replace("--", "\u2011\u2011") if paper else text


def work_blocks(
    sheet: Sheet, cautions: Sequence[Caution], *, paper: bool = False
) -> tuple[Block, ...]:
    """Return the order of work, and what is ticked off before heat comes.

    Common practice, no source.
    """
    wet = [line for line in sheet.lines if line.kind in ("syrup", "liquid")]
    dry = [line for line in sheet.lines if line.kind not in ("syrup", "liquid")]
    steps = []
    if any(line.kind == "oxidizer" for line in sheet.lines):
        steps.append(
            "Grind the oxidizer alone, with tools kept for it, before it is weighed: "
            "what grinding loses or what dries then does not count."
        )
    for line in wet:
        stays = (
            f"; {1e3 * line.cup:.3g} g of it will stay in the cup and are counted"
            if line.cup
            else ""
        )
        steps.append(
            f"Tare a cup and weigh the {line.typed} into it first{stays}. It is the "
            "hardest to hit; the powders can still be fitted to what the scale shows."
        )
    if dry:
        steps.append(
            "Weigh every powder by itself, each on its own paper, the small ones "
            "first: only what lies by itself can be taken off again."
        )
    steps.append(
        "Write down what the scale showed and check it against the sheet before "
        "anything is put together; --actual says what to add."
    )
    if len(dry) > 1:
        steps.append(
            "Join the dry powders by hand: through a coarse sieve onto paper, or "
            "tumbled gently in a bag. Never grind, mill or blend them together."
        )
    if wet:
        steps.append(
            "Pour the liquid into the cold pan, scrape the cup, stir the dry mix in; "
            "weigh the empty cup, and what stays in it goes into [pan] residue_cup."
        )
    rows = tuple(
        (Cell(text=str(count)), Cell(text=unbroken(text, paper=paper)))
        for count, text in enumerate(steps, start=1)
    )
    ticked = tuple((Cell(text=BOX), Cell(text=t)) for t in before_heat(cautions))
    return (
        Table(heads=("", ""), rows=rows, words=(1,)),
        Table(
            heads=("", ""),
            rows=ticked,
            words=(1,),
            caption="Before heat: tick every line, or do not heat",
        ),
        Paragraph(
            text="Heat comes last, when everything is weighed, checked, ticked and at "
            "hand.",
            tone="strong",
        ),
        Paragraph(text="Common practice, no source."),
    )


def before_heat(cautions: Sequence[Caution]) -> list[str]:
    """Return what must be so before heat comes, in the words of the cautions."""
    texts = {caution.key: caution.text for caution in cautions}
    return [*(texts[key] for key in BEFORE_HEAT if key in texts), *_OWN]
