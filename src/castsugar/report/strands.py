"""Strands and the burn law through them, as text."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import PurePath

from castsugar import units
from castsugar.constants import DEFAULT_PRESSURE
from castsugar.data.records import Caution, Source
from castsugar.motor.burn_differences import Comparison
from castsugar.motor.burn_law import BurnLaw, burn_rate, outside
from castsugar.motor.pressure_bands import FALSE_ALARM
from castsugar.motor.strands import (
    MixResult,
    Strand,
    StrandResults,
    grain_interval,
    new_strand_interval,
)
from castsugar.report.layout import number, wrapped
from castsugar.report.strand_fit import fit_lines, strand_table
from castsugar.report.strand_units import StrandUnits, percent, short, significant

#: What the numbers are.
ABOUT = (
    "A rate here is measured on your strands or borrowed from a publication, and each "
    "line says which; none comes from thermochemistry. A law belongs to this mix as it "
    "was ground, cooked and cast."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """What a page about strands shows.

    Attributes
    ----------
    files : tuple of str
        As typed.
    at : tuple of (text, pressure)
        Pressures to state the rate at, as typed. [Pa]
    level : float
        Probability of intervals.
    ambient : tuple of (text, pressure)
        What the word ambient means, as typed. [Pa]
    units : StrandUnits
    sources : mapping
        Of borrowed laws, by key.
    """

    files: tuple[str, ...]
    at: tuple[tuple[str, float], ...]
    level: float
    ambient: tuple[str, float]
    units: StrandUnits
    sources: Mapping[str, Source]

    @property
    def file(self) -> str:
        """The names of the files, as one text."""
        return ", ".join(PurePath(file).name for file in self.files)

    def line(self, strand: Strand) -> str:
        """Return the line of a strand, after the place of its file if of several."""
        if len(self.files) == 1:
            return str(strand.line)
        return f"{self.files.index(strand.file) + 1}:{strand.line}"

    @property
    def percent(self) -> str:
        """The level as text."""
        return f"{100.0 * self.level:.4g} %"


def strand_page(
    results: StrandResults, asked: Asked, cautions: Sequence[Caution]
) -> str:
    """Return the page of ``castsugar burnrate``."""
    lines = [*wrapped(f"Burn law from strands: {asked.file}", "  ", ""), ""]
    lines += wrapped(ABOUT, "")
    if len(asked.files) > 1:
        lines += wrapped("Line 2:5 is line 5 of the second file.", "")
    words, ambient = asked.ambient
    if any(ambient in result.pressure for result in results.mixes):
        at = asked.units.pressure_text(ambient)
        lines += wrapped(f"Ambient is taken as {words}, {at}.", "")
    for result in results.mixes:
        lines += ["", *_mix_lines(result, asked)]
    if results.comparisons:
        lines += ["", *_comparison_lines(results.comparisons, asked)]
    lines += ["", "Cautions"]
    for caution in cautions:
        lines += wrapped(caution.text, "    ", "  ! ")
    return "\n".join(lines) + "\n"


def mix_name(result: MixResult) -> str:
    """Return the name of a mix; the file may name none."""
    return result.mix or "(no mix named)"


def _mix_lines(result: MixResult, asked: Asked) -> list[str]:
    """Return everything about one mix."""
    strands = (
        "1 strand" if len(result.strands) == 1 else f"{len(result.strands)} strands"
    )
    lines = wrapped(f"Mix {mix_name(result)}: {strands}, measured", "  ", "")
    lines += strand_table(result, asked.units, asked.line)
    if result.law is not None and result.fit is not None:
        lines += ["", *fit_lines(result, asked.units, asked.level)]
        lines += ["", *_rate_lines(result, asked)]
    else:
        lines += ["", *wrapped(f"No law for this mix: {result.reason}.")]
    if result.single is not None:
        lines += _single_lines(result, asked)
    for text in result.cautions:
        lines += wrapped(f"Look again: {text}.", "    ", "  - ")
    return lines


def _rate_lines(result: MixResult, asked: Asked) -> list[str]:
    """Return rates at the ends of the tests and at the pressures asked for."""
    fit, law = result.fit, result.law
    assert fit is not None
    assert law is not None
    low, high = law.tested
    places = [("lowest tested", low), ("highest tested", high), *asked.at]
    lines = []
    for pressure_unit, rate_unit in asked.units.pairs:
        head = f"law, {asked.percent}", f"new strand, {asked.percent}"
        lines += [
            f"  Rate from the law, {rate_unit}",
            f"    {'at':<20}{pressure_unit:>9}{'rate':>9}{head[0]:>18}{head[1]:>20}",
        ]
        for words, pressure in places:
            rates = [
                float(fit.rate_at(pressure)),
                *map(float, fit.law_interval(pressure, asked.level)),
                *map(float, fit.strand_interval(pressure, asked.level)),
            ]
            told = [
                significant(units.convert(r, "burn_rate", rate_unit)) for r in rates
            ]
            p = short(units.convert(pressure, "pressure", pressure_unit))
            mark = "*" if outside(law, pressure) else ""
            lines.append(
                f"    {words[:19]:<20}{p:>9}{told[0] + mark:>9}"
                f"{told[1] + ' - ' + told[2]:>18}{told[3] + ' - ' + told[4]:>20}"
            )
    lines += wrapped(
        "law: where the law itself lies; more strands narrow it. new strand: where one "
        "more strand will lie; more strands do not narrow it below the scatter."
    )
    beyond = [words for words, pressure in places if outside(law, pressure)]
    if beyond:
        lines += wrapped(
            f"WARNING: {', '.join(beyond)}: outside the tested "
            f"{asked.units.pressure_text(low)} to {asked.units.pressure_text(high)}. "
            "The rate marked * is the law continued; its intervals do not cover a bend "
            "out there. Test there before you rely on it.",
            "    ",
            "  ! ",
        )
    return lines


def _single_lines(result: MixResult, asked: Asked) -> list[str]:
    """Return what strands at one pressure tell."""
    single, shown = result.single, asked.units
    assert single is not None
    text = (
        f"Measured rate at {shown.pressure_text(single.pressure)}: "
        f"{shown.rate_text(single.rate)}"
    )
    if single.count == 1:
        lines = wrapped(f"{text}; one strand tells no interval and no repeatability.")
    else:
        low, high = new_strand_interval(single)
        lines = wrapped(
            f"{text}; {asked.percent} interval of the mean "
            f"{_range(single.low, single.high, shown)}."
        )
        lines += wrapped(
            f"Repeatability {shown.rate_text(single.repeatability, 2)}, "
            f"{percent(single.variation)} % of the rate (standard deviation of one "
            f"strand); the next strand here: {_range(low, high, shown)} "
            f"({asked.percent} prediction interval)."
        )
    lines += _offer_lines(result, asked) if result.offers else []
    return [*lines, *_next_test_lines(result, asked)]


def _range(low: float, high: float, shown: StrandUnits) -> str:
    """Return an interval of rates [m/s]."""
    told = []
    for unit in shown.rates:
        ends = [significant(units.convert(r, "burn_rate", unit)) for r in (low, high)]
        told.append(f"{ends[0]} to {ends[1]} {unit}")
    return told[0] + "".join(f" ({text})" for text in told[1:])


def offer_places(asked: Asked) -> tuple[tuple[str, float], ...]:
    """Return where the rate of a borrowed law is stated."""
    return asked.at or (("1000 psi", DEFAULT_PRESSURE),)


def _offer_lines(result: MixResult, asked: Asked) -> list[str]:
    """Return the borrowed laws scaled to the rate."""
    lines = [
        "",
        "  BORROWED, not measured: published laws, moved to pass through your rate",
    ]
    for words, pressure in offer_places(asked):
        at = asked.units.pressure_text(pressure)
        lines += wrapped(f"at {words}: {at}, rates in mm/s", "    ")
        lines.append(f"    {'law':<28}{'exponent':>12}{'rate':>9}{asked.percent:>22}")
        for law in result.offers:
            low, high = grain_interval(law, pressure, asked.level)
            rate = float(burn_rate(law, pressure))
            band = f"{significant(1e3 * low, 2)} to {significant(1e3 * high, 2)}"
            mark = "*" if outside(law, pressure) else ""
            told = significant(1e3 * rate, 3) + mark
            lines.append(
                f"    {law.name[:27]:<28}{_exponents(law):>12}{told:>9}{band:>22}"
            )
        if any(outside(law, pressure) for law in result.offers):
            lines += wrapped("* outside the pressures that law was tested at", "    ")
    for key in dict.fromkeys(law.source for law in result.offers):
        names = ", ".join(law.name for law in result.offers if law.source == key)
        status = next(law.status for law in result.offers if law.source == key)
        source = asked.sources[key].citation
        lines += wrapped(f"{names}: {status}; {source}", "      ", "    ")
    return lines


def _exponents(law: BurnLaw) -> str:
    """Say the exponent, or how many there are."""
    if len(law.bands) == 1:
        return number(law.bands[0].exponent, 3)
    return f"{len(law.bands)} bands"


def _next_test_lines(result: MixResult, asked: Asked) -> list[str]:
    """Say which test would fix the exponent."""
    single, test = result.single, result.next_test
    assert single is not None
    if test is None:
        text = (
            "Next test: burn 2 more strands here, or more, and then 3 or more at "
            f"{asked.units.pressure_text(2.0 * single.pressure, 3)} or above."
        )
        return ["", *wrapped(text)]
    there = test.ratio * single.pressure
    here = f"{test.more_here} more here, and " if test.more_here else ""
    text = (
        f"Next test: burn {here}{test.strands} strands at {test.ratio:.3g} times this "
        f"pressure or more, that is {asked.units.pressure_text(there, 3)}; the "
        f"exponent is then known to ± {test.exponent_u:.2g} (one standard error)."
    )
    if test.more_here:
        text += (
            f" So many because strands scatter by {percent(single.scatter)} %: look "
            "for the reason first (bubbles, timing, density)."
        )
    return ["", *wrapped(text)]


def _comparison_lines(comparisons: Sequence[Comparison], asked: Asked) -> list[str]:
    """Return the mixes side by side."""
    lines = ["Do the mixes burn differently?"]
    for pair in comparisons:
        names = f"{pair.first} and {pair.second}"
        if pair.reason:
            text = f"{names}: cannot tell; {pair.reason}."
            lines += wrapped(text, "    ", "  - ")
            continue
        verdict = (
            "they differ" if pair.verdict == "differ" else "cannot tell them apart"
        )
        text = (
            f"{names}: {verdict}. At {asked.units.pressure_text(pair.pressure)} the "
            f"first burns {significant(pair.ratio, 3)} times as fast as the second, "
            f"{asked.percent} interval {significant(pair.low, 3)} to "
            f"{significant(pair.high, 3)}; probability of data as far apart if both "
            f"burn alike {pair.coincidence:.2g}"
        )
        if pair.parallel == pair.parallel:
            text += f", if both have one exponent {pair.parallel:.2g}"
        lines += wrapped(f"{text}.", "    ", "  - ")
        if pair.unequal_scatter < FALSE_ALARM:
            lines += wrapped(
                "One of them scatters more than the other (probability "
                f"{pair.unequal_scatter:.2g}); this test takes them as alike.",
                "    ",
            )
    if len(comparisons) > 1:
        lines += wrapped(
            f"{len(comparisons)} pairs: each probability was multiplied by "
            f"{len(comparisons)} before it was called a difference (below 0.05)."
        )
    return lines
