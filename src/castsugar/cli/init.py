"""``castsugar init``: an example scenario to learn on, and to put one's own into."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any

from castsugar.cli.interrupt import held_back
from castsugar.cli.output import show
from castsugar.errors import InputError

_EXAMPLES = """\
The files are those of an invented club: a bench file with every table
explained, strands, the recording of a static test. Every command of README
runs on them. Replace what they say by what you have; take out what you do not
have.

examples:
  castsugar init
  castsugar init my-bench
  castsugar init --explain motor.throat
"""

#: What to do first: words of a command, what for.
_FIRST = (
    ("evaluate base", "what the base mix does"),
    ("search", "the best mix within your limits"),
    ("weigh base --grains 4", "what to put on the scale"),
)


def add_parser(commands: Any) -> None:
    """Add the command."""
    parser = commands.add_parser(
        "init",
        description="Write an example scenario, invented, into a folder.",
        epilog=_EXAMPLES,
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    parser.add_argument(
        "dir",
        metavar="DIR",
        nargs="?",
        default=".",
        help="where to (default: here); made if it is not there",
    )
    parser.add_argument(
        "--force", action="store_true", help="let files that exist be replaced"
    )
    parser.add_argument(
        "--explain",
        metavar="KEY",
        help="write nothing; say what a key or table of the bench file means",
    )
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Write the files and say what to do with them; or explain a key."""
    from castsugar.bench.example import FILES, write_example

    if options.explain is not None:
        from castsugar.bench.explain import explain

        if options.dir != "." or options.force:
            raise InputError("--explain writes nothing; leave out DIR and --force")
        show(options, explain(options.explain))
        return 0
    if not options.dir:
        raise InputError("DIR is empty; give the name of a folder or leave it out")
    folder = Path(options.dir)
    with held_back():
        write_example(folder, force=options.force)
        show(options, _screen(options.dir, list(FILES)))
    return 0


def _screen(folder: str, files: list[str]) -> str:
    """Return what was written, and what to do with it."""
    import shlex

    from castsugar.report.screen import Paragraph, Screen, Table
    from castsugar.report.terminal import to_text

    here = Path(folder) == Path()
    named = f" --bench {shlex.quote(str(Path(folder) / 'bench.toml'))}"
    rows = tuple(
        ("" if place else "Start", f"castsugar {words}", about)
        for place, (words, about) in enumerate(_FIRST)
    )
    where = "" if here else f" into {folder}"
    there = "" if here else "Commands read the bench.toml of the folder you are in. "
    return to_text(
        Screen(
            command="init",
            title=f"Written{where}, all INVENTED: {' '.join(files)}",
            findings=(),
            blocks=(
                Table(heads=("", "", ""), rows=rows, left=frozenset({0, 1, 2})),
                Paragraph(
                    f"{there}Yours: put your recipes, bags, pan, motor and strands "
                    "into bench.toml and take out each line invented = true; until "
                    "then every answer says EXAMPLE."
                ),
            ),
            next=f"castsugar check{'' if here else named}",
        )
    )
