"""``castsugar examples``: short scripts to read, run and change."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any

from castsugar.cli.interrupt import held_back
from castsugar.cli.output import show
from castsugar.cli.screen import remark
from castsugar.errors import InputError

_EXAMPLES = """\
Each stands alone: it takes its data from castsugar, prints, and leaves its
picture in the folder where it runs.

examples:
  castsugar examples
  castsugar examples first_table
  castsugar examples first_table -o .
  castsugar examples -o stories
"""


def add_parser(commands: Any) -> None:
    """Add the command."""
    parser = commands.add_parser(
        "examples",
        description="List the stories; print one, or write it into a folder.",
        epilog=_EXAMPLES,
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    parser.add_argument(
        "name", metavar="NAME", nargs="?", help="which story (default: list them)"
    )
    parser.add_argument(
        "-o",
        dest="folder",
        metavar="DIR",
        help="write it into DIR, without NAME all of them; made if it is not there",
    )
    parser.add_argument(
        "--notebook",
        action="store_true",
        help="as a notebook (.ipynb); needs jupytext: pip install 'castsugar[docs]'",
    )
    parser.add_argument(
        "--force", action="store_true", help="let files that exist be replaced"
    )
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """List the stories, print one, or write it."""
    from castsugar import examples

    if options.folder is not None:
        _write(options)
    elif options.name is not None:
        told = examples.notebook if options.notebook else examples.script
        show(options, told(options.name))
    elif options.notebook:
        raise InputError("--notebook is of which story? Give its NAME, or -o DIR")
    else:
        show(options, _screen())
    return 0


def _write(options: argparse.Namespace) -> None:
    """Write one story or all, and say so."""
    from castsugar.examples import STORIES, write

    if not options.folder:
        raise InputError("-o is empty; give the name of a folder")
    names = STORIES if options.name is None else [options.name]
    with held_back():
        written = write(
            Path(options.folder),
            names,
            notebooks=options.notebook,
            force=options.force,
        )
        for path in written:
            remark(f"wrote {path}")


def _screen() -> str:
    """Return the list of the stories."""
    from castsugar.examples import STORIES
    from castsugar.report.screen import Paragraph, Screen, Table
    from castsugar.report.terminal import to_text

    return to_text(
        Screen(
            command="examples",
            title=f"{len(STORIES)} stories in Python, to read, run and change",
            findings=(),
            blocks=(
                Table(
                    heads=("", ""),
                    rows=tuple(STORIES.items()),
                    left=frozenset({0, 1}),
                ),
                Paragraph(
                    "castsugar examples NAME prints one; -o DIR writes it, with "
                    "--notebook as a notebook. What a story burns is invented or "
                    "computed."
                ),
            ),
            next="castsugar examples first_table -o .",
        )
    )
