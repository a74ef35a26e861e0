"""What axe-core finds that keeps people out of a page."""

from __future__ import annotations

from functools import cache
from importlib import resources
from typing import Any

import pytest

#: Rules of axe-core that are about sites, not about one sheet.
_NOT_HERE = {"region"}


@cache
def _script() -> str:
    """Return the script of axe-core, as its package brings it."""
    package = pytest.importorskip("axe_playwright_python")
    for path in resources.files(package).iterdir():
        if path.name.startswith("axe") and path.name.endswith(".js"):
            return path.read_text("utf-8")
    pytest.fail("axe-playwright-python brings no script")


def kept_out(page: Any) -> dict[str, str]:
    """Return the rules that a page breaks, each with a place where it does."""
    found = page.evaluate(f"{_script()}\n; axe.run()")
    wrong = {v["id"]: v["nodes"][0]["html"] for v in found["violations"]}
    return {name: place for name, place in wrong.items() if name not in _NOT_HERE}
