"""Numbers with so many decimals."""

from __future__ import annotations

import math


def number(value: float, decimals: int | None) -> str:
    """Write a number with the decimals its uncertainty allows; a dash for none.

    Negative decimals round to tens, hundreds, ...
    """
    if not math.isfinite(value):
        return "-"
    digits = decimals or 0
    text = f"{round(value, digits):.{max(digits, 0)}f}"
    return text.replace("-0", "0") if float(text) == 0.0 else text
