"""What ``castsugar burnrate`` answers: the law of each mix, its bands, its strands."""

from __future__ import annotations

import math
import shlex
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from pathlib import PurePath

from castsugar.motor.burn_law import outside
from castsugar.motor.mix_difference import MOST_BATCHES, batches_to_tell
from castsugar.motor.pressure_bands import FALSE_ALARM
from castsugar.motor.pressure_doubt import batch_scatter
from castsugar.motor.strand_model import DIFFER, RECIPES, Comparison, StrandModel
from castsugar.motor.strands import MixResult, band_laws
from castsugar.report import numbers
from castsugar.report.cautions import Chosen
from castsugar.report.field import Field, Row, described, listed
from castsugar.report.pressure_words import assumed_widths, batch_words, used_words
from castsugar.report.screen import Annex, Block, Finding, Paragraph, Screen, Table
from castsugar.report.shown import Shown
from castsugar.report.strand_rows import (
    COMPARISONS,
    GRAINS,
    LAWS,
    LEVEL,
    MIXES,
    MPA,
    ONE_PRESSURE,
    RATES,
    STRANDS,
    USED,
    Asked,
    burnrate_parts,
    fitted_of,
    grains_of,
    milli,
    rates_of,
    single_of,
)
from castsugar.units import to_celsius

#: Below this scatter of ln r, numbers were not measured.
_NO_SCATTER = 1e-9

#: A law whose replicates agree better than it does with this probability is a misfit.
_MISFIT = 0.05

#: Of the pressures where a law misses its strands, so many are named.
_NAMED = 2

ABOUT = (
    "Laws are of the strands as they burned: of this mix as it was ground, cooked and "
    "cast, by least squares on ln r, which weighs strands by their relative error. "
    "Rates of grains come from one model of all strands of the file: it adds what "
    "batches, motors and firings scatter. None comes from thermochemistry."
)


def burnrate_screen(
    model: StrandModel,
    asked: Asked,
    cautions: Chosen,
    show: Shown,
    invented: tuple[str, ...] = (),
) -> Screen:
    """Return what strands tell: one row of numbers a mix."""
    mixes = model.results.mixes
    strands = numbers.count(sum(len(one.strands) for one in mixes), "strand")
    measured = f"{numbers.count(len(mixes), 'mix', 'mixes')}, {strands}"
    told = [one for one in mixes if one.law is not None]
    pairs = model.comparisons(asked.grains_at[0])
    title = f"Burning rates from {asked.file}: {measured} {asked.bench_said}"
    return Screen(
        command="burnrate",
        title=title.rstrip(),
        findings=(
            *(f for one in mixes for f in _of_mix(one, model, asked, show)),
            *_differences(pairs, show),
        ),
        conditions=_conditions(told, show) if told else "",
        blocks=_blocks(model, asked, show),
        least_sure=_uncapital(batch_words(batch_scatter(model.model(mixes[0].mix)))),
        cautions=cautions.lines,
        cautions_count=len(cautions.lines) + cautions.rest,
        next=f"castsugar burnrate {shlex.join(asked.files)} --full",
        invented=invented,
        bench=PurePath(next(iter(invented), "")).name,
        annexes=_annexes(model, asked, show),
    )


def _uncapital(text: str) -> str:
    return text[:1].lower() + text[1:].removesuffix(".")


def mix_name(one: MixResult) -> str:
    """Return the name of a mix; the file may name none."""
    return one.mix or "(no mix named)"


def _mega(show: Shown, pressure: float, digits: int = 3) -> str:
    """Write a pressure [Pa] with its unit."""
    return show.amount("pressure", pressure / MPA, digits)


def _places(show: Shown, pressures: Sequence[float], joint: str = " and ") -> str:
    """Write pressures [Pa] with one unit."""
    told = [show.limit("pressure", p / MPA) for p in pressures]
    return f"{joint.join(told)} {show.unit('pressure')}"


