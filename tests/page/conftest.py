"""The example bench, opened as a page opens it."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from castsugar.bench.example import write_example
from castsugar.page.desk import Page


@pytest.fixture
def bench(tmp_path: Path) -> Path:
    """Return an example bench that a test may change."""
    write_example(tmp_path)
    return tmp_path / "bench.toml"


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory) -> Page:
    """Return the page of an example bench that nobody changes."""
    folder = tmp_path_factory.mktemp("bench")
    write_example(folder)
    return Page(folder / "bench.toml")


@pytest.fixture
def start(page: Page) -> dict[str, Any]:
    """Return the state of that bench, to be changed."""
    return page.start()
