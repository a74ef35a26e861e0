"""Faults as fingers, editors and disks make them: in words, texts and files."""

from __future__ import annotations

import argparse
import random
import re
from collections.abc import Callable, Sequence

from commands import PARSERS

Words = tuple[str, ...]

#: What an option of this metavar may be given.
SAMPLES = {
    "FILE": ("bench.toml", "made.svg", "strands.csv", "delay.csv"),
    "DIR": ("batches", "new"),
    "PRESSURE": ("1000 psi", "2 MPa", "1 atm", "none", "40 barg"),
    "SHARE": ("5 %", "0.2", "90%", "0.1 % to 5 %"),
    "N": ("1", "3", "200"),
    "K": ("2",),
    "KIND": ("frozen", "equilibrium", "no-solidification"),
    "DE": ("42", "63"),
    "SET": ("nasa-2002", "nasa-1993"),
    "PROFILE": ("119 C 8 min", "0 min 25 C, 6 min 105 C, 14 min 119 C", "119 C"),
    "INGREDIENT": ("KNO3", "sucrose", "corn syrup"),
    "INGREDIENT=NAME": ("sorbitol=polyol cycle", "sucrose=glass"),
    "NAME:PERCENT": ("red iron oxide:1%", "water:3%"),
    "COLUMN": ("flame_temperature", "pour_window", "peak_pressure"),
    "MASS": ("200 g", "0.1 g", "1 oz"),
    "NAME=MASS": ("KNO3=121 g", "corn syrup=40 g"),
    "DATE": ("2026-05-03", "2024-02-29"),
    "TEXT": ("a note", "smooth, pale"),
    "VOLUME": ("50 ml", "3 in3"),
    "NAME": ("base", "B", "2", "60/20/20", "Sucrose 65/35"),
    "LENGTH": ("5 mm", "0.05 mm", "300 m"),
    "DIAMETER": ("8 mm", "8.2 mm"),
    "TIME": ("6 s", "300 s", "1.2 s"),
    "TEMPERATURE": ("25 C", "118 C", "-10 C"),
    "DENSITY": ("7.8 g/cm3",),
    "FORCE": ("100 N",),
    "UNIT": ("psi", "bar"),
    "WORDS": ("lower pressure", "higher c*", "lower pour viscosity"),
    "KEYS": ("kind=pan-weight lost=1.4 g", "kind=bulk-density mass=69 g volume=50 ml"),
    "RECIPE": ("KNO3:65 sucrose:35", "mine=KNO3:60 sugar:20 corn syrup:20", "base"),
}

_NUMBERS = (
    *("0", "-1", "1e-320", "1e-90", "1e90", "1e308", "1e999", "nan", "inf", "-inf", ""),
    *("0x10", "1,5", "1.000,5", "1e5", "1e-5", "9" * 400, "\u0661\u0662", "1/3", "-0"),
)
_PLAIN = ("0", "1", "2", "5", "30", "99", "100", "1000", "0.1", "0.01")
_UNITS = (
    *("psi", "psig", "MPa", "K", "C", "F", "mm", "in", "g", "kg", "s", "ms", "%", "DE"),
    *("", "ml", "kg/m3", "\u00b0C", "PSI", "mpa"),
)
_ODD = (
    *(
        "\x1b[2J",
        "\u202e",
        "\u7cd6",
        "\U0001f600",
        "\udce9",
        "'",
        '"',
        "\n",
        "\r",
        "\t",
    ),
    *("=", ":", "%", ",", ";", "-", "--", "[", "{}", "\\", "#", "\ufeff", "x" * 5000),
)
_ODD_BYTES = (
    *(
        b"\0",
        b"\xff",
        b"\x80",
        b"\xef\xbb\xbf",
        b"\r",
        b"\x1b",
        b'"',
        b"'''",
        b",",
        b";",
    ),
    *(b"\t", b"=", b"[", b"]]", b"#", b"\n\n", b"\xe2\x80\xa8"),
)

#: Values of TOML or JSON, of another kind than those in the files.
_VALUES = (
    *(b"5", b"-1", b"0.5", b'""', b'"x"', b"[]", b"{}", b"true", b"null", b"1e999"),
    *(b"nan", b"NaN", b"1979-05-27", b"[1, 2]", b'["a"]', b'"\\ud800"', b"9" * 30),
    *(b'{ at_most = "5" }', b'{"a": 1}', b'"5 mm"', b'"12 %"'),
)

_VALUE = re.compile(rb'(?<=[:=]) *(?:"[^"\n]*"|[-+0-9.e]+|\{[^}\n]*\}|\[[^]\n]*\])')
_NUMBER = re.compile(r"[-+]?[0-9][0-9.]*")
_UNIT = re.compile(r"\b(?:psi|MPa|mm|mbar|g|ml|s|C)(?!\w)|%")


