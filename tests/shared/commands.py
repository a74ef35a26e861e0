"""Every command that a help text gives as an example; screens of every encoding."""

from __future__ import annotations

import argparse
import contextlib
import io
import re
from collections.abc import Iterator

from castsugar.cli import screen
from castsugar.cli.main import INTRODUCTION, build_parser


def parsers() -> dict[str, argparse.ArgumentParser]:
    """Return every parser by the words that call it."""
    return dict(_walk((), build_parser()))


def _walk(
    words: tuple[str, ...], parser: argparse.ArgumentParser
) -> Iterator[tuple[str, argparse.ArgumentParser]]:
    yield " ".join(words), parser
    for action in parser._actions:
        if isinstance(action, argparse._SubParsersAction):
            for name, inner in action.choices.items():
                yield from _walk((*words, name), inner)


def _examples(text: str | None) -> list[str]:
    """Return the commands in a text, continued lines joined."""
    joined = re.sub(r"\\\n\s*", "", text or "")
    lines = (line.strip() for line in joined.splitlines() if line.startswith("  "))
    return [line for line in lines if line.startswith("castsugar ")]


PARSERS = parsers()

#: Words that call a parser -> the examples of its help.
EXAMPLES = {
    words: _examples(parser.epilog)
    for words, parser in PARSERS.items()
    if _examples(parser.epilog)
} | {"": _examples(INTRODUCTION)}

#: Screens; the last three lack some of our signs.
ENCODINGS = ("utf-8", "cp1252", "cp437", "ascii")


def shown(text: str, encoding: str) -> str:
    """Return what a screen of this encoding shows of a result."""
    stream = io.TextIOWrapper(io.BytesIO(), encoding, newline="")
    with contextlib.redirect_stdout(stream):
        screen.spell_what_does_not_fit()
        screen.say(text)
    stream.seek(0)
    return stream.read()


def check_screens(text: str) -> None:
    """Look that a result was printed, and that no screen shows "?" for a sign of it."""
    assert text
    for encoding in ENCODINGS:
        assert shown(text, encoding).count("?") == text.count("?"), encoding
