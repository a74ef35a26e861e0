"""README and DEVELOPERS.md: short, true, and their commands run.

What README's screens show is held against the commands in ``test_walkthrough.py``.
"""

from __future__ import annotations

import importlib.util
import re
import shlex
import sys
from pathlib import Path

import pytest
from commands import check_screens

from castsugar.cli.main import main
from castsugar.cli.spellings import OPTIONS
from castsugar.columns import RENAMED

ROOT = Path(__file__).parents[1]


def without_walkthrough(readme: str) -> str:
    """Return README less the section that test_walkthrough.py runs."""
    start = readme.index("## Walk-through\n")
    return readme[:start] + readme[readme.index("\n## ", start) + 1 :]


def of_kind(kind: str, text: str) -> list[str]:
    """Return the blocks of one language."""
    return re.findall(rf"```{kind}\n(.*?)```", text, re.DOTALL)


WHOLE = (ROOT / "README.md").read_text("utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text("utf-8")
SHELL = of_kind("bash", without_walkthrough(WHOLE))

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


def test_short_and_no_screen_is_cut() -> None:
    """README has at most 350 lines; nothing is piped, no bench named that is there."""
    assert len(WHOLE.splitlines()) <= 350
    for command in "".join(of_kind("bash", WHOLE)).splitlines():
        assert "|" not in command
        assert "--bench" not in command


@pytest.mark.slow
def test_other_commands_run(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Every further command of README ends well, in order, on the example scenario."""
    monkeypatch.chdir(tmp_path)
    # It serves until it is stopped: tests/page does that.
    monkeypatch.setattr("castsugar.page.serve.run", lambda *_, **__: None)
    assert main(["init"]) == 0
    capsys.readouterr()
    for text in SHELL[2:]:
        for line in text.strip().splitlines():
            words = shlex.split(line, comments=True)[1:]
            # The one question of them whose answer is "no": is this bench yours?
            assert main(words) == (words == ["check"]), line
            told = capsys.readouterr()
            if words[0] in ("open", "examples"):  # one serves, one writes a file
                assert told.err, line
            else:
                check_screens(told.out)


def test_python_example(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The example prints a table, species, the certificate and a number, and draws."""
    monkeypatch.chdir(tmp_path)
    (code,) = of_kind("python", WHOLE)
    exec(compile(code, "README.md", "exec"), {})
    printed = capsys.readouterr().out
    assert "flame_temperature_K" in printed
    assert "\nTrue\n" in printed
    # 1 % of water costs 24 to 32 K at 60 to 80 % nitrate (independent sensitivity).
    assert -32.0 < float(printed.split()[-1]) < -24.0
    assert (tmp_path / "pour.png").stat().st_size > 10_000


@pytest.mark.slow
def test_counts_are_those_of_the_checks(monkeypatch: pytest.MonkeyPatch) -> None:
    """README counts as checks what was read or is open data, and says what is not."""
    monkeypatch.setattr(sys, "path", [*sys.path])
    path = ROOT / "benchmarks" / "accuracy" / "run.py"
    spec = importlib.util.spec_from_file_location("accuracy_run", path)
    assert spec is not None
    assert spec.loader is not None
    accuracy = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(accuracy)
    rows = accuracy.compared()
    told = re.findall(r"^\| (\w+) [^|]*\| (\d+) \| (\d+) \|$", WHOLE, re.MULTILINE)
    counted = {}
    for name, kind in accuracy.KINDS.items():
        own = [row["inside"] for row in rows if row["provenance"] == name]
        counted[name] = (kind, name.split()[0], str(len(own)), str(sum(own)))
    checks = [told for kind, *told in counted.values() if kind == "published"]
    assert [list(row) for row in told] == checks
    recalled = counted["from memory, reproduced"]
    own = counted["independent calculation"]
    assert f"Not counted: {recalled[2]} values recalled" in WHOLE
    assert f"({recalled[3]} agree) and {own[2]} of our\nown calculations" in WHOLE


def test_renamed_is_told() -> None:
    """DEVELOPERS.md lists every column and option that bears another name now."""
    section = DEVELOPERS.split("## Renamed in 0.2.0\n")[1].split("\n## ")[0]
    rows = [line for line in section.splitlines() if line.startswith("|")]
    for old, now in RENAMED.items():
        assert any(f"`{old}`" in row and f"`{now.key}`" in row for row in rows), old
    for command, options in OPTIONS.items():
        for old, new in options.items():
            said = [row for row in rows if f"`{old}`" in row and f"`{new}" in row]
            assert any(command in row or "every" in row for row in said), (command, old)
