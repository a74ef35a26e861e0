"""Strands that benches share: rows of one form, without names, written and read."""

from __future__ import annotations

import csv
import io
import math
import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from typing import Final

from castsugar.data.load import Database
from castsugar.errors import CastsugarError
from castsugar.frozen import dataclass
from castsugar.mix import refusals
from castsugar.mix.mix import PROCESSES, Mix
from castsugar.plausible import RANGES
from castsugar.readings.tables import SEPARATORS

#: Licences that rows may be shared under.
LICENCES: Final = ("CC0-1.0", "CC-BY-4.0")

#: What a bench is called: drawn by chance, says nothing of anybody.
BENCH_ID: Final = re.compile(r"[0-9a-f]{16}")

_NUMBER: Final = re.compile(r"[1-9][0-9]{0,5}")

#: Columns of words; of numbers with the least and the most of each.
_WORDS: Final = ("licence", "bench", "batch", "process")
_NUMBERS: Final = {
    "degraded_sugar_percent": (0.0, 100.0),
    "water_as_cast_percent": (0.0, 50.0),
    "strand_temperature_K": RANGES["strand temperature"].hard,
    "pressure_MPa": (0.001, 100.0),
    "burn_rate_mm_s": (0.01, 500.0),
}

#: Numbers that may be missing.
_OPTIONAL: Final = ("water_as_cast_percent", "strand_temperature_K")

HEAD: Final = (*_WORDS, *_NUMBERS)

#: What a column of a composition is called, behind the name of an ingredient.
_SHARE: Final = "_mass_percent"

#: Percents of a composition sum to 100 within this.
_SUM: Final = 0.01

_ASK = "correct it, or ask for another export"


@dataclass(frozen=True, slots=True, kw_only=True)
class SharedStrand:
    """One strand as it is shared: numbers in the units of their columns."""

    licence: str  # one of LICENCES
    bench: str  # sixteen hexadecimal digits
    batch: int  # number of the pot among those of its bench, from 1
    process: str  # one of mix.mix.PROCESSES
    numbers: Mapping[str, float]  # by column; what is not known is left out
    shares: Mapping[str, float]  # catalogue name to percent of the mass as weighed

    @property
    def reading(self) -> tuple[float, float]:
        """Return pressure [MPa] and rate [mm/s]: what tells strands apart."""
        return self.numbers["pressure_MPa"], self.numbers["burn_rate_mm_s"]


def rounded(value: float) -> float:
    """Return a number as a file has it: six digits.

    Examples
    --------
    >>> rounded(5.43210987)
    5.43211
    """
    return float(f"{value:.6g}")


def column_of(ingredient: str) -> str:
    """Return the column of an ingredient.

    Examples
    --------
    >>> column_of("light corn syrup")
    'light_corn_syrup_mass_percent'
    """
    return ingredient.replace(" ", "_") + _SHARE


def to_text(strands: Sequence[SharedStrand]) -> str:
    """Return strands as CSV: a header, a row a strand."""
    names = sorted({name for one in strands for name in one.shares})
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow([*HEAD, *map(column_of, names)])
    for one in strands:
        numbers = [one.numbers.get(column) for column in _NUMBERS]
        shares = [one.shares.get(name, 0.0) for name in names]
        cells = ["" if x is None else f"{x:.6g}" for x in (*numbers, *shares)]
        writer.writerow([one.licence, one.bench, one.batch, one.process, *cells])
    return stream.getvalue()


# ----------------------------------------------------------------------------
# Read strictly: every fault is one line.


def from_text(
    text: str, file: str, database: Database
) -> tuple[tuple[SharedStrand, ...], tuple[str, ...]]:
    """Return the strands of a file, and what is wrong with it, a line each.

    Nothing of a file with a fault is to be used.
    """
    try:
        lines = list(csv.reader(text.removeprefix("\ufeff").splitlines(), strict=True))
    except csv.Error as error:
        return (), (f"{file}: no CSV: {error}; {_ASK}",)
    known = {column_of(name): name for name in _names(database)}
    header = lines[0] if lines else []
    if fault := _of_header(header, known):
        return (), (f"{file} line 1: {fault}; {_ASK}",)
    if len(lines) < 2:
        return (), (f"{file}: has no strand, only its header; {_ASK}",)
    found, faults = [], []
    for number, cells in enumerate(lines[1:], start=2):
        where = f"{file} line {number}"
        if len(cells) != len(header):
            faults.append(
                f"{where}: got {len(cells)} cells; allowed: {len(header)}, as the "
                f"header has; {_ASK}"
            )
            continue
        row = _Row(where, dict(zip(header, cells, strict=True)))
        one = row.strand({c: known[c] for c in header[len(HEAD) :]})
        faults += row.faults
        if not row.faults:
            found.append((where, one))
    faults += [*_of_mixes(found, database), *_of_pots(found)]
    return tuple(one for _, one in found), tuple(faults)


