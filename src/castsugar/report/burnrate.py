"""What ``castsugar burnrate`` answers: the law of each mix, its bands, its strands."""

from __future__ import annotations

import math
import shlex
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import PurePath
from typing import Any

from castsugar.constants import DEFAULT_PRESSURE
from castsugar.data.records import Source
from castsugar.motor.burn_differences import Comparison
from castsugar.motor.burn_law import BurnLaw, burn_rate, outside
from castsugar.motor.pressure_bands import FALSE_ALARM
from castsugar.motor.strand_fit import student
from castsugar.motor.strands import (
    MixResult,
    Strand,
    StrandResults,
    band_laws,
    grain_interval,
    new_strand_interval,
)
from castsugar.report import numbers
from castsugar.report.cautions import Chosen
from castsugar.report.document import Part
from castsugar.report.field import TEXT, Row, described, fields, listed
from castsugar.report.screen import Annex, Block, Finding, Paragraph, Screen, Table
from castsugar.report.shown import Shown
from castsugar.units import to_celsius

_MPA = 1e6

#: Of every interval.
LEVEL = 0.95

#: Below this scatter of ln r, numbers were not measured.
_NO_SCATTER = 1e-9

#: A law whose replicates agree better than it does with this probability is a misfit.
_MISFIT = 0.05

#: Of the pressures where a law misses its strands, so many are named.
_NAMED = 2

#: How the law is fitted.
_USED = "on ln r"

