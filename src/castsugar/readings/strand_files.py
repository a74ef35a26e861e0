"""Readings that the user keeps in CSV files: strands burned."""

from __future__ import annotations

import itertools
import math
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from os import PathLike
from pathlib import Path
from typing import Any

from castsugar import plausible
from castsugar.checks import day, one_of
from castsugar.constants import STANDARD_ATMOSPHERE
from castsugar.errors import DataError, InputError
from castsugar.mix.mix import PROCESSES
from castsugar.motor.strands import Strand
from castsugar.readings.sheets import Sheet, quantities, read_sheet
from castsugar.readings.tables import TRANSLATED, Heading, by_kind

#: What stands instead of a time where a strand was filmed.
_FILMED = ("first frame", "last frame", "frame rate")

#: Columns of a file of strands.
STRAND_COLUMNS = (
    Heading(
        name="length",
        others=("strand length", "burned length", "burnt length", "distance")
        + TRANSLATED["length"],
        quantity="length",
    ),
    Heading(
        name="time",
        others=("burn time", "burning time", "duration")
        + TRANSLATED["time"]
        + TRANSLATED["burn time"],
        quantity="time",
        instead=_FILMED,
    ),
    Heading(
        name="pressure",
        others=("chamber pressure", "vessel pressure", "test pressure")
        + TRANSLATED["pressure"],
        quantity="pressure",
    ),
    Heading(
        name="temperature",
        others=("temp", "strand temperature", "grain temperature")
        + TRANSLATED["temperature"],
        quantity="temperature",
        required=False,
    ),
    Heading(name="mix", others=("recipe",), required=False),
    Heading(name="batch", others=("pot",), required=False),
    Heading(name="process", required=False),
    Heading(
        name="degraded",
        others=("degraded sugar", "browned sugar"),
        quantity="fraction",
        required=False,
    ),
    Heading(name="date", others=("day",), required=False),
    Heading(name="note", others=("notes", "remark", "comment"), required=False),
    Heading(name=_FILMED[0], others=("start frame",), required=False),
    Heading(name=_FILMED[1], others=("end frame",), required=False),
    Heading(
        name=_FILMED[2],
        others=("frames per second", "fps"),
        quantity="frame_rate",
        required=False,
    ),
)

#: Column of a file of strands to what is possible in it.
_RANGES = {
    "length": "strand length",
    "time": "strand time",
    "pressure": "pressure of a burn rate",
    "temperature": "strand temperature",
    "degraded": "degraded share of the sugar",
}


def read_strands(
    path: str | PathLike[str], *, ambient: float = STANDARD_ATMOSPHERE
) -> tuple[Strand, ...]:
    r"""Read strands from a CSV file.

    One header line, one row a strand: length, time, pressure, and if known temperature,
    mix, batch, process, degraded (share of the sugar), date, note. Units stand in the
    header ("length (mm)", "time_s", "pressure [psig]"), in the row below it or in every
    cell. Instead of the time a filmed strand has first_frame, last_frame, frame_rate
    (1/s); a frame at each end is part of its scatter. The pressure may be the word
    "ambient". Cells are separated by commas, semicolons or tabs; a decimal comma is
    read in the last two. The text is UTF-8, UTF-16 or cp1252. Lines that start with #
    and blank lines are skipped.

    Parameters
    ----------
    path : path
    ambient : float
        Pressure that "ambient" means. [Pa]

    Returns
    -------
    tuple of Strand
        In the order of the rows.

    Raises
    ------
    DataError
        Names file, line, column, cell and what is allowed.
    InputError
        If the file cannot be read, is no regular one or larger than 1 MB; an ambient
        pressure that is not positive.

    See Also
    --------
    castsugar.strands.read_strand_files : several files at once.

    Examples
    --------
    >>> import tempfile
    >>> from pathlib import Path
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     file = Path(folder) / "strands.csv"
    ...     _ = file.write_text("length (mm),time (s),pressure\n50,20.0,ambient\n")
    ...     found = read_strands(file)
    >>> found[0].pressure, found[0].rate
    (101325.0, 0.0025)
    """
    if not (math.isfinite(ambient) and ambient > 0.0):
        raise InputError(f"ambient pressure is {ambient:g} Pa; it must be above 0")
    sheet = read_sheet(Path(path), STRAND_COLUMNS)
    filmed = next(filter(sheet.columns.get, _FILMED), None)
    if filmed and "time" in sheet.columns:
        raise DataError(
            f"{sheet.file} line {sheet.header_line}: has a column of times and one of "
            f"{filmed}; keep one, or the file of filmed strands apart"
        )
    lengths = _possible(sheet, "length", quantities(sheet, "length"))
    times = _possible(sheet, "time", quantities(sheet, "time")) or _filmed(sheet)
    read = quantities(sheet, "pressure", {"ambient": ambient})
    _not_all_zero(sheet, read)
    pressures = _possible(sheet, "pressure", read)
    temperatures, degraded = (
        quantities(sheet, name) for name in ("temperature", "degraded")
    )
    _possible(sheet, "temperature", temperatures)
    _possible(sheet, "degraded", degraded)
    _all_or_no_batch(sheet)
    processes, dates = _told(sheet, "process", _process), _told(sheet, "date", day)
    strands = tuple(
        Strand(
            length=lengths[i],
            time=times[i],
            pressure=pressures[i],
            temperature=temperatures[i],
            mix=_text(sheet, "mix", i),
            note=_text(sheet, "note", i),
            batch=_text(sheet, "batch", i),
            process=processes[i],
            degraded=degraded[i] or 0.0,
            date=dates[i],
            line=line,
            file=str(path),
            invented=sheet.invented,
        )
        for i, line in enumerate(sheet.lines)
    )
    check_batches(strands)
    if "mix" not in sheet.columns and len({s.batch for s in strands}) > 1:
        plausible.remark(
            f"{sheet.file}: column {sheet.columns['batch'].title!r} names batches of "
            "one mix; a column of mixes is called mix",
            plausible.OLD_NAME,
        )
    return strands


