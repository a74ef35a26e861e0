"""The record of a change of mix: claims, limits, grams, evidence, what is open."""

from __future__ import annotations

import math
import re
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import replace
from typing import Any

from castsugar.comparison.change import BASE, NEW, Change
from castsugar.comparison.claims import (
    BURN_RATE,
    OPEN,
    RATE_WORD,
    SUPPORTED,
    Claim,
    Judged,
    Overturn,
)
from castsugar.comparison.compare import CANNOT_TELL, HIGHER, LOWER, Cell
from castsugar.comparison.evidence import STANDINGS, Evidence
from castsugar.data.load import load_database
from castsugar.data.records import Source
from castsugar.frozen import dataclass
from castsugar.limits import BROKEN, KEPT
from castsugar.mix.weighing import item_name
from castsugar.report import compare, numbers
from castsugar.report.apart import decided_at, percents, why_open
from castsugar.report.compare import C_STAR, FLAME, Compared, difference, interval
from castsugar.report.document import Part
from castsugar.report.field import FIELDS, TEXT, keyed
from castsugar.report.limit_words import (
    P95,
    PEAK,
    POUR,
    findings_of_many,
    limit_cell,
    margin_cell,
    pouring,
)
from castsugar.report.limit_words import Judged as Held
from castsugar.report.mix_words import composition, own_name, ratio, short_names
from castsugar.report.mixes import faults, ground, levels, misfits
from castsugar.report.numbers import capitalized
from castsugar.report.peak_causes import cause_finding
from castsugar.report.screen import (
    Annex,
    Blanks,
    Block,
    Figure,
    Finding,
    Listing,
    Paragraph,
    Screen,
    Table,
    Ticks,
)
from castsugar.report.shown import OF_UNIT, SI, Shown

#: What is filled in by hand on sheet 1.
BLANKS = ("date", "batch", "made by", "read by (safety officer)", "remarks")

#: Letters of a title that leave room for all of its first words.
_ROOM = 65

#: Shares of draws that differ by less are not told apart: some 3 standard errors of
#: paired draws. Ours.
_SHARE = 0.02

#: What the two mixes are called in a sentence, the new one first.
_BOTH = ("the new mix", "the mix made now")

#: A source in the words of a note: its key in brackets.
_KEY = re.compile(r"\(([a-z0-9-]+)\)")

#: What a standing means.
_MEANING = {
    "measured": "measured by you",
    "stated": "stated by you, not checked",
    "published": "from a source that can be read",
    "derived": "calculated from numbers that are published or measured",
    "from memory": "recalled from a source, no document at hand",
    "borrowed": "measured on something else than this mix",
    "assumed": "common practice or a guess, no source",
    "invented": "invented, not yours: an entry or a file says so",
}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Record:
    """A change of mix, with what its record says beside the numbers.

    `told` has the old mix first; `reason`: why, in the words of the user; `sources`:
    all that the database knows; `ticks`: what to tick before the new mix is fired;
    `firing`: the pressure of both against time, where there is a motor; `around`: the
    mixes around the two, where these lie in a plane.
    """

    told: Compared
    change: Change
    reason: str = ""
    sources: Mapping[str, Source]
    ticks: tuple[str, ...] = ()
    firing: Figure | None = None
    around: Figure | None = None

    @property
    def invented(self) -> bool:
        """Whether some number is an example's."""
        return bool(self.told.found.invented)

    @property
    def held(self) -> tuple[Held, ...]:
        """The limits, held at the new mix; none without limits."""
        return self.told.found.judged[NEW] if self.told.found.judged else ()


# ----------------------------------------------------------------------------
# The screen.


def justify_screen(record: Record, show: Shown) -> Screen:
    """Return what justify answers, and the sheet that is signed."""
    told, found = record.told, record.told.found
    grams, evidence = _grams(record, show), _counted(record)
    blocks = (_table(record, show), Paragraph(grams), Paragraph(evidence))
    reason = (Paragraph(f"Reason given: {record.reason}"),) if record.reason else ()
    sheet: list[Block] = [*reason]
    picture = record.firing or told.picture
    sheet += [picture] if picture is not None else []
    if record.ticks:
        sheet.append(Ticks(record.ticks, "Before the new mix is fired, tick or stop:"))
    return Screen(
        command="justify",
        title=_title(record),
        findings=tuple(justify_findings(record, show)),
        conditions=found.conditions(show),
        blocks=blocks,
        least_sure=compare.least_sure(told, (NEW,), _columns(record), show),
        cautions=found.cautions.lines,
        cautions_count=found.cautions.count,
        next=_next(record),
        invented=found.invented,
        bench=found.bench or "bench.toml",
        annexes=tuple(_annexes(record, show)),
        sheet=(*sheet, Blanks(BLANKS)),
    )


