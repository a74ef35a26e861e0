"""A picture built from strings, and text without font metrics."""

from __future__ import annotations

import html
import math
import re
import zlib
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field

from castsugar.errors import InputError

# ----------------------------------------------------------------------------
# Text without font metrics: estimated width, shortening, wrapping, escaping.

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


# ----------------------------------------------------------------------------
# A picture built from strings: same calls, same bytes.

FONT = "Helvetica, Arial, 'Liberation Sans', 'DejaVu Sans', sans-serif"
PAGE = "#fefefc"
INK = "#1c1c1c"
SOFT = "#565656"
FAINT = "#c9c9c9"

Point = tuple[float, float]
Attributes = Mapping[str, str | float | None]


def number(value: float, decimals: int = 2) -> str:
    """Write a coordinate: at most `decimals` places, no trailing zeros, no minus zero.

    Raises
    ------
    InputError
        If the value is not finite.

    Examples
    --------
    >>> number(12.50), number(-0.001), number(3.14159)
    ('12.5', '0', '3.14')
    """
    if not math.isfinite(value):
        raise InputError(
            "a coordinate of a picture is not finite; leave such points out"
        )
    text = f"{value:.{decimals}f}"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def moves(points: Iterable[Point], *, closed: bool = False) -> str:
    """Return the path data of a polyline through `points` [px]."""
    steps = [f"{number(x)} {number(y)}" for x, y in points]
    return "M" + "L".join(steps) + ("Z" if closed else "")


@dataclass(frozen=True, slots=True)
class Stroke:
    """How a line is drawn: colour, width [px], dashes, opacity (1 opaque)."""

    colour: str = INK
    width: float = 1.0
    dashes: str | None = None
    opacity: float | None = None

    def attributes(self) -> dict[str, str | float | None]:
        """Return the attributes of an element that is drawn with this stroke."""
        return {
            "fill": "none",
            "stroke": self.colour,
            "stroke-width": self.width,
            "stroke-dasharray": self.dashes,
            "stroke-opacity": self.opacity,
            "stroke-linejoin": "round",
        }


@dataclass(frozen=True, slots=True)
class TextStyle:
    """How a text is set.

    `size` is in px, `anchor` start, middle or end, `turn` the clockwise rotation
    about the anchor [degrees], `halo` the colour of an outline that keeps it legible.
    """

    size: float = 14.0
    anchor: str = "start"
    colour: str = INK
    bold: bool = False
    turn: float = 0.0
    halo: str | None = None


@dataclass
class Svg:
    """A picture that grows by appending; `height` may be set last.

    Parameters
    ----------
    width, height : float
        Size [px].
    title, description : str
        For screen readers and hover; escaped here.
    """

    width: float
    height: float
    title: str
    description: str
    _body: list[str] = field(default_factory=list)
    _defs: list[str] = field(default_factory=list)
    _ids: int = 0

    def new_id(self) -> str:
        """Return the next id; the prefix keeps pictures on one page apart."""
        self._ids += 1
        return f"{self._prefix()}-{self._ids}"

    def _prefix(self) -> str:
        words = f"{self.width}\n{self.title}\n{self.description}"
        return f"cs{zlib.crc32(words.encode('utf-8', 'replace')):08x}"

    def define(self, markup: str) -> None:
        """Append finished markup to the definitions."""
        self._defs.append(markup)

    def element(
        self, tag: str, attributes: Attributes, text: str | None = None
    ) -> None:
        """Append an element; attributes that are None are left out.

        Parameters
        ----------
        tag : str
        attributes : mapping
            Numbers are rounded, strings escaped.
        text : str, optional
            Content; escaped.
        """
        self._body.append(markup(tag, attributes, text))

    def text(self, at: Point, words: str, style: TextStyle | None = None) -> None:
        """Append a text whose anchor lies `at` [px]."""
        style = style or TextStyle()
        x, y = at
        turn = f"rotate({number(style.turn)} {number(x)} {number(y)})"
        halo = style.halo
        attributes: dict[str, str | float | None] = {
            "x": x,
            "y": y,
            "font-size": style.size,
            "text-anchor": None if style.anchor == "start" else style.anchor,
            "fill": style.colour,
            "font-weight": "bold" if style.bold else None,
            "transform": turn if style.turn else None,
            "stroke": halo,
            "stroke-width": 4.0 if halo else None,
            "stroke-linejoin": "round" if halo else None,
            "paint-order": "stroke" if halo else None,
        }
        self.element("text", attributes, words)

    def line(self, start: Point, end: Point, stroke: Stroke | None = None) -> None:
        """Append a straight line [px]."""
        ends = {"x1": start[0], "y1": start[1], "x2": end[0], "y2": end[1]}
        self.element("line", {**ends, **(stroke or Stroke()).attributes()})

    def path(self, data: str, attributes: Attributes) -> None:
        """Append a path; `data` as made by :func:`moves`."""
        self.element("path", {"d": data, **attributes})

    def rect(self, corner: Point, size: Point, attributes: Attributes) -> None:
        """Append a rectangle: upper left corner and size [px]."""
        x, y = corner
        box = {"x": x, "y": y, "width": size[0], "height": size[1]}
        self.element("rect", {**box, **attributes})

    @contextmanager
    def group(self, attributes: Attributes) -> Iterator[None]:
        """Put what is appended meanwhile into a group."""
        self._body.append(markup("g", attributes).removesuffix("/>") + ">")
        yield
        self._body.append("</g>")

    def to_text(self) -> str:
        """Return the document, ending with a line feed."""
        prefix = self._prefix()
        width, height = number(self.width), number(self.height)
        head = markup(
            "svg",
            {
                "xmlns": "http://www.w3.org/2000/svg",
                "width": width,
                "height": height,
                "viewBox": f"0 0 {width} {height}",
                "style": "max-width:100%;height:auto",
                "font-family": FONT,
                "role": "img",
                "aria-labelledby": f"{prefix}-title {prefix}-desc",
            },
        )
        page = {"width": width, "height": height, "fill": PAGE}
        lines = [
            head.removesuffix("/>") + ">",
            markup("title", {"id": f"{prefix}-title"}, self.title),
            markup("desc", {"id": f"{prefix}-desc"}, self.description),
            *(["<defs>", *self._defs, "</defs>"] if self._defs else []),
            markup("rect", page),
            *self._body,
            "</svg>",
        ]
        return "\n".join(lines) + "\n"


def markup(tag: str, attributes: Attributes, text: str | None = None) -> str:
    """Return one element: numbers rounded, strings escaped, None left out.

    Examples
    --------
    >>> markup("rect", {"width": 2.0, "fill": None, "class": "a&b"})
    '<rect width="2" class="a&amp;b"/>'
    """
    inner = "".join(
        f' {key}="{escaped(value) if isinstance(value, str) else number(value)}"'
        for key, value in attributes.items()
        if value is not None
    )
    if text is None:
        return f"<{tag}{inner}/>"
    return f"<{tag}{inner}>{escaped(text)}</{tag}>"