ABOUT = (
    "A rate is measured on your strands or borrowed from a publication, and each line "
    "says which; none comes from thermochemistry. A law belongs to this mix as it was "
    "ground, cooked and cast. Law: least squares on ln r, which weighs strands by "
    "their relative error."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """What was typed.

    Attributes
    ----------
    files : tuple of str
        As typed.
    at : tuple of float
        Pressures to state the rate at. [Pa]
    ambient : float
        What the word ambient means. [Pa]
    sources : mapping
        Of borrowed laws, by key.
    """

    files: tuple[str, ...]
    at: tuple[float, ...] = ()
    ambient: float = 101325.0
    sources: Mapping[str, Source] = field(default_factory=dict)

    @property
    def file(self) -> str:
        """The names of the files, as one text."""
        return ", ".join(PurePath(file).name for file in self.files)

    def line(self, strand: Strand) -> str:
        """Return the line of a strand, after the place of its file if of several."""
        if len(self.files) == 1:
            return str(strand.line)
        return f"{self.files.index(strand.file) + 1}:{strand.line}"


# ----------------------------------------------------------------------------
# What the documents hold.

_MIX = ("mix", "mix", TEXT, "as the file names it; empty if it names none")
_AT = ("pressure_MPa", "at", "pressure", "absolute")
_TESTED = ("tested", "tested", TEXT, "whether strands burned at such pressures")
_NEW = ("new_strand_mm_s", "a new strand", "rate", "where one more strand will lie")

STRANDS = fields(
    _MIX,
    ("file", "file", TEXT, "as it was asked for"),
    ("line", "line", TEXT, "of the file; of several files: place of the file, line"),
    ("length_mm", "length", "length", "burned"),
    ("time_s", "time", "time", "it took"),
    ("pressure_MPa", "p", "pressure", "absolute"),
    ("temperature_C", "T", "temperature", "before ignition"),
    ("rate_mm_s", "r", "rate", "measured"),
    ("fitted_rate_mm_s", "law", "rate", "of the law, or the mean at one pressure"),
    ("residual_percent", "residual", "fraction", "how much faster than fitted"),
    _NEW,
    ("remark", "remark", TEXT, "outlier? if far from the law; it is in the fit"),
    ("note", "note", TEXT, "of the file"),
    ("status", "status", TEXT, "ok, or why the mix has no law"),
)
MIXES = fields(
    _MIX,
    ("strands", "strands", "number", "how many"),
    ("law_origin", "law", TEXT, "measured, or empty without a law"),
    ("reason_for_no_law", "no law", TEXT, "empty if there is one"),
    ("scatter_percent", "scatter", "fraction", "standard deviation of ln r, x 100"),
    ("degrees_of_freedom", "freedom", "number", "of the scatter"),
    ("strand_temperature_C", "strands at", "temperature", "mean; null if not known"),
    ("lack_of_fit_statistic", "F", "number", "against replicates"),
    ("lack_of_fit_probability", "probability", "number", "of a misfit as large"),
    ("bends", "bends", "number", "of the law"),
    ("bend_probability", "p of one", "number", "of a gain as large on a straight law"),
    ("replicate_scatter_percent", "replicates", "fraction", "their scatter of ln r"),
)
LAWS = fields(
    _MIX,
    ("fit", "fit", TEXT, "on ln r: the law; on r: beside it, not used"),
    ("pressure_low_MPa", "from", "pressure", "lower end of the band of pressure"),
    ("pressure_high_MPa", "to", "pressure", "upper end"),
    ("rate_at_1MPa_mm_s", "a at 1 MPa", "rate", "a of r = a p^n, p in MPa"),
    ("exponent", "n", "number", "n of r = a p^n"),
)
RATES = fields(
    _MIX, _AT, ("rate_mm_s", "r of the law", "rate", "more strands narrow it"), _NEW,
    _TESTED,
)  # fmt: skip
ONE_PRESSURE = fields(
    _MIX, _AT,
    ("strands", "strands", "number", "how many"),
    ("rate_mm_s", "r, mean", "rate", "measured"),
    ("repeatability_mm_s", "repeatability", "rate", "standard deviation of a strand"),
    ("repeatability_percent", "repeatability", "fraction", "the same, of the rate"),
    _NEW,
    ("next_pressure_MPa", "next test at", "pressure", "where the exponent would show"),
    ("next_strands", "strands there", "number", "how many"),
    ("next_more_here", "more here", "number", "how many at the same pressure"),
    ("next_exponent_u", "u(n) then", "number", "standard error of n after that test"),
)  # fmt: skip
BORROWED = fields(
    _MIX,
    ("law", "borrowed law", TEXT, "moved to pass through your rate"),
    ("status", "status", TEXT, "of the publication"),
    ("source", "source", TEXT, "citation"),
    ("exponent", "n", TEXT, "of each band"),
    _AT,
    ("rate_mm_s", "r", "rate", "not measured"),
    _TESTED,
)
COMPARISONS = fields(
    ("first", "first", TEXT, "mix"),
    ("second", "second", TEXT, "mix"),
    ("verdict", "verdict", TEXT, "differ or cannot tell"),
    ("reason", "why not", TEXT, "why nothing could be told"),
    _AT,
    ("rate_ratio", "first / second", "number", "ratio of the rates"),
    ("probability_if_alike", "p, alike", "number", "of data as far apart, one line"),
    ("probability_if_one_exponent", "p, one n", "number", "the same, one exponent"),
    ("probability_if_scatter_alike", "p, scatter", "number", "the same, one scatter"),
)

PARTS: dict[str, Part] = {
    "file": Part(meaning="names of the files"),
    "mixes": Part(meaning="one a mix", fields=MIXES, many=True),
    "laws": Part(meaning="one a band of pressure", fields=LAWS, many=True),
    "rates": Part(meaning="at the pressures asked for", fields=RATES, many=True),
    "one_pressure": Part(
        meaning="of mixes burned at one pressure", fields=ONE_PRESSURE, many=True
    ),
    "borrowed": Part(meaning="laws offered to those", fields=BORROWED, many=True),
    "comparisons": Part(meaning="every pair", fields=COMPARISONS, many=True),
    "strands": Part(meaning="one a strand", fields=STRANDS, many=True),
    "remarks_on_data": Part(meaning="what to look at again"),
}


def burnrate_parts(results: StrandResults, asked: Asked) -> dict[str, Any]:
    """Return what the JSON holds beside what every document does."""
    mixes = results.mixes
    return {
        "file": asked.file,
        "mixes": [_mix(one) for one in mixes],
        "laws": [row for one in mixes for row in _laws(one)],
        "rates": [row for one in mixes for row in _rates(one, asked.at)],
        "one_pressure": [_single(one) for one in mixes if one.single is not None],
        "borrowed": [row for one in mixes for row in _borrowed(one, asked)],
        "comparisons": [_comparison(pair) for pair in results.comparisons],
        "strands": strand_rows(results, asked),
        "remarks_on_data": [text for one in mixes for text in one.cautions],
    }


def strand_rows(results: StrandResults, asked: Asked) -> list[dict[str, Any]]:
    """Return one row a strand: what was measured, what was fitted."""
    return [row for one in results.mixes for row in _strands(one, asked)]


def _strands(one: MixResult, asked: Asked) -> Iterator[dict[str, Any]]:
    flagged = {o.index for o in one.outliers}
    for index, strand in enumerate(one.strands):
        rate, law, new = _fitted(one, strand.pressure)
        at = strand.temperature
        yield {
            "mix": one.mix,
            "file": strand.file,
            "line": asked.line(strand),
            "length_mm": 1e3 * strand.length,
            "time_s": strand.time,
            "pressure_MPa": strand.pressure / _MPA,
            "temperature_C": math.nan if at is None else to_celsius(at),
            "rate_mm_s": 1e3 * strand.rate,
            "fitted_rate_mm_s": rate,
            "fitted_rate_mm_s_interval": law,
            "residual_percent": 100.0 * (1e3 * strand.rate / rate - 1.0),
            "new_strand_mm_s": rate,
            "new_strand_mm_s_interval": new,
            "remark": "outlier?" if index in flagged else "",
            "note": strand.note,
            "status": f"no law: {one.reason}" if one.law is None else "ok",
        }


Interval = tuple[float, float] | None


def _fitted(one: MixResult, pressure: float) -> tuple[float, Interval, Interval]:
    """Return rate, interval of the law and of a new strand. [mm/s]"""
    fit, single = one.fit, one.single
    if one.law is not None and fit is not None:
        rate = 1e3 * float(fit.rate_at(pressure))
        return (
            rate,
            _milli(*fit.law_interval(pressure, LEVEL)),
            _milli(*fit.strand_interval(pressure, LEVEL)),
        )
    if single is not None and single.count > 1:
        new = _milli(*new_strand_interval(single))
        return 1e3 * single.rate, _milli(single.low, single.high), new
    return math.nan, None, None


def _milli(low: Any, high: Any) -> tuple[float, float]:
    """Return the ends of an interval [m/s] in mm/s."""
    return 1e3 * float(low), 1e3 * float(high)


def _mix(one: MixResult) -> dict[str, Any]:
    """Return what is known of the law of a mix."""
    law, fit, test = one.law, one.fit, one.lack_of_fit
    row: dict[str, Any] = {
        "mix": one.mix,
        "strands": len(one.strands),
        "law_origin": "" if law is None else law.origin,
        "reason_for_no_law": one.reason,
    }
    if fit is not None:
        row["scatter_percent"] = 100.0 * fit.scatter
        row["degrees_of_freedom"] = fit.degrees_of_freedom
        row["bends"] = len(fit.breaks)
        tests = one.choice.tests if one.choice is not None else ()
        row["bend_probability"] = min((t.probability for t in tests), default=math.nan)
    if law is not None and law.temperature is not None:
        row["strand_temperature_C"] = to_celsius(law.temperature)
    if test is not None:
        row["lack_of_fit_statistic"] = test.statistic
        row["lack_of_fit_probability"] = test.probability
        row["replicate_scatter_percent"] = 100.0 * test.pure_error
    return row


def _laws(one: MixResult) -> list[dict[str, Any]]:
    """Return the law of a mix band by band, and the fit on r beside a straight one."""
    if one.law is None or one.fit is None:
        return []
    rows = [
        {
            "mix": one.mix,
            "fit": _USED,
            "pressure_low_MPa": band.low / _MPA,
            "pressure_high_MPa": band.high / _MPA,
            "rate_at_1MPa_mm_s": 1e3 * band.rate,
            "rate_at_1MPa_mm_s_interval": _milli(*band.rate_interval),
            "exponent": band.exponent,
            "exponent_interval": band.exponent_interval,
        }
        for band in band_laws(one.fit, _MPA, LEVEL)
    ]
    beside = one.on_rate
    if beside is None or len(rows) > 1:
        return rows
    t = student(LEVEL, beside.degrees_of_freedom)
    a, n = beside.rate_at_reference, beside.exponent
    half, more = t * beside.rate_u, t * beside.exponent_u
    return [
        *rows,
        rows[0]
        | {
            "fit": "on r, not used",
            "rate_at_1MPa_mm_s": 1e3 * a,
            "rate_at_1MPa_mm_s_interval": _milli(a - half, a + half),
            "exponent": n,
            "exponent_interval": (n - more, n + more),
        },
    ]


def _rates(one: MixResult, at: Sequence[float]) -> list[dict[str, Any]]:
    """Return the rates of a law at some pressures [Pa]."""
    if one.law is None:
        return []
    rows = []
    for pressure in at:
        rate, law, new = _fitted(one, pressure)
        rows.append(
            {
                "mix": one.mix,
                "pressure_MPa": pressure / _MPA,
                "rate_mm_s": rate,
                "rate_mm_s_interval": law,
                "new_strand_mm_s": rate,
                "new_strand_mm_s_interval": new,
                "tested": _tested(one.law, pressure),
            }
        )
    return rows


def _tested(law: BurnLaw, pressure: float) -> str:
    return "no" if outside(law, pressure) else "yes"


def _single(one: MixResult) -> dict[str, Any]:
    """Return what strands at one pressure tell, and the test to come."""
    single, test = one.single, one.next_test
    assert single is not None
    rate, law, new = _fitted(one, single.pressure)
    row: dict[str, Any] = {
        "mix": one.mix,
        "pressure_MPa": single.pressure / _MPA,
        "strands": single.count,
        "rate_mm_s": 1e3 * single.rate,
        "rate_mm_s_interval": law,
        "repeatability_mm_s": 1e3 * single.repeatability,
        "repeatability_percent": 100.0 * single.variation,
        "new_strand_mm_s": rate,
        "new_strand_mm_s_interval": new,
    }
    if test is not None:
        row["next_pressure_MPa"] = test.ratio * single.pressure / _MPA
        row["next_strands"] = test.strands
        row["next_more_here"] = test.more_here
        row["next_exponent_u"] = test.exponent_u
    return row


def _borrowed(one: MixResult, asked: Asked) -> list[dict[str, Any]]:
    """Return the borrowed laws through the rate of a mix."""
    return [
        {
            "mix": one.mix,
            "law": law.name,
            "status": law.status,
            "source": asked.sources[law.source].citation,
            "exponent": numbers.listed([numbers.typed(b.exponent) for b in law.bands]),
            "pressure_MPa": pressure / _MPA,
            "rate_mm_s": 1e3 * float(burn_rate(law, pressure)),
            "rate_mm_s_interval": _milli(*grain_interval(law, pressure, LEVEL)),
            "tested": _tested(law, pressure),
        }
        for law in one.offers
        for pressure in asked.at or (DEFAULT_PRESSURE,)
    ]


def _comparison(pair: Comparison) -> dict[str, Any]:
    """Return two mixes side by side."""
    return {
        "first": pair.first,
        "second": pair.second,
        "verdict": pair.verdict,
        "reason": pair.reason,
        "pressure_MPa": pair.pressure / _MPA,
        "rate_ratio": pair.ratio,
        "rate_ratio_interval": None if pair.reason else (pair.low, pair.high),
        "probability_if_alike": pair.coincidence,
        "probability_if_one_exponent": pair.parallel,
        "probability_if_scatter_alike": pair.unequal_scatter,
    }


# ----------------------------------------------------------------------------
# The screen.


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
        next=_next(asked.files),
        invented=invented,
        annexes=_annexes(results, asked, show),
    )


