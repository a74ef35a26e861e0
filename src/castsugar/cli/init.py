"""``castsugar init``: an example scenario to learn on, and to put one's own into."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any

from castsugar.cli.interrupt import held_back
from castsugar.cli.output import show

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
_NEXT = (
    ("evaluate base --bench bench.toml", "how the base mix burns, pours, presses"),
    ("search bench.toml", "the best mix under the limits"),
    ("weigh base --bench bench.toml --grains 4", "what to put on the scale"),
)


def add_parser(commands: Any) -> None:
    """Add the command."""
    parser = commands.add_parser(
        "init",
        help="write an example bench file with readings, to learn on",
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
    from castsugar.errors import InputError

    if options.explain is not None:
        from castsugar.bench.explain import explain

        if options.dir != "." or options.force:
            raise InputError("--explain writes nothing; leave out DIR and --force")
        show(options, explain(options.explain))
        return 0
    if not options.dir:
        raise InputError("DIR is empty; give the name of a folder or leave it out")
    folder = Path(options.dir)
    width = max(map(len, FILES)) + 2
    lines = ["An example, all of it invented:"]
    lines += [f"  {name:<{width}}{about}" for name, about in FILES.items()]
    lines.append("")
    lines.append(f"Next{'' if folder == Path() else f', in {folder}'}:")
    longest = max(len(words) for words, _ in _NEXT) + 2
    lines += [f"  castsugar {words:<{longest}}{about}" for words, about in _NEXT]
    lines.append("Then put your own recipes, bags, pan and motor into bench.toml.")
    with held_back():
        write_example(folder, force=options.force)
        show(options, "\n".join(lines) + "\n")
    return 0
