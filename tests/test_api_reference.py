"""The reference that is rendered from the docstrings: whole, and no link broken."""

from __future__ import annotations

import inspect
import os
import re
import subprocess
import sys
from collections import defaultdict
from html.parser import HTMLParser
from pathlib import Path
from urllib.parse import unquote, urlsplit

import pytest

import castsugar as cs

pytest.importorskip("pdoc", reason="NOT CHECKED without pdoc: pip install pdoc")
pytestmark = [pytest.mark.exact, pytest.mark.slow]
SCRIPT = Path(__file__).parent / "shared" / "reference.py"


class Page(HTMLParser):
    """The links and the anchors of a page."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.links: set[str] = set()
        self.anchors: set[str] = set()
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Keep where it leads, and what leads here."""
        found = dict(attrs)
        self.links |= {found[k] or "" for k in ("href", "src") if k in found}
        self.anchors |= {found["id"] or ""} if "id" in found else set()


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Render the reference once, without a warning."""
    folder = tmp_path_factory.mktemp("reference")
    done = subprocess.run(
        [sys.executable, str(SCRIPT), str(folder)],
        capture_output=True,
        text=True,
        env={**os.environ, "PYTHONUTF8": "1"},
        check=False,
    )
    assert (done.returncode, done.stdout + done.stderr) == (0, "")
    return folder


@pytest.fixture(scope="module")
def pages(folder: Path) -> dict[Path, Page]:
    """Read all pages."""
    return {
        path: Page(path.read_text("utf-8")) for path in sorted(folder.rglob("*.html"))
    }


def test_every_public_name_has_its_place(folder: Path, pages: dict[Path, Page]) -> None:
    missing = []
    for name in cs.__all__:
        thing = getattr(cs, name)
        if not inspect.ismodule(thing):
            if name not in pages[folder / "castsugar.html"].anchors:
                missing.append(name)
            continue
        page = pages[folder / "castsugar" / f"{name}.html"]
        missing += [f"{name}.{n}" for n in thing.__all__ if n not in page.anchors]
    assert not missing


def broken(pages: dict[Path, Page]) -> dict[str, set[str]]:
    """Return the links inside the reference that lead nowhere, by page."""
    found: dict[str, set[str]] = defaultdict(set)
    for path, page in pages.items():
        for link in page.links:
            parts = urlsplit(link)
            if parts.scheme or parts.netloc:
                continue
            target = path
            if parts.path:
                target = Path(os.path.normpath(path.parent / unquote(parts.path)))
            if not target.is_file():
                found[path.name].add(link)
            elif parts.fragment and target in pages:
                anchors = pages[target].anchors
                found[path.name] |= {link} - {f"{parts.path}#{a}" for a in anchors}
    return {name: links for name, links in found.items() if links}


def test_no_link_is_broken(pages: dict[Path, Page]) -> None:
    assert sum(len(page.links) for page in pages.values()) > 100
    assert not broken(pages)


def test_a_broken_link_is_seen(folder: Path, pages: dict[Path, Page]) -> None:
    start = folder / "castsugar.html"
    bad = Page('<a href="#nowhere"></a><a href="gone.html"></a>')
    assert broken({**pages, start: bad})[start.name] == {"#nowhere", "gone.html"}


def test_no_markup_is_left_over(folder: Path, pages: dict[Path, Page]) -> None:
    """No role of reStructuredText stands in the text as it was typed."""
    texts = {p.name: p.read_text("utf-8") for p in pages}
    left = {
        n: re.findall(r":(?:func|class|data|meth|attr|mod):", texts[n]) for n in texts
    }
    assert not {name: found for name, found in left.items() if found}
