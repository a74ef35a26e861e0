"""``castsugar audit``: recompute a member's record, and say whether it is the same."""

from __future__ import annotations

import argparse
import contextlib
import io
import json
import shlex
from functools import partial
from pathlib import Path
from typing import Any

from castsugar.cli.answer import Answer, answer
from castsugar.cli.interrupt import INTERRUPTED
from castsugar.cli.output import UNCITED, WRITTEN, add_output_options, command_text
from castsugar.errors import InputError

#: The answer is no.
NO = 1

#: Commands that compute, and write nothing but what output options name.
COMPUTING = (
    "evaluate",
    "ballistics",
    "compare",
    "search",
    "justify",
    "sweep",
    "map",
    "next",
    "weigh",
    "plan",
    "kitchen",
    "burnrate",
    "firing",
    "check",
)

_EXAMPLES = """\
RECORD.json is what any command printed with --json. It is recomputed by the
command that stands in it, on the files that it names: run audit in the folder
in which it was made. Numbers are compared in ten digits, words (verdicts,
statuses, names) letter by letter; sentences are not. A record of another
version is compared all the same, and the first line says so. The command of a
record is not run if it writes anything.

Exit code 1: a number or a word differs.

examples:
  castsugar evaluate base --json -o record.json
  castsugar audit record.json
"""


def add_parser(commands: Any) -> None:
    """Add the command."""
    parser = commands.add_parser(
        "audit",
        description="Recompute a record and say whether it is the same.",
        epilog=_EXAMPLES,
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    parser.add_argument("record", metavar="RECORD", help="what --json printed")
    add_output_options(parser, without=UNCITED)
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Recompute the record and print what differs; 1 if anything does."""
    from castsugar.cli.auditing import (
        changed_files,
        differences,
        other_versions,
        read_record,
    )
    from castsugar.data.load import data_version
    from castsugar.report.audit import (
        DIFFERING,
        Audited,
        audit_parts,
        audit_rows,
        audit_screen,
    )

    record = read_record(Path(options.record))
    words = words_of(record["command"])
    changed = changed_files(record)
    now = _recomputed(words)
    if now is None:
        return INTERRUPTED
    differing, numbers, compared = differences(record, now)
    found = Audited(
        name=Path(options.record).name,
        schema=record["schema"],
        command=command_text(words),
        version=record["versions"]["castsugar"],
        others=other_versions(record, now),
        numbers=numbers,
        words=compared,
        differing=differing,
        changed=changed,
    )
    given = Answer(
        command="audit",
        screen=partial(audit_screen, found),
        parts=partial(audit_parts, found),
        told={"version": data_version(), "cautions": []},
        rows=audit_rows(found),
        fields=DIFFERING,
    )
    answer(options, given)
    return NO if differing else 0


def words_of(command: str) -> list[str]:
    """Return the words of the command of a record, output options left out.

    Raises
    ------
    InputError
        For what is no command, for one that is not there to compute, and for options
        that write.
    """
    from castsugar.cli.main import build_parser

    try:
        words = shlex.split(command)
    except ValueError:
        words = []
    if words[:1] != ["castsugar"] or words[1:2] == [] or words[1] not in COMPUTING:
        raise InputError(
            f"the command of the record, {command!r}, is none that is recomputed; "
            f"allowed: castsugar and one of {', '.join(COMPUTING)}"
        )
    kept = shlex.split(command_text(words[1:]))[1:]
    said = io.StringIO()
    try:
        with contextlib.redirect_stderr(said), contextlib.redirect_stdout(said):
            read = vars(build_parser(kept[0]).parse_args(kept))
    except SystemExit:
        why = " ".join(said.getvalue().split())
        raise InputError(f"the command of the record is refused: {why}") from None
    writing = [option for name, option in WRITTEN.items() if read.get(name)]
    writing += [f"--{name}" for name in ("save", "picture") if read.get(name)]
    if writing or "run" not in read:
        raise InputError(
            f"the command of the record is not run: {', '.join(writing) or 'it'} may "
            "write; a record is made by a command that only computes"
        )
    return kept


def _recomputed(words: list[str]) -> dict[str, Any] | None:
    """Return the document that a command makes now; None after Ctrl-C."""
    from castsugar.cli.main import main

    printed, said = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(printed), contextlib.redirect_stderr(said):
        code = main([*words, "--json"])
    if code == INTERRUPTED:
        return None
    try:
        made: dict[str, Any] = json.loads(printed.getvalue())
    except json.JSONDecodeError:
        why = " ".join(said.getvalue().split()).removeprefix("castsugar: ")
        raise InputError(f"the command of the record is refused now: {why}") from None
    return made