def _title(record: Record) -> str:
    """Return both mixes: as ratios where they hold the same in the same order."""
    base, new = record.change.mixes
    items = [[name for name, _ in mix.recipe] for mix in (base, new)]
    first, second = short_names([base, new])
    said = record.told.found.bench_said
    if items[0] == items[1]:
        told = [
            ratio(mix) if not own_name(mix) else f"{short} {ratio(mix)}"
            for mix, short in ((base, first), (new, second))
        ]
        of = "/".join(items[0])
        rest = f"{told[0]} -> {told[1]} ({of}) {said}".rstrip()
        return f"Change of mix: {rest}" if len(rest) < _ROOM else f"Change: {rest}"
    told = [
        composition(mix) if not own_name(mix) else f"{short} ({composition(mix)})"
        for mix, short in ((base, first), (new, second))
    ]
    whole = f"Change of mix: {told[0]} -> {told[1]} {said}".rstrip()
    if len(whole) <= _ROOM + len("Change of mix: "):
        return whole
    return f"Change of mix: {first} -> {second} {said}".rstrip()


def _claimed(record: Record) -> list[str]:
    return [one.claim.row for one in record.change.claims]


def justify_findings(record: Record, show: Shown) -> Iterator[Finding]:
    """Yield what became of the claims, then of the limits; graver ones move up."""
    change, found = record.change, record.told.found
    for one in change.claims:
        yield _claim(record, one, show)
    yield from (*faults(found), *misfits(found))
    yield from cause_finding(found.names, found.causes, show)
    yield from _limits(record, show)
    if not change.claims:
        yield _plain(record, show)


def _claim(record: Record, one: Judged, show: Shown) -> Finding:
    """Say what became of a claim; where it is open, what would tell."""
    cell = record.change.cells[one.claim.row]
    text = f'Claim "{one.claim.direction} {_quantity(one.claim, show)}": '
    text += _moved(one.claim, cell, show)
    found = cell.difference
    values = {one.claim.row: found.median, "interval": list(found.interval)}
    single = cell.recipes is not None and cell.recipes.batches == (1, 1)
    each = "; one batch each" if single else ""
    if one.verdict == SUPPORTED:
        return Finding("SUPPORTED", f"{text}, 95 %{each}.", values)
    if one.verdict != OPEN:
        other = LOWER if one.claim.direction == HIGHER else HIGHER
        said = f"{text}, 95 %{each}: the claim lies outside, it is {other}."
        return Finding("OUTSIDE", said, values)
    return Finding("CANNOT TELL", f"{text}. {_why(record, one)}", values)


def _quantity(claim: Claim, show: Shown) -> str:
    return RATE_WORD if claim.column == BURN_RATE else FIELDS[claim.row].named(show)


def _moved(claim: Claim, cell: Cell, show: Shown) -> str:
    """Write the difference that a claim is about, and of what it is one."""
    if claim.column == BURN_RATE:
        if cell.recipes is None:
            return "nothing to tell apart"
        middle, low, high = percents(cell.recipes.rate)
        text = f"{middle} % ({low} to {high})"
    else:
        unit = "x" if claim.row == POUR else show.unit(FIELDS[claim.row].kind)
        text = f"{difference(cell, show)[0]} {unit}".rstrip()
        text += f" ({interval(cell, show)})"
    return ", ".join(filter(None, (text, decided_at(cell, show))))