def _of_mix(
    one: MixResult, model: StrandModel, asked: Asked, show: Shown
) -> Iterator[Finding]:
    """Yield the findings about one mix."""
    name, fit, test = mix_name(one), one.fit, one.lack_of_fit
    if one.law is None:
        yield from _no_law(one, model, asked, show)
    if fit is not None and fit.scatter < _NO_SCATTER:
        text = (
            f"{name}: no scatter at all. Such numbers come from a formula, not from "
            "strands; the bands mean nothing."
        )
        yield Finding("MISFIT", text)
    elif test is not None and is_misfit(one):
        text = (
            f"{name}: its strands do not follow one power law (p = "
            f"{numbers.probability(test.probability)}); its bands are too narrow. "
            f"Burn more near {_places(show, missed(one))}."
        )
        yield Finding("MISFIT", text, {"lack_of_fit_probability": test.probability})
    if one.law is not None:
        yield from _law_findings(one, model, asked, show)
    for odd in one.outliers:
        text = (
            f"{name}, line {asked.line(one.strands[odd.index])}: far from the law "
            "through the others, and in the fit. Look at its note, time and bubbles."
        )
        yield Finding("CAUTION", text)
    for text in one.cautions:
        if not text.startswith("lack of fit"):
            yield Finding("CAUTION", f"{name}: {show.said(text)}.")


def is_misfit(one: MixResult) -> bool:
    """Say whether replicates agree too well for the law to be right."""
    test = one.lack_of_fit
    return test is not None and test.probability < _MISFIT


def missed(one: MixResult) -> list[float]:
    """Return the pressures at which a law misses its strands most. [Pa]"""
    gaps: dict[float, list[float]] = {}
    for strand in one.strands:
        rate, _, _ = fitted_of(one, strand.pressure)
        gaps.setdefault(strand.pressure, []).append(math.log(1e3 * strand.rate / rate))
    worst = sorted(gaps, key=lambda p: -abs(math.fsum(gaps[p]) / len(gaps[p])))
    return sorted(worst[:_NAMED])


def _law_findings(
    one: MixResult, model: StrandModel, asked: Asked, show: Shown
) -> Iterator[Finding]:
    """Yield what a law says at the pressures asked for; of several by the table."""
    assert one.law is not None
    far = [p for p in asked.at if outside(one.law, p)]
    tested = _places(show, one.law.tested, " to ")
    if far:
        text = (
            f"{mix_name(one)} at {_places(show, far)}: tested {tested}. The law is "
            "continued there, its bands do not cover a bend: test there first."
        )
        yield Finding("OUTSIDE", text)
    if len(model.results.mixes) > 1:
        return
    for row in rates_of(one, asked.grains_at[:1]):
        text = (
            f"{mix_name(one)} burns {_rate(row, show)} at "
            f"{show.amount('pressure', row['pressure_MPa'])}, by your strands. "
            f"{_grain(one, model, asked, show)}"
        )
        values = {key: row[key] for key in ("rate_mm_s", "pressure_MPa")}
        yield Finding("RESULT", text, values)


def _grain(
    one: MixResult, model: StrandModel, asked: Asked, show: Shown, at: str = ""
) -> str:
    """Say how fast grains of a mix burn in a motor, at the first pressure asked."""
    (row,) = grains_of(one, model, replace(asked, at=asked.grains_at[:1]))
    told = [
        show.banded("rate", row[key], *row[f"{key}_interval"])
        for key in ("next_batch_mm_s", "this_batch_mm_s")
    ]
    return f"Grains in a motor{at}: next batch {told[0]}, this batch {told[1]}."


def _rate(row: Row, show: Shown) -> str:
    """Write the rate of a row with its band, where there is one."""
    rate, ends = row["rate_mm_s"], row["rate_mm_s_interval"]
    return (
        show.amount("rate", rate) if ends is None else show.banded("rate", rate, *ends)
    )


def _no_law(
    one: MixResult, model: StrandModel, asked: Asked, show: Shown
) -> Iterator[Finding]:
    """Yield what strands without a law of their own tell all the same."""
    name = mix_name(one)
    if one.fit is not None:
        yield Finding("CANNOT TELL", f"No law for {name}: {one.reason}.")
        return
    at = f" at {show.amount('pressure', asked.grains_at[0] / MPA)}"
    grain = _grain(one, model, asked, show, at)
    text = f"{_used(one, model, show)} {grain}"
    if one.single is not None:
        row = single_of(one)
        alone = "" if row["rate_mm_s_interval"] else ", one strand: no interval"
        here = _mega(show, one.single.pressure)
        text = f"It burns {_rate(row, show)} at {here}{alone}. {text}"
    yield Finding("RESULT", f"{name}: {text}")
    if one.single is not None:
        yield Finding("MISSING", _next_test(one, show))


