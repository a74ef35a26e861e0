"""Write records: a new one under the first free number, events at the end of one."""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path

from castsugar.errors import InputError
from castsugar.files.paths import real
from castsugar.files.writing import make_folder, update, write_new
from castsugar.workshop.batches.batch import Batch
from castsugar.workshop.batches.codec import decode, encode_event, encode_made
from castsugar.workshop.batches.fields import is_date
from castsugar.workshop.batches.folder import LARGEST
from castsugar.workshop.batches.record import SUFFIX, Event, Made

#: Most batches of one day.
MOST = 99_999


def new_batch(folder: Path, made: Made) -> Batch:
    """Keep a new batch under the first free number of its day.

    The folder is made if it is not there. Two processes at once get two numbers;
    whatever happens on the way, the record is there whole or not at all.

    Raises
    ------
    InputError
        If the date is none, or the folder cannot be written.
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


def add_event(path: Path, event: Event) -> Batch:
    """Add one event; see :func:`add_events`."""
    return add_events(path, [event])


def add_events(path: Path, events: Sequence[Event]) -> Batch:
    """Add events at the end of a record: all of them or none.

    The bytes of earlier lines stay. Two processes at once both add.

    Parameters
    ----------
    path : pathlib.Path
    events : sequence of Event
        Their `line` is not looked at.

    Raises
    ------
    InputError
        If an event is not allowed (after the batch was closed, before it was made), or
        the file cannot be written.
    DataError
        If the record is damaged.
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

    Raises
    ------
    InputError
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
