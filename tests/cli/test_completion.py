"""castsugar completion: bash is asked what it would offer."""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

import pytest

from castsugar.cli import completion
from castsugar.cli.main import build_parser, main

# Exact: what bash offers against the names in the parser.
pytestmark = pytest.mark.exact

needs_bash = pytest.mark.skipif(shutil.which("bash") is None, reason="no bash here")
needs_zsh = pytest.mark.skipif(shutil.which("zsh") is None, reason="no zsh here")

#: Ask the function that `complete` has set for the words of a line; the last is begun.
ASK = """
source ./script
COMP_WORDS=("$@"); COMP_CWORD=$(($# - 1)); COMP_LINE="$*"; COMP_POINT=${#COMP_LINE}
name=$(complete -p castsugar | sed 's/.*-F \\([^ ]*\\).*/\\1/')
"$name" castsugar "${COMP_WORDS[COMP_CWORD]}" "${COMP_WORDS[COMP_CWORD-1]}" 2>/dev/null
printf '%s\\n' "${COMPREPLY[@]}"
"""


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a folder with the script and two files."""
    made = tmp_path_factory.mktemp("completion")
    script = completion.script(build_parser(), "bash")
    (made / "script").write_text(script, "utf-8", newline="\n")
    (made / "bench.toml").write_text("", "utf-8")
    (made / "batches").mkdir()
    return made


def offered(folder: Path, *words: str) -> set[str]:
    """Return what bash offers for the last word."""
    done = subprocess.run(
        ["bash", "-c", ASK, "bash", "castsugar", *words],
        cwd=folder,
        capture_output=True,
        encoding="utf-8",
        check=True,
    )
    return {line.strip() for line in done.stdout.splitlines() if line.strip()}


@needs_bash
@pytest.mark.parametrize(
    ("words", "wanted"),
    [
        (["se"], {"search"}),
        (["batch", "cl"], {"close"}),
        (["kitchen", "b"], {"bulk-density", "ball-fall", "boiling-water", "brine"}),
        (["weigh", "--gr"], {"--grains"}),
        (["plan", "p"], {"pieces", "pans"}),
        (["plan", "correct", "--ex"], {"--extra"}),
        (["batch", "close", "--outc"], {"--outcome"}),
        (["batch", "close", "--outcome", "p"], {"partly"}),
        (["completion", "z"], {"zsh"}),
        (["search", "--no-c"], {"--no-confirm"}),
        (["evaluate", "--bench", "be"], {"bench.toml"}),
        (["evaluate", "-o", "be"], {"bench.toml"}),
        (["search", "be"], {"bench.toml"}),
        (["batch", "list", "--dir", "b"], {"batches", "batches/"}),
    ],
)
def test_bash_offers(folder: Path, words: list[str], wanted: set[str]) -> None:
    """Commands, tasks, options, choices, files and folders."""
    found = offered(folder, *words)
    assert found
    assert found <= wanted


@needs_bash
def test_bash_offers_every_command(folder: Path) -> None:
    """All commands for an empty word, and no others."""
    assert offered(folder, "") >= {"evaluate", "init", "learn", "completion", "weigh"}
    for word in offered(folder, ""):
        assert word.startswith("-") or main_knows(word)


def main_knows(word: str) -> bool:
    """Return whether a word is a command."""
    with pytest.raises(SystemExit) as left:
        main([word, "--help"])
    return left.value.code == 0


@needs_zsh
def test_zsh_reads_the_script() -> None:
    """The script for zsh has no fault of syntax."""
    script = completion.script(build_parser(), "zsh")
    subprocess.run(["zsh", "-n"], input=script, encoding="utf-8", check=True)


def test_command_prints_the_script(capsys: pytest.CaptureFixture[str]) -> None:
    """Both shells; the script for zsh names each command with its help."""
    for shell in completion.SHELLS:
        assert main(["completion", shell]) == 0
        printed = capsys.readouterr().out
        assert printed == completion.script(build_parser(), shell)
        assert "justify" in printed
        assert "COMPGEN" not in printed or shell == "bash"


def test_unknown_shell_is_one_line(capsys: pytest.CaptureFixture[str]) -> None:
    """Exit code 2 and what is allowed."""
    with pytest.raises(SystemExit) as left:
        main(["completion", "fish"])
    assert left.value.code == 2
    said = capsys.readouterr().err
    assert said.count("\n") == 1
    assert "bash, zsh" in said
