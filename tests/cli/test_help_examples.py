"""Every example of every --help runs on the example scenario; one voice in all."""

from __future__ import annotations

import argparse
import re
import shlex
from pathlib import Path

import pytest
from commands import EXAMPLES, PARSERS, check_screens

from castsugar.cli.main import COMMANDS, GROUPS, INTRODUCTION, main

# Exact: exit codes; words against words.
pytestmark = pytest.mark.exact


#: Commands whose help says when the answer is "no" (exit code 1).
MAY_SAY_NO = ("check", "search", "justify", "weigh", "learn")


def run_all(words: str, folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Run the examples of a command in order, in a folder of their own."""
    folder.mkdir()
    monkeypatch.chdir(folder)
    if words not in ("", "init"):
        assert main(["init"]) == 0
    if words == "learn":  # from what the examples of batch leave
        for line in EXAMPLES["batch"]:
            assert main(shlex.split(line)[1:]) == 0, line
    if words == "open":  # it serves until it is stopped: tests/page does that
        monkeypatch.setattr("castsugar.page.serve.run", lambda *_, **__: None)
    allowed = (0, 1) if words.split(" ")[0] in MAY_SAY_NO else (0,)
    for line in EXAMPLES[words]:
        assert main(shlex.split(line)[1:]) in allowed, line


# Those of batch run before those of learn, which lean on them.
@pytest.mark.slow
@pytest.mark.parametrize("words", [w for w in EXAMPLES if w != "batch"])
def test_examples_run(
    words: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """As they stand, one after the other, on what castsugar init writes."""
    run_all(words, tmp_path / "bench", monkeypatch)
    check_screens(capsys.readouterr().out)


def test_every_command_has_examples() -> None:
    """Each command of the first level; tasks may lean on those of their command."""
    for words in PARSERS:
        assert words.split(" ")[0] in EXAMPLES, words


def test_every_command_is_introduced() -> None:
    """The list in the introduction is the list of commands."""
    text = re.sub(r",\n +", ", ", INTRODUCTION)
    listed = re.findall(r"^  ([A-Z][a-z]+) +(.*)$", text, re.MULTILINE)
    told = {group: names.split(", ") for group, names in listed}
    assert told == {group: [*own] for group, own in GROUPS.items()}
    assert [*COMMANDS] == [words for words in PARSERS if words and " " not in words]


def test_help_lists_the_commands_in_their_groups() -> None:
    """Each group once, its commands below it."""
    lines = PARSERS[""].format_help().splitlines()
    for group, own in GROUPS.items():
        start = lines.index(f"  {group}")
        first = [line.split()[0] for line in lines[start + 1 :] if line.split()]
        places = [first.index(name) for name in own]
        assert places == sorted(places)


def test_options_stand_in_groups() -> None:
    """What is asked, under what conditions, where it goes; nothing is left over."""
    known = {"what you ask", "conditions", "output", "help"}
    for words in ("evaluate", "compare", "justify", "sweep", "map", "kitchen judge"):
        groups = {g.title for g in PARSERS[words]._action_groups if g._group_actions}
        assert {"what you ask", "conditions", "help"} <= groups, words
        assert groups <= known, words


def arguments() -> list[tuple[str, argparse.Action]]:
    """Return every argument with the words of its command."""
    return [
        (words, action)
        for words, parser in PARSERS.items()
        for action in parser._actions
        if not isinstance(action, argparse._HelpAction | argparse._SubParsersAction)
    ]


def test_every_argument_is_explained() -> None:
    """A help and a word for what it takes; --no- forms and flags take nothing."""
    for words, action in arguments():
        assert action.help, (words, action.dest)
        assert action.nargs == 0 or action.metavar or action.choices, (words, action)
        if isinstance(action, argparse._AppendAction):
            assert "may be repeated" in action.help, (words, action.dest)


#: Options that mean the same everywhere -> the one metavar they have.
METAVARS = {
    "--bench": "FILE",
    "--motor": "FILE",
    "--page": "FILE",
    "--output": "FILE",
    "--picture": "FILE",
    "--strands": "FILE",
    "--dir": "DIR",
    "--batch": "MASS",
    "--actual": "NAME=MASS",
    "--scale-step": "MASS",
    "--propellant-mass": "MASS",
    "--cook": "PROFILE",
    "--minutes": "N",
    "--seed": "N",
    "--draws": "N",
    "--date": "DATE",
    "--note": "TEXT",
    "--water-lost": "SHARE",
    "--step": "SHARE",
    "--syrup-solids": "SHARE",
    "--pressure": "PRESSURE",
    "--exit-pressure": "PRESSURE",
    "--temperature": "TEMPERATURE",
    "--altitude": "LENGTH",
    "--ambient": "PRESSURE",
    "--strand-mix": "NAME",
}

#: Where an option of the same name means something else.
OTHER = {("weigh", "--strands"): "N", ("plan pieces", "--strands"): "N"}


def test_same_option_same_word() -> None:
    """What an option takes is called the same in every command."""
    for words, action in arguments():
        for option in action.option_strings:
            if option in METAVARS:
                shown = action.metavar or action.dest.upper()
                wanted = OTHER.get((words, option), METAVARS[option])
                assert shown == wanted, (words, option)


def test_one_voice() -> None:
    """No capital first, no full stop last, values in single quotes, same --force."""
    for words, action in arguments():
        text = action.help or ""
        assert not text.endswith("."), (words, text)
        assert '"' not in text, (words, text)
        if not re.match(r"(JSON|CSV|SVG)\b", text):
            assert text[0] == text[0].lower(), (words, text)
        if "--force" in action.option_strings:
            assert text == "let files that exist be replaced"
    for words, parser in PARSERS.items():
        assert words == "" or (parser.description or "").rstrip()[-1] in ".?)", words


@pytest.mark.parametrize("words", PARSERS)
def test_help_fits_80_columns(words: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """On a terminal of 80 columns."""
    monkeypatch.setenv("COLUMNS", "80")
    assert max(map(len, PARSERS[words].format_help().splitlines())) <= 80
