"""The page of every command in a real browser: answer first, for everybody, quiet.

axe-core looks for what keeps people out (WCAG 2 A and AA); what a page asks for, says
and raises is watched by `page_of`. The numbers are those of the example bench.
"""

from __future__ import annotations

import shlex
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from page_checks import kept_out

from castsugar.cli.main import main

pytestmark = [pytest.mark.exact, pytest.mark.slow]

NEW = '"KNO3:60 powdered sugar:17 corn syrup:23"'

COMMANDS = {
    "evaluate": "evaluate base red --no-confirm",
    "compare": f"compare base red {NEW} --no-confirm",
    "search": "search --no-confirm",
    "weigh": f"weigh {NEW} --grains 4 --strands 8",
    "batch new": "batch new base --batch '200 g' --date 2026-05-16",
    "kitchen": "kitchen judge base",
    "burnrate": "burnrate strands.csv",
    "firing": f"firing shot.csv --throat '8 mm' --propellant-mass '368 g' --mix {NEW}",
    "check": "check",
}


@pytest.fixture(scope="module")
def pages(tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    """Return the page of every command on the example bench."""
    folder = tmp_path_factory.mktemp("pages")
    found = {}
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(folder)
        assert main(["init", "."]) == 0
        for name, words in COMMANDS.items():
            assert main([*shlex.split(words), "--page", "page.html", "--force"]) in (
                0,
                1,
            )
            found[name] = Path("page.html").read_text("utf-8")
    return found


@pytest.mark.parametrize(("width", "dark"), [(1280, False), (360, True)])
@pytest.mark.parametrize("name", COMMANDS)
def test_a_page_keeps_nobody_out_and_answers_first(
    name: str,
    width: int,
    dark: bool,
    pages: dict[str, str],
    page_of: Callable[..., Any],
) -> None:
    page = page_of(pages[name], width=width, dark=dark)
    assert "EXAMPLE" in pages[name]
    top = page.locator(".findings").bounding_box()["y"]
    assert top < (200 if width == 1280 else 400)
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert kept_out(page) == {}
    assert "[ ]" not in page.inner_text("body")
