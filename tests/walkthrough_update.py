"""Run README's walk-through; paste what its commands print into README anew.

Run ``python tests/walkthrough_update.py`` after a change of what a command prints, look
at the difference, and keep it if it is meant. ``tests/test_walkthrough.py`` runs the
same commands and compares.
"""

from __future__ import annotations

import os
import re
import subprocess
import sys
import tempfile
from pathlib import Path

README = Path(__file__).parents[1] / "README.md"
HEADING = "## Walk-through\n"

#: A block of commands, and the text right after it, if there is one.
_BLOCK = re.compile(r"```bash\n(.*?)```\n(?:\n```text\n(.*?)```\n)?", re.DOTALL)


def section(readme: str) -> str:
    """Return the walk-through, from its heading to the next one."""
    start = readme.index(HEADING)
    return readme[start : readme.index("\n## ", start) + 1]


def blocks(readme: str) -> list[tuple[str, str]]:
    """Return every block of commands with the text shown after it."""
    return [(m[1], m[2] or "") for m in _BLOCK.finditer(section(readme))]


def run(commands: str, folder: Path) -> str:
    """Run a block by bash, as it stands, and return its standard output.

    ``castsugar`` is that of the Python that runs this; a command that fails stops it.
    """
    here = str(Path(sys.executable).parent)
    settings = os.environ | {"PATH": here + os.pathsep + os.environ["PATH"]}
    done = subprocess.run(
        ["bash", "-e", "-o", "pipefail", "-c", commands],
        cwd=folder,
        env=settings | {"PYTHONIOENCODING": "utf-8"},
        capture_output=True,
        encoding="utf-8",
        check=False,
    )
    if done.returncode:
        raise RuntimeError(f"{commands}: exit {done.returncode}: {done.stderr}")
    return done.stdout


def updated(readme: str) -> str:
    """Return README with the texts that its walk-through prints now."""
    with tempfile.TemporaryDirectory() as folder:

        def pasted(found: re.Match[str]) -> str:
            printed = run(found[1], Path(folder)).rstrip("\n")
            return f"```bash\n{found[1]}```\n\n```text\n{printed}\n```\n"

        old = section(readme)
        return readme.replace(old, _BLOCK.sub(pasted, old))


if __name__ == "__main__":
    README.write_text(updated(README.read_text("utf-8")), "utf-8", newline="\n")
