"""Text without font metrics: estimated width, shortening, wrapping, escaping."""

from __future__ import annotations

import html
import re

#: Characters that XML 1.0 does not allow.
_FORBIDDEN = re.compile("[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")

_NARROW = frozenset("ijltfrI1.,:;'|!()[]{}/\\ -\"`")
_WIDE = frozenset("mwMWOQG%@&+=<>~")

#: Estimated width of a character in units of the font size.
_NARROW_WIDTH, _USUAL_WIDTH, _CAPITAL_WIDTH = 0.32, 0.56, 0.7
_WIDE_WIDTH, _FULL_WIDTH = 0.86, 1.05


def escaped(text: str) -> str:
    """Return text that is safe between tags and in quoted attributes.

    Characters that XML forbids become the replacement character.

    Examples
    --------
    >>> escaped('<b title="x">')
    '&lt;b title=&quot;x&quot;&gt;'
    """
    return html.escape(_FORBIDDEN.sub("�", text), quote=True)


def _char_width(char: str) -> float:
    """Return the estimated width of one character [font sizes]."""
    if char in _NARROW:
        return _NARROW_WIDTH
    if ord(char) >= 0x1100:
        return _FULL_WIDTH
    if char in _WIDE:
        return _WIDE_WIDTH
    return _CAPITAL_WIDTH if char.isupper() else _USUAL_WIDTH


def text_width(text: str, size: float) -> float:
    """Return the estimated width of a text [px] set in a sans-serif of `size` [px]."""
    return size * sum(_char_width(c) for c in text)


def shortened(text: str, width: float, size: float) -> str:
    """Return the text, or its beginning and an ellipsis where it is wider than `width`.

    Parameters
    ----------
    text : str
    width : float
        Room [px].
    size : float
        Font size [px].

    Examples
    --------
    >>> shortened("powdered sugar", 60.0, 10.0)
    'powdered…'
    """
    if text_width(text, size) <= width:
        return text
    kept, used = "", text_width("…", size)
    for char in text:
        used += _char_width(char) * size
        if used > width:
            break
        kept += char
    return kept.rstrip() + "…"


def _pieces(word: str, width: float, size: float) -> list[str]:
    """Break a word that is wider than a line."""
    parts = [""]
    for char in word:
        if parts[-1] and text_width(parts[-1] + char, size) > width:
            parts.append("")
        parts[-1] += char
    return parts


def wrapped(text: str, width: float, size: float) -> list[str]:
    """Break a text into lines of at most `width`; words that are wider are cut.

    Parameters
    ----------
    text : str
    width : float
        Room [px].
    size : float
        Font size [px].

    Examples
    --------
    >>> wrapped("one two three", 45.0, 10.0)
    ['one two', 'three']
    """
    lines: list[str] = []
    for word in text.split():
        for piece in _pieces(word, width, size):
            joined = f"{lines[-1]} {piece}" if lines else piece
            if lines and text_width(joined, size) <= width:
                lines[-1] = joined
            else:
                lines.append(piece)
    return lines