def _next(files: Sequence[str]) -> str:
    return f"castsugar burnrate {shlex.join(files)} --full"


def mix_name(one: MixResult) -> str:
    """Return the name of a mix; the file may name none."""
    return one.mix or "(no mix named)"


def _count(count: int, what: str, more: str = "s") -> str:
    return f"{count} {what}" if count == 1 else f"{count} {what}{more}"


def _mega(show: Shown, pressure: float, digits: int = 3) -> str:
    """Write a pressure [Pa] with its unit."""
    return show.amount("pressure", pressure / _MPA, digits)


def _places(show: Shown, pressures: Sequence[float], joint: str = " and ") -> str:
    """Write pressures [Pa] with one unit."""
    told = [show.limit("pressure", p / _MPA) for p in pressures]
    return f"{joint.join(told)} {show.unit('pressure')}"


def _of_mix(
    one: MixResult, asked: Asked, show: Shown, alone: bool
) -> Iterator[Finding]:
    """Yield the findings about one mix."""
    name, fit, test = mix_name(one), one.fit, one.lack_of_fit
    if one.law is None:
        yield from _no_law(one, asked, show)
    if fit is not None and fit.scatter < _NO_SCATTER:
        yield Finding(
            "MISFIT",
            f"{name}: no scatter at all. Such numbers come from a formula, not from "
            "strands; the bands mean nothing.",
        )
    elif test is not None and test.probability < _MISFIT:
        places = _places(show, _missed(one))
        yield Finding(
            "MISFIT",
            f"{name}: its strands do not follow one power law (p = "
            f"{numbers.probability(test.probability)}); its bands are too narrow. "
            f"Burn more near {places}.",
            {"lack_of_fit_probability": test.probability},
        )
    if one.law is not None:
        yield from _law_findings(one, asked, show, alone)
    for index in (o.index for o in one.outliers):
        yield Finding(
            "CAUTION",
            f"{name}, line {asked.line(one.strands[index])}: far from the law through "
            "the others, and in the fit. Look at its note, time and bubbles.",
        )
    for text in one.cautions:
        if not text.startswith("lack of fit"):
            yield Finding("CAUTION", f"{name}: {text}.")