def _used(one: MixResult, model: StrandModel, show: Shown) -> str:
    """Say that the model takes strands without a law, and which exponent."""
    low, high = float(one.pressure.min()), float(one.pressure.max())
    where = f"from {_places(show, (low, high), ' to ')}"
    if one.single is not None:
        where = f"at {_mega(show, one.single.pressure)}"
    return used_words(len(one.strands), where, model.exponent(one.mix))


def _next_test(one: MixResult, show: Shown) -> str:
    """Say which test would fix the exponent."""
    single, test = one.single, one.next_test
    assert single is not None
    if test is None:
        at = _mega(show, 2.0 * single.pressure)
        return f"Burn 2 more strands here, or more, then 3 or more at {at} or above."
    there = _mega(show, test.ratio * single.pressure)
    here = f"{test.more_here} more here, and " if test.more_here else ""
    text = (
        f"Burn {here}{test.strands} strands at {there} or above: n is then known to "
        f"{numbers.significant(test.exponent_u, 2)} (one standard error)."
    )
    if test.more_here:
        scatter = numbers.percent(single.scatter)
        text += f" Strands scatter by {scatter} %: look for bubbles and timing first."
    return text


def _differences(pairs: Sequence[Comparison], show: Shown) -> Iterator[Finding]:
    """Yield whether recipes burn differently, or only their batches did."""
    apart = [pair for pair in pairs if pair.verdict == DIFFER]
    if apart:
        told = numbers.listed([_ratio(p, p.ratio, (p.low, p.high)) for p in apart])
        at = _mega(show, apart[0].pressure, 2)
        text = f"The recipes differ: at {at} {told}. {_one_each(apart)}"
        ratios = {f"{p.first} to {p.second}": p.ratio for p in apart}
        yield Finding("RESULT", text, ratios)
    open_ = [p for p in pairs if p.of == RECIPES and p.verdict != DIFFER]
    if len(open_) == 1:
        yield _cannot_tell(open_[0], show)
    elif open_:
        told = numbers.listed([f"{_signed(p)}, {_chance(p)}" for p in open_])
        text = (
            f"Whether the recipes differ: at {_mega(show, open_[0].pressure, 2)} their "
            f"batches do, batches of one mix may differ as much: {told}."
        )
        yield Finding("CANNOT TELL", f"{text} {_one_each(open_)}")
    if without := [p for p in pairs if p.of != RECIPES]:
        yield _batches_only(without, show)


def _batches_only(pairs: Sequence[Comparison], show: Shown) -> Finding:
    """Say why recipes are not compared, and how far the batches are apart."""
    missing = [
        repr(name) for name in dict.fromkeys(n for p in pairs for n in p.missing)
    ]
    told = numbers.listed(
        [_ratio(p, p.batch_ratio, (p.batch_low, p.batch_high)) for p in pairs]
    )
    why = f"no recipe of {numbers.listed(missing)} is known"
    if not missing:
        why = f"{numbers.listed([f'{p.first} and {p.second}' for p in pairs])} are one"
    text = (
        f"Whether recipes differ: {why}. Only these batches do: at "
        f"{_mega(show, pairs[0].pressure, 2)} {told}."
    )
    if missing:
        text += " Name mixes as in the bench file, or by their parts."
    return Finding("CANNOT TELL", text)


def _cannot_tell(pair: Comparison, show: Shown) -> Finding:
    """Say why two batches do not tell two recipes apart, and what would."""
    apart = abs(math.log(pair.batch_ratio))
    text = (
        f"Whether {pair.first} and {pair.second} differ: the two batches differ by "
        f"{numbers.percent(math.expm1(apart))} % at {_mega(show, pair.pressure, 2)}, "
        f"batches of one mix may differ as much. {pair.first} burns faster with a "
        f"chance of {numbers.of_100(pair.chance)} of 100. {_one_each([pair])}"
    )
    few, more = (batches_to_tell(apart, s, pair.strand) for s in (0.02, 0.04))
    if few <= MOST_BATCHES:
        most = f"{more}" if more <= MOST_BATCHES else f"more than {MOST_BATCHES}"
        text += (
            f" About {few} batches of each would tell if your scatter is 2 %, {most} "
            "at 4 %."
        )
    return Finding("CANNOT TELL", text, {"chance_faster": pair.chance})


