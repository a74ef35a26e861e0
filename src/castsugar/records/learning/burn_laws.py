"""Burn laws by mix, from the bench file's strands and those of the batches."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import field, replace
from pathlib import Path
from typing import Any

from castsugar.bench.bench import Bench
from castsugar.bench.burned import strands_of
from castsugar.constants import COVERAGE
from castsugar.data.load import Database
from castsugar.errors import CastsugarError
from castsugar.files.reading import sha256_of
from castsugar.frozen import dataclass
from castsugar.mix.blends import of_mixes
from castsugar.mix.mix import Mix
from castsugar.mix.text import parse_recipe
from castsugar.mix.weighing import catalogue_shares
from castsugar.motor.burn_law import BurnLaw, burn_rate, log_rate_uncertainty
from castsugar.motor.burn_model import SAME
from castsugar.motor.hardware import Hardware
from castsugar.motor.pressure_table import burn_law_of, differs
from castsugar.motor.strands import MixResult, Strand, analyse_mix
from castsugar.readings.strand_files import read_strands, stand_in
from castsugar.records.batch import Batch
from castsugar.records.learning.material import FileFault, file_fault

# ----------------------------------------------------------------------------
# Burn laws by mix, from the bench file's strands and those of the batches.


@dataclass(frozen=True, slots=True, kw_only=True)
class StrandSource:
    """Strands of one mix in one file."""

    path: Path
    mix: str  # name of the mix in the file
    sha256: str
    strands: tuple[Strand, ...]
    #: Batches that link it; empty for the bench file's own.
    batches: tuple[str, ...] = ()
    in_bench: bool = False  # whether the bench file names it
    #: What the record of the batch says of them that their file does not: keys of
    #: bench.tables.Strands.
    stated: Mapping[str, str] = field(default_factory=dict)


@dataclass(slots=True, kw_only=True, eq=False)
class _Group:
    """One mix while it is put together."""

    recipe: str
    fractions: dict[str, float]
    sources: list[StrandSource] = field(default_factory=list)
    in_bench: bool = False

    def add(self, source: StrandSource) -> bool:
        """Add strands once; return whether no other file holds them.

        Of two files of which one holds all strands of the other, the longer stays.
        """
        for i, known in enumerate(self.sources):
            if stand_in(source.strands, known.strands):
                both = dict.fromkeys((*known.batches, *source.batches))
                self.sources[i] = replace(known, batches=tuple(both))
                return False
        part = [s for s in self.sources if stand_in(s.strands, source.strands)]
        all_ = dict.fromkeys(b for s in (*part, source) for b in s.batches)
        self.sources = [s for s in self.sources if s not in part]
        self.sources.append(replace(source, batches=tuple(all_)))
        return not part


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MixLaw:
    """What is known of how one mix burns."""

    recipe: str
    fractions: dict[str, float]  # catalogue name to mass fraction, as planned
    sources: tuple[StrandSource, ...]
    in_bench: bool  # whether the bench file has a law or strands of this mix
    before: BurnLaw | None  # what the bench file alone says; None without [motor]
    result: MixResult | None  # the fit of all strands; None without strands

    @property
    def fitted(self) -> BurnLaw | None:
        """The law of all its strands together; None if they give none."""
        return self.result.law if self.result is not None else None

    def is_of(self, batch: str) -> bool:
        """Whether a batch brought strands of it."""
        return any(batch in source.batches for source in self.sources)

    @property
    def strands(self) -> int:
        """Number of strands."""
        return sum(len(s.strands) for s in self.sources)

    @property
    def from_batches(self) -> int:
        """Number of strands that batches brought."""
        return sum(len(s.strands) for s in self.sources if s.batches)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BurnedLearnt:
    """What the strands teach."""

    mixes: tuple[MixLaw, ...]
    faults: tuple[FileFault, ...]
    #: Batch and line, and what is wrong with its strands.
    unusable: tuple[tuple[str, str], ...]
    twice: tuple[str, ...]  # files that two records point at; counted once


def learn_laws(
    bench: Bench,
    batches: Sequence[Batch],
    database: Database,
    *,
    hardware: Hardware | None,
    changed: bool = False,
) -> BurnedLearnt:
    """Refit the burn law of every mix that has strands.

    Parameters
    ----------
    hardware : Hardware or None
        Of the bench file.
    changed : bool
        Whether files that changed since they were linked are used, too.

    Raises
    ------
    CastsugarError
        If strands of the bench file cannot be used.
    """
    groups = _of_bench(bench, hardware, database)
    faults: list[FileFault] = []
    unusable: list[tuple[str, str]] = []
    twice: list[str] = []
    for batch in batches:
        for link in batch.strand_files():
            fault = file_fault(link)
            if fault:
                used = fault == "changed" and changed
                done = "used as it is now" if used else "left out"
                faults.append(FileFault.of(batch, link, fault, done))
                if not used:
                    continue
            try:
                source = source_of(link.path, link.mix, batch)
            except CastsugarError as error:
                unusable.append((f"batch {batch.id} line {link.line}", str(error)))
                continue
            group = _group(groups, batch.made.fractions, batch.made.recipe)
            if not group.add(source):
                twice.append(link.path.name)
    mixes = tuple(_fitted(g, hardware, database) for g in groups)
    return BurnedLearnt(
        mixes=mixes,
        faults=tuple(faults),
        unusable=tuple(unusable),
        twice=tuple(dict.fromkeys(twice)),
    )


def _of_bench(
    bench: Bench, hardware: Hardware | None, database: Database
) -> list[_Group]:
    """Return the mixes of [motor], in the order of the file."""
    groups: list[_Group] = []
    if bench.motor is None or hardware is None:
        return groups
    entries = [e for e in bench.motor["burn_law"] if "borrowed" not in e]
    for entry in entries:
        parts = catalogue_shares(database, parse_recipe(entry["recipe"]).parts)
        group = _group(groups, parts, entry["recipe"])
        group.in_bench = True
        if "strands" in entry:
            path = bench.path.parent / entry["strands"]
            source = source_of(path, entry["mix"])
            own = tuple(strands_of(entry, bench)[1])
            group.add(replace(source, strands=own, in_bench=True))
    return groups


def source_of(path: Path, mix: str, batch: Batch | None = None) -> StrandSource:
    """Read the strands of one mix; the only one of the file if none is named.

    Those that a batch links are of that batch, made as its record says.
    """
    strands = read_strands(path)
    names = list(dict.fromkeys(s.mix for s in strands))
    wanted = mix or (names[0] if len(names) == 1 else "")
    chosen = tuple(s for s in strands if s.mix == wanted)
    source = StrandSource(path=path, mix=wanted, sha256=sha256_of(path), strands=chosen)
    if batch is None:
        return source
    made: dict[str, Any] = {
        "batch": batch.id,
        "process": batch.made.process,
        "degraded": batch.degraded,
    }
    new = {
        name: value
        for name, value in made.items()
        if value and not any(getattr(s, name) for s in chosen)
    }
    known = new | {"batch": batch.id}
    stated = new | ({"degraded": percent(new["degraded"])} if "degraded" in new else {})
    return replace(
        source,
        strands=tuple(replace(s, **known) for s in chosen),
        batches=(batch.id,),
        stated=stated,
    )


def _group(groups: list[_Group], fractions: Mapping[str, float], recipe: str) -> _Group:
    """Return the group of a mix; a new one if no other is the same."""
    for group in groups:
        if differs(group.fractions, fractions) < SAME:
            return group
    groups.append(_Group(recipe=recipe, fractions=dict(fractions)))
    return groups[-1]


def law_for(mix: Mix, hardware: Hardware) -> BurnLaw:
    """Return the law that a mix burns by."""
    return burn_law_of(of_mixes([mix]), hardware)


def _fitted(group: _Group, hardware: Hardware | None, database: Database) -> MixLaw:
    """Fit all strands of a mix together."""
    before = None
    if hardware is not None:
        mix = Mix.put_together(group.fractions, name=group.recipe, database=database)
        before = law_for(mix, hardware)
    strands = [s for source in group.sources for s in source.strands]
    result = analyse_mix(group.recipe, strands) if strands else None
    return MixLaw(
        recipe=group.recipe,
        fractions=group.fractions,
        sources=tuple(group.sources),
        in_bench=group.in_bench,
        before=before,
        result=result,
    )


def percent(share: float, digits: int = 2) -> str:
    """Return a share as a bench file has it.

    Examples
    --------
    >>> percent(0.01234)
    '1.2 %'
    """
    return f"{100.0 * share:.{digits}g} %"


# ----------------------------------------------------------------------------
# A burn law as numbers to show: rate and exponent, each with its 95 % band.


@dataclass(frozen=True, slots=True, kw_only=True)
class LawBand:
    """A burn law at one pressure; the scatter of single grains is left out."""

    #: [m/s]
    rate: float
    rate_low: float
    rate_high: float
    #: exponent, exponent_low, exponent_high: the band is NaN where the law carries
    #: none.
    exponent: float
    exponent_low: float
    exponent_high: float
    origin: str


def centre_of(mix: MixLaw) -> float:
    """Return the pressure at which a mix's laws are shown: that of its new law. [Pa]

    NaN where nothing is known.
    """
    law = mix.fitted or mix.before
    return law.centre if law is not None else math.nan


def band_of(law: BurnLaw, pressure: float) -> LawBand:
    """Return a law at a pressure with its 95 % band (Student t with its freedom)."""
    from scipy.stats import t

    factor = COVERAGE
    if math.isfinite(law.degrees_of_freedom):
        factor = float(t.ppf(0.975, law.degrees_of_freedom))
    rate = float(burn_rate(law, pressure))
    own = float(log_rate_uncertainty(law, pressure)) ** 2 - law.scatter**2
    step = factor * math.sqrt(max(own, 0.0))
    spread = math.nan
    if law.covariance is not None:
        spread = factor * math.sqrt(law.covariance[1][1])
    band = next((b for b in law.bands if pressure <= b.high), law.bands[-1])
    return LawBand(
        rate=rate,
        rate_low=rate * math.exp(-step),
        rate_high=rate * math.exp(step),
        exponent=band.exponent,
        exponent_low=band.exponent - spread,
        exponent_high=band.exponent + spread,
        origin=law.origin,
    )