def _missed(one: MixResult) -> list[float]:
    """Return the pressures at which a law misses its strands most. [Pa]"""
    gaps: dict[float, list[float]] = {}
    for strand in one.strands:
        rate, _, _ = _fitted(one, strand.pressure)
        gaps.setdefault(strand.pressure, []).append(math.log(1e3 * strand.rate / rate))
    worst = sorted(gaps, key=lambda p: -abs(math.fsum(gaps[p]) / len(gaps[p])))
    return sorted(worst[:_NAMED])


def _law_findings(
    one: MixResult, asked: Asked, show: Shown, alone: bool
) -> Iterator[Finding]:
    """Yield what a law says at the pressures asked for; of several the table says it."""
    assert one.law is not None
    far = [p for p in asked.at if outside(one.law, p)]
    if far:
        places = _places(show, far)
        yield Finding(
            "OUTSIDE",
            f"{mix_name(one)} at {places}: tested {_places(show, one.law.tested, ' to ')}. "
            "The law is continued there, its bands do not cover a bend: test there "
            "first.",
        )
    for row in _rates(one, asked.at[:1] or one.law.tested[1:]) if alone else ():
        ends = row["rate_mm_s_interval"]
        yield Finding(
            "RESULT",
            f"{mix_name(one)} burns {show.banded('rate', row['rate_mm_s'], *ends)} at "
            f"{show.amount('pressure', row['pressure_MPa'])}, by your strands.",
            {"rate_mm_s": row["rate_mm_s"], "pressure_MPa": row["pressure_MPa"]},
        )