def _why(record: Record, one: Judged) -> str:
    """Say why a claim is open, and what would tell."""
    if one.why.startswith("it rests on invented"):
        return "It rests on invented numbers: nothing is supported on them."
    if one.why:
        return f"{capitalized(one.why)}."
    higher = one.chance if one.claim.direction == HIGHER else 1.0 - one.chance
    if why := why_open(record.change.cells[one.claim.row], _BOTH, higher):
        return f"{capitalized(why)}."
    parts = record.change.cells[one.claim.row].parts
    if not parts:
        return "The interval holds 0."
    label = record.told.shortened(parts[0].input.label)
    return f"{numbers.percent(parts[0].share)} % of the uncertainty: {label}."


def _limits(record: Record, show: Shown) -> Iterator[Finding]:
    """Yield how the new mix stands to the limits, and how the old one did."""
    found = record.told.found
    if not found.judged:
        return
    now, new = found.judged
    short = short_names(found.mixes)[BASE]
    short = "the mix made now" if "/" in short else f"{short}, made now,"
    broken = [one for one in now if one.verdict == BROKEN]
    labels = numbers.listed([FIELDS[one.column].named(show) for one in broken])
    old = f"{short} breaks {len(broken)} of {len(now)} limits ({labels})"
    untold = bool(broken)
    for one in findings_of_many(["the new mix"], [new], found.rows[NEW:], show):
        text = one.text if one.status == "DO NOT" else capitalized(one.text)
        if one.status == "KEPT":
            text = text.removesuffix(".") + _borrowed(record)
            text += f"; {old}." if untold else "."
            untold = False
        yield Finding(one.status, text, one.values)
    if untold:
        yield Finding("CHANGES", f"{capitalized(old)}.")


def _borrowed(record: Record) -> str:
    """Say on what limits that are kept rest, where it is nothing measured."""
    text = ""
    if any(held.standings[NEW].ground for held in record.change.limits):
        text += ", its pressure without own strands"
    return text + (", by invented numbers" if record.invented else "")


def _plain(record: Record, show: Shown) -> Finding:
    """Say what the change does, where nothing was claimed for it."""
    cells = record.change.cells
    if all(c.difference.interval == (0.0, 0.0) for c in cells.values()):
        return Finding("RESULT", "Both are the same recipe: nothing differs.")
    told = []
    for word in ("higher", "lower", CANNOT_TELL):
        names = [
            FIELDS[c].named(show)
            for c in (PEAK, POUR, C_STAR, FLAME)
            if c in cells and cells[c].verdict == word
        ]
        if names:
            told.append(f"{word}: {', '.join(names)}")
    said = capitalized("; ".join(told))
    return Finding("CHANGES", f"{said}. Nothing was claimed (--claim).")


# ----------------------------------------------------------------------------
# The numbers that decide.


def _columns(record: Record) -> list[str]:
    """Return the columns of the screen: claims, limits, flame, c*."""
    held = [PEAK if one.column == P95 else one.column for one in record.held]
    asked = dict.fromkeys((*_claimed(record), *held, FLAME, C_STAR))
    return [column for column in asked if column in record.change.cells]


def _table(record: Record, show: Shown) -> Table:
    """Return now and new beside limit, margin and change."""
    found = record.told.found
    held = {one.column: k for k, one in enumerate(record.held)}
    rows: list[tuple[str, ...]] = []
    shares = [row.get("pours_probability", math.nan) for row in found.rows]
    for column in dict.fromkeys((*_claimed(record), *held, *_columns(record))):
        if column == POUR and not any(math.isnan(x) for x in shares):
            rows.append(_pours(record, shares))
        if column in held:
            rows.append(_held(record, held[column], show))
        elif column in record.change.cells:
            rows.append(_free(record, column, show))
    heads = ("", "now", "new", "limit", "margin", "change, 95 %")
    used = [i for i in range(6) if i < 3 or any(row[i] for row in rows)]
    cut = tuple(tuple(row[i] for i in used) for row in rows)
    spare = max(len(rows) - 4, 0)
    return Table(heads=tuple(heads[i] for i in used), rows=cut, spare=spare)


