"""Which bench file a command reads: the one named, else that of the folder, or none."""

from __future__ import annotations

import argparse
import json
import re
from pathlib import Path

import pytest

from castsugar.cli.bench_option import settle_bench
from castsugar.cli.main import build_parser, main
from castsugar.cli.spellings import spelled

# Exact: exit codes; words against words; the same command beside itself.
pytestmark = pytest.mark.exact

MIX = "KNO3:65 sucrose:35"
WITHOUT = ["init", "ingredients", "cautions", "examples", "completion"]


@pytest.fixture
def example(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    assert main(["init"]) == 0
    return tmp_path


def answer(words: list[str], capsys: pytest.CaptureFixture[str]) -> tuple[str, str]:
    capsys.readouterr()
    assert main(words) == 0
    done = capsys.readouterr()
    return done.out, done.err


def settled(words: list[str]) -> argparse.Namespace:
    options = build_parser().parse_args(words)
    settle_bench(options)
    return options


EVALUATE = ["evaluate", "base", "--no-confirm", "--json"]


def unsaid(document: str) -> str:
    """Return a document without the words that made it."""
    found, count = re.subn(r'\n  "command": .*,', "", document)
    assert count == 1
    return found


@pytest.mark.slow
def test_the_file_of_the_folder_is_the_one_that_would_be_named(
    example: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    named = json.loads(answer([*EVALUATE, "--bench", "bench.toml"], capsys)[0])
    found = json.loads(answer(EVALUATE, capsys)[0])
    for key in ("next", "command"):
        command, *remark = re.split("(?=   [(])", found.pop(key))
        assert named.pop(key) == "".join([command, " --bench bench.toml", *remark])
    assert found == named
    assert found["mixes"][0]["kn_max"] > 0.0


def test_how_it_was_found_is_known(example: Path) -> None:
    assert settled(["evaluate", MIX]).bench == "bench.toml"
    assert settled(["evaluate", MIX]).bench_said == "(bench.toml)"
    assert settled(["evaluate", MIX, "--bench", "bench.toml"]).bench_said == ""
    alone = settled(["evaluate", MIX, "--no-bench"])
    assert (alone.bench, alone.bench_said) == (None, "")
    Path("bench.toml").rename("mine.toml")
    assert settled(["evaluate", MIX]).bench is None


def test_no_bench_leaves_it_alone(
    example: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    words = ["evaluate", MIX, "--no-confirm", "--json", "--no-bench"]
    found = answer(words, capsys)
    Path("bench.toml").unlink()
    assert answer(words, capsys) == found
    assert "firings" not in json.loads(found[0])


@pytest.mark.parametrize(
    "words",
    [
        ["evaluate", MIX],
        ["compare", MIX, "KNO3:64 sucrose:36"],
        ["weigh", MIX, "--batch", "200 g"],
        ["kitchen", "judge", MIX, "--cook", "119 C", "--minutes", "8"],
        ["search"],
        ["learn"],
        ["burnrate", "strands.csv"],
    ],
)
def test_a_broken_one_is_refused_and_names_the_way_out(
    words: list[str], example: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    Path("bench.toml").write_text("[motor\n", "utf-8")
    capsys.readouterr()
    assert main(words) == 2
    done = capsys.readouterr()
    assert (done.out, done.err.count("\n")) == ("", 1)
    assert "bench.toml" in done.err
    assert "--no-bench" in done.err


def test_a_broken_one_that_was_named_is_no_surprise(
    example: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    Path("bench.toml").write_text("[motor\n", "utf-8")
    capsys.readouterr()
    assert main(["evaluate", MIX, "--bench", "bench.toml"]) == 2
    assert "--no-bench" not in capsys.readouterr().err


@pytest.mark.parametrize("command", WITHOUT)
def test_commands_that_need_none_read_none(
    command: str, example: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    Path("bench.toml").write_text("[motor\n", "utf-8")
    more = {"init": ["new"], "completion": ["bash"]}
    assert main([command, *more.get(command, [])]) == 0


@pytest.mark.parametrize("words", [["search"], ["learn"]])
def test_a_command_that_cannot_do_without_says_where_to_get_one(
    words: list[str],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.chdir(tmp_path)
    assert main(words) == 2
    line = capsys.readouterr().err
    assert "--bench FILE" in line
    assert "castsugar init" in line


@pytest.mark.slow
@pytest.mark.parametrize("old", ["--motor", "--kitchen"])
def test_old_spellings_are_taken_with_one_note(
    old: str, example: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    Path("bench.toml").rename("mine.toml")
    out, err = answer([*EVALUATE, "--bench", "mine.toml"], capsys)
    assert err == ""
    for words in ([old, "mine.toml"], [f"{old}=mine.toml"], [old, "mine.toml"] * 2):
        told = answer([*EVALUATE, *words], capsys)
        assert told[1] == f"castsugar: {old} is now --bench\n"
        assert unsaid(told[0]) == unsaid(out)


def test_search_takes_its_file_both_ways() -> None:
    for words in (["mine.toml"], ["--bench", "mine.toml"]):
        assert settled(["search", *words]).bench == "mine.toml"
        assert settled(["search", *words, "--seed", "2"]).bench == "mine.toml"
    assert settled(["search", "--bench", "mine.toml", "mine.toml"]).bench == "mine.toml"


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--motor", "a.toml", "--kitchen", "b.toml"], "a.toml and b.toml are two"),
        (["--bench", ""], "--bench is empty"),
        (["--bench", "bench.toml", "--no-bench"], "leave one out"),
    ],
)
def test_contradictions_are_refused(
    words: list[str], said: str, example: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    capsys.readouterr()
    assert main(["evaluate", MIX, *words]) == 2
    done = capsys.readouterr()
    assert said in done.err.splitlines()[-1]
    assert done.out == ""


@pytest.mark.slow
def test_the_world_is_read_once(example: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from castsugar.bench import kitchen, world

    calls: list[str] = []
    for module, name in ((world, "read"), (kitchen, "learn")):
        real = getattr(module, name)

        def counted(*args: object, _real: object = real, _name: str = name) -> object:
            calls.append(_name)
            return _real(*args)  # type: ignore[operator]

        monkeypatch.setattr(module, name, counted)
    shot = ["shot.csv", "--propellant-mass", "368 g", "--mix", "base"]
    assert main(["firing", *shot]) == 0
    assert sorted(calls) == ["learn", "read"]
    calls.clear()
    assert main(["compare", "base", "red", "--no-confirm", "--draws", "100"]) == 0
    assert calls.count("read") == 1


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("evaluate x --trace t.svg", "evaluate x --picture t.svg"),
        ("firing x --chart=t.svg", "firing x --picture=t.svg"),
        ("burnrate x --chart t.svg", "burnrate x --picture t.svg"),
        ("search x --map m.svg", "search x --picture map=m.svg"),
        ("search x --traces=m.svg", "search x --picture=traces=m.svg"),
        ("search x --front m.svg", "search x --picture front=m.svg"),
        ("map a b c -o m.svg", "map a b c --picture m.svg"),
        ("search x --next-strands 2", "next x --plan 2"),
        ("search x --next-strands=2", "next x --plan=2"),
        ("evaluate x --ballistics", "ballistics x --full"),
        ("evaluate x --motor", "evaluate x --bench"),
        ("evaluate x -- --trace", "evaluate x -- --trace"),
        ("weigh x -o m.svg", "weigh x -o m.svg"),
    ],
)
def test_old_options_are_the_new_ones_with_one_note(
    old: str, new: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert spelled(old.split()) == tuple(new.split())
    notes = capsys.readouterr().err.splitlines()
    assert len(notes) == (old != new)
    assert all(" is now " in note for note in notes)


@pytest.mark.slow
def test_next_is_what_search_proposed(
    example: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out, err = answer(["next", "--plan", "1", "--json"], capsys)
    assert err == ""
    assert json.loads(out)["schema"] == "castsugar.next_plan/2"
    old = answer(["search", "bench.toml", "--next-strands", "1", "--json"], capsys)
    assert old[1] == "castsugar: --next-strands is now castsugar next --plan\n"
    assert unsaid(old[0]) == unsaid(out)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--picture", "a.jpg"], "let the name end in one of .svg, .png, .pdf"),
        (["--picture", "a.svg", "--picture", "map=b.svg"], "map is to be drawn twice"),
    ],
)
def test_pictures_that_cannot_be_drawn(
    words: list[str], said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["search", "x.toml", *words]) == 2
    assert said in capsys.readouterr().err


def test_a_picture_is_named_or_the_main_one() -> None:
    options = build_parser().parse_args(["search", "--picture", "traces=t.svg"])
    assert options.picture == {"traces": "t.svg"}
    options = build_parser().parse_args(["search", "--picture", "a=b.svg"])
    assert options.picture == {"map": "a=b.svg"}
    options = build_parser().parse_args(["weigh", MIX])
    assert (options.picture, options.full, options.units) == ({}, False, None)
    assert (options.page, options.markdown, options.csv) == (None, False, False)
