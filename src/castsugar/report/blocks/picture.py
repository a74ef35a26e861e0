"""Pictures and panels of a document."""

from __future__ import annotations

import re
from xml.etree import ElementTree

from castsugar.errors import InputError
from castsugar.report.blocks.model import Panel

# ----------------------------------------------------------------------------
# Pictures inside a page: checked, and their ids kept apart.

#: What no picture of ours holds: it would run, load, or restyle the page around it.
_REFUSED = frozenset(
    ("script", "foreignObject", "iframe", "style", "link", "image", "a")
)

_HEAD = re.compile(r"\A\s*(?:<\?xml[^>]*\?>|<!--.*?-->|<!DOCTYPE[^>\[]*>|\s)*", re.S)
#: Attributes that hold words of the user.
_FREE = ("aria-label", "id", "class")

_ID = re.compile(r'\bid="([^"]+)"')
_WIDTH = re.compile(r'\bwidth="([0-9.]+)"')


def inline(svg: str, taken: set[str]) -> str:
    """Return a picture to be put into a page, without the head of a document.

    Parameters
    ----------
    svg : str
        A whole SVG document.
    taken : set of str
        Ids that the page has; those of the picture are added. An id that is taken
        gets a number, the same one for all of the picture.

    Raises
    ------
    InputError
        If it is no SVG, or holds what a picture of a page must not.
    """
    body = svg[_HEAD.match(svg).end() :].rstrip()  # type: ignore[union-attr]
    _check(body)
    ids = set(_ID.findall(body))
    count, names = 1, {name: name for name in ids}
    while not taken.isdisjoint(names.values()):
        count += 1
        names = {name: f"{name}-{count}" for name in ids}
    taken |= set(names.values())
    return body if count == 1 else _renamed(body, names)


def width(svg: str) -> float:
    """Return the width that a picture asks for; 0 where it asks for none. [px]"""
    found = _WIDTH.search(svg[: svg.find(">", svg.find("<svg"))])
    return float(found[1]) if found else 0.0


def _renamed(body: str, names: dict[str, str]) -> str:
    """Rename ids where they are given and where they are pointed at."""

    def listed(match: re.Match[str]) -> str:
        words = (names.get(word, word) for word in match[2].split())
        return f'{match[1]}"{" ".join(words)}"'

    def pointed(match: re.Match[str]) -> str:
        return f"{match[1]}{names.get(match[2], match[2])}{match[3]}"

    body = re.sub(r'(\bid=|\baria-[a-z]+=)"([^"]*)"', listed, body)
    body = re.sub(r"(url\(#)([^)]+)(\))", pointed, body)
    return re.sub(r'(href="#)([^"]+)(")', pointed, body)


def _check(body: str) -> None:
    """Refuse what is no picture, or does more than show."""
    try:
        root = ElementTree.fromstring(body)
    except (ElementTree.ParseError, UnicodeEncodeError) as error:
        raise InputError(f"picture: got no well-formed SVG ({error})") from error
    if root.tag.rpartition("}")[2] != "svg":
        raise InputError(f"picture: got <{root.tag}>; give a whole SVG document")
    for element in root.iter():
        tag = str(element.tag).rpartition("}")[2]
        wrong = next((n for n, v in element.items() if _acts(n, v)), "")
        if tag in _REFUSED or wrong:
            raise InputError(
                f"picture: got <{tag}> {wrong}".rstrip() + "; only shapes and words "
                "that load and run nothing are allowed"
            )


def _acts(name: str, value: str) -> bool:
    """Whether an attribute runs or loads something."""
    name = name.rpartition("}")[2].lower()
    if name in ("href", "src"):
        return not value.startswith("#")
    if name.startswith("on"):
        return True
    return name not in _FREE and "url(" in value.replace("url(#", "")


# ----------------------------------------------------------------------------
# Panels of a page: shown once their script has run, on paper never.

_RUNS = re.compile(
    r"<\s*/?\s*(script|style|iframe|object|embed|link|meta|base)\b", re.I
)
_HANDLER = re.compile(r"""<[^>]*\son[a-z]+\s*=""", re.I)


def panel_ids(panel: Panel, taken: set[str]) -> set[str]:
    """Return the ids that a panel brings to a page.

    Raises
    ------
    InputError
        If one is taken already, by the page or by the panel itself.
    """
    ids = [panel.key, f"{panel.key}-data", *_ID.findall(panel.html)]
    clash = [name for i, name in enumerate(ids) if name in taken or name in ids[:i]]
    if clash:
        raise InputError(
            f"panel {panel.key!r}: the id {clash[0]!r} is taken already; choose another"
        )
    return set(ids)


def panel_html(panel: Panel, fallback: str) -> str:
    """Return the panel, hidden until its script has run, and what stands in for it.

    Raises
    ------
    InputError
        If the panel's own HTML would run or load something.
    """
    if _RUNS.search(panel.html) or _HANDLER.search(panel.html):
        raise InputError(
            f"panel {panel.key!r}: its html must hold neither scripts nor handlers nor "
            "styles; give them as script and style"
        )
    data = panel.data.replace("<", "\\u003c")
    return "\n".join(
        [
            f'<div class="panel" id="{panel.key}">',
            f'<div class="controls">\n{panel.html.strip()}\n</div>',
            f'<div class="instead">\n{fallback}\n</div>',
            f'<script type="application/json" id="{panel.key}-data">{data}</script>',
            "</div>",
        ]
    )


def panel_script(panel: Panel) -> str:
    """Return the script of a panel; it ends by showing the panel.

    Where it fails before its end the panel stays hidden and its fallback stands.

    Raises
    ------
    InputError
        If it could end the element that it stands in.
    """
    script = panel.script.replace("\r\n", "\n").replace("\r", "\n").strip()
    if re.search("<(/?script|!--)", script, re.I) or "\0" in script:
        raise InputError(
            f"panel {panel.key!r}: its script must not hold <script, </script or <!--"
        )
    shown = f'document.getElementById("{panel.key}").classList.add("works");'
    return f"\n{script}\n{shown}\n"


def panel_style(panel: Panel) -> str:
    """Return the style of a panel.

    Raises
    ------
    InputError
        If it could end the element that it stands in, or would load something.
    """
    if re.search("<|@import|url\\(", panel.style, re.I):
        raise InputError(
            f"panel {panel.key!r}: its style must hold neither < nor @import nor url("
        )
    return panel.style
