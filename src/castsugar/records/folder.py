"""The folder of records: read, listed, added to."""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from pathlib import Path

from castsugar.errors import DataError, InputError, nearest_names
from castsugar.files.paths import explained, real, status
from castsugar.files.reading import read_bytes
from castsugar.files.writing import make_folder, update, write_new
from castsugar.frozen import dataclass
from castsugar.records.batch import Batch, decode, encode_event, encode_made
from castsugar.records.record import IDENTITY, SUFFIX, Event, Made, is_date

# ----------------------------------------------------------------------------
# Read the records of a folder: one, or what a list needs of all.

#: Largest record that is read [bytes].
LARGEST = 16_000_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Summary:
    """What a list says of a batch.

    Attributes
    ----------
    id, date, name, recipe, note : str
        As of the batch.
    mass : float
        As made. [kg]
    outcome : str
        used, partly or discarded; "" while open.
    counts : dict of str to int
        Events of each kind that stand, by kind.
    is_sound : bool
        False if what was made was corrected.
    """

    id: str
    date: str
    name: str
    recipe: str
    note: str
    mass: float
    outcome: str
    counts: dict[str, int]
    is_sound: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Damaged:
    """A file that is no good record.

    Attributes
    ----------
    path : pathlib.Path
    fault : str
        What is wrong, in one line.
    """

    path: Path
    fault: str


def read_batch(path: Path) -> Batch:
    """Read the record of a batch.

    Parameters
    ----------
    path : pathlib.Path
        Of the record.

    Returns
    -------
    Batch

    Raises
    ------
    DataError
        File, line and what is wrong.
    InputError
        If the file cannot be read or is too large.

    Examples
    --------
    >>> import tempfile
    >>> from castsugar.records import Made, new_batch
    >>> made = Made(
    ...     date="2026-11-25",
    ...     recipe="KNO3:65 sucrose:35",
    ...     name="",
    ...     fractions={"potassium nitrate": 0.65, "sucrose": 0.35},
    ...     batch=0.2,
    ...     planned={"potassium nitrate": 0.13, "sucrose": 0.07},
    ...     pressure=3e6,
    ... )
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     batch = read_batch(new_batch(Path(folder), made).path)
    >>> batch.made.recipe
    'KNO3:65 sucrose:35'
    """
    return decode(read_bytes(path, LARGEST), path)


def record_path(folder: Path, identity: str) -> Path:
    """Return the file of a batch.

    Parameters
    ----------
    folder : pathlib.Path
    identity : str
        Such as "2026-11-25-1".

    Returns
    -------
    pathlib.Path

    Raises
    ------
    InputError
        If the folder has no such batch; names the nearest.

    Examples
    --------
    >>> import tempfile
    >>> from castsugar.records import Made, new_batch
    >>> made = Made(
    ...     date="2026-11-25",
    ...     recipe="KNO3:65 sucrose:35",
    ...     name="",
    ...     fractions={"potassium nitrate": 0.65, "sucrose": 0.35},
    ...     batch=0.2,
    ...     planned={"potassium nitrate": 0.13, "sucrose": 0.07},
    ...     pressure=3e6,
    ... )
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     batch = new_batch(Path(folder), made)
    ...     record_path(Path(folder), batch.id) == batch.path
    True
    """
    if not IDENTITY.fullmatch(identity):
        raise InputError(
            f"{identity!r} is not what a batch is called; write for example "
            "2026-05-02-1; castsugar batch list shows them"
        )
    path = folder / f"{identity}{SUFFIX}"
    if status(path) is None:
        known = [name.removesuffix(SUFFIX) for name in _names(folder)]
        near = nearest_names(identity, known)
        hint = f"did you mean {near[0]}? " if near else ""
        raise InputError(
            f"{folder} has no batch {identity}; {hint}castsugar batch list shows "
            "those of a folder, --dir names it"
        )
    return path


def list_batches(folder: Path) -> tuple[list[Summary], list[Damaged]]:
    """Return all batches of a folder, oldest first, and the files that are damaged.

    A folder that does not exist has none.

    Parameters
    ----------
    folder : pathlib.Path

    Returns
    -------
    tuple of (list of Summary, list of Damaged)

    Raises
    ------
    InputError
        If the folder cannot be read.

    See Also
    --------
    castsugar.records.read_batches : whole batches.

    Examples
    --------
    >>> list_batches(Path("a folder that is not there"))
    ([], [])
    """
    damaged: list[Damaged] = []
    found = [summary_of(batch) for batch in _each(folder, damaged)]
    return sorted(found, key=lambda s: _order(s.id)), damaged


def read_batches(folder: Path) -> tuple[list[Batch], list[Damaged]]:
    """Return the same as :func:`list_batches`, as whole batches.

    Parameters
    ----------
    folder : pathlib.Path

    Returns
    -------
    tuple of (list of Batch, list of Damaged)

    Examples
    --------
    >>> read_batches(Path("a folder that is not there"))
    ([], [])
    """
    damaged: list[Damaged] = []
    found = list(_each(folder, damaged))
    return sorted(found, key=lambda b: _order(b.id)), damaged


def _each(folder: Path, damaged: list[Damaged]) -> Iterator[Batch]:
    """Yield the batches of a folder; put what is damaged on the list."""
    for name in _names(folder):
        path = folder / name
        try:
            batch = read_batch(path)
        except (DataError, InputError) as error:
            damaged.append(Damaged(path=path, fault=str(error)))
        else:
            yield batch


def _names(folder: Path) -> list[str]:
    """Return the names of the records, those of hidden files left out."""
    if status(folder) is None:
        return []
    with explained(folder, "read"):
        names = os.listdir(folder)
    return sorted(n for n in names if n.endswith(SUFFIX) and not n.startswith("."))


