"""``castsugar completion``: a script that lets the shell complete what is typed."""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from typing import Any

from castsugar.cli.output import show

SHELLS = ("bash", "zsh")

#: What an argument is called in the help -> what the shell offers for it.
FILE_WORDS, FOLDER_WORDS = ("FILE", "BENCH"), ("DIR",)

_EXAMPLES = """\
Once, in ~/.bashrc:   eval "$(castsugar completion bash)"
Once, in ~/.zshrc, after compinit:   eval "$(castsugar completion zsh)"

examples:
  castsugar completion bash
  castsugar completion zsh
"""


def add_parser(commands: Any) -> None:
    """Add the command."""
    parser = commands.add_parser(
        "completion",
        description="Print a script for the shell, to complete what is typed.",
        epilog=_EXAMPLES,
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    parser.add_argument("shell", metavar="SHELL", choices=SHELLS, help="bash or zsh")
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Print the script."""
    from castsugar.cli.main import build_parser

    show(options, script(build_parser(), options.shell))
    return 0


def script(parser: argparse.ArgumentParser, shell: str) -> str:
    """Return the completion script of a parser and all its commands.

    Parameters
    ----------
    parser : argparse.ArgumentParser
        Gets marks at the arguments that are files or folders.
    shell : str
        One of :data:`SHELLS`.
    """
    import shtab

    for action in _actions(parser):
        if action.metavar in FILE_WORDS:
            action.complete = shtab.FILE  # type: ignore[attr-defined]
        elif action.metavar in FOLDER_WORDS:
            action.complete = shtab.DIRECTORY  # type: ignore[attr-defined]
    text: str = shtab.complete(parser, shell=shell)
    return text if text.endswith("\n") else text + "\n"


def _actions(parser: argparse.ArgumentParser) -> Iterator[argparse.Action]:
    """Yield the arguments of a parser and of all commands below it."""
    for action in parser._actions:
        yield action
        if isinstance(action, argparse._SubParsersAction):
            for inner in action.choices.values():
                yield from _actions(inner)
