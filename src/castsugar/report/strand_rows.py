"""What strands say, as plain rows and documents: units in the names."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from castsugar.motor.law import BurnLaw
from castsugar.motor.strands import MixResult, StrandResults
from castsugar.report.strands import Asked

_MILLI, _MEGA = 1e-3, 1e6


def strand_rows(results: StrandResults) -> list[dict[str, Any]]:
    """Return one row a strand: what was read, and how far the law is off."""
    rows = []
    for result in results.mixes:
        odd = {o.index for o in result.outliers}
        for index, strand in enumerate(result.strands):
            fitted = off = float("nan")
            if result.fit is not None:
                fitted = float(result.fit.rate_at(strand.pressure)) / _MILLI
                off = float(result.fit.residuals[index])
            rows.append(
                {
                    "mix": result.mix,
                    "line": strand.line,
                    "length_mm": strand.length / _MILLI,
                    "time_s": strand.time,
                    "pressure_MPa": strand.pressure / _MEGA,
                    "temperature_C": (
                        float("nan")
                        if strand.temperature is None
                        else strand.temperature - 273.15
                    ),
                    "rate_mm_s": strand.rate / _MILLI,
                    "fitted_rate_mm_s": fitted,
                    "log_residual": off,
                    "look_again": "yes" if index in odd else "",
                    "note": strand.note,
                }
            )
    return rows


def strand_document(results: StrandResults, asked: Asked) -> dict[str, Any]:
    """Return everything as plain values."""
    return {
        "level": asked.level,
        "mixes": [_mix(result, asked) for result in results.mixes],
        "comparisons": [_renamed(asdict(c)) for c in results.comparisons],
        "strands": strand_rows(results),
    }


def _mix(result: MixResult, asked: Asked) -> dict[str, Any]:
    """Return one mix."""
    found: dict[str, Any] = {
        "mix": result.mix,
        "strands": len(result.strands),
        "law": law_document(result.law) if result.law else None,
        "no_law_because": result.reason,
        "offers": [law_document(law) for law in result.offers],
        "cautions": list(result.cautions),
    }
    if result.fit is not None:
        fit, p = result.fit, asked.pressure
        law = [float(v) / _MILLI for v in fit.law_interval(p, asked.level)]
        strand = [float(v) / _MILLI for v in fit.strand_interval(p, asked.level)]
        found["log_least_squares"] = {
            "rate_at_1MPa_mm_s": fit.rate_at_reference / _MILLI,
            "exponent": fit.exponent,
            "exponent_interval": list(fit.exponent_interval(asked.level)),
            "scatter_of_log_rate": fit.scatter,
            "degrees_of_freedom": fit.degrees_of_freedom,
            "asked_pressure_MPa": p / _MEGA,
            "rate_there_mm_s": float(fit.rate_at(p)) / _MILLI,
            "law_interval_there_mm_s": law,
            "next_strand_interval_there_mm_s": strand,
        }
    if result.on_rate is not None:
        beside = result.on_rate
        found["least_squares_on_rate"] = {
            "rate_at_1MPa_mm_s": beside.rate_at_reference / _MILLI,
            "rate_u_mm_s": beside.rate_u / _MILLI,
            "exponent": beside.exponent,
            "exponent_u": beside.exponent_u,
        }
    if result.lack_of_fit is not None:
        found["lack_of_fit"] = asdict(result.lack_of_fit)
    if result.single is not None:
        single = result.single
        found["one_pressure"] = {
            "pressure_MPa": single.pressure / _MEGA,
            "rate_mm_s": single.rate / _MILLI,
            "interval_mm_s": [single.low / _MILLI, single.high / _MILLI],
            "repeatability_mm_s": single.repeatability / _MILLI,
        }
    if result.next_test is not None:
        found["next_test"] = asdict(result.next_test)
    return found


def law_document(law: BurnLaw) -> dict[str, Any]:
    """Return a burn law as plain values."""
    return {
        "name": law.name,
        "origin": law.origin,
        "status": law.status,
        "source": law.source,
        "log_rate_u": law.log_rate_u,
        "bands": [
            {
                "low_MPa": band.low / _MEGA,
                "high_MPa": band.high / _MEGA,
                "rate_at_1MPa_mm_s": band.rate / _MILLI,
                "exponent": band.exponent,
            }
            for band in law.bands
        ],
    }


def _renamed(values: dict[str, Any]) -> dict[str, Any]:
    """Return a comparison with the unit in the name of its pressure."""
    values["pressure_MPa"] = values.pop("pressure") / _MEGA
    return values