def _no_law(one: MixResult, asked: Asked, show: Shown) -> Iterator[Finding]:
    """Yield why a mix has no law, and what it has instead."""
    yield Finding("CANNOT TELL", f"No law for {mix_name(one)}: {one.reason}.")
    if one.single is None:
        return
    row = _single(one)
    ends = row["rate_mm_s_interval"]
    rate = show.amount("rate", row["rate_mm_s"])
    if ends is not None:
        rate = show.banded("rate", row["rate_mm_s"], *ends)
    text = f"{mix_name(one)} burns {rate} at {_mega(show, one.single.pressure)}"
    text += ", one strand: no interval." if ends is None else "."
    yield Finding("RESULT", text, {"rate_mm_s": row["rate_mm_s"]})
    offers = _borrowed(one, asked)
    if offers:
        at = offers[0]["pressure_MPa"]
        here = [row for row in offers if row["pressure_MPa"] == at]
        ends = [end for row in here for end in row["rate_mm_s_interval"]]
        low, high = show.bare("rate", min(ends), 2), show.amount("rate", max(ends), 2)
        yield Finding(
            "BORROWED",
            f"{_count(len(here), 'published law')} moved through that rate: {low} to "
            f"{high} at {show.amount('pressure', at)}. Not measured.",
        )
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
            told = numbers.listed([_ratio(p) for p in apart])
            yield Finding(
                "RESULT",
                f"The mixes differ: at {_mega(show, apart[0].pressure, 2)} {first} "
                f"burns {told}. One batch each: batches may differ as much.",
                {f"rate_ratio to {p.second}": p.ratio for p in apart},
            )
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
        at = f"{at.replace(' at ', ' at up to ')}"
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
    pressure = show.unit("pressure")
    heads = ["mix", f"tested, {pressure}", "a", "95 %", "n", "95 %"]
    for p in asked.at:
        heads += [f"r at {show.typed('pressure', p / _MPA)}", "95 %"]
    alike = (
        len({one.law.tested for one in told if one.law}) == 1 == len(rows) / len(told)
    )
    left_out = {1 if alike else -1, 5 if asked.at else -1}
    keep = [i for i in range(len(heads)) if i not in left_out]
    table = Table(
        heads=tuple(heads[i] for i in keep),
        rows=tuple(tuple(row[i] for i in keep) for row in rows),
        drop=tuple(range(len(keep) - 1, len(keep) + 1 - 2 * len(asked.at), -1)),
        spare=max(len(rows) - 4, 0),
    )
    return table, Paragraph(_scatter(told), spare=True)


