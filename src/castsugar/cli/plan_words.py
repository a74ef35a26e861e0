"""What the questions of a plan share: how they are asked, and what they go on with."""

from __future__ import annotations

import argparse
import shlex
from collections.abc import Callable, Iterable, Sequence
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from castsugar.bench.world import World
    from castsugar.mix.mix import Mix


def question(
    inner: Any, name: str, run: Callable[[argparse.Namespace], int], words: str
) -> Any:
    """Add one question about a recipe."""
    parser = inner.add_parser(
        name, help=words, description=f"Say {words}.", allow_abbrev=False
    )
    parser.add_argument(
        "recipe", metavar="RECIPE", help="a recipe, or a name of [recipes]"
    )
    parser.set_defaults(run=run)
    return parser


def said(options: argparse.Namespace, names: Iterable[str]) -> list[str]:
    """Return options as they were typed, for another command."""
    words: list[str] = []
    for name in names:
        value = getattr(options, name.removeprefix("--").replace("-", "_"))
        each = value if isinstance(value, list) else [value]
        for one in each:
            words += [] if one is None else [name, str(getattr(one, "text", one))]
    return words


def command_of(options: argparse.Namespace, words: Sequence[str]) -> str:
    """Return a command, with the bench file where somebody typed it."""
    more = [] if options.bench_said or not options.bench else ["--bench", options.bench]
    more += ["--no-bench"] if options.no_bench else []
    return shlex.join(["castsugar", *words, *more])


def beside(options: argparse.Namespace) -> dict[str, str]:
    """Return the bench file of an answer, and how it was found."""
    return {
        "bench": options.bench or "bench.toml",
        "bench_said": options.bench_said,
    }


def titled(name: str) -> str:
    """Return a recipe as a title has it."""
    from castsugar.report.mix_words import shares

    return shares(name)


def invented(world: World | None, mix: Mix, uses: set[str]) -> tuple[str, ...]:
    """Return what is invented behind an answer; see :meth:`World.invented_for`."""
    return world.invented_for([mix], uses=uses) if world is not None else ()
