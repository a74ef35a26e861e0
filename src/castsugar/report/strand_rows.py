"""Strands and the law through them as rows and as a document: units in the names."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import PurePath
from typing import Any

from castsugar.constants import DEFAULT_PRESSURE
from castsugar.data.records import Source
from castsugar.motor.burn_differences import Comparison
from castsugar.motor.burn_law import BurnLaw, burn_rate, outside
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
from castsugar.report.document import Part
from castsugar.report.field import TEXT, fields, row_in_order
from castsugar.units import to_celsius

MPA = 1e6

#: Of every interval.
LEVEL = 0.95

#: How the law is fitted.
USED = "on ln r"


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """What was typed: pressures for rates and that of the air [Pa]; sources by key."""

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
    ("rate_at_1MPa_mm_s", "a", "rate", "a of r = a p^n, p in MPa"),
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
        "rates": [row for one in mixes for row in rates_of(one, asked.at)],
        "one_pressure": [single_of(one) for one in mixes if one.single is not None],
        "borrowed": [row for one in mixes for row in borrowed_of(one, asked)],
        "comparisons": [_comparison(pair) for pair in results.comparisons],
        "strands": strand_rows(results, asked),
        "remarks_on_data": [text for one in mixes for text in one.cautions],
    }


def strand_rows(results: StrandResults, asked: Asked) -> list[dict[str, Any]]:
    """Return one row a strand: what was measured, what was fitted."""
    return [
        _strand(one, index, asked)
        for one in results.mixes
        for index in range(len(one.strands))
    ]


def _strand(one: MixResult, index: int, asked: Asked) -> dict[str, Any]:
    strand = one.strands[index]
    rate, law, new = fitted_of(one, strand.pressure)
    at, flagged = strand.temperature, {o.index for o in one.outliers}
    return row_in_order(
        STRANDS,
        one.mix, strand.file, asked.line(strand), 1e3 * strand.length, strand.time,
        strand.pressure / MPA, math.nan if at is None else to_celsius(at),
        1e3 * strand.rate, (rate, law), 100.0 * (1e3 * strand.rate / rate - 1.0),
        (rate, new), "outlier?" if index in flagged else "", strand.note,
        f"no law: {one.reason}" if one.law is None else "ok",
    )  # fmt: skip


Interval = tuple[float, float] | None


def fitted_of(one: MixResult, pressure: float) -> tuple[float, Interval, Interval]:
    """Return rate, interval of the law and of a new strand. [mm/s]"""
    fit, single = one.fit, one.single
    if one.law is not None and fit is not None:
        rate = 1e3 * float(fit.rate_at(pressure))
        return (
            rate,
            milli(*fit.law_interval(pressure, LEVEL)),
            milli(*fit.strand_interval(pressure, LEVEL)),
        )
    if single is not None and single.count > 1:
        new = milli(*new_strand_interval(single))
        return 1e3 * single.rate, milli(single.low, single.high), new
    return math.nan, None, None


def milli(low: Any, high: Any) -> tuple[float, float]:
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
        row_in_order(
            LAWS, one.mix, USED, band.low / MPA, band.high / MPA,
            (1e3 * band.rate, milli(*band.rate_interval)),
            (band.exponent, band.exponent_interval),
        )
        for band in band_laws(one.fit, MPA, LEVEL)
    ]  # fmt: skip
    beside = one.on_rate
    if beside is None or len(rows) > 1:
        return rows
    t = student(LEVEL, beside.degrees_of_freedom)
    a, n = beside.rate_at_reference, beside.exponent
    half, more = t * beside.rate_u, t * beside.exponent_u
    rate = (1e3 * a, milli(a - half, a + half))
    exponent = (n, (n - more, n + more))
    ends = (rows[0]["pressure_low_MPa"], rows[0]["pressure_high_MPa"])
    return [*rows, row_in_order(LAWS, one.mix, "on r, not used", *ends, rate, exponent)]


def rates_of(one: MixResult, at: Sequence[float]) -> list[dict[str, Any]]:
    """Return the rates of a law at some pressures [Pa]."""
    if one.law is None:
        return []
    rows = []
    for pressure in at:
        rate, law, new = fitted_of(one, pressure)
        told = ((rate, law), (rate, new), _tested(one.law, pressure))
        rows.append(row_in_order(RATES, one.mix, pressure / MPA, *told))
    return rows


def _tested(law: BurnLaw, pressure: float) -> str:
    return "no" if outside(law, pressure) else "yes"


def single_of(one: MixResult) -> dict[str, Any]:
    """Return what strands at one pressure tell, and the test to come."""
    single, test = one.single, one.next_test
    assert single is not None
    rate, law, new = fitted_of(one, single.pressure)
    then: tuple[float, ...] = ()
    if test is not None:
        there = test.ratio * single.pressure / MPA
        then = (there, test.strands, test.more_here, test.exponent_u)
    return row_in_order(
        ONE_PRESSURE, one.mix, single.pressure / MPA, single.count,
        (1e3 * single.rate, law), 1e3 * single.repeatability,
        100.0 * single.variation, (rate, new), *then,
    )  # fmt: skip


def borrowed_of(one: MixResult, asked: Asked) -> list[dict[str, Any]]:
    """Return the borrowed laws through the rate of a mix."""
    return [
        row_in_order(
            BORROWED, one.mix, law.name, law.status, asked.sources[law.source].citation,
            numbers.listed([numbers.typed(b.exponent) for b in law.bands]),
            pressure / MPA,
            (1e3 * float(burn_rate(law, pressure)),
             milli(*grain_interval(law, pressure, LEVEL))),
            _tested(law, pressure),
        )
        for law in one.offers
        for pressure in asked.at or (DEFAULT_PRESSURE,)
    ]  # fmt: skip


def _comparison(pair: Comparison) -> dict[str, Any]:
    """Return two mixes side by side."""
    ratio = (pair.ratio, None if pair.reason else (pair.low, pair.high))
    return row_in_order(
        COMPARISONS, pair.first, pair.second, pair.verdict, pair.reason,
        pair.pressure / MPA, ratio, pair.coincidence, pair.parallel,
        pair.unequal_scatter,
    )  # fmt: skip
