"""README's walk-through: every command as it is printed, and what it prints."""

from __future__ import annotations

import importlib.util
import shutil
from pathlib import Path
from types import ModuleType

import pytest
from commands import check_screens

# Exact: text against text.
pytestmark = pytest.mark.exact

README = (Path(__file__).parents[1] / "README.md").read_text("utf-8")

#: The story: each block's last command, in order.
STORY = (
    "init",
    "evaluate",
    "kitchen",
    "burnrate",
    "search",
    "weigh",
    "batch",
    "batch",
    "learn",
    "justify",
)


def _walkthrough() -> ModuleType:
    """Load the script that runs the blocks and pastes what they print."""
    path = Path(__file__).with_name("walkthrough_update.py")
    spec = importlib.util.spec_from_file_location("walkthrough_update", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


WALK = _walkthrough()


def test_tells_the_whole_story() -> None:
    """Every step is there, in order, with what it prints; the firing stands alone."""
    blocks = WALK.blocks(README)
    assert tuple(c.splitlines()[-1].split()[1] for c, _ in blocks) == STORY
    assert "castsugar firing" in blocks[7][0]
    assert all(shown.strip() for _, shown in blocks)


def test_a_wrong_text_would_be_found(tmp_path: Path) -> None:
    """The comparison runs the command: a changed digit in README differs."""
    if shutil.which("bash") is None:
        pytest.skip("no bash here")
    commands, shown = WALK.blocks(README)[0]
    assert WALK.run(commands, tmp_path).rstrip() == shown.rstrip()
    assert "An example" in shown
    with pytest.raises(RuntimeError, match="exist already"):
        WALK.run(commands, tmp_path)


@pytest.fixture(scope="module")
def printed(tmp_path_factory: pytest.TempPathFactory) -> list[str]:
    """Run all blocks in order, in one empty folder, by bash: once for all tests."""
    if shutil.which("bash") is None:
        pytest.skip("no bash here")
    folder = tmp_path_factory.mktemp("walk")
    return [WALK.run(commands, folder) for commands, _ in WALK.blocks(README)]


@pytest.mark.slow
def test_prints_what_readme_shows(printed: list[str]) -> None:
    """Each block prints the text that stands after it."""
    for (commands, shown), text in zip(WALK.blocks(README), printed, strict=True):
        assert text.rstrip("\n") == shown.rstrip("\n"), commands


@pytest.mark.slow
def test_prints_in_every_encoding(printed: list[str]) -> None:
    """Where the screen lacks a character too nothing is replaced."""
    for text in printed:
        check_screens(text)
