"""What commands share: output options, and where the result goes."""

from __future__ import annotations

import argparse
import shlex
from collections.abc import Sequence
from pathlib import Path

from castsugar.cli.screen import remark, say, visible


def add_output_options(parser: argparse.ArgumentParser, *, csv: bool = True) -> None:
    """Add --json, --csv, -o and --force to a command."""
    kind = parser.add_mutually_exclusive_group()
    kind.add_argument("--json", action="store_true", help="print JSON, units in keys")
    if csv:
        kind.add_argument("--csv", action="store_true", help="print CSV")
    parser.add_argument(
        "-o", "--output", metavar="FILE", help="write to FILE instead of the screen"
    )
    parser.add_argument(
        "--force", action="store_true", help="let files that exist be replaced"
    )


#: Options that name a file to write, by what argparse calls them.
WRITTEN = {
    "output": "-o",
    "csv": "--csv",
    "page": "--page",
    "picture": "--picture",
    "chart": "--chart",
    "trace": "--trace",
    "map": "--map",
    "traces": "--traces",
    "front": "--front",
    "trials": "--trials",
}


def check_outputs(options: argparse.Namespace) -> None:
    """Refuse results that could not be written, before any work is done for them.

    Raises
    ------
    InputError
    """
    say("")
    given = {WRITTEN[k]: v for k, v in vars(options).items() if k in WRITTEN}
    names = {option: v for option, v in given.items() if isinstance(v, str)}
    if names:
        from castsugar.files.writing import refuse_unwritable

        refuse_unwritable(names, force=options.force)


def deliver(options: argparse.Namespace, text: str) -> None:
    """Print a result, or write it to the file asked for; remarks stand first."""
    put(options, remarked(options, text))


def remarked(options: argparse.Namespace, text: str) -> str:
    """Return a result with the remarks on unusual values before it.

    In JSON they are its first key; a table of CSV has no room, so they are said beside.
    """
    if not getattr(options, "remarks", None):
        return text
    if getattr(options, "json", False):
        import json

        from castsugar.plain import to_json

        remarks = [one.to_dict() for one in options.remarks]
        return to_json({"remarks": remarks, **json.loads(text)})
    if getattr(options, "csv", False) is True:
        for one in options.remarks:
            remark(f"castsugar: {one.text}")
        return text
    from castsugar.report.layout import wrapped

    lines = [x for one in options.remarks for x in wrapped(one.text, "     ", "  >> ")]
    return "\n".join([*lines, "", text])


def put(options: argparse.Namespace, text: str) -> None:
    """Print a text as it is, or write it to the file asked for."""
    if options.output is None:
        show(options, text)
    else:
        write_file(options, options.output, visible(text))


def show(options: argparse.Namespace, text: str) -> None:
    """Print a result; errors as for :func:`say`."""
    say(text)
    _note(options, "what is printed above")


def write_file(options: argparse.Namespace, name: str, text: str) -> None:
    """Write a file that an option names, and say so."""
    from castsugar.files.writing import write_text

    write_text(Path(name), text, force=options.force)
    _note(options, name)
    remark(f"wrote {name}")


def _note(options: argparse.Namespace, what: str) -> None:
    """Remember what is done, for an interruption to tell."""
    vars(options).setdefault("done", []).append(what)


def version_line() -> str:
    """Return the versions that a result depends on, on one line."""
    from importlib import metadata

    from castsugar.data.load import data_version

    return (
        f"castsugar {metadata.version('castsugar')}, species data {data_version()}, "
        f"Cantera {metadata.version('cantera')}"
    )


#: Options that say where a result goes, not what it is: with a value, without one.
_WHERE = ("-o", "--output", "--page")
_HOW = ("--json", "--csv", "--markdown", "--force", "--debug")


def command_text(words: Sequence[str]) -> str:
    """Return a command as typed, without what only says where the result goes.

    Parameters
    ----------
    words : sequence of str
        All words but the program's name.

    Examples
    --------
    >>> command_text(["compare", "a b", "--page", "x.html", "--json", "--seed", "2"])
    "castsugar compare 'a b' --seed 2"
    """
    kept: list[str] = []
    skip = False
    for word in words:
        if skip:
            skip = False
        elif word in _WHERE:
            skip = True
        elif word not in _HOW and not word.startswith(tuple(f"{w}=" for w in _WHERE)):
            kept.append(word)
    return shlex.join(["castsugar", *kept])
