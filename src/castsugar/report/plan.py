"""What a plan answers that is weighed: castings of a batch, a slip mended, pans."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Any

from castsugar.frozen import dataclass
from castsugar.motor.pressure_doubt import BatchScatter
from castsugar.report import numbers
from castsugar.report.cautions import Chosen
from castsugar.report.document import Part
from castsugar.report.field import TEXT, fields, keyed
from castsugar.report.limit_words import Judged
from castsugar.report.pressure_words import batch_words
from castsugar.report.screen import (
    Annex,
    Block,
    Finding,
    Paragraph,
    Screen,
    Table,
    in_order,
    notes,
)
from castsugar.report.shown import Shown
from castsugar.report.weigh import (
    Scale,
    corrected_findings,
    fine,
    judged_blocks,
    lines_table,
    mass_said,
    much,
)
from castsugar.report.weigh_data import PARTS as WEIGH_PARTS
from castsugar.report.weigh_data import weigh_parts
from castsugar.weigh.inverse import MUCH, Castings
from castsugar.weigh.result import Weighing
from castsugar.weigh.sheet import Sheet


@dataclass(frozen=True, slots=True, kw_only=True)
class Planned:
    """What a command knows beside the answer.

    `name` is that of the recipe, `conditions` says in units under what the answer
    holds, `assumed` what was taken; `bench_said` is "(bench.toml)" if nobody typed it.
    """

    name: str
    conditions: Callable[[Shown], str]
    assumed: tuple[str, ...]
    cautions: Chosen
    next: str
    least_sure: str = ""
    bench: str = "bench.toml"
    bench_said: str = ""
    invented: tuple[str, ...] = ()


def screen_of(
    asked: Planned,
    show: Shown,
    title: str,
    findings: Sequence[Finding],
    blocks: Sequence[Block],
    annexes: Sequence[Annex] = (),
) -> Screen:
    """Return an answer as a screen."""
    return Screen(
        command="plan",
        title=f"Plan: {title} {asked.bench_said}".rstrip(),
        findings=in_order(findings),
        conditions=asked.conditions(show),
        blocks=tuple(blocks),
        least_sure=asked.least_sure,
        cautions=asked.cautions.lines,
        cautions_count=asked.cautions.count,
        next=asked.next,
        invented=asked.invented,
        bench=asked.bench,
        annexes=(*annexes, Annex("Assumed", (notes(asked.assumed),))),
    )


# ----------------------------------------------------------------------------
# plan pieces.

#: One kind of castings.
PIECES = keyed(
    ("kind", TEXT, "grain, strand or delay column"),
    ("mass_each_g", "mass", "of one, as cast"),
    ("count", "number", "of it cast"),
    ("mass_g", "mass", "together"),
    ("alone", "number", "of it, if nothing else is cast"),
    ("more", "number", "of it that what is left over would give"),
)

PIECES_PARTS: dict[str, Part] = {
    "batch_g": Part(meaning="on the scale, in its steps"),
    "scale_step_g": Part(meaning="of the scale"),
    "enough": Part(meaning="whether the batch gives the numbers that were stated"),
    "takes_the_rest": Part(meaning="kind whose number was not stated; else empty"),
    "pieces": Part(meaning="one a kind", fields=PIECES, many=True),
    "left_over_g": Part(meaning="of mix, to cast; below 0: so much is missing"),
    "needed_g": Part(meaning="what the pieces alone take on the scale"),
    "forward_g": Part(meaning="what the sheet of pieces and rest puts on the scale"),
}


def piece_rows(found: Castings) -> list[dict[str, Any]]:
    """Return one row a kind."""
    return [
        {
            "kind": kind,
            "mass_each_g": 1e3 * each,
            "count": found.count(kind),
            "mass_g": 1e3 * each * found.count(kind),
            "alone": found.alone[kind],
            "more": found.more[kind],
        }
        for kind, each in found.each.items()
    ]


def pieces_parts(found: Castings) -> dict[str, Any]:
    """Return the numbers of ``plan pieces``."""
    return {
        "batch_g": 1e3 * found.sheet.total,
        "scale_step_g": 1e3 * found.sheet.equipment.step,
        "enough": found.enough,
        "takes_the_rest": found.filled,
        "pieces": piece_rows(found),
        "left_over_g": 1e3 * found.left,
        "needed_g": 1e3 * found.needed,
        "forward_g": 1e3 * found.forward,
    }


def pieces_screen(
    found: Castings, asked: Planned, show: Shown, *, segments: int = 0
) -> Screen:
    """Return what a batch gives; `segments` are the grains of one motor."""
    sheet = found.sheet
    batch = mass_said(sheet.total, show)
    way = "castsugar plan pans --pans"
    told = [*much(sheet, show, option=way), *_pieces(found, segments, show)]
    rows = [
        (
            kind,
            mass_said(each, show, 3),
            str(found.count(kind)),
            fine(found.count(kind) * each, show),
            str(found.alone[kind]),
        )
        for kind, each in found.each.items()
    ]
    if found.left >= 0.0:
        rows.append(("left over", "", "", fine(found.left, show), ""))
    heads = ("", "one weighs", "cast", "together", "alone it\nwould be")
    stays = fine(sheet.equipment.residue_pan, show)
    parts = [f"in pan and tools {stays}", f"water {fine(sheet.water_lost, show)}"]
    parts += [f"in the cup of syrup {fine(sheet.cups, show)}"] if sheet.cups else []
    rest = Paragraph(f"Besides: {', '.join(parts)}.", spare=True)
    blocks = (Table(heads=heads, rows=tuple(rows)), rest)
    title = f"castings of {asked.name} from {batch}"
    return screen_of(asked, show, title, told, blocks)


def _pieces(found: Castings, segments: int, show: Shown) -> Iterator[Finding]:
    """Yield what is cast, what is left, and that the sheet says so, too."""
    sheet = found.sheet
    told = _counted({one.kind: one.count for one in found.pieces})
    if not found.enough:
        needed = mass_said(found.needed, show)
        missing = mass_said(found.needed - sheet.total, show)
        text = f"{told} take {needed} on the scale, {missing} more than the batch."
        yield Finding("REFUSED", text, {"needed_g": 1e3 * found.needed})
        return
    more = {kind: count for kind, count in found.more.items() if count}
    rest = f"{fine(found.left, show)} of mix left over"
    rest += f", enough for {_counted(more, 'or')} more" if more else ""
    if found.filled and not found.count(found.filled):
        told += f", no {found.filled}"
    text = f"{numbers.capitalized(told)}; {rest}."
    if segments and (grains := found.count("grain")):
        text += _motors(grains, segments)
    values = {"left_over_g": 1e3 * found.left, "needed_g": 1e3 * found.needed}
    yield Finding("RESULT", text, values)
    back = Scale(sheet, show).said(found.forward)
    text = "Forward: the weigh sheet of these and of what is left over gives back "
    yield Finding("RESULT", f"{text}{back} on the scale.")


def _motors(grains: int, segments: int) -> str:
    """Say how many motors so many grains fill."""
    full, few = divmod(grains, segments)
    if not full:
        return f" A motor takes {segments}."
    over = f", and {few} over" if few else ""
    return f" That is {numbers.count(full, 'motor')} of {segments}{over}."


def _counted(counts: Mapping[str, int], word: str = "and") -> str:
    """Write numbers of castings: "4 grains and 3 strands"."""
    told = [numbers.count(count, kind) for kind, count in counts.items()]
    return numbers.listed(told).replace(" and ", f" {word} ") or "nothing"


# ----------------------------------------------------------------------------
# plan correct.

CORRECT_PARTS: dict[str, Part] = {
    "extra_g": Part(meaning="what is too much, by catalogue name"),
    "forward_g": Part(
        meaning="lines of the weigh sheet of the corrected batch, by catalogue name"
    ),
    "forward_off_g": Part(meaning="largest distance of a corrected line from those"),
    **WEIGH_PARTS,
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Mended:
    """A slip, what mends it, and the weigh sheet of what comes of it.

    `extra` is by catalogue name, `off` the largest distance of a line in the end from
    that sheet, `again`. [kg]
    """

    extra: Mapping[str, float]
    weighing: Weighing
    again: Sheet
    off: float


def correct_parts(found: Mended, judged: Sequence[Judged]) -> dict[str, Any]:
    """Return the numbers of ``plan correct``."""
    return {
        "extra_g": {name: 1e3 * mass for name, mass in found.extra.items()},
        "forward_g": {line.name: 1e3 * line.mass for line in found.again.lines},
        "forward_off_g": 1e3 * found.off,
        **weigh_parts(found.weighing, judged),
    }


def correct_screen(found: Mended, asked: Planned, show: Shown) -> Screen:
    """Return what to add after a slip, and what the batch becomes."""
    weighing = found.weighing
    sheet, correction = weighing.sheet, weighing.correction
    scale = Scale(sheet, show)
    told = [*much(sheet, show, correction)]
    if correction is not None:
        told += corrected_findings(weighing, correction, show, _adds(weighing, scale))
        if correction.possible:
            told.append(_forward(found, scale))
    for row in weighing.judged[1:]:
        for flag in row.flags.split("; "):
            if flag.endswith("do not fire it"):
                told.append(Finding("DO NOT", f"fire it {row.name}: {flag}."))
    slips = (
        f"{mass_said(mass, show)} of {sheet.line(name).typed}"
        for name, mass in found.extra.items()
    )
    title = f"{numbers.listed([*slips])} too much in "
    title += f"{mass_said(sheet.total, show)} of {asked.name}"
    annex = Annex("What the mix does, by a model", judged_blocks(weighing, show))
    table = lines_table(weighing, scale, paper=False)
    return screen_of(asked, show, title, told, (table,), (annex,))


def _adds(weighing: Weighing, scale: Scale) -> str:
    """Say what to add; empty for nothing."""
    if weighing.correction is None:
        return ""
    told = [
        f"{scale.said(one.add)} of {weighing.sheet.line(one.name).typed}"
        for one in weighing.correction.additions
        if one.steps
    ]
    return f"Add {numbers.listed(told)}." if told else ""


def _forward(found: Mended, scale: Scale) -> Finding:
    """Say that the weigh sheet of the new batch asks for what it came to."""
    step = found.weighing.sheet.equipment.step
    steps = math.ceil(found.off / step - 1e-6)
    close = f", to {scale.said(steps * step)}" if steps else ""
    return Finding(
        "RESULT",
        f"Forward: the weigh sheet of {scale.said(found.again.total)} gives back every "
        f"line of the last column{close}.",
        {"forward_off_g": 1e3 * found.off},
    )


# ----------------------------------------------------------------------------
# plan pans.

#: One number of pans.
PANS = fields(
    ("pans", "pans", "number", ""),
    ("mass_on_scale_g", "on the scale, a pan", "mass", "of one pan"),
    ("mass_together_g", "on the scale, together", "mass", "of all pans"),
    ("stays_behind_g", "stays in cups and pans", "mass", "of all pans"),
    ("castable_g", "to cast", "mass", "of all pans"),
    ("grains", "grains, whole ones of each pan", "number", "of all pans"),
    (
        "coarsest_percent",
        "a step of the scale in the smallest line, %",
        "number",
        "of the line with the fewest steps",
    ),
    (
        "rate_scatter_percent",
        "rate of a motor with grains of each pan, scatter %",
        "number",
        "standard deviation from motor to motor, the batches alone",
    ),
)

PANS_PARTS: dict[str, Part] = {
    "batch_g": Part(meaning="that was asked for, all pans together"),
    "pans": Part(meaning="so many"),
    "fewest": Part(meaning="pans of which none is above the limit; 0: no number does"),
    "limit_g": Part(meaning="on the scale in one pan, of the caution"),
    "choices": Part(meaning="one pan, and several", fields=PANS, many=True),
    "lines_g": Part(meaning="of each of the pans, by catalogue name"),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class InPans:
    """A batch in one pan and in several."""

    one: Sheet  # all of it in one pan
    each: Sheet  # one of the pans
    #: Whole grains of the one pan, and of one of several; None without a motor.
    grains: tuple[int, int] | None
    #: Of the rate, from batch to batch; None without a motor.
    scatter: BatchScatter | None
    fewest: int  # pans of which none is above the limit
    typed: bool  # whether the user said how many

    @property
    def sheets(self) -> tuple[Sheet, ...]:
        """Return one pan, and several where there are several."""
        return (self.one,) if self.each.pans == 1 else (self.one, self.each)


def pan_rows(found: InPans) -> list[dict[str, Any]]:
    """Return one row a number of pans."""
    rows = []
    for place, sheet in enumerate(found.sheets):
        pans = sheet.pans
        behind = sheet.cups + sheet.equipment.residue_pan
        scatter = found.scatter.middle if found.scatter is not None else math.nan
        grains = None if found.grains is None else pans * found.grains[place]
        rows.append(
            {
                "pans": pans,
                "mass_on_scale_g": 1e3 * sheet.total,
                "mass_together_g": 1e3 * pans * sheet.total,
                "stays_behind_g": 1e3 * pans * behind,
                "castable_g": 1e3 * pans * sheet.castable,
                "grains": grains,
                "coarsest_percent": 100.0 / min(line.steps for line in sheet.lines),
                "rate_scatter_percent": 100.0 * scatter / math.sqrt(pans),
            }
        )
    return rows


def pans_parts(found: InPans) -> dict[str, Any]:
    """Return the numbers of ``plan pans``."""
    return {
        "batch_g": 1e3 * found.one.total,
        "pans": found.each.pans,
        "fewest": found.fewest,
        "limit_g": 1e3 * MUCH,
        "choices": pan_rows(found),
        "lines_g": {line.name: 1e3 * line.mass for line in found.each.lines},
    }


def pans_screen(found: InPans, asked: Planned, show: Shown) -> Screen:
    """Return what goes into each pan, and what splitting does."""
    each = found.each
    told = [*_pans(found, show), *much(each, show)]
    batch, pans = mass_said(found.one.total, show), numbers.count(each.pans, "pan")
    rows = [*_line_rows(found, show), *_what_it_does(found, show)]
    heads = ("", *(numbers.count(sheet.pans, "pan") for sheet in found.sheets))
    blocks = (Table(heads=heads, rows=tuple(rows)),)
    if found.scatter is not None and each.pans > 1:
        words = batch_words(found.scatter).rstrip(".")
        asked = replace(asked, least_sure=words[:1].lower() + words[1:])
    return screen_of(asked, show, f"{batch} of {asked.name} in {pans}", told, blocks)


def _line_rows(found: InPans, show: Shown) -> Iterator[tuple[str, ...]]:
    """Yield what to weigh for a pan."""
    sheets = found.sheets
    scales = [Scale(sheet, show) for sheet in sheets]
    label = "" if scales[0].at_home else f", {scales[0].unit}"
    for lines in zip(*(sheet.lines for sheet in sheets), strict=True):
        told = (s.mass(x.mass) for s, x in zip(scales, lines, strict=True))
        yield (f"{lines[0].typed}, a pan{label}", *told)
    told = (s.mass(x.total) for s, x in zip(scales, sheets, strict=True))
    yield (f"on the scale, a pan{label}", *told)


def _what_it_does(found: InPans, show: Shown) -> Iterator[tuple[str, ...]]:
    """Yield what splitting does, one quantity a row."""
    rows = pan_rows(found)
    for one in PANS[3:]:
        values = [row[one.key] for row in rows]
        if one.key == "grains":
            told = [numbers.DASH if v is None else str(v) for v in values]
        elif one.kind == "mass":
            told = [fine(1e-3 * value, show) for value in values]
        else:
            told = [numbers.significant(value, 2) for value in values]
        if set(told) != {numbers.DASH}:
            yield (one.label, *told)


def _pans(found: InPans, show: Shown) -> Iterator[Finding]:
    """Yield how many pans, what they cost, and what they are: batches."""
    one, each, limit = found.one, found.each, show.bound("mass", 1e3 * MUCH)
    scale, pans = Scale(each, show), each.pans
    text = f"{numbers.count(pans, 'pan')} of {scale.said(each.total)}"
    if not found.typed and pans == 1:
        text += f": no more than {limit}, so one does"
    elif not found.typed:
        text += f": the fewest with no more than {limit} in one"
    elif found.fewest > pans:
        text += f"; {found.fewest} would leave no more than {limit} in one"
    yield Finding("RESULT", f"{text}.", {"pans": pans, "fewest": found.fewest})
    if pans > 1:
        lost = one.castable - pans * each.castable
        text = f"Splitting costs {fine(lost, show)} of what is cast"
        if found.grains is not None:
            before, after = found.grains[0], pans * found.grains[1]
            text += f"; {after} whole grains instead of {before}"
        yield Finding("RESULT", f"{text}.", {"castable_lost_g": 1e3 * lost})
        yield _batches(found)
    back = scale.said(pans * each.total)
    text = f"Forward: {numbers.count(pans, 'pan')} of {scale.said(each.total)} give "
    yield Finding("RESULT", f"{text}back {back} on the scale.")


def _batches(found: InPans) -> Finding:
    """Say that pans are batches, and what that does to the rate."""
    pans = found.each.pans
    text = f"{pans} pans are {pans} batches: cast strands of each."
    if found.scatter is None:
        return Finding("RESULT", text)
    middle = found.scatter.middle
    apart, mixed = (
        numbers.factor(100.0 * x * middle) for x in (math.sqrt(2.0), pans**-0.5)
    )
    text += f" Rates of two differ by {apart} % (one standard deviation); that of a "
    return Finding("RESULT", f"{text}motor with grains of each scatters by {mixed} %.")
