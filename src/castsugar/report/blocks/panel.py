"""Panels of a page: shown once their script has run, on paper never."""

from __future__ import annotations

import re

from castsugar.errors import InputError
from castsugar.report.blocks.model import Panel

_ID = re.compile(r'\bid="([^"]+)"')
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
