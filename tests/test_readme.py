"""README: what it prints is what the commands print, and its example runs."""

from __future__ import annotations

import re
import shlex
import tomllib
from pathlib import Path
from typing import Any

import pytest
from commands import check_screens

from castsugar.bench.example import example_files
from castsugar.cli.main import main

ROOT = Path(__file__).parents[1]


def without_walkthrough(readme: str) -> str:
    """Return README less the section that test_walkthrough.py runs."""
    start = readme.index("## Walk-through\n")
    return readme[:start] + readme[readme.index("\n## ", start) + 1 :]


WHOLE = (ROOT / "README.md").read_text("utf-8")
README = without_walkthrough(WHOLE)
BLOCKS = re.findall(r"```(\w+)\n(.*?)```", README, re.DOTALL)
TEXT = [text for kind, text in BLOCKS if kind == "text"]
SHELL = [text for kind, text in BLOCKS if kind == "bash"]

pytestmark = pytest.mark.exact  # text against text


def test_two_commands_on_one_line_each() -> None:
    """The first two blocks are the two commands for a fresh machine."""
    for block in SHELL[:2]:
        assert block.count("\n") == 1
        assert block.startswith("python3 -m venv .venv && .venv/bin/pip install")
    assert SHELL[1].strip().endswith("pytest -q")


def test_gate_runs_the_two_commands() -> None:
    """The gate reads them out of README, inherits nothing, and tries more examples."""
    gate = (ROOT / ".ci" / "run").read_text("utf-8")
    (start,) = re.findall(r"< <\(grep '\^(.*)' README\.md\)", gate)
    found = [line for line in WHOLE.splitlines() if line.startswith(start)]
    assert found == [block.strip() for block in SHELL[:2]]
    assert "env -i" in gate
    assert "CASTSUGAR_EXAMPLES=gate" in gate


def test_main_job_prints_the_table(capsys: pytest.CaptureFixture[str]) -> None:
    """The table in README is the one that the first command prints."""
    words = shlex.split(SHELL[0].split("&&")[-1])
    assert main(words[1:]) == 0
    printed = capsys.readouterr().out
    assert TEXT[0].strip() in printed


@pytest.mark.slow
def test_other_commands_run(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Every further command of README ends well, in order, on the example scenario."""
    monkeypatch.chdir(tmp_path)
    assert main(["init"]) == 0
    capsys.readouterr()
    printed = {}
    for text in SHELL[2:]:
        for line in text.strip().splitlines():
            assert main(shlex.split(line)[1:]) == 0, line
            printed[line] = capsys.readouterr().out
            check_screens(printed[line])
    # The other texts shown are what one of the commands prints.
    for text in TEXT[1:]:
        assert any(text.strip() in out for out in printed.values())


def _is_part(part: Any, whole: Any) -> bool:
    """Return whether every key and entry of one value stands in the other."""
    if isinstance(part, dict):
        return all(k in whole and _is_part(v, whole[k]) for k, v in part.items())
    if isinstance(part, list):
        return all(any(_is_part(p, w) for w in whole) for p in part)
    return bool(part == whole)


def test_files_shown_are_of_the_example() -> None:
    """What README shows of bench file and strands is what castsugar init writes."""
    example = example_files()
    shown = [text for kind, text in BLOCKS if kind == "toml"]
    assert len(shown) == 2
    for text in shown:
        assert _is_part(tomllib.loads(text), tomllib.loads(example["bench.toml"]))
    (strands,) = (text for kind, text in BLOCKS if kind == "csv")
    assert strands in example["strands.csv"]


def test_python_example(capsys: pytest.CaptureFixture[str]) -> None:
    """The example runs and prints a table, species, the certificate and a number."""
    (code,) = (text for kind, text in BLOCKS if kind == "python")
    exec(compile(code, "README.md", "exec"), {})
    printed = capsys.readouterr().out
    assert "flame_temperature_K" in printed
    assert "\nTrue\n" in printed
    # 1 % of water costs 24 to 32 K at 60 to 80 % nitrate (independent sensitivity).
    assert -32.0 < float(printed.split()[-1]) < -24.0
