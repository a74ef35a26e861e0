"""Old spellings of options and commands: taken as what they are called now."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence

from castsugar.cli.screen import remark

#: A quantity below zero, as of an altitude.
_BELOW_ZERO = re.compile(r"-\.?[0-9]")

_BENCH = {"--motor": "--bench", "--kitchen": "--bench"}
_DRAWN = {"-o": "--picture", "--output": "--picture"}

#: Command -> old option -> what it is called now, and what its value begins with now.
OPTIONS: Mapping[str, Mapping[str, str]] = {
    "evaluate": _BENCH | {"--trace": "--picture", "--species": "--full"},
    "sweep": _BENCH | _DRAWN,
    "map": _BENCH | _DRAWN,
    "compare": _BENCH,
    "justify": _BENCH,
    "kitchen": _BENCH,
    "burnrate": {"--chart": "--picture"},
    "firing": _BENCH | {"--chart": "--picture"},
    "search": {
        "--explain": "--full",
        "--map": "--picture map=",
        "--traces": "--picture traces=",
        "--front": "--picture front=",
    },
    "next": {"--next-strands": "--plan", "--count": "--plan"},
    "ballistics": _BENCH | {"--ballistics": "--full"},
}

#: An option that is a command of its own now: command, option -> command.
_MOVED = {
    ("search", "--next-strands"): "next",
    ("evaluate", "--ballistics"): "ballistics",
}


def spelled(words: Sequence[str]) -> tuple[str, ...]:
    """Return words as they are spelled now; of each old one one note is printed.

    Parameters
    ----------
    words : sequence of str
        As typed, the command among them. What follows "--" stays as it is.

    Examples
    --------
    >>> spelled(["search", "mine.toml", "--seed", "2"])
    ('search', 'mine.toml', '--seed', '2')
    """
    end = words.index("--") if "--" in words else len(words)
    left, said = _commanded(list(words[:end]))
    command = next((word for word in left if not word.startswith("-")), "")
    known = OPTIONS.get(command, {})
    found: list[str] = []
    while left:
        word = left.pop(0)
        option, equals, value = word.partition("=")
        given = value if equals else "".join(left[:1])
        if option not in known or (option in _DRAWN and not given.endswith(".svg")):
            found.append(word)
            continue
        said.setdefault(option, known[option])
        new, _, prefix = known[option].partition(" ")
        if equals:
            found.append(f"{new}={prefix}{value}")
        else:  # without a value argparse says what is missing
            found += [new, *(prefix + value for value in left[:1])]
            del left[:1]
    for old, new in said.items():
        remark(f"castsugar: {old} is now {new}")
    return (*found, *words[end:])


def joined(words: Sequence[str]) -> list[str]:
    """Return words, a quantity below zero joined to its option.

    Alone argparse would take it for an option. What follows "--" stays as it is.

    Examples
    --------
    >>> joined(["firing", "--altitude", "-50m", "--delay"])
    ['firing', '--altitude=-50m', '--delay']
    """
    found: list[str] = []
    for word in words:
        option = found[-1] if found and "--" not in found else ""
        if _BELOW_ZERO.match(word) and option.startswith("--") and "=" not in option:
            found[-1] = f"{option}={word}"
        else:
            found.append(word)
    return found


def _commanded(words: list[str]) -> tuple[list[str], dict[str, str]]:
    """Put the command of its own where an option stood for one; say so."""
    options = {word.partition("=")[0] for word in words}
    for (old, option), command in _MOVED.items():
        if old in words and option in options:
            words[words.index(old)] = command
            return words, {option: f"castsugar {command} {OPTIONS[command][option]}"}
    return words, {}
