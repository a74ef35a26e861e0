"""What ``castsugar burnrate`` answers: the law of each mix, its bands, its strands."""

from __future__ import annotations

import math
import shlex
from collections.abc import Callable, Iterator, Sequence
from pathlib import PurePath

from castsugar.motor.burn_differences import Comparison
from castsugar.motor.burn_law import outside
from castsugar.motor.pressure_bands import FALSE_ALARM
from castsugar.motor.strands import MixResult, StrandResults, band_laws
from castsugar.report import numbers
from castsugar.report.cautions import Chosen
from castsugar.report.field import Field, Row, described, listed
from castsugar.report.screen import Annex, Block, Finding, Paragraph, Screen, Table
from castsugar.report.shown import Shown
from castsugar.report.strand_rows import (
    BORROWED,
    COMPARISONS,
    LAWS,
    LEVEL,
    MIXES,
    MPA,
    ONE_PRESSURE,
    RATES,
    STRANDS,
    USED,
    Asked,
    borrowed_of,
    burnrate_parts,
    fitted_of,
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
    "A rate is measured on your strands or borrowed from a publication, and each line "
    "says which; none comes from thermochemistry. A law belongs to this mix as it was "
    "ground, cooked and cast. Law: least squares on ln r, which weighs strands by "
    "their relative error."
)


def burnrate_screen(
    results: StrandResults,
    asked: Asked,
    cautions: Chosen,
    show: Shown,
    invented: tuple[str, ...] = (),
) -> Screen:
    """Return what strands tell: one row of numbers a mix."""
    mixes = results.mixes
    count = sum(len(one.strands) for one in mixes)
    measured = f"{_count(len(mixes), 'mix', 'es')}, {_count(count, 'strand')}"
    told = [one for one in mixes if one.law is not None]
    return Screen(
        command="burnrate",
        title=f"Burning-rate law from {asked.file}: {measured}, all measured",
        findings=(
            *(f for one in mixes for f in _of_mix(one, asked, show, len(mixes) == 1)),
            *_differences(results.comparisons, show),
        ),
        conditions=_conditions(told, show) if told else "",
        blocks=_blocks(mixes, asked, show),
        least_sure="repeatability between batches (not in these strands)",
        cautions=cautions.lines,
        cautions_count=len(cautions.lines) + cautions.rest,
        next=f"castsugar burnrate {shlex.join(asked.files)} --full",
        invented=invented,
        bench=PurePath(next(iter(invented), "")).name,
        annexes=_annexes(results, asked, show),
    )


def mix_name(one: MixResult) -> str:
    """Return the name of a mix; the file may name none."""
    return one.mix or "(no mix named)"


def _count(count: int, what: str, more: str = "s") -> str:
    return f"{count} {what}" if count == 1 else f"{count} {what}{more}"


def _mega(show: Shown, pressure: float, digits: int = 3) -> str:
    """Write a pressure [Pa] with its unit."""
    return show.amount("pressure", pressure / MPA, digits)


def _places(show: Shown, pressures: Sequence[float], joint: str = " and ") -> str:
    """Write pressures [Pa] with one unit."""
    told = [show.limit("pressure", p / MPA) for p in pressures]
    return f"{joint.join(told)} {show.unit('pressure')}"


def _of_mix(
    one: MixResult, asked: Asked, show: Shown, alone: bool
) -> Iterator[Finding]:
    """Yield the findings about one mix."""
    name, fit, test = mix_name(one), one.fit, one.lack_of_fit
    if one.law is None:
        yield from _no_law(one, asked, show)
    if fit is not None and fit.scatter < _NO_SCATTER:
        text = (
            f"{name}: no scatter at all. Such numbers come from a formula, not from "
            "strands; the bands mean nothing."
        )
        yield Finding("MISFIT", text)
    elif test is not None and test.probability < _MISFIT:
        text = (
            f"{name}: its strands do not follow one power law (p = "
            f"{numbers.probability(test.probability)}); its bands are too narrow. "
            f"Burn more near {_places(show, _missed(one))}."
        )
        yield Finding("MISFIT", text, {"lack_of_fit_probability": test.probability})
    if one.law is not None:
        yield from _law_findings(one, asked, show, alone)
    for odd in one.outliers:
        text = (
            f"{name}, line {asked.line(one.strands[odd.index])}: far from the law "
            "through the others, and in the fit. Look at its note, time and bubbles."
        )
        yield Finding("CAUTION", text)
    for text in one.cautions:
        if not text.startswith("lack of fit"):
            yield Finding("CAUTION", f"{name}: {show.said(text)}.")


