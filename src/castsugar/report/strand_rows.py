"""Strands and the burn law through them, as plain rows with units in the keys."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from castsugar.data.records import Source
from castsugar.motor.burn_differences import Comparison
from castsugar.motor.burn_law import BurnLaw, burn_rate, outside
from castsugar.motor.strand_fit import student
from castsugar.motor.strands import (
    MixResult,
    StrandResults,
    band_laws,
    grain_interval,
    new_strand_interval,
)
from castsugar.report.strand_fit import fitted_rates, residuals
from castsugar.report.strands import ABOUT, Asked, offer_places
from castsugar.units import to_celsius

Row = dict[str, Any]

_MPA = 1e6


def strand_rows(results: StrandResults, asked: Asked) -> list[Row]:
    """Return one row a strand: what was measured, what was fitted."""
    return [row for result in results.mixes for row in _rows_of(result, asked.level)]


def _rows_of(result: MixResult, level: float) -> list[Row]:
    """Return the rows of one mix."""
    flagged = {o.index for o in result.outliers}
    left, fitted = residuals(result), list(fitted_rates(result))
    rows: list[Row] = []
    for index, strand in enumerate(result.strands):
        law, new = _intervals(result, strand.pressure, level)
        temperature = math.nan
        if strand.temperature is not None:
            temperature = to_celsius(strand.temperature)
        rows.append(
            {
                "mix": result.mix,
                "file": strand.file,
                "line": strand.line,
                "length_mm": 1e3 * strand.length,
                "time_s": strand.time,
                "pressure_MPa": strand.pressure / _MPA,
                "temperature_C": temperature,
                "rate_mm_s": 1e3 * strand.rate,
                "fitted_rate_mm_s": 1e3 * fitted[index],
                "residual_percent": left[index],
                "fitted_rate_low_mm_s": 1e3 * law[0],
                "fitted_rate_high_mm_s": 1e3 * law[1],
                "new_strand_low_mm_s": 1e3 * new[0],
                "new_strand_high_mm_s": 1e3 * new[1],
                "remark": "outlier?" if index in flagged else "",
                "note": strand.note,
                "status": "ok"
                if result.law is not None
                else f"no law: {result.reason}",
            }
        )
    return rows


def _intervals(
    result: MixResult, pressure: float, level: float
) -> tuple[tuple[float, float], tuple[float, float]]:
    """Return the intervals of the law and of a new strand. [m/s]"""
    unknown = (math.nan, math.nan)
    if result.law is not None and result.fit is not None:
        low, high = result.fit.law_interval(pressure, level)
        below, above = result.fit.strand_interval(pressure, level)
        return (float(low), float(high)), (float(below), float(above))
    if result.single is not None and result.single.count > 1:
        single = result.single
        return (single.low, single.high), new_strand_interval(single)
    return unknown, unknown


def strand_document(results: StrandResults, asked: Asked) -> Row:
    """Return everything but versions and cautions, for JSON."""
    return {
        "file": asked.file,
        "assumptions": {
            "ambient_pressure_Pa": asked.ambient[1],
            "interval_probability": asked.level,
            "law": "least squares on ln r; least squares on r beside, not used",
            "notes": [ABOUT],
        },
        "mixes": [_mix(result, asked) for result in results.mixes],
        "comparisons": [_comparison(pair) for pair in results.comparisons],
    }


def _mix(result: MixResult, asked: Asked) -> Row:
    """Return one mix."""
    return {
        "mix": result.mix,
        "strands": _rows_of(result, asked.level),
        "law": _law(result, asked.level),
        "reason_for_no_law": result.reason,
        "nonlinear": _nonlinear(result, asked.level),
        "lack_of_fit": _lack_of_fit(result),
        "band_tests": _band_tests(result),
        "rates": _rates(result, asked),
        "one_pressure": _single(result),
        "borrowed_offers": [_offer(law, asked) for law in result.offers],
        "next_test": _next_test(result),
        "look_again": list(result.cautions),
    }


def _law(result: MixResult, level: float) -> Row | None:
    """Return the law with its bands."""
    law, fit = result.law, result.fit
    if law is None or fit is None:
        return None
    bands = [
        {
            "pressure_low_MPa": band.low / _MPA,
            "pressure_high_MPa": band.high / _MPA,
            "rate_at_1MPa_mm_s": 1e3 * band.rate,
            "rate_at_1MPa_low_mm_s": 1e3 * band.rate_interval[0],
            "rate_at_1MPa_high_mm_s": 1e3 * band.rate_interval[1],
            "exponent": band.exponent,
            "exponent_low": band.exponent_interval[0],
            "exponent_high": band.exponent_interval[1],
        }
        for band in band_laws(fit, _MPA, level)
    ]
    known = law.temperature is not None
    return {
        "origin": law.origin,
        "bands": bands,
        "scatter_of_ln_rate": fit.scatter,
        "degrees_of_freedom": fit.degrees_of_freedom,
        "strand_temperature_C": to_celsius(law.temperature or 0.0) if known else None,
    }


def _nonlinear(result: MixResult, level: float) -> Row | None:
    """Return the fit on r."""
    fit = result.on_rate
    if fit is None or result.law is None:
        return None
    t = student(level, fit.degrees_of_freedom)
    return {
        "rate_at_1MPa_mm_s": 1e3 * fit.rate_at_reference,
        "rate_at_1MPa_low_mm_s": 1e3 * (fit.rate_at_reference - t * fit.rate_u),
        "rate_at_1MPa_high_mm_s": 1e3 * (fit.rate_at_reference + t * fit.rate_u),
        "exponent": fit.exponent,
        "exponent_low": fit.exponent - t * fit.exponent_u,
        "exponent_high": fit.exponent + t * fit.exponent_u,
        "residual_sd_mm_s": 1e3 * fit.residual_sd,
    }


def _lack_of_fit(result: MixResult) -> Row | None:
    """Return the test against replicates."""
    test = result.lack_of_fit
    if test is None:
        return None
    return {
        "statistic": test.statistic,
        "probability": test.probability,
        "degrees_of_freedom": [test.numerator, test.denominator],
        "pure_error_of_ln_rate": test.pure_error,
    }


def _band_tests(result: MixResult) -> list[Row]:
    """Return the tests between one band and several."""
    if result.choice is None:
        return []
    return [
        {"breaks": t.breaks, "probability": t.probability, "aicc": t.aicc}
        for t in result.choice.tests
    ]


def _rates(result: MixResult, asked: Asked) -> list[Row]:
    """Return the rate at the pressures asked for."""
    law, fit = result.law, result.fit
    if law is None or fit is None:
        return []
    rows = []
    for words, pressure in asked.at:
        within, new = _intervals(result, pressure, asked.level)
        rows.append(
            {
                "asked": words,
                "pressure_MPa": pressure / _MPA,
                "rate_mm_s": 1e3 * float(fit.rate_at(pressure)),
                "law_low_mm_s": 1e3 * within[0],
                "law_high_mm_s": 1e3 * within[1],
                "new_strand_low_mm_s": 1e3 * new[0],
                "new_strand_high_mm_s": 1e3 * new[1],
                "outside_tested_pressures": bool(outside(law, pressure)),
            }
        )
    return rows


def _single(result: MixResult) -> Row | None:
    """Return what strands at one pressure tell."""
    single = result.single
    if single is None:
        return None
    low, high = new_strand_interval(single)
    return {
        "pressure_MPa": single.pressure / _MPA,
        "strands": single.count,
        "rate_mm_s": 1e3 * single.rate,
        "rate_low_mm_s": 1e3 * single.low if single.count > 1 else None,
        "rate_high_mm_s": 1e3 * single.high,
        "repeatability_mm_s": 1e3 * single.repeatability,
        "repeatability_percent": 100.0 * single.variation,
        "new_strand_low_mm_s": 1e3 * low if single.count > 1 else None,
        "new_strand_high_mm_s": 1e3 * high,
    }


def _offer(law: BurnLaw, asked: Asked) -> Row:
    """Return a borrowed law, scaled."""
    rates = []
    for words, pressure in offer_places(asked):
        low, high = grain_interval(law, pressure, asked.level)
        rates.append(
            {
                "asked": words,
                "pressure_MPa": pressure / _MPA,
                "rate_mm_s": 1e3 * float(burn_rate(law, pressure)),
                "rate_low_mm_s": 1e3 * low,
                "rate_high_mm_s": 1e3 * high,
                "outside_tested_pressures": bool(outside(law, pressure)),
            }
        )
    bands = [
        {
            "pressure_low_MPa": band.low / _MPA,
            "pressure_high_MPa": band.high / _MPA,
            "rate_at_1MPa_mm_s": 1e3 * band.rate,
            "exponent": band.exponent,
        }
        for band in law.bands
    ]
    return {
        "name": law.name,
        "origin": law.origin,
        "status": law.status,
        **_source(asked.sources, law.source),
        "bands": bands,
        "rates": rates,
    }


def _source(sources: Mapping[str, Source], key: str) -> Row:
    return {"source": key, "citation": sources[key].citation}


def _next_test(result: MixResult) -> Row | None:
    """Return the test that would fix the exponent."""
    test, single = result.next_test, result.single
    if test is None or single is None:
        return None
    return {
        "pressure_MPa": test.ratio * single.pressure / _MPA,
        "pressure_ratio": test.ratio,
        "strands": test.strands,
        "more_strands_here": test.more_here,
        "exponent_standard_error": test.exponent_u,
    }


def _comparison(pair: Comparison) -> Row:
    """Return two mixes side by side."""
    return {
        "first": pair.first,
        "second": pair.second,
        "verdict": pair.verdict,
        "reason": pair.reason,
        "pressure_MPa": pair.pressure / _MPA,
        "rate_ratio": pair.ratio,
        "rate_ratio_low": pair.low,
        "rate_ratio_high": pair.high,
        "probability_if_alike": pair.coincidence,
        "probability_if_one_exponent": pair.parallel,
        "probability_if_scatter_is_alike": pair.unequal_scatter,
    }
