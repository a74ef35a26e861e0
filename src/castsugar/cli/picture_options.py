"""What a map shows: --contours, lines of equal value, and --zoom, a part of it."""

from __future__ import annotations

import argparse
import math
import re
from collections.abc import Mapping

from castsugar.errors import InputError

#: Lowest and highest share of each of three ingredients, of the whole mix.
Ranges = tuple[tuple[float, float], tuple[float, float], tuple[float, float]]

_RANGE = re.compile(r"(\d+(?:\.\d+)?)-(\d+(?:\.\d+)?)%?")

#: More lines than this cannot be told apart.
_MOST = 20


def add_picture_options(
    parser: argparse.ArgumentParser, parts: Mapping[str, str]
) -> None:
    """Add both options; `parts` are words that --zoom knows, and what they mean."""
    parser.add_argument(
        "--contours",
        metavar="LEVELS",
        help="where the map draws lines of equal value, in the unit shown: "
        "'800 850 900' (default round values)",
    )
    words = "; ".join(f"{word}: {meaning}" for word, meaning in parts.items())
    parser.add_argument(
        "--zoom",
        metavar="PART",
        help=f"part of the map that is drawn: {words}; or three ranges in percent of "
        "the mix, in the order of the ingredients: '50-65 5-35 10-35'",
    )


def read_contours(text: str | None) -> tuple[float, ...]:
    """Read levels, rising and each once; none for None.

    Raises
    ------
    InputError
        For what is no number, and for none or too many.

    Examples
    --------
    >>> read_contours("900 800, 850")
    (800.0, 850.0, 900.0)
    """
    if text is None:
        return ()
    levels = set()
    for word in text.replace(",", " ").replace(";", " ").split():
        try:
            level = float(word)
        except ValueError:
            level = math.nan
        if not math.isfinite(level):
            raise InputError(
                f"--contours {text!r}: {word!r} is no number; write levels in the unit "
                "shown, for example '800 850 900'"
            )
        levels.add(level)
    if not 1 <= len(levels) <= _MOST:
        raise InputError(
            f"--contours {text!r} holds {len(levels)} levels; give 1 to {_MOST}, for "
            "example '800 850 900'"
        )
    return tuple(sorted(levels))


def read_zoom(
    text: str | None, parts: Mapping[str, str], total: float = 1.0
) -> Ranges | str | None:
    """Read a part of a map: one of the words, or three ranges.

    `total` is what the three make up of a mix.

    Raises
    ------
    InputError

    Examples
    --------
    >>> read_zoom("50-65 5-35 10-35%", {})
    ((0.5, 0.65), (0.05, 0.35), (0.1, 0.35))
    """
    if text is None or text in parts:
        return text
    found = [_RANGE.fullmatch(word) for word in text.split()]
    ends = [(float(m[1]) / 100.0, float(m[2]) / 100.0) for m in found if m]
    if len(ends) != 3 or len(found) != 3 or any(a >= b or b > 1.0 for a, b in ends):
        words = "".join(f"{word}, " for word in parts)
        raise InputError(
            f"--zoom {text!r}: write {words}or three ranges in percent, lowest first, "
            "for example '50-65 5-35 10-35'"
        )
    if not sum(low for low, _ in ends) < total < sum(high for _, high in ends):
        raise InputError(
            f"--zoom {text!r} holds no mix: the three make {100.0 * total:g} % together"
        )
    return ends[0], ends[1], ends[2]
