"""The strands of one mix and the law through them, as text."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from castsugar import units
from castsugar.motor.pressure_bands import FALSE_ALARM
from castsugar.motor.strand_fit import student
from castsugar.motor.strands import BandLaw, MixResult, Strand, band_laws
from castsugar.report.layout import WIDTH, number, wrapped
from castsugar.report.strand_units import (
    StrandUnits,
    coefficient,
    percent,
    short,
    significant,
)

_CELL, _LAST = 9, 13

#: Below this scatter of ln r, numbers were not measured.
_NO_SCATTER = 1e-9


def strand_table(
    result: MixResult, shown: StrandUnits, line: Callable[[Strand], str]
) -> list[str]:
    """Return the strands as measured, with what the law leaves of each."""
    heads = ["line", *(f"p, {u}" for u in shown.pressures)]
    heads += [*(f"r, {u}" for u in shown.rates)]
    first = "".join(f"{head:>{_CELL}}" for head in heads)
    lines = [f"{first}{'residual, %':>{_LAST}}  remark"]
    flagged = {o.index for o in result.outliers}
    left = residuals(result)
    for index, strand in enumerate(result.strands):
        told = [units.convert(strand.pressure, "pressure", u) for u in shown.pressures]
        cells = [line(strand), *(short(p) for p in told)]
        told = [units.convert(strand.rate, "burn_rate", u) for u in shown.rates]
        cells += [significant(r) for r in told]
        remark = "OUTLIER? " if index in flagged else ""
        row = "".join(f"{cell:>{_CELL}}" for cell in cells)
        row += f"{number(left[index], 1):>{_LAST}}"
        text = " ".join(f"{remark}{strand.note}".split())
        if len(row) + 2 + len(text) <= WIDTH:
            lines.append(f"{row}  {text}".rstrip())
        else:
            lines += [row, *wrapped(text, " " * (_CELL + 2))]
    if flagged:
        lines += wrapped(
            "OUTLIER?: lies far from the law through the others; look at its note, "
            "time and bubbles. It is in the fit all the same."
        )
    return lines


def fitted_rates(result: MixResult) -> Iterator[float]:
    """Yield the rate that the law, or the mean at one pressure, has. [m/s]"""
    for strand in result.strands:
        if result.law is not None and result.fit is not None:
            yield float(result.fit.rate_at(strand.pressure))
        elif result.single is not None and result.single.count > 1:
            yield result.single.rate
        else:
            yield float("nan")


def residuals(result: MixResult) -> list[float]:
    """Return how much faster each strand burned than fitted. [%]"""
    pairs = zip(result.rate, fitted_rates(result), strict=True)
    return [100.0 * (float(rate) / fitted - 1.0) for rate, fitted in pairs]


def fit_lines(result: MixResult, shown: StrandUnits, level: float) -> list[str]:
    """Return the law, its intervals and the tests of it."""
    fit, law = result.fit, result.law
    assert fit is not None
    assert law is not None
    lines = wrapped(
        "Law, measured: least squares on ln r, which weighs strands by their relative "
        "error (reported)"
    )
    for pressure_unit, rate_unit in shown.pairs:
        unit = units.parse(f"1 {pressure_unit}", "pressure").value
        found = band_laws(fit, unit, level)
        lines.append(f"    r = a p^n, r in {rate_unit}, p in {pressure_unit} absolute")
        for band, interval in zip(law.bands, found, strict=True):
            a = coefficient(band.rate, band.exponent, pressure_unit, rate_unit)
            lines += _band_lines(a, interval, shown=(pressure_unit, rate_unit))
    if law.temperature is not None:
        mean = units.to_celsius(law.temperature)
        lines.append(f"    of strands at {number(mean, 1)} C (mean)")
    lines.append(f"    in brackets: {100.0 * level:.4g} % confidence interval")
    if len(law.bands) == 1:
        lines += _beside_lines(result, shown, level)
    return [*lines, *_quality_lines(result)]


def _band_lines(a: float, found: BandLaw, shown: tuple[str, str]) -> list[str]:
    """Return coefficient and exponent of one band."""
    pressure_unit, rate_unit = shown
    low, high = (
        short(units.convert(p, "pressure", pressure_unit))
        for p in (found.low, found.high)
    )
    ends = [
        significant(units.convert(r, "burn_rate", rate_unit))
        for r in found.rate_interval
    ]
    n_low, n_high = (number(n, 3) for n in found.exponent_interval)
    return [
        f"      {low} to {high} {pressure_unit}: "
        f"a = {significant(a)} {rate_unit} at 1 {pressure_unit} "
        f"({ends[0]} to {ends[1]})",
        f"        n = {number(found.exponent, 3)} ({n_low} to {n_high})",
    ]


def _beside_lines(result: MixResult, shown: StrandUnits, level: float) -> list[str]:
    """Return the fit on the rate itself."""
    beside = result.on_rate
    if beside is None:
        return wrapped("Beside it, least squares on r itself: does not settle.")
    t = student(level, beside.degrees_of_freedom)
    a = 1e3 * beside.rate_at_reference
    a_half, n_half = 1e3 * t * beside.rate_u, t * beside.exponent_u
    text = (
        f"Beside it, least squares on r itself (not used): a = {significant(a)} mm/s "
        f"at 1 MPa ({significant(a - a_half)} to {significant(a + a_half)}), "
        f"n = {number(beside.exponent, 3)} ({number(beside.exponent - n_half, 3)} to "
        f"{number(beside.exponent + n_half, 3)})"
    )
    if shown.own:
        own = coefficient(
            beside.rate_at_reference, beside.exponent, shown.pressure, shown.rate
        )
        text += f"; a = {significant(own)} {shown.rate} at 1 {shown.pressure}"
    return wrapped(text + ".")


def _quality_lines(result: MixResult) -> list[str]:
    """Return scatter, lack of fit, and why bands or none."""
    fit, test, choice = result.fit, result.lack_of_fit, result.choice
    assert fit is not None
    if fit.scatter < _NO_SCATTER:
        return wrapped(
            "WARNING: no scatter at all. Such numbers come from a formula, not from "
            "strands; the intervals mean nothing.",
            "    ",
            "  ! ",
        )
    lines = wrapped(
        f"Scatter of single strands about the law {percent(fit.scatter)} % (one "
        f"standard deviation of ln r, {fit.degrees_of_freedom} degrees of freedom)."
    )
    if test is None:
        lines += wrapped("Lack of fit: cannot be tested without replicates.")
    else:
        lines += wrapped(
            f"Lack of fit: F = {test.statistic:.3g} with {test.numerator} and "
            f"{test.denominator} degrees of freedom, probability "
            f"{test.probability:.2g}; replicates alone scatter by "
            f"{significant(100.0 * test.pure_error, 2)} %."
        )
    if choice is None or not choice.tests:
        return lines + wrapped("Bands: too few strands to look for a bend.")
    told = ", ".join(
        f"{t.breaks} bend{'s' if t.breaks > 1 else ''} {t.probability:.2g}"
        for t in choice.tests
    )
    what = "one law serves all pressures"
    if len(fit.exponents) > 1:
        what = "the data call for them"
    return lines + wrapped(
        f"Bands: {what} (probability of a gain as large on a straight law: {told}; "
        f"called for below {FALSE_ALARM / 2.0:g})."
    )