def _law_rows(one: MixResult, asked: Asked, show: Shown) -> Iterator[list[str]]:
    """Yield the cells of each band of a law, for p in the unit shown."""
    assert one.fit is not None
    unit = _MPA / show.number("pressure", 1.0)
    for place, band in enumerate(band_laws(one.fit, unit, LEVEL)):
        ends = [show.limit("pressure", p / _MPA) for p in (band.low, band.high)]
        cells = [mix_name(one) if not place else "", " to ".join(ends)]
        rate = show.band("rate", 1e3 * band.rate, *_milli(*band.rate_interval))
        n = numbers.with_band(band.exponent, *band.exponent_interval)
        cells += [rate[0], " to ".join(rate[1:]), n[0], " to ".join(n[1:])]
        for row in _rates(one, asked.at):
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
    at = [r for one in results.mixes for r in _rates(one, tuple(every))]
    laws = [row for row in parts["laws"] if row["fit"] == _USED]
    beside = [row for row in parts["laws"] if row["fit"] != _USED]
    borrowed = parts["borrowed"]
    cited = "; ".join(dict.fromkeys(row["source"] for row in borrowed))
    sources = f"Moved to pass through your rate, not measured. Sources: {cited}."
    made = [
        Annex("About these numbers", (Paragraph(_about(asked, show)),)),
        _annex("Laws", _only(LAWS, "fit"), laws, show),
        _annex("Least squares on r itself, not used", _only(LAWS, "fit"), beside, show),
        _annex("Rates", RATES, at, show, _RATES_NOTE),
        _annex(
            "Scatter and lack of fit", MIXES, parts["mixes"], show, _BENDS, down=True
        ),
        _annex("At one pressure", ONE_PRESSURE, parts["one_pressure"], show, down=True),
        _annex("Borrowed laws", _only(BORROWED, "source"), borrowed, show, sources),
        _annex(
            "Mixes compared", COMPARISONS, parts["comparisons"], show, _PAIRS, down=True
        ),
        _annex("Strands", _only(STRANDS, *_UNTOLD), parts["strands"], show),
    ]
    return tuple(annex for annex in made if annex.blocks)


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


def _only(every: Sequence[Any], *untold: str) -> tuple[Any, ...]:
    return tuple(one for one in every if one.key not in untold)


def _annex(
    title: str,
    columns: Sequence[Any],
    rows: Sequence[Row],
    show: Shown,
    note: str = "",
    *,
    down: bool = False,
) -> Annex:
    """Return a table with its note; an annex without blocks where there is no row."""
    if not rows:
        return Annex(title, ())
    made = (
        (listed(columns, rows, show),) if not down else described(columns, rows, show)
    )
    return Annex(title, (Paragraph(note), *made) if note else made)


def _about(asked: Asked, show: Shown) -> str:
    """Say what the numbers are, and what was taken for granted."""
    text = f"{ABOUT} Ambient is taken as {_mega(show, asked.ambient, 4)} absolute."
    if len(asked.files) > 1:
        text += " Line 2:5 is line 5 of the second file."
    return text
