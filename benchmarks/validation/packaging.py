"""Wheel and source archive in empty environments, with old and new dependencies.

Run ``python benchmarks/validation/packaging.py``; it needs the package index, takes
some minutes, and prints what stands in ``packaging.md``. Each archive is installed with
the newest versions that ``pyproject.toml`` allows, by every Python of :data:`PYTHONS`
that is on the machine, with the lowest by the oldest, and asked for the same numbers; a
user's project is type-checked against what was installed. The first wheel also runs
every story, each in an empty folder.
"""

from __future__ import annotations

import argparse
import datetime
import json
import os
import platform
import re
import shutil
import subprocess
import sys
import tempfile
import time
import tomllib
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]

#: The oldest that is promised, and those for which Cantera has wheels.
PYTHONS = ("3.11", "3.12", "3.13", "3.14")

#: What is asked of an installation: a row of README's first example, with Cantera's
#: second opinion; a page and a picture of the example bench.
RECIPE = "KNO3:60 powdered sugar:20 corn syrup:20"
ASKED = ("evaluate", RECIPE, "--pressure", "1000 psi", "--no-bench", "--json")
SHOWN = ("evaluate", "base", "--page", "p.html", "--picture", "p.png", "--full")


def lowest() -> list[str]:
    """Return the constraints that hold every dependency at its lowest version."""
    told = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))
    found = []
    for need in told["project"]["dependencies"]:
        name, version = re.match(r"([\w-]+)>=([\d.]+)", need).groups()  # type: ignore[union-attr]
        found.append(f"{name}=={version}")
    return found


def run(words: list[str], folder: Path) -> subprocess.CompletedProcess[str]:
    """Run a program that knows nothing of this checkout."""
    clean = {k: v for k, v in os.environ.items() if not k.startswith("PYTHON")}
    clean["PIP_DISABLE_PIP_VERSION_CHECK"] = "1"
    return subprocess.run(
        words, cwd=folder, env=clean, capture_output=True, text=True, check=False
    )


def python_of(version: str) -> str | None:
    """Return a Python of a version that runs; None without one."""
    root = Path(os.environ.get("PYENV_ROOT", Path.home() / ".pyenv")) / "versions"
    kept = sorted(root.glob(f"{version}.*/bin/python"))
    for one in (shutil.which(f"python{version}"), *map(str, kept)):
        if one is not None and run([one, "-c", "1"], Path.cwd()).returncode == 0:
            return one
    return None


def build(folder: Path) -> dict[str, Path]:
    """Build both archives."""
    words = [sys.executable, "-m", "build", "--no-isolation", "-o", str(folder)]
    done = run([*words, str(ROOT)], folder)
    if done.returncode:
        raise SystemExit(done.stderr)
    (wheel,), (archive,) = folder.glob("*.whl"), folder.glob("*.tar.gz")
    return {"wheel": wheel, "sdist": archive}


def tried(
    python: str, archive: Path, versions: str, folder: Path
) -> tuple[str, dict[str, float]]:
    """Install and ask; return what is said of it, and the numbers."""
    made = run([python, "-m", "venv", str(folder / "env")], folder)
    if made.returncode:
        return f"no environment: {made.stderr.strip()[-200:]}", {}
    own = folder / "env" / ("Scripts" if os.name == "nt" else "bin")
    install = [str(own / "python"), "-m", "pip", "install", "-q", str(archive)]
    if versions == "lowest":
        held = folder / "lowest.txt"
        held.write_text("\n".join(lowest()), "utf-8")
        install += ["-c", str(held)]
    done = run(install, folder)
    if done.returncode:
        return f"does not install: {_last(done.stderr)}", {}
    castsugar = str(own / "castsugar")
    asked = run([castsugar, *ASKED], folder)
    if asked.returncode:
        return f"evaluate: {_last(asked.stderr)}", {}
    row = json.loads(asked.stdout)["mixes"][0]
    numbers = {
        key: value
        for key, value in row.items()
        if isinstance(value, float) and not key.startswith("difference_")
    }
    for words in (["init", "."], [*SHOWN]):
        done = run([castsugar, *words], folder)
        if done.returncode:
            return f"{words[0]}: {_last(done.stderr)}", numbers
    return f"{row['confirmation']}; {_typed(own, folder)}", numbers