def read_strand_files(
    paths: Sequence[str | PathLike[str]], *, ambient: float = STANDARD_ATMOSPHERE
) -> tuple[Strand, ...]:
    r"""Read strands from several files: those of one name are strands of one mix.

    Parameters
    ----------
    paths : sequence of path
    ambient : float
        Pressure that "ambient" means. [Pa]

    Returns
    -------
    tuple of Strand
        In the order of the files, then of their rows.

    Raises
    ------
    DataError
        As for :func:`read_strands`; a batch that two files tell differently.
    InputError
        If all strands of a file stand in another, too, or two files name no mix:
        nothing says then that it is one.

    Examples
    --------
    >>> import tempfile
    >>> from pathlib import Path
    >>> head = "length (mm),time (s),pressure (MPa),mix\n"
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     files = [Path(folder) / name for name in ("one.csv", "two.csv")]
    ...     for file, row in zip(files, ("50,8.0,2,a", "50,9.0,1,a"), strict=True):
    ...         _ = file.write_text(head + row + "\n")
    ...     found = read_strand_files(files)
    >>> [strand.pressure for strand in found]
    [2000000.0, 1000000.0]
    """
    files = [read_strands(path, ambient=ambient) for path in paths]
    refuse_twice(files)
    nameless = [
        str(path)
        for path, strands in zip(paths, files, strict=True)
        if not all(s.mix for s in strands)
    ]
    if len(nameless) > 1:
        raise InputError(
            f"{' and '.join(nameless)} name no mix: write a column mix into each, with "
            "one name if they hold strands of one mix"
        )
    found = tuple(strand for strands in files for strand in strands)
    check_batches(found)
    return found


def stated(strands: Sequence[Strand], **values: Any) -> tuple[Strand, ...]:
    """Return strands with what is stated of all of them, where their file says nothing.

    Parameters
    ----------
    **values
        `batch`, `process`, `degraded` and `date` of :class:`Strand`; empty or 0 if
        not stated.

    Raises
    ------
    InputError
        For a strand whose file says otherwise.
    """
    given = {name: value for name, value in values.items() if value}
    for strand, (name, value) in itertools.product(strands, given.items()):
        own = getattr(strand, name)
        if own and own != value:
            raise InputError(
                f"{name} is {value!r}, and {_place(strand)}, column {name!r}, says "
                f"{own!r}; leave {name} to the file"
            )
    return tuple(replace(strand, **given) for strand in strands)


def check_batches(strands: Sequence[Strand]) -> None:
    """Refuse a batch of two mixes or of two processes: a batch is one pot.

    Raises
    ------
    DataError
        File and line of both strands.
    """
    first: dict[str, Strand] = {}
    for strand in filter(lambda s: s.batch, strands):
        one = first.setdefault(strand.batch, strand)
        for name in ("mix", "process"):
            here, there = getattr(strand, name), getattr(one, name)
            if here != there:
                raise DataError(
                    f"{_place(strand)}, column 'batch': {strand.batch!r} has {name} "
                    f"{here!r}, and {there!r} in {_place(one)}; a batch is one mix "
                    "made by one process: give each a batch name of its own"
                )


def _place(strand: Strand) -> str:
    return f"{Path(strand.file).name} line {strand.line}"