def _pours(record: Record, shares: list[float]) -> tuple[str, ...]:
    """Return in how many of 100 draws the mixes pour."""
    judged = record.told.found.judged or ((), ())
    asked = [
        one.probability
        for one in record.held
        if one.column == POUR and one.probability is not None
    ]
    limit = f"{numbers.percent(asked[0])} asked" if asked else ""
    moved = shares[NEW] - shares[BASE]
    word = "higher" if moved > 0.0 else "lower"
    word = word if abs(moved) > _SHARE else CANNOT_TELL
    held = [[one for one in own if one.column == POUR] for own in judged]
    told = [
        pouring(own[0], row) if own else numbers.of_100(share)
        for own, row, share in zip(held, record.told.found.rows, shares, strict=True)
    ]
    return ("pours, of 100", *told, limit, "", word)


def _held(record: Record, place: int, show: Shown) -> tuple[str, ...]:
    """Return a quantity with a limit: what is held against it, now and new."""
    now, new = (own[place] for own in record.told.found.judged)
    values = [_judged(record, held, i, show) for i, held in ((BASE, now), (NEW, new))]
    limit, label = _bound(new, show).partition(" in ")[0], _label(new, show)
    return (label, *values, limit, margin_cell(new), _change(record, new.column, show))


def _label(held: Held, show: Shown) -> str:
    """Name what is held against a limit: of draws it is a quantile, p85."""
    one, level = FIELDS[held.column], held.of.level
    name = one.named(show)
    if level is not None:
        name = name.removeprefix("relative ").removeprefix("pour ")
        name += f" p{numbers.percent(level)}"
    return show.headed(name, one.kind)


def _bound(held: Held, show: Shown) -> str:
    """Write a limit without its sense, which people know of their own."""
    told = limit_cell(held, show)
    return told.removeprefix("at most ").removeprefix("at least ")


def _judged(record: Record, held: Held, mix: int, show: Shown) -> str:
    """Write what is held against a limit."""
    one = FIELDS[held.column]
    if held.probability is None:
        return one.text(record.told.found.rows[mix], show)
    if math.isinf(held.value):
        return one.endless
    return show.bare(one.kind, held.value)


def _free(record: Record, column: str, show: Shown) -> tuple[str, ...]:
    """Return a quantity without a limit."""
    one, rows = FIELDS[column], record.told.found.rows
    told = [one.text(row, show) for row in rows]
    return (one.headed(show), *told, "", "", _change(record, column, show))


def _change(record: Record, column: str, show: Shown) -> str:
    """Write verdict and interval of a difference."""
    cell = record.change.cells.get(PEAK if column == P95 else column)
    if cell is None:
        return ""
    if cell.verdict == CANNOT_TELL:
        return "the same" if cell.difference.interval == (0.0, 0.0) else CANNOT_TELL
    ends = interval(cell, show)
    return f"{cell.verdict} {ends}{' x' if column == POUR else ''}"


def _grams(record: Record, show: Shown) -> str:
    """Say what changes on the scale."""
    change, database = record.change, load_database()
    typed = {
        item_name(database, name): name
        for mix in change.mixes
        for name, _ in mix.recipe
    }
    unit = show.unit("mass")
    said = [
        f"{typed.get(one.item, one.item)} "
        f"{_weight(record, one.base, show).removesuffix(f' {unit}')} -> "
        f"{_weight(record, one.new, show)}"
        for one in change.amounts
        if one.change
    ]
    batch = show.typed("mass", 1e3 * sum(one.new for one in change.amounts))
    return f"On the scale, {batch}: {', '.join(said) or 'the same weights'}"


def _weight(record: Record, mass: float, show: Shown) -> str:
    """Write a mass [kg] in steps of the scale; in ounces where the scale has grams."""
    step = 1e3 * record.change.comparison.scale_step
    if show.system != SI:
        return show.amount("mass", 1e3 * mass, 4)
    return show.step_of(1e3 * mass, step)


def _counted(record: Record) -> str:
    """Count the numbers behind the record by their standing."""
    counts = Counter(one.standing for one in record.change.evidence)
    told = ", ".join(f"{counts[word]} {word}" for word in STANDINGS if counts[word])
    return f"Evidence: {told}."


def _next(record: Record) -> str:
    """Return what to do next, by the worst that was found."""
    told, change = record.told, record.change
    new = told.typed[NEW]
    broken = any(held.standings[NEW].verdict != KEPT for held in change.limits)
    open_pressure = any(
        one.verdict == OPEN and one.claim.row == PEAK for one in change.claims
    )
    if told.searchable and broken:
        return f"castsugar search{told.bench}"
    if told.searchable and open_pressure:
        return f"castsugar next{told.bench}"
    if told.found.bench and not broken:
        return f"castsugar weigh {new}{told.bench}"
    return f"castsugar evaluate {new} --full{told.bench}"


