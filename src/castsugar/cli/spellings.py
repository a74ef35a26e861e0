"""Old spellings of options and commands: taken as what they are called now."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from castsugar.cli.screen import remark

_BENCH = {"--motor": "--bench", "--kitchen": "--bench"}

#: Command -> old option -> what it is called now; "" is for all tasks of a command.
OPTIONS: Mapping[str, Mapping[str, str]] = {
    "evaluate": _BENCH,
    "sweep": _BENCH,
    "map": _BENCH,
    "compare": _BENCH,
    "justify": _BENCH,
    "kitchen": _BENCH,
    "firing": _BENCH,
}


def spelled(words: Sequence[str]) -> tuple[str, ...]:
    """Return words as they are spelled now; of each old one one note is printed.

    Parameters
    ----------
    words : sequence of str
        As typed, the command among them. What follows "--" stays as it is.
    """
    command = next((word for word in words if not word.startswith("-")), "")
    known = OPTIONS.get(command, {})
    end = words.index("--") if "--" in words else len(words)
    found: list[str] = []
    said: set[str] = set()
    for place, word in enumerate(words):
        option, equals, value = word.partition("=")
        new = known.get(option) if place < end else None
        if new is None:
            found.append(word)
            continue
        found += [f"{new}{equals}{value}"]
        if option not in said:
            said.add(option)
            remark(f"castsugar: {option} is now {new}")
    return tuple(found)
