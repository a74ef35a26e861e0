"""A document as one page of HTML that needs nothing beside itself."""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Mapping
from importlib import resources

from castsugar.report.blocks.check import anchors, checked, cited, panels, tones
from castsugar.report.blocks.html_parts import MARKS, Place, block_html
from castsugar.report.blocks.model import Document, Section
from castsugar.report.blocks.picture import panel_ids, panel_script, panel_style
from castsugar.report.blocks.plain import words


def to_html(document: Document) -> str:
    """Return a document as one self-contained page, ending with a line feed.

    Parameters
    ----------
    document : Document

    Returns
    -------
    str
        HTML that loads nothing and runs nothing but the scripts of its panels, which
        its content security policy names by their hashes. Every string of the
        document is escaped. The same document gives the same bytes.

    Raises
    ------
    InputError
        If the document cannot be written: see ``checked`` of the module ``check``;
        or if a picture or a panel holds what would run or load something else.
    """
    checked(document)
    links = anchors(document)
    taken = {"main", "contents", "sources", *links.values()}
    taken |= {section.key for section in document.sections}
    for panel in panels(document):
        taken |= panel_ids(panel, taken)
    place = Place(links=links, sources=document.sources, taken=taken)
    parts = [
        *_head(document),
        '<a class="skip" href="#main">Skip to the content</a>',
        "<header>",
        f"<h1>{words(document.title)}</h1>",
        *([f"<p>{words(document.subtitle)}</p>"] if document.subtitle else []),
        "</header>",
        *_contents(document, links),
        '<main id="main" tabindex="-1">',
        *(_section(section, place) for section in document.sections),
        *_sources(cited(document), links),
        "</main>",
        *_foot(document),
        *(f"<script>{panel_script(panel)}</script>" for panel in panels(document)),
        "</body>",
        "</html>",
    ]
    return "\n".join(parts) + "\n"


def _head(document: Document) -> list[str]:
    """Return everything up to the body's beginning."""
    style = resources.files("castsugar.report.blocks").joinpath("page.css")
    styles = [style.read_text("utf-8"), *map(panel_style, panels(document))]
    css = "\n".join(text.strip() for text in styles if text.strip())
    return [
        "<!DOCTYPE html>",
        '<html lang="en">',
        "<head>",
        '<meta charset="utf-8">',
        f'<meta http-equiv="Content-Security-Policy" content="{_policy(document)}">',
        '<meta name="viewport" content="width=device-width, initial-scale=1">',
        '<meta name="color-scheme" content="light dark">',
        '<meta name="referrer" content="no-referrer">',
        '<link rel="icon" href="data:,">',
        f"<title>{words(document.title)}</title>",
        f"<style>\n{css}\n</style>",
        "</head>",
        "<body>",
    ]


def _policy(document: Document) -> str:
    """Return the content security policy: nothing from outside, no unknown script."""
    hashes = {_hashed(panel_script(panel)): None for panel in panels(document)}
    scripts = " ".join(hashes) or "'none'"
    return (
        "default-src 'none'; style-src 'unsafe-inline'; img-src data:; "
        f"script-src {scripts}; base-uri 'none'; form-action 'none'"
    )


def _hashed(script: str) -> str:
    """Return the hash of a script as a policy names it."""
    digest = hashlib.sha256(script.encode("utf-8")).digest()
    return f"'sha256-{base64.b64encode(digest).decode('ascii')}'"


def _contents(document: Document, links: Mapping[str, str]) -> list[str]:
    """Return the list of sections."""
    entries = [(section.key, section.title) for section in document.sections]
    if links:
        entries.append(("sources", "Sources"))
    items = (f'<li><a href="#{key}">{words(text)}</a></li>' for key, text in entries)
    return [
        '<nav id="contents" aria-label="Contents">',
        "<ol>",
        *items,
        "</ol>",
        "</nav>",
    ]


def _section(section: Section, place: Place) -> str:
    """Return one section; a folded one holds its anchor inside, which opens it."""
    title = words(section.title)
    place = place.under(section.title)
    blocks = [block_html(block, place) for block in section.blocks]
    if section.folded:
        lines = [
            "<section>",
            "<details>",
            f"<summary><h2>{title}</h2></summary>",
            f'<div class="inside" id="{section.key}">',
            *blocks,
            "</div>",
            "</details>",
        ]
    else:
        lines = [f'<section id="{section.key}">', f"<h2>{title}</h2>", *blocks]
    return "\n".join([*lines, "</section>"])


def _sources(sources: Mapping[str, str], links: Mapping[str, str]) -> list[str]:
    """Return the sources that are pointed at."""
    if not sources:
        return []
    items = (
        f'<li id="{words(links[key])}" tabindex="-1">[{number}] '
        f"<b>{words(key)}</b>: <span>{words(text)}</span></li>"
        for number, (key, text) in enumerate(sources.items(), 1)
    )
    return [
        '<section id="sources">',
        "<h2>Sources</h2>",
        '<ul class="sources">',
        *items,
        "</ul>",
        "</section>",
    ]


def _foot(document: Document) -> list[str]:
    """Return what the marks mean and the last lines."""
    used = tones(document)
    legend = ", ".join(f"{m} {w}" for tone, (m, w) in MARKS.items() if tone in used)
    lines = [f"<p>Marks: {words(legend)}</p>"] if legend else []
    lines += [f"<p>{words(text)}</p>" for text in document.foot]
    return ["<footer>", *lines, "</footer>"] if lines else []
