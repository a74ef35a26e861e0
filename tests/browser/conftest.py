"""A real browser for the pages: Debian's, driven by Playwright.

Without one, or without the package ``playwright``, these tests are skipped; where the
environment has CI or CASTSUGAR_NEEDS_BROWSER they fail instead.
"""

from __future__ import annotations

import os
import shutil
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest

HERE = str(Path(__file__).parent)
if HERE not in sys.path:
    sys.path.insert(0, HERE)

#: Names that a browser of this family has.
NAMES = ("chromium", "chromium-browser", "google-chrome")

#: Inside a container there is no sandbox; nothing may be loaded behind our back.
ARGUMENTS = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)


def _missing(what: str) -> None:
    """Skip, or fail where a browser is demanded."""
    text = f"{what}; these tests drive a real browser"
    if os.environ.get("CI") or os.environ.get("CASTSUGAR_NEEDS_BROWSER"):
        pytest.fail(text)
    pytest.skip(text)


def _executable() -> str:
    """Return the path of a browser."""
    asked = os.environ.get("CASTSUGAR_BROWSER", "")
    for name in (asked,) if asked else NAMES:
        found = shutil.which(name)
        if found:
            return found
    _missing(f"no browser: none of {', '.join((asked,) if asked else NAMES)} on PATH")
    return ""


# One a module: while Playwright runs, no other test of its worker may start a loop.
@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    """Start a browser."""
    try:
        from playwright.sync_api import sync_playwright
    except ImportError:
        _missing("the package playwright is not installed")
    executable = _executable()
    with sync_playwright() as driver:
        started = driver.chromium.launch(executable_path=executable, args=ARGUMENTS)
        yield started
        started.close()


@dataclass
class Watch:
    """What a page did beside being read."""

    address: str
    seen: list[str] = field(default_factory=list)

    def request(self, request: Any) -> None:
        """Note what is asked for, the page itself and inline data left out."""
        address = request.url.partition("#")[0]
        if address != self.address and not address.startswith("data:"):
            self.seen.append(f"request: {request.url}")

    def dialog(self, dialog: Any) -> None:
        """Note a dialog and close it."""
        self.seen.append(f"dialog: {dialog.message}")
        dialog.dismiss()


@pytest.fixture
def page_of(browser: Any, tmp_path: Path) -> Iterator[Callable[..., Any]]:
    """Give a function that opens HTML and returns Playwright's page.

    ``page_of(html, width=1000, dark=False, script=True)``. When the test is over it
    fails if any page wrote to the console, raised an error, opened a dialog or window,
    or asked for anything but its own file.
    """
    contexts, watches = [], []

    def opened(
        html: str, *, width: int = 1000, dark: bool = False, script: bool = True
    ) -> Any:
        place = tmp_path / f"page-{len(contexts)}.html"
        place.write_text(html, "utf-8")
        context = browser.new_context(
            viewport={"width": width, "height": 800},
            color_scheme="dark" if dark else "light",
            java_script_enabled=script,
            offline=True,
        )
        page = context.new_page()
        watch = Watch(place.as_uri())
        contexts.append(context)
        watches.append(watch)
        page.on("console", lambda told: watch.seen.append(f"console: {told.text}"))
        page.on("pageerror", lambda error: watch.seen.append(f"error: {error}"))
        page.on("dialog", watch.dialog)
        page.on("popup", lambda other: watch.seen.append(f"window: {other.url}"))
        page.on("request", watch.request)
        page.goto(watch.address)
        return page

    yield opened
    for context in contexts:
        context.close()
    assert [text for watch in watches for text in watch.seen] == []