def _one_each(pairs: Sequence[Comparison]) -> str:
    """Say how many batches stand behind a comparison."""
    counts = [count for pair in pairs for count in pair.batches]
    if max(counts) == 1:
        return "One batch each."
    return f"{min(counts)} to {max(counts)} batches each."


def _signed(pair: Comparison) -> str:
    """Write how much faster the batch of the first mix burned."""
    more = math.expm1(math.log(pair.batch_ratio))
    told = numbers.percent(abs(more))
    word = "faster" if more > 0.0 else "slower"
    return f"{pair.first} {told} % {word} than {pair.second}"


def _chance(pair: Comparison) -> str:
    return f"chance of faster {numbers.of_100(pair.chance)} of 100"


def _ratio(pair: Comparison, ratio: float, ends: tuple[float, float]) -> str:
    """Write how many times faster the first burns, with the ends of it."""
    told, low, high = numbers.with_band(ratio, *ends)
    return f"{pair.first} burns {told} x {pair.second} ({low} to {high})"


def _conditions(told: Sequence[MixResult], show: Shown) -> str:
    """Say what a, p and n are of."""
    laws = [one.law for one in told if one.law is not None]
    ends = [end for law in laws for end in law.tested]
    span = _places(show, (min(ends), max(ends)), " to ")
    known = {to_celsius(law.temperature) for law in laws if law.temperature is not None}
    at = f", strands at {show.amount('temperature', max(known), 2)}" if known else ""
    if len(known) > 1:
        at = at.replace(" at ", " at up to ")
    return (
        f"r = a p^n, r in {show.unit('rate')}, p in {show.unit('pressure')} absolute, "
        f"{span}{at}; 95 %"
    )


def _blocks(model: StrandModel, asked: Asked, show: Shown) -> tuple[Block, ...]:
    """Return the table of laws and grains, and how the strands scatter."""
    told = [
        one
        for one in model.results.mixes
        if one.law is not None and one.fit is not None
    ]
    if not told:
        return ()
    rows = [row for one in told for row in _law_rows(one, model, asked, show)]
    heads = ["mix", f"tested, {show.unit('pressure')}", "a", "95 %", "n", "95 %"]
    for p in asked.at:
        heads += [f"r at {show.typed('pressure', p / MPA)}", "95 %"]
    for p in asked.grains_at:
        where = "" if asked.at else f" at {show.typed('pressure', p / MPA)}"
        heads += [f"grain{where}", "95 %"]
    tested = {one.law.tested for one in told if one.law}
    alike = len(tested) == 1 and len(rows) == len(told)
    left_out = {1 if alike else -1, *((3, 5) if asked.at else ())}
    keep = [i for i in range(len(heads)) if i not in left_out]
    first, grains = 6, 6 + 2 * len(asked.at)
    drop = [*range(grains - 1, first, -2), 5, 3, *range(len(heads) - 1, grains + 1, -1)]
    table = Table(
        heads=tuple(heads[i] for i in keep),
        rows=tuple(tuple(row[i] for i in keep) for row in rows),
        drop=tuple(keep.index(i) for i in drop if i in keep),
        spare=max(len(rows) - 4, 0),
    )
    return table, Paragraph(f"{_scatter(told)} {_GRAIN}", spare=True)


def _law_rows(
    one: MixResult, model: StrandModel, asked: Asked, show: Shown
) -> Iterator[list[str]]:
    """Yield the cells of each band of a law, for p in the unit shown."""
    assert one.fit is not None
    unit = MPA / show.number("pressure", 1.0)
    for place, band in enumerate(band_laws(one.fit, unit, LEVEL)):
        ends = [show.limit("pressure", p / MPA) for p in (band.low, band.high)]
        cells = [mix_name(one) if not place else "", " to ".join(ends)]
        rate = show.band("rate", 1e3 * band.rate, *milli(*band.rate_interval))
        n = numbers.with_band(band.exponent, *band.exponent_interval)
        if one.fit.scatter < _NO_SCATTER:  # its bands mean nothing
            rate = (show.bare("rate", 1e3 * band.rate), numbers.DASH, numbers.DASH)
            n = (numbers.significant(band.exponent), numbers.DASH, numbers.DASH)
        cells += [rate[0], " to ".join(rate[1:]), n[0], " to ".join(n[1:])]
        for row in rates_of(one, asked.at):
            told = show.band("rate", row["rate_mm_s"], *row["rate_mm_s_interval"])
            cells += ["", ""] if place else [told[0], " to ".join(told[1:])]
        for row in grains_of(one, model, asked):
            key = "next_batch_mm_s"
            told = show.band("rate", row[key], *row[f"{key}_interval"])
            cells += ["", ""] if place else [told[0], " to ".join(told[1:])]
        yield cells


