"""The commands of README and of every --help: the bytes that they print and write.

The oracle of a refactoring. Run it before and after, on one machine::

    python benchmarks/same_bytes.py --save before.json
    python benchmarks/same_bytes.py --against before.json

Every command runs in a process of its own, in order, in the world that ``castsugar
init`` writes. Kept are exit code, standard output, standard error and every file of the
folder. The second call says what differs, and leaves with exit code 1 if anything does.
"""

from __future__ import annotations

import argparse
import difflib
import json
import os
import re
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any

ROOT = Path(__file__).parents[1]

#: A command in a block of README, and in the help of a command.
_BLOCK = re.compile(r"```bash\n(.*?)```", re.DOTALL)
_HELP = re.compile(r"^  (castsugar .*?)(?<!\\)$", re.DOTALL | re.MULTILINE)

#: Commands of README that set up a machine instead of asking a question.
_SET_UP = "python3 -m venv"


def readme_commands() -> list[str]:
    """Return the commands of README, in order, one a line."""
    readme = (ROOT / "README.md").read_text("utf-8")
    lines = "".join(_BLOCK.findall(readme)).splitlines()
    return [line for line in lines if line.strip() and not line.startswith(_SET_UP)]


def help_commands(folder: Path) -> list[list[str]]:
    """Return the examples of every command's help, a list a command."""
    introduction = run("castsugar", folder)["stdout"]
    listed = introduction.split("Commands:")[1].split(".")[0]
    found = []
    for name in re.split(r",\s+", " ".join(listed.split())):
        text = run(f"castsugar {name} --help", folder)["stdout"]
        examples = [re.sub(r"\\\n\s*", "", line) for line in _HELP.findall(text)]
        if name == "learn":  # from what the examples of batch leave
            examples = [line for line in found[-1] if "--help" not in line] + examples
        found.append([f"castsugar {name} --help", *examples])
    return [["castsugar --help"], *found]


def run(command: str, folder: Path) -> dict[str, Any]:
    """Run one command by bash; return exit code, both streams and all files."""
    here = str(Path(sys.executable).parent)
    settings = {
        "PATH": here + os.pathsep + os.environ["PATH"],
        "HOME": str(folder.parent),
        "PYTHONIOENCODING": "utf-8",
        "COLUMNS": "80",
    }
    done = subprocess.run(
        ["bash", "-c", command],
        cwd=folder,
        env=settings,
        capture_output=True,
        encoding="utf-8",
        check=False,
    )
    files = {
        str(path.relative_to(folder)): path.read_text("utf-8", "replace")
        for path in sorted(folder.rglob("*"))
        if path.is_file() and path.name != ".castsugar-lock"
    }
    return {
        "code": done.returncode,
        "stdout": done.stdout,
        "stderr": done.stderr,
        "files": files,
    }


def everything() -> dict[str, dict[str, Any]]:
    """Run all commands; return what each left, by where it stands and its text."""
    found = {}
    with tempfile.TemporaryDirectory() as name:
        outside = Path(name) / "outside"
        outside.mkdir()
        stories = {"help": help_commands(outside), "README": [readme_commands()]}
        for story, groups in stories.items():
            for count, commands in enumerate(groups):
                folder = Path(name) / f"{story}{count}" / "bench"
                folder.mkdir(parents=True)
                if "castsugar init" not in commands:
                    run("castsugar init", folder)
                for command in commands:
                    found[f"{story} {count}: {command}"] = run(command, folder)
    return found


def differences(before: dict[str, Any], after: dict[str, Any]) -> list[str]:
    """Return a paragraph for everything that is not the same."""
    found = [f"only before: {key}" for key in before if key not in after]
    found += [f"only after: {key}" for key in after if key not in before]
    for key in before:
        if key not in after or before[key] == after[key]:
            continue
        old, new = _flat(before[key]), _flat(after[key])
        for part in {**old, **new}:
            if old.get(part) != new.get(part):
                lines = difflib.unified_diff(
                    old.get(part, "").splitlines(),
                    new.get(part, "").splitlines(),
                    "before",
                    "after",
                    lineterm="",
                    n=0,
                )
                found.append("\n".join([f"{key}: {part}", *list(lines)[:40]]))
    return found


def _flat(left: dict[str, Any]) -> dict[str, str]:
    files = {f"file {name}": text for name, text in left["files"].items()}
    return {k: str(v) for k, v in left.items() if k != "files"} | files


def main() -> int:
    """Save, or compare."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--save", metavar="FILE", type=Path)
    parser.add_argument("--against", metavar="FILE", type=Path)
    options = parser.parse_args()
    after = everything()
    print(f"{len(after)} commands")
    if options.save:
        options.save.write_text(json.dumps(after), "utf-8")
    if not options.against:
        return 0
    found = differences(json.loads(options.against.read_text("utf-8")), after)
    print("\n\n".join(found) or "same bytes")
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main())
