"""What strands say, as text: data, law with its units, bands, offers, comparison."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from castsugar import units
from castsugar.database import Caution
from castsugar.motor.coefficient import convert_coefficient
from castsugar.motor.families import Comparison
from castsugar.motor.fit import LawFit
from castsugar.motor.law import BurnLaw, burn_rate, log_rate_uncertainty
from castsugar.motor.strands import MixResult, StrandResults
from castsugar.report.layout import wrapped

_MILLI, _MEGA = 1e-3, 1e6


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """What the user wants to see.

    Attributes
    ----------
    pressure : float
        Where the rate is read off. [Pa]
    pressure_text : str
        The same as typed.
    level : float
        Probability of intervals.
    pressure_unit, rate_unit : str
        Units of the second form of each law.
    """

    pressure: float
    pressure_text: str
    level: float = 0.95
    pressure_unit: str = "MPa"
    rate_unit: str = "mm/s"

    @property
    def percent(self) -> str:
        """The level in words."""
        return f"{100.0 * self.level:g} %"


def strand_page(
    source: str, results: StrandResults, asked: Asked, cautions: Sequence[Caution]
) -> str:
    """Return the page of ``burnrate``."""
    lines = wrapped(f"Burning rates of strands: {source}", "  ", "")
    for result in results.mixes:
        lines += ["", f"Mix {result.mix or '(no name)'}"]
        lines += _data(result)
        lines += _law(result, asked) if result.law is not None else _no_law(result)
        for text in result.cautions:
            lines += wrapped(f"caution: {text}")
    if results.comparisons:
        lines += ["", "Mixes side by side"]
        for comparison in results.comparisons:
            lines += wrapped(_compared(comparison), "      ", "  - ")
    lines += ["", "Cautions"]
    for caution in cautions:
        lines += wrapped(caution.text, "    ", "  ! ")
    return "\n".join(lines) + "\n"


def _data(result: MixResult) -> list[str]:
    """Return the strands of a mix, with their residuals where there is a fit."""
    lines = ["   line   pressure, MPa   rate, mm/s   off the law, %"]
    odd = {o.index for o in result.outliers}
    for index, strand in enumerate(result.strands):
        off = ""
        if result.fit is not None:
            off = f"{100.0 * math.expm1(result.fit.residuals[index]):+.1f}"
        mark = "  look at it again" if index in odd else ""
        lines.append(
            f"  {strand.line:>5}   {strand.pressure / _MEGA:>13.4g}   "
            f"{strand.rate / _MILLI:>10.3f}   {off:>14}{mark}".rstrip()
        )
    return lines


def law_text(rate: float, exponent: float, asked: Asked) -> str:
    """Write r = a p^n with a beside its units; `rate` is that at 1 MPa [m/s]."""
    a = rate / _MILLI
    text = f"r = {a:.4g} mm/s (p / MPa)^{exponent:.3f}"
    if (asked.rate_unit, asked.pressure_unit) != ("mm/s", "MPa"):
        other = convert_coefficient(
            a, exponent, "mm/s", "MPa", asked.rate_unit, asked.pressure_unit
        )
        text += f" = {other:.4g} {asked.rate_unit} (p / {asked.pressure_unit})"
        text += f"^{exponent:.3f}"
    return text


def _law(result: MixResult, asked: Asked) -> list[str]:
    """Return the law of a mix, its intervals, and the tests behind it."""
    fit = result.fit
    assert fit is not None  # a law comes from a fit
    assert result.law is not None
    lines = ["", "  measured, log least squares (this one is used)"]
    for band in result.law.bands:
        where = f"{band.low / _MEGA:.3g} to {band.high / _MEGA:.3g} MPa: "
        lines += wrapped(where + law_text(band.rate, band.exponent, asked), "      ")
    if len(result.law.bands) == 1:
        lines += _single_band(fit, asked)
    lines.append(f"    scatter of single strands {100.0 * fit.scatter:.2g} %")
    lines += _at(fit, asked)
    if result.lack_of_fit is not None:
        p = result.lack_of_fit.probability
        word = "does not fit" if p < 0.05 else "fits"
        lines.append(f"    against replicates the law {word} (probability {p:.2g})")
    if result.on_rate is not None:
        beside = result.on_rate
        text = law_text(beside.rate_at_reference, beside.exponent, asked)
        lines += wrapped(f"beside it, least squares on the rate itself: {text}", "    ")
    return lines


def _single_band(fit: LawFit, asked: Asked) -> list[str]:
    """Return the intervals of a and n of one power law."""
    low, high = (float(v) / _MILLI for v in fit.law_interval(_MEGA, asked.level))
    n_low, n_high = fit.exponent_interval(asked.level)
    return [
        f"    {asked.percent} of a {low:.4g} to {high:.4g} mm/s at 1 MPa, of n "
        f"{n_low:.3f} to {n_high:.3f}"
    ]


def _at(fit: LawFit, asked: Asked) -> list[str]:
    """Return the rate at the pressure asked for, two intervals told apart."""
    p = asked.pressure
    lines = [
        f"    at {asked.pressure_text} ({p / _MEGA:.4g} MPa): "
        f"{float(fit.rate_at(p)) / _MILLI:.3g} mm/s",
    ]
    for words, interval in (
        ("the law itself", fit.law_interval),
        ("the next strand", fit.strand_interval),
    ):
        low, high = (float(v) / _MILLI for v in interval(p, asked.level))
        lines.append(f"      {words}: {asked.percent} {low:.3g} to {high:.3g} mm/s")
    low_p, high_p = float(fit.pressure.min()), float(fit.pressure.max())
    if not low_p <= p <= high_p:
        lines += wrapped(
            f"that is outside the tested {low_p / _MEGA:.3g} to {high_p / _MEGA:.3g} "
            "MPa: a continuation, not a measurement",
            "      ",
        )
    return lines


def _no_law(result: MixResult) -> list[str]:
    """Say why there is no law, and what is known instead."""
    lines = ["", *wrapped(f"no law: {result.reason}")]
    single = result.single
    if single is None:
        return lines
    lines.append(
        f"    rate at {single.pressure / _MEGA:.4g} MPa: {single.rate / _MILLI:.3g} "
        f"mm/s, {100.0 * single.level:g} % {single.low / _MILLI:.3g} to "
        f"{single.high / _MILLI:.3g}"
        if math.isfinite(single.high)
        else f"    one strand at {single.pressure / _MEGA:.4g} MPa: "
        f"{single.rate / _MILLI:.3g} mm/s"
    )
    if math.isfinite(single.variation):
        lines.append(
            f"    repeatability {single.repeatability / _MILLI:.2g} mm/s "
            f"({100.0 * single.variation:.2g} %)"
        )
    if result.offers:
        lines += wrapped(
            "Borrowed laws scaled to this rate, to be used with their wide bands only:"
        )
    for law in result.offers:
        lines += wrapped(offer_text(law), "      ", "    - ")
    test = result.next_test
    if test is not None:
        more = f", and {test.more_here} more here" if test.more_here else ""
        lines += wrapped(
            f"What would fix n: {test.strands} strands at {test.ratio:.2g} times this "
            f"pressure or more{more}; then n is known to +-{test.exponent_u:.2f}."
        )
    return lines


def offer_text(law: BurnLaw) -> str:
    """Say what a borrowed law gives at 3 and 7 MPa, one standard deviation each way."""
    parts = []
    for mega in (3.0, 7.0):
        rate = float(burn_rate(law, mega * _MEGA)) / _MILLI
        u = float(log_rate_uncertainty(law, mega * _MEGA))
        parts.append(
            f"{mega:g} MPa {rate:.2g} mm/s ({rate * math.exp(-u):.2g} to "
            f"{rate * math.exp(u):.2g})"
        )
    return f"{law.origin}; status {law.status}: " + ", ".join(parts)


def _compared(comparison: Comparison) -> str:
    """Say whether two mixes differ."""
    c = comparison
    text = f"{c.first} and {c.second}: {c.verdict}"
    if c.reason:
        return f"{text}: {c.reason}"
    text += (
        f"; at {c.pressure / _MEGA:.3g} MPa the first burns {c.ratio:.3f} times as "
        f"fast, {100.0 * c.level:g} % {c.low:.3f} to {c.high:.3f} (one law for both: "
        f"probability {c.coincidence:.2g}"
    )
    if math.isfinite(c.parallel):
        text += f"; one exponent: {c.parallel:.2g}"
    return text + ")"


def unit_text(pressure: float, unit: str) -> str:
    """Write a pressure [Pa] in a unit."""
    return f"{units.convert(pressure, 'pressure', unit):.4g} {unit}"
