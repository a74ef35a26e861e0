"""README's screens: every command as it is printed, and what it prints."""

from __future__ import annotations

import importlib.util
import shutil
from pathlib import Path
from types import ModuleType

import pytest

# Exact: text against text.
pytestmark = pytest.mark.exact

README = (Path(__file__).parents[1] / "README.md").read_text("utf-8")

#: The story: each block's last command, in order.
STORY = (
    "init",
    "evaluate",
    "search",
    "weigh",
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
    """Every step is there, in order, with a whole screen; a firing closes the batch."""
    blocks = WALK.blocks(README)
    assert tuple(c.splitlines()[-1].split()[1] for c, _ in blocks) == STORY
    assert "--firing shot.csv" in blocks[4][0]
    assert WALK.section(README).count("```bash") == len(STORY)
    for _, screen in [*blocks, WALK.main_job(README)]:
        assert 7 <= len(screen.splitlines()) <= 24
        assert screen.splitlines()[-1].startswith("Next: castsugar")


@pytest.mark.slow
def test_a_wrong_text_would_be_found(tmp_path: Path) -> None:
    """The comparison runs the command: a changed digit in README differs."""
    if shutil.which("bash") is None:
        pytest.skip("no bash here")
    commands, shown = WALK.blocks(README)[0]
    assert WALK.run(commands, tmp_path).rstrip() == shown.rstrip()
    assert "all INVENTED" in shown
    with pytest.raises(RuntimeError, match="exist already"):
        WALK.run(commands, tmp_path)


@pytest.mark.slow
def test_prints_what_readme_shows(tmp_path: Path) -> None:
    """The main job, then all blocks, in one empty folder, by bash, as they stand."""
    if shutil.which("bash") is None:
        pytest.skip("no bash here")
    for commands, shown in [WALK.main_job(README), *WALK.blocks(README)]:
        printed = WALK.run(commands, tmp_path)
        assert printed.rstrip("\n") == shown.rstrip("\n"), commands
