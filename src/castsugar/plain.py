"""Plain values: JSON with bounded digits, short HTML tables for notebooks."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from typing import Any

#: Significant digits of a number in a file.
DIGITS = 10

#: Digits of a number in a short table.
_SHOWN = 4


def plain(value: Any) -> Any:
    """Return a value of plain types: numbers rounded, NaN and infinite ones as None.

    Examples
    --------
    >>> plain({"a": (1.0, float("nan"))})
    {'a': [1.0, None]}
    """
    if isinstance(value, Mapping):
        return {str(k): plain(v) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return [plain(v) for v in value]
    if isinstance(value, float):
        return float(f"{value:.{DIGITS}g}") if math.isfinite(value) else None
    if hasattr(value, "tolist"):  # an array, or one of its numbers
        return plain(value.tolist())
    return value


def to_json(document: Mapping[str, Any]) -> str:
    """Return a document as JSON; a number that is missing or infinite is null."""
    return json.dumps(plain(document), indent=2) + "\n"


def html_table(
    heads: Sequence[str], rows: Sequence[Sequence[str | float]], above: str = ""
) -> str:
    """Return a short HTML table; every string is escaped, a name with tags is inert.

    Parameters
    ----------
    rows : sequence of sequences
        Strings, or numbers: four digits, a dash for NaN.
    above : str
        A line before the table.

    Examples
    --------
    >>> html_table(["a"], [[float("inf")]], above="<b>")
    '<p>&lt;b&gt;</p><table><tr><th>a</th></tr><tr><td>no limit</td></tr></table>'
    """
    import html

    head = "".join(f"<th>{html.escape(h)}</th>" for h in heads)
    body = "".join(
        "<tr>" + "".join(f"<td>{html.escape(shown(c))}</td>" for c in row) + "</tr>"
        for row in rows
    )
    line = f"<p>{html.escape(above)}</p>" if above else ""
    return f"{line}<table><tr>{head}</tr>{body}</table>"


def shown(value: str | float) -> str:
    """Write a cell of a short table.

    Examples
    --------
    >>> shown(1716.84), shown(48271.3), shown(float("nan")), shown("x")
    ('1717', '48271', '–', 'x')
    """
    if isinstance(value, str):
        return value
    if math.isnan(value):
        return "–"
    if math.isinf(value):
        return "no limit" if value > 0.0 else "below any limit"
    if abs(value) >= 10.0**_SHOWN:
        return f"{value:.0f}" if abs(value) < 1e9 else f"{value:.{_SHOWN}g}"
    return f"{value:.{_SHOWN}g}"