def _missed(one: MixResult) -> list[float]:
    """Return the pressures at which a law misses its strands most. [Pa]"""
    gaps: dict[float, list[float]] = {}
    for strand in one.strands:
        rate, _, _ = fitted_of(one, strand.pressure)
        gaps.setdefault(strand.pressure, []).append(math.log(1e3 * strand.rate / rate))
    worst = sorted(gaps, key=lambda p: -abs(math.fsum(gaps[p]) / len(gaps[p])))
    return sorted(worst[:_NAMED])


def _law_findings(
    one: MixResult, asked: Asked, show: Shown, alone: bool
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
    for row in rates_of(one, asked.at[:1] or one.law.tested[1:]) if alone else ():
        text = (
            f"{mix_name(one)} burns {_rate(row, show)} at "
            f"{show.amount('pressure', row['pressure_MPa'])}, by your strands."
        )
        values = {key: row[key] for key in ("rate_mm_s", "pressure_MPa")}
        yield Finding("RESULT", text, values)


def _rate(row: Row, show: Shown) -> str:
    """Write the rate of a row with its band, where there is one."""
    rate, ends = row["rate_mm_s"], row["rate_mm_s_interval"]
    return (
        show.amount("rate", rate) if ends is None else show.banded("rate", rate, *ends)
    )


def _no_law(one: MixResult, asked: Asked, show: Shown) -> Iterator[Finding]:
    """Yield why a mix has no law, and what it has instead."""
    yield Finding("CANNOT TELL", f"No law for {mix_name(one)}: {one.reason}.")
    if one.single is None:
        return
    row = single_of(one)
    alone = ", one strand: no interval" if row["rate_mm_s_interval"] is None else ""
    at = _mega(show, one.single.pressure)
    text = f"{mix_name(one)} burns {_rate(row, show)} at {at}{alone}."
    yield Finding("RESULT", text, {"rate_mm_s": row["rate_mm_s"]})
    offers = borrowed_of(one, asked)
    if offers:
        at = offers[0]["pressure_MPa"]
        here = [row for row in offers if row["pressure_MPa"] == at]
        ends = [end for row in here for end in row["rate_mm_s_interval"]]
        low, high = show.bare("rate", min(ends), 2), show.amount("rate", max(ends), 2)
        text = (
            f"{_count(len(here), 'published law')} moved through that rate: {low} to "
            f"{high} at {show.amount('pressure', at)}. Not measured."
        )
        yield Finding("BORROWED", text)
    yield Finding("MISSING", _next_test(one, show))


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
    """Yield which mixes burn differently: those that do in one sentence a first mix."""
    for first in dict.fromkeys(pair.first for pair in pairs):
        apart = [p for p in pairs if p.first == first and p.verdict == "differ"]
        if apart:
            text = (
                f"The mixes differ: at {_mega(show, apart[0].pressure, 2)} {first} "
                f"burns {numbers.listed([_ratio(p) for p in apart])}. One batch each: "
                "batches may differ as much."
            )
            ratios = {f"rate_ratio to {p.second}": p.ratio for p in apart}
            yield Finding("RESULT", text, ratios)
            break  # the annex has the others
    for pair in pairs:
        if pair.verdict != "differ":
            why = pair.reason or f"it burns {_ratio(pair)}"
            text = f"Whether {pair.first} and {pair.second} burn differently: {why}."
            yield Finding("CANNOT TELL", text)


def _ratio(pair: Comparison) -> str:
    told, low, high = numbers.with_band(pair.ratio, pair.low, pair.high)
    return f"{told} x {pair.second} ({low} to {high})"


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


def _blocks(mixes: Sequence[MixResult], asked: Asked, show: Shown) -> tuple[Block, ...]:
    """Return the table of laws, and how the strands scatter."""
    told = [one for one in mixes if one.law is not None and one.fit is not None]
    if not told:
        return ()
    rows = [row for one in told for row in _law_rows(one, asked, show)]
    heads = ["mix", f"tested, {show.unit('pressure')}", "a", "95 %", "n", "95 %"]
    for p in asked.at:
        heads += [f"r at {show.typed('pressure', p / MPA)}", "95 %"]
    tested = {one.law.tested for one in told if one.law}
    alike = len(tested) == 1 and len(rows) == len(told)
    left_out = {1 if alike else -1, 5 if asked.at else -1}
    keep = [i for i in range(len(heads)) if i not in left_out]
    table = Table(
        heads=tuple(heads[i] for i in keep),
        rows=tuple(tuple(row[i] for i in keep) for row in rows),
        drop=tuple(range(len(keep) - 1, len(keep) - 1 - 2 * len(asked.at), -1)),
        spare=max(len(rows) - 4, 0),
    )
    return table, Paragraph(_scatter(told), spare=True)


def _law_rows(one: MixResult, asked: Asked, show: Shown) -> Iterator[list[str]]:
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
        yield cells


def _scatter(told: Sequence[MixResult]) -> str:
    """Say how many strands there are and how they scatter."""
    counts = [len(one.strands) for one in told]
    scatter = [numbers.percent(one.fit.scatter) for one in told if one.fit]
    many = _count(counts[0], "strand") + (" each" if len(told) > 1 else "")
    if len(set(counts)) > 1:
        many = f"{numbers.listed([str(c) for c in counts])} strands"
    return f"{many}; single strands scatter by {numbers.listed(scatter)} %."


def _annexes(results: StrandResults, asked: Asked, show: Shown) -> tuple[Annex, ...]:
    """Return what the full answer adds: each table of the document that has rows."""
    parts = burnrate_parts(results, asked)
    ends = [p for one in results.mixes if one.law for p in one.law.tested]
    every = dict.fromkeys([*ends, *asked.at])
    at = [r for one in results.mixes for r in rates_of(one, tuple(every))]
    laws = [row for row in parts["laws"] if row["fit"] == USED]
    beside = [row for row in parts["laws"] if row["fit"] != USED]
    a, columns = f"a: rate of the law at {_places(show, (MPA,))}.", _only(LAWS, "fit")
    borrowed = parts["borrowed"]
    cited = "; ".join(dict.fromkeys(row["source"] for row in borrowed))
    sources = f"Moved to pass through your rate, not measured. Sources: {cited}."
    told: tuple[tuple[str, Sequence[Field], Sequence[Row], str, Layout], ...] = (
        ("Laws", columns, laws, a, _across),
        ("Least squares on r itself, not used", columns, beside, "", _across),
        ("Rates", RATES, at, _RATES_NOTE, _across),
        ("Scatter and lack of fit", MIXES, parts["mixes"], _BENDS, described),
        ("At one pressure", ONE_PRESSURE, parts["one_pressure"], "", described),
        ("Borrowed laws", _only(BORROWED, "source"), borrowed, sources, _across),
        ("Mixes compared", COMPARISONS, parts["comparisons"], _PAIRS, described),
        ("Strands", _only(STRANDS, *_UNTOLD), parts["strands"], "", _across),
    )
    about = Annex("About these numbers", (Paragraph(_about(asked, show)),))
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
    "Each probability is multiplied by the number of pairs before it is called a "
    "difference, below 0.05. Where p, scatter is small, one mix scatters more."
)


def _only(every: Sequence[Field], *untold: str) -> tuple[Field, ...]:
    return tuple(one for one in every if one.key not in untold)


def _about(asked: Asked, show: Shown) -> str:
    """Say what the numbers are, and what was taken for granted."""
    text = f"{ABOUT} Ambient is taken as {_mega(show, asked.ambient, 4)} absolute."
    if len(asked.files) > 1:
        text += " Line 2:5 is line 5 of the second file."
    return text
