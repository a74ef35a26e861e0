"""The weigh sheet: what goes on the scale, in which order, and what it is for.

On the screen first; on paper a sheet to weigh by and to sign, and one of checks.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace

from castsugar import units
from castsugar.bench.lots import LotRecord
from castsugar.data.records import Caution
from castsugar.frozen import dataclass
from castsugar.kitchen.suspension import CLASSES
from castsugar.mix.weighing import DRY_BASIS
from castsugar.report import mixes, numbers
from castsugar.report.field import chosen
from castsugar.report.mixes import Mixes
from castsugar.report.screen import (
    BOX,
    Annex,
    Blanks,
    Block,
    Finding,
    Paragraph,
    Screen,
    Table,
    Ticks,
    in_order,
    notes,
)
from castsugar.report.shown import SI, Shown
from castsugar.weigh.correction import LOOKED_AT, Correction
from castsugar.weigh.inverse import MUCH, TOO_MUCH, fewest_pans
from castsugar.weigh.result import Weighing, balance
from castsugar.weigh.sheet import Line, Sheet

#: Masses of sentences: to so many g, or so many g that are 0.01 oz.
_FINE = {True: 0.1, False: 0.28349523125}

#: Holds a number and its unit together.
_HOLDS = "\xa0"

_PRACTICE, _MODEL = "common practice, no source", "kitchen model"

#: What stands on top of the sheet of a dummy.
_DUMMY = (
    "DUMMY: potassium chloride stands in for the nitrate, in its volume (0.943 of its "
    "mass), ground as fine. It teaches how the mix pours and sets; it is no "
    "propellant. It scalds like one; keep it apart and labelled."
)

#: What is ticked before heat comes: on the screen, and on paper the short cautions of
#: these keys with one line of our own. Common practice, no source.
_TICKS = (
    "no flame",
    "two thermometers",
    "water at hand",
    "face shield, gloves, cotton",
    "nobody else near",
    "way out clear",
)
_KEYS = (
    *("no-open-flame", "thermostat", "water-at-hand", "protection", "children"),
    *("grind-alone", "closed-vessel-hot"),
)
_OUT = "Way out known and clear; somebody outside knows what you do."

#: What is written by hand. Weights of cup and pan teach the residues of [pan].
_RECORD = ("batch, date", "heat from, to", "hottest bulk, {temperature}")
_SIGNED = ("weighed by, signature", "checked by, signature")
_PAN = (
    "cup, empty",
    "cup with what stays in it",
    "pan and tools, empty",
    "pan and mix before heat",
    "pan and mix at the pour",
    "pan and tools after the cast",
)
_LEARN = (
    "Cup: second less first is residue_cup of [pan]. Pan: last less empty is "
    "residue_pan; before less at the pour is the water that left (castsugar kitchen "
    "pan-weight)."
)

#: The order of work. Common practice, no source.
_GRIND = "Grind the oxidizer alone, with tools kept for it, before it is weighed."
_POWDERS = (
    "Weigh every powder by itself, each on its own paper, the small ones first: only "
    "what lies by itself can be taken off again."
)
_WRITE = (
    "Write down what the scale showed and check it against the sheet before anything "
    "is put together; castsugar weigh says what to add (option actual)."
)
_JOIN = (
    "Join the dry powders by hand: through a coarse sieve onto paper, or tumbled "
    "gently in a bag. Never grind, mill or blend them together."
)
_POUR = "Pour the liquid into the cold pan, scrape the cup, stir the dry mix in."
_MOULDS = (
    "Warm metal moulds and rods in an oven before there is mix near it: cold metal "
    "chills the skin at once."
)
_ROD = (
    "Leave the rod until the grain is hand-warm (castsugar kitchen judge --full says "
    "how long); setting takes longer. Weigh and measure each grain, never by water or "
    "oil displacement."
)
_HEAT = "Heat comes last: when all is weighed, checked, ticked and at hand."

_OFF = (
    "A line may be off until c* moves by 1 %, the peak pressure by 5 %, the pour "
    "viscosity by 20 %, or its share of the mix by 0.5 points (a tenth of itself below "
    "5 %), whichever comes first; each line alone, the others exact. Columns that were "
    "not computed do not limit."
)
NO_WATER = {
    True: "the water that leaves: no model of this mix, so none is counted",
    False: "the water that leaves: none is counted (add --cook '119 C 8 min')",
}
_EXACT = (
    "'sheet' is the recipe exactly, not its masses as rounded to the scale; so are the "
    "tolerances and the limits above."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """What a command knows beside the weighing.

    `mixes` is the mix of the sheet alone, its limits judged; `cautions` all that apply,
    `stops` the short words of those that forbid the work.
    """

    mixes: Mixes
    cautions: tuple[Caution, ...]
    stops: tuple[str, ...]
    next: str


@dataclass(frozen=True, slots=True)
class Scale:
    """How masses [kg] stand in a table: in the unit of the scale, in its steps."""

    sheet: Sheet
    show: Shown

    @property
    def unit(self) -> str:
        """What the scale shows."""
        return self.sheet.equipment.unit

    @property
    def at_home(self) -> bool:
        """Whether that is a unit of the system shown; else it stands in the head."""
        return (self.unit in ("g", "kg", "mg")) == (self.show.system == SI)

    @property
    def step(self) -> float:
        """Step of the scale, in its unit."""
        return numbers.tidy(self._own(self.sheet.equipment.step))

    def _own(self, mass: float) -> float:
        return units.convert(mass, "mass", self.unit)

    def head(self, label: str) -> str:
        """Return the head of a column of masses."""
        return label if self.at_home else f"{label}\n{self.unit}"

    def _cell(self, text: str) -> str:
        return f"{text} {self.unit}" if self.at_home else text

    def mass(self, mass: float | None) -> str:
        """Write a mass that stands on the scale."""
        if mass is None:
            return numbers.DASH
        return self._cell(numbers.on_scale(self._own(mass), self.step))

    def said(self, mass: float) -> str:
        """Write a mass that stands on the scale, for a sentence."""
        return self.mass(mass) if self.at_home else mass_said(mass, self.show)

    def off(self, mass: float) -> str:
        """Write a tolerance, rounded down."""
        told = numbers.down(self._own(mass)) if math.isfinite(mass) else numbers.DASH
        return numbers.DASH if told == numbers.DASH else self._cell(f"\u00b1 {told}")

    def steps(self) -> str:
        """Say what the step of the scale is."""
        return f"scale steps of {self._cell(numbers.typed(self.step))}"


def weigh_screen(
    found: Weighing, told: Told, show: Shown, *, paper: bool = False
) -> Screen:
    """Return the sheet.

    `paper`: for the page, boxes to tick, room to write, checks instead of annexes.
    """
    scale, mix = Scale(found.sheet, show), told.mixes
    ticks = Ticks(_TICKS, "Before heat, tick or stop:")
    record = tuple(x.format(temperature=show.unit("temperature")) for x in _RECORD)
    if paper:
        ticks = Ticks(safety_box(told.cautions), "Before heat, tick every line or stop")
    annexes = _checks(found, show) if paper else _annexes(found, told, show)
    return Screen(
        command="weigh",
        title=f"{title_of(found.sheet)} {mix.bench_said}".rstrip(),
        findings=in_order([*findings(found, told, show)]),
        conditions="" if found.sheet.charge.dummy else mix.conditions(show),
        blocks=(
            lines_table(found, scale, paper=paper),
            *_pans(found.sheet, show),
            Paragraph(goes_into(found.sheet, show), spare=True),
            ticks,
        ),
        least_sure=""
        if found.sheet.mix.water_lost
        else NO_WATER[found.conditions.kitchen is not None],
        cautions=mix.cautions.lines,
        cautions_count=len(told.cautions),
        next=told.next,
        invented=mix.invented,
        bench=mix.bench or "bench.toml",
        annexes=tuple(annexes),
        sheet=(Blanks(record), Blanks(_SIGNED)),
    )


def title_of(sheet: Sheet) -> str:
    """Return what is weighed, by mass."""
    charge = sheet.charge
    shares = (
        f"{charge.typed[item]} {numbers.typed(numbers.tidy(100.0 * share))}"
        for item, share in charge.shares.items()
    )
    head = "DUMMY, weigh sheet of an inert trial" if charge.dummy else "Weigh sheet"
    name = "" if ":" in charge.name else f" of {charge.name}"
    return f"{head}{name}: {', '.join(shares)}"


def safety_box(cautions: Sequence[Caution]) -> tuple[str, ...]:
    """Return what is ticked on paper before heat comes, at most 8 lines."""
    short = {caution.key: caution.short for caution in cautions}
    return (*(short[key] for key in _KEYS if key in short), _OUT)


# ----------------------------------------------------------------------------
# Findings.


def findings(found: Weighing, told: Told, show: Shown) -> Iterator[Finding]:
    """Yield what is to be said before anything is weighed."""
    if found.sheet.charge.dummy:
        yield Finding("RESULT", _DUMMY)
    yield from (Finding("DO NOT", text) for text in told.stops)
    yield from _allowed(found, show)
    yield from much(found.sheet, show, found.correction)
    if found.correction is not None:
        yield from corrected_findings(found, found.correction, show)
    for text in found.warnings(lambda mass, digits: mass_said(mass, show, digits)):
        yield Finding("CAUTION", f"{numbers.capitalized(text)}.")
    yield from _limits(found, told.mixes, show)


def _limits(found: Weighing, mix: Mixes, show: Shown) -> Iterator[Finding]:
    """Yield what became of the limits; of a dummy only what the kitchen says."""
    if found.sheet.charge.dummy:
        known = tuple(one for one in mix.judged[0] if one.verdict != "not computed")
        burnt = {**mix.rows[0], "status": "ok"}
        kitchen = replace(mix, judged=(known,), rows=(burnt,))
        yield from (f for f in mixes.findings(kitchen, show) if f.status != "RESULT")
        return
    yield from mixes.findings(mix, show)
    for row in found.judged[1:]:
        for flag in row.flags.split("; "):
            if flag.endswith("do not fire it"):
                yield Finding("DO NOT", f"fire it {row.name}: {flag}.")


def mass_said(mass: float, show: Shown, digits: int = 4) -> str:
    """Write a mass [kg] for a sentence."""
    if digits < 4:
        return show.amount("mass", 1e3 * mass, digits)
    return show.typed("mass", 1e3 * mass)


def fine(mass: float, show: Shown) -> str:
    """Write a mass [kg] to a tenth of a gram, or a hundredth of an ounce."""
    return show.step_of(1e3 * mass, _FINE[show.system == SI])


def _allowed(found: Weighing, show: Shown) -> Iterator[Finding]:
    """Yield that the sheet asks for more than the user allows."""
    if found.too_much and found.at_most is not None:
        asked, allowed = (
            mass_said(x, show) for x in (found.sheet.total, found.at_most)
        )
        text = f"The sheet asks for {asked}, more than the {allowed} that you allow."
        yield Finding("REFUSED", f"{text} Cast fewer at a time, or cook in more pans.")


def much(
    sheet: Sheet,
    show: Shown,
    correction: Correction | None = None,
    option: str = "--pans",
) -> Iterator[Finding]:
    """Yield that it is much in one pan, and how many pans it takes.

    `option` is what takes their number; a sheet is read where nothing can be typed.
    """
    total = max(sheet.total, correction.total if correction else 0.0)
    if total <= MUCH:
        return
    most = MUCH if total <= TOO_MUCH else TOO_MUCH
    bound = show.bound("mass", 1e3 * most)
    way = "Cook less at a time."
    if correction is not None:
        way = "Take off rather than make so much, or divide it."
    elif pans := fewest_pans(sheet):
        way = f"Cook it in {pans} pans ({option} {pans})."
    text = f"{fine(total, show)} in one pan is more than {bound}. {way}"
    values = {"mass_on_scale_g": 1e3 * total, "limit_g": 1e3 * most}
    if most == MUCH:
        yield Finding("CAUTION", text, values)
    else:
        yield Finding("DO NOT", f"cook it so: {text}", values)


def corrected_findings(
    found: Weighing, correction: Correction, show: Shown, do: str = ""
) -> Iterator[Finding]:
    """Yield what to do about what was weighed; of a big batch first to take off.

    `do` says in words what a table asks for, where there is more to say than that.
    """
    sheet, off = found.sheet, list(_take_off(found, correction, show))
    big = max(correction.total, sheet.total) > MUCH
    if not correction.possible and found.at_most is not None:
        total, most = mass_said(correction.total, show), mass_said(found.at_most, show)
        text = f"Cannot be corrected: the batch would become {total}, more than the "
        yield Finding("REFUSED", f"{text}{most} that you allow.")
    yield from off if big else ()
    if found.within and not correction.nothing_to_do:
        text = "Every weighed line is within what it may be off: you may leave it."
        yield Finding("RESULT", text)
    if correction.possible:
        step = found.sheet.equipment.step
        worst = show.amount("mass", 1e3 * max(correction.worst, 0.01 * step), 2)
        yield Finding(
            "RESULT",
            f"{do or _to_do(correction)} Then {mass_said(correction.total, show)} are "
            f"on the scale, {numbers.typed(numbers.three(100.0 * correction.factor))} "
            f"% of the sheet in the pan; no line is further than {worst} from the "
            "ratio.",
            {"mass_on_scale_g": 1e3 * correction.total},
        )
    yield from () if big else off


def _take_off(
    found: Weighing, correction: Correction, show: Shown
) -> Iterator[Finding]:
    """Yield what may be taken off instead, as long as it lies by itself."""
    if correction.take_off is not None:
        name, more = correction.take_off
        typed = found.sheet.line(name).typed
        yield Finding(
            "RESULT",
            f"As long as the {typed} lies by itself and nothing has touched it, take "
            f"{mass_said(more, show)} off it and ask again. Out of a mix nothing is "
            "ever taken.",
            {"take_off_g": 1e3 * more},
        )


def _to_do(correction: Correction) -> str:
    """Say in words what the table of a correction asks for."""
    if not correction.nothing_to_do:
        return "To meet the ratio do what the table says."
    if correction.complete:
        return "Nothing is to be added."
    if correction.factor > 1.0 + 1e-9:
        return "Too much is weighed; the lines not yet weighed follow, a larger batch."
    return "Nothing is to be added to what is weighed; go on."


# ----------------------------------------------------------------------------
# Sheet 1: what is weighed, where it goes.


def lines_table(found: Weighing, scale: Scale, *, paper: bool) -> Table:
    """Return the lines in the order of weighing."""
    heads, rows = ["in this order", scale.head("weigh")], []
    correction = found.correction
    lots = correction is None and any(line.lot for line in found.sheet.lines)
    heads += [scale.head(x) for x in ("showed", "do now", "then")] if correction else []
    heads += [scale.head("may be off")]
    left = {0}
    if paper:
        heads += ["done", "scale showed", "initials"]
    if lots:
        left |= {len(heads)}
        heads += ["from lot"]
    for place, line in enumerate(found.sheet.lines):
        row = [f"{place + 1}  {line.typed}", scale.mass(line.mass)]
        if correction is not None:
            row += _done(correction, place, scale)
        row += [scale.off(found.tolerances[line.name].mass)]
        row += [BOX, "", ""] if paper else []
        row += [_lot(line.lot, brief=True)] if lots else []
        rows.append(tuple(row))
    end = ["   together", scale.mass(found.sheet.total)]
    if correction is not None:
        end += ["", "", scale.mass(correction.total)]
    rows.append((*end, *("",) * (len(heads) - len(end))))
    if lots:
        rows[-1] = (*rows[-1][:-1], scale.steps())
    return Table(
        heads=tuple(heads),
        rows=tuple(rows),
        left=frozenset(left),
        caption=f"By mass as weighed; {scale.steps()}",
    )


def _done(correction: Correction, place: int, scale: Scale) -> list[str]:
    """Return what the scale showed, what to do, and what it comes to."""
    entry = correction.additions[place]
    verb = "weigh" if entry.actual is None else "add"
    do = f"{verb} {scale.mass(entry.add)}" if entry.steps else "nothing"
    return [scale.mass(entry.actual), do, scale.mass(entry.total)]


def _lot(lot: LotRecord | None, *, brief: bool = False) -> str:
    """Say which lot a line comes from; `brief`: its first number and its date."""
    if lot is None:
        return ""
    stated = [
        f"{key.replace('_', ' ')} {numbers.typed(value)}"
        if key == "dextrose_equivalent"
        else f"{numbers.typed(numbers.tidy(100.0 * value))} % {key}"
        + (" (dry basis)" if key in DRY_BASIS and not brief else "")
        for key, value in lot.stated.items()
    ]
    told = stated[:1] if brief else [*stated, lot.source]
    words = ", ".join(x for x in (*told, lot.date) if x)
    return f"{lot.name}: {words or 'nothing measured'}"


def _pans(sheet: Sheet, show: Shown) -> Iterator[Paragraph]:
    """Yield how many pans there are, each alike."""
    if sheet.pans > 1:
        whole = fine(sheet.pans * sheet.total, show)
        yield Paragraph(f"This is one of {sheet.pans} pans alike: {whole} together.")


def goes_into(sheet: Sheet, show: Shown) -> str:
    """Say where the mass of a pan goes."""
    parts = [
        f"{words.replace('stays in', 'in')} {fine(mass, show).replace(' ', _HOLDS)}"
        for words, mass in balance(sheet)
        if mass > 0.0 and not words.startswith("left over")
    ]
    return f"Goes into: {', '.join(parts)}."


# ----------------------------------------------------------------------------
# The checks: order of work, what it should look and weigh like before the pour.


def order_of_work(sheet: Sheet, show: Shown) -> tuple[str, ...]:
    """Return the order of work. Common practice, no source."""
    wet = [line for line in sheet.lines if line.kind in ("syrup", "liquid")]
    dry = len(sheet.lines) - len(wet)
    nitrate = any(line.kind == "oxidizer" for line in sheet.lines)
    steps = [_GRIND] if nitrate else []
    for line in wet:
        cup = mass_said(line.cup, show, 2)
        stays = f"; {cup} of it stay in the cup and are counted" if line.cup else ""
        steps.append(
            f"Tare a cup and weigh the {line.typed} into it first{stays}. It is the "
            "hardest to hit."
        )
    steps += [_POWDERS] if dry else []
    steps += [_WRITE, *([_JOIN] if dry > 1 else ()), *([_POUR] if wet else ())]
    steps += [_MOULDS, _HEAT, _ROD]
    return tuple(f"{count}  {text}" for count, text in enumerate(steps, start=1))


def readiness(found: Weighing, show: Shown, *, paper: bool) -> Table:
    """Return what the mix should look and weigh like before it is poured."""
    sheet, row = found.sheet, found.judged[0].row
    lines = [
        ("mix before heat", fine(sheet.in_pan, show), "sheet"),
        ("mix at the pour", *_at_pour(found, show)),
    ]
    ends = [row.get(f"pour_window_{end}_C", math.nan) for end in ("low", "high")]
    if all(map(math.isfinite, ends)):
        low, high = (show.bare("temperature", x) for x in ends)
        warm = f"pours from {low} to {high} {show.unit('temperature')}"
        if found.conditions.kitchen is not None:
            warm += f"; {show.cook(found.conditions.kitchen.cook)}"
        lines.append(("bulk at the pour", warm, _MODEL))
    flows = {name: words for name, *_, words in CLASSES}
    kind = str(row.get("flow_class"))
    if kind in flows:
        lines.append(("how it flows", f"{kind}: {flows[kind]}", _MODEL))
    lines += [
        ("boiling", "stopped: no steam bubbles in a minute of stirring", _PRACTICE),
        ("surface", "smooth and glossy; no dry powder, no grains, no foam", _PRACTICE),
        ("colour", "pale; brown or smoking: heat off, move away", _PRACTICE),
    ]
    rows = tuple((a, b, *((BOX, "") if paper else ()), c) for a, b, c in lines)
    heads = ("", "should be", *(("is", "found") if paper else ()), "from")
    left = frozenset({0, 1, len(heads) - 1})
    return Table(
        heads=heads, rows=rows, left=left, caption="Ready to pour; in brackets 95 %"
    )


def _at_pour(found: Weighing, show: Shown) -> tuple[str, str]:
    """Return the mass of the mix at the pour with its band, and whence it is known."""
    sheet = found.sheet
    told = fine(sheet.in_pan - sheet.water_lost, show)
    if found.water is None or not all(map(math.isfinite, found.water)):
        return told, "sheet, stated water"
    low, high = (
        fine(sheet.in_pan - water, show).split()[0] for water in reversed(found.water)
    )
    return (f"{told} ({low} to {high})" if low != high else told), _MODEL


def _checks(found: Weighing, show: Shown) -> Iterator[Annex]:
    """Yield the page of checks."""
    weights = Blanks(tuple(f"{x}, {show.unit('mass')}" for x in _PAN))
    yield Annex(
        f"Checks. {title_of(found.sheet)}",
        (
            notes(order_of_work(found.sheet, show)),
            Paragraph(f"Order of work: {_PRACTICE}."),
            readiness(found, show, paper=True),
            weights,
            Paragraph(_LEARN),
        ),
    )


# ----------------------------------------------------------------------------
# All the rest, of --full.


def _annexes(found: Weighing, told: Told, show: Shown) -> Iterator[Annex]:
    """Yield all that there is to say of a sheet."""
    sheet = found.sheet
    rows = tuple(
        (words, show.step_of(1e3 * mass, 0.1 * _FINE[show.system == SI]))
        for words, mass in (*balance(sheet), ("on the scale", sheet.total))
    )
    yield Annex("Where it goes", (Table(heads=("", "mass"), rows=rows),))
    portions = [line for line in sheet.lines if len(line.portions) > 1]
    if portions:
        yield Annex("In portions", (_portions(portions, Scale(sheet, show)),))
    work = notes((*order_of_work(sheet, show), f"({_PRACTICE})"))
    yield Annex("Order of work", (work,))
    ready = replace(readiness(found, show, paper=False), caption="In brackets 95 %")
    yield Annex("Ready to pour", (ready,))
    if len(sheet.lines) > 1:
        yield Annex("How exact it must be", (_exact(found), Paragraph(_OFF)))
    yield Annex("What this mix does, by a model", judged_blocks(found, show))
    lots = [f"{x.typed}: {_lot(x.lot)}" for x in sheet.lines if x.lot is not None]
    if lots:
        yield Annex("Lots", (notes(lots),))
    said = found.notes(lambda mass, digits: mass_said(mass, show, digits))
    if said:
        yield Annex("Notes", (notes(said),))
    yield Annex("Assumed", (notes(told.mixes.notes),))


def _portions(lines: Sequence[Line], scale: Scale) -> Table:
    step = scale.sheet.equipment.step
    rows = tuple(
        (line.typed, " + ".join(scale.mass(count * step) for count in line.portions))
        for line in lines
    )
    return Table(heads=("", scale.head("weigh")), rows=rows)


def _exact(found: Weighing) -> Table:
    """Return what one step of the scale does to a line's share, and what limits it."""
    every = [(line, found.tolerances[line.name]) for line in found.sheet.lines]
    rows = tuple(
        (
            line.typed,
            numbers.significant(100.0 * one.per_step["share"], 2),
            one.decided_by,
        )
        for line, one in every
    )
    heads = ("", "a step of the scale,\npoints of its share", "decided by")
    return Table(heads=heads, rows=rows, left=frozenset({0, 2}))


def judged_blocks(found: Weighing, show: Shown) -> tuple[Block, ...]:
    """Return the mix of the sheet, as weighed and as corrected; and what is special."""
    rows = []
    for one in chosen(LOOKED_AT):
        cells = [one.text(judged.values, show) for judged in found.judged]
        if any(cell not in (numbers.DASH, "not computed") for cell in cells):
            rows.append((one.headed(show), *cells))
    names = tuple(judged.name for judged in found.judged)
    table = Table(heads=("", *names), rows=tuple(rows))
    said = [
        f"{judged.name}: {text}"
        for judged in found.judged
        for text in (judged.status, judged.flags)
        if text and text != "ok"
    ]
    return (table, Paragraph(_EXACT), *((notes(said),) if said else ()))
