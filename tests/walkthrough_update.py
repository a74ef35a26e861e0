"""Run README's commands; paste the screens that they print into README anew.

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

#: A block of commands, and the screen of the last one right after it.
_BLOCK = re.compile(r"```bash\n(.*?)```\n\n```text\n(.*?)```\n", re.DOTALL)

#: The screen of the main job, the first command of all, stands under a heading.
_FIRST = re.compile(r"(## What you see\n\n```text\n)(.*?)(```\n)", re.DOTALL)


def section(readme: str) -> str:
    """Return the walk-through, from its heading to the next one."""
    start = readme.index(HEADING)
    return readme[start : readme.index("\n## ", start) + 1]


def blocks(readme: str) -> list[tuple[str, str]]:
    """Return every block of commands with the screen shown after it."""
    return [(m[1], m[2]) for m in _BLOCK.finditer(section(readme))]


def main_job(readme: str) -> tuple[str, str]:
    """Return the main job, its set-up left out, and the screen shown of it."""
    command = readme.split("```bash\n", 1)[1].split("\n", 1)[0]
    found = _FIRST.search(readme)
    assert found is not None
    return command.split(".venv/bin/")[-1], found[2]


def run(commands: str, folder: Path) -> str:
    """Run commands by bash, as they stand; return standard output of the last.

    ``castsugar`` is that of the Python that runs this. An answer may be "no" (exit code
    1); all else that fails stops it.
    """
    here = str(Path(sys.executable).parent)
    settings = os.environ | {"PATH": here + os.pathsep + os.environ["PATH"]}
    printed = ""
    for command in commands.splitlines():
        done = subprocess.run(
            ["bash", "-c", command],
            cwd=folder,
            env=settings | {"PYTHONIOENCODING": "utf-8"},
            capture_output=True,
            encoding="utf-8",
            check=False,
        )
        if done.returncode not in (0, 1):
            raise RuntimeError(f"{command}: exit {done.returncode}: {done.stderr}")
        printed = done.stdout
    return printed


def updated(readme: str) -> str:
    """Return README with the screens that its commands print now."""
    with tempfile.TemporaryDirectory() as folder:
        screen = run(main_job(readme)[0], Path(folder))
        readme = _FIRST.sub(lambda found: found[1] + screen + found[3], readme)

        def pasted(found: re.Match[str]) -> str:
            printed = run(found[1], Path(folder)).rstrip("\n")
            return f"```bash\n{found[1]}```\n\n```text\n{printed}\n```\n"

        old = section(readme)
        return readme.replace(old, _BLOCK.sub(pasted, old))


if __name__ == "__main__":
    README.write_text(updated(README.read_text("utf-8")), "utf-8", newline="\n")
