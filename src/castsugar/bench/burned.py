"""What a bench file tells of burn rates: their scatter, and what was burned."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, replace
from typing import Any

from castsugar.bench.bench import Bench
from castsugar.bench.schema import Place
from castsugar.data.load import Database
from castsugar.errors import CastsugarError, InputError
from castsugar.mix.text import parse_recipe
from castsugar.mix.weighing import catalogue_shares
from castsugar.motor.scatter import Scatter
from castsugar.motor.strands import Strand
from castsugar.plausible import collected
from castsugar.readings.strand_files import check_batches, read_strands, stated

#: Shares of two recipes closer than this are rounding: they are one mix. [-]
_ROUNDING = 1e-6


def scatter_of(bench: Bench | None) -> Scatter:
    """Return the scatter of burn rates, what the file does not state as assumed."""
    values = {} if bench is None else bench.scatter
    return Scatter(**values, stated=tuple(values))


def strands_of(entry: Mapping[str, Any], bench: Bench) -> tuple[str, list[Strand]]:
    """Return the strands of one burn law, and what their mix is called in their file.

    Batch, process, degraded share and date are those of the file, else of the entry;
    the process, if neither states one, that of [kitchen].

    Raises
    ------
    InputError
        A mix that the file does not hold; an entry that says otherwise than the file.
    DataError
        As for :func:`castsugar.readings.strand_files.read_strands`.
    """
    path = bench.path.parent / entry["strands"]
    strands = read_strands(path)
    names = list(dict.fromkeys(s.mix for s in strands))
    listed = ", ".join(map(repr, names))
    wanted = entry["mix"] or (names[0] if len(names) == 1 else "")
    if not wanted and len(names) > 1:
        raise InputError(f"{path} holds {listed}; say which by mix = ...")
    if wanted not in names:
        raise InputError(f"{path} has no mix {wanted!r}; it holds {listed}")
    keys = ("batch", "process", "degraded", "date")
    chosen = stated(
        [s for s in strands if s.mix == wanted], **{key: entry[key] for key in keys}
    )
    usual = bench.kitchen["process"]
    return wanted, [replace(s, process=s.process or usual) for s in chosen]


# ----------------------------------------------------------------------------
# A batch is one pot: of one mix, by one process, its strands burned before its grains.


@dataclass(frozen=True, slots=True)
class _Told:
    """What an entry tells of a batch: by one of its strands, or by its firing."""

    place: Place
    batch: str
    recipe: str
    shares: Mapping[str, float]
    process: str
    date: str
    strand: str = ""


def check_pots(bench: Bench, database: Database) -> None:
    """Refuse what cannot be of the batches that the motor of a file names.

    Raises
    ------
    InputError
        File and line: a batch of two mixes or of two processes; a strand that burned
        after the grains of its batch; a recipe or strands that cannot be read.
    """
    told = list(_told(bench, database))
    first: dict[str, _Told] = {}
    for one in told:
        known = first.setdefault(one.batch, one)
        names = {*one.shares, *known.shares}
        off = [abs(one.shares.get(n, 0.0) - known.shares.get(n, 0.0)) for n in names]
        mixed = max(off) > _ROUNDING
        if mixed or one.process != known.process:
            here, there = (x.recipe if mixed else x.process for x in (one, known))
            raise one.place.fail(
                "batch",
                f"{one.batch!r} is {here!r}, and {there!r} in line "
                f"{known.place.line()}; a batch is one mix made by one process: give "
                "each a batch name of its own",
            )
    for fired in (one for one in told if one.date and not one.strand):
        for burned in (one for one in told if one.strand and one.batch == fired.batch):
            if burned.date > fired.date:
                raise fired.place.fail(
                    "date",
                    f"is {fired.date}, and {burned.strand}, of the same batch "
                    f"{fired.batch!r}, burned on {burned.date}: strands of a batch "
                    "burn before its grains; correct a date, or a batch",
                )


def _told(bench: Bench, database: Database) -> Iterator[_Told]:
    """Yield what is told of each batch that has a name."""
    motor = bench.motor or {"burn_law": (), "firing": ()}
    usual = bench.kitchen["process"]
    for index, entry in enumerate(motor["burn_law"]):
        if "strands" in entry:
            place = Place(bench.path, bench.text, "motor.burn_law", index)
            with _said_at(place), collected():  # the motor has remarked on them
                shares, strands = _shares(entry, database), strands_of(entry, bench)[1]
                check_batches(strands)
            for s in filter(lambda s: s.batch, strands):
                name = f"the strand of {entry['strands']} line {s.line}"
                yield _Told(
                    place, s.batch, entry["recipe"], shares, s.process, s.date, name
                )
    for index, entry in enumerate(motor["firing"]):
        place = Place(bench.path, bench.text, "motor.firing", index)
        with _said_at(place):
            shares = _shares(entry, database)
        if entry["batch"]:
            process = entry["process"] or usual
            yield _Told(
                place, entry["batch"], entry["recipe"], shares, process, entry["date"]
            )


@contextmanager
def _said_at(place: Place) -> Iterator[None]:
    """Say where an entry stands before what is wrong with it."""
    try:
        yield
    except CastsugarError as error:
        raise place.fail("", f"- {error}") from None


def _shares(entry: Mapping[str, Any], database: Database) -> dict[str, float]:
    recipe = parse_recipe(entry["recipe"], where="recipe")
    return catalogue_shares(database, recipe.parts)