def refuse_twice(files: Sequence[Sequence[Strand]]) -> None:
    """Refuse strands that would count twice.

    Raises
    ------
    InputError
        If a file is given twice, or all its readings stand in another, too.
    """
    for one, other in itertools.permutations(files, 2):
        if one[0].file == other[0].file:
            raise InputError(f"{one[0].file} is given twice; give it once")
        if stand_in(one, other):
            raise InputError(
                f"all strands of {one[0].file} stand in {other[0].file}, too, and "
                f"would count twice; leave out {one[0].file}"
            )


def stand_in(strands: Sequence[Strand], others: Sequence[Strand]) -> bool:
    """Say whether all readings of strands are among those of others."""
    one, other = (
        Counter((s.length, s.time, s.pressure) for s in of_file)
        for of_file in (strands, others)
    )
    return bool(one) and one <= other


#: A strand whose frames tell its time no better than this is remarked on: as far as
#: good strands scatter. Our rule.
_COARSE = 0.025


@contextmanager
def _remarks_by_kind() -> Iterator[None]:
    """Remark once a kind, however many rows it is about."""
    with plausible.collected() as found:
        yield
    for text in by_kind([one.text for one in found]):
        plausible.remark(text)


@_remarks_by_kind()
def _filmed(sheet: Sheet) -> tuple[float, ...]:
    """Return the times of strands that were filmed. [s]

    Raises
    ------
    DataError
        Frames that are no numbers, or end before they start; no strand's time.
    """
    from castsugar.motor.firing.frames import Frames

    found = []
    for i, line in enumerate(sheet.lines):
        cells = [_text(sheet, name, i).replace(",", ".") for name in _FILMED]
        cells[2] = cells[2].partition(" ")[0]  # a rate is of frames a second
        words = map("{}={}".format, ("first", "last", "rate"), cells)
        where = f"{sheet.file} line {line}"
        try:
            frames = Frames.parse(" ".join(words), where=where)
            time = plausible.checked(
                "strand time", frames.lasting, plausible.said_at(f"{where}: its time")
            )
        except InputError as error:
            raise DataError(str(error)) from None
        if frames.u > _COARSE * time:
            plausible.remark(
                f"{where}: {frames.count} frames tell its time to "
                f"{100.0 * frames.u / time:.2g} % only; film with more frames a second"
            )
        found.append(time)
    return tuple(found)


@_remarks_by_kind()
def _possible(
    sheet: Sheet, name: str, values: Sequence[float | None]
) -> tuple[float, ...]:
    """Return values that are possible for a strand; None passes by."""
    known = _RANGES[name]
    hint = " (absolute; for gauge readings write psig or kPa(g))"
    for (line, cell), value in zip(sheet.cells(name), values, strict=False):
        if value is not None:
            more = hint if name == "pressure" and value == 0.0 else ""
            plausible.checked(known, value, _said_at(sheet, line, name, cell, more))
    return tuple(v for v in values if v is not None)


def _said_at(
    sheet: Sheet, line: int, name: str, cell: str, more: str
) -> Callable[[str], DataError]:
    """Return what makes errors about a cell."""
    return lambda words: sheet.fail(line, name, cell, words + more)


def _not_all_zero(sheet: Sheet, pressures: Sequence[float | None]) -> None:
    if not any(pressures):
        line, cell = next(sheet.cells("pressure"))
        raise DataError(
            f"{sheet.file} line {line}, column {sheet.columns['pressure'].title!r}: "
            f"{cell!r}, like every pressure, is zero; write 'ambient' for open air, or "
            "a gauge unit such as psig or kPa(g)"
        )


def _all_or_no_batch(sheet: Sheet) -> None:
    """Refuse a file that names the batch of some strands and not of others."""
    cells = list(sheet.cells("batch"))
    filled = next((line for line, cell in cells if cell), None)
    for line, cell in cells:
        if filled is not None and not cell:
            raise sheet.fail(
                line,
                "batch",
                cell,
                f"is empty, and line {filled} names one; name the batch of every "
                "strand, or of none",
            )


def _told(sheet: Sheet, name: str, read: Callable[[str], str]) -> list[str]:
    """Return an optional column of words, each as its reader has it."""
    found = [""] * len(sheet.rows)
    for row, (line, cell) in enumerate(sheet.cells(name)):
        try:
            found[row] = read(cell) if cell else ""
        except InputError as error:
            title = sheet.columns[name].title
            raise DataError(
                f"{sheet.file} line {line}, column {title!r}: {error}"
            ) from None
    return found


def _process(cell: str) -> str:
    return one_of("process", cell.lower(), PROCESSES)


def _text(sheet: Sheet, name: str, row: int) -> str:
    column = sheet.columns.get(name)
    return sheet.rows[row][column.index] if column else ""