def _typed(own: Path, folder: Path) -> str:
    """Type-check the user's project against the installation."""
    done = run([str(own / "python"), "-m", "pip", "install", "-q", *TOOLS], folder)
    if done.returncode:
        return f"no mypy: {_last(done.stderr)}"
    project = ROOT / "tests" / "user_project" / "analysis.py"
    shutil.copy(project, folder)
    words = [str(own / "python"), "-m", "mypy", "--strict", "analysis.py"]
    done = run(words, folder)
    return "types hold" if done.returncode == 0 else f"types: {_last(done.stdout)}"


TOOLS = ("mypy>=1.13", "pandas-stubs")


def told(own: Path, folder: Path) -> str:
    """Run every story, the cluster's with its extra; return how long they took."""
    given = folder / "stories"
    words = [str(own / "castsugar"), "examples", "-o", str(given)]
    for command in (
        [str(own / "python"), "-m", "pip", "install", "-q", *CLUSTER],
        words,
    ):
        done = run(command, folder)
        if done.returncode:
            return f"no stories: {_last(done.stderr)}"
    before, scripts = os.times(), sorted(given.glob("*.py"))
    for script in scripts:
        empty = folder / script.stem
        empty.mkdir()
        done = run([str(own / "python"), "-W", "error", str(script)], empty)
        if done.returncode:
            return f"{script.stem}: {_last(done.stderr)}"
    after = os.times()
    spent = after.children_user + after.children_system
    spent -= before.children_user + before.children_system
    return f"{len(scripts)} stories in {spent:.0f} s of CPU"


CLUSTER = ("dask[distributed]>=2024.1",)


def _last(text: str) -> str:
    """Return the last complaint, on one line."""
    lines = [line for line in text.splitlines() if "ERROR" in line] or text.splitlines()
    return (lines or [""])[-1].strip()[:160]


def apart(numbers: dict[str, float], known: dict[str, float]) -> str:
    """Say how far numbers are from the first ones, at most."""
    if not numbers or not known:
        return ""
    both = [(numbers.get(k), v) for k, v in known.items() if v]
    if any(now is None for now, _ in both):
        return "keys differ"
    return f"{max(abs(now / v - 1.0) for now, v in both if now is not None):.0e}"


def main() -> None:
    """Try all, and print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--only", choices=("wheel", "sdist"), help="one archive alone")
    only = parser.parse_args().only
    found = {one: python_of(one) for one in PYTHONS}
    print("# Wheel and source archive in empty environments\n")
    print(f"{datetime.date.today()}, {platform.system()} {platform.machine()}.\n")
    missing = [one for one, python in found.items() if python is None]
    if missing:
        print(f"Not on this machine, not tried: Python {', '.join(missing)}.\n")
    print("| Python | archive | dependencies | says | numbers, at most | seconds |")
    print("|---|---|---|---|---|---|")
    known: dict[str, float] = {}
    with tempfile.TemporaryDirectory() as made:
        for kind, archive in build(Path(made)).items():
            for one, python in found.items():
                for versions in ("newest", "lowest") if python else ():
                    if versions == "lowest" and one != PYTHONS[0]:
                        continue  # they have no wheels for a newer Python
                    if only not in (None, kind):
                        continue
                    start = time.perf_counter()
                    with tempfile.TemporaryDirectory() as folder:
                        said, numbers = tried(
                            str(python), archive, versions, Path(folder)
                        )
                        if not known:
                            own = Path(folder) / "env" / "bin"
                            said += f"; {told(own, Path(folder))}"
                    known = known or numbers
                    spent = time.perf_counter() - start
                    print(
                        f"| {one} | {kind} | {versions} | {said} | "
                        f"{apart(numbers, known)} | {spent:.0f} |",
                        flush=True,
                    )


if __name__ == "__main__":
    main()
