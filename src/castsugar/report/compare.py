"""Mixes against a baseline: levels, limits, differences with their 95 % intervals."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from itertools import chain
from typing import Any

from castsugar.comparison.compare import (
    CANNOT_TELL,
    MOST_FAILED,
    RULE,
    Cell,
    Comparison,
)
from castsugar.comparison.drawn_batches import DECADES
from castsugar.comparison.uncertain_inputs import Input
from castsugar.frozen import dataclass
from castsugar.report import numbers
from castsugar.report.apart import (
    decided_at,
    not_burned,
    percents,
    why_open,
)
from castsugar.report.document import Part
from castsugar.report.field import FIELDS, INTERVAL, TEXT, Field, keyed
from castsugar.report.fired import FIRING
from castsugar.report.limit_words import PEAK, limit_rows, rests_on
from castsugar.report.mix_words import ratio, short_names, titled
from castsugar.report.mixes import (
    Mixes,
    annexes,
    findings,
    letter,
    side_by_side,
)
from castsugar.report.screen import (
    Annex,
    Figure,
    Finding,
    Listing,
    Paragraph,
    Screen,
    Table,
)
from castsugar.report.settling import test_of
from castsugar.report.shown import OF_UNIT, Shown
from castsugar.report.terminal import WIDTH

C_STAR, ISP = "characteristic_velocity_m_s", "specific_impulse_s"
FLAME = "flame_temperature_K"

#: Differences that a default screen shows at most, and mixes that it shows them of.
_ROWS, _BESIDE = 5, 2

#: Logarithms from here on have no exponential that a float holds.
_LONG = 700.0

#: Letters of a title in full.
_TITLE = 150

#: Columns beside the name of a mix where its differences stand: verdict, gaps.
_PAIR = 15

#: Inputs of a budget that are named, those above such a share of the variance.
_NAMED, _LEAST = 3, 0.05


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Compared:
    """Mixes side by side, with what a screen says beside the numbers."""

    found: Mixes  # levels and limits, as evaluate tells them
    comparison: Comparison
    typed: tuple[str, ...]  # the recipes, as a command line takes them
    bench: str = ""  # " --bench FILE" where the next command needs it, else empty
    searchable: bool = False  # whether the bench file says what to search for
    #: What gives the same document again: command, files, versions.
    reproduce: tuple[str, ...] = ()
    picture: Figure | None = None

    @property
    def others(self) -> list[int]:
        """Return the places of all mixes but the baseline."""
        own = self.comparison.baseline
        return [i for i in range(len(self.typed)) if i != own]

    @property
    def cells(self) -> Sequence[Mapping[str, Cell]]:
        """Return of each mix the differences by column."""
        return self.comparison.cells

    @property
    def base(self) -> str:
        """Return the name of the baseline."""
        return self.found.names[self.comparison.baseline]

    def shortened(self, text: str) -> str:
        """Return a text with short names in place of whole recipes."""
        mixes = self.found.mixes
        for mix, short in zip(mixes, short_names(mixes), strict=True):
            text = text.replace(f" of {mix.name} at ", f" of {short} at ")
            text = text.replace(f"({mix.name})", f"({short})")
            text = text.replace(f"in {mix.name}", f"in {short}")
        return text


# ----------------------------------------------------------------------------
# The screen.


def compare_screen(told: Compared, show: Shown) -> Screen:
    """Return what compare answers."""
    found, columns = told.found, deciding(told.found, told.comparison)
    return Screen(
        command="compare",
        title=f"compare: {_title(told)}",
        findings=tuple(compare_findings(told, show)),
        conditions=_conditions(found, show),
        blocks=(side_by_side(found, show, _left(found)), against(told, show)),
        least_sure=least_sure(told, told.others, columns, show),
        cautions=found.cautions.lines,
        cautions_count=found.cautions.count,
        next=_next(told),
        invented=found.invented,
        bench=found.bench or "bench.toml",
        annexes=tuple(_annexes(told, show)),
        sheet=(told.picture,) if told.picture is not None else (),
    )


def _title(told: Compared) -> str:
    """Return the names of mixes and what their shares are of; of many their number."""
    found = told.found
    items = {tuple(n for n, _ in mix.recipe) for mix in found.mixes if _nameless(mix)}
    if len(items) > 1:
        names = [f"{letter(i)} {titled(mix)}" for i, mix in enumerate(found.mixes)]
        title = f"{'; '.join(names)} {found.bench_said}".rstrip()
    else:
        of = f" ({'/'.join(items.pop())})" if items else ""
        title = f"{', '.join(found.names)}{of} {found.bench_said}".rstrip()
    if len(title) > _TITLE:
        base = told.base
        title = f"{len(found.names)} mixes, against {base} {found.bench_said}".rstrip()
    return title


def _nameless(mix: Any) -> bool:
    return short_names([mix])[0] == ratio(mix)


def _left(found: Mixes) -> tuple[str, ...]:
    """Return what the table of a default screen leaves out where a motor is known."""
    return (FLAME, "density_impulse_kg_s_m3") if _is_fired(found) else ()


def _is_fired(found: Mixes) -> bool:
    return any(row.get("burn_law_origin") for row in found.rows)


def _conditions(found: Mixes, show: Shown) -> str:
    """Return the conditions, and what p95 is in place of whose motor it is."""
    said: str = found.conditions(show)
    motor = f"; motor of {found.bench}"
    return said.replace(motor, "; p95: 95 of 100 below") if _is_fired(found) else said


def compare_findings(told: Compared, show: Shown) -> Iterator[Finding]:
    """Yield what became of the limits, then what is told apart and what is not."""
    found = told.found
    for one in findings(found, show):
        yield openly(one, found)
    yield from _pressures(told, show)
    if not found.judged:
        yield from _told_apart(told, show)


def openly(one: Finding, found: Mixes) -> Finding:
    """Return a finding on limits that are kept, with what it rests on in it."""
    if one.status != "KEPT" or not found.judged:
        return one
    text = one.text.removesuffix(".")
    pressed = any(held.column.startswith("peak_") for held in found.judged[0])
    whose = [
        name
        for name, row in zip(found.names, found.rows, strict=True)
        if name in text and _origin(row) not in ("", "your strands", "your firing")
    ]
    if pressed and whose:
        alone = sum(name in text for name in found.names) == 1
        of = "its pressure" if alone else f"the pressure of {numbers.listed(whose)}"
        text += f", {of} without own strands"
    text += ", by invented numbers" if found.invented else ""
    return Finding(one.status, f"{text}.", one.values)


def _origin(row: Mapping[str, Any]) -> str:
    return rests_on(str(row.get("burn_law_origin") or ""))


def _pressures(told: Compared, show: Shown) -> Iterator[Finding]:
    """Yield that the peaks of recipes are not told apart, and why."""
    base = told.comparison.baseline
    unsure = {
        i: told.cells[i][PEAK]
        for i in told.others
        if PEAK in told.cells[i] and told.cells[i][PEAK].verdict == CANNOT_TELL
    }
    known = {i: cell for i, cell in unsure.items() if cell.recipes is not None}
    if not known:
        return
    names = {i: letter(i) for i in (base, *known)}
    whose = " or ".join([names[i] for i in known])
    first = next(iter(known.values()))
    if len(known) == 1:
        why = why_open(first, (whose, names[base]), first.chance_higher)
    elif len(known) > _BESIDE:
        whose, why = f"any of {len(known)} mixes", _why_many(names, known)
    else:
        lower = [numbers.percent(1.0 - cell.chance_higher) for cell in known.values()]
        why = f"{_why_many(names, known)}; chance that it is lower "
        why += f"{numbers.listed(lower)} %"
    said = f"Whether {whose} changes the peak pressure, {decided_at(first, show)}"
    yield Finding(CANNOT_TELL.upper(), f"{said}: {why}.")


def _why_many(names: Mapping[int, str], known: Mapping[int, Cell]) -> str:
    """Say in few words why several recipes are not told from the baseline."""
    recipes = [cell.recipes for cell in known.values() if cell.recipes]
    each = [recipes[0].away[1], *(one.away[0] for one in recipes)]
    away = dict(zip(names.values(), each, strict=True))
    bare = sum(share != 0.0 for share, _ in each)
    if len(known) > _BESIDE and bare:
        told = "none" if bare == len(each) else f"{len(each) - bare}"
        return f"{told} of all {len(each)} was burned"
    return not_burned(away) or "batches of one mix may differ as much"


def _told_apart(told: Compared, show: Shown) -> Iterator[Finding]:
    """Yield of each other mix which columns differ for certain; without limits."""
    base = told.base
    for i in told.others:
        cells = told.cells[i]
        known = [cells[c] for c in (C_STAR, FLAME) if c in cells]
        said = [
            f"{FIELDS[c.column].named(show)} {c.verdict}, "
            f"{' to '.join(difference(c, show)[1:])} {_unit(c.column, show)}".rstrip()
            for c in known
            if c.verdict != CANNOT_TELL
        ]
        name = told.found.names[i]
        if said:
            yield Finding("RESULT", f"{name} against {base}: {'; '.join(said)}.")
        else:
            yield Finding("CANNOT TELL", f"{name} from {base} by c* and flame.")


def _next(told: Compared) -> str:
    """Return what to do next: justify what keeps the limits, or search."""
    judged = told.found.judged
    kept = [
        i
        for i in told.others
        if all(one.verdict == "kept" for one in (judged or [()] * (i + 1))[i])
    ]
    if not kept and told.searchable:
        return f"castsugar search{told.bench}"
    both = (told.comparison.baseline, (kept or told.others)[0])
    base, new = (told.typed[i] for i in both)
    return f"castsugar justify {base} {new}{told.bench} --page change.html"


# ----------------------------------------------------------------------------
# Differences.


def deciding(found: Mixes, comparison: Comparison) -> list[str]:
    """Return the columns of a default screen: those with a limit, then c*, Isp."""
    held = [one.column for own in found.judged[:1] for one in own]
    held = [PEAK if one.startswith("peak_") else one for one in held]
    others = (C_STAR, ISP) if held else (C_STAR, ISP, FLAME, PEAK)
    known = comparison.cells[0]
    return [c for c in dict.fromkeys((*held, *others)) if c in known][:_ROWS]


def named(column: str, show: Shown) -> str:
    """Return the label of a difference, with its unit; a ratio has none."""
    one = FIELDS[column]
    return f"{one.named(show)}, ratio" if column in DECADES else one.headed(show)


def _unit(column: str, show: Shown) -> str:
    return "" if column in DECADES else show.unit(FIELDS[column].kind)


def difference(cell: Cell, show: Shown) -> tuple[str, str, str]:
    """Write a difference and the ends of its 95 % interval; viscosities as ratios."""
    found = cell.difference
    three = (found.median, *found.interval)
    if math.isnan(three[1]):
        return (numbers.DASH,) * 3
    if cell.column not in DECADES:
        return show.difference(FIELDS[cell.column].kind, *three)
    ratios = [math.exp(x) if x < _LONG else math.inf for x in three]
    digits = 2
    if cell.verdict != CANNOT_TELL:  # an end beside 1 is not printed as 1
        near = min(three[1:], key=abs)
        digits += sum(abs(near) < 0.5 * 0.1**k for k in (1, 2, 3))
    first, low, high = (numbers.significant(x, digits) for x in ratios)
    return first, low, high


def interval(cell: Cell, show: Shown) -> str:
    """Write the 95 % interval of a difference: none where nothing differs at all."""
    if cell.difference.interval == (0.0, 0.0):
        return "the same"
    _, low, high = difference(cell, show)
    return f"{low} to {high}" if low != numbers.DASH else numbers.DASH


def against(told: Compared, show: Shown) -> Table:
    """Return the differences that decide; of many mixes only the verdicts."""
    columns = deciding(told.found, told.comparison)
    cells = told.cells
    names = told.found.names
    head = f"against {names[told.comparison.baseline]}"
    if len(told.others) > _BESIDE:
        heads = [FIELDS[c].short or FIELDS[c].named(show) for c in columns]
        words = tuple(
            (names[i], *(cells[i][c].verdict for c in columns)) for i in told.others
        )
        spare = max(len(words) - 4, 0)
        drop = tuple(range(len(columns), 1, -1))
        return Table(
            heads=(head, *heads), rows=words, drop=drop, spare=spare, of="mixes"
        )
    rows = tuple(
        (
            named(c, show),
            *chain.from_iterable(
                (cells[i][c].verdict, interval(cells[i][c], show)) for i in told.others
            ),
        )
        for c in columns
    )
    if len(head) + sum(_PAIR + len(names[i]) for i in told.others) > WIDTH:
        names = tuple(map(letter, range(len(names))))
        head = f"against {names[told.comparison.baseline]}"
    heads = [text for i in told.others for text in ("", names[i])]
    return Table(heads=(head, *heads), rows=rows, spare=max(len(rows) - 2, 0))


def least_sure(
    told: Compared, mixes: Sequence[int], columns: Sequence[str], show: Shown
) -> str:
    """Say which input is behind most of the first difference that is not told."""
    for column in columns:
        cells = [told.cells[i][column] for i in mixes]
        open_ones = [c for c in cells if c.parts and c.verdict == CANNOT_TELL]
        if open_ones:
            part = max((cell.parts[0] for cell in open_ones), key=lambda p: p.share)
            share = numbers.percent(part.share)
            return (
                f"{_label(told, part.input, show)}: {share} % of the uncertainty of "
                f"the difference in {FIELDS[column].named(show)}"
            )
    return ""


# ----------------------------------------------------------------------------
# Annexes.


def _annexes(told: Compared, show: Shown) -> Iterator[Annex]:
    """Yield all that there is to say."""
    base = told.base
    for i in told.others:
        table = differences_table(told, i, show)
        yield Annex(f"{told.found.names[i]} against {base}", (table,))
    yield from remarks(told)
    yield from budgets(told, told.others, show)
    yield from annexes(told.found, show)
    yield reproduce(told)


def differences_table(told: Compared, mix: int, show: Shown) -> Table:
    """Return every column of one mix beside the baseline."""
    cells, base = told.cells[mix], told.comparison.baseline
    rows = [
        (
            FIELDS[column].headed(show),
            _level(told, base, column, show),
            _level(told, mix, column, show),
            interval(cell, show) + (" x" if column in DECADES else ""),
            verdict(cell),
        )
        for column, cell in cells.items()
        if column in told.comparison.told
    ]
    heads = ("", "now", "new", "difference, 95 %", "verdict")
    if len(told.typed) > _BESIDE or base:
        heads = (heads[0], letter(base), letter(mix), *heads[3:])
    return Table(heads=heads, rows=tuple(rows), left=frozenset({0, 4}))


def _level(told: Compared, mix: int, column: str, show: Shown) -> str:
    return FIELDS[column].text(told.found.rows[mix], show)


def verdict(cell: Cell) -> str:
    """Write a verdict, with better or worse where people agree which way is good."""
    if cell.difference.failed > MOST_FAILED:
        share = numbers.percent(cell.difference.failed)
        return f"{CANNOT_TELL}: {share} % of the draws gave no number"
    return f"{cell.verdict}: {cell.merit}" if cell.merit else cell.verdict


def _label(told: Compared, one: Input, show: Shown) -> str:
    return show.said(told.shortened(one.label))


def budgets(told: Compared, mixes: Sequence[int], show: Shown) -> Iterator[Annex]:
    """Yield where the uncertainty of differences comes from, and what settles it."""
    cells = told.cells
    rows = []
    for column in told.comparison.told:
        for i in mixes:
            parts = [p for p in cells[i][column].parts[:_NAMED] if p.share >= _LEAST]
            said = "; ".join(
                f"{_label(told, p.input, show)} {numbers.percent(p.share)} %"
                for p in parts
            )
            label = FIELDS[column].named(show)
            whose = f", {letter(i)}" if len(mixes) > 1 else ""
            rows.append((f"{label}{whose}", said or "nothing uncertain"))
    yield from _burn_rates(told, mixes, show)
    yield Annex(
        "Uncertainty budgets of the differences",
        (
            Paragraph(
                "Contributions in % of the variance; the first is what to measure."
            ),
            texts(("difference in", "contributions"), rows),
        ),
    )
    yield Annex("Tests that would settle it", (_tests(told, mixes, show),))


def _burn_rates(told: Compared, mixes: Sequence[int], show: Shown) -> Iterator[Annex]:
    """Yield how far burn rates differ: of the recipes, and of the next grains."""
    rows = []
    at = math.nan
    for i in mixes:
        found = told.cells[i][PEAK].recipes if PEAK in told.cells[i] else None
        if found is None:
            continue
        at = found.rate.pressure
        whose = f", {letter(i)}" if len(mixes) > 1 else ""
        for what, one in (("recipes", found.rate), ("next grains", found.grains)):
            mean, low, high = percents(one)
            chance = numbers.percent(one.chance)
            rows.append((f"{what}{whose}", f"{mean} ({low} to {high})", chance))
    if rows:
        heads = ("burning rate", "difference, %, 95 %", "chance higher, %")
        said = (
            f"At {show.amount('pressure', 1e-6 * at)}, by formula. Verdicts and "
            "claims are on the recipes; the next grain of each scatters with its batch "
            "and its firing."
        )
        block = (Paragraph(said), texts(heads, rows))
        yield Annex("Burning rates: recipes, and the next grains", block)


def texts(heads: tuple[str, ...], rows: Sequence[tuple[str, ...]]) -> Table:
    """Return a table of texts, all of them flush left."""
    return Table(heads=heads, rows=tuple(rows), left=frozenset(range(len(heads))))


def _tests(told: Compared, mixes: Sequence[int], show: Shown) -> Table:
    """Return what to do about the inputs that come first somewhere."""
    firsts: dict[str, Input] = {}
    for i in mixes:
        for cell in told.cells[i].values():
            if cell.parts:
                firsts.setdefault(cell.parts[0].input.key, cell.parts[0].input)
    rows = []
    for one in firsts.values():
        said = test_of(one)
        said += f". Sources conflict: {one.conflict}" if one.conflict else ""
        known = f"{'+' if one.half else '±'}{sized(one.uncertainty, one.unit, show)}"
        rows.append((f"{_label(told, one, show)} ({known})", show.said(said)))
    return texts(("input, standard uncertainty", "what would settle it"), rows)


def sized(uncertainty: float, unit: str, show: Shown) -> str:
    """Write an uncertainty with its unit; kelvins are differences."""
    kind = "temperature difference" if unit == "K" else OF_UNIT.get(unit, "number")
    told = numbers.significant(show.span(kind, uncertainty), 2)
    return f"{told} {show.unit(kind) or unit}".rstrip()


def remarks(told: Compared) -> Iterator[Annex]:
    """Yield what a reader of the differences has to know."""
    if told.comparison.notes:
        yield Annex("Notes on the differences", (Listing(told.comparison.notes),))


def reproduce(told: Compared) -> Annex:
    """Return what gives the same document again, byte for byte."""
    said = "The same command, files and versions give the same bytes."
    return Annex("Reproduce", (Paragraph(said), Listing(told.reproduce)))


# ----------------------------------------------------------------------------
# JSON and CSV.


_MEDIAN = (
    "median of the paired draws, mix less baseline; ln of the ratio of viscosities"
)

_CELLS = keyed(
    ("mix", TEXT, "name"),
    ("key", TEXT, "column that is compared"),
    ("difference", "number", _MEDIAN),
    ("verdict", TEXT, RULE),
    ("merit", TEXT, "better or worse, or empty"),
    ("probability_higher", "number", "share of the paired draws above 0, ties shared"),
    (
        "probability_best",
        "number",
        "null where people do not agree which way is good",
    ),
    ("share_failed", "number", "of the draws, without a number"),
    ("one_scale_step", "number", "largest change that one step of the scale makes"),
    ("one_scale_step_of", TEXT, "item of which a step too much makes it"),
    ("decided_at_MPa", "number", "of a pressure: where burning rates are held apart"),
    ("burn_rate_difference_percent", "number", "of the recipes, by formula"),
    ("probability_burn_rate_higher", "number", "of the recipe, by formula"),
    ("burn_rate_next_grains_difference_percent", "number", "batch and firing in it"),
    ("probability_burn_rate_next_grains_higher", "number", "of the next grain"),
)

PARTS: dict[str, Part] = {
    "rule": Part(meaning="rule of the verdicts"),
    "draws": Part(meaning="of everything uncertain"),
    "seed": Part(meaning="of the draws"),
    "scale_step_g": Part(meaning="smallest step of the scale"),
    "baseline": Part(meaning="name of the mix that the others are held against"),
    "mixes": Part(
        meaning="one row a mix, 95 % bands under <key>_interval",
        fields=(*FIELDS.values(), *FIRING),
        many=True,
    ),
    "recipes": Part(meaning="as weighed and as cast, one a mix"),
    "limits": Part(meaning="of every mix: limit, what is held against it, verdict"),
    "differences": Part(
        meaning="of every mix and column against the baseline", fields=_CELLS, many=True
    ),
    "inputs": Part(meaning="what is uncertain, how much, what would settle it"),
    "notes": Part(meaning="what a reader has to know"),
}


def compare_parts(told: Compared) -> dict[str, Any]:
    """Return what the JSON of compare holds."""
    compared, found = told.comparison.to_dict(), told.found
    kept = ("rule", "draws", "seed", "scale_step_g", "baseline", "notes")
    return {
        **{key: compared[key] for key in kept},
        "mixes": [dict(row) for row in found.rows],
        "recipes": [mix.to_dict() for mix in found.cast],
        "limits": limit_rows([mix.name for mix in found.mixes], found.judged),
        "differences": [
            _cell(own["name"], cell)
            for own in compared["mixes"]
            for cell in own["columns"]
        ],
        "inputs": [
            {**shown, "what_would_settle_it": test_of(one)}
            for shown, one in zip(
                compared["inputs"], told.comparison.draws.inputs, strict=True
            )
        ],
    }


def _cell(name: str, cell: Mapping[str, Any]) -> dict[str, Any]:
    """Return one difference; its level stands in the row of the mix."""
    rest = {k: v for k, v in cell.items() if k not in ("column", "value", "interval")}
    return {"mix": name, "key": cell["column"], **rest}


def compare_rows(told: Compared) -> tuple[list[dict[str, Any]], list[Field]]:
    """Return a row a mix for CSV: levels, bands, limits, verdicts of differences."""
    rows, extra = [], {}
    for i, row in enumerate(told.found.rows):
        own = dict(row)
        for one in told.found.judged[i] if told.found.judged else ():
            key = f"limit_on_{one.column}"
            extra[key] = f"kept, broken or not computed: the limit on {one.column}"
            own[key] = one.verdict
        for column, cell in told.cells[i].items():
            key = f"difference_of_{column}"
            extra[f"{key}_verdict"] = "higher, lower or cannot tell"
            own[key] = cell.difference.median
            own[key + INTERVAL] = cell.difference.interval
            own[f"{key}_verdict"] = cell.verdict
        rows.append(own)
    fields: list[Field] = [*FIELDS.values(), *FIRING]
    for key in rows[0]:
        if key in extra:
            fields += keyed((key, TEXT, extra[key]))
        elif key.startswith("difference_of_") and not key.endswith(INTERVAL):
            fields += keyed((key, "number", _MEDIAN))
    return rows, fields