# ----------------------------------------------------------------------------
# Annexes.


def _annexes(record: Record, show: Shown) -> Iterator[Annex]:
    """Yield all that there is to say."""
    told, found = record.told, record.told.found
    first = told.picture if record.firing else None
    drawn = [one for one in (first, record.around) if one is not None]
    table = compare.differences_table(told, NEW, show)
    yield Annex("Differences", (*drawn, table))
    if found.judged:
        yield Annex(
            "Limits, margins, draws that keep them", (_standings(record, show),)
        )
    yield from compare.remarks(told)
    yield from compare.budgets(told, (NEW,), show)
    yield Annex("What would overturn this", (_overturns(record, show),))
    for one in (*levels(found, show), *ground(found, show)):
        yield Annex(one.title, tuple(_now_and_new(block) for block in one.blocks))
    yield from _evidence(record, show)
    yield compare.reproduce(told)


def _now_and_new(block: Block) -> Block:
    """Return a table of two mixes with their heads."""
    if isinstance(block, Table) and block.heads == ("", "A", "B"):
        return replace(block, heads=("", "now", "new"))
    return block


def _standings(record: Record, show: Shown) -> Table:
    """Return how both mixes stand to every limit."""
    rows = []
    pairs = zip(record.change.limits, *record.told.found.judged, strict=True)
    for held, *both in pairs:
        label = _label(both[NEW], show)
        for i, word in ((BASE, "now"), (NEW, "new")):
            standing = held.standings[i]
            told = numbers.of_100(standing.share)
            draws = numbers.DASH if math.isnan(standing.share) else f"{told} of 100"
            ground = f", {standing.ground}" if standing.ground else ""
            rows.append(
                (
                    f"{word}: {label}",
                    _judged(record, both[i], i, show),
                    _bound(both[i], show),
                    margin_cell(both[i]),
                    draws,
                    f"{standing.verdict}{ground}",
                )
            )
    heads = ("", "value", "limit", "margin", "draws", "verdict")
    return Table(heads=heads, rows=tuple(rows), left=frozenset({0, 5}))


def _overturns(record: Record, show: Shown) -> Table:
    """Return what stands against each verdict."""
    rows = tuple(
        (FIELDS[one.column].named(show), one.verdict, _overturn(record, one, show))
        for one in record.change.overturns
    )
    return compare.texts(("", "verdict", "what would turn it round"), rows)


def _overturn(record: Record, one: Overturn, show: Shown) -> str:
    """Say what stands against the verdict on one column."""
    if one.input is None:
        return "nothing that is uncertain moves the difference"
    label = show.said(record.told.shortened(one.input.label))
    if one.verdict == CANNOT_TELL:
        if one.alone:
            return f"settled once this is known: {label}"
        share = numbers.percent(one.share)
        return f"no single input settles it; {share} % of the uncertainty: {label}"
    if math.isinf(one.steps):
        return "no single input within 10 of its standard uncertainties"
    if math.isnan(one.steps):
        return f"most of the uncertainty: {label}"
    far = compare.sized(abs(one.steps) * one.input.uncertainty, one.input.unit, show)
    return f"{label} {far} {'higher' if one.steps > 0.0 else 'lower'} than taken"


def _evidence(record: Record, show: Shown) -> Iterator[Annex]:
    """Yield every number behind the record, by standing, with its source."""
    ordered = sorted(
        record.change.evidence, key=lambda one: STANDINGS.index(one.standing)
    )
    rows = tuple(
        (
            show.said(record.told.shortened(one.subject)),
            _value(one, show),
            one.standing,
            show.said(one.source),
        )
        for one in ordered
    )
    counts = Counter(one.standing for one in ordered)
    meaning = "; ".join(
        f"{word}: {_MEANING[word]}" for word in STANDINGS if counts[word]
    )
    heads = ("number", "value, ± standard uncertainty", "standing", "source")
    block = (Paragraph(f"{meaning}."), compare.texts(heads, rows))
    yield Annex("Every number and its source", block)
    cited = tuple(
        f"{key}: {one.citation}. {one.doi_or_url}".rstrip()
        for key, one in ((k, record.sources[k]) for k in source_keys(record))
    )
    yield Annex("Sources", (Listing(cited),))


