"""Strands and the law through them as rows and as a document: units in the names."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import field
from pathlib import PurePath
from typing import Any

from castsugar.arrays import FloatArray
from castsugar.frozen import dataclass
from castsugar.motor.burn_law import BurnLaw, outside
from castsugar.motor.burn_model import NEXT
from castsugar.motor.pressure_doubt import batch_scatter
from castsugar.motor.scatter import CENTRE
from castsugar.motor.strand_fit import student
from castsugar.motor.strand_model import Comparison, StrandModel
from castsugar.motor.strands import (
    MixResult,
    Strand,
    StrandResults,
    band_laws,
    new_strand_interval,
)
from castsugar.report.document import Part
from castsugar.report.field import CHANCE, TEXT, fields, row_in_order
from castsugar.units import to_celsius

MPA = 1e6

#: Of every interval.
LEVEL = 0.95

#: How the law is fitted.
USED = "on ln r"


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """What was typed: pressures for rates and that of the air [Pa].

    `recipes`: mixes of the file whose recipe is known, as it was typed. `fired`: rate
    points of firings of these mixes that the bench file keeps, (n, 2) in [Pa], [m/s].
    """

    files: tuple[str, ...]
    at: tuple[float, ...] = ()
    ambient: float = 101325.0
    recipes: Mapping[str, str] = field(default_factory=dict)
    bench_said: str = ""
    fired: Mapping[str, FloatArray] = field(default_factory=dict)

    @property
    def grains_at(self) -> tuple[float, ...]:
        """Where rates of grains are told: as asked, else in the middle of a motor."""
        return self.at or (CENTRE,)

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
    ("recipe", "recipe", TEXT, "as typed in bench or name; empty if not known"),
    ("strands", "strands", "number", "how many"),
    ("batches", "batches", "number", "of how many pots"),
    ("exponent_taken", "n taken", "number", "by the model, at 2.5 MPa"),
    ("exponent_taken_u", "u(n)", "number", "its standard uncertainty"),
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
GRAINS = fields(
    _MIX, _AT,
    ("next_batch_mm_s", "grain, next batch", "rate", "in a motor; 95 % band"),
    ("this_batch_mm_s", "grain, this batch", "rate", "of the batch that burned last"),
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
COMPARISONS = fields(
    ("first", "first", TEXT, "mix"),
    ("second", "second", TEXT, "mix"),
    ("of", "compared", TEXT, "recipes, or only batches where recipes cannot be"),
    ("verdict", "recipes", TEXT, "differ or cannot tell"),
    ("reason", "why not", TEXT, "why recipes cannot be compared"),
    _AT,
    ("rate_ratio", "first / second", "number", "ratio of the rates of the recipes"),
    ("chance_faster", "first burns faster", CHANCE, "of the recipe"),
    ("batch_ratio", "their batches", "number", "ratio of strands of the last batches"),
    ("first_batches", "batches of it", "number", "of the first mix"),
    ("second_batches", "of the other", "number", "of the second mix"),
)

PARTS: dict[str, Part] = {
    "file": Part(meaning="names of the files"),
    "mixes": Part(meaning="one a mix", fields=MIXES, many=True),
    "laws": Part(meaning="one a band of pressure", fields=LAWS, many=True),
    "rates": Part(meaning="at the pressures asked for", fields=RATES, many=True),
    "one_pressure": Part(
        meaning="of mixes burned at one pressure", fields=ONE_PRESSURE, many=True
    ),
    "grains": Part(meaning="in a motor, by the model", fields=GRAINS, many=True),
    "batch_scatter": Part(
        meaning="scatter between batches in percent, and how many batches taught it"
    ),
    "comparisons": Part(meaning="every pair", fields=COMPARISONS, many=True),
    "strands": Part(meaning="one a strand", fields=STRANDS, many=True),
    "remarks_on_data": Part(meaning="what to look at again"),
}


def burnrate_parts(model: StrandModel, asked: Asked) -> dict[str, Any]:
    """Return what the JSON holds beside what every document does."""
    mixes = model.results.mixes
    scatter = batch_scatter(model.model(mixes[0].mix))
    return {
        "file": asked.file,
        "mixes": [_mix(one, model, asked) for one in mixes],
        "laws": [row for one in mixes for row in _laws(one)],
        "rates": [row for one in mixes for row in rates_of(one, asked.at)],
        "one_pressure": [single_of(one) for one in mixes if one.single is not None],
        "grains": [row for one in mixes for row in grains_of(one, model, asked)],
        "batch_scatter": {
            "percent": 100.0 * scatter.middle,
            "batches": scatter.batches,
        },
        "comparisons": comparison_rows(model, asked),
        "strands": strand_rows(model.results, asked),
        "remarks_on_data": [text for one in mixes for text in one.cautions],
    }


def grains_of(one: MixResult, model: StrandModel, asked: Asked) -> list[dict[str, Any]]:
    """Return the rates of grains of a mix: of the next batch, and of the last one."""
    rows = []
    last = model.batches(one.mix)[-1]
    for pressure in asked.grains_at:
        told = []
        for of in (NEXT, last):
            rate, low, high = (1e3 * r for r in model.grain(one.mix, pressure, of))
            told.append((rate, (low, high)))
        rows.append(row_in_order(GRAINS, one.mix, pressure / MPA, *told))
    return rows


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


def _mix(one: MixResult, model: StrandModel, asked: Asked) -> dict[str, Any]:
    """Return what is known of the law of a mix."""
    law, fit, test = one.law, one.fit, one.lack_of_fit
    n, u = model.exponent(one.mix)
    row: dict[str, Any] = {
        "mix": one.mix,
        "recipe": asked.recipes.get(one.mix, ""),
        "strands": len(one.strands),
        "batches": len(model.batches(one.mix)),
        "exponent_taken": n,
        "exponent_taken_u": u,
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


def comparison_rows(model: StrandModel, asked: Asked) -> list[dict[str, Any]]:
    """Return every pair of mixes side by side, where grains are asked for first."""
    return [_comparison(pair) for pair in model.comparisons(asked.grains_at[0])]


def _comparison(pair: Comparison) -> dict[str, Any]:
    return row_in_order(
        COMPARISONS, pair.first, pair.second, pair.of, pair.verdict, pair.reason,
        pair.pressure / MPA,
        (pair.ratio, None if pair.reason else (pair.low, pair.high)), pair.chance,
        (pair.batch_ratio, (pair.batch_low, pair.batch_high)), *pair.batches,
    )  # fmt: skip