def _scatter(told: Sequence[MixResult]) -> str:
    """Say how many strands there are and how they scatter."""
    counts = [len(one.strands) for one in told]
    scatter = [numbers.percent(one.fit.scatter) for one in told if one.fit]
    many = numbers.count(counts[0], "strand") + (" each" if len(told) > 1 else "")
    if len(set(counts)) > 1:
        many = f"{numbers.listed([str(c) for c in counts])} strands"
    return f"{many}; single strands scatter by {numbers.listed(scatter)} %."


def _annexes(model: StrandModel, asked: Asked, show: Shown) -> tuple[Annex, ...]:
    """Return what the full answer adds: each table of the document that has rows."""
    parts, mixes = burnrate_parts(model, asked), model.results.mixes
    ends = [p for one in mixes if one.law for p in one.law.tested]
    every = dict.fromkeys([*ends, *asked.at])
    at = [r for one in mixes for r in rates_of(one, tuple(every))]
    laws = [row for row in parts["laws"] if row["fit"] == USED]
    beside = [row for row in parts["laws"] if row["fit"] != USED]
    a, columns = f"a: rate of the law at {_places(show, (MPA,))}.", _only(LAWS, "fit")
    told: tuple[tuple[str, Sequence[Field], Sequence[Row], str, Layout], ...] = (
        ("Laws", columns, laws, a, _across),
        ("Least squares on r itself, not used", columns, beside, "", _across),
        ("Rates", RATES, at, _RATES_NOTE, _across),
        ("Grains in a motor", GRAINS, parts["grains"], "", _across),
        ("Scatter and lack of fit", MIXES, parts["mixes"], _BENDS, described),
        ("At one pressure", ONE_PRESSURE, parts["one_pressure"], "", described),
        ("Mixes compared", COMPARISONS, parts["comparisons"], _PAIRS, described),
        ("Strands", _only(STRANDS, *_UNTOLD), parts["strands"], "", _across),
    )
    said = _about(model, asked, show)
    about = Annex("About these numbers", (Paragraph(said),))
    return about, *(
        Annex(title, ((Paragraph(note),) if note else ()) + layout(some, rows, show))
        for title, some, rows, note, layout in told
        if rows
    )


Layout = Callable[[Sequence[Field], Sequence[Row], Shown], tuple[Table, ...]]


def _across(columns: Sequence[Field], rows: Sequence[Row], show: Shown) -> tuple[Table]:
    return (listed(columns, rows, show),)


#: Columns of the strands that the screen leaves to the files.
_UNTOLD = ("file", "length_mm", "time_s", "new_strand_mm_s", "status")

_RATES_NOTE = (
    "More strands narrow the band of the law; they do not narrow that of a new strand "
    "below the scatter."
)
_BENDS = (
    "A bend is taken where a gain as large on a straight law has a probability below "
    f"{numbers.typed(FALSE_ALARM / 2.0)}."
)
_PAIRS = (
    "Recipes differ where 95 % of their ratio leaves out 1: their batches may have "
    "been fast or slow ones. Without a recipe only the batches are compared."
)
_GRAIN = "Grain: of the next batch, in a motor."


def _only(every: Sequence[Field], *untold: str) -> tuple[Field, ...]:
    return tuple(one for one in every if one.key not in untold)


def _about(model: StrandModel, asked: Asked, show: Shown) -> str:
    """Say what the numbers are, and what was taken for granted."""
    text = f"{ABOUT} Ambient is taken as {_mega(show, asked.ambient, 4)} absolute."
    if len(asked.files) > 1:
        text += " Line 2:5 is line 5 of the second file."
    if widths := assumed_widths(model.scatter):
        text += f" {numbers.capitalized(widths)}."
    return text
