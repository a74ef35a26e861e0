"""A batch as its file tells it: what was made, what was foreseen, what was measured."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from castsugar.errors import InputError
from castsugar.workshop.batches.record import Event, Link, Made


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Batch:
    """A batch as its file tells it.

    What a later "corrected" line points at is set aside: `measurements`,
    `strand_files` and `firings` leave it out, a corrected "closed" line opens the batch
    again, a corrected correction counts no more. If line 1 itself was corrected,
    `is_sound` is False: what was made is not what the record says.

    Attributes
    ----------
    path : pathlib.Path
    id : str
    made : Made
    events : tuple of Event
        In the order of the file.
    """

    path: Path
    id: str
    made: Made
    events: tuple[Event, ...]

    @property
    def predictions(self) -> Mapping[str, Any]:
        """What was foreseen, a row of :data:`castsugar.columns.COLUMNS`."""
        return self.made.predictions

    @property
    def set_aside(self) -> dict[int, str]:
        """Lines that were corrected, and what is wrong with them."""
        return corrected_lines(self.events)

    @property
    def is_sound(self) -> bool:
        """Whether what was made stands uncorrected."""
        return 1 not in self.set_aside

    @property
    def standing(self) -> tuple[Event, ...]:
        """The events that were not corrected, corrections left out, by date."""
        if not self.events:
            return ()
        gone = self.set_aside
        stay = [e for e in self.events if e.line not in gone and e.kind != "corrected"]
        return tuple(sorted(stay, key=lambda e: (e.date, e.line)))

    @property
    def outcome(self) -> str:
        """What became of it: one of :data:`OUTCOMES`, or "" while it is open."""
        closed = [e for e in self.standing if e.kind == "closed"]
        return str(closed[-1].values["outcome"]) if closed else ""

    def measurements(self) -> list[dict[str, Any]]:
        """Return the kitchen measurements, checked: values in SI.

        Each has the keys of :data:`castsugar.workshop.kitchen_keys.MEASUREMENTS`, as
        :meth:`castsugar.workshop.bench.Bench.with_measurement` takes them; recipe,
        cook and mass are those of the batch where none was stated.

        Raises
        ------
        InputError
            File and line, for keys that this version does not know.
        """
        from castsugar.workshop.bench import read_measurement

        return [
            read_measurement(e.values["measurement"], Spot(self.path, e.line))
            for e in self.standing
            if e.kind == "measured"
        ]

    def strand_files(self) -> list[Link]:
        """Return the files of strands, for :func:`~castsugar.workshop.readings`."""
        return [self._link(e) for e in self.standing if e.kind == "burned"]

    def firings(self) -> list[Link]:
        """Return the recordings of static tests, with what they were reduced to."""
        return [self._link(e) for e in self.standing if e.kind == "fired"]

    def changed_files(self) -> list[tuple[int, Path, str]]:
        """Return linked files that are not as they were: line, path, fault in words."""
        from castsugar.files.reading import sha256_of

        found = []
        for link in (*self.strand_files(), *self.firings()):
            try:
                if sha256_of(link.path) != link.sha256:
                    found.append((link.line, link.path, "has changed since"))
            except InputError:
                found.append((link.line, link.path, "is not there any more"))
        return sorted(found)

    def recipe_as_made(self) -> str:
        """Return the masses as made, in the pan, as a recipe text, parts in grams."""
        if not self.made.actual:
            return self.made.recipe
        return " ".join(f"{n}:{1e3 * m:.10g}" for n, m in self.made.masses.items())

    def _link(self, event: Event) -> Link:
        values = event.values
        return Link(
            line=event.line,
            date=event.date,
            path=self.path.parent / values["file"],
            sha256=values["sha256"],
            mix=values.get("mix", ""),
            options=values.get("options", {}),
            results=values.get("results", {}),
        )


@dataclass(frozen=True, slots=True)
class Spot:
    """A line of a record, for the messages of :mod:`castsugar.workshop.schema`."""

    path: Path
    line: int

    def fail(self, key: str, fault: str) -> InputError:
        """Build an error that names file, line and key."""
        return InputError(f"{self.path}, line {self.line}: {key} {fault}")


def corrected_lines(events: tuple[Event, ...]) -> dict[int, str]:
    """Return the lines that a correction points at which is not corrected itself."""
    found: dict[int, str] = {}
    for event in reversed(events):
        if event.kind == "corrected" and event.line not in found:
            found.setdefault(int(event.values["line"]), event.note)
    return found