def _order(identity: str) -> tuple[str, int]:
    date, _, number = identity.rpartition("-")
    return date, int(number) if number.isdecimal() else 0


def summary_of(batch: Batch) -> Summary:
    """Return what a list says of a batch."""
    counts: dict[str, int] = {}
    for event in batch.standing:
        counts[event.kind] = counts.get(event.kind, 0) + 1
    made = batch.made
    return Summary(
        id=batch.id,
        date=made.date,
        name=made.name,
        recipe=made.recipe,
        note=made.note,
        mass=made.mass,
        outcome=batch.outcome,
        counts=counts,
        is_sound=batch.is_sound,
    )


# ----------------------------------------------------------------------------
# Write records: a new one under the first free number, events at the end of one.

#: Most batches of one day.
MOST = 99_999


def new_batch(folder: Path, made: Made) -> Batch:
    """Keep a new batch under the first free number of its day.

    The folder is made if it is not there. Two processes at once get two numbers;
    whatever happens on the way, the record is there whole or not at all.

    Parameters
    ----------
    folder : pathlib.Path
    made : Made

    Returns
    -------
    Batch

    Raises
    ------
    InputError
        If the date is none, or the folder cannot be written.

    See Also
    --------
    castsugar.records.add_events : what happens to it later.

    Examples
    --------
    >>> import tempfile
    >>> made = Made(
    ...     date="2026-11-25",
    ...     recipe="KNO3:65 sucrose:35",
    ...     name="",
    ...     fractions={"potassium nitrate": 0.65, "sucrose": 0.35},
    ...     batch=0.2,
    ...     planned={"potassium nitrate": 0.13, "sucrose": 0.07},
    ...     pressure=3e6,
    ... )
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     batch = new_batch(Path(folder), made)
    >>> batch.id
    '2026-11-25-1'
    """
    if not is_date(made.date):
        raise InputError(f"date is {made.date!r}; write it as 2026-05-02")
    number = 0
    make_folder(folder)
    while number < MOST:
        number = _next_free(folder, made.date, number)
        identity = f"{made.date}-{number}"
        path = folder / f"{identity}{SUFFIX}"
        data = encode_made(made, identity)
        batch = decode(data, path)
        if write_new(path, data):
            return batch
    raise InputError(
        f"{folder} has {MOST:,} batches of {made.date}; choose another --dir"
    )


def _next_free(folder: Path, date: str, last: int) -> int:
    """Return the first number after the last one tried that looks free."""
    number = last + 1
    while os.path.lexists(folder / f"{date}-{number}{SUFFIX}"):
        number += 1
    return number


def add_events(path: Path, events: Sequence[Event]) -> Batch:
    """Add events at the end of a record: all of them or none.

    The bytes of earlier lines stay. Two processes at once both add.

    Parameters
    ----------
    path : pathlib.Path
        Of the record.
    events : sequence of Event
        Their `line` is not looked at.

    Returns
    -------
    Batch
        As it is then.

    Raises
    ------
    InputError
        If an event is not allowed (after the batch was closed, before it was made), or
        the file cannot be written.
    DataError
        If the record is damaged.

    Examples
    --------
    >>> import tempfile
    >>> from castsugar.records import Made, new_batch
    >>> made = Made(
    ...     date="2026-11-25",
    ...     recipe="KNO3:65 sucrose:35",
    ...     name="",
    ...     fractions={"potassium nitrate": 0.65, "sucrose": 0.35},
    ...     batch=0.2,
    ...     planned={"potassium nitrate": 0.13, "sucrose": 0.07},
    ...     pressure=3e6,
    ... )
    >>> used = Event(kind="closed", date="2026-11-25", values={"outcome": "used"})
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     batch = new_batch(Path(folder), made)
    ...     batch = add_events(batch.path, [used])
    >>> batch.outcome
    'used'
    """
    path = real(path)

    def added(before: bytes | None) -> bytes:
        if before is None:
            raise InputError(f"{path} is gone; nothing was added")
        return _with_events(before, path, events)

    return decode(update(path, added, largest=LARGEST), path)


def _with_events(before: bytes, path: Path, events: Sequence[Event]) -> bytes:
    """Return the bytes of a record with events added, checked."""
    data = before if before.endswith(b"\n") else before + b"\n"
    batch = decode(data, path)
    for event in events:
        check_allowed(batch, event)
        data += encode_event(event)
        batch = decode(data, path)
    return data


def check_allowed(batch: Batch, event: Event) -> None:
    """Refuse an event that cannot be: after closing, before making, about no line.

    Raises InputError.
    """
    if not is_date(event.date):
        raise InputError(f"date is {event.date!r}; write it as 2026-05-02")
    if event.date < batch.made.date:
        raise InputError(
            f"{batch.id} was made on {batch.made.date}; an event of {event.date} is "
            "before that; correct --date"
        )
    last = 1 + len(batch.events)
    if event.kind == "corrected":
        wrong = event.values["line"]
        if not 1 <= wrong <= last:
            raise InputError(
                f"{batch.id} has lines 1 to {last}, no line {wrong} to correct; "
                f"castsugar batch show {batch.id} numbers them"
            )
        if wrong in batch.set_aside:
            raise InputError(f"line {wrong} of {batch.id} was corrected already")
        if not event.note.strip():
            raise InputError("a correction needs --note: say what is wrong")
        return
    if batch.outcome:
        line = next(e.line for e in batch.standing if e.kind == "closed")
        raise InputError(
            f"{batch.id} is closed ({batch.outcome}); only corrections can be added: "
            f"correct line {line} to open it again"
        )