def _names(database: Database) -> Iterator[str]:
    for table in (database.ingredients, database.syrups, database.premixes):
        yield from table


def _of_header(header: Sequence[str], known: Mapping[str, str]) -> str:
    """Return what is wrong with a header; empty for nothing."""
    for mark in ";\t":
        if header and header[0].startswith(f"{HEAD[0]}{mark}"):
            return (
                f"got cells separated by {SEPARATORS[mark]}; allowed: by comma, with "
                "decimal points, as batch export writes them"
            )
    for at, column in enumerate(HEAD):
        got = header[at] if at < len(header) else ""
        if got != column:
            return f"column {at + 1}: got {got!r}; allowed: {column!r}"
    shares = header[len(HEAD) :]
    for column in shares:
        if column not in known:
            return (
                f"column {column!r}: not known; allowed: an ingredient of castsugar "
                f"ingredients with {_SHARE!r} behind it"
            )
    if not shares or len(set(shares)) < len(shares):
        return f"columns {_SHARE!r}: got none, or one twice; allowed: one or more"
    return ""


class _Row:
    """One row while it is read: its cells, and the faults found in them."""

    def __init__(self, where: str, cells: Mapping[str, str]) -> None:
        self.where, self.cells = where, cells
        self.faults: list[str] = []

    def fault(self, column: str, allowed: str) -> None:
        """Note a fault of a cell."""
        self.faults.append(
            f"{self.where}, column {column}: got {self.cells[column]!r}; allowed: "
            f"{allowed}; {_ASK}"
        )

    def strand(self, names: Mapping[str, str]) -> SharedStrand:
        """Return what the row says; of no use where faults were found."""
        numbers = {c: self.number(c, *ends) for c, ends in _NUMBERS.items()}
        shares = {names[c]: self.number(c, 0.0, 100.0) for c in names}
        whole = math.fsum(x for x in shares.values() if x is not None)
        if not (self.faults or abs(whole - 100.0) <= _SUM):
            self.faults.append(
                f"{self.where}, columns {_SHARE!r}: got {whole:.6g} in all; allowed: "
                f"100 within {_SUM:g}; {_ASK}"
            )
        digits = self.word("batch", _NUMBER.fullmatch, "1 to 999999")
        return SharedStrand(
            licence=self.word("licence", LICENCES.__contains__, ", ".join(LICENCES)),
            bench=self.word("bench", BENCH_ID.fullmatch, "16 hexadecimal digits"),
            batch=int(digits) if _NUMBER.fullmatch(digits) else 0,
            process=self.word("process", PROCESSES.__contains__, ", ".join(PROCESSES)),
            numbers={c: x for c, x in numbers.items() if x is not None},
            shares={name: x for name, x in sorted(shares.items()) if x},
        )

    def word(self, column: str, good: Callable[[str], object], allowed: str) -> str:
        """Return a cell of words."""
        cell = self.cells[column]
        if not (cell.isascii() and good(cell)):
            self.fault(column, allowed)
        return cell

    def number(self, column: str, low: float, high: float) -> float | None:
        """Return a cell as a number; None if it is empty and may be."""
        cell, optional = self.cells[column], column in _OPTIONAL
        if not cell and optional:
            return None
        plain = re.fullmatch(r"[+-]?[0-9.]+(e[+-]?[0-9]+)?", cell)
        try:
            value = float(cell) if plain else math.nan
        except ValueError:
            value = math.nan
        if not low <= value <= high:
            words = ", or nothing" if optional else ""
            self.fault(column, f"a number from {low:g} to {high:g}{words}")
        return value


_Found = Sequence[tuple[str, SharedStrand]]


def _of_mixes(found: _Found, database: Database) -> Iterator[str]:
    """Yield mixes that are not of nitrate and sugar, each once."""
    first = {tuple(sorted(one.shares.items())): where for where, one in found}
    for shares, where in first.items():
        try:
            mix = Mix.weigh(dict(shares), database=database)
            refusals.check_burns("recipe", mix.weighed)
        except CastsugarError as error:
            yield f"{where}: its composition is refused: {error}; {_ASK}"


def _of_pots(found: _Found) -> Iterator[str]:
    """Yield batches of two mixes, or of two processes: a batch is one pot."""
    first: dict[tuple[str, int], SharedStrand] = {}
    for where, one in found:
        known = first.setdefault((one.bench, one.batch), one)
        if (one.process, one.shares) != (known.process, known.shares):
            yield (
                f"{where}, column batch: got {one.batch} for another composition or "
                "process than before; allowed: one batch is one mix made by one "
                f"process; {_ASK}"
            )


def by_bench(strands: Iterable[SharedStrand]) -> dict[str, list[SharedStrand]]:
    """Return strands by the bench that they burned on."""
    found: dict[str, list[SharedStrand]] = {}
    for one in strands:
        found.setdefault(one.bench, []).append(one)
    return found
