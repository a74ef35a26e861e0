"""From a result to what was asked for: screen, file, JSON, CSV, Markdown, page."""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from castsugar.cli.output import command_text, files_read, put, write_file
from castsugar.cli.screen import remark
from castsugar.errors import InputError
from castsugar.frozen import dataclass
from castsugar.report.shown import SI, Shown

if TYPE_CHECKING:
    from castsugar.plausible import Remark
    from castsugar.report.field import Field, Row
    from castsugar.report.screen import Screen


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """What a command found: its document is called ``castsugar.<command>/2``.

    `screen` says it in a system of units, `paper` says it for the page, where that is
    another screen. `parts` returns what its JSON holds beside what every document does;
    of that, `told` are version, conditions, assumptions and cautions. `basis` returns
    what it rests on, as :func:`castsugar.mix.basis.basis`; by default on no number of
    the species data. `rows` and `fields` are of its CSV.
    """

    command: str
    screen: Callable[[Shown], Screen]
    parts: Callable[[], Mapping[str, Any]]
    told: Mapping[str, Any]
    rows: Sequence[Row] = ()
    fields: Sequence[Field] = field(default=())
    paper: Callable[[Shown], Screen] | None = None
    basis: Callable[[], Mapping[str, Any]] | None = None


def units_of(options: argparse.Namespace) -> Shown:
    """Return the units of the screens: typed, or those of the bench file, or SI."""
    world = vars(options).get("world")
    stated = SI if world is None else world.units
    return Shown(getattr(options, "units", None) or stated)


def invented_files(names: Iterable[str | None]) -> tuple[str, ...]:
    """Return those of some files of readings that call themselves invented."""
    from castsugar.readings.tables import is_invented

    return tuple(name for name in names if name and is_invented(Path(name)))


def answer(options: argparse.Namespace, found: Answer) -> None:
    """Print or write what was asked for; raises InputError where it cannot."""
    known = _basis(found) if getattr(options, "cite", False) else None
    put(options, _rendered(options, found, known))
    if page := getattr(options, "page", None):
        from castsugar.report.page import to_page

        paper = (found.paper or found.screen)(units_of(options))
        write_file(
            options, page, to_page(_cited(known, _remarked(options.remarks, paper)))
        )


def _basis(found: Answer) -> Mapping[str, Any]:
    """Return what an answer rests on."""
    from castsugar.mix.basis import basis

    return basis([]) if found.basis is None else found.basis()


def _rendered(
    options: argparse.Namespace, found: Answer, known: Mapping[str, Any] | None
) -> str:
    """Return the result as text of the kind that was asked for."""
    if getattr(options, "json", False):
        return _document(options, found, known)
    if getattr(options, "csv", False) is True:
        from castsugar.report.document import to_csv

        if known is not None:
            raise InputError(
                "--cite: CSV is a table alone; ask for --json or the screen"
            )
        _say_beside(options)
        return to_csv(found.rows, found.fields)
    screen = found.screen(units_of(options))
    if getattr(options, "markdown", False):
        from castsugar.report.markdown import to_markdown

        _say_beside(options)
        return to_markdown(_cited(known, _remarked(options.remarks, screen)))
    from castsugar.report.terminal import to_text

    full = getattr(options, "full", False)
    screen = _remarked(_unusual(options)[:_MOST_ON_SCREEN], screen)
    text = to_text(screen, full=full, colour=_coloured(options))
    _say_beside(options, "" if getattr(options, "output", None) else text)
    if known is None:
        return text
    from castsugar.mix.basis import cited_lines

    return "\n".join([text + "\nReferences", *cited_lines(known), ""])


def _document(
    options: argparse.Namespace, found: Answer, known: Mapping[str, Any] | None
) -> str:
    """Return the result as JSON, with what gives the same numbers again."""
    from castsugar.mix.basis import references
    from castsugar.report.document import document

    told = {
        "command": command_text(getattr(options, "words", ())),
        "files_read": files_read(options),
        **found.told,
    }
    if remarks := getattr(options, "remarks", None):
        told["remarks"] = [one.to_dict() for one in remarks]
    if known is not None:
        told["references"] = references(known)
    return document(found.command, found.screen(Shown(SI)), found.parts(), **told)


def _cited(known: Mapping[str, Any] | None, screen: Screen) -> Screen:
    """Return a screen with its references behind all else, where they are asked for."""
    if known is None:
        return screen
    from castsugar.mix.basis import cited_lines
    from castsugar.report.screen import Annex, Listing

    said = Annex("References", (Listing(tuple(cited_lines(known))),))
    return replace(screen, annexes=(*screen.annexes, said))


#: Unusual values that a screen has room for; the others stand beside it.
_MOST_ON_SCREEN = 2


def _unusual(options: argparse.Namespace) -> list[Remark]:
    """Return the remarks on unusual values."""
    from castsugar.plausible import UNUSUAL

    made = getattr(options, "remarks", None) or []
    return [one for one in made if one.code == UNUSUAL]


def _say_beside(options: argparse.Namespace, screen: str = "") -> None:
    """Print the remarks that a screen does not make."""
    said = " ".join(screen.replace("\xa0", " ").split())
    for one in getattr(options, "remarks", None) or []:
        if " ".join(one.text.split()) not in said:
            remark(f"castsugar: {one.text}")


def _remarked(remarks: Iterable[Remark], screen: Screen) -> Screen:
    """Return a screen whose findings say what was remarked on."""
    from castsugar.report.screen import Finding

    said = [Finding("MISFIT", f"{one.text}.") for one in remarks]
    return replace(screen, findings=(*screen.findings, *said)) if said else screen


def _coloured(options: argparse.Namespace) -> bool:
    """Say whether status words are coloured: on a terminal that wants it."""
    if options.output is not None or os.environ.get("NO_COLOR"):
        return False
    return sys.stdout.isatty() and os.environ.get("TERM") != "dumb"
