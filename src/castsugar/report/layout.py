"""Pieces of plain text: width, wrapped lines, numbers with so many decimals."""

from __future__ import annotations

import math
import textwrap

#: Columns of the screen, of a label, and of a cell.
WIDTH, LABEL, CELL = 80, 44, 12


def wrapped(text: str, indent: str = "  ", first: str | None = None) -> list[str]:
    """Wrap a text to the width of the screen."""
    return textwrap.wrap(
        text,
        WIDTH,
        initial_indent=indent if first is None else first,
        subsequent_indent=indent,
        break_long_words=True,
        break_on_hyphens=False,
    )


def number(value: float, decimals: int | None) -> str:
    """Write a number with the decimals its uncertainty allows; a dash for none.

    Negative decimals round to tens, hundreds, ...
    """
    if not math.isfinite(value):
        return "-"
    digits = decimals or 0
    text = f"{round(value, digits):.{max(digits, 0)}f}"
    return text.replace("-0", "0") if float(text) == 0.0 else text
