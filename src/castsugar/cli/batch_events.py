"""``castsugar batch add`` and ``close``: from what was typed to events."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any

from castsugar import plausible, units
from castsugar.bench.bench import read_measurement
from castsugar.bench.kitchen import measurement
from castsugar.cli.batch_dates import date_of
from castsugar.cli.batch_firing import firing_values, stand_options
from castsugar.data.load import load_database
from castsugar.errors import CastsugarError, InputError
from castsugar.files.reading import sha256_of
from castsugar.readings.strand_files import read_strands
from castsugar.records.batch import Batch
from castsugar.records.folder import check_allowed
from castsugar.records.prediction import keeps_motor, measurement_of, relative
from castsugar.records.record import Event


def events_of(options: argparse.Namespace, batch: Batch) -> list[Event]:
    """Return the events that were typed, in the order in which they are kept.

    Raises
    ------
    CastsugarError
        If one cannot be used; nothing is kept then.
    """
    date = date_of(options.date)
    outcome = getattr(options, "outcome", None)
    if outcome is not None:
        _may_close(batch, date, outcome)
    kept = [
        *_observed(options),
        *(("measured", {"measurement": m}) for m in _measured(options, batch, date)),
        *_burned(options, batch),
        *_fired(options, batch),
        *_corrected(options),
    ]
    if outcome is not None:
        kept.append(("closed", {"outcome": outcome}))
    if not kept:
        raise InputError(
            "nothing to add; give --observe, --measured, --strands, --firing or "
            "--correct"
        )
    note = options.note or ""
    events = [Event(kind=k, date=date, note=note, values=v) for k, v in kept]
    check_allowed(batch, events[0])
    return events


def _may_close(batch: Batch, date: str, outcome: str) -> None:
    """Refuse to close twice before anything else is looked at."""
    check_allowed(batch, Event(kind="closed", date=date, values={"outcome": outcome}))


Kept = tuple[str, dict[str, Any]]


def _observed(options: argparse.Namespace) -> list[Kept]:
    """Return what was seen."""
    told = (options.observe, options.temperature, options.flow)
    if all(value is None for value in told):
        return []
    kelvin = None
    if options.temperature is not None:
        where = "--temperature"
        kelvin = units.parse(options.temperature, "temperature", where=where).value
        wrong = plausible.fault("observed temperature", kelvin)
        if wrong:  # an odd one stands in the warnings of the batch from now on
            raise InputError(f"{where} {wrong}")
    values = {
        "text": options.observe or "",
        "temperature_K": kelvin,
        "flow_class": options.flow or "",
    }
    return [("observed", values)]


class _Typed:
    """The words of --measured, for messages."""

    def fail(self, key: str, fault: str) -> InputError:
        """Build an error that names the key."""
        return InputError(f"--measured: {key} {fault}")


def _measured(
    options: argparse.Namespace, batch: Batch, date: str
) -> list[dict[str, Any]]:
    """Return kitchen measurements as typed; each is tried before it is kept."""
    from castsugar.cli.kitchen_measure import _minutes
    from castsugar.constants import STANDARD_ATMOSPHERE

    found = []
    for typed in options.measured:
        entry = measurement_of(typed, batch, date)
        if isinstance(entry.get("minutes"), str):
            entry["minutes"] = _minutes(entry["minutes"])
        checked = read_measurement(entry, _Typed())
        try:
            measurement(checked, STANDARD_ATMOSPHERE, load_database())
        except CastsugarError as error:
            raise InputError(f"--measured {typed!r}: {error}") from None
        found.append(entry)
    return found


def _burned(options: argparse.Namespace, batch: Batch) -> list[Kept]:
    """Return the file of strands, checked that the mix is in it."""
    if options.strands is None:
        if options.strand_mix is not None:
            raise InputError("--strand-mix needs --strands, the file it is in")
        return []
    path = Path(options.strands)
    strands = read_strands(path)
    names = list(dict.fromkeys(s.mix for s in strands))
    listed = ", ".join(map(repr, names))
    wanted = options.strand_mix
    if wanted is None:
        if len(names) > 1:
            raise InputError(
                f"{path} holds {listed}; say which is this batch by --strand-mix"
            )
        wanted = names[0]
    count = sum(s.mix == wanted for s in strands)
    if not count:
        raise InputError(f"{path} has no mix {wanted!r}; it holds {listed}")
    values = {**_linked(path, batch), "mix": wanted, "strands": count}
    return [("burned", values)]


def _fired(options: argparse.Namespace, batch: Batch) -> list[Kept]:
    """Return the recording of a static test, reduced."""
    typed = stand_options(options)
    if options.firing is None:
        stray = next(iter(typed), "motor" if options.motor is not None else None)
        if stray is not None:
            raise InputError(f"--{stray.replace('_', '-')} needs --firing, a recording")
        return []
    path = Path(options.firing)
    kept = dict(typed)
    folder, own = batch.path.parent, batch.made.bench
    if options.motor is not None and not keeps_motor(own, Path(options.motor), folder):
        kept["motor"] = relative(Path(options.motor), folder)
    linked = _linked(path, batch)
    results = firing_values(path, kept, batch)
    return [("fired", {**linked, "options": kept, "results": results})]


def _linked(path: Path, batch: Batch) -> dict[str, Any]:
    """Return how a record points at a file."""
    folder = batch.path.parent
    return {"file": relative(path, folder), "sha256": sha256_of(path)}


def _corrected(options: argparse.Namespace) -> list[Kept]:
    """Return the line that is wrong."""
    if options.correct is None:
        return []
    if not (options.note or "").strip():
        raise InputError("--correct needs --note: say what is wrong in that line")
    return [("corrected", {"line": options.correct})]