def _value(one: Evidence, show: Shown) -> str:
    """Write a value with its standard uncertainty and unit.

    Examples
    --------
    >>> _value(Evidence(subject="", value=-494.6, uncertainty=0.6, unit="kJ/mol",
    ...     standing="published", source=""), Shown())
    '−494.6 ± 0.60 kJ/mol'
    """
    plain, bracket, scale = one.unit.partition(" (")
    kind = OF_UNIT.get(plain, "number")
    unit = show.unit(kind) if plain in OF_UNIT else plain
    apart = 1.0 if bracket else show.span(kind, 1.0)  # an uncertainty on its own scale
    parts = []
    if not math.isnan(one.value):
        parts.append(numbers.typed(numbers.tidy(show.number(kind, one.value))))
    if not math.isnan(one.uncertainty):
        parts.append(f"± {numbers.significant(apart * one.uncertainty, 2)}")
    if not parts:
        return numbers.DASH
    return f"{' '.join(parts)} {unit}{bracket}{scale}".rstrip()


def source_keys(record: Record) -> list[str]:
    """Return the keys of the sources of the evidence, rivals in notes too."""
    told = {one.source for one in record.change.evidence}
    told.update(key for one in record.change.evidence for key in _KEY.findall(one.note))
    return sorted(told & set(record.sources))


# ----------------------------------------------------------------------------
# JSON.


PARTS: dict[str, Part] = {
    **{key: part for key, part in compare.PARTS.items() if key != "limits"},
    "reason": Part(meaning="why the change is wanted, in the words of the user"),
    "justified": Part(
        meaning="whether every claim is supported, every limit kept, the new mix sound"
    ),
    "claims": Part(
        meaning="what the change is said to do",
        many=True,
        fields=keyed(
            ("column", TEXT, "that is meant, or burn_rate"),
            ("direction", TEXT, "lower or higher"),
            ("verdict", TEXT, "supported, contradicted or cannot tell"),
            (
                "probability",
                "number",
                "that it holds; of pressures by formula, of the recipes",
            ),
            ("why", TEXT, "why nothing can be told although draws differ"),
        ),
    ),
    "amounts": Part(
        meaning="what a batch takes, in steps of the scale",
        many=True,
        fields=keyed(
            ("item", TEXT, "catalogue name"),
            ("now_g", "number", "of the mix made now"),
            ("new_g", "number", "of the new mix"),
        ),
    ),
    "limits": Part(meaning="each limit, and under `mixes` how now and new stand to it"),
    "evidence": Part(
        meaning="every number that went in",
        many=True,
        fields=keyed(
            ("subject", TEXT, "what it is the value of"),
            ("value", "number", "in `unit`"),
            ("standard_uncertainty", "number", "on the scale that `unit` names"),
            ("unit", TEXT, "of both"),
            ("standing", TEXT, f"one of: {', '.join(STANDINGS)}"),
            ("source", TEXT, "key of `sources`, or words"),
            ("note", TEXT, "how it is known; rival values"),
        ),
    ),
    "overturns": Part(
        meaning="what stands against each verdict",
        many=True,
        fields=keyed(
            ("column", TEXT, "compared"),
            ("verdict", TEXT, "higher, lower or cannot tell"),
            ("input", TEXT, "that does most; empty where nothing is uncertain"),
            ("share_of_variance", "number", "of the difference"),
            ("standard_uncertainties_off", "number", "so that the difference vanishes"),
        ),
    ),
    "sources": Part(meaning="citations of the sources of the evidence, by key"),
}


def justify_parts(record: Record) -> dict[str, Any]:
    """Return what the JSON of justify holds."""
    own = record.change.to_dict()
    kept = ("justified", "claims", "amounts", "limits", "evidence", "overturns")
    return {
        **compare.compare_parts(record.told),
        "reason": record.reason,
        **{key: own[key] for key in kept},
        "sources": {k: record.sources[k].citation for k in source_keys(record)},
    }