def mutated_words(rng: random.Random, line: Words, others: Sequence[Words]) -> Words:
    """Return a command line with one to three faults; `others` lend their words."""
    words = list(line)
    for _ in range(rng.choice((1, 1, 1, 2, 3))):
        named = min(rng.choice((2, 2, 2, 0)), len(words) - 1)  # mostly a known command
        place = rng.randrange(named, len(words)) if words else 0
        kind = rng.randrange(14)
        if not words or kind == 0:
            words.insert(place, rng.choice(rng.choice(others)))
        elif kind == 1:
            del words[place]
        elif kind == 2:
            words.insert(place, words[place])
        elif kind == 3:
            other = rng.randrange(len(words))
            words[place], words[other] = words[other], words[place]
        elif kind < 8:
            words.extend(_option(rng, words))
        else:
            words[place] = mutated_text(rng, words[place])
    return tuple(words)


def _option(rng: random.Random, words: Sequence[str]) -> list[str]:
    """Return an option of a command with a value, as meant or mutated."""
    parser = PARSERS.get(" ".join(words[:2])) or PARSERS.get(words[0]) or PARSERS[""]
    action = rng.choice([a for a in parser._actions if a.option_strings])
    option = rng.choice(action.option_strings)
    if action.nargs == 0:
        return [option]
    value = rng.choice(_samples(action))
    if rng.random() < 0.5:
        value = mutated_text(rng, value)
    return [f"{option}={value}"] if rng.random() < 0.2 else [option, value]


def _samples(action: argparse.Action) -> Sequence[str]:
    if action.choices:
        return [str(choice) for choice in action.choices]
    return SAMPLES.get(str(action.metavar), ("1",))


def mutated_text(rng: random.Random, text: str) -> str:
    """Return a word or a line with one fault in it."""
    kind = rng.randrange(10)
    numbers, units = list(_NUMBER.finditer(text)), list(_UNIT.finditer(text))
    if kind < 6 and numbers:
        found = rng.choice(numbers)
        scaled = f"{_value(found[0]) * 10.0 ** rng.randint(-4, 4):.6g}"
        plain = rng.choice(_PLAIN)
        new = rng.choice((scaled, plain, plain, rng.choice(_NUMBERS)))
        return _put(text, found.span(), new)
    if kind == 6 and units:
        return _put(text, rng.choice(units).span(), rng.choice(_UNITS))
    place = rng.randint(0, len(text))
    if kind == 7:
        return text[:place]
    if kind == 8:
        return text[:place] + text[place + 1 :]
    return _put(text, (place, place), rng.choice(_ODD))


def _value(digits: str) -> float:
    try:
        return float(digits)
    except ValueError:
        return 1.0


def _put(text: str, span: tuple[int, int], new: str) -> str:
    return text[: span[0]] + new + text[span[1] :]


def mutated_bytes(rng: random.Random, data: bytes) -> bytes:
    """Return the content of a file with one fault in it."""
    change: Callable[[random.Random, bytes], bytes] = rng.choice(
        (_broken, _other_value, _other_value, _other_lines, *[_other_text] * 4)
    )
    return change(rng, data)


def _broken(rng: random.Random, data: bytes) -> bytes:
    """Return what a disk or a transfer leaves: cut, with a hole, a byte, a piece."""
    place = rng.randint(0, len(data))
    end = rng.choice((place, place + 1, rng.randint(place, len(data)), len(data)))
    new = rng.choice((b"", bytes([rng.randrange(256)]), rng.choice(_ODD_BYTES)))
    return data[:place] + new + data[end:]


def _other_value(rng: random.Random, data: bytes) -> bytes:
    """Return a file of TOML or JSON with a value of another kind."""
    values = list(_VALUE.finditer(data))
    if not values:
        return _broken(rng, data)
    start, end = rng.choice(values).span()
    return data[:start] + rng.choice(_VALUES) + data[end:]


def _other_lines(rng: random.Random, data: bytes) -> bytes:
    """Return a file with a line twice, in another place, or gone."""
    lines = data.split(b"\n")
    first, other = rng.randrange(len(lines)), rng.randrange(len(lines))
    moved = lines[first] if rng.random() < 0.5 else lines.pop(first)
    if rng.random() < 0.7:
        lines.insert(other, moved)
    return b"\n".join(lines)


def _other_text(rng: random.Random, data: bytes) -> bytes:
    """Return a file with a fault in one line, mostly one that holds a number."""
    lines = data.split(b"\n")
    counted = [i for i, line in enumerate(lines) if re.search(rb"[0-9]", line)]
    place = rng.choice([*counted, rng.randrange(len(lines))])
    text = lines[place].decode("utf-8", "replace")
    lines[place] = mutated_text(rng, text).encode("utf-8", "replace")
    return b"\n".join(lines)
