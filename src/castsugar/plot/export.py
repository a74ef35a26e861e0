"""From a drawing to a file: SVG for light, dark and print, PNG, PDF.

The same drawing gives the same bytes in every process; another release of matplotlib
may draw other ones.
"""

from __future__ import annotations

import io
import re
from collections.abc import Iterator
from contextlib import contextmanager
from html import escape
from typing import TYPE_CHECKING, Any

from castsugar.errors import InputError
from castsugar.plot.style import INKS, SETTINGS, TINTS
from castsugar.report.screen import Figure as Shown

if TYPE_CHECKING:
    from castsugar.plot.sheet import Drawing

#: Endings of a file -> what is left out of it, so that its bytes do not change.
_METADATA: dict[str, dict[str, Any]] = {
    ".svg": {"Date": None, "Creator": None, "Format": None, "Type": None},
    ".png": {"Software": None},
    ".pdf": {"CreationDate": None, "Creator": None, "Producer": None},
}
KINDS = tuple(_METADATA)

#: Fonts of a page; all are narrower than the one that the layout was made with.
_FONTS = "Helvetica, Arial, 'DejaVu Sans', sans-serif"

#: Dots per inch of a PNG, of 72 that a drawing has.
_DOTS = 150.0


@contextmanager
def _settings(name: str) -> Iterator[None]:
    """Draw by our own settings; those of the caller come back."""
    import matplotlib as mpl

    plain: dict[Any, Any] = {
        key: value
        for key, value in mpl.rcParamsDefault.items()
        if not key.startswith(("backend", "interactive", "webagg", "toolbar", "date."))
    }
    plain |= {**SETTINGS, "svg.hashsalt": name}
    with mpl.rc_context(plain):
        yield


def written(
    draw: Drawing, kind: str, width: int | None = None, *, brief: bool = False
) -> bytes:
    """Return the bytes of a drawing, `kind` an ending of :data:`KINDS`.

    A brief one has no notes: a page says them.

    Raises
    ------
    InputError
        For any other ending.
    """
    from castsugar.plot.sheet import WIDE

    kind = kind.lower()
    if kind not in KINDS:
        raise InputError(f"picture {kind!r}: give one of {', '.join(KINDS)}")
    with _settings("castsugar"):
        sheet = draw(width or WIDE)
        figure, stream = sheet.finish(brief=brief), io.BytesIO()
        figure.savefig(
            stream, format=kind[1:], dpi=_DOTS if kind == ".png" else 72.0,
            metadata=_METADATA[kind],
        )  # fmt: skip
    if kind != ".svg":
        return stream.getvalue()
    name = sheet.name if not sheet.is_narrow else f"{sheet.name}-narrow"
    return _svg(stream.getvalue().decode(), name, sheet.title, sheet.words).encode()


def shown(draw: Drawing, caption: str) -> Shown:
    """Return a drawing for a page, at two widths: the page takes the one that fits."""
    from castsugar.plot.sheet import NARROW, WIDE

    broad, narrow = (
        written(draw, ".svg", width, brief=True).decode() for width in (WIDE, NARROW)
    )
    return Shown(broad, caption, narrow=narrow)


def _svg(text: str, name: str, title: str, words: str) -> str:
    """Make the SVG of matplotlib fit to stand beside others on one page."""
    text = text[text.index("<svg") :]
    text = re.sub(r"<defs>\s*<style.*?</style>\s*</defs>", "", text, flags=re.S)
    text = re.sub(r'(\bid="|url\(#|href="#)', rf"\g<1>{name}-", text)
    text = re.sub(r"font: ([\w ]*[\d.]+px) '.*?(?=[;\"])", rf"font: \1 {_FONTS}", text)
    text = re.sub(r"font-family: '.*?(?=[;\"])", f"font-family: {_FONTS}", text)
    text = re.sub(r' d="[^"]*"', _rounded, text)
    text = re.sub(r'(<path id="[^>]*style=")stroke: #\w+(; )?', r"\1", text)
    text = re.sub(r' fill="(#\w{6})"', r' style="fill: \1"', text)  # grounds of hatches
    head, rest = text.split(">", 1)
    head = re.sub(r' (width|height)="([\d.]+)pt"', r' \1="\2"', head)
    told = f"{name}-title {name}-words" if words else f"{name}-title"
    head += f' id="{name}" role="img" aria-labelledby="{told}"'
    head += ' style="stroke-linejoin: round; stroke-linecap: butt">'
    head += f'<title id="{name}-title">{escape(title)}</title>'
    if words:
        head += f'<desc id="{name}-words">{escape(words)}</desc>'
    return f"{head}<style>{_dark(text, name)}</style>{rest.strip()}\n"


def _rounded(path: re.Match[str]) -> str:
    """Return the data of a path to a hundredth of a px, on one line."""
    return re.sub(r"(\.\d\d)\d+", r"\1", path[0]).replace(" \n", " ")


def _dark(text: str, name: str) -> str:
    """Return the rules that give every ink of a picture its dark form on a screen."""
    rules = [
        f'#{name} [style*="{way}: {light}"]{{{way}:{dark}}}'
        for light, dark in (*INKS.values(), *TINTS)
        for way in ("fill", "stroke")
        if f"{way}: {light}" in text
    ]
    inside = "".join(rule.replace("}", "!important}") for rule in rules)
    return f"@media screen and (prefers-color-scheme: dark){{{inside}}}"
